// Follows the panel: ticks move, the top is fetched anew when something asks. Everything else works without this file.
(() => {
  "use strict";
  const contact = document.getElementById("contact");
  if (!contact || !window.EventSource) return;
  let digest = document.getElementById("top").dataset.digest;
  let heard = Date.now(), clock = document.getElementById("clock").textContent;
  const busy = () => {
    const top = document.getElementById("top"), at = document.activeElement;
    return top.querySelector("details[open]") || (top.contains(at) && at.matches("input, textarea"));
  };
  let stale = false;
  const fetchTop = async () => {
    if (busy()) { stale = true; return; }
    stale = false;
    const answer = await fetch("/?part=top", { headers: { "Accept": "text/html" } });
    if (!answer.ok) return;
    const top = document.getElementById("top");
    const fresh = document.createRange().createContextualFragment(await answer.text()).querySelector("#top");
    if (!fresh || busy()) { stale = true; return; }
    const focused = top.contains(document.activeElement);
    top.replaceWith(fresh);
    if (focused) { fresh.tabIndex = -1; fresh.focus(); }
    digest = fresh.dataset.digest;
  };
  const show = (id, [text, place, over, ringed]) => {
    const way = document.querySelector(`[data-way="${CSS.escape(id)}"]`);
    if (!way) return;
    const amps = way.querySelector(".amps"), rule = way.querySelector(".rule");
    if (amps.textContent !== text) amps.textContent = text;
    amps.classList.toggle("red", over);
    way.classList.toggle("ringed", ringed);
    if (!rule) return;
    rule.classList.toggle("gone", place === null);
    rule.classList.toggle("over", over);
    if (place !== null) rule.querySelector(".tick").setAttribute("transform", `translate(${place} 0)`);
  };
  const source = new EventSource("/live" + location.search);
  source.addEventListener("now", (event) => {
    const now = JSON.parse(event.data);
    heard = Date.now();
    contact.hidden = true;
    document.body.classList.remove("gone");
    clock = document.getElementById("clock").textContent = now.clock;
    for (const id of Object.keys(now.ways)) show(id, now.ways[id]);
    if (now.top !== digest || stale) { digest = now.top; fetchTop(); }
  });
  source.addEventListener("reload", () => location.reload());
  setInterval(() => {
    if (Date.now() - heard < 20000) return;
    contact.textContent = contact.dataset.text.replace("{at}", clock);
    contact.hidden = false;
    document.body.classList.add("gone");
  }, 2000);
})();
