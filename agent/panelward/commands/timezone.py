"""`panelward timezone`: the vehicle crossed a border. Asks the running daemon over MQTT."""

from __future__ import annotations

import argparse
import getpass
import json
import os
import sys
from typing import Any

from panelward.commands import add_from_afar, add_schedule
from panelward.commands.acknowledge import ask


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "timezone",
        help="say in which time zone the vehicle is now",
        description="From now on the hours of loads, of people and of messages are this zone's, over a restart too: until the "
        "next such word, or until vehicle.timezone of the schedule is changed.",
    )
    command.add_argument("timezone", metavar="ZONE", help="its name, like Europe/Oslo")
    command.add_argument("--who", default=getpass.getuser() if "USER" in os.environ else "", help="who says so")
    add_schedule(command)
    add_from_afar(command)
    command.add_argument("--json", action="store_true", help="the answer as an object")


def run(args: argparse.Namespace) -> int:
    answer = ask(args.schedule, "timezone", {"timezone": args.timezone, "who": args.who}, from_afar=args.from_afar)
    if args.json:
        print(json.dumps(answer, ensure_ascii=False))
    elif answer["done"]:
        print(f"Noted by {args.who}: local time is {answer['state']} from now on.")
    else:
        print(f"not done: {answer['why']}", file=sys.stderr)
    return 0 if answer["done"] else 2
