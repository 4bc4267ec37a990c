"""What becomes of readings some minutes after they came: small blocks are packed together, and sums are made of them.

A turn is one transaction of bounded work, whole or not at all; how far it came stands in `counters` (`packed`, `summed`: the
number of the last input). Numbers stay what they are, so a replay is the same. The sums are made once of each reading, at the
time that it had by the clock as it is known then; when that turns out otherwise, those that are concerned are made
anew from the readings, as long as these are kept.
"""

from __future__ import annotations

import json
import sqlite3
import zlib
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import suppress
from types import MappingProxyType
from typing import Any, NamedTuple

from panelward.journal import block, corrected, sumrows
from panelward.journal.octets import DamagedBlock
from panelward.journal.opening import plain
from panelward.journal.past import Past, as_they_were
from panelward.journal.sparing import count
from panelward.journal.sums import HOUR_MS, MINUTE_MS, Row, Rows, Sensed, Sum, Summing, by_hour
from panelward.records.inputs import WALL_SET_FROM_MS

PACKED_READINGS = 8192  # in one block: measured, twice as many save 1.5 % and a question about a minute unpacks twice as much
PACK_AFTER_MS = 5 * 60_000  # the newest minutes stay as they were written
PACK_SPAN_MS = HOUR_MS
KEEP_MINUTES_DAYS = 400
KEEP_HOURS_DAYS = 3660  # ten years: some 2 MB a year of 24 circuits
DAY_MS = 24 * HOUR_MS
_LOOK = 1000  # blocks in one turn: an hour of a commit every 5 s has 720
_BLOCKS = "SELECT first_number, last_number, last_received_ms, body FROM blocks"
_SLOTS = (("minute_sums", MINUTE_MS, HOUR_MS), ("hour_sums", HOUR_MS, DAY_MS))

Spans = list[tuple[int, int, bool]]  # from which number on, what to add, whether the clock was not set
_Head = tuple[int, int, int, int]  # first and last number, first and last received


class Packing(Past):
    """Packs and sums, a turn at a time; gives the sums. `sensed`: what the sums of each circuit depend on."""

    sensed: Mapping[str, Sensed] = MappingProxyType({})

    def pack(self, before_ms: int, *, most: int = PACKED_READINGS) -> bool:
        """Pack the next small blocks together, of what was received before `before_ms` (on the axis); whether there were any.

        Together go blocks with no other input between, of one hour at the most. Raises EnvironmentFault.
        """
        done = max(self._done("packed"), self._looked() - 1)
        asked = "SELECT first_number, last_number, first_received_ms, last_received_ms FROM blocks WHERE first_number > ?"
        run, whole = _together(self._ask(f"{asked} ORDER BY first_number LIMIT ?", (done, _LOOK)), before_ms, most)
        if not whole:
            return False
        try:
            with self._transaction(durable=False) as connection:
                _pack(connection, run[0][0], run[-1][1])
                count(connection, "packed", run[-1][1])
        except sqlite3.Error as error:
            raise plain(error, self.path) from error
        return True

    def sum_up(self, *, upto: int | None = None, most: int = PACKED_READINGS) -> bool:
        """Add the next readings to the sums: of what is packed, or up to this number; whether there were any.

        Those of a clock that was not set yet wait, where no `upto` is given. Raises EnvironmentFault.
        """
        spans, done = self._spans(), self._done("summed")
        found = self._ask("SELECT body FROM summing")
        state = _State.read(found[0][0]) if found else _State(Summing(), _dated(spans), 0)
        changed = _changed(state.spans, _dated(spans), done)
        if changed is not None:
            changed = self._begins_anew(changed)
        if changed is not None:
            state, done = _State(Summing(), _dated(spans), 0), changed - 1
            for head in self._ask(f"{_BLOCKS} WHERE first_number < ? ORDER BY first_number DESC LIMIT 2", (changed,))[::-1]:
                self._take(state.summing, head, spans, 0)
            state.summing.rows.clear()
        end = self._done("packed") if upto is None else upto
        last = None
        size = 0
        for head in self._ask(f"{_BLOCKS} WHERE last_number > ? AND first_number <= ? ORDER BY first_number LIMIT ?",
                              (done, end, _LOOK)):  # fmt: skip
            at_ms = head[2] + _dating(spans, head[0])[0]
            if size >= most or (upto is None and at_ms < WALL_SET_FROM_MS):
                break
            size += self._take(state.summing, head, spans, done)
            last, state = head[1], state._replace(to_ms=at_ms)
        if last is None and changed is None:
            return False
        state = state._replace(spans=_dated(spans))
        try:
            with self._transaction(durable=False) as connection:
                for table, step_ms, slot_ms in _SLOTS:
                    if changed is not None:
                        connection.execute(f"DELETE FROM {table} WHERE last_number >= ?", (changed,))
                    rows = state.summing.rows if step_ms == MINUTE_MS else by_hour(state.summing.rows)
                    _add(connection, table, step_ms, slot_ms, rows, (done + 1, last or done))
                count(connection, "summed", last or done)
                connection.execute("INSERT OR REPLACE INTO summing VALUES (1, ?)", (state.spell(),))
        except sqlite3.Error as error:
            raise plain(error, self.path) from error
        return True

    def minutes(self, from_ms: int, to_ms: int, circuits: Collection[str] | None = None) -> Iterator[Sum]:
        """Sums of the minutes that begin from `from_ms` on and before `to_ms`, in rising time; a minute of which nothing is
        known is not among them. See `summed_to_ms`."""
        return self._sums(*_SLOTS[0], from_ms, to_ms, circuits)

    def hours(self, from_ms: int, to_ms: int, circuits: Collection[str] | None = None) -> Iterator[Sum]:
        """The same of hours (of Unix time)."""
        return self._sums(*_SLOTS[1], from_ms, to_ms, circuits)

    @property
    def summed_to_ms(self) -> int | None:
        """The sums hold what was received up to here; None: there are none yet, or this is a journal of an older version."""
        if not self._has("summing"):
            return None
        found = self._ask("SELECT body FROM summing")
        return _State.read(found[0][0]).to_ms or None if found else None

    def prune_sums(self, now_ms: int, *, minutes_days: float = KEEP_MINUTES_DAYS, hours_days: float = KEEP_HOURS_DAYS) -> int:
        """Delete sums that are past their time; how many rows of them. Raises EnvironmentFault."""
        try:
            with self._transaction(durable=False) as connection:
                return sum(
                    connection.execute(
                        f"DELETE FROM {table} WHERE from_ms IN (SELECT from_ms FROM {table} WHERE from_ms < ? LIMIT 200)",
                        (round(now_ms - days * DAY_MS),),
                    ).rowcount
                    for (table, _, _), days in zip(_SLOTS, (minutes_days, hours_days), strict=True)
                )
        except sqlite3.Error as error:
            raise plain(error, self.path) from error

    def _done(self, name: str) -> int:
        found = self._ask("SELECT value FROM counters WHERE name = ?", (name,))
        return int(found[0][0]) if found else 0

    def _has(self, table: str) -> bool:
        return bool(self._ask("SELECT 1 FROM sqlite_master WHERE name = ?", (table,)))

    def _take(self, summing: Summing, head: tuple[Any, ...], spans: Sequence[corrected.Span], done: int) -> int:
        """The readings of a block behind number `done`; how many."""
        first, _last, _at_ms, body = head
        readings = as_they_were(self._unpack(body)[max(0, done + 1 - first) :], corrected.of_number(spans, first))
        summing.dated(_dating(spans, first))
        summing.take(readings, self.sensed)
        return len(readings)

    def _begins_anew(self, number: int) -> int | None:
        """From which number on the sums have to be made anew, where those from `number` on have; None: readings are gone."""
        while True:
            least = min(
                (first for table, _, _ in _SLOTS
                 for (first,) in self._ask(f"SELECT min(first_number) FROM {table} WHERE last_number >= ?", (number,))
                 if first is not None),
                default=number,
            )  # fmt: skip
            if least >= number:
                return number if number >= self._looked() else None
            number = least

    def _sums(
        self, table: str, step_ms: int, slot_ms: int, from_ms: int, to_ms: int, circuits: Collection[str] | None
    ) -> Iterator[Sum]:
        after_ms = from_ms // slot_ms * slot_ms - 1
        asked = f"SELECT from_ms, body FROM {table} WHERE from_ms > ? AND from_ms < ? ORDER BY from_ms LIMIT 16"
        while found := self._ask(asked, (after_ms, to_ms)) if self._has(table) else []:
            for _, body in found:
                try:
                    rows = sumrows.read(body, step_ms)
                except DamagedBlock:
                    self.damaged_blocks += 1
                    continue
                for (circuit, at_ms), row in sorted(rows.items(), key=lambda each: (each[0][1], each[0][0])):
                    if from_ms <= at_ms < to_ms and (circuits is None or circuit in circuits):
                        yield row.given(circuit, at_ms)
            after_ms = found[-1][0]


class _State(NamedTuple):
    """What the next turn of summing goes on from."""

    summing: Summing
    spans: Spans
    to_ms: int  # received

    @classmethod
    def read(cls, body: bytes) -> _State:
        found = json.loads(zlib.decompress(body))
        return cls(Summing(found["chains"], found["dating"]), [tuple(each) for each in found["spans"]], found["to_ms"])

    def spell(self) -> bytes:
        found = {"chains": self.summing.save(), "dating": self.summing.dating, "spans": self.spans, "to_ms": self.to_ms}
        return zlib.compress(json.dumps(found, separators=(",", ":")).encode(), 6)


def _dating(spans: Sequence[corrected.Span], number: int) -> tuple[int, bool]:
    span = corrected.of_number(spans, number)
    return (span.add_ms, span.unset) if span is not None and span.add_ms else (0, False)


def _dated(spans: Sequence[corrected.Span]) -> Spans:
    """From which number on how the readings are dated."""
    return [(span.first, *_dating(spans, span.first)) for span in spans]


def _changed(before: Spans, now: Spans, upto: int) -> int | None:
    """The first number, up to this one, whose readings are dated otherwise now."""
    for number in sorted({0, *(first for first, _, _ in (*before, *now))}):
        if number > upto:
            return None
        was, is_now = (
            next(((add, unset) for first, add, unset in reversed(spans) if first <= number), (0, False))
            for spans in (before, now)
        )
        if was != is_now:
            return number
    return None


def _together(heads: Sequence[_Head], before_ms: int, most: int) -> tuple[list[_Head], bool]:
    """The blocks that go together, and whether that is all of them: what may still come would not."""
    run: list[_Head] = []
    size = 0
    for head in heads:
        first, last, _first_ms, last_ms = head
        if last_ms >= before_ms:
            break
        size += last - first + 1
        if run and (first != run[-1][1] + 1 or size > most or last_ms - run[0][2] > PACK_SPAN_MS):
            return run, True
        run.append(head)
    return run, bool(run) and (len(run) == _LOOK or before_ms - run[0][2] > PACK_SPAN_MS)


def _pack(connection: sqlite3.Connection, first: int, last: int) -> None:
    """Blocks in the place of which one is written, where that is smaller and says the same to the bit."""
    found = connection.execute(
        "SELECT first_received_ms, last_received_ms, body FROM blocks WHERE first_number BETWEEN ? AND ? ORDER BY first_number",
        (first, last),
    ).fetchall()
    if len(found) == 1 and found[0][2][:1] == b"\x02":
        return
    try:
        readings = [reading for _, _, body in found for reading in block.decode(body)]
        packed = block.pack(readings)
        if len(packed) >= sum(len(body) for _, _, body in found) or block.decode(packed) != readings:
            return
    except DamagedBlock:
        return  # whoever reads counts it
    connection.execute("DELETE FROM blocks WHERE first_number BETWEEN ? AND ?", (first, last))
    connection.execute("INSERT INTO blocks VALUES (?, ?, ?, ?, ?)", (first, last, found[0][0], found[-1][1], packed))


def _add(
    connection: sqlite3.Connection, table: str, step_ms: int, slot_ms: int, rows: Rows, numbers: tuple[int, int]
) -> None:  # fmt: skip
    slots: dict[int, Rows] = {}
    for (circuit, at_ms), row in rows.items():
        slots.setdefault(at_ms // slot_ms * slot_ms, {})[circuit, at_ms] = row
    for from_ms, added in sorted(slots.items()):
        first, last = numbers
        old = connection.execute(f"SELECT first_number, body FROM {table} WHERE from_ms = ?", (from_ms,)).fetchone()
        whole: Rows = {}
        if old is not None:
            first = min(first, old[0])
            with suppress(DamagedBlock):
                whole = sumrows.read(old[1], step_ms)
        for key, row in added.items():
            whole.setdefault(key, Row()).add(row)
        connection.execute(
            f"INSERT OR REPLACE INTO {table} VALUES (?, ?, ?, ?)", (from_ms, first, last, sumrows.spell(whole, step_ms))
        )
