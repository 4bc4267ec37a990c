"""A whole house for tests: a real Mosquitto, a real HTTP sink in the place of a phone, the daemon as a process of its own."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from brokers import Mosquitto, wait_for
from panelward.journal import Journal
from panelward.link import Link
from panelward.records import Broker

SCHEDULE = """
[vehicle]
name = "Test van"
id = "test-van"

[broker]
host = "127.0.0.1"
port = {port}
{broker}

[[monitor]]
name = "dc"
dialect = "plain"
topic = "van/{{circuit}}/{{quantity}}"
expect_every_s = 2
will = {{ topic = "van/state", gone = "lost", here = "ready" }}
sense = {{ resolution_a = 0.01 }}

[supply.house]
kind = "dc"
nominal_v = 12.8

[[circuit]]
id = "D1"
label = "Sample freezer"
supply = "house"
feed = "always-on"
protection = {{ kind = "blade-fuse", type = "C", rating_a = 15 }}
[circuit.load]
kind = "compressor"
always_draws_w = 1.4

[[circuit]]
id = "D7"
label = "Bench sockets"
supply = "house"
feed = "switched"
protection = {{ kind = "blade-fuse", type = "C", rating_a = 15 }}
[circuit.load]
kind = "socket"

[[circuit]]
id = "D8"
label = "Roof fan"
supply = "house"
feed = "switched"
protection = {{ kind = "blade-fuse", type = "F", rating_a = 5 }}
[circuit.load]
kind = "fan"
"""


class Phone:
    """Keeps what it is sent; answers with `status`."""

    def __init__(self) -> None:
        self.got: list[dict[str, Any]] = []
        self.status = 200
        phone = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = json.loads(self.rfile.read(int(self.headers.get("Content-Length", "0"))))
                if phone.status == 200:
                    phone.got.append(body)
                self.send_response(phone.status)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self.address = f"json://127.0.0.1:{self._server.server_address[1]}"
        self._thread = threading.Thread(target=self._server.serve_forever, daemon=True)
        self._thread.start()

    @property
    def sentences(self) -> list[str]:
        return [str(body["message"]).splitlines()[0] for body in self.got]

    def stop(self) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()


class House:
    """Everything in one folder; `rate` is how fast the daemon's time runs."""

    def __init__(self, folder: Path, *, rate: float = 60.0, extra: str = "allow_anonymous true\n", broker: str = "") -> None:
        self.folder, self.rate = folder, rate
        self.broker = Mosquitto(folder, extra=extra)
        self.phone = Phone()
        self.schedule = folder / "schedule.toml"
        self.schedule.write_text(SCHEDULE.format(port=self.broker.port, broker=broker), encoding="utf-8")
        self.journal = folder / "journal.sqlite"
        self.clock = f"2026-05-01T06:00Z,{rate:g},{time.time():.3f}"
        self.log = folder / "watch.log"
        self.daemon: subprocess.Popen[bytes] | None = None
        self.people: Path | None = None
        self._monitor: Link | None = None

    def start(self, *, simulated: bool = True, notify: str | None = None, under: Sequence[str] = ()) -> None:
        """`under`: a program that starts the daemon as its own child."""
        command = [
            *under,
            sys.executable,
            "-m",
            "panelward",
            "watch",
            "--schedule",
            str(self.schedule),
            "--journal",
            str(self.journal),
        ]
        if self.people is not None:
            command += ["--people", str(self.people)]
        if simulated:
            command += ["--clock", self.clock]
        env = os.environ | {"PANELWARD_NOTIFY": self.phone.address if notify is None else notify}
        log = self.log.open("ab")
        self.daemon = subprocess.Popen(command, stdout=log, stderr=log, env=env)
        log.close()

    def connected(self) -> bool:
        return "broker: connected" in self.said()

    def said(self) -> str:
        return self.log.read_text(errors="replace") if self.log.exists() else ""

    def kill(self) -> None:
        assert self.daemon is not None
        self.daemon.send_signal(signal.SIGKILL)
        self.daemon.wait(timeout=10)

    def stop_daemon(self) -> int:
        if self.daemon is None or self.daemon.poll() is not None:
            return self.daemon.returncode if self.daemon else 0
        self.daemon.terminate()
        return self.daemon.wait(timeout=20)

    def monitor(self) -> Link:
        """What publishes the readings."""
        if self._monitor is None:
            self._monitor = Link(Broker(host="127.0.0.1", port=self.broker.port), client_id="monitor", persistent=False)
            self._monitor.start()
        assert wait_for(lambda: self._monitor is not None and self._monitor.connected)
        return self._monitor

    def publish(self, circuit: str, amps: float, volts: float = 13.0) -> None:
        monitor = self.monitor()
        monitor.publish(f"van/{circuit}/volts", f"{volts:.2f}".encode())
        monitor.publish(f"van/{circuit}/amps", f"{amps:.2f}".encode())

    def live(self, seconds: float, **draws: float) -> None:
        """Publish these draws every 2 s of the van's time, for so many of its seconds."""
        every_s = 2.0 / self.rate
        end = time.monotonic() + seconds / self.rate
        while time.monotonic() < end:
            for circuit, amps in draws.items():
                self.publish(circuit, amps)
            time.sleep(every_s)

    @contextmanager
    def living(self, **draws: float) -> Iterator[None]:
        """The same in the background, for what takes its own time meanwhile."""
        done = threading.Event()

        def publish() -> None:
            while not done.wait(2.0 / self.rate):
                for circuit, amps in draws.items():
                    self.publish(circuit, amps)

        thread = threading.Thread(target=publish, daemon=True)
        thread.start()
        try:
            yield
        finally:
            done.set()
            thread.join()

    def transitions(self) -> list[dict[str, Any]]:
        if not self.journal.exists():
            return []
        journal = Journal.read(self.journal)
        try:
            return journal.last_transitions(1000)
        finally:
            journal.close()

    def run(self, *arguments: str, journal: bool = True) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "panelward", *arguments]
        if journal:
            command += ["--journal", str(self.journal)]
        return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)

    def end(self) -> None:
        if self._monitor is not None:
            self._monitor.stop()
        if self.daemon is not None and self.daemon.poll() is None:
            self.daemon.terminate()
            try:
                self.daemon.wait(timeout=15)
            except subprocess.TimeoutExpired:
                self.kill()
        self.broker.stop()
        self.phone.stop()
