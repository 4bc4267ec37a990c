"""What systemd is told, on a real datagram socket: sd_notify(3) and sd_watchdog_enabled(3), as the manual pages say it."""

from __future__ import annotations

import os
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from brokers import Mosquitto, wait_for
from houses import SCHEDULE
from panelward.daemon.supervisor import STATUS_LONGEST, Supervisor

BEAT_S = 0.9


class Manager:
    """The receiving end, as systemd's: a datagram socket that is read all the time."""

    def __init__(self, address: str) -> None:
        self.name = address
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(f"\0{address[1:]}" if address.startswith("@") else address)
        self._socket.settimeout(0.1)
        self.told: list[dict[str, str]] = []
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._read, daemon=True)

    def start(self) -> Manager:
        self._thread.start()
        return self

    def next(self) -> dict[str, str]:
        """The next datagram; for those who do not start the thread."""
        return dict(line.split("=", 1) for line in self._socket.recv(4096).decode().splitlines())

    def _read(self) -> None:
        while not self._end.is_set():
            try:
                self.told.append(self.next())
            except TimeoutError:
                continue

    def has(self, key: str, since: int = 0) -> bool:
        return any(key in each for each in list(self.told)[since:])

    def stop(self) -> None:
        self._end.set()
        if self._thread.is_alive():
            self._thread.join()
        self._socket.close()


@pytest.fixture
def supervise() -> Iterator[Callable[..., Supervisor]]:
    made: list[Supervisor] = []

    def make(environ: dict[str, str], **given: Any) -> Supervisor:
        made.append(Supervisor(environ, **given))
        return made[-1]

    yield make
    for each in made:
        each.close()


@pytest.fixture(params=["path", "abstract"])
def manager(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Manager]:
    made = Manager(str(tmp_path / "notify") if request.param == "path" else f"@panelward-test-{os.getpid()}")
    yield made
    made.stop()


def test_ready_alive_reloading_stopping(manager: Manager, supervise: Callable[..., Supervisor]) -> None:
    now_ns = 5_000_000_000
    environ = {"NOTIFY_SOCKET": manager.name, "WATCHDOG_USEC": "3000000", "WATCHDOG_PID": str(os.getpid()), "KEPT": "1"}
    supervisor = supervise(environ, monotonic_ns=lambda: now_ns)
    assert environ == {"KEPT": "1"}, "what we start would speak in our name"
    supervisor.turned(lambda: "all is well")
    assert manager.next() == {"READY": "1", "WATCHDOG": "1", "STATUS": "all is well"}
    assert supervisor.due_s == 6.0  # a third of the interval: two may be late

    now_ns += 999_000_000
    supervisor.turned(lambda: "not asked for")
    with pytest.raises(TimeoutError):
        manager.next()
    now_ns += 1_000_000
    supervisor.turned(lambda: "not asked for")
    assert manager.next() == {"WATCHDOG": "1"}
    now_ns += 4_000_000_000
    supervisor.turned(lambda: "line\nREADY=0")
    assert manager.next() == {"WATCHDOG": "1", "STATUS": "line READY=0"}

    supervisor.reloading()
    assert manager.next() == {"RELOADING": "1", "MONOTONIC_USEC": "10000000"}
    supervisor.reloaded("line 3: supply:\n wanted a name")
    supervisor.turned(lambda: "all is well")
    told = manager.next()
    assert told == {"READY": "1", "WATCHDOG": "1", "STATUS": "all is well; reload refused: line 3: supply: wanted a name"}
    supervisor.reloading()
    manager.next()
    supervisor.reloaded("")
    supervisor.turned(lambda: "x" * 4000)
    assert manager.next()["STATUS"] == "x" * STATUS_LONGEST

    supervisor.stopping()
    assert manager.next()["STOPPING"] == "1"


def test_a_long_start_asks_for_time_and_its_status_ends_with_it(manager: Manager, supervise: Callable[..., Supervisor]) -> None:
    now_ns = 5_000_000_000
    supervisor = supervise({"NOTIFY_SOCKET": manager.name}, monotonic_ns=lambda: now_ns)
    supervisor.starting("1,000 inputs so far")
    told = manager.next()
    assert told == {"EXTEND_TIMEOUT_USEC": "120000000", "STATUS": "1,000 inputs so far"}
    now_ns += 4_999_000_000
    supervisor.starting("not yet")
    with pytest.raises(TimeoutError):
        manager.next()
    now_ns += 1_000_000
    supervisor.starting("9,000 inputs so far")
    assert manager.next()["STATUS"] == "9,000 inputs so far"
    supervisor.turned(lambda: "all is well")
    assert manager.next() == {"READY": "1", "STATUS": "all is well"}


@pytest.mark.parametrize(
    "environ",
    [{}, {"NOTIFY_SOCKET": "relative"}, {"NOTIFY_SOCKET": "vsock:2:1234"}, {"WATCHDOG_USEC": "1000"}],
    ids=lambda e: "-".join(e.values()) or "none",
)
def test_without_a_socket_that_we_can_speak_to_nothing_is_said(
    environ: dict[str, str], supervise: Callable[..., Supervisor]
) -> None:
    said: list[str] = []
    supervisor = supervise(environ, log=said.append)
    supervisor.starting("a start")
    supervisor.reloading()
    supervisor.reloaded("")
    supervisor.turned(lambda: pytest.fail("the status was asked for"))
    supervisor.stopping()
    assert supervisor.due_s == float("inf")
    assert said == []


@pytest.mark.parametrize("watchdog", [{}, {"WATCHDOG_USEC": "1000000", "WATCHDOG_PID": "1"}, {"WATCHDOG_USEC": "0"},
                                      {"WATCHDOG_USEC": "soon"}], ids=["none", "another's", "zero", "no number"])  # fmt: skip
def test_a_watchdog_that_is_not_ours_gets_no_sign_of_life(
    watchdog: dict[str, str], tmp_path: Path, supervise: Callable[..., Supervisor]
) -> None:
    manager = Manager(str(tmp_path / "notify"))
    supervisor = supervise({"NOTIFY_SOCKET": manager.name} | watchdog)
    supervisor.turned(lambda: "")
    assert manager.next() == {"READY": "1"}
    manager.stop()


def test_a_supervisor_that_is_away_or_does_not_read_holds_nothing_up(
    tmp_path: Path, supervise: Callable[..., Supervisor]
) -> None:
    said: list[str] = []
    now_ns = 0
    supervisor = supervise({"NOTIFY_SOCKET": str(tmp_path / "notify")}, log=said.append, monotonic_ns=lambda: now_ns)
    for _ in range(3):
        now_ns += 1_000_000_000
        supervisor.turned(lambda: "x")
        assert supervisor.due_s > now_ns / 1e9, "the loop would spin"
    assert len(said) == 1
    assert "NOTIFY_SOCKET can't be reached" in said[0]
    # One that does not read: its queue is full after some datagrams, and a blocking send would hang here.
    deaf = Manager(str(tmp_path / "notify"))
    for n in range(2000):
        now_ns += 6_000_000_000
        supervisor.turned(lambda n=n: f"status {n}")  # type: ignore[misc]
    # It reads again: that we are ready was the first it got.
    assert deaf.next()["READY"] == "1"
    deaf.stop()


@pytest.fixture
def daemon(tmp_path: Path) -> Iterator[tuple[subprocess.Popen[bytes], Manager, Path, Mosquitto]]:
    broker = Mosquitto(tmp_path)  # not started: readiness does not hang on it
    schedule = tmp_path / "schedule.toml"
    schedule.write_text(SCHEDULE.format(port=broker.port, broker=""), encoding="utf-8")
    manager = Manager(str(tmp_path / "notify")).start()
    env = os.environ | {"PANELWARD_NOTIFY": "", "NOTIFY_SOCKET": manager.name, "WATCHDOG_USEC": str(round(BEAT_S * 1e6))}
    command = [sys.executable, "-m", "panelward", "watch", "--schedule", str(schedule)]
    process = subprocess.Popen([*command, "--journal", str(tmp_path / "j.sqlite")], env=env, stderr=subprocess.DEVNULL)
    yield process, manager, tmp_path, broker
    if process.poll() is None:
        process.kill()
        process.wait()
    manager.stop()
    broker.stop()


def test_the_daemon_from_ready_to_the_end(daemon: tuple[subprocess.Popen[bytes], Manager, Path, Mosquitto]) -> None:
    process, manager, folder, broker = daemon
    assert wait_for(lambda: manager.told), "nothing was told"
    first = manager.told[0]
    assert (first["READY"], first["STATUS"]) == ("1", "3 circuits, the broker is away, no alarms stand")
    assert (folder / "j.sqlite").exists()
    broker.start()
    assert wait_for(lambda: any("connected to the broker" in t.get("STATUS", "") for t in manager.told))

    # A reload that is taken, then one that is refused: each ends with READY=1, and the watch goes on.
    for text, end in ((None, "no alarms stand"), ("not toml", "reload refused: ")):
        if text is not None:
            (folder / "schedule.toml").write_text(text)
        before = len(manager.told)
        process.send_signal(signal.SIGHUP)
        assert wait_for(lambda before=before: manager.has("READY", before))
        since = manager.told[before:]
        begun = next(each for each in since if "RELOADING" in each)
        assert int(begun["MONOTONIC_USEC"]) <= time.monotonic_ns() // 1000
        over = next(each for each in since if "READY" in each)
        assert since.index(begun) < since.index(over)
        assert end in over.get("STATUS", "no alarms stand")
    process.terminate()
    assert process.wait(20) == 0
    assert wait_for(lambda: manager.has("STOPPING"))
    at = next(n for n, each in enumerate(manager.told) if "STOPPING" in each)
    assert manager.told[at + 1 :] == []


def test_a_loop_that_hangs_gives_no_sign_of_life_and_one_that_is_held_up_does(
    daemon: tuple[subprocess.Popen[bytes], Manager, Path, Mosquitto],
) -> None:
    process, manager, folder, _broker = daemon
    assert wait_for(lambda: manager.has("READY"))
    # The innocent twin: somebody holds the journal locked for longer than the watchdog waits.
    held = sqlite3.connect(folder / "j.sqlite", isolation_level=None)
    held.execute("BEGIN IMMEDIATE")
    before = len(manager.told)
    assert wait_for(lambda: sum("WATCHDOG" in each for each in manager.told[before:]) >= 3)
    held.execute("ROLLBACK")
    held.close()
    # The fault: the schedule became something that is never read to its end.
    (folder / "schedule.toml").unlink()
    os.mkfifo(folder / "schedule.toml")
    process.send_signal(signal.SIGHUP)
    assert wait_for(lambda: manager.has("RELOADING"))
    at = next(n for n, each in enumerate(manager.told) if "RELOADING" in each)
    time.sleep(BEAT_S * 2)
    assert manager.told[at + 1 :] == []
    # Freed again, it is alive again: nothing but the loop was the sign.
    (folder / "schedule.toml").open("w").close()
    assert wait_for(lambda: any("WATCHDOG" in each for each in manager.told[at + 1 :]))


def test_on_trial_it_starts_and_ends_without_broker_and_phones(tmp_path: Path) -> None:
    """What an update asks of the new version, on a copy of the journal."""
    schedule = tmp_path / "schedule.toml"
    schedule.write_text(SCHEDULE.format(port=1, broker=""), encoding="utf-8")
    command = [sys.executable, "-m", "panelward", "watch", "--trial", "--schedule", str(schedule), "--journal"]
    env = os.environ | {"PANELWARD_NOTIFY": "json://127.0.0.1:1"}
    done = subprocess.run([*command, str(tmp_path / "j.sqlite")], env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "broker" not in done.stderr
    assert (tmp_path / "j.sqlite").stat().st_size > 0
    (tmp_path / "not-a-journal").write_text("something else")
    refused = subprocess.run([*command, str(tmp_path / "not-a-journal")], capture_output=True, text=True, check=False)
    assert refused.returncode == 3
    assert "no journal of panelward" in refused.stderr
