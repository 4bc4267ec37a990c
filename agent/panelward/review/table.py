"""A file of readings as the source of a review: CSV of any length, some megabytes at a time.

pyarrow reads each stretch; one that holds anything out of order is read again by `intake`, which names the line of what is
wrong, or passes it over and counts it. Rows are in the order in which they came: where there is no `received`, the latest
time so far stands for it. A file that fits into memory is put in order as a whole; of a longer one, what comes more than a
quarter of an hour behind is counted in `late`.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Collection, Iterator, Mapping
from itertools import pairwise
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

import numpy as np
import numpy.typing as npt
import pyarrow as pa
from pyarrow import csv

from panelward.errors import Fault, ReadingsError
from panelward.intake import TableReader
from panelward.records import QUANTITIES, Reading, Schedule
from panelward.review.source import Columns, Floats, Whole
from panelward.review.stored import PATIENCE_MS, Pile
from panelward.review.unpacked import Part

STRETCH = 8 * 1024 * 1024  # octets at a time: some 160,000 rows
WHOLE = 64 * 1024 * 1024  # up to so many octets it is put in order as a whole
_FIGURES = {"volts": 4, "amps": 4, "watts": 3, "celsius": 3}
_STATES = {"1": 1, "0": 0, "true": 1, "false": 0}
_ORIGINS = {"live": 0, "retained": 1, "backlog": 2}
_NEVER = -(2**62)
APART_MS = 400 * 86_400_000
_LARGEST = 1e6  # as intake has it
_LATEST_S = 32_503_680_000.0


class Rows(NamedTuple):
    """A stretch of the file: what is a reading, in its order. NaN, -1: not measured."""

    names: list[str]
    codes: npt.NDArray[np.int32]  # of the circuits, by their names
    time_ms: Whole
    received_ms: Whole
    closed: npt.NDArray[np.int8]
    volts: Floats
    amps: Floats
    watts: Floats
    celsius: Floats


class Table:
    """Reads a file of readings. Raises ReadingsError, here or when it is read. `progress` is told octets and their total."""

    def __init__(
        self,
        path: str | Path,
        schedule: Schedule,
        *,
        lenient: bool = False,
        progress: Callable[[int, int], None] | None = None,
        stretch: int = STRETCH,
        whole: int = WHOLE,
    ) -> None:
        self._stretch, self._most_whole = stretch, whole
        self._path, self._schedule, self._lenient, self._progress = Path(path), schedule, lenient, progress
        self.name = self._path.name
        self._known = frozenset([c.id for c in schedule.circuits] + [p.id for p in schedule.probes])
        self._late: dict[str, int] = {}
        self.skipped = 0  # rows that could not be read, in the last pass
        self.rows = 0
        self.astray = 0  # readings whose time is years away from all others
        with self._opened() as file:
            file.seek(0, io.SEEK_END)
            self.size = file.tell()
        self.first_ms, self.last_ms = self._ends()

    @property
    def late(self) -> Mapping[str, int]:
        """Readings of each circuit whose piece was over when they came, in the last pass."""
        return self._late

    def pieces(
        self, from_ms: int, to_ms: int, circuits: Collection[str] | None = None
    ) -> Iterator[tuple[int, int, Mapping[str, Columns]]]:
        """See `Source`."""
        self._late, self.skipped, self.rows = {}, 0, 0
        pile = Pile(from_ms, to_ms, self._late)
        number = 0
        latest_ms = -(2**62)
        for rows in self._stretches():
            if not len(rows.time_ms):
                continue
            if self.size > self._most_whole and latest_ms >= from_ms:
                yield from pile.over(latest_ms - PATIENCE_MS)
            latest_ms = max(latest_ms, int(rows.received_ms[-1]))
            for part in _parts(rows, number, circuits):
                inside = (part.time_ms >= from_ms) & (part.time_ms < to_ms)
                if inside.all():
                    pile.take(part)
                elif inside.any():
                    pile.take(Part(part.circuit, *(None if c is None else c[inside] for c in part[1:])))  # type: ignore[arg-type]
            number += len(rows.time_ms)
        yield from pile.over(None)

    # The file.

    def _opened(self) -> BinaryIO:
        try:
            return self._path.open("rb")
        except OSError as error:
            raise ReadingsError(Fault(str(self._path), None, "(file)", "a file of readings", str(error.strerror))) from None

    def _ends(self) -> tuple[int, int]:
        """The first and the last time, looked for in its first stretch and its last; the whole where it fits into memory."""
        ends = self.size > self._most_whole
        found = [rows.time_ms for rows in self._stretches(ends=ends) if len(rows.time_ms)]
        if not found:
            return 0, 0
        times = np.sort(np.concatenate(found))
        if ends:
            return int(times[0]), int(times[-1])
        # A clock that was not set yet, or set wrong, leaves readings years away from all others.
        cuts = [0, *(np.flatnonzero(np.diff(times) > APART_MS) + 1).tolist(), len(times)]
        low, high = max(pairwise(cuts), key=lambda cut: cut[1] - cut[0])
        self.astray = len(times) - (high - low)
        return int(times[low]), int(times[high - 1])

    def _stretches(self, *, ends: bool = False) -> Iterator[Rows]:
        """Stretch by stretch; `ends`: the first and the last only."""
        with self._opened() as file:
            head = b""  # lines before the header: who it is for, and who agreed
            while (first := file.readline()).lstrip(b"\xef\xbb\xbf").startswith(b"#"):
                head += first
            header = _whole_rows(first, file)
            line, done, latest_ms = (head + header).count(b"\n"), len(head) + len(header), -(2**62)
            begun = done
            if not header.strip():
                self._slowly(head + header, b"", 0)  # it says what is wrong with an empty file
                return
            while stretch := file.read(self._stretch):
                stretch += file.readline()
                stretch = _whole_rows(stretch, file)
                rows = self._rows(header, stretch, line, latest_ms)
                self.rows += len(rows.time_ms)
                if len(rows.time_ms):
                    latest_ms = int(rows.received_ms[-1])
                line += stretch.count(b"\n")
                done += len(stretch)
                if self._progress is not None:
                    self._progress(done, self.size)
                yield rows
                if ends and done < self.size - self._stretch:
                    file.seek(self.size - self._stretch)
                    done = self.size - self._stretch + len(file.readline())
            if done == begun:
                self._slowly(head + header, b"", 0)

    def _rows(self, header: bytes, stretch: bytes, line: int, latest_ms: int) -> Rows:
        rows = self._quickly(header, stretch)
        if rows is None:
            rows = self._slowly(header, stretch, line)
        received_ms = np.maximum(np.maximum.accumulate(rows.received_ms), latest_ms) if len(rows.time_ms) else rows.received_ms
        return rows._replace(received_ms=received_ms)

    def _quickly(self, header: bytes, stretch: bytes) -> Rows | None:
        """None: something in it needs a closer look."""
        names = [name.strip().lower() for name in header.decode("utf-8", "replace").lstrip("\ufeff").strip().split(",")]
        if not {"time", "circuit"} <= set(names) or not set(QUANTITIES) & set(names):
            return None
        if b'"' in header or b'"' in stretch or len(set(names)) < len(names) or stretch.isspace():
            return None
        first = stretch.lstrip(b"\r\n").split(b"\n", 1)[0].split(b",")
        at = names.index("time")
        moment = pa.timestamp("us", "UTC") if at < len(first) and b":" in first[at] else pa.float64()
        kinds = {"time": moment, "received": moment, **dict.fromkeys(_FIGURES, pa.float64())}
        kinds |= dict.fromkeys(("circuit", "closed", "commanded", "origin"), pa.dictionary(pa.int32(), pa.string()))
        try:
            found = csv.read_csv(
                io.BytesIO(stretch),
                read_options=csv.ReadOptions(column_names=names, use_threads=False, block_size=2 * len(stretch) + 4096),
                parse_options=csv.ParseOptions(quote_char=False),
                convert_options=csv.ConvertOptions(
                    column_types=kinds,
                    null_values=[""],
                    strings_can_be_null=True,
                    include_columns=[n for n in names if n in kinds],
                ),
            )
        except pa.ArrowInvalid:
            return None
        return self._checked(found)

    def _checked(self, found: Any) -> Rows | None:
        """None: it holds what intake would refuse, or what only intake can tell."""
        circuits = found["circuit"].combine_chunks()
        names = circuits.dictionary.to_pylist()
        if not set(names) <= self._known or circuits.null_count or found["time"].null_count:
            return None
        time = _moments(found["time"])
        received = _moments(found["received"]) if "received" in found.column_names else time
        if time is None or received is None:
            return None
        figures: dict[str, Floats] = {}
        some = np.zeros(len(time), np.bool_)
        for name, digits in _FIGURES.items():
            if name not in found.column_names:
                figures[name] = np.full(len(time), np.nan)
                continue
            column = found[name].combine_chunks()
            values = column.to_numpy(zero_copy_only=False)
            if int(np.isnan(values).sum()) != column.null_count or (np.abs(values) > _LARGEST).any():
                return None
            figures[name] = np.round(values, digits) + 0.0
            some |= ~np.isnan(values)
        states = {name: _words(found, name, _STATES, -1) for name in ("closed", "commanded")}
        origin = _words(found, "origin", _ORIGINS, 0)
        if states["closed"] is None or states["commanded"] is None or origin is None:
            return None
        some |= (states["closed"] >= 0) | (states["commanded"] >= 0)
        received = np.where(received == _NEVER, time, received)
        rows = Rows(names, circuits.indices.to_numpy(), time, received, states["closed"], *figures.values())
        keep = some & (origin != _ORIGINS["retained"])
        return rows if keep.all() else rows._replace(**{n: getattr(rows, n)[keep] for n in Rows._fields[1:]})

    def _slowly(self, header: bytes, stretch: bytes, line: int) -> Rows:
        """By the one that knows every rule; its lines count from the file's beginning."""
        lines = io.StringIO((header + stretch).decode("utf-8", "replace"), newline="")
        table = TableReader(lines, self._schedule, lenient=self._lenient, file=str(self._path))
        try:
            readings = list(table)
        except ReadingsError as error:
            fault = error.fault
            if line and fault.line:
                at = fault.line + line - header.count(b"\n")
                fault = Fault(fault.file, at, fault.key, fault.wanted, fault.found, fault.remedy)
            raise ReadingsError(fault) from None
        self.skipped += table.skipped
        return _rows_of([r for r in readings if r.origin != "retained"])


def _rows_of(readings: list[Reading]) -> Rows:
    def figures(name: str) -> Floats:
        return np.array([np.nan if (x := getattr(r, name)) is None else x for r in readings], np.float64)

    names = list(dict.fromkeys(r.circuit for r in readings))
    number = {name: n for n, name in enumerate(names)}
    return Rows(
        names,
        np.array([number[r.circuit] for r in readings], np.int32),
        np.array([r.time_ms for r in readings], np.int64),
        np.array([r.received_ms for r in readings], np.int64),
        np.array([-1 if r.closed is None else int(r.closed) for r in readings], np.int8),
        *(figures(name) for name in _FIGURES),
    )


def _whole_rows(stretch: bytes, file: BinaryIO) -> bytes:
    """Up to the end of a row: a line's end may stand within quotes."""
    while stretch.count(b'"') % 2 and (more := file.readline()):
        stretch += more
    return stretch


def _moments(column: Any) -> Whole | None:
    """Milliseconds; _NEVER where there is none. None: before 1970 or after the year 3000."""
    column = column.combine_chunks()
    none = column.is_null().to_numpy(zero_copy_only=False)
    if pa.types.is_timestamp(column.type):
        seconds = column.cast(pa.int64()).fill_null(0).to_numpy() / 1e6
    else:
        seconds = column.fill_null(0.0).to_numpy()
    if not ((seconds >= 0) & (seconds <= _LATEST_S)).all():
        return None
    return np.where(none, _NEVER, np.rint(seconds * 1000).astype(np.int64))


def _words(found: Any, name: str, meanings: Mapping[str, int], otherwise: int) -> npt.NDArray[np.int8] | None:
    """A column of few words as numbers. None: one of them means nothing."""
    if name not in found.column_names:
        return np.full(found.num_rows, otherwise, np.int8)
    column = found[name].combine_chunks()
    known = [meanings.get(word.strip().lower() if name != "origin" else word) for word in column.dictionary.to_pylist()]
    if None in known:
        return None
    codes = column.indices.fill_null(-1).to_numpy()
    return np.asarray(np.array([*known, otherwise], np.int8)[codes], np.int8)


def _parts(rows: Rows, number: int, circuits: Collection[str] | None) -> Iterator[Part]:
    order = np.argsort(rows.codes.astype(np.int16), kind="stable")
    ends = np.cumsum(np.bincount(rows.codes, minlength=len(rows.names)))
    for at, circuit in enumerate(rows.names):
        of = order[int(ends[at - 1]) if at else 0 : int(ends[at])]
        if not len(of) or (circuits is not None and circuit not in circuits):
            continue
        figures = [None if np.isnan(cut).all() else cut for cut in (getattr(rows, name)[of] for name in _FIGURES)]
        yield Part(circuit, rows.closed[of], of + number, rows.time_ms[of], *figures)
