"""A journal of so many days of the month's readings: `python filled.py FILE DAYS [--at-once]`.

As the daemon writes it: commits, packing, sums, snapshots and the present row at its own periods, on the clock of the readings.
Or at once: the blocks and sums that come of it.
"""

from __future__ import annotations

import random
import sys
import zlib
from collections.abc import Mapping
from itertools import islice
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
for folder in (HERE, HERE.parent, HERE.parent.parent / "agent"):
    if str(folder) not in sys.path:
        sys.path.insert(0, str(folder))

import month  # noqa: E402

from panelward.daemon import PACK_S, SNAPSHOT_S, SUM_S  # noqa: E402
from panelward.daemon.outward import COMMIT_S  # noqa: E402
from panelward.journal import PACK_AFTER_MS, Journal, Sensed, block, block2, octets, sumrows  # noqa: E402
from panelward.journal.packing import PACKED_READINGS  # noqa: E402
from panelward.records import Schedule, Settings, Vehicle  # noqa: E402

DISTINCT = 3  # days
SENSED = {name: Sensed(1000, False, 12.8) for name in month.NAMES}


def fill(path: Path, days: int, *, seconds: int = month.DAY_S, pack: bool = True) -> int:
    """Write the file; how many readings are in it."""
    journal = Journal.open(path)
    journal.sensed = SENSED
    schedule = Schedule(vehicle=Vehicle(name="Van", id="van"))
    journal.append(Settings(received_ms=month.T0, schedule=schedule, schedule_text="x" * 8000, started=True))
    every = {"commit": COMMIT_S, "snapshot": SNAPSHOT_S} | ({"pack": PACK_S, "sum": SUM_S} if pack else {})
    due_ms = dict.fromkeys(every, month.T0)
    count = 0
    for number in range(days):
        found = month.day(number, seconds=seconds)
        readings = month.readings(found)
        at = 0
        for cut in range(1, seconds + 1):  # a second at a time: `until` is where its last reading stands
            until = cut * month.CIRCUITS
            for reading in islice(readings, until - at):
                journal.append(reading)
                count += 1
            at = until
            now_ms = month.T0 + (number * month.DAY_S + cut) * 1000
            for name, s in every.items():
                if now_ms >= due_ms[name]:
                    due_ms[name] = now_ms + round(s * 1000)
                    _do(journal, name, now_ms)
    journal.commit()
    journal.close()
    return count


def fill_at_once(path: Path, days: int, *, distinct: int = DISTINCT) -> int:
    """The blocks that such readings end in, with their sums; how many readings. Beyond the first `distinct` days come the
    same ones again, so many days later: a month takes minutes, and no block knows of another."""
    journal = Journal.open(path)
    journal.sensed = SENSED
    schedule = Schedule(vehicle=Vehicle(name="Van", id="van"))
    first = journal.append(Settings(received_ms=month.T0, schedule=schedule, schedule_text="x" * 8000, started=True)) + 1
    journal.commit()
    count = 0
    for number in range(min(days, distinct)):
        readings = month.readings(month.day(number))
        while some := list(islice(readings, PACKED_READINGS)):
            row = (first + count, first + count + len(some) - 1, some[0].received_ms, some[-1].received_ms, block.pack(some))
            count += len(some)
            with journal._transaction(durable=False) as connection:
                connection.execute("INSERT INTO blocks VALUES (?, ?, ?, ?, ?)", row)
                connection.execute("INSERT OR REPLACE INTO counters VALUES ('packed', ?)", (row[1],))
            journal.sum_up()
    per_day = month.DAY_S * month.CIRCUITS
    for number in range(distinct, days):
        back = distinct * (number // distinct)
        _again(journal, back * per_day, back * month.DAY_S * 1000, number - back)
        count += per_day
    journal.close()
    return count


def _again(journal: Journal, add: int, add_ms: int, number: int) -> None:
    """Day `number`'s blocks and sums so many inputs and ms later. All is by day, but for the trapezoids over its ends."""
    from_ms = month.T0 + number * month.DAY_S * 1000
    span = from_ms, from_ms + month.DAY_S * 1000 - 1
    connection = journal._connection
    with journal._transaction(durable=False):
        for first, last, first_ms, last_ms, body in connection.execute(
            "SELECT * FROM blocks WHERE first_received_ms BETWEEN ? AND ? ORDER BY first_number", span
        ).fetchall():
            row = (first + add, last + add, first_ms + add_ms, last_ms + add_ms, later(body, add_ms))
            connection.execute("INSERT INTO blocks VALUES (?, ?, ?, ?, ?)", row)
        for table, step_ms in (("minute_sums", 60_000), ("hour_sums", 3_600_000)):
            for at_ms, first, last, body in connection.execute(
                f"SELECT * FROM {table} WHERE from_ms BETWEEN ? AND ?", span
            ).fetchall():
                rows = {(name, ms + add_ms): row for (name, ms), row in sumrows.read(body, step_ms).items()}
                row = (at_ms + add_ms, first + add, last + add, sumrows.spell(rows, step_ms))
                connection.execute(f"INSERT OR REPLACE INTO {table} VALUES (?, ?, ?, ?)", row)
        for name in ("packed", "summed"):
            last = connection.execute("SELECT max(last_number) FROM blocks").fetchone()[0]
            connection.execute("INSERT OR REPLACE INTO counters VALUES (?, ?)", (name, last))


def later(body: bytes, add_ms: int) -> bytes:
    """A block of version 2 so many ms later."""
    data = octets.Octets(zlib.decompress(body[1:]))
    found = block2.read_heads(data)
    heads = bytearray()
    octets.put(heads, sum(found.sizes))
    octets.put(heads, len(found.sorts))
    for sort, size in zip(found.sorts, found.sizes, strict=True):
        heads += octets.spell_sort(sort)
        octets.put(heads, size)
    parts = [data.take(sum(found.sizes) * (1 if len(found.sorts) <= 0x100 else 2))]
    for at, its in enumerate((found.received, found.times, *found.figures)):
        if not its.groups:
            continue
        if at == 1:
            heads.append(found.by)
        heads.append(its.width)
        for _, kind, base, step in its.groups:
            heads.append(kind)
            if kind != block2.AS_IS:
                moved = at == 0 or (at == 1 and found.by == block2.OWN)
                octets.put_signed(heads, base + add_ms if moved else base)
                octets.put(heads, step)
        sizes = found.sizes if at else [sum(found.sizes)]
        parts += [each for each in (data.take(its.folded(sizes) * its.width), data.take(its.as_is(sizes) * 8)) if each]
    return bytes((block2.VERSION,)) + block2.deflated([bytes(heads), *parts])


def _do(journal: Journal, name: str, now_ms: int) -> None:
    if name == "commit":
        journal.commit(now_row=present(now_ms))
    elif name == "pack":
        journal.pack(now_ms - PACK_AFTER_MS)
    elif name == "sum":
        journal.sum_up()
    else:
        journal.commit(now_row=present(now_ms))
        journal.save_snapshot(journal.last_number, state(now_ms))


def present(now_ms: int) -> Mapping[str, Any]:
    """Of the size of the daemon's: figures of each circuit."""
    chance = random.Random(now_ms)
    return {
        "time": now_ms / 1000,
        "circuits": [
            {"id": name, "label": f"Way {name}", "volts": 12.5 + chance.random(), "amps": round(chance.random() * 5, 3),
             "watts": round(chance.random() * 50, 1), "used": chance.random(), "energy_wh": chance.random() * 1000,
             "unknown_s": 0.0, "late": 0, "level": None, "overdue": False}
            for name in month.NAMES
        ],
    }  # fmt: skip


def state(now_ms: int) -> dict[str, Any]:
    """About as large as the core's of 24 circuits, and as little alike from one time to the next."""
    chance = random.Random(now_ms)
    return {"core": [chance.random() for _ in range(6000)], "schedule_text": "x" * 8000}


if __name__ == "__main__":
    written = (fill_at_once if "--at-once" in sys.argv else fill)(Path(sys.argv[1]), int(sys.argv[2]))
    print(f"{written:,} readings, {Path(sys.argv[1]).stat().st_size:,} bytes")
