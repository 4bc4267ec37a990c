"""`panelward presence`: say whether somebody is aboard. Asks the running daemon over MQTT."""

from __future__ import annotations

import argparse
import getpass
import json
import os
import sys
from typing import Any

from panelward.commands import add_schedule
from panelward.commands.acknowledge import ask

SAID = {
    "aboard": "somebody is aboard",
    "nobody-aboard": "nobody is aboard, until you say otherwise or it is under way",
    "laid-up": "it is laid up, until you say otherwise or it is under way",
}


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "presence",
        help="say whether somebody is aboard, or that it is laid up",
        description="Tells the running watch what no reading shows: whether somebody is aboard, or that the vehicle is laid "
        "up. It holds until the next such word; being under way ends nobody-aboard and laid-up.",
    )
    command.add_argument("presence", choices=tuple(SAID), help="what is so from now on")
    command.add_argument("--who", default=getpass.getuser() if "USER" in os.environ else "", help="who says so")
    add_schedule(command)
    command.add_argument("--json", action="store_true", help="the answer as an object")


def run(args: argparse.Namespace) -> int:
    answer = ask(args.schedule, "presence", {"presence": args.presence, "who": args.who})
    if args.json:
        print(json.dumps(answer, ensure_ascii=False))
    elif answer["done"]:
        print(f"Noted: {SAID[args.presence]}.")
    else:
        print(f"not done: {answer['why']}", file=sys.stderr)
    return 0 if answer["done"] else 2
