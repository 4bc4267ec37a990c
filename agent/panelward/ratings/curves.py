"""The lines of a coordination diagram as points: what the fitted device may do, what the conductor bears. Pure.

Both from cold, as every data sheet draws them. The device: the earliest and the latest opening of the devices that its
standard allows (ratings.specimens). The conductor: the current that brings its insulation to its rated temperature in so long,
one body with its own time constant; and for a short circuit k²S² (IEC 60364-4-43), which holds up to 5 s.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import exp, floor, inf, log10, sqrt

from panelward.ratings import (
    GATES,
    Ampacity,
    area_mm2,
    device,
    opening_times_s,
    set_names,
    time_constant_s,
    weakest,
    withstand_a2s,
)
from panelward.ratings.fault import ADIABATIC_MOST_S
from panelward.records import Circuit, Protection, Schedule

LEAST_S, MOST_S = 0.1, 36_000.0
STEPS = 120
NEAREST = 0.001
MOST_TIMES = 10.0  # of its rating

Point = tuple[float, float]  # amps, seconds

# Its paper, both ways logarithmic: what is written along the seconds, and the round figures of a decade of amps.
TIMES = ((0.1, "0.1 s"), (1.0, "1 s"), (10.0, "10 s"), (60.0, "1 min"), (600.0, "10 min"), (3600.0, "1 h"), (10800.0, "3 h"))
ROUND = (1.0, 2.0, 5.0)


def round_amps(amps: float, *, up: bool) -> float:
    """The next of 1, 2, 5, 10 … ."""
    decade = 10.0 ** floor(log10(amps))
    steps = [decade * step for step in (*ROUND, 10.0)]
    if up:
        return next(step for step in steps if step >= amps * 0.999)
    return next(step for step in reversed(steps) if step <= amps * 1.001)


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """Where the device may open: between the two lines. Each from the left; inf is left out."""

    rating_a: float
    earliest: tuple[Point, ...]
    latest: tuple[Point, ...]


@lru_cache(maxsize=256)  # a panel has many ways alike
def band(protection: Protection) -> Band | None:
    """None: nothing is published for this kind."""
    fitted = device(protection)
    if not fitted.members:
        return None
    step = (MOST_TIMES - 1.0) ** (1 / STEPS) * NEAREST ** (-1 / STEPS)  # closer and closer towards its rating
    multiples = [1.0 + NEAREST * step**i for i in range(STEPS + 1)]
    # The gates of its standard themselves: there the lines are exact, between them they are chords.
    multiples += [gate.multiple for name in set_names(protection) for gate in GATES[name]]
    if fitted.magnetic is not None:
        multiples += [each * by for each in fitted.magnetic for by in (0.9999, 1.0001)]
    earliest: list[Point] = []
    latest: list[Point] = []
    for multiple in sorted(set(multiples)):
        early_s, _, late_s = opening_times_s(fitted, multiple)
        amps = multiple * fitted.rating_a
        if early_s is not None and early_s < inf:
            earliest.append((amps, early_s))
        if late_s is not None and late_s < inf:
            latest.append((amps, late_s))
    return Band(rating_a=fitted.rating_a, earliest=tuple(earliest), latest=tuple(latest))


def opens_within(protection: Protection, amps: float, seconds: float) -> bool:
    """May a device of this type open if so much flows for so long, from cold?"""
    earliest = opening_times_s(device(protection), amps / protection.fitted_a)[0]
    return earliest is not None and earliest <= seconds


@dataclass(frozen=True, slots=True, kw_only=True)
class Bears:
    """What the weakest stretch bears."""

    ampacity: Ampacity
    warm: tuple[Point, ...]  # to its insulation's rated temperature
    short: tuple[Point, ...]  # k²S², up to 5 s


def ampacity_of(schedule: Schedule, circuit: Circuit) -> Ampacity | None:
    """Of the stretch that carries least."""
    kind = schedule.supply(circuit.supply).kind
    return weakest(circuit.conductor, kind, schedule.vehicle.rules(kind))


def bears(schedule: Schedule, circuit: Circuit) -> Bears | None:
    """None: the schedule does not tell its size."""
    ampacity = ampacity_of(schedule, circuit)
    if ampacity is None or ampacity.thermal_a <= 0.0:
        return None
    tau_s = time_constant_s(ampacity)
    warm = [(ampacity.thermal_a / sqrt(1.0 - exp(-seconds / tau_s)), seconds) for seconds in _times(LEAST_S, MOST_S)]
    squares = [
        withstand_a2s(area, segment.insulation_c or 70.0)
        for segment in circuit.conductor
        if (area := area_mm2(segment)) is not None
    ]
    short = [(sqrt(min(squares) / seconds), seconds) for seconds in _times(LEAST_S, ADIABATIC_MOST_S)]
    return Bears(ampacity=ampacity, warm=tuple(warm), short=tuple(short))


def _times(least_s: float, most_s: float) -> Sequence[float]:
    step = (most_s / least_s) ** (1 / 40)
    return [least_s * step**i for i in range(41)]
