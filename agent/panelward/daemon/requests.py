"""Requests over MQTT: a payload becomes a Request record, an Answer becomes a payload."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from panelward.errors import PayloadRefused
from panelward.records import PRIORITIES, Answer, Request

KINDS = (
    "acknowledge",
    "shelve",
    "unshelve",
    "out-of-service",
    "in-service",
    "reload",
    "drill",
    "working",
    "presence",
    "replaced",
    "timezone",
    "note",
)
# What these change is journalled with who asked; the others are refused where nobody is named.
BY_ANYBODY = ("acknowledge", "shelve", "unshelve", "out-of-service", "in-service", "reload", "presence")
UNNAMED = "somebody unnamed"
LONGEST = 64 * 1024
TEXT_MOST = 500


def read(kind: str, raw: bytes, received_ms: int) -> Request:
    """A Request from its topic's last level and its payload; PayloadRefused names what is wrong."""
    if kind not in KINDS:
        raise PayloadRefused("unknown-request", f"'{kind[:40]}' is none of {', '.join(KINDS)}")
    if len(raw) > LONGEST:
        raise PayloadRefused("too-large", f"a request of {len(raw)} bytes")
    try:
        body = json.loads(raw or b"{}")
    except (ValueError, RecursionError):
        raise PayloadRefused("not-json", f"a request that is not JSON: {raw[:60]!r}") from None
    if not isinstance(body, dict):
        raise PayloadRefused("not-json", "a request must be a JSON object")
    for_s = body.get("for_s")
    if for_s is not None and (isinstance(for_s, bool) or not isinstance(for_s, (int, float)) or not 0 < for_s < 1e9):
        raise PayloadRefused("bad-field", f"for_s must be seconds above 0, not {str(for_s)[:40]!r}")
    priority = _text(body, "priority") or None
    if priority is not None and priority not in PRIORITIES[1:]:
        raise PayloadRefused("bad-field", f"priority must be low, medium or high, not {priority[:40]!r}")
    done = body.get("done", False)
    if not isinstance(done, bool):
        raise PayloadRefused("bad-field", f"done must be true or false, not {str(done)[:40]!r}")
    who = _text(body, "who")
    if not who.strip() and kind in BY_ANYBODY:
        who = UNNAMED
    return Request(
        kind=kind,
        received_ms=received_ms,
        id=_text(body, "id"),
        alarm=_text(body, "alarm") or None,
        circuit=_text(body, "circuit") or None,
        who=who,
        for_s=for_s,
        why=_text(body, "why"),
        priority=priority,
        done=done,
        presence=_text(body, "presence") or None,
        what=_text(body, "what"),
        timezone=_text(body, "timezone") or None,
        reply_to=_text(body, "reply_to") or None,
    )


def _text(body: dict[str, Any], key: str) -> str:
    value = body.get(key, "")
    if not isinstance(value, str) or len(value) > TEXT_MOST:
        raise PayloadRefused("bad-field", f"{key} must be a text of at most {TEXT_MOST} characters")
    return value.encode("utf-8", "replace").decode()  # JSON can hold half an emoji, and nothing else can


def answer(given: Answer) -> bytes:
    """The payload that answers a request."""
    body: dict[str, Any] = {"id": given.id, "done": given.done, "why": given.why, "state": given.state}
    body |= {name: list(lines) for name, lines in (("changed", given.changed), ("found", given.found)) if lines}
    return payload(body)


def payload(found: Mapping[str, Any]) -> bytes:
    """JSON in UTF-8, whatever texts an older journal holds."""
    return json.dumps(found, ensure_ascii=False).encode("utf-8", "replace")
