"""`panelward check`: vet a circuit schedule: what is plainly wrong, what is doubtful, what can't be judged."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict
from textwrap import fill
from typing import TYPE_CHECKING, Any

from panelward.commands import add_schedule
from panelward.errors import ScheduleError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from panelward.records import Schedule
    from panelward.schedule import Finding

WIDTH = 80
KEYS = ("circuit", "grade", "rule", "found", "limit", "unit", "source", "remedy", "message")
HEADS = {
    "refuse": "Refused: wrong as it stands",
    "warn": "Warned: doubtful",
    "note": "Noted: what can't be judged, and what to see to",
}
CAUTION = (
    "Isolate every source before touching a panel. Local code and licensed practice win over this arithmetic. "
    "panelward watches, it does not protect: the fuse or breaker does."
)


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "check",
        help="vet a circuit schedule",
        description="Reads a circuit schedule, names every fault in it, and vets the plan: what is plainly wrong, "
        "what is doubtful, what can't be judged. Exit: 0 nothing but notes, 1 refused or warned, 2 bad schedule.",
    )
    add_schedule(command)
    command.add_argument("--json", action="store_true", help="one finding a line as JSON")


def run(args: argparse.Namespace) -> int:
    from panelward.schedule import load, vet

    try:
        schedule, _ = load(args.schedule)
    except ScheduleError as error:
        for fault in error.faults:
            print(fault, file=sys.stderr)
        return 2
    findings = vet(schedule)
    if args.json:
        for finding in findings:
            found = asdict(finding)
            print(json.dumps({key: found[key] for key in KEYS}, ensure_ascii=False))
    else:
        for line in report(args.schedule, schedule, findings):
            print(line)
    return 1 if any(finding.grade != "note" for finding in findings) else 0


def report(file: str, schedule: Schedule, findings: tuple[Finding, ...]) -> Iterator[str]:
    """The findings for a person, at most 80 columns where no single word is longer, grouped by grade."""
    counted = {grade: [f for f in findings if f.grade == grade] for grade in HEADS}
    yield _folded(f"{schedule.vehicle.name}, {len(schedule.circuits)} circuits: {file}")
    for grade, group in counted.items():
        if group:
            yield ""
            yield f"{HEADS[grade]} ({len(group)})"
        for finding in group:
            yield ""
            yield _folded(finding.message, "  ")
            yield _folded(f"{finding.remedy}", "    ")
            yield _folded(f"[{finding.rule}{_figures(finding)}; {finding.source}]", "    ")
    yield ""
    if not counted["refuse"] and not counted["warn"]:
        yield "Nothing refused, nothing warned."
    yield _folded(CAUTION)


def _figures(finding: Finding) -> str:
    if finding.found is None:
        return ""
    unit = f" {finding.unit}" if finding.unit else ""
    return f": found {_said(finding.found)}{unit}, limit {_said(finding.limit)}{unit}"


def _said(value: float | str | None) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _folded(text: str, indent: str = "") -> str:
    return fill(text, WIDTH, initial_indent=indent, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)
