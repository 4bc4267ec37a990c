"""Readings made by hand as a review's source, cut into pieces as a test wants. Invented."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from itertools import pairwise

import numpy as np

from panelward.review.source import Columns


def columns(
    time_ms: Sequence[int],
    amps: Sequence[float] | None = None,
    volts: Sequence[float] | None = None,
    watts: Sequence[float] | None = None,
) -> Columns:
    none = np.full(len(time_ms), np.nan)

    def of(values: Sequence[float] | None) -> np.ndarray:
        return none.copy() if values is None else np.asarray(values, np.float64)

    return Columns(
        np.asarray(time_ms, np.int64), of(volts), of(amps), of(watts), none.copy(), np.full(len(time_ms), -1, np.int8)
    )


def cut(whole: Columns, low_ms: int, high_ms: int) -> Columns:
    first, last = np.searchsorted(whole.time_ms, (low_ms, high_ms))
    return Columns(*(column[first:last] for column in whole))


class Made:
    """All in memory; pieces end at `cuts_ms`."""

    def __init__(self, of: Mapping[str, Columns], cuts_ms: Sequence[int] = ()) -> None:
        self.name = "made"
        self._of, self._cuts_ms = of, cuts_ms
        filled = [c.time_ms for c in of.values() if len(c.time_ms)]
        self.first_ms = min((int(t[0]) for t in filled), default=0)
        self.last_ms = max((int(t[-1]) for t in filled), default=0)
        self.late: Mapping[str, int] = {}

    def pieces(
        self, from_ms: int, to_ms: int, circuits: Collection[str] | None = None
    ) -> Iterator[tuple[int, int, Mapping[str, Columns]]]:
        edges = [from_ms, *(c for c in sorted(self._cuts_ms) if from_ms < c < to_ms), to_ms]
        for low, high in pairwise(edges):
            found = {way: cut(each, low, high) for way, each in self._of.items() if circuits is None or way in circuits}
            yield low, high, {way: each for way, each in found.items() if len(each.time_ms)}
