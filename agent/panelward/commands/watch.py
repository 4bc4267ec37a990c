"""`panelward watch`: the daemon."""

from __future__ import annotations

import argparse
import os
from typing import Any

from panelward.commands import add_journal, add_schedule


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "watch",
        help="watch the circuits: the daemon",
        description="Subscribes to the readings of the schedule's monitors, journals them and tells PANELWARD_NOTIFY "
        "(one or more apprise addresses, space separated). SIGHUP reads the schedule anew.",
    )
    add_schedule(command)
    add_journal(command)
    command.add_argument(
        "--clock",
        metavar="START,RATE",
        help="simulated time for demo and tests, like 2026-05-01T06:00Z,60; only with a broker on this machine",
    )
    command.add_argument(
        "--trial",
        action="store_true",
        help="start on a copy of a journal, without broker and phones, turn a few times and end: exit 0 if all of it works",
    )


def run(args: argparse.Namespace) -> int:
    from panelward.daemon import Daemon
    from panelward.daemon.clock import pace
    from panelward.errors import EnvironmentFault
    from panelward.notify import addresses_from

    simulated = pace(args.clock) if args.clock else None
    daemon = Daemon(
        args.schedule,
        args.journal,
        {} if args.trial else addresses_from(os.environ.get("PANELWARD_NOTIFY", "")),
        pace=simulated,
    )
    broker = daemon.schedule.broker
    if simulated and broker and broker.host not in ("127.0.0.1", "localhost", "::1"):
        raise EnvironmentFault(f"--clock is for a broker on this machine; {broker.host} is another")
    daemon.run(trial=args.trial)
    return 0
