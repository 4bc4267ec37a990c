"""What was journalled, read back: inputs in the order of their numbers, readings, transitions, the present row."""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable, Collection, Iterator, Sequence
from heapq import merge
from itertools import chain
from operator import itemgetter
from typing import Any

from panelward.errors import EnvironmentFault
from panelward.journal import block, corrected, spelling
from panelward.journal.connected import Connected
from panelward.journal.rows import RawBlock
from panelward.records import Input, Reading, Schedule

_PAGE = 64  # blocks at a time: no long look at the file that would hold up its writer
_SNAPSHOT = 1  # version byte of a snapshot's body

_COLUMNS = "first_number, last_number, first_received_ms, last_received_ms, body"

_Block = tuple[int, int, int, int, bytes, int]  # first and last number, when received, body, how many to pass over


class Past(Connected):
    """Reads what is committed; what still waits in memory is not in it."""

    damaged_blocks: int = 0  # blocks that could not be unpacked and were passed over

    # Inputs.

    def inputs_after(self, number: int, parse: Callable[[str], Schedule]) -> Iterator[tuple[int, Input]]:
        """(number, input) of all kinds, in order, beginning after `number`. What `parse` raises goes through.

        What was spared of pruning (`sparing`) is not among them: they are fragments. Of what lies before the newest settings
        and the newest clock are.
        """
        looked = self._looked()
        newest = "SELECT max(number) FROM inputs WHERE kind = ? AND number < ? AND number > ?"
        marks = [self._ask(newest, (kind, looked, number))[0][0] for kind in ("settings", "clock")] if looked > number else []
        first = (each for at in sorted(m for m in marks if m is not None) for each in self._others(at, at, parse))
        behind = max(number, looked - 1)
        return chain(first, merge(self._readings_after(behind), self._others_after(behind, parse), key=itemgetter(0)))

    def reached_after(self, number: int) -> list[tuple[int, int]]:
        """(number of the input before it, its time) of the transitions since this number: so far time had come for certain.

        What falls due by time alone leaves no input behind; a program that is killed then has to be brought as far again.
        """
        asked = "SELECT number, max(at_ms) FROM transitions WHERE number >= ? GROUP BY number ORDER BY number"
        return [(int(at), int(at_ms)) for at, at_ms in self._ask(asked, (number,))]

    def _looked(self) -> int:
        """Up to this number old readings were looked at, and are gone or spared."""
        found = self._ask("SELECT value FROM counters WHERE name = 'looked'")
        return int(found[0][0]) if found else 0

    def _readings_after(self, number: int) -> Iterator[tuple[int, Input]]:
        for first, _last, _from, _to, body, past in self._blocks(number + 1):
            yield from enumerate(self._unpack(body)[past:], start=first + past)

    def _others(self, first: int, last: int, parse: Callable[[str], Schedule]) -> Iterator[tuple[int, Input]]:
        found = self._ask("SELECT number, kind, body FROM inputs WHERE number BETWEEN ? AND ? ORDER BY number", (first, last))
        return ((at, spelling.read(kind, body, parse)) for at, kind, body in found)

    def _others_after(self, number: int, parse: Callable[[str], Schedule]) -> Iterator[tuple[int, Input]]:
        while True:
            found = self._ask("SELECT number, kind, body FROM inputs WHERE number > ? ORDER BY number LIMIT ?", (number, _PAGE))
            if not found:
                return
            for at, kind, body in found:
                yield at, spelling.read(kind, body, parse)
                number = at

    def readings(
        self, from_ms: int | None = None, to_ms: int | None = None, circuits: Collection[str] | None = None
    ) -> Iterator[Reading]:
        """Readings received from `from_ms` on and before `to_ms`, in the order of their numbers.

        At the times that they had by a clock that was set since: see `corrected`.
        """
        first = 0 if from_ms is None else self._first_block_since(from_ms)
        known = self._spans()
        wanted = None if circuits is None else frozenset(circuits)
        for number, _last, begins_ms, _ends_ms, body, past in self._blocks(first):
            if to_ms is not None and not known and begins_ms >= to_ms:
                return
            span = corrected.of_number(known, number)
            for reading in as_they_were(self._unpack(body)[past:], span):
                if (
                    (from_ms is None or reading.received_ms >= from_ms)
                    and (to_ms is None or reading.received_ms < to_ms)
                    and (wanted is None or reading.circuit in wanted)
                ):
                    yield reading

    def amps(self, from_ms: int, to_ms: int, circuits: Collection[str]) -> Iterator[block.Amps]:
        """The currents of these circuits received from `from_ms` on and before `to_ms`, a block at a time: see `readings`."""
        known = self._spans()
        wanted = frozenset(circuits)
        for number, _last, begins_ms, _ends_ms, body, past in self._blocks(self._first_block_since(from_ms)):
            if not known and begins_ms >= to_ms:
                return
            try:
                found = block.amps_behind(body, past, wanted) if past else block.amps(body, wanted)
            except block.DamagedBlock:
                self.damaged_blocks += 1
                continue
            span = corrected.of_number(known, number)
            for each in found:
                shifted = _amps_as_they_were(each, span)
                if shifted.received_ms[0] >= from_ms and shifted.received_ms[-1] < to_ms:
                    yield shifted
                    continue
                inside = [at for at, received_ms in enumerate(shifted.received_ms) if from_ms <= received_ms < to_ms]
                if inside:
                    yield shifted._replace(
                        times_ms=[shifted.times_ms[at] for at in inside],
                        received_ms=[shifted.received_ms[at] for at in inside],
                        amps=[shifted.amps[at] for at in inside],
                    )

    def clock_sets(self, from_ms: int) -> list[int]:
        """By how much the wall clock was set each time since then, ms, as far as that was seen."""
        found = self._ask("SELECT body FROM inputs WHERE kind = 'clock' AND received_ms >= ? ORDER BY number", (from_ms,))
        bodies = [json.loads(body) for (body,) in found]
        return [ms for body in bodies if (ms := body.get("shift_ms", 0) or body.get("offset_ms", 0))]

    def clock_moments(self) -> list[tuple[int, int]]:
        """(when, by how much) the wall clock was set, ms, at the time that it was."""
        known = self._spans()
        found = self._ask("SELECT number, received_ms, body FROM inputs WHERE kind = 'clock' ORDER BY number")
        out = []
        for number, received_ms, body in found:
            told = json.loads(body)
            ms = told.get("shift_ms", 0) or told.get("offset_ms", 0)
            if ms:
                span = corrected.of_number(known, number)
                out.append((int(received_ms) + (span.add_ms if span is not None else 0), int(ms)))
        return out

    def schedule_texts(self) -> list[tuple[int, str]]:
        """(when it came into force, the text) of every schedule that is kept, the oldest first."""
        known = self._spans()
        found = self._ask(
            "SELECT received_ms, json_extract(body, '$.schedule_text') FROM inputs WHERE kind = 'settings' ORDER BY number"
        )
        return [(corrected.of_axis(known, int(at_ms)), text) for at_ms, text in found if text]

    def newest_record_text(self) -> str:
        """Of the commissioning record that was in force last, as it was sealed; empty: there was none."""
        asked = "SELECT json_extract(body, '$.record_text') FROM inputs WHERE kind = 'settings' ORDER BY number DESC LIMIT 1"
        found = self._ask(asked)
        return str(found[0][0] or "") if found else ""

    def readings_since(self, from_ms: int) -> int:
        """About how many inputs are kept from here on: to the block, without unpacking any."""
        first = self._first_block_since(from_ms)
        found = self._ask("SELECT ifnull(max(last_number), 0) FROM blocks WHERE first_number >= ?", (first,))[0][0]
        return max(0, int(found) + 1 - first) if found else 0

    def raw_blocks(self, from_ms: int | None = None, to_ms: int | None = None) -> Iterator[RawBlock]:
        """Blocks as they lie there, of readings received from `from_ms` on and before `to_ms` (and some beside them).

        For who unpacks them faster than `block` does.
        """
        known = self._spans()
        for first, _last, begins_ms, ends_ms, body, past in self._blocks(
            0 if from_ms is None else self._first_block_since(from_ms)
        ):
            if to_ms is not None and not known and begins_ms >= to_ms:
                return
            yield _raw(known, first, begins_ms, ends_ms, body, past)

    def edge_blocks(self) -> list[RawBlock]:
        """The first and the last block of each run that has one time: what was measured lies between them."""
        known = self._spans()
        found = []
        for span in known or (corrected.Span(0, None, 0, 0, False),):
            for order in ("ASC", "DESC"):
                found += self._ask(
                    f"SELECT {_COLUMNS} FROM blocks WHERE first_number >= ? AND first_number <= ? "
                    f"ORDER BY first_number {order} LIMIT 1",
                    (span.first, 2**63 - 1 if span.last is None else span.last),
                )
        return [_raw(known, first, begins_ms, ends_ms, body, 0) for first, _last, begins_ms, ends_ms, body in found]

    def _blocks(self, number: int) -> Iterator[_Block]:
        """Blocks in order, with what they hold from this number on; a page at a time.

        Small blocks may be packed together between two pages: then what was given already is to be passed over, too.
        """
        given = number - 1
        while True:
            begun = self._ask("SELECT max(first_number) FROM blocks WHERE first_number <= ?", (given + 1,))[0][0]
            found = self._ask(
                f"SELECT {_COLUMNS} FROM blocks WHERE first_number >= ? AND last_number > ? ORDER BY first_number LIMIT ?",
                (given + 1 if begun is None else begun, given, _PAGE),
            )
            for first, last, begins_ms, ends_ms, body in found:
                yield first, last, begins_ms, ends_ms, body, max(0, given + 1 - first)
                given = last
            if not found:
                return

    def _spans(self) -> tuple[corrected.Span, ...]:
        """Which inputs were received at another time than they say; nothing: all at their own."""
        found = self._ask(
            "SELECT number, received_ms, kind, CASE kind WHEN 'clock' THEN body ELSE json_extract(body, '$.started') END "
            "FROM inputs WHERE kind IN ('clock', 'settings') ORDER BY number"
        )
        marks = []
        for number, received_ms, kind, told in found:
            if kind == "clock":
                clock = json.loads(told)
                marks.append(corrected.Mark(number, received_ms, False, clock.get("shift_ms", 0), clock.get("offset_ms", 0)))
            elif told:
                marks.append(corrected.Mark(number, received_ms, True))
        return corrected.spans(marks)

    def _first_block_since(self, from_ms: int) -> int:
        """Number of the first block that holds something received, by a clock that was set since, at or after `from_ms`."""
        known = self._spans()
        for span in known:
            at = max(span.first, self._first_block_on_axis(from_ms - span.add_ms))
            found = self._ask("SELECT min(first_number) FROM blocks WHERE first_number >= ?", (at,))[0][0]
            if found is not None and (span.last is None or found <= span.last):
                return at
        if known:
            return int(self._ask("SELECT ifnull(max(last_number), 0) + 1 FROM blocks")[0][0])
        return self._first_block_on_axis(from_ms)

    def _first_block_on_axis(self, from_ms: int) -> int:
        """Number of the first block that holds something received at or after `from_ms`, by halving.

        `received` never runs back, so no index has to be kept (each would cost the flash a page a commit).
        """
        low, high = self._ask("SELECT ifnull(min(first_number), 0), ifnull(max(last_number), 0) + 1 FROM blocks")[0]
        while low < high:
            middle = (low + high) // 2
            found = self._ask(
                "SELECT last_received_ms, first_number FROM blocks WHERE first_number <= ? ORDER BY first_number DESC LIMIT 1",
                (middle,),
            )
            if found and found[0][0] >= from_ms:
                high = found[0][1]
            else:
                low = middle + 1
        return int(low)

    def _unpack(self, body: bytes) -> list[Reading]:
        try:
            return block.decode(body)
        except block.DamagedBlock:
            self.damaged_blocks += 1
            return []

    def dropped(self) -> list[tuple[int, int]]:
        """(first, last) numbers whose inputs are gone: dropped on a failing disk, or in a file set aside."""
        return [(first, last) for first, last in self._ask("SELECT * FROM dropped ORDER BY first_number")]

    @property
    def last_received_ms(self) -> int | None:
        """When the newest input was received; None: there is none."""
        found = self._ask(
            """SELECT max(at) FROM (
                SELECT (SELECT last_received_ms FROM blocks ORDER BY first_number DESC LIMIT 1) AS at
                UNION ALL SELECT (SELECT received_ms FROM inputs ORDER BY number DESC LIMIT 1))"""
        )[0][0]
        return None if found is None else corrected.of_axis(self._spans(), int(found))

    # Transitions.

    def standing(self) -> list[dict[str, Any]]:
        """The newest alarm object of every alarm that is not over, in the order in which they began."""
        found = self._ask(
            """SELECT number, object FROM transitions AS t WHERE state <> 'normal' AND NOT EXISTS (
                SELECT 1 FROM transitions WHERE alarm_id = t.alarm_id AND sequence > t.sequence)
            ORDER BY (SELECT min(rowid) FROM transitions WHERE alarm_id = t.alarm_id)"""
        )
        return self._shown(found)

    def _shown(self, found: list[tuple[int, str]]) -> list[dict[str, Any]]:
        """Alarm objects at the times that they had by a clock that was set since."""
        known = self._spans() if found else ()
        out = []
        for number, text in found:
            shown = json.loads(text)
            span = corrected.of_number(known, number)
            if span is not None and span.add_ms and isinstance(shown, dict):
                shown |= {key: shown[key] + span.add_ms / 1000 for key in ("time", "since") if key in shown}
            out.append(shown)
        return out

    def last_transitions(self, limit: int = 100, alarm_id: str | None = None) -> list[dict[str, Any]]:
        """The last alarm objects, of all or of one alarm, in the order in which they came."""
        where, values = ("", ()) if alarm_id is None else ("WHERE alarm_id = ? ", (alarm_id,))
        found = self._ask(f"SELECT number, object FROM transitions {where}ORDER BY rowid DESC LIMIT ?", (*values, limit))
        return self._shown(found[::-1])

    def last_asked_ms(self, who: str) -> int | None:
        """When this asker's last test message was; None: never."""
        for text, at_ms in self._ask(
            "SELECT object, at_ms FROM transitions WHERE subject_id = 'drill' ORDER BY rowid DESC LIMIT 200"
        ):
            if json.loads(text).get("asked_by") == who:
                return int(at_ms)
        return None

    @property
    def first_received_ms(self) -> int | None:
        """When the oldest input that is kept was received; None: there is none."""
        found = self._ask(
            "SELECT min(at) FROM (SELECT (SELECT first_received_ms FROM blocks ORDER BY first_number LIMIT 1) AS at "
            "UNION ALL SELECT (SELECT received_ms FROM inputs ORDER BY number LIMIT 1))"
        )[0][0]
        return None if found is None else corrected.of_axis(self._spans(), int(found))

    @property
    def data_version(self) -> int:
        """Another number once another process has committed (sqlite.org/pragma.html#pragma_data_version)."""
        return int(self._ask("PRAGMA data_version")[0][0])

    # The small rows.

    def newest_snapshot(self) -> tuple[int, dict[str, Any]] | None:
        """(number it includes, state); where the newest can't be read, the one before it."""
        for (number,) in self._ask("SELECT number FROM snapshots ORDER BY number DESC"):
            try:
                body = self._ask("SELECT body FROM snapshots WHERE number = ?", (number,))[0][0]
                if body[0] == _SNAPSHOT:
                    return number, json.loads(zlib.decompress(body[1:]))
            except (EnvironmentFault, zlib.error, ValueError, IndexError, TypeError):
                continue
        return None

    def doings(self) -> list[dict[str, Any]]:
        """What the vehicle was doing, change by change, the oldest first."""
        return self._timed(self._ask("SELECT body FROM doing ORDER BY at_ms, rowid"))

    def _timed(self, found: list[tuple[str]]) -> list[dict[str, Any]]:
        """Rows with a time of the axis, at the time that it was."""
        known = self._spans() if found else ()
        rows = [json.loads(body) for (body,) in found]
        return [row | {"at_ms": corrected.of_axis(known, row["at_ms"])} for row in rows] if known else rows

    def replacements(self) -> list[dict[str, Any]]:
        """What was replaced, by whom and when, the oldest first; a journal of an older version knows of none."""
        if not self._ask("SELECT 1 FROM sqlite_master WHERE name = 'replaced'"):
            return []
        return self._timed(self._ask("SELECT body FROM replaced ORDER BY at_ms, rowid"))

    def changes(self) -> list[dict[str, Any]]:
        """What was changed, or refused, by whom and when, the oldest first; a journal of an older version knows of none."""
        if not self._ask("SELECT 1 FROM sqlite_master WHERE name = 'changes'"):
            return []
        return self._timed(self._ask("SELECT body FROM changes ORDER BY id"))

    def notes(self) -> list[dict[str, Any]]:
        """Moments that somebody wanted kept, the oldest first: `at_ms`, `who`, the text as `why`, `circuit` (or None)."""
        return [row for row in self.changes() if row["kind"] == "note"]

    def present(self) -> dict[str, Any] | None:
        """The row that the daemon keeps for `panelward now`; None: it has not written one yet."""
        found = self._ask("SELECT body FROM present")
        if not found:
            return None
        body = found[0][0]
        text = zlib.decompress(body) if isinstance(body, bytes) else body  # text: of an older version
        row: dict[str, Any] = json.loads(text)
        return row


def pack_present(text: str) -> bytes:
    """It is written every few seconds, and what does not fit on its page costs another, each time: so small as can be."""
    return zlib.compress(text.encode(), 9)


def pack_snapshot(state: dict[str, Any]) -> bytes:
    return bytes((_SNAPSHOT,)) + zlib.compress(json.dumps(state, separators=(",", ":")).encode(), 6)


def as_they_were(readings: list[Reading], span: corrected.Span | None) -> list[Reading]:
    """What was measured by a monitor's own clock, while ours was set, keeps that time."""
    if span is None or not span.add_ms:
        return readings
    add_ms, unset = span.add_ms, span.unset
    return [
        r._replace(
            received_ms=r.received_ms + add_ms,
            time_ms=r.time_ms + add_ms if unset or r.time_ms == r.received_ms else r.time_ms,
        )
        for r in readings
    ]


def _raw(known: Sequence[corrected.Span], first: int, begins_ms: int, ends_ms: int, body: bytes, past: int) -> RawBlock:
    span = corrected.of_number(known, first)
    add_ms, unset = (span.add_ms, span.unset) if span is not None else (0, False)
    return RawBlock(first, begins_ms + add_ms, ends_ms + add_ms, add_ms, unset, body, past)


def _amps_as_they_were(found: block.Amps, span: corrected.Span | None) -> block.Amps:
    if span is None or not span.add_ms:
        return found
    add_ms, unset = span.add_ms, span.unset
    return found._replace(
        received_ms=[at_ms + add_ms for at_ms in found.received_ms],
        times_ms=[t + add_ms if unset or t == at_ms else t for t, at_ms in zip(found.times_ms, found.received_ms, strict=True)],
    )
