"""What held when an alarm began: settings, the clock, what people asked for. For who asks later, and for a warranty call."""

from __future__ import annotations

import json
from typing import Any, NamedTuple

from panelward.journal import corrected
from panelward.journal.past import Past
from panelward.records.inputs import WALL_SET_FROM_MS


class InForce(NamedTuple):
    """At the input with this number. None: no longer kept, or not known."""

    number: int
    settings: dict[str, Any] | None  # as they were spelled: schedule_text, record_text, program, …
    settings_ms: int | None  # since when they held
    program: str | None  # of the run of the program
    clock_set: bool | None  # did the wall clock show a time that can be?
    added_ms: int  # what the times got afterwards, from a clock that was set later


def in_force(journal: Past, alarm_id: str) -> InForce | None:
    """What held when this alarm began; None: the journal has no such alarm."""
    found = journal._ask("SELECT number, at_ms FROM transitions WHERE alarm_id = ? ORDER BY sequence LIMIT 1", (alarm_id,))
    if not found:
        return None
    number, at_ms = (int(each) for each in found[0])
    spans = journal._spans()
    newest = "SELECT body, received_ms FROM inputs WHERE kind = 'settings' AND number <= ? ORDER BY number DESC LIMIT 1"
    rows = journal._ask(newest, (number,))
    settings = json.loads(rows[0][0]) if rows else None
    span = corrected.of_number(spans, number)
    return InForce(
        number=number,
        settings=settings,
        settings_ms=corrected.of_axis(spans, int(rows[0][1])) if rows else None,
        program=(settings or {}).get("program") or None,
        clock_set=_clock_set(journal, number, at_ms),
        added_ms=span.add_ms if span is not None else 0,
    )


def _clock_set(journal: Past, number: int, at_ms: int) -> bool:
    """By the last word on the clock before it."""
    asked = "SELECT body FROM inputs WHERE kind = 'clock' AND number <= ? ORDER BY number DESC LIMIT 1"
    rows = journal._ask(asked, (number,))
    offset_ms = json.loads(rows[0][0]).get("offset_ms", 0) if rows else 0
    return bool(at_ms + offset_ms >= WALL_SET_FROM_MS)


def asked_between(journal: Past, from_ms: int, to_ms: int) -> list[dict[str, Any]]:
    """Requests, comings and goings, settings and corrections of the clock in that time: `kind`, `at_ms` and what they hold."""
    spans = journal._spans()
    slack_ms = max((abs(span.add_ms) for span in spans), default=0)
    found = journal._ask(
        "SELECT number, kind, received_ms, body FROM inputs WHERE received_ms BETWEEN ? AND ? ORDER BY number",
        (from_ms - slack_ms, to_ms + slack_ms),
    )
    out = []
    for number, kind, received_ms, body in found:
        span = corrected.of_number(spans, number)
        at_ms = received_ms + (span.add_ms if span is not None else 0)
        if from_ms <= at_ms < to_ms:
            out.append({"input": kind, "at_ms": at_ms} | json.loads(body))
    return out
