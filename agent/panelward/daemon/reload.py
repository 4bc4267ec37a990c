"""What a reload reads anew: the schedule and who is told. All of it can be used, or nothing is changed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from panelward.daemon.starting import ready_to_watch
from panelward.errors import EnvironmentFault, PanelwardError
from panelward.records import Noted, Request, Rezoned, Schedule
from panelward.records.people import People
from panelward.schedule import load
from panelward.schedule.difference import difference, new_findings, people_difference
from panelward.schedule.profile import written

Told = tuple[People, dict[str, str]]
Who = Callable[[Schedule], Told]  # reads anew who is told; PanelwardError where that can't be used


@dataclass(frozen=True, slots=True)
class Reread:
    """What was read, and what it changes."""

    schedule: Schedule
    text: str
    people: People
    addresses: Mapping[str, str]
    changed: tuple[str, ...]
    found: tuple[str, ...]


def reread(path: str, old: Schedule, people: People, addresses: Mapping[str, str], who: Who | None) -> Reread:
    """Raises PanelwardError: then the old ones stay."""
    schedule, text = load(path)
    ready_to_watch(schedule, path)
    if schedule.broker != old.broker or schedule.vehicle.id != old.vehicle.id:
        raise EnvironmentFault("another broker or vehicle id needs a restart; the old schedule stays")
    new_people, new_addresses = who(schedule) if who is not None else (people, dict(addresses))
    return Reread(
        schedule, text, new_people, new_addresses,
        difference(old, schedule) + people_difference(people, new_people, addresses, new_addresses),
        new_findings(old, schedule) if schedule != old else (),
    )  # fmt: skip


def since(was: str, now: Schedule) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """(changes, new findings) since the program ended with that text in force."""
    try:
        old = written(was, "the journal")
    except PanelwardError:
        return (), ()  # of another version
    return (difference(old, now), new_findings(old, now)) if old != now else ((), ())


def row(
    request: Request, kind: str, *, changed: tuple[str, ...] = (), found: tuple[str, ...] = (), why: str = ""
) -> dict[str, Any]:  # fmt: skip
    """What the journal keeps of a change: `kind` is reload, start or refused."""
    return {"at_ms": request.received_ms, "kind": kind, "who": request.who, "changed": changed, "found": found, "why": why}


def zone_row(found: Rezoned, written: str) -> dict[str, Any]:
    """The same for another time zone. `written`: the schedule's own; where that is changed, it holds again."""
    line = f"vehicle timezone {found.was} -> {found.timezone}"
    return {
        "at_ms": found.at_ms, "kind": "timezone", "who": found.who, "changed": (line,), "found": (), "why": "",
        "timezone": found.timezone, "written": written,
    }  # fmt: skip


def note_row(found: Noted) -> dict[str, Any]:
    """The same for a moment that somebody wants kept."""
    return {
        "at_ms": found.at_ms, "kind": "note", "who": found.who, "changed": (), "found": (), "why": found.text,
        "circuit": found.circuit,
    }  # fmt: skip


def zone_of(row: Mapping[str, Any] | None, written: str) -> tuple[str, str, int] | None:
    """What was asked for last, as the settings carry it; None: the schedule's own holds."""
    if row is None or row["written"] != written or row["timezone"] == written:
        return None
    return row["timezone"], row["who"], row["at_ms"]


def lines(changed: tuple[str, ...], found: tuple[str, ...]) -> list[str]:
    """The same for the log."""
    head = f"schedule read anew: {len(changed) or 'nothing'} changed" + (f", {len(found)} new findings" if found else "")
    return [head, *(f"  {line}" for line in (*changed, *found))]
