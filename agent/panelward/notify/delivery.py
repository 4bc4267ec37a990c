"""The delivery thread's part: starts the helper when there is something to send, ends it afterwards.

A sink that hangs costs its own message the deadline, nobody else theirs: each address has one message on its way at
a time, all addresses are served side by side, and what has not answered in time is failed.
"""

from __future__ import annotations

import json
import os
import select
import subprocess
import sys
import time
from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from typing import NamedTuple

from panelward.notify.addresses import masked, without_secrets

DEADLINE_S = 60.0  # of real time, from the handing to the helper to its answer
_GOODBYE_S = 2.0
_LOOK_S = 0.25  # for more to send, while something is on its way …
_LINGER_S = 1.0  # … and as long behind the last: what follows at once needs no helper of its own
_TYPES = ("info", "warning", "failure", "success")
_ENV_OF_OURS = "PANELWARD_"  # holds the secrets: the helper is given them on its pipe, one at a time


class SendRow(NamedTuple):
    """One message to one address."""

    row: int  # the outbox row's id
    ref: str  # of the address
    title: str
    body: str
    type: str = "info"  # info | warning | failure | success


class SendResult(NamedTuple):
    """What became of it."""

    row: int
    result: str  # handed-over | failed (try again) | refused (a person has to mend the address)
    why: str  # never a secret
    maybe_sent: bool = False  # it may have arrived all the same: sent again, it has to say that it is a repeat


Told = Callable[[SendResult, float], None]  # and how long it took, s
More = Callable[[], Sequence[SendRow]]


class Delivery:
    """Used by one thread; `stop` may be called from another. Never raises for a sink's or the helper's fault."""

    def __init__(self, addresses: Mapping[str, str], *, python: str = sys.executable, deadline_s: float = DEADLINE_S) -> None:
        self._addresses = dict(addresses)
        self._python = python
        self._deadline_s = deadline_s
        self._helper: subprocess.Popen[bytes] | None = None
        self._stopped = False

    def send(self, rows: Iterable[SendRow], told: Told = lambda *_: None, more: More | None = None) -> list[SendResult]:
        """Send each row once; a result for each, in the order of the rows. Takes at most the deadline per message
        of one address, and no longer than one deadline for an address that does not answer.

        `told` hears of each result as it comes. `more` is asked for rows that came meanwhile, during one deadline: they
        need not wait for an address that takes long.
        """
        rows = list(rows)
        batch = _Batch(self, told, more)
        batch.add(rows)
        batch.run()
        return [batch.results[row.row] for row in rows]

    def address(self, ref: str) -> str | None:
        """The secret behind a reference; None: there is none any more."""
        return self._addresses.get(ref)

    def stop(self) -> None:
        """End a send that is on its way, from another thread: what has not answered is failed."""
        self._stopped = True
        helper = self._helper
        if helper is not None:
            helper.kill()

    def start_helper(self) -> subprocess.Popen[bytes] | None:
        """A fresh helper; None where it can't be started."""
        if self._stopped:
            return None
        env = {name: value for name, value in os.environ.items() if not name.startswith(_ENV_OF_OURS)}
        try:
            self._helper = subprocess.Popen(
                [self._python, "-P", "-m", "panelward.notify.helper"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,  # a traceback may hold an address
                env=env,
                start_new_session=True,  # Ctrl-C is for the daemon, which ends the helper itself
                cwd="/" if "PYTHONPATH" not in env else None,
            )
        except OSError:
            self._helper = None
        return self._helper

    def end_helper(self, helper: subprocess.Popen[bytes], *, kill: bool) -> None:
        """Wait for the helper's own end, or end it by its process id; it is gone on return."""
        with suppress(OSError):
            assert helper.stdin is not None
            helper.stdin.close()
        if not kill:
            try:
                helper.wait(_GOODBYE_S)
            except subprocess.TimeoutExpired:
                kill = True
        if kill:
            helper.kill()
            helper.wait()
        assert helper.stdout is not None
        helper.stdout.close()
        self._helper = None

    @property
    def deadline_s(self) -> float:
        return self._deadline_s


class _Batch:
    """One call of `send`: one helper, one message on its way per address."""

    def __init__(self, delivery: Delivery, told: Told, more: More | None) -> None:
        self._delivery, self._told, self._more = delivery, told, more
        self._queues: dict[str, deque[SendRow]] = {}
        self.results: dict[int, SendResult] = {}
        self._on_way: dict[str, tuple[SendRow, float]] = {}  # address -> (message, its deadline)
        self._silent: set[str] = set()  # addresses that did not answer in time
        self._half_line = b""

    def add(self, rows: Iterable[SendRow]) -> None:
        for row in rows:
            url = self._delivery.address(row.ref)
            if url is None:
                why = f"{row.ref}: there is no such address any more. Name it in PANELWARD_NOTIFY or people.toml."
                self._found(SendResult(row.row, "refused", why))
            else:
                self._queues.setdefault(url, deque()).append(row)

    def run(self) -> None:
        if not self._queues:
            return
        helper = self._delivery.start_helper()
        if helper is None:
            self._fail_rest("the sending program can't be started", maybe_sent=False)
            return
        ended = False
        began_s = last_s = time.monotonic()
        while not ended:
            now_s = time.monotonic()
            if self._more is not None and now_s - began_s < self._delivery.deadline_s:
                self.add(self._more())
            for url in self._queues:
                if url not in self._on_way:
                    self._next(helper, url)
            if self._on_way:
                last_s = now_s
            elif self._more is None or now_s - last_s >= _LINGER_S:
                break
            ended = not self._hear(helper)
            self._look_at_deadlines()
        self._delivery.end_helper(helper, kill=bool(self._silent) or ended)
        if ended:
            self._fail_rest(f"the sending program ended by itself (exit {helper.returncode})", maybe_sent=True)

    def _next(self, helper: subprocess.Popen[bytes], url: str) -> None:
        """Hand over the next message for this address."""
        if not self._queues[url]:
            return
        row = self._queues[url].popleft()
        self._on_way[url] = (row, time.monotonic() + self._delivery.deadline_s)
        kind = row.type if row.type in _TYPES else "info"
        line = {"row": row.row, "url": url, "title": row.title, "body": row.body, "type": kind}
        assert helper.stdin is not None
        with suppress(OSError):  # it ended: its output says so next
            helper.stdin.write(json.dumps(line).encode() + b"\n")
            helper.stdin.flush()

    def _hear(self, helper: subprocess.Popen[bytes]) -> bool:
        """Wait for answers until the next deadline; False: the helper ended."""
        assert helper.stdout is not None
        deadlines = [until - time.monotonic() for _row, until in self._on_way.values()]
        wait_s = max(0.0, min([*deadlines, _LOOK_S] if self._more is not None else deadlines))
        if not select.select([helper.stdout], [], [], wait_s)[0]:
            return True
        found = os.read(helper.stdout.fileno(), 65536)
        if not found:
            return False
        *lines, self._half_line = (self._half_line + found).split(b"\n")
        for line in lines:
            self._answer(helper, line)
        return True

    def _answer(self, helper: subprocess.Popen[bytes], line: bytes) -> None:
        try:
            said = json.loads(line)
            url, until = next((url, until) for url, (row, until) in self._on_way.items() if row.row == said["row"])
            result = SendResult(said["row"], str(said["result"]), str(said["why"]), bool(said.get("maybe_sent")))
        except (ValueError, KeyError, TypeError, StopIteration):
            return  # too late, or not an answer
        if result.result not in ("handed-over", "failed", "refused"):
            return
        del self._on_way[url]
        took_s = time.monotonic() - until + self._delivery.deadline_s
        self._found(result._replace(why=without_secrets(result.why, url)), took_s)
        self._next(helper, url)

    def _found(self, result: SendResult, took_s: float = 0.0) -> None:
        self.results[result.row] = result
        self._told(result, took_s)

    def _look_at_deadlines(self) -> None:
        now_s = time.monotonic()
        for url, (row, until) in list(self._on_way.items()):
            if until > now_s:
                continue
            del self._on_way[url]
            self._silent.add(url)
            why = f"{masked(url)}: no answer within {self._delivery.deadline_s:g} s"
            self._found(SendResult(row.row, "failed", why, maybe_sent=True), self._delivery.deadline_s)
            while self._queues[url]:
                later = self._queues[url].popleft()
                self._found(SendResult(later.row, "failed", f"{why}, so this one was not tried"))

    def _fail_rest(self, why: str, *, maybe_sent: bool) -> None:
        for row, _until in self._on_way.values():
            self._found(SendResult(row.row, "failed", why, maybe_sent))
        for queue in self._queues.values():
            for row in queue:
                self._found(SendResult(row.row, "failed", why))
