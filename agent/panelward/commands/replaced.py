"""`panelward replaced`: a load or its protective device was replaced. Asks the running daemon over MQTT."""

from __future__ import annotations

import argparse
import getpass
import json
import os
import sys
from datetime import UTC, datetime
from textwrap import fill
from typing import Any

from panelward.commands import add_journal, add_schedule

ANEW = {
    "load": "what was learned and measured of the old load no longer holds: its learned levels and standby, its habit, how it "
    "goes with the volts, its drift. Measure it again with `panelward commission --redo {circuit}`; until then it is judged by "
    "the schedule, and drift by its first days. Write its own levels into the schedule if they are others.",
    "device": "how warm the old device was, and which of its type it looked like, no longer holds. What is known of the "
    "conductor and the load stays. If the new one has another type or rating, write it into the schedule and reload: never "
    "above the conductor's ampacity.",
}


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "replaced",
        help="say that a load, or its fuse or breaker, was replaced",
        description="Tells the running watch that a load (or a part that decides its draw: its fan, element, pump head) was "
        "replaced, or with the word device, fuse or breaker that its protective device was. What was learned and measured of "
        "the old one no longer holds, everything else does. `learn` never learns over that moment.",
    )
    command.add_argument("circuit", nargs="?", metavar="WAY", help="the circuit's id")
    command.add_argument("what", nargs="?", default="", help='what it was: "fan", "element", … ; device, fuse or breaker')
    command.add_argument("--who", default=getpass.getuser() if "USER" in os.environ else "", help="who replaced it")
    command.add_argument("--list", action="store_true", help="show what was replaced so far, from the journal")
    add_schedule(command)
    add_journal(command)
    command.add_argument("--json", action="store_true", help="the answer as an object; with --list an object a line")


def run(args: argparse.Namespace) -> int:
    from panelward.commands.acknowledge import ask

    if args.list:
        return _list(args)
    if not args.circuit:
        print("panelward replaced: name the circuit whose load or device was replaced", file=sys.stderr)
        return 2
    answer = ask(args.schedule, "replaced", {"circuit": args.circuit, "what": args.what, "who": args.who})
    if args.json:
        print(json.dumps(answer, ensure_ascii=False))
    elif answer["done"]:
        anew = ANEW[answer["state"]].format(circuit=args.circuit)
        print(fill(f"Noted by {args.who}: the {answer['state']} of {args.circuit} was replaced.", 80))
        print(fill(anew[0].upper() + anew[1:], 80))
    else:
        print(fill(f"not done: {answer['why']}", 80), file=sys.stderr)
    return 0 if answer["done"] else 2


def _list(args: argparse.Namespace) -> int:
    from panelward.commands.now import zone_of
    from panelward.journal import Journal

    zone = zone_of(args.schedule)
    journal = Journal.read(args.journal)
    try:
        found = journal.replacements()
    finally:
        journal.close()
    for each in found:
        if args.circuit and each["circuit"] != args.circuit:
            continue
        if args.json:
            print(json.dumps(each, ensure_ascii=False))
            continue
        when = datetime.fromtimestamp(each["at_ms"] / 1000, UTC).astimezone(zone).strftime("%Y-%m-%d %H:%M")
        what = f" ({each['what']})" if each["what"] and each["what"] != each["part"] else ""
        print(fill(f"{when}  {each['circuit']}: {each['part']}{what}, by {each['who']}", 80, subsequent_indent="  "))
    if not found and not args.json:
        print("Nothing was replaced.")
    return 0
