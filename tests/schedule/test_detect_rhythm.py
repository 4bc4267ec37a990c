"""What `detect` says of runs, duty and starts, against the core itself. Streams are made by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from panelward.records import Circuit, Duty, Level, Probe, Schedule, Sense, Transition
from panelward.schedule.detect import Sight, detectability
from plans import PLAN, T0, circuit, plan, run, stream

ON = (Level(name="on", watts=52),)
OUTSIDE = Probe(id="T2", where="outside", monitor="dc")
NIGHT = T0 + 17 * 3600_000  # 23:00


def schedule_of(own: Circuit, period_s: float = 2.0, *, probe: bool = False) -> Schedule:
    monitor = replace(PLAN.monitors[0], expect_every_s=period_s)
    supply = replace(PLAN.supplies[0], meter=None)
    return plan(own, monitors=(monitor,), feeders=(), probes=(OUTSIDE,) if probe else (), supplies=(supply,))


def sight(schedule: Schedule, what: str) -> Sight:
    (found,) = (s for s in detectability(schedule) if s.what == what)
    return found


def told(schedule: Schedule, draw: Callable[[float], float], seconds: float, start_ms: int = T0) -> list[Transition]:
    period_s = schedule.monitors[0].expect_every_s
    found = run(schedule, stream({"D1": draw}, seconds, period_s=period_s, start_ms=start_ms))
    return [t for t in found if t.group == "rhythm" and t.event == "begins"]


@pytest.mark.parametrize("publishes", ["always", "on-change"])
@pytest.mark.parametrize("period_s", [2.0, 30.0])
def test_a_run_too_long_is_told_in_its_time(publishes: str, period_s: float) -> None:
    own = circuit("D1", "Lamp", "light", longest_run_s=1200.0, sense=Sense(resolution_a=0.01, publishes=publishes))
    schedule = schedule_of(own, period_s)
    said = sight(schedule, "a run too long")
    assert said.can == "yes"
    length_s = 0 if publishes == "on-change" else said.within_s or 0
    found = run(
        schedule, stream({"D1": 1.0}, length_s, period_s=period_s), until_ms=T0 + round((said.within_s or 0) * 1000) + 60_000
    )
    assert [t.kind for t in found] == ["overlong-run"]
    assert sight(schedule_of(replace(own, loads=circuit("D1", "Lamp", "light").loads)), "a run too long").can == "no"


def test_duty_is_told_in_its_time_and_only_where_rest_and_run_are_told_apart() -> None:
    duty = Duty(low=0.1, high=0.6, window_h=2.0)
    own = circuit("D1", "Pad", "heater-element", duty=duty, levels=ON)
    said = sight(schedule_of(own, 10.0), "duty out of its band")
    assert said.can == "yes"
    assert [t.kind for t in told(schedule_of(own, 10.0), lambda _: 4.0, said.within_s or 0)] == ["duty-high"]
    blind = circuit("D1", "Pad", "heater-element", duty=duty)
    assert sight(schedule_of(blind), "duty out of its band").can == "no"
    assert told(schedule_of(blind, 10.0), lambda _: 4.0, 4 * 3600) == []
    cold = circuit("D1", "Cooler", "compressor", duty=duty, levels=ON)
    assert sight(schedule_of(cold), "duty out of its band").can == "unreliable"
    assert sight(schedule_of(cold, probe=True), "duty out of its band").can == "yes"


@pytest.mark.parametrize(("period_s", "can"), [(2.0, "yes"), (30.0, "yes"), (60.0, "no")])
def test_short_cycling_is_told_in_its_time_or_said_to_be_hidden(period_s: float, can: str) -> None:
    schedule = schedule_of(circuit("D1", "Cooler", "compressor", levels=ON), period_s)
    said = sight(schedule, "short cycling")
    assert said.can == can
    found = told(schedule, lambda t: 4.0 if t % 240 < 120 else 0.0, said.within_s or 3 * 3600)
    assert [t.kind for t in found] == (["short-cycling"] if can == "yes" else [])


@pytest.mark.parametrize(("period_s", "can"), [(1.0, "yes"), (2.0, "yes"), (5.0, "unreliable"), (30.0, "no")])
def test_a_leak_is_told_by_night_where_its_runs_show(period_s: float, can: str) -> None:
    schedule = schedule_of(circuit("D1", "Water pump", "pump", levels=ON), period_s)
    said = sight(schedule, "a leak behind the pump")
    assert said.can == can
    found = told(schedule, lambda t: 4.0 if t % 1500 < 8 else 0.0, 5 * 3600, NIGHT)
    assert [t.cause for t in found] == ([] if can == "no" else ["leak-down"])


@pytest.mark.parametrize(("period_s", "can"), [(2.0, "yes"), (20.0, "unreliable"), (60.0, "no")])
def test_a_sump_that_fills_is_told_where_its_runs_show(period_s: float, can: str) -> None:
    schedule = schedule_of(circuit("D1", "Sump pump", "pump", feed="always-on", levels=ON), period_s)
    said = sight(schedule, "water in the sump")
    assert said.can == can
    found = told(schedule, lambda t: 4.0 if t % 600 < 25 else 0.0, 3600 * 1.2)
    assert [t.cause for t in found] == ([] if can == "no" else ["water-comes-in"])
