"""Laws of the core: the same inputs give the same outputs however they are cut, saved, restored or hurried."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from panelward.core import Core
from panelward.errors import PanelwardError
from panelward.records import (
    Answer,
    Clock,
    Input,
    Output,
    Presence,
    Protection,
    Reading,
    Request,
    Schedule,
    Settings,
    Transition,
)
from plans import DETECTOR, FREEZER, PLAN, SOCKETS, T0, circuit, plan, run, stream

LEVELS = {
    "D1": (0.0, 0.12, 4.0),
    "D5": (0.0, 3.0, 12.0),
    "D6": (0.0, 0.1),
    "D7": (0.0, 5.0, 17.0, 24.0),
    "D8": (0.0, 1.0),
    "SH": (8.0,),
}


@st.composite
def days(draw: Callable[..., Any]) -> list[Input]:
    """A few minutes of a vehicle's life: levels that change, gaps, late rows, people and a broker that comes and goes."""
    inputs: list[Input] = []
    at_ms = T0
    now = {c: levels[-1] for c, levels in LEVELS.items()}
    for _ in range(draw(st.integers(5, 30))):
        event = draw(
            st.sampled_from(
                ["level"] * 6
                + ["gap", "late", "ack", "away", "back", "gone", "drill"]
                + ["volts", "work", "new", "zone", "aside"]
            )
        )
        volts = 13.0
        if event == "level":
            changed = draw(st.sampled_from(sorted(LEVELS)))
            now[changed] = draw(st.sampled_from(LEVELS[changed]))
        elif event == "gap":
            at_ms += draw(st.sampled_from([30_000, 150_000, 3_600_000]))
        elif event == "ack":
            inputs.append(Request(kind="acknowledge", received_ms=at_ms, circuit="D7", who="owner"))
        elif event == "aside":
            kind = draw(st.sampled_from(["shelve", "unshelve", "out-of-service", "in-service"]))
            circuit, for_s = draw(st.sampled_from(["D1", "D5", "D7", "D8"])), draw(st.sampled_from([40.0, 600.0]))
            inputs.append(Request(kind=kind, received_ms=at_ms, circuit=circuit, for_s=for_s, who="owner", why="paint"))
        elif event in ("away", "back"):
            inputs.append(Presence(received_ms=at_ms, subject="broker", name="127.0.0.1", here=event == "back"))
        elif event == "gone":
            inputs.append(Presence(received_ms=at_ms, subject="monitor", name="dc", here=False))
        elif event == "drill":
            inputs.append(Request(kind="drill", received_ms=at_ms, who="owner"))
        elif event == "work":
            circuit, for_s = draw(st.sampled_from([None, "D1", "D7"])), draw(st.sampled_from([60.0, 3600.0, None]))
            inputs.append(
                Request(kind="working", received_ms=at_ms, who="fitter", circuit=circuit, for_s=for_s, done=for_s is None)
            )
        elif event == "new":
            circuit_id, what = draw(st.sampled_from(["D1", "D6", "D7", "D99"])), draw(st.sampled_from(["fan", "fuse"]))
            inputs.append(Request(kind="replaced", received_ms=at_ms, who="fitter", circuit=circuit_id, what=what))
        elif event == "zone":
            name = draw(st.sampled_from(["Asia/Tokyo", "UTC", "Nowhere/At all"]))
            inputs.append(Request(kind="timezone", received_ms=at_ms, who="driver", timezone=name))
            inputs.append(Request(kind="note", received_ms=at_ms, who="driver", why="across the border", circuit="D1"))
        elif event == "volts":
            volts = draw(st.sampled_from([0.0, 10.5, 11.7]))
        for _ in range(draw(st.integers(1, 25))):
            at_ms += 2000
            for circuit_id, amps in now.items():
                inputs.append(Reading(circuit_id, at_ms, at_ms, volts=volts, amps=amps, watts=round(volts * amps, 3)))
        if event == "late":
            inputs.append(Reading("D1", at_ms - 60_000, at_ms, amps=50.0))
    return inputs


def begin(core: Core, schedule: Schedule = PLAN, at_ms: int = T0, **keys: Any) -> list[Output]:
    return core.feed(Settings(received_ms=at_ms, schedule=schedule, started=True, **keys))


def fed(core: Core, inputs: list[Input]) -> list[Output]:
    return [out for item in inputs for out in core.feed(item)]


SLOWLY = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])


@SLOWLY
@given(days(), st.data())
def test_save_and_restore_in_the_middle_changes_nothing(inputs: list[Input], data: st.DataObject) -> None:
    cut = data.draw(st.integers(0, len(inputs)))
    whole, first = Core(), Core()
    begin(whole)
    begin(first)
    expected = fed(whole, inputs) + whole.advance(inputs[-1].received_ms + 600_000)
    out = fed(first, inputs[:cut])
    second = Core()
    second.restore(json.loads(json.dumps(first.save())), PLAN, silence_from_start=False)
    out += fed(second, inputs[cut:]) + second.advance(inputs[-1].received_ms + 600_000)
    assert out == expected
    assert json.dumps(second.save()) == json.dumps(whole.save())


@SLOWLY
@given(days())
def test_calling_advance_at_every_deadline_changes_nothing(inputs: list[Input]) -> None:
    """The daemon wakes at deadlines; a rehearsal only with the next reading. Both say the same at the same times."""
    lazy, eager = Core(), Core()
    begin(lazy)
    begin(eager)
    lazy_out, eager_out = [], []
    for item in inputs:
        while (due := eager.next_deadline_ms) is not None and due <= item.received_ms:
            eager_out += eager.advance(due)
        eager_out += eager.feed(item)
        lazy_out += lazy.feed(item)
    assert eager_out == lazy_out


@SLOWLY
@given(days())
def test_one_key_has_one_alarm_and_its_life_makes_sense(inputs: list[Input]) -> None:
    core = Core()
    out = begin(core) + fed(core, inputs) + core.advance(inputs[-1].received_ms + 86_400_000)
    open_by_key: dict[tuple[str, str, str], str] = {}
    sequence: dict[str, int] = {}
    last_ms = 0
    for t in out:
        if not isinstance(t, Transition):
            continue
        assert t.at_ms >= last_ms
        assert t.since_ms <= t.at_ms
        last_ms = t.at_ms
        assert t.sequence == sequence.get(t.id, 0) + 1
        sequence[t.id] = t.sequence
        key = (t.subject, t.subject_id, t.group)
        assert open_by_key.get(key, t.id) == t.id, "two alarms for one key"
        if t.state == "normal":
            open_by_key.pop(key, None)
        else:
            open_by_key[key] = t.id


@SLOWLY
@given(days())
def test_a_circuit_covered_by_its_parent_does_not_speak(inputs: list[Input]) -> None:
    """No two alarms for one cause: while a lost supply or feeder stands, its circuits raise no dead alarm of their own."""
    core = Core()
    covered: dict[tuple[str, str], tuple[str, ...]] = {}
    for item in [Settings(received_ms=T0, schedule=PLAN, started=True), *inputs]:
        for t in core.feed(item):
            if not isinstance(t, Transition) or t.group != "dead":
                continue
            if t.subject != "circuit":
                active = t.event in ("begins", "begins-again", "changes")
                covered[t.subject, t.subject_id] = t.circuits if active else ()
            elif t.told and t.event != "ends":
                assert t.subject_id not in [c for circuits in covered.values() for c in circuits]


@given(st.lists(st.tuples(st.integers(1, 8000), st.integers(0, 300_000)), min_size=2, max_size=60), st.data())
def test_energy_adds_up_exactly(steps: list[tuple[int, int]], data: st.DataObject) -> None:
    """Trapezoids in milliwatts and milliseconds: whole = part + part, and equal to exact arithmetic by hand."""
    readings, at_ms, twice = [], T0, 0
    for n, (dt_ms, milliwatts) in enumerate(steps):
        at_ms += dt_ms
        readings.append(Reading("D7", at_ms, at_ms, watts=milliwatts / 1000))
        if n:
            twice += (steps[n - 1][1] + milliwatts) * dt_ms
    core = Core()
    begin(core, at_ms=readings[0].received_ms)
    cut = data.draw(st.integers(1, len(readings)))
    fed(core, readings[:cut])
    again = Core()
    again.restore(json.loads(json.dumps(core.save())), PLAN, silence_from_start=False)
    fed(again, readings[cut:])
    assert again.watch is not None
    assert again.watch.ways["D7"].energy_2mwms == twice


def test_a_gap_is_unknown_energy_and_not_zero() -> None:
    core = Core()
    begin(core)
    fed(core, [Reading("D7", T0 + t, T0 + t, watts=100.0) for t in (0, 2000, 4000, 604_000, 606_000)])
    assert core.watch is not None
    way = core.watch.ways["D7"]
    assert (way.energy_2mwms, way.unknown_ms) == (2 * 100_000 * 6000, 600_000)


def test_one_circuits_trouble_leaves_the_others_as_they_are() -> None:
    calm = {"D1": lambda t: 4.0 if t % 900 < 300 else 0.12, "D6": lambda t: 0.1 if t < 1000 else 0.0}
    wild = calm | {"D7": lambda t: 1e6 if t % 50 < 3 else -1e6 if t % 50 < 6 else 0.0}
    expected = [t for t in run(PLAN, stream(calm, 2000)) if t.subject_id != "D7"]
    assert [t for t in run(PLAN, stream(wild, 2000)) if t.subject_id != "D7"] == expected


def test_the_clock_may_leap_and_nothing_fires_or_ends() -> None:
    """From 1970 to today while running: every time that leaves is on the new axis, no silence, no lost hour."""
    leap_ms = T0 - 100_000_000
    early = list(stream({"D1": 4.0, "D6": 0.1}, 300, start_ms=100_000_000))
    late_ms = early[-1].received_ms + 2000
    late = list(stream({"D1": 4.0, "D6": lambda t: 0.1 if t < 100 else 0.0}, 300, start_ms=late_ms + leap_ms))
    found = run(PLAN, [*early, Clock(received_ms=late_ms + leap_ms - 1, shift_ms=leap_ms), *late])  # type: ignore[list-item]
    assert [(t.subject_id, t.kind) for t in found] == [("D6", "feed-lost")]
    assert found[0].since_ms == late_ms + leap_ms + 100_000


def test_time_off_is_one_gap_and_denies_no_alarm() -> None:
    two = plan(FREEZER, DETECTOR)
    core = Core()
    out = begin(core, two) + fed(core, list(stream({"D1": lambda t: 4.0 if t < 100 else 0.0, "D6": 0.1}, 300)))
    assert [t.kind for t in out if isinstance(t, Transition)] == ["feed-lost"]
    again = Core()
    again.restore(json.loads(json.dumps(core.save())), two, silence_from_start=True)
    off_ms = T0 + 3_600_000
    out = begin(again, two, at_ms=off_ms, silence_from_start=True)
    out += fed(again, list(stream({"D1": 0.0, "D6": 0.1}, 100, start_ms=off_ms + 1000)))
    assert [t for t in out if isinstance(t, Transition)] == []
    assert [a.condition.kind for a in again.standing()] == ["feed-lost"]
    out = fed(again, list(stream({"D1": 4.0, "D6": 0.1}, 10, start_ms=off_ms + 110_000)))
    assert [t.event for t in out if isinstance(t, Transition)] == ["ends"]


def test_a_new_rating_starts_the_heat_anew_and_a_new_label_does_nothing() -> None:
    core = Core()
    begin(core)
    fed(core, list(stream({"D7": 14.0}, 100)))
    assert core.watch is not None
    warm = core.watch.ways["D7"].over.slow_heat()
    sockets = PLAN.circuit("D7")
    renamed = replace(PLAN, circuits=tuple(replace(c, label="Other") if c.id == "D7" else c for c in PLAN.circuits))
    core.feed(Settings(received_ms=T0 + 101_000, schedule=renamed))
    assert core.watch.ways["D7"].over.slow_heat() == warm > 0.1
    rerated = replace(sockets, protection=Protection(kind="blade-fuse", type="C", rating_a=20))
    core.feed(Settings(received_ms=T0 + 102_000, schedule=plan(FREEZER, DETECTOR, rerated)))
    assert core.watch.ways["D7"].over.slow_heat() == 0.0


def test_an_alarm_about_what_left_the_schedule_is_over() -> None:
    core = Core()
    begin(core)
    fed(core, list(stream({"D6": lambda t: 0.1 if t < 20 else 0.0, "D1": 4.0}, 200)))
    out = core.feed(Settings(received_ms=T0 + 300_000, schedule=plan(FREEZER)))
    assert [(t.subject_id, t.event) for t in out if isinstance(t, Transition)] == [("D6", "withdrawn")]


def test_fed_before_its_settings_it_says_so() -> None:
    with pytest.raises(PanelwardError, match="Settings"):
        Core().feed(Reading("D1", T0, T0))


MANY = tuple(
    circuit(f"E{n}", f"Load {n}", feed="always-on", always_draws_w=1.2, **({"importance": "life"} if n == 12 else {}))
    for n in range(14)
)


def many_stop(apart_s: float = 20.0) -> list[Input]:
    """Fourteen circuits, one after the other, while the bus stands and another circuit draws."""
    draws = {f"E{n}": (lambda t, n=n: 0.1 if t < 300 + n * apart_s else 0.0) for n in range(14)}
    return list(stream(draws | {"D7": 5.0}, 1500))


def told(out: list[Output]) -> list[str]:
    return [t.subject_id for t in out if isinstance(t, Transition) and t.told]


def test_many_stopped_circuits_are_ten_messages_the_one_of_life_and_a_summary() -> None:
    core = Core()
    out = begin(core, plan(*MANY, SOCKETS)) + fed(core, many_stop(apart_s=2.0))
    assert told(out) == [*(f"E{n}" for n in range(10)), "E12", "survey-van"]
    begun = [t for t in out if isinstance(t, Transition) and t.event == "begins" and t.kind == "feed-lost"]
    assert len(begun) == 14
    assert [(a.key, a.state) for a in core.standing() if a.condition.kind == "flood"] == [
        (("vehicle", "survey-van", "flood"), "returned-unacknowledged")
    ]


@pytest.mark.parametrize("cut_s", [0, 420, 560, 570, 600, 640, 1200])
def test_a_flood_and_work_survive_a_restart_in_the_middle(cut_s: float) -> None:
    schedule = plan(*MANY, SOCKETS)
    inputs = many_stop()
    inputs.insert(1000, Request(kind="working", received_ms=inputs[999].received_ms, who="Kari", circuit="E1", for_s=1200.0))
    whole, first, second = Core(), Core(), Core()
    expected = begin(whole, schedule) + fed(whole, inputs)
    cut = next(n for n, item in enumerate(inputs) if item.received_ms >= T0 + cut_s * 1000)
    out = begin(first, schedule) + fed(first, inputs[:cut])
    second.restore(json.loads(json.dumps(first.save())), schedule, silence_from_start=False)
    out += fed(second, inputs[cut:])
    assert out == expected
    assert second.save() == whole.save()
    assert "E1" in told(expected)


def test_a_flood_stays_when_the_schedule_is_read_anew() -> None:
    core = Core()
    begin(core, plan(*MANY, SOCKETS))
    inputs = [item for item in many_stop() if item.received_ms < T0 + 700_000]
    fed(core, inputs)
    core.feed(Settings(received_ms=T0 + 701_000, schedule=plan(*MANY, SOCKETS, FREEZER)))
    assert [a.active for a in core.standing() if a.condition.kind == "flood"] == [True]


def test_work_on_a_circuit_that_the_schedule_does_not_have_is_refused() -> None:
    core = Core()
    begin(core)
    request = Request(kind="working", received_ms=T0 + 1, id="7", who="Kari", circuit="D99", for_s=60.0)
    answer = core.feed(request)[-1]
    assert isinstance(answer, Answer)
    assert (answer.id, answer.done) == ("7", False)
    assert "D99" in answer.why


def test_work_that_ended_while_the_program_was_off_is_over_when_it_starts() -> None:
    core = Core()
    begin(core)
    core.feed(Request(kind="working", received_ms=T0 + 1000, who="Kari", for_s=600.0))
    out = fed(core, list(stream({"D1": lambda t: 4.0 if t < 100 else 0.0}, 300, start_ms=T0 + 2000)))
    assert told(out) == []
    again = Core()
    again.restore(json.loads(json.dumps(core.save())), PLAN, silence_from_start=False)
    out = begin(again, at_ms=T0 + 3_600_000)
    assert told(out) == ["D1"]
    assert again.works() == ()
