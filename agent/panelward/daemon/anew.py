"""What waits, seen anew: other people, other hours, somebody came aboard, the clock was set. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime

from panelward.journal import Hour, OutboxRow
from panelward.notify import whom
from panelward.records.people import People

BEFORE = " (before)"  # behind the name of an address that is no more, where another has its name now


def moved(old: Mapping[str, str], new: Mapping[str, str]) -> dict[str, str]:
    """{reference: the new one of the same address}. What was an address's stays with it, under whatever name."""
    name = {address: ref for ref, address in reversed(list(new.items()))}
    moves = {ref: name[address] for ref, address in old.items() if address in name and new.get(ref) != address}
    taken = [ref for ref, address in old.items() if address not in name and ref in moves.values()]
    return moves | {ref: ref + BEFORE for ref in taken}


def hours(
    rows: Iterable[OutboxRow], people: People, local: datetime, now_s: float, rate: float, *, aboard: bool | None, laid_up: bool
) -> list[Hour]:  # fmt: skip
    """What waits for the morning or an evening sheet, at the hour that it would be given now."""
    found = []
    for row in rows:
        person = people.by_ref(row.address_ref)
        if row.status != "waiting" or row.attempts or row.due_real_s <= now_s or not _calm(row) or row.until_answered:
            continue
        if person is None or person.at_once:
            continue
        rest = row.on_sheet and row.step != "begun"  # of a thread that has said enough, or is over
        priority = "low" if rest else "medium" if row.priority == "high" else row.priority
        wait_s, sheet = whom.waits(person, priority, people, local, aboard=aboard, laid_up=laid_up)
        due_s = now_s + wait_s / rate
        if abs(due_s - row.due_real_s) > 1.0 or sheet != row.on_sheet:
            found.append(Hour(row.id, due_s, sheet))
    return found


def left(rows: Iterable[OutboxRow], addresses: Mapping[str, str]) -> list[OutboxRow]:
    """Of each alarm the newest message that waits for an address that is no more."""
    found = {row.alarm_id: row for row in rows if row.status == "waiting" and not row.until_answered}
    return [row for row in found.values() if row.address_ref not in addresses]


def asleep(rows: Iterable[OutboxRow], people: People, local: datetime, now_s: float, rate: float) -> list[Hour]:
    """Of what is due, what has to wait because its person sleeps now: a network may come back at any hour."""
    found = []
    for row in rows:
        person = people.by_ref(row.address_ref)
        wait_s = whom.sleeps_s(person, local) if person is not None and _calm(row) else 0.0
        if wait_s > 0.0:
            found.append(Hour(row.id, now_s + wait_s / rate, row.on_sheet))
    return found


def _calm(row: OutboxRow) -> bool:
    """Whether it wakes nobody: rank 0 is life, a hot cable, a test message that somebody asked for."""
    return row.rank > 0 and not row.step.startswith("again") and (row.step == "over" or row.priority != "high")
