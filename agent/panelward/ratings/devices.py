"""Protective devices: the types, what their standards print, and what a device of a type may do.

A type's standard leaves a wide band between the shortest and the longest opening time: one curve would be a lie. So a
type is told by `members`: a fixed, published set of devices (ratings.members) of which each satisfies every gate of
the type. What they do together is what the fitted device may do. `proof` holds the edges of every type that goes into
the same holder, at the outer band of its standard. Only what not one of them could carry proves that another device is
fitted. Where no gates are known (electronic outputs) there are no members and no time is claimed.

Sources stand beside the numbers. "From memory" means what it says: not seen in a text.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from math import inf

from panelward.ratings.members import MEMBERS
from panelward.ratings.thermal import Body
from panelward.records import Protection

HOUR_S = 3600.0


@dataclass(frozen=True, slots=True)
class Gate:
    """At `multiple` times the rating, from cold, the device opens no sooner than `min_s` and no later than `max_s`."""

    multiple: float
    min_s: float
    max_s: float
    source: str


_C = "data sheets naming ISO 8820-3, quoted in two public texts"
_F = "as type C, from memory"
_E = "DIN 72581-3 form E extract"
_E6 = "a data sheet naming ISO 8820-3, quoted in a public text"
_SF = "ISO 8820-5 links, from memory"
_IEC = "IEC 60898-1 tests a to c, IS/IEC 60898-1:2002 and type-test tables"
_UL = "UL 489 summary; the shortest time from memory"
_UL_MORE = "UL 489, from memory"
_G = "UL/CSA 248-14 summary; the shortest time from memory"

GATES: dict[str, tuple[Gate, ...]] = {
    "blade-fuse C": (
        Gate(1.00, 360_000, inf, _C),
        Gate(1.35, 0.75, 600, _C),
        Gate(1.60, 0.25, 50, _C),
        Gate(2.00, 0.15, 5, _C),
        Gate(3.50, 0.08, 0.5, _C),
        Gate(6.00, 0.0, 0.15, _C),
    ),
    "blade-fuse E": (
        Gate(1.00, 360_000, inf, _E),
        Gate(1.35, 60, 1800, _E),
        Gate(2.00, 2, 60, _E),
        Gate(3.50, 0.2, 7, _E),
        Gate(6.00, 0.04, 1.0, _E6),
    ),
    "bolt-fuse SF 30": (
        Gate(1.00, 14_400, inf, _SF),
        Gate(1.35, 120, 1800, _SF),
        Gate(2.00, 3, 100, _SF),
        Gate(3.00, 0.3, 3, _SF),
        Gate(5.00, 0.1, 1, _SF),
    ),
    "bolt-fuse SF 51": (
        Gate(1.00, 14_400, inf, _SF),
        Gate(1.35, 120, 1800, _SF),
        Gate(2.00, 1, 15, _SF),
        Gate(3.50, 0.3, 5, _SF),
        Gate(6.00, 0.1, 1, _SF),
    ),
    "breaker-thermal to 30 A": (
        Gate(1.00, 360_000, inf, _UL),
        Gate(1.35, 0, HOUR_S, _UL),
        Gate(2.00, 2, 120, _UL),
    ),
    "breaker-thermal to 50 A": (
        Gate(1.00, 360_000, inf, _UL_MORE),
        Gate(1.35, 0, HOUR_S, _UL_MORE),
        Gate(2.00, 2, 240, _UL_MORE),
    ),
    "breaker-thermal above 50 A": (
        Gate(1.00, 360_000, inf, _UL_MORE),
        Gate(1.35, 0, 2 * HOUR_S, _UL_MORE),
        Gate(2.00, 2, 360, _UL_MORE),
    ),
    "glass-fuse to 30 A": (
        Gate(1.00, 360_000, inf, _G),
        Gate(1.35, 0, HOUR_S, _G),
        Gate(2.00, 0.1, 120, _G),
    ),
    "glass-fuse above 30 A": (
        Gate(1.00, 360_000, inf, _G),
        Gate(1.35, 0, HOUR_S, _G),
        Gate(2.00, 0.1, 240, _G),
    ),
}

# Type F as type C, from memory. And the outer band that ISO 8820-3 leaves a blade, for proofs: 1,800 s at 1.35 times.
_OUTER = Gate(1.35, 0.75, 1800, "noiasca.rothschopf.net, remark on ISO 8820-3")
GATES |= {
    "blade-fuse F": tuple(replace(gate, source=_F) for gate in GATES["blade-fuse C"]),
    "blade-fuse C, outer": tuple(_OUTER if gate.multiple == _OUTER.multiple else gate for gate in GATES["blade-fuse C"]),
}

# IEC 60898-1: up to 63 A an hour, above two; the longest at 2.55 grows above 32 A; test d: no trip within 0.1 s at
# the least magnetic multiple, which the thermal side must keep too.
_IEC_SIZES = (("to 32 A", HOUR_S, 60.0), ("to 63 A", HOUR_S, 120.0), ("above 63 A", 2 * HOUR_S, 120.0))
GATES |= {
    f"breaker-{letter} {size}": (
        Gate(1.13, hold_s, inf, _IEC),
        Gate(1.45, 0, hold_s, _IEC),
        Gate(2.55, 1, longest_s, _IEC),
        Gate(at_least, 0.1, inf, "IEC 60898-1 test d"),
    )
    for letter, at_least in (("b", 3.0), ("c", 5.0), ("d", 10.0))
    for size, hold_s, longest_s in _IEC_SIZES
}

# IEC 60898-1: trips at once (under 0.1 s) between the first and the second multiple of its rating.
MAGNETIC = {"breaker-b": (3.0, 5.0), "breaker-c": (5.0, 10.0), "breaker-d": (10.0, 20.0)}
MAGNETIC_MAX_S = 0.1  # IEC 60898-1 test e
MAGNETIC_MIN_S = 0.01  # half a wave at 50 Hz


BOOST = 1.14  # 14.6 V on a 12.8 V bank: what charging lifts a bus to


@dataclass(frozen=True, slots=True)
class Family:
    """What is printed about all devices of one kind and type."""

    word: str  # fuse | breaker | output
    rated_v: float | None  # None: not found, ask what it is marked with
    breaking_a: float | None
    ratings_a: tuple[float, ...]
    reference_c: float
    carries: float  # multiple of the rating that it carries for ever, at the least
    dc: bool  # may it stand in a direct-current circuit without a marking that says so?
    source: str


_BLADE_SOURCE = "ISO 8820-3:2015 scope; GB/T 31465.3-2015"
_SMALL_A = (1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0)
_IEC_A = (6.0, 10.0, 13.0, 16.0, 20.0, 25.0, 32.0, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0)  # preferred, IEC 60898-1
_BOLT_A = (  # within the 30 A to 500 A of ISO 8820-5; the steps from memory
    30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 100.0, 125.0, 150.0, 175.0, 200.0, 225.0, 250.0, 300.0, 350.0, 400.0, 425.0, 500.0,
)  # fmt: skip
_UL_A = (5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0, 110.0, 125.0, 150.0)

FAMILIES: dict[str, Family] = {
    "blade-fuse C": Family("fuse", 32, 1000, (*_SMALL_A, 35.0, 40.0), 23, 1.0, True, _BLADE_SOURCE),
    "blade-fuse F": Family("fuse", 32, 1000, _SMALL_A[1:], 23, 1.0, True, f"{_BLADE_SOURCE}; ratings from memory"),
    "blade-fuse E": Family("fuse", 32, 1000, (20, 30, 40, 50, 60, 70, 80, 100), 23, 1.0, True, _BLADE_SOURCE),
    "bolt-fuse": Family("fuse", 32, 2000, _BOLT_A, 23, 1.0, True, "ISO 8820-5:2015 scope"),
    "glass-fuse": Family("fuse", 32, None, _SMALL_A, 25, 1.0, True, "UL 275 scope"),
    "breaker-b": Family("breaker", 400, 6000, _IEC_A, 30, 1.13, False, "IEC 60898-1 (part 1 is for AC only)"),
    "breaker-c": Family("breaker", 400, 6000, _IEC_A, 30, 1.13, False, "IEC 60898-1 (part 1 is for AC only)"),
    "breaker-d": Family("breaker", 400, 6000, _IEC_A, 30, 1.13, False, "IEC 60898-1 (part 1 is for AC only)"),
    # NEC 240.6 has the sizes from 15 A; the smaller ones from memory.
    "breaker-thermal": Family("breaker", None, None, _UL_A, 25, 1.0, True, "UL 489 summary"),
    "breaker-self-resetting": Family("breaker", None, None, _UL_A, 25, 1.0, True, "UL 489 summary"),
    "electronic": Family("output", None, None, (), 23, 1.0, True, "its maker"),
}


@dataclass(frozen=True, slots=True)
class Member:
    """One device of the set: an element in its holder, two bodies, and what warmth and cold do to it.

    `pickup` is the multiple of its rating that it carries for ever (the fusing factor); `share` is the holder's part of
    its heat; `warm_per_k` is what it loses of its rating per kelvin above the reference ambient, `cold_per_k` what it
    gains below. `corner`: it stands at an edge of the band, and does not count for the likely time.
    """

    pickup: float
    share: float
    element_s: float
    holder_s: float
    warm_per_k: float
    cold_per_k: float
    corner: bool

    def body(self) -> Body:
        return Body(self.pickup, ((1.0 - self.share, self.element_s), (self.share, self.holder_s)))

    def factor(self, kelvin: float) -> float:
        """Multiple of the rating it carries at `kelvin` above (below: negative) its reference ambient."""
        return max(0.3, 1.0 - self.warm_per_k * kelvin) if kelvin > 0 else 1.0 - self.cold_per_k * kelvin


@cache
def _members(name: str) -> tuple[Member, ...]:
    return tuple(Member(*row) for row in MEMBERS[name])


@cache
def _together(names: tuple[str, ...]) -> tuple[Member, ...]:
    """One set; of several, all corners and every second of the points between: it is carried at every reading."""
    if len(names) == 1:
        return _members(names[0])
    corners = [member for name in names for member in _members(name) if member.corner]
    return (*corners, *(m for name in names for m in [m for m in _members(name) if not m.corner][::2]))


@dataclass(frozen=True, slots=True)
class Device:
    """What is fitted. No members: no opening time is claimed."""

    rating_a: float
    members: tuple[Member, ...]
    proof: tuple[Member, ...]  # the edges of all that fits the holder; what none could carry proves another device
    magnetic: tuple[float, float] | None
    carries: float  # multiple of the rating that a device of this type carries for ever, at the least
    word: str  # fuse | breaker | output
    reference_c: float


def family(protection: Protection) -> Family:
    """What is printed about devices of this kind and type; a blade fuse of unknown type is told as type C."""
    name = protection.kind
    return FAMILIES[f"{name} {protection.type or 'C'}" if name == "blade-fuse" else name]


def set_names(protection: Protection) -> tuple[str, ...]:
    """The sets of ratings.members that bound this device: two where its type is not known, none for an output."""
    kind, fitted = protection.kind, protection.fitted_a
    if kind == "blade-fuse":
        return (f"blade-fuse {protection.type}",) if protection.type else ("blade-fuse C", "blade-fuse E")
    if kind == "bolt-fuse":  # the schedule does not tell the two forms apart
        return ("bolt-fuse SF 30", "bolt-fuse SF 51")
    if kind == "glass-fuse":
        return ("glass-fuse to 30 A" if fitted <= 30 else "glass-fuse above 30 A",)
    if kind in MAGNETIC:
        return (f"{kind} {'to 32 A' if fitted <= 32 else 'to 63 A' if fitted <= 63 else 'above 63 A'}",)
    if kind in ("breaker-thermal", "breaker-self-resetting"):
        steps = (("to 30 A", 30), ("to 50 A", 50))
        return (f"breaker-thermal {next((name for name, most in steps if fitted <= most), 'above 50 A')}",)
    return ()


def device(protection: Protection) -> Device:
    """The device in the way, by its kind, type and fitted rating."""
    of = family(protection)
    members = _together(set_names(protection))
    proof: tuple[Member, ...] = ()
    if protection.kind == "blade-fuse":  # a holder of type C or F takes its own type only, one not known any
        both = ("blade-fuse C, outer", "blade-fuse E")
        names = {"C": both[:1], "F": both[:1], "E": both[1:]}.get(protection.type or "", both)
        proof = tuple(member for name in names for member in _members(name) if member.corner)
    magnetic = MAGNETIC.get(protection.kind)
    return Device(protection.fitted_a, members, proof, magnetic, of.carries, of.word, of.reference_c)


# A type E 40 A link carries 40 A to 20 °C, 34 at 65, 30 at 85, 25 at 110, 22 at 125 (a data sheet naming ISO 8820-3).
_WARM_E = ((20.0, 1.0), (65.0, 0.85), (85.0, 0.75), (110.0, 0.625), (125.0, 0.55))
BREAKER_PER_K = 0.005  # from memory


def warm_factor(fitted: Device, panel_c: float | None) -> float:
    """How much less a device carries in a warm panel: at most 1.

    Fuses: the re-rating row of a type E 40 A link. It is the steepest published for blades, so it belongs to the
    cautious side. Breakers: 0.5 % per kelvin above their reference, from memory.
    """
    if panel_c is None:
        return 1.0
    if fitted.word == "breaker":
        return max(0.5, 1.0 - BREAKER_PER_K * max(0.0, panel_c - fitted.reference_c))
    if panel_c <= _WARM_E[0][0]:
        return 1.0
    for (low_c, low), (high_c, high) in pairwise(_WARM_E):
        if panel_c <= high_c:
            return low + (high - low) * (panel_c - low_c) / (high_c - low_c)
    return 0.5


COLD_PER_K = 0.07 / 43.0  # 107 % at -20 °C (MIL-PRF-23419/9D, step 3)


def cold_factor(panel_c: float | None) -> float:
    """How much more a fuse carries in a cold panel: at least 1. 107 % at -20 °C (MIL-PRF-23419/9D, step 3)."""
    return 1.0 if panel_c is None or panel_c >= 23.0 else 1.0 + COLD_PER_K * (23.0 - panel_c)
