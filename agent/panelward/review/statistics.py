"""Intervals, false-discovery control and resampling. Pure NumPy; tests hold each to SciPy's and statsmodels' answers."""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, lgamma, log, log1p, sqrt
from typing import NamedTuple

import numpy as np

from panelward.review.source import Floats, Whole

CONFIDENCE = 0.95
FALSE_SHARE = 0.1  # of what is told as changed, at the most so much by chance (our own choice)
_TINY = 1e-300
LEAST_SPREAD = 0.5  # of what is adjusted for: where all days are alike there is nothing to adjust


def t_tail(t: float, freedom: float) -> float:
    """Two-sided: how probable it is that Student's t is as large."""
    if not np.isfinite(t):
        return 0.0
    return _beta(freedom / 2.0, 0.5, freedom / (freedom + t * t))


def t_quantile(share: float, freedom: float) -> float:
    """Below which this share of Student's t lies; share above a half."""
    low, high = 0.0, 1.0
    while 1.0 - t_tail(high, freedom) / 2.0 < share:
        high *= 2.0
    for _ in range(100):
        middle = (low + high) / 2.0
        low, high = (middle, high) if 1.0 - t_tail(middle, freedom) / 2.0 < share else (low, middle)
    return (low + high) / 2.0


def _beta(a: float, b: float, x: float) -> float:
    """The regularised incomplete beta function, by its continued fraction (Lentz)."""
    if x <= 0.0 or x >= 1.0:
        return 0.0 if x <= 0.0 else 1.0
    if x > (a + 1.0) / (a + b + 2.0):
        return 1.0 - _fraction(b, a, 1.0 - x)
    return _fraction(a, b, x)


def _fraction(a: float, b: float, x: float) -> float:
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log1p(-x))
    c, d = 1.0, 1.0 - (a + b) * x / (a + 1.0)
    d = 1.0 / (d if abs(d) > _TINY else _TINY)
    h = d
    for m in range(1, 400):
        for numerator in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d = 1.0 + numerator * d
            d = 1.0 / (d if abs(d) > _TINY else _TINY)
            c = 1.0 + numerator / c
            c = c if abs(c) > _TINY else _TINY
            h *= d * c
        if abs(d * c - 1.0) < 1e-15:
            break
    return front * h / a


class Difference(NamedTuple):
    """Of two means, with its interval."""

    before: float
    now: float
    low: float
    high: float
    p: float


def welch(before: Sequence[float] | Floats, now: Sequence[float] | Floats, confidence: float = CONFIDENCE) -> Difference | None:
    """Welch's t: two means whose spreads need not be alike. None: fewer than two of either."""
    one, two = np.asarray(before, np.float64), np.asarray(now, np.float64)
    if len(one) < 2 or len(two) < 2:
        return None
    parts = float(one.var(ddof=1)) / len(one), float(two.var(ddof=1)) / len(two)
    square = sum(parts)
    difference = float(two.mean() - one.mean())
    if square <= 1e-18 * max(1.0, float(one.mean()) ** 2):
        same = abs(difference) <= 1e-9 * max(1.0, abs(float(one.mean())))
        return Difference(float(one.mean()), float(two.mean()), difference, difference, 1.0 if same else 0.0)
    freedom = square**2 / (parts[0] ** 2 / (len(one) - 1) + parts[1] ** 2 / (len(two) - 1))
    half = t_quantile(0.5 + confidence / 2.0, freedom) * sqrt(square)
    p = t_tail(difference / sqrt(square), freedom)
    return Difference(float(one.mean()), float(two.mean()), difference - half, difference + half, p)


def adjusted(before: Floats, now: Floats, x_before: Floats, x_now: Floats, confidence: float = CONFIDENCE) -> Difference | None:
    """Two means of what also goes with `x` (a straight line, the same in both), each at the mean of all x.

    Least squares over both at once. None: x is not known, hardly differs, or there are too few points.
    """
    x, y = np.concatenate((x_before, x_now)), np.concatenate((before, now))
    group = np.repeat((0.0, 1.0), (len(before), len(now)))
    known = ~np.isnan(x)
    x, y, group = x[known], y[known], group[known]
    count, after = len(x), int(group.sum())
    if after < 3 or count - after < 3 or float(x.std()) < LEAST_SPREAD:
        return None
    design = np.column_stack((np.ones(count), group, x - x.mean()))
    squares = design.T @ design
    if np.linalg.matrix_rank(design) < 3:
        return None
    figures = np.linalg.solve(squares, design.T @ y)
    rest = y - design @ figures
    sd = sqrt(float(rest @ rest) / (count - 3) * float(np.linalg.inv(squares)[1, 1]))
    effect = float(figures[1])
    half = t_quantile(0.5 + confidence / 2.0, count - 3) * sd
    p = t_tail(effect / sd, count - 3) if sd > 0.0 else 0.0
    return Difference(float(figures[0]), float(figures[0]) + effect, effect - half, effect + half, p)


def survives(p: Sequence[float], q: float = FALSE_SHARE) -> list[bool]:
    """Benjamini and Hochberg (1995): which are told, so that at most the share q of them is so by chance."""
    order = np.argsort(p, kind="stable")
    count = len(order)
    good = np.asarray(p)[order] <= q * np.arange(1, count + 1) / max(1, count)
    last = int(np.flatnonzero(good)[-1]) if good.any() else -1
    found = [False] * count
    for at in order[: last + 1]:
        found[int(at)] = True
    return found


class Slope(NamedTuple):
    """Of a straight line through points."""

    per: float
    low: float
    high: float
    sd: float
    at_end: float
    freedom: int


def slope(x: Floats, y: Floats, confidence: float = CONFIDENCE) -> Slope | None:
    """By least squares. None: fewer than three points, or all at one time."""
    count = len(x)
    spread = float(((x - x.mean()) ** 2).sum()) if count else 0.0
    if count < 3 or spread <= 0.0:
        return None
    per = float(((x - x.mean()) * (y - y.mean())).sum()) / spread
    rest = y - y.mean() - per * (x - x.mean())
    sd = sqrt(float((rest**2).sum()) / (count - 2) / spread)
    half = t_quantile(0.5 + confidence / 2.0, count - 2) * sd
    return Slope(per, per - half, per + half, sd, float(y.mean() + per * (x.max() - x.mean())), count - 2)


def steps(x: Floats, y: Floats) -> bool:
    """Does one step explain the points better than a straight line? Then nothing creeps: something was changed.

    A step has one figure more than a line, its moment; both are weighed by their likelihood with that taken off (BIC).
    """
    count = len(x)
    if count < 6:
        return False
    line = np.polynomial.Polynomial.fit(x, y, 1)
    creeps = float(((y - line(x)) ** 2).sum())
    jumps = min(
        float(((y[:at] - y[:at].mean()) ** 2).sum() + ((y[at:] - y[at:].mean()) ** 2).sum()) for at in range(2, count - 1)
    )
    least = 1e-18 * float((y**2).sum()) + 1e-300
    return count * log(max(jumps, least)) + log(count) < count * log(max(creeps, least))


def lasts(use: Floats, most: float, *, nights: int, draws: int, seed: int, block: int = 1) -> Floats:
    """How many days a bank lasts: whole days of `use` (Ah a day, net; negative charges) drawn anew, in blocks of days that
    follow one another, until `most` is used up. `nights` where it never is. The same seed gives the same draws.

    A few days tell little of what days can be. So each draw first draws the days themselves anew, and their spread is widened
    by the square root of (n + 2 b) / (n - b), n days in blocks of b: without that P10 to P90 of a fortnight hold hardly
    more than every second future (0.66, and 0.52 where a day is half like the day before), with it 0.84 and 0.72
    (`tests/review/test_statistics.py`).
    """
    count = len(use)
    rng = np.random.default_rng(seed)
    wide = sqrt((count + 2 * block) / (count - block)) if count > block else 1.0
    spread = use.mean() + (use - use.mean()) * wide
    known = np.take_along_axis(np.tile(spread, (draws, 1)), _blocks(rng, count, count, draws, block), 1)
    drawn = np.take_along_axis(known, _blocks(rng, count, nights, draws, block), 1)
    used, found, going = np.zeros(draws), np.full(draws, float(nights)), np.ones(draws, np.bool_)
    for night in range(nights):
        today = drawn[:, night]
        after = np.maximum(0.0, used + today)
        over = going & (after >= most)
        with np.errstate(divide="ignore", invalid="ignore"):
            found[over] = night + np.clip((most - used[over]) / today[over], 0.0, 1.0)
        going &= ~over
        used = after
        if not going.any():
            break
    return found


def _blocks(rng: np.random.Generator, count: int, length: int, draws: int, block: int) -> Whole:
    """Numbers of days, in blocks that go round at the end."""
    starts = rng.integers(0, count, (draws, -(-length // block)))
    return np.asarray(((starts[:, :, None] + np.arange(block)) % count).reshape(draws, -1)[:, :length], np.int64)
