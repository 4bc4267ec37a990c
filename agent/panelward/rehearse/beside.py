"""Cores side by side over one stream of readings, and how what they tell differs. Of bounded size however long the file."""

from __future__ import annotations

import json
from collections import Counter, deque
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field

from panelward.core import Core
from panelward.records import Reading, Record, Schedule, Settings, Transition
from panelward.wording import alarm_object, body
from panelward.wording.beside import known

WITHIN_MS = 12 * 3600_000  # two messages alike so near together are the same one, told earlier or later (no source)
MOST = 500  # messages that are kept one by one, of each sort


class Run:
    """One core on its way through the readings."""

    def __init__(self, schedule: Schedule, record: Record | None = None) -> None:
        self.schedule, self._record = schedule, record
        self._known = frozenset([c.id for c in schedule.circuits] + [p.id for p in schedule.probes])
        self._core = Core()
        self._begun = False

    def feed(self, reading: Reading) -> list[Transition]:
        """What comes of one reading; of a circuit that this schedule does not have, nothing."""
        if reading.circuit not in self._known:
            return []
        if not self._begun:
            self._begun = True
            begin = Settings(received_ms=reading.received_ms, schedule=self.schedule, started=True, record=self._record)
            first = self._core.feed(begin)
            return [x for x in (*first, *self._core.feed(reading)) if isinstance(x, Transition)]
        out = self._core.feed(reading)
        return [x for x in out if isinstance(x, Transition)] if out else []

    def advance(self, until_ms: int) -> list[Transition]:
        """What falls due until then without another reading."""
        return [x for x in self._core.advance(until_ms) if isinstance(x, Transition)] if self._begun else []

    def message(self, t: Transition, number: int) -> Message:
        """What a phone would have had of it, as the `number`-th."""
        found = alarm_object(t, self.schedule)
        phone = body(found, number, fitter=self.schedule.vehicle.fitter, known=known(self._core, t))
        return Message(
            t.at_ms,
            t.since_ms,
            t.id,
            t.kind,
            t.group,
            t.subject,
            t.subject_id,
            t.event,
            t.priority,
            str(found["message"]),
            phone,
        )

    def branch(self) -> Run:
        """Another core that knows all that this one knows, and goes its own way from here (a law of the core)."""
        other = Run(self.schedule, self._record)
        if self._begun:
            other._begun = True
            state = json.loads(json.dumps(self._core.save()))
            other._core.restore(state, self.schedule, silence_from_start=False, record=self._record)
        return other


@dataclass(frozen=True, slots=True)
class Message:
    """One message as a phone would have had it."""

    at_ms: int
    since_ms: int
    id: str
    kind: str
    group: str
    subject: str
    subject_id: str
    event: str
    priority: str
    text: str
    phone: str = ""  # all that the notification shows under its title

    @property
    def key(self) -> tuple[str, str, str, str, str]:
        return self.subject, self.subject_id, self.group, self.kind, self.event


@dataclass(slots=True)
class Tally:
    """What one side told."""

    messages: int = 0
    priorities: Counter[str] = field(default_factory=Counter)
    kinds: Counter[str] = field(default_factory=Counter)
    openings: list[tuple[str, int]] = field(default_factory=list)  # (circuit, since) of devices that opened
    opened: Counter[str] = field(default_factory=Counter)
    by_subject: dict[str, Counter[tuple[str, str]]] = field(default_factory=dict)  # subject: (priority, kind)

    def count(self, message: Message) -> None:
        self.messages += 1
        self.priorities[message.priority] += 1
        self.kinds[message.kind] += 1
        self.by_subject.setdefault(message.subject_id, Counter())[message.priority, message.kind] += 1

    def leave_out(self, subject_id: str) -> None:
        """As if nothing had been told of it."""
        self.opened.pop(subject_id, None)
        for (priority, kind), count in self.by_subject.pop(subject_id, Counter()).items():
            self.messages -= count
            self.priorities[priority] -= count
            self.kinds[kind] -= count


class Compared:
    """What two sides tell: alike, at another time, in other words, or on one side only."""

    def __init__(self, refitted: Collection[str] = ()) -> None:
        """`refitted`: circuits with another device on the second side. What flowed past the one that is there proves nothing of
        the other: whether that is the listed one is not told of it.
        """
        self._refitted = refitted
        self.untold: tuple[str, ...] = ()
        self.before, self.after = Tally(), Tally()
        self.alike: Counter[str] = Counter()  # by subject
        self.otherwise: list[tuple[Message, Message]] = []  # as it is, as varied
        self.only_before: list[Message] = []
        self.only_after: list[Message] = []
        self.more = Counter[str]()  # beyond what is kept
        self.readings = 0
        self._unlike: set[str] = set()  # subjects of any transition on one side only, also of those nobody is told of
        self._waiting: tuple[dict[tuple[str, ...], deque[Message]], dict[tuple[str, ...], deque[Message]]] = ({}, {})

    @property
    def identical(self) -> bool | None:
        """Is every transition the same, also those nobody is told of? None: something, or all, was not compared."""
        return None if self.untold or not self.readings else not self._unlike

    @property
    def identical_as_far(self) -> bool:
        """… of all that was compared."""
        return self.readings > 0 and self._unlike <= set(self.untold)

    @property
    def same(self) -> int:
        """Messages that both tell at the same time in the same words."""
        return sum(self.alike.values())

    def take(self, before: list[Transition], after: list[Transition], runs: tuple[Run, Run]) -> None:
        """What came of one reading on both sides."""
        if not before and not after:
            return
        if before != after:
            apart = [t for t in before if t not in after] + [t for t in after if t not in before]
            self._unlike |= {t.subject_id for t in apart or before}
        for side, (found, run, tally) in enumerate(zip((before, after), runs, (self.before, self.after), strict=True)):
            for t in found:
                if side == 1 and t.group == "device" and t.subject_id in self._refitted:
                    continue
                if t.kind == "protection-opened" and t.event in ("begins", "begins-again", "changes") and t.was != t.kind:
                    tally.opened[t.subject_id] += 1
                    if len(tally.openings) < MOST:
                        tally.openings.append((t.subject_id, t.since_ms))
                if t.told and t.priority != "journal":
                    self._message(side, run.message(t, tally.messages + 1), tally)

    def end(self, untold: Sequence[str] = ()) -> None:
        """No more readings: what waits has no counterpart. `untold`: of these nothing is said on the second side, as what would
        have flowed there was never read.
        """
        for side in (0, 1):
            left = sorted((m for waiting in self._waiting[side].values() for m in waiting), key=lambda m: m.at_ms)
            for message in left:
                self._alone(side, message)
            self._waiting[side].clear()
        self.untold = tuple(untold)
        for way in self.untold:
            self.after.leave_out(way)
            self.alike.pop(way, None)
            self.only_before = [m for m in self.only_before if m.subject_id != way]
            self.only_after = [m for m in self.only_after if m.subject_id != way]
            self.otherwise = [pair for pair in self.otherwise if pair[0].subject_id != way]
        self.only_before.sort(key=lambda m: m.at_ms)
        self.only_after.sort(key=lambda m: m.at_ms)

    def _message(self, side: int, message: Message, tally: Tally) -> None:
        tally.count(message)
        others = self._waiting[1 - side].get(message.key)
        while others:
            other = others.popleft()
            if message.at_ms - other.at_ms <= WITHIN_MS:
                self._pair(*((message, other) if side == 0 else (other, message)))
                return
            self._alone(1 - side, other)
        mine = self._waiting[side].setdefault(message.key, deque())
        while mine and message.at_ms - mine[0].at_ms > WITHIN_MS:
            self._alone(side, mine.popleft())
        mine.append(message)

    def _pair(self, before: Message, after: Message) -> None:
        if (before.at_ms, before.text) == (after.at_ms, after.text):
            self.alike[before.subject_id] += 1
        elif len(self.otherwise) < MOST:
            self.otherwise.append((before, after))
        else:
            self.more["otherwise"] += 1

    def _alone(self, side: int, message: Message) -> None:
        kept, name = (self.only_before, "only before") if side == 0 else (self.only_after, "only after")
        if len(kept) < MOST:
            kept.append(message)
        else:
            self.more[name] += 1


def side_by_side(
    compared: Compared, runs: tuple[Run, Run], pairs: Iterable[tuple[Reading, Reading]], until_ms: int | None = None
) -> None:  # fmt: skip
    """Both through their readings, in step. Errors of the readings' source pass through."""
    before, after = runs
    for reading, other in pairs:
        compared.readings += 1
        compared.take(before.feed(reading), after.feed(other), runs)
    if until_ms is not None:
        compared.take(before.advance(until_ms), after.advance(until_ms), runs)
