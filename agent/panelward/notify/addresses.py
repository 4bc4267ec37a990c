"""Addresses are secrets: read here, named by reference, shown only masked."""

from __future__ import annotations

import re
from urllib.parse import unquote

# Schemes whose host is a machine and no token: HTTP posts, mail, MQTT, syslog. With any other scheme the first part
# may be a key, so it is shown only where it can be nothing but a machine's name or number.
_HOSTED = frozenset(
    ("json", "jsons", "form", "forms", "xml", "xmls", "http", "https", "mailto", "mailtos", "mqtt", "mqtts", "syslog",
     "rsyslog", "dbus")
)  # fmt: skip
_MACHINE = re.compile(r"localhost|\d{1,3}(\.\d{1,3}){3}|\[[0-9a-fA-F:.]+\]|[a-z0-9-]{1,63}(\.[a-z0-9-]{1,63})*\.[a-z]{2,24}")
_SPLIT = re.compile(r"[/:@?&=#,;+%\s]+")
_SHORTEST_SECRET = 3  # a shorter piece would mask half of every sentence


def addresses_from(value: str) -> dict[str, str]:
    """The addresses of PANELWARD_NOTIFY, split at spaces, as {reference: address}: notify-1, notify-2, …

    An address given twice counts once, under its first place.
    """
    return {f"notify-{place}": url for place, url in enumerate(dict.fromkeys(value.split()), start=1)}


def masked(url: str) -> str:
    """Scheme and host only, as far as they can't be a secret: enough to tell one address from another."""
    scheme, colon, rest = url.partition("://")
    if not colon or not re.fullmatch(r"[A-Za-z][A-Za-z0-9+.-]*", scheme):
        return "…"
    host = _host(rest)
    if host and (scheme.lower() in _HOSTED or _MACHINE.fullmatch(host)):
        return f"{scheme}://{host}/…"
    return f"{scheme}://…"


def without_secrets(text: str, url: str) -> str:
    """`text` with every piece of the address masked that `masked` doesn't show."""
    scheme, _colon, rest = url.partition("://") if "://" in url else ("", "", url)
    shown = set(_SPLIT.split(masked(url)))
    pieces = {piece for each in (rest, unquote(rest)) for piece in _SPLIT.split(each)}
    secrets = {url, unquote(url), rest} | {p for p in pieces if len(p) >= _SHORTEST_SECRET and p not in shown}
    for secret in sorted(secrets - {"", scheme}, key=len, reverse=True):
        text = text.replace(secret, "…")
    return text


def _host(rest: str) -> str:
    """The host of what follows `://`, without user, password and port."""
    place = re.split(r"[/?#]", rest, maxsplit=1)[0].rpartition("@")[2]
    if place.startswith("["):
        return place.partition("]")[0] + "]"
    return place.partition(":")[0]
