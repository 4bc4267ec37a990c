"""`panelward log export` and `log import`: readings as CSV, JSON lines or Parquet, from a journal and into one of their own."""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from contextlib import closing, suppress
from datetime import UTC, datetime
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any

from panelward.commands import add_journal, add_schedule
from panelward.commands.now import zone_of
from panelward.commands.rehearse import Opened, moment_ms
from panelward.errors import BadInput, EnvironmentFault, PanelwardError

if TYPE_CHECKING:
    from panelward.intake import Head
    from panelward.journal import Journal
    from panelward.records import Reading

FORMATS = {".csv": "csv", ".jsonl": "jsonl", ".json": "jsonl", ".parquet": "parquet"}
COMMIT_EVERY = 100_000  # readings
PROGRESS_S = 1.0
NEEDS = "Parquet needs pyarrow, which panelward's watch does without: pip install 'panelward[review]', or take --format csv"


def register(actions: Any) -> None:
    export = actions.add_parser(
        "export",
        help="write readings as CSV, JSON lines or Parquet",
        description="Writes the journal's readings. Who is to get the file is named with --for, the owner who agreed with "
        "--consent: both stand in the file's head, with the range of time. A file without a head is the owner's own.",
    )
    add_journal(export)
    add_schedule(export)
    export.add_argument(
        "--from", dest="from_", metavar="T", help="received from here on (RFC 3339, UTC without an offset; or Unix seconds)"
    )
    export.add_argument("--to", metavar="T", help="received before this")
    export.add_argument("--circuit", action="append", metavar="ID", help="only this circuit (may be given again)")
    export.add_argument("--out", metavar="FILE", default="-", help="the file (default: standard output)")
    export.add_argument("--format", choices=sorted(set(FORMATS.values())), help="default: by the file's ending, else csv")
    export.add_argument("--for", dest="given_to", metavar="WHOM", help="who gets it")
    export.add_argument("--consent", metavar="WHO", help="the owner who agreed to that")
    export.add_argument("--force", action="store_true", help="write over a file that is there")
    export.add_argument("--alarms", action="store_true", help="jsonl only: alarms and noted moments too, behind the readings")
    bring = actions.add_parser(
        "import",
        help="readings of a file into a journal of their own",
        description="Makes a new journal of a file that `log export` wrote, or of any file of that form. All of it or nothing: "
        "a row that can't be read is named with its line, and no journal is made.",
    )
    bring.add_argument("file", metavar="FILE", help="CSV, JSON lines or Parquet; - is standard input (CSV, or --format)")
    bring.add_argument("--journal", metavar="J.sqlite", required=True, help="the new journal: a file that is not there yet")
    bring.add_argument("--format", choices=sorted(set(FORMATS.values())), help="default: by the file's ending, else csv")
    bring.add_argument("--lenient", action="store_true", help="count and skip rows that can't be read")


def _format(asked: str | None, path: str) -> str:
    return asked or FORMATS.get(Path(path).suffix.lower(), "csv")


def export(args: argparse.Namespace) -> int:
    """Readings out."""
    from panelward.journal import Journal

    form = _format(args.format, args.out)
    named = [args.given_to, args.consent]
    if named != [None, None] and not all(each and each.strip() for each in named):
        raise BadInput(
            "--for and --consent go together, each with a name: who gets the readings, and the owner who agreed to it"
        )
    if args.out != "-" and Path(args.out).exists() and not args.force:
        raise BadInput(f"{args.out}: it is there already. Name another file, or add --force to write over it.")
    if args.alarms and form != "jsonl":
        raise BadInput("--alarms: alarms stand beside readings in JSON lines only; add --format jsonl")
    if form == "parquet" and args.out == "-":
        raise BadInput("--out: Parquet is no text; name a file")
    with closing(Journal.read(args.journal)) as journal:
        readings = journal.readings(
            from_ms=moment_ms(args.from_) if args.from_ else None,
            to_ms=moment_ms(args.to) if args.to else None,
            circuits=args.circuit,
        )
        head = _head(journal, args) if args.consent else None
        rows = _write(form, _counted(readings), journal, args, head)
        if not rows:
            try:
                _why_none(journal, args)
            except BadInput:
                if args.out != "-":
                    Path(args.out).unlink()
                raise
        if args.out != "-":
            print(f"{args.out}: {rows:,} readings", file=sys.stderr)
        if head is None and args.out != "-":
            print("No consent is named in it: give it away with --for WHOM --consent WHO.", file=sys.stderr)
        if not args.alarms:
            _noted(journal, args)
    return 0


def _why_none(journal: Journal, args: argparse.Namespace) -> None:
    """No reading: of a circuit that nobody knows, or in a time of which none is kept."""
    from difflib import get_close_matches

    from panelward.schedule import load

    try:
        schedule, _ = load(args.schedule)
    except PanelwardError:
        known: list[str] = []
    else:
        known = [c.id for c in schedule.circuits] + [p.id for p in schedule.probes]
    for name in args.circuit or ():
        if known and name not in known:
            near = get_close_matches(name, known, 1)
            hint = f" Did you mean {near[0]}?" if near else ""
            raise BadInput(f"--circuit: nothing here is called {name[:40]!r}, and no reading has that id.{hint}")
    first, last = journal.first_received_ms, journal.last_received_ms
    if first is None or last is None:
        print("The journal holds no readings.", file=sys.stderr)
        return
    begins, ends = (datetime.fromtimestamp(at / 1000, UTC) for at in (first, last))
    print(f"No reading is of that. The journal goes from {begins:%Y-%m-%d %H:%MZ} to {ends:%Y-%m-%d %H:%MZ}.", file=sys.stderr)


def _write(form: str, readings: Iterable[Reading], journal: Journal, args: argparse.Namespace, head: Head | None) -> int:
    from panelward.intake import write_lines, write_table

    if form == "parquet":
        try:
            from panelward.review.parquet import write_parquet
        except ModuleNotFoundError:
            raise EnvironmentFault(NEEDS) from None
        with _Whole(Path(args.out)) as part:
            return write_parquet(readings, part.path, head.plain() if head else None)
    if args.out == "-":
        return _text(form, readings, journal, args, head, sys.stdout, write_table, write_lines)
    with _Whole(Path(args.out)) as part:
        try:
            with part.path.open("w", encoding="utf-8", newline="") as out:
                return _text(form, readings, journal, args, head, out, write_table, write_lines)
        except OSError as error:
            raise EnvironmentFault(f"{args.out}: can't be written: {error.strerror}") from None


def _text(
    form: str, readings: Iterable[Reading], journal: Journal, args: argparse.Namespace, head: Head | None, out: Any,
    write_table: Any, write_lines: Any,
) -> int:  # fmt: skip
    if form == "csv":
        return int(write_table(readings, out, head.lines() if head else ()))
    rows = int(write_lines(readings, out, head.plain() if head else None))
    if args.alarms:
        from_ms, to_ms = _range(args)
        for shown in journal.last_transitions(10**7):
            if from_ms <= round(shown["time"] * 1000) < to_ms and (not args.circuit or shown.get("circuit") in args.circuit):
                out.write(json.dumps({"alarm": shown}, ensure_ascii=True) + "\n")
        for each in _notes(journal, args):
            out.write(json.dumps({"note": each}, ensure_ascii=True) + "\n")
    return rows


class _Whole:
    """A file that is there whole or not at all: written beside, moved into place at the end."""

    def __init__(self, path: Path, *, fresh: bool = False) -> None:
        self._target, self._fresh = path, fresh

    def __enter__(self) -> _Whole:
        try:
            handle, name = tempfile.mkstemp(prefix=f".{self._target.name[:60]}.", dir=self._target.parent or None)
        except OSError as error:
            raise EnvironmentFault(f"{self._target}: can't be written: {error.strerror}") from None
        os.close(handle)
        self.path = Path(name)
        self.path.chmod(0o666 & ~_umask())
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        try:
            if kind is None:
                if self._fresh:
                    os.link(self.path, self._target)  # never over another that came meanwhile
                else:
                    self.path.replace(self._target)
        except OSError as error:
            raise EnvironmentFault(f"{self._target}: can't be written: {error.strerror}") from None
        finally:
            for suffix in ("", "-wal", "-shm"):
                with suppress(FileNotFoundError):
                    Path(f"{self.path}{suffix}").unlink()


def _umask() -> int:
    now = os.umask(0)
    os.umask(now)
    return now


def _range(args: argparse.Namespace) -> tuple[int, int]:
    return (moment_ms(args.from_) if args.from_ else 0), (moment_ms(args.to) if args.to else 2**62)


def _head(journal: Journal, args: argparse.Namespace) -> Head:
    from panelward import __version__
    from panelward.intake import Head
    from panelward.sealed import schedule_hash

    row = journal.present()
    zone = zone_of(args.schedule, row)
    from_ms = moment_ms(args.from_) if args.from_ else journal.first_received_ms or 0
    to_ms = moment_ms(args.to) if args.to else (journal.last_received_ms or 0) + 1
    begins, ends = (datetime.fromtimestamp(at / 1000, UTC) for at in (from_ms, to_ms))
    offset = begins.astimezone(zone).strftime("%z")
    try:
        text = Path(args.schedule).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        text = ""
    vehicle = (row or {}).get("vehicle", {})
    return Head(
        vehicle=str(vehicle.get("id", "")) if isinstance(vehicle, dict) else str(vehicle),
        from_=f"{begins:%Y-%m-%dT%H:%M:%SZ}",
        to=f"{ends:%Y-%m-%dT%H:%M:%SZ}",
        local_offset=f"{offset[:3]}:{offset[3:]}",
        made=f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}",
        version=__version__,
        consent=args.consent,
        given_to=args.given_to,
        circuits=tuple(args.circuit or ()),
        schedule=schedule_hash(text) if text else "",
    )


def _counted(readings: Iterable[Reading]) -> Iterator[Reading]:
    """With a line of progress on a terminal."""
    shown = sys.stderr.isatty()
    begun = said = time.monotonic()
    rows = 0
    for rows, reading in enumerate(readings, start=1):
        if shown and not rows % 8192 and (now := time.monotonic()) - said >= PROGRESS_S:
            said = now
            print(f"  {rows:,} readings, {rows / (now - begun):,.0f} a second  ", end="\r", file=sys.stderr, flush=True)
        yield reading
    if shown and rows >= 8192:
        print(end="\033[K", file=sys.stderr)


def _notes(journal: Journal, args: argparse.Namespace) -> Iterator[dict[str, Any]]:
    from_ms, to_ms = _range(args)
    for each in journal.notes():
        if from_ms <= each["at_ms"] < to_ms and (
            not args.circuit or each["circuit"] is None or each["circuit"] in args.circuit
        ):
            yield each


def _noted(journal: Journal, args: argparse.Namespace) -> None:
    """The moments that somebody noted, of these readings: beside the file, as it holds readings only."""
    for each in _notes(journal, args):
        when = datetime.fromtimestamp(each["at_ms"] / 1000, UTC)
        where = f" at {each['circuit']}" if each["circuit"] else ""
        print(fill(f"noted {when:%Y-%m-%d %H:%M:%SZ}{where}, by {each['who']}: {each['why']}", 80), file=sys.stderr)


def bring(args: argparse.Namespace) -> int:
    """Readings in: a new journal, whole or not at all."""
    from panelward.journal import Journal

    target = Path(args.journal)
    if target.exists():
        raise BadInput(
            f"{target}: it is there already, and what a watch wrote is not mixed with other readings. Name a journal that is "
            "not there yet; `panelward review --journal` reads it like any other."
        )
    form = _format(args.format, args.file)
    if form == "parquet":
        try:
            from panelward.review.parquet import ParquetReader
        except ModuleNotFoundError:
            raise EnvironmentFault(NEEDS) from None
        return _into(Journal, target, ParquetReader(Path(args.file)), args)
    from panelward.intake import LineReader, TableReader

    with Opened(args.file, csv=form == "csv") as lines:
        reader = (TableReader if form == "csv" else LineReader)(lines, None, lenient=args.lenient, file=args.file)
        return _into(Journal, target, reader, args)


def _into(journal_of: Any, target: Path, reader: Any, args: argparse.Namespace) -> int:
    with _Whole(target, fresh=True) as part:
        part.path.unlink()  # the journal makes its own file
        with closing(journal_of.open(part.path)) as journal:
            rows = 0
            for rows, reading in enumerate(_counted(reader), start=1):
                journal.append(reading)
                if not rows % COMMIT_EVERY:
                    journal.commit()
            journal.commit()
    print(f"{target}: {rows:,} readings", file=sys.stderr)
    if reader.skipped:
        print(f"skipped: {reader.skipped:,} rows that can't be read", file=sys.stderr)
    if getattr(reader, "others", 0):
        print(
            f"passed over: {reader.others:,} lines of alarms and notes; the journal that found them keeps those",
            file=sys.stderr,
        )
    return 0
