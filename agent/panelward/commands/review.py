"""`panelward review`: what a journey's readings say, as a page, as JSON or in words."""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import fields
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any

from panelward.commands import JOURNAL, add_schedule, hour_of
from panelward.commands.rehearse import moment_ms, refuse_other_kinds
from panelward.errors import BadInput, EnvironmentFault

if TYPE_CHECKING:
    from panelward.records import Record, Schedule
    from panelward.review.report import Report, Sentence
    from panelward.review.table import Table
    from panelward.review.whole import Beside

WATCHED = 64 * 1024 * 1024  # octets of CSV that the watch is run over: some 1.4 million readings, 20 µs each
PROGRESS_S = 0.5
WIDTH = 80


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "review",
        help="what a journey's readings say",
        description="Reviews the last journey, or another span: what used the energy, what opened and why, what changed, "
        "what is near its limit, how long the bank would last. --out writes a page that opens without a network; --json "
        "prints every figure.",
    )
    add_schedule(command)
    source = command.add_mutually_exclusive_group()
    default = os.environ.get("PANELWARD_JOURNAL", JOURNAL)
    source.add_argument("--journal", metavar="J.sqlite", default=default, help="the journal (default: %(default)s)")
    source.add_argument("--readings", metavar="R.csv", help="a file of readings instead")
    command.add_argument("--record", metavar="C.json", help="what was measured when it was handed over "
                         "(default: the schedule's own, where there is one)")  # fmt: skip
    command.add_argument(
        "--from", dest="begin", metavar="T", help="from here on (RFC 3339, UTC without an offset; or Unix seconds)"
    )
    command.add_argument("--to", dest="end", metavar="T", help="up to here")
    command.add_argument("--journey", metavar="last|N", help="this journey of those that the readings tell")
    command.add_argument("--out", metavar="REPORT.html", help="write the page")
    command.add_argument(
        "--hour-of", metavar="ALARM", help="instead: two hours before one alarm to one after it, for a warranty call"
    )
    command.add_argument("--lenient", action="store_true", help="count and skip rows that can't be read")
    command.add_argument("--json", action="store_true", help="print every figure")


def run(args: argparse.Namespace) -> int:
    from panelward.schedule import load

    if args.hour_of is not None:
        return hour_of.run(args)
    asked = _asked(args)
    schedule, text = load(args.schedule)
    report = _reviewed(args, asked, schedule, text)
    if args.out:
        from panelward.review.page import html

        _write(Path(args.out), html(report, schedule))
        print(f"{args.out}: written", file=sys.stderr)
    if args.json:
        from panelward.review.plain import plain

        print(json.dumps(plain(report), ensure_ascii=False, allow_nan=False))
    elif not args.out:
        _print(report)
    return 0


def _asked(args: argparse.Namespace) -> Any:
    try:
        from panelward.review.whole import Asked
    except ImportError as error:
        raise EnvironmentFault(
            f"review: {error.name or error} is not installed here. "
            "Install panelward with its extra: pip install 'panelward[review]'"
        ) from None
    from_ms = moment_ms(args.begin) if args.begin else None
    to_ms = moment_ms(args.end) if args.end else None
    if from_ms is not None and to_ms is not None and to_ms <= from_ms:
        raise BadInput(f"--to: wanted a time after --from; found {args.end!r}. Turn the two round.")
    if args.journey is not None:
        if from_ms is not None or to_ms is not None:
            raise BadInput("--journey: it has its own beginning and end; leave --from and --to out")
        if args.journey != "last" and not (args.journey.isdecimal() and int(args.journey) > 0):
            raise BadInput(f"--journey: wanted `last` or a number from 1; found {args.journey[:40]!r}")
    return Asked(from_ms=from_ms, to_ms=to_ms, journey=args.journey)


def _reviewed(args: argparse.Namespace, asked: Any, schedule: Schedule, text: str) -> Report:
    from panelward.review.whole import NoSuchJourney, review

    source, beside = _of_file(args, schedule, text) if args.readings else _of_journal(args, schedule, text)
    shown = _progress(source.first_ms, source.last_ms) if not args.readings else None
    try:
        return review(source, schedule, asked, beside, round(time.time() * 1000), progress=shown)
    except NoSuchJourney as error:
        if error.count:
            raise BadInput(f"--journey: wanted `last` or 1 to {error.count}; found {args.journey}") from None
        raise BadInput(
            "--journey: when the vehicle left and came home can't be told from these readings. Give --from and --to instead."
        ) from None


def _record(args: argparse.Namespace, schedule: Schedule) -> Record | None:
    from panelward import sealed

    own = sealed.path_of(args.schedule)
    path = Path(args.record) if args.record else own if own.exists() else None
    if path is None:
        return None
    record = sealed.load(path, schedule.vehicle.id)[-1]
    print(f"used: record {path}, version {record.version}, {record.seal[:23]}", file=sys.stderr)
    return record


def _of_journal(args: argparse.Namespace, schedule: Schedule, text: str) -> tuple[Any, Beside]:
    from panelward import sealed
    from panelward.commands.now import zone_of
    from panelward.journal import Journal
    from panelward.records import Doing
    from panelward.review.alarms import journalled
    from panelward.review.doubts import damaged, of_schedules
    from panelward.review.stored import Stored
    from panelward.review.summed import filling
    from panelward.review.whole import Beside

    with closing(Journal.read(args.journal)) as journal:
        alarms = journalled(journal)
        rows = journal.doings()
        clock_sets = journal.clock_moments()
        doubts = of_schedules(schedule, journal.schedule_texts(), journal.changes())
        sealed_text = journal.newest_record_text()
        zone = str(zone_of(args.schedule, journal.present()))
    names = [each.name for each in fields(Doing)]
    doings = [Doing(**{name: row[name] for name in names if name in row}) for row in rows]
    record = _record(args, schedule)
    if record is None and sealed_text:
        record = sealed.parse(sealed_text)
    source = Stored(args.journal)
    return source, Beside(
        alarms=alarms, doings=doings or None, clock_sets=clock_sets, doubts=doubts,
        fill=filling(args.journal), record=record, timezone=zone,
        schedule_sha256=_sha256(text), late_doubts=lambda: damaged(source),
    )  # fmt: skip


def _of_file(args: argparse.Namespace, schedule: Schedule, text: str) -> tuple[Any, Beside]:
    from panelward.review.table import Table
    from panelward.review.whole import Beside

    refuse_other_kinds(args.readings)
    told = _octets(args.readings)
    source = Table(args.readings, schedule, lenient=args.lenient, progress=told)
    record = _record(args, schedule)
    alarms: list[Any] = []
    why = ""
    if source.size > WATCHED:
        why = (
            "What alarms there would have been is not known: the file is too long to run the watch over it here; "
            "`panelward rehearse` does."
        )
    else:
        alarms = _watched(args, schedule, record, source)

    def skipped() -> list[Sentence]:
        from panelward.review.report import Sentence

        found = []
        if source.skipped:
            found.append(f"{source.skipped:,} rows can't be read and were skipped.")
        if source.astray:
            found.append(
                f"{source.astray:,} readings lie years away from all others, by a clock that was wrong: they are in no figure."
            )
        return [Sentence(text=each, about="trust") for each in found]

    return source, Beside(
        alarms=alarms, alarms_known=why, rehearsed=True, record=record, schedule_sha256=_sha256(text), late_doubts=skipped
    )


def _watched(args: argparse.Namespace, schedule: Schedule, record: Record | None, source: Table) -> list[Any]:
    """The watch over a file that is short enough: what it would have said."""
    from panelward.intake import TableReader
    from panelward.rehearse import rehearse
    from panelward.review.alarms import rehearsed

    with open(args.readings, encoding="utf-8", errors="replace", newline="") as lines:
        table = TableReader(lines, schedule, lenient=args.lenient, file=args.readings)
        # What was measured years away from all else is no time to live through.
        near = (r for r in table if source.first_ms <= r.time_ms <= source.last_ms) if source.astray else table
        return rehearsed(rehearse(schedule, near, record=record), schedule)


def _sha256(text: str) -> str:
    import hashlib

    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _progress(first_ms: int, last_ms: int) -> Callable[[int], None] | None:
    if not sys.stderr.isatty():
        return None

    def show(at_ms: int) -> None:
        print(f"  {min(1.0, (at_ms - first_ms) / max(1, last_ms - first_ms)):4.0%} read", end="\r", file=sys.stderr)

    return show


def _octets(name: str) -> Callable[[int, int], None]:
    """How far a long file is read; on a terminal it is one line, else a line now and then."""
    shown = sys.stderr.isatty()
    last_s = [time.monotonic()]

    def show(done: int, whole: int) -> None:
        if whole > WATCHED and time.monotonic() - last_s[0] >= (PROGRESS_S if shown else 20 * PROGRESS_S):
            last_s[0] = time.monotonic()
            print(f"  {name}: {done / max(1, whole):4.0%} read", end="\r" if shown else "\n", file=sys.stderr, flush=True)

    return show


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise EnvironmentFault(f"{path}: the page can't be written: {error.strerror}") from None


def _print(report: Report) -> None:
    """In words: what can't be said, what happened, an answer to each question."""
    from zoneinfo import ZoneInfo

    from panelward.wording.past import moment

    zone = ZoneInfo(report.timezone)
    span = report.span
    if report.readings or span.to_ms - span.from_ms > 1000:
        print(f"{report.vehicle}: {moment(span.from_ms, zone)} to {moment(span.to_ms, zone)}, {span.how}")
    else:
        print(f"{report.vehicle}: no readings")
    for head, sentences in (
        ("What this can't say", report.cannot_say),
        ("What happened", report.happened),
        ("And further", report.answers),
    ):
        print(f"\n{head}")
        if not sentences:
            nothing = "Nothing in the readings asks to be told." if report.readings else "Not known: nothing was read."
            print("  nothing" if head != "What happened" else f"  {nothing}")
        for each in sentences:
            when = f"{moment(each.at_ms, zone)}  " if each.at_ms is not None else ""
            number = f"{each.number}. " if each.number is not None else ""
            print(fill(f"{number}{when}{each.text}", WIDTH, initial_indent="  ", subsequent_indent="    "))
    if report.more_happened:
        print(f"  {report.more_happened} more: see --json or --out")
