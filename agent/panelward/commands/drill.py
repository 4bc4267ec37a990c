"""`panelward drill`: prove that an alarm reaches the phone, through journal, outbox and apprise."""

from __future__ import annotations

import argparse
import json
import sys
import time
from typing import Any

from panelward.commands import add_from_afar, add_journal, add_schedule
from panelward.commands.acknowledge import ask


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "drill",
        help="prove that an alarm reaches the phone",
        description="Asks the running daemon for a marked test message and says where it arrived, or why not.",
    )
    add_schedule(command)
    add_journal(command)
    add_from_afar(command)
    command.add_argument("--priority", choices=("low", "medium", "high"), default="low", help="as which (default: low)")
    command.add_argument("--who", default="", help="who asks")
    command.add_argument("--wait", type=float, metavar="S", default=90.0, help="give up after S seconds (default: 90)")
    command.add_argument("--json", action="store_true", help="one object an address")


def run(args: argparse.Namespace) -> int:
    from panelward.journal import Journal

    if not 1 <= args.wait <= 3600:
        print("panelward drill: --wait goes from 1 to 3600 s", file=sys.stderr)
        return 2
    body = {"priority": args.priority, "who": args.who}
    answer = ask(args.schedule, "drill", body, min(10.0, args.wait), from_afar=args.from_afar)
    if not answer["done"]:
        print(f"the daemon refused: {answer['why']}", file=sys.stderr)
        return 2
    alarm_id, give_up_s = answer["why"], time.monotonic() + args.wait
    while True:
        journal = Journal.read(args.journal)
        try:
            rows = journal.outbox_rows(alarm_id)
        finally:
            journal.close()
        waiting = [row for row in rows if row.status in ("waiting", "trying")]
        tried = all(row.status == "waiting" and row.attempts > 0 for row in waiting)
        if not waiting or tried or time.monotonic() >= give_up_s:
            break
        time.sleep(0.2)
    for row in rows:
        if args.json:
            print(json.dumps({"address": row.address_ref, "status": row.status, "why": row.last_why}))
        else:
            why = f": {row.last_why}" if row.last_why and row.status != "handed-over" else ""
            print(f"{row.address_ref}: {row.status}{why}")
    if not rows:
        print("the daemon has no address to tell: set PANELWARD_NOTIFY for it, then start it anew", file=sys.stderr)
        return 1
    if not args.json and any(row.status == "handed-over" for row in rows):
        print("Handed over is not yet read: look at the phone.")
    return 0 if all(row.status == "handed-over" for row in rows) else 1
