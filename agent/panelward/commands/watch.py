"""`panelward watch`: the daemon."""

from __future__ import annotations

import argparse
import os
from dataclasses import replace
from pathlib import Path
from typing import Any

from panelward.commands import PEOPLE, add_journal, add_people, add_schedule, people_file


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "watch",
        help="watch the circuits: the daemon",
        description="Subscribes to the readings of the schedule's monitors, journals them and tells PANELWARD_NOTIFY "
        "(one or more apprise addresses, space separated: everything, at once) and the people of people.toml. SIGHUP reads "
        "the schedule and people.toml anew.",
    )
    add_schedule(command)
    add_journal(command)
    add_people(command, f"who is told, when (default: PANELWARD_PEOPLE, else {PEOPLE} if there is one)")
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
    from panelward.clock import pace
    from panelward.daemon import Daemon
    from panelward.daemon.afar import AfarDaemon
    from panelward.daemon.starting import to_stderr
    from panelward.errors import EnvironmentFault, RequestRefused
    from panelward.notify import addresses_from
    from panelward.records import Schedule
    from panelward.records.people import People, everybody
    from panelward.schedule import load

    simulated = pace(args.clock) if args.clock else None

    everything = addresses_from(os.environ.get("PANELWARD_NOTIFY", ""))

    def who(schedule: Schedule, *, start: bool = False) -> tuple[People, dict[str, str]]:
        """Who is told: by the environment everything, by people.toml what it says. At the start and at each reload."""
        file = people_file(args.people)
        if file is None:
            return everybody(everything), everything
        from panelward.schedule.people import load_people, unheard

        try:
            there = Path(file).exists()
        except OSError:  # its folder is closed to this user, or its disk fails: `load_people` says so
            there = True
        if not there:
            raise EnvironmentFault(f"{file}: there is no such file")
        # On trial nobody knows what the environment of the real start says.
        others = bool(everything) or args.trial
        circuits = [circuit.id for circuit in schedule.circuits]
        people, addresses = load_people(file, circuits, others=others, each_circuit=not start)
        if start and not others:
            for wanted, found, remedy in unheard(people, circuits):  # at a start no old one stays
                to_stderr(f"{file}: wanted {wanted}; found {found}. {remedy} A reload refuses that.")
        return replace(people, persons=(*people.persons, *everybody(everything).persons)), addresses | everything

    schedule = load(args.schedule)[0]
    try:
        people, addresses = who(schedule, start=True)
    except EnvironmentFault as fault:
        if not everything:
            raise
        people, addresses = replace(everybody(everything), unread=str(fault)), everything
    kind = AfarDaemon if args.from_afar else Daemon
    daemon = kind(args.schedule, args.journal, {} if args.trial else addresses, people=people, who=who, pace=simulated)
    broker = daemon.schedule.broker
    if simulated and broker and broker.host not in ("127.0.0.1", "localhost", "::1"):
        raise EnvironmentFault(f"--clock is for a broker on this machine; {broker.host} is another")
    try:
        daemon.run(trial=args.trial)
    except RequestRefused as error:  # of no request: a fault of ours, and systemd is to start it anew
        raise RuntimeError(f"the life of an alarm broke off: {error}") from error
    return 0
