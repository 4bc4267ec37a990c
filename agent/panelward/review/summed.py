"""What a journal keeps beyond its readings: sums of minutes, then of hours. They fill what of a grid was not read."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import numpy as np

from panelward.journal import Journal
from panelward.journal.sums import HOUR_MS, MINUTE_MS, Sum
from panelward.review.gathered import Gathered
from panelward.review.grid import Grid
from panelward.review.report import Sentence

LACKING_S = 5.0  # of an hour that the sums know and the readings don't: less is rounding
MINUTES_DAYS = 7  # of a longer stretch only the hours are looked at: they are exact, and a sixtieth as many
SLACK_S = 0.5


def filling(path: str | Path) -> Callable[[Gathered, int, int], list[Sentence]]:
    """For `Beside.fill`: fills a span, and says where there was no more than sums."""

    def fill(gathered: Gathered, from_ms: int, to_ms: int) -> list[Sentence]:
        stretches = _unread(gathered, from_ms, to_ms)
        filled_s, last_ms = 0.0, 0
        with closing(Journal.read(path)) as journal:
            for begin_ms, end_ms in stretches:
                wanted: list[tuple[int, Iterator[Sum]]] = [(HOUR_MS, journal.hours(begin_ms, end_ms))]
                if end_ms - begin_ms <= MINUTES_DAYS * 24 * HOUR_MS:
                    wanted.insert(0, (MINUTE_MS, journal.minutes(begin_ms, end_ms)))
                for length_ms, sums in wanted:
                    for each in sums:
                        if each.circuit in gathered.ways:
                            seconds = spread(gathered.ways[each.circuit].grid, each, length_ms, from_ms, to_ms)
                            filled_s += seconds
                            last_ms = max(last_ms, each.from_ms) if seconds else last_ms
        if not filled_s:
            return []
        text = (
            "Of some of this time only sums of minutes or hours are kept: "
            "what was held, single levels and starts are not known of it."
        )
        return [Sentence(text=text, at_ms=last_ms, about="trust")]

    return fill


def _unread(gathered: Gathered, from_ms: int, to_ms: int) -> list[tuple[int, int]]:
    """Whole hours of Unix time in which some way was not read, those side by side as one."""
    part = gathered.bins(from_ms, to_ms)
    seconds = gathered.seconds(part)
    lacking = np.zeros(part.stop - part.start)
    for way in gathered.ways.values():
        lacking = np.maximum(lacking, seconds - way.grid.read_s[part])
    hours = gathered.begins_ms(part) // HOUR_MS
    found: list[tuple[int, int]] = []
    if not len(hours):
        return found
    sums = np.bincount(hours - hours[0], lacking)
    for hour in (np.flatnonzero(sums > LACKING_S) + hours[0]).tolist():
        begin_ms, end_ms = hour * HOUR_MS, (hour + 1) * HOUR_MS
        if found and found[-1][1] == begin_ms:
            found[-1] = found[-1][0], end_ms
        else:
            found.append((begin_ms, end_ms))
    return found


def spread(grid: Grid, each: Sum, length_ms: int, from_ms: int, to_ms: int) -> float:
    """Lay what a sum knows beyond its bins over what of them was not read; the seconds laid."""
    first, last = np.searchsorted(grid.edges_ms, (each.from_ms, each.from_ms + length_ms)).tolist()
    part = slice(first, min(last, grid.count))
    begins = grid.edges_ms[part.start : part.stop]
    unread = np.diff(grid.edges_ms[part.start : part.stop + 1]) / 1000 - grid.read_s[part]
    unread = np.where((begins >= from_ms) & (begins < to_ms), np.maximum(0.0, unread), 0.0)
    lacking_s = each.read_ms / 1000 - float(grid.read_s[part].sum())
    room_s = float(unread.sum())
    if lacking_s <= SLACK_S or room_s <= SLACK_S:
        return 0.0
    share = unread / room_s
    lay_s = min(lacking_s, room_s)
    kept = lay_s / lacking_s  # of an hour that lies only partly in the span
    grid.read_s[part] += share * lay_s
    grid.wh[part] += share * kept * (each.energy_wh - float(grid.wh[part].sum()))
    ah = kept * (each.charge_ah - float((grid.out_ah[part] - grid.in_ah[part]).sum()))
    (grid.out_ah if ah >= 0 else grid.in_ah)[part] += share * abs(ah)
    sizes = [abs(a) for a in (each.least_a, each.most_a) if a is not None]
    if sizes:
        grid.most_a[part] = np.where(unread > 0, np.fmax(grid.most_a[part], max(sizes)), grid.most_a[part])
    if each.least_v is not None:
        grid.least_v[part] = np.where(unread > 0, np.fmin(grid.least_v[part], each.least_v), grid.least_v[part])
    return lay_s
