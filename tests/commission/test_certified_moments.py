"""The mean and deviation that go into a record, against certified ones: NIST Statistical Reference Datasets, univariate.

All nine sets (tests/reference/strd.toml). The digits asked are what a two-pass sum in double precision gives.
"""

from __future__ import annotations

from decimal import Decimal, localcontext

import pytest

from certified import STRD, right_digits, values_of
from panelward.commission.figures import Pool

DIGITS = {"numacc2": 13, "numacc3": 9, "numacc4": 8, "mavro": 12, "michelson": 13}  # of the deviation; the others 14


@pytest.mark.parametrize("name", list(STRD))
def test_a_level_s_mean_and_deviation_are_the_certified_ones(name: str) -> None:
    pool = Pool([float(x) for x in values_of(name)])
    assert right_digits(pool.mean, STRD[name]["mean"]) >= 14.5
    assert right_digits(pool.sd, STRD[name]["sd"]) >= DIGITS.get(name, 14)


@pytest.mark.parametrize("name", list(STRD))
def test_the_data_are_those_that_were_certified(name: str) -> None:
    """In decimals, exactly: a slip in one value would show here, not above."""
    with localcontext() as context:
        context.prec = 40
        values = [Decimal(x) for x in values_of(name)]
        n = len(values)
        mean = sum(values) / n
        sd = (sum((x - mean) ** 2 for x in values) / (n - 1)).sqrt()
    assert n == STRD[name]["n"]
    assert f"{mean:.14e}" == f"{Decimal(STRD[name]['mean']):.14e}"
    assert f"{sd:.14e}" == f"{Decimal(STRD[name]['sd']):.14e}"


def test_all_nine_sets_are_here() -> None:
    assert len(STRD) == 9
