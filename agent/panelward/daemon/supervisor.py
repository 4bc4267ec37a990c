"""What systemd is told where it started us: ready, alive, reloading, stopping, and one line of status.

The protocol of sd_notify(3): a datagram of NAME=VALUE lines to the socket named in NOTIFY_SOCKET. Nothing happens without
one, and a supervisor that can't be reached stops nothing. The sign of life (WATCHDOG_USEC) comes from the daemon's one loop
and from nowhere else: a loop that hangs is ended and started again.
"""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Callable, MutableMapping

__all__ = ["Supervisor"]

STATUS_EVERY_S = 5.0
STATUS_LONGEST = 300
AGAIN_S = 0.5
START_S = 120.0  # at the latest so long after one word of a start the next one comes
_OURS = ("NOTIFY_SOCKET", "WATCHDOG_USEC", "WATCHDOG_PID")


class Supervisor:
    """One socket, opened once. `due_s` (monotonic) is when `turned` wants to be called at the latest.

    The variables are taken out of the environment: what we start must not speak in our name.
    """

    def __init__(
        self,
        environ: MutableMapping[str, str] | None = None,
        *,
        monotonic_ns: Callable[[], int] = time.monotonic_ns,
        log: Callable[[str], None] = lambda _text: None,
    ) -> None:
        given = os.environ if environ is None else environ
        name, usec, pid = (given.pop(key, "") for key in _OURS)
        self._monotonic_ns, self._log = monotonic_ns, log
        self._socket: socket.socket | None = None
        self._address = f"\0{name[1:]}" if name.startswith("@") else name
        if name.startswith(("/", "@")):
            # Never waits: a receiver that does not read must not hold up the watch.
            self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC | socket.SOCK_NONBLOCK)
        self._every_s: float | None = None
        if self._socket and usec.isdecimal() and int(usec) > 0 and pid in ("", str(os.getpid())):
            self._every_s = int(usec) / 1e6 / 3  # sd_watchdog_enabled(3) recommends half: one may be late
        self._ready = self._lost = False  # ready: said, and taken
        self._refused = ""
        self._status = ""
        self._status_due_s = 0.0
        self.due_s = 0.0 if self._socket else float("inf")

    def starting(self, status: str) -> None:
        """A start that takes long asks for more time (EXTEND_TIMEOUT_USEC), every few seconds, and says how far it is."""
        now_s = self._now_s()
        if self._socket is not None and now_s >= self._status_due_s:
            self._status_due_s = now_s + STATUS_EVERY_S
            self._tell([f"EXTEND_TIMEOUT_USEC={START_S * 1e6:.0f}", _line(status)])

    def turned(self, status: Callable[[], str]) -> None:
        """The loop has turned once more. The first time this says that we are ready."""
        if self._socket is None:
            return
        now_s = self._now_s()
        if now_s < self.due_s:
            return
        lines = [] if self._ready else ["READY=1"]
        if self._every_s is not None:
            lines.append("WATCHDOG=1")
        if now_s >= self._status_due_s or not self._ready:
            told = "; ".join(filter(None, (status(), self._refused)))
            if told != self._status:
                lines.append(_line(told))
            self._status_due_s = now_s + STATUS_EVERY_S
        else:
            told = self._status
        if lines and not self._tell(lines):
            self.due_s = now_s + AGAIN_S
            return
        self._ready, self._status = True, told
        self.due_s = min(now_s + self._every_s if self._every_s is not None else float("inf"), self._status_due_s)

    def reloading(self) -> None:
        """The schedule is about to be read anew. `turned` says when that is over."""
        if self._ready:
            self._tell(["RELOADING=1", f"MONOTONIC_USEC={self._monotonic_ns() // 1000}"])

    def reloaded(self, refused: str) -> None:
        """It was read, or refused: then the status says so until the next reload."""
        self._refused = f"reload refused: {' '.join(refused.split())}" if refused else ""
        self._ready = False
        self._status_due_s = self.due_s = 0.0 if self._socket else float("inf")

    def stopping(self) -> None:
        """What follows is the end."""
        self._tell(["STOPPING=1", _line("writing what is left")])
        self.due_s = float("inf")

    def close(self) -> None:
        """Nothing is said from here on."""
        if self._socket is not None:
            self._socket.close()
        self._socket = None

    def _now_s(self) -> float:
        return self._monotonic_ns() / 1e9

    def _tell(self, lines: list[str]) -> bool:
        """Whether it was taken; the next turn tries again. Said once where nobody is there."""
        if self._socket is None:
            return False
        try:
            self._socket.sendto("\n".join(lines).encode(), self._address)
        except BlockingIOError:
            return False
        except OSError as error:
            if not self._lost:
                self._log(f"NOTIFY_SOCKET can't be reached ({error.strerror}): the watch goes on")
            self._lost = True
            return False
        self._lost = False
        return True


def _line(status: str) -> str:
    """One line: a break would begin another variable."""
    return f"STATUS={' '.join(status.split())[:STATUS_LONGEST]}"
