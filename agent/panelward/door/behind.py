"""Behind the door: messages, people, what can't be seen; note, work, presence; and this phone's name and language."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from panelward.door.clocks import clock, lasts
from panelward.door.first import became, now_ms, vehicle_ms
from panelward.door.state import Door, allowed, told
from panelward.door.words import LANGUAGES, NAMES, words
from panelward.errors import EnvironmentFault

LATELY = 30
NOBODY_LISTED = "everybody"  # the one person where no people are listed: nobody's name
_ABOARD: dict[bool | None, str] = {True: "aboard", False: "nobody-aboard"}


async def show_messages(request: Request) -> Response:
    door: Door = request.app.state.door
    plan, look = await door.plan(), await door.book.look()
    language, zone, seen_ms = door.language(request), door.zone(look.row, plan), now_ms(look.row, door.real_s())
    try:
        lately = await door.book.ask(lambda journal: journal.outbox_settled(LATELY))
    except EnvironmentFault:
        lately = []

    def shown(row: Any) -> dict[str, Any]:
        at = clock(vehicle_ms(look.row, row.settled_real_s or row.due_real_s), seen_ms, zone, language)
        note = at
        if row.status == "waiting":
            note = door.t(request, "waiting.sheet" if row.on_sheet else "waiting.due", at=at)
            note += f", {door.t(request, 'waiting.unless')}" if row.until_answered else ""
        return {
            "first": row.body.partition("\n")[0],
            "rest": row.body.partition("\n")[2],
            "to": row.address_ref,
            "status": became(row, door.real_s()),
            "note": note,
            "alarm": row.alarm_id,
            "why": row.last_why if row.status != "handed-over" else "",
        }

    groups = [
        (door.t(request, "waiting.waits"), [shown(row) for row in look.waiting]),
        (door.t(request, "waiting.lately"), [shown(row) for row in lately]),
    ]
    return door.page(request, "messages.html", groups=groups, zone=zone, seen_ms=seen_ms)


async def show_behind(request: Request) -> Response:
    door: Door = request.app.state.door
    plan, look = await door.plan(), await door.book.look()
    doing, t = look.row.get("doing") or {}, words(door.language(request))
    presence = "laid-up" if doing.get("laid_up") else _ABOARD.get(doing.get("aboard"), "unknown")
    now = door.first_of(look, plan)
    people = look.row.get("people")
    persons = [{"name": p["name"], "text": person_text(p, t)} for p in (people or {}).get("persons", ())]
    evening = (people or {}).get("evening_min")
    return door.page(
        request,
        "behind.html",
        works=now.works,
        circuits=[c for c in plan.schedule.circuits if c.role != "meter"] if plan else [],
        presence=presence,
        who=request.session.get("who", ""),
        names=[p["name"] for p in persons if p["name"] != NOBODY_LISTED],
        people={"persons": persons, "evening": "" if evening is None else f"{evening // 60:02d}:{evening % 60:02d}"},
        languages=[(code, NAMES[code]) for code in LANGUAGES],
        zone=door.zone(look.row, plan),
        seen_ms=now.now_ms,
    )


def person_text(person: Mapping[str, Any], t: Callable[..., str]) -> str:
    """When and of what a person is told."""
    parts = []
    sleeping = person.get("sleeping")
    if sleeping:
        begin, end = sleeping
        parts.append(t("behind.sleeps", hours=f"{begin // 60:02d}:{begin % 60:02d}-{end // 60:02d}:{end % 60:02d}"))
    if person.get("priorities"):
        parts.append(t("behind.told_of", priorities=", ".join(t(f"state.{p}") for p in person["priorities"])))
    if person.get("circuits"):
        parts.append(t("behind.only_ways", ways=", ".join(person["circuits"])))
    if person.get("after_s"):
        parts.append(t("behind.after", lasting=lasts(person["after_s"], t)))
    count = person.get("addresses")
    if isinstance(count, int):
        parts.append(t("behind.address") if count == 1 else t("behind.addresses", count=count))
    return "; ".join(parts)


async def show_unseen(request: Request) -> Response:
    door: Door = request.app.state.door
    plan = await door.plan()
    ways = []
    for circuit in plan.schedule.circuits if plan else ():
        sights = [s for s in plan.sights if s.circuit == circuit.id and s.can != "yes"] if plan else []
        if sights and circuit.role != "meter":
            ways.append({"id": circuit.id, "label": circuit.label, "sights": sights})
    return door.page(request, "unseen.html", ways=ways)


async def change(request: Request) -> Response:
    """Note, working, presence."""
    door: Door = request.app.state.door
    what = request.path_params["what"]
    fields, refusal = await allowed(request, then="/behind")
    if refusal is not None:
        return refusal
    look, plan = await door.book.look(), await door.plan()
    seen_ms, zone = now_ms(look.row, door.real_s()), door.zone(look.row, plan)
    language = door.language(request)
    if what == "note":
        done, why = await door.ask(request, "note", {"why": fields.get("why", "")[:400]})
        text = door.t(request, "answer.noted", at=clock(seen_ms, seen_ms, zone, language)) if done else why
    elif what == "working":
        minutes = int(fields["minutes"]) if fields.get("minutes", "").isdigit() else 0
        body: dict[str, Any] = {"for_s": 60.0 * minutes} if minutes else {"done": True}
        circuit = fields.get("circuit") or None
        body |= {"circuit": circuit} if circuit else {}
        done, why = await door.ask(request, "working", body)
        at = clock(seen_ms + minutes * 60_000, seen_ms, zone, language)
        place = circuit or door.t(request, "first.whole_panel")
        begun = door.t(request, "answer.working", who=door.who(request), place=place, at=at)
        text = why if not done else begun if minutes else door.t(request, "answer.working_done")
    else:
        done, why = await door.ask(request, "presence", {"presence": fields.get("presence", "")[:20]})
        text = door.t(request, "answer.presence") if done else why
    back = fields.get("then", "/behind")
    return told(request, text, back if back in ("/", "/behind", "/results", "/commission") else "/behind")


async def keep(request: Request) -> Response:
    """Name and language: of this phone alone."""
    fields, refusal = await allowed(request, then="/behind", free=True)
    if refusal is not None:
        return refusal
    if request.path_params["what"] == "who":
        name = " ".join((fields.get("pick") or fields.get("who") or "").split())[:60]
        request.session["who"] = "".join(c for c in name if c.isprintable())
    elif fields.get("language") in LANGUAGES:
        request.session["lang"] = fields["language"]
    return RedirectResponse("/behind", 303)
