"""Which readings outlive the others: those around a note and around an alarm's beginning, at full rate.

Pruning looks at each old block once, in order; how far it came stands in `counters` (`looked`), and so does what it spared
(`spared_bytes`). Beyond MOST_SPARED_BYTES the oldest of it goes: some 450 moments of fifteen circuits at a reading a second.
Spared readings are for eyes: a replay begins behind them, as they are fragments.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from itertools import pairwise

AROUND_MS = 600_000  # before and after the moment (our own choice)
MOST_SPARED_BYTES = 64_000_000  # of blocks, as packed (our own choice): a week of fifteen circuits a second takes as much

_PAGE = "SELECT first_number, last_number, first_received_ms, last_received_ms, length(body) FROM blocks "


def counter(connection: sqlite3.Connection, name: str) -> int:
    found = connection.execute("SELECT value FROM counters WHERE name = ?", (name,)).fetchone()
    return int(found[0]) if found else 0


def count(connection: sqlite3.Connection, name: str, value: int) -> None:
    connection.execute("INSERT OR REPLACE INTO counters VALUES (?, ?)", (name, value))


def moments(connection: sqlite3.Connection, before: int) -> list[int]:
    """When, on the axis, what lies between `looked` and block `before` may be spared for: notes, and beginnings of alarms."""
    first = connection.execute(
        "SELECT first_received_ms FROM blocks WHERE first_number >= ? ORDER BY first_number LIMIT 1",
        (counter(connection, "looked"),),
    ).fetchone()
    last = connection.execute(
        "SELECT last_received_ms FROM blocks WHERE first_number < ? ORDER BY first_number DESC LIMIT 1", (before,)
    ).fetchone()
    if first is None or last is None:
        return []
    span = first[0] - AROUND_MS, last[0] + AROUND_MS
    notes = "SELECT at_ms FROM changes WHERE at_ms BETWEEN ? AND ? AND json_extract(body, '$.kind') = 'note'"
    begun = (
        "SELECT at_ms FROM transitions WHERE rowid >= ? AND rowid < ? AND sequence = 1 AND subject_id <> 'drill' "
        "AND ifnull(json_extract(object, '$.priority'), '') <> 'journal'"
    )
    rows = _row_since(connection, span[0]), _row_since(connection, span[1] + 1)
    found = connection.execute(notes, span).fetchall() + connection.execute(begun, rows).fetchall()
    return sorted(at_ms for (at_ms,) in found)


def _row_since(connection: sqlite3.Connection, at_ms: int) -> int:
    """The first transition's row at or after a time, by halving: they are written in the order of the axis."""
    low, high = connection.execute("SELECT ifnull(min(rowid), 0), ifnull(max(rowid), 0) + 1 FROM transitions").fetchone()
    while low < high:
        middle = (low + high) // 2
        found = connection.execute(
            "SELECT at_ms, rowid FROM transitions WHERE rowid <= ? ORDER BY rowid DESC LIMIT 1", (middle,)
        ).fetchone()
        if found and found[0] >= at_ms:
            high = found[1]
        else:
            low = middle + 1
    return int(low)


def look(
    connection: sqlite3.Connection, wanted: Sequence[int], before: int, oldest: int, rows: int, most_bytes: int
) -> tuple[int, bool]:  # fmt: skip
    """A page of old blocks: what is near no moment of `wanted` goes; how many, and whether there is more to look at.

    `before`: the first block that is not old; `oldest`: up to here the oldest snapshot includes the inputs.
    """
    looked, spared = counter(connection, "looked"), counter(connection, "spared_bytes")
    page = connection.execute(
        f"{_PAGE} WHERE first_number >= ? AND first_number < ? ORDER BY first_number LIMIT ?", (looked, before, rows)
    ).fetchall()
    more = len(page) == rows
    gone: list[tuple[int]] = []
    for first, last, first_ms, last_ms, size in page:
        if last > oldest:
            looked, more = first, False
            break
        looked = last + 1
        if any(first_ms - AROUND_MS <= at_ms <= last_ms + AROUND_MS for at_ms in wanted):
            spared += size
        else:
            gone.append((first,))
    else:
        looked = looked if more else max(looked, before)
    connection.executemany("DELETE FROM blocks WHERE first_number = ?", gone)
    dropped, spared = _within(connection, looked, spared, most_bytes, rows)
    count(connection, "looked", looked)
    count(connection, "spared_bytes", spared)
    return len(gone) + dropped, more


def _within(connection: sqlite3.Connection, looked: int, spared: int, most_bytes: int, rows: int) -> tuple[int, int]:
    """The oldest of what was spared goes where it is too much; how many, and the bytes left."""
    if spared <= most_bytes:
        return 0, spared
    page = connection.execute(f"{_PAGE} WHERE first_number < ? ORDER BY first_number LIMIT ?", (looked, rows)).fetchall()
    gone: list[tuple[int]] = []
    for first, _last, _first_ms, _last_ms, size in page:
        if spared <= most_bytes:
            break
        spared -= size
        gone.append((first,))
    connection.executemany("DELETE FROM blocks WHERE first_number = ?", gone)
    return len(gone), spared if page else 0  # nothing is there: a file begun anew after a damaged one


def outdated(connection: sqlite3.Connection, before: int, rows: int) -> int:
    """What was spared of readings before block `before` goes: nobody knows any more what for."""
    page = connection.execute(
        f"{_PAGE} WHERE first_number < ? ORDER BY first_number LIMIT ?", (min(before, counter(connection, "looked")), rows)
    ).fetchall()
    connection.executemany("DELETE FROM blocks WHERE first_number = ?", [(each[0],) for each in page])
    left = max(0, counter(connection, "spared_bytes") - sum(each[4] for each in page))
    if page:
        count(connection, "spared_bytes", left)
    return len(page)


def clocks_of_none(connection: sqlite3.Connection, before: int, keep: Sequence[int]) -> list[int]:
    """Starts and clocks before this number that date no spared block: those of a run of the program that has none."""
    marks = connection.execute(
        "SELECT number, ifnull(json_extract(body, '$.started'), 0) FROM inputs "
        "WHERE number < ? AND kind IN ('settings', 'clock') ORDER BY number",
        (before,),
    ).fetchall()
    starts = [at for at, (_, started) in enumerate(marks) if at == 0 or started] + [len(marks)]
    gone: list[int] = []
    for begin, end in pairwise(starts):
        run = [number for number, _ in marks[begin:end]]
        until = marks[end][0] if end < len(marks) else before
        # What was before the first mark left is dated by the run that the mark may belong to.
        since = 0 if begin == 0 else run[0]
        spared = "SELECT 1 FROM blocks WHERE first_number >= ? AND first_number < ? LIMIT 1"
        if connection.execute(spared, (since, min(until, before))).fetchone() is None:
            gone += [number for number in run if number not in keep]
    return gone
