"""`panelward shelve`: put an alarm aside for a time. Asks the running daemon over MQTT."""

from __future__ import annotations

import argparse
import getpass
import os
import sys
from typing import Any

from panelward.commands import add_from_afar, add_schedule
from panelward.commands.acknowledge import ask, said
from panelward.commands.working import seconds_of

_OUT = "for work on sensing: an alarm until --in-service, a circuit for a day at most, whatever begins there meanwhile"


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "shelve",
        help="put an alarm aside for a time",
        description="A shelved alarm goes on being judged, is listed and journalled, and comes back by itself: after --for, at "
        "most 24 h, or with --once when it is over. What life depends on is shelved for an hour at most, and needs --why.",
    )
    command.add_argument("alarm", nargs="?", help="the alarm's id (see `panelward alarms`)")
    command.add_argument("--circuit", metavar="ID", help="all alarms of this circuit")
    how = command.add_mutually_exclusive_group(required=True)
    how.add_argument("--for", dest="span", metavar="2h", help="so long: 2h, 45min, 1h30min")
    how.add_argument("--once", action="store_true", help="until it is over, 24 h at most")
    how.add_argument("--end", action="store_true", help="take it back now")
    how.add_argument("--out-of-service", action="store_true", help=_OUT)
    how.add_argument("--in-service", action="store_true", help="watched again")
    command.add_argument("--who", default=getpass.getuser() if "USER" in os.environ else "", help="who asks")
    command.add_argument("--why", default="", help="what for, for the journal")
    add_schedule(command)
    add_from_afar(command)
    command.add_argument("--json", action="store_true", help="the answer as an object")


def run(args: argparse.Namespace) -> int:
    if bool(args.alarm) == bool(args.circuit):
        print("panelward shelve: name an alarm, or a circuit with --circuit", file=sys.stderr)
        return 2
    body: dict[str, Any] = {"who": args.who, "why": args.why}
    body |= {"alarm": args.alarm} if args.alarm else {"circuit": args.circuit}
    kind = "shelve"
    if args.span:
        body["for_s"] = seconds_of(args.span)
        if body["for_s"] is None:
            print(f"panelward shelve: --for takes 2h, 45min or 1h30min, not {args.span[:40]!r}", file=sys.stderr)
            return 2
    elif not args.once:
        kind = "unshelve" if args.end else "out-of-service" if args.out_of_service else "in-service"
    answer = ask(args.schedule, kind, body, from_afar=args.from_afar)
    until = f" for {args.span}" if args.span else " until it is over" if args.once else ""
    return said(answer, f"Done: {args.alarm or args.circuit} is {answer['state']}{until}.", as_json=args.json)
