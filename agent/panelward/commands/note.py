"""`panelward note`: keep this moment. Asks the running daemon over MQTT."""

from __future__ import annotations

import argparse
import getpass
import json
import os
import sys
from typing import Any

from panelward.commands import add_schedule
from panelward.commands.acknowledge import ask


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "note",
        help="keep this moment, and why",
        description="Writes into the journal that something was seen or done now, by whom. Readings from ten minutes before "
        "to ten minutes after it are kept beyond the usual days. `panelward log changes` lists the notes.",
    )
    command.add_argument("text", metavar="TEXT", help="what is to be remembered: 500 characters at most")
    command.add_argument("--circuit", metavar="WAY", help="the circuit that it is about")
    command.add_argument("--who", default=getpass.getuser() if "USER" in os.environ else "", help="who writes it")
    add_schedule(command)
    command.add_argument("--json", action="store_true", help="the answer as an object")


def run(args: argparse.Namespace) -> int:
    body = {"why": args.text, "who": args.who} | ({"circuit": args.circuit} if args.circuit else {})
    answer = ask(args.schedule, "note", body)
    if args.json:
        print(json.dumps(answer, ensure_ascii=False))
    elif answer["done"]:
        print(f"Noted by {args.who}.")
    else:
        print(f"not done: {answer['why']}", file=sys.stderr)
    return 0 if answer["done"] else 2
