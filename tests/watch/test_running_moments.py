"""The running mean and deviation of idle times, against certified ones: NIST Statistical Reference Datasets, univariate.

It remembers 128 values, so the sets that are no longer; the longer NumAcc sets by their rule, which gives the same mean and
deviation for any odd number of values.
"""

from __future__ import annotations

from math import sqrt

import pytest

from certified import STRD, right_digits, values_of
from panelward.watch import idle

SETS = ("mavro", "michelson", "numacc1", "numacc2", "numacc3", "numacc4")
DIGITS = {"numacc2": 13, "numacc3": 8, "numacc4": 7, "mavro": 11, "michelson": 12}  # of the deviation; the other 14


@pytest.mark.parametrize("name", SETS)
def test_running_moments_of_certified_data(name: str) -> None:
    values = values_of(name)[: idle.MEMORY - 1]
    kind = idle._Kind()
    for value in values:
        kind.learn(float(value), 0)
    assert kind.n == len(values)
    assert right_digits(kind.mean, STRD[name]["mean"]) >= 14.5
    sd = sqrt(kind.m2 * kind.n / (kind.n - 1))
    assert right_digits(sd, STRD[name]["sd"]) >= DIGITS.get(name, 14)
    assert kind.scale() == max(idle.NARROWEST, sd)
