"""`panelward check`: vet a circuit schedule, plan one circuit, or draft a schedule from a spreadsheet."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any

from panelward.commands import PEOPLE, add_people, add_schedule, people_file, say_faults
from panelward.errors import BadInput, EnvironmentFault, ScheduleError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

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
    "Isolate every source before touching a panel. Replace like for like only. Local code and licensed practice win over "
    "this arithmetic. panelward watches, it does not protect: the fuse or breaker does."
)
LIKE = {  # what people call them, beside the words of a spreadsheet
    "led": "light", "heater": "air-heater", "computer": "electronics", "terminal": "electronics", "router": "electronics",
    "alarm": "detector", "winch": "motor", "blanket": "heater-element", "pad": "heater-element",
}  # fmt: skip
MOST_BYTES = 8_000_000
PLANNING: dict[str, Any] = {  # options of --load: the name on the command line, and what stands for it where it is not given
    "volts": 12.0,
    "length": None,
    "feed": "switched",
    "kind": None,
    "insulation": 60.0,
    "ambient": 30.0,
    "bundled": 1,
    "rule": None,
    "awg": False,
}


def register(subparsers: Any) -> None:
    command = subparsers.add_parser(
        "check",
        help="vet a circuit schedule; plan one circuit; read or write a spreadsheet",
        description="Reads a circuit schedule, names every fault in it, and vets the plan: what is plainly wrong, "
        "what is doubtful, what can't be judged. Exit: 0 nothing but notes, 1 refused or warned, 2 bad schedule. "
        "With --load it answers which device and conductor one load wants, without a schedule.",
    )
    add_schedule(command)
    add_people(command, f"who is told, vetted too (default: PANELWARD_PEOPLE; for a schedule beside it {PEOPLE})")
    command.add_argument("--json", action="store_true", help="one finding (with --detect: one fault) a line as JSON")
    command.add_argument(
        "--detect",
        action="store_true",
        help="what the watch can find on each circuit with its sensing, how soon, what not",
    )
    sheet = command.add_argument_group("a spreadsheet")
    sheet.add_argument("--from-csv", metavar="F.csv", help="draft the schedule's TOML from a spreadsheet's CSV, on stdout")
    sheet.add_argument("--vehicle", metavar="NAME", default="My vehicle", help="its name in the draft")
    sheet.add_argument("--to-csv", action="store_true", help="write the schedule's ways as CSV, on stdout")
    plan = command.add_argument_group("one circuit, without a schedule")
    plan.add_argument("--load", metavar='"35 W"', help='what it draws: watts or amps, like "35 W" or "2.9 A"')
    plan.add_argument("--volts", type=_number, metavar="V", help="nominal volts, direct current (default: 12)")
    plan.add_argument("--length", type=_number, metavar="M", help="metres one way")
    plan.add_argument("--feed", choices=("always-on", "switched"), help="default: switched")
    kinds = (
        "compressor (fridge), fan, pump, heater-element, air-heater, motor, light, electronics, charger, inverter, socket, "
        "detector"
    )
    plan.add_argument("--kind", metavar="KIND", help=f"the load's kind: {kinds}")
    plan.add_argument("--insulation", type=_number, metavar="C", help="insulation of the conductor, °C (default: 60)")
    plan.add_argument("--ambient", type=_number, metavar="C", help="the warmest place it passes, °C (default: 30)")
    plan.add_argument("--bundled", type=int, metavar="N", help="conductors in its bundle (default: 1)")
    plan.add_argument("--rule", action="append", metavar="NAME", help="an ampacity rule; several: the strictest decides")
    plan.add_argument("--awg", action="store_true", default=None, help="conductor sizes in AWG")


def _number(text: str) -> float:
    """A number as people type it: 4.5 or 4,5."""
    return float(text.replace(",", ".", 1))


def run(args: argparse.Namespace) -> int:
    asked = [f"--{name}" for name in ("load", "from-csv", "to-csv", "detect") if getattr(args, name.replace("-", "_"))]
    if args.json and asked in (["--from-csv"], ["--to-csv"]):
        asked.append("--json")
    if len(asked) > 1:
        raise BadInput(f"{asked[0]} and {asked[1]} don't go together: ask for one of them")
    if args.load is not None:
        return _plan(args)
    stray = [f"--{name}" for name in PLANNING if getattr(args, name) is not None]
    if stray:
        raise BadInput(f"{stray[0]} belongs to --load: add --load, or leave it out")
    if args.from_csv is not None:
        return _from_csv(args)
    from panelward.schedule import GRADES, load, vet

    try:
        schedule, _ = load(args.schedule)
    except ScheduleError as error:
        return say_faults(error)
    if args.detect:
        return _detect(args, schedule)
    if args.to_csv:
        from panelward.schedule.sheet import sheet

        sys.stdout.write(sheet(schedule))
        left = "The sheet holds the ways only: no rules, banks, monitors, level names, surges or hours. Keep the schedule."
        print(_folded(f"{left} {CAUTION}"), file=sys.stderr)
        return 0
    try:
        findings = tuple(sorted(vet(schedule) + _people(args, schedule), key=lambda found: GRADES.index(found.grade)))
    except ScheduleError as error:
        return say_faults(error)
    if args.json:
        for finding in findings:
            found = asdict(finding)
            print(json.dumps({key: found[key] for key in KEYS}, ensure_ascii=False))
    else:
        for line in report(args.schedule, schedule, findings):
            print(line)
    return 1 if any(finding.grade != "note" for finding in findings) else 0


def _people(args: argparse.Namespace, schedule: Schedule) -> tuple[Finding, ...]:
    """What vetting says of those who are told, where that is written. ScheduleError where the watch would refuse it."""
    file = people_file(args.people, args.schedule)
    if file is None:
        return ()
    from panelward.schedule.people import load_people, unheard
    from panelward.schedule.vetting.finding import finding

    circuits = [circuit.id for circuit in schedule.circuits]
    try:
        people, _ = load_people(file, circuits, others=True)
    except EnvironmentFault as fault:
        if args.people is not None:
            raise
        return (
            finding("note", "people-unread", file, "Run check as root or as the user that watches.", f"Not vetted: {fault}"),
        )
    # Addresses in the service's environment, which this command may not have, would hear everything.
    said = f"{file}: wanted {{}}; found {{}}. Where PANELWARD_NOTIFY names no address, {{}}."
    missed = [(said.format(*each[:2], "the watch refuses that"), each[2]) for each in unheard(people, circuits)]
    if not people.persons:
        missed = [(said.format("somebody who is told", "nobody", "the watch tells nobody"), "Write a [[person]].")]
    return tuple(finding("warn", "nobody-told", "a high alarm is told at once", remedy, text) for text, remedy in missed)


def _detect(args: argparse.Namespace, schedule: Schedule) -> int:
    from panelward.schedule.detect import detectability, lines

    sights = detectability(schedule)
    if args.json:
        for sight in sights:
            print(json.dumps(asdict(sight), ensure_ascii=False))
        return 0
    print(_folded(f"{schedule.vehicle.name}, {len(schedule.circuits)} circuits: {args.schedule}"))
    for line in lines(schedule, sights):
        print(line)
    return 0


def _from_csv(args: argparse.Namespace) -> int:
    from panelward.schedule.sheet import draft

    name = args.from_csv
    try:
        with sys.stdin.buffer if name == "-" else Path(name).open("rb") as stream:
            data = stream.read(MOST_BYTES + 1)
    except (OSError, ValueError) as fault:
        raise BadInput(f"--from-csv: wanted a spreadsheet's CSV that can be read, found {name}: {fault}") from None
    if len(data) > MOST_BYTES:
        raise BadInput(f"--from-csv: {name} is over {MOST_BYTES // 1_000_000} MB: no circuit schedule is so long")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadInput(f"--from-csv: wanted text in UTF-8, found other bytes in {name}: export it as CSV UTF-8") from None
    try:
        found = draft(text, file=name, vehicle=args.vehicle)
    except ScheduleError as error:
        return say_faults(error)
    sys.stdout.write(found.toml)
    for remark in found.remarks:
        print(_folded(remark), file=sys.stderr)
    print(_folded(f"A draft: fill in what is missing, then run panelward check on it. {CAUTION}"), file=sys.stderr)
    return 0


def _plan(args: argparse.Namespace) -> int:
    from panelward.schedule.models import LOAD_KINDS
    from panelward.schedule.planning import Wanted, known_rules, lines_of, load_of, propose

    given: dict[str, Any] = {
        name: getattr(args, name) if getattr(args, name) is not None else other for name, other in PLANNING.items()
    }
    if given["length"] is None:
        raise BadInput("--load wants --length: metres one way, from the panel to the load")
    for name, least, most in (("length", 0.0, 1000.0), ("insulation", 59.999, 260.0), ("bundled", 0, 1000)):
        if not least < given[name] <= most:
            raise BadInput(f"--{name}: wanted above {least:g} and at most {most:g}, found {given[name]:g}")
    if not -60.0 <= given["ambient"] <= 150.0:
        raise BadInput(f"--ambient: wanted -60 to 150 °C, found {given['ambient']:g}")
    if given["kind"] not in (None, *LOAD_KINDS):
        from panelward.schedule.sheet.columns import LOAD_WORDS

        meant = (LOAD_WORDS | LIKE).get(str(given["kind"]).split()[-1].lower().rstrip("s"))
        hint = f". Did you mean {meant}?" if meant else ""
        raise BadInput(f"--kind: wanted one of {', '.join(LOAD_KINDS)}; found {given['kind']}{hint}")
    for rule in given["rule"] or ():
        if rule not in known_rules():
            raise BadInput(f"--rule: wanted one of {', '.join(known_rules())}; found {rule}")
    watts, amps = load_of(args.load)
    wanted = Wanted(
        watts=watts, amps=amps, nominal_v=given["volts"], length_m=given["length"], feed=given["feed"],
        kind=given["kind"], insulation_c=given["insulation"], ambient_c=given["ambient"], bundled=given["bundled"],
        in_awg=given["awg"], rules=tuple(given["rule"] or ()),
    )  # fmt: skip
    answer = propose(wanted)
    if args.json:
        print(json.dumps(_answer(answer), ensure_ascii=False))
    else:
        for line in lines_of(wanted, answer):
            print(line)
    return 0


def _answer(answer: Any) -> dict[str, Any]:
    """The proposal as plain values, figures to four digits."""
    device, ampacity = answer.device, answer.ampacity
    figures = {
        name: float(f"{getattr(answer, name):.4g}")
        for name in ("draw_a", "low_v", "least_rating_a", "drop_v", "drop_share", "allowed_share", "far_short_a")
    }
    return {
        "device": {"kind": device.kind, "type": device.type, "rating_a": device.rating_a},
        "conductor": answer.size,
        "conductor_in_the_other_series": answer.other_size,
        "conductor_for_3_percent": answer.size_for_3_percent,
        "ampacity_a": float(f"{ampacity.amps:.4g}"),
        "rule": ampacity.rule,
        **figures,
        "caution": CAUTION,
    }


def report(file: str, schedule: Schedule, findings: tuple[Finding, ...]) -> Iterator[str]:
    """The findings for a person, at most 80 columns where no single word is longer, grouped by grade."""
    counted = {grade: [f for f in findings if f.grade == grade] for grade in HEADS}
    yield _folded(f"{schedule.vehicle.name}, {len(schedule.circuits)} circuits: {file}")
    for grade, group in counted.items():
        if group:
            yield ""
            yield f"{HEADS[grade]} ({len(group)})"
        for titles, finding in _alike(group):
            yield ""
            message = finding.message if len(titles) == 1 else f"{'; '.join(titles)}: {_told(finding)}"
            yield _folded(message, "  ")
            yield _folded(f"{finding.remedy}", "    ")
            yield _folded(f"[{finding.rule}{_figures(finding)}; {finding.source}]", "    ")
    yield ""
    if not counted["refuse"] and not counted["warn"]:
        yield "Nothing refused, nothing warned."
    yield _folded(CAUTION)


def _alike(findings: Iterable[Finding]) -> list[tuple[list[str], Finding]]:
    """Circuits of which the same is said, with the same figures, are told together where the first of them stands."""
    groups: dict[tuple[object, ...], tuple[list[str], Finding]] = {}
    for finding in findings:
        key = (finding.rule, finding.found, finding.limit, finding.remedy, _told(finding), finding.circuit is None)
        groups.setdefault(key, ([], finding))[0].append(finding.message.partition(": ")[0])
    return list(groups.values())


def _told(finding: Finding) -> str:
    """What is said, without the circuit's title."""
    return finding.message.partition(": ")[2] if finding.circuit is not None else finding.message


def _figures(finding: Finding) -> str:
    if finding.found is None:
        return ""
    unit = f" {finding.unit}" if finding.unit else ""
    limit = f", limit {_said(finding.limit)}{unit}" if finding.limit is not None else ""
    return f": found {_said(finding.found)}{unit}{limit}"


def _said(value: float | str | None) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _folded(text: str, indent: str = "") -> str:
    return fill(text, WIDTH, initial_indent=indent, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)
