"""The pages of a commissioning.

GET  /commission        the question, its keys, what was told, how far each way is; `part=1`: that alone; `way=D4`: one way
POST /commission/start  /commission/answer  /commission/stop
GET  /commission/live   another number whenever the page would read otherwise, and what to buzz for
"""

from __future__ import annotations

import asyncio
import json
import secrets
from collections.abc import AsyncIterator, Mapping
from typing import Any

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from panelward.clock import Pace
from panelward.door.clocks import clock
from panelward.door.fitting import View
from panelward.door.live import BEAT_S, MOST_PHONES, crowded, streamed
from panelward.door.state import Door, allowed, told
from panelward.errors import BadInput, PanelwardError

BACK = "/commission"
REASONS = {  # words' key -> what stands in the record, which is English
    "reach": "it can't be reached",
    "fitted": "it is not fitted yet",
    "use": "it is in use",
    "time": "there was no time",
}
_PHONES: set[asyncio.Event] = set()


def _pace(row: Mapping[str, Any]) -> Pace | None:
    """The vehicle's time, where the watch runs in simulated time."""
    rate = float(row.get("rate", 1.0)) if row else 1.0
    return None if rate == 1.0 else Pace(int(row["at_ms"]), rate, float(row["real_s"]))


async def resume(door: Door) -> None:
    """Go on with what was interrupted under this page; wake the phones from the session's thread."""
    loop = asyncio.get_running_loop()

    def wake() -> None:
        for event in _PHONES:
            event.set()

    def changed() -> None:
        if not loop.is_closed():
            loop.call_soon_threadsafe(wake)

    door.fitting.changed = changed
    plan = door.plans.plan
    if plan is not None:
        pace = _pace((await door.book.look()).row)
        await asyncio.to_thread(door.fitting.look, plan, pace)


async def put_down(door: Door) -> None:
    await asyncio.to_thread(lambda: door.fitting.stop(going_on=True))


async def show(request: Request) -> Response:
    door: Door = request.app.state.door
    plan, look = await door.plan(), await door.book.look()
    if plan is not None and not door.fitting.view.running:
        await asyncio.to_thread(door.fitting.look, plan, _pace(look.row))
    view = door.fitting.view
    way = request.query_params.get("way", "")
    loads = [c for c in plan.schedule.circuits if c.role == "load"] if plan else []
    part = request.query_params.get("part") == "1"
    now = door.first_of(look, plan)
    return door.page(
        request,
        "fitpart.html" if part else "fitting.html",
        keep_said=part,
        view=view,
        asked=view.asked,
        way=next((c for c in loads if c.id == way), None) if view.phase in ("lap", "summary") else None,
        loads=loads,
        record=plan.record if plan else None,
        plan_fault="" if plan else door.plans.fault,
        who=request.session.get("who", ""),
        reasons=REASONS,
        watching=bool(now.watched) and now.quiet_s is None,
        works=now.works,
        until=clock(view.until_ms, view.now_ms, door.zone(look.row, plan), door.language(request)) if view.until_ms else "",
        zone=door.zone(look.row, plan),
        seen_ms=view.now_ms or now.now_ms,
    )


async def start(request: Request) -> Response:
    door: Door = request.app.state.door
    fields, refusal = await allowed(request, then=BACK)
    if refusal is not None:
        return refusal
    plan, look = await door.plan(), await door.book.look()
    if plan is None:
        return told(request, door.plans.fault, BACK)
    who, going_on = fields.get("who", "")[:60], fields.get("go") == "on"
    if not who and not going_on:
        return told(request, door.t(request, "fitting.name_wanted"), BACK)
    if who:
        request.session["who"] = who
    redo = tuple(c.id for c in plan.schedule.circuits if fields.get("go") == "redo" and fields.get(f"way-{c.id}"))
    if fields.get("go") == "redo" and not redo:
        return told(request, door.t(request, "fitting.way_wanted"), BACK)

    def begin() -> None:
        door.fitting.start(
            plan, who=who, instrument=fields.get("instrument", "")[:200], redo=redo, anew=not going_on, pace=_pace(look.row)
        )
        door.fitting.ready()

    try:
        await asyncio.to_thread(begin)
    except PanelwardError as error:
        return told(request, str(error), BACK)
    return RedirectResponse(BACK, 303)


async def answer(request: Request) -> Response:
    door: Door = request.app.state.door
    fields, refusal = await allowed(request, then=BACK)
    if refusal is not None:
        return refusal
    text = _text(fields)
    if text is None:
        return told(request, door.t(request, "fitting.empty"), BACK)
    phone = request.session.setdefault("phone", secrets.token_hex(4))
    try:
        before = await asyncio.to_thread(door.fitting.answer, fields.get("number", ""), text, phone)
    except BadInput:
        return told(request, door.t(request, "fitting.too_late"), BACK)
    except PanelwardError as error:  # the disk is full: said, and the answer stands in the session
        return told(request, str(error), BACK)
    if before is not None and before.phone != phone:
        what = before.text or "✓"
        return told(request, door.t(request, "fitting.answered_meanwhile", what=what), BACK)
    return RedirectResponse(BACK, 303)


def _text(fields: Mapping[str, str]) -> str | None:
    """What would be typed at the terminal. None: a field was left empty."""
    way = fields.get("way", "")
    if "do" in fields:
        return f"{'redo' if fields['do'] == 'redo' else 'was'} {way}"
    if "because" in fields or "reason" in fields:
        because = REASONS.get(fields.get("reason", "")) or fields.get("because", "")
        return f"skip {way}, because {because}".replace(" ,", ",") if because else None
    if "typed" in fields:
        return fields["typed"] or None
    return fields.get("answer")


async def stop(request: Request) -> Response:
    door: Door = request.app.state.door
    _, refusal = await allowed(request, then=BACK)
    if refusal is not None:
        return refusal
    await asyncio.to_thread(door.fitting.stop)
    return told(request, door.t(request, "fitting.stopped"), BACK)


async def live(request: Request) -> Response:
    door: Door = request.app.state.door
    if len(_PHONES) >= MOST_PHONES:
        return crowded()

    async def events() -> AsyncIterator[str]:
        event = asyncio.Event()
        _PHONES.add(event)
        try:
            yield "retry: 2000\n\n"
            while not door.live.ended and not await request.is_disconnected():
                event.clear()
                yield _said(door.fitting.view)
                try:
                    await asyncio.wait_for(event.wait(), BEAT_S)
                except TimeoutError:
                    continue
        finally:
            _PHONES.discard(event)

    return streamed(events())


def _said(view: View) -> str:
    count, what = view.buzz
    found = {"version": view.version, "buzz": count, "what": what}
    return f"event: now\ndata: {json.dumps(found)}\n\n"


ROUTES = (
    Route("/commission", show, methods=["GET"]),
    Route("/commission/live", live, methods=["GET"]),
    Route("/commission/start", start, methods=["POST"]),
    Route("/commission/answer", answer, methods=["POST"]),
    Route("/commission/stop", stop, methods=["POST"]),
)
