"""How a load's draw goes with its volts, and the same draw at other volts.

A load is judged in what does not change with the volts: its conductance (heaters), its watts (converters, drives), its
amps (regulators), its amps over volts to a power (fans). All four are one law, watts ~ volts ** exponent, so the measure
everywhere is *the watts it would draw at the supply's nominal volts*, which is what a schedule's `watts` mean too.
"""

from __future__ import annotations

# Watts go with volts to this power. Impedance and current by definition; a fan's amps go with volts to the 1.3 to 1.8
# (brushed motor and fan: common practice, no source), its watts to one power more.
EXPONENT = {"constant-power": 0.0, "constant-current": 1.0, "constant-impedance": 2.0, "fan": 2.5}
LEAST_V, MOST_V = 0.5, 1.6  # of nominal: beyond these the law holds for no load


def exponent_of(behaves: str) -> float:
    """The exponent of a schedule's `behaves`. Raises KeyError for a word it does not have."""
    return EXPONENT[behaves]


def at_nominal(watts: float, volts: float | None, nominal_v: float, exponent: float) -> float:
    """Watts that the load which draws `watts` at `volts` would draw at `nominal_v`.

    Without volts, or with volts that no load's law reaches to, the watts stand as they are.
    """
    if volts is None or exponent == 0.0 or not LEAST_V * nominal_v <= volts <= MOST_V * nominal_v:
        return watts
    share = nominal_v / volts
    if exponent == 2.0:
        return watts * share * share
    return watts * float(share**exponent)


def at_volts(watts: float, volts: float, nominal_v: float, exponent: float) -> float:
    """The other way: watts at `volts` of a load that draws `watts` at `nominal_v`."""
    return watts if exponent == 0.0 else watts * float((volts / nominal_v) ** exponent)
