"""`panelward rehearse --variation, --against, --plant`: what would have been otherwise, on readings that are there."""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any

from panelward.errors import BadInput

if TYPE_CHECKING:
    from panelward.records import Reading, Record, Schedule

WIDTH = 80
PROGRESS_EVERY = 200_000
MONTH_MS = 30 * 86_400_000
WEEK_MS = 7 * 86_400_000
FORMS = """\
--variation, several times over, in words or as a small TOML of the schedule's
own keys:
  "D4 conductor 4 mm2"   or 12 AWG, 10 SAE; all its stretches. D4: a position, a
                         label, a word of it, or a feeder
  "D4 length 3 m"        one way
  "D4 fuse 7.5 A"        or breaker, device: of the kind and type that is fitted
  "bank 280 Ah"          "house bank 280 Ah" where there are several
  "cut-off 11.8 V"
  other.toml             [[circuit]] id = "D4", conductor = { area_mm2 = 4 } ...
A device above what its conductor carries in its place, above the rating of its
way or above what its load's maker allows is refused, with the limit and its
source. Refused too is whatever `panelward check` would newly refuse.

--plant "WHERE KIND WHEN [for 2h]", several times over, each in its own week:
  "freezer feed-lost 02:10"
  circuit: feed-lost switched-off overload opens short stall more-than-listed
           runs-dry part-open standby left-on runs-on stuck overdue
  feeder:  feed-lost      supply: feed-lost falls      monitor: overdue
  WHEN is local: 02:10 (the first an hour in or later), Tue 02:10, or
  2026-05-05T02:10

A journal's readings are taken from --from to --to: for --against the last 30
days where --from is not given, for --plant the last 7, for --variation all.
--json is one object. It is arithmetic on what was read; local code and licensed
practice win over it."""


def add(command: argparse.ArgumentParser) -> None:
    """The options of this file."""
    ways = command.add_mutually_exclusive_group()
    ways.add_argument("--variation", action="append", default=[], metavar="V", help="other wiring: in words, or a TOML")
    ways.add_argument("--against", metavar="OTHER.toml", help="another schedule's alarm keys, before it goes live")
    ways.add_argument("--plant", action="append", default=[], metavar="P", help="a fault: the message it would have had")
    command.add_argument("--from", dest="from_", metavar="T", help="readings received from here on (of these three)")
    command.add_argument("--to", metavar="T", help="readings received before this")


def asked(args: argparse.Namespace) -> bool:
    return bool(args.variation or args.against or args.plant)


def run(args: argparse.Namespace) -> int:
    from panelward import sealed
    from panelward.commands.rehearse import moment_ms
    from panelward.schedule import load
    from panelward.schedule.profile import load_profile

    schedule, text = load(args.schedule)
    profile = load_profile(args.profile, schedule.vehicle.id)[0].profile if args.profile else None
    record = sealed.load(Path(args.record), schedule.vehicle.id)[-1] if args.record else None
    until_ms = moment_ms(args.until) if args.until else None
    if args.variation:
        found = _variation(args, schedule, text, profile, record, until_ms)
    elif args.against:
        found = _against(args, schedule, profile, record, until_ms)
    else:
        found = _plant(args, schedule, profile, record, until_ms)
    if args.json:
        print(json.dumps(found.as_json(), ensure_ascii=False, indent=1))
    else:
        for sentence in found.sentences():
            print(_wrapped(sentence))
    print(
        f"used: schedule {args.schedule}, {'journal' if args.journal else 'readings'} {args.journal or args.readings}",
        file=sys.stderr,
    )
    outside = tuple(found.outside()) if args.plant else ()
    if outside:  # what could be planted is told all the same
        raise BadInput("\n".join(outside))
    return 0


def _variation(
    args: argparse.Namespace, schedule: Schedule, text: str, profile: Any, record: Record | None, until_ms: int | None
) -> Any:
    from panelward.rehearse.along import along
    from panelward.rehearse.variation import varied
    from panelward.schedule.profile import applied

    variation = varied(text, args.variation, schedule, args.schedule)
    if profile is not None:
        variation = replace(
            variation, before=applied(variation.before, profile), after=applied(variation.after, profile)
        )  # fmt: skip
    with _readings(args, schedule, None) as readings:
        return along(variation, readings, until_ms=until_ms, record=record)


def _against(args: argparse.Namespace, schedule: Schedule, profile: Any, record: Record | None, until_ms: int | None) -> Any:
    from panelward.rehearse.against import against, both, fits
    from panelward.schedule import load
    from panelward.schedule.profile import applied

    other, _ = load(args.against)
    fits(schedule, other, args.against)
    if profile is not None:
        schedule, other = applied(schedule, profile), applied(other, profile)
    with _readings(args, both(schedule, other), MONTH_MS) as readings:
        return against(schedule, other, readings, until_ms=until_ms, record=record)


def _plant(args: argparse.Namespace, schedule: Schedule, profile: Any, record: Record | None, until_ms: int | None) -> Any:
    from panelward.rehearse.plant import planted, plants
    from panelward.schedule.profile import applied

    if profile is not None:
        schedule = applied(schedule, profile)
    wanted = plants(args.plant, schedule)
    with _readings(args, schedule, WEEK_MS) as readings:
        return planted(wanted, schedule, readings, until_ms=until_ms, record=record)


@contextmanager
def _readings(args: argparse.Namespace, schedule: Schedule, last_ms: int | None) -> Iterator[Iterable[Reading]]:
    """The readings of the file or the journal, from when to when; of a journal without --from the last `last_ms`."""
    from panelward.commands.rehearse import Opened, moment_ms
    from panelward.intake import TableReader
    from panelward.journal import Journal

    from_ms = moment_ms(args.from_) if args.from_ else None
    to_ms = moment_ms(args.to) if args.to else None
    if from_ms is not None and to_ms is not None and to_ms <= from_ms:
        raise BadInput(f"--to {args.to} is not after --from {args.from_}")
    if args.journal:
        journal = Journal.read(args.journal)
        try:
            end_ms = to_ms if to_ms is not None else journal.last_received_ms
            if from_ms is None and last_ms is not None and end_ms is not None:
                from_ms = end_ms - last_ms
            strange: Counter[str] = Counter()
            yield _counted(_known(journal.readings(from_ms, to_ms), schedule, strange), None, None)
            if strange:
                told = ", ".join(f"{name} ({rows:,})" for name, rows in strange.most_common(12))
                print(f"passed over, the schedule has no such circuit or probe: {told}", file=sys.stderr)
            if journal.damaged_blocks:
                print(f"passed over: {journal.damaged_blocks} damaged blocks of the journal", file=sys.stderr)
        finally:
            journal.close()
        return
    with Opened(args.readings) as lines:
        table = TableReader(lines, schedule, lenient=args.lenient, file=args.readings)
        yield _counted(table, from_ms, to_ms)
        if table.skipped:
            print(f"skipped: {table.skipped:,} rows that can't be read", file=sys.stderr)


def _known(readings: Iterable[Reading], schedule: Schedule, strange: Counter[str]) -> Iterator[Reading]:
    """Those of the schedule's circuits and probes; the others are counted: a circuit may have had another id once."""
    known = frozenset([c.id for c in schedule.circuits] + [p.id for p in schedule.probes])
    for reading in readings:
        if reading.circuit in known:
            yield reading
        else:
            strange[reading.circuit] += 1


def _counted(readings: Iterable[Reading], from_ms: int | None, to_ms: int | None) -> Iterator[Reading]:
    """Those of the span, with progress shown to a person; exhausted, it says how many there were."""
    shown = sys.stderr.isatty()
    rows = 0
    for reading in readings:
        if from_ms is not None and reading.received_ms < from_ms:
            continue
        if to_ms is not None and reading.received_ms >= to_ms:
            break
        rows += 1
        if shown and rows % PROGRESS_EVERY == 0:
            print(f"  {rows:,} readings", end="\r", file=sys.stderr)
        yield reading
    print(f"{rows:,} readings" if rows else "no readings there: nothing can be said of them", file=sys.stderr)


def _wrapped(sentence: str) -> str:
    """At 80 columns; what a phone shows keeps its mark on each line."""
    if sentence.startswith("| "):
        return fill(sentence[2:], WIDTH, initial_indent="  | ", subsequent_indent="  | ", break_on_hyphens=False)
    return fill(sentence, WIDTH, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False)
