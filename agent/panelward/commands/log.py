"""`panelward log`: the journal's readings as a file, what was changed, and the journal itself as a copy."""

from __future__ import annotations

import argparse
import json
import sys
from datetime import UTC, datetime
from textwrap import fill
from typing import Any

from panelward.commands import add_journal, add_schedule, exchange
from panelward.commands.now import zone_of


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "log", help="the readings as a file, a copy of the journal", description="The log and its store."
    )
    actions = command.add_subparsers(dest="action", metavar="ACTION", required=True)
    exchange.register(actions)
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
    actions = {"backup": _backup, "changes": _changes, "export": exchange.export, "import": exchange.bring}
    return actions[args.action](args)


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
