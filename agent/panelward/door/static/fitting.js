// Follows the commissioning: fetches the part anew, buzzes at each edge. Everything else works without this file.
(() => {
  "use strict";
  let part = document.getElementById("fitting");
  if (!part || !window.EventSource) return;
  const away = document.getElementById("away");
  const patterns = [0, [60], [60, 80, 60], [250, 100, 250]];  // edge, level taken, question
  const SETTLE_MS = 600;  // a thumb on its way down was meant for what stood there
  let buzz = null, heard = Date.now(), busy = false;
  const typing = () => {
    const at = document.activeElement;
    return part.contains(at) && at.matches("input") && at.value !== "";
  };
  const put = (text) => {
    const fresh = document.createRange().createContextualFragment(text).querySelector("#fitting");
    if (!fresh) { location.reload(); return; }
    const same = fresh.dataset.number === part.dataset.number;
    if (same && (typing() || part.querySelector("details[open]"))) {
      part.dataset.version = fresh.dataset.version;
      const old = part.querySelectorAll("section:not(#ask)"), news = fresh.querySelectorAll("section:not(#ask)");
      if (old.length === news.length) old.forEach((each, at) => each.replaceWith(news[at]));
      return;
    }
    if (!same) {
      fresh.classList.add("settling");
      setTimeout(() => fresh.classList.remove("settling"), SETTLE_MS);
    }
    part.replaceWith(fresh);
    part = fresh;
  };
  const here = () => "/commission?part=1" + location.search.replace("?", "&");
  const look = async () => {
    if (busy) return;
    busy = true;
    try {
      const answer = await fetch(here());
      if (answer.ok) put(await answer.text());
    } catch { /* the stream says when it is back */ } finally { busy = false; }
  };
  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!form.action.includes("/commission/answer")) return;
    event.preventDefault();
    const body = new URLSearchParams(new FormData(form));
    if (event.submitter && event.submitter.name) body.set(event.submitter.name, event.submitter.value);
    part.classList.add("settling");
    try {
      const answer = await fetch(form.action, { method: "POST", body });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (!answer.ok || answer.url.includes("/login")) { location.assign("/commission"); return; }
      document.querySelectorAll("main > .said[role=status]:not(#away)").forEach((each) => each.remove());
      const said = page.querySelector("main > .said[role=status]:not(#away)");
      if (said) document.querySelector("main").prepend(document.adoptNode(said));
      if (location.search) history.replaceState(null, "", "/commission");
      put(page.getElementById("fitting").outerHTML);
    } catch {
      away.hidden = false;
    } finally {
      part.classList.remove("settling");
    }
  });
  const source = new EventSource("/commission/live");
  source.addEventListener("now", (event) => {
    const now = JSON.parse(event.data);
    heard = Date.now();
    away.hidden = true;
    part.classList.remove("old");
    if (buzz !== null && now.buzz > buzz && navigator.vibrate) navigator.vibrate(patterns[now.what] || [60]);
    buzz = now.buzz;
    if (String(now.version) !== part.dataset.version) look();
  });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) look(); });
  setInterval(() => {
    if (Date.now() - heard < 12000) return;
    away.hidden = false;
    part.classList.add("old");
  }, 2000);
})();
