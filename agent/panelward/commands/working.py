"""`panelward working`: "I am in the panel until …". Asks the running daemon over MQTT."""

from __future__ import annotations

import argparse
import getpass
import json
import os
import re
import sys
import time
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from panelward.commands import add_journal, add_schedule
from panelward.commands.acknowledge import ask
from panelward.commands.now import zone_of

_SPAN = re.compile(r"(?:(\d{1,4})h)?(?:(\d{1,5})min)?(?:(\d{1,6})s)?")
_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)")


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "working",
        help='"I am in the panel until …": its alarms wait',
        description="While somebody works on circuits, their alarms are journalled and published but not sent, except of "
        "what life depends on and of overheating conductors. At the end, what still stands is sent. At most 12 hours. "
        "This switches nothing off: isolate every source before touching a panel.",
    )
    end = command.add_mutually_exclusive_group(required=True)
    end.add_argument("--for", dest="span", metavar="2h", help="so long: 2h, 45min, 1h30min")
    end.add_argument("--until", metavar="HH:MM", help="until this time in the vehicle's zone, by this computer's clock")
    end.add_argument("--done", action="store_true", help="the work is over: of --who, or of everybody where none is given")
    command.add_argument("--circuit", metavar="ID", nargs="+", default=["all"], help="these circuits (default: all, the panel)")
    command.add_argument("--who", help="who works (default: the user of this computer)")
    command.add_argument("--why", default="", help="what for, for the journal")
    add_schedule(command)
    add_journal(command)
    command.add_argument("--json", action="store_true", help="the answers, one object a circuit")


def run(args: argparse.Namespace) -> int:
    body: dict[str, Any] = {"why": args.why, "who": args.who or ""}
    if args.done:
        body["done"] = True
    else:
        for_s = seconds_of(args.span) if args.span else seconds_until(args.until, time.time(), _zone(args))
        if for_s is None:
            wanted = "--for takes 2h, 45min or 1h30min" if args.span else "--until takes a time like 15:00"
            print(f"panelward working: {wanted}, not {(args.span or args.until)[:40]!r}", file=sys.stderr)
            return 2
        body["for_s"] = for_s
        if args.who is None and "USER" in os.environ:
            body["who"] = getpass.getuser()
        if not body["who"].strip():
            print("panelward working: say who works, with --who NAME", file=sys.stderr)
            return 2
    code = 0
    for circuit in [None] if "all" in args.circuit else list(dict.fromkeys(args.circuit)):
        answer = ask(args.schedule, "working", body if circuit is None else body | {"circuit": circuit})
        place = "the whole panel" if circuit is None else circuit
        if args.json:
            print(json.dumps(answer | {"circuit": circuit}, ensure_ascii=False))
        elif not answer["done"]:
            print(f"not done, {place}: {answer['why']}", file=sys.stderr)
        elif args.done:
            print(f"Done: no more work on {place}. What still stands there is sent now.")
        else:
            print(f"Done: {body['who']} works on {place} {f'for {args.span}' if args.span else f'until {args.until}'}.")
        code = code or (0 if answer["done"] else 2)
    if code == 0 and not args.done and not args.json:
        print("Alarms there are not sent until then, except of what life depends on.")
        print("This switches nothing off: isolate every source before touching a panel.")
    return code


def _zone(args: argparse.Namespace) -> ZoneInfo:
    """What the watch goes by, where its journal can be read here."""
    from panelward.errors import EnvironmentFault
    from panelward.journal import Journal

    try:
        journal = Journal.read(args.journal)
    except EnvironmentFault:
        return zone_of(args.schedule)
    try:
        return zone_of(args.schedule, journal.present())
    finally:
        journal.close()


def seconds_of(span: str) -> int | None:
    """A span like 2h, 45min, 1h30min in seconds; None where it is none."""
    found = _SPAN.fullmatch(span.replace(" ", ""))
    total = sum(int(part or 0) * size for part, size in zip(found.groups(), (3600, 60, 1), strict=True)) if found else 0
    return total or None


def seconds_until(clock: str, now_s: float, zone: ZoneInfo) -> float | None:
    """From now to the next such time of the day in that zone, in seconds; None where it is none."""
    found = _CLOCK.fullmatch(clock.strip())
    if found is None:
        return None
    here = datetime.fromtimestamp(now_s, UTC).astimezone(zone)
    wanted = here.replace(hour=int(found[1]), minute=int(found[2]), second=0, microsecond=0, fold=0)
    if wanted.timestamp() <= now_s:
        wanted += timedelta(days=1)
    return wanted.timestamp() - now_s
