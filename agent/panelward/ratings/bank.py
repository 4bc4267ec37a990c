"""The bank: how long it lasts at a draw, how many days a vehicle stands."""

from __future__ import annotations

from math import inf, log

HOURS_A_DAY = 24.0


def peukert_hours(capacity_at_1a: float, exponent: float, amps: float) -> float:
    """Hours at a constant draw: t = C / I^k, C the capacity at 1 A (Ah). For the printed one: peukert_rated_hours."""
    return float(capacity_at_1a / amps**exponent)


def peukert_rated_hours(capacity_ah: float, rated_h: float, exponent: float, amps: float) -> float:
    """Hours at a constant draw of a bank rated `capacity_ah` over `rated_h` hours: t = H (C / (I H))^k.

    The rated capacity put into the other form is the commonest error: 100 Ah over 20 h must give 20 h at 5 A.
    """
    return float(rated_h * (capacity_ah / (amps * rated_h)) ** exponent)


def peukert_exponent(hours_1: float, amps_1: float, hours_2: float, amps_2: float) -> float:
    """The exponent from two tests: k = (log t2 - log t1) / (log I1 - log I2)."""
    return (log(hours_2) - log(hours_1)) / (log(amps_1) - log(amps_2))


def autonomy_days(capacity_ah: float, usable: float, nominal_v: float, wh_per_day: float, cold: float = 1.0) -> float:
    """Days that a full bank carries a daily need, N = C V DoD f / E; inf where nothing is drawn.

    `usable` is the share of the capacity that may be drawn, `cold` what is left of it in the cold.
    """
    return capacity_ah * usable * nominal_v * cold / wh_per_day if wh_per_day > 0.0 else inf


def storage_days(capacity_ah: float, usable: float, nominal_v: float, always_w: float, lost_per_month: float = 0.0) -> float:
    """Days laid up with what is always on and the bank's own loss (share of its capacity a month); inf: nothing draws."""
    lost_w = capacity_ah * nominal_v * lost_per_month / (30.0 * HOURS_A_DAY)
    return autonomy_days(capacity_ah, usable, nominal_v, HOURS_A_DAY * (always_w + lost_w))
