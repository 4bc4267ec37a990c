"""What a payload is: a number, a state, JSON, a SenML pack, a text, or none of them."""

from __future__ import annotations

from math import isfinite
from typing import Any, NamedTuple

from panelward.errors import PayloadRefused
from panelward.intake.dialects import LARGEST, parse
from panelward.intake.senml import resolve
from panelward.listen.heard import Heard
from panelward.schedule.values import escaped

KINDS = ("number", "state", "json", "senml", "list", "text", "broken", "binary", "large", "empty")
STATES = (b"true", b"false", b"on", b"off")
LONGEST_TEXT = 60
DEEPEST, MOST_LEAVES, MOST_ITEMS = 6, 64, 8
_STEMS = (b"{", b"[")


class Look(NamedTuple):
    """The kind of a payload, and what it holds: a document (json, list), resolved records (senml), a text."""

    kind: str
    value: Any = None


def look(heard: Heard) -> Look:
    """What this message holds."""
    payload = heard.payload
    if heard.cut:
        return Look("large", heard.size)
    stripped = payload.strip()
    if not stripped:
        return Look("empty")
    if stripped.lower() in STATES:
        return Look("state", stripped.decode().lower())
    if stripped[:1] in _STEMS:
        return _structured(heard)
    try:
        value = float(payload)
        if isfinite(value) and abs(value) <= LARGEST and b"_" not in payload:
            return Look("number", value)
    except ValueError:
        pass
    try:
        text = payload.decode("utf-8").strip()
    except UnicodeDecodeError:
        return Look("binary")
    return Look("text", text) if all(c.isprintable() or c in "\t\r\n" for c in text) else Look("binary")


def _structured(heard: Heard) -> Look:
    try:
        document = parse(heard.payload)
    except PayloadRefused as refused:
        return Look("binary" if refused.reason == "not-utf-8" else "broken", refused.detail)
    if isinstance(document, dict):
        return Look("json", document)
    try:
        return Look("senml", resolve(document, heard.received_ms / 1000.0))
    except PayloadRefused as refused:
        return Look("list", refused.detail)


def leaves(document: Any) -> dict[str, Any]:
    """The scalar values of a document by their JSON pointers (RFC 6901), as far as a monitor's message goes."""
    found: dict[str, Any] = {}
    waiting: list[tuple[str, Any, int]] = [("", document, 0)]
    while waiting and len(found) < MOST_LEAVES:
        pointer, value, depth = waiting.pop(0)
        if isinstance(value, dict | list):
            if depth >= DEEPEST:
                continue
            items = value.items() if isinstance(value, dict) else enumerate(value[:MOST_ITEMS])
            for key, inner in list(items)[:MOST_LEAVES]:
                if len(str(key)) <= LONGEST_TEXT:
                    part = str(key).replace("~", "~0").replace("/", "~1")
                    waiting.append((f"{pointer}/{part}", inner, depth + 1))
        elif value is not None and pointer:
            found[pointer] = value
    return found


def shown(heard: Heard, most: int = 40) -> str:
    """A payload for a person: printable, short, and how long it is where it was cut."""
    size = heard.size if heard.cut else len(heard.payload)
    head = heard.payload[: most + 1]
    try:
        text = escaped(head.decode("utf-8"))
    except UnicodeDecodeError:
        if len(heard.payload) > len(head) or heard.cut:  # perhaps cut within one character
            head = head.decode("utf-8", "ignore").encode()[:most] or head
        try:
            text = escaped(head.decode("utf-8"))
        except UnicodeDecodeError:
            text = "".join(chr(b) if 32 <= b < 127 else f"\\x{b:02x}" for b in head)
    if len(text) <= most and size == len(head):
        return text
    return f"{text[: most - 1]}… ({size} bytes)"
