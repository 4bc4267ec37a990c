"""What all pages share: the plan, the journal, the live phones, who may change something, and how a page is made."""

from __future__ import annotations

import asyncio
import hashlib
import re
import time
from collections.abc import Callable, Mapping
from functools import cache
from importlib.resources import files
from typing import Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

from jinja2 import Environment, PackageLoader, select_autoescape
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response

from panelward.door import guard
from panelward.door.asks import Asks
from panelward.door.book import Book, Look
from panelward.door.clocks import clock, day_clock, spans, week_clock
from panelward.door.first import First, first, now_ms
from panelward.door.fitting import Fitting
from panelward.door.live import Live
from panelward.door.look import Looked, Looks, span_text
from panelward.door.options import Options
from panelward.door.plan import Plan, PlanReader
from panelward.door.words import Words, wanted, words
from panelward.errors import BadInput, EnvironmentFault, PanelwardError
from panelward.records.inputs import WALL_SET_FROM_MS

PLAN_LOOK_S = 2.0
_ACT = re.compile(r"((?:Again: )?.+?[.:?])(\s.+)", re.DOTALL)


@cache
def static(name: str) -> str:
    """The address of a style, script or picture; another one with every change of it, so that it may be kept."""
    found = files("panelward.door").joinpath("static", name).read_bytes()
    return f"/static/{name}?{hashlib.sha256(found).hexdigest()[:8]}"


def act(sentence: str) -> Markup:
    """A sentence with its first part, the act, in bold: up to the first full stop, colon or question mark."""
    found = _ACT.match(sentence)
    return Markup("<b>{}</b>{}").format(*found.groups()) if found else Markup("<b>{}</b>").format(sentence)


class Door:
    """Everything that the pages share."""

    def __init__(self, options: Options) -> None:
        self.options = options
        self.book = Book(options.journal)
        self.plans = PlanReader(options.schedule)
        self.asks = Asks()
        self.live = Live(self.book)
        self.fitting = Fitting(options.schedule)
        self.looks = Looks(options.journal)
        self.password = guard.password_line(options.password_file) if options.password_file else None
        self.logins = guard.Bucket(5, 5, time.monotonic)
        self.all_logins = guard.Bucket(30, 30, time.monotonic)
        self.links = guard.Bucket(30, 30, time.monotonic)
        self.real_s: Callable[[], float] = time.time
        self._looked_s = float("-inf")
        self._planning = asyncio.Lock()
        self._jinja = Environment(
            loader=PackageLoader("panelward.door"),
            autoescape=select_autoescape(default=True),
            trim_blocks=True,
            lstrip_blocks=True,
            auto_reload=False,
        )

        self._jinja.globals["static"] = static
        self._jinja.filters["act"] = act
        self._jinja.filters["part"] = lambda text: quote(text, safe="")  # a part of an address

    # What is known.

    async def plan(self) -> Plan | None:
        """The schedule as it is on the disk, looked at every few seconds; None: it never could be read."""
        async with self._planning:
            now_s = time.monotonic()
            if now_s - self._looked_s >= PLAN_LOOK_S:
                self._looked_s = now_s
                try:
                    await asyncio.to_thread(self.plans.read)
                except PanelwardError as error:
                    self.plans.fault = str(error)
        return self.plans.plan

    def zone(self, row: Mapping[str, Any], plan: Plan | None) -> ZoneInfo:
        """Local time as the watch has it, else as the schedule has it."""
        name = (row.get("timezone") or {}).get("name") or (plan.schedule.vehicle.timezone if plan else "UTC")
        try:
            return ZoneInfo(name)
        except (ValueError, OSError, KeyError):
            return ZoneInfo("UTC")

    def first_of(self, look: Look, plan: Plan | None) -> First:
        return first(
            plan.schedule if plan else None,
            plan.record if plan else None,
            look.row,
            look.standing,
            real_s=self.real_s(),
            told_s=look.told_s,
            waiting=len(look.waiting),
            blind=blind_of(plan),
        )

    async def long_look(self, look: Look, plan: Plan | None, *, wait_s: float) -> Looked | None:
        """The newest look at the last days; None: it is being reckoned, or can't be."""
        if plan is None or not look.row:
            return None
        now = round(now_ms(look.row, self.real_s()))
        return await self.looks.ask(plan.schedule, plan.hash, now, self.zone(look.row, plan).key, wait_s=wait_s)

    def clock_unset(self, now: First) -> bool:
        """The wall clock of this computer shows a time that can't be."""
        return self.real_s() * 1000 < WALL_SET_FROM_MS and now.rate == 1

    # Who may.

    @property
    def login_needed(self) -> bool:
        return not self.options.alone or self.password is not None

    def may_change(self, request: Request) -> bool:
        if not self.login_needed:
            return True
        return self.password is not None and request.session.get("in") == self._in()

    def _in(self) -> str:
        """Another password logs everybody out."""
        return hashlib.sha256(f"in {self.password}".encode()).hexdigest()[:16]

    # Pages.

    def language(self, request: Request) -> str:
        return wanted(request.headers.get("accept-language", ""), request.session.get("lang"))

    def page(self, request: Request, name: str, *, status: int = 200, **context: Any) -> Response:
        """A template, with what every page has."""
        language = self.language(request)
        plan = self.plans.plan
        fitter = plan.schedule.vehicle.fitter if plan else None
        zone = context.pop("zone", None) or self.zone({}, plan)
        seen_ms = context.pop("seen_ms", None) or self.real_s() * 1000
        said = request.session.pop("said", "") if request.method == "GET" and not context.pop("keep_said", False) else ""
        text = self._jinja.get_template(name).render(
            {
                "t": words(language),
                "lang": language,
                "csrf": guard.csrf_of(request.session),
                "vehicle": plan.schedule.vehicle.name if plan else "panelward",
                "said": said,
                "at": lambda ms: clock(ms, seen_ms, zone, language),
                "week_at": lambda ms: week_clock(ms, zone, language),
                "day_at": lambda ms: day_clock(ms, zone, language),
                "listed": lambda ids: listed(tuple(ids), words(language)),
                "fitter_name": fitter.name if fitter else "",
                "fitter_phone": fitter.phone if fitter else "",
                "fitter_tel": tel(fitter.phone) if fitter else "",
                "spans": lambda life: spans(seen_ms, zone, life=life, language=language),
                "login_needed": self.login_needed,
                "look_lasting": lambda seconds: span_text(seconds, words(language)),
                **context,
            }
        )
        return HTMLResponse(text, status)

    def said(self, request: Request, title: str, text: str = "", *, status: int = 200) -> Response:
        """A page of one sentence."""
        return self.page(request, "said.html", title=title, text=text, status=status)

    def words(self, request: Request) -> Words:
        return words(self.language(request))

    def t(self, request: Request, key: str, **values: Any) -> str:
        return words(self.language(request))(key, **values)

    def who(self, request: Request) -> str:
        return request.session.get("who") or self.t(request, "answer.somebody")

    # Changes.

    async def ask(self, request: Request, kind: str, body: dict[str, Any]) -> tuple[bool, str]:
        """Put a request for this person: (done, what to say)."""
        plan = await self.plan()
        if plan is None:
            return False, self.t(request, "answer.unreachable", why=self.plans.fault)
        try:
            answer = await self.asks.ask(plan.schedule, kind, body | {"who": self.who(request)})
        except EnvironmentFault as fault:
            return False, self.t(request, "answer.unreachable", why=str(fault).rstrip("."))
        if not answer.get("done"):
            return False, self.t(request, "answer.refused", why=answer.get("why", ""))
        return True, str(answer.get("state") or "")


def blind_of(plan: Plan | None) -> tuple[str, ...]:
    """Ways whose lost feed can't be found, though it must never be lost."""
    if plan is None:
        return ()
    always_on = {c.id for c in plan.schedule.circuits if c.feed == "always-on"}
    return tuple(
        dict.fromkeys(
            s.circuit
            for s in plan.sights
            if s.circuit in always_on and s.can == "no" and s.what in ("lost feed", "every fault")
        )
    )


def tel(phone: str) -> str:
    return "".join(c for c in phone if c.isdigit() or c == "+")


def listed(ids: tuple[str, ...], t: Callable[..., str]) -> str:
    """Way 7; Ways 7, 9 and 11; a long list is cut."""
    if len(ids) == 1:
        return t("first.way_one", ways=ids[0])
    shown = ids if len(ids) <= 12 else (*ids[:11], f"{len(ids) - 11} …")
    return t("first.way_many", ways=", ".join(shown[:-1]), last=shown[-1])


def told(request: Request, text: str, back: str) -> Response:
    """Say it on the page that comes next."""
    request.session["said"] = text[:400]
    return RedirectResponse(back, 303)


async def allowed(request: Request, *, then: str, free: bool = False) -> tuple[dict[str, str], Response | None]:
    """The fields of a form of this page; else the answer instead. `free`: it needs no login."""
    door: Door = request.app.state.door
    try:
        fields = await guard.form(request)
    except BadInput as error:
        return {}, PlainTextResponse(str(error), 400)
    if not guard.csrf_good(request.session, fields.get("csrf", "")):
        return {}, door.said(request, door.t(request, "answer.forged"), status=403)
    if not free and not door.may_change(request):
        return {}, RedirectResponse(f"/login?then={quote(then, safe='')}", 303)
    return fields, None
