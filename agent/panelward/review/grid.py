"""A circuit's minutes: what it took in each, how much of it was read. Everything by hour, day or deed is summed up of these.

Between two samples the draw goes straight from one to the other (trapezoids), as the watch's own energy does; a gap is
unread, and what lay in it is in no sum. A trapezoid that crosses an edge is cut there, so spans add up.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import inf

import numpy as np

from panelward.review.samples import Habit, Samples
from panelward.review.source import Floats, Whole

MINUTE_MS = 60_000
STEPS_MS = (MINUTE_MS, 5 * MINUTE_MS, 15 * MINUTE_MS)  # offsets from UTC are whole quarters
MOST_STEPS = 66_000  # 45 days of minutes


def step_for(from_ms: int, to_ms: int) -> int:
    """Minutes, and of longer spans as few as memory bears."""
    return next((step for step in STEPS_MS if (to_ms - from_ms) // step <= MOST_STEPS), STEPS_MS[-1])


@dataclass(slots=True)
class Grid:
    """Bins of `step_ms` from `origin_ms`, which is a multiple of it."""

    origin_ms: int
    step_ms: int
    count: int
    read_s: Floats = field(init=False)
    wh: Floats = field(init=False)  # as measured: what a charger brings is negative
    out_ah: Floats = field(init=False)  # of positive amps
    in_ah: Floats = field(init=False)  # of negative amps
    a2s: Floats = field(init=False)
    most_a: Floats = field(init=False)  # of single readings, the larger size; NaN: none
    least_v: Floats = field(init=False)  # NaN: none
    some_v: Floats = field(init=False)  # the first of each bin; NaN: none

    def __post_init__(self) -> None:
        self.read_s, self.wh, self.out_ah, self.in_ah, self.a2s = (np.zeros(self.count) for _ in range(5))
        self.most_a, self.least_v, self.some_v = (np.full(self.count, np.nan) for _ in range(3))

    @property
    def edges_ms(self) -> Whole:
        return self.origin_ms + self.step_ms * np.arange(self.count + 1)

    def bins(self, from_ms: int, to_ms: int) -> slice:
        """Those that lie in a span."""
        first = max(0, -((self.origin_ms - from_ms) // self.step_ms))
        return slice(min(first, self.count), max(0, min(self.count, (to_ms - self.origin_ms) // self.step_ms)))


class Laying:
    """Lays one circuit's samples on its grid, piece by piece."""

    def __init__(self, grid: Grid, habit: Habit) -> None:
        self.grid, self._habit = grid, habit
        self._last: Samples | None = None

    def take(self, samples: Samples) -> None:
        if not len(samples.time_ms):
            return
        grid = self.grid
        self._extremes(samples)
        samples = samples.after(self._last)
        self._last = samples.rows(-1)
        if len(samples.time_ms) < 2:
            return
        time, amps, watts, _ = samples
        wait = np.diff(time)
        seconds = np.where(wait <= self._habit.gap_ms, wait, 0) / 1000.0
        first = (int(time[0]) - grid.origin_ms) // grid.step_ms
        last = (int(time[-1]) - grid.origin_ms) // grid.step_ms
        inner = grid.origin_ms + grid.step_ms * np.arange(first + 1, last + 1)
        at = np.searchsorted(time, inner, side="right") - 1  # the interval that holds each edge
        within = (inner - time[at]) / np.maximum(1, time[np.minimum(at + 1, len(time) - 1)] - time[at])
        half = seconds / 2.0
        out = np.maximum(amps, 0.0)
        gone = amps - out
        square = amps * amps
        low, high = max(0, -first), min(grid.count, last + 1) - first
        for target, values, per in (
            (grid.wh, watts, 3600.0),
            (grid.out_ah, out, 3600.0),
            (grid.in_ah, gone, -3600.0),
            (grid.a2s, square, 1.0),
        ):
            parts = (values[1:] + values[:-1]) * half
            whole = np.concatenate(([0.0], np.cumsum(parts)))
            # Up to the edge the line goes from one sample to the next: the exact part of the trapezoid.
            step = seconds[np.minimum(at, len(seconds) - 1)] * within
            there = values[at] + (values[np.minimum(at + 1, len(values) - 1)] - values[at]) * within
            cut = whole[at] + (values[at] + there) / 2.0 * step
            sums = np.diff(np.concatenate(([0.0], cut, whole[-1:]))) / per
            target[first + low : first + high] += sums[low:high]
        whole = np.concatenate(([0.0], np.cumsum(seconds)))
        cut = whole[at] + seconds[np.minimum(at, len(seconds) - 1)] * within
        sums = np.diff(np.concatenate(([0.0], cut, whole[-1:])))
        grid.read_s[first + low : first + high] += sums[low:high]

    def _extremes(self, samples: Samples) -> None:
        grid = self.grid
        bins = (samples.time_ms - grid.origin_ms) // grid.step_ms
        starts = np.concatenate(([0], np.flatnonzero(np.diff(bins)) + 1))
        where = bins[starts]
        inside = (where >= 0) & (where < grid.count)
        if not inside.any():
            return
        most = np.maximum.reduceat(np.abs(samples.amps), starts)
        least = np.minimum.reduceat(np.where(np.isnan(samples.volts), inf, samples.volts), starts)
        first = samples.volts[starts][inside]
        where, most, least = where[inside], most[inside], least[inside]
        grid.some_v[where] = np.where(np.isnan(grid.some_v[where]), first, grid.some_v[where])
        grid.most_a[where] = np.fmax(grid.most_a[where], most)
        grid.least_v[where] = np.fmin(grid.least_v[where], np.where(np.isinf(least), np.nan, least))
