"""The alarms of a span, each with its life: out of the journal, or out of the watch run over a file of readings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from panelward.journal import Journal
from panelward.records import PRIORITIES, Schedule, Transition
from panelward.wording import alarm_object

Plain = Mapping[str, Any]


@dataclass(slots=True)
class Alarm:
    """One alarm from its beginning to its end."""

    id: str
    subject: str  # circuit | supply | feeder | monitor | broker | …
    subject_id: str
    group: str
    kind: str
    priority: str  # the highest that it had
    since_ms: int  # as measured
    began_ms: int  # when it was found
    ended_ms: int | None = None  # the condition's end, the last one
    over_ms: int | None = None  # nothing stands any more
    cause: str | None = None
    confidence: float | None = None
    circuits: tuple[str, ...] = ()
    figures: dict[str, Any] = field(default_factory=dict)  # the newest object that tells of the condition
    told_ms: int | None = None
    seen_ms: int | None = None
    answer: str | None = None
    suppressed: bool = True
    episodes: list[tuple[int, int | None]] = field(default_factory=list)  # each time that the condition held
    told_then: list[dict[str, Any]] = field(default_factory=list)  # of each episode, the newest object that tells of it

    @property
    def way(self) -> str | None:
        return self.subject_id if self.subject == "circuit" else None

    def figures_of(self, number: int) -> dict[str, Any]:
        """Of one of its episodes: never another's."""
        return self.told_then[number] if number < len(self.told_then) else self.figures


def _ms(seconds: float) -> int:
    return round(seconds * 1000)


def alarms_of(objects: Iterable[Plain]) -> list[Alarm]:
    """From alarm objects in the order in which they came; tests of the messages are none."""
    found: dict[str, Alarm] = {}
    for each in objects:
        if each["kind"] == "drill":
            continue
        at_ms, since_ms = _ms(each["time"]), _ms(each["since"])
        alarm = found.get(each["id"])
        if alarm is None:
            (subject, subject_id), *_ = each["subject"].items()
            alarm = found[each["id"]] = Alarm(
                id=each["id"], subject=subject, subject_id=subject_id, group=each["group"], kind=each["kind"],
                priority=each["priority"], since_ms=since_ms, began_ms=at_ms,
            )  # fmt: skip
        alarm.priority = max(alarm.priority, each["priority"], key=PRIORITIES.index)
        event = each.get("event")
        if event in ("begins", "changes", "begins-again") or not alarm.figures:
            if each["cause"] is not None or alarm.cause is None:
                alarm.cause, alarm.confidence = each["cause"], each["confidence"]
            alarm.kind, alarm.figures = each["kind"], dict(each)
            alarm.circuits = tuple(each["circuits"])
        if event in ("begins", "begins-again"):
            last = alarm.episodes[-1] if alarm.episodes else None
            if last is None or (last[1] is not None and since_ms > last[1]):
                alarm.episodes.append((since_ms, None))
                alarm.told_then.append(dict(each))
            else:  # found again from before its end: it had not ended
                alarm.episodes[-1] = last[0], None
        if event in ("changes", "begins-again") and alarm.told_then:
            alarm.told_then[-1] = dict(each)
        if event == "ends":
            alarm.ended_ms = at_ms
            off_s = each.get("off_for_s")
            end_ms = since_ms + _ms(off_s) if isinstance(off_s, int | float) else at_ms
            if alarm.episodes and alarm.episodes[-1][1] is None:
                alarm.episodes[-1] = alarm.episodes[-1][0], max(alarm.episodes[-1][0], min(end_ms, at_ms))
        elif event == "begins-again":
            alarm.ended_ms = None
        alarm.over_ms = at_ms if each["state"] == "normal" else None
        who = each.get("who")
        if who and event in ("acknowledge", "shelve", "out-of-service") and alarm.seen_ms is None:
            alarm.seen_ms = at_ms
            why = each.get("why")
            word = {"acknowledge": "acknowledged", "shelve": "shelved"}.get(event, "taken out of service")
            alarm.answer = f"{word} by {who}" + (f": {why}" if why else "")
    return sorted(found.values(), key=lambda a: (a.since_ms, a.id))


def journalled(journal: Journal) -> list[Alarm]:
    """All alarms that a journal keeps, and when their messages were handed over."""
    found = alarms_of(journal.last_transitions(2**62))
    for alarm in found:
        handed = [row for row in journal.outbox_rows(alarm.id) if row.status == "handed-over"]
        alarm.suppressed = not handed
        times = [row.settled_real_s for row in handed if row.settled_real_s is not None]
        if times:
            alarm.told_ms = _ms(min(times))
    return found


def rehearsed(transitions: Iterable[Transition], schedule: Schedule) -> list[Alarm]:
    """What the watch would have said of a file of readings; nobody was told."""
    told: set[str] = set()
    objects = []
    for transition in transitions:
        if transition.told:
            told.add(transition.id)
        objects.append(alarm_object(transition, schedule))
    found = alarms_of(objects)
    for alarm in found:
        alarm.suppressed = alarm.id not in told
    return found


def within(alarms: Sequence[Alarm], from_ms: int, to_ms: int) -> list[Alarm]:
    """Those that stood at some time of a span."""
    return [a for a in alarms if a.since_ms < to_ms and (a.ended_ms is None or a.ended_ms > from_ms)]


def held_ms(alarm: Alarm, from_ms: int, to_ms: int) -> list[tuple[int, int]]:
    """The stretches of a span in which its condition held; what has not ended lasts to the span's end."""
    episodes = alarm.episodes or [(alarm.since_ms, alarm.ended_ms)]
    cut = [(max(begin, from_ms), min(to_ms if end is None else end, to_ms)) for begin, end in episodes]
    return [(begin, end) for begin, end in cut if begin < end]
