"""Cumulative sums of a standardised daily value, and the threshold that so many of them together may have.

Page's tabular form (NIST/SEMATECH e-Handbook 6.3.2.3): high = max(0, high + z - k), low = max(0, low - z - k).
"""

from __future__ import annotations

from math import exp

K = 0.5  # half of the shift worth finding quickly, in standard deviations (e-Handbook 6.3.2.3)
CLIP = 3.0  # one odd day counts at most so much: real residuals have fat tails
EVER_H = 25.0  # no threshold of ours lies beyond


class Cusum:
    """Two-sided, of values in standard deviations about 0."""

    __slots__ = ("high", "low")

    def __init__(self) -> None:
        self.high = self.low = 0.0

    def take(self, z: float, k: float = K) -> None:
        self.high = max(0.0, self.high + z - k)
        self.low = max(0.0, self.low - z - k)

    @property
    def most(self) -> float:
        """The greater of the two, negative where it is the low one."""
        return self.high if self.high >= self.low else -self.low


def run_length(h: float, shift: float = 0.0, k: float = K, *, sides: int = 2) -> float:
    """Mean number of values until an alarm, by Siegmund (1985): within 3 % up to shifts of 1.5 sd."""
    b = h + 1.166
    both = 0.0
    for d in (shift - k, -shift - k)[:sides]:
        length = b * b if d == 0.0 else (exp(-2.0 * d * b) + 2.0 * d * b - 1.0) / (2.0 * d * d)
        both += 1.0 / length
    return 1.0 / both


def threshold(metrics: int, false_alarms: float, days: float = 7.0, k: float = K) -> float:
    """The h at which so many independent metrics, one value a day each, give that many false alarms in so many days."""
    wanted = max(1, metrics) * days / false_alarms
    low, high = 0.0, EVER_H
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if run_length(middle, k=k) < wanted else (low, middle)
    return high
