"""`panelward commission`: measure each circuit at the hand-over, at a terminal, and seal the record."""

from __future__ import annotations

import argparse
import queue
import re
import sys
import threading
from collections.abc import Iterator
from textwrap import fill
from typing import TYPE_CHECKING, Any

from panelward.commands import add_schedule
from panelward.commands.rehearse import moment_ms

if TYPE_CHECKING:
    from panelward.handover import Hearing, Kept

_WAIT = re.compile(r"wait\s+(\d{1,5}(?:\.\d)?)\s*(s|min)?")
STOPPED = 1


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
    from panelward.clock import pace
    from panelward.handover import Hearing, Kept
    from panelward.schedule import load

    schedule, text = load(args.schedule)
    kept = Kept(args.schedule, schedule, text)
    kept.begun(0, tuple(args.redo))  # what can't be used is said before anything is waited for
    source: Hearing | _Recorded
    if args.readings:
        source = _Recorded(args.readings, schedule)
    else:
        source = Hearing(schedule, args.schedule, simulated=pace(args.clock) if args.clock else None, say=_aside)
    try:
        kept.lock("a terminal")
        return _Terminal(args, schedule, kept).run(source)
    finally:
        source.end()
        kept.unlock()


def _aside(text: str) -> None:
    print(fill(text, 80, subsequent_indent="  "), file=sys.stderr, flush=True)


class _Terminal:
    """Prints, reads what is typed, keeps the state in a file."""

    def __init__(self, args: argparse.Namespace, schedule: Any, kept: Kept) -> None:
        self._schedule, self._kept = schedule, kept
        self._redo, self._anew = tuple(args.redo), args.anew
        self._patient = bool(args.readings)  # a recording waits for its answer; the broker's time does not
        self._session: Any = None
        self._shown: str | None = None
        self._hold_ms = 0
        self._lines: queue.SimpleQueue[tuple[str, str | None] | None] = queue.SimpleQueue()
        self._ended = False  # of what is typed
        self._asked = ""  # the number of the question that stands there

    def run(self, source: Hearing | _Recorded) -> int:
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
        hand = sys.stdin.isatty()
        for line in sys.stdin:  # what a hand typed was for the question that it saw; a file's lines are for whatever comes
            self._lines.put((line.rstrip("\n"), self._asked if hand else None))
        self._lines.put(None)

    def _begin(self, now_ms: int) -> None:
        if self._kept.unfinished and not self._anew:
            self._session = self._kept.taken_up(now_ms)
            seen = len(self._session.state.found)
            self._print([f"Going on: {self._session.state.fuse} devices read, {seen} ways seen before. --anew begins anew."])
            return
        self._session = self._kept.begun(now_ms, self._redo)
        self._print([
            f"Commissioning of {self._schedule.vehicle.name}. It measures and switches nothing: the fuse or breaker protects "
            "the conductor. Isolate every source before the cover comes off; AC is for a licensed person; local code rules. "
            "stop keeps what is done. Does `panelward watch` run here? `panelward working --for 1h --who NAME` first, or it "
            "sends alarms."
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
                self._shown, self._asked = prompt, session.number
                if prompt is not None:
                    self._print([f"? {prompt}"])
            if prompt is None or now_ms < self._hold_ms:
                break
            found = self._line()
            if found is None:
                if self._ended and not session.unattended:
                    return True
                break
            line, number = found
            if self._held(line, now_ms):
                continue
            if line.strip().casefold() == "stop":
                return True
            if not sys.stdin.isatty():
                print(f"> {line}", flush=True)
            self._print(session.answer(line, number))
            self._keep()
            self._shown = None if session.prompt == prompt else self._shown
        self._keep()
        return bool(session.over)

    def _line(self) -> tuple[str, str | None] | None:
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
        newest = self._kept.keep(self._session, at_once=at_once)
        if newest is not None:
            self._print([
                f"{self._kept.path}: version {newest.version}, sealed {newest.seal}. The seal shows a change; it is no "
                "signature: print it and sign the paper."
            ])  # fmt: skip

    def _end(self) -> int:
        from panelward.errors import EnvironmentFault

        if self._session is None:
            raise EnvironmentFault("no reading came: is the monitor running, and does [broker] name its broker?")
        self._keep(at_once=True)
        if not self._session.over:
            self._print([f"Stopped. What is done is kept in {self._kept.state_path}; the same command goes on."])
            return STOPPED
        versions = self._kept.versions
        return 1 if versions and versions[-1].differs else 0


class _Recorded:
    """A file of readings: its own time."""

    def __init__(self, path: str, schedule: Any) -> None:
        self._path, self._schedule = path, schedule

    def items(self) -> Iterator[tuple[Any, int]]:
        from panelward.commands.rehearse import Opened
        from panelward.intake import TableReader

        with Opened(self._path) as lines:
            for reading in TableReader(lines, self._schedule, file=self._path):
                yield reading, reading.received_ms

    def end(self) -> None:
        """The file is closed with its last reading."""
