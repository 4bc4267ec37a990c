"""The daemon: the only room that knows them all, and the only one with a clock and threads.

    link's thread ──Message──▶ inbox ──▶ this loop: intake, core, wording, journal, publish ──rows──▶ delivery thread
                                 ▲                                                                       │
                                 └─────────────────────────── results of sends ─────────────────────────┘

Everything that changes state happens in the one loop, in the order of the inbox: so a replay of the journal is the
same as what was lived. A transition is journalled, with the readings before it and its outbox rows, before anybody is
told of it.
"""

from __future__ import annotations

import json
import queue
import re
import signal
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import asdict
from typing import Any, NamedTuple

from panelward import __version__, sealed
from panelward.clock import STEP_MS, HostClock, Pace, RealTime
from panelward.core import Core
from panelward.daemon import reload, requests
from panelward.daemon.answering import Answering
from panelward.daemon.beside import profiled, recorded
from panelward.daemon.outward import WEEKLY, Outward
from panelward.daemon.outward import Doing as Whereabouts
from panelward.daemon.present import present
from panelward.daemon.signs import Signs
from panelward.daemon.starting import Faults, lock, ready_to_watch, to_stderr
from panelward.daemon.supervisor import Supervisor
from panelward.errors import EnvironmentFault, PanelwardError, PayloadRefused
from panelward.intake import Intake, Refusals
from panelward.journal import KEEP_READINGS_DAYS, KEEP_TOLD_DAYS, PACK_AFTER_MS, Journal, sensed
from panelward.link import Link, Message
from panelward.notify import SendResult
from panelward.records import (
    Answer,
    Clock,
    Doing,
    Input,
    Noted,
    Output,
    Presence,
    Reading,
    Replaced,
    Request,
    Rezoned,
    Schedule,
    Settings,
    Transition,
)
from panelward.records.people import People, everybody
from panelward.records.topics import topic_is_valid
from panelward.schedule import load
from panelward.schedule.profile import parsed
from panelward.wording.beside import known

__all__ = ["Daemon"]

COMMIT_READINGS = 500
SNAPSHOT_S = 600.0
REPLAYED = 1000  # inputs read again at a start after which the state is saved at once: a life may end before SNAPSHOT_S
PRUNE_S = 3600.0
PACK_S, SUM_S = 10.0, 60.0  # between turns, each of some tens of ms
DAY_MS = 86_400_000
CLOCK_CHECK_S = 1.0
BATCH = 2000
TRIAL_TURNS = 3
# After the first message of a batch: a wake-up a message costs more than the message, and two threads of one interpreter
# that work at the same time on two cores cost half as much again (measured: tests/benchmarks/test_bench_live.py).
GATHER_S = 0.05


class _State(NamedTuple):
    """The connection came or went."""

    connected: bool
    why: str
    monotonic_s: float


class _Sent(NamedTuple):
    """What became of rows that were handed to the delivery thread."""

    results: list[SendResult]


class _Signal(NamedTuple):
    number: int


class Daemon:
    """One vehicle's watch. `run` returns when it is told to stop; EnvironmentFault and ScheduleError at the start."""

    ROLE = "panelward"
    DOOR = True  # the page aboard reads this journal
    SILENCE_FROM_START = True  # a circuit that never spoke is overdue too

    def __init__(
        self,
        schedule_path: str,
        journal_path: str,
        addresses: Mapping[str, str],
        *,
        people: People | None = None,
        who: reload.Who | None = None,
        pace: Pace | None = None,
        log: Callable[[str], None] | None = None,
    ) -> None:
        self._schedule_path = schedule_path
        self._log = log or to_stderr
        self._supervisor = Supervisor(log=self._log)
        self._said = Faults(self._log)
        self.schedule, self._text = load(schedule_path)
        ready_to_watch(self.schedule, schedule_path)
        self._record = recorded(schedule_path, self.schedule, None, self._log)
        self._lock = lock(journal_path)
        self._journal = Journal.open(journal_path)
        if self._journal.set_aside:
            self._log(f"the journal could not be read: set aside as {self._journal.set_aside}, a new one begun")
        self._inbox: queue.SimpleQueue[Message | _State | _Sent | _Signal] = queue.SimpleQueue()
        self._due = dict.fromkeys(("snapshot", "prune", "clock", "refusals", "weekly", "pack", "sums"), 0.0)  # monotonic
        self._refusals = Refusals()
        self._core = Core()
        self._link: Link | None = None
        self._connected = self._stopping = False
        self._unsaved = 0
        self._unsaid: list[Transition] = []  # steps that a fault of ours kept from the journal
        self._last_input_ms = 0
        self._replayed = 0  # inputs that this start read again
        self._clock = HostClock(pace, not_before_ms=0)
        self._real = RealTime(self._journal.newest_waiting_s())
        self._told: reload.Told = (people if people is not None else everybody(addresses)), dict(addresses)
        self._who = who  # reads people.toml anew
        self._answering = Answering(journal_path, self._log)
        self._outward = Outward(
            self._journal,
            *self._told,
            now_ms=self._watch_ms,
            local_ms=self._local_ms,
            real_s=self._real.now_s,
            rate=self._clock.rate,
            doing=self._whereabouts,
            prefix=self._topic(""),
            publish=self._publish,
            sent=lambda results: self._inbox.put(_Sent(results)),
            heard=self._heard,
            unwritten=lambda fails: self._own("journal", "journal", not fails),
            zone=self.schedule.vehicle.timezone,
            stands=self._stands,
            known=lambda transition: known(self._core, transition),
            answering=self._answering,
            log=self._log,
        )
        self._unlike = [ref for ref, url in addresses.items() if not re.match(r"[A-Za-z][A-Za-z0-9+.-]*://.", url)]
        if self._real.first_step_s:
            self._outward.clock_was_set(self._real.first_step_s, hours=False)
        self._was = ""  # the text of the schedule that was in force when the program ended
        self._plain = self.schedule
        self._zone_row: dict[str, Any] | None = next(
            (c for c in reversed(self._journal.changes()) if c["kind"] == "timezone"), None
        )
        self._restore()
        self._plain, self._plain_text = self.schedule, self._text  # as written, without what was learned
        self.schedule, self._text = self._learned()
        self._clock = HostClock(pace, not_before_ms=self._last_input_ms + 1 if self._last_input_ms else 0)
        self._intake = Intake(self.schedule, self._refusals)
        self._link = self._make_link()
        self._signs = Signs(self._publish, self._topic("sign-of-life"), self._watch_ms, self._core.standing, self._log)

    # Start.

    def _restore(self) -> None:
        """Newest snapshot, then the inputs after it; what they say again is not written again."""
        self._journal.recover()
        kept = self._journal.newest_snapshot()
        begin = 0
        if kept is not None:
            number, state = kept
            try:
                schedule_text = state["schedule_text"]
                schedule = parsed(schedule_text, "the journal")
                text = state.get("record_text", "")
                record = sealed.parse(text) if text else None
                self._core.restore(state["core"], schedule, silence_from_start=self.SILENCE_FROM_START, record=record)
                begin, self._was = number, schedule_text
            except (PanelwardError, KeyError, TypeError, ValueError) as error:
                self._log(f"the saved state can't be used ({error}): starting from the journal's inputs")
                self._core = Core()
        self._last_input_ms = self._core.now_ms if begin else 0
        found: list[Output] = []
        reached = self._journal.reached_after(begin)
        for number, item in self._journal.inputs_after(begin, lambda text: parsed(text, "the journal")):
            if self._core.watch is None and not isinstance(item, Settings):
                continue  # what is left of older inputs, pruned up to here
            if isinstance(item, Settings) and item.started:  # the life before it came as far as what it found
                found += self._as_far([at_ms for at, at_ms in reached if begin <= at < number])
                begin = number
            try:
                found += self._core.feed(item)
            except Exception as error:  # it was gone on behind it when it was lived, too
                self._said.fault(f"the journal's input {number}", error)
            self._was = item.schedule_text if isinstance(item, Settings) else self._was
            self._last_input_ms = max(self._last_input_ms, item.received_ms)
            self._replayed += 1
            if self._replayed % REPLAYED == 0:
                self._supervisor.starting(f"reading the journal again: {self._replayed:,} inputs so far")
        found += self._as_far([at_ms for at, at_ms in reached if at >= begin])
        self._note([item for item in found if not isinstance(item, Noted)])  # a note is written with its own input
        told = [t for t in found if isinstance(t, Transition) and not self._journal.known(t.id, t.sequence)]
        if told:
            self._write(told, None)

    def _as_far(self, at_ms: list[int]) -> list[Output]:
        """What fell due by time alone is found again: a start lets timers begin anew, and would deny what was told."""
        if self._core.watch is None or not at_ms or max(at_ms) <= self._last_input_ms:
            return []
        self._last_input_ms = max(at_ms)
        return self._core.advance(self._last_input_ms)

    def _make_link(self) -> Link:
        broker = self.schedule.broker
        assert broker is not None  # _ready_to_watch
        vehicle = self.schedule.vehicle.id
        link = Link(
            broker,
            client_id=f"{self.ROLE}-{vehicle}",
            on_message=self._inbox.put,
            on_state=lambda connected, why: self._inbox.put(_State(connected, why, time.monotonic())),
            will=(self._topic("sign-of-life"), json.dumps({"ended": True}).encode()),
            log=self._log,
            monotonic=time.monotonic,
        )
        link.subscribe(self._filters())
        return link

    def _filters(self) -> tuple[tuple[str, int], ...]:
        return (*self._intake.subscriptions(), (self._topic("request/+"), 1))

    def _topic(self, rest: str) -> str:
        return f"panelward/{self.schedule.vehicle.id}/{rest}"

    # The loop.

    def run(self, *, trial: bool = False) -> None:
        """Watch until SIGTERM or SIGINT. On trial: a few turns without broker and phones, to see that all of it starts."""
        for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
            signal.signal(number, lambda n, _frame: self._inbox.put(_Signal(n)))
        self._outward.start()
        self._since_it_ended()
        self._set(started=True)
        if max(-self._clock.offset_ms, abs(self._clock.offset_ms - self._core.offset_ms)) > STEP_MS:
            self._feed(Clock(received_ms=self._clock.now_ms(), offset_ms=self._clock.offset_ms))
        self._feed(self._presence(False))
        self._commit()
        if self._replayed > REPLAYED:
            self._snapshot()
        self._outward.publish_standing()
        self._say_start()
        self._people_read()
        if self._link is not None and not trial:
            self._link.start()
        turns_left = TRIAL_TURNS if trial else -1
        try:
            while not self._stopping and turns_left:
                self._turn()
                self._supervisor.turned(self._status)
                turns_left -= 1
        finally:
            self._end()
        if trial and self._outward.disk_fault:
            raise EnvironmentFault(self._outward.disk_fault)

    def _turn(self) -> None:
        """Take what came, fire what is due, do the chores.

        Deadlines fire only up to a moment before which everything has been taken: a reading that waits in the inbox is
        not silence.
        """
        empty = False
        reached_ms = self._clock.peek_ms()
        try:
            item = self._inbox.get(timeout=self._wait_s())
            time.sleep(GATHER_S)
            reached_ms = self._clock.peek_ms()
            for _ in range(BATCH):
                self._take(item)
                item = self._inbox.get_nowait()
            self._take(item)
        except queue.Empty:
            empty = True
        due_ms = self._core.next_deadline_ms
        if empty and due_ms is not None and due_ms <= reached_ms:
            self._tell(self._core.advance(reached_ms))
        self._chores()

    def _wait_s(self) -> float:
        due_s = (self._outward.commit_due_s, self._outward.outbox_due_s, self._supervisor.due_s)
        wait_s = min(*self._due.values(), self._signs.due_s, *due_s) - time.monotonic()
        due_ms = self._core.next_deadline_ms
        if due_ms is not None:
            wait_s = min(wait_s, self._clock.real_s(due_ms))
        return min(1.0, max(0.0, wait_s))

    def _take(self, item: Message | _State | _Sent | _Signal) -> None:
        if isinstance(item, Message):
            try:
                self._message(item)
            except Exception as error:  # a fault of ours with one message must not end the watch of the others
                self._said.fault(f"a message on {item.topic}", error)
        elif isinstance(item, _State):
            self._state(item)
        elif isinstance(item, _Sent):
            self._outward.settle(item.results)
        elif item.number == signal.SIGHUP:
            self._reload(Request(kind="reload", received_ms=self._clock.now_ms()))
        else:
            self._stopping = True

    def _message(self, message: Message) -> None:
        received_ms = self._clock.at(message.monotonic_s)
        topic = message.topic
        if topic.startswith("panelward/"):
            if topic.startswith(self._topic("request/")):
                self._request(message, received_ms)
            return
        try:
            inputs = self._intake.message(
                topic,
                message.payload,
                received_ms=received_ms,
                retained=message.retained,
                dup=message.dup,
                clock_trusted=self._clock.trusted,
            )
        except PayloadRefused as refused:
            self._refusals.add(refused, topic, message.payload)
            return
        for item in inputs:
            self._feed(item)
            if type(item) is Reading:
                self._signs.reading_ms = received_ms

    def _feed(self, item: Input) -> list[Output]:
        self._journal.append(item)
        self._unsaved += 1
        out = self._core.feed(item)
        if out:
            self._tell(out)
        return out

    def _state(self, state: _State) -> None:
        if state.connected != self._connected:
            self._connected = state.connected
            self._log(f"broker: {'connected' if state.connected else 'away'}{f' ({state.why})' if state.why else ''}")
            self._feed(self._presence(state.connected, self._clock.at(state.monotonic_s)))
            self._outward.commit_due_s = 0.0  # `now` shows it at once
            if state.connected:
                self._signs.now()
                self._outward.publish_standing()
        elif state.why:
            self._log(f"broker: {state.why}")

    def _presence(self, here: bool, received_ms: int | None = None) -> Presence:
        host = self.schedule.broker.host if self.schedule.broker else "broker"
        at_ms = self._clock.now_ms() if received_ms is None else received_ms
        return Presence(received_ms=at_ms, subject="broker", name=host, here=here)

    # Requests.

    def _request(self, message: Message, received_ms: int) -> None:
        if message.retained:
            return  # somebody's old wish
        kind = message.topic.rpartition("/")[2]
        reply_to = message.response_topic
        try:
            request = requests.read(kind, message.payload, received_ms)
            reply_to = request.reply_to or reply_to
            given = self._reload(request) if request.kind == "reload" else self._ask(request)
        except PayloadRefused as refused:
            self._refusals.add(refused, message.topic, message.payload)
            given = Answer(id="", done=False, why=str(refused))
        if reply_to and topic_is_valid(reply_to):
            self._publish(reply_to, requests.answer(given), correlation=message.correlation)

    def _ask(self, request: Request) -> Answer:
        for item in self._feed(request):
            if isinstance(item, Answer):
                if request.kind == "replaced" and item.done:
                    self._anew()
                if request.kind in ("working", "presence", "replaced", "timezone", "note"):
                    self._commit()  # it is in the journal, and `now` shows it, before it is answered
                return item
        return Answer(id=request.id, done=False, why="nothing came of it")

    def _reload(self, request: Request) -> Answer:
        """Read the schedule anew; a bad one is refused and the old one stays."""
        self._supervisor.reloading()
        given = self._read_anew(request)
        self._supervisor.reloaded(given.why)
        return given

    def _read_anew(self, request: Request) -> Answer:
        try:
            new = reload.reread(self._schedule_path, self._plain, *self._told, self._who)
        except PanelwardError as error:
            self._log(f"reload refused, the old schedule stays: {error}")
            self._journal.changed([reload.row(request, "refused", why=str(error)[:2000])])
            self._commit()
            return Answer(id=request.id, done=False, why=str(error))
        self._plain, self._plain_text = new.schedule, new.text
        self.schedule, self._text = self._learned()
        self._record = recorded(self._schedule_path, new.schedule, self._record, self._log)
        self._intake = Intake(self.schedule, self._refusals)
        if self._link is not None:
            self._link.subscribe(self._filters())
        if (new.people, new.addresses) != self._told:
            self._told = new.people, dict(new.addresses)
            self._outward.use(*self._told)
            self._people_read()
        if new.changed or new.found:
            self._journal.changed([reload.row(request, "reload", changed=new.changed, found=new.found)])
        self._set(started=False)
        for line in reload.lines(new.changed, new.found):
            self._log(line)
        self._commit()  # it is in the journal before it is answered
        return Answer(id=request.id, done=True, why="", state=None, changed=new.changed, found=new.found)

    def _set(self, *, started: bool) -> None:
        """What a person wrote holds from here on."""
        self._journal.sensed = sensed(self.schedule)
        replaced = tuple((*key, at_ms) for key, at_ms in self._replaced().items())
        self._feed(
            Settings(
                received_ms=self._clock.now_ms(), schedule=self.schedule, schedule_text=self._text, started=started,
                silence_from_start=self.SILENCE_FROM_START, replaced=replaced,
                timezone=reload.zone_of(self._zone_row, self._plain.vehicle.timezone), program=__version__,
                **self._commissioned(),
            )
        )  # fmt: skip
        vehicle = self._core.schedule.vehicle
        self._outward.use_zone(vehicle.timezone)
        self._outward.fitter = vehicle.fitter
        self._answering.at = vehicle.door_at if self.DOOR else None

    def _since_it_ended(self) -> None:
        """A schedule that was changed while nobody watched is said like one that is read anew."""
        changed, found = reload.since(self._was, self._plain) if self._was else ((), ())
        if changed or found:
            request = Request(kind="start", received_ms=self._clock.now_ms())
            self._journal.changed([reload.row(request, "start", changed=changed, found=found)])
            for line in reload.lines(changed, found):
                self._log(line)

    def _learned(self) -> tuple[Schedule, str]:
        """The schedule with what was learned of the loads that are there now."""
        return profiled(self._schedule_path, self._plain, self._plain_text, self._replaced(), self._log)

    def _anew(self) -> None:
        """Something was replaced: what was learned of it goes from the schedule in force, too."""
        schedule, text = self._learned()
        if schedule != self.schedule:
            self.schedule, self._text = schedule, text
            self._set(started=False)

    def _replaced(self) -> dict[tuple[str, str], int]:
        """What was replaced, and when last: by the journal, and by what is not in it yet."""
        known = {(each["circuit"], each["part"]): int(each["at_ms"]) for each in self._journal.replacements()}
        return known | (self._core.watch.replaced if self._core.watch is not None else {})

    def _commissioned(self) -> dict[str, Any]:
        return {"record": self._record, "record_text": sealed.text_of(self._record) if self._record else ""}

    # Out.

    def _tell(self, out: list[Output]) -> None:
        self._note(out)
        found = [item for item in out if isinstance(item, Transition)]
        for each in found:
            self._signs.heard(each)
        if found:
            self._write(found, self._now_row())
            self._unsaved = 0

    def _write(self, found: list[Transition], now_row: dict[str, Any] | None) -> None:
        """A fault of ours with one step must not lose the others; what can't be said is tried again, and no snapshot
        goes past it."""
        schedule, found, left = self._core.schedule, [*self._unsaid, *found], []
        try:
            self._outward.write(found, schedule, now_row)
        except Exception:  # found out below, one by one
            for each in found:
                try:
                    self._outward.write([each], schedule, now_row)
                except Exception as error:
                    self._said.fault(f"a step of the alarm {each.id}", error)
                    left.append(each)
        self._unsaid = left

    def _note(self, out: list[Output]) -> None:
        """What is journalled beside the alarms."""
        doings = [asdict(item) for item in out if isinstance(item, Doing)]
        self._journal.doing(doings)
        if doings:
            self._outward.hours_changed()
        self._journal.replaced([asdict(item) for item in out if isinstance(item, Replaced)])
        for item in out:
            if isinstance(item, Rezoned) and (self._zone_row is None or self._zone_row["at_ms"] < item.at_ms):
                self._zone_row = reload.zone_row(item, self._plain.vehicle.timezone)
                self._journal.changed([self._zone_row])
                self._outward.use_zone(item.timezone)
                self._log(f"local time is {item.timezone} from now on, by {item.who}")
            elif isinstance(item, Noted):
                self._journal.changed([reload.note_row(item)])

    def _commit(self) -> None:
        self._outward.commit(self._now_row())
        self._unsaved = 0

    def _publish(self, topic: str, payload: bytes, *, retain: bool = False, correlation: bytes | None = None) -> None:
        if self._link is not None:
            self._link.publish(topic, payload, qos=1, retain=retain, correlation=correlation)

    def _now_row(self) -> dict[str, Any]:
        clock = self._clock
        return present(
            self._core, real_s=time.time(), rate=clock.rate, connected=self._connected, refused=self._refusals.total,
            people=self._told[0], schedule_text=self._plain_text, clock_trusted=clock.trusted, simulated=clock.simulated,
        )  # fmt: skip

    def _status(self) -> str:
        """One line for whoever looks after the computer."""
        standing = len(self._core.standing())
        alarms = f"{standing or 'no'} alarm{'s' if standing != 1 else ''} {'stand' if standing != 1 else 'stands'}"
        broker = "connected to the broker" if self._connected else "the broker is away"
        disk = [] if not self._outward.disk_fault else ["the journal can't be written"]
        return ", ".join((f"{len(self.schedule.circuits)} circuits", broker, alarms, *disk))

    def _watch_ms(self) -> int:
        return self._clock.now_ms()  # of the clock that there is then

    def _local_ms(self) -> int:
        return self._clock.local_ms()

    def _whereabouts(self) -> Whereabouts:
        doing = self._core.doing
        return Whereabouts(doing.aboard, doing.laid_up is True) if doing is not None else Whereabouts()

    def _stands(self, alarm_id: str) -> tuple[Transition, Schedule] | None:
        """An alarm that still stands, as it is now."""
        found = self._core.as_it_stands(alarm_id)
        return (found, self._core.schedule) if found is not None else None

    def _heard(self, ref: str, here: bool) -> None:
        self._own("address", ref, here)

    def _own(self, subject: str, name: str, here: bool) -> None:
        """What the program finds of itself."""
        self._feed(Presence(received_ms=self._clock.now_ms(), subject=subject, name=name, here=here))

    def _people_read(self) -> None:
        """That the file of who is told could not be read is told to those of the environment, until it can be."""
        unread = self._told[0].unread
        if unread:
            self._log(f"{unread} Told are only the addresses of PANELWARD_NOTIFY.")
        if unread or any(alarm.condition.subject == "people" for alarm in self._core.standing()):
            self._own("people", "people.toml", not unread)

    # Chores.

    def _chores(self) -> None:
        now_s = time.monotonic()
        due = self._due
        if now_s >= due["clock"]:
            due["clock"] = now_s + CLOCK_CHECK_S
            correction = self._clock.correction()
            if correction is not None:
                self._log(f"the wall clock was set by {(correction.shift_ms or correction.offset_ms) / 1000:.1f} s")
                self._feed(correction)
            step_s = self._real.step_s()
            if step_s and self._outward.clock_was_set(step_s, hours=self._real.set):
                self._real.follow(step_s)
        if now_s >= self._outward.commit_due_s or (self._unsaved >= COMMIT_READINGS and not self._outward.disk_fault):
            self._commit()
        if now_s >= self._outward.outbox_due_s:
            self._outward.deliver()
        vehicle = self.schedule.vehicle
        self._signs.turn(vehicle.id, vehicle.sign_of_life_to, journals=not self._outward.disk_fault)
        if now_s >= due["snapshot"]:
            if due["snapshot"]:
                self._snapshot()
            due["snapshot"] = now_s + SNAPSHOT_S
        if now_s >= due["prune"]:
            due["prune"] = now_s + PRUNE_S
            with suppress(EnvironmentFault):
                self._journal.prune(self._clock.now_ms() - KEEP_READINGS_DAYS * DAY_MS)
                self._journal.prune_told(self._clock.now_ms() - KEEP_TOLD_DAYS * DAY_MS)
                self._journal.prune_sums(self._clock.now_ms())
        if now_s >= due["pack"]:
            due["pack"] = now_s + max(1.0, PACK_S / self._clock.rate)
            with suppress(EnvironmentFault):
                self._journal.pack(self._clock.now_ms() - PACK_AFTER_MS)
        if now_s >= due["sums"]:
            due["sums"] = now_s + max(1.0, SUM_S / self._clock.rate)
            with suppress(EnvironmentFault):
                self._journal.sum_up()
        if now_s >= due["weekly"]:
            due["weekly"] = now_s + max(1.0, 60.0 / self._clock.rate)
            self._weekly_sign()
        if now_s >= due["refusals"]:
            due["refusals"] = now_s + 60.0
            for line in self._refusals.news():
                self._log(line)

    def _weekly_sign(self) -> None:
        """On one evening of the week the sheet says that all works; that it did not arrive is an alarm like others."""
        first_ms = None
        with suppress(EnvironmentFault):
            first_ms = self._journal.first_received_ms
        if first_ms is not None and self._outward.weekly_due(first_ms):
            self._ask(Request(kind="drill", received_ms=self._clock.now_ms(), priority="low", who=WEEKLY))

    def _snapshot(self) -> None:
        self._commit()
        if not self._outward.disk_fault and not self._unsaid:
            state = {"core": self._core.save(), "schedule_text": self._text, "record_text": self._commissioned()["record_text"]}
            try:
                self._journal.save_snapshot(self._journal.last_number, state)
            except EnvironmentFault as fault:
                self._log(f"the state could not be saved: {fault}")

    def _say_start(self) -> None:
        names = ", ".join(self._told[1]) or "nobody: set PANELWARD_NOTIFY"
        n = len(self.schedule.circuits)
        self._log(f"panelward {__version__} watches {self.schedule.vehicle.name}: {n} circuits; tells {names}")
        if self._clock.simulated:
            self._log(f"simulated time, {self._clock.rate:g} times as fast: for demo and tests")
        self._log("It watches; it does not protect.")
        for ref in self._unlike:
            self._log(f"{ref} of PANELWARD_NOTIFY does not look like an address (scheme://…): nobody will hear by it")

    def _end(self) -> None:
        self._supervisor.stopping()
        self._commit()
        self._snapshot()
        self._signs.ended()
        if self._link is not None:
            self._link.stop()
        self._outward.end()
        while True:
            try:
                item = self._inbox.get_nowait()
            except queue.Empty:
                break
            if isinstance(item, _Sent):
                self._outward.settle(item.results)
        self._commit()
        self._journal.close()
        self._lock.close()
        self._supervisor.close()
