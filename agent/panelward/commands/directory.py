"""`panelward directory`: the panel directory of a circuit schedule, for the panel's door."""

from __future__ import annotations

import argparse
import json
import os
import re
import sys
from contextlib import suppress
from dataclasses import asdict
from datetime import date, datetime
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from panelward.commands import add_schedule, say_faults
from panelward.errors import EnvironmentFault, RequestRefused, ScheduleError

if TYPE_CHECKING:
    from panelward.papers import Directory

STDOUT = "-"
PDF, HTML = "panel-directory.pdf", "panel-directory.html"


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "directory",
        help="print the panel directory for the panel's door",
        description="Writes the panel directory of a circuit schedule: what is behind each way, its device, its "
        f"conductor. Without --pdf and --html it writes {PDF} and {HTML} into the current folder; - is stdout. "
        "Exit: 0 written, 2 bad schedule or request, 3 a file can't be written.",
    )
    add_schedule(command)
    command.add_argument("--pdf", metavar="F", help="write a PDF; - for stdout")
    command.add_argument("--html", metavar="F", help="write an HTML page; - for stdout")
    command.add_argument("--paper", choices=("a5", "a4", "letter"), default="a5", help="its size (default: %(default)s)")
    command.add_argument("--labels", action="store_true", help="add label strips, one a way")
    command.add_argument("--spare", nargs="+", action="extend", metavar="POS", default=[], help="more positions of spare ways")
    command.add_argument("--date", type=_day, metavar="YYYY-MM-DD", help="the date on the paper (default: today)")
    command.add_argument("--force", action="store_true", help="overwrite files")
    command.add_argument("--json", action="store_true", help="print one way a line as JSON and write nothing")


def run(args: argparse.Namespace) -> int:
    from panelward.papers import panel_directory
    from panelward.schedule import load

    try:
        schedule, text = load(args.schedule)
    except ScheduleError as error:
        return say_faults(error)
    day = args.date or datetime.now(ZoneInfo(schedule.vehicle.timezone)).date()
    directory = panel_directory(
        schedule,
        spares=tuple(dict.fromkeys((*schedule.vehicle.spares, *args.spare))),
        date=day.isoformat(),
        file="".join(c if c.isprintable() else "?" for c in Path(args.schedule).name),
        hash=sha256(text.encode()).hexdigest()[:8],  # the text is the file's bytes, but for a byte order mark
    )
    if not directory.rows:
        print(f"{args.schedule}: neither ways nor spares in it: the sheet is empty", file=sys.stderr)
    if args.json:
        for row in directory.rows:
            print(json.dumps(asdict(row), ensure_ascii=False))
        return 0
    _write(directory, args)
    return 0


def _write(directory: Directory, args: argparse.Namespace) -> None:
    from panelward.papers import CAUTION

    if STDOUT in (args.pdf, args.html):
        _stream(directory, args)
        return
    neither = args.pdf is None and args.html is None
    pdf = _target(PDF if neither else args.pdf, args.force)
    html = _target(HTML if neither else args.html, args.force)
    if pdf is not None and html is not None and pdf.resolve() == html.resolve():
        raise RequestRefused(f"{pdf}: named for the PDF and for the HTML page: give each its own file")
    ways = f"{len(directory.rows)} way{'' if len(directory.rows) == 1 else 's'}"
    files: list[tuple[Path, bytes, str]] = []
    if pdf is not None:
        from panelward.papers.pdf import printed

        paper = printed(directory, paper=args.paper, labels=args.labels)
        _say_missing(str(pdf), paper.missing)
        files.append((pdf, paper.content, f"{ways}, {paper.pages} page{'' if paper.pages == 1 else 's'} of {args.paper}"))
    if html is not None:
        from panelward.papers.html import page

        files.append((html, page(directory, paper=args.paper, labels=args.labels).encode(), ways))
    _put([(path, content) for path, content, _ in files])
    for path, _, said in files:
        print(f"{path}: {said}")
    print(CAUTION)


def _stream(directory: Directory, args: argparse.Namespace) -> None:
    """Write the one form that is asked for to stdout, and nothing else there."""
    if args.pdf is not None and args.html is not None:
        raise RequestRefused("- is stdout, which takes one form: name --pdf or --html alone, or give each a file")
    if args.pdf is not None:
        from panelward.papers.pdf import printed

        paper = printed(directory, paper=args.paper, labels=args.labels)
        _say_missing("the PDF", paper.missing)
        content = paper.content
    else:
        from panelward.papers.html import page

        content = page(directory, paper=args.paper, labels=args.labels).encode()
    sys.stdout.buffer.write(content)
    sys.stdout.buffer.flush()


def _say_missing(name: str, letters: str) -> None:
    if letters:
        named = ", ".join(f"{c} (U+{ord(c):04X})" for c in letters)
        print(f'{name}: not in the fonts of this computer, printed as "?": {named}', file=sys.stderr)


def _target(name: str | None, force: bool) -> Path | None:
    if name is None:
        return None
    path = Path(name)
    try:
        if path.exists() and not path.is_file():
            raise EnvironmentFault(f"{path}: can't be written: not an ordinary file")
        if os.path.lexists(path) and not force:
            raise RequestRefused(f"{path}: is there already; nothing was written. Name another file, or add --force.")
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        raise _unwritable(path, error) from None
    return path


def _put(files: list[tuple[Path, bytes]]) -> None:
    """Write all files whole or none that was begun: each under another name first, then renamed."""
    parts: list[tuple[Path, Path]] = []
    path = Path()
    try:
        for path, content in files:
            part = path.with_name(f".{path.name[:200]}.{os.getpid()}.part")
            parts.append((part, path))
            with open(part, "xb") as out:
                out.write(content)
                out.flush()
                os.fsync(out.fileno())
        for part, path in parts:
            os.replace(part, path)
    except (OSError, ValueError) as error:
        raise _unwritable(path, error) from None
    finally:
        for part, _ in parts:
            with suppress(OSError, ValueError):
                part.unlink(missing_ok=True)


def _unwritable(path: Path, error: Exception) -> EnvironmentFault:
    why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return EnvironmentFault(f"{path}: can't be written: {why}")


def _day(text: str) -> date:
    if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text) is None:
        raise argparse.ArgumentTypeError(f"wanted a date like 2026-05-01, found {text!r}")
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text}: {error}") from None
