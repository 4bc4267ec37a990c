"""Readings around an alarm, minute by minute, and each change of a switch or command."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import NamedTuple

from panelward.journal import Journal
from panelward.journal.pace import typical_s
from panelward.records import Reading

MINUTE_MS = 60_000
LATE_MS = 24 * 3_600_000  # a reading may come so late from a monitor's own store


@dataclass(frozen=True, slots=True, kw_only=True)
class Minute:
    """None: not measured in it."""

    at_ms: int  # its beginning
    readings: int
    amps: float | None = None  # mean
    most_a: float | None = None  # the largest, by size
    volts: float | None = None
    least_v: float | None = None
    watts: float | None = None
    celsius: float | None = None
    closed: bool | None = None  # as it was last told in it


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """One circuit's, meter's or probe's minutes; a minute without a reading has none."""

    way: str
    minutes: tuple[Minute, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Switched:
    """A switch's reported state or the last command seen, as it changed; `was` None: first told."""

    at_ms: int
    way: str
    what: str  # switch | command
    was: bool | None
    to: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """One reading as it came; None: not in it."""

    at_ms: int
    way: str
    amps: float | None
    volts: float | None
    closed: bool | None


class Gathered(NamedTuple):
    series: dict[str, Series]
    switched: tuple[Switched, ...]
    singles: tuple[Read, ...]  # around one moment
    every_s: dict[str, float]  # how often each was really read


def gathered(journal: Journal, from_ms: int, to_ms: int, wanted: Collection[str], since_ms: int) -> Gathered:
    """What was measured from `from_ms` to `to_ms`; what was retained at a broker has no known age and is left out.

    Single readings are kept of the minute before and after `since_ms`.
    """
    by_minute: dict[str, dict[int, list[Reading]]] = {}
    kept: list[Reading] = []
    singles: list[Read] = []
    for reading in journal.readings(from_ms - MINUTE_MS, to_ms + LATE_MS, wanted):
        if reading.origin != "retained" and from_ms <= reading.time_ms < to_ms:
            at_ms = from_ms + (reading.time_ms - from_ms) // MINUTE_MS * MINUTE_MS
            by_minute.setdefault(reading.circuit, {}).setdefault(at_ms, []).append(reading)
            if reading.closed is not None or reading.commanded is not None:
                kept.append(reading)
            if abs(reading.time_ms - since_ms) <= MINUTE_MS:
                singles.append(_read(reading))
    series = {
        way: Series(way=way, minutes=tuple(_minute(at_ms, found) for at_ms, found in sorted(minutes.items())))
        for way, minutes in by_minute.items()
    }
    times = {way: [r.time_ms for found in minutes.values() for r in found] for way, minutes in by_minute.items()}
    seen = {way: typical_s(found) for way, found in times.items()}
    return Gathered(
        series, _switched(sorted(kept, key=lambda reading: reading.time_ms)), tuple(sorted(singles, key=lambda r: r.at_ms)),
        {way: every_s for way, every_s in seen.items() if every_s is not None},
    )  # fmt: skip


def _read(found: Reading) -> Read:
    return Read(at_ms=found.time_ms, way=found.circuit, amps=found.amps, volts=found.volts, closed=found.closed)


def _minute(at_ms: int, found: list[Reading]) -> Minute:
    amps = [each.amps for each in found if each.amps is not None]
    volts = [each.volts for each in found if each.volts is not None]
    watts = [each.watts for each in found if each.watts is not None]
    celsius = [each.celsius for each in found if each.celsius is not None]
    closed = [each.closed for each in found if each.closed is not None]
    return Minute(
        at_ms=at_ms, readings=len(found), amps=_mean(amps), most_a=max(amps, key=abs, default=None), volts=_mean(volts),
        least_v=min(volts, default=None), watts=_mean(watts), celsius=_mean(celsius), closed=closed[-1] if closed else None,
    )  # fmt: skip


def _mean(found: list[float]) -> float | None:
    return sum(found) / len(found) if found else None


def _switched(readings: list[Reading]) -> tuple[Switched, ...]:
    last: dict[tuple[str, str], bool] = {}
    out = []
    for reading in readings:
        for what, told in (("switch", reading.closed), ("command", reading.commanded)):
            key = (reading.circuit, what)
            if told is not None and last.get(key) != told:
                out.append(Switched(at_ms=reading.time_ms, way=reading.circuit, what=what, was=last.get(key), to=told))
                last[key] = told
    return tuple(out)
