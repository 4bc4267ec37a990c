"""Draws and starts of measured appliances (tests/reference/appliances.json, from ACSF1 and PLAID) through the core.

As they are, and switched off by hand, they are no alarm. On a fuse whose published gates they exceed, what follows is an
opening. The fuse opens where the gates say that every device of its type has opened.
"""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from math import inf
from pathlib import Path
from typing import Any

import pytest

from panelward.records import Level, Protection, Reading, Schedule, Sense, Supply, Surge, Transition
from plans import FREEZER, PLAN, T0, circuit, plan, run

REFERENCE = Path(__file__).resolve().parents[1] / "reference"
MADE: dict[str, Any] = json.loads((REFERENCE / "appliances.json").read_text())
DEVICES: dict[str, Any] = tomllib.loads((REFERENCE / "devices.toml").read_text())
STEP_S: float = MADE["period_s"]
BANK_V, EFFICIENCY = 12.8, 0.88  # of an inverter; common practice, no source
BLADES_A = (2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0)  # ISO 8820-3; the steps from memory
AMPLE = (*((a, "blade-fuse") for a in BLADES_A), *((a, "bolt-fuse") for a in (60.0, 80.0, 100.0, 125.0, 150.0, 200.0)))
GLASS_A = (0.5, 1.0, 2.0, 3.0, 5.0)  # of appliances on 230 V; from memory

DRAWS = MADE["draws"]
STARTS = MADE["starts"]
IDS = [f"{d['class']}-{d['trace']}" for d in DRAWS]


def direct_a(draw: dict[str, Any]) -> list[float]:
    """What an inverter takes from the bank for it; in rest the inverter still takes a little."""
    return [0.6 + max(0.0, watts) / EFFICIENCY / BANK_V for watts in draw["watts"]]


def alternating_a(draw: dict[str, Any]) -> list[float]:
    return [float(amps) for amps in draw["amps"]]


def must_be_open(amps: list[float], rating_a: float, gates: list[tuple[float, float]]) -> int | None:
    """Index from which on every device of the type has opened: carried at a gate's multiple for its longest time."""
    carried_s = [0.0] * len(gates)
    for n, a in enumerate(amps):
        for k, (multiple, longest_s) in enumerate(gates):
            if a < multiple * rating_a:
                carried_s[k] = 0.0
            elif carried_s[k] > longest_s:
                return n
            else:
                carried_s[k] += STEP_S
    return None


BLADE_GATES = [(m, s) for m, _, s in DEVICES["gates"]["blade-fuse-C"]["rows"] if s < inf]
GLASS_GATES = [(m, s) for low, high, m, s in DEVICES["ul248_14"]["rows"] if low == 0]


def openings(amps: list[float], ratings: tuple[float, ...], gates: list[tuple[float, float]]) -> list[tuple[float, int]]:
    """For each gate the largest rating whose devices this draw opens by it, and where they have opened."""
    found = []
    for gate in gates:
        ends = [(rating_a, must_be_open(amps, rating_a, [gate])) for rating_a in sorted(ratings, reverse=True)]
        largest = next((rating_a for rating_a, n in ends if n is not None), None)
        if largest is not None and (n := must_be_open(amps, largest, gates)) and (largest, n) not in found:
            found.append((largest, n))
    return found


def played(amps: list[float], *, volts: float, period_s: float = STEP_S, rest_s: float = 200.0) -> list[Reading]:
    """The draw held from sample to sample, then nothing; beside it a freezer that runs."""
    rows = []
    for k in range(round((len(amps) * STEP_S + rest_s) / period_s)):
        at_ms = T0 + round(k * period_s * 1000.0)
        n = int(k * period_s // STEP_S)
        a = round(amps[n], 2) if n < len(amps) else 0.0
        rows.append(Reading("A1", at_ms, at_ms, volts=volts, amps=a, watts=round(a * volts, 2)))
        rows.append(Reading("D1", at_ms, at_ms, volts=13.0, amps=4.0))
    return rows


def fused(kind: str, rating_a: float, *, feed: str, ac: bool, **keys: Any) -> Schedule:
    """The appliance's circuit: from the bank through an inverter, or the 230 V circuit behind it. No conductor: its
    warmth is tested elsewhere."""
    kind_of = "C" if kind == "blade-fuse" else None
    device = Protection(kind=kind, type=kind_of, rating_a=rating_a)
    way = circuit("A1", "Appliance", "socket" if ac else "inverter", feed=feed, supply="mains" if ac else "house",
                  protection=device, conductor=(), sense=Sense(resolution_a=0.01), **keys)  # fmt: skip
    mains = Supply(id="mains", kind="ac", nominal_v=230)
    slow = replace(PLAN.monitors[0], expect_every_s=STEP_S)
    return replace(plan(way, FREEZER), supplies=(PLAN.supplies[0], mains), feeders=(), monitors=(slow,))


def of_appliance(found: list[Transition]) -> list[tuple[str, str | None]]:
    return [(t.kind, t.cause) for t in found if t.subject_id == "A1" and t.event == "begins"]


OPENINGS = [
    pytest.param(ac, kind, rating_a, amps[:n], id=f"{'AC' if ac else 'DC'}-{name}-{rating_a:g}A")
    for ac, kind, ratings, gates in ((False, "blade-fuse", BLADES_A, BLADE_GATES), (True, "glass-fuse", GLASS_A, GLASS_GATES))
    for name, draw in zip(IDS, DRAWS, strict=True)
    for amps in [alternating_a(draw) if ac else direct_a(draw)]
    for rating_a, n in openings(amps, ratings, gates)
]


@pytest.mark.parametrize("feed", ["switched", "always-on"])
@pytest.mark.parametrize(("ac", "kind", "rating_a", "amps"), OPENINGS)
def test_a_draw_that_no_device_of_its_rating_carries_and_then_nothing_is_an_opening(
    ac: bool, kind: str, rating_a: float, amps: list[float], feed: str
) -> None:
    found = run(fused(kind, rating_a, feed=feed, ac=ac), played(amps, volts=230.0 if ac else BANK_V))
    dead = [(t.kind, t.cause) for t in found if t.group == "dead" and t.event == "begins" and t.subject_id == "A1"]
    assert dead == [("protection-opened", "device-opened")]


def test_there_are_draws_of_both_kinds() -> None:
    assert len(OPENINGS) >= 24
    assert {p.values[0] for p in OPENINGS} == {False, True}
    assert len({d["class"] for d in DRAWS}) == 10
    assert all(d["misfit"] <= 0.03 for d in DRAWS), "volts times amps is the apparent power"


def ample(amps: list[float]) -> tuple[float, str]:
    """The first rating that its greatest draw loads to 80 % at the most (NEC 210.20(A))."""
    return next((a, kind) for a, kind in AMPLE if 0.8 * a >= max(amps))


@pytest.mark.parametrize("period_s", [5.0, 10.0])
@pytest.mark.parametrize("ac", [False, True], ids=["DC", "AC"])
@pytest.mark.parametrize("draw", DRAWS, ids=IDS)
def test_the_same_draw_on_an_ample_fuse_then_switched_off_by_hand_is_no_alarm(
    draw: dict[str, Any], ac: bool, period_s: float
) -> None:
    """Cut off at its greatest draw, and again in rest: an hour of pauses, standby and bursts before it."""
    amps = alternating_a(draw) if ac else direct_a(draw)
    rating_a, kind = ample(amps)
    for until in (max(range(len(amps)), key=amps.__getitem__) + 1, len(amps)):
        found = run(
            fused(kind, rating_a, feed="switched", ac=ac),
            played(amps[:until], volts=230.0 if ac else BANK_V, period_s=period_s),
        )
        assert of_appliance(found) == []


@pytest.mark.parametrize("draw", DRAWS, ids=IDS)
def test_an_appliance_at_rest_on_a_feed_that_is_always_on_is_no_alarm(draw: dict[str, Any]) -> None:
    """230 V, nothing known of what it always draws: its pauses, some of them at exactly nothing, are no lost feed."""
    amps = alternating_a(draw)
    rating_a, kind = ample(amps)
    resting = [a if a <= 0.2 * max(amps) else 0.0 for a in amps]
    for trace in (amps, resting):
        assert of_appliance(run(fused(kind, rating_a, feed="always-on", ac=True), played(trace, volts=230.0, rest_s=0.0))) == []


def started(start: dict[str, Any], settled_a: float, phase: int, run_s: float, period_s: float) -> list[Reading]:
    """Off, a measured start with a sample on its cycle number `phase`, its settled draw, off by hand."""
    multiples, cycle_s = start["multiples"], MADE["cycle_s"]
    begins_s = 60.0 - phase * cycle_s  # a sample at 60 s lies on that cycle
    rows = []
    for k in range(round((60.0 + run_s + 300.0) / period_s)):
        t_s = k * period_s
        at_ms = T0 + round(t_s * 1000.0)
        n = int((t_s - begins_s) / cycle_s + 0.5) if t_s >= begins_s - 1e-9 else None
        times = 0.0 if n is None or t_s >= 60.0 + run_s else multiples[n] if n < len(multiples) else 1.0
        a = round(times * settled_a, 2)
        rows.append(Reading("A1", at_ms, at_ms, volts=BANK_V, amps=a, watts=round(a * BANK_V, 2)))
        rows.append(Reading("D1", at_ms, at_ms, volts=13.0, amps=4.0))
    return rows


def test_the_starts_are_starts() -> None:
    assert len({s["class"] for s in STARTS}) == 11
    assert max(max(s["multiples"]) for s in STARTS) > 7.0
    assert all(s["multiples"][-1] == pytest.approx(1.0, abs=0.05) for s in STARTS)


@pytest.mark.parametrize("written", [True, False], ids=["surge-written", "no-surge-written"])
@pytest.mark.parametrize("start", STARTS, ids=[f"{s['class']}-{s['trace']}" for s in STARTS])
def test_a_measured_start_and_a_hand_on_the_switch_are_no_alarm(start: dict[str, Any], written: bool) -> None:
    """Its settled draw is 60 % of the rating; a sample lies on its peak or just beside it; off a few samples later."""
    peak = max(range(len(start["multiples"])), key=start["multiples"].__getitem__)
    surge = Surge(times=max(1.1, *start["multiples"]), seconds=3.0)
    levels = (Level(name="on", watts=9.0 * BANK_V, tolerance=0.25, surge=surge),) if written else ()
    for period_s in (1.0, 5.0, 10.0):
        for phase in sorted({0, peak, peak + 2}):
            for run_s in (2.0 * period_s, 3.0 * period_s, 120.0):
                schedule = fused("blade-fuse", 15.0, feed="switched", ac=False, levels=levels)
                slow = replace(schedule, monitors=(replace(PLAN.monitors[0], expect_every_s=period_s),))
                found = of_appliance(run(slow, started(start, 9.0, phase, run_s, period_s)))
                assert found == [], (period_s, phase, run_s)
