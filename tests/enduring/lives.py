"""Many lives of the real daemon, cheaply: one warm process has everything imported and forks a daemon a life.

    nursery.start(["watch", …], env, log) ──fork──▶ panelward.commands.main([...]) in a process of its own

Each life is a process with its own files, sockets and signals; only the time for the imports is saved.
"""

from __future__ import annotations

import json
import os
import select
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Mapping, Sequence
from pathlib import Path


class Life:
    """One daemon process; as much of Popen's ways as houses.House asks for."""

    def __init__(self, pid: int) -> None:
        self.pid = pid
        self._fd = os.pidfd_open(pid)  # the process itself, whoever is given its number later
        self._asking = threading.Lock()  # a phone that hears asks, too: closed twice, the second time is somebody else's socket
        self.returncode: int | None = None

    def poll(self) -> int | None:
        with self._asking:
            if self.returncode is None and select.select([self._fd], [], [], 0)[0]:
                self._gone()
            return self.returncode

    def wait(self, timeout: float | None = None) -> int:
        until_s = time.monotonic() + (timeout if timeout is not None else float("inf"))
        while self.poll() is None:
            if time.monotonic() >= until_s:
                raise subprocess.TimeoutExpired("a daemon's life", timeout or 0.0)
            time.sleep(0.002)
        return self.returncode or 0

    def send_signal(self, number: int) -> None:
        with self._asking:
            if self.returncode is None:
                try:
                    signal.pidfd_send_signal(self._fd, number)
                except ProcessLookupError:
                    self._gone()

    def terminate(self) -> None:
        self.send_signal(signal.SIGTERM)

    def _gone(self) -> None:
        os.close(self._fd)
        self.returncode = 0


class Nursery:
    """The warm process. Ends with the `with` block; the lives it gave go on until somebody ends them."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process = subprocess.Popen(
            [sys.executable, str(Path(__file__).absolute())], stdin=subprocess.PIPE, stdout=subprocess.PIPE
        )

    def start(self, argv: Sequence[str], env: Mapping[str, str], log: Path) -> Life:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        with self._lock:
            self._process.stdin.write(json.dumps([list(argv), dict(env), str(log)]).encode() + b"\n")
            self._process.stdin.flush()
            said = self._process.stdout.readline()
            if not said:
                raise AssertionError("the nursery ended by itself")
            return Life(int(said))

    def __enter__(self) -> Nursery:
        return self

    def __exit__(self, *_: object) -> None:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.close()
        self._process.wait(20)
        self._process.stdout.close()


def _child(argv: list[str], env: dict[str, str], log: str) -> None:
    """In the forked process; never returns."""
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    os.environ.clear()
    os.environ.update(env)
    nowhere = os.open(os.devnull, os.O_RDWR)
    out = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
    for number, fd in ((0, nowhere), (1, out), (2, out)):
        os.dup2(fd, number)
    code = 70
    try:
        from panelward.commands import main

        code = main(argv)
    except SystemExit as ended:
        code = ended.code if isinstance(ended.code, int) else 1
    except BaseException:
        import traceback

        traceback.print_exc()
    finally:
        os.write(2, f"(ended with {code})\n".encode())
        os._exit(code)


def _nursery() -> None:
    import panelward.commands.watch
    import panelward.daemon
    import panelward.daemon.afar
    import panelward.notify
    import panelward.schedule.people  # noqa: F401

    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # the kernel buries them
    for line in iter(sys.stdin.buffer.readline, b""):
        argv, env, log = json.loads(line)
        pid = os.fork()
        if pid == 0:
            _child(argv, env, log)
        os.write(1, f"{pid}\n".encode())


if __name__ == "__main__":
    _nursery()
