"""The largest mean current that was held for at least so long, and what each hour was: one pass over a circuit's readings.

A reading stands until the next one, and the last before a gap for one expected period. A gap (more than three periods,
and than 10 s) ends every window: nothing is bridged, and what was not read is unread, never zero. Time is cut into bins of
the expected period, a second at the least, counted from the first reading after a gap; of several readings in one bin their
mean stands, so a window is a whole number of bins. Sums are whole numbers of 0.1 mA: exact. The memory is one sum a bin over
the longest window.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, groupby
from math import ceil
from operator import sub

WINDOWS_S = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 10800)
GAP_PERIODS = 3  # a longer wait than this is a gap
LEAST_GAP_MS = 10_000  # … and 10 s at the least, as for the watch and the review
LEAST_BIN_MS = 1000
HOUR_MS = 3_600_000
GATHERED = 256  # readings
GRID = 10_000  # units of 0.1 mA in an ampere: the grid on which readings are taken in


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """The largest mean current over any stretch of at least `seconds` (of the lengths in WINDOWS_S) without a gap."""

    seconds: float
    amps: float
    begins_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Hour:
    """One hour of a circuit; None: nothing was read in it."""

    begins_ms: int
    mean_a: float | None
    low_a: float | None  # of single readings
    high_a: float | None
    unread_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What a span of readings shows of one circuit."""

    held: tuple[Held, ...]  # rising windows; the first is one reading. Empty: nothing was read
    hours: tuple[Hour, ...]
    unread_share: float
    readings: int

    def worst_a(self, seconds: float) -> float | None:
        """Of the shortest window of at least so long; None: it was never read for so long without a gap."""
        return next((held.amps for held in self.held if held.seconds >= seconds - 1e-9), None)


class Holding:
    """Takes a circuit's readings in pieces, in the order of their times; late ones are left out.

    `from_ms` and `to_ms` bound the span. `offset_ms` moves the hours' edges, for zones that are not whole hours from UTC.
    """

    def __init__(self, period_s: float, from_ms: int, to_ms: int, *, on_change: bool = False, offset_ms: int = 0) -> None:
        period_ms = max(1, round(period_s * 1000))
        self._period_ms = period_ms
        self._bin_ms = LEAST_BIN_MS if on_change else max(LEAST_BIN_MS, period_ms)
        self._gap_ms = max(GAP_PERIODS * period_ms, LEAST_GAP_MS, self._bin_ms)
        self._from_ms, self._to_ms = from_ms, to_ms
        self._offset_ms = offset_ms % HOUR_MS
        wanted = {ceil(seconds * 1000 / self._bin_ms) for seconds in WINDOWS_S if seconds * 1000 >= self._bin_ms}
        self._windows = sorted(wanted | {1})
        self._longest = self._windows[-1]
        self._best: dict[int, tuple[int, int]] = {}  # bins -> (sum, where it begins)
        self._peak: tuple[int, int] | None = None
        self._waiting: tuple[list[int], list[float]] = ([], [])
        self._count = 0
        self._last_ms: int | None = None
        self._last_units = 0
        self._origin_ms = 0  # of the bins, since the last gap
        self._sums = array("q", (0,))  # of all bins since the last gap up to here; only the last `_longest` are kept
        self._open = (0, 0, 0)  # the bin that may still get readings: its number, sum and count
        self._sum: dict[int, int] = {}  # by hour: of its bins
        self._bins: dict[int, int] = {}
        self._low: dict[int, int] = {}
        self._high: dict[int, int] = {}

    def take(self, times_ms: Sequence[int], amps: Sequence[float]) -> None:
        """The next readings. They are gathered first: the windows cost the same for few as for many."""
        self._waiting[0].extend(times_ms)
        self._waiting[1].extend(amps)
        if len(self._waiting[0]) >= GATHERED:
            self._work()

    def _work(self) -> None:
        times, figures = self._in_order(*self._waiting)
        self._waiting = ([], [])
        if not times:
            return
        units = [round(each * GRID) for each in figures]
        self._count += len(times)
        self._extremes(times, units)
        waits = list(map(sub, times[1:], times))
        begins = 0
        if waits and max(waits) > self._gap_ms:
            for at, wait in enumerate(waits, start=1):
                if wait > self._gap_ms:
                    self._run(times[begins:at], units[begins:at])
                    begins = at
        self._run(times[begins:], units[begins:])

    def seen(self) -> Seen:
        """What was seen: asked once, after the last reading."""
        self._work()
        self._close()
        held: list[Held] = []
        for bins, (total, begins_ms) in sorted(self._best.items(), reverse=True):
            found = Held(seconds=bins * self._bin_ms / 1000, amps=total / bins / GRID, begins_ms=begins_ms)
            if held and held[0].amps > found.amps:  # for at least so long: a longer stretch may have held more
                found = replace(found, amps=held[0].amps, begins_ms=held[0].begins_ms)
            held.insert(0, found)
        if self._peak is not None and self._period_ms < self._bin_ms:
            held.insert(0, Held(seconds=self._period_ms / 1000, amps=self._peak[0] / GRID, begins_ms=self._peak[1]))
        hours = tuple(self._hours())
        span_s = max(1, self._to_ms - self._from_ms) / 1000
        unread_s = sum(hour.unread_s for hour in hours)
        return Seen(held=tuple(held), hours=hours, unread_share=min(1.0, unread_s / span_s), readings=self._count)

    def _in_order(self, found: list[int], figures: list[float]) -> tuple[list[int], list[float]]:
        """Within the span and rising: what is not after the one before it is late."""
        last = self._last_ms if self._last_ms is not None else self._from_ms - 1
        if not found:
            return [], []
        if found[0] <= last or found[-1] >= self._to_ms or (len(found) > 1 and min(map(sub, found[1:], found)) <= 0):
            kept: list[tuple[int, float]] = []
            for time_ms, each in zip(found, figures, strict=True):
                if last < time_ms < self._to_ms:
                    kept.append((time_ms, each))
                    last = time_ms
            found, figures = [time_ms for time_ms, _ in kept], [each for _, each in kept]
        return found, figures

    def _hour_of(self, time_ms: int) -> int:
        return (time_ms + self._offset_ms) // HOUR_MS

    def _extremes(self, times: list[int], units: list[int]) -> None:
        size = list(map(abs, units))
        most = max(size)
        if self._peak is None or most > self._peak[0]:
            self._peak = most, times[size.index(most)]
        if self._hour_of(times[0]) == self._hour_of(times[-1]):
            pieces = [(self._hour_of(times[0]), units)]
        else:
            both = groupby(zip(times, units, strict=True), key=lambda pair: self._hour_of(pair[0]))
            pieces = [(hour, [each for _, each in pairs]) for hour, pairs in both]
        for hour, piece in pieces:
            self._low[hour] = min(*piece, self._low.get(hour, piece[0]))
            self._high[hour] = max(*piece, self._high.get(hour, piece[0]))

    def _run(self, times: list[int], units: list[int]) -> None:
        """Readings without a gap between them."""
        if self._last_ms is None or times[0] - self._last_ms > self._gap_ms:
            self._close()
            self._origin_ms = times[0]
            self._sums = array("q", (0,))
            self._open = (0, 0, 0)
        zero = self._origin_ms - self._bin_ms // 2
        numbers = [(time_ms - zero) // self._bin_ms for time_ms in times]
        number, total, count = self._open
        first = number
        bins: list[int] = []
        if count and numbers[0] == number + 1 and numbers == list(range(numbers[0], numbers[0] + len(numbers))):
            bins = [_mean(total, count), *units[:-1]]
            number, total, count = numbers[-1], units[-1], 1
        else:
            last = self._last_units
            for at, each in zip(numbers, units, strict=True):
                if at == number:
                    total, count = total + each, count + 1
                else:
                    bins.append(_mean(total, count))
                    bins += [last] * (at - number - 1)
                    number, total, count = at, each, 1
                last = each
        self._open = (number, total, count)
        self._last_ms, self._last_units = times[-1], units[-1]
        if bins:
            self._put(first, bins)

    def _close(self) -> None:
        """The last reading before a gap stands for one period."""
        number, total, count = self._open
        if count:
            self._put(number, [_mean(total, count)])
            self._open = (number, 0, 0)

    def _put(self, first: int, bins: list[int]) -> None:
        begins_ms = self._origin_ms + first * self._bin_ms
        self._by_hour(begins_ms, bins)
        sums = self._sums
        base = len(sums)
        full_before = base - 1  # bins that stood before these, as far as kept
        sums.extend(list(accumulate(map(abs, bins), initial=sums[-1]))[1:])
        quiet = sums[-1] == sums[base - 1]  # nothing but zeros: no window that was full can grow
        for window in self._windows:
            if quiet and full_before >= window and window in self._best:
                continue
            low = max(base, window)
            if low >= len(sums):
                break
            totals = list(map(sub, sums[low:], sums[low - window :]))
            most = max(totals)
            if window not in self._best or most > self._best[window][0]:
                ends = low + totals.index(most)  # bins from the first kept one
                at_ms = begins_ms + (ends - base + 1 - window) * self._bin_ms
                self._best[window] = most, at_ms
        if len(sums) > 2 * self._longest + 1:
            del sums[: len(sums) - self._longest - 1]

    def _by_hour(self, begins_ms: int, bins: list[int]) -> None:
        at = 0
        while at < len(bins):
            time_ms = begins_ms + at * self._bin_ms
            hour = self._hour_of(time_ms)
            ends_ms = (hour + 1) * HOUR_MS - self._offset_ms
            until = min(len(bins), at + ceil((ends_ms - time_ms) / self._bin_ms))
            self._sum[hour] = self._sum.get(hour, 0) + sum(bins[at:until])
            self._bins[hour] = self._bins.get(hour, 0) + until - at
            at = until

    def _hours(self) -> Iterator[Hour]:
        for hour in range(self._hour_of(self._from_ms), self._hour_of(self._to_ms - 1) + 1):
            begins_ms = hour * HOUR_MS - self._offset_ms
            inside_s = (min(begins_ms + HOUR_MS, self._to_ms) - max(begins_ms, self._from_ms)) / 1000
            bins = self._bins.get(hour, 0)
            read_s = min(inside_s, bins * self._bin_ms / 1000)
            yield Hour(
                begins_ms=begins_ms,
                mean_a=self._sum[hour] / bins / GRID if bins else None,
                low_a=self._low[hour] / GRID if hour in self._low else None,
                high_a=self._high[hour] / GRID if hour in self._high else None,
                unread_s=inside_s - read_s,
            )


def _mean(total: int, count: int) -> int:
    """To the nearest 0.1 mA."""
    return total if count == 1 else (2 * total + count) // (2 * count)
