"""Readings as Parquet (an open column format; written and read by pyarrow): compressed, exact, a batch at a time."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from panelward.errors import EnvironmentFault, Fault, ReadingsError
from panelward.records import Reading

BATCH = 65_536  # readings in memory at a time
HEAD = b"panelward export"
_ORIGINS = ("live", "retained", "backlog")
_SCHEMA = pa.schema(
    [
        pa.field("circuit", pa.dictionary(pa.int32(), pa.string()), nullable=False),
        pa.field("time", pa.timestamp("ms", tz="UTC"), nullable=False),
        pa.field("received", pa.timestamp("ms", tz="UTC"), nullable=False),
        pa.field("volts", pa.float64()),
        pa.field("amps", pa.float64()),
        pa.field("watts", pa.float64()),
        pa.field("closed", pa.bool_()),
        pa.field("celsius", pa.float64()),
        pa.field("commanded", pa.bool_()),
        pa.field("origin", pa.dictionary(pa.int8(), pa.string()), nullable=False),
    ]
)


def write_parquet(readings: Iterable[Reading], path: Path, head: Mapping[str, Any] | None = None) -> int:
    """Write a file; returns how many readings. EnvironmentFault where it can't be written."""
    schema = _SCHEMA.with_metadata({HEAD: json.dumps(head).encode()} if head is not None else None)
    rows, each = 0, iter(readings)
    try:
        with pq.ParquetWriter(path, schema, compression="zstd") as writer:
            while batch := list(islice(each, BATCH)):
                writer.write_table(_table(batch, schema))
                rows += len(batch)
    except OSError as error:
        raise EnvironmentFault(f"{path}: can't be written: {error}") from None
    return rows


def _table(batch: list[Reading], schema: Any) -> Any:
    circuit, time, received, volts, amps, watts, closed, celsius, commanded, origin = zip(*batch, strict=True)
    columns = (circuit, time, received, volts, amps, watts, closed, celsius, commanded, origin)
    return pa.table([pa.array(column, field.type) for column, field in zip(columns, schema, strict=True)], schema=schema)


class ParquetReader:
    """Iterate Readings of a file, in its order. ReadingsError names what is wrong; unknown columns are passed over."""

    def __init__(self, path: Path) -> None:
        self._path = path
        try:
            self._file = pq.ParquetFile(path)
        except (OSError, pa.ArrowException) as error:
            raise ReadingsError(Fault(str(path), None, "(file)", "a Parquet file", str(error).splitlines()[0][:120])) from None
        names = self._file.schema_arrow.names
        if "time" not in names or "circuit" not in names:
            raise self._wrong("columns", "time and circuit, as `panelward log export` writes them", ", ".join(names)[:120])
        metadata = self._file.schema_arrow.metadata or {}
        self.head: Mapping[str, Any] | None = json.loads(metadata[HEAD]) if HEAD in metadata else None
        self.skipped = self.others = 0

    def _wrong(self, key: str, wanted: str, found: str, row: int | None = None) -> ReadingsError:
        return ReadingsError(Fault(str(self._path), row, key, wanted, found))

    def __iter__(self) -> Iterator[Reading]:
        known = [name for name in _SCHEMA.names if name in self._file.schema_arrow.names]
        row = 0
        latest_ms = -(2**62)
        for batch in self._file.iter_batches(BATCH, columns=known):
            try:
                table = pa.Table.from_batches([batch])
                columns = {name: self._column(table, name) for name in known}
            except pa.ArrowException as error:
                raise self._wrong("columns", "the types that `panelward log export` writes", str(error)[:120]) from None
            nothing = [None] * batch.num_rows
            every = [columns.get(name, nothing) for name in _SCHEMA.names]
            for circuit, time, received, volts, amps, watts, closed, celsius, commanded, origin in zip(*every, strict=True):
                row += 1
                if not circuit or time is None:
                    raise self._wrong("circuit" if not circuit else "time", "a value in every row", "none", row)
                if origin is not None and origin not in _ORIGINS:
                    raise self._wrong("origin", " or ".join(_ORIGINS), repr(origin)[:40], row)
                latest_ms = max(latest_ms, received if received is not None else time)
                if volts is amps is watts is closed is celsius is commanded is None:
                    continue  # nothing was measured
                yield Reading(
                    circuit, time, latest_ms, volts, amps, watts, closed, celsius, commanded, origin or "live"
                )  # fmt: skip

    @staticmethod
    def _column(table: Any, name: str) -> list[Any]:
        column = table.column(name)
        if pa.types.is_timestamp(column.type):
            column = column.cast(pa.timestamp("ms", tz="UTC")).cast(pa.int64())
        elif name in ("circuit", "origin"):
            column = column.cast(pa.string())
        else:
            column = column.cast(_SCHEMA.field(name).type)
        found: list[Any] = column.to_pylist()
        return found
