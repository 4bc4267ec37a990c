"""The small row that `panelward now` and the door read: per circuit its draw, of what, its age, its margin.

people         who is told, as a person may read it: `addresses` is how many, never one; minutes of the local day
charge         per bank: share left, how far that may be wrong (both null: not known), when last full, when last counted
schedule_hash  first 12 digits of the SHA-256 of the schedule's text that is watched with, without what was learned
readings       when the newest came
journal        days that readings and what was told are kept
clock          is the wall clock set, and time on it; simulated
"""

from __future__ import annotations

from dataclasses import asdict, replace
from functools import lru_cache
from typing import Any

from panelward.core import Core
from panelward.journal import KEEP_READINGS_DAYS, KEEP_TOLD_DAYS
from panelward.records.people import People
from panelward.sealed import schedule_hash
from panelward.watch.way import Way

__all__ = ["present"]


def _level(way: Way) -> dict[str, Any] | None:
    """The level at which it stands; None: it moves, or has none listed."""
    here = way.level.here() if way.level is not None and not way.silence.active else None
    return None if here is None else {"name": here[0], "watts": here[1]}


def _people(people: People) -> dict[str, Any]:
    return {
        "evening_min": people.evening_min,
        "weekly_day": people.weekly_day,
        "persons": [
            {
                "name": person.name,
                "priorities": person.priorities,
                "circuits": person.circuits,
                "sleeping": person.sleeping,
                "after_s": person.after_s,
                "at_once": person.at_once,
                "addresses": len(person.refs),
            }
            for person in people.persons
        ],
    }


_hash = lru_cache(maxsize=2)(schedule_hash)  # it is asked for every few seconds


def _charge(core: Core) -> list[dict[str, Any]]:
    watch, shift_ms = core.watch, core.shift_ms
    found = watch.counted(core.now_ms - shift_ms) if watch is not None else {}
    return [
        {
            "supply": supply_id,
            "left": None if counted.left is None else round(counted.left, 3),
            "error": None if counted.error is None else round(counted.error, 3),
            "full_ms": None if counted.full_ms is None else counted.full_ms + shift_ms,
            "heard_ms": None if counted.heard_ms is None else counted.heard_ms + shift_ms,
        }
        for supply_id, counted in found.items()
    ]


def present(
    core: Core, *, real_s: float, rate: float, connected: bool, refused: int, people: People | None = None,
    schedule_text: str = "", clock_trusted: bool = True, simulated: bool = False,
) -> dict[str, Any]:  # fmt: skip
    """Facts only; ages are counted by the reader from `at_ms` and `real_s`."""
    watch = core.watch
    if watch is None:
        return {}
    shift_ms = core.shift_ms
    rows: list[dict[str, Any]] = []
    for way in watch.ways.values():
        circuit = way.circuit
        heard_ms = way.last_received_ms if way.last_received_ms > 0 else None
        rating_a = circuit.protection.fitted_a if circuit.protection else None
        rows.append(
            {
                "id": circuit.id,
                "label": circuit.label,
                "role": circuit.role,
                "volts": way.volts,
                "amps": way.amps,
                "watts": way.watts,
                "heard_ms": None if heard_ms is None else heard_ms + shift_ms,
                "overdue": heard_ms is None or way.silence.shown_overdue(core.now_ms - shift_ms),
                "rating_a": rating_a,
                "used": round(abs(way.amps) / rating_a, 4) if rating_a and way.amps is not None else None,
                "energy_wh": round(way.energy_wh(), 3),
                "unknown_s": way.unknown_ms / 1000.0,
                "late": way.late,
                "level": _level(way),
            }
        )
    heard = [way.last_received_ms for way in watch.ways.values() if way.last_received_ms > 0]
    return {
        "at_ms": core.now_ms,
        "real_s": real_s,
        "rate": rate,
        "connected": connected,
        "refused": refused,
        "circuits": rows,
        "doing": asdict(replace(watch.doing.latest, at_ms=watch.doing.latest.at_ms + shift_ms)),
        "timezone": {
            "name": core.schedule.vehicle.timezone,
            "who": core.zone[1] if core.zone is not None else "",
            "since_ms": core.zone[2] if core.zone is not None else None,
        },
        "works": [{"who": w.who, "circuit": w.circuit, "why": w.why, "until_ms": w.until_ms + shift_ms} for w in core.works()],
        "out_of_service": [
            {"circuit": r.circuit, "who": r.who, "why": r.why, "until_ms": r.until_ms + shift_ms} for r in core.removed()
        ],
        "standing": [
            {"id": a.id, "kind": a.condition.kind, "priority": a.condition.priority, "state": a.state} for a in core.standing()
        ],
        "people": _people(people or People()),
        "charge": _charge(core),
        "schedule_hash": _hash(schedule_text),
        "readings": {"newest_ms": max(heard) + shift_ms if heard else None},
        "journal": {"readings_days": KEEP_READINGS_DAYS, "told_days": KEEP_TOLD_DAYS},
        "clock": {"trusted": clock_trusted, "simulated": simulated},
    }
