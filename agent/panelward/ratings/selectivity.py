"""Does the branch's device open before its feeder's? Told as shown, not shown, or not so.

Two devices in series carry the same fault. Shown: at every current up to the fault the slowest the branch may be opens
before the quickest the feeder may be. Not so: at some overload the feeder opens first whatever the two are. Between
them lies most of practice, and a rule of thumb (twice the rating) which holds for overloads, not for bolted faults.
"""

from __future__ import annotations

from panelward.ratings.devices import Device
from panelward.ratings.specimens import opening_times_s

SHOWN, NOT_SHOWN, NOT_SO = "shown", "not shown", "not so"
_STEPS = 24
OVERLOAD_MOST = 3.0  # times the feeder's rating: an overload, not a fault


def selectivity(branch: Device, feeder: Device, fault_a: float | None) -> str:
    """`shown`, `not shown` or `not so` from the branch's rating up to `fault_a` (None: overloads only are looked at)."""
    if feeder.rating_a <= branch.rating_a:
        return NOT_SO
    if not branch.members or not feeder.members:
        return NOT_SHOWN
    most_a = OVERLOAD_MOST * feeder.rating_a if fault_a is None else max(fault_a, feeder.rating_a)
    first = 1.05 * branch.rating_a
    verdict = SHOWN if fault_a is not None else NOT_SHOWN
    for step in range(_STEPS + 1):
        amps = first * (most_a / first) ** (step / _STEPS)
        quick, _, slow = opening_times_s(branch, amps / branch.rating_a)
        above_quick, _, above_slow = opening_times_s(feeder, amps / feeder.rating_a)
        if quick is None or slow is None or above_quick is None or above_slow is None:
            return NOT_SHOWN
        if above_slow < quick:
            return NOT_SO
        if not slow < above_quick and above_quick != float("inf"):
            verdict = NOT_SHOWN
    return verdict
