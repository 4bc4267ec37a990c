"""`panelward now`: a look at each circuit: its draw, of what, its age, its margin."""

from __future__ import annotations

import argparse
import json
import time
from datetime import UTC, datetime
from textwrap import fill
from typing import Any
from zoneinfo import ZoneInfo

from panelward.commands import add_journal, add_schedule

STALE_ROW_S = 30.0
LABEL = 20


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "now",
        help="a look at each circuit: draw, of what, age, margin",
        description="Prints the row that a running `panelward watch` keeps in its journal.",
    )
    add_journal(command)
    add_schedule(command)
    command.add_argument("--json", action="store_true", help="the whole row as one object")


def run(args: argparse.Namespace) -> int:
    from panelward.errors import PanelwardError
    from panelward.journal import Journal

    journal = Journal.read(args.journal)
    try:
        row, standing = journal.present(), journal.standing()
    finally:
        journal.close()
    if not row:
        raise PanelwardError(f"{args.journal}: nothing has been watched yet; start `panelward watch` first")
    if args.json:
        print(json.dumps(row, ensure_ascii=False))
    else:
        print("\n".join(table(row, standing, time.time(), zone_of(args.schedule, row))))
    return 1 if any(alarm["state"] != "normal" for alarm in row["standing"]) else 0


def table(row: dict[str, Any], standing: list[dict[str, Any]], real_now_s: float, zone: ZoneInfo) -> list[str]:
    """The lines for a person, at most 80 columns."""
    behind_s = max(0.0, real_now_s - row["real_s"])
    now_ms = row["at_ms"] + behind_s * 1000 * row["rate"]
    when = datetime.fromtimestamp(row["at_ms"] / 1000, UTC).astimezone(zone)
    lines = [f"As of {when:%a %d %b %H:%M:%S} {zone.key}" + (f", time runs {row['rate']:g}-fold" if row["rate"] != 1 else "")]
    if silent := stale(row, real_now_s):
        lines.append(silent)
    if not row["connected"]:
        lines.append("The broker is away: what stands below is old.")
    lines += ["", f"{'way':<5} {'label':<{LABEL}} {'draw':>9} {'power':>9}  {'of rating':<15} {'age':>6}"]
    asked = [a.get("circuit") for a in standing]
    for circuit in row["circuits"]:
        lines.append(_line(circuit, now_ms) + (" *" if circuit["id"] in asked else ""))
    lines += ["", doing_line(row.get("doing"))]
    if standing:
        lines.append("* stands in an alarm:")
        worst_first = ("high", "medium", "low", "journal")
        for a in sorted(standing, key=lambda alarm: worst_first.index(alarm["priority"])):
            lines.append(fill(a["message"], 80, initial_indent=f"{a['priority']:<7} ", subsequent_indent=" " * 8))
            lines += wrapped(f"        {a['kind']}, {a['state']},", f"id {a['id']}")
    else:
        lines.append("No alarm stands.")
    unnamed = [
        f"{c['label']} {c['level']['watts']:.3g} W" for c in row["circuits"] if c.get("level") and c["level"]["name"] is None
    ]
    if unnamed:
        lines.append(
            fill(f"At a steady draw that is no level of its schedule: {', '.join(unnamed)}.", 80, subsequent_indent="  ")
        )
    lines += zone_lines(row, zone)
    lines += work_lines(row, real_now_s, zone)
    if row["refused"]:
        lines.append(f"{row['refused']} messages could not be read.")
    return lines


def stale(row: dict[str, Any], real_now_s: float) -> str:
    """That the watch keeps nothing; empty: it does."""
    behind_s = real_now_s - row["real_s"]
    if behind_s <= STALE_ROW_S:
        return ""
    return f"The watch has written nothing for {_age(behind_s)}: is it running, is the disk full?"


def wrapped(text: str, last: str) -> list[str]:
    """One line, or two where it would be too long: `last` is copied by people, so it is whole and on one line."""
    return [f"{text} {last}"] if len(text) + 1 + len(last) <= 80 else [text, f"        {last}"]


def doing_line(doing: dict[str, Any] | None) -> str:
    """What the vehicle is doing, in one line."""
    said = []
    if doing is not None:
        under_way = doing["under_way"]
        said = [
            words
            for words, is_case in (
                ("laid up", doing["laid_up"]),
                ("under way", under_way is True),
                ("at rest", under_way is False and not doing["laid_up"]),
                ("on an outside AC supply", doing["on_shore"]),
                ("charging by sun", doing["by_sun"]),
                ("somebody aboard", doing["aboard"] is True),
                ("nobody aboard", doing["aboard"] is False and not doing["laid_up"]),
            )
            if is_case
        ]
    return f"The vehicle: {', '.join(said) or 'unknown what it is doing'}."


def zone_lines(row: dict[str, Any], zone: ZoneInfo) -> list[str]:
    """That local time is not the schedule's: by whom, since when."""
    asked = row.get("timezone") or {}
    if not asked.get("who"):
        return []
    since = datetime.fromtimestamp(asked["since_ms"] / 1000, UTC).astimezone(zone)
    return [fill(f"Local time is {asked['name']} since {since:%a %d %b %H:%M}, by {asked['who']}.", 80, subsequent_indent="  ")]


def work_lines(row: dict[str, Any], real_now_s: float, zone: ZoneInfo) -> list[str]:
    """Who works on what, and which circuits are out of service, until when, by the row of the daemon."""
    now_ms = row["at_ms"] + max(0.0, real_now_s - row["real_s"]) * 1000 * row["rate"]
    lines = []
    for work in row.get("works", ()):
        if work["until_ms"] > now_ms:
            until = datetime.fromtimestamp(work["until_ms"] / 1000, UTC).astimezone(zone)
            place = "the whole panel" if work["circuit"] is None else work["circuit"]
            why = f" ({work['why']})" if work["why"] else ""
            text = f"{work['who']} works on {place} until {until:%H:%M}{why}: alarms there are not sent, except of life."
            lines.append(fill(text, 80, subsequent_indent="  "))
    for removed in row.get("out_of_service", ()):
        if removed["until_ms"] > now_ms:
            until = datetime.fromtimestamp(removed["until_ms"] / 1000, UTC).astimezone(zone)
            why = f" ({removed['why']})" if removed["why"] else ""
            by = f" by {removed['who']}" if removed["who"] else ""
            text = f"{removed['circuit']} is out of service{by} until {until:%a %H:%M}{why}: its alarms are not sent."
            lines.append(fill(text, 80, subsequent_indent="  "))
    return lines


def _line(circuit: dict[str, Any], now_ms: float) -> str:
    label = circuit["label"] if len(circuit["label"]) <= LABEL else circuit["label"][: LABEL - 1] + "…"
    head = f"{circuit['id']:<5} {label:<{LABEL}} "
    if circuit["heard_ms"] is None:
        return head + f"{'no reading yet':>19}"
    age = _age((now_ms - circuit["heard_ms"]) / 1000)
    if circuit["overdue"]:
        return head + f"{'no reading since':>19}  {'':<15} {age:>6}"
    amps = "-" if circuit["amps"] is None else f"{circuit['amps']:.2f} A"
    watts = "-" if circuit["watts"] is None else f"{circuit['watts']:.1f} W"
    rating = circuit["rating_a"]
    share = "" if not rating or circuit["used"] is None else f"{circuit['used'] * 100:3.0f} % of {rating:g} A"
    return head + f"{amps:>9} {watts:>9}  {share:<15} {age:>6}"


def _age(seconds: float) -> str:
    if seconds < 120:
        return f"{max(0, seconds):.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.0f} h"


def zone_of(schedule: str, row: dict[str, Any] | None = None) -> ZoneInfo:
    """The zone that the watch goes by, from its row; else the schedule's where that can be read; else UTC."""
    from panelward.errors import PanelwardError
    from panelward.schedule import load

    if row and row.get("timezone"):
        return ZoneInfo(row["timezone"]["name"])
    try:
        return ZoneInfo(load(schedule)[0].vehicle.timezone)
    except PanelwardError:
        return ZoneInfo("UTC")
