"""Starts that come too often: a compressor that starts and stops, a pump that holds a leak's pressure, a sump that fills.

A run shorter than the period is seen by luck only, so each is judged up to a period at which its runs still show.
"""

from __future__ import annotations

from itertools import pairwise
from statistics import fmean, median, pstdev
from typing import Any

from panelward.records import Facts, Figure

Told = tuple[str, Facts]
HOUR_MS = 3600_000


class ShortCycles:
    """A compressor's."""

    SLOWEST_MS = 30_000  # two minutes show in four readings
    RUN_MS = 150_000  # on for less than two to three minutes (trade practice)
    RUNS = 6
    STARTS = 9  # more than eight an hour (trade practice)
    TRY_MS = 5_000  # shorter, and a period: a start that fails, which `retries` tells
    DIP = 0.08  # of the volts before it started …
    LOW = 0.9  # … down to so much of nominal: its own stop may act (common practice, no source)

    def __init__(self, period_ms: int) -> None:
        self._try_ms = self.TRY_MS + period_ms
        self.rows: list[list[Any]] = []  # began, length, volts before, least volts at start
        self.least_v: float | None = None
        self.reads = 0
        self.over_ms: int | None = None
        self.active = False
        self.since_ms = 0

    @classmethod
    def judged(cls, period_ms: int, on_change: bool) -> bool:
        return on_change or period_ms <= cls.SLOWEST_MS

    def draws(self, volts: float | None, time_ms: int) -> None:
        if volts is not None and self.reads < 5:
            self.reads += 1
            self.least_v = volts if self.least_v is None else min(self.least_v, volts)

    def ran(self, began_ms: int, length_ms: int, before_v: float | None) -> None:
        least_v, self.least_v, self.reads = self.least_v, None, 0
        if length_ms <= self._try_ms:
            return
        self.rows = [*self.rows[1 - self.STARTS :], [began_ms, length_ms, before_v, least_v]]

    def forget(self) -> None:
        self.rows = []

    def since(self, time_ms: int) -> int | None:
        rows = [row for row in self.rows if time_ms - row[0] <= HOUR_MS]
        last = rows[-self.RUNS :]
        short = len(last) == self.RUNS and all(row[1] < self.RUN_MS for row in last)
        if short or len(rows) >= self.STARTS:
            if not self.active:
                self.active, self.since_ms = True, (rows if not short else last)[0][0]
        elif self.active and (len(rows) <= self.RUNS or not rows):
            self.active = False
        self.over_ms = self.rows[-1][0] + HOUR_MS + 1 if self.active and self.rows else None
        return self.since_ms if self.active else None

    def told(self) -> tuple[list[tuple[str, Figure]], str | None, Told]:
        rows = self.rows[-self.RUNS :]
        every_s = fmean([b[0] - a[0] for a, b in pairwise(rows)]) / 1000.0 if len(rows) > 1 else None
        run_s = fmean([row[1] for row in rows]) / 1000.0 if rows else None
        both = [(row[2], row[3]) for row in rows if row[2] is not None and row[3] is not None]
        least_v = min((least for _, least in both), default=None)
        dipped = sum(least <= before * (1.0 - self.DIP) for before, least in both)
        cause = "low-volts-at-start" if both and dipped >= 0.7 * len(both) else None
        figures: list[tuple[str, Figure]] = [("every_s", every_s), ("run_s", run_s), ("volts", least_v)]
        facts: Facts = (("runs", len(rows)), ("seconds", None if run_s is None else round(run_s)), ("volts", least_v))
        name = "short-cycles-low" if cause else "short-cycles" if both else "short-cycles-unmeasured"
        return figures, cause, (name, facts)

    def save(self) -> list[Any]:
        return [[list(row) for row in self.rows], self.least_v, self.reads, self.over_ms, self.active, self.since_ms]

    def restore(self, kept: list[Any]) -> None:
        rows, self.least_v, self.reads, self.over_ms, self.active, self.since_ms = kept
        self.rows = [list(row) for row in rows]


class Leak:
    """A pressure pump's: the same small run again and again, evenly spaced, while nobody draws water."""

    SLOWEST_MS = 10_000
    MOST_MS = 15_000  # of a run: it makes good what leaked between its two pressures (trade practice)
    PAUSE_MS = (3 * 60_000, HOUR_MS)  # ten minutes to an hour (trade practice), shorter as it grows
    # Pauses, and standard deviation over mean of them (trade practice: below 0.3). By day people draw water, and some sleep
    # by day: there the pauses must be the evener the fewer they are.
    NIGHTLY = (4, 0.3)
    NIGHT_RUNS, EVENING = 3, 0.15  # so many of its runs by night, where the first were before
    DAILY = ((5, 0.12), (7, 0.2))
    ALIKE = 0.4  # of the middle run, and two periods
    NIGHT = (22 * 60 + 30, 6 * 60 + 30)
    OVER = 3  # pauses without a start

    def __init__(self, period_ms: int) -> None:
        self._period_ms = period_ms
        self.rows: list[list[Any]] = []  # began, length, by night
        self.over_ms: int | None = None
        self.active = False
        self.since_ms = 0

    @classmethod
    def judged(cls, period_ms: int) -> bool:
        return period_ms <= cls.SLOWEST_MS

    def ran(self, began_ms: int, length_ms: int, minute: int, *, away: bool = False) -> None:
        """`minute`: of the local day; `away`: nobody is aboard, so that nobody draws water by day either."""
        if length_ms > self.MOST_MS + self._period_ms:
            if not self.active:
                self.rows = []  # a tap
            return
        night = away or minute >= self.NIGHT[0] or minute < self.NIGHT[1]
        self.rows = [*self.rows[-self.DAILY[-1][0] :], [began_ms, length_ms, night]]
        if not self.active:
            for pauses, most in (*((self.NIGHTLY,) if night else ()), *self.DAILY):
                rows, even = self.rows[-pauses - 1 :], most
                if (pauses, most) == self.NIGHTLY:  # begun in the evening it must be the evener
                    nightly = sum(row[2] for row in rows)
                    even = most if nightly == len(rows) else self.EVENING if nightly >= self.NIGHT_RUNS else 0.0
                if len(rows) == pauses + 1 and self._even(rows, even):
                    self.active, self.since_ms = True, rows[0][0]
                    break
        if self.active:
            pause = median([b[0] - a[0] for a, b in pairwise(self.rows)])
            self.over_ms = began_ms + self.OVER * round(pause)

    def _even(self, rows: list[list[Any]], even: float) -> bool:
        pauses = [b[0] - a[0] for a, b in pairwise(rows)]
        if min(pauses) < self.PAUSE_MS[0] or max(pauses) > self.PAUSE_MS[1]:
            return False
        lengths = [row[1] for row in rows]
        alike: bool = max(lengths) - min(lengths) <= 2 * self._period_ms + self.ALIKE * median(lengths)
        return alike and bool(pstdev(pauses) < even * fmean(pauses))

    def since(self, time_ms: int) -> int | None:
        if self.active and self.over_ms is not None and time_ms >= self.over_ms:
            self.active, self.over_ms, self.rows = False, None, []
        return self.since_ms if self.active else None

    def told(self) -> tuple[list[tuple[str, Figure]], Told]:
        pauses = [b[0] - a[0] for a, b in pairwise(self.rows)]
        every_s = median(pauses) / 1000.0 if pauses else None
        run_s = fmean([row[1] for row in self.rows]) / 1000.0 if self.rows else None
        figures: list[tuple[str, Figure]] = [("starts", len(self.rows)), ("every_s", every_s), ("run_s", run_s)]
        minutes = None if every_s is None else round(every_s / 60.0)
        seconds = None if run_s is None else round(run_s)
        return figures, ("leak-down", (("starts", len(self.rows)), ("seconds", seconds), ("minutes", minutes)))

    def save(self) -> list[Any]:
        return [[list(row) for row in self.rows], self.over_ms, self.active, self.since_ms]

    def restore(self, kept: list[Any]) -> None:
        rows, self.over_ms, self.active, self.since_ms = kept
        self.rows = [list(row) for row in rows]


class Sump:
    """A sump pump's: more than four runs in an hour that no water pump explains (trade practice)."""

    SLOWEST_MS = 30_000
    STARTS = 5
    DRAINS_MS = 15 * 60_000  # after a water pump ran, what the sump gets may be its water
    OVER_MS = 2 * HOUR_MS

    def __init__(self) -> None:
        self.rows: list[int] = []
        self.over_ms: int | None = None
        self.active = False
        self.since_ms = 0

    @classmethod
    def judged(cls, period_ms: int) -> bool:
        return period_ms <= cls.SLOWEST_MS

    def ran(self, began_ms: int, pumped_ms: int | None) -> None:
        if pumped_ms is not None and began_ms - pumped_ms <= self.DRAINS_MS:
            return
        self.rows = [*self.rows[1 - self.STARTS :], began_ms]
        if len(self.rows) == self.STARTS and began_ms - self.rows[0] <= HOUR_MS and not self.active:
            self.active, self.since_ms = True, self.rows[0]
        if self.active:
            self.over_ms = began_ms + self.OVER_MS

    def since(self, time_ms: int) -> int | None:
        if self.active and self.over_ms is not None and time_ms >= self.over_ms:
            self.active, self.over_ms = False, None
        return self.since_ms if self.active else None

    def told(self) -> tuple[list[tuple[str, Figure]], Told]:
        within = (self.rows[-1] - self.rows[0]) / 60_000.0 if self.rows else None
        figures: list[tuple[str, Figure]] = [
            ("starts", len(self.rows)),
            ("within_s", None if within is None else within * 60.0),
        ]
        return figures, ("sump-runs", (("starts", len(self.rows)), ("minutes", None if within is None else round(within))))

    def save(self) -> list[Any]:
        return [list(self.rows), self.over_ms, self.active, self.since_ms]

    def restore(self, kept: list[Any]) -> None:
        rows, self.over_ms, self.active, self.since_ms = kept
        self.rows = list(rows)
