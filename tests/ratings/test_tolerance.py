"""Tolerance factors: against the published ones, against scipy's frozen ones, and by simulation of what they promise."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path
from random import Random
from statistics import NormalDist, fmean, stdev

import pytest

from panelward.ratings.tolerance import EXACT_TO, chi2_quantile, factor, howe

FROZEN = json.loads((Path(__file__).parents[1] / "reference" / "tolerance_factors.json").read_text())


# Two-sided, unknown mean and deviation, 95 % of the population with 95 % confidence: as tables print them, from memory. Older
# tables were partly made by approximations: they have 3.38 and 2.75 where the exact condition gives 3.393 and 2.760.
@pytest.mark.parametrize(("readings", "published"), [(5, 5.077), (10, 3.38), (20, 2.75), (30, 2.55)])
def test_the_published_factors(readings: int, published: float) -> None:
    assert factor(readings) == pytest.approx(published, rel=0.004)
    assert howe(readings) == pytest.approx(published, rel=0.004)


def test_the_worked_example_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 7.2.6.3 (from memory): 43 readings, 90 % of the population with 99 %: k = 2.217 by Howe."""
    assert howe(43, 0.90, 0.99) == pytest.approx(2.217, abs=0.001)


@pytest.mark.parametrize("row", FROZEN["factors"], ids=lambda row: f"{row[0]}-{row[1]}-{row[2]}")
def test_scipys_factors(row: list[float]) -> None:
    n, share, confidence, k = row
    assert factor(int(n), share, confidence) == pytest.approx(k, rel=1e-6 if n <= EXACT_TO else 1e-3)


@pytest.mark.parametrize("row", FROZEN["chi2"], ids=str)
def test_scipys_chi_square(row: list[float]) -> None:
    share, freedom, quantile = row
    assert chi2_quantile(share, int(freedom)) == pytest.approx(quantile, rel=1e-9)


def test_it_falls_with_every_reading_and_never_below_the_normal_quantile() -> None:
    assert all(a > b for a, b in pairwise(factor(n) for n in range(2, 400)))
    assert factor(10**9) > NormalDist().inv_cdf(0.975)


def test_so_many_intervals_hold_so_much() -> None:
    """Of intervals from ten readings each, 95 % hold 95 % of the population: what k promises, by simulation."""
    chance, law, k, held, tries = Random(5), NormalDist(), factor(10), 0, 4000
    for _ in range(tries):
        seen = [chance.gauss(0.0, 1.0) for _ in range(10)]
        mean, spread = fmean(seen), stdev(seen)
        held += law.cdf(mean + k * spread) - law.cdf(mean - k * spread) >= 0.95
    assert held / tries == pytest.approx(0.95, abs=0.012)  # 3.5 standard errors of 4000 tries


@pytest.mark.parametrize("asked", [(1, 0.95, 0.95), (5, 0.0, 0.95), (5, 0.95, 1.0)])
def test_what_has_no_factor_is_refused(asked: tuple[int, float, float]) -> None:
    with pytest.raises(ValueError, match=r"two readings|between 0 and 1"):
        factor(*asked)
