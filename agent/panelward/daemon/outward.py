"""What leaves the daemon: into the journal first, then to the broker and, by the outbox, to the phones.

Used by the daemon's one loop; the threads of `sending` only send.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any, NamedTuple, Protocol
from zoneinfo import ZoneInfo

from panelward.daemon import anew
from panelward.daemon.answering import Answering
from panelward.daemon.requests import payload
from panelward.daemon.sending import Lanes
from panelward.errors import EnvironmentFault
from panelward.journal import LATEST_OF_ONE, Journal, OutboxRow, StoredTransition, Withdrawal
from panelward.notify import SendResult, SendRow, whom
from panelward.notify.policy import next_try_s
from panelward.records import PRIORITIES, Fitter, Schedule, Transition
from panelward.records.people import People
from panelward.records.topics import level
from panelward.wording import (
    Known,
    Piece,
    alarm_object,
    body,
    dated,
    english,
    number_of,
    once,
    repeated,
    title,
    together,
    with_link,
)  # fmt: skip

COMMIT_S = 5.0  # readings at risk of a kill -9: at most this long
RETRY_COMMIT_S = 5.0
OUTBOX_CHECK_S = 5.0
STAND_IN_S = 10.0  # of a disk that fails: then messages go out without their mark on it …
UNWRITTEN_S = 60.0  # … and people are told
LOOK_AT = 400  # rows
WAITED_S = 300.0  # what is older than this, and not alone, goes out in one message
WEEKLY_AHEAD_S = 240.0  # it says when it was asked for; the daemon looks every 60 s, at high rates every real second
UNSENT_S = 3600.0  # of an address that takes no message
MOST_AN_HOUR = 12  # messages to one address that are not high (our own choice); the others wait, and go together
CLEARED = 500  # so many of the last transitions are looked at for retained alarms that are over

_TYPES = {"high": "failure", "medium": "warning"}


class Publish(Protocol):
    """How a message goes to the broker, or into the queue until there is one."""

    def __call__(self, topic: str, payload: bytes, *, retain: bool = False) -> None: ...


class Doing(NamedTuple):
    """What of the vehicle decides who hears what."""

    aboard: bool | None = None
    laid_up: bool = False


class Outward:
    """Journal, broker and phones. `sent` is called by the sending thread with the results of a batch."""

    def __init__(
        self,
        journal: Journal,
        people: People,
        addresses: Mapping[str, str],
        *,
        now_ms: Callable[[], int],
        rate: float,
        doing: Callable[[], Doing],
        prefix: str,
        publish: Publish,
        sent: Callable[[list[SendResult]], None],
        heard: Callable[[str, bool], None],
        log: Callable[[str], None],
        zone: str = "UTC",
        stands: Callable[[str], tuple[Transition, Schedule] | None] = lambda _: None,
        known: Callable[[Transition], Known] = lambda _: Known(),
        answering: Answering | None = None,
        unwritten: Callable[[bool], None] = lambda _: None,
        real_s: Callable[[], float] = time.time,
        monotonic: Callable[[], float] = time.monotonic,
        local_ms: Callable[[], int] | None = None,
    ) -> None:
        self._journal, self._people, self._addresses, self._prefix = journal, people, dict(addresses), prefix
        self._now_ms, self._rate, self._doing = now_ms, rate, doing  # people's hours are on the watch's clock
        self._publish, self._heard, self._unwritten, self._log = publish, heard, unwritten, log
        self._monotonic = monotonic
        self._real_s, self._local_ms = real_s, local_ms or now_ms  # … and that is set, where it can be
        self.lanes = Lanes(self._addresses, sent)
        self._random = random.Random()  # spreads retries; nothing of the core
        self._failing: dict[str, float] = {}  # addresses whose messages are not taken: since when, Unix seconds
        self._unheard: set[str] = set()  # … and that was told
        self._bundles: dict[int, list[OutboxRow]] = {}  # on their way, by the row that stands for them
        self.zone, self._stands = zone, stands  # what would be said of an alarm now
        self._were: People | None = None  # who was told before, until it is seen who has to be told now
        self._anew = True
        self._asked_ms = 0  # for the weekly sign, by this run
        self._known, self._answering = known, answering  # … and what is known beside it
        self.fitter: Fitter | None = None  # whose number messages that go out together say
        self._said: set[str] = set()  # faults of ours that are gone on behind, each once
        self.disk_fault = ""
        self._disk_fails_s = 0.0  # monotonic: since when
        self._disk_told = False
        self._owed = False  # the broker came while what stands could not be read
        self.commit_due_s = 0.0  # monotonic
        self.outbox_due_s = 0.0

    def use(self, people: People, addresses: Mapping[str, str]) -> None:
        """Others are told from now on. What waits for an address that is no more is refused when its time comes; what stands
        and was told to nobody else is told to those who hear it now."""
        was, moves = self._addresses, anew.moved(self._addresses, addresses)
        try:
            self._journal.move_refs(moves)
        except EnvironmentFault:
            self._log("messages that wait may be refused: which address has which name now could not be written")
        gone = [ref for ref in self._unheard if addresses.get(ref) != was.get(ref)]
        kept = {ref: moves.get(ref, ref) for ref in self._failing}
        self._failing = {now: self._failing[ref] for ref, now in kept.items() if addresses.get(now) == was.get(ref)}
        self._were = self._were or self._people  # of several reloads the first
        self._people, self._addresses = people, dict(addresses)
        self.lanes.use(self._addresses)
        for ref in gone:  # nothing is known of the new one
            self._unheard.discard(ref)
            self._heard(ref, True)
        self._anew = True
        self.outbox_due_s = 0.0

    def hours_changed(self) -> None:
        """Somebody came aboard or left, or local time is another: what waits for its hour may have another."""
        self._anew = True
        self.outbox_due_s = 0.0

    def use_zone(self, zone: str) -> None:
        """Local time is another from now on: what waits for the morning or the evening waits for the new one."""
        if zone != self.zone:
            self.zone = zone
            self.hours_changed()

    def start(self) -> None:
        """Begin to send. What stands of what this finds itself is known from before."""
        standing = self._journal.standing()
        self._unheard = {shown["subject"]["address"] for shown in standing if "address" in shown["subject"]}
        self._disk_told = any(shown["kind"] == "journal-unwritten" for shown in standing)
        self.lanes.start()

    def write(self, found: list[Transition], schedule: Schedule, now_row: Mapping[str, Any] | None) -> None:
        """Journal transitions with all inputs before them and their outbox rows; then tell the broker."""
        now_s = self._real_s()
        shown = [(t, alarm_object(t, schedule)) for t in found]
        stored = [
            StoredTransition(
                alarm_id=t.id, sequence=t.sequence, at_ms=t.at_ms, subject=t.subject, subject_id=t.subject_id,
                group=t.group, state=t.state, object=told,
            )
            for t, told in shown
        ]  # fmt: skip
        self.use_zone(schedule.vehicle.timezone)
        rows: list[OutboxRow] = []
        gone: list[Withdrawal] = []
        for transition, told in shown:
            more, without = self._addressed(transition, told, schedule, now_s, rows)
            rows += more
            gone += without
        if rows:
            self.outbox_due_s = 0.0
        self.commit(now_row, stored, rows, gone)
        for _, told in shown:
            self._tell_broker(told, step=True)

    def commit(
        self,
        now_row: Mapping[str, Any] | None,
        stored: list[StoredTransition] | None = None,
        rows: list[OutboxRow] | None = None,
        gone: list[Withdrawal] | None = None,
    ) -> None:
        """One transaction. Where the disk fails the journal keeps all of it for the next one, and this says so once."""
        try:
            self._journal.commit(transitions=stored or (), outbox=rows or (), now_row=now_row, withdrawn=gone or ())
        except EnvironmentFault as fault:
            if not self.disk_fault:
                self._disk_fails_s = self._monotonic()
            if str(fault) != self.disk_fault:
                self.disk_fault = str(fault)
                self._log(f"the journal can't be written; what was found is kept in memory: {fault}")
            self.commit_due_s = time.monotonic() + RETRY_COMMIT_S
            return
        if self.disk_fault:
            self.disk_fault = ""
            self.outbox_due_s = 0.0
            self._log("the journal can be written again")
        self.commit_due_s = time.monotonic() + COMMIT_S
        if self._owed:
            self.publish_standing()

    def publish_standing(self) -> None:
        """What stands, as the broker should have it; and what is over while the broker may still have it is cleared."""
        try:
            newest = {
                self._topic(shown): shown for shown in (*self._journal.last_transitions(CLEARED), *self._journal.standing())
            }
        except EnvironmentFault as fault:
            if not self._owed:
                self._log(f"what stands could not be read for the broker, and is told it later: {fault}")
            self._owed = True
            return
        self._owed = False
        for shown in newest.values():
            self._tell_broker(shown, step=False)

    def _tell_broker(self, shown: Mapping[str, Any], *, step: bool) -> None:
        """One alarm, cleared where it is over. `step`: its last step is said before. A fault of one holds up no other."""
        topic, over = self._topic(shown), shown["state"] == "normal"
        try:
            if step or not over:
                self._publish(topic, payload(shown), retain=True)
            if over:
                self._publish(topic, b"", retain=True)
        except Exception as error:
            self._say_once(f"{topic} can't be published: {type(error).__name__}: {error}")

    def _say_once(self, what: str) -> None:
        if what not in self._said:
            self._said.add(what)
            self._log(what)

    def _topic(self, shown: Mapping[str, Any]) -> str:
        subject, subject_id = next(iter(shown["subject"].items()))
        return f"{self._prefix}alarm/{subject}/{level(subject_id)}/{shown['group']}"

    def _addressed(
        self, t: Transition, shown: dict[str, Any], schedule: Schedule, now_s: float, found: Sequence[OutboxRow]
    ) -> tuple[list[OutboxRow], list[Withdrawal]]:
        """The messages of one transition, and which of before need not go out any more."""
        if not self._addresses:
            return [], []
        told = _told(t, schedule)
        local = datetime.fromtimestamp(self._local_ms() / 1000.0, UTC).astimezone(ZoneInfo(schedule.vehicle.timezone))
        unread = False
        try:
            thread = self._journal.thread(t.id) if t.sequence > 1 else []
        except EnvironmentFault:  # rather told as if it were new than lost
            thread, unread = [], True
        thread += [row for row in found if row.alarm_id == t.id]
        before = [whom.Sent(row.address_ref, row.step, row.status, row.attempts, now_s - row.created_real_s) for row in thread]
        doing = self._doing()
        plan = whom.plan(told, self._people, local, before, aboard=doing.aboard, laid_up=doing.laid_up)
        gone = [Withdrawal(t.id, t.sequence, english.OVERTAKEN, ref, False) for ref in plan.overtaken]
        if (before or unread) and (told.answered or told.over):
            what = f"{t.event} by {t.who}" if t.who else t.event
            gone.append(Withdrawal(t.id, t.sequence, english.ANSWERED.format(what=what)))
        if not plan.errands:
            return [], gone
        have = (
            frozenset(row.address_ref for row in thread if row.status == "handed-over") if t.event in _RETOLD else frozenset()
        )
        return self._rows(t, shown, schedule, plan.errands, told, now_s, have), gone

    def _rows(
        self, t: Transition, shown: dict[str, Any], schedule: Schedule, errands: Sequence[whom.Errand], told: whom.Told,
        now_s: float, have: frozenset[str] = frozenset(),
    ) -> list[OutboxRow]:  # fmt: skip
        number = self._journal.next_message_number()
        text = body(shown, number, fitter=schedule.vehicle.fitter, known=self._known(t))
        rows = []
        for errand in errands:
            if t.kind == "messages-unsent" and (errand.ref == t.subject_id or told.over):
                continue  # not by the address that takes none; and that it takes them again is seen there
            paced = self._rate if errand.on_sheet or errand.step in ("begun", "changed", "over") else 1.0
            rows.append(
                OutboxRow(
                    alarm_id=t.id,
                    sequence=t.sequence,
                    address_ref=errand.ref,
                    title=title(schedule),
                    body=repeated(text) if errand.step.startswith("again") or errand.ref in have else text,
                    kind=t.kind,
                    priority=t.priority,
                    created_real_s=now_s,
                    due_real_s=now_s + errand.after_s / paced,
                    expires_real_s=now_s + errand.after_s / paced + errand.expires_s - errand.after_s,
                    step=errand.step,
                    until_answered=errand.until_answered,
                    on_sheet=errand.on_sheet,
                    rank=whom.rank(told),
                )
            )
        return rows

    def _see_anew(self, now_s: float) -> None:
        """Other people, hours or doings: what waits for its hour, and what stands and nobody has been handed. Raises
        EnvironmentFault; then it is tried again."""
        local, doing = self._local(), self._doing()
        waiting = self._journal.waiting()
        self._journal.put_off(
            anew.hours(waiting, self._people, local, now_s, self._rate, aboard=doing.aboard, laid_up=doing.laid_up)
        )
        for shown in self._journal.standing():
            found = self._stands(shown["id"]) if shown["state"] == "unacknowledged" else None
            if found is None or not found[0].told:
                continue
            t, schedule = found
            told, thread = _told(t, schedule), self._journal.thread(t.id)
            if not thread and (self._were is None or whom.plan(told, self._were, local).errands):
                continue  # what held it back then still does
            handed = any(row.status in ("handed-over", "trying") for row in thread)
            errands = []
            for errand in whom.plan(told, self._people, local, aboard=doing.aboard, laid_up=doing.laid_up).errands:
                mine = {row.status for row in thread if row.address_ref == errand.ref}
                if not mine & {"waiting", "trying", "handed-over"} and (not handed or "refused" in mine):
                    errands.append(errand)
            if errands:
                self._journal.address_anew(self._rows(t, alarm_object(t, schedule), schedule, errands, told, now_s))
        for row in anew.left(waiting, self._addresses):
            self._inherit(row)
        self._were, self._anew = None, False

    def _inherit(self, row: OutboxRow) -> None:
        """What is over by now, and was told to nobody: to those who hear such a thing now."""
        thread = self._journal.thread(row.alarm_id)
        heard = any(each.address_ref in self._addresses or each.status in ("handed-over", "trying") for each in thread)
        if heard or self._stands(row.alarm_id) is not None:
            return
        shown = next(iter(self._journal.last_transitions(1, row.alarm_id)), {})
        about = {shown.get("circuit"), *shown.get("circuits", ())}
        heirs = [p for p in self._people.persons if row.priority in p.priorities and (not p.circuits or about & {*p.circuits})]
        self._journal.address_anew([replace(row, address_ref=ref) for person in heirs for ref in person.refs])

    def weekly_due(self, since_ms: int) -> bool:
        """Is it time for the weekly sign, in a vehicle that has been watched since `since_ms` at least?"""
        if self._people.weekly_day is None or not self._addresses:
            return False
        local = self._local()
        # Asked for ahead, by some of the daemon's looks, so that it is on the sheet and not behind it.
        ahead = timedelta(seconds=WEEKLY_AHEAD_S * max(1.0, self._rate / 60.0))
        due = whom.weekly_since(self._people, local + ahead)
        if due is None or due.timestamp() * 1000 < since_ms:
            return False
        try:
            last_ms = max(self._journal.last_asked_ms(WEEKLY) or 0, self._asked_ms)
        except EnvironmentFault:
            return False  # looked at again
        if last_ms >= (due - ahead).timestamp() * 1000:
            return False
        self._asked_ms = self._now_ms()  # on a failing disk the journal does not know of it
        return True

    def clock_was_set(self, step_s: float, *, hours: bool) -> bool:
        """Whether what waits went along with the clock of delivery; on a failing disk it is tried again."""
        try:
            self._journal.clock_was_set(step_s, self._real_s(), hours=hours)
        except EnvironmentFault:
            return False
        self._failing = {ref: since_s + step_s for ref, since_s in self._failing.items()}
        self.hours_changed()
        return True

    def _local(self) -> datetime:
        return datetime.fromtimestamp(self._local_ms() / 1000.0, UTC).astimezone(ZoneInfo(self.zone))

    # Sending. The outbox owns all retrying.

    def deliver(self) -> None:
        """Hand what is due to the sending thread; each row is marked before the send."""
        now_s = self._real_s()
        self.outbox_due_s = time.monotonic() + OUTBOX_CHECK_S
        self._look_at_disk()
        if not self._addresses:
            return
        if self._anew:
            with suppress(EnvironmentFault):  # tried again; what is due does not wait for it
                self._see_anew(now_s)
        try:
            self._journal.expire(now_s)
            due = self._journal.due(now_s, LOOK_AT)
            late = anew.asleep(due, self._people, self._local(), now_s, self._rate)
            self._journal.put_off(late)
            due = [row for row in due if row.id not in {each.row for each in late}]
        except EnvironmentFault:
            return  # said where the readings are committed; tried again
        busy = self.lanes.on_way()
        for ailing in (False, True):
            free = [row for row in due if row.address_ref not in busy and self._ails(row.address_ref) is ailing]
            self._give(free, now_s, ailing=ailing)
        try:
            next_s = self._journal.next_due_s()
        except EnvironmentFault:
            return  # looked at again after OUTBOX_CHECK_S
        if next_s is not None and next_s > now_s:  # what is due and waits all the same waits for a thread, or for its hour
            self.outbox_due_s = min(self.outbox_due_s, time.monotonic() + max(0.05, next_s - now_s))

    def _ails(self, ref: str) -> bool:
        return ref in self._failing or self.lanes.slow(ref)

    def _look_at_disk(self) -> None:
        """A disk that fails for long silences nobody, and is told; once, until it is over."""
        failing_s = self._monotonic() - self._disk_fails_s if self.disk_fault else 0.0
        if failing_s >= STAND_IN_S:
            self._journal.stand_in()
        if (self._disk_told and not self.disk_fault) or (not self._disk_told and failing_s >= UNWRITTEN_S):
            self._disk_told = not self._disk_told
            self._unwritten(self._disk_told)

    def _give(self, due: Sequence[OutboxRow], now_s: float, *, ailing: bool) -> None:
        """What is marked is given to its thread with nothing in between: it would stand there until the next start."""
        try:
            bundles = self._bundled(due, now_s)
            rows = [self._worded(each, now_s) for each in bundles]
            self._journal.mark_trying([row.id for each in bundles for row in each])
        except EnvironmentFault:
            return  # tried again
        if rows:
            self._bundles |= {each[0].id: each for each in bundles}
            self.lanes.give(rows, ailing=ailing)

    def _bundled(self, due: Sequence[OutboxRow], now_s: float) -> list[list[OutboxRow]]:
        """What goes out now, the most urgent of each address: by itself, but what waited to one address together."""
        old_s = WAITED_S / self._rate
        by_ref: dict[str, list[OutboxRow]] = {}
        for row in due:
            by_ref.setdefault(row.address_ref, []).append(row)
        out: list[list[OutboxRow]] = []
        for ref, rows in by_ref.items():
            waited = [row for row in rows if _can_wait(row) and (row.attempts or now_s - row.created_real_s >= old_s)]
            theirs = {row.alarm_id for row in waited}  # what says the same once more goes along with it
            waited += [row for row in rows if row.alarm_id in theirs and row not in waited]
            if len(waited) > 1:
                out.append(sorted(waited, key=lambda row: row.id))
            single = [row for row in rows if len(waited) < 2 or row not in waited]
            calm = [row for row in single if _counts(row)]
            much = bool(calm) and self._journal.handed_over_since(ref, now_s - 3600.0) >= MOST_AN_HOUR
            out += [[row] for row in single if not (much and _counts(row))]
        out.sort(key=lambda rows: min(row.rank for row in rows))
        most_urgent = {rows[0].address_ref: rows for rows in reversed(out)}
        return [rows for rows in out if most_urgent[rows[0].address_ref] is rows]

    def _worded(self, rows: list[OutboxRow], now_s: float) -> SendRow:
        """Where a fault of ours keeps it from being said anew: as it was written."""
        try:
            return self._send_row(rows, now_s)
        except EnvironmentFault:
            raise
        except Exception as error:
            self._say_once(f"a message can't be said anew and goes as it was written: {type(error).__name__}: {error}")
            row = min(rows, key=lambda each: each.rank)
            text = repeated(row.body) if any(each.repeat for each in rows) else row.body
            of = _TYPES.get(row.priority, "info")
            return SendRow(row=rows[0].id, ref=row.address_ref, title=row.title, body=text, type=of)

    def _send_row(self, rows: list[OutboxRow], now_s: float) -> SendRow:
        first, at_s = rows[0], self._now_ms() / 1000.0
        written_s = {row.id: at_s - (now_s - row.created_real_s) * self._rate for row in rows}
        again = {row.alarm_id for row in rows if self._is_repeat(row)}
        if len({row.alarm_id for row in rows}) == 1:
            newest = rows[-1]
            old = now_s - first.created_real_s >= WAITED_S / self._rate
            text = self._text(newest, written_s[newest.id], at_s, old=old, again=bool(again))
            link = self._link(newest)
            text = with_link(text, link) if link is not None else text
        else:
            pieces = []
            for row in rows:
                found = self._stands(row.alarm_id)
                if found is not None:
                    said = _of_now(*found, again=row.alarm_id in again)["message"]
                else:
                    said = dated(once(row.body).partition("\n")[0], written_s[row.id], at_s, self.zone)
                    said = repeated(said) if row.alarm_id in again else said
                pieces.append(Piece(row.alarm_id, said, row.rank, written_s[row.id]))
            how = "network" if any(row.attempts for row in rows) else "sheet" if any(row.on_sheet for row in rows) else "sleep"
            text = together(pieces, how, max(number_of(row.body) for row in rows), self.zone, at_s, fitter=self.fitter)
        worst = max((row.priority for row in rows), key=PRIORITIES.index)
        return SendRow(row=first.id, ref=first.address_ref, title=first.title, body=text, type=_TYPES.get(worst, "info"))

    def _text(self, row: OutboxRow, written_s: float, at_s: float, *, old: bool, again: bool) -> str:
        """What is older than some minutes is said of now; where it is over, with the day of its time."""
        found = self._stands(row.alarm_id) if old and row.step != "over" and row.kind != "drill" else None
        if found is not None:
            t, schedule = found
            shown = _of_now(t, schedule, again=again)
            return body(shown, number_of(row.body), fitter=schedule.vehicle.fitter, known=self._known(t))
        sentence, rest, lines = once(row.body).partition("\n")
        text = dated(sentence, written_s, at_s, self.zone) + rest + lines
        return repeated(text) if again else text

    def _is_repeat(self, row: OutboxRow) -> bool:
        """It may have arrived, or it says again what this address was handed."""
        if row.repeat or not row.step.startswith("again"):
            return row.repeat or row.body.startswith(english.AGAIN)
        thread = self._journal.outbox_rows(row.alarm_id)
        mine = (each for each in thread if each.address_ref == row.address_ref)
        return any(each.status == "handed-over" or each.repeat for each in mine)

    def _link(self, row: OutboxRow) -> str | None:
        """The link that answers this message's alarm, made as it goes out: the journal keeps none."""
        if self._answering is None:
            return None
        try:
            return self._answering.link(row, lambda alarm_id: self._journal.last_transitions(LATEST_OF_ONE, alarm_id))
        except EnvironmentFault:
            return None  # the message matters more

    def settle(self, results: list[SendResult]) -> None:
        """What became of a batch: done, or to be tried again after a growing, random wait."""
        self.lanes.done(results)
        self.outbox_due_s = self.commit_due_s = 0.0
        for place, result in enumerate(results):
            now_s = self._real_s() + place / 1000.0  # a moment of its own for each message: so many are counted
            rows = self._bundles.pop(result.row, [])
            ids = [row.id for row in rows] or [result.row]
            ref = rows[0].address_ref if rows else ""
            if ref:
                self._hear(ref, result.result, now_s)
                self._anew |= ref not in self._addresses  # it may have been on its way while others were named
            if result.result in ("handed-over", "refused"):
                self._journal.settle(ids, result.result, result.why, now_s=now_s)
                if result.result == "handed-over" and ref:
                    self._journal.try_together(ref, now_s)  # it takes messages again
                continue
            try:
                attempts = min(self._journal.attempts(row) for row in ids)
            except EnvironmentFault:
                attempts = 1
            due_s = now_s + next_try_s(attempts, self._random)
            self._journal.settle(ids, "waiting", result.why, due_s, repeat=result.maybe_sent)
            if ref:
                self._journal.try_together(ref, due_s)
            n = f" and {len(ids) - 1} more" if len(ids) > 1 else ""
            self._log(f"message {result.row}{n} not handed over, next try in {due_s - now_s:.0f} s: {result.why}")

    def _hear(self, ref: str, result: str, now_s: float) -> None:
        """Does this address take messages? That it does not, for long, is told by another way."""
        if ref not in self._addresses:
            return  # nobody is told by it any more
        if result == "handed-over":
            self._failing.pop(ref, None)
            if ref in self._unheard:
                self._unheard.discard(ref)
                self._heard(ref, True)
            return
        since_s = self._failing.setdefault(ref, now_s)
        network = len(self._addresses) > 1 and len(self._failing) == len(self._addresses)  # nobody is reached: no one's fault
        if ref not in self._unheard and (result == "refused" or (now_s - since_s >= UNSENT_S and not network)):
            self._unheard.add(ref)
            self._heard(ref, False)

    def end(self) -> None:
        """Let what is on its way arrive, for a moment; then end the thread."""
        self.lanes.end()


def _of_now(t: Transition, schedule: Schedule, *, again: bool) -> dict[str, Any]:
    """What is said of an alarm as it stands: a flood that only goes on is no repeat to whom it is new."""
    return alarm_object(replace(t, event="begins") if t.kind == "flood" else t, schedule, again=again)


def _can_wait(row: OutboxRow) -> bool:
    """Whether it may stand below another: what repeats a high alarm comes by itself."""
    return not row.step.startswith("again") or row.attempts > 0


def _counts(row: OutboxRow) -> bool:
    """Among the most that an address takes in an hour."""
    return row.priority != "high" and row.kind != "drill"


_RETOLD = ("unshelve", "in-service", "work-over")  # says again what was said before somebody hid it
_ASKS_AGAIN = ("re-alarm", "begins-again", "unshelve", "in-service", "unsuppress", "work-over")  # as if it had begun now
_ANSWERS = ("acknowledge", "shelve", "out-of-service", "suppress", "withdrawn")


WEEKLY = "the weekly sign"  # who asks for the test message that rides on the evening sheet


def _told(t: Transition, schedule: Schedule) -> whom.Told:
    about = t.circuits if t.subject != "circuit" else (t.subject_id, *t.circuits)
    life = {c.id for c in schedule.circuits if c.importance == "life"}
    asked_now = t.kind == "drill" and dict(t.figures).get("asked_by") != WEEKLY
    return whom.Told(
        priority=t.priority,
        event=t.event,
        over=t.event in ("ends", "withdrawn") or t.state in ("normal", "returned-unacknowledged"),
        circuits=tuple(about),
        urgent=t.kind == "conductor-overheating" or asked_now or any(c in life for c in about),
        worse=t.event in _ASKS_AGAIN or t.was is not None,
        wanted=t.told,
        everyone=t.kind == "drill",
        answered=t.event in _ANSWERS,
    )
