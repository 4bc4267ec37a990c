"""The circuits of a schedule as a sheet."""

from __future__ import annotations

import csv
from io import StringIO

from panelward.records import Circuit, Schedule
from panelward.schedule.models import BEHIND
from panelward.schedule.sheet.cells import span
from panelward.schedule.sheet.columns import COLUMNS, DEVICE, SEGMENT
from panelward.schedule.written import plain


def sheet(schedule: Schedule) -> str:
    """The circuits as CSV (RFC 4180) in the order of the panel, in the units of COLUMNS; `draft` reads it back."""
    out = StringIO()
    rows = csv.DictWriter(out, COLUMNS, restval="", lineterminator="\r\n")
    rows.writeheader()
    volts = {s.id: f"{s.id} ({plain(s.nominal_v)} V {s.kind.upper()})" for s in schedule.supplies}
    for circuit in schedule.circuits:
        rows.writerows(_rows(circuit, volts[circuit.supply]))
    rows.writerows({"position": _cell(spare), "purpose": "Spare"} for spare in dict.fromkeys(schedule.vehicle.spares))
    return out.getvalue()


def _rows(circuit: Circuit, supply: str) -> list[dict[str, str]]:
    device = circuit.protection
    first: dict[str, object] = {
        "purpose": circuit.label,
        "supply": supply,
        "feeder": circuit.feeder,
        "feed": circuit.feed if circuit.role == "load" else circuit.role,
        "always_on_reason": circuit.always_on_reason,
        "importance": circuit.importance,
        "behind": " + ".join(name if name in BEHIND else f"feeder {name}" for name in circuit.behind),
        **({"device": device.kind, "type": device.type} if device else {}),
        **({column: getattr(device, column) for column in DEVICE} if device else {}),
    }
    stretches: list[dict[str, object]] = [
        {
            **{column: getattr(segment, column) for column in SEGMENT if column not in ("return", "thermal_insulation_m")},
            "thermal_insulation_m": segment.thermal_insulation_m or None,
            "return": segment.return_path,
        }
        for segment in circuit.conductor
    ]
    draws: list[dict[str, object]] = []
    for load in circuit.loads:
        levels = [level.watts for level in load.levels]
        run = span(load.longest_run_s) if load.longest_run_s is not None else None
        more = {column: getattr(load, column) for column in ("maker_fuse_a", "always_draws_w", "standby_max_w")}
        draws.append({"load": load.kind, "watts": levels[0] if levels else None, **more, "longest_run": run})
        draws += [{"watts": watts} for watts in levels[1:]]
    rows = []
    for index in range(max(1, len(stretches), len(draws))):
        cells: dict[str, object] = {"position": circuit.id}
        for part in (first if index == 0 else {}, *stretches[index : index + 1], *draws[index : index + 1]):
            cells |= part
        rows.append({column: _cell(value) for column, value in cells.items()})
    return rows


def _cell(value: object) -> str:
    if isinstance(value, str):
        return f"'{value}" if value and (value[0] in "=+-@#'" or value != value.strip()) else value
    return plain(value) if isinstance(value, int | float) else ""
