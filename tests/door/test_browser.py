"""The door in a real Chromium: every answer is given with a thumb, and ends in the journal with who and when."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from typing import Any

import pytest

from brokers import wait_for
from door.conftest import Opened
from door.doorway import BLOWN, FIRST_LOAD, PHONES_PX, Doorway

SPANS = {"hour": "for an hour", "hours4": "for 4 hours", "evening": "until this evening", "morning": "until tomorrow"}
AN_HOUR_MS = 3_600_000
SAID = ".said:not(#contact)"


def goes(page: Any, does: Callable[[], object]) -> None:
    """Do what leads to another page, and wait for it."""
    with page.expect_navigation():
        does()


def becomes(page: Any, expression: str) -> None:
    """Wait until it is true there. (The page's own policy forbids to evaluate in it, so it is asked from outside.)"""
    assert wait_for(lambda: page.evaluate(expression), 15), expression


def named(page: Any, doorway: Doorway, who: str) -> None:
    """This phone's person, by tapping."""
    page.goto(doorway.url + "/behind")
    page.locator('input[name="who"]').fill(who)
    goes(page, page.locator("#you ~ form").get_by_role("button", name="Keep it").tap)
    assert page.locator('input[name="who"]').input_value() == who


def came(
    doorway: Doorway, circuit: str, event: str, state: str, who: str, kind: str = "overcurrent-approach"
) -> dict[str, Any]:
    """The newest transition of this way is this one, of this person, and of now."""
    found = doorway.newest(circuit, kind)
    assert found is not None
    assert (found["event"], found["state"], found["who"]) == (event, state, who)
    assert abs(found["time"] * 1000 - doorway.present["at_ms"]) < AN_HOUR_MS / 4
    return found


def alarm_path(doorway: Doorway, circuit: str, kind: str = "overcurrent-approach") -> str:
    found = doorway.newest(circuit, kind)
    assert found is not None
    return f"/alarm/{found['id']}"


@pytest.mark.parametrize("width", PHONES_PX)
def test_every_answer_to_an_alarm(doorway: Doorway, opened: Opened, width: int) -> None:
    """Put aside for each span, taken back, seen; one after the other, as the journal has them."""
    who, page = f"Kari {width}", opened(width)
    named(page, doorway, who)
    path = alarm_path(doorway, "D3")
    for span in SPANS if width == PHONES_PX[0] else ("hour", "morning"):
        page.goto(doorway.url + path)
        page.locator("summary", has_text="meant to be like this").tap()
        page.locator('input[name="why"]').fill(f"drying paint, {span}")
        goes(page, page.get_by_role("button", name=SPANS[span]).tap)
        assert page.locator(SAID).inner_text().startswith("Put aside until ")
        assert came(doorway, "D3", "shelve", "shelved", who)["why"] == f"drying paint, {span}"
        assert "Put aside" in page.locator(".still", has_text="Bench sockets").inner_text()
        goes(page, page.locator(".still a", has_text="Bench sockets").tap)
        goes(page, page.get_by_role("button", name="Take it back").tap)
        assert page.locator(SAID).inner_text() == f"Taken back, by {who}."
        came(doorway, "D3", "unshelve", "unacknowledged", who)
    page.goto(doorway.url + path)
    goes(page, page.get_by_role("button", name="Seen").tap)
    came(doorway, "D3", "acknowledge", "acknowledged", who)
    assert "Seen, and still so" in page.locator(".still", has_text="Bench sockets").inner_text()


def test_the_worst_is_answered_from_the_first_screen(doorway: Doorway, opened: Opened) -> None:
    page = opened()
    sentence = page.locator(".sentence").inner_text()
    name = re.search(r"Fire alarm|Roof fan|Bench sockets|Galley sockets", sentence)
    assert name is not None
    goes(page, page.get_by_role("button", name="Seen").tap)
    assert page.locator(SAID).inner_text() == "Seen, by somebody at the panel."
    newest = [t for t in doorway.transitions() if t["event"] == "acknowledge"][-1]
    assert newest["who"] == "somebody at the panel"
    assert any(name[0] in t["message"] for t in doorway.transitions() if t["id"] == newest["id"])
    assert page.locator(".sentence").inner_text() != sentence
    ring = page.locator("a.key", has_text="Ring the fitter")
    assert ring.get_attribute("href") == "tel:+441632960123"


def test_of_life_an_hour_with_a_reason_and_no_more(doorway: Doorway, opened: Opened) -> None:
    """The page offers nothing else; the browser asks for the reason; and what is forged is refused by the watch."""
    page = opened()
    named(page, doorway, "Ola")
    page.goto(doorway.url + alarm_path(doorway, "D2"))
    before = doorway.state("D2")
    page.locator("summary", has_text="meant to be like this").tap()
    assert page.locator("details.meant button").all_inner_texts() == ["for an hour"]
    page.get_by_role("button", name="for an hour").tap()
    assert page.locator("input:invalid").count() == 1
    assert doorway.state("D2") == before
    page.evaluate("document.querySelector('input[name=why]').required = false")
    goes(page, page.get_by_role("button", name="for an hour").tap)
    assert "needs a reason" in page.locator(SAID).inner_text()
    assert doorway.state("D2") == before
    page.goto(doorway.url + alarm_path(doorway, "D2"))
    page.locator("summary", has_text="meant to be like this").tap()
    page.locator('input[name="why"]').fill("its test, we listen")
    goes(page, page.get_by_role("button", name="for an hour").tap)
    found = came(doorway, "D2", "shelve", "shelved", "Ola")
    assert found["why"] == "its test, we listen"
    assert "Put aside" in page.locator(".still", has_text="Fire alarm").inner_text()
    goes(page, page.locator(".still a", has_text="Fire alarm").tap)
    goes(page, page.get_by_role("button", name="Take it back").tap)
    came(doorway, "D2", "unshelve", "unacknowledged", "Ola")


def test_what_latched_is_over_when_somebody_looked(doorway: Doorway, opened: Opened) -> None:
    page, kind = opened(), "protection-opened"
    named(page, doorway, "Kari")
    path = alarm_path(doorway, BLOWN, kind)
    page.goto(doorway.url + path)
    if doorway.state(BLOWN, kind) == "unacknowledged":
        goes(page, page.get_by_role("button", name="Seen").tap)
    assert doorway.state(BLOWN, kind) == "acknowledged"
    doorway.draws[BLOWN] = 1.0
    assert wait_for(lambda: (doorway.newest(BLOWN, kind) or {})["latched"], 30), doorway.said()
    page.goto(doorway.url + path)
    goes(page, page.get_by_role("button", name="I have looked: it may go").tap)
    came(doorway, BLOWN, "reset", "normal", "Kari", kind)


@pytest.mark.parametrize("width", PHONES_PX)
def test_behind_the_door(doorway: Doorway, opened: Opened, width: int) -> None:
    """Note, work begun and over, who is aboard, language."""
    who, page = f"Ola {width}", opened(width)
    named(page, doorway, who)
    page.locator("textarea").fill(f"hums & <i>smells</i> {width}")
    goes(page, page.get_by_role("button", name="Note it").tap)
    assert page.locator(SAID).inner_text().startswith("Noted, at ")
    with doorway.read() as journal:
        note = journal.notes()[-1]
    assert (note["who"], note["why"]) == (who, f"hums & <i>smells</i> {width}")
    assert abs(note["at_ms"] - doorway.present["at_ms"]) < AN_HOUR_MS / 4

    page.locator("select").select_option("D6")
    goes(page, page.get_by_role("button", name="2 h").tap)
    assert page.locator(SAID).inner_text().startswith(f"Noted: {who} works on D6 until ")
    (work,) = doorway.present["works"]
    assert (work["who"], work["circuit"]) == (who, "D6")
    assert 0 < work["until_ms"] - doorway.present["at_ms"] <= 2 * AN_HOUR_MS
    goes(page, page.get_by_role("button", name="My work is over").tap)
    assert page.locator(SAID).inner_text().startswith("Work is over.")
    assert doorway.present["works"] == []

    # The watch keeps what the vehicle does without who said so; it is said back.
    for says, aboard in (("nobody is aboard", False), ("somebody is aboard", True)):
        goes(page, page.get_by_role("button", name=says).tap)
        assert doorway.present["doing"]["aboard"] is aboard
        assert page.get_by_text(f"Now: {says}.").is_visible()

    goes(page, page.get_by_role("button", name="Deutsch").tap)
    assert page.locator("html").get_attribute("lang") == "de"
    assert page.locator("h1").inner_text() == "Hinter der Tür"
    goes(page, page.get_by_role("button", name="English").tap)
    assert page.locator("html").get_attribute("lang") == "en"


def test_without_scripts_everything_but_following_works(doorway: Doorway, opened: Opened) -> None:
    page = opened(java_script_enabled=False)
    assert "Without scripts this page does not follow by itself" in page.locator("noscript").inner_text()
    named(page, doorway, "Still")
    page.goto(doorway.url + alarm_path(doorway, "D4"))
    page.locator("summary", has_text="meant to be like this").tap()
    goes(page, page.get_by_role("button", name="for an hour").tap)
    came(doorway, "D4", "shelve", "shelved", "Still")
    page.goto(doorway.url + alarm_path(doorway, "D4"))
    goes(page, page.get_by_role("button", name="Take it back").tap)
    page.goto(doorway.url + alarm_path(doorway, "D4"))
    goes(page, page.get_by_role("button", name="Seen").tap)
    came(doorway, "D4", "acknowledge", "acknowledged", "Still")
    page.goto(doorway.url + "/behind")
    page.locator("textarea").fill("without scripts")
    goes(page, page.get_by_role("button", name="Note it").tap)
    with doorway.read() as journal:
        assert journal.notes()[-1]["why"] == "without scripts"


def focused(page: Any, name: str, tag: str) -> None:
    """Tab until the focus is there; it must be seen there."""
    for _ in range(80):
        page.keyboard.press("Tab")
        at = page.evaluate(
            "() => { const e = document.activeElement, s = getComputedStyle(e);"
            " return [e.tagName, (e.innerText || e.name || ''), s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2] }"
        )
        assert at[2], f"no focus is seen at {at[:2]}"
        if at[0] == tag and name in at[1]:
            return
    raise AssertionError(f"{name} is not reached")


def test_the_keyboard_alone_gives_each_answer(doorway: Doorway, opened: Opened) -> None:
    page = opened(1200)
    page.goto(doorway.url + "/behind")
    focused(page, "who", "INPUT")
    page.keyboard.type("Tabea")
    goes(page, lambda: page.keyboard.press("Enter"))
    page.goto(doorway.url + alarm_path(doorway, "D3"))
    focused(page, "meant to be like this", "SUMMARY")
    page.keyboard.press("Enter")
    focused(page, "why", "INPUT")
    page.keyboard.type("by hand")
    focused(page, "for 4 hours", "BUTTON")
    goes(page, lambda: page.keyboard.press("Enter"))
    assert came(doorway, "D3", "shelve", "shelved", "Tabea")["why"] == "by hand"
    page.goto(doorway.url + alarm_path(doorway, "D3"))
    focused(page, "Take it back", "BUTTON")
    goes(page, lambda: page.keyboard.press("Enter"))
    came(doorway, "D3", "unshelve", "unacknowledged", "Tabea")
    page.goto(doorway.url + alarm_path(doorway, "D3"))
    focused(page, "Seen", "BUTTON")
    goes(page, lambda: page.keyboard.press("Enter"))
    came(doorway, "D3", "acknowledge", "acknowledged", "Tabea")


def test_the_first_load_is_small(doorway: Doorway, opened: Opened) -> None:
    """Counted by the browser, as it came over the wire, headers too."""
    page = opened()
    page.wait_for_timeout(500)
    sizes = page.evaluate(
        "() => [...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')]"
        ".map(e => [e.name, e.transferSize])"
    )
    names = " ".join(name for name, _ in sizes)
    assert "door.css" in names
    assert "door.js" in names
    assert 3000 < sum(size for _, size in sizes) < FIRST_LOAD, sizes


def test_a_transition_and_a_reading_reach_an_open_page(doorway: Doorway, opened: Opened) -> None:
    page = opened()
    page.evaluate("window.same = true")
    row = page.locator('[data-way="D6"]')
    doorway.draws["D6"] = 3.0
    becomes(page, "document.querySelector('[data-way=D6] .amps').textContent.startsWith('3.0 A')")
    assert row.locator(".tick").get_attribute("transform") == "translate(400 0)"
    before = page.locator("#top").get_attribute("data-digest")
    doorway.draws["D6"] = 8.9
    assert wait_for(lambda: doorway.state("D6") == "unacknowledged", 30)
    becomes(page, f"document.getElementById('top').dataset.digest !== '{before}'")
    becomes(page, "/Lights|And \\d+ more|one more/.test(document.getElementById('top').innerText)")
    assert page.evaluate("window.same")
    doorway.draws["D6"] = 2.0
    assert wait_for(lambda: doorway.state("D6") in ("returned-unacknowledged", "normal"), 30)


def test_an_answer_half_given_is_not_taken_away(doorway: Doorway, opened: Opened) -> None:
    """News wait while somebody writes a reason; they come when the form is closed."""
    page = opened(path="/")
    page.evaluate("window.same = true")
    if not page.locator("#top details.meant input").count():
        pytest.skip("what asks now has no such form")
    page.locator("#top summary", has_text="meant to be like this").tap()
    page.locator("#top details.meant input[name=why]").fill("because of")
    doorway.draws["D1"] = 17.0
    assert wait_for(lambda: doorway.state("D1") == "unacknowledged", 60)
    page.wait_for_timeout(1500)
    assert page.locator("#top details.meant input[name=why]").input_value() == "because of"
    doorway.draws["D1"] = 4.0
    page.locator("#top summary", has_text="meant to be like this").tap()
    becomes(page, "!document.querySelector('#top details[open]')")
    assert page.evaluate("window.same")
    assert wait_for(lambda: doorway.state("D1") == "returned-unacknowledged", 60)


def test_a_lost_door_is_said_and_no_old_tick_is_shown(doorway: Doorway, opened: Opened) -> None:
    """The page's own clock is moved on; the door is really gone, and really comes back."""
    page = opened(path="/unseen", lost=True)
    page.clock.install()
    page.goto(doorway.url + "/")
    page.wait_for_timeout(800)
    tick = page.locator('[data-way="D1"] .tick')
    assert tick.evaluate("e => getComputedStyle(e).visibility") == "visible"
    assert not page.locator("#contact").is_visible()
    assert doorway.close_door() in (0, -15)  # the server ends by the signal itself, having let everybody go
    page.wait_for_timeout(300)
    page.clock.fast_forward(25_000)
    page.locator("#contact").wait_for(state="visible")
    assert page.locator("#contact").inner_text().startswith("No contact with the vehicle's computer since ")
    assert tick.evaluate("e => getComputedStyle(e).visibility") == "hidden"
    doorway.open_door()
    page.clock.fast_forward(5_000)
    page.locator("#contact").wait_for(state="hidden", timeout=20_000)
    assert tick.evaluate("e => getComputedStyle(e).visibility") == "visible"


@pytest.mark.parametrize(("wish", "moves"), [("reduce", False), ("no-preference", True)])
def test_nothing_moves_where_that_is_not_wanted(opened: Opened, wish: str, moves: bool) -> None:
    page = opened(reduced_motion=wish)
    lasts = page.evaluate(
        "() => [...document.querySelectorAll('*')].map(e => getComputedStyle(e))"
        ".flatMap(s => [s.transitionDuration, s.animationDuration]).filter(d => d !== '0s').length"
    )
    assert (lasts > 0) is moves


def test_print_is_paper(doorway: Doorway, opened: Opened) -> None:
    """Black on white from a dark screen too, without what can only be tapped, with every way and the caution."""
    pypdf = pytest.importorskip("pypdf")
    page = opened(color_scheme="dark")
    page.emulate_media(media="print", color_scheme="dark")
    colours = page.evaluate("() => { const s = getComputedStyle(document.body); return [s.color, s.backgroundColor] }")
    assert colours == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]
    assert page.locator("form:visible").count() == 0
    text = "".join(sheet.extract_text() for sheet in pypdf.PdfReader(io.BytesIO(page.pdf(format="A4"))).pages)
    for wanted in ("Sample freezer", "Roof fan", "D9", "does not protect", "licensed persons only"):
        assert wanted in re.sub(r"\s+", " ", text)
