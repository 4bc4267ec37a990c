"""Years of a panel of 24 circuits through the core, the addressing and the journal, in one process and without a broker.

`python tests/enduring/long.py --days 365 --period 60` prints, a period of keeping at a time, how large the journal, its tables
and the process are, and what is written a day. The draws are invented: their shape is a refrigerator's, a socket's, a lamp's.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import NamedTuple

HERE = Path(__file__).resolve().parent
for folder in (HERE.parent, HERE.parent.parent / "agent"):
    if str(folder) not in sys.path:
        sys.path.insert(0, str(folder))

from panelward.core import Core  # noqa: E402
from panelward.daemon import KEEP_READINGS_DAYS, PACK_S, PRUNE_S, SNAPSHOT_S, SUM_S  # noqa: E402
from panelward.daemon.outward import COMMIT_S, Doing, Outward  # noqa: E402
from panelward.daemon.present import present  # noqa: E402
from panelward.journal import KEEP_MINUTES_DAYS, KEEP_TOLD_DAYS, PACK_AFTER_MS, Journal, sensed  # noqa: E402
from panelward.notify import SendResult  # noqa: E402
from panelward.records import Doing as Doings  # noqa: E402
from panelward.records import Reading, Request, Settings, Transition  # noqa: E402
from panelward.records.people import everybody  # noqa: E402
from plans import PLAN, T0, circuit  # noqa: E402

DAY_MS = 86_400_000
TABLES = ("blocks", "inputs", "transitions", "outbox", "doing", "snapshots", "dropped", "replaced", "minute_sums", "hour_sums")
KINDS = ("compressor", "socket", "light", "fan", "electronics", "heater-element")
SCHEDULE = replace(
    PLAN,
    monitors=(replace(PLAN.monitors[0], expect_every_s=60.0),),
    supplies=(replace(PLAN.supplies[0], meter=None),),
    feeders=(),
    probes=(),
    circuits=tuple(
        circuit(f"D{n}", f"Way {n}", KINDS[n % 6], **({"feed": "always-on", "always_draws_w": 2.0} if n == 6 else {}))
        for n in range(1, 25)
    ),
)


class Size(NamedTuple):
    """At the end of a day."""

    day: int
    file_mb: float
    wal_mb: float
    rss_mb: float
    written_mb_a_day: float
    rows: dict[str, int]


@dataclass
class Long:
    """What is lived; the daemon's own periods unless others are given."""

    days: float
    period_s: float
    circuits: int = 24
    keep_days: float = KEEP_READINGS_DAYS
    told_days: float = KEEP_TOLD_DAYS
    minutes_days: float = KEEP_MINUTES_DAYS
    most_transitions: int = 20_000
    most_messages: int = 40_000
    latest_of_one: int = 200
    answers_every_h: float | None = 24.0  # somebody acknowledges; None: nobody ever does, and alarms stay for good
    faults_a_day: int = 4
    commit_s: float = COMMIT_S
    snapshot_s: float = SNAPSHOT_S
    prune_s: float = PRUNE_S
    pack_s: float = PACK_S
    sum_s: float = SUM_S
    look_days: float = 1.0
    seed: int = 1
    sizes: list[Size] = field(default_factory=list)
    readings: int = 0
    said: Callable[[Size], None] = lambda _: None


class Lived:
    """Feeds, commits, snapshots, packs and prunes as the daemon does, on the clock of the readings."""

    def __init__(self, wanted: Long, folder: Path) -> None:
        self.wanted, self.path = wanted, folder / "long.sqlite"
        self.now_ms = T0
        self.journal, self.core = Journal.open(self.path), Core()
        self.outward = Outward(
            self.journal, everybody(("phone",)), {"phone": "json://phone"}, now_ms=lambda: self.now_ms, rate=1.0, doing=Doing,
            prefix="", publish=lambda *_, **__: None, sent=lambda _: None, heard=lambda *_: None, log=lambda _: None,
            real_s=lambda: self.now_ms / 1000.0,
        )  # fmt: skip
        schedule = replace(
            SCHEDULE, monitors=(replace(SCHEDULE.monitors[0], expect_every_s=wanted.period_s),),
            circuits=SCHEDULE.circuits[: wanted.circuits],
        )  # fmt: skip
        self.journal.sensed = sensed(schedule)
        self._tell(Settings(received_ms=T0, schedule=schedule, schedule_text="x" * 8000, started=True))

    def run(self) -> list[Size]:
        wanted = self.wanted
        due = dict.fromkeys(("commit", "snapshot", "prune", "pack", "sum"), float(T0))
        every = {
            "commit": wanted.commit_s, "snapshot": wanted.snapshot_s, "prune": wanted.prune_s, "pack": wanted.pack_s,
            "sum": wanted.sum_s,
        }  # fmt: skip
        look_ms, written, day = T0 + wanted.look_days * DAY_MS, written_bytes(), 0
        for reading in draws(wanted):
            if reading.received_ms != self.now_ms:
                while due["commit"] < reading.received_ms:  # between the readings too
                    self.now_ms = round(due["commit"])
                    due["commit"] += every["commit"] * 1000.0
                    self._commit()
                self.now_ms = reading.received_ms
                for name in due:
                    if self.now_ms >= due[name]:
                        due[name] = self.now_ms + every[name] * 1000.0
                        getattr(self, f"_{name}")()
                every_h = wanted.answers_every_h
                if every_h is not None and self.now_ms % (every_h * 3_600_000) < wanted.period_s * 1000:
                    self._answer()
                if self.now_ms >= look_ms:
                    day += 1
                    look_ms += wanted.look_days * DAY_MS
                    now = written_bytes()
                    wanted.sizes.append(self._size(day, (now - written) / wanted.look_days))
                    wanted.said(wanted.sizes[-1])
                    written = now
            wanted.readings += 1
            self._tell(reading)
        self.journal.close()
        return wanted.sizes

    def _tell(self, item: Reading | Request | Settings) -> None:
        self.journal.append(item)
        out = self.core.feed(item)
        if out:
            self.journal.doing([{"at_ms": each.at_ms, "laid_up": each.laid_up} for each in out if isinstance(each, Doings)])
            found = [each for each in out if isinstance(each, Transition)]
            if found:
                self.outward.write(found, self.core.schedule, None)

    def _answer(self) -> None:
        for alarm in self.core.standing():
            self._tell(Request(kind="acknowledge", received_ms=self.now_ms, alarm=alarm.id, who="Kari"))

    def _commit(self) -> None:
        self.outward.commit(present(self.core, real_s=self.now_ms / 1000.0, rate=1.0, connected=True, refused=0))
        self.outward.deliver()
        for rows in self.outward.lanes.given():
            self.outward.settle([SendResult(row.row, "handed-over", "") for row in rows])

    def _snapshot(self) -> None:
        self.journal.save_snapshot(self.journal.last_number, {"core": self.core.save(), "schedule_text": "x" * 8000})

    def _prune(self) -> None:
        wanted = self.wanted
        self.journal.prune(round(self.now_ms - wanted.keep_days * DAY_MS))
        self.journal.prune_told(
            round(self.now_ms - wanted.told_days * DAY_MS),
            most_transitions=wanted.most_transitions, most_messages=wanted.most_messages, latest_of_one=wanted.latest_of_one,
        )  # fmt: skip

        self.journal.prune_sums(self.now_ms, minutes_days=wanted.minutes_days)

    def _pack(self) -> None:
        self.journal.pack(self.now_ms - PACK_AFTER_MS)

    def _sum(self) -> None:
        self.journal.sum_up()

    def _size(self, day: int, written: float) -> Size:
        wal = Path(f"{self.path}-wal")
        rows = {table: self.journal._ask(f"SELECT count(*) FROM {table}")[0][0] for table in TABLES}
        return Size(day, self.path.stat().st_size / 1e6, wal.stat().st_size / 1e6, _resident_mb(), written / 1e6, rows)


def draws(wanted: Long) -> Iterator[Reading]:
    """Every circuit once a period; now and then a socket that is overloaded for a while."""
    chance = random.Random(wanted.seed)
    steps = round(wanted.days * 86_400 / wanted.period_s)
    fault_every = round(86_400 / wanted.period_s / max(wanted.faults_a_day, 1))
    fault_for = max(3, round(1800 / wanted.period_s))
    ids = [c.id for c in SCHEDULE.circuits[: wanted.circuits]]
    for step in range(1, steps + 1):
        t_s = step * wanted.period_s
        at_ms = T0 + round(t_s * 1000)
        volts = round(13.0 + 0.05 * chance.random(), 2)
        hour = t_s / 3600 % 24
        over = wanted.faults_a_day and step % fault_every < fault_for and step > fault_every
        for n, circuit_id in enumerate(ids, start=1):
            kind = n % 6
            if kind == 0:
                amps = 4.0 if (t_s / 60 + 7 * n) % 45 < 15 else 0.2
            elif kind == 1:
                amps = 17.5 if over and n == 7 else 3.0 if hour < 2 + n / 6 else 0.0
            elif kind == 2:
                amps = 2.0 if hour > 18 else 0.0
            else:
                amps = 1.0
            seen = round(amps * (1 + 0.01 * chance.random()), 2)
            yield Reading(circuit_id, at_ms, at_ms, volts=volts, amps=seen, watts=round(volts * seen, 3))


def written_bytes() -> int:
    """Bytes that this process sent to the disk, as the kernel counts them; where it counts none (a disk in memory), all
    that it wrote."""
    found = dict(line.split(": ") for line in Path("/proc/self/io").read_text().splitlines())
    return int(found["write_bytes"]) or int(found["wchar"])


def _resident_mb() -> float:
    return int(Path("/proc/self/status").read_text().split("VmRSS:")[1].split()[0]) / 1024


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--days", type=float, default=365.0)
    parser.add_argument("--period", type=float, default=60.0, help="seconds between the readings of a circuit")
    parser.add_argument("--keep", type=float, default=KEEP_READINGS_DAYS, help="days that readings are kept")
    parser.add_argument("--commit", type=float, default=COMMIT_S, help="seconds between commits")
    parser.add_argument("--look", type=float, default=0.0, help="days between the lines (default: a quarter of --keep)")
    args = parser.parse_args()
    wanted = Long(args.days, args.period, keep_days=args.keep, commit_s=args.commit, look_days=args.look or args.keep / 4)
    print("  day  file MB wal MB  resident MB  written MB/day  " + "  ".join(TABLES))

    def say(size: Size) -> None:
        rows = "  ".join(f"{size.rows[table]:>{len(table)}}" for table in TABLES)
        print(f"{size.day * wanted.look_days:5.1f} {size.file_mb:8.2f} {size.wal_mb:6.2f} {size.rss_mb:12.1f} "
              f"{size.written_mb_a_day:15.1f}  {rows}", flush=True)  # fmt: skip

    wanted.said = say
    with tempfile.TemporaryDirectory(dir=".") as folder:
        Lived(wanted, Path(folder)).run()
    print(f"{wanted.readings:,} readings")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
