"""A real Mosquitto on a free port of 127.0.0.1, for tests. Stops exactly the process it started."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

QUEUES = "max_queued_messages 0\nmax_inflight_messages 1000\n"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Mosquitto:
    """Start, stop and start again, with the same port and the same stored sessions."""

    def __init__(
        self, folder: Path, *, port: int | None = None, extra: str = "allow_anonymous true\n", whole: str | None = None
    ) -> None:
        """`whole`: a configuration that listens on `port` by itself, in the place of the usual one."""
        self.port = port or free_port()
        self.folder = folder
        store = folder / "mosquitto"
        store.mkdir(exist_ok=True)
        self._conf = folder / "mosquitto.conf"
        own = "user root\n" if os.getuid() == 0 else ""
        usual = f"listener {self.port} 127.0.0.1\n{extra}persistence true\npersistence_location {store}/\n{QUEUES}"
        self._conf.write_text(own + (usual if whole is None else whole))
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> Mosquitto:
        program = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
        log = (self.folder / "mosquitto.log").open("ab")
        self._process = subprocess.Popen([program, "-c", str(self._conf)], stdout=log, stderr=log)
        log.close()
        for _ in range(200):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return self
            if self._process.poll() is not None:
                break
            time.sleep(0.05)
        raise AssertionError((self.folder / "mosquitto.log").read_text(errors="replace"))

    def kill(self) -> None:
        """As a power cut ends it: nothing is written, nobody is told."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(timeout=10)
        self._process = None

    def stop(self) -> None:
        if self._process is not None and self._process.poll() is None:
            self._process.terminate()
            self._process.wait(timeout=10)
        self._process = None


@contextmanager
def running_mosquitto(folder: Path, *, extra: str = "allow_anonymous true\n") -> Iterator[int]:
    broker = Mosquitto(folder, extra=extra).start()
    try:
        yield broker.port
    finally:
        broker.stop()


def wait_for(condition: object, seconds: float = 15.0) -> bool:
    """Wait until a callable is true; bounded."""
    assert callable(condition)
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():
            return True
        time.sleep(0.02)
    return bool(condition())
