"""Two-sided statistical tolerance intervals of a normal population: mean ± k s holds a share of it with a confidence.

ISO 16269-6 tables k for an unknown mean and standard deviation (the text is not at hand: its method is from memory). It is
computed here as the exact condition, the mean of which was found by A. Wald and J. Wolfowitz (1946, from memory):

    integral over z of phi(z) P( chi2(n-1) >= (n-1) R(z / sqrt n)^2 / k^2 ) = confidence
    where R(x) solves Phi(x + R) - Phi(x - R) = share

Five readings need 5.08 standard deviations where thirty need 2.55: a band of three on five readings is no band.
"""

from __future__ import annotations

from functools import lru_cache
from math import erf, exp, lgamma, log, pi, sqrt
from statistics import NormalDist

SHARE, CONFIDENCE = 0.95, 0.95  # of single readings, and how sure: common practice, no source
EXACT_TO = 120  # from here on Howe's approximation, which is within 0.1 % by then (measured: tests/ratings/test_tolerance.py)
MOST = 5000  # readings: from here on k falls by less than 0.1 % per hundred more
_NODES = 60  # of Simpson's rule over 0 <= z <= 8
_WIDEST_Z = 8.0


def factor(readings: int, share: float = SHARE, confidence: float = CONFIDENCE) -> float:
    """k for this many readings; ValueError below two, or where share or confidence is not between 0 and 1."""
    if readings < 2:
        raise ValueError(f"a tolerance interval needs two readings, not {readings}")
    if not 0.0 < share < 1.0 or not 0.0 < confidence < 1.0:
        raise ValueError("share and confidence lie between 0 and 1")
    n = min(readings, MOST)
    return _exact(n, share, confidence) if n <= EXACT_TO else howe(n, share, confidence)


@lru_cache(maxsize=4096)
def howe(readings: int, share: float = SHARE, confidence: float = CONFIDENCE) -> float:
    """The approximation of W. G. Howe (1969), as the NIST/SEMATECH e-Handbook, 7.2.6.3, prints it (from memory)."""
    freedom = readings - 1
    z = NormalDist().inv_cdf((1.0 + share) / 2.0)
    return z * sqrt(freedom * (1.0 + 1.0 / readings) / chi2_quantile(1.0 - confidence, freedom))


@lru_cache(maxsize=512)
def _exact(n: int, share: float, confidence: float) -> float:
    step = _WIDEST_Z / _NODES
    weighted = []
    for i in range(_NODES + 1):
        z = i * step
        simpson = 1.0 if i in (0, _NODES) else 4.0 if i % 2 else 2.0
        weight = 2.0 * simpson * step / 3.0 * exp(-z * z / 2.0) / sqrt(2.0 * pi)
        weighted.append((weight, (n - 1) * _half_width(z / sqrt(n), share) ** 2))

    def sure(k: float) -> float:
        return sum(weight * (1.0 - chi2_cdf(square / (k * k), n - 1)) for weight, square in weighted)

    low, high = 0.1, 2.0
    while sure(high) < confidence:
        low, high = high, high * 2.0
    for _ in range(60):
        middle = (low + high) / 2.0
        if sure(middle) < confidence:
            low = middle
        else:
            high = middle
        if high - low < 1e-9 * high:
            break
    return (low + high) / 2.0


def _half_width(x: float, share: float) -> float:
    """R such that the standard normal holds `share` between x - R and x + R."""
    low, high = 0.0, abs(x) + 10.0
    for _ in range(80):
        middle = (low + high) / 2.0
        if 0.5 * (erf((x + middle) / sqrt(2.0)) - erf((x - middle) / sqrt(2.0))) < share:
            low = middle
        else:
            high = middle
        if high - low < 1e-13 * high:
            break
    return (low + high) / 2.0


def chi2_cdf(x: float, freedom: int) -> float:
    """P(chi-square with `freedom` degrees <= x): the regularized lower incomplete gamma function, by its series or its
    continued fraction (Abramowitz and Stegun 6.5.29 and 6.5.31, from memory).
    """
    if x <= 0.0:
        return 0.0
    a, half = freedom / 2.0, x / 2.0
    scale = exp(a * log(half) - half - lgamma(a))
    if half < a + 1.0:
        term = total = 1.0 / a
        n = a
        while abs(term) > 1e-16 * abs(total):
            n += 1.0
            term *= half / n
            total += term
        return total * scale
    tiny = 1e-300
    b = half + 1.0 - a
    c, d = 1.0 / tiny, 1.0 / b
    fraction = d
    for i in range(1, 10_000):
        numerator = -i * (i - a)
        b += 2.0
        d = 1.0 / (numerator * d + b or tiny)
        c = b + numerator / c or tiny
        change = c * d
        fraction *= change
        if abs(change - 1.0) < 1e-15:
            break
    return 1.0 - scale * fraction


def chi2_quantile(share: float, freedom: int) -> float:
    """The value below which a share of a chi-square population lies."""
    low, high = 0.0, freedom + 20.0 * sqrt(2.0 * freedom) + 20.0
    for _ in range(200):
        middle = (low + high) / 2.0
        if chi2_cdf(middle, freedom) < share:
            low = middle
        else:
            high = middle
        if high - low < 1e-13 * high:
            break
    return (low + high) / 2.0
