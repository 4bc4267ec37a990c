"""What the files of this room share: the list that conditions go to, and the queue of their deadlines.

A deadline belongs to an owner, which says itself when it is due (`due_ms`). Entries of the queue may be out of
date: one that fires too early is only a look, so laziness changes nothing that comes out.
"""

from __future__ import annotations

from heapq import heappop, heappush
from typing import Protocol

from panelward.records import Condition


class Owner(Protocol):
    """Whoever has a deadline. `order` is its place in the schedule: it decides at equal times."""

    order: int
    due_ms: int | None

    def fire(self, now_ms: int) -> None:
        """Called at `due_ms`; sets the next `due_ms`."""


class Bench:
    """Conditions found so far, and who wants to be called when. All times are on the core's own axis, ms."""

    def __init__(self) -> None:
        self.found: list[Condition] = []
        self._queue: list[tuple[int, int]] = []
        self._owners: list[Owner] = []

    def enrol(self, owner: Owner) -> int:
        """Give an owner its order; owners are enrolled in the order of the schedule."""
        self._owners.append(owner)
        return len(self._owners) - 1

    def call_at(self, owner: Owner, due_ms: int | None) -> None:
        """Set an owner's deadline; a later one than queued is found when the earlier entry comes up."""
        earlier = owner.due_ms is None or (due_ms is not None and due_ms < owner.due_ms)
        owner.due_ms = due_ms
        if due_ms is not None and earlier:
            heappush(self._queue, (due_ms, owner.order))

    def next_ms(self) -> int | None:
        """The next true deadline, or None."""
        queue, owners = self._queue, self._owners
        while queue:
            due_ms, order = queue[0]
            true_ms = owners[order].due_ms
            if true_ms == due_ms:
                return due_ms
            heappop(queue)
            if true_ms is not None and true_ms > due_ms:
                heappush(queue, (true_ms, order))
        return None

    def fire(self) -> None:
        """Fire the deadline that `next_ms` named."""
        due_ms, order = heappop(self._queue)
        owner = self._owners[order]
        owner.due_ms = None
        owner.fire(due_ms)

    def rebuild(self) -> None:
        """Make the queue from the owners' own deadlines (after a restore)."""
        self._queue = []
        for owner in self._owners:
            if owner.due_ms is not None:
                heappush(self._queue, (owner.due_ms, owner.order))
