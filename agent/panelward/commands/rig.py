"""`panelward rig`: the simulated van, into a file or on the air."""

from __future__ import annotations

import argparse
import os
import signal
import sys
import time
from threading import Event
from typing import Any

from panelward.commands.rehearse import moment_ms


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "rig",
        help="a simulated vehicle: readings into a file, or over MQTT",
        description="Simulates the survey van of config/survey-van.toml. With --readings it writes a file and its truth "
        "beside it; with --clock it publishes over MQTT on a shared clock, to a broker on this machine only.",
    )
    default = os.environ.get("PANELWARD_SCHEDULE", "config/survey-van.toml")
    command.add_argument("--schedule", metavar="S.toml", default=default, help="the van (default: %(default)s)")
    command.add_argument("--readings", metavar="OUT.csv", help="write this file, and OUT.truth.json")
    command.add_argument("--clock", metavar="START,RATE[,ORIGIN]", help="publish in simulated time from START, RATE-fold")
    command.add_argument("--start", metavar="T", default="2026-05-04T16:00Z", help="a file's begin (default: %(default)s)")
    command.add_argument("--hours", type=float, default=6.0, metavar="H", help="a file's length (default: 6)")
    command.add_argument("--period", type=float, metavar="S", default=2.0, help="seconds between readings (default: 2)")
    command.add_argument("--fault", action="append", default=[], metavar="NAME", help="NAME, NAME@21:30 or NAME+600; `list`")
    command.add_argument("--script", choices=("people", "demo", "commissioning"), default="people",
                         help="ordinary days, the demo's evening, or a hand-over")  # fmt: skip
    command.add_argument("--swap", nargs=2, metavar="WAY", help="the sensors of two ways were mixed up")
    command.add_argument("--seed", type=int, default=1, metavar="N", help="same seed, same van, same bytes (default: 1)")
    command.add_argument("--for-s", "--for", dest="for_s", type=float, metavar="S", help="publish for S real seconds")


def run(args: argparse.Namespace) -> int:
    from panelward.rig import FAULTS, Life, Van, write

    if args.fault == ["list"]:
        for name, (circuit, expected, what, _) in FAULTS.items():
            print(f"{name:<22}{circuit:<10}{expected or 'an innocent twin'}\n    {what}")
        return 0
    if bool(args.readings) == bool(args.clock):
        print("panelward rig: give --readings OUT.csv for a file, or --clock START,RATE to publish", file=sys.stderr)
        return 2
    if not 0.5 <= args.period <= 86_400 or not 0 < args.hours <= 100_000:
        print("panelward rig: --period goes from 0.5 to 86400 s, --hours from above 0 to 100000", file=sys.stderr)
        return 2
    pieces = args.clock.split(",") if args.clock else [args.start]
    start_ms = moment_ms(pieces[0])
    life = Life(Van(args.schedule, args.seed, start_ms))
    if args.script == "demo":
        life.demo()
    elif args.script == "commissioning":
        life.commissioning()
    else:
        life.people(max(1, int(args.hours // 24) + 2), args.seed)
    if args.swap:
        life.van.mix_up(*args.swap)
    for fault in args.fault:
        life.befall(fault)
    return _live(args, life, start_ms, pieces) if args.clock else _file(args, life, write)


def _file(args: argparse.Namespace, life: Any, write: Any) -> int:
    shown = sys.stderr.isatty()

    def progress(share: float) -> None:
        if shown:
            print(f"  {share:4.0%}", end="\r", file=sys.stderr)

    rows = write(life, args.readings, hours=args.hours, period_s=args.period, seed=args.seed, progress=progress)
    truth = f"{args.readings.removesuffix('.csv')}.truth.json"
    print(f"{args.readings}: {rows:,} rows; its truth in {truth}", file=sys.stderr)
    return 0


def _live(args: argparse.Namespace, life: Any, start_ms: int, pieces: list[str]) -> int:
    from panelward.rig.live import broadcast

    try:
        rate = float(pieces[1])
        origin_real_s = float(pieces[2]) if len(pieces) > 2 else time.time()
        if len(pieces) > 3 or not 0.001 <= rate <= 100_000:
            raise ValueError
    except (IndexError, ValueError):
        print(f"panelward rig: --clock wants START,RATE or START,RATE,ORIGIN, not {args.clock!r}", file=sys.stderr)
        return 2
    stop = Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    print(f"rig: the van's time runs {rate:g}-fold", file=sys.stderr, flush=True)
    messages = broadcast(
        life,
        args.schedule,
        rate=rate,
        origin_ms=start_ms,
        origin_real_s=origin_real_s,
        stop=stop,
        for_s=args.for_s,
        log=lambda text: print(text, file=sys.stderr, flush=True),
    )
    print(f"rig: {messages:,} messages published", file=sys.stderr)
    return 0
