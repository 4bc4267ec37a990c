"""`panelward rehearse`: the daemon's own core over a file of readings."""

from __future__ import annotations

import argparse
import io
import json
import sys
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from textwrap import fill
from typing import Any

from panelward.commands import add_schedule
from panelward.errors import BadInput, Fault, ReadingsError
from panelward.records import Reading

PROGRESS_EVERY = 200_000
ABOUT = """\
Runs readings from a file through the daemon's own core, starting cold, and
prints every transition of an alarm in time order. With --journal, all that the
daemon took in: readings, settings and what people asked for, by the schedules
that it had.

With --variation, --against or --plant it says what would have been otherwise."""
LATEST_S = 32_503_680_000.0  # the year 3000


def register(subparsers: Any) -> None:
    from panelward.commands import otherwise

    command = subparsers.add_parser(
        "rehearse",
        help="run readings from a file through the watch; try other wiring, other alarms, a fault",
        description=ABOUT,
        epilog=otherwise.FORMS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_schedule(command)
    source = command.add_mutually_exclusive_group(required=True)
    source.add_argument("--readings", metavar="R.csv", help="the readings (- for standard input)")
    source.add_argument("--journal", metavar="J.sqlite", help="a journal instead, as it was lived")
    otherwise.add(command)
    command.add_argument("--record", metavar="C.json", help="what was measured when it was handed over (default: none)")
    command.add_argument("--profile", metavar="P.json", help="what was learned and accepted (default: none)")
    command.add_argument("--until", metavar="T", help="advance on to this time after the last row (RFC 3339 or Unix seconds)")
    command.add_argument("--lenient", action="store_true", help="count and skip rows that can't be read")
    command.add_argument("--all", action="store_true", help="also what is only journalled")
    command.add_argument("--json", action="store_true", help="one alarm object a line")


def run(args: argparse.Namespace) -> int:
    from panelward import sealed
    from panelward.commands import otherwise
    from panelward.intake import TableReader
    from panelward.rehearse import rehearse
    from panelward.schedule import load
    from panelward.schedule.profile import applied, load_profile
    from panelward.wording import alarm_object

    if otherwise.asked(args):
        return otherwise.run(args)
    if args.from_ or args.to:
        raise BadInput(
            "--from and --to go with --variation, --against or --plant; leave them out, or export with `panelward log`"
        )
    if args.journal:
        return _relive(args)
    schedule, _ = load(args.schedule)
    profile = None
    if args.profile:
        profile = load_profile(args.profile, schedule.vehicle.id)[0].profile
        schedule = applied(schedule, profile)
    record = sealed.load(Path(args.record), schedule.vehicle.id)[-1] if args.record else None
    until_ms = moment_ms(args.until) if args.until else None
    rows = 0
    seen: dict[str, bool] = {}
    with Opened(args.readings) as lines:
        table = TableReader(lines, schedule, lenient=args.lenient, file=args.readings)

        def counted() -> Iterator[Reading]:
            nonlocal rows
            for reading in table:
                rows += 1
                seen[reading.circuit] = True
                if rows % PROGRESS_EVERY == 0 and sys.stderr.isatty():
                    print(f"  {rows:,} readings", end="\r", file=sys.stderr)
                yield reading

        for transition in rehearse(schedule, counted(), until_ms=until_ms, record=record):
            if transition.priority == "journal" and not args.all:
                continue
            found = alarm_object(transition, schedule)
            print(json.dumps(found, ensure_ascii=False) if args.json else line(found))
    print(f"used: schedule {args.schedule}, readings {args.readings}: {rows:,} rows", file=sys.stderr)
    if profile is not None:
        print(f"used: profile {args.profile}, version {profile.version}", file=sys.stderr)
    if record is not None:
        print(f"used: record {args.record}, version {record.version}, {record.seal[:23]}", file=sys.stderr)
    if table.skipped:
        print(f"skipped: {table.skipped:,} rows that can't be read", file=sys.stderr)
    absent = [c.id for c in schedule.circuits if c.id not in seen]
    if absent:
        print(f"not judged, no reading in the file: {', '.join(absent)}", file=sys.stderr)
    return 0


def _relive(args: argparse.Namespace) -> int:
    """A journal: its own schedules, records and requests hold."""
    from panelward.journal import Journal
    from panelward.rehearse import relive
    from panelward.schedule.profile import parsed
    from panelward.wording import alarm_object

    if args.record or args.profile or args.until:
        raise BadInput("--journal: the journal keeps its own record, profile and time; leave --record, --profile, --until out")
    journal = Journal.read(args.journal)
    try:
        inputs = (item for _, item in journal.inputs_after(0, lambda text: parsed(text, "the journal")))
        for transition, schedule in relive(inputs):
            if transition.priority == "journal" and not args.all:
                continue
            found = alarm_object(transition, schedule)
            print(json.dumps(found, ensure_ascii=False) if args.json else line(found))
    finally:
        journal.close()
    print(f"used: journal {args.journal}", file=sys.stderr)
    return 0


def line(found: dict[str, Any]) -> str:
    """One transition for a person, at 80 columns where the sentence allows."""
    when = datetime.fromtimestamp(found["time"], UTC).strftime("%Y-%m-%d %H:%M:%SZ")
    sentence = fill(found["message"], 80, initial_indent="  ", subsequent_indent="  ")
    return f"{when}  {found['priority']:<7} {found['kind']}: {found['state']}\n{sentence}"


def moment_ms(text: str) -> int:
    """A moment given on the command line, Unix milliseconds; ReadingsError where it is none."""
    wanted = "RFC 3339 like 2026-05-01T06:00Z, or Unix seconds"
    try:
        try:
            seconds = float(text)
        except ValueError:
            parsed = datetime.fromisoformat(text)
            seconds = (parsed if parsed.tzinfo else parsed.replace(tzinfo=UTC)).timestamp()
        if "_" in text or not 0 <= seconds <= LATEST_S:
            raise ValueError
    except (ValueError, OverflowError):
        raise ReadingsError(Fault("the command line", None, "time", wanted, repr(text[:60]))) from None
    return round(seconds * 1000)


def refuse_other_kinds(path: str) -> None:
    """Readings that are no CSV: said as what they are. ReadingsError."""
    try:
        with open(path, "rb") as file:
            begins = file.read(64)
    except OSError:
        return  # said where it is opened
    kind = "a Parquet file" if begins.startswith(b"PAR1") else "lines of JSON" if begins.lstrip().startswith(b"{") else ""
    kind = "a journal" if begins.startswith(b"SQLite format 3") else kind
    if kind:
        use = (
            "Name it with --journal." if kind == "a journal" else "Bring it in first: panelward log import FILE --journal NEW."
        )
        raise ReadingsError(Fault(path, None, "(file)", "readings as CSV", kind, use))


class Opened:
    """The file, or standard input; as lines of text."""

    def __init__(self, path: str, *, csv: bool = True) -> None:
        self._path, self._csv = path, csv

    def __enter__(self) -> Iterable[str]:
        if self._path == "-":
            self._file = None
            if isinstance(sys.stdin, io.TextIOWrapper):
                sys.stdin.reconfigure(errors="replace")
            return sys.stdin
        if self._csv:
            refuse_other_kinds(self._path)
        try:
            self._file = open(self._path, encoding="utf-8", errors="replace", newline="")  # what is no text is no row
        except OSError as error:
            raise ReadingsError(Fault(self._path, None, "(file)", "a file of readings", str(error.strerror))) from None
        return self._file

    def __exit__(self, *_: object) -> None:
        if self._file is not None:
            self._file.close()
