"""One alarm: why, its course, what was sent; and its answers."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import Response

from panelward.door.clocks import until
from panelward.door.first import asking, became, now_ms, vehicle_ms
from panelward.door.state import Door, allowed, told
from panelward.errors import EnvironmentFault
from panelward.journal import OutboxRow
from panelward.records.outputs import NAMED, RUNNER_UP

MOST_COURSE = 60


def _steps(alarm_id: str) -> Callable[[Any], tuple[list[dict[str, Any]], list[Any]]]:
    return lambda journal: (journal.last_transitions(MOST_COURSE, alarm_id=alarm_id), journal.outbox_rows(alarm_id))


async def show_alarm(request: Request) -> Response:
    return await alarm_page(request, request.path_params["id"])


async def alarm_page(request: Request, alarm_id: str, *, link: str = "") -> Response:
    """An alarm, why, its course, what was sent. By a one-use link the answers go back through it."""
    from panelward.wording.english import CAUSES

    door: Door = request.app.state.door
    plan, look = await door.plan(), await door.book.look()
    try:
        steps, messages = await door.book.ask(_steps(alarm_id))
    except EnvironmentFault as fault:
        return door.said(request, door.t(request, "first.never_watched"), str(fault), status=503)
    if not steps:
        return door.said(request, door.t(request, "answer.over"), status=404)
    newest = steps[-1]
    reasoned = max((s for s in steps if s["evidence"]), key=lambda s: int(s["sequence"]), default=newest)
    schedule = plan.schedule if plan else None
    life = {c.id for c in schedule.circuits if c.importance == "life"} if schedule else set()
    alarm = asking(newest, life, look.row, look.told_s)
    if newest["event"] in ("acknowledge", "shelve", "unshelve") or not alarm.sentence:
        spoken = next((s["message"] for s in reversed(steps) if s["message"]), "")
        alarm = replace(alarm, sentence=spoken)
    labels = {c.id: c.label for c in schedule.circuits} if schedule else {}
    return door.page(
        request,
        "alarm.html",
        alarm=alarm,
        path=link or f"/alarm/{quote(alarm.id, safe='')}",
        answerable=newest["state"] != "normal",
        link_more=door.t(request, "link.more") if link else "",
        ways=[(w, labels[w]) for w in alarm.ways if w in labels],
        evidence=reasoned["evidence"],
        causes=[
            (CAUSES.get(cause, cause), f"{100 * p:.1f}", _weighed(cause, p, reasoned["cause"]))
            for cause, p in reasoned["candidates"]
        ],
        named=f"{100 * NAMED:.0f}",
        runner_up=f"{100 * RUNNER_UP:.0f}",
        course=_course(steps),
        sent=[_sent(message, look.row, door.real_s()) for message in messages],
        zone=door.zone(look.row, plan),
        seen_ms=now_ms(look.row, door.real_s()),
    )


def _weighed(cause: str, probability: float, named: str | None) -> str:
    return "named" if cause == named else "in_question" if probability >= RUNNER_UP else "rejected"


def _course(steps: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Its transitions; a sentence is shown where it is another than the one before."""
    before = [None, *(step["message"] for step in steps)]
    return [step | {"show": step["message"] not in ("", old)} for old, step in zip(before, steps, strict=False)]


def _sent(message: OutboxRow, row: Mapping[str, Any], real_s: float) -> dict[str, Any]:
    """What became of one message, and when."""
    at_s = message.settled_real_s or (message.due_real_s if message.status == "waiting" else None)
    return {
        "to": message.address_ref,
        "status": became(message, real_s),
        "repeat": message.repeat,
        "why": "" if message.status == "handed-over" else message.last_why,
        "at_ms": None if at_s is None else vehicle_ms(row, at_s),
    }


async def show_alarms(request: Request) -> Response:
    door: Door = request.app.state.door
    plan, look = await door.plan(), await door.book.look()
    now = door.first_of(look, plan)
    groups = [("", now.asking), (door.t(request, "first.still"), now.seen), (door.t(request, "first.aside"), now.aside)]
    return door.page(request, "alarms.html", groups=groups, zone=door.zone(look.row, plan), seen_ms=now.now_ms)


async def answer(request: Request) -> Response:
    """Seen; it's meant to be like this until …; take it back."""
    return await answer_alarm(request, request.path_params["id"], request.path_params["what"], back="/")


def _moved_on(steps: list[dict[str, Any]], seen: str) -> bool:
    """It is another thing now than the one that was answered."""
    sequence = int(seen) if seen.isdigit() else 0
    return any(s["sequence"] > sequence and s["event"] in ("begins", "begins-again", "re-alarm", "changes") for s in steps)


async def answer_alarm(request: Request, alarm_id: str, what: str, *, back: str, link_sequence: int | None = None) -> Response:
    door: Door = request.app.state.door
    fields, refusal = await allowed(request, then=back, free=link_sequence is not None)
    if refusal is not None:
        return refusal
    plan, look = await door.plan(), await door.book.look()
    alarm = next((a for a in look.standing if a["id"] == alarm_id), None)
    if alarm is None:
        return told(request, door.t(request, "answer.over"), back)
    try:
        steps, _ = await door.book.ask(_steps(alarm_id))
    except EnvironmentFault as fault:
        return told(request, door.t(request, "answer.unreachable", why=str(fault)), back)
    if link_sequence is None and _moved_on(steps, fields.get("sequence", "")):  # of a link that was judged with it
        return told(request, door.t(request, "answer.changed"), back)
    seen_ms, zone = now_ms(look.row, door.real_s()), door.zone(look.row, plan)
    body: dict[str, Any] = {"alarm": alarm_id, "why": fields.get("why", "")[:400]}
    words_of = "answer.seen"
    values: dict[str, Any] = {}
    if what == "seen":
        done, why = await door.ask(request, "acknowledge", body)
    elif what == "meant":
        seconds, at = until(fields.get("until", "hour"), seen_ms, zone)
        if seconds is None:
            return told(request, door.t(request, "answer.refused", why=fields.get("until", "")[:40]), back)
        done, why = await door.ask(request, "shelve", body | {"for_s": seconds})
        words_of, values = "answer.aside", {"at": at}
    elif what == "back":
        done, why = await door.ask(request, "in-service" if alarm["state"] == "out-of-service" else "unshelve", body)
        words_of = "answer.back"
    else:
        return door.said(request, door.t(request, "page.not_found"), status=404)
    return told(request, door.t(request, words_of, who=door.who(request), **values) if done else why, back)
