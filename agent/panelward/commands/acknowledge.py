"""`panelward acknowledge`: say that an alarm was seen. Asks the running daemon over MQTT."""

from __future__ import annotations

import argparse
import getpass
import json
import os
import sys
from typing import Any

from panelward.commands import add_from_afar, add_schedule

ANSWER_S = 10.0


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "acknowledge",
        help="say that an alarm was seen",
        description="Acknowledges one alarm by its id (see `panelward alarms`), or all of a circuit's.",
    )
    command.add_argument("alarm", nargs="?", help="the alarm's id")
    command.add_argument("--circuit", metavar="ID", help="all alarms of this circuit")
    command.add_argument("--who", default=getpass.getuser() if "USER" in os.environ else "", help="who saw it")
    command.add_argument("--why", default="", help="a remark for the journal")
    add_schedule(command)
    add_from_afar(command)
    command.add_argument("--json", action="store_true", help="the answer as an object")


def run(args: argparse.Namespace) -> int:
    if not args.alarm and not args.circuit:
        print("panelward acknowledge: name an alarm, or a circuit with --circuit", file=sys.stderr)
        return 2
    body = {"who": args.who, "why": args.why}
    body |= {"alarm": args.alarm} if args.alarm else {"circuit": args.circuit}
    answer = ask(args.schedule, "acknowledge", body, from_afar=args.from_afar)
    return said(answer, f"Done: {args.alarm or args.circuit} is {answer['state']}.", as_json=args.json)


def said(answer: dict[str, Any], done: str, *, as_json: bool) -> int:
    """Print an answer, `done` where it was; the exit code."""
    if as_json:
        print(json.dumps(answer, ensure_ascii=False))
    elif answer["done"]:
        print(done)
    else:
        print(f"not done: {answer['why']}", file=sys.stderr)
    return 0 if answer["done"] else 2


def ask(
    schedule_path: str, kind: str, body: dict[str, Any], wait_s: float = ANSWER_S, *, from_afar: bool = False
) -> dict[str, Any]:  # fmt: skip
    """Put a request to the running daemon, or to the watch from afar; its answer. EnvironmentFault where none comes."""
    from panelward.errors import EnvironmentFault
    from panelward.link import request
    from panelward.schedule import load

    schedule, _ = load(schedule_path)
    if schedule.broker is None:
        raise EnvironmentFault(f"{schedule_path} names no [broker]: the daemon can't be asked")
    vehicle = schedule.vehicle.id
    request_id = f"{os.getpid()}-{os.urandom(4).hex()}"
    topic = f"panelward/{vehicle}/{'afar/' if from_afar else ''}request/{kind}"
    answer = request(
        schedule.broker, topic, body | {"id": request_id}, timeout_s=wait_s, client_id=f"panelward-ask-{request_id}"
    )
    if answer is None:
        which = "panelward watch --from-afar" if from_afar else "panelward watch"
        raise EnvironmentFault(
            f"no answer within {wait_s:.0f} s: is `{which}` running for vehicle id '{vehicle}' on this broker?"
        )  # fmt: skip
    return answer
