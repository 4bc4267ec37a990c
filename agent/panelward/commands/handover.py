"""`panelward handover`: all that an owner is given with the vehicle, as one PDF to be signed in ink."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from panelward import __version__
from panelward.commands import add_schedule, say_faults
from panelward.commands.sheets import STDOUT, day_of, put, say_missing, target_of
from panelward.errors import RequestRefused, ScheduleError

if TYPE_CHECKING:
    from panelward.papers.pack import Facts, Pack
    from panelward.papers.pack_readings import Readings
    from panelward.papers.remarks import Worst
    from panelward.records import Record, Schedule

PDF = "handover-pack.pdf"
DAY_MS = 86_400_000
DAYS = 7


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "handover",
        help="print the pack that an owner is given with the vehicle",
        description="Writes one PDF: panel directory, device schedule with an inspector's remarks, commissioning record, "
        "what is always on and what happens without it, what can't be watched, isolation and inspection lists to be signed, "
        "cautions, hashes. The record is the one beside the schedule, if --record names no other. Exit: 0 written, 2 bad "
        "schedule, record or request, 3 a file can't be written.",
    )
    add_schedule(command)
    command.add_argument("--record", metavar="C.json", help="the commissioning record (default: beside the schedule)")
    command.add_argument("--journal", metavar="J.sqlite", help="also look at a journal: worst held currents, standing alarms")
    command.add_argument("--people", metavar="P.toml", help="who is told; addresses are never printed")
    command.add_argument("--out", metavar="PACK.pdf", help=f"the PDF (default: {PDF}); - for stdout")
    command.add_argument("--paper", choices=("a4", "letter"), default="a4", help="its size (default: %(default)s)")
    command.add_argument("--date", type=day_of, metavar="YYYY-MM-DD", help="the date on the paper (default: today)")
    command.add_argument("--force", action="store_true", help="overwrite the file")
    command.add_argument("--json", action="store_true", help="print the same as JSON; a PDF only with --out")


def run(args: argparse.Namespace) -> int:
    from panelward.papers.pack import handover_pack
    from panelward.schedule import load

    if args.json and args.out == STDOUT:
        raise RequestRefused("--json and --out - both want standard output: give the PDF a file")
    try:
        schedule, text = load(args.schedule)
        people = None
        if args.people is not None:
            from panelward.schedule.people import load_people

            # Who hears what is the watch's to judge, which knows PANELWARD_NOTIFY; here they are only printed.
            people = load_people(args.people, [c.id for c in schedule.circuits], others=True)[0]
    except ScheduleError as error:
        return say_faults(error)
    target = None if args.out == STDOUT or (args.json and args.out is None) else target_of(args.out or PDF, args.force)
    versions, record_file = _record(args, schedule)
    record = versions[-1] if versions else None
    worst, readings = _journal(args.journal, schedule)
    pack = handover_pack(
        schedule, _facts(args, schedule, text, record, record_file), record, versions=len(versions), worst=worst,
        readings=readings, people=people,
    )  # fmt: skip
    if args.json:
        print(json.dumps(asdict(pack), ensure_ascii=False))
    _write(pack, args, target)
    return 0


def _write(pack: Pack, args: argparse.Namespace, target: Path | None) -> None:
    if target is None and args.out != STDOUT:
        return
    from panelward.papers.pack_pdf import printed_pack

    paper = printed_pack(pack, paper=args.paper)
    say_missing(str(target or "the PDF"), paper.missing)
    if target is None:
        sys.stdout.buffer.write(paper.content)
        sys.stdout.buffer.flush()
        return
    put([(target, paper.content)])
    ways = sum(each.what == "way" for each in pack.devices)
    record = f"record version {pack.record.version}" if pack.record.there else "no record"
    said = f"{target}: {ways} ways, {len(pack.remarks)} remarks, {record}, {paper.pages} pages of {args.paper}"
    print(said, file=sys.stderr if args.json else sys.stdout)
    print("A hash is no signature: look, and sign it with ink.", file=sys.stderr if args.json else sys.stdout)


def _facts(args: argparse.Namespace, schedule: Schedule, text: str, record: Record | None, record_file: str) -> Facts:
    from panelward.papers.pack import Facts
    from panelward.sealed import schedule_hash

    day = args.date or datetime.now(ZoneInfo(schedule.vehicle.timezone)).date()
    fitter = schedule.vehicle.fitter
    return Facts(
        vehicle=schedule.vehicle.name,
        vehicle_id=schedule.vehicle.id,
        timezone=schedule.vehicle.timezone,
        made=day.isoformat(),
        schedule_file=_shown(args.schedule),
        schedule_hash=schedule_hash(text),
        schedule_sha256=sha256(text.encode("utf-8", "surrogatepass")).hexdigest(),
        record_file=_shown(record_file) if record else "",
        record_seal=record.seal if record else "",
        version=__version__,
        fitter=(fitter.name or "") if fitter else "",
        phone=fitter.phone if fitter else "",
    )


def _shown(path: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in Path(path).name)


def _record(args: argparse.Namespace, schedule: Schedule) -> tuple[tuple[Record, ...], str]:
    """All versions, and the file. One that is named must be there; one that was changed is refused."""
    from panelward import sealed

    path = Path(args.record) if args.record is not None else sealed.path_of(args.schedule)
    if args.record is None and not path.exists():
        return (), ""
    return sealed.load(path, schedule.vehicle.id), str(path)


def _journal(path: str | None, schedule: Schedule) -> tuple[dict[str, Worst], Readings | None]:
    """What the last week of a journal's readings shows, and what asks for somebody."""
    if path is None:
        return {}, None
    from contextlib import closing

    from panelward.door.look import MOST_READINGS, looked, question, reckon
    from panelward.journal import Journal
    from panelward.journal.pace import pace_s
    from panelward.papers.pack_readings import Readings, paces, standing

    zone = ZoneInfo(schedule.vehicle.timezone)

    def local(at_ms: float) -> str:
        return f"{datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone):%Y-%m-%d %H:%M}"

    with closing(Journal.read(path)) as journal:
        last_ms = journal.last_received_ms
        alarms = standing(journal.standing(), schedule, local)
        tested = _tested(journal)
        if last_ms is None:
            return {}, Readings(
                file=_shown(path), from_="–", to="–", unread_share=None, clock_sets=0, damaged=0, standing=alarms,
                tested=local(tested * 1000) if tested else "",
            )  # fmt: skip
        to_ms = last_ms + 1
        seen_s = pace_s(journal, to_ms, [c.id for c in schedule.circuits])
        lines = reckon(journal, question(schedule), to_ms - DAYS * DAY_MS, to_ms, zone, MOST_READINGS)
    found = looked("\n".join(lines).encode())
    ways = [c.id for c in schedule.circuits if c.role != "meter" or c.protection]
    seen = {name: each for name in ways if (each := found.way(name)) is not None}
    unread = [each.unread_share for each in seen.values()]
    return dict(seen), Readings(
        file=_shown(path), from_=local(found.from_ms), to=local(found.to_ms),
        unread_share=sum(unread) / len(unread) if unread else None, clock_sets=found.clock_sets, damaged=found.damaged,
        standing=alarms, tested=local(tested * 1000) if tested else "", paces=paces(schedule, seen_s),
    )  # fmt: skip


def _tested(journal: Any) -> float | None:
    """When a test message was last handed over, in real seconds."""
    drills = {a["id"] for a in journal.last_transitions(10_000) if a.get("kind") == "drill"}
    times = [
        row.settled_real_s
        for row in journal.outbox_rows()
        if row.alarm_id in drills and row.status == "handed-over" and row.settled_real_s is not None
    ]
    return max(times, default=None)
