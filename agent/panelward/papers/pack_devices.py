"""The device schedule: every way, feeder and main device with its conductor, and what spares belong aboard.

A device is listed as what is there, never as what to fit: a spare is named only where the device in the way is no
greater than scheduled and than its conductor, its way, its maker and its feeder bear.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf
from typing import Any

from panelward.papers.directory import Directory, Fitted, conductor_of, fitted_of
from panelward.papers.remarks import LONG_S, MINUTE_S, Remark, Worst, three_of
from panelward.ratings import Ampacity
from panelward.records import Circuit, Feeder, Protection, Record, Schedule
from panelward.schedule.vetting import Around, Way
from panelward.schedule.vetting.way import FeederWay
from panelward.schedule.vetting.whole import ways_behind

OPEN_ENDED = "what hangs there is bounded by its device only"
NO_SPARE = "none named: its device is above what was scheduled or what its way bears; see the remarks"


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceLine:
    """One device. None: not known, which is no zero."""

    position: str
    purpose: str
    what: str  # way | feeder | main
    device: Fitted
    scheduled_a: float | None = None
    found_a: float | None = None
    left_a: float | None = None
    conductor: str = ""
    ampacity_a: float | None = None  # of the stretch that carries least, in its place
    rule: str = ""
    source: str = ""
    assumed: tuple[str, ...] = ()
    bound: bool = False  # no rule reaches it: it carries less than this
    maker_a: tuple[float, ...] = ()
    way_max_a: float | None = None
    steady_a: float | None = None
    steady_from: str = ""  # record | schedule
    open_ended: bool = False
    used: float | None = None  # steady over the device in the way
    worst_60_a: float | None = None
    worst_3h_a: float | None = None
    marks: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Spare:
    """A device of which spares belong aboard, and the ways it is for. How many there are is written in ink."""

    device: str
    ways: tuple[str, ...]
    why_not: str = ""


def device_lines(
    fitted: Schedule,
    schedule: Schedule,
    record: Record | None,
    directory: Directory,
    worst: Mapping[str, Worst],
    pencil: Sequence[Remark],
) -> tuple[DeviceLine, ...]:
    """Ways in panel order, then feeders, then the supplies' main devices. `fitted`: with the devices as they hang there."""
    around = Around.of(fitted)
    ways = {circuit.id: Way(around, circuit) for circuit in fitted.circuits}
    lines = []
    for row in directory.rows:
        way = ways.get(row.position)
        if way is None:
            lines.append(DeviceLine(position=row.position, purpose=row.purpose, what="way", device=Fitted()))
            continue
        lines.append(_way_line(way, schedule.circuit(row.position), record, row.conductor, worst.get(row.position), pencil))
    for feeder, shown in zip(fitted.feeders, directory.feeders, strict=True):
        lines.append(_feeder_line(FeederWay(around, feeder), feeder, shown.device, list(ways.values()), pencil))
    for supply in fitted.supplies:
        if supply.protection is not None:
            lines.append(
                DeviceLine(
                    position=supply.id, purpose="main device, at the bank", what="main",
                    device=fitted_of(supply.protection), **_three(supply.protection),
                )
            )  # fmt: skip
    return tuple(lines)


def some_of(names: Sequence[str], most: int = 12) -> str:
    """So many of them, and how many more: no row may become longer than a page."""
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def steady_of(way: Way, record: Record | None) -> tuple[float | None, str]:
    """Its highest steady draw, A at nominal volts, and whose word that is: the record's, else the schedule's."""
    measured = record.circuit(way.circuit.id) if record else None
    if measured is not None and measured.levels:
        return max(level.watts for level in measured.levels) / way.supply.nominal_v, "record"
    return (way.steady_a, "schedule") if way.peaks else (None, "")


def _way_line(
    way: Way, scheduled: Circuit, record: Record | None, conductor: str, worst: Worst | None, pencil: Sequence[Remark]
) -> DeviceLine:
    circuit, protection = way.circuit, way.protection
    three = three_of(scheduled, record.circuit(circuit.id) if record else None)
    steady_a, said = steady_of(way, record)
    nothing_a = circuit.sense.nothing_a
    return DeviceLine(
        position=circuit.id,
        purpose=circuit.label,
        what="way",
        device=fitted_of(protection),
        scheduled_a=three.scheduled_a,
        found_a=three.found_a,
        left_a=three.left_a,
        conductor=conductor,
        **_ampacity(way.weakest),
        maker_a=tuple(dict.fromkeys(load.maker_fuse_a for load in circuit.loads if load.maker_fuse_a is not None)),
        way_max_a=protection.way_max_a if protection else None,
        steady_a=steady_a,
        steady_from=said,
        open_ended=circuit.role == "load" and not way.bounded,
        used=steady_a / protection.fitted_a if protection and steady_a is not None else None,
        worst_60_a=_drawn(worst.worst_a(MINUTE_S), nothing_a) if worst else None,
        worst_3h_a=_drawn(worst.worst_a(LONG_S), nothing_a) if worst else None,
        marks=tuple(remark.number for remark in pencil if remark.way == circuit.id),
    )


def _feeder_line(way: FeederWay, feeder: Feeder, shown: Fitted, ways: list[Way], pencil: Sequence[Remark]) -> DeviceLine:
    """Its draw is that of the ways behind it, as far as written, times its diversity."""
    behind = ways_behind(feeder, ways)
    steady_a = feeder.diversity * sum(each.design_a for each in behind) if behind else None
    protection = feeder.protection
    return DeviceLine(
        position=feeder.id,
        purpose=f"feeder of {some_of([each.circuit.id for each in behind])}" if behind else "feeder",
        what="feeder",
        device=shown,
        conductor=conductor_of(feeder.conductor),
        **_three(protection),
        **_ampacity(way.weakest),
        way_max_a=protection.way_max_a if protection else None,
        steady_a=steady_a,
        steady_from="schedule" if behind else "",
        marks=tuple(remark.number for remark in pencil if remark.text.startswith(f"{way.title}:")),
        used=steady_a / protection.fitted_a if protection and steady_a is not None else None,
    )


def _three(protection: Protection | None) -> dict[str, Any]:
    if protection is None:
        return {}
    return {"scheduled_a": protection.rating_a, "found_a": protection.as_found_a, "left_a": protection.as_left_a}


def _ampacity(ampacity: Ampacity | None) -> dict[str, Any]:
    if ampacity is None:
        return {}
    return {
        "ampacity_a": float(f"{ampacity.amps:.4g}"), "rule": ampacity.rule, "source": ampacity.source,
        "assumed": ampacity.assumed, "bound": ampacity.bound,
    }  # fmt: skip


def _drawn(amps: float | None, nothing_a: float) -> float | None:
    """What its sensing can't tell from nothing is nothing."""
    return 0.0 if amps is not None and amps <= nothing_a else amps


def spares_aboard(fitted: Schedule) -> tuple[Spare, ...]:
    """One line a fuse of its kind, type and rating; breakers are no spares."""
    around = Around.of(fitted)
    parts: list[tuple[str, Protection, float]] = []
    for circuit in fitted.circuits:
        if circuit.protection is not None and "fuse" in circuit.protection.kind:
            parts.append((circuit.id, circuit.protection, Way(around, circuit).most_a))
    for feeder in fitted.feeders:
        if feeder.protection is not None and "fuse" in feeder.protection.kind:
            parts.append((f"feeder {feeder.id}", feeder.protection, FeederWay(around, feeder).most_a))
    for supply in fitted.supplies:
        if supply.protection is not None and "fuse" in supply.protection.kind:
            parts.append((f"main {supply.id}", supply.protection, inf))
    good: dict[str, list[str]] = {}
    bad: dict[str, list[str]] = {}
    for name, protection, most_a in parts:
        fits = protection.fitted_a <= protection.rating_a and protection.fitted_a <= most_a * (1 + 1e-9)
        (good if fits else bad).setdefault(fitted_of(protection).text, []).append(name)
    named = [Spare(device=text, ways=tuple(ways)) for text, ways in good.items()]
    return (*named, *(Spare(device="", ways=tuple(ways), why_not=NO_SPARE) for ways in bad.values()))
