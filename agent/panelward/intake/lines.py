"""Readings as lines of JSON: one object a reading, what was not measured left out; the first line may be an export's head."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from math import isfinite
from typing import Any

from panelward.errors import Fault, ReadingsError
from panelward.intake.table import LARGEST, LATEST_S, Writable, known_of
from panelward.records import QUANTITIES, Reading, Schedule

_DIGITS = {"volts": 4, "amps": 4, "watts": 3, "celsius": 3}
_ORIGINS = ("live", "retained", "backlog")
_KEYS = frozenset((*QUANTITIES, "time", "circuit", "received", "origin"))


class LineReader:
    """Iterate Readings from lines of JSON, in file order. ReadingsError names the line; with `lenient` such are skipped.

    Lines with one key that is none of a reading's (`head`, `alarm`, `note`) are passed over: `head` keeps the first.
    """

    def __init__(
        self, lines: Iterable[str], schedule: Schedule | None, *, lenient: bool = False, file: str = "readings"
    ) -> None:
        self._lines, self._lenient, self._file = lines, lenient, file
        self._known = known_of(schedule) if schedule is not None else None
        self.head: Mapping[str, Any] | None = None
        self.others = 0  # lines that are no readings: alarms, notes
        self.skipped = 0

    def __iter__(self) -> Iterator[Reading]:
        latest_ms = -(2**62)
        for number, line in enumerate(self._lines, start=1):
            if not line.strip():
                continue
            try:
                reading = self._one(line, latest_ms)
            except (_Wrong, ValueError) as wrong:
                if self._lenient:
                    self.skipped += 1
                    continue
                key, wanted, found = wrong.args if isinstance(wrong, _Wrong) else ("line", "a JSON object", repr(line[:60]))
                more = "--lenient counts and skips such lines."
                raise ReadingsError(Fault(self._file, number, key, wanted, found, more)) from None
            if reading is not None:
                latest_ms = reading.received_ms
                yield reading

    def _one(self, line: str, latest_ms: int) -> Reading | None:
        found = json.loads(line)
        if not isinstance(found, dict):
            raise _Wrong("line", "a JSON object", repr(line[:60]))
        if len(found) == 1 and not _KEYS & found.keys():
            if "head" in found and self.head is None:
                self.head = found["head"]
            else:
                self.others += 1
            return None
        circuit = found.get("circuit")
        if not isinstance(circuit, str) or not circuit:
            raise _Wrong("circuit", "a circuit's id", repr(circuit))
        if self._known is not None and circuit not in self._known:
            raise _Wrong("circuit", "a circuit, meter or probe of the schedule", repr(circuit[:60]))
        time_ms = _moment("time", found.get("time"))
        received_ms = _moment("received", found["received"]) if "received" in found else time_ms
        values = {name: _figure(name, found.get(name), digits) for name, digits in _DIGITS.items()}
        switches = {name: _state(name, found.get(name)) for name in ("closed", "commanded")}
        origin = found.get("origin", "live")
        if origin not in _ORIGINS:
            raise _Wrong("origin", " or ".join(_ORIGINS), repr(origin)[:40])
        if all(each is None for each in (*values.values(), *switches.values())):
            return None  # nothing was measured
        return Reading(
            circuit, time_ms, max(received_ms, latest_ms), values["volts"], values["amps"], values["watts"],
            switches["closed"], values["celsius"], switches["commanded"], origin,
        )  # fmt: skip


class _Wrong(Exception):
    """Key, what was wanted, what was found."""


def _moment(key: str, value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= LATEST_S:
        raise _Wrong(key, "Unix seconds", repr(value)[:40])
    return round(value * 1000)


def _figure(key: str, value: Any, digits: int) -> float | None:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value) or abs(value) > LARGEST:
        raise _Wrong(key, "a number, or nothing where it was not measured", repr(value)[:40])
    return round(float(value), digits) + 0.0


def _state(key: str, value: Any) -> bool | None:
    if value is None or isinstance(value, bool):
        return value
    raise _Wrong(key, "true or false", repr(value)[:40])


def write_lines(readings: Iterable[Reading], out: Writable, head: Mapping[str, Any] | None = None) -> int:
    """Write readings so that reading them back gives the same; returns how many."""
    if head is not None:
        out.write(json.dumps({"head": head}) + "\n")
    rows = 0
    for reading in readings:
        found: dict[str, Any] = {"time": reading.time_ms / 1000, "circuit": reading.circuit}
        for name in ("volts", "amps", "watts", "closed", "celsius", "commanded"):
            value = getattr(reading, name)
            if value is not None:
                found[name] = value
        if reading.received_ms != reading.time_ms:
            found["received"] = reading.received_ms / 1000
        if reading.origin != "live":
            found["origin"] = reading.origin
        out.write(json.dumps(found, separators=(",", ":")) + "\n")
        rows += 1
    return rows
