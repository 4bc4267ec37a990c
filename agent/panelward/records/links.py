"""The link in a message that answers just its alarm, once, for a day. Pure: the key and the time come from outside.

    make(key, alarm_id, sequence, expires_s) -> token      read(key, token, now_s) -> (alarm_id, sequence)
    spent(transitions, sequence) -> why it may not be used any more, or None

Whoever has the token may answer that one alarm. It says nothing of the vehicle that the message does not say, and can't be
made without the vehicle's key: HMAC-SHA256 (RFC 2104), cut to 128 bits (RFC 2104, 5: half of the hash at the least).
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import struct
from collections.abc import Mapping, Sequence
from typing import Any

from panelward.errors import RequestRefused

LASTS_S = 86_400.0  # of real time
KEY_BYTES = 32
LONGEST = 1000  # characters of a token: an alarm's id is far shorter
CLOCKS_APART_S = 300.0  # of who made it and who reads it, at most (our own choice)

MALFORMED = "This is no link of a message, or a part of it is missing."
FOREIGN = "This link is not of this vehicle, or it was changed."
EXPIRED = "This link has expired: it holds for a day. Open the page itself."
NO_CLOCK = "The clock here is not set, so nobody can tell whether this link still holds. Open the page itself."
ANSWERED = "This alarm was answered already."
CHANGED = "This alarm has changed since that message: a newer one says what is the case."
OVER = "This alarm is over."
UNKNOWN = "Nothing is known of this alarm any more."

_MAC_BYTES = 16
_HEAD = struct.Struct(">II")  # expiry, Unix seconds; sequence
_ANSWERS = ("acknowledge", "shelve", "out-of-service", "reset")
_ANEW = ("begins", "begins-again", "re-alarm")
_MEANT = ("kind", "cause", "priority")  # a change of these is another message


def make(key: bytes, alarm_id: str, sequence: int, expires_s: float) -> str:
    """A token of letters, digits, - and _ for this alarm as it was at `sequence`."""
    if len(key) != KEY_BYTES:
        raise ValueError(f"a key has {KEY_BYTES} bytes, not {len(key)}")
    body = _HEAD.pack(min(max(0, round(expires_s)), 0xFFFFFFFF), sequence) + alarm_id.encode("utf-8")
    return base64.urlsafe_b64encode(_mac(key, body) + body).rstrip(b"=").decode("ascii")


def read(key: bytes, token: str, now_s: float) -> tuple[str, int]:
    """(alarm id, sequence) of a token that holds now. Raises RequestRefused with the reason for a person."""
    if len(token) > LONGEST or not token.isascii():
        raise RequestRefused(MALFORMED)
    try:
        raw = base64.b64decode(token + "=" * (-len(token) % 4), altchars=b"-_", validate=True)
    except (binascii.Error, ValueError):
        raise RequestRefused(MALFORMED) from None
    mac, body = raw[:_MAC_BYTES], raw[_MAC_BYTES:]
    if len(body) <= _HEAD.size:
        raise RequestRefused(MALFORMED)
    if len(key) != KEY_BYTES or not hmac.compare_digest(mac, _mac(key, body)):
        raise RequestRefused(FOREIGN)
    expires_s, sequence = _HEAD.unpack_from(body)
    if now_s >= expires_s:
        raise RequestRefused(EXPIRED)
    if expires_s - now_s > LASTS_S + CLOCKS_APART_S:  # the clock here is behind: it would hold for longer than a day
        raise RequestRefused(NO_CLOCK)
    return body[_HEAD.size :].decode("utf-8"), sequence


def spent(transitions: Sequence[Mapping[str, Any]], sequence: int) -> str | None:
    """Why a link of `sequence` may not be used any more, by its alarm's transitions (objects, any order); None: it may."""
    of_then = next((t for t in transitions if t["sequence"] == sequence), None)
    if of_then is None:
        return UNKNOWN
    since = sorted((t for t in transitions if t["sequence"] >= sequence), key=lambda t: int(t["sequence"]))
    if any(t.get("event") in _ANSWERS for t in since):
        return ANSWERED
    if since[-1].get("state") == "normal":
        return OVER
    if any(t.get("event") in _ANEW or any(t.get(key) != of_then.get(key) for key in _MEANT) for t in since[1:]):
        return CHANGED
    return None


def _mac(key: bytes, body: bytes) -> bytes:
    return hmac.new(key, b"panelward answer\0" + body, hashlib.sha256).digest()[:_MAC_BYTES]
