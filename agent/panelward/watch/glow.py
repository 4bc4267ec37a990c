"""An air heater's start: it glows for one to three minutes, then burns for long; a failed one glows again, purges and rests.

Some glow twice in one start and many once more as they stop: what tells is that it never burned. Three phases without a
burn say that it does not light, or two and then a rest; and a cold start that ends within minutes without any glow, where
the one before it glowed. It ends by a rest, or by beginning anew: from its fan to its purge and back, or the other way
about. Somebody may have used its fan alone: the sentence says so.
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
CHANGED = 1.25  # times: fan and purge are apart
HIDES_MS = 60_000  # a glow lasts longer: between two readings so far apart none is hidden
PERIOD_MOST_MS = 30_000
SLOW_MS = 10_000  # of these one reading is enough


class Glow:
    """One air heater's starts."""

    __slots__ = (
        "_at_ms",
        "_between",
        "_burned",
        "_cold",
        "_first_n",
        "_first_w",
        "_glow_w",
        "_held",
        "_hidden",
        "_judged",
        "_last_glow_ms",
        "_listed",
        "_lit",
        "_needs",
        "_on_ms",
        "_other_n",
        "_other_w",
        "_rest_ms",
        "_rest_w",
        "_seen",
        "_start_ms",
        "bare",
        "phases",
        "since_ms",
        "telling",
    )  # fmt: skip

    def __init__(self, load: Load, rest_w: float, period_ms: int, *, held: bool) -> None:
        """`held`: what was published last goes on until it is said to be otherwise."""
        watts = sorted(x.watts for x in load.levels)
        self._rest_w, self._held = rest_w, held
        self._needs = 1 if held or period_ms >= SLOW_MS else 2
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
        self._at_ms: int | None = None  # the last reading
        self._hidden = False  # readings of this start are missing that may have shown a glow
        self._first_w, self._first_n = 0.0, 0  # what it draws as it starts; readings near that after another draw
        self._other_w, self._other_n = 0.0, 0  # what it drew then; readings
        self.bare = 0  # starts in a row without a glow
        self.phases = 0
        self.since_ms = 0
        self.telling = False

    def take(self, time_ms: int, watts: float) -> str | None:
        """fails-to-light | no-glow | ends | None."""
        if not self._judged:
            return None
        lost = self._at_ms is not None and time_ms - self._at_ms > HIDES_MS and not self._held
        self._at_ms = time_ms
        if watts <= self._rest_w:
            return self._rests(time_ms)
        if self._rest_ms is not None or self._start_ms is None:
            self._cold = self._rest_ms is not None and time_ms - self._rest_ms >= COLD_S * 1000
            self._start_ms, self._rest_ms, self._seen = time_ms, None, False
            self._on_ms = time_ms
            self._first_w, self._first_n, self._other_w, self._other_n, self._hidden = watts, 0, 0.0, 0, False
        self._hidden = self._hidden or lost
        if watts >= self._glow_w:
            return self._glows(time_ms)
        if self._on_ms is None:
            self._on_ms = time_ms
        self._between = True
        if self._cold and self._anew(time_ms, watts):
            return self._without(self._start_ms)
        return self._burns(time_ms)

    def _anew(self, time_ms: int, watts: float) -> bool:
        """Did a start without a glow come back to what it began with, as one that tries once more?"""
        if self._seen or self._hidden or not (self._lit and self._listed) or self.telling:
            return False
        if self._start_ms is None or time_ms - self._start_ms > SHORT_S * 1000:
            return False
        if self._other_n < self._needs:
            if not self._first_w / CHANGED < watts < self._first_w * CHANGED:
                self._other_w, self._other_n = watts, self._other_n + 1
            else:
                self._other_n = 0
                if time_ms - self._start_ms <= HIDES_MS:
                    self._first_w = watts  # it runs up
            return False
        if self._first_w / CHANGED < watts < self._first_w * CHANGED:
            self._first_n += 1
        else:
            self._first_n = 0
        return self._first_n >= self._needs and time_ms - self._start_ms >= FIRST_S * 1000

    def _without(self, start_ms: int | None) -> str | None:
        """A start was without a glow."""
        self.bare += 1
        if self.bare == 1 and start_ms is not None:
            self.since_ms = start_ms
        if self.telling:
            return None
        self.telling = True
        return "no-glow"

    def _burns(self, time_ms: int) -> str | None:
        """Did it draw without a glow for so long that it burned? Not where it started without one."""
        if self.telling and self.bare:
            return None
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
        return self._without(start_ms) or ended

    def forget(self) -> None:
        """Readings are missing: a glow may have been among them."""
        self._on_ms = self._rest_ms = self._start_ms = self._at_ms = None
        self._cold = False

    def save(self) -> list[Any]:
        return [getattr(self, name) for name in _KEPT]

    def restore(self, kept: list[Any]) -> None:
        for name, value in zip(_KEPT, kept, strict=True):
            setattr(self, name, value)


_KEPT = (
    "_on_ms", "_rest_ms", "_last_glow_ms", "_start_ms", "_cold", "_seen", "_between", "_burned", "_lit", "bare",
    "phases", "since_ms", "telling", "_at_ms", "_hidden", "_first_w", "_first_n", "_other_w", "_other_n",
)  # fmt: skip
