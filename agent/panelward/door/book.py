"""The journal, as the pages read it: one thread, one connection, opened anew where the file was put aside or replaced."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from panelward.errors import EnvironmentFault
from panelward.journal import Journal, OutboxRow

T = TypeVar("T")
MOST = 300  # alarms of which it is looked up when they were told


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What stands in the journal now."""

    row: dict[str, Any]  # the present row; empty where nothing was watched yet
    standing: tuple[dict[str, Any], ...]  # the newest alarm object of each alarm that is not over
    waiting: tuple[OutboxRow, ...]  # messages that are not settled
    told_s: dict[str, float]  # alarm id -> real Unix seconds at which a phone's service first took its message
    fault: str = ""  # why nothing is known


class Book:
    """Everything is asked in a thread of its own, so that a slow disk holds up no page that needs none."""

    def __init__(self, path: str) -> None:
        self.path = Path(path)
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="book")
        self._journal: Journal | None = None
        self._file: tuple[int, int] | None = None

    async def ask(self, question: Callable[[Journal], T]) -> T:
        """The answer of the journal. EnvironmentFault where it can't be read."""
        return await asyncio.get_running_loop().run_in_executor(self._pool, self._answer, question)

    async def version(self) -> int:
        """Another number whenever the daemon has committed something; -1: it can't be read."""
        try:
            return await self.ask(lambda journal: journal.data_version)
        except EnvironmentFault:
            return -1

    async def look(self) -> Look:
        """What stands now; a journal that can't be read is told, not raised."""
        try:
            return await self.ask(_look)
        except EnvironmentFault as fault:
            return Look(row={}, standing=(), waiting=(), told_s={}, fault=str(fault))

    def close(self) -> None:
        self._pool.submit(self._let_go).result()
        self._pool.shutdown()

    def _answer(self, question: Callable[[Journal], T]) -> T:
        try:
            found = self.path.stat()
        except OSError:
            found = None
        identity = None if found is None else (found.st_dev, found.st_ino)
        if self._journal is None or identity != self._file:
            self._let_go()
            self._journal = Journal.read(self.path)
            self._file = identity
        try:
            return question(self._journal)
        except EnvironmentFault:
            self._let_go()
            raise

    def _let_go(self) -> None:
        if self._journal is not None:
            self._journal.close()
            self._journal = None


def _look(journal: Journal) -> Look:
    standing = journal.standing()
    told = {a["id"]: at_s for a in standing[:MOST] if (at_s := journal.first_told_s(a["id"])) is not None}
    return Look(
        row=journal.present() or {},
        standing=tuple(standing),
        waiting=tuple(journal.outbox_open()),
        told_s=told,
    )
