"""The login: needed for changes where the page can be reached from other computers."""

from __future__ import annotations

import asyncio
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from panelward.door import guard
from panelward.door.state import Door, allowed, told


async def show_login(request: Request) -> Response:
    door: Door = request.app.state.door
    await door.plan()
    return door.page(request, "login.html", then=_inside(request.query_params.get("then", "/")), off=door.password is None)


def _inside(path: str) -> str:
    """Only a path of this page is gone to."""
    return path if path.startswith("/") and not path.startswith("//") and "\\" not in path and path.isprintable() else "/"


async def log_in(request: Request) -> Response:
    door: Door = request.app.state.door
    client = request.client.host if request.client else "?"
    fields, refusal = await allowed(request, then="/", free=True)
    if refusal is not None:
        return refusal
    then = _inside(fields.get("then", "/"))
    if door.password is None:
        return door.said(request, door.t(request, "login.off"), status=403)
    if not (door.logins.take(client) and door.all_logins.take("all")):
        return door.said(request, door.t(request, "login.slow"), status=429)
    if not await asyncio.to_thread(guard.is_password, door.password, fields.get("password", "")):
        return told(request, door.t(request, "login.wrong"), f"/login?then={quote(then, safe='')}")
    kept = {name: request.session[name] for name in ("who", "lang") if name in request.session}
    request.session.clear()  # a token of before the login is of no use after it
    request.session.update(kept | {"in": door._in()})
    return RedirectResponse(then, 303)


async def log_out(request: Request) -> Response:
    _, refusal = await allowed(request, then="/")
    if refusal is not None:
        return refusal
    request.session.clear()
    return RedirectResponse("/", 303)
