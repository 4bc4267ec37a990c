"""A journal as the source of a review: read while it is written, half a day at a time.

Readings are put where they were measured, at the clock as it was known to be afterwards (`journal.corrected`). A piece is
given once what arrives was received a quarter of an hour behind its end; what comes even later is counted, in `late`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import closing
from math import nan
from pathlib import Path

import numpy as np

from panelward.journal import Journal, RawBlock
from panelward.journal.octets import DamagedBlock
from panelward.review.source import Columns, Floats
from panelward.review.unpacked import Part, unpack

PIECE_MS = 12 * 3_600_000  # of 24 circuits a second: a million readings, 42 MB
PATIENCE_MS = 15 * 60_000  # a monitor that was away sends what it kept (our own choice)
_AHEAD_MS = 60_000  # intake takes no reading that was measured so long after it came

Given = tuple[int, int, Mapping[str, Columns]]


class Stored:
    """The readings of a journal. `damaged_blocks`: so many could not be unpacked in the last pass, and were passed over.

    Raises EnvironmentFault, here or when it is read.
    """

    def __init__(self, path: str | Path) -> None:
        self.name = Path(path).name
        self._path = Path(path)
        self._late: dict[str, int] = {}
        self.damaged_blocks = 0
        with closing(Journal.read(path)) as journal:
            times = [part.time_ms for raw in journal.edge_blocks() for part in self._unpack(raw, None)]
        self.first_ms = min((int(each.min()) for each in times), default=0)
        self.last_ms = max((int(each.max()) for each in times), default=0)

    @property
    def late(self) -> Mapping[str, int]:
        """Readings of each circuit whose piece was over when they came, in the last pass."""
        return self._late

    def pieces(self, from_ms: int, to_ms: int, circuits: Collection[str] | None = None) -> Iterator[Given]:
        """See `Source`."""
        self._late, self.damaged_blocks = {}, 0
        wanted = None if circuits is None else frozenset(circuits)
        pile = Pile(from_ms, to_ms, self._late)
        until_ms = to_ms + PATIENCE_MS
        with closing(Journal.read(self._path)) as journal:
            for raw in journal.raw_blocks(from_ms - _AHEAD_MS, until_ms):
                if raw.first_ms >= until_ms or raw.last_ms < from_ms - _AHEAD_MS:
                    continue
                yield from pile.over(raw.first_ms - PATIENCE_MS)
                for part in self._unpack(raw, wanted):
                    pile.take(part)
        yield from pile.over(None)

    def _unpack(self, raw: RawBlock, circuits: Collection[str] | None) -> list[Part]:
        try:
            return unpack(raw, circuits)
        except DamagedBlock:
            self.damaged_blocks += 1
            return []


class Pile:
    """What was read and not given yet."""

    def __init__(self, from_ms: int, to_ms: int, late: dict[str, int]) -> None:
        self._from_ms, self._to_ms, self._late = from_ms, to_ms, late
        self._parts: dict[str, list[Part]] = {}
        self._begins_ms: int | None = None  # the piece that is open
        self._given_ms = from_ms  # all before this was given

    def take(self, part: Part) -> None:
        self._parts.setdefault(part.circuit, []).append(part)
        if self._begins_ms is None or self._begins_ms > self._given_ms:
            first_ms = int(part.time_ms.min())
            if first_ms < self._to_ms and int(part.time_ms.max()) >= self._given_ms:
                first_ms = max(first_ms, self._given_ms)
                begins_ms = self._from_ms + (first_ms - self._from_ms) // PIECE_MS * PIECE_MS
                self._begins_ms = begins_ms if self._begins_ms is None else min(begins_ms, self._begins_ms)

    def over(self, now_ms: int | None) -> Iterator[Given]:
        """Pieces for which nothing is waited for any more; None: for none at all."""
        while self._begins_ms is not None and (now_ms is None or self._begins_ms + PIECE_MS <= now_ms):
            begins_ms, ends_ms = self._begins_ms, min(self._begins_ms + PIECE_MS, self._to_ms)
            self._given_ms, self._begins_ms = ends_ms, None
            found = {}
            for circuit, parts in self._parts.items():
                self._parts[circuit] = []
                columns, rest = self._cut(circuit, parts, begins_ms, ends_ms)
                if len(columns.time_ms):
                    found[circuit] = columns
                for part in rest:
                    self.take(part)
            yield begins_ms, ends_ms, found

    def _cut(self, circuit: str, parts: list[Part], begins_ms: int, ends_ms: int) -> tuple[Columns, list[Part]]:
        """What was measured in a piece, in its order; and what belongs to later ones."""
        whole = _joined(circuit, parts)
        first, last, end = np.searchsorted(whole.time_ms, (begins_ms, ends_ms, self._to_ms)).tolist()
        late = first - int(np.searchsorted(whole.time_ms[:first], self._from_ms))
        if late:
            self._late[circuit] = self._late.get(circuit, 0) + late
        here, rest = _rows(whole, first, last), _rows(whole, last, end)
        volts, amps, watts, celsius = (
            np.full(last - first, nan) if column is None else column
            for column in (here.volts, here.amps, here.watts, here.celsius)
        )
        return Columns(here.time_ms, volts, amps, watts, celsius, here.closed), [rest] if last < end else []


def _joined(circuit: str, parts: Sequence[Part]) -> Part:
    """In the order in which it was measured; of the same moment, in the order in which it came."""
    if not parts:
        return Part(circuit, np.empty(0, np.int8), np.empty(0, np.int64), np.empty(0, np.int64), None, None, None, None)
    times, numbers = np.concatenate([p.time_ms for p in parts]), np.concatenate([p.numbers for p in parts])
    figures = [_figures(parts, name) for name in ("volts", "amps", "watts", "celsius")]
    closed = np.concatenate([part.closed for part in parts])
    if np.any((times[1:] < times[:-1]) | (numbers[1:] < numbers[:-1])):
        order = np.lexsort((numbers, times))
        times, numbers, closed = times[order], numbers[order], closed[order]
        figures = [None if column is None else column[order] for column in figures]
    return Part(circuit, closed, numbers, times, *figures)


def _figures(parts: Sequence[Part], name: str) -> Floats | None:
    columns = [getattr(part, name) for part in parts]
    if all(column is None for column in columns):
        return None
    return np.concatenate(
        [np.full(len(p.time_ms), nan) if c is None else c for p, c in zip(parts, columns, strict=True)]
    )  # fmt: skip


def _rows(part: Part, first: int, last: int) -> Part:
    volts, amps, watts, celsius = (
        None if column is None else column[first:last] for column in (part.volts, part.amps, part.watts, part.celsius)
    )
    numbers, times, closed = part.numbers[first:last], part.time_ms[first:last], part.closed[first:last]
    return Part(part.circuit, closed, numbers, times, volts, amps, watts, celsius)
