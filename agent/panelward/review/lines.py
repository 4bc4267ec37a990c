"""The journey along the panel: each way's line cut into stretches, and how much of each way was read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np

from panelward.records import Schedule
from panelward.review.alarms import Alarm, held_ms
from panelward.review.gathered import Gathered
from panelward.review.judged import DEAD, ways_of
from panelward.review.report import Coverage, Piece, Span
from panelward.review.source import Floats
from panelward.schedule.detect import detectability

MOST_PIECES = 360  # along a line: a sheet's width shows no more
# By an alarm's kind, what `detect` calls it: a raised standby is told of a way whose standby alone can't be.
SHOWN = {
    "standby-drain": ("standby drain", "a standby that has risen"), "overlong-run": ("a run too long",),
    "protection-doubtful": ("another device fitted",), "feed-lost": ("lost feed",), "protection-opened": ("device opened",),
}  # fmt: skip
ROUND = 0.01  # nearness of neighbours that are one piece


def lines(
    schedule: Schedule, gathered: Gathered, alarms: Sequence[Alarm], span: Span
) -> tuple[tuple[str, tuple[Piece, ...]], ...]:
    """In panel order."""
    part = gathered.bins(span.from_ms, span.to_ms)
    count = part.stop - part.start
    wide = max(1, -(-count // MOST_PIECES))
    lost: dict[str, list[tuple[int, int]]] = {}
    for alarm in alarms:
        if alarm.kind in DEAD:
            for way in ways_of(alarm, schedule):
                lost.setdefault(way, []).extend(held_ms(alarm, span.from_ms, span.to_ms))
    return tuple((c.id, _line(gathered, c.id, part, wide, lost.get(c.id, []))) for c in schedule.circuits)


def _line(gathered: Gathered, way: str, part: slice, wide: int, lost: Sequence[tuple[int, int]]) -> tuple[Piece, ...]:
    of = gathered.ways[way]
    if part.stop <= part.start:
        return ()
    # What was lost or not read begins and ends where it did, not where a piece of the line would.
    cuts = [gathered.at(edge) for stretch in lost for edge in stretch]
    cuts += [edge for run in _unread(gathered, of.grid.read_s, part) for edge in run]
    starts = np.unique([*range(part.start, part.stop, wide), *(c for c in cuts if part.start < c < part.stop)])
    read = np.add.reduceat(of.grid.read_s[: part.stop], starts)
    most = np.fmax.reduceat(of.grid.most_a[: part.stop], starts)
    found: list[Piece] = []
    for at, (begin, end) in enumerate(pairwise([*starts.tolist(), part.stop])):
        from_ms = int(gathered.edges_ms[begin])
        to_ms = int(gathered.edges_ms[end])
        middle = (from_ms + to_ms) // 2
        near = None
        if any(b <= middle < e for b, e in lost):
            what = "no-feed"
        elif read[at] > 0.0:
            what = "read"
            if of.fitted_a is not None and not np.isnan(most[at]):
                near = round(float(most[at]) / of.fitted_a / ROUND) * ROUND
        else:
            what = "unread"
        last = found[-1] if found else None
        if last is not None and last.what == what and last.nearness == near:
            found[-1] = Piece(from_ms=last.from_ms, to_ms=to_ms, what=what, nearness=near)
        else:
            found.append(Piece(from_ms=from_ms, to_ms=to_ms, what=what, nearness=near))
    return tuple(found)


def _unread(gathered: Gathered, read_s: Floats, part: slice) -> list[tuple[int, int]]:
    """[first, last) of bins in which nothing was read."""
    none = np.concatenate(([False], read_s[part] <= 0.0, [False]))
    edges = np.flatnonzero(np.diff(none.astype(np.int8))) + part.start
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def longest_unread_ms(gathered: Gathered, read_s: Floats, part: slice) -> tuple[int, int] | None:
    """The longest stretch without a reading, from the last one before it to the first after; None: none is a bin long."""
    found = _unread(gathered, read_s, part)
    if not found:
        return None
    first, last = max(found, key=lambda run: int(gathered.edges_ms[run[1]] - gathered.edges_ms[run[0]]))
    lengths_s = np.diff(gathered.edges_ms) / 1000.0
    # The bins beside it were read in part.
    before_s = lengths_s[first - 1] - read_s[first - 1] if first > part.start else 0.0
    after_s = lengths_s[last] - read_s[last] if last < part.stop else 0.0
    return round(float(gathered.edges_ms[first]) - 1000 * before_s), round(float(gathered.edges_ms[last]) + 1000 * after_s)


def coverage(
    schedule: Schedule, gathered: Gathered, span: Span, late: Mapping[str, int], alarms: Sequence[Alarm]
) -> tuple[Coverage, ...]:
    """Of every way; a way that never was read is unread throughout. What an alarm told could be seen after all."""
    part = gathered.bins(span.from_ms, span.to_ms)
    whole_s = (span.to_ms - span.from_ms) / 1000
    hidden: dict[str, list[str]] = {}
    for sight in detectability(schedule):
        if sight.can == "no":
            hidden.setdefault(sight.circuit, []).append(sight.what)
    for alarm in alarms:
        for way in ways_of(alarm, schedule):
            hidden[way] = [what for what in hidden.get(way, []) if what not in SHOWN.get(alarm.kind, ())]
    found = []
    for circuit in schedule.circuits:
        longest = longest_unread_ms(gathered, gathered.ways[circuit.id].grid.read_s, part)
        read_s = min(whole_s, float(gathered.ways[circuit.id].grid.read_s[part].sum()))
        found.append(
            Coverage(
                way=circuit.id, read_s=read_s, unread_s=whole_s - read_s, late_readings=late.get(circuit.id, 0),
                not_observable=tuple(hidden.get(circuit.id, ())), longest_from_ms=longest[0] if longest else None,
                longest_to_ms=longest[1] if longest else None,
            )
        )  # fmt: skip
    return tuple(found)
