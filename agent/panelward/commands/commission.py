"""`panelward commission`: measure each circuit at the hand-over, at a terminal, and seal the record."""

from __future__ import annotations

import argparse
import json
import os
import queue
import re
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from textwrap import fill
from typing import Any

from panelward.commands import add_schedule
from panelward.commands.rehearse import moment_ms

_WAIT = re.compile(r"wait\s+(\d{1,5}(?:\.\d)?)\s*(s|min)?")
STOPPED = 1
SAVE_EVERY_S = 60.0


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "commission",
        help="measure each circuit at the hand-over, seal the record",
        description="Asks, measures from the readings and writes <schedule>.record.json: sealed, a new version each time. "
        "It switches nothing. What is done is kept: stop (or Ctrl-C) ends here, the same command goes on. Answers may come "
        "from a file on standard input, a line each; `wait 90s` and `at 2026-05-01T06:00Z` there hold the next one back.",
    )
    add_schedule(command)
    command.add_argument("--readings", metavar="R.csv", help="readings of a recorded session instead of the broker's")
    command.add_argument("--redo", metavar="WAY", nargs="+", default=[], help="measure these ways anew, keep the rest")
    command.add_argument("--anew", action="store_true", help="throw away what an unfinished commissioning kept")
    command.add_argument("--clock", metavar="START,RATE[,ORIGIN]", help="simulated time, with a broker on this machine only")


def run(args: argparse.Namespace) -> int:
    from panelward import sealed
    from panelward.errors import BadInput, EnvironmentFault
    from panelward.schedule import load

    schedule, text = load(args.schedule)
    path = sealed.path_of(args.schedule)
    versions = sealed.load(path, schedule.vehicle.id) if path.exists() else ()
    known = [c.id for c in schedule.circuits]
    strange = [way for way in args.redo if way not in known]
    if strange:
        raise BadInput(f"--redo: wanted ways of the schedule; found {strange[0]!r}")
    if args.redo and not versions:
        raise BadInput(f"--redo: {path} is no record yet: commission the whole first")
    if not os.access(path.parent, os.W_OK):
        raise EnvironmentFault(f"{path.parent}: the record can't be written there. Give it to the user who commissions.")
    source: _Source = _Recorded(args.readings, schedule) if args.readings else _Broker(args, schedule)
    terminal = _Terminal(args, schedule, text, path, versions)
    try:
        return terminal.run(source)
    finally:
        source.end()


class _Terminal:
    """Prints, reads what is typed, keeps the state in a file."""

    def __init__(self, args: argparse.Namespace, schedule: Any, text: str, path: Path, versions: tuple[Any, ...]) -> None:
        self._schedule, self._text, self._path, self._versions = schedule, text, path, versions
        self._redo, self._anew = tuple(args.redo), args.anew
        self._patient = bool(args.readings)  # a recording waits for its answer; the broker's time does not
        self._kept = path.with_name(path.name.removesuffix(".record.json") + ".commission.json")
        self._session: Any = None
        self._shown: str | None = None
        self._hold_ms = 0
        self._saved_s = time.monotonic()
        self._lines: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        self._next: list[str | None] = []
        self._ended = False  # of what is typed
        self._wrote = 0

    def run(self, source: _Source) -> int:
        """Until it is over, stopped, or the readings end."""
        typed = threading.Thread(target=self._read, daemon=True)
        typed.start()
        try:
            for item, now_ms in source.items():
                if self._session is None:
                    self._begin(now_ms)
                if self._turn(item, now_ms):
                    break
            else:
                if self._session is not None and not self._session.over:
                    self._print(["The readings end here."])
        except KeyboardInterrupt:
            print()
        return self._end()

    def _read(self) -> None:
        for line in sys.stdin:
            self._lines.put(line.rstrip("\n"))
        self._lines.put(None)

    def _begin(self, now_ms: int) -> None:
        from panelward.commission import Session
        from panelward.errors import Fault, RecordError

        if self._kept.exists() and not self._anew:
            try:
                found = json.loads(self._kept.read_text(encoding="utf-8"))
            except (OSError, ValueError) as error:
                raise RecordError(
                    Fault(str(self._kept), None, "the file", "what an unfinished commissioning kept", str(error)[:80],
                          "Begin anew with --anew.")
                ) from None  # fmt: skip
            self._session = Session.restore(found, self._schedule, self._text, now_ms, str(self._kept))
            seen = len(self._session.state.found)
            self._print([f"Going on: {self._session.state.fuse} devices read, {seen} ways seen before. --anew begins anew."])
            return
        old = self._versions[-1] if self._redo else None
        self._session = Session(self._schedule, self._text, now_ms, only=self._redo, old=old)
        self._print([
            f"Commissioning of {self._schedule.vehicle.name}. It measures and switches nothing: the fuse or breaker protects "
            "the conductor. Isolate every source before the cover comes off; AC is for a licensed person; local code rules. "
            "stop keeps what is done. Does `panelward watch` run here? `panelward working --for 1h` first, or it sends alarms."
        ])  # fmt: skip

    def _turn(self, item: Any, now_ms: int) -> bool:
        """One reading, or time going on; then what was typed. True: it is over."""
        from panelward.records import Presence, Reading

        session = self._session
        if isinstance(item, Reading):
            self._print(session.reading(item))
        elif isinstance(item, Presence):
            self._print(session.presence(item))
        else:
            self._print(session.advance(now_ms))
        while not session.over:
            prompt = session.prompt
            if prompt != self._shown:
                self._shown = prompt
                if prompt is not None:
                    self._print([f"? {prompt}"])
            if prompt is None or now_ms < self._hold_ms:
                break
            line = self._line()
            if line is None:
                if self._ended and not session.unattended:
                    return True
                break
            if self._held(line, now_ms):
                continue
            if line.strip().casefold() == "stop":
                return True
            if not sys.stdin.isatty():
                print(f"> {line}", flush=True)
            self._print(session.answer(line))
            self._keep()
            self._shown = None if session.prompt == prompt else self._shown
        self._keep()
        return bool(session.over)

    def _line(self) -> str | None:
        if self._ended:
            return None
        try:
            line = self._lines.get(timeout=None) if self._patient else self._lines.get_nowait()
        except queue.Empty:
            return None
        self._ended = line is None
        return line

    def _held(self, line: str, now_ms: int) -> bool:
        found = _WAIT.fullmatch(line.strip())
        if found is not None:
            self._hold_ms = now_ms + round(float(found[1]) * (60_000 if found[2] == "min" else 1000))
            return True
        if line.startswith("at "):
            self._hold_ms = moment_ms(line[3:].strip())
            return True
        return False

    def _print(self, lines: list[str]) -> None:
        for line in lines:
            print(fill(line, 80, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False))
        if lines:
            sys.stdout.flush()

    def _keep(self, *, at_once: bool = False) -> None:
        """Write the record where one was made; keep the state."""
        from panelward import sealed

        session = self._session
        if session.made is not None:
            self._versions = sealed.append(self._versions, session.made)
            sealed.write(self._path, self._versions)
            session.made = None
            self._wrote += 1
            newest = self._versions[-1]
            self._print([
                f"{self._path}: version {newest.version}, sealed {newest.seal}. The seal shows a change; it is no signature: "
                "print it and sign the paper."
            ])  # fmt: skip
        if session.over:
            self._kept.unlink(missing_ok=True)
        elif at_once or session.worth_saving or time.monotonic() - self._saved_s > SAVE_EVERY_S:
            sealed.replace_file(self._kept, json.dumps(session.save(), ensure_ascii=False) + "\n")
            session.worth_saving, self._saved_s = False, time.monotonic()

    def _end(self) -> int:
        from panelward.errors import EnvironmentFault

        if self._session is None:
            raise EnvironmentFault("no reading came: is the monitor running, and does [broker] name its broker?")
        self._keep(at_once=True)
        if not self._session.over:
            self._print([f"Stopped. What is done is kept in {self._kept}; the same command goes on."])
            return STOPPED
        return 1 if self._versions and self._versions[-1].differs else 0


class _Source:
    """Where readings come from."""

    def items(self) -> Iterator[tuple[Any, int]]:
        """(Reading, Presence or None where only time goes on; the time)."""
        raise NotImplementedError

    def end(self) -> None:
        """Let go of it."""


class _Recorded(_Source):
    """A file of readings: its own time."""

    def __init__(self, path: str, schedule: Any) -> None:
        self._path, self._schedule = path, schedule

    def items(self) -> Iterator[tuple[Any, int]]:
        from panelward.commands.rehearse import Opened
        from panelward.intake import TableReader

        with Opened(self._path) as lines:
            for reading in TableReader(lines, self._schedule, file=self._path):
                yield reading, reading.received_ms


class _Broker(_Source):
    """The monitors themselves."""

    def __init__(self, args: argparse.Namespace, schedule: Any) -> None:
        from panelward.daemon.clock import HostClock, pace
        from panelward.errors import BadInput, EnvironmentFault
        from panelward.intake import Intake
        from panelward.link import Link

        broker = schedule.broker
        if broker is None or not schedule.monitors:
            raise BadInput(
                f"{args.schedule}: commission needs a [broker] and a [[monitor]], or --readings of a recorded session"
            )
        simulated = pace(args.clock) if args.clock else None
        if simulated and broker.host not in ("127.0.0.1", "localhost", "::1"):
            raise EnvironmentFault(f"--clock is for a broker on this machine; {broker.host} is another")
        self._clock, self._intake = HostClock(simulated), Intake(schedule)
        self._inbox: queue.SimpleQueue[Any] = queue.SimpleQueue()
        self._met = False
        self._link = Link(
            broker, client_id=f"panelward-commission-{os.getpid()}", on_message=self._inbox.put, on_state=self._state,
            persistent=False, log=lambda text: print(text, file=sys.stderr, flush=True),
        )  # fmt: skip
        self._link.subscribe(self._intake.subscriptions())
        self._link.start()

    def _state(self, connected: bool, why: str) -> None:
        self._inbox.put((connected, why))

    def items(self) -> Iterator[tuple[Any, int]]:
        from panelward.errors import EnvironmentFault, PayloadRefused

        while True:
            try:
                message = self._inbox.get(timeout=0.05)
            except queue.Empty:
                yield None, self._clock.now_ms()
                continue
            if type(message) is tuple:
                connected, why = message
                if not connected and why and not self._met and not self._link.worth_waiting:
                    raise EnvironmentFault(why)  # nothing was begun yet
                if self._met or not connected:
                    print(fill(f"broker: {'connected' if connected else f'away: {why}'}", 80), file=sys.stderr, flush=True)
                self._met = self._met or connected
                continue
            try:
                found = self._intake.message(
                    message.topic, message.payload, received_ms=self._clock.at(message.monotonic_s), retained=message.retained,
                    dup=message.dup, clock_trusted=self._clock.trusted,
                )  # fmt: skip
            except PayloadRefused as refused:
                self._intake.refusals.add(refused, message.topic, message.payload)
                continue
            for item in found:
                yield item, item.received_ms

    def end(self) -> None:
        self._link.stop()
        for text in self._intake.refusals.news():
            print(fill(text, 80, subsequent_indent="  "), file=sys.stderr)
