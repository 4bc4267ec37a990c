"""A journal of so many days of the month's readings: `python filled.py FILE DAYS [--at-once]`.

As the daemon writes it: commits, packing, sums, snapshots and the present row at its own periods, on the clock of the readings.
Or at once: the blocks that packing makes are written as they are, and sums made of them; a month takes minutes, not hours.
"""

from __future__ import annotations

import random
import sys
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
from panelward.journal import PACK_AFTER_MS, Journal, Sensed, block  # noqa: E402
from panelward.journal.packing import PACKED_READINGS  # noqa: E402
from panelward.records import Schedule, Settings, Vehicle  # noqa: E402

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


def fill_at_once(path: Path, days: int) -> int:
    """The same readings in the blocks that they end in; how many."""
    journal = Journal.open(path)
    journal.sensed = SENSED
    schedule = Schedule(vehicle=Vehicle(name="Van", id="van"))
    first = journal.append(Settings(received_ms=month.T0, schedule=schedule, schedule_text="x" * 8000, started=True)) + 1
    journal.commit()
    for number in range(days):
        readings = month.readings(month.day(number))
        while some := list(islice(readings, PACKED_READINGS)):
            row = (first, first + len(some) - 1, some[0].received_ms, some[-1].received_ms, block.pack(some))
            first += len(some)
            with journal._transaction(durable=False) as connection:
                connection.execute("INSERT INTO blocks VALUES (?, ?, ?, ?, ?)", row)
                connection.execute("INSERT OR REPLACE INTO counters VALUES ('packed', ?)", (first - 1,))
            journal.sum_up()
    journal.close()
    return first - 2


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
