"""`panelward alarms`: what stands, and what became of its messages."""

from __future__ import annotations

import argparse
import json
import sys
import time
from datetime import UTC, datetime
from textwrap import fill
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from panelward.commands import add_journal, add_schedule
from panelward.commands.now import stale, work_lines, zone_of
from panelward.errors import BadInput

if TYPE_CHECKING:
    from panelward.journal import Journal

MOST = 200


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "alarms",
        help="alarms that stand, and what became of their messages",
        description="Lists the alarms that are not over, from the journal; with --last also those that are.",
    )
    add_journal(command)
    add_schedule(command)
    last = "the last N alarms, over or not; with --json the last N steps of alarms"
    command.add_argument("--last", type=int, metavar="N", default=0, help=last)
    command.add_argument(
        "--why", metavar="ID", help="one alarm: each piece of evidence with its weight, and the rejected causes"
    )
    command.add_argument("--json", action="store_true", help="one alarm object a line")


def run(args: argparse.Namespace) -> int:
    from panelward.journal import Journal
    from panelward.journal.listed import last_alarms

    journal = Journal.read(args.journal)
    try:
        row = journal.present()
        zone = zone_of(args.schedule, row)
        if args.why is not None:
            return _why(journal, args, zone)
        silent = row is not None and args.last <= 0 and stale(row, time.time())
        if silent:
            print(silent, file=sys.stderr if args.json else sys.stdout)
        if row and not args.json and args.last <= 0:
            print("".join(f"{line}\n" for line in work_lines(row, time.time(), zone)), end="")
        if args.last > 0:  # programs want each step, a person each alarm once
            found = journal.last_transitions(args.last) if args.json else last_alarms(journal, args.last)
        else:
            found = journal.standing()
        for alarm in found:
            messages = [row for row in journal.outbox_rows(alarm["id"]) if row.sequence <= alarm["sequence"]]
            if args.json:
                told = [{"address": m.address_ref, "status": m.status, "why": m.last_why} for m in messages]
                print(json.dumps(alarm | {"messages": told}, ensure_ascii=False))
                continue
            print("\n".join(lines(alarm, messages, zone)))
        if not found and not args.json:
            stood = "No alarm stood then: what came since is not in the journal." if silent else "No alarm stands."
            print(stood if args.last <= 0 else "No alarm is in the journal.")
    finally:
        journal.close()
    return 1 if silent or (found and args.last <= 0) else 0


def _why(journal: Journal, args: argparse.Namespace, zone: ZoneInfo) -> int:
    """Why the alarm was raised: from its latest transition that holds evidence."""
    from panelward.journal.listed import which

    transitions = journal.last_transitions(MOST, alarm_id=args.why)
    if not transitions:
        raise BadInput(f"--why: wanted the id of an alarm, found {args.why}: {which(journal, args.why)}")
    reasoned = [found for found in transitions if found["evidence"]]
    alarm = max(reasoned or transitions, key=lambda found: int(found["sequence"]))
    if args.json:
        print(json.dumps(alarm, ensure_ascii=False))
        return 0
    print("\n".join(lines(alarm, [], zone)))
    print("\nEvidence, the weightiest first (log10 likelihood ratios for each cause):")
    for line in alarm["evidence"] or ["none is kept of it"]:
        print(fill(line, 80, initial_indent="  ", subsequent_indent="    "))
    if alarm["candidates"]:
        from panelward.records.outputs import NAMED, RUNNER_UP
        from panelward.wording.english import CAUSES

        print("\nCauses weighed:")
        for cause, probability in alarm["candidates"]:
            named = "named" if cause == alarm["cause"] else "in question" if probability >= RUNNER_UP else "rejected"
            print(f"  {CAUSES.get(cause, cause):<32} {100 * probability:5.1f} %  {named}")
        rule = f"A cause is named at {NAMED:.0%} or more with the next at {RUNNER_UP:.0%} or less".replace("%", " %")
        print(fill(f"{rule}; those not listed are below 0.5 %.", 80))
    return 0


def lines(alarm: dict[str, Any], messages: list[Any], zone: ZoneInfo) -> list[str]:
    """One alarm for a person."""
    since = datetime.fromtimestamp(alarm["since"], UTC).astimezone(zone).strftime("%a %d %b %H:%M")
    out = [
        f"{alarm['priority']:<7} {alarm['kind']}, {alarm['state']}, since {since}",
        fill(alarm["message"], 80, initial_indent="  ", subsequent_indent="  "),
        f"  id {alarm['id']}",
    ]
    out += [fill(_became(message, zone), 80, initial_indent="  ", subsequent_indent="    ") for message in messages]
    return out


def _became(message: Any, zone: ZoneInfo) -> str:
    """What became of one message."""
    if message.status == "waiting" and not message.attempts:
        due = datetime.fromtimestamp(message.due_real_s, UTC).astimezone(zone).strftime("%a %H:%M")
        sheet = ", on the evening sheet" if message.on_sheet else ""
        unless = ", unless somebody answers" if message.until_answered else ""
        return f"message to {message.address_ref}: waits until {due}{sheet}{unless}"
    why = f" ({message.last_why})" if message.last_why and message.status != "handed-over" else ""
    return f"message to {message.address_ref}: {message.status}{why}"
