"""The schedule of results: the form that gets signed. A row a way in panel order, an inspector's remarks in red pencil."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from starlette.requests import Request
from starlette.responses import Response

from panelward.door.first import First, Way
from panelward.door.held import Seen
from panelward.door.look import Looked
from panelward.door.plan import Plan
from panelward.door.screen import amps_of, amps_text
from panelward.door.state import Door
from panelward.door.way import WAIT_S
from panelward.door.words import Words
from panelward.papers.directory import panel_directory
from panelward.papers.remarks import GRADES, LONG_S, MINUTE_S, Remark, remarks, three_of
from panelward.ratings import Ampacity
from panelward.ratings.curves import ampacity_of
from panelward.records import Circuit


def _drawn(amps: float | None, circuit: Circuit) -> float | None:
    """What its sensing can't tell from nothing is nothing."""
    return 0.0 if amps is not None and amps <= circuit.sense.nothing_a else amps


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """One row. None and empty: not known, which is no zero."""

    position: str
    purpose: str
    spare: bool = False
    circuit: str | None = None
    way: Way | None = None
    device: str = ""
    scheduled_a: float | None = None
    found_a: float | None = None
    left_a: float | None = None
    conductor: str = ""
    ampacity: Ampacity | None = None
    maker_a: tuple[float, ...] = ()
    low_a: float | None = None
    high_a: float | None = None
    skipped: str = ""
    worst_60_a: float | None = None
    worst_3h_a: float | None = None
    looked: bool = False
    unread_share: float | None = None
    unseen: tuple[str, ...] = ()
    marks: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Results:
    """The whole form."""

    rows: tuple[Result, ...]
    remarks: tuple[Remark, ...]
    notes: int  # findings of vetting that only note something


def results(plan: Plan, now: First, seen: Mapping[str, Seen], t: Words) -> Results:
    """Everything on the form."""
    schedule = plan.schedule
    ways = {way.circuit: way for way in now.ways if way.circuit}
    circuits = {circuit.id: circuit for circuit in schedule.circuits}
    entries = panel_directory(schedule, spares=schedule.vehicle.spares).rows
    order = {entry.position: at for at, entry in enumerate(entries)}
    differs = plan.record.differs if plan.record else ()
    pencil = remarks(schedule, plan.findings, differs, seen, order, t)
    rows = []
    for entry in entries:
        circuit = circuits.get(entry.position)
        if circuit is None:
            rows.append(Result(position=entry.position, purpose=entry.purpose, spare=True))
            continue
        rows.append(_row(plan, circuit, ways.get(circuit.id), entry.conductor, entry.device.text, seen.get(circuit.id), pencil))
    notes = sum(1 for finding in plan.findings if finding["grade"] not in GRADES)
    return Results(rows=tuple(rows), remarks=pencil, notes=notes)


def _row(
    plan: Plan, circuit: Circuit, way: Way | None, conductor: str, device: str, seen: Seen | None, pencil: Sequence[Remark]
) -> Result:
    commissioned = plan.record.circuit(circuit.id) if plan.record else None
    three = three_of(circuit, commissioned)
    return Result(
        position=circuit.id,
        purpose=circuit.label,
        circuit=circuit.id,
        way=way,
        device=device,
        scheduled_a=three.scheduled_a,
        found_a=three.found_a,
        left_a=three.left_a,
        conductor=conductor,
        ampacity=ampacity_of(plan.schedule, circuit),
        maker_a=tuple(dict.fromkeys(load.maker_fuse_a for load in circuit.loads if load.maker_fuse_a is not None)),
        low_a=way.low_a if way else None,
        high_a=way.high_a if way else None,
        skipped=(commissioned.skipped or "") if commissioned else "",
        worst_60_a=_drawn(seen.worst_a(MINUTE_S), circuit) if seen else None,
        worst_3h_a=_drawn(seen.worst_a(LONG_S), circuit) if seen else None,
        looked=seen is not None and seen.readings > 0,
        unread_share=seen.unread_share if seen else None,
        unseen=tuple(dict.fromkeys(s.what for s in plan.sights if s.circuit == circuit.id and s.can == "no")),
        marks=tuple(remark.number for remark in pencil if remark.way == circuit.id),
    )


async def show_results(request: Request) -> Response:
    door: Door = request.app.state.door
    plan, look = await door.plan(), await door.book.look()
    if plan is None:
        return door.said(request, door.plans.fault or door.t(request, "page.not_found"), status=503)
    now, language, t = door.first_of(look, plan), door.language(request), door.words(request)
    found = await door.long_look(look, plan, wait_s=WAIT_S)
    seen = seen_of_ways(plan, found)
    made = results(plan, now, seen, t)
    text = amps_text(door, now, look, plan, language)

    def now_text(row: Result) -> str:
        """Amps alone where there are some: the device stands beside it."""
        return "" if row.way is None else amps_of(row.way) or text(row.way)

    unread = [s.unread_share for s in seen.values()]
    return door.page(
        request,
        "results.html",
        results=made,
        plan=plan,
        record=plan.record,
        now_text=now_text,
        looked=found,
        unread=sum(unread) / len(unread) if unread else None,
        late=sum(c.get("late", 0) for c in look.row.get("circuits", ())),
        clock_unset=door.clock_unset(now),
        clock_most=(found.clock_most_ms / 1000) if found else 0,
        rate=now.rate,
        works=now.works,
        looking=door.looks.looking,
        look_fault=door.looks.fault,
        zone=door.zone(look.row, plan),
        seen_ms=now.now_ms,
        today_ms=now.now_ms,
    )


def seen_of_ways(plan: Plan, found: Looked | None) -> dict[str, Seen]:
    """By way; nothing where there is no look yet."""
    if found is None:
        return {}
    ways = {c.id: found.way(c.id) for c in plan.schedule.circuits if c.role != "meter" or c.protection}
    return {name: seen for name, seen in ways.items() if seen is not None}
