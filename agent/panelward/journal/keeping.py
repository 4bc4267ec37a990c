"""How long the journal keeps what: the file stops growing, and what people were told is the last to go.

Readings and other inputs go by age, once every kept snapshot includes them and sums are made of them (`packing`); around a
note and an alarm's beginning readings stay as long as what was told (`sparing`). An alarm goes whole, with its messages, once
it is over: by age, or when there are more than a file of some tens of MB should hold. What stands, what still waits to
be sent and what a start may need again stays however old it is. An alarm that comes and goes and that nobody ever answers is
one alarm for good: of that the beginning and the latest stay. What was replaced and how the schedule changed stays
for good, as there is little of it.
"""

from __future__ import annotations

import sqlite3

from panelward.journal import sparing
from panelward.journal.opening import plain
from panelward.journal.packing import Packing

KEEP_READINGS_DAYS = 40
KEEP_TOLD_DAYS = 3 * 365 + 1  # three years of alarms, messages and of what the vehicle was doing (our own choice)
MOST_TRANSITIONS = 20_000  # at 1 to 2 KB each; 18 a day for three years
MOST_MESSAGES = 40_000
MOST_DOINGS = 20_000
LATEST_OF_ONE = 200  # transitions of one alarm that stay in any case; `alarms --why` looks at as many
MOST_DROPPED = 1_000
MOST_CHANGES = 5_000
_OVER = """SELECT alarm_id, at_ms FROM transitions AS t WHERE state = 'normal' AND number <= ?
    AND NOT EXISTS (SELECT 1 FROM transitions WHERE alarm_id = t.alarm_id AND sequence > t.sequence)
    AND NOT EXISTS (SELECT 1 FROM outbox WHERE alarm_id = t.alarm_id AND status IN ('waiting', 'trying'))
    ORDER BY rowid LIMIT ?"""


_LONG = """SELECT alarm_id, max(sequence) - ? FROM transitions GROUP BY alarm_id HAVING count(*) > ? + 1
    ORDER BY count(*) DESC LIMIT ?"""
_MIDDLE = """SELECT sequence FROM transitions WHERE alarm_id = ? AND sequence > 1 AND sequence <= ? AND number <= ?
    AND (at_ms < ? OR ?) AND NOT EXISTS (SELECT 1 FROM outbox WHERE outbox.alarm_id = transitions.alarm_id
    AND outbox.sequence = transitions.sequence AND status IN ('waiting', 'trying')) ORDER BY sequence LIMIT ?"""


class Keeping(Packing):
    """Deletes what is past its time, a little at a time, so that nothing waits long: call it again later."""

    def prune(
        self, before_ms: int, *, steps: int = 20, rows: int = 200, most_spared_bytes: int = sparing.MOST_SPARED_BYTES
    ) -> int:  # fmt: skip
        """Delete inputs received before `before_ms` that the oldest kept snapshot includes; how many rows.

        Readings near a note or an alarm's beginning stay, as many as `most_spared_bytes` hold (`sparing`), and what dates
        them. At most `steps` transactions of `rows` rows. The newest Settings and Clock before that point stay: what is kept
        was received by them. Raises EnvironmentFault.
        """
        oldest = self._oldest_snapshot()
        if oldest is None:
            return 0
        settings = "SELECT ifnull(max(number), 0) FROM inputs WHERE kind = 'settings' AND number <= ?"
        keep = self._ask(settings, (oldest,))[0][0]
        behind = self._first_block_since(before_ms)  # a reading of 1970 is as old as the clock says since
        newest = "SELECT ifnull(max(number), 0) FROM inputs WHERE kind = ? AND number < ?"
        marks = [self._ask(newest, (kind, behind))[0][0] for kind in ("settings", "clock")]
        deleted = 0
        while self.sum_up(upto=min(behind - 1, oldest)):  # what remains of those that go
            pass
        try:
            wanted = sparing.moments(self._connection, min(behind, oldest + 1))
            for _ in range(steps):
                with self._transaction(durable=False) as connection:
                    gone, more = sparing.look(connection, wanted, min(behind, oldest + 1), oldest, rows, most_spared_bytes)
                    upto = min(behind, sparing.counter(connection, "looked"))
                    gone += self._prune_others(connection, upto, before_ms, (keep, *marks), rows)
                deleted += gone
                if not gone and not more:
                    break
        except sqlite3.Error as error:
            raise plain(error, self.path) from error
        return deleted

    @staticmethod
    def _prune_others(
        connection: sqlite3.Connection, upto: int, before_ms: int, keep: tuple[int, ...], rows: int
    ) -> int:  # fmt: skip
        """Inputs that are no readings, before this number; of those that date what was spared, none."""
        gone = connection.execute(
            """DELETE FROM inputs WHERE number IN (SELECT number FROM inputs
                WHERE number < ? AND received_ms < ? AND kind NOT IN ('settings', 'clock') ORDER BY number LIMIT ?)""",
            (upto, before_ms, rows),
        ).rowcount
        marks = [(number, before_ms) for number in sparing.clocks_of_none(connection, upto, keep)[:rows]]
        if marks:
            gone += connection.executemany("DELETE FROM inputs WHERE number = ? AND received_ms < ?", marks).rowcount
        return gone

    def prune_told(
        self,
        before_ms: int,
        *,
        most_transitions: int = MOST_TRANSITIONS,
        most_messages: int = MOST_MESSAGES,
        most_doings: int = MOST_DOINGS,
        latest_of_one: int = LATEST_OF_ONE,
        rows: int = 500,
    ) -> int:
        """Delete alarms that were over before `before_ms`, or are beyond the most there may be; how many transitions.

        The oldest first, each with all its transitions and messages; then the middle of long ones that are not over. About
        `rows` at most, in one transaction; with them what the vehicle was doing then. Raises EnvironmentFault.
        """
        oldest = self._oldest_snapshot()
        if oldest is None:
            return 0
        counts = "SELECT (SELECT count(*) FROM transitions), (SELECT count(*) FROM outbox), (SELECT count(*) FROM doing)"
        transitions, messages, doings = self._ask(counts)[0]
        gone = 0
        try:
            with self._transaction(durable=False) as connection:
                for alarm_id, ended_ms in connection.execute(_OVER, (oldest, rows)).fetchall():
                    beyond = transitions > most_transitions or messages > most_messages
                    if gone >= rows or (ended_ms >= before_ms and not beyond):
                        break
                    messages -= connection.execute("DELETE FROM outbox WHERE alarm_id = ?", (alarm_id,)).rowcount
                    found = connection.execute("DELETE FROM transitions WHERE alarm_id = ?", (alarm_id,)).rowcount
                    transitions, gone = transitions - found, gone + found
                for alarm_id, upto in connection.execute(_LONG, (latest_of_one, latest_of_one, rows)).fetchall():
                    over = max(transitions - most_transitions, messages - most_messages)
                    if gone >= rows:
                        break
                    most = min(rows - gone, over) if over > 0 else rows - gone
                    middle = connection.execute(_MIDDLE, (alarm_id, upto, oldest, before_ms, over > 0, most)).fetchall()
                    each = [(alarm_id, sequence) for (sequence,) in middle]
                    theirs = "WHERE alarm_id = ? AND sequence = ?"
                    messages -= connection.executemany(f"DELETE FROM outbox {theirs}", each).rowcount if each else 0
                    connection.executemany(f"DELETE FROM transitions {theirs}", each)
                    transitions, gone = transitions - len(each), gone + len(each)
                old = "SELECT rowid FROM doing WHERE at_ms < ? OR ? > 0 ORDER BY at_ms LIMIT ?"
                over = max(0, doings - most_doings)
                connection.execute(f"DELETE FROM doing WHERE rowid IN ({old})", (before_ms, over, over or rows))
                sparing.outdated(connection, self._first_block_since(before_ms), rows)
                connection.execute("DELETE FROM changes WHERE id <= (SELECT max(id) FROM changes) - ?", (MOST_CHANGES,))
                connection.execute(
                    "DELETE FROM dropped WHERE first_number NOT IN "
                    "(SELECT first_number FROM dropped ORDER BY first_number DESC LIMIT ?)",
                    (MOST_DROPPED,),
                )
        except sqlite3.Error as error:
            raise plain(error, self.path) from error
        return gone

    def _oldest_snapshot(self) -> int | None:
        found = self._ask("SELECT min(number) FROM snapshots")[0][0]
        return None if found is None else int(found)
