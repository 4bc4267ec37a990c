"""Protective devices: the bands of their types, and two bodies that bound what a device inside them may do.

A type's standard leaves a wide band between the shortest and the longest opening time. `quickest` and `slowest`
each satisfy every gate of the type, near its short and its long side: the earliest and the latest opening come
from them. What lies between (the likely time) is not claimed. Where no gates are published, no time is claimed.

Sources stand beside the numbers. "From memory" means what it says: not seen in a text.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from panelward.ratings.thermal import Body
from panelward.records import Protection


@dataclass(frozen=True, slots=True)
class Gate:
    """At `multiple` times the rating, from cold, the device opens no sooner than `min_s` and no later than `max_s`."""

    multiple: float
    min_s: float
    max_s: float
    source: str


_C = "data sheets naming ISO 8820-3, quoted in two public texts"
_E = "DIN 72581-3 form E extract"
_IEC = "IEC 60898-1 tests a to e, IS/IEC 60898-1:2002 and two makers' type-test tables"
_UL = "UL 489 summary"
_G = "UL/CSA 248-14 summary"

GATES: dict[str, tuple[Gate, ...]] = {
    "blade-fuse C": (
        Gate(1.00, 360_000, inf, _C),
        Gate(1.35, 0.75, 600, _C),
        Gate(1.60, 0.25, 50, _C),
        Gate(2.00, 0.15, 5, _C),
        Gate(3.50, 0.08, 0.5, _C),
        Gate(6.00, 0.0, 0.15, _C),
    ),
    "blade-fuse F": (
        Gate(1.00, 360_000, inf, "as type C, from memory"),
        Gate(1.35, 0.75, 600, "as type C, from memory"),
        Gate(2.00, 0.15, 5, "as type C, from memory"),
        Gate(3.50, 0.08, 0.5, "as type C, from memory"),
        Gate(6.00, 0.0, 0.15, "as type C, from memory"),
    ),
    "blade-fuse E": (
        Gate(1.00, 360_000, inf, _E),
        Gate(1.35, 60, 1800, _E),
        Gate(2.00, 2, 60, _E),
        Gate(3.50, 0.2, 7, _E),
        Gate(6.00, 0.04, 1.0, "a data sheet naming ISO 8820-3, quoted in a public text"),
    ),
    "breaker": (  # the thermal side of IEC 60898-1 types B, C and D, up to 32 A
        Gate(1.13, 3600, inf, _IEC),
        Gate(1.45, 0, 3600, _IEC),
        Gate(2.55, 1, 60, _IEC),
    ),
    "breaker-thermal": (
        Gate(1.00, 360_000, inf, _UL),
        Gate(1.35, 0, 3600, _UL),
        Gate(2.00, 0, 120, _UL),
    ),
    "glass-fuse": (
        Gate(1.00, 360_000, inf, _G),
        Gate(1.35, 0, 3600, _G),
        Gate(2.00, 0, 120, _G),
    ),
}

# IEC 60898-1: trips at once (under 0.1 s) between the first and the second multiple of its rating.
MAGNETIC = {"breaker-b": (3.0, 5.0), "breaker-c": (5.0, 10.0), "breaker-d": (10.0, 20.0)}

# Bodies found by a search over (pickup, share, tau, tau) under the gates above; tests/ratings checks every gate.
_QUICK_C = Body(1.0005, ((0.98, 0.93), (0.02, 120.0)))
_SLOW_C = Body(1.345, ((0.421, 1.173), (0.579, 72.6)))
_QUICK_E = Body(1.0005, ((0.2415, 0.502), (0.7585, 118.6)))
_SLOW_E = Body(1.345, ((0.380, 7.17), (0.620, 398.0)))
_QUICK_BREAKER = Body(1.1305, ((1.0, 4.7),))
_SLOW_BREAKER = Body(1.4495, ((1.0, 150.0),))
# No shortest times are published for these two: 10 s and 0.5 s are from memory, on the quick side.
_QUICK_THERMAL = Body(1.0005, ((1.0, 10.0),))
_QUICK_GLASS = Body(1.0005, ((1.0, 0.5),))
_SLOW_UL = Body(1.345, ((1.0, 198.0),))
# IEC 60898-1 gives 120 s at 2.55 above 32 A; UL 489 and UL 248-14 give 240 s at 2.0 above 30 A (489: from memory).
_SLOW_BREAKER_LARGE = Body(1.4495, ((1.0, 300.0),))
_SLOW_UL_LARGE = Body(1.345, ((1.0, 396.0),))


@dataclass(frozen=True, slots=True)
class Device:
    """What is fitted, as the watch needs it. `quickest` or `slowest` None: no opening time is claimed."""

    rating_a: float
    quickest: Body | None
    slowest: Body | None
    magnetic: tuple[float, float] | None
    carries: float  # multiple of the rating that a device of this type carries for ever, at the least
    word: str  # fuse | breaker | output
    reference_c: float


def device(protection: Protection) -> Device:
    """The device in the way, by its kind, type and fitted rating."""
    kind, fitted = protection.kind, protection.fitted_a
    if kind == "blade-fuse":
        if protection.type == "E":
            return Device(fitted, _QUICK_E, _SLOW_E, None, 1.0, "fuse", 23.0)
        if protection.type is None:  # not known which: the quick side of C, the slow side of E
            return Device(fitted, _QUICK_C, _SLOW_E, None, 1.0, "fuse", 23.0)
        return Device(fitted, _QUICK_C, _SLOW_C, None, 1.0, "fuse", 23.0)
    if kind == "glass-fuse":
        return Device(fitted, _QUICK_GLASS, _SLOW_UL if fitted <= 30 else _SLOW_UL_LARGE, None, 1.0, "fuse", 25.0)
    if kind == "bolt-fuse":
        return Device(fitted, None, None, None, 1.0, "fuse", 23.0)
    if kind in MAGNETIC:
        slow = _SLOW_BREAKER if fitted <= 32 else _SLOW_BREAKER_LARGE
        return Device(fitted, _QUICK_BREAKER, slow, MAGNETIC[kind], 1.13, "breaker", 30.0)
    if kind in ("breaker-thermal", "breaker-self-resetting"):
        return Device(fitted, _QUICK_THERMAL, _SLOW_UL if fitted <= 30 else _SLOW_UL_LARGE, None, 1.0, "breaker", 25.0)
    return Device(fitted, None, None, None, 1.0, "output", 23.0)


def warm_factor(fitted: Device, panel_c: float | None) -> float:
    """How much less the quick side carries in a warm panel: at most 1.

    Fuses: 0.33 % per kelvin above 20 °C, from the re-rating row of a type E 40 A link (40 A to 20 °C, 34 A at 65 °C;
    a data sheet naming ISO 8820-3). It is the steepest published for blades, so it belongs to the earliest opening.
    Breakers: 0.5 % per kelvin above their reference, from memory.
    """
    if panel_c is None:
        return 1.0
    if fitted.word == "breaker":
        return max(0.5, 1.0 - 0.005 * max(0.0, panel_c - fitted.reference_c))
    return max(0.5, 1.0 - 0.0033 * max(0.0, panel_c - 20.0))


def cold_factor(panel_c: float | None) -> float:
    """How much more the slow side carries in a cold panel: at least 1. 107 % at -20 °C (MIL-PRF-23419/9D, step 3)."""
    if panel_c is None or panel_c >= 23.0:
        return 1.0
    return 1.0 + 0.07 * (23.0 - panel_c) / 43.0
