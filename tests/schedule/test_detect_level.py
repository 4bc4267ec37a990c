"""What `check` says of levels is what the core does: each limit run from both sides."""

from __future__ import annotations

from dataclasses import replace

import pytest

from panelward.records import Circuit, Level, Sense, Transition
from panelward.schedule.detect import detectability
from plans import PLAN, T0, circuit, plan, run, stream

WINCH = circuit("D9", "Mast winch", "motor", levels=(Level(name="turning", watts=64),))
PUMP = circuit(
    "D4", "Water pump", "pump", behaves="constant-current", levels=(Level(name="pumping", watts=64, tolerance=0.25),)
)
PAD = circuit("D5", "Tank heater", "heater-element", behaves="constant-impedance", levels=(Level(name="on", watts=64),))


def sight(own: Circuit, what: str, period_s: float) -> tuple[str, float | None, str]:
    schedule = replace(plan(own), monitors=(replace(PLAN.monitors[0], expect_every_s=period_s),))
    found = next(s for s in detectability(schedule) if s.circuit == own.id and s.what == what)
    return found.can, found.within_s, found.why


def begins(own: Circuit, amps: float, seconds: float, period_s: float, cause: str) -> list[Transition]:
    schedule = replace(plan(own), monitors=(replace(PLAN.monitors[0], expect_every_s=period_s),))
    found = run(schedule, stream({own.id: lambda t: amps if t >= 120 else 0.0}, seconds, period_s=period_s, volts=12.8))
    return [t for t in found if t.cause == cause and t.event == "begins"]


@pytest.mark.parametrize("period_s", [1.0, 2.0, 5.0, 10.0])
def test_a_stall_is_told_within_the_time_said_and_from_the_amps_said(period_s: float) -> None:
    can, within_s, why = sight(WINCH, "a stall", period_s)
    assert (can, why) == ("yes", "from 10 A, longer than it starts")
    assert within_s is not None
    told = begins(WINCH, 10.4, 300, period_s, "stalled")
    assert [t.at_ms - T0 <= (120 + within_s) * 1000 for t in told] == [True]
    assert begins(WINCH, 9.6, 300, period_s, "stalled") == []


@pytest.mark.parametrize("period_s", [1.0, 5.0])
def test_a_dry_pump_is_told_within_the_time_said_and_below_the_watts_said(period_s: float) -> None:
    can, within_s, why = sight(PUMP, "running dry", period_s)
    assert can == "yes"
    assert within_s is not None
    least_w = float(why.removeprefix("below ").split(" ", 1)[0])
    told = begins(PUMP, 0.96 * least_w / 12.8, 300, period_s, "runs-dry")
    assert [t.at_ms - T0 <= (120 + within_s) * 1000 for t in told] == [True]
    assert begins(PUMP, 1.03 * least_w / 12.8, 300, period_s, "runs-dry") == []


def test_more_than_is_listed_is_told_within_the_time_said_and_above_the_watts_said() -> None:
    can, within_s, why = sight(PAD, "more than is listed", 5.0)
    assert can == "yes"
    assert within_s is not None
    most_w = float(why.removeprefix("above ").split(" ", 1)[0])
    told = begins(PAD, 1.03 * most_w / 12.8, 1200, 5.0, "more-than-listed")
    assert [t.at_ms - T0 <= (120 + within_s) * 1000 for t in told] == [True]
    assert begins(PAD, 0.97 * most_w / 12.8, 1200, 5.0, "more-than-listed") == []


def test_what_a_period_is_too_long_for_is_said() -> None:
    fan = circuit("D8", "Roof fan", "fan", levels=(Level(name="full", watts=30),))
    assert sight(fan, "starts that fail", 1.0)[0] == "yes"
    assert sight(fan, "starts that fail", 10.0)[0] == "unreliable"  # as far as a reading falls on a try
    assert sight(replace(fan, sense=Sense(resolution_a=0.01, reports="mean")), "starts that fail", 10.0)[0] == "no"
    small = replace(fan, sense=Sense(resolution_a=0.01, publishes="on-change"))
    assert sight(small, "a stall", 1.0)[0] == "unreliable"
