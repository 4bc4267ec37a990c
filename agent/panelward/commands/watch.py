"""`panelward watch`: the daemon."""

from __future__ import annotations

import argparse
import os
from dataclasses import replace
from pathlib import Path
from typing import Any

from panelward.commands import add_journal, add_schedule

PEOPLE = "/etc/panelward/people.toml"


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "watch",
        help="watch the circuits: the daemon",
        description="Subscribes to the readings of the schedule's monitors, journals them and tells PANELWARD_NOTIFY "
        "(one or more apprise addresses, space separated: everything, at once) and the people of people.toml. SIGHUP reads "
        "the schedule anew.",
    )
    add_schedule(command)
    add_journal(command)
    command.add_argument(
        "--people",
        metavar="P.toml",
        default=os.environ.get("PANELWARD_PEOPLE") or None,
        help=f"who is told, when (default: PANELWARD_PEOPLE, else {PEOPLE} if there is one)",
    )
    command.add_argument(
        "--from-afar",
        action="store_true",
        help="elsewhere, on a broker bridged to the vehicle's: hear its signs of life only, and say when none comes",
    )
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
    from panelward.daemon.afar import AfarDaemon
    from panelward.daemon.clock import pace
    from panelward.errors import EnvironmentFault
    from panelward.notify import addresses_from
    from panelward.records.people import everybody

    simulated = pace(args.clock) if args.clock else None
    everything = addresses_from(os.environ.get("PANELWARD_NOTIFY", ""))
    people, addresses = everybody(everything), everything
    if args.people is not None or Path(PEOPLE).exists():
        from panelward.schedule import load
        from panelward.schedule.people import load_people

        circuits = [circuit.id for circuit in load(args.schedule)[0].circuits]
        people, addresses = load_people(args.people or PEOPLE, circuits)
        people = replace(people, persons=(*people.persons, *everybody(everything).persons))
        addresses |= everything
    kind = AfarDaemon if args.from_afar else Daemon
    daemon = kind(args.schedule, args.journal, {} if args.trial else addresses, people=people, pace=simulated)
    broker = daemon.schedule.broker
    if simulated and broker and broker.host not in ("127.0.0.1", "localhost", "::1"):
        raise EnvironmentFault(f"--clock is for a broker on this machine; {broker.host} is another")
    daemon.run(trial=args.trial)
    return 0
