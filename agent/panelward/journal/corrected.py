"""What time it was, once the clock is known: from the corrections that the journal keeps. Pure.

All readings of one run of the program lie on one monotonic axis; only what the wall clock showed at its beginning may have
been wrong. So the last setting of the clock in a run that can be holds for the whole of it: a computer without a clock of
its own begins in 1970, or where it was switched off, and is set by the network an hour later. What may be no more than the
drift of a clock between two settings is not carried back. A run that was never set ended, at the latest, where the next
begins: how long the computer was off in between is not known.

The journal keeps the readings as they came, so that a replay is the same; what is shown and exported is corrected.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from panelward.records.inputs import WALL_SET_FROM_MS

DRIFT = 500e-6  # RFC 5905, A.1.1: MAXFREQ, "frequency tolerance (500 ppm)"; from memory
LEAST_MS = 1000  # by less no clock is taken to have been set (`clock`)


class Mark(NamedTuple):
    """A start of the program, or a Clock input."""

    number: int
    received_ms: int  # on the axis; of a Clock: after it
    started: bool
    shift_ms: int = 0
    offset_ms: int = 0


class Span(NamedTuple):
    """Inputs with these numbers were received `add_ms` later than they say (earlier: negative)."""

    first: int
    last: int | None  # None: up to now
    from_ms: int  # where it begins on the axis
    add_ms: int
    unset: bool  # the clock was not set: no time of a monitor's own was taken either


def spans(marks: Sequence[Mark]) -> tuple[Span, ...]:
    """What to add, by number. Nothing where no clock was ever set: then all times are as they were given."""
    runs: list[list[Mark]] = []
    for mark in marks:
        if mark.started or not runs:
            runs.append([])
        runs[-1].append(mark)
    found: list[Span] = []
    next_ms: int | None = None  # when the run after this one began, corrected
    for at in reversed(range(len(runs))):
        run = runs[at]
        last = runs[at + 1][0].number - 1 if at + 1 < len(runs) else None
        axis_ends_ms = runs[at + 1][0].received_ms if at + 1 < len(runs) else None
        parts = _parts(run, last)
        if all(part.add_ms is None for part in parts):
            known = next_ms is not None and axis_ends_ms is not None
            add_ms = next_ms - axis_ends_ms if known and next_ms is not None and axis_ends_ms is not None else 0
            whole = sum(mark.shift_ms for mark in run)
            made = []
            for part in parts:
                whole -= part.shift_ms
                made.append(Span(part.first, part.last, part.from_ms, add_ms + whole, True))
        else:
            made = [Span(p.first, p.last, p.from_ms, p.add_ms or 0, p.unset) for p in parts]
        if made and (made[0].add_ms or not made[0].unset):
            next_ms = run[0].received_ms - run[0].shift_ms + made[0].add_ms
        else:
            next_ms = None
        found[:0] = made
    return tuple(found) if any(span.add_ms for span in found) else ()


class _Part(NamedTuple):
    first: int
    last: int | None
    from_ms: int
    shift_ms: int  # of the axis at its beginning
    add_ms: int | None
    unset: bool


def _parts(run: Sequence[Mark], last: int | None) -> list[_Part]:
    """Between the corrections of one run: from its beginning, from the first Clock on, …"""
    begins = (
        run[0] if run[0].started else run[0]._replace(shift_ms=0, offset_ms=0, received_ms=run[0].received_ms - run[0].shift_ms)
    )
    segments = [begins, *(run[1:] if run[0].started else run)]
    believed = [mark.received_ms + mark.offset_ms >= WALL_SET_FROM_MS for mark in segments]
    final = max((at for at, can_be in enumerate(believed) if can_be), default=None)
    out: list[_Part] = []
    for at, mark in enumerate(segments):
        first = mark.number + 1 if at or not run[0].started else mark.number
        if at == 0 and not run[0].started:
            first = 0
        until = segments[at + 1].number if at + 1 < len(segments) else last
        add_ms: int | None = None
        if final is not None:
            add_ms = segments[min(at, final)].offset_ms
            add_ms = add_ms if abs(add_ms) >= LEAST_MS else 0
            for later in range(at + 1, final + 1):
                step_ms = _step_ms(segments[later - 1], segments[later])
                before_ms = segments[later].received_ms - segments[later].shift_ms - segments[later - 1].received_ms
                if abs(step_ms) > max(LEAST_MS, DRIFT * before_ms):
                    add_ms += step_ms
        out.append(_Part(first, until, mark.received_ms, mark.shift_ms if at else 0, add_ms, not believed[at]))
    return out


def _step_ms(before: Mark, mark: Mark) -> int:
    """By how much the wall clock was set."""
    return mark.shift_ms + mark.offset_ms - before.offset_ms


def of_number(found: Sequence[Span], number: int) -> Span | None:
    """The span that this input belongs to."""
    return next((s for s in found if s.first <= number and (s.last is None or number <= s.last)), None)


def of_axis(found: Sequence[Span], at_ms: int) -> int:
    """A time on the axis, which never runs back, as it was."""
    span = next((s for s in reversed(found) if s.from_ms <= at_ms), None)
    return at_ms + span.add_ms if span is not None else at_ms
