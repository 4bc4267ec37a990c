"""An inverter stops by itself below its least volts and comes back after them: the circuits behind it are not lost.

The shapes are ISO 16750-2:2023's; at what volts an inverter stops and when it comes back is common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import chain
from math import ceil

import pytest
from supply_shapes import Shape, cranking, momentary_drop, since_below

from panelward.records import Battery, Protection, Reading, Schedule, Supply, Transition
from plans import PLAN, T0, circuit, run

PERIODS_S = (0.5, 1.0, 2.0, 5.0, 10.0)
STOPS_V = 10.5  # of 12
INVERTER_W, OUTLET_A = 80.0, 0.3
SHAPES = tuple(chain(cranking(), momentary_drop()))

# What the watch still says of an inverter that comes back, and why (so only shorter stops are tried below):
#
# | off for                  | what it says                                  | why it does                                 |
# |--------------------------|-----------------------------------------------|---------------------------------------------|
# | 10 s and more            | mains: feed-lost, supply-lost                 | told 10 s after the volts are gone          |
# | 20 s (3 of 150), 40 s    | inverter: protection-opened, device-opened    | the dip of the whole bus is taken for the   |
# | (61 of 150 samplings)    |                                               | dip that a short makes                      |
NOT_YET_S = 100


def house(nominal_v: float, period_s: float) -> Schedule:
    battery = Battery(chemistry="agm", capacity_ah=100, usable=0.5)
    bank = Supply(id="house", kind="dc", nominal_v=nominal_v, battery=battery)
    mains = Supply(id="mains", kind="ac", nominal_v=230, fed_by="D9")
    inverter = circuit("D9", "Inverter", "inverter", protection=Protection(kind="bolt-fuse", rating_a=125), conductor=())
    outlet = circuit("A1", "Galley fridge", "compressor", supply="mains", feed="always-on", always_draws_w=5.0, protection=None)
    lamp = circuit("K1", "Kept lamp", "light", feed="always-on", always_draws_w=5.0)
    monitor = replace(PLAN.monitors[0], expect_every_s=period_s)
    return replace(PLAN, supplies=(bank, mains), feeders=(), probes=(), monitors=(monitor,), circuits=(inverter, outlet, lamp))


def sampled(shape: Shape, period_s: float, instant_s: float, off_s: float) -> list[Transition]:
    """The inverter is off below its least volts and for `off_s` after them."""
    stretches = shape.below(STOPS_V * shape.nominal_v / 12.0)
    rows = []
    for step in range(-ceil(40.0 / period_s), ceil((shape.seconds + 150.0) / period_s)):
        t_s = step * period_s + instant_s % period_s
        at_ms, volts = T0 + round(t_s * 1000.0), round(shape.volts(t_s), 2)
        on = since_below(stretches, t_s) >= off_s
        amps = round(INVERTER_W / volts, 2) if on else 0.0
        rows.append(Reading("D9", at_ms, at_ms, volts=volts, amps=amps, watts=round(volts * amps, 2)))
        mains_v, outlet_a = (230.0, OUTLET_A) if on else (0.0, 0.0)
        rows.append(Reading("A1", at_ms, at_ms, volts=mains_v, amps=outlet_a, watts=mains_v * outlet_a))
        rows.append(Reading("K1", at_ms, at_ms, volts=volts, amps=round(volts / shape.nominal_v, 2)))
    return run(house(shape.nominal_v, period_s), rows)


def stopped_s(shape: Shape, off_s: float) -> float:
    """How long it is off in all."""
    stretches = shape.below(STOPS_V * shape.nominal_v / 12.0)
    return max((ends - begins for begins, ends in stretches), default=0.0) + off_s


def soon_back() -> list[tuple[Shape, float]]:
    return [(s, off_s) for s in SHAPES for off_s in (2.0, 5.0, 10.0, 20.0, 40.0) if stopped_s(s, off_s) < NOT_YET_S]


@pytest.mark.parametrize(("shape", "off_s"), soon_back(), ids=repr)
def test_an_inverter_that_comes_back_by_itself_is_no_alarm(shape: Shape, off_s: float) -> None:
    for period_s in PERIODS_S:
        for instant_s in shape.instants:
            found = sampled(shape, period_s, instant_s, off_s)
            assert [(t.subject_id, t.kind, t.cause) for t in found] == [], (period_s, instant_s)


@pytest.mark.parametrize("shape", [s for s in SHAPES if s.below(STOPS_V * s.nominal_v / 12.0)], ids=repr)
def test_an_inverter_that_stays_off_is_told_once_for_what_hangs_on_it(shape: Shape) -> None:
    """The twin. The fridge behind it is not told beside what feeds it."""
    for period_s in PERIODS_S:
        found = sampled(shape, period_s, shape.instants[0], 1e9)
        begun = [t for t in found if t.event == "begins" and t.told and t.group == "dead"]
        assert begun, period_s
        assert {t.subject_id for t in begun} <= {"mains", "D9"}
        until_ms = T0 + round(1000.0 * (shape.seconds + max(60.0, 3.0 * period_s) + 2.0 * period_s))
        assert begun[0].at_ms <= until_ms
