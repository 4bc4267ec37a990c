"""An air heater's start: it glows for one to three minutes, then burns for long; a failed one glows again, purges and rests.

Some glow twice in one start and many once more as they stop: what tells is that it never burned. Three phases without a
burn say that it does not light, or two and then a rest; and a cold start that ends within minutes without any glow, where
the one before it glowed. Somebody may have used its fan alone: the sentence says so.
"""

from __future__ import annotations

from typing import Any

from panelward.records import Load

APART = 2.5  # times the next level: glowing stands out (8 to 12 A beside 0.6 to 2.5; common practice, no source)
LONGEST_S = 300.0  # of a glow phase; common practice, no source: 60 to 180 s
PAUSE_S = 20.0  # within one phase
BURNS_S = 360.0  # a purge is over by then (2 to 5 min, common practice, no source)
PHASES = 3
FORGET_S = 3600.0
COLD_S = 1800.0  # rested so long it must glow to light
SHORT_S = 600.0
FIRST_S = 120.0  # by then it glows
PERIOD_MOST_MS = 30_000


class Glow:
    """One air heater's starts."""

    __slots__ = (
        "_between", "_burned", "_cold", "_glow_w", "_judged", "_last_glow_ms", "_listed", "_lit", "_on_ms", "_rest_ms",
        "_rest_w", "_seen", "_start_ms", "bare", "phases", "since_ms", "telling",
    )  # fmt: skip

    def __init__(self, load: Load, rest_w: float, period_ms: int) -> None:
        watts = sorted(x.watts for x in load.levels)
        self._rest_w = rest_w
        self._judged = period_ms <= PERIOD_MOST_MS and load.kind == "air-heater"
        self._listed = len(watts) > 1 and watts[-1] >= APART * watts[-2]
        self._glow_w = 0.6 * watts[-1] if self._listed else APART * watts[-1]
        self._on_ms: int | None = None  # it draws since, without a glow
        self._rest_ms: int | None = None  # it rests since
        self._last_glow_ms: int | None = None
        self._start_ms: int | None = None  # this start began
        self._cold = self._seen = False
        self._burned = False  # it has, in this run
        self._lit = False  # its last cold start glowed
        self._between = False  # it did something else since it glowed last
        self.bare = 0  # starts in a row without a glow
        self.phases = 0
        self.since_ms = 0
        self.telling = False

    def take(self, time_ms: int, watts: float) -> str | None:
        """fails-to-light | no-glow | ends | None."""
        if not self._judged:
            return None
        if watts <= self._rest_w:
            return self._rests(time_ms)
        if self._rest_ms is not None or self._start_ms is None:
            self._cold = self._rest_ms is not None and time_ms - self._rest_ms >= COLD_S * 1000
            self._start_ms, self._rest_ms, self._seen = time_ms, None, False
            self._on_ms = time_ms
        if watts >= self._glow_w:
            return self._glows(time_ms)
        if self._on_ms is None:
            self._on_ms = time_ms
        self._between = True
        return self._burns(time_ms)

    def _burns(self, time_ms: int) -> str | None:
        """Did it draw without a glow for so long that it burned?"""
        if self._on_ms is None or time_ms - self._on_ms < BURNS_S * 1000 or self._burned:
            return None
        self.phases, self._burned = 0, True
        if self._seen or time_ms - self._on_ms >= SHORT_S * 1000:
            self.bare = 0
        if not self.telling:
            return None
        self.telling = False
        return "ends"

    def _glows(self, time_ms: int) -> str | None:
        ended = self._burns(time_ms)  # an on-change publisher says nothing while it burns
        last_ms, self._last_glow_ms = self._last_glow_ms, time_ms
        self._seen, self._on_ms = True, None
        self.bare = 0
        between, self._between = self._between, False
        if last_ms is not None and time_ms - last_ms <= (PAUSE_S if between else LONGEST_S) * 1000:
            return ended  # still the same phase
        if last_ms is None or time_ms - last_ms > FORGET_S * 1000:
            self.phases = 0
        if self._burned:
            self._burned = False  # many glow once more as they stop
            return ended
        self.phases += 1
        if self.phases == 1:
            self.since_ms = time_ms
        if self.phases >= PHASES and not self.telling:
            self.telling = True
            return "fails-to-light"
        return ended

    def _rests(self, time_ms: int) -> str | None:
        if self._rest_ms is not None:
            return None
        ended = self._burns(time_ms)
        self._on_ms, self._between, self._burned = None, True, False
        self._rest_ms = time_ms
        start_ms, self._start_ms = self._start_ms, None
        lit = self._lit
        if start_ms is not None and (self._cold or self._seen):
            self._lit = self._seen
        if self.phases >= PHASES - 1 and not self.telling and not ended:
            self.telling = True
            return "fails-to-light"
        if start_ms is None or not self._listed or not self._cold or self._seen or not lit:
            return ended
        if not FIRST_S * 1000 <= time_ms - start_ms <= SHORT_S * 1000:
            return ended
        self.bare += 1
        if self.bare == 1:
            self.since_ms = start_ms
        if not self.telling:
            self.telling = True
            return "no-glow"
        return ended

    def forget(self) -> None:
        """Readings are missing: a glow may have been among them."""
        self._on_ms = self._rest_ms = self._start_ms = None
        self._cold = False

    def save(self) -> list[Any]:
        return [getattr(self, name) for name in _KEPT]

    def restore(self, kept: list[Any]) -> None:
        for name, value in zip(_KEPT, kept, strict=True):
            setattr(self, name, value)


_KEPT = (
    "_on_ms", "_rest_ms", "_last_glow_ms", "_start_ms", "_cold", "_seen", "_between", "_burned", "_lit", "bare",
    "phases", "since_ms", "telling",
)  # fmt: skip
