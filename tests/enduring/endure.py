"""Every fault the chain must survive, and what came of it: `python tests/enduring/endure.py [--only NAME] [--kills 1000]`.

The daemon, the broker, the disks and the phone's service are real; the vehicle is in an alarm storm. The table counts what
was seen from outside: alarms lost, repeats not marked as such, false alarms caused, and readings lost at most. Exit status 1
where one of the first three is not 0. Some families need root (a loop device, a network namespace) and say so where they
may not.
"""

from __future__ import annotations

import argparse
import json
import signal
import sys
import tempfile
import textwrap
import time
import traceback
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE.parent.parent / "agent")]

from enduring import clocks, day, disks, kills, links, tally  # noqa: E402
from enduring.lives import Nursery  # noqa: E402

SHOWN = 12  # reasons of a family; --json has all of them


@dataclass(frozen=True)
class Family:
    """One line of the table: what is run, how often, and what else it is told."""

    name: str
    run: Callable[..., tally.Count]
    cases: int
    options: dict[str, Any]


def families(houses: int) -> list[Family]:
    """The whole of it, what is short first."""
    return [
        Family("copies", kills.copies, 60, {}),
        Family("power-cuts", kills.power_cuts, 24, {}),
        Family("clocks", clocks.clock_steps, 30, {}),
        Family("live-clocks", clocks.live_steps, 8, {"houses": houses}),
        Family("disks", disks.disks, 12, {}),
        Family("truncated", disks.truncated, 10**6, {}),
        Family("broker", links.broker_restarts, 100, {}),
        Family("network", links.no_network, 2, {"days": 2.0}),
        Family("sinks", links.sinks, 24, {"houses": houses}),
        Family("day", day.day, 1, {}),
        Family("kills", kills.kills, 1000, {"houses": houses}),
    ]


def run(chosen: list[Family], say: Callable[[str], None]) -> Iterator[tuple[Family, tally.Count, float]]:
    """Each in a folder of its own, which is gone afterwards."""
    for family in chosen:
        say(f"{family.name} …")
        begun_s = time.monotonic()
        with tempfile.TemporaryDirectory(prefix="endure-") as folder, Nursery() as nursery:
            try:
                count = family.run(Path(folder), nursery, family.cases, **family.options)
            except Exception as error:  # the other families are run all the same
                traceback.print_exc()
                count = tally.Count(family.name)
                count.lose(f"the run itself broke off: {type(error).__name__}: {error}")
        yield family, count, time.monotonic() - begun_s


def _chosen(args: argparse.Namespace) -> list[Family]:
    known = families(args.houses)
    wanted = [name for each in args.only or () for name in each.split(",")]
    if unknown := sorted(set(wanted) - {each.name for each in known}):
        raise SystemExit(f"no such family: {', '.join(unknown)}; there are {', '.join(each.name for each in known)}")
    given = {each.name: getattr(args, each.name.replace("-", "_")) for each in known}
    out = [replace(each, cases=each.cases if given[each.name] is None else given[each.name]) for each in known]
    return [each for each in out if each.cases > 0 and (not wanted or each.name in wanted)]


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--only", action="append", metavar="NAME", help="only this family, or several with commas")
    parser.add_argument("--houses", type=int, default=3, metavar="N", help="so many side by side (default 3)")
    for each in families(1):
        text = "all of them" if each.cases >= 10**6 else f"{each.cases:,}"
        parser.add_argument(f"--{each.name}", type=int, metavar="N", help=f"so many cases (default {text})")
    parser.add_argument("--json", action="store_true", help="print the counts and every reason as JSON")
    args = parser.parse_args(argv)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))  # so that what was started is ended

    def say(text: str) -> None:
        print(text, file=sys.stderr, flush=True)

    found: list[tuple[Family, tally.Count, float]] = []
    if not args.json:
        print(tally.HEAD)
        print(tally.UNDER)
    for family, count, took_s in run(_chosen(args), say):
        found.append((family, count, took_s))
        say(f"{family.name}: {took_s:.0f} s")
        if not args.json:
            print(tally.line(count), flush=True)
    if args.json:
        shown = [asdict(count) | {"family": f.name, "good": count.good, "took_s": round(s, 1)} for f, count, s in found]
        print(json.dumps(shown, indent=2, ensure_ascii=False))
    else:
        for _, count, _s in found:
            for why in count.why[:SHOWN]:
                print(textwrap.fill(f"{count.name}: {' '.join(why.split())}", 80, subsequent_indent="  "))
            if count.hiccups:
                text = f"{count.hiccups} times nothing came for under {tally.HICCUP_S:g} s of real time, and that was told"
                print(textwrap.fill(f"{count.name}: {text}", 80, subsequent_indent="  "))
            if len(count.why) > SHOWN:
                print(f"{count.name}: and {len(count.why) - SHOWN} more; --json has all")
    return 0 if all(count.good for _, count, _s in found) else 1


if __name__ == "__main__":
    sys.exit(main())
