"""Who may ask, and how much: hosts, sizes, rates, forged requests, the login, and the headers of every answer.

Reading needs no login: whoever stands before the panel may read it. A change needs one as soon as the page is bound to
more than this computer.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import ipaddress
import os
import secrets
from collections import OrderedDict
from collections.abc import Callable, Mapping
from pathlib import Path
from urllib.parse import parse_qsl

from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from panelward.errors import BadInput, EnvironmentFault

MOST_BODY = 16 * 1024
MOST_FIELDS = 40
MOST_URL = 2048
MOST_HEADERS = 16 * 1024
REMEMBERED = 2000  # clients whose rate is known
PASSWORD_LEAST = 8
# scrypt: OWASP's least for interactive logins (N = 2**15, r = 8, p = 1 with 32 MB), from memory; a small computer's second.
_N, _R, _P = 2**14, 8, 1

HEADERS = {
    "content-security-policy": "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "x-frame-options": "DENY",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
    "cache-control": "no-store",
}


class Bucket:
    """So many at once, then so many a minute, each client by itself; the oldest clients are forgotten."""

    def __init__(self, most: int, per_minute: float, monotonic: Callable[[], float]) -> None:
        self._most, self._per_s, self._monotonic = float(most), per_minute / 60.0, monotonic
        self._of: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def take(self, client: str) -> bool:
        """Whether this one may still; takes one."""
        now_s = self._monotonic()
        left, at_s = self._of.pop(client, (self._most, now_s))
        left = min(self._most, left + (now_s - at_s) * self._per_s)
        may = left >= 1.0
        self._of[client] = (left - 1.0 if may else left, now_s)
        while len(self._of) > REMEMBERED:
            self._of.popitem(last=False)
        return may


class Guard:
    """Around the whole application."""

    def __init__(self, app: ASGIApp, *, hosts: frozenset[str], rate: Bucket, posts: Bucket) -> None:
        self._app, self._hosts, self._rate, self._posts = app, hosts, rate, posts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        refusal = self._refusal(scope)

        async def headed(message: Message) -> None:
            if message["type"] == "http.response.start":
                kept = [
                    (name, value)
                    for name, value in message["headers"]
                    if name.decode() not in HEADERS or name == b"cache-control"
                ]
                known = {name for name, _ in kept}
                if scope["path"].startswith("/static/") and scope.get("query_string") and message["status"] in (200, 304):
                    kept.append((b"cache-control", b"private, max-age=604800, immutable"))  # another version, another address
                    known.add(b"cache-control")
                kept += [(n.encode(), v.encode()) for n, v in HEADERS.items() if n.encode() not in known]
                message = {**message, "headers": kept}
            await send(message)

        if refusal is not None:
            await refusal(scope, receive, headed)
            return
        await self._app(scope, _bounded(receive), headed)

    def _refusal(self, scope: Scope) -> Response | None:
        headers, client = Headers(scope=scope), (scope.get("client") or ("?",))[0]
        if not _host_known(headers.get("host", ""), self._hosts):
            return PlainTextResponse("This address is not one of this page's.", 421)
        if len(scope.get("raw_path") or b"") + len(scope.get("query_string") or b"") > MOST_URL:
            return PlainTextResponse("The address is too long.", 414)
        if sum(len(name) + len(value) for name, value in scope["headers"]) > MOST_HEADERS:
            return PlainTextResponse("The headers are too long.", 431)
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return PlainTextResponse("Only GET, HEAD and POST are known here.", 405, {"allow": "GET, HEAD, POST"})
        if not self._rate.take(client):
            return PlainTextResponse("Too many requests: wait a little.", 429, {"retry-after": "5"})
        if scope["method"] == "POST":
            length = headers.get("content-length", "0")
            if not length.isdigit() or int(length) > MOST_BODY:
                return PlainTextResponse("Too much was sent.", 413)
            if not _own_origin(headers):
                return PlainTextResponse("This was not sent by this page.", 403)
            if not self._posts.take(client):
                return PlainTextResponse("Too many requests: wait a little.", 429, {"retry-after": "10"})
        return None


class TooMuch(Exception):
    """The body is longer than it may be."""


def _bounded(receive: Receive) -> Receive:
    taken = 0

    async def bounded() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > MOST_BODY:
            raise TooMuch
        return message

    return bounded


def _host_known(host: str, names: frozenset[str]) -> bool:
    """A name that is not ours, pointed at us, is how a foreign page reads this one."""
    name = host.rpartition(":")[0] if host.rpartition(":")[2].isdigit() and not host.endswith("]") else host
    name = name.strip("[]").rstrip(".").lower()
    if name in names:
        return True
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return "*" in names  # bound to every address: any of them may be meant


def _own_origin(headers: Headers) -> bool:
    """Sec-Fetch-Site where the browser says it (W3C Fetch Metadata), else Origin against Host."""
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site in ("same-origin", "none")
    origin = headers.get("origin")
    return origin is None or origin.partition("://")[2] == headers.get("host", "")


async def form(request: Request) -> dict[str, str]:
    """The fields of a form, each once. BadInput where it is none."""
    body = await request.body()
    try:
        pairs = parse_qsl(
            body.decode("utf-8"), keep_blank_values=True, max_num_fields=MOST_FIELDS, encoding="utf-8", errors="strict"
        )
    except ValueError:
        raise BadInput("the form could not be read") from None
    return {name: value.replace("\r\n", "\n").strip()[:2000] for name, value in pairs}


def csrf_of(session: dict[str, str]) -> str:
    """The session's token, made where it has none."""
    if "csrf" not in session:
        session["csrf"] = secrets.token_urlsafe(24)
    return session["csrf"]


def csrf_good(session: Mapping[str, str], given: str) -> bool:
    return hmac.compare_digest(session.get("csrf", secrets.token_urlsafe(24)).encode(), given.encode())


# The password: one line in a file that others can't read.


def hashed(password: str) -> str:
    """The line of the password file. BadInput where it is too short."""
    if len(password) < PASSWORD_LEAST:
        raise BadInput(f"a password has at least {PASSWORD_LEAST} characters")
    salt = os.urandom(16)
    key = hashlib.scrypt(password.encode(), salt=salt, n=_N, r=_R, p=_P)
    return "scrypt:" + ":".join(base64.b64encode(each).decode() for each in (salt, key))


def is_password(line: str, password: str) -> bool:
    """Whether this is the password of that line."""
    _, salt, key = line.split(":")
    found = hashlib.scrypt(password.encode(), salt=base64.b64decode(salt), n=_N, r=_R, p=_P)
    return hmac.compare_digest(found, base64.b64decode(key))


def password_line(path: str) -> str:
    """What the file holds. EnvironmentFault or BadInput where it can't be used."""
    try:
        mode = Path(path).stat().st_mode
        line = Path(path).read_text("ascii").strip()
    except (OSError, ValueError) as error:
        raise EnvironmentFault(
            f"{path}: the password file can't be read ({error}). panelward door --set-password makes it."
        ) from None
    if mode & 0o077:
        raise EnvironmentFault(f"{path}: others can read the password file: chmod 600 it.")
    parts = line.split(":")
    if len(parts) != 3 or parts[0] != "scrypt":
        raise BadInput(f"{path}: wanted the line that panelward door --set-password writes")
    return line
