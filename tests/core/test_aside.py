"""What people put aside, with the watch behind it: one cause is told once, however it is put aside and let out."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace

import pytest

from panelward.core import Core
from panelward.records import Answer, Input, Request, Settings, Transition
from panelward.wording import message
from plans import PLAN, T0, circuit, stream

ROUTER = circuit("D4", "Rear router", "electronics", feeder="rear", feed="always-on", always_draws_w=5.0)
REAR = replace(PLAN, circuits=(*PLAN.circuits, ROUTER))
DRAWS = {"D1": 4.0, "D5": 2.0, "D8": 1.0, "D4": 1.5, "D6": 0.1, "SH": 8.6}


def begun() -> Core:
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=REAR, started=True))
    return core


def fed(core: Core, inputs: Iterable[Input]) -> list[Transition]:
    return [t for item in inputs for t in core.feed(item) if isinstance(t, Transition)]


def phase(from_s: float, seconds: float, **other: float) -> list[Input]:
    return list(stream(DRAWS | other, seconds, start_ms=T0 + round(from_s * 1000)))


def asked(kind: str, at_s: float, **keys: object) -> Request:
    return Request(kind=kind, received_ms=T0 + round(at_s * 1000), circuit="D8", who="Kari", why="painting", **keys)  # type: ignore[arg-type]


def told(found: list[Transition]) -> list[tuple[str, str]]:
    return [(t.subject_id, t.event) for t in found if t.told]


@pytest.mark.parametrize(
    ("away", "back"), [(None, None), (asked("shelve", 330, for_s=600.0), None), (asked("out-of-service", 330), "in-service")]
)
def test_a_circuit_put_aside_and_then_lost_with_its_feeder_is_told_of_the_feeder_alone(
    away: Request | None, back: str | None
) -> None:
    core = begun()
    found = fed(core, [*phase(0, 120), *phase(122, 200, D8=0.0)])
    found += fed(core, [away] if away else [])
    found += fed(core, phase(332, 1500, D8=0.0, D5=0.0, D4=0.0))
    found += fed(core, [asked(back, 1850)] if back else [])
    assert told(found) == [("D8", "begins"), ("rear", "begins")]
    again = Core()
    again.restore(json.loads(json.dumps(core.save())), REAR, silence_from_start=False)
    for each in (core, again):
        after = fed(each, phase(1852, 300, D8=0.0))
        assert told(after) == [("rear", "ends"), ("D8", "unsuppress")]


@pytest.mark.parametrize(("importance", "left_s"), [("life", 3_600), ("property", 86_400 - 70)])
def test_a_reload_shortens_a_shelf_over_what_life_depends_on_from_now_on(importance: str, left_s: int) -> None:
    core = begun()
    assert told(fed(core, [*phase(0, 120), *phase(122, 200, D8=0.0)])) == [("D8", "begins")]
    fed(core, [asked("shelve", 330, for_s=86_400.0)])
    circuits = tuple(replace(c, importance=importance) if c.id == "D8" else c for c in REAR.circuits)
    at_ms = T0 + 400_000
    found = fed(core, [Settings(received_ms=at_ms, schedule=replace(REAR, circuits=circuits))])
    assert [(t.event, t.told) for t in found] == ([("shelve", False)] if importance == "life" else [])
    assert core.standing()[0].shelved_until_ms == at_ms + left_s * 1000
    again = Core()
    again.restore(json.loads(json.dumps(core.save())), replace(REAR, circuits=circuits), silence_from_start=False)
    assert again.standing() == core.standing()


def test_a_shelved_alarm_of_a_circuit_that_left_the_schedule_is_over_and_says_nothing() -> None:
    core = begun()
    fed(core, [*phase(0, 120), *phase(122, 200, D8=0.0), asked("shelve", 330, for_s=600.0)])
    less = replace(REAR, circuits=tuple(c for c in REAR.circuits if c.id != "D8"))
    found = fed(core, [Settings(received_ms=T0 + 400_000, schedule=less), *phase(402, 700)])
    assert [(t.event, t.state, t.told) for t in found] == [("withdrawn", "shelved", False), ("unshelve", "normal", False)]
    assert core.standing() == ()


def test_a_shelf_lasts_as_long_as_was_said_through_the_hour_that_comes_twice() -> None:
    """25 October 2026, 3:00 in Oslo is 2:00 again: two hours are two hours, whatever local clocks show."""
    oslo = replace(REAR, vehicle=replace(REAR.vehicle, timezone="Europe/Oslo"))
    core, before_ms = Core(), 1_792_888_200_000  # 00:30 UTC, 2:30 for the first time
    core.feed(Settings(received_ms=before_ms, schedule=oslo, started=True))
    fed(core, stream(DRAWS, 120, start_ms=before_ms))
    found = fed(core, stream(DRAWS | {"D8": 0.0, "SH": 7.6}, 200, start_ms=before_ms + 122_000))
    assert told(found) == [("D8", "begins")]
    shelved_ms = before_ms + 330_000
    fed(core, [replace(asked("shelve", 0, for_s=7_200.0), received_ms=shelved_ms)])
    back = [t for t in core.advance(shelved_ms + 7_200_000) if isinstance(t, Transition) and t.subject_id == "D8"]
    assert [(t.event, t.at_ms) for t in back if t.group == "dead"] == [("unshelve", shelved_ms + 7_200_000)]


def test_laid_up_with_a_device_that_opened_and_that_nobody_looked_at_it_still_stands() -> None:
    core = begun()
    found = fed(core, [*phase(0, 120), *phase(122, 6, D5=40.0), *phase(130, 90, D5=0.0), *phase(222, 120)])
    opened = [t for t in found if t.subject_id == "D5" and t.group == "dead"]
    assert [(t.event, t.state, t.latched) for t in opened] == [
        ("begins", "unacknowledged", False), ("ends", "unacknowledged", True)
    ]  # fmt: skip
    fed(core, [Request(kind="presence", received_ms=T0 + 350_000, who="Kari", presence="laid-up"), *phase(352, 3600, D5=0.0)])
    assert [a.state for a in core.standing() if a.key == ("circuit", "D5", "dead")] == ["latched-unacknowledged"]
    fed(core, [replace(asked("acknowledge", 4000), circuit="D5")])
    assert [a for a in core.standing() if a.key == ("circuit", "D5", "dead")] == []


def test_a_circuit_out_of_service_that_is_lost_with_its_feeder_speaks_when_it_is_back_in_service() -> None:
    """Announced before the work begins; the feeder is in service, and is told."""
    core = begun()
    found = fed(core, [*phase(0, 120), asked("out-of-service", 121, for_s=3600.0), *phase(122, 100, D8=0.0)])
    found += fed(core, phase(224, 300, D8=0.0, D5=0.0, D4=0.0))
    found += fed(core, phase(526, 300, D8=0.0))
    assert told(found) == [("rear", "begins"), ("rear", "ends")]
    again = Core()
    again.restore(json.loads(json.dumps(core.save())), REAR, silence_from_start=False)
    for each in (core, again):
        assert told(fed(each, [asked("in-service", 830)])) == [("D8", "in-service")]
        assert each.removed() == ()


def test_a_circuit_that_the_schedule_does_not_have_is_not_taken_out_of_service() -> None:
    answer = begun().feed(replace(asked("out-of-service", 1), circuit="D99"))[-1]
    assert isinstance(answer, Answer)
    assert not answer.done
    assert "D99" in answer.why


def test_what_had_stopped_before_is_not_among_those_that_stopped_together() -> None:
    """It is covered all the same. Its twin stops with the others."""
    for before, stopped in ((0.0, ("D4", "D5")), (1.0, ("D8", "D4", "D5"))):
        core = begun()
        found = fed(core, [*phase(0, 120), *phase(122, 200, D8=before), *phase(324, 300, D8=0.0, D5=0.0, D4=0.0)])
        (lost,) = [t for t in found if t.subject_id == "rear"]
        assert set(lost.circuits) == {"D4", "D5", "D8"}
        assert f"{len(stopped)} circuits stopped" in message(lost, REAR)
        assert ("Roof fan" in message(lost, REAR)) == ("D8" in stopped)
