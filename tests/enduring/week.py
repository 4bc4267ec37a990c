"""The owner's week on the rig, message by message: `python tests/enduring/week.py [--seed 3] [--json]`.

Ordinary life, two faults, a day without network. The core, the addressing, the journal and its outbox are the daemon's own; the
clock is the van's, and the phones take what they are given while there is a network.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

HERE = Path(__file__).resolve().parent
if str(HERE.parent.parent / "agent") not in sys.path:
    sys.path.insert(0, str(HERE.parent.parent / "agent"))

from panelward.core import Core  # noqa: E402
from panelward.daemon.outward import WEEKLY, Doing, Outward  # noqa: E402
from panelward.journal import Journal, OutboxRow  # noqa: E402
from panelward.notify import SendResult  # noqa: E402
from panelward.records import Presence, Reading, Request, Schedule, Settings, Transition  # noqa: E402
from panelward.records.people import People, Person  # noqa: E402
from panelward.rig import Life, Van  # noqa: E402
from panelward.schedule import load  # noqa: E402

SCHEDULE = HERE.parent.parent / "config" / "survey-van.toml"
START = "2026-05-04T04:00:00+00:00"  # a Monday, 06:00 in Oslo
PERIOD_S = 10.0
PEOPLE = People(
    persons=(
        Person(name="Kari", refs=("Kari",), sleeping=(22 * 60, 6 * 60 + 30)),
        Person(name="Ola", refs=("Ola",), priorities=("high",), after_s=1800.0),
    ),
    weekly_day=0,
)


@dataclass
class Week:
    """What is to happen."""

    seed: int = 3
    days: float = 7.0
    faults: tuple[str, ...] = ("freezer-feed-lost+240000", "inverter-left-on+120000")  # Wed late, Tue
    start: str = START
    offline: tuple[float, float] = (2.5, 3.5)  # days from the start: Wed evening to Thu evening
    answers_after_s: float | None = 5400.0  # Kari looks at her phone and acknowledges what is high; None: nobody does
    repaired_h: float | None = 88.0  # from the start: Thu, 22:00; the freezer's feed


@dataclass
class Phones:
    """Who got what, when."""

    got: list[tuple[datetime, str, str]] = field(default_factory=list)
    up: bool = True


class Lived:
    """The week, lived."""

    def __init__(self, week: Week, folder: Path) -> None:
        self.week, self.phones = week, Phones()
        self.schedule, text = load(SCHEDULE)
        self.start_ms = round(datetime.fromisoformat(week.start).timestamp() * 1000)
        self.now_ms = self.start_ms
        self.zone = ZoneInfo(self.schedule.vehicle.timezone)
        self.life = Life(Van(str(SCHEDULE), week.seed, self.start_ms))
        self.life.people(int(week.days) + 2, week.seed)
        for fault in week.faults:
            self.life.befall(fault)
        if week.repaired_h is not None:
            self.life.at(self.start_ms + round(week.repaired_h * 3_600_000), _repair)
        self.journal = Journal.open(folder / "week.sqlite")
        self.core = Core()
        self.transitions: list[Transition] = []
        self.sent: list[OutboxRow] = []
        self.answers: list[tuple[int, str]] = []
        refs = {ref: f"json://{ref}" for person in PEOPLE.persons for ref in person.refs}
        self.outward = Outward(
            self.journal, PEOPLE, refs, now_ms=lambda: self.now_ms, rate=1.0, doing=Doing, prefix="", publish=_nowhere,
            sent=lambda _: None, heard=self._heard, log=lambda _: None, zone=self.schedule.vehicle.timezone,
            stands=self._stands, real_s=lambda: self.now_ms / 1000.0,
        )  # fmt: skip
        self.outward._random = random.Random(week.seed)
        self._tell(self.core.feed(Settings(received_ms=self.now_ms, schedule=self.schedule, schedule_text=text, started=True)))

    def run(self) -> Phones:
        begins, ends = (self.start_ms + round(day * 86_400_000) for day in self.week.offline)
        for reading in self._readings():
            self.now_ms = reading.received_ms
            self.journal.append(reading)
            self._tell(self.core.feed(reading))
            self.phones.up = not begins <= self.now_ms < ends
            while self.answers and self.answers[0][0] <= self.now_ms:
                asked = Request(kind="acknowledge", received_ms=self.now_ms, alarm=self.answers.pop(0)[1], who="Kari")
                self.journal.append(asked)
                self._tell(self.core.feed(asked))
            self._chores()
        self.outward.commit(None)
        self.sent = self.journal.outbox_rows()
        self.journal.close()
        return self.phones

    def waiting(self) -> int:
        """Messages that are not on their way yet."""
        return sum(row.status == "waiting" for row in self.sent)

    def _readings(self) -> Iterator[Reading]:
        van, steps = self.life.van, round(self.week.days * 86_400 / PERIOD_S)
        for step in range(1, steps + 1):
            at_ms = self.start_ms + round(step * PERIOD_S * 1000)
            self.life.step_to(at_ms)
            for row in van.sample():
                yield Reading(
                    circuit=row.circuit, time_ms=at_ms, received_ms=at_ms, volts=row.volts, amps=row.amps, watts=row.watts,
                    closed=row.closed, celsius=row.celsius, commanded=row.commanded,
                )  # fmt: skip

    def _chores(self) -> None:
        next_s = self.journal.next_due_s()
        if next_s is not None and next_s <= self.now_ms / 1000.0:
            self.outward.deliver()
            self._deliver()
        if self.now_ms % 60_000 == 0 and self.outward.weekly_due(self.start_ms):
            self._feed(Request(kind="drill", received_ms=self.now_ms, priority="low", who=WEEKLY))

    def _deliver(self) -> None:
        """In the place of the sending thread."""
        for rows in self.outward.lanes.given():
            results = []
            for row in rows:
                if self.phones.up:
                    self.phones.got.append((self._local(), row.ref, row.body))
                    self._answer_later(row.row)
                why = "" if self.phones.up else "no network"
                results.append(SendResult(row.row, "handed-over" if self.phones.up else "failed", why))
            self.outward.settle(results)

    def _answer_later(self, row: int) -> None:
        """Kari looks at her phone now and then, and acknowledges what is high."""
        late = self.week.answers_after_s
        alarm_id = next(each.alarm_id for each in self.journal.outbox_rows() if each.id == row)
        standing = {alarm.id: alarm for alarm in self.core.standing()}
        alarm = standing.get(alarm_id)
        if late is not None and alarm is not None and alarm.condition.priority == "high" and alarm.state == "unacknowledged":
            self.answers.append((self.now_ms + round(late * 1000), alarm_id))

    def _local(self) -> datetime:
        return datetime.fromtimestamp(self.now_ms / 1000.0, UTC).astimezone(self.zone)

    def _feed(self, item: Any) -> None:
        self.journal.append(item)
        self._tell(self.core.feed(item))

    def _stands(self, alarm_id: str) -> tuple[Transition, Schedule] | None:
        found = self.core.as_it_stands(alarm_id)
        return (found, self.schedule) if found is not None else None

    def _heard(self, ref: str, here: bool) -> None:
        self._feed(Presence(received_ms=self.now_ms, subject="address", name=ref, here=here))

    def _tell(self, out: list[Any]) -> None:
        found = [each for each in out if isinstance(each, Transition)]
        if not found:
            return
        self.transitions += found
        self.outward.write(found, self.schedule, None)


def _repair(van: Van) -> None:
    van.loads["D1"].fed = True


def _nowhere(topic: str, payload: bytes, *, retain: bool = False) -> None:
    """Nobody subscribes to this broker."""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=3)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--transitions", action="store_true", help="also each change of an alarm, told or not")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        lived = Lived(Week(seed=args.seed), Path(folder))
        phones = lived.run()
    for at, ref, body in phones.got:
        if args.json:
            print(json.dumps({"at": at.isoformat(), "to": ref, "body": body}, ensure_ascii=False))
        else:
            lines = body.splitlines()
            told = [line for line in lines if not line.startswith(("This watches", "Why:"))]
            print(f"{at:%a %H:%M} to {ref}\n" + "\n".join(f"    {line}" for line in told))
    if args.transitions:
        for each in lived.transitions:
            at = datetime.fromtimestamp(each.at_ms / 1000.0, UTC).astimezone(lived.zone)
            print(f"{at:%a %H:%M} {each.subject_id} {each.kind} {each.event} {each.state} {each.priority} {each.cause}")
    print(f"{len(phones.got)} messages, {len(lived.transitions)} transitions, {lived.waiting()} wait", file=sys.stderr)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
