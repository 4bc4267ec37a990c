"""The threads that send: one for addresses that take their messages, one for those that fail just now.

A service that hangs holds up whoever shares its thread until its deadline; so after its first failure it has the company of
others that fail, and nobody else waits for it. Rows go in, results come back by `sent`; neither thread touches the journal.
"""

from __future__ import annotations

import queue
from collections.abc import Callable, Mapping, Sequence
from threading import Thread

from panelward.notify import Delivery, SendResult, SendRow

END_S = 5.0


class _Lane:
    def __init__(self, name: str, addresses: Mapping[str, str]) -> None:
        self.name = name
        self.rows: queue.SimpleQueue[list[SendRow] | None] = queue.SimpleQueue()
        self.delivery = Delivery(addresses)
        self.thread: Thread | None = None
        self.busy: frozenset[int] = frozenset()  # rows on their way


class Lanes:
    """`sent` is called by a sending thread with the results of a batch; `done` takes them in the loop."""

    def __init__(self, addresses: Mapping[str, str], sent: Callable[[list[SendResult]], None]) -> None:
        self._well, self._ailing = _Lane("delivery", addresses), _Lane("delivery again", addresses)
        self._sent = sent

    def use(self, addresses: Mapping[str, str]) -> None:
        """Other addresses from now on; what is being sent ends as it began."""
        for lane in (self._well, self._ailing):
            lane.delivery = Delivery(addresses)

    def start(self) -> None:
        for lane in (self._well, self._ailing):
            lane.thread = Thread(target=self._send_all, args=(lane,), name=lane.name, daemon=True)
            lane.thread.start()

    def free(self, *, ailing: bool) -> bool:
        """Whether a batch may be given."""
        return not self._lane(ailing).busy

    def give(self, rows: Sequence[SendRow], *, ailing: bool) -> None:
        """A batch for the thread."""
        lane = self._lane(ailing)
        lane.busy = frozenset(row.row for row in rows)
        lane.rows.put(list(rows))

    def done(self, results: Sequence[SendResult]) -> None:
        """The batch of these results is over."""
        for lane in (self._well, self._ailing):
            if any(result.row in lane.busy for result in results):
                lane.busy = frozenset()

    def given(self) -> list[list[SendRow]]:
        """The batches that wait for a thread: for whoever sends in its place."""
        out = []
        for lane in (self._well, self._ailing):
            while not lane.rows.empty():
                rows = lane.rows.get()
                if rows is not None:
                    out.append(rows)
        return out

    def end(self) -> None:
        """Let what is on its way arrive, for a moment; then end the threads."""
        lanes = (self._well, self._ailing)
        for lane in lanes:
            lane.rows.put(None)
        for stop in (False, True):
            for lane in lanes:
                if lane.thread is not None:
                    if stop:
                        lane.delivery.stop()
                    lane.thread.join(timeout=END_S)

    def _lane(self, ailing: bool) -> _Lane:
        return self._ailing if ailing else self._well

    def _send_all(self, lane: _Lane) -> None:
        while (rows := lane.rows.get()) is not None:
            self._sent(lane.delivery.send(rows))
