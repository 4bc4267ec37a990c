"""Readings as a file: CSV with a header `time,circuit,volts,amps,watts,closed` and more columns."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from math import isfinite
from typing import Protocol

from panelward.errors import Fault, ReadingsError
from panelward.records import QUANTITIES, Reading, Schedule

COLUMNS = ("time", "circuit", "volts", "amps", "watts", "closed", "celsius", "commanded", "received", "origin")
_FIGURES = (("volts", 4), ("amps", 4), ("watts", 3), ("celsius", 3))
_ORIGINS = ("live", "retained", "backlog")
_STATES = {"1": True, "0": False, "true": True, "false": False, "": None}
LARGEST = 1e6
LATEST_S = 32_503_680_000.0  # the year 3000


class Writable(Protocol):
    """Anything with a `write` for text."""

    def write(self, text: str, /) -> object: ...


class TableReader:
    """Iterate Readings from lines of CSV, in file order.

    ReadingsError names the line of a malformed row or an unknown circuit; with `lenient` such rows are counted in
    `skipped` and passed over. `received`, where missing, is the greatest time so far; it never runs back.
    A row whose quantities are all empty is no reading. Lines that begin with `#` before the header are the head of an
    export (`intake.head`): kept in `head`. Without a schedule any circuit is known.
    """

    def __init__(
        self, lines: Iterable[str], schedule: Schedule | None, *, lenient: bool = False, file: str = "readings"
    ) -> None:
        self._lines, self._lenient, self._file = lines, lenient, file
        self._known = known_of(schedule) if schedule is not None else _Anything()
        self._before = 0  # lines of the head
        self.head: list[str] = []
        self.skipped = 0

    def _behind_head(self) -> Iterator[str]:
        lines = iter(self._lines)
        for line in lines:
            if not line.lstrip("\ufeff").startswith("#"):
                yield line
                break
            self.head.append(line.lstrip("\ufeff").rstrip("\r\n"))
            self._before += 1
        yield from lines

    def __iter__(self) -> Iterator[Reading]:
        rows = csv.reader(self._behind_head())
        try:
            header = [name.strip().lower().lstrip("\ufeff") for name in next(rows, [])]
        except csv.Error as error:
            raise self._bad(1, "header", "a CSV header", str(error)) from None
        except UnicodeDecodeError:
            raise self._bad(1, "file", "text in UTF-8", "other bytes") from None
        at = self._columns(header)
        width = len(header)
        latest_ms = -(2**62)
        times: dict[str, int] = {}
        i_time, i_circuit = at["time"], at["circuit"]
        i_volts, i_amps, i_watts = at["volts"], at["amps"], at["watts"]
        i_closed, i_celsius, i_commanded = at["closed"], at["celsius"], at["commanded"]
        i_received, i_origin = at["received"], at["origin"]
        known, line = self._known, rows
        while True:
            try:
                row = next(line, None)
            except csv.Error as error:
                if self._lenient:
                    self.skipped += 1
                    continue
                raise self._bad(rows.line_num, "row", "a row of CSV", str(error)) from None
            except UnicodeDecodeError:
                raise self._bad(rows.line_num + 1, "file", "text in UTF-8", "other bytes") from None
            if row is None:
                return
            if not row:
                continue
            try:
                if len(row) != width:
                    raise _Wrong("row", f"{width} fields", f"{len(row)}")
                text = row[i_time]
                time_ms = times.get(text)
                if time_ms is None:
                    time_ms = _time_ms("time", text)
                    if len(times) > 256:
                        times.clear()
                    times[text] = time_ms
                circuit = row[i_circuit]
                if circuit not in known:
                    raise _Wrong("circuit", "a circuit, meter or probe of the schedule", repr(circuit[:60]))
                volts = round(_number("volts", v), 4) + 0.0 if i_volts >= 0 and (v := row[i_volts]) else None
                amps = round(_number("amps", v), 4) + 0.0 if i_amps >= 0 and (v := row[i_amps]) else None
                watts = round(_number("watts", v), 3) + 0.0 if i_watts >= 0 and (v := row[i_watts]) else None
                celsius = round(_number("celsius", v), 3) + 0.0 if i_celsius >= 0 and (v := row[i_celsius]) else None
                closed = _state("closed", v) if i_closed >= 0 and (v := row[i_closed]) else None
                commanded = _state("commanded", v) if i_commanded >= 0 and (v := row[i_commanded]) else None
                received_ms = _time_ms("received", v) if i_received >= 0 and (v := row[i_received]) else time_ms
                origin = "live"
                if i_origin >= 0 and (v := row[i_origin]):
                    if v not in _ORIGINS:
                        raise _Wrong("origin", " or ".join(_ORIGINS), repr(v[:40]))
                    origin = v
            except _Wrong as wrong:
                if self._lenient:
                    self.skipped += 1
                    continue
                raise self._bad(rows.line_num, wrong.key, wrong.wanted, wrong.found) from None
            if received_ms < latest_ms:
                received_ms = latest_ms
            else:
                latest_ms = received_ms
            if volts is amps is watts is closed is celsius is commanded is None:
                continue  # nothing was measured: that is no reading, and proves no life
            yield Reading(circuit, time_ms, received_ms, volts, amps, watts, closed, celsius, commanded, origin)

    def _columns(self, header: list[str]) -> dict[str, int]:
        missing = [name for name in ("time", "circuit") if name not in header]
        if missing or not any(name in header for name in QUANTITIES):
            shown = repr(",".join(header)[:80]) if header else "nothing: the file is empty"
            raise self._bad(1, "header", "a header like time,circuit,volts,amps,watts,closed", shown)
        twice = [name for name in COLUMNS if header.count(name) > 1]
        if twice:
            raise self._bad(1, "header", "each column once", f"'{twice[0]}' twice")
        return {name: header.index(name) if name in header else -1 for name in COLUMNS}

    def _bad(self, line: int, key: str, wanted: str, found: str) -> ReadingsError:
        at = self._before + line
        remedy = "" if key in ("header", "file") else "--lenient counts and skips such rows."
        return ReadingsError(Fault(self._file, at, key, wanted, found, remedy))


def known_of(schedule: Schedule) -> frozenset[str]:
    """What a reading may be of: circuits with the bank's meter, and probes."""
    return frozenset([c.id for c in schedule.circuits] + [p.id for p in schedule.probes])


class _Anything(frozenset[str]):
    """Whatever a circuit is called, it is known."""

    def __contains__(self, name: object) -> bool:
        return bool(name)


class _Wrong(Exception):
    def __init__(self, key: str, wanted: str, found: str) -> None:
        super().__init__(key)
        self.key, self.wanted, self.found = key, wanted, found


def _time_ms(key: str, text: str) -> int:
    try:
        seconds = float(text)
    except ValueError:
        try:
            moment = datetime.fromisoformat(text)
        except ValueError:
            raise _Wrong(key, "RFC 3339 or Unix seconds", repr(text[:40])) from None
        if moment.tzinfo is None:
            raise _Wrong(key, "a time with its offset, like 2026-05-01T06:00:00Z", repr(text[:40])) from None
        seconds = moment.timestamp() if 1970 <= moment.year < 3000 else -1.0
    if not 0 <= seconds <= LATEST_S or "_" in text:
        raise _Wrong(key, "RFC 3339 or Unix seconds", repr(text[:40]))
    return round(seconds * 1000)


def _number(key: str, text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        raise _Wrong(key, "a number, or nothing where it was not measured", repr(text[:40])) from None
    if not -LARGEST <= value <= LARGEST or "_" in text:
        raise _Wrong(key, f"a number within ±{LARGEST:g}" if isfinite(value) else "a number", repr(text[:40]))
    return value


def _state(key: str, text: str) -> bool | None:
    try:
        return _STATES[text.strip().lower()]
    except KeyError:
        raise _Wrong(key, "1 or 0", repr(text[:40])) from None


def write_table(readings: Iterable[Reading], out: Writable, head: Iterable[str] = ()) -> int:
    """Write readings so that reading them back gives the same; returns how many. `head`: lines that begin with `#`."""
    for line in head:
        out.write(f"{line}\n")
    out.write(",".join(COLUMNS) + "\n")
    rows = 0
    for r in readings:
        fields = [
            _moment(r.time_ms), _quoted(r.circuit), _text(r.volts), _text(r.amps), _text(r.watts), _bit(r.closed),
            _text(r.celsius), _bit(r.commanded), _moment(r.received_ms), r.origin,
        ]  # fmt: skip
        out.write(",".join(fields) + "\n")
        rows += 1
    return rows


def _quoted(text: str) -> str:
    """As RFC 4180 section 2 has it."""
    return '"' + text.replace('"', '""') + '"' if any(c in text for c in ',"\r\n') else text


def _moment(time_ms: int) -> str:
    moment = datetime.fromtimestamp(time_ms // 1000, UTC)
    return f"{moment:%Y-%m-%dT%H:%M:%S}.{time_ms % 1000:03d}Z"


def _text(value: float | None) -> str:
    return "" if value is None else repr(value).removesuffix(".0")


def _bit(value: bool | None) -> str:
    return "" if value is None else "1" if value else "0"
