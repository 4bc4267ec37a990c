"""Banks that run down, for the tests of the supply: physics of their own, through the whole core.

Rest volts are the tables of tests/reference/bank.toml; at the end of a lead bank's charge its resistance grows as in
Shepherd's equation (from memory): R + K / s. What is drawn is invented.
"""

from __future__ import annotations

import tomllib
from bisect import bisect_left
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from math import exp
from pathlib import Path
from random import Random

from panelward.records import Battery, Circuit, Reading, Schedule, Transition
from plans import DETECTOR, FREEZER, INVERTER, METER, PLAN, SOCKETS, T0, plan, run

_REST = tomllib.loads((Path(__file__).parents[1] / "reference" / "bank.toml").read_text())["rest"]
CHARGER = Circuit(id="S1", label="Solar", monitor="dc", supply="house", sense=METER.sense, role="charger")


def rest_v(chemistry: str, charge: float) -> float:
    table, cells = (_REST["lfp"], 4) if chemistry == "lfp" else (_REST["lead"], 1)
    x, y = table["charge"], table["volts"]
    n = min(max(1, bisect_left(x, charge)), len(x) - 1)
    share = (charge - x[n - 1]) / (x[n] - x[n - 1])
    return float(cells * (y[n - 1] + share * (y[n] - y[n - 1])))


@dataclass
class Cell:
    """A bank: rest volts, R0, a slower R1 behind a capacity, and for lead a resistance that grows at the end."""

    chemistry: str
    capacity_ah: float
    charge: float
    r0_ohm: float = 0.007
    r1_ohm: float = 0.003
    tau1_s: float = 60.0
    end_ohm: float = 0.0
    v1: float = 0.0

    def volts(self, amps: float) -> float:
        end = self.end_ohm / max(0.005, self.charge) if amps > 0 else 0.0
        return rest_v(self.chemistry, self.charge) - amps * (self.r0_ohm + end) - self.v1

    def step(self, amps: float, dt_s: float) -> None:
        still = exp(-dt_s / self.tau1_s)
        self.v1 = amps * self.r1_ohm + (self.v1 - amps * self.r1_ohm) * still
        self.charge = min(1.0, max(0.0, self.charge - amps * dt_s / 3600 / self.capacity_ah))


@dataclass
class Ride:
    """A bank with loads until its cut-off, or `hours`; what a monitor says of it."""

    cell: Cell
    cutoff_v: float
    load_a: Callable[[float], float]  # by seconds
    sun_a: Callable[[float], float] = lambda t: 0.0
    full_s: float = 0.0  # held at the absorbing volts, full, for so long first
    absorb_v: float = 14.4
    period_s: float = 5.0
    hours: float = 72.0
    delay_s: float = 10.0
    gain: float = 1.0
    zero_a: float = 0.0
    seed: int = 1
    meter: bool = True
    missing: Callable[[float], bool] = lambda t: False
    bank_c: float | None = None
    cut_s: float | None = field(default=None, init=False)

    def readings(self) -> Iterator[Reading]:
        chance, under_s, n = Random(self.seed), 0.0, 0
        while (t := n * self.period_s) <= self.hours * 3600:
            n += 1
            load, sun = self.load_a(t), self.sun_a(t)
            if t < self.full_s or (self.cell.charge >= 0.995 and sun > load):  # a charger that absorbs
                sun = load + 0.01 * self.cell.capacity_ah
                amps, volts = -0.01 * self.cell.capacity_ah, self.absorb_v
                self.cell.charge, self.cell.v1 = 1.0, 0.0
            else:
                amps = load - sun
                volts = self.cell.volts(amps)
                self.cell.step(amps, self.period_s)
                under_s = under_s + self.period_s if volts < self.cutoff_v else 0.0
                if under_s > self.delay_s:
                    self.cut_s = t
                    return
            if self.missing(t):
                continue
            at_ms = T0 + round(t * 1000)
            shown_v = round(volts + chance.gauss(0, 0.005), 2)
            if self.meter:
                shown_a = round(amps * self.gain + self.zero_a + chance.gauss(0, 0.01), 2)
                yield Reading("SH", at_ms, at_ms, volts=shown_v, amps=shown_a)
            if sun:
                yield Reading("S1", at_ms, at_ms, volts=shown_v, amps=round(-sun, 2))
            yield Reading("D7", at_ms, at_ms, volts=shown_v, amps=round(load, 2))
            if self.bank_c is not None:
                yield Reading("T9", at_ms, at_ms, celsius=self.bank_c)


def house(ride: Ride) -> Schedule:
    """The schedule of a ride. No fuse stands in the way of its one load, which is any load."""
    cell = ride.cell
    battery = Battery(chemistry=cell.chemistry, capacity_ah=200, usable=0.85 if cell.chemistry == "lfp" else 0.5)
    supply = replace(
        PLAN.supplies[0], battery=battery, cutoff_v=ride.cutoff_v, meter="SH" if ride.meter else None,
        nominal_v=12.8 if cell.chemistry == "lfp" else 12.0,
    )  # fmt: skip
    monitors = (replace(PLAN.monitors[0], expect_every_s=ride.period_s),)
    bare = replace(SOCKETS, protection=None, conductor=(), behind=("disconnect",))
    probes = (*PLAN.probes, replace(PLAN.probes[0], id="T9", where="bank"))
    return plan(METER, CHARGER, FREEZER, DETECTOR, bare, INVERTER, supplies=(supply,), monitors=monitors, probes=probes)


def told(ride: Ride) -> list[Transition]:
    """What is said of the supply."""
    return [t for t in run(house(ride), ride.readings()) if t.kind == "undervoltage-approach"]


__all__ = ["CHARGER", "Cell", "Ride", "house", "rest_v", "told"]
