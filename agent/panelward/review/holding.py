"""The largest mean current that was held for at least so long: `door.held`, for columns of numbers.

A reading stands until the next one, and the last before a gap for one expected period. A gap ends every window. Time is cut
into bins of the expected period, a second at the least, counted from the first reading after a gap. Sums are whole numbers of
0.1 mA: exact, and the same however the readings are cut into pieces.
"""

from __future__ import annotations

from math import ceil

import numpy as np

from panelward.review.report import Held
from panelward.review.source import Floats, Whole

WINDOWS_S = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 10800)
LEAST_BIN_MS = 1000
GRID = 10_000  # units of 0.1 mA in an ampere
LONGEST_FILL = 200_000  # bins that one reading may stand for: what speaks on change may be silent for days


class Holding:
    """Takes samples in the order of their times."""

    def __init__(self, period_ms: int, gap_ms: int, *, on_change: bool = False) -> None:
        self._period_ms = period_ms
        self._bin_ms = LEAST_BIN_MS if on_change else max(LEAST_BIN_MS, period_ms)
        self._gap_ms = max(gap_ms, self._bin_ms)
        wanted = {ceil(seconds * 1000 / self._bin_ms) for seconds in WINDOWS_S if seconds * 1000 >= self._bin_ms}
        self._windows = sorted(wanted | {1})
        self._best: dict[int, tuple[int, int]] = {}  # bins -> (sum, where it begins)
        self._peak: tuple[int, int] | None = None
        self._last_ms: int | None = None
        self._origin_ms = 0  # of the bins, since the last gap
        self._open: tuple[int, int, int, int] | None = (
            None  # number, sum, count and last of the bin that may still get readings
        )
        self._tail: Whole = np.empty(0, np.int64)  # the last bins since the last gap
        self._tail_at = 0  # the number of the first bin behind it

    def take(self, time_ms: Whole, amps: Floats) -> None:
        if not len(time_ms):
            return
        units = np.rint(amps * GRID).astype(np.int64)
        size = np.abs(units)
        at = int(size.argmax())
        if self._peak is None or size[at] > self._peak[0]:
            self._peak = int(size[at]), int(time_ms[at])
        cuts = np.flatnonzero(np.diff(time_ms) > self._gap_ms) + 1
        for begin, end in zip((0, *cuts.tolist()), (*cuts.tolist(), len(time_ms)), strict=True):
            self._run(time_ms[begin:end], units[begin:end])

    def held(self) -> tuple[Held, ...]:
        """What was held: asked once, after the last sample."""
        self._close()
        held: list[Held] = []
        for bins, (total, begins_ms) in sorted(self._best.items(), reverse=True):
            amps, at_ms = total / bins / GRID, begins_ms
            if held and held[0].amps > amps:  # for at least so long: a longer stretch may have held more
                amps, at_ms = held[0].amps, held[0].at_ms
            held.insert(0, Held(seconds=bins * self._bin_ms / 1000, amps=amps, at_ms=at_ms))
        if self._peak is not None and self._period_ms < self._bin_ms:
            held.insert(0, Held(seconds=self._period_ms / 1000, amps=self._peak[0] / GRID, at_ms=self._peak[1]))
        return tuple(held)

    def _run(self, time_ms: Whole, units: Whole) -> None:
        """Samples without a gap between them."""
        if self._last_ms is None or int(time_ms[0]) - self._last_ms > self._gap_ms:
            self._close()
            self._origin_ms = int(time_ms[0])
            self._tail, self._tail_at = np.empty(0, np.int64), 0
        self._last_ms = int(time_ms[-1])
        numbers = (time_ms - (self._origin_ms - self._bin_ms // 2)) // self._bin_ms
        starts = np.concatenate(([0], np.flatnonzero(np.diff(numbers)) + 1))
        where = numbers[starts]
        totals = np.add.reduceat(units, starts)
        counts = np.diff(np.concatenate((starts, [len(units)])))
        lasts = units[np.concatenate((starts[1:], [len(units)])) - 1]
        if self._open is not None:
            number, total, count, last = self._open
            if number == where[0]:
                totals[0] += total
                counts[0] += count
            else:
                where, totals = np.concatenate(([number], where)), np.concatenate(([total], totals))
                counts, lasts = np.concatenate(([count], counts)), np.concatenate(([last], lasts))
        self._open = int(where[-1]), int(totals[-1]), int(counts[-1]), int(lasts[-1])
        if len(where) == 1:
            return
        means = (2 * totals + counts) // (2 * counts)
        stands = np.minimum(np.diff(where), LONGEST_FILL)
        if (stands == 1).all():
            bins = means[:-1]
        else:
            bins = np.repeat(lasts[:-1], stands)
            bins[np.concatenate(([0], np.cumsum(stands[:-1])))] = means[:-1]
        self._put(int(where[0]), np.abs(bins))

    def _close(self) -> None:
        """The last reading before a gap stands for one period."""
        if self._open is not None:
            number, total, count, _ = self._open
            self._open = None
            self._put(number, np.abs(np.array([(2 * total + count) // (2 * count)], np.int64)))

    def _put(self, first: int, bins: Whole) -> None:
        have = len(self._tail)
        both = np.concatenate((self._tail, bins))
        longest = self._windows[-1]
        self._tail = both[-longest:]
        if have and not bins.any() and self._windows[-1] in self._best and have >= longest:
            return  # nothing but zeros: no window that was full can grow
        sums = np.concatenate(([0], np.cumsum(both)))
        for window in self._windows:
            low = max(have + 1, window)
            if low >= len(sums):
                break
            totals = sums[low:] - sums[low - window : len(sums) - window]
            at = int(totals.argmax())
            most = int(totals[at])
            if window not in self._best or most > self._best[window][0]:
                ends = low + at  # bins from the first kept one
                begins = first + ends - have - window
                self._best[window] = most, self._origin_ms + begins * self._bin_ms
