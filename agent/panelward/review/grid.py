"""A circuit's minutes: what it took in each, how much of it was read. Everything by hour, day or deed is summed up of these.

Between two samples the draw goes straight from one to the other (trapezoids), as the watch's own energy does; a gap is
unread, and what lay in it is in no sum. A trapezoid that crosses an edge is cut there, so spans add up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import inf

import numpy as np

from panelward.review.samples import Habit, Samples
from panelward.review.source import Floats, Whole

MINUTE_MS = 60_000
STEPS_MS = tuple(minutes * MINUTE_MS for minutes in (1, 5, 15, 60, 360))  # offsets from UTC are whole quarters
MOST_STEPS = 66_000  # 45 days of minutes; 45 years of six hours, which is for files that hold a clock never set


def step_for(from_ms: int, to_ms: int) -> int:
    """Minutes, and of longer spans as few as memory bears."""
    return next((step for step in STEPS_MS if (to_ms - from_ms) // step <= MOST_STEPS), STEPS_MS[-1])


def edges(from_ms: int, to_ms: int, cuts: Sequence[int] = ()) -> Whole:
    """Whole minutes (or longer steps) from before `from_ms` to `to_ms`, and cuts between them where a span begins or ends."""
    step_ms = step_for(from_ms, to_ms)
    inner = np.arange(-(-from_ms // step_ms) * step_ms, to_ms, step_ms)
    return np.unique(np.concatenate((inner, [from_ms, to_ms], [c for c in cuts if from_ms < c < to_ms]))).astype(np.int64)


@dataclass(slots=True)
class Grid:
    """Bins between edges."""

    edges_ms: Whole
    read_s: Floats = field(init=False)
    wh: Floats = field(init=False)  # as measured: what a charger brings is negative
    out_ah: Floats = field(init=False)  # of positive amps
    in_ah: Floats = field(init=False)  # of negative amps
    a2s: Floats = field(init=False)
    most_a: Floats = field(init=False)  # of single readings, the larger size; NaN: none
    least_v: Floats = field(init=False)  # NaN: none
    sum_v: Floats = field(init=False)  # of readings
    count_v: Floats = field(init=False)

    def __post_init__(self) -> None:
        self.read_s, self.wh, self.out_ah, self.in_ah, self.a2s = (np.zeros(self.count) for _ in range(5))
        self.sum_v, self.count_v = np.zeros(self.count), np.zeros(self.count)
        self.most_a, self.least_v = np.full(self.count, np.nan), np.full(self.count, np.nan)

    @property
    def count(self) -> int:
        return len(self.edges_ms) - 1

    def mean_v(self, part: slice) -> Floats:
        """Of the readings in each bin; NaN: none had any."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return self.sum_v[part] / self.count_v[part]


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
        # Bins count from -1, before the first edge, to `count`, behind the last.
        first = int(np.searchsorted(grid.edges_ms, time[0], side="right")) - 1
        last = int(np.searchsorted(grid.edges_ms, time[-1], side="right")) - 1
        inner = grid.edges_ms[first + 1 : last + 1]
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
        begins = np.searchsorted(samples.time_ms, grid.edges_ms)
        starts = np.unique(begins[(begins < len(samples.time_ms))])
        if not len(starts):
            return
        where = np.searchsorted(grid.edges_ms, samples.time_ms[starts], side="right") - 1
        inside = (where >= 0) & (where < grid.count)
        if not inside.any():
            return
        most = np.maximum.reduceat(np.abs(samples.amps), starts)
        none = np.isnan(samples.volts)
        least = np.minimum.reduceat(np.where(none, inf, samples.volts), starts)
        grid.sum_v[where[inside]] += np.add.reduceat(np.where(none, 0.0, samples.volts), starts)[inside]
        grid.count_v[where[inside]] += np.add.reduceat((~none).astype(np.int64), starts)[inside]
        where, most, least = where[inside], most[inside], least[inside]
        grid.most_a[where] = np.fmax(grid.most_a[where], most)
        grid.least_v[where] = np.fmin(grid.least_v[where], np.where(np.isinf(least), np.nan, least))
