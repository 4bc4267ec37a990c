"""Starts that fail: a blocked fan or a compressor that can't start tries again and again, at a pace of its drive's.

What tells them from a thermostat or a hand is the pace: tries as short as a start, evenly spaced, and never a run
between them. Tries that fall between two readings are missed, so the middle of the pauses counts, and most must be near.

Where readings are as far apart as tries, what is seen of the pace is a beat of the two. There another thing tells: every
try stands above each listed level, as a motor does that never turns. What runs, even for a moment, shows its running draw in
most of the readings that catch it.
"""

from __future__ import annotations

from itertools import pairwise
from statistics import median
from typing import Any

TRIES = {"fan": 6, "motor": 6, "compressor": 5}  # lock-outs of drives try three to six times (common practice, no source)
PACE_S = {"fan": (2.0, 30.0), "motor": (2.0, 30.0), "compressor": (10.0, 180.0)}  # common practice, no source
TRY_S = 4.0  # longer is a run
NEAR = 0.3  # of the middle pause
TELLS = 0.5  # … at most, be the readings as slow as they may: else a hand's moments are a pace too
MOST = 0.75  # of the pauses must be near it
OVER = 6.0  # pauses without a try
OVER_N = 3  # … where they are seen by chance
ENDS = 3.0  # times as long when it is told: tries that happen to be missed do not end it
RUNS_S = 20.0  # … and so long a draw without a pause does: means of tries run into one another
ON, OFF = 0.3, 0.1  # of its lowest level: a try goes above the one and comes back below the other
STANDS = ("fan", "compressor")  # of these a start above every level, again and again, is enough; a hand moves a motor by jerks
UNSEEN = 10  # readings between two that happen to fall on a try


class Retries:
    """One circuit's tries."""

    __slots__ = (
        "_above_ms",
        "_above_n",
        "_forget_ms",
        "_held",
        "_high_n",
        "_high_w",
        "_kind",
        "_least_w",
        "_off_w",
        "_on_w",
        "_over_ms",
        "_period_ms",
        "_starts",
        "active",
        "pace_s",
        "since_ms",
        "tries",
    )

    def __init__(self, rest_w: float, lowest_w: float, high_w: float | None, kind: str, period_ms: int, *, held: bool) -> None:
        """`high_w`: above it no listed level reaches; None: not known, or a mean that thins a try out. `held`: what was
        published last goes on until it is said to be otherwise.
        """
        self._on_w, self._off_w = rest_w + ON * lowest_w, rest_w + OFF * lowest_w
        self._high_w = high_w if kind in STANDS else None
        self._kind, self._period_ms, self._held = kind, period_ms, held
        most_ms = round(PACE_S[kind][1] * 1000)
        self._forget_ms = max(most_ms, UNSEEN * period_ms // 2)
        self._over_ms = max(round(OVER / 2.0) * most_ms, UNSEEN * OVER_N * period_ms)
        self._starts: list[int] = []
        self._above_ms: int | None = None
        self._above_n = 0
        self._least_w = 0.0  # … of this try's readings
        self._high_n = 0  # tries in a row that stood above every level
        self.active = False
        self.pace_s = 0.0
        self.tries = 0
        self.since_ms = 0

    def take(self, time_ms: int, watts: float) -> str | None:
        """begins | ends | None."""
        if watts > self._on_w:
            if self._above_ms is None:
                self._above_ms, self._above_n, self._least_w = time_ms, 0, watts
            self._above_n += 1
            self._least_w = min(self._least_w, watts)
            runs_s = RUNS_S if self.active else TRY_S
            if self._above_n > 2 and time_ms - self._above_ms > runs_s * 1000 and self._starts:
                return self._runs()
            return None
        if watts > self._off_w and self._above_ms is not None:
            self._above_n += 1
            return None
        began_ms, self._above_ms = self._above_ms, None
        if began_ms is None:
            if self._starts and time_ms - self._starts[-1] > self._over_ms * (ENDS if self.active else 1.0):
                return self._runs()  # or rests
            return None
        lasted_ms = time_ms - began_ms
        high = self._high_w is not None and self._least_w > self._high_w  # two tries on two readings, too
        try_ms = round(TRY_S * 1000) + self._period_ms
        if self._held and lasted_ms > (RUNS_S * 1000 if self.active else try_ms) + self._period_ms:
            return self._runs()  # who publishes on change says nothing while it does
        if not high and (lasted_ms > try_ms or self._above_n > 1 + 4000 // self._period_ms):
            return None  # readings were lost, or two tries ran into one another: nobody knows
        self._starts.append(began_ms)
        del self._starts[: -TRIES[self._kind]]
        self._high_n = self._high_n + 1 if high else 0
        if self.active:
            self.tries += 1
        elif self._even() or self._stands():
            self.active, self.tries, self.since_ms = True, len(self._starts), self._starts[0]
            return "begins"
        return None

    def _runs(self) -> str | None:
        self._starts, self._high_n = [], 0
        return self._stop()

    def _stands(self) -> bool:
        """Did it draw at every try what it draws standing still?"""
        tries = TRIES[self._kind]
        if self._high_n < tries or len(self._starts) < tries:
            return False
        self.pace_s = median((b - a) / 1000.0 for a, b in pairwise(self._starts))
        return True

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
        if room > TELLS * middle:  # seen too rarely to tell a pace
            return False
        near = sum(abs(p - middle) <= room for p in pauses)
        self.pace_s = middle
        return near >= MOST * len(pauses)

    def _stop(self) -> str | None:
        if not self.active:
            return None
        self.active = False
        return "ends"

    def forget(self, lasted_ms: int) -> None:
        """Readings are missing. Tries go on over a few; in many a run may be hidden."""
        if lasted_ms > self._forget_ms:
            self._starts, self._above_ms, self._high_n = [], None, 0

    def save(self) -> list[Any]:
        return [list(self._starts), *(getattr(self, name) for name in _KEPT)]

    def restore(self, kept: list[Any]) -> None:
        self._starts = list(kept[0])
        for name, value in zip(_KEPT, kept[1:], strict=True):
            setattr(self, name, value)


_KEPT = ("_above_ms", "_above_n", "_least_w", "_high_n", "active", "pace_s", "tries", "since_ms")
