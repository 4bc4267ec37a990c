"""Voltage drop: along a circuit's segments, with its loads solved as they behave, and by circular mils.

A load of constant power draws more as its volts fall. Beyond P = V² / 4R there is no solution: the circuit browns out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from panelward.ratings.ampacity import corrected_ampacity_a, steady_c
from panelward.ratings.behaviour import EXPONENT
from panelward.ratings.conductor import greatest_ohm_per_m
from panelward.records import Segment

K_BOAT = 10.75  # ohm circular mils per foot, ABYC E-11 and US Coast Guard chart; length out and back
K_NEC = 12.9  # copper, NEC practice; length one way, times two
# 3 % for panel feeders, navigation lights, bilge pumps and blowers, electronics; 10 % for all else.
CRITICAL_SHARE, OTHER_SHARE = 0.03, 0.10  # ABYC E-11 as quoted; ISO 10133 list; ISO 13297:2021 summary
FAN_EXPONENT = EXPONENT["fan"] - 1.0  # of amps


@dataclass(frozen=True, slots=True)
class Loop:
    """The way out and back. `unknown`: stretches without size or length, which are not in `ohm`."""

    ohm: float
    chassis: bool  # some of the way back is the chassis, which is not in `ohm`
    unknown: int


def loop_ohm(segments: Sequence[Segment], conductor_c: float | None = None, amps: float = 0.0, kind: str = "dc") -> Loop:
    """Resistance of all segments out and back, ohm, at the greatest the standard lets them have.

    `conductor_c` None: each at the temperature at which it rests at `amps` in its place (at most its insulation's).
    A chassis return counts the way out only; the chassis and its joints are not known.
    """
    total, unknown, chassis = 0.0, 0, False
    for segment in segments:
        at_c = conductor_c if conductor_c is not None else _rest_c(segment, amps, kind)
        per_m = greatest_ohm_per_m(segment, at_c)
        if per_m is None or segment.length_m is None:
            unknown += 1
            continue
        chassis = chassis or segment.return_path == "chassis"
        total += per_m * segment.length_m * (1.0 if segment.return_path == "chassis" else 2.0)
    return Loop(total, chassis, unknown)


def _rest_c(segment: Segment, amps: float, kind: str) -> float:
    ampacity = corrected_ampacity_a(segment, kind)
    if ampacity is None:
        return 20.0 if segment.ambient_c is None else segment.ambient_c
    return min(steady_c(ampacity, amps), max(ampacity.insulation_c, ampacity.ambient_c))


@dataclass(frozen=True, slots=True)
class Solved:
    """A circuit at rest under its loads."""

    amps: float
    load_v: float
    drop_v: float
    share: float  # of the nominal volts


def solve(loads: Sequence[tuple[str, float]], ohm: float, source_v: float, nominal_v: float) -> Solved | None:
    """Volts and amps of loads (behaves, watts at nominal volts) at the end of `ohm` fed with `source_v`; None: brown-out.

    constant-power P/V, constant-current P/Vn, constant-impedance V P/Vn², fan with its current as V^1.5. All are convex
    in V, so V + R I(V) = Vs has its working point above the volts at which V + R I(V) is least.
    """

    def current(volts: float) -> float:
        total = 0.0
        for behaves, watts in loads:
            if behaves == "constant-power":
                total += watts / volts
            elif behaves == "constant-current":
                total += watts / nominal_v
            elif behaves == "constant-impedance":
                total += watts / nominal_v * (volts / nominal_v)
            else:
                total += watts / nominal_v * (volts / nominal_v) ** FAN_EXPONENT
        return total

    def needed(volts: float) -> float:
        return volts + ohm * current(volts) - source_v

    low, high = 1e-6 * source_v, source_v
    for _ in range(90):  # thirds: the width falls to 1e-16 of the source
        one, two = low + (high - low) / 3.0, high - (high - low) / 3.0
        if needed(one) < needed(two):
            high = two
        else:
            low = one
    least = (low + high) / 2.0
    # A hair of slack: at exactly P = V²/4R the two solutions meet.
    if needed(least) > 1e-9 * source_v:
        return None
    low, high = least, source_v
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if needed(middle) < 0.0 else (low, middle)
    volts = (low + high) / 2.0
    return Solved(current(volts), volts, source_v - volts, (source_v - volts) / nominal_v)


def circular_mils(k: float, amps: float, length_ft: float, drop_v: float) -> float:
    """Copper that a drop asks for, CM = K I L / E; L out and back with K_BOAT, two times one way with K_NEC."""
    return k * amps * length_ft / drop_v


def drop_by_circular_mils_v(k: float, amps: float, length_ft: float, cmil: float) -> float:
    """The same the other way round: E = K I L / CM."""
    return k * amps * length_ft / cmil
