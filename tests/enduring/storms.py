"""A house whose vehicle is in an alarm storm, with what was really the case kept beside it.

Circuits F1–F4 (always-on, with a floor) lose their draw, O5–O8 (switched, 15 A fuse) draw far too much, again and
again; I9 and I10 are innocent: they change between ordinary draws and never do anything wrong.
"""

from __future__ import annotations

import json
import os
import random
import re
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from contextlib import closing, suppress
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

from brokers import Mosquitto, wait_for
from enduring.lives import Life, Nursery
from panelward.daemon.outward import MOST_AN_HOUR
from panelward.errors import EnvironmentFault
from panelward.journal import Journal, OutboxRow
from panelward.link import Link, Message
from panelward.records import Broker
from sinks import Sink

BEGIN_S = datetime(2026, 5, 1, 6, tzinfo=UTC).timestamp()  # of the van's clock
RATE = 300.0
EVERY_S = 10.0  # of the van's time, between two readings of a circuit
EXPECT_S = 30.0  # overdue after ten of these; a floor is missed after three
PATIENCE_S = float(
    os.environ.get("ENDURE_PATIENCE_S", "120")
)  # of real time: a loaded machine may take long, and then it took long

MARK = "Again: "  # how a message begins that comes again: unanswered, or perhaps a repeat
NUMBER = re.compile(r"^Message (\d+)\.$", re.MULTILINE)
FLOORS = ("F1", "F2", "F3", "F4")
OVERS = ("O5", "O6", "O7", "O8")
INNOCENT = ("I9", "I10")
EXPLAINED = ("feed-lost", "protection-opened", "overcurrent-approach", "protection-doubtful", "flood", "messages-unsent")
OF_OVERS = ("overcurrent-approach", "protection-doubtful")  # a fuse that carries so much for so long is none of 15 A

_HEAD = """
[vehicle]
name = "Storm van"
id = "storm-van"

[broker]
host = "127.0.0.1"
port = {port}

[[monitor]]
name = "dc"
dialect = "json"
topic = "van/{{circuit}}"
fields = {{ volts = {{ pointer = "/u" }}, amps = {{ pointer = "/i" }} }}
expect_every_s = {expect:g}
sense = {{ resolution_a = 0.01 }}

[supply.house]
kind = "dc"
nominal_v = 12.8
"""
_CIRCUIT = """
[[circuit]]
id = "{id}"
label = "{label}"
supply = "house"
feed = "{feed}"
protection = {{ kind = "blade-fuse", type = "C", rating_a = 15 }}
[circuit.load]
kind = "{kind}"
"""


def schedule(port: int, *, expect_s: float = EXPECT_S) -> str:
    """A floor for the always-on ones; nothing else is listed, so nothing else can be off."""
    text = _HEAD.format(port=port, expect=expect_s)
    for name in FLOORS:
        text += _CIRCUIT.format(id=name, label=f"Freezer {name}", feed="always-on", kind="compressor")
        text += "always_draws_w = 1.4\n"
    for name in (*OVERS, *INNOCENT):
        circuit = _CIRCUIT.format(id=name, label=f"Sockets {name}", feed="switched", kind="socket")
        # It hurts to lose them: their messages are high, and no hourly limit holds them back.
        text += circuit.replace("protection =", 'importance = "property"\nprotection =')
    return text


class Ear(Sink):
    """The phone's service: keeps what it took, and when; `hears` is called with a body before it is answered."""

    def __init__(self, host: str = "127.0.0.1") -> None:
        super().__init__("200", host=host)
        self.took: list[tuple[float, str]] = []  # answered with success
        self.heard: list[tuple[float, str]] = []  # taken, or perhaps taken: no answer, or half of one
        self.hears: Callable[[str], None] = lambda _body: None

    def _answer(self, request: Any) -> None:
        found = json.loads(request.rfile.read(int(request.headers["Content-Length"])))
        body = str(found["message"])
        with self._lock:
            behaviour = self._behaviours.pop(0) if len(self._behaviours) > 1 else self._behaviours[0]
            if behaviour == "200" or not behaviour.isdigit():  # an error status says that it was not taken
                self.heard.append((time.time(), body))
            if behaviour == "200":
                self.took.append((time.time(), body))
        request.close_connection = True
        self.hears(body)
        with suppress(OSError):
            self._behave(request, behaviour)

    @property
    def numbers(self) -> list[int]:
        """Of the messages that were taken and do not say that they come again."""
        return [int(n) for _, body in self.took if not body.startswith(MARK) for n in NUMBER.findall(body)]


class Storm:
    """One house: broker, daemon, phones, the vehicle that publishes, somebody who listens to the alarms by MQTT."""

    def __init__(
        self,
        folder: Path,
        nursery: Nursery,
        *,
        seed: int = 0,
        rate: float = RATE,
        journal: Path | None = None,
        phones: int = 1,
        every_s: float = EVERY_S,
        expect_s: float = EXPECT_S,
        simulated: bool = True,
        ears: Sequence[Ear] | None = None,
    ) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder, self.rate, self.every_s, self.simulated = folder, rate if simulated else 1.0, every_s, simulated
        self.overdue_real_s = 10 * expect_s / self.rate
        self.chance = random.Random(seed)
        self.nursery = nursery
        self.broker = Mosquitto(folder).start()
        self.ears = list(ears) if ears is not None else [Ear() for _ in range(phones)]
        for ear in self.ears:
            ear.__enter__()
        self.addresses = [ear.url for ear in self.ears]
        self.schedule = folder / "schedule.toml"
        self.schedule.write_text(schedule(self.broker.port, expect_s=expect_s), encoding="utf-8")
        self.journal = journal or folder / "journal.sqlite"
        self._origin_s = time.time()
        self.clock = f"2026-05-01T06:00Z,{rate:g},{self._origin_s:.3f}"
        self.log = folder / "watch.log"
        self.daemon: Life | subprocess.Popen[bytes] | None = None
        self.env: dict[str, str] = {}
        self.started_s = 0.0  # the last time
        self.starts: list[float] = []  # real times at which a daemon was started
        self.signs: list[float] = []  # … and at which one said that it lives
        self.seen: list[tuple[float, dict[str, Any]]] = []  # alarm objects by MQTT, and when
        self.faulty: dict[str, bool] = dict.fromkeys((*FLOORS, *OVERS), False)
        self.restless = 0.06  # how probable it is, a period, that one begins or ends to be faulty
        self.hushed: list[tuple[float, float]] = []  # real times between which nothing reached the broker for long
        self._published_s = time.time()
        self._storm = threading.Event()
        self._turning = threading.Lock()
        self._done = threading.Event()
        self._monitor = Link(Broker(host="127.0.0.1", port=self.broker.port), client_id="monitor", persistent=False)
        self._monitor.start()
        self._watcher = Link(
            Broker(host="127.0.0.1", port=self.broker.port), client_id="watcher", on_message=self._hear, persistent=False
        )
        self._watcher.subscribe((("panelward/storm-van/alarm/#", 1), ("panelward/storm-van/sign-of-life", 1)))
        self._watcher.start()
        assert wait_for(lambda: self._monitor.connected and self._watcher.connected, PATIENCE_S)
        self._thread = threading.Thread(target=self._live, daemon=True)
        self._thread.start()

    # The vehicle.

    def _live(self) -> None:
        while not self._done.wait(self.every_s / self.rate):
            with self._turning:
                if self._storm.is_set():
                    for name in self.faulty:
                        if self.chance.random() < self.restless:
                            self.faulty[name] = not self.faulty[name]
            if not self._monitor.connected:
                continue
            now_s = time.time()
            if now_s - self._published_s > self.overdue_real_s / 3:
                self.hushed.append((self._published_s, now_s))
            self._published_s = now_s
            for name in FLOORS:
                self._say(name, 0.0 if self.faulty[name] else self.chance.uniform(3.9, 4.1))
            for name in OVERS:
                self._say(name, 24.0 if self.faulty[name] else 5.0)
            for name in INNOCENT:
                self._say(name, self.chance.choice((2.0, 5.0)))

    def _say(self, name: str, amps: float) -> None:
        self._monitor.publish(f"van/{name}", b'{"u": 13.00, "i": %.2f}' % amps)

    def _hear(self, message: Message) -> None:
        if message.topic.endswith("/sign-of-life"):
            if message.payload and "ended" not in json.loads(message.payload):
                self.signs.append(time.time())
        elif message.payload:
            self.seen.append((time.time(), json.loads(message.payload)))

    def storm(self) -> None:
        self._storm.set()

    def hold(self, faults: Iterable[str] = ()) -> None:
        """From here on exactly these are faulty."""
        wanted = frozenset(faults)
        with self._turning:  # else the vehicle, on its way through them, turns one more
            self._storm.clear()
            self.faulty.update({name: name in wanted for name in self.faulty})

    def real_s(self, van_s: float) -> float:
        """The real time of a moment on the van's clock."""
        return self._origin_s + (van_s - BEGIN_S) / self.rate if self.simulated else van_s

    def van_s(self, real_s: float) -> float:
        """What the van's clock showed at this real time."""
        return BEGIN_S + (real_s - self._origin_s) * self.rate if self.simulated else real_s

    def hushed_at(self, van_s: float, least_s: float) -> bool:
        """Did nothing reach the broker for so long, around this moment of the van's clock?"""
        at_s = self.real_s(van_s)
        return any(begun - 0.5 <= at_s <= ended + 0.5 and ended - begun >= least_s for begun, ended in self.hushed)

    def unheard_at(self, van_s: float, least_s: float) -> bool:
        """Had a daemon lived for so long, at this moment of the van's clock, that had not yet reached the broker?"""
        at_s = self.real_s(van_s)
        begun_s = max((each for each in self.starts if each <= at_s), default=at_s)
        return at_s - begun_s >= least_s and not any(begun_s < each < at_s - least_s for each in self.signs)

    # The daemon.

    def start(self) -> None:
        argv = ["watch", "--schedule", str(self.schedule), "--journal", str(self.journal)]
        if self.simulated:
            argv += ["--clock", self.clock]
        env = os.environ | {"PANELWARD_NOTIFY": " ".join(self.addresses)} | self.env
        self.started_s = time.time()
        self.starts.append(self.started_s)
        if "LD_PRELOAD" in self.env:  # what is loaded first needs a process from the beginning
            with self.log.open("ab") as log:
                self.daemon = subprocess.Popen([sys.executable, "-m", "panelward", *argv], stdout=log, stderr=log, env=env)
            return
        self.daemon = self.nursery.start(argv, env, self.log)

    def alive(self) -> bool:
        return self.daemon is not None and self.daemon.poll() is None

    def await_connected(self) -> None:
        assert wait_for(lambda: "broker: connected" in self.said(), PATIENCE_S), self.said()

    def kill(self) -> float:
        """The real time just before it."""
        assert self.daemon is not None
        at_s = time.time()
        self.daemon.send_signal(9)
        self.daemon.wait(PATIENCE_S)
        return at_s

    def said(self) -> str:
        return self.log.read_text(errors="replace") if self.log.exists() else ""

    # What is in the journal.

    def open(self) -> Journal:
        return Journal.read(self.journal)

    def transitions(self) -> list[dict[str, Any]]:
        try:
            journal = self.open()
        except EnvironmentFault:
            return []
        try:
            return journal.last_transitions(10**6)
        finally:
            journal.close()

    def outbox(self) -> list[OutboxRow]:
        try:
            journal = self.open()
        except EnvironmentFault:
            return []
        try:
            return journal.outbox_rows()
        finally:
            journal.close()

    def standing(self) -> frozenset[str]:
        """Circuits of which an alarm says that something is the case."""
        newest = {each["id"]: each for each in self.transitions()}
        return frozenset(
            each["circuit"]
            for each in newest.values()
            if each["group"] in ("dead", "overcurrent")
            and each["state"] in ("unacknowledged", "acknowledged")
            and not each["latched"]  # it is over, and somebody has to look at what it left
        )

    def odd(self, wanted: Iterable[str]) -> str:
        """What stands against what is the case, with the last steps of each alarm that is otherwise."""
        stands = self.standing()
        text = f"{sorted(wanted)} is the case, {sorted(stands)} stands"
        told = self.transitions()
        for name in sorted(stands ^ frozenset(wanted)):
            steps = [each for each in told if each["circuit"] == name and each["group"] in ("dead", "overcurrent")][-6:]
            times = [f"{datetime.fromtimestamp(each['time'], UTC):%d %H:%M:%S}" for each in steps]
            said = [
                f"{at} {s['kind']} {s['event']}, {s['state']} ({s['id']}, {s['sequence']})"
                for at, s in zip(times, steps, strict=True)
            ]
            text += f"; {name}: {', '.join(said)}"
        return text

    def judged(self, faults: Iterable[str], seconds: float = PATIENCE_S) -> bool:
        """Hold these faults until exactly they stand."""
        wanted = frozenset(faults)
        self.hold(wanted)
        return wait_for(lambda: self.standing() == wanted, seconds)

    def open_rows(self) -> list[OutboxRow]:
        """What should have been handed over by now: it waits for no answer, no later time, no hourly limit."""
        now_s = time.time()
        rows = self.outbox()
        settled = [(row.address_ref, row.settled_real_s or 0.0) for row in rows if row.status == "handed-over"]
        of_hour = Counter(ref for ref, at_s in settled if at_s > now_s - 3600)
        waits = [row for row in rows if row.status == "waiting" and row.due_real_s < now_s + 1200 and not row.until_answered]
        return [row for row in rows if row.status == "trying"] + [
            row for row in waits if row.priority == "high" or row.attempts or of_hour[row.address_ref] < MOST_AN_HOUR
        ]

    def left(self) -> list[OutboxRow]:
        """What stays open. What the hourly limit held back may go out together at any moment, and is on its way then."""
        rows = {row.id: row for row in self.open_rows()}

        def still() -> set[int]:
            return rows.keys() & {row.id for row in self.open_rows()}

        wait_for(lambda: not still(), PATIENCE_S)
        return [rows[each] for each in sorted(still())]

    def drained(self, seconds: float = PATIENCE_S) -> bool:
        return wait_for(lambda: not self.open_rows(), seconds)

    def silent(self, overdue: dict[str, Any]) -> bool:
        """Did no reading of this monitor, or circuit, come between its last one and the alarm? All before an alarm is kept."""
        (name, of) = next(iter(overdue["subject"].items()))
        last_ms, at_ms = round(overdue["since"] * 1000), round(overdue["time"] * 1000)
        with closing(self.open()) as journal:
            came = any(journal.readings(last_ms + 1, at_ms, {of} if name == "circuit" else None))
        return name in ("monitor", "circuit") and not came

    def longest_gap_s(self) -> float:
        """Real seconds between two readings of the journal, at most."""
        journal = self.open()
        try:
            times = [each.received_ms for each in journal.readings()]
        finally:
            journal.close()
        return max((b - a for a, b in pairwise(times)), default=0) / 1000 / self.rate

    def end(self) -> None:
        self._done.set()
        self._thread.join()
        if self.alive():
            assert self.daemon is not None
            self.daemon.terminate()
            with suppress(Exception):
                self.daemon.wait(30)
            if self.alive():
                self.kill()
        self._monitor.stop()
        self._watcher.stop()
        self.broker.stop()
        for ear in self.ears:
            ear.__exit__(None, None, None)
