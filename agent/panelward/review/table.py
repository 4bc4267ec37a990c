"""A file of readings as the source of a review: CSV of any length, some megabytes at a time.

pandas reads each stretch; one that holds anything out of order is read again by `intake`, which names the line of what is
wrong, or passes it over and counts it. Rows are in the order in which they came: where there is no `received`, the latest
time so far stands for it. A file that fits into memory is put in order as a whole; of a longer one, what comes more than a
quarter of an hour behind is counted in `late`.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Collection, Iterator, Mapping
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import pandas as pd

from panelward.errors import Fault, ReadingsError
from panelward.intake import TableReader
from panelward.records import QUANTITIES, Reading, Schedule
from panelward.review.source import Columns, Floats
from panelward.review.stored import PATIENCE_MS, Pile
from panelward.review.unpacked import Part

STRETCH = 8 * 1024 * 1024  # octets at a time: some 160,000 rows
WHOLE = 64 * 1024 * 1024  # up to so many octets it is put in order as a whole
_FIGURES = {"volts": 4, "amps": 4, "watts": 3, "celsius": 3}
_STATES = {"": -1, "1": 1, "0": 0, "true": 1, "false": 0}
_ORIGINS = ("", "live", "retained", "backlog")
_WORDS = ("time", "circuit", "closed", "commanded", "received", "origin")
_LARGEST = 1e6  # as intake has it
_LATEST_S = 32_503_680_000.0


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
        for frame in self._frames():
            if not len(frame):
                continue
            if self.size > self._most_whole and latest_ms >= from_ms:
                yield from pile.over(latest_ms - PATIENCE_MS)
            latest_ms = max(latest_ms, int(frame["received"].iloc[-1]))
            for part in _parts(frame, number, circuits):
                inside = (part.time_ms >= from_ms) & (part.time_ms < to_ms)
                if inside.all():
                    pile.take(part)
                elif inside.any():
                    pile.take(Part(part.circuit, *(None if c is None else c[inside] for c in part[1:])))  # type: ignore[arg-type]
            number += len(frame)
        yield from pile.over(None)

    # The file.

    def _opened(self) -> BinaryIO:
        try:
            return self._path.open("rb")
        except OSError as error:
            raise ReadingsError(Fault(str(self._path), None, "(file)", "a file of readings", str(error.strerror))) from None

    def _ends(self) -> tuple[int, int]:
        """The first and the last time, looked for in its first stretch and its last; the whole where it fits into memory."""
        low, high = 2**62, -(2**62)
        for frame in self._frames(ends=self.size > self._most_whole):
            if len(frame):
                low, high = min(low, int(frame["time"].min())), max(high, int(frame["time"].max()))
        return (low, high) if low <= high else (0, 0)

    def _frames(self, *, ends: bool = False) -> Iterator[pd.DataFrame]:
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
                frame = self._frame(header, stretch, line, latest_ms)
                self.rows += len(frame)
                if len(frame):
                    latest_ms = int(frame["received"].iloc[-1])
                line += stretch.count(b"\n")
                done += len(stretch)
                if self._progress is not None:
                    self._progress(done, self.size)
                yield frame
                if ends and done < self.size - self._stretch:
                    file.seek(self.size - self._stretch)
                    done = self.size - self._stretch + len(file.readline())
            if done == begun:
                self._slowly(head + header, b"", 0)

    def _frame(self, header: bytes, stretch: bytes, line: int, latest_ms: int) -> pd.DataFrame:
        frame = self._quickly(header, stretch)
        if frame is None:
            frame = self._slowly(header, stretch, line)
        frame = frame[frame["some"] & (frame["origin"] != "retained")]
        frame["received"] = np.maximum(np.maximum.accumulate(frame["received"].to_numpy()), latest_ms)
        return frame

    def _quickly(self, header: bytes, stretch: bytes) -> pd.DataFrame | None:
        """None: something in it needs a closer look."""
        names = [name.strip().lower() for name in header.decode("utf-8", "replace").lstrip("\ufeff").strip().split(",")]
        wide = len(names)
        if not {"time", "circuit"} <= set(names) or not set(QUANTITIES) & set(names):
            return None
        if b'"' in header or b'"' in stretch or len(set(names)) < wide:
            return None
        kinds: dict[str, Any] = {name: "float64" if name in _FIGURES else "category" for name in names}
        try:
            frame = pd.read_csv(
                io.BytesIO(stretch), header=None, names=names, dtype=kinds, engine="c", keep_default_na=False,
                na_values={name: [""] for name in _FIGURES}, float_precision="high", encoding="utf-8",
                usecols=[name for name in names if name in _FIGURES or name in _WORDS], na_filter=True,
            )  # fmt: skip
        except (ValueError, UnicodeDecodeError, pd.errors.ParserError):
            return None
        if stretch.count(b",") != len(frame) * (wide - 1):
            return None
        return self._checked(frame)

    def _checked(self, frame: pd.DataFrame) -> pd.DataFrame | None:
        if not set(frame["circuit"].cat.categories) <= self._known:
            return None
        found = pd.DataFrame({"circuit": frame["circuit"]})
        time = _moments(frame["time"])
        received = _moments(frame["received"], time) if "received" in frame else time
        if time is None or received is None:
            return None
        found["time"], found["received"] = time, received
        some = np.zeros(len(frame), np.bool_)
        for name, digits in _FIGURES.items():
            values = frame[name].to_numpy() if name in frame else np.full(len(frame), np.nan)
            if (np.abs(values) > _LARGEST).any():
                return None
            found[name] = np.round(values, digits) + 0.0
            some |= ~np.isnan(values)
        for name in ("closed", "commanded"):
            state = _states(frame[name]) if name in frame else np.full(len(frame), -1, np.int8)
            if state is None:
                return None
            found[name] = state
            some |= state >= 0
        if "origin" in frame and not set(frame["origin"].cat.categories) <= set(_ORIGINS):
            return None
        found["origin"] = frame["origin"].astype(object).to_numpy() if "origin" in frame else "live"
        found["some"] = some
        return found

    def _slowly(self, header: bytes, stretch: bytes, line: int) -> pd.DataFrame:
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
        return _frame_of(readings)


def _frame_of(readings: list[Reading]) -> pd.DataFrame:
    def figures(name: str) -> Floats:
        return np.array([np.nan if (x := getattr(r, name)) is None else x for r in readings], np.float64)

    return pd.DataFrame(
        {
            "circuit": pd.Categorical([r.circuit for r in readings]),
            "time": np.array([r.time_ms for r in readings], np.int64),
            "received": np.array([r.received_ms for r in readings], np.int64),
            **{name: figures(name) for name in _FIGURES},
            "closed": np.array([-1 if r.closed is None else int(r.closed) for r in readings], np.int8),
            "origin": [r.origin for r in readings],
            "some": np.ones(len(readings), np.bool_),
        }
    )


def _whole_rows(stretch: bytes, file: BinaryIO) -> bytes:
    """Up to the end of a row: a line's end may stand within quotes."""
    while stretch.count(b'"') % 2 and (more := file.readline()):
        stretch += more
    return stretch


def _moments(column: pd.Series[Any], otherwise: np.ndarray[Any, Any] | None = None) -> np.ndarray[Any, Any] | None:
    """Milliseconds; each moment is written once a circuit, so what is read is their list. None: one can't be read so."""
    words = column.cat.categories
    empty = words == ""
    if otherwise is None and empty.any():
        return None
    told = words[~empty].to_series().reset_index(drop=True)
    seconds = np.array(pd.to_numeric(told, errors="coerce"), np.float64)
    stamps = np.isnan(seconds)
    if stamps.any():
        texts = told[stamps]
        if not texts.str.fullmatch(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d(?:\.\d{1,6})?(?:Z|[+-]\d\d:\d\d)").all():
            return None
        moments = pd.to_datetime(texts, utc=True, format="ISO8601", errors="coerce")
        if moments.isna().any():
            return None
        seconds[stamps] = moments.astype("datetime64[us, UTC]").astype("int64").to_numpy() / 1e6
    if told.str.contains("_", regex=False).any() or ((seconds < 0) | (seconds > _LATEST_S)).any():
        return None
    known = np.zeros(len(words), np.int64)
    known[~empty] = np.rint(seconds * 1000).astype(np.int64)
    codes = column.cat.codes.to_numpy()
    found = known[codes]
    return found if otherwise is None else np.where(empty[codes], otherwise, found)


def _states(column: pd.Series[Any]) -> np.ndarray[Any, Any] | None:
    words = [_STATES.get(word.strip().lower()) for word in column.cat.categories]
    if None in words:
        return None
    found: np.ndarray[Any, Any] = np.array([*words, -1], np.int8)[column.cat.codes.to_numpy()]
    return found


def _parts(frame: pd.DataFrame, number: int, circuits: Collection[str] | None) -> Iterator[Part]:
    names = list(frame["circuit"].cat.categories)
    codes = frame["circuit"].cat.codes.to_numpy()
    order = np.argsort(codes.astype(np.int16), kind="stable")
    ends = np.cumsum(np.bincount(codes, minlength=len(names)))
    columns = {name: frame[name].to_numpy()[order] for name in ("closed", "time", *_FIGURES)}
    for at, circuit in enumerate(names):
        begin, end = int(ends[at - 1]) if at else 0, int(ends[at])
        if begin == end or (circuits is not None and circuit not in circuits):
            continue
        cut = {name: column[begin:end] for name, column in columns.items()}
        figures = [None if np.isnan(cut[name]).all() else cut[name] for name in _FIGURES]
        yield Part(circuit, cut["closed"].astype(np.int8), order[begin:end] + number, cut["time"], *figures)
