"""A refrigerator's air by a probe in it: while it runs, an open door holds it up where its runs begin; warm goods do not.

With a door ajar its air goes to a balance with the room within some twenty minutes and stays there; after an opening, or over
warm goods, it falls all the while (simulated). Steps from minute to minute are people at the door: looking begins anew.
"""

from __future__ import annotations

from typing import Any

LOOK_MS = 60_000
SPAN_MS, PART_MS = 15 * 60_000, 5 * 60_000  # looked at, and its first and last part, whose means are held against each other
LEAST = 3  # readings in a part
STEP_K = 0.6  # between two readings: people
FALLS_K = 0.12  # less than this over the span is no fall: 0.1 K of noise in five readings (common practice, no source)
UNDER_K = 0.3  # so near to where its runs begin, or above
STARTS, STARTS_MOST = 8, 20  # runs whose beginning says where that is
FROZEN_C = -8.0  # a freezer holds warm goods for half a day and its air with them: they look like its door (simulated)


class Box:
    """One compressor's."""

    __slots__ = ("_n", "_rows", "_top_c")

    def __init__(self) -> None:
        self._rows: list[list[float]] = []  # when read, °C: of the run in progress
        self._top_c, self._n = 0.0, 0  # its air as its runs begin

    def starts(self, celsius: float | None) -> None:
        self._rows = []
        if celsius is not None:
            self._n = min(STARTS_MOST, self._n + 1)
            self._top_c += (min(celsius, self._top_c + STEP_K) - self._top_c if self._n > 1 else celsius) / self._n

    def reads(self, celsius: float, read_ms: int) -> None:
        """While it runs."""
        if self._rows and read_ms <= self._rows[-1][0]:
            return
        if self._rows and abs(celsius - self._rows[-1][1]) > STEP_K:
            self._rows = []
        self._rows = [row for row in self._rows if read_ms - row[0] <= SPAN_MS + LOOK_MS] + [[float(read_ms), celsius]]

    def holds(self) -> bool:
        """Does its air stay where it is, or rise, though it runs?"""
        rows = self._rows
        if self._n < STARTS or self._top_c < FROZEN_C or not rows or rows[-1][0] - rows[0][0] < SPAN_MS:
            return False
        first = [c for ms, c in rows if ms - rows[0][0] <= PART_MS]
        last = [c for ms, c in rows if rows[-1][0] - ms <= PART_MS]
        if min(len(first), len(last)) < LEAST:
            return False
        now_c = sum(last) / len(last)
        return now_c >= self._top_c - UNDER_K and now_c >= sum(first) / len(first) - FALLS_K

    def gap(self) -> None:
        self._rows = []

    def save(self) -> list[Any]:
        return [[list(row) for row in self._rows], self._top_c, self._n]

    def restore(self, kept: list[Any]) -> None:
        rows, self._top_c, self._n = kept
        self._rows = [list(row) for row in rows]
