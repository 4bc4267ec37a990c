"""`panelward log`: the journal's readings as a file, what was changed, and the journal itself as a copy."""

from __future__ import annotations

import argparse
import json
import sys
from datetime import UTC, datetime
from textwrap import fill
from typing import TYPE_CHECKING, Any

from panelward.commands import add_journal, add_schedule
from panelward.commands.now import zone_of
from panelward.commands.rehearse import moment_ms

if TYPE_CHECKING:
    from panelward.journal import Journal


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "log", help="the readings as a file, a copy of the journal", description="The log and its store."
    )
    actions = command.add_subparsers(dest="action", metavar="ACTION", required=True)
    export = actions.add_parser("export", help="write readings as CSV", description="Writes the journal's readings as CSV.")
    add_journal(export)
    export.add_argument("--from", dest="from_", metavar="T", help="received from here on (RFC 3339 or Unix seconds)")
    export.add_argument("--to", metavar="T", help="received before this")
    export.add_argument("--circuit", action="append", metavar="ID", help="only this circuit (may be given again)")
    export.add_argument("--out", metavar="F.csv", default="-", help="the file (default: standard output)")
    changes = actions.add_parser(
        "changes",
        help="what was changed, when, by whom",
        description="Lists what each reload changed in the schedule and in people.toml, what vetting then had to say, what was "
        "refused and why, where the time zone was changed, and the moments that were noted.",
    )
    add_journal(changes)
    add_schedule(changes)
    changes.add_argument("--json", action="store_true", help="one object a change")
    copy = actions.add_parser(
        "backup",
        help="copy the journal, while it is written",
        description="Copies a journal that a daemon may be writing, and checks the copy. Exit 0: it is there, and whole.",
    )
    add_journal(copy)
    copy.add_argument("--out", metavar="B.sqlite", required=True, help="the copy: a file that is not there yet")


def run(args: argparse.Namespace) -> int:
    return {"backup": _backup, "changes": _changes, "export": _export}[args.action](args)


def _changes(args: argparse.Namespace) -> int:
    from panelward.journal import Journal

    journal = Journal.read(args.journal)
    try:
        found, row = journal.changes(), journal.present()
    finally:
        journal.close()
    if args.json:
        for each in found:
            print(json.dumps(each, ensure_ascii=False))
        return 0
    zone = zone_of(args.schedule, row)
    for each in found:
        when = datetime.fromtimestamp(each["at_ms"] / 1000, UTC).astimezone(zone)
        where = f" at {each['circuit']}" if each.get("circuit") else ""
        by = f"{where}, by {each['who']}" if each["who"] else ""
        print(fill(f"{when:%Y-%m-%d %H:%M} {_DONE.get(each['kind'], each['kind'])}{by}", 80))
        for line in (*each["changed"], *each["found"], *filter(None, [each["why"]])):
            print(fill(line, 80, initial_indent="  ", subsequent_indent="    "))
    if not found:
        print("Nothing was changed since this journal began.")
    return 0


_DONE = {
    "reload": "read anew",
    "start": "changed before a start",
    "refused": "refused, the old ones stayed",
    "timezone": "time zone",
    "note": "noted",
}


def _backup(args: argparse.Namespace) -> int:
    from panelward.journal import back_up

    size = back_up(args.journal, args.out)
    print(f"{args.out}: {size / 1e6:.1f} MB, whole", file=sys.stderr)
    return 0


def _export(args: argparse.Namespace) -> int:
    from panelward.errors import EnvironmentFault
    from panelward.intake import write_table
    from panelward.journal import Journal

    journal = Journal.read(args.journal)
    try:
        readings = journal.readings(
            from_ms=moment_ms(args.from_) if args.from_ else None,
            to_ms=moment_ms(args.to) if args.to else None,
            circuits=args.circuit,
        )
        if args.out == "-":
            write_table(readings, sys.stdout)
            _noted(journal, args)
            return 0
        try:
            with open(args.out, "w", encoding="utf-8", newline="") as out:
                rows = write_table(readings, out)
        except OSError as error:
            raise EnvironmentFault(f"{args.out}: can't be written: {error.strerror}") from None
        print(f"{args.out}: {rows:,} readings", file=sys.stderr)
        _noted(journal, args)
    finally:
        journal.close()
    return 0


def _noted(journal: Journal, args: argparse.Namespace) -> None:
    """The moments that somebody noted, of these readings: beside the file, as it holds readings only."""
    from_ms = moment_ms(args.from_) if args.from_ else 0
    to_ms = moment_ms(args.to) if args.to else None
    for each in journal.notes():
        if each["at_ms"] < from_ms or (to_ms is not None and each["at_ms"] >= to_ms):
            continue
        if args.circuit and each["circuit"] is not None and each["circuit"] not in args.circuit:
            continue
        when = datetime.fromtimestamp(each["at_ms"] / 1000, UTC)
        where = f" at {each['circuit']}" if each["circuit"] else ""
        print(fill(f"noted {when:%Y-%m-%d %H:%M:%SZ}{where}, by {each['who']}: {each['why']}", 80), file=sys.stderr)
