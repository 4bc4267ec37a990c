"""The owner's first screen, whole, its top alone, and what it follows by itself."""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from starlette.requests import Request
from starlette.responses import Response

from panelward.door import rule
from panelward.door.book import Look
from panelward.door.clocks import clock, lasts, week_clock
from panelward.door.first import Asking, First, Way, now_ms
from panelward.door.live import MOST_PHONES, crowded, streamed
from panelward.door.look import Looked
from panelward.door.nights import days_at, last_night
from panelward.door.plan import Plan
from panelward.door.state import Door
from panelward.door.words import words
from panelward.records import Schedule


def top_of(door: Door, request: Request, look: Look, plan: Plan | None) -> dict[str, Any]:
    """What the top of the first screen is made of."""
    now = door.first_of(look, plan)
    row, language = look.row, door.language(request)
    quiet_since_ms = row["at_ms"] if row else 0
    watched = row.get("schedule_hash") if row else None
    context: dict[str, Any] = {
        "first": now,
        "zone": door.zone(row, plan),
        "seen_ms": now.now_ms,
        "look_fault": look.fault,
        "plan_fault": door.plans.fault,
        "quiet_since_ms": quiet_since_ms,
        "quiet_lasting": lasts(now.quiet_s or 0.0, words(language)),
        "labels": (labels := {w.circuit: w.label for w in now.ways if w.circuit}),
        "labelled": lambda ids: labelled(ids, labels),
        "named": lambda alarms: named(alarms, labels),
        "lasting": lambda seconds: lasts(seconds, words(language)),
        "clock_unset": door.clock_unset(now),
        "other_schedule": bool(watched and plan and plan.hash != watched),
    }
    context["digest"] = digest(now, context, language)
    return context


def labelled(ids: Sequence[str], labels: Mapping[str, str]) -> str:
    """Ways with their labels: D10 Sump pump, D13 Solar charger; a long list is cut."""
    shown = [f"{each} {labels.get(each, '')}".strip() for each in ids[:8]]
    return ", ".join(shown) + (" …" if len(ids) > 8 else "")


def named(alarms: Sequence[Asking], labels: Mapping[str, str]) -> str:
    """What else asks, by the labels of its ways."""
    found = list(dict.fromkeys(labels.get(a.ways[0], a.ways[0]) if a.ways else a.kind for a in alarms))
    return ", ".join(found[:4]) + (" …" if len(found) > 4 else "")


def digest(now: First, context: Mapping[str, Any], language: str) -> str:
    """Another text whenever the top would read otherwise; the clock of a reading alone is not worth a new one."""
    heard_min = None if now.asking or now.heard_ms is None else int(now.heard_ms // 60_000)
    works = [(w["who"], w["circuit"], w["until_ms"]) for w in now.works]
    alarms = (now.asking, now.seen, now.aside)
    state = (now.quiet_s is not None, now.watched, now.connected, now.silent, now.blind, now.waiting)
    faults = [context[name] for name in ("plan_fault", "look_fault", "other_schedule", "clock_unset")]
    worst_s = (now.now_ms - now.asking[0].since_ms) / 1000 if now.asking else 0.0
    lasting = lasts(worst_s, words(language)) if worst_s >= 90 else ""
    said = [language, lasting, alarms, state, works, faults, heard_min]
    return hashlib.sha256(repr(said).encode("utf-8", "surrogatepass")).hexdigest()[:12]


def amps_of(way: Way) -> str:
    """The draw of a way that is read, without its unit."""
    if way.amps is None:
        return ""
    size = abs(way.amps)
    return "0" if size <= way.nothing_a else f"{size:.1f}" if size >= 0.95 else f"{size:.2f}"


def amps_text(door: Door, now: First, look: Look, plan: Plan | None, language: str) -> Callable[[Way], str]:
    """What stands at the right of a way's row."""
    t, zone = words(language), door.zone(look.row, plan)

    def text(way: Way) -> str:
        if way.spare:
            return ""
        if way.never:
            return t("first.never")
        if way.since_ms is not None:
            return t("first.no_reading_since", at=clock(way.since_ms, now.now_ms, zone, language))
        if way.amps is None:
            return t("first.no_amps")
        amps = amps_of(way)
        return t("first.amps_of", amps=amps, rating=f"{way.rating_a:g}") if way.rating_a else f"{amps} A"

    return text


async def show_first(request: Request) -> Response:
    door: Door = request.app.state.door
    plan, look = await door.plan(), await door.book.look()
    context = top_of(door, request, look, plan)
    if request.query_params.get("part") == "top":
        return door.page(request, "top.html", keep_said=True, **context)
    language = door.language(request)
    nights = await door_nights(door, request, look, plan)
    return door.page(
        request,
        "first.html",
        amps_text=amps_text(door, context["first"], look, plan, language),
        rule=rule.drawn,
        marked=any(w.always_on or w.life or w.source for w in context["first"].ways),
        nights=nights,
        two=bool(plan and plan.schedule.vehicle.panel == "odd-left"),
        **context,
    )


async def door_nights(door: Door, request: Request, look: Look, plan: Plan | None) -> str:
    """How long at last night's draw; nothing where that is not known. The first screen never waits for it."""
    if plan is None or not look.row or not any(s.battery and s.meter for s in plan.schedule.supplies):
        return ""
    found = await door.long_look(look, plan, wait_s=0.0)
    if found is None:
        return ""
    zone, now = door.zone(look.row, plan), round(now_ms(look.row, door.real_s()))
    charge = {c["supply"]: c["left"] for c in look.row.get("charge") or () if c.get("left") is not None}
    return nights_text(plan.schedule, found, charge, now, zone, words(door.language(request)))


def nights_text(
    schedule: Schedule, found: Looked, charge: Mapping[str, float], now: int, zone: ZoneInfo, t: Callable[..., str]
) -> str:
    """A sentence a bank with a meter that was read by night."""
    said = []
    for supply in schedule.supplies:
        seen = found.way(supply.meter) if supply.battery is not None and supply.meter is not None else None
        if supply.battery is None or seen is None:
            continue
        night = last_night(seen.hours, now, zone, charge_positive=supply.meter_sign == "charge-positive")
        left = charge.get(supply.id)
        days = None if night is None else days_at(supply.battery, supply.nominal_v, night, left=left)
        if night is None or days is None:
            continue
        of = t("nights.full") if left is None else t("nights.counted", percent=f"{100 * left:.0f}")
        language_at = f"{datetime.fromtimestamp(night.ends_ms / 1000, zone):%Y-%m-%d %H:%M}"
        amps = f"{night.mean_a:.2g}" if night.mean_a < 10 else f"{night.mean_a:.0f}"
        said.append(t("nights.days", amps=amps, days=span(days, t), of=of, at=language_at))
    return " ".join(said)


def span(days: float, t: Callable[..., str]) -> str:
    """In hours below two days; beyond two months nobody should plan by it."""
    if days < 2:
        return t("nights.hours", count=f"{24 * days:.0f}")
    return t("nights.long", count=60) if days > 60 else t("nights.many", count=f"{days:.0f}")


async def live(request: Request) -> Response:
    door: Door = request.app.state.door
    if door.live.phones >= MOST_PHONES:
        return crowded()
    language = door.language(request)

    async def events() -> AsyncIterator[str]:
        shown: dict[str, Any] = {}
        yield "retry: 3000\n\n"
        async with contextlib.aclosing(door.live.changes(request.is_disconnected)) as changes:
            async for look in changes:
                plan = await door.plan()
                context = top_of(door, request, look, plan)
                now: First = context["first"]
                text = amps_text(door, now, look, plan, language)
                ways = {w.circuit: [text(w), w.place(w.amps), w.over, w.ringed] for w in now.ways if w.circuit}
                if shown and ways.keys() != shown.keys():
                    yield "event: reload\ndata: \n\n"
                    return
                news = {name: each for name, each in ways.items() if shown.get(name) != each}
                shown = ways
                told = {"clock": week_clock(now.now_ms, context["zone"], language), "top": context["digest"], "ways": news}
                yield f"event: now\ndata: {json.dumps(told, ensure_ascii=False, separators=(',', ':'))}\n\n"

    return streamed(events())
