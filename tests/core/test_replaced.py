"""What a replacement invalidates, and what it keeps. Streams and records are invented; which state goes is the point."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import pytest

from panelward.core import Core
from panelward.records import (
    Answer,
    Commissioned,
    Input,
    Level,
    Measured,
    Output,
    Reading,
    Record,
    Replaced,
    Request,
    Settings,
    Transition,
)
from plans import METER, PLAN, T0, circuit, plan, stream

DAY_MS = 86_400_000
FAN = circuit("D8", "Roof fan", "fan", behaves="fan", levels=(Level(name="full", watts=30, tolerance=0.2),), standby_max_w=1.0)
FRIDGE = circuit("D2", "Fridge", "compressor", levels=(Level(name="runs", watts=45, tolerance=0.3),), always_draws_w=1.4)
VAN = plan(METER, FAN, FRIDGE, monitors=(replace(PLAN.monitors[0], expect_every_s=30.0),))
FULL = Measured(name="full", watts=30.0, low_w=29.0, high_w=31.0, sd_w=0.3, readings=60)


def record(measured_ms: int | None = None, made_ms: int = T0 - DAY_MS, watts: float = 30.0) -> Record:
    full = replace(FULL, watts=watts, low_w=0.97 * watts, high_w=1.03 * watts)
    kept = Commissioned(circuit="D8", exponent=2.5, levels=(full,), measured_ms=measured_ms)
    return Record(vehicle="survey-van", version=1, made_ms=made_ms, who="Ada", instrument="clamp", circuits=(kept,))


def settings(kept: Record | None = None, at_ms: int = T0, *, started: bool = True, **keys: Any) -> Settings:
    return Settings(received_ms=at_ms, schedule=VAN, started=started, record=kept, **keys)


def asked(at_ms: int, circuit_id: str = "D8", what: str = "", who: str = "Kari") -> Request:
    return Request(kind="replaced", received_ms=at_ms, id="1", circuit=circuit_id, what=what, who=who)


def fed(core: Core, items: Iterable[Input]) -> list[Output]:
    return [out for item in items for out in core.feed(item)]


def lived(seconds: float = 3600.0, period_s: float = 30.0, **draws: Any) -> list[Reading]:
    return list(stream({"D8": 2.3, "D2": 3.5} | draws, seconds, period_s=period_s, volts=12.8))


def parts(core: Core, circuit_id: str) -> dict[str, Any]:
    state: dict[str, Any] = core.save()["watch"]["ways"][circuit_id]
    return state


def test_a_load_that_was_replaced_begins_anew_and_nothing_else_does() -> None:
    core = Core()
    fed(core, [settings(record()), *lived()])
    before = {way: parts(core, way) for way in ("D8", "D2")}
    out = core.feed(asked(T0 + 3_600_000, "D8", "fan motor"))
    fresh = Core()
    fresh.feed(settings(record()))
    after, new = {way: parts(core, way) for way in ("D8", "D2")}, parts(fresh, "D8")
    assert after["D2"] == before["D2"]
    assert {name for name in before["D8"] if before["D8"][name] != after["D8"][name]} == {"keys", "level", "drift"} | (
        {"drain"} if before["D8"]["drain"] != new["drain"] else set()
    )
    assert after["D8"]["drain"] == new["drain"]
    assert after["D8"]["level"]["exponent"] != before["D8"]["level"]["exponent"]
    assert after["D8"]["level"]["unnamed"] == []
    assert [x for x in out if not isinstance(x, Transition)] == [
        Replaced(at_ms=T0 + 3_600_000, circuit="D8", part="load", what="fan motor", who="Kari"),
        Answer(id="1", done=True, why="", state="load"),
    ]


def test_of_a_compressor_the_habit_goes() -> None:
    core = Core()
    cycling = lived(2 * 86_400, D2=lambda t: 3.5 if t % 3600 < 1500 else 0.11)
    fed(core, [settings(), *cycling])
    assert parts(core, "D2")["rhythm"]["cooling"]["runs"]
    core.feed(asked(T0 + 2 * DAY_MS, "D2", "compressor"))
    habit = parts(core, "D2")["rhythm"]
    assert (habit["cooling"]["runs"], habit["cooling"]["learned"], habit["began"]) == ([], 0, False)


@pytest.mark.parametrize("word", ["device", "Fuse", " breaker "])
def test_of_a_device_its_heat_and_what_it_looked_like_go_and_the_cables_heat_stays(word: str) -> None:
    core = Core()
    fed(core, [settings(record()), *lived(600, D8=5.6)])
    before = parts(core, "D8")
    core.feed(asked(T0 + 600_000, "D8", word))
    after = parts(core, "D8")
    assert before["over"]["set"] != after["over"]["set"]
    assert after["over"]["last_ms"] is None
    assert after["over"]["cable"] == before["over"]["cable"]
    assert {name: after[name] for name in ("level", "drift", "drain", "rhythm", "dead")} == {
        name: before[name] for name in ("level", "drift", "drain", "rhythm", "dead")
    }


@pytest.mark.parametrize(
    ("request_", "why"),
    [
        (asked(T0 + 1, "D99"), "the schedule has no circuit 'D99'"),
        (asked(T0 + 1, ""), "the schedule has no circuit ''"),
        (asked(T0 + 1, "D8", who=" "), "a replacement needs who says so"),
        (asked(T0 + 1, "SH"), "'SH' is a meter: nothing is learned of its load"),
        (asked(T0 + 1, "SH", "device"), "the schedule lists no device of 'SH'"),
    ],
)
def test_what_is_refused_changes_nothing(request_: Request, why: str) -> None:
    core = Core()
    core.feed(settings(record()))
    before = json.dumps(core.save()["watch"])
    assert core.feed(request_) == [Answer(id="1", done=False, why=why)]
    assert json.dumps(core.save()["watch"]) == before


def odd(kept: Record | None, draw_a: float, *before: Input) -> list[str | None]:
    """What is said of a steady draw."""
    core = Core()
    out = fed(core, [settings(kept), *before, *lived(3600, D8=draw_a)])
    return [x.cause for x in out if isinstance(x, Transition) and x.group == "level"]


def test_the_record_anchors_until_the_replacement_and_again_once_it_is_measured_anew() -> None:
    """Listed at 30 W, measured at 42 W: as long as the record holds, 42 W is a level; the new fan is judged by the list."""
    measured = record(watts=42.0)
    assert odd(measured, 3.3) == []
    assert odd(measured, 3.3, asked(T0)) == ["more-than-listed"]
    assert odd(record(watts=42.0, made_ms=T0 + 1), 3.3, asked(T0)) == []


def test_another_way_measured_anew_does_not_bring_the_old_one_back() -> None:
    again = record(watts=42.0, made_ms=T0 + 1, measured_ms=T0 - DAY_MS)
    assert odd(again, 3.3, asked(T0)) == ["more-than-listed"]


def test_what_the_settings_know_holds_where_the_state_was_lost() -> None:
    core = Core()
    told = settings(record(watts=42.0), replaced=(("D8", "load", T0 - 1000),))
    out = fed(core, [told, *lived(3600, D8=3.3)])
    assert [x.cause for x in out if isinstance(x, Transition) and x.group == "level"] == ["more-than-listed"]
    assert Core().feed(told) == []


@pytest.mark.parametrize("seam", [10, 200, 241, 400])
def test_saving_in_the_middle_changes_nothing(seam: int) -> None:
    rows: list[Input] = [*lived(7200, D8=lambda t: 2.3 if t < 3600 else 3.3)]
    rows.insert(241, asked(T0 + 3_600_000))
    whole, first = Core(), Core()
    expected = fed(whole, [settings(record()), *rows])
    out = fed(first, [settings(record()), *rows[:seam]])
    second = Core()
    second.restore(json.loads(json.dumps(first.save())), VAN, silence_from_start=False, record=record())
    out += fed(second, rows[seam:])
    assert (out, json.dumps(second.save())) == (expected, json.dumps(whole.save()))


def test_a_label_read_anew_keeps_the_replacement() -> None:
    core = Core()
    fed(core, [settings(record()), *lived(600), asked(T0 + 600_000)])
    before = parts(core, "D8")
    renamed = replace(VAN, circuits=(METER, replace(FAN, label="Galley fan"), FRIDGE))
    core.feed(Settings(received_ms=T0 + 700_000, schedule=renamed, record=record()))
    assert core.watch is not None
    assert core.watch.replaced == {("D8", "load"): T0 + 600_000}
    assert parts(core, "D8")["drift"] == before["drift"]
