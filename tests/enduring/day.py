"""A day of the demo vehicle, with the faults of the demo, lived by two daemons: one is left alone, one meets everything.

The rig's day is reckoned before and then played to both brokers in step: a rig that fell behind would be a silence of its own.
"""

from __future__ import annotations

import os
import random
import re
import threading
import time
import tomllib
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

from brokers import Mosquitto, wait_for
from enduring.lives import Life, Nursery
from enduring.storms import PATIENCE_S, Ear
from enduring.tally import Count
from panelward.errors import EnvironmentFault
from panelward.journal import Journal
from panelward.link import Link
from panelward.records import Broker
from panelward.rig import Life as VanLife
from panelward.rig import Van
from panelward.rig.live import quantities

VAN = Path(__file__).resolve().parents[2] / "config" / "survey-van.toml"
START = "2026-05-04T16:00Z"
EVERY_S = 30  # of the van's time between readings: silence is ten of these
RATE = 240.0
# An overload, a detector and a freezer that lose their feed, an inverter left on at night: the rig's names, and of what.
FAULTS = {
    "bench-overload@19:30": ("D7", "overcurrent"),
    "detector-feed-lost@21:00": ("D6", "dead"),
    "inverter-left-on@22:00": ("D9", "drain"),
    "freezer-feed-lost@07:30": ("D1", "dead"),
}


class Round(NamedTuple):
    """What the monitor says at one moment, seconds after the start."""

    at_s: float
    messages: tuple[tuple[str, bytes], ...]


def reckoned(hours: float, seed: int) -> list[Round]:
    """The rig's day; the same seed, the same bytes."""
    text = tomllib.loads(VAN.read_text(encoding="utf-8"))
    pattern = str(text["monitor"][0]["topic"])
    start_ms = round(datetime.fromisoformat(START).timestamp() * 1000)
    van = VanLife(Van(str(VAN), seed, start_ms))
    van.people(3, seed)
    for fault in FAULTS:
        van.befall(fault)
    out = []
    for n in range(round(hours * 3600 / EVERY_S) + 1):
        van.step_to(start_ms + n * EVERY_S * 1000)
        said = tuple(
            (pattern.replace("{circuit}", row.circuit).replace("{quantity}", quantity), payload)
            for row in van.van.sample()
            for quantity, payload in quantities(row)
        )
        out.append(Round(float(n * EVERY_S), said))
    return out


class House:
    """Broker, daemon and phone of one van, and the link by which its monitor speaks."""

    def __init__(self, folder: Path, nursery: Nursery, *, rate: float, origin_s: float) -> None:
        folder.mkdir(parents=True)
        self.folder, self.nursery, self.rate = folder, nursery, rate
        self.broker = Mosquitto(folder).start()
        self.ear = Ear()
        self.ear.__enter__()
        self.schedule, self.journal, self.log = folder / "van.toml", folder / "journal.sqlite", folder / "watch.log"
        text = VAN.read_text(encoding="utf-8").replace("port = 1883", f"port = {self.broker.port}")
        self.schedule.write_text(
            re.sub(r"expect_every_s = \d+", f"expect_every_s = {EVERY_S}", text, count=1), encoding="utf-8"
        )
        self.clock = f"{START},{rate:g},{origin_s:.3f}"
        self.monitor = Link(Broker(host="127.0.0.1", port=self.broker.port), client_id="monitor", persistent=False)
        self.monitor.start()
        self.daemon: Life | None = None
        self.away_s = 0.0  # the longest that nothing could be said, real time
        self._said_s = time.time()
        self.start()

    def start(self) -> None:
        argv = ["watch", "--schedule", str(self.schedule), "--journal", str(self.journal), "--clock", self.clock]
        self.daemon = self.nursery.start(argv, os.environ | {"PANELWARD_NOTIFY": self.ear.url}, self.log)

    def kill(self) -> None:
        assert self.daemon is not None
        self.daemon.send_signal(9)
        self.daemon.wait(PATIENCE_S)

    def say(self, messages: tuple[tuple[str, bytes], ...]) -> None:
        if self.monitor.connected:  # what a monitor says while its broker is away is gone
            now_s = time.time()
            self.away_s, self._said_s = max(self.away_s, now_s - self._said_s), now_s
            for topic, payload in messages:
                self.monitor.publish(topic, payload, qos=0)

    def transitions(self) -> list[dict[str, Any]]:
        try:
            journal = Journal.read(self.journal)
        except EnvironmentFault:
            return []
        try:
            return journal.last_transitions(10**6)
        finally:
            journal.close()

    def alarms(self) -> frozenset[tuple[str, str]]:
        """What began in this day: of what, in which group."""
        return frozenset((next(iter(t["subject"].values())), t["group"]) for t in self.transitions() if t["event"] == "begins")

    def end(self) -> None:
        self.monitor.stop()
        if self.daemon is not None and self.daemon.poll() is None:
            self.daemon.terminate()
            self.daemon.wait(PATIENCE_S)
        self.broker.stop()
        self.ear.__exit__(None, None, None)


def day(
    folder: Path, nursery: Nursery, count: int, *, hours: float = 24.0, rate: float = RATE, seed: int = 11
) -> Count:  # fmt: skip
    """`count` times: the same van twice at the same time, one of them under kills, restarts and sinks that refuse."""
    found = Count("a day of the demo van")
    for number in range(count):
        chance = random.Random(seed + number)
        rounds = reckoned(hours, seed + number)
        origin_s = time.time() + 2.0  # so that both are there when the day begins
        alone, storm = (House(folder / f"{name}-{number}", nursery, rate=rate, origin_s=origin_s) for name in "ab")
        late: list[float] = []
        player = threading.Thread(target=_play, args=(rounds, (alone, storm), origin_s, rate, late), daemon=True)
        player.start()
        try:
            while player.is_alive():
                player.join(chance.uniform(1.0, 4.0))
                if player.is_alive():
                    _befall(storm, chance)
                    found.cases += 1
            storm.ear.now("200")
            if late and max(late) * rate > 5 * EVERY_S:
                found.why.append(f"the machine was busy: readings came up to {max(late) * rate:.0f} s of the van's time late")
            _same(alone, storm, found)
        finally:
            alone.end()
            storm.end()
    return found


def _play(rounds: list[Round], houses: tuple[House, ...], origin_s: float, rate: float, late: list[float]) -> None:
    for each in rounds:
        due_s = origin_s + each.at_s / rate
        wait_s = due_s - time.time()
        if wait_s > 0:
            time.sleep(wait_s)
        else:
            late.append(-wait_s)
        for house in houses:
            house.say(each.messages)


def _befall(house: House, chance: random.Random) -> None:
    what = chance.choice(("kill", "kill", "broker", "sink", "sink"))
    if what == "kill":
        house.kill()
        house.start()
    elif what == "broker":
        house.broker.kill()
        house.broker.start()
    else:
        house.ear.now(chance.choice(("200", "500", "deaf")))


def _same(alone: House, storm: House, found: Count) -> None:
    # What the one has just found the other may find some moments later.
    wait_for(lambda: alone.alarms() == storm.alarms(), 30)
    first, second = alone.alarms(), storm.alarms()
    found.alarms += len(second)
    for each in sorted(first - second):
        found.lose(f"only in the day without faults: {each}")
    overdue_s = 0.8 * 10 * EVERY_S / storm.rate
    for each in sorted(second - first):
        if each[1] == "readings" and storm.away_s >= overdue_s:
            found.why.append(f"right: for {storm.away_s * storm.rate:.0f} s of the van's time its broker was away: {each}")
            continue
        found.invent(f"only in the day with faults: {each}")
    for name, planted in FAULTS.items():
        if planted not in first:
            found.lose(f"{name} was not found, not even in the day without faults")
    found.why.append(f"both days: {sorted(first & second)}")
