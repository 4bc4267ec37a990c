"""Several messages to one address in one: what matters most leads, the others stand below it in a line each."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

from panelward.records import Fitter
from panelward.wording import english, say

__all__ = ["Piece", "dated", "ring", "together"]

LINES = 8  # a phone shows about so many without a turn of the thumb (our own choice)


class Piece(NamedTuple):
    """One message that waited."""

    alarm_id: str
    sentence: str
    rank: int  # its place among the others: the least leads
    created_s: float


def ring(lines: Sequence[str], fitter: Fitter | None) -> list[str]:
    """The fitter's number, where it is known and the lines ask for it."""
    if fitter is None or not any(english.FITTER in line for line in lines):
        return []
    return [english.RING[fitter.name is not None].format(name=fitter.name, phone=fitter.phone)]


def dated(sentence: str, created_s: float, now_s: float, zone: str) -> str:
    """A sentence that can't be said anew, read on another day than it was written: with the day of its time."""
    made, now = (datetime.fromtimestamp(at_s, UTC).astimezone(ZoneInfo(zone)) for at_s in (created_s, now_s))
    found = re.search(r"\b(\d\d):(\d\d)\b", sentence)
    if made.date() == now.date() or found is None or any(re.search(rf"\b{day}\b", sentence) for day in english.WEEKDAYS):
        return sentence
    before = (int(found[1]), int(found[2])) > (made.hour, made.minute)  # of the evening before: a time is no older than a day
    day = english.WEEKDAYS[(made.weekday() - before) % 7]
    text = f"{sentence[: found.start()]}{day} {sentence[found.start() :]}"
    return text if len(text) <= say.LONGEST else sentence


def together(
    pieces: Sequence[Piece], how: str, number: int, zone: str, now_s: float, *, fitter: Fitter | None = None
) -> str:  # fmt: skip
    """The text of them all: of each alarm its newest message only. `how`: why they waited: network, sleep or sheet."""
    newest = {piece.alarm_id: piece for piece in pieces}
    ranked = sorted(newest.values(), key=lambda piece: (piece.rank, -piece.created_s))
    lead, others = ranked[0], ranked[1 : LINES + 1]
    first_ms, now_ms = round(min(piece.created_s for piece in pieces) * 1000), round(now_s * 1000)
    since, until = say.clock(first_ms, now_ms, zone), say.clock(now_ms, now_ms, zone)
    lines = [lead.sentence]
    if others:
        lines.append(english.WAITED[how].format(since=since, until=until, day=say.day_clock(now_ms, zone)[:3]))
        lines += [f"- {piece.sentence}" for piece in others]
    more = len(ranked) - 1 - len(others)
    if more:
        lines.append(english.MORE.format(count=more))
    lines += ring(lines, fitter)
    lines += [english.MESSAGE_NUMBER.format(number=number), english.CAUTION]
    return "\n".join(lines)
