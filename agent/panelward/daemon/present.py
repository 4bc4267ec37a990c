"""The small row that `panelward now` reads: per circuit its draw, of what, its age, its margin."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Any

from panelward.core import Core
from panelward.watch.way import Way

__all__ = ["present"]


def _level(way: Way) -> dict[str, Any] | None:
    """The level at which it stands; None: it moves, or has none listed."""
    here = way.level.here() if way.level is not None and not way.silence.active else None
    return None if here is None else {"name": here[0], "watts": here[1]}


def present(core: Core, *, real_s: float, rate: float, connected: bool, refused: int) -> dict[str, Any]:
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
                "used": abs(way.amps) / rating_a if rating_a and way.amps is not None else None,
                "energy_wh": way.energy_wh(),
                "unknown_s": way.unknown_ms / 1000.0,
                "late": way.late,
                "level": _level(way),
            }
        )
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
        "standing": [
            {"id": a.id, "kind": a.condition.kind, "priority": a.condition.priority, "state": a.state} for a in core.standing()
        ],
    }
