"""When to try again, and when a message is too old to be of use. Pure: chance is passed in."""

from __future__ import annotations

import random

FIRST_S = 5.0
LONGEST_S = 900.0
SPREAD = 0.5  # each wait ± this share: many vans behind one returning service don't knock in step

_DAY_S = 86_400.0
# Of what is over or overtaken; the newest message of an alarm that stands never runs out.
# Our own choice: a week is the longest tour without a network that we plan for, and a high alarm of last week is
# still worth a look at the circuit; a low one is in the log.
_EXPIRES_S = {"high": 7 * _DAY_S, "medium": 3 * _DAY_S, "low": _DAY_S, "journal": _DAY_S}


def next_try_s(attempts: int, rng: random.Random) -> float:
    """Seconds until the next try after `attempts` failed ones: 5 s, doubled each time up to 15 min, ± 50 %."""
    doublings = min(max(attempts, 1) - 1, 32)
    return min(FIRST_S * 2.0**doublings, LONGEST_S) * rng.uniform(1.0 - SPREAD, 1.0 + SPREAD)


def expires_after_s(priority: str) -> float:
    """Seconds for which a message of this priority is worth sending; an unknown one as long as a high one."""
    return _EXPIRES_S.get(priority, _EXPIRES_S["high"])
