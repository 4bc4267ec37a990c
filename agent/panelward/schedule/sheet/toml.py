"""The draft: what a sheet says of a panel as the schedule's TOML, with comments where something is assumed or missing."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from panelward.schedule.models import BEHIND, LOAD_KINDS, PROTECTION_KINDS
from panelward.schedule.rules import vehicle_id
from panelward.schedule.sheet.cells import Supply, Unclear, Wrong, checked, fold
from panelward.schedule.sheet.columns import BREAKERS, DEVICE, DEVICE_WORDS, LOAD_WORDS, SWITCH_WORDS, WORDS
from panelward.schedule.sheet.panel import Panel, Way
from panelward.schedule.sheet.reading import read
from panelward.schedule.values import ID_FORM, Text, most_like, nearest, shown
from panelward.schedule.written import inline, plain, quoted

_AC_NAMES = re.compile(r"(?:(?:ac|shore|inverter|mains|generator|genset|hookup|grid)[0-9]*|[0-9]{3}v?)", re.IGNORECASE)
_NOT_SAID = "# assumed: not in the sheet"


@dataclass(frozen=True, slots=True)
class Draft:
    """A schedule drafted from a sheet. Every remark names its lines and what was assumed, left out or must be filled in."""

    toml: str
    remarks: tuple[str, ...]


def draft(text: str, *, file: str, vehicle: str = "My vehicle") -> Draft:
    """A schedule's TOML from a spreadsheet's CSV export (comma, semicolon or tab; dots or decimal commas).

    Units are those of the columns' names; another unit in a header or a cell is converted or refused. `file` stands
    in the faults, `vehicle` is the vehicle's name. Nothing is guessed silently: see Draft.remarks.
    Raises ScheduleError with every fault, each with its line and column.
    """
    panel = Panel(file)
    head = _vehicle(panel, vehicle)
    read(panel, text)
    circuits = [line for way in panel.ways.values() for line in _circuit(panel, way)]  # may add supplies and feeders
    spares = [f"spares = [{', '.join(map(quoted, panel.spares))}]"] if panel.spares else []
    toml = [*head, *spares, *_supplies(panel), *_feeders(panel), *circuits]
    panel.stop()
    remarks = sorted(panel.remarks.items(), key=lambda item: min(item[1]))
    return Draft("\n".join(toml) + "\n", tuple(f"{_lines(lines)}: {words}" for words, lines in remarks))


def _vehicle(panel: Panel, name: str) -> list[str]:
    try:
        checked(Text("a name", most=80), name)
    except Wrong as wrong:
        panel.fault(None, "vehicle.name", wrong.wanted, wrong.found)
    lines = [
        '# Drafted from a spreadsheet. "assumed" and "fill in" mark what the sheet does not say.',
        "",
        "[vehicle]",
        f"name = {quoted(name)}",
    ]
    return lines if vehicle_id(name) else [*lines, 'id = "vehicle"  # assumed: none can be made from the name']


def _supplies(panel: Panel) -> list[str]:
    lines: list[str] = []
    folded: dict[str, str] = {}
    for supply, line in panel.supplies.values():
        other = folded.setdefault(supply.id.casefold(), supply.id)
        if other != supply.id:
            panel.remark(line, f"the supplies {other} and {supply.id} are two: their names differ")
        lines += ["", f"[supply.{supply.id}]"]
        kind, volts = supply.kind, supply.volts
        alternating = any(_AC_NAMES.fullmatch(part) for part in re.split("[_-]", supply.id))
        if kind is not None:
            lines.append(f"kind = {quoted(kind)}")
        elif alternating if volts is None else 60 < volts < 100:
            lines.append('# kind = "..."  # fill in: dc or ac')
            panel.remark(line, f"the kind (dc or ac) of the supply {supply.id} must be filled in")
        else:
            kind = "dc" if volts is None or volts <= 60 else "ac"
            lines.append(f"kind = {quoted(kind)}  {_NOT_SAID}")
            panel.remark(line, f"the supply {supply.id} is assumed to be {kind}")
        if volts is not None:
            lines.append(f"nominal_v = {plain(volts)}")
        elif alternating:
            lines.append("# nominal_v = ...  # fill in")
            panel.remark(line, f"the voltage of the supply {supply.id} must be filled in")
        else:
            lines.append(f"nominal_v = 12.8  {_NOT_SAID}")
            panel.remark(line, f"the supply {supply.id} is assumed to be of 12.8 V")
    return lines


def _feeders(panel: Panel) -> list[str]:
    lines: list[str] = []
    for name, (supply, line) in panel.feeders.items():
        lines += ["", f"[feeder.{name}]", f"supply = {quoted(supply or 'house')}"]
        panel.remark(line, f"the protection of the feeder {name} and what it is behind are not in the sheet: add them")
    return lines


def _circuit(panel: Panel, way: Way) -> list[str]:
    role = str(way.get("feed")) if way.get("feed") in ("charger", "meter") else "load"
    lines = ["", "[[circuit]]", f"id = {quoted(way.id)}", f"label = {quoted(way.label)}", *_source(panel, way)]
    if role == "load":
        lines.append(_feed(panel, way))
    else:
        lines.append(f"role = {quoted(role)}")
    for name in ("always_on_reason", "importance"):
        if name in way.cells:
            lines.append(f"{name} = {quoted(str(way.get(name)))}")
    lines += _protection(panel, way, role)
    segments = [inline(segment) for segment in way.segments]
    lines += [f"conductor = {segments[0]}"] if len(segments) == 1 else _array("conductor", segments)
    return lines + _loads(panel, way)


def _source(panel: Panel, way: Way) -> list[str]:
    found, feeder = way.get("supply"), way.get("feeder")
    supply = found if isinstance(found, str) else None
    if supply is None and isinstance(feeder, str):
        supply = panel.feeders[feeder][0]
    note = ""
    if supply is None:
        supply, note = "house", f"  {_NOT_SAID}"
        panel.supplies.setdefault(supply, (Supply(supply), way.line))
        panel.remark(way.line, "no supply is named: house is assumed")
    if isinstance(feeder, str):
        lines = [f"feeder = {quoted(feeder)}"]
        panel.feeders[feeder] = (supply, panel.feeders[feeder][1])
    else:
        lines = [f"supply = {quoted(supply)}{note}"]
    behind = [_behind(panel, way, name, supply) for name in re.split(r"[+,;/&]", str(way.get("behind") or "")) if name.strip()]
    if behind:
        lines.append(f"behind = [{', '.join(quoted(name) for name in behind)}]")
    return lines


def _behind(panel: Panel, way: Way, text: str, supply: str) -> str:
    text, line = text.strip(), way.cells["behind"][1]
    word = fold(text)
    switch = SWITCH_WORDS.get(word, word.replace(" ", "-"))
    if switch in BEHIND:
        return switch
    named = re.fullmatch(rf"feeder\s+({ID_FORM.pattern})", text, re.IGNORECASE)
    if named and named[1] not in BEHIND:
        panel.feeders.setdefault(named[1], (supply, line))
        return named[1]
    if text in panel.feeders:
        return text
    wanted = f'{", ".join(BEHIND)}, or "feeder" and its name, with + between'
    panel.fault(line, panel.key("behind"), wanted, shown(text), nearest(text, BEHIND))
    return text


def _feed(panel: Panel, way: Way) -> str:
    found = way.get("feed")
    if isinstance(found, Unclear):
        _, aliases = WORDS["feed"]
        near = most_like(found.text, ["always-on", "switched", *aliases])
        meant = f"; did you mean {aliases.get(near, near)}?" if near else ""
        said = f"the feed {shown(found.text)} is none of always-on, switched, charger, meter"
        panel.remark(way.cells["feed"][1], f"{said}: switched stands there and must be seen to{meant}")
        return f'feed = "switched"  {_says(found.text)}'
    if "feed" in way.cells:
        return f"feed = {quoted(str(way.get('feed')))}"
    if "always_on_reason" in way.cells:
        panel.remark(way.line, "no feed is said, but a reason to be always on: always-on is assumed")
        return 'feed = "always-on"  # assumed: the sheet gives a reason for it'
    panel.remark(way.line, "no feed is said: switched is assumed. Which ways are always on?")
    return f'feed = "switched"  {_NOT_SAID}'


def _protection(panel: Panel, way: Way, role: str) -> list[str]:
    figures = {name: way.get(name) for name in DEVICE if name in way.cells}
    kind, note = _device(panel, way)
    known: dict[str, object] = {"kind": kind or "..."}
    if "type" in way.cells and kind is not None and not (kind.startswith("breaker-") and kind[-1].upper() == way.get("type")):
        if kind != "blade-fuse" or way.get("type") not in ("C", "E", "F"):
            line = way.cells["type"][1]
            wanted = "C, E or F with a blade-fuse; B, C or D with a breaker"
            panel.fault(line, panel.key("type"), wanted, f"{shown(way.get('type'))} with {kind}")
        known["type"] = way.get("type")
    if "rating_a" not in figures:
        if role != "load" and not figures and "device" not in way.cells:
            return []
        panel.remark(way.line, "no rating of the fuse or breaker is said: the protection must be filled in")
        said = note if kind is None and note else "  # fill in"
        return [f"# protection = {inline({**known, 'rating_a': None, **figures})}{said}"]
    table = f"protection = {inline({**known, **figures})}"
    return [f"# {table}{note}" if kind is None else f"{table}{note}"]


def _device(panel: Panel, way: Way) -> tuple[str | None, str]:
    """The kind of the protective device, and what a comment says of it."""
    if "device" not in way.cells:
        if "rating_a" not in way.cells:
            return None, ""
        panel.remark(way.cells["rating_a"][1], "no kind of device is said: a blade-fuse is assumed")
        return "blade-fuse", f"  {_NOT_SAID}: the kind"
    text, line = str(way.get("device")), way.cells["device"][1]
    word = fold(text)
    hyphened = word.replace(" ", "-")
    kind = DEVICE_WORDS.get(word) or (hyphened if hyphened in PROTECTION_KINDS else None)
    if kind is None and word in BREAKERS and way.get("type") in ("B", "C", "D"):
        kind = f"breaker-{str(way.get('type')).lower()}"
    if kind is None:
        kinds = ", ".join(PROTECTION_KINDS)
        meant = "" if word in (*BREAKERS, "fuse") else _device_like(word)
        panel.remark(line, f"the device {shown(text)} is none of {kinds}: its kind must be filled in{meant}")
        return None, f"  {_says(text)}"
    return kind, ""


def _device_like(word: str) -> str:
    names = {name.replace("-", " "): name for name in PROTECTION_KINDS} | DEVICE_WORDS
    names |= dict.fromkeys(BREAKERS, "breaker-b, breaker-c or breaker-d")
    near = most_like(word, list(names))
    return f"; did you mean {names[near]}?" if near else ""


def _says(text: str) -> str:
    return f"# fill in: the sheet says {shown(text)}"


def _loads(panel: Panel, way: Way) -> list[str]:
    good: list[str] = []
    lines: list[str] = []
    for load in way.loads:
        word = fold(load.word).replace(" ", "-")
        kind = LOAD_WORDS.get(fold(load.word)) or (word if word in LOAD_KINDS else None)
        table: dict[str, object] = {"kind": kind or "..."}
        for name, value in load.cells.items():
            table |= {"standby_w": {"max": value}} if name == "standby_max_w" else {name: value}
        if load.watts:
            names = ["on", *(f"on {number}" for number in range(2, len(load.watts) + 1))]
            table["levels"] = [{"name": n, "watts": watts} for n, watts in zip(names, load.watts, strict=True)]
        if kind is not None:
            good.append(inline(table))
            continue
        lines.append(f"# load = {inline(table)}  {_says(load.word) if load.word else '# fill in the kind'}")
        found = f"the load {shown(load.word)} is no known kind" if load.word else "no kind of load is said"
        which = "heater-element or air-heater? Also known" if fold(load.word) in ("heater", "heating") else "known"
        panel.remark(load.line, f"{found}, and its load was left out; {which}: {', '.join(LOAD_KINDS)}")
    return lines + ([f"load = {good[0]}"] if len(good) == 1 else _array("load", good))


def _lines(lines: Iterable[int]) -> str:
    """The lines in words, runs of them short: "line 3", "lines 3-5, 9"."""
    runs: list[list[int]] = []
    for line in sorted(lines):
        if runs and line == runs[-1][1] + 1:
            runs[-1][1] = line
        else:
            runs.append([line, line])
    words = ", ".join(f"{first}" if first == last else f"{first}-{last}" for first, last in runs)
    return f"line {words}" if words.isdigit() else f"lines {words}"


def _array(name: str, tables: list[str]) -> list[str]:
    return [f"{name} = [", *(f"  {table}," for table in tables), "]"] if tables else []
