"""A way's page: now, its record, the coordination diagram, the last days, its alarms, what its sensing can't see."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from panelward.door import drawn, rule
from panelward.door.clocks import weekday
from panelward.door.held import Held
from panelward.door.screen import amps_text
from panelward.door.state import Door
from panelward.papers.directory import Row, panel_directory
from panelward.ratings import Ampacity
from panelward.ratings.curves import ampacity_of, band, bears, opens_within
from panelward.records import Circuit, Commissioned, Measured, Schedule

WAIT_S = 4.0  # a page waits so long for a look, then it is shown without


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """One measured draw as it is printed."""

    name: str  # empty: standby
    watts: float
    amps: float  # at the supply's nominal volts
    low_w: float
    high_w: float
    readings: int
    provisional: bool


def draws(schedule: Schedule, circuit: Circuit, found: Commissioned | None) -> tuple[Drawn, ...]:
    """Standby and levels as commissioned."""
    volts = schedule.supply(circuit.supply).nominal_v

    def of(each: Measured, name: str) -> Drawn:
        return Drawn(
            name=name, watts=each.watts, amps=each.watts / volts, low_w=each.low_w, high_w=each.high_w,
            readings=each.readings, provisional=each.provisional,
        )  # fmt: skip

    if found is None:
        return ()
    standby = (of(found.standby, ""),) if found.standby is not None else ()
    return (*standby, *(of(each, each.name) for each in found.levels))


def beyond(circuit: Circuit, ampacity: Ampacity | None, held: Sequence[Held]) -> tuple[Held, ...]:
    """What was held that may open the device, or is more than the conductor may carry for three hours."""
    found = []
    for each in held:
        device = circuit.protection
        opens = device is not None and each.amps > 0.0 and opens_within(device, each.amps, each.seconds)
        hot = ampacity is not None and each.seconds >= 10_800 and each.amps > ampacity.amps
        if opens or hot:
            found.append(each)
    return tuple(found)


def entry_of(schedule: Schedule, circuit_id: str) -> Row | None:
    rows = panel_directory(schedule, spares=schedule.vehicle.spares).rows
    return next((row for row in rows if row.position == circuit_id and not row.spare), None)


async def show_way(request: Request) -> Response:
    door: Door = request.app.state.door
    plan, look = await door.plan(), await door.book.look()
    circuit_id = request.path_params["id"]
    now, language = door.first_of(look, plan), door.language(request)
    way = next((w for w in now.ways if w.circuit == circuit_id), None)
    circuit = next((c for c in plan.schedule.circuits if c.id == circuit_id), None) if plan else None
    if plan is None or circuit is None or circuit.role == "meter":
        return door.said(request, door.t(request, "page.not_found"), status=404)
    zone, schedule = door.zone(look.row, plan), plan.schedule
    found = await door.long_look(look, plan, wait_s=WAIT_S)
    seen = found.way(circuit.id) if found else None
    present = next((c for c in look.row.get("circuits", ()) if c["id"] == circuit.id), None)
    commissioned = plan.record.circuit(circuit.id) if plan.record else None
    ampacity = ampacity_of(schedule, circuit)
    over = beyond(circuit, ampacity, seen.held) if seen else ()
    t = door.words(request)
    device = circuit.protection
    diagram = days = ""
    if device is not None or ampacity is not None:
        diagram = drawn.coordination(
            f"{circuit.id} {circuit.label}",
            seen.held if seen else (),
            band(device) if device else None,
            bears(schedule, circuit),
            over,
            t,
            rating_a=device.fitted_a if device else None,
        )
    if seen is not None and seen.readings:
        named: Any = lambda day: f"{weekday(day.weekday(), language)} {day:%d.%m.}" if isinstance(day, date) else ""  # noqa: E731
        days = drawn.days(f"{circuit.id} {circuit.label}", seen.hours, zone, named, t, key="days")
    return door.page(
        request,
        "way.html",
        circuit=circuit,
        entry=entry_of(schedule, circuit.id),
        way=way,
        present=present if present and not present["overdue"] else None,
        rule=rule.drawn,
        amps=amps_text(door, now, look, plan, language)(way) if way else "",
        draws=draws(schedule, circuit, commissioned),
        commissioned=commissioned,
        record=plan.record,
        record_fault=plan.record_fault,
        ampacity=ampacity,
        sights=[s for s in plan.sights if s.circuit == circuit.id and s.can != "yes"],
        alarms=[a for a in (*now.asking, *now.seen, *now.aside) if circuit.id in a.ways],
        diagram=Markup(diagram),
        days=Markup(days),
        looked=found,
        seen=seen,
        over=[(drawn.lasting_text(h.seconds), h) for h in over[-1:]],  # the longest: it says the most
        looking=door.looks.looking,
        look_fault=door.looks.fault,
        zone=zone,
        seen_ms=now.now_ms,
    )
