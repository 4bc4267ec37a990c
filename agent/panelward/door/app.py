"""Which address shows what.

GET  /  /way/ID  /results  /alarm/ID  /alarms  /messages  /behind  /unseen  /login
POST /alarm/ID/{seen,meant,back}  /note  /working  /presence  /who  /language  /login  /logout
GET  /live      what changed, as server-sent events
     /commission…: see `commissioning`
"""

from __future__ import annotations

import contextlib
import hashlib
import secrets
import socket
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Any
from urllib.parse import urlsplit

from starlette.applications import Starlette
from starlette.middleware.sessions import SessionMiddleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import Receive, Scope, Send

from panelward.door import commissioning, guard
from panelward.door.alarm import answer, show_alarm, show_alarms
from panelward.door.behind import change, keep, show_behind, show_messages, show_unseen
from panelward.door.link import answer_link, show_link
from panelward.door.login import log_in, log_out, show_login
from panelward.door.options import Options
from panelward.door.results import show_results
from panelward.door.screen import live, show_first
from panelward.door.state import Door
from panelward.door.way import show_way
from panelward.door.words import texts
from panelward.errors import PanelwardError

Page = Callable[[Request], Awaitable[Response]]


async def not_found(request: Request, _error: Exception) -> Response:
    door: Door = request.app.state.door
    return door.said(request, door.t(request, "page.not_found"), status=404)


async def too_much(_request: Request, _error: Exception) -> Response:
    return PlainTextResponse("Too much was sent.", 413, {"connection": "close"})


async def went_wrong(request: Request, _error: Exception) -> Response:
    return PlainTextResponse(texts("en")["page.went_wrong"], 500)


class App:
    """The ASGI application, with what ends it."""

    def __init__(self, door: Door, wrapped: Any) -> None:
        self.door, self.live, self._wrapped = door, door.live, wrapped

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        await self._wrapped(scope, receive, send)


def made(options: Options) -> App:
    """Everything joined. Raises what keeps it from starting: a password file, a journal or a schedule that is no such thing."""
    door = Door(options)

    @contextlib.asynccontextmanager
    async def lifespan(_app: Starlette) -> AsyncIterator[None]:
        await door.plan()
        await commissioning.resume(door)
        yield
        await commissioning.put_down(door)
        door.live.end()
        await door.looks.end()
        door.book.close()

    routes: list[Any] = [
        Route("/", show_first),
        Route("/live", live),
        Route("/alarms", show_alarms),
        Route("/alarm/{id:path}", show_alarm, methods=["GET"]),
        Route("/alarm/{id:path}/{what}", answer, methods=["POST"]),
        Route("/a/{token}", show_link, methods=["GET"]),
        Route("/a/{token}/{what}", answer_link, methods=["POST"]),
        Route("/messages", show_messages),
        Route("/behind", show_behind),
        Route("/unseen", show_unseen),
        Route("/way/{id:path}", show_way, methods=["GET"]),
        Route("/results", show_results, methods=["GET"]),
        Route("/login", show_login, methods=["GET"]),
        Route("/login", log_in, methods=["POST"]),
        Route("/logout", log_out, methods=["POST"]),
        *(Route(f"/{name}", _as(change, name), methods=["POST"]) for name in ("note", "working", "presence")),
        *(Route(f"/{name}", _as(keep, name), methods=["POST"]) for name in ("who", "language")),
        *commissioning.ROUTES,
        Mount("/static", StaticFiles(packages=[("panelward.door", "static")])),
    ]
    app = Starlette(
        routes=routes,
        lifespan=lifespan,
        exception_handlers={404: not_found, 405: not_found, guard.TooMuch: too_much, Exception: went_wrong},
    )
    app.state.door = door
    secret = hashlib.sha256(f"session {door.password}".encode()).hexdigest() if door.password else secrets.token_urlsafe(32)
    inner = SessionMiddleware(
        app, secret_key=secret, session_cookie="panelward", max_age=30 * 86_400, same_site="lax", https_only=bool(options.cert)
    )
    guarded = guard.Guard(
        inner,
        hosts=_hosts(options, door),
        rate=guard.Bucket(240, 600, time.monotonic),
        posts=guard.Bucket(30, 60, time.monotonic),
    )
    return App(door, guarded)


def _hosts(options: Options, door: Door) -> frozenset[str]:
    """The names by which it may be asked."""
    names = {"localhost", "127.0.0.1", "::1", options.host, *options.names}
    with contextlib.suppress(PanelwardError):
        names.add(urlsplit(door.plans.read().schedule.vehicle.door_at or "").hostname or "localhost")
    if not options.alone:
        names |= {socket.gethostname(), f"{socket.gethostname()}.local"}
    if options.host in ("0.0.0.0", "::"):
        names.add("*")
    return frozenset(name.lower().strip("[]") for name in names)


def _as(page: Page, what: str) -> Page:
    async def shown(request: Request) -> Response:
        request.path_params["what"] = what
        return await page(request)

    return shown
