"""What leaves the daemon: into the journal first, then to the broker and, by the outbox, to the phones.

Used by the daemon's one loop. Its own thread only sends: it is given rows, hands back results, and touches no journal.
"""

from __future__ import annotations

import json
import queue
import random
import time
from collections.abc import Callable, Mapping
from threading import Thread
from typing import Any, Protocol

from panelward.errors import EnvironmentFault
from panelward.journal import Journal, OutboxRow, StoredTransition
from panelward.notify import Delivery, SendResult, SendRow
from panelward.notify.policy import expires_after_s, next_try_s
from panelward.records import Schedule, Transition
from panelward.wording import alarm_object, body, repeated, title

COMMIT_S = 5.0  # readings at risk of a kill -9: at most this long
RETRY_COMMIT_S = 5.0
OUTBOX_CHECK_S = 5.0
SEND_AT_ONCE = 8
END_S = 5.0
CLEARED = 500  # so many of the last transitions are looked at for retained alarms that are over

_TYPES = {"high": "failure", "medium": "warning"}


class Publish(Protocol):
    """How a message goes to the broker, or into the queue until there is one."""

    def __call__(self, topic: str, payload: bytes, *, retain: bool = False) -> None: ...


class Outward:
    """Journal, broker and phones. `sent` is called by the sending thread with the results of a batch."""

    def __init__(
        self,
        journal: Journal,
        addresses: Mapping[str, str],
        *,
        prefix: str,
        publish: Publish,
        sent: Callable[[list[SendResult]], None],
        log: Callable[[str], None],
    ) -> None:
        self._journal, self._addresses, self._prefix = journal, dict(addresses), prefix
        self._publish, self._sent, self._log = publish, sent, log
        self._delivery = Delivery(self._addresses)
        self._outgoing: queue.SimpleQueue[list[SendRow] | None] = queue.SimpleQueue()
        self._random = random.Random()  # spreads retries; nothing of the core
        self._sender: Thread | None = None
        self._sending = False
        self.disk_fault = ""
        self.commit_due_s = 0.0  # monotonic
        self.outbox_due_s = 0.0

    def start(self) -> None:
        """Begin to send."""
        self._sender = Thread(target=self._send_all, name="delivery", daemon=True)
        self._sender.start()

    def write(self, found: list[Transition], schedule: Schedule, now_row: Mapping[str, Any] | None) -> None:
        """Journal transitions with all inputs before them and their outbox rows; then tell the broker."""
        now_s = time.time()
        shown = [(t, alarm_object(t, schedule)) for t in found]
        stored = [
            StoredTransition(
                alarm_id=t.id, sequence=t.sequence, at_ms=t.at_ms, subject=t.subject, subject_id=t.subject_id,
                group=t.group, state=t.state, object=told,
            )
            for t, told in shown
        ]  # fmt: skip
        rows = [row for t, told in shown if t.told for row in self._rows(t, told, schedule, now_s)]
        if rows:
            self.outbox_due_s = 0.0
        self.commit(now_row, stored, rows)
        for _, told in shown:
            topic = self._topic(told)
            self._publish(topic, json.dumps(told, ensure_ascii=False).encode(), retain=True)
            if told["state"] == "normal":
                self._publish(topic, b"", retain=True)

    def commit(
        self,
        now_row: Mapping[str, Any] | None,
        stored: list[StoredTransition] | None = None,
        rows: list[OutboxRow] | None = None,
    ) -> None:
        """One transaction. Where the disk fails the journal keeps all of it for the next one, and this says so once."""
        try:
            self._journal.commit(transitions=stored or (), outbox=rows or (), now_row=now_row)
        except EnvironmentFault as fault:
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

    def publish_standing(self) -> None:
        """What stands, as the broker should have it; and what is over while the broker may still have it is cleared."""
        newest = {self._topic(shown): shown for shown in self._journal.last_transitions(CLEARED)}
        for shown in self._journal.standing():
            newest[self._topic(shown)] = shown
        for topic, shown in newest.items():
            payload = b"" if shown["state"] == "normal" else json.dumps(shown, ensure_ascii=False).encode()
            self._publish(topic, payload, retain=True)

    def _topic(self, shown: Mapping[str, Any]) -> str:
        subject, subject_id = next(iter(shown["subject"].items()))
        return f"{self._prefix}alarm/{subject}/{subject_id}/{shown['group']}"

    def _rows(self, t: Transition, shown: dict[str, Any], schedule: Schedule, now_s: float) -> list[OutboxRow]:
        if not self._addresses:
            return []
        text = body(shown, self._journal.next_message_number())
        return [
            OutboxRow(
                alarm_id=t.id, sequence=t.sequence, address_ref=ref, title=title(schedule), body=text, kind=t.kind,
                priority=t.priority, created_real_s=now_s, due_real_s=now_s,
                expires_real_s=now_s + expires_after_s(t.priority),
            )
            for ref in self._addresses
        ]  # fmt: skip

    # Sending. The outbox owns all retrying.

    def deliver(self) -> None:
        """Hand what is due to the sending thread; each row is marked before the send."""
        now_s = time.time()
        self.outbox_due_s = time.monotonic() + OUTBOX_CHECK_S
        if self._sending or not self._addresses:
            return
        try:
            self._journal.expire(now_s)
            rows = self._journal.due(now_s, SEND_AT_ONCE)
            self._journal.mark_trying([row.id for row in rows])
            next_s = self._journal.next_due_s()
        except EnvironmentFault:
            return  # said where the readings are committed; tried again
        if next_s is not None:
            self.outbox_due_s = min(self.outbox_due_s, time.monotonic() + max(0.05, next_s - now_s))
        if rows:
            self._sending = True
            self._outgoing.put([self._send_row(row) for row in rows])

    @staticmethod
    def _send_row(row: OutboxRow) -> SendRow:
        text = repeated(row.body) if row.repeat else row.body
        return SendRow(row=row.id, ref=row.address_ref, title=row.title, body=text, type=_TYPES.get(row.priority, "info"))

    def _send_all(self) -> None:
        while (rows := self._outgoing.get()) is not None:
            self._sent(self._delivery.send(rows))

    def settle(self, results: list[SendResult]) -> None:
        """What became of a batch: done, or to be tried again after a growing, random wait."""
        self._sending = False
        self.outbox_due_s = self.commit_due_s = 0.0
        now_s = time.time()
        for result in results:
            if result.result in ("handed-over", "refused"):
                self._journal.settle(result.row, result.result, result.why)
                continue
            try:
                attempts = self._journal.attempts(result.row)
            except EnvironmentFault:
                attempts = 1
            due_s = now_s + next_try_s(attempts, self._random)
            self._journal.settle(result.row, "waiting", result.why, due_s, repeat=result.maybe_sent)
            self._log(f"message {result.row} not handed over, next try in {due_s - now_s:.0f} s: {result.why}")

    def end(self) -> None:
        """Let what is on its way arrive, for a moment; then end the thread."""
        self._outgoing.put(None)
        if self._sender is not None:
            self._sender.join(timeout=END_S)
            self._delivery.stop()
            self._sender.join(timeout=END_S)
