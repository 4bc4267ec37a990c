"""`panelward review --hour-of ALARM`: the hours around one alarm, for the installer on a warranty call."""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import asdict
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING

from panelward import __version__
from panelward.errors import BadInput, EnvironmentFault

if TYPE_CHECKING:
    from panelward.review.hour import Hour

WIDTH = 80


def run(args: argparse.Namespace) -> int:
    """As a page (--out), as JSON, or in words."""
    from panelward.journal import Journal
    from panelward.review.hour import hour
    from panelward.schedule import load
    from panelward.schedule.profile import written

    for name, given in (("--readings", args.readings), ("--from", args.begin), ("--to", args.end), ("--journey", args.journey)):
        if given is not None:
            raise BadInput(f"--hour-of: wanted a journal and an alarm's id; found {name} too. Leave {name} out.")
    schedule, _ = load(args.schedule)
    with closing(Journal.read(args.journal)) as journal:
        found = hour(
            journal, schedule, args.hour_of, parse=lambda text: written(text, "the journal"), made_ms=round(time.time() * 1000),
            made_by=__version__,
        )  # fmt: skip
    if args.out:
        _page(found, Path(args.out))
    if args.json:
        print(json.dumps(asdict(found), ensure_ascii=False, allow_nan=False))
    elif not args.out:
        print("\n".join(_words(found)))
    return 0


def _page(found: Hour, path: Path) -> None:
    try:
        from panelward.review.hour_page import html
    except ImportError as error:
        raise EnvironmentFault(
            f"review: {error.name or error} is not installed here, and --out draws with it. "
            "Install panelward with its extra: pip install 'panelward[review]'; --json works without."
        ) from None
    try:
        path.write_text(html(found), encoding="utf-8")
    except OSError as error:
        raise EnvironmentFault(f"{path}: the page can't be written: {error.strerror}") from None
    print(f"{path}: written", file=sys.stderr)


def _words(found: Hour) -> Iterator[str]:
    """What can't be shown, what was weighed, what was told: the rest is in --out and --json."""
    for head, lines in (
        (found.alarm_id, [step.message for step in found.steps[:1]]),
        ("To be remarked", found.remarks),
        ("What the data can't show", found.cannot_show),
        ("Causes weighed", [f"{cause.text}: {cause.verdict}{_percent(cause.probability)}" for cause in found.causes]),
        ("Evidence", found.evidence),
    ):
        if not lines:
            continue
        yield f"\n{head}" if head != found.alarm_id else head
        for line in lines:
            yield fill(line, WIDTH, initial_indent="  ", subsequent_indent="    ")
    yield "\nReadings, messages and what was in force: --out REPORT.html or --json."


def _percent(probability: float | None) -> str:
    return f", {100 * probability:.1f} %" if probability is not None else ", below 0.5 %"
