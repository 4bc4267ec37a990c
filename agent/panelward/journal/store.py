"""The journal's writing side: numbers, the buffer, the one transaction, and a disk that fails.

buffer ──_seal──▶ pieces (blocks, others) ──one transaction──▶ file
                    ▲ a commit that fails leaves them here, for the next one
"""

from __future__ import annotations

import json
import sqlite3
import time
from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

from panelward.errors import EnvironmentFault
from panelward.journal import block, opening, spelling
from panelward.journal.keeping import Keeping
from panelward.journal.outbox import TEMPORARY, OutboxTable, Settlement
from panelward.journal.packing import PACKED_READINGS
from panelward.journal.past import pack_present, pack_snapshot
from panelward.journal.rows import Kept, OutboxRow, StoredTransition, Withdrawal
from panelward.records import Input, Reading

KEEP_READINGS = 200_000  # in memory while the disk fails: about 1 MB packed, 4 h of 12 circuits a second
KEEP_SNAPSHOTS = 3
READ_TRIES, READ_AGAIN_S = 5, 0.1  # a writer that was killed, or begins, at this moment looks like a disk that fails


class _Block(NamedTuple):
    first: int
    last: int
    first_ms: int
    last_ms: int
    body: bytes


class _Other(NamedTuple):
    number: int
    kind: str
    received_ms: int
    body: str


class Journal(Keeping, OutboxTable):
    """One SQLite file, opened and used by one thread of one process; others read.

    `set_aside` is where a damaged file was put (at the opening or later), else None.
    `dropped_readings` counts readings that had to be given up while the disk failed.
    """

    def __init__(
        self,
        path: Path,
        connection: sqlite3.Connection,
        *,
        set_aside: Path | None = None,
        keep_readings: int = KEEP_READINGS,
    ) -> None:
        super().__init__(path, connection)
        self.set_aside = set_aside
        self.dropped_readings = 0
        self._keep_readings = keep_readings
        self._file = _identity(path)
        self._buffer: list[Input] = []
        self._pieces: deque[_Block | _Other] = deque()
        self._dropped: list[tuple[int, int]] = []
        self._transitions: dict[tuple[str, int], StoredTransition] = {}
        self._objects: dict[tuple[str, int], str] = {}
        self._messages: dict[tuple[str, int, str, str], OutboxRow] = {}
        self._withdrawals: dict[Withdrawal, None] = {}
        self._settlements: list[Settlement] = []
        self._spare: sqlite3.Connection | None = None
        self._renamed: list[Mapping[str, str]] = []
        self._moved: dict[int, int] = {}
        self._handed: dict[int, int] = {}  # … of the last commit, before it is known to have worked
        self._temporary = TEMPORARY
        self._doings: list[tuple[int, str]] = []
        self._replaced: list[tuple[int, str]] = []
        self._changed: list[tuple[int, str]] = []
        self._present: str | None = None
        self._number = self._written = opening.last_number(connection)
        found = self._ask("SELECT value FROM counters WHERE name = 'message'")
        self._message_number = found[0][0] if found else 0

    @classmethod
    def open(cls, path: str | Path, *, create: bool = True, keep_readings: int = KEEP_READINGS) -> Journal:
        """To write. A damaged file is set aside and a new one begun (`set_aside`); a file of somebody else or of a
        newer version is left as it is. Raises EnvironmentFault."""
        path = Path(path)
        connection, aside = opening.open_to_write(path, create=create)
        try:
            return cls(path, connection, set_aside=aside, keep_readings=keep_readings)
        except sqlite3.Error as error:
            connection.close()
            raise opening.plain(error, path) from error

    @classmethod
    def read(cls, path: str | Path) -> Journal:
        """For other processes: to read only. Raises EnvironmentFault, then and whenever it is to write."""
        path, left = Path(path), READ_TRIES
        while True:
            connection = opening.open_to_read(path)
            try:
                return cls(path, connection)
            except sqlite3.Error as error:
                connection.close()
                left -= 1
                if not left or not opening.is_lost(error):
                    raise opening.plain(error, path) from error
            time.sleep(READ_AGAIN_S)

    def close(self) -> None:
        """Lets go of the file. Commit first: what is only in memory is gone."""
        self._connection.close()

    # In.

    def append(self, item: Input) -> int:
        """Give an input its number (1, 2, … without holes) and keep it for the next commit. No I/O."""
        self._buffer.append(item)
        self._number += 1
        return self._number

    def doing(self, changes: Iterable[Mapping[str, Any]]) -> None:
        """What the vehicle does from now on, for the next commit: `at_ms` and the rest. No I/O."""
        self._doings += [(each["at_ms"], _json(each)) for each in changes]

    def replaced(self, found: Iterable[Mapping[str, Any]]) -> None:
        """What was replaced, for the next commit: `at_ms` and the rest. No I/O."""
        self._replaced += [(each["at_ms"], _json(each)) for each in found]

    def changed(self, found: Iterable[Mapping[str, Any]]) -> None:
        """What was changed, or refused, for the next commit: `at_ms` and the rest. No I/O."""
        self._changed += [(each["at_ms"], _json(each)) for each in found]

    @property
    def last_number(self) -> int:
        """The number of the last input appended, in this run or an earlier one; 0: none."""
        return self._number

    def next_message_number(self) -> int:
        """The running number in a message's body; it goes on over restarts."""
        self._message_number += 1
        return self._message_number

    def known(self, alarm_id: str, sequence: int) -> bool:
        """Whether this transition is journalled, or waits in memory for a failing disk."""
        if (alarm_id, sequence) in self._transitions:
            return True
        return bool(self._ask("SELECT 1 FROM transitions WHERE alarm_id = ? AND sequence = ?", (alarm_id, sequence)))

    def thread(self, alarm_id: str) -> list[OutboxRow]:
        """All messages of an alarm so far, with those that wait in memory for a failing disk."""
        if self._spare is not None:
            return self.outbox_rows(alarm_id)
        return self.outbox_rows(alarm_id) + [row for row in self._messages.values() if row.alarm_id == alarm_id]

    def move_refs(self, moves: Mapping[str, str]) -> None:
        """… and so do those in memory."""
        rows = [replace(row, address_ref=moves.get(row.address_ref, row.address_ref)) for row in self._messages.values()]
        self._messages = {(row.alarm_id, row.sequence, row.address_ref, row.step): row for row in rows}
        gone = [each._replace(ref=moves.get(each.ref, each.ref)) for each in self._withdrawals]
        self._withdrawals = dict.fromkeys(gone)
        super().move_refs(moves)

    def stand_in(self) -> None:
        """The outbox goes on in memory, as the file can't be written: what is due is sent without its mark on the disk.

        Then a kill may repeat a message unmarked; the other choice is that nobody hears anything. The next commit that works
        writes what became of each.
        """
        self._stand_in(self._messages.values(), self._withdrawals)

    @property
    def kept(self) -> Kept:
        """What is not yet in the file."""
        blocks = sum(piece.last - piece.first + 1 for piece in self._pieces if isinstance(piece, _Block))
        others = sum(isinstance(piece, _Other) for piece in self._pieces)
        readings = sum(isinstance(item, Reading) for item in self._buffer)
        return Kept(blocks + readings, others + len(self._buffer) - readings, len(self._transitions), len(self._messages))

    # The one transaction.

    def commit(
        self,
        transitions: Iterable[StoredTransition] = (),
        outbox: Iterable[OutboxRow] = (),
        now_row: Mapping[str, Any] | None = None,
        withdrawn: Iterable[Withdrawal] = (),
    ) -> list[StoredTransition]:
        """Write all inputs so far, then these transitions, the outbox rows of those that are new, and the present row.

        Returns the transitions that were not journalled before. With a transition it is on the disk itself on
        return. Raises EnvironmentFault where the file can't be written: then everything is kept (giving the same
        rows again does no harm) and written by the next commit that works. Of readings only the newest
        `keep_readings` are kept; the numbers of those given up are journalled as dropped.
        """
        self._accept(transitions, outbox, now_row)
        self._withdrawals |= dict.fromkeys(withdrawn)
        self._seal()
        if not (
            self._pieces
            or self._transitions
            or self._settlements
            or self._spare is not None
            or self._doings
            or self._replaced
            or self._changed
            or self._present is not None
        ):
            return []
        return self._write()

    def save_snapshot(self, number: int, state: dict[str, Any]) -> None:
        """Keep the state that includes the inputs up to `number`, with all inputs so far in the same transaction.

        JSON values only; the newest three are kept. Raises EnvironmentFault (the snapshot is given up, the inputs
        are kept) and ValueError on a number that was never given.
        """
        if not 0 < number <= self._number:
            raise ValueError(f"a snapshot of input {number}: the last input is {self._number}")
        body = pack_snapshot(state)
        self._seal()
        self._write((number, body))

    def set_present(self, row: Mapping[str, Any]) -> None:
        """Write the present row by itself. Raises EnvironmentFault."""
        self.commit(now_row=row)

    def pack(self, before_ms: int, *, most: int = PACKED_READINGS) -> bool:
        """See `Packing.pack`. While the disk fails, what waits may be in the file already: then nothing is moved there."""
        return not self._pieces and super().pack(before_ms, most=most)

    # Inside.

    def _accept(
        self,
        transitions: Iterable[StoredTransition],
        outbox: Iterable[OutboxRow],
        now_row: Mapping[str, Any] | None,
    ) -> None:
        """Take what is to be written; spelled here, so that a value that is no JSON is refused before anything."""
        spelled = [(each, _json(each.object)) for each in transitions]
        if now_row is not None:
            self._present = _json(now_row)
        for each, text in spelled:
            key = (each.alarm_id, each.sequence)
            if key not in self._transitions:
                self._transitions[key] = each if each.number else _numbered(each, self._number)
                self._objects[key] = text
        for row in outbox:
            of = (row.alarm_id, row.sequence, row.address_ref, row.step)
            if of not in self._messages:
                self._temporary += 1
                self._messages[of] = replace(row, id=self._temporary)

    def _seal(self) -> None:
        """Turn the buffer into pieces: a run of readings becomes a block, every other input stands alone."""
        items, self._buffer = self._buffer, []
        first = self._number - len(items) + 1
        cuts = [at for at, item in enumerate(items) if type(item) is not Reading]
        for before, after in pairwise((-1, *cuts, len(items))):
            for begin in range(before + 1, after, block.MOST_READINGS):
                run: list[Any] = items[begin : min(after, begin + block.MOST_READINGS)]
                received = (run[0].received_ms, run[-1].received_ms)
                self._pieces.append(_Block(first + begin, first + begin + len(run) - 1, *received, block.encode(run)))
            if after < len(items):
                kind, body = spelling.spell(items[after])
                self._pieces.append(_Other(first + after, kind, items[after].received_ms, body))

    def _write(self, snapshot: tuple[int, bytes] | None = None) -> list[StoredTransition]:
        try:
            self._reach_file()
            try:
                new = self._write_once(snapshot)
            except sqlite3.Error as error:
                if not opening.is_damage(error):
                    raise
                self._begin_anew()
                new = self._write_once(snapshot)
        except sqlite3.Error as error:
            self._give_up_oldest()
            if opening.is_lost(error):
                self._file = None  # a disk that comes back needs the file opened anew
            raise opening.plain(error, self.path) from error
        except EnvironmentFault:
            self._give_up_oldest()
            raise
        self._written = self._number
        self._pieces.clear()
        self._dropped.clear()
        self._transitions.clear()
        self._objects.clear()
        self._messages.clear()
        self._withdrawals.clear()
        self._settlements.clear()
        self._spare = None
        self._renamed.clear()
        self._moved |= self._handed
        self._doings.clear()
        self._replaced.clear()
        self._changed.clear()
        self._present = None
        return new

    def _write_once(self, snapshot: tuple[int, bytes] | None) -> list[StoredTransition]:
        # A commit that failed may have reached the disk after all: what is there already is the same, and stays.
        new: list[StoredTransition] = []
        with self._transaction(durable=bool(self._transitions)) as connection:
            connection.executemany("INSERT OR IGNORE INTO dropped VALUES (?, ?)", self._dropped)
            for piece in self._pieces:
                if isinstance(piece, _Block):
                    connection.execute("INSERT OR IGNORE INTO blocks VALUES (?, ?, ?, ?, ?)", piece)
                else:
                    connection.execute("INSERT OR IGNORE INTO inputs VALUES (?, ?, ?, ?)", piece)
            for key, each in self._transitions.items():
                if self._write_transition(connection, each, self._objects[key]):
                    new.append(each)
            self._handed = self._hand_back(connection)
            fresh = {(each.alarm_id, each.sequence) for each in new}
            for row in self._messages.values():
                if (row.alarm_id, row.sequence) in fresh:
                    self._write_outbox(connection, row)
            for gone in self._withdrawals:
                if (gone.alarm_id, gone.sequence) in fresh:
                    self._withdraw(connection, gone)
            if fresh and self._messages:
                connection.execute("INSERT OR REPLACE INTO counters VALUES ('message', ?)", (self._message_number,))
            self._write_settlements(connection)
            connection.executemany("INSERT OR IGNORE INTO doing VALUES (?, ?)", self._doings)
            connection.executemany("INSERT OR IGNORE INTO replaced VALUES (?, ?)", self._replaced)
            connection.executemany("INSERT INTO changes (at_ms, body) VALUES (?, ?)", self._changed)
            if self._present is not None:
                connection.execute("INSERT OR REPLACE INTO present VALUES (1, ?)", (pack_present(self._present),))
            if snapshot is not None:
                connection.execute("INSERT OR REPLACE INTO snapshots VALUES (?, ?)", snapshot)
                connection.execute(
                    "DELETE FROM snapshots WHERE number NOT IN (SELECT number FROM snapshots ORDER BY number DESC LIMIT ?)",
                    (KEEP_SNAPSHOTS,),
                )
        return new

    @staticmethod
    def _write_transition(connection: sqlite3.Connection, each: StoredTransition, text: str) -> bool:
        """Whether it is new."""
        found = connection.execute(
            "INSERT INTO transitions (alarm_id, sequence, number, at_ms, real_s, subject, subject_id, group_name, state, "
            "object) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (alarm_id, sequence) DO NOTHING",
            (
                each.alarm_id, each.sequence, each.number, each.at_ms, each.real_s, each.subject, each.subject_id,
                each.group, each.state, text,
            ),
        )  # fmt: skip
        return found.rowcount == 1

    # A disk that fails.

    def _reach_file(self) -> None:
        """Make sure that what we write to is the file at the path: SQLite would go on writing to one that was deleted."""
        now = _identity(self.path)
        if now is not None and now == self._file:
            return
        if now is None:
            raise EnvironmentFault(
                f"{self.path}: the journal has gone. Bring its disk back; or restart panelward to begin a new one."
            )
        connection, aside = opening.open_to_write(self.path, create=False)
        if opening.last_number(connection) > self._number:
            connection.close()
            raise EnvironmentFault(f"{self.path}: another journal lies there now. Restart panelward to go on with it.")
        self._use(connection, aside)

    def _begin_anew(self) -> None:
        self._connection.close()
        self._use(*opening.begin_anew(self.path))

    def _use(self, connection: sqlite3.Connection, aside: Path | None) -> None:
        """Go on with another file; the numbers that were written to the old one are said to be gone."""
        self._connection.close()
        self._connection = connection
        self._durable = None
        self._file = _identity(self.path)
        self.set_aside = aside or self.set_aside
        reached = opening.last_number(connection)
        if reached < self._written:
            self._dropped.insert(0, (reached + 1, self._written))

    def _give_up_oldest(self) -> None:
        """Oldest readings first; never anything else. And what is to be told goes on in memory, where that stands in."""
        if self._spare is not None:
            self.stand_in()
        blocks = [piece for piece in self._pieces if isinstance(piece, _Block)]
        over = sum(piece.last - piece.first + 1 for piece in blocks) - self._keep_readings
        gone = set()
        for piece in blocks:
            if over <= 0:
                break
            count = piece.last - piece.first + 1
            over -= count
            self.dropped_readings += count
            if self._dropped and self._dropped[-1][1] + 1 == piece.first:  # months of a dead disk are one line
                self._dropped[-1] = (self._dropped[-1][0], piece.last)
            else:
                self._dropped.append((piece.first, piece.last))
            gone.add(piece.first)
        if gone:
            self._pieces = deque(p for p in self._pieces if isinstance(p, _Other) or p.first not in gone)


def _json(found: Mapping[str, Any]) -> str:
    return json.dumps(found, separators=(",", ":"))  # ASCII: half a surrogate pair is no text for SQLite


def _numbered(each: StoredTransition, number: int) -> StoredTransition:
    return replace(each, number=number)


def _identity(path: Path) -> tuple[int, int] | None:
    """Which file lies there; None: none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino
