"""The threads that send: one for addresses that take their messages, one for those that fail just now or take long.

Each address has one message on its way; what comes for another goes out beside it. So a service that is slow or hangs holds
up itself, and after that once it has the company of others like it. Rows go in, results come back by `sent` as they come;
neither thread touches the journal.
"""

from __future__ import annotations

import queue
from collections.abc import Callable, Mapping, Sequence
from threading import Thread

from panelward.notify import Delivery, SendResult, SendRow

END_S = 5.0
SLOW_S = 10.0  # an address that takes so long for a message


class _Lane:
    def __init__(self, name: str, addresses: Mapping[str, str]) -> None:
        self.name = name
        self.rows: queue.SimpleQueue[list[SendRow] | None] = queue.SimpleQueue()
        self.delivery = Delivery(addresses)
        self.thread: Thread | None = None
        self.ended = False


class Lanes:
    """`sent` is called by a sending thread with what became of a message; `done` takes it in the loop."""

    def __init__(self, addresses: Mapping[str, str], sent: Callable[[list[SendResult]], None]) -> None:
        self._well, self._ailing = _Lane("delivery", addresses), _Lane("delivery again", addresses)
        self._sent = sent
        self._on_way: dict[int, str] = {}  # rows, and to whom
        self._slow: dict[str, bool] = {}  # written by the threads

    def use(self, addresses: Mapping[str, str]) -> None:
        """Other addresses from now on; what is being sent ends as it began."""
        for lane in (self._well, self._ailing):
            lane.delivery = Delivery(addresses)

    def start(self) -> None:
        for lane in (self._well, self._ailing):
            lane.thread = Thread(target=self._send_all, args=(lane,), name=lane.name, daemon=True)
            lane.thread.start()

    def on_way(self) -> frozenset[str]:
        """Addresses that have a message on its way: they get no other."""
        return frozenset(self._on_way.values())

    def slow(self, ref: str) -> bool:
        """Whether its last message took long."""
        return self._slow.get(ref, False)

    def give(self, rows: Sequence[SendRow], *, ailing: bool) -> None:
        """A message each for some addresses."""
        self._on_way |= {row.row: row.ref for row in rows}
        (self._ailing if ailing else self._well).rows.put(list(rows))

    def done(self, results: Sequence[SendResult]) -> None:
        """These came back."""
        for result in results:
            self._on_way.pop(result.row, None)

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

    def _send_all(self, lane: _Lane) -> None:
        refs: dict[int, str] = {}
        delivery = lane.delivery

        def told(result: SendResult, took_s: float) -> None:
            self._slow[refs.pop(result.row)] = took_s >= SLOW_S
            self._sent([result])

        def more() -> list[SendRow]:
            found: list[SendRow] = []
            # What came behind `use` is for a batch with the other addresses.
            while lane.delivery is delivery and not lane.ended and not lane.rows.empty():
                found += taken(lane.rows.get())
            return found

        def taken(rows: list[SendRow] | None) -> list[SendRow]:
            lane.ended = rows is None
            refs.update({row.row: row.ref for row in rows or ()})
            return rows or []

        while not lane.ended:
            rows = taken(lane.rows.get())
            delivery = lane.delivery
            if rows:
                delivery.send(rows, told, more)
