"""The journey along the panel: each way's line cut into stretches, and how much of each way was read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from panelward.records import Schedule
from panelward.review.alarms import Alarm, held_ms
from panelward.review.gathered import Gathered
from panelward.review.judged import DEAD, ways_of
from panelward.review.report import Coverage, Piece, Span
from panelward.schedule.detect import detectability

MOST_PIECES = 360  # along a line: a sheet's width shows no more
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
    starts = np.arange(part.start, part.stop, wide)
    if not len(starts):
        return ()
    read = np.add.reduceat(of.grid.read_s[: part.stop], starts)
    most = np.fmax.reduceat(of.grid.most_a[: part.stop], starts)
    found: list[Piece] = []
    for at, begin in enumerate(starts.tolist()):
        from_ms = int(gathered.edges_ms[begin])
        to_ms = int(gathered.edges_ms[min(begin + wide, part.stop)])
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


def coverage(schedule: Schedule, gathered: Gathered, span: Span, late: Mapping[str, int]) -> tuple[Coverage, ...]:
    """Of every way; a way that never was read is unread throughout."""
    part = gathered.bins(span.from_ms, span.to_ms)
    whole_s = (span.to_ms - span.from_ms) / 1000
    hidden: dict[str, list[str]] = {}
    for sight in detectability(schedule):
        if sight.can == "no":
            hidden.setdefault(sight.circuit, []).append(sight.what)
    found = []
    for circuit in schedule.circuits:
        read_s = min(whole_s, float(gathered.ways[circuit.id].grid.read_s[part].sum()))
        found.append(
            Coverage(
                way=circuit.id, read_s=read_s, unread_s=whole_s - read_s, late_readings=late.get(circuit.id, 0),
                not_observable=tuple(hidden.get(circuit.id, ())),
            )
        )  # fmt: skip
    return tuple(found)
