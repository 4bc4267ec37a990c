"""The pure core, part two: the life of an alarm. Everything here needs only edges and time.

Rule 1: whatever can happen to an alarm's state is one row of TABLE. Nothing else may set it.
Rule 2: an event without a row is illegal: it raises, and changes nothing.

The states and their rows are those of IEC 62682 / ISA-18.2 (A to I there); OPC 10000-9 has the same machine. Shelved,
suppressed and out-of-service alarms go on being judged, so they return to what is the case when they are let out:
to suppressed where a parent explains them, to latched where somebody must look at what they left.
Which kinds latch is a column of KINDS.

Whether a person is told is another question, asked when all that is done: `work` (somebody is at that circuit), `flood`
(one summary for many) and `chatter` (one alarm that comes and goes) hold a message back and change no state. Nothing
holds back what life depends on; neither work nor a flood holds back a conductor that overheats.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any

from panelward.alarm.chatter import Chatter
from panelward.alarm.cycle import (
    ACKNOWLEDGED,
    KINDS,
    LATCHED_ACKNOWLEDGED,
    LATCHED_UNACKNOWLEDGED,
    NORMAL,
    OUT_OF_SERVICE,
    RETURNED,
    SHELVE_MOST_LIFE_S,
    SHELVE_MOST_S,
    SHELVED,
    STATES,
    SUPPRESSED,
    TABLE,
    UNACKNOWLEDGED,
    Kind,
    step,
)
from panelward.alarm.flood import Flood
from panelward.alarm.service import Removed, Service
from panelward.alarm.work import Work, Works, fact
from panelward.errors import RequestRefused
from panelward.records import PRIORITIES, Answer, Condition, Facts, Request, Transition

__all__ = ["KINDS", "STATES", "TABLE", "Alarm", "Alarms", "Kind", "Removed", "Work", "step"]


@dataclass(slots=True)
class Alarm:
    """One alarm, from its beginning until it is normal and acknowledged."""

    id: str
    condition: Condition  # the newest
    state: str = NORMAL
    active: bool = False  # the condition is the case
    sequence: int = 0
    since_ms: int = 0
    starts_ms: int | None = None  # on-delay ends
    ends_ms: int | None = None  # off-delay ends
    shelved_until_ms: int | None = None  # or out of service; None there: until somebody says so
    once: bool = False  # shelved for this time that it is the case, or for the next (OPC 10000-9, 5.8.17: one-shot)
    covered: bool = False  # a parent explains it, whatever state a person has put it in
    to_look: bool = False  # it ended and latches: somebody must look at what it left, whatever hid it then
    held: bool = False  # people were not told of it, because somebody works there
    waits_until_ms: int | None = None  # it chatters: what is the case then is told
    unknown: bool = False  # that it began again waits: nobody needs to hear that it ended

    @property
    def key(self) -> tuple[str, str, str]:
        return self.condition.subject, self.condition.subject_id, self.condition.group

    @property
    def stands(self) -> bool:
        """Is it the case, or so lately that it is not over yet?"""
        return self.active or self.ends_ms is not None


@dataclass(slots=True)
class Alarms:
    """All alarms that are not over. Times on the core's own axis; `shift_ms` leads to Unix time."""

    shift_ms: int = 0
    life: frozenset[str] = frozenset()  # circuits that life depends on; only membership is asked
    vehicle: str = "vehicle"  # the subject of what is about all of it
    _flood: Flood = field(default_factory=Flood)
    _chatter: Chatter = field(default_factory=Chatter)
    _works: Works = field(default_factory=Works)
    _service: Service = field(default_factory=Service)
    _by_key: dict[tuple[str, str, str], Alarm] = field(default_factory=dict)
    _named_ms: dict[tuple[str, str, str], int] = field(default_factory=dict)  # of each key's last id; Unix time
    _out: list[Transition] = field(default_factory=list)
    _next_ms: int | None = None
    _stale: bool = False

    def edge(self, condition: Condition) -> None:
        """Take an edge of a condition."""
        self._stale = True
        key = condition.subject, condition.subject_id, condition.group
        alarm = self._by_key.get(key)
        kind = KINDS[condition.kind]
        if condition.edge in ("begins", "changes"):
            if alarm is None:
                alarm = self._by_key[key] = Alarm(id=self._id(condition), condition=condition)
            elif alarm.active:
                self._change(alarm, condition)
                return
            if alarm.ends_ms is not None:  # back within the off-delay: it never was over
                alarm.ends_ms = None
                alarm.active = True
                self._change(alarm, condition)
                return
            again = alarm.state in (RETURNED, LATCHED_UNACKNOWLEDGED, LATCHED_ACKNOWLEDGED)
            alarm.active, alarm.condition, alarm.since_ms = True, condition, condition.since_ms
            if kind.on_delay_s > 0.0 and alarm.state == NORMAL:
                alarm.starts_ms = condition.at_ms + round(kind.on_delay_s * 1000)
                return
            begins = "begins"
            removed_ms = self._service.until_ms(condition.subject, condition.subject_id)
            if removed_ms is not None and (alarm.state, "remove") in TABLE:
                alarm.state, alarm.shelved_until_ms = step(alarm.state, "remove"), removed_ms
            elif removed_ms is not None and (alarm.state, "begins-while-removed") in TABLE:
                begins, alarm.shelved_until_ms = "begins-while-removed", removed_ms
            self._go(alarm, begins, condition.at_ms, "begins-again" if again else "begins")
            self._cap(alarm, condition.at_ms)
        elif alarm is None:
            return
        elif condition.edge in ("ends", "withdrawn"):
            if not alarm.active:
                return
            alarm.active = False
            # What it was stays with it; how it ended is added.
            alarm.condition = _merged(alarm.condition, condition)
            if alarm.starts_ms is not None:
                self._drop(alarm)
            elif condition.edge == "withdrawn":
                self._end(alarm, condition.at_ms, "withdrawn")
            elif kind.off_delay_s > 0.0:
                alarm.ends_ms = condition.at_ms + round(kind.off_delay_s * 1000)
            else:
                self._end(alarm, condition.at_ms)
        elif condition.edge == "suppressed" and alarm.active:
            alarm.covered = True
            if (alarm.state, "suppress") in TABLE:
                self._go(alarm, "suppress", condition.at_ms)
        elif condition.edge == "unsuppressed":
            alarm.covered = False
            if alarm.state == SUPPRESSED:
                self._let_out(alarm, "unsuppress", condition.at_ms)

    def _change(self, alarm: Alarm, condition: Condition) -> None:
        """Kind, cause or priority of a standing alarm changed. Worse while acknowledged: it asks again."""
        old = alarm.condition
        was = old.kind if old.kind != condition.kind else None
        alarm.condition = condition
        same = (old.kind, old.priority, old.cause) == (condition.kind, condition.priority, condition.cause)
        if same and old.circuits == condition.circuits:
            return
        worse = was is not None or PRIORITIES.index(condition.priority) > PRIORITIES.index(old.priority)
        if alarm.starts_ms is not None:
            return
        if condition.since_ms != old.since_ms:
            alarm.since_ms = condition.since_ms
        eased = was is None and not worse and condition.priority != old.priority
        if worse and alarm.state == ACKNOWLEDGED:
            self._go(alarm, "re-alarm", condition.at_ms, "re-alarm", was)
        else:
            self._say(alarm, "eases" if eased else "changes", condition.at_ms, was)
        self._cap(alarm, condition.at_ms)

    def _end(self, alarm: Alarm, at_ms: int, said: str = "ends") -> None:
        alarm.ends_ms, alarm.covered = None, False  # what is over no parent explains
        look = KINDS[alarm.condition.kind].latches or dict(alarm.condition.figures).get("to_look_at") is True
        alarm.to_look = said != "withdrawn" and (look or alarm.to_look)
        latching = alarm.to_look and alarm.state in (UNACKNOWLEDGED, ACKNOWLEDGED)
        self._go(alarm, "ends-latching" if latching else "ends", at_ms, said)
        if alarm.state == SUPPRESSED:
            self._let_out(alarm, "unsuppress", at_ms)
        elif alarm.state == SHELVED and alarm.once:
            self._let_out(alarm, "unshelve", at_ms)
        else:
            self._settle(alarm)

    def _let_out(self, alarm: Alarm, event: str, at_ms: int, said: str = "", **by: str) -> None:
        """Shelf, suppression or time out of service ends: what hides it besides hides it on."""
        if event != "unsuppress":
            alarm.shelved_until_ms, alarm.once = None, False
        removed_ms = self._service.until_ms(alarm.condition.subject, alarm.condition.subject_id)
        if removed_ms is not None and event != "return":
            alarm.shelved_until_ms = removed_ms
            self._go(alarm, f"{event}-while-removed", at_ms, said or event, **by)
        else:
            self._go(alarm, _by_case(event, alarm), at_ms, said or event, **by)
        self._settle(alarm)

    def _go(self, alarm: Alarm, event: str, at_ms: int, said: str = "", was: str | None = None, **by: str) -> None:
        alarm.state = step(alarm.state, event)
        self._say(alarm, said or event, at_ms, was, **by)

    def _say(self, alarm: Alarm, event: str, at_ms: int, was: str | None = None, who: str = "", why: str = "") -> None:
        work = None if alarm.condition.kind in _ITS_OWN else self._works.over(alarm.condition)
        alarm.sequence += 1
        told = self._told(alarm, event, was) and self._by_itself(alarm, event, at_ms, work)
        self._out.append(self._transition(alarm, event, at_ms, work, was=was, told=told, who=who, why=why))

    def as_it_stands(self, alarm_id: str, now_ms: int) -> Transition | None:
        """What would be said of a standing alarm now; nothing comes of it. None: over, or hidden. `told`: not held back."""
        for alarm in self._by_key.values():
            if alarm.id == alarm_id and alarm.active and alarm.state in (UNACKNOWLEDGED, ACKNOWLEDGED):
                told = not alarm.held and alarm.waits_until_ms is None
                found = self._transition(alarm, "changes", now_ms, None, told=told)
                return replace(found, figures=_since_then(found.figures, now_ms - alarm.condition.at_ms))
        return None

    def _transition(
        self, alarm: Alarm, event: str, at_ms: int, work: Work | None, *, was: str | None = None, told: bool = True,
        who: str = "", why: str = "",
    ) -> Transition:  # fmt: skip
        condition = alarm.condition
        latched = alarm.state in (LATCHED_UNACKNOWLEDGED, LATCHED_ACKNOWLEDGED)
        return Transition(
            id=alarm.id,
            sequence=alarm.sequence,
            at_ms=at_ms + self.shift_ms,
            since_ms=alarm.since_ms + self.shift_ms,
            subject=condition.subject,
            subject_id=condition.subject_id,
            group=condition.group,
            kind=condition.kind,
            was=was,
            event=event,
            state=alarm.state.removeprefix("latched-"),
            latched=latched,
            priority=condition.priority,
            cause=condition.cause,
            candidates=condition.candidates,
            confidence=condition.confidence,
            circuits=condition.circuits,
            figures=condition.figures,
            evidence=condition.evidence if work is None else (fact(work, self.shift_ms), *condition.evidence),
            told=told,
            who=who,
            why=why,
        )

    @staticmethod
    def _told(alarm: Alarm, event: str, was: str | None) -> bool:
        if alarm.condition.priority == "journal" or alarm.state in (SHELVED, SUPPRESSED, OUT_OF_SERVICE):
            return False
        if event in ("begins", "begins-again", "re-alarm", "changes"):
            return event != "changes" or alarm.state == UNACKNOWLEDGED or was is not None
        if event == "ends":
            return KINDS[alarm.condition.kind].end_is_told
        if event in ("work-over", "chatter-over"):
            return True
        return event in ("unsuppress", "unshelve", "in-service") and alarm.stands

    def _by_itself(self, alarm: Alarm, event: str, at_ms: int, work: Work | None) -> bool:
        """Whether what would be told is told as a message of its own: not while somebody works there, not in a flood."""
        if alarm.condition.kind in _ITS_OWN:
            return True
        of_life = self._of_life(alarm.condition)
        alone = of_life or alarm.condition.kind == "conductor-overheating"
        unknown, alarm.unknown, alarm.waits_until_ms = alarm.unknown, False, None
        if work is not None and not alone:
            alarm.held = alarm.held or event != "ends"
            return False
        alarm.held = False
        begins = event not in ("ends", "changes")
        if not self._flood.take(alarm.key, at_ms, begins=begins, alone=alone):
            return False
        if of_life:
            return True
        if event == "ends":
            told = not unknown
        else:
            alarm.waits_until_ms = self._chatter.take(alarm.condition, at_ms)
            told = alarm.waits_until_ms is None
            alarm.unknown = not told and (begins or unknown)
        if told and not alone:
            self._flood.told(at_ms)
        return told

    def _of_life(self, condition: Condition) -> bool:
        return any(c in self.life for c in (condition.subject_id, *condition.circuits))

    def _settle(self, alarm: Alarm) -> None:
        """An alarm that is normal and acknowledged is over: the next one is another."""
        if alarm.state == NORMAL and not alarm.active:
            self._drop(alarm)

    def _drop(self, alarm: Alarm) -> None:
        del self._by_key[alarm.key]

    def _id(self, condition: Condition) -> str:
        """Subject, group, time of beginning: later than of the last alarm of that key, which may have begun with the same."""
        key = condition.subject, condition.subject_id, condition.group
        named_ms = max(condition.since_ms + self.shift_ms, self._named_ms.get(key, -1) + 1)
        self._named_ms[key] = named_ms
        began = datetime.fromtimestamp(named_ms / 1000.0, UTC)
        stamp = began.strftime("%Y%m%dT%H%M%S") + f"{began.microsecond // 1000:03d}Z"
        place = condition.subject_id if condition.subject == "circuit" else f"{condition.subject}.{condition.subject_id}"
        return f"{place}-{condition.group}-{stamp}"

    # Time.

    def next_ms(self) -> int | None:
        """The next of the alarms' own deadlines; asked for at every reading, so it is kept until something changes."""
        if self._stale:
            self._next_ms, self._stale = self._soonest(), False
        return self._next_ms

    def _soonest(self) -> int | None:
        own = (due for a in self._by_key.values() for due in _deadlines(a))
        all_due = (*own, self._service.next_ms(), self._works.next_ms(), self._flood.next_ms())
        return min((due for due in all_due if due is not None), default=None)

    def fire(self, now_ms: int) -> None:
        """Fire what is due at `now_ms`, in the order in which the alarms began."""
        self._stale = True
        self._service.fire(now_ms)
        for alarm in list(self._by_key.values()):
            if alarm.starts_ms is not None and alarm.starts_ms <= now_ms:
                alarm.starts_ms = None
                self._go(alarm, "begins", now_ms)
            if alarm.ends_ms is not None and alarm.ends_ms <= now_ms:
                self._end(alarm, now_ms)
            if alarm.shelved_until_ms is not None and alarm.shelved_until_ms <= now_ms:
                if alarm.state == OUT_OF_SERVICE:
                    self._let_out(alarm, "return", now_ms, "in-service")
                else:
                    self._let_out(alarm, "unshelve", now_ms)
            if alarm.waits_until_ms is not None and alarm.waits_until_ms <= now_ms:
                alarm.waits_until_ms, alarm.unknown = None, False
                if alarm.state == UNACKNOWLEDGED:
                    self._say(alarm, "chatter-over", now_ms)
        if self._works.fire(now_ms):
            self._tell_held(now_ms)
        if self._flood.due_ms is not None and self._flood.due_ms <= now_ms:
            self._summarise(now_ms)
        ends_ms = self._flood.ends_ms
        if ends_ms is not None and ends_ms <= now_ms:
            self._flood.end(now_ms)
            summary = self._summary()
            if summary is not None and summary.active:
                summary.active = False
                self._end(summary, now_ms)

    def cap(self, now_ms: int) -> None:
        """Life may depend on more now: no shelf over that lasts longer than an hour, none of it is out of service."""
        self._stale = True
        for removed in self._service.standing():
            if removed.circuit in self.life:
                self._service.put_back(removed.circuit)
        for alarm in list(self._by_key.values()):
            self._cap(alarm, now_ms)

    def _cap(self, alarm: Alarm, now_ms: int) -> None:
        most_ms = now_ms + round(SHELVE_MOST_LIFE_S * 1000)
        if alarm.state == OUT_OF_SERVICE and self._of_life(alarm.condition):
            self._let_out(alarm, "return", now_ms, "in-service", why="life depends on it now")
        elif (alarm.shelved_until_ms or 0) > most_ms and self._of_life(alarm.condition):
            alarm.shelved_until_ms = most_ms
            self._say(alarm, "shelve", now_ms, why="life depends on it now: shelved for an hour at most")

    # The flood's summary: an alarm like others, of the whole vehicle.

    def _summary(self) -> Alarm | None:
        return next((a for a in self._by_key.values() if a.condition.kind == "flood"), None)

    def _summarise(self, now_ms: int) -> None:
        """Say what stands of the flood, in one message; what came after somebody acknowledged asks again."""
        self._flood.said(now_ms)
        condition = self._flooded(now_ms)
        summary = self._summary()
        if summary is None:
            summary = Alarm(id=self._id(condition), condition=condition)
            self._by_key[summary.key] = summary
        old, summary.condition = summary.state, condition
        summary.since_ms = condition.since_ms
        if not summary.active:
            summary.active = True
            self._go(summary, "begins", now_ms, "begins-again" if old == RETURNED else "begins")
        elif old == ACKNOWLEDGED:
            self._go(summary, "re-alarm", now_ms)
        else:
            self._say(summary, "changes", now_ms)

    def _flooded(self, now_ms: int) -> Condition:
        """The flood as a condition: what it covers and what stands of it now."""
        covered = self._flood.covered
        found = [self._by_key[key] for key in covered if key in self._by_key]
        standing = [a for a in found if a.state in (UNACKNOWLEDGED, ACKNOWLEDGED) and not a.held]
        dead = [a for a in standing if a.condition.group == "dead"]
        about = dict.fromkeys(c for a in standing for c in _circuits(a.condition))
        about = about or dict.fromkeys(key[1] for key in covered if key[0] == "circuit")
        kinds = [a.condition.kind for a in standing]
        facts: list[tuple[str, Facts]] = [("flood", ())]
        facts += [("flood-kind", (("count", kinds.count(kind)), ("what", kind))) for kind in dict.fromkeys(kinds)]
        if len(standing) < len(covered):
            facts.append(("flood-over", (("count", len(covered) - len(standing)),)))
        figures: dict[str, Any] = {"alarms": len(standing), "over": len(covered) - len(standing), "dead": len(dead)}
        figures["kinds"] = tuple(dict.fromkeys(kinds))
        figures["most"] = max(dict.fromkeys(kinds), key=kinds.count, default=None)
        figures["of_most"] = kinds.count(figures["most"])
        figures["stopped"] = tuple(dict.fromkeys(c for a in dead for c in _circuits(a.condition)))
        if dead:
            first_ms = min(a.since_ms for a in dead)
            figures["stopped_s"] = (first_ms + self.shift_ms) // 1000
            figures["stopped_within_s"] = (max(a.since_ms for a in dead) - first_ms) // 1000
        return Condition(
            subject="vehicle",
            subject_id=self.vehicle,
            group="flood",
            edge="begins",
            at_ms=now_ms,
            since_ms=self._flood.since_ms,
            kind="flood",
            priority=max((a.condition.priority for a in found), key=PRIORITIES.index, default="low"),
            circuits=tuple(about),
            figures=tuple(figures.items()),
            evidence=tuple(facts),
        )

    # Work on circuits.

    def working(self, request: Request, now_ms: int) -> Answer:
        """Somebody is at a circuit, or at the whole panel, until then; or is done."""
        self._stale = True
        try:
            if request.alarm is not None:
                raise RequestRefused("work is on a circuit, or on the whole panel: name no alarm")
            if not request.done:
                self._works.begin(request, now_ms)
            else:
                self._works.end(request)
                self._tell_held(now_ms)
        except RequestRefused as refused:
            return Answer(id=request.id, done=False, why=str(refused))
        return Answer(id=request.id, done=True, why="")

    def _tell_held(self, now_ms: int) -> None:
        """Work ended: what it held back, still stands and nobody acknowledged is told now."""
        for alarm in list(self._by_key.values()):
            if alarm.held and self._works.over(alarm.condition) is None:
                alarm.held = False
                if alarm.state == UNACKNOWLEDGED:
                    self._say(alarm, "work-over", now_ms)

    def works(self) -> tuple[Work, ...]:
        return self._works.standing()

    # Requests.

    def request(self, request: Request, now_ms: int) -> Answer:
        """Do what a person asks, or refuse and change nothing."""
        self._stale = True
        try:
            alarms = self._meant(request)
            if request.kind == "out-of-service":
                self._service.check(request)
                if request.circuit in self.life:
                    raise RequestRefused(_OF_LIFE)
            for alarm in alarms:
                self._check(alarm, request)
        except RequestRefused as refused:
            return Answer(id=request.id, done=False, why=str(refused))
        if request.alarm is None and request.circuit is not None:
            if request.kind == "out-of-service":
                self._remove(request.circuit, request, now_ms)
            elif request.kind == "in-service":
                self._service.put_back(request.circuit)
        for alarm in alarms:
            self._do(alarm, request, now_ms)
        state = alarms[-1].state.removeprefix("latched-") if alarms else request.kind
        return Answer(id=request.id, done=True, why="", state=state)

    def _remove(self, circuit: str, request: Request, now_ms: int) -> None:
        """Take a circuit out, or give it another end: what is out of service with it has that end, too."""
        was_ms = self._service.until_ms("circuit", circuit)
        self._service.remove(request, now_ms)
        if was_ms is None:
            return
        for alarm in self._by_key.values():
            of_it = alarm.state == OUT_OF_SERVICE and alarm.key[:2] == ("circuit", circuit)
            if of_it and alarm.shelved_until_ms == was_ms:
                alarm.shelved_until_ms = self._service.until_ms("circuit", circuit)

    def removed(self) -> tuple[Removed, ...]:
        """Circuits out of service."""
        return self._service.standing()

    def _meant(self, request: Request) -> list[Alarm]:
        if request.alarm is not None:
            found = [a for a in self._by_key.values() if a.id == request.alarm]
            if not found:
                raise RequestRefused(f"there is no standing alarm '{request.alarm}'")
            if request.circuit is not None and request.circuit not in (
                *_circuits(found[0].condition), *found[0].condition.circuits
            ):  # fmt: skip
                raise RequestRefused(f"alarm '{request.alarm}' is not about circuit '{request.circuit}'")
            return found
        if request.circuit is None:
            raise RequestRefused("say which alarm or which circuit is meant")
        found = [a for a in self._by_key.values() if (a.key[0], a.key[1]) == ("circuit", request.circuit)]
        out = self._service.until_ms("circuit", request.circuit) is not None
        if request.kind == "in-service" and out:
            return [a for a in found if a.state == OUT_OF_SERVICE]
        able = [a for a in found if (a.state, _event(a, request.kind)) in TABLE or request.kind in _OUTWARD]
        if request.kind == "out-of-service":  # what life depends on stays: its other alarms do not
            able = [a for a in able if not self._of_life(a.condition)]
        if not able and request.kind != "out-of-service":  # a circuit is taken out before the work begins, too
            raise RequestRefused(f"circuit '{request.circuit}' has no alarm that can take '{request.kind}'")
        return able

    def _check(self, alarm: Alarm, request: Request) -> None:
        event = _event(alarm, request.kind)
        if not event:
            raise RequestRefused(f"'{request.kind}' is not a request about an alarm")
        if request.kind in _OUTWARD:
            event = _by_case(event, alarm)
        if alarm.starts_ms is not None:
            raise RequestRefused("that alarm has not begun yet")
        step(alarm.state, event)
        if alarm.condition.kind == "flood" and request.kind != "acknowledge":
            raise RequestRefused(
                "a flood can only be acknowledged: its summary stands for alarms that are told by nothing else"
            )
        if request.kind == "out-of-service" and self._of_life(alarm.condition):
            raise RequestRefused(_OF_LIFE)
        if request.kind == "shelve":
            of_life = self._of_life(alarm.condition)
            most_s = SHELVE_MOST_LIFE_S if of_life else SHELVE_MOST_S
            if request.for_s is not None and not 0 < request.for_s <= most_s:
                raise RequestRefused(f"shelving takes for_s above 0 and at most {most_s:.0f}, or none: until it is over")
            if of_life and not request.why:
                raise RequestRefused("life depends on this circuit: shelving it needs a reason")

    def _do(self, alarm: Alarm, request: Request, now_ms: int) -> None:
        event = _event(alarm, request.kind)
        if request.kind in _OUTWARD:
            self._let_out(alarm, event, now_ms, request.kind, who=request.who, why=request.why)
            return
        if request.kind == "acknowledge":
            alarm.to_look = False
        elif request.kind == "out-of-service":
            alarm.shelved_until_ms = None if request.for_s is None else now_ms + max(1, round(request.for_s * 1000))
            if request.alarm is None:
                alarm.shelved_until_ms = self._service.until_ms("circuit", request.circuit or "")
        elif request.kind == "shelve":
            most_s = SHELVE_MOST_LIFE_S if self._of_life(alarm.condition) else SHELVE_MOST_S
            alarm.once = request.for_s is None
            alarm.shelved_until_ms = now_ms + round((most_s if request.for_s is None else request.for_s) * 1000)
        self._go(alarm, event, now_ms, "reset" if event == "reset" else request.kind, who=request.who, why=request.why)
        if alarm.state == LATCHED_ACKNOWLEDGED and event == "acknowledge":
            self._go(alarm, "reset", now_ms, who=request.who, why=request.why)  # it is over, and somebody looked
        self._settle(alarm)

    def drill(self, request: Request, now_ms: int, known: Facts = ()) -> str:
        """A test from end to end: it begins and is over, under an id of its own. Returns that id."""
        figures: Facts = (("asked_by", request.who), *known)
        condition = Condition(
            subject="broker",
            subject_id="drill",
            group="readings",
            edge="begins",
            at_ms=now_ms,
            since_ms=now_ms,
            kind="drill",
            priority=request.priority or "low",
            figures=figures,
        )
        alarm = Alarm(id=self._id(condition), condition=condition, active=True, since_ms=now_ms)
        self._go(alarm, "begins", now_ms, who=request.who)
        alarm.active = False
        self._go(alarm, "acknowledge", now_ms, who=request.who)
        self._go(alarm, "ends", now_ms)
        return alarm.id

    # State.

    def out(self) -> list[Transition]:
        """The transitions since the last call, in order."""
        out = self._out
        if out:
            self._out = []
        return out

    def standing(self) -> tuple[Alarm, ...]:
        return tuple(self._by_key.values())

    def save(self) -> dict[str, Any]:
        return {
            "alarms": [
                {name: getattr(a, name) for name in _KEPT} | {"condition": {n: getattr(a.condition, n) for n in _CONDITION}}
                for a in self._by_key.values()
            ],
            "named_ms": [[list(key), at_ms] for key, at_ms in self._named_ms.items()],
            "flood": self._flood.save(),
            "chatter": self._chatter.save(),
            "works": self._works.save(),
            "service": self._service.save(),
        }

    def restore(self, state: dict[str, Any]) -> None:
        self._by_key, self._stale = {}, True
        self._named_ms = {(key[0], key[1], key[2]): at_ms for key, at_ms in state["named_ms"]}
        self._flood.restore(state["flood"])
        self._chatter.restore(state["chatter"])
        self._works.restore(state["works"])
        self._service.restore(state["service"])
        for kept in state["alarms"]:
            values = dict(kept)
            raw = values.pop("condition")
            condition = Condition(**{name: _tuples(raw[name]) for name in _CONDITION})
            alarm = Alarm(condition=condition, **values)
            self._by_key[alarm.key] = alarm


_EVENT_OF = {
    "acknowledge": "acknowledge",
    "shelve": "shelve",
    "unshelve": "unshelve",
    "out-of-service": "remove",
    "in-service": "return",
}
_OUTWARD = ("unshelve", "in-service")
_OF_LIFE = "life depends on this circuit: it is never out of service; its alarm can be shelved, for an hour at most"


def _event(alarm: Alarm, kind: str) -> str:
    """What a request does to an alarm: one that latched is over once somebody says that they looked."""
    return "reset" if kind == "acknowledge" and alarm.state == LATCHED_ACKNOWLEDGED else _EVENT_OF.get(kind, "")


def _by_case(event: str, alarm: Alarm) -> str:
    """The form of an event that lets an alarm out, by what is the case."""
    if alarm.covered and event != "unsuppress":
        return f"{event}-while-covered"
    return f"{event}-while-{'active' if alarm.stands else 'latched' if alarm.to_look else 'normal'}"


_ITS_OWN = ("drill", "flood", "messages-unsent", "journal-unwritten")  # a person asked for it, or it is the summary itself
_KEPT = (
    "id",
    "state",
    "active",
    "sequence",
    "since_ms",
    "starts_ms",
    "ends_ms",
    "shelved_until_ms",
    "once",
    "covered",
    "to_look",
    "held",
    "waits_until_ms",
    "unknown",
)
_CONDITION = (
    "subject", "subject_id", "group", "edge", "at_ms", "since_ms", "kind", "priority", "cause", "candidates",
    "confidence", "circuits", "figures", "evidence",
)  # fmt: skip


def _since_then(figures: Facts, passed_ms: int) -> Facts:
    """Hours that were left when it was judged, less those that passed since."""
    return tuple(
        (name, max(0.0, value - passed_ms / 3_600_000) if name in _HOURS and isinstance(value, (int, float)) else value)
        for name, value in figures
    )


_HOURS = ("hours_left", "warms_in_h")


def _deadlines(alarm: Alarm) -> tuple[int | None, ...]:
    return alarm.starts_ms, alarm.ends_ms, alarm.shelved_until_ms, alarm.waits_until_ms


def _circuits(condition: Condition) -> tuple[str, ...]:
    """The circuits that it is about."""
    return (condition.subject_id,) if condition.subject == "circuit" else condition.circuits


def _merged(begun: Condition, ended: Condition) -> Condition:
    """The condition as it was, with the figures of its end over it."""
    figures = tuple((dict(begun.figures) | dict(ended.figures)).items())
    return replace(begun, edge="ends", at_ms=ended.at_ms, figures=figures)


def _tuples(value: Any) -> Any:
    """JSON has lists only."""
    return tuple(_tuples(item) for item in value) if isinstance(value, (list, tuple)) else value
