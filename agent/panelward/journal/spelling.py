"""Inputs other than readings as JSON, and back."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import fields

from panelward import sealed
from panelward.records import Clock, Input, Presence, Reading, Request, Schedule, Settings

_KINDS: dict[str, type[Request] | type[Clock] | type[Presence]] = {
    "request": Request,
    "clock": Clock,
    "presence": Presence,
}
_KIND_OF = {record: kind for kind, record in _KINDS.items()}


def spell(item: Input) -> tuple[str, str]:
    """(kind, JSON) of an input that is no reading. Of a schedule and a record, the text each was read from is kept."""
    if isinstance(item, Settings):
        return "settings", _json({name: getattr(item, name) for name in _names(Settings) if name not in ("schedule", "record")})
    if isinstance(item, Reading):
        raise TypeError("a reading belongs in a block")
    return _KIND_OF[type(item)], _json({name: getattr(item, name) for name in _names(type(item))})


def read(kind: str, body: str, parse: Callable[[str], Schedule]) -> Input:
    """Back from `spell`. Keys of a newer version are passed over; what `parse` raises goes through."""
    found = json.loads(body)
    if kind == "settings":
        known = {name: found[name] for name in _names(Settings) if name in found}
        commissioned = sealed.parse(known["record_text"]) if known.get("record_text") else None
        known["replaced"] = tuple((each[0], each[1], each[2]) for each in found.get("replaced", ()))
        zone = found.get("timezone")
        known["timezone"] = (zone[0], zone[1], zone[2]) if zone else None
        return Settings(schedule=parse(found["schedule_text"]), record=commissioned, **known)
    record = _KINDS[kind]
    return record(**{name: found[name] for name in _names(record) if name in found})


def _names(record: type[Request] | type[Clock] | type[Presence] | type[Settings]) -> list[str]:
    return [each.name for each in fields(record)]


def _json(found: dict[str, object]) -> str:
    return json.dumps(found, separators=(",", ":"))
