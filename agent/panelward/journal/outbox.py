"""The outbox: one row per transition and address, from the finding to the handing over."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from typing import Any

from panelward.errors import EnvironmentFault
from panelward.journal.connected import Connected
from panelward.journal.opening import plain
from panelward.journal.rows import STATUSES, Hour, OutboxRow, Withdrawal
from panelward.journal.schema import MIGRATIONS

_COLUMNS = (
    "id, alarm_id, sequence, address_ref, title, body, kind, priority, created_real_s, due_real_s, expires_real_s, "
    "status, attempts, last_why, repeat, step, until_answered, on_sheet, rank, settled_real_s"
)
_MARKS = ", ".join("?" * len(_COLUMNS.split(",")))
_CHANGING = (
    "created_real_s", "due_real_s", "expires_real_s", "status", "attempts", "last_why", "repeat", "settled_real_s",
    "on_sheet",
)  # fmt: skip
_KEY = "alarm_id = ? AND sequence = ? AND address_ref = ? AND step = ?"
_BECAME = f"UPDATE outbox SET {', '.join(f'{name} = ?' for name in _CHANGING)} WHERE {_KEY}"
_BY_URGENCY = "CASE priority WHEN 'high' THEN 0 WHEN 'medium' THEN 1 WHEN 'low' THEN 2 ELSE 3 END"
_SETTLE = (
    "UPDATE outbox SET status = ?, last_why = ?, due_real_s = ifnull(?, due_real_s), repeat = repeat | ?, "
    "settled_real_s = ? WHERE id = ?"
)
# The messages of one alarm reach an address in their order: an earlier one that waits for a network is first.
# A high one waits for none that may sleep till the morning.
_IN_ORDER = (
    "NOT EXISTS (SELECT 1 FROM outbox AS earlier WHERE earlier.alarm_id = outbox.alarm_id AND "
    "earlier.address_ref = outbox.address_ref AND earlier.id < outbox.id AND earlier.until_answered = 0 AND "
    "(earlier.status = 'trying' OR (earlier.status = 'waiting' AND earlier.attempts > 0 AND earlier.due_real_s > ? AND NOT "
    "(outbox.priority = 'high' AND outbox.step <> 'over' AND (earlier.priority <> 'high' OR earlier.step = 'over')))))"
)

TEMPORARY = 1 << 40  # ids from here on are of rows that are in no file yet
_RECENT_S = 3600.0  # what was handed over within it counts for the hour's most
_DAY_S = 86_400.0
_STANDS = (
    "step IN ('begun', 'changed') AND kind <> 'drill' AND NOT EXISTS (SELECT 1 FROM outbox AS later WHERE "
    "later.alarm_id = outbox.alarm_id AND later.address_ref = outbox.address_ref AND later.id > outbox.id "
    "AND later.step IN ('begun', 'changed', 'over')) AND NOT EXISTS (SELECT 1 FROM transitions AS t WHERE "
    "t.alarm_id = outbox.alarm_id AND t.state IN ('normal', 'returned-unacknowledged') AND NOT EXISTS (SELECT 1 FROM "
    "transitions AS u WHERE u.alarm_id = t.alarm_id AND u.sequence > t.sequence))"
)

Settlement = tuple[str, str, float | None, bool, float | None, int]


class OutboxTable(Connected):
    """Real time (Unix seconds of the host) throughout: delivery has nothing to do with the axis of `received`.

    Where the file can't be written for long a spare table in memory stands in for it; its rows go into the file with the first
    commit that works.
    """

    _settlements: list[Settlement]  # could not be written yet
    _spare: sqlite3.Connection | None
    _message_number: int
    _temporary: int  # the last temporary id
    _renamed: list[Mapping[str, str]]  # addresses, while the spare table stands in
    _moved: dict[int, int]  # temporary ids, and what they are in the file

    def due(self, now_s: float, limit: int = 50) -> list[OutboxRow]:
        """Waiting rows whose time has come and has not run out: the most urgent first, the oldest of them first."""
        found = self._asked(
            f"SELECT {_COLUMNS} FROM outbox WHERE status = 'waiting' AND due_real_s <= ? AND expires_real_s > ? "
            f"AND {_IN_ORDER} ORDER BY {_BY_URGENCY}, id LIMIT ?",
            (now_s, now_s, now_s, limit),
        )
        return [_row(each) for each in found]

    def next_due_s(self) -> float | None:
        """When `due` or `expire` has something to do next; None: nothing waits."""
        found = self._asked("SELECT min(min(due_real_s, expires_real_s)) FROM outbox WHERE status = 'waiting'")[0][0]
        return None if found is None else float(found)

    def mark_trying(self, ids: Iterable[int]) -> None:
        """Written to the disk itself before the send. Raises EnvironmentFault: then it must not be sent."""
        rows = [(each,) for each in ids]
        if not rows:
            return
        try:
            with self._changing(durable=True) as connection:
                connection.executemany(
                    "UPDATE outbox SET status = 'trying', attempts = attempts + 1 WHERE id = ? AND status = 'waiting'",
                    rows,
                )
        except sqlite3.Error as error:
            raise plain(error, self.path) from error

    def settle(
        self,
        rows: int | Sequence[int],
        status: str,
        why: str = "",
        due_s: float | None = None,
        *,
        repeat: bool = False,
        now_s: float | None = None,
    ) -> None:
        """What became of a send; `waiting` needs the time of the next try, `repeat` says that it may have arrived.

        Rows that went in one message are settled in one transaction: a kill in the middle would send a part of it again.
        On a failing disk it is kept in memory and written with the next commit that works: the row stays `trying`
        and is not sent twice. Raises ValueError on a status that is none.
        """
        if status not in STATUSES or status == "trying" or (status == "waiting" and due_s is None):
            raise ValueError(f"an outbox row can't be settled as {status!r}, next try {due_s}")
        ids = [self._moved.get(row, row) for row in ((rows,) if isinstance(rows, int) else rows)]
        self._settlements += [(status, _text(why), due_s, repeat, now_s, row) for row in ids]
        try:
            with self._changing(durable=False) as connection:
                left = self._write_settlements(connection)
        except sqlite3.Error:
            return
        self._settlements = left

    def recover(self) -> int:
        """At a start: what was being sent when the program ended waits again, marked as a possible repeat."""
        try:
            with self._changing(durable=False) as connection:
                found = connection.execute("UPDATE outbox SET status = 'waiting', repeat = 1 WHERE status = 'trying'")
                return found.rowcount
        except sqlite3.Error as error:
            raise plain(error, self.path) from error

    def expire(self, now_s: float) -> int:
        """Waiting rows whose time ran out become `expired`; how many. On a failing disk none, until it works.

        What is over or overtaken runs out; the newest message of an alarm that stands never does.
        """
        question = "FROM outbox WHERE status = 'waiting' AND expires_real_s <= ?"
        try:
            if not self._asked(f"SELECT 1 {question} LIMIT 1", (now_s,)):
                return 0  # asked every second: a write only where there is something to write
            with self._changing(durable=False) as connection:
                connection.execute(
                    f"UPDATE outbox SET expires_real_s = ?1 + {_DAY_S} "
                    f"WHERE status = 'waiting' AND expires_real_s <= ?1 AND {_STANDS}",
                    (now_s,),
                )
                return connection.execute(
                    "UPDATE outbox SET status = 'expired' WHERE status = 'waiting' AND expires_real_s <= ?", (now_s,)
                ).rowcount
        except (sqlite3.Error, EnvironmentFault):
            return 0

    def attempts(self, row: int) -> int:
        """How often it was tried."""
        found = self._asked("SELECT attempts FROM outbox WHERE id = ?", (self._moved.get(row, row),))
        return int(found[0][0]) if found else 0

    def outbox_rows(self, alarm_id: str | None = None) -> list[OutboxRow]:
        """Every row, or those of one alarm, oldest first."""
        where, values = ("", ()) if alarm_id is None else ("WHERE alarm_id = ? ", (alarm_id,))
        question = f"SELECT {_COLUMNS} FROM outbox {where}ORDER BY id"
        if self._spare is None:
            return [_row(each) for each in self._ask(question, values)]
        found = self._spare.execute(question, values).fetchall()
        with suppress(EnvironmentFault):  # of a file that can be read the rest, too
            found = self._ask(question, values) + found
        return list({(row.alarm_id, row.sequence, row.address_ref, row.step): row for row in map(_row, found)}.values())

    def outbox_open(self, limit: int = 500) -> list[OutboxRow]:
        """What waits or is being sent: the next to go first."""
        where = "status IN ('waiting', 'trying')"
        return [
            _row(each)
            for each in self._asked(f"SELECT {_COLUMNS} FROM outbox WHERE {where} ORDER BY due_real_s, id LIMIT ?", (limit,))
        ]

    def outbox_settled(self, limit: int) -> list[OutboxRow]:
        """The last rows that are settled, the newest first."""
        where = "status NOT IN ('waiting', 'trying')"
        found = self._asked(
            f"SELECT {_COLUMNS} FROM outbox WHERE {where} ORDER BY ifnull(settled_real_s, due_real_s) DESC LIMIT ?", (limit,)
        )
        return [_row(each) for each in found]

    def first_told_s(self, alarm_id: str) -> float | None:
        """When the first of an alarm's messages was taken by a phone's service; None: none yet."""
        found = self._asked(
            "SELECT min(settled_real_s) FROM outbox WHERE alarm_id = ? AND status = 'handed-over'", (alarm_id,)
        )[0][0]
        return None if found is None else float(found)

    def try_together(self, ref: str, due_s: float) -> None:
        """What this address did not take is tried again at one time, so that it can go as one message."""
        try:
            with self._changing(durable=False) as connection:
                connection.execute(
                    "UPDATE outbox SET due_real_s = ? WHERE address_ref = ? AND status = 'waiting' AND attempts > 0",
                    (due_s, ref),
                )
        except sqlite3.Error:
            return  # each then comes at its own time

    def handed_over_since(self, ref: str, since_s: float) -> int:
        """How many messages that are not high this address took since then: what went as one was settled at one moment."""
        found = self._asked(
            "SELECT count(DISTINCT settled_real_s) FROM outbox WHERE address_ref = ? AND status = 'handed-over' "
            "AND priority <> 'high' AND kind <> 'drill' AND settled_real_s >= ?",
            (ref, since_s),
        )
        return int(found[0][0])

    def newest_waiting_s(self) -> float | None:
        """When the newest of what is not yet sent was written; None: nothing waits."""
        found = self._asked("SELECT max(created_real_s) FROM outbox WHERE status IN ('waiting', 'trying')")[0][0]
        return None if found is None else float(found)

    def clock_was_set(self, step_s: float, now_s: float, *, hours: bool) -> None:
        """The clock of all these times was set by so much: what waits moves along, so that nothing is due or too old by it.

        `now_s`: before the step. `hours`: the old time could be, so that what waits for the morning or the evening sheet
        still comes at that hour, and only delays move. Raises EnvironmentFault.
        """
        delay = "until_answered = 1 OR attempts > 0 OR due_real_s <= created_real_s + 1 OR NOT ?"
        try:
            with self._changing(durable=False) as connection:
                connection.execute(
                    f"UPDATE outbox SET created_real_s = created_real_s + ?1, expires_real_s = expires_real_s + "
                    f"CASE WHEN {delay.replace('?', '?2')} THEN ?1 ELSE max(?1, 0) END, due_real_s = due_real_s + "
                    f"CASE WHEN {delay.replace('?', '?2')} THEN ?1 ELSE 0 END WHERE status IN ('waiting', 'trying')",
                    (step_s, hours),
                )
                connection.execute(
                    "UPDATE outbox SET settled_real_s = settled_real_s + ? WHERE settled_real_s > ?", (step_s, now_s - 3600.0)
                )
        except sqlite3.Error as error:
            raise plain(error, self.path) from error

    def put_off(self, found: Iterable[Hour]) -> None:
        """These wait for another hour, and are worth sending as long behind it. Raises EnvironmentFault."""
        rows = [(each.due_s, each.due_s, each.on_sheet, each.row) for each in found]
        if rows:
            self._write_plainly(
                (
                    "UPDATE outbox SET expires_real_s = expires_real_s + max(? - due_real_s, 0), due_real_s = ?, on_sheet = ? "
                    "WHERE id = ? AND status = 'waiting'",
                    rows,
                )
            )

    def move_refs(self, moves: Mapping[str, str]) -> None:
        """Addresses have other names from now on: what was theirs stays theirs. Raises EnvironmentFault."""
        if moves:
            self._write_plainly(*_renaming(moves))
            if self._spare is not None:
                self._renamed.append(dict(moves))

    def address_anew(self, rows: Iterable[OutboxRow]) -> None:
        """Messages of transitions that are journalled, to whoever is to hear them now. Raises EnvironmentFault."""
        gone = f"DELETE FROM outbox WHERE {_KEY} AND status IN ('refused', 'expired')"
        try:
            with self._changing(durable=False) as connection:
                for row in rows:
                    connection.execute(gone, (row.alarm_id, row.sequence, row.address_ref, row.step))
                    self._temporary += 1  # in the spare table an id that no message in memory has
                    self._write_outbox(connection, row, self._temporary if self._spare is not None else None)
                connection.execute("INSERT OR REPLACE INTO counters VALUES ('message', ?)", (self._message_number,))
        except sqlite3.Error as error:
            raise plain(error, self.path) from error

    def _write_plainly(self, *statements: tuple[str, Sequence[tuple[Any, ...]]]) -> None:
        try:
            with self._changing(durable=False) as connection:
                for sql, rows in statements:
                    connection.executemany(sql, rows)
        except sqlite3.Error as error:
            raise plain(error, self.path) from error

    def waiting(self) -> list[OutboxRow]:
        """What is not yet sent, oldest first."""
        return [
            _row(each)
            for each in self._asked(f"SELECT {_COLUMNS} FROM outbox WHERE status IN ('waiting', 'trying') ORDER BY id")
        ]

    @staticmethod
    def _withdraw(connection: sqlite3.Connection, each: Withdrawal) -> None:
        connection.execute(
            "UPDATE outbox SET status = 'expired', last_why = ? WHERE alarm_id = ? AND sequence < ? AND status = 'waiting' "
            "AND (until_answered = 1 OR ? = 0) AND (? = '' OR address_ref = ?)",
            (_text(each.why), each.alarm_id, each.sequence, each.until_answered, each.ref, each.ref),
        )

    def _write_settlements(self, connection: sqlite3.Connection) -> list[Settlement]:
        """Those whose rows are not in this table are left."""
        return [
            each for each in self._settlements if connection.execute(_SETTLE, each).rowcount == 0 and self._spare is not None
        ]

    def _stand_in(self, messages: Iterable[OutboxRow], gone: Iterable[Withdrawal]) -> None:
        """The spare table, with what waits and what the last hour took; of a file that can't be read, what is in memory."""
        if self._spare is None:
            spare = sqlite3.connect(":memory:", isolation_level=None)
            for migration in MIGRATIONS:
                migration(spare)
            where = "status IN ('waiting', 'trying') OR settled_real_s > (SELECT max(settled_real_s) FROM outbox) - ?"
            with suppress(EnvironmentFault):
                found = self._ask(f"SELECT {_COLUMNS} FROM outbox WHERE {where}", (_RECENT_S,))
                spare.executemany(f"INSERT INTO outbox ({_COLUMNS}) VALUES ({_MARKS})", found)
            self._spare = spare
            self._settlements = self._write_settlements(spare)
        for row in messages:
            self._write_outbox(self._spare, row, row.id)
        for each in gone:
            self._withdraw(self._spare, each)

    def _hand_back(self, connection: sqlite3.Connection) -> dict[int, int]:
        """Write what became of the spare's rows into the file; the ids there of those that were temporary."""
        moved = {}
        for sql, values in (each for moves in self._renamed for each in _renaming(moves)):
            connection.executemany(sql, values)
        rows = self._spare.execute(f"SELECT {_COLUMNS} FROM outbox ORDER BY id").fetchall() if self._spare is not None else []
        for found in rows:
            row = _row(found)
            changing = tuple(getattr(row, name) for name in _CHANGING)
            key = (row.alarm_id, row.sequence, row.address_ref, row.step)
            if connection.execute(_BECAME, (*changing, *key)).rowcount == 0:  # it is in no file, or was in one set aside
                free = row.id < TEMPORARY and not connection.execute("SELECT 1 FROM outbox WHERE id = ?", (row.id,)).fetchall()
                connection.execute(f"INSERT INTO outbox ({_COLUMNS}) VALUES ({_MARKS})", (row.id if free else None, *found[1:]))
            if row.id >= TEMPORARY:
                moved[row.id] = connection.execute(f"SELECT id FROM outbox WHERE {_KEY}", key).fetchone()[0]
        return moved

    def _asked(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """`_ask`, of the table in use."""
        return self._ask(sql, values) if self._spare is None else self._spare.execute(sql, values).fetchall()

    @contextmanager
    def _changing(self, *, durable: bool) -> Iterator[sqlite3.Connection]:
        """`_transaction`, on the table in use."""
        if self._spare is not None:
            yield self._spare
            return
        with self._transaction(durable=durable) as connection:
            yield connection

    @staticmethod
    def _write_outbox(connection: sqlite3.Connection, row: OutboxRow, number: int | None = None) -> None:
        connection.execute(
            f"INSERT INTO outbox ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, 'waiting', 0, '', ?, ?, ?, ?, ?, "
            "NULL) ON CONFLICT DO NOTHING",
            (
                number, row.alarm_id, row.sequence, row.address_ref, _text(row.title), _text(row.body), row.kind, row.priority,
                row.created_real_s, row.due_real_s, row.expires_real_s, row.repeat, row.step, row.until_answered,
                row.on_sheet, row.rank,
            ),
        )  # fmt: skip


def _renaming(moves: Mapping[str, str]) -> tuple[tuple[str, list[tuple[str, ...]]], ...]:
    """By names that are nobody's: two may have changed places. Where two become one, what that one has stays."""
    aside = "UPDATE OR IGNORE outbox SET address_ref = char(1) || ? WHERE address_ref = ?"
    back = "UPDATE OR IGNORE outbox SET address_ref = ?1 WHERE address_ref = char(1) || ?1"
    gone = "DELETE FROM outbox WHERE address_ref = char(1) || ?"
    pairs: list[tuple[str, ...]] = [(now, was) for was, now in moves.items()]
    names: list[tuple[str, ...]] = [(now,) for now in moves.values()]
    return (aside, pairs), (back, names), (gone, names)


def _text(words: str) -> str:
    """Half a surrogate pair, from somebody's JSON, is no text for SQLite."""
    return words.encode("utf-8", "replace").decode()


def _row(found: tuple[Any, ...]) -> OutboxRow:
    names = [name.strip() for name in _COLUMNS.split(",")]
    values = dict(zip(names, found, strict=True))
    return OutboxRow(**(values | {name: bool(values[name]) for name in ("repeat", "until_answered", "on_sheet")}))
