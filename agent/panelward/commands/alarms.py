"""`panelward alarms`: what stands, and what became of its messages."""

from __future__ import annotations

import argparse
import json
import time
from datetime import UTC, datetime
from textwrap import fill
from typing import Any
from zoneinfo import ZoneInfo

from panelward.commands import add_journal, add_schedule
from panelward.commands.now import work_lines, zone_of


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "alarms",
        help="alarms that stand, and what became of their messages",
        description="Lists the alarms that are not over, from the journal; with --last also those that are.",
    )
    add_journal(command)
    add_schedule(command)
    command.add_argument("--last", type=int, metavar="N", default=0, help="the last N transitions instead")
    command.add_argument("--json", action="store_true", help="one alarm object a line")


def run(args: argparse.Namespace) -> int:
    from panelward.journal import Journal

    zone = zone_of(args.schedule)
    journal = Journal.read(args.journal)
    try:
        row = journal.present()
        if row and not args.json and args.last <= 0:
            print("".join(f"{line}\n" for line in work_lines(row, time.time(), zone)), end="")
        found = journal.last_transitions(args.last) if args.last > 0 else journal.standing()
        for alarm in found:
            messages = [row for row in journal.outbox_rows(alarm["id"]) if row.sequence <= alarm["sequence"]]
            if args.json:
                told = [{"address": m.address_ref, "status": m.status, "why": m.last_why} for m in messages]
                print(json.dumps(alarm | {"messages": told}, ensure_ascii=False))
                continue
            print("\n".join(lines(alarm, messages, zone)))
        if not found and not args.json:
            print("No alarm stands.")
    finally:
        journal.close()
    return 1 if found and args.last <= 0 else 0


def lines(alarm: dict[str, Any], messages: list[Any], zone: ZoneInfo) -> list[str]:
    """One alarm for a person."""
    since = datetime.fromtimestamp(alarm["since"], UTC).astimezone(zone).strftime("%a %d %b %H:%M")
    out = [
        f"{alarm['priority']:<7} {alarm['kind']}, {alarm['state']}, since {since}",
        fill(alarm["message"], 80, initial_indent="  ", subsequent_indent="  "),
        f"  id {alarm['id']}",
    ]
    for message in messages:
        why = f" ({message.last_why})" if message.last_why and message.status != "handed-over" else ""
        out.append(f"  message to {message.address_ref}: {message.status}{why}"[:78])
    return out
