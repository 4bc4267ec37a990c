"""A day of the demo vehicle, with the faults of the demo, lived by two daemons: one is left alone, one meets everything."""

from __future__ import annotations

import os
import random
import re
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from brokers import Mosquitto, wait_for
from enduring.lives import Life, Nursery
from enduring.storms import PATIENCE_S, Ear
from enduring.tally import Count
from panelward.errors import EnvironmentFault
from panelward.journal import Journal

VAN = Path(__file__).resolve().parents[2] / "config" / "survey-van.toml"
START = "2026-05-04T16:00Z"
EVERY_S = 60  # of the van's time between readings: silence is ten of these
# A freezer that loses its feed, a drain at night, an overload: what the rig calls them.
FAULTS = ("freezer-lost@19:00", "bench-left-on@20:00", "fan-stalled@21:00")


class House:
    """Broker, rig, daemon and phone of one van."""

    def __init__(self, folder: Path, nursery: Nursery, *, rate: float, faults: tuple[str, ...], seed: int) -> None:
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
        self.clock = f"{START},{rate:g},{time.time():.3f}"
        self.begun_s = time.time()
        self.daemon: Life | None = None
        command = [sys.executable, "-m", "panelward", "rig", "--schedule", str(self.schedule), "--clock", self.clock]
        for fault in faults:
            command += ["--fault", fault]
        with (folder / "rig.log").open("ab") as log:
            self.rig = subprocess.Popen([*command, "--seed", str(seed)], stdout=log, stderr=log)
        self.start()

    def start(self) -> None:
        argv = ["watch", "--schedule", str(self.schedule), "--journal", str(self.journal), "--clock", self.clock]
        self.daemon = self.nursery.start(argv, os.environ | {"PANELWARD_NOTIFY": self.ear.url}, self.log)

    def kill(self) -> None:
        assert self.daemon is not None
        self.daemon.send_signal(9)
        self.daemon.wait(PATIENCE_S)

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
        self.rig.terminate()
        self.rig.wait(30)
        if self.daemon is not None and self.daemon.poll() is None:
            self.daemon.terminate()
            self.daemon.wait(PATIENCE_S)
        self.broker.stop()
        self.ear.__exit__(None, None, None)


def day(
    folder: Path, nursery: Nursery, count: int, *, hours: float = 24.0, rate: float = 360.0, seed: int = 11,
    faults: tuple[str, ...] = FAULTS,
) -> Count:  # fmt: skip
    """`count` times: the same van twice at the same time, one of them under kills, restarts and sinks that refuse."""
    found = Count("a day of the demo van")
    for number in range(count):
        chance = random.Random(seed + number)
        alone, storm = (
            House(folder / f"{name}-{number}", nursery, rate=rate, faults=faults, seed=seed + number) for name in "ab"
        )
        try:
            ends_s = time.monotonic() + hours * 3600 / rate
            while time.monotonic() < ends_s:
                time.sleep(chance.uniform(1.0, 4.0))
                _befall(storm, chance)
                found.cases += 1
            storm.ear.now("200")
            _same(alone, storm, found)
        finally:
            alone.end()
            storm.end()
    return found


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
    for each in sorted(second - first):
        found.invent(f"only in the day with faults: {each}")
    found.why.append(f"both days: {sorted(first & second)}")
