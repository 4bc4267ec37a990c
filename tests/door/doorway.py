"""A whole house with its door, as processes: a broker, the daemon, the door. The tests tap on what it shows."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from brokers import wait_for
from houses import House
from panelward.journal import Journal

RATE = 20.0  # the vehicle's seconds a second: nothing here waits long, and no span of an answer is over meanwhile
FIRST_LOAD = 150_000  # bytes
PHONES_PX = (360, 768, 1200)

SCHEDULE = """
[vehicle]
name = "Test van"
id = "test-van"
timezone = "UTC"
panel = "odd-left"
spares = ["D9"]
fitter = {{ name = "Fjord Panels", phone = "+44 1632 960123" }}

[broker]
host = "127.0.0.1"
port = {port}

[[monitor]]
name = "dc"
dialect = "plain"
topic = "van/{{circuit}}/{{quantity}}"
expect_every_s = 2
sense = {{ resolution_a = 0.01 }}

[supply.house]
kind = "dc"
nominal_v = 12.8
"""
WAY = """
[[circuit]]
id = "{id}"
label = "{label}"
supply = "house"
feed = "{feed}"
protection = {{ kind = "blade-fuse", type = "{type}", rating_a = {rating} }}
{more}
[circuit.load]
kind = "{kind}"
"""
WAYS = (
    ("D1", "Sample freezer", "always-on", "C", 15, "compressor", 'always_on_reason = "samples spoil"', 4.0),
    ("D2", "Fire alarm", "always-on", "F", 5, "electronics", 'always_on_reason = "it wakes people"\nimportance = "life"', 0.3),
    ("D3", "Bench sockets", "switched", "C", 15, "socket", "", 5.0),
    ("D4", "Galley sockets", "switched", "C", 15, "socket", "", 5.0),
    ("D5", "Roof fan", "switched", "F", 5, "fan", "", 1.0),
    ("D6", "Lights", "switched", "F", 7.5, "light", "", 2.0),
)
BLOWN, BLOWN_A = "D5", 20.0  # four times its fuse: it opens within half a second
OVER_A = {"D2": 5.9, "D3": 17.6, "D4": 17.6}  # some 1.17 of the fuse: it asks for somebody and opens nothing


class Doorway(House):
    """The house, its readings in the background, and the door."""

    def __init__(self, folder: Path, *, rate: float = RATE, schedule: str | None = None) -> None:
        super().__init__(folder, rate=rate)
        text = schedule or SCHEDULE.format(port=self.broker.port) + "".join(
            WAY.format(id=i, label=label, feed=feed, type=kind, rating=rating, kind=load, more=more)
            for i, label, feed, kind, rating, load, more, _ in WAYS
        )
        self.schedule.write_text(text, encoding="utf-8")
        self.draws = {way[0]: way[-1] for way in WAYS}
        self.url = ""
        self.door: subprocess.Popen[str] | None = None
        self._done = threading.Event()
        self._thread = threading.Thread(target=self._feed, daemon=True)

    def open(self) -> None:
        """Everything runs, and readings come."""
        self.broker.start()
        self.start()
        assert wait_for(self.connected, 30), self.said()
        self.monitor()
        self._thread.start()
        self.open_door()

    def open_door(self) -> None:
        """On any port at first, later on the same one: a phone finds it again."""
        port = self.url.rpartition(":")[2] or "0"
        command = [sys.executable, "-m", "panelward", "door", "--listen", f"127.0.0.1:{port}"]
        command += ["--schedule", str(self.schedule), "--journal", str(self.journal)]
        log = (self.folder / "door.log").open("ab")
        env = {name: each for name, each in os.environ.items() if name != "PANELWARD_DOOR_PASSWORD"}
        self.door = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=log, text=True, env=env)
        log.close()
        assert self.door.stdout is not None
        line = self.door.stdout.readline().strip()
        assert line.startswith("door: http://"), self.door_said()
        self.url = line.removeprefix("door: ").rstrip("/")

    def close_door(self) -> int:
        assert self.door is not None
        self.door.terminate()
        try:
            return self.door.wait(timeout=15)
        except subprocess.TimeoutExpired:
            self.door.kill()
            return self.door.wait(timeout=5)
        finally:
            assert self.door.stdout is not None
            self.door.stdout.close()

    def door_said(self) -> str:
        return (self.folder / "door.log").read_text(errors="replace")

    def _feed(self) -> None:
        while not self._done.wait(2.0 / self.rate):
            for circuit, amps in dict(self.draws).items():
                self.publish(circuit, amps)

    def end(self) -> None:
        self._done.set()
        if self._thread.is_alive():
            self._thread.join()
        if self.door is not None and self.door.poll() is None:
            self.close_door()
        super().end()

    # What the journal holds.

    def newest(self, circuit: str, kind: str = "overcurrent-approach") -> dict[str, Any] | None:
        """The newest alarm object of a way."""
        found = [t for t in self.transitions() if t.get("circuit") == circuit and t["kind"] == kind]
        return found[-1] if found else None

    def state(self, circuit: str, kind: str = "overcurrent-approach") -> str:
        found = self.newest(circuit, kind)
        return found["state"] if found else "none"

    @contextmanager
    def read(self) -> Iterator[Journal]:
        journal = Journal.read(self.journal)
        try:
            yield journal
        finally:
            journal.close()

    @property
    def present(self) -> dict[str, Any]:
        with self.read() as journal:
            return journal.present() or {}
