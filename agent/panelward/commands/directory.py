"""`panelward directory`: the panel directory of a circuit schedule, for the panel's door."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from panelward.commands import add_schedule, say_faults
from panelward.commands.sheets import STDOUT, day_of, put, say_missing, target_of
from panelward.errors import RequestRefused, ScheduleError

if TYPE_CHECKING:
    from panelward.papers import Directory

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
    command.add_argument("--date", type=day_of, metavar="YYYY-MM-DD", help="the date on the paper (default: today)")
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
    pdf = target_of(PDF if neither else args.pdf, args.force)
    html = target_of(HTML if neither else args.html, args.force)
    if pdf is not None and html is not None and pdf.resolve() == html.resolve():
        raise RequestRefused(f"{pdf}: named for the PDF and for the HTML page: give each its own file")
    ways = f"{len(directory.rows)} way{'' if len(directory.rows) == 1 else 's'}"
    files: list[tuple[Path, bytes, str]] = []
    if pdf is not None:
        from panelward.papers.pdf import printed

        paper = printed(directory, paper=args.paper, labels=args.labels)
        say_missing(str(pdf), paper.missing)
        files.append((pdf, paper.content, f"{ways}, {paper.pages} page{'' if paper.pages == 1 else 's'} of {args.paper}"))
    if html is not None:
        from panelward.papers.html import page

        files.append((html, page(directory, paper=args.paper, labels=args.labels).encode(), ways))
    put([(path, content) for path, content, _ in files])
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
        say_missing("the PDF", paper.missing)
        content = paper.content
    else:
        from panelward.papers.html import page

        content = page(directory, paper=args.paper, labels=args.labels).encode()
    sys.stdout.buffer.write(content)
    sys.stdout.buffer.flush()
