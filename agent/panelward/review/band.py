"""A device's published band as two lines, and what was held in it or beyond it."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import exp, log

from panelward.ratings.curves import MOST_S, Point
from panelward.review.report import Band, Held, Margin


def earliest(band: Sequence[Band]) -> list[Point]:
    """From the left: before that the device has not opened. Straight up from its first gate; at more amps never later."""
    points: list[Point] = []
    for each in sorted(band, key=lambda each: each.amps):
        if each.least_s is not None and each.least_s > 0.0:
            points.append((each.amps, min([each.least_s, *(s for _, s in points[-1:])])))
    return [(points[0][0], 10 * MOST_S), *points] if points else []


def latest(band: Sequence[Band]) -> list[Point]:
    """After that it has opened; at fewer amps never sooner."""
    points: list[Point] = []
    for each in sorted(band, key=lambda each: -each.amps):
        if each.most_s is not None and each.most_s > 0.0:
            points.insert(0, (each.amps, max([each.most_s, *(s for _, s in points[:1])])))
    return [(points[0][0], 10 * MOST_S), *points] if points else []


def at(points: Sequence[Point], amps: float) -> float | None:
    """Seconds of the line there, along its chord; None: it begins at more amps. Behind its last point it runs on level."""
    for (a0, s0), (a1, s1) in pairwise(points):
        if a0 < a1 and a0 <= amps <= a1:
            return exp(log(s0) + log(s1 / s0) * log(amps / a0) / log(a1 / a0))
    if points and amps >= points[-1][0]:
        return points[-1][1]
    return None


def inside(margin: Margin) -> tuple[tuple[Held, ...], tuple[Held, ...]]:
    """What was held within the band, and what beyond it, where the device must have opened."""
    early, late = earliest(margin.band), latest(margin.band)
    within, beyond = [], []
    for each in margin.held:
        if each.amps <= 0.0:
            continue
        must, may = at(late, each.amps), at(early, each.amps)
        if must is not None and each.seconds > must:
            beyond.append(each)
        elif may is not None and each.seconds >= may:
            within.append(each)
    return tuple(within), tuple(beyond)
