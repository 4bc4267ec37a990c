"""Starts that fail: a blocked fan or a compressor that can't start tries again and again, at a pace of its drive's.

What tells them from a thermostat or a hand is the pace: tries as short as a start, evenly spaced, and never a run
between them. Tries that fall between two readings are missed, so the middle of the pauses counts, and most must be near.
"""

from __future__ import annotations

from itertools import pairwise
from statistics import median
from typing import Any

TRIES = {"fan": 6, "motor": 6, "compressor": 5}  # lock-outs of drives try three to six times (common practice, no source)
PACE_S = {"fan": (2.0, 30.0), "motor": (2.0, 30.0), "compressor": (10.0, 180.0)}  # common practice, no source
TRY_S = 4.0  # longer is a run
NEAR = 0.3  # of the middle pause
MOST = 0.75  # of the pauses must be near it
OVER = 6.0  # pauses without a try
ON, OFF = 0.3, 0.1  # of its lowest level: a try goes above the one and comes back below the other


class Retries:
    """One circuit's tries."""

    __slots__ = (
        "_above_ms",
        "_above_n",
        "_kind",
        "_off_w",
        "_on_w",
        "_period_ms",
        "_starts",
        "active",
        "pace_s",
        "since_ms",
        "tries",
    )

    def __init__(self, rest_w: float, lowest_w: float, kind: str, period_ms: int) -> None:
        self._on_w, self._off_w = rest_w + ON * lowest_w, rest_w + OFF * lowest_w
        self._kind, self._period_ms = kind, period_ms
        self._starts: list[int] = []
        self._above_ms: int | None = None
        self._above_n = 0
        self.active = False
        self.pace_s = 0.0
        self.tries = 0
        self.since_ms = 0

    def take(self, time_ms: int, watts: float) -> str | None:
        """begins | ends | None."""
        if watts > self._on_w:
            if self._above_ms is None:
                self._above_ms, self._above_n = time_ms, 0
            self._above_n += 1
            if self._above_n > 2 and time_ms - self._above_ms > TRY_S * 1000 and self._starts:
                self._starts = []  # it runs
                return self._stop()
            return None
        if watts > self._off_w and self._above_ms is not None:
            self._above_n += 1
            return None
        began_ms, self._above_ms = self._above_ms, None
        if (
            began_ms is not None
            and time_ms - began_ms <= TRY_S * 1000 + self._period_ms
            and self._above_n <= 1 + 4000 // self._period_ms
        ):
            self._starts.append(began_ms)
            del self._starts[: -TRIES[self._kind]]
            if self.active:
                self.tries += 1
            elif self._even():
                self.active, self.tries, self.since_ms = True, len(self._starts), self._starts[0]
                return "begins"
        elif self._starts and time_ms - self._starts[-1] > OVER * 1000 * PACE_S[self._kind][1] / 2.0:
            self._starts = []
            return self._stop()
        return None

    def _even(self) -> bool:
        starts = self._starts
        if len(starts) < TRIES[self._kind]:
            return False
        pauses = [(b - a) / 1000.0 for a, b in pairwise(starts)]
        middle = median(pauses)
        least, most = PACE_S[self._kind]
        if not least <= middle <= most:
            return False
        room = max(NEAR * middle, self._period_ms / 1000.0)
        if room > 0.6 * middle:  # seen too rarely to tell a pace
            return False
        near = sum(abs(p - middle) <= room for p in pauses)
        self.pace_s = middle
        return near >= MOST * len(pauses)

    def _stop(self) -> str | None:
        if not self.active:
            return None
        self.active = False
        return "ends"

    def forget(self) -> None:
        """Readings are missing."""
        self._starts, self._above_ms = [], None

    def save(self) -> list[Any]:
        return [list(self._starts), self._above_ms, self._above_n, self.active, self.pace_s, self.tries, self.since_ms]

    def restore(self, kept: list[Any]) -> None:
        self._starts, self._above_ms, self._above_n, self.active, self.pace_s, self.tries, self.since_ms = kept
        self._starts = list(self._starts)
