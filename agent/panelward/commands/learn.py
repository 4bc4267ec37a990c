"""`panelward learn`: a fortnight of the journal into a profile; narrowing by itself, widening by a person."""

from __future__ import annotations

import argparse
import json
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any

from panelward.commands import add_journal, add_schedule

if TYPE_CHECKING:
    from panelward.learn import Outcome, Result
    from panelward.schedule.profile import Book

DAYS = 14.0
SECONDS = 1800.0
TRANSITIONS = 100_000


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "learn",
        help="propose a profile of the loads from the journal",
        description="Reads the last fortnight of a journal. Bands that became narrower are taken by themselves, after planted "
        "faults were found with them as before; what would widen one waits for a person. Ratings, ampacity, floors, "
        "always-on and cut-offs are never learned. Run it nightly, with nice; the daemon takes the profile at its next start "
        "or reload.",
    )
    add_schedule(command)
    add_journal(command)
    command.add_argument("--profile", metavar="P.json", help="the profile (default: beside the schedule)")
    command.add_argument("--record", metavar="C.json", help="the commissioning record (default: beside the schedule)")
    command.add_argument("--days", type=float, default=DAYS, metavar="N", help="how much of the journal (default: %(default)g)")
    command.add_argument("--seconds", type=float, default=SECONDS, metavar="S", help="begin nothing new after so long")
    command.add_argument("--accept", metavar="ID", help="take what is proposed for this circuit (with --who)")
    command.add_argument("--revert", type=int, metavar="N", help="put version N in force again; 0: the schedule alone")
    command.add_argument("--who", default="", help="your name: it stands with what you accept")
    command.add_argument("--why", default="", help="… and why")
    command.add_argument("--json", action="store_true", help="one object")


def run(args: argparse.Namespace) -> int:
    from panelward.schedule import load
    from panelward.schedule.profile import load_profile, path_of

    schedule, _ = load(args.schedule)
    path = args.profile or path_of(args.schedule)
    book, _ = load_profile(path, schedule.vehicle.id)
    if args.accept is not None or args.revert is not None:
        return _change(args, book)
    return _learn(args, book)


def _change(args: argparse.Namespace, book: Book) -> int:
    from dataclasses import replace

    from panelward.errors import BadInput
    from panelward.learn import accept
    from panelward.schedule import load
    from panelward.schedule.profile import path_of, save_profile

    schedule, _ = load(args.schedule)
    path = args.profile or path_of(args.schedule)
    if args.revert is not None:
        known = [p.version for p in book.versions]
        if args.revert not in (0, *known):
            raise BadInput(f"--revert: wanted one of {', '.join(map(str, (0, *known)))}; found {args.revert}")
        save_profile(path, replace(book, in_force=args.revert))
        print(f"Version {args.revert} is in force at the daemon's next start or reload." if args.revert else
              "The schedule alone is in force at the daemon's next start or reload.")  # fmt: skip
        return 0
    if not args.who.strip():
        raise BadInput("--accept: wanted your name with --who; found none. What widens a limit is taken by a person")
    try:
        book = accept(book, schedule, args.accept, who=args.who, why=args.why, now_ms=round(time.time() * 1000))
    except KeyError:
        waiting = sorted({p.circuit for p in book.proposed})
        raise BadInput(f"--accept: nothing is proposed for '{args.accept}'; it is for {', '.join(waiting) or 'none'}") from None
    save_profile(path, book)
    print(f"Accepted by {args.who}: version {book.in_force}. The daemon takes it at its next start or reload.")
    return 0


def _learn(args: argparse.Namespace, book: Book) -> int:
    from panelward import sealed
    from panelward.journal import Journal
    from panelward.learn import ALL, laid_up, learn, quarantine_of
    from panelward.schedule import load
    from panelward.schedule.profile import path_of, save_profile

    schedule, _ = load(args.schedule)
    beside = Path(args.record) if args.record else sealed.path_of(args.schedule)
    record = sealed.load(beside, schedule.vehicle.id)[-1] if args.record or beside.exists() else None
    journal = Journal.read(args.journal)
    began = time.monotonic()
    try:
        last_ms = journal.last_received_ms or 0
        from_ms = last_ms - round(args.days * 86_400_000)
        replacements = journal.replacements()
        quarantine = quarantine_of(journal.last_transitions(TRANSITIONS), last_ms)
        quarantine[ALL] = quarantine.get(ALL, []) + laid_up(journal.doings(), last_ms)
        outcome = learn(
            schedule,
            book,
            lambda circuit: journal.readings(from_ms=from_ms, circuits=(circuit,)),
            quarantine=quarantine,
            now_ms=last_ms,
            record=record,
            replaced={each["circuit"]: int(each["at_ms"]) for each in replacements if each["part"] == "load"},
            goes_on=lambda: time.monotonic() - began < args.seconds,
            says=lambda label: print(f"  {label:<40}", end="\r", file=sys.stderr) if sys.stderr.isatty() else None,
        )
    finally:
        journal.close()
    if outcome.book != book:
        save_profile(args.profile or path_of(args.schedule), outcome.book)
    if args.json:
        print(json.dumps(_object(outcome), ensure_ascii=False))
    else:
        print("\n".join(lines(outcome, book)))
    return 1 if outcome.book.proposed else 0


def lines(outcome: Outcome, before: Book) -> list[str]:
    """For a person, at 80 columns."""
    found: list[str] = []
    for result in outcome.results:
        found += _of(result)
    book = outcome.book
    for made in book.versions[len(before.versions) :]:
        when = datetime.fromtimestamp(made.made_ms / 1000, UTC)
        gone = made.why.removeprefix("replaced: ")
        why = "narrower, taken by itself" if gone == made.why else f"without {gone}, whose load was replaced"
        found.append(f"Version {made.version} of the profile, {when:%Y-%m-%d %H:%M}Z: {why}.")
    if book.in_force == before.in_force:
        found.append("The profile stays as it is.")
    if book.proposed:
        found += ["", "Waits for a person (panelward learn --accept ID --who NAME):"]
        for each in book.proposed:
            band = (
                f"at most {each.watts:.3g} W"
                if each.what == "standby"
                else f"{each.watts:.3g} W ± {100 * each.tolerance:.0f} %"
            )
            text = f"{each.circuit} {each.name}: {band}, now {each.now}. {each.why}."
            found.append(fill(text, 80, initial_indent="  ", subsequent_indent="    "))
    return found


def _of(result: Result) -> list[str]:
    learned, verdict = result.learned, result.verdict
    if learned.why_not:
        return [fill(f"{learned.circuit}: nothing learned: {learned.why_not}.", 80, subsequent_indent="  ")]
    if not learned.changes:
        return [f"{learned.circuit}: as it is."]
    head = [fill(f"{learned.circuit}: {'; '.join(learned.changes)}.", 80, subsequent_indent="  ")]
    if verdict is None:
        return [*head, "  Not tried for want of time: it stays a proposal."]
    return [*head, fill(f"{'Taken' if verdict.passed else 'Refused'}: {verdict.why}.", 80, initial_indent="  ",
                        subsequent_indent="  ")]  # fmt: skip


def _object(outcome: Outcome) -> dict[str, Any]:
    return {
        "in_force": outcome.book.in_force,
        "circuits": [
            {
                "circuit": r.learned.circuit,
                "why_not": r.learned.why_not or None,
                "changes": list(r.learned.changes),
                "taken": None if r.verdict is None else r.verdict.passed,
                "why": None if r.verdict is None else r.verdict.why,
                "planted": None if r.verdict is None else r.verdict.planted,
            }
            for r in outcome.results
        ],
        "proposed": [{name: getattr(p, name) for name in type(p).__slots__} for p in outcome.book.proposed],
    }
