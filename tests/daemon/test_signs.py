"""What a sign of life says: of which run, how far on, and that the bank nears its cut-off as long as that is so."""

from __future__ import annotations

import json
from typing import Any

from panelward.core import Core
from panelward.daemon.signs import Signs
from panelward.records import Presence, Request, Settings, Transition
from plans import LIGHTS, T0, plan, stream

SCHEDULE = plan(LIGHTS)


class Aboard:
    """A core, and the signs of the watch around it."""

    def __init__(self, core: Core | None = None) -> None:
        self.core = core or Core()
        self.sent: list[dict[str, Any]] = []
        self.at_s = 0.0
        self.signs = Signs(
            lambda _topic, payload, **_: self.sent.append(json.loads(payload)), "t", lambda: T0, self.core.standing, print
        )
        if core is None:
            self.core.feed(Settings(received_ms=T0, schedule=SCHEDULE, started=True))

    def draw(self, volts: float, seconds: float = 1200.0) -> list[Transition]:
        readings = stream({"D5": 4.0}, seconds, volts=volts, start_ms=T0 + round(self.at_s * 1000))
        self.at_s += seconds + 2.0
        found = [t for item in readings for t in self.core.feed(item) if isinstance(t, Transition)]
        for each in found:
            self.signs.heard(each)
        return found

    def say(self) -> dict[str, Any]:
        self.signs.turn("v", None, journals=True)
        return self.sent[-1]


def test_the_sign_says_of_a_bank_near_its_cut_off_what_is_so_and_not_what_happened_last() -> None:
    van = Aboard()
    assert "nears_cut_off" not in van.say()
    (begins,) = van.draw(11.7)
    assert van.say()["nears_cut_off"] == {"house": None}
    (ends,) = van.draw(13.4, 3600.0)
    assert (ends.event, ends.state) == ("ends", "returned-unacknowledged")
    assert "nears_cut_off" not in van.say()
    request = Request(kind="acknowledge", received_ms=T0 + round(van.at_s * 1000), alarm=begins.id, who="Kari")
    for each in van.core.feed(request):
        if isinstance(each, Transition):
            van.signs.heard(each)
    assert "nears_cut_off" not in van.say()


def test_an_acknowledged_one_that_goes_on_is_still_said_and_so_it_is_after_a_restart() -> None:
    van = Aboard()
    (begins,) = van.draw(11.7)
    request = Request(kind="acknowledge", received_ms=T0 + round(van.at_s * 1000), alarm=begins.id, who="Kari")
    for each in van.core.feed(request):
        if isinstance(each, Transition):
            van.signs.heard(each)
    assert van.say()["nears_cut_off"] == {"house": None}
    core = Core()
    core.restore(van.core.save(), SCHEDULE, silence_from_start=False)
    again = Aboard(core)
    assert again.say()["nears_cut_off"] == {"house": None}
    again.signs.ended()  # in order: the last word is not lost by it
    assert (again.sent[-1]["ended"], again.sent[-1]["nears_cut_off"]) == (True, {"house": None})


def test_that_the_journal_cannot_be_written_is_said_as_long_as_it_is_so() -> None:
    van = Aboard()
    assert "journals" not in van.say()
    for n, here in enumerate((False, True)):
        van.core.feed(Presence(received_ms=T0 + n, subject="journal", name="journal", here=here))
        van.signs.now()
        assert van.say().get("journals", True) is here


def test_each_start_is_a_run_of_its_own_and_within_it_the_signs_advance() -> None:
    van = Aboard()
    first = van.say()
    van.signs.now()
    second = van.say()
    assert second["run"] == first["run"]
    assert second["up_s"] >= first["up_s"] >= 0.0
    assert Aboard().say()["run"] != first["run"]
