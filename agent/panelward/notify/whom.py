"""Who is told what, when. Pure: a transition, the people, the local time and what they were sent before; errands out.

By the alarm's priority: high sounds at once, twice again with growing gaps while nobody answers, then goes to the next
person; medium comes once, and waits for the morning where somebody sleeps; low stands on the evening sheet. One alarm
is one thread: begun, changed, over, at most three messages; what else changes stands on the sheet. Nothing of this
holds back what life depends on, or a conductor that overheats.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple

from panelward.notify.policy import expires_after_s
from panelward.records.people import People, Person

AGAIN_S = (600.0, 2_400.0)  # after the first message of a high alarm: gaps of 10 and 30 min (our own choice)
OVERTAKEN_S = 60.0
THREAD = 2  # messages of a thread before its last
STEPS = ("begun", "changed", "over", "again-1", "again-2")


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What the addressing of a transition looks at."""

    priority: str
    event: str
    over: bool  # the condition is no more
    circuits: tuple[str, ...]
    urgent: bool  # life depends on it, or a conductor overheats
    worse: bool = False  # another kind, or a higher priority, than before
    wanted: bool = True  # the alarm's own rules would tell it
    everyone: bool = False  # a test message: all addresses are proved, whoever else hears what
    answered: bool = False  # somebody acknowledged, shelved or took it away: nobody else need be asked


class Sent(NamedTuple):
    """A message of this alarm to one address, before."""

    ref: str
    step: str
    status: str
    attempts: int
    waited_s: float


class Errand(NamedTuple):
    """One message to one address. Seconds from now."""

    ref: str
    step: str
    after_s: float
    expires_s: float
    until_answered: bool = False
    on_sheet: bool = False


class Plan(NamedTuple):
    """What is to be sent, and what need not be any more: refs whose waiting messages are overtaken."""

    errands: tuple[Errand, ...]
    overtaken: tuple[str, ...]


def plan(
    told: Told, people: People, local: datetime, sent: Sequence[Sent] = (), *, aboard: bool | None = None, laid_up: bool = False
) -> Plan:
    """The errands of one transition. `local`: now, in the vehicle's zone. `aboard` None: nobody said."""
    errands: list[Errand] = []
    overtaken: list[str] = []
    before: dict[str, list[Sent]] = {}
    for each in sent:
        before.setdefault(each.ref, []).append(each)
    for person in people.persons:
        if not _hears(person, told):
            continue
        for ref in person.refs:
            mine = before.get(ref, [])
            found = _errands(person, ref, told, people, local, mine, aboard=aboard, laid_up=laid_up)
            errands += found
            if any(_stands_still(each, told) or _denies(each, told) for each in mine) and (found or told.over):
                overtaken.append(ref)
    return Plan(tuple(errands), tuple(overtaken))


def _errands(
    person: Person,
    ref: str,
    told: Told,
    people: People,
    local: datetime,
    mine: Sequence[Sent],
    *,
    aboard: bool | None,
    laid_up: bool,
) -> list[Errand]:
    reached = [s for s in mine if s.status in ("handed-over", "trying", "refused") or s.attempts > 0]
    unread = [s for s in mine if _stands_still(s, told)]
    keeps_s = expires_after_s(told.priority)
    if told.over:
        if not mine or not (told.wanted or unread):
            return []
        step, priority = "over", "low" if not told.wanted else "medium" if told.priority == "high" else told.priority
    elif not told.wanted:
        return []
    else:
        step, priority = ("changed" if reached else "begun"), told.priority
    if person.at_once or (told.urgent and not told.over):
        wait_s, sheet = 0.0, False
    else:
        used = len({s.step for s in reached if s.step in ("begun", "changed")})
        much = step == "changed" and used >= THREAD and not told.worse
        wait_s, sheet = waits(person, priority, people, local, much=much, aboard=aboard, laid_up=laid_up)
    alone = aboard is False or laid_up  # nobody there can answer: the next one is not made to wait
    asked_later = priority == "high" and not (told.over or alone or person.at_once or told.everyone)
    late_s = person.after_s if asked_later else 0.0
    errands = [Errand(ref, step, wait_s + late_s, wait_s + late_s + keeps_s, late_s > 0.0, sheet)]
    if told.priority == "high" and not told.over and not sheet and (step == "begun" or told.worse or told.urgent):
        for at, gap_s in enumerate(AGAIN_S, start=1):
            errands.append(Errand(ref, f"again-{at}", late_s + gap_s, late_s + gap_s + keeps_s, True))
    return errands


def waits(
    person: Person, priority: str, people: People, local: datetime, *, much: bool = False, aboard: bool | None, laid_up: bool
) -> tuple[float, bool]:
    """How long what nobody's life depends on waits for its hour, and whether for the evening sheet. `much`: enough was said."""
    away = aboard is False or laid_up
    sheet = priority == "low" or much or (away and priority == "medium")
    day = people.weekly_day if laid_up and priority != "high" else None
    return (_sheet_s(people, local, day) if sheet else 0.0 if priority == "high" else sleeps_s(person, local)), sheet


def _stands_still(sent: Sent, told: Told) -> bool:
    """Does it wait for the morning, the evening or a network? What just goes out is let go."""
    late = sent.waited_s >= OVERTAKEN_S or (sent.attempts > 0 and not told.over)
    return sent.status == "waiting" and sent.step in ("begun", "changed") and late


def _denies(sent: Sent, told: Told) -> bool:
    """That it is over still waits, and it stands again."""
    return sent.status == "waiting" and sent.step == "over" and not told.over


def _hears(person: Person, told: Told) -> bool:
    if told.everyone:
        return True
    about = not person.circuits or not told.circuits or any(c in person.circuits for c in told.circuits)
    return told.priority in person.priorities and about


def sleeps_s(person: Person, local: datetime) -> float:
    """Until this person wakes; 0 while awake."""
    if person.sleeping is None:
        return 0.0
    begins, ends = person.sleeping
    minute = local.hour * 60 + local.minute
    asleep = begins <= minute < ends if begins < ends else minute >= begins or minute < ends
    return _until_s(local, ends) if asleep else 0.0


def _sheet_s(people: People, local: datetime, day: int | None) -> float:
    """Until the next evening sheet; of that day of the week where one is given."""
    return _until_s(local, people.evening_min, day)


def _until_s(local: datetime, minute: int, day: int | None = None) -> float:
    """Until the local clock shows that minute of the day next, through changes of the hour."""
    for ahead in range(9):
        on = local + timedelta(days=ahead)
        at = on.replace(hour=minute // 60 % 24, minute=minute % 60, second=0, microsecond=0, fold=0)
        seconds = at.timestamp() - local.timestamp()
        if seconds > 0 and (day is None or at.weekday() == day):
            return seconds
    raise AssertionError("a week has every day")


def weekly_since(people: People, local: datetime) -> datetime | None:
    """When the last weekly sign was due."""
    if people.weekly_day is None:
        return None
    at = local.replace(hour=people.evening_min // 60, minute=people.evening_min % 60, second=0, microsecond=0, fold=0)
    at -= timedelta(days=(at.weekday() - people.weekly_day) % 7)
    return at if at <= local else at - timedelta(days=7)


def rank(told: Told) -> int:
    """The place of a message among others: life first, then high, medium, low; what is over behind what stands."""
    place = 0 if told.urgent else _PLACES.get(told.priority, 4)
    return place + (10 if told.over else 0)


_PLACES = {"high": 1, "medium": 2, "low": 3}
