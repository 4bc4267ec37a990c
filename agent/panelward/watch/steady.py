"""Where a draw stands still, and since when: change points on line.

A draw stands while its readings stay near their mean. One reading elsewhere is a spike; the second one near it is a new
stand. A slow change (a charge that tapers, a bus on charge) moves the mean along and is no change point.
"""

from __future__ import annotations

from typing import Any

SHARE = 0.08  # of the mean: the wiggle of motors and drives, 1 to 4 % (common practice, no source), twice
MEMORY = 64  # readings that the mean remembers


class Steady:
    """One circuit's stand. Watts; which ones is the caller's."""

    __slots__ = ("_least_w", "_other_n", "_other_w", "last_ms", "mean_w", "n", "near", "since_ms")

    def __init__(self, least_w: float) -> None:
        """`least_w`: what the resolution alone moves a reading by."""
        self._least_w = least_w
        self.mean_w = 0.0
        self.n = 0  # readings of this stand; 0: none yet
        self.since_ms = self.last_ms = 0
        self._other_w, self._other_n = 0.0, 0
        self.near = False  # the last reading belongs to it

    def take(self, time_ms: int, watts: float) -> bool:
        """Take a reading. Returns whether a new stand began with it (its first reading may be the one before)."""
        if not self.n:
            self._begin(time_ms, watts, 1)
            return True
        mean_w = self.mean_w
        off_w = watts - mean_w
        if -self._least_w <= off_w <= self._least_w or -SHARE * mean_w <= off_w <= SHARE * mean_w:
            if self.n < MEMORY:
                self.n += 1
            self.mean_w = mean_w + off_w / self.n
            self._other_n, self.last_ms, self.near = 0, time_ms, True
            return False
        self.near = False
        other_w = self._other_w
        if self._other_n and abs(watts - other_w) <= max(self._least_w, SHARE * other_w):
            self._begin(self.last_ms, (watts + other_w) / 2.0, 2)
            self.last_ms = time_ms
            return True
        if not self._other_n:
            self.last_ms = time_ms
        self._other_w, self._other_n = watts, 1
        self.last_ms = time_ms
        return False

    def _begin(self, time_ms: int, watts: float, n: int) -> None:
        self.mean_w, self.n, self.since_ms, self.last_ms = watts, n, time_ms, time_ms
        self._other_n, self.near = 0, True

    def forget(self) -> None:
        """Readings are missing: what comes is a new stand."""
        self.n = self._other_n = 0

    def save(self) -> list[Any]:
        return [self.mean_w, self.n, self.since_ms, self.last_ms, self._other_w, self._other_n, self.near]

    def restore(self, kept: list[Any]) -> None:
        self.mean_w, self.n, self.since_ms, self.last_ms, self._other_w, self._other_n, self.near = kept
