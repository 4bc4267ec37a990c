"""The same load at the end of another conductor: what it would have drawn, from what it was seen to draw.

The load is known by what flowed: amps at its own volts. Its watts go with its volts to a power (`behaviour`), so its amps
go with them to that power less one. On another loop its volts are others, and so are its amps: I = I0 (V / V0)^(n-1) with
V = Vs - R I. A load of constant power (n = 0) draws P = Vs I - R I^2, which has no solution where P > Vs^2 / 4R: no loop
brings more than that to any load (the maximum power transfer theorem, half the source's volts at the load).
"""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

MOST_STEPS = 40
ALIKE_OHM = 1e-12


class Relaid(NamedTuple):
    """What the load draws and has. `brown_out`: it asks for more than the loop can bring; then the amps are the most that
    arrive as power, Vs / 2R.
    """

    amps: float
    load_v: float
    brown_out: bool


def relaid(amps: float, source_v: float, ohm: float, other_v: float, other_ohm: float, exponent: float) -> Relaid | None:
    """A load seen to draw `amps` at the end of `ohm` fed with `source_v`, at the end of `other_ohm` fed with `other_v`.

    `exponent` of its watts. None: more is lost on the way than there is, so that this conductor cannot be the one it hangs
    on. Where it had less than half the source's volts it is taken as an impedance: no load of constant power stands there.
    """
    load_v = source_v - ohm * amps
    if load_v <= 0.0 or other_v <= 0.0:
        return None
    if amps <= 0.0 or (abs(other_ohm - ohm) <= ALIKE_OHM and other_v == source_v):
        return Relaid(amps, load_v, False)
    if 2.0 * load_v < source_v:
        exponent = 2.0
    if exponent == 0.0:
        return _constant_power(amps * load_v, other_v, other_ohm)
    if exponent == 1.0:
        found = amps
    elif exponent == 2.0:
        siemens = amps / load_v
        found = siemens * other_v / (1.0 + siemens * other_ohm)
    else:
        found = _by_steps(amps, load_v, other_v, other_ohm, exponent - 1.0)
    left_v = other_v - other_ohm * found
    if left_v <= 0.0:  # a regulator that wants its amps whatever comes
        return Relaid(other_v / (2.0 * other_ohm), other_v / 2.0, True)
    return Relaid(found, left_v, False)


def most_watts(source_v: float, ohm: float) -> float:
    """The most that any load can get at the end of a loop: V^2 / 4R."""
    return source_v * source_v / (4.0 * ohm)


def _constant_power(watts: float, source_v: float, ohm: float) -> Relaid:
    if ohm <= 0.0:
        return Relaid(watts / source_v, source_v, False)
    left = source_v * source_v - 4.0 * ohm * watts
    if left < -1e-12 * source_v * source_v:
        return Relaid(source_v / (2.0 * ohm), source_v / 2.0, True)
    # The upper of the two solutions; written so that a small loss is no difference of two like numbers.
    load_v = (source_v + sqrt(max(0.0, left))) / 2.0
    return Relaid(watts / load_v, load_v, False)


def _by_steps(amps: float, load_v: float, source_v: float, ohm: float, power: float) -> float:
    """Newton on V + R I(V) = Vs, I = amps (V / load_v)^power: for power >= 1 it is convex and rises, so from Vs it falls to
    the root without overshooting; a wide first step is all that a power below one needs.
    """
    volts = source_v
    for _ in range(MOST_STEPS):
        current = amps * (volts / load_v) ** power
        error = volts + ohm * current - source_v
        if abs(error) <= 1e-13 * source_v:
            break
        volts -= error / (1.0 + ohm * current * power / volts)
    return float(amps * (volts / load_v) ** power)
