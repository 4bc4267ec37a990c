"""An inverter that is on for nothing, and what only looks like it. Streams are invented."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest

from panelward.records import Circuit, Level, Protection, Reading, Schedule, Sense, Supply, Transition
from panelward.wording import alarm_object
from plans import PLAN, T0, circuit, plan, run

HOUR = 3600.0
INVERTER = circuit(
    "D9", "Inverter", "inverter", standby_max_w=3.0, levels=(Level(name="idle", watts=21),),
    protection=Protection(kind="bolt-fuse", rating_a=125),
)  # fmt: skip
BENCH = circuit("A1", "Bench outlet", "socket", supply="inverter", sense=Sense(resolution_a=0.01))
OFFICE = circuit("A2", "Office rack", "electronics", supply="inverter", sense=Sense(resolution_a=0.01))
Draw = Callable[[float], float]


def panel(period_s: float = 10.0, *own: Circuit) -> Schedule:
    mains = Supply(id="inverter", kind="ac", nominal_v=230, fed_by="D9", presence="comes-and-goes")
    monitor = replace(PLAN.monitors[0], expect_every_s=period_s)
    return plan(*(own or (INVERTER, BENCH, OFFICE)), supplies=(*PLAN.supplies, mains), monitors=(monitor,), probes=())


def rows(
    bench_w: Draw, office_w: Draw, on: Draw, hours: float, period_s: float = 10.0, silent: bool = False
) -> Iterator[Reading]:
    for n in range(int(hours * HOUR / period_s)):
        t_s = n * period_s
        at_ms = T0 + round(t_s * 1000)
        ac_w = (bench_w(t_s) + office_w(t_s)) * on(t_s)
        dc_w = (21.0 + ac_w / 0.88) * on(t_s) + 0.5
        yield Reading("D9", at_ms, at_ms, volts=13.0, amps=round(dc_w / 13.0, 2))
        if not silent or t_s < 60:
            yield Reading("A1", at_ms, at_ms, volts=230.0 * on(t_s), amps=round(bench_w(t_s) * on(t_s) / 230, 2))
        yield Reading("A2", at_ms, at_ms, volts=230.0 * on(t_s), amps=round(office_w(t_s) * on(t_s) / 230, 2))


def drains(transitions: list[Transition]) -> list[tuple[str, str, object]]:
    return [(t.event, t.priority, dict(t.figures)["why"]) for t in transitions if t.group == "drain"]


@pytest.mark.parametrize("period_s", [2.0, 10.0, 30.0])
def test_an_inverter_that_idles_is_told_within_two_hours(period_s: float) -> None:
    use = lambda t: 300.0 if t < HOUR else 0.0  # noqa: E731
    found = run(panel(period_s), rows(use, lambda _: 0.0, lambda _: 1.0, 4, period_s))
    assert drains(found) == [("begins", "medium", "idling")]
    told = next(t for t in found if t.group == "drain")
    assert told.at_ms - T0 <= 3 * HOUR * 1000
    said = alarm_object(told, panel(period_s))
    assert said["message"].startswith("Is Inverter meant to be on? If not, switch it off: 21.")
    assert said["message"].endswith("W since 07:00 with nothing running from it.")
    assert "Of the 2 circuits that it feeds none draws anything." in said["evidence"]


def test_it_is_over_when_something_runs_or_it_is_switched_off() -> None:
    use = lambda t: 300.0 if t > 2 * HOUR else 0.0  # noqa: E731
    assert [x[0] for x in drains(run(panel(), rows(use, lambda _: 0.0, lambda _: 1.0, 3)))] == ["begins", "ends"]
    off = lambda t: 1.0 if t < 2 * HOUR else 0.0  # noqa: E731
    assert [x[0] for x in drains(run(panel(), rows(lambda _: 0.0, lambda _: 0.0, off, 3)))] == ["begins", "ends"]


TWINS: dict[str, tuple[Draw, Draw, Draw]] = {
    "an AC device that is always on": (lambda _: 0.0, lambda _: 9.0, lambda _: 1.0),
    "used every half hour": (lambda t: 400.0 if t % 1800 < 120 else 0.0, lambda _: 0.0, lambda _: 1.0),
    "switched off": (lambda _: 0.0, lambda _: 0.0, lambda t: 1.0 if t < 1800 else 0.0),
    "on for three quarters of an hour": (lambda _: 0.0, lambda _: 0.0, lambda t: 1.0 if t % (2 * HOUR) < 2700 else 0.0),
}


@pytest.mark.parametrize("name", TWINS)
def test_an_inverter_in_use_is_not_idle(name: str) -> None:
    bench_w, office_w, on = TWINS[name]
    assert drains(run(panel(), rows(bench_w, office_w, on, 6))) == []


def test_what_a_silent_circuit_draws_nobody_knows() -> None:
    assert drains(run(panel(), rows(lambda _: 0.0, lambda _: 0.0, lambda _: 1.0, 4, silent=True))) == []


def test_a_low_bus_puts_no_fan_between_its_levels() -> None:
    """A fan's watts fall to two thirds at 11 V: that is its volts, not a drain."""
    fan = circuit("D8", "Roof fan", "fan", behaves="fan", standby_max_w=0.5, levels=(Level(name="full", watts=30),))
    readings = (
        Reading("D8", T0 + n * 10_000, T0 + n * 10_000, volts=11.0, amps=round(30 / 12.8 * (11 / 12.8) ** 1.5, 2))
        for n in range(1500)
    )
    assert drains(run(panel(10.0, fan), readings)) == []
