"""The journey along the panel: a line a way in panel order, time across. Ink is nearness to the fitted device's limit."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.patches import Rectangle

from panelward.review.drawn import FAINT, INK, NARROW, RED, TEXT, WIDE, sheet, svg
from panelward.review.page_parts import Clock
from panelward.review.report import Piece, Report

BIN = 1.2  # units across: what is shorter is no longer seen
MOST = 1.3  # times the rating: more ink than this would run into the next line
LEAST = 0.4  # units: read, and nothing drawn, is still a line
HIGH = 0.5  # a draw so near to the limit hides no loss of feed, nor does that hide it
SEEN = 5  # bins: what was not read, or had no feed, is drawn no narrower
STEP = 0.25  # units: finer steps of ink are not seen
READ, UNREAD, NO_FEED, NOTHING = 1, 2, 3, 0


@dataclass(frozen=True, slots=True)
class _Shape:
    wide: float
    left: float  # where time begins
    row: float
    middle: float  # of a line, below its row's top
    half: float  # from a line's middle to its rail: a draw at the device's rating fills it
    head: float = 33.0  # dates, and below them the numbers of what was of no single way

    @property
    def across(self) -> float:
        return self.wide - self.left - 4.0


_WIDE = _Shape(WIDE, 190.0, 25.0, 17.0, 6.5)
_NARROW = _Shape(NARROW, 4.0, 48.0, 36.0, 8.0)


def journey(report: Report, clock: Clock, *, meters: Collection[str] = (), narrow: bool) -> str:
    """One drawing for a phone's width, one for a sheet's: the page shows the one that fits."""
    shape = _NARROW if narrow else _WIDE
    ways = [way for way in report.ways if way not in meters]
    labels, lines = dict(report.labels), dict(report.lines)
    marks = _marks(report)
    high = shape.head + shape.row * max(1, len(ways)) + 8.0
    with sheet(shape.wide, high) as (figure, axes):
        _days(axes, report, clock, shape, high)
        _of_all(axes, report, shape, high)
        for at, way in enumerate(ways):
            top = high - shape.head - at * shape.row
            _name(axes, way, labels.get(way, ""), shape, top, narrow)
            _line(axes, lines.get(way, ()), report, shape, top - shape.middle)
            _numbers(axes, marks.get(way, ()), report, shape, top - shape.middle)
        said = ". ".join(_said(way, labels.get(way, ""), lines.get(way, ())) for way in ways)
        kind, key = ("narrow", "jn") if narrow else ("wide", "jw")
        return svg(figure, "The journey along the panel", said or "No way was read.", key=key, kind=kind)


def _marks(report: Report) -> Mapping[str, list[tuple[int, int]]]:
    """Way -> (number, moment) of what happened on it."""
    found: dict[str, list[tuple[int, int]]] = {}
    for sentence in report.happened:
        if sentence.number is not None and sentence.way is not None and sentence.at_ms is not None:
            found.setdefault(sentence.way, []).append((sentence.number, sentence.at_ms))
    return found


def _of_all(axes: Axes, report: Report, shape: _Shape, high: float) -> None:
    """What is of no single way: a number above all lines, and a thin line through them."""
    last = -99.0
    for each in report.happened:
        if each.way is None and each.number is not None and each.at_ms is not None:
            x = _x(report, shape, each.at_ms)
            axes.plot([x, x], [4.0, high - shape.head + 9.0], color=RED, linewidth=0.8, dashes=(2, 2))
            last = min(max(x - 4.0, last + 10.0), shape.wide - 9.0)
            axes.text(last, high - 24.0, str(each.number), fontsize=TEXT, fontweight="bold", color=RED)


def _x(report: Report, shape: _Shape, at_ms: float) -> float:
    whole = max(1, report.span.to_ms - report.span.from_ms)
    return shape.left + shape.across * min(1.0, max(0.0, (at_ms - report.span.from_ms) / whole))


def _name(axes: Axes, way: str, label: str, shape: _Shape, top: float, narrow: bool) -> None:
    y = top - 14.0 if narrow else top - shape.middle - 4.0
    room = 46 if narrow else 26
    text = f"{way}  {label}"
    axes.text(0.0, y, text if len(text) <= room else text[: room - 1].rstrip() + "…", fontsize=TEXT)


def _days(axes: Axes, report: Report, clock: Clock, shape: _Shape, high: float) -> None:
    """Local midnights, or sixes of hours where it is a matter of two days; as many are named as there is room for."""
    ticks = list(_ticks(report, clock))
    every = max(1, -(-len(ticks) * 46 // max(1, int(shape.across))))
    last = -99.0
    for at, (at_ms, name) in enumerate(ticks):
        x = _x(report, shape, at_ms)
        named = at % every == 0 and x - last >= 44.0 and x < shape.wide - 36.0
        # A date stands right of its own midnight's line, which alone goes up to it.
        top = high if named else high - shape.head + 3.0
        axes.plot([x, x], [4.0, top], color=INK, alpha=2 * FAINT if named else FAINT, linewidth=0.6)
        if named:
            axes.text(x + 3.0, high - 10.0, name, fontsize=TEXT - 0.5)
            last = x


def _ticks(report: Report, clock: Clock) -> Iterator[tuple[int, str]]:
    hours = 24 if report.span.days > 2.5 else 6
    here: datetime = clock.local(report.span.from_ms).replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=None)
    while True:
        at_ms = round(here.replace(tzinfo=clock.zone).timestamp() * 1000)
        if at_ms > report.span.to_ms:
            return
        if at_ms >= report.span.from_ms:
            yield at_ms, clock.day(at_ms) if here.hour == 0 else f"{here:%H:%M}"
        here += timedelta(hours=hours)


def _binned(pieces: Sequence[Piece], report: Report, count: int) -> tuple[Any, Any]:
    """What each bin shows, and the nearness in it (NaN: read, but of no device)."""
    from_ms, whole = report.span.from_ms, max(1, report.span.to_ms - report.span.from_ms)
    shares = np.zeros((4, count))
    near = np.full(count, np.nan)
    for piece in pieces:
        first = min(count - 1e-9, max(0.0, (piece.from_ms - from_ms) / whole * count))
        last = min(float(count), max(first, (piece.to_ms - from_ms) / whole * count))
        what = {"read": READ, "unread": UNREAD, "no-feed": NO_FEED}.get(piece.what, NOTHING)
        for at in range(int(first), min(count, int(np.ceil(last)) or 1)):
            shares[what, at] += max(1e-9, min(last, at + 1.0) - max(first, float(at)))
            if piece.nearness is not None and what == READ:
                near[at] = np.nanmax([near[at], abs(piece.nearness)])
    states = np.where(shares.max(axis=0) > 0.0, shares.argmax(axis=0), NOTHING)
    states[(shares[READ] > 0.0) & (near >= HIGH)] = READ
    lost = (shares[NO_FEED] > 0.0) & ~(near >= HIGH)
    states[lost] = NO_FEED
    for first, past in list(_runs(states)):
        short = SEEN - (past - first)
        if states[first] in (UNREAD, NO_FEED) and short > 0:
            for at in (*range(past, min(count, past + short)), *range(first - 1, max(-1, first - 1 - short), -1)):
                if short > 0 and states[at] == READ and not near[at] >= HIGH:
                    states[at], short = states[first], short - 1
    return states, near


def _line(axes: Axes, pieces: Sequence[Piece], report: Report, shape: _Shape, y: float) -> None:
    count = int(shape.across / BIN)
    states, near = _binned(pieces, report, count)
    step = shape.across / count
    ink = []
    for first, last in _runs(states):
        left, right = shape.left + first * step, shape.left + last * step
        if states[first] == UNREAD:
            axes.add_patch(
                Rectangle(
                    (left, y - shape.half),
                    right - left,
                    2 * shape.half,
                    fill=False,
                    hatch="/////",
                    linewidth=0.0,
                    edgecolor=INK,
                )
            )
        if states[first] != READ:
            continue
        for rail in (y - shape.half, y + shape.half):
            axes.plot([left, right], [rail, rail], color=INK, alpha=FAINT, linewidth=0.6)
        known = np.nan_to_num(near[first:last])
        half = np.clip(np.round(shape.half * np.minimum(known, MOST) / STEP) * STEP, LEAST, None)
        xs = left + step * (np.arange(last - first) + 0.5)
        if last - first == 1:
            xs, half = np.array([left, right]), np.array([half[0], half[0]])
        xs[0], xs[-1] = left, right
        xs, half = _fewer(xs, half)
        ink.append(_around(xs, half, y))
    if ink:
        axes.add_collection(PolyCollection(ink, facecolors=INK, edgecolors="none"))


def _runs(states: Any) -> Iterator[tuple[int, int]]:
    """[first, last) of bins alike."""
    edges = np.flatnonzero(np.diff(states.astype(int))) + 1
    bounds = [0, *edges.tolist(), len(states)]
    yield from pairwise(bounds)


def _fewer(xs: Any, half: Any) -> tuple[Any, Any]:
    """Points between two alike say nothing."""
    keep = np.ones(len(xs), dtype=bool)
    keep[1:-1] = (half[1:-1] != half[:-2]) | (half[1:-1] != half[2:])
    return xs[keep], half[keep]


def _around(xs: Any, half: Any, y: float) -> list[tuple[float, float]]:
    return [*zip(xs, y + half, strict=True), *zip(xs[::-1], y - half[::-1], strict=True)]


def _numbers(axes: Axes, marks: Sequence[tuple[int, int]], report: Report, shape: _Shape, y: float) -> None:
    last = -99.0
    for number, at_ms in sorted(marks, key=lambda mark: mark[1]):
        x = _x(report, shape, at_ms)
        axes.plot([x, x], [y - shape.half, y + shape.half + 2.0], color=RED, linewidth=1.4)
        beside = min(max(x - 4.0, last + 10.0), shape.wide - 9.0)
        axes.text(beside, y + shape.half + 1.5, str(number), fontsize=TEXT, fontweight="bold", color=RED)
        last = beside


def _said(way: str, label: str, pieces: Sequence[Piece]) -> str:
    """The line in words."""
    near = [piece.nearness for piece in pieces if piece.nearness is not None]
    hours = {what: sum(p.to_ms - p.from_ms for p in pieces if p.what == what) / 3_600_000 for what in ("unread", "no-feed")}
    said = f"at most {100 * max(near):.0f} % of its device" if near else "nearness not known"
    for what, text in (("unread", "unread"), ("no-feed", "without feed")):
        if hours[what] > 0:
            said += f", {text} {hours[what]:.1f} h"
    return f"{way} {label}: {said}"
