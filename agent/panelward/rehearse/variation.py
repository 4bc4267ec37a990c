"""A schedule varied: by words, or by a small TOML of its own keys; read and vetted by the same code as any schedule.

What can be varied is what a fitter would lay or fit, and what the alarms go by. What limits it (the way's rating, the
maker's value, an exemption, the rules of ampacity) can't be varied away, and a device above a limit is refused with it.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from panelward.errors import BadInput, Fault, ScheduleError
from panelward.ratings.conductor import STANDARD_MM2
from panelward.records import Circuit, Feeder, Protection, Schedule
from panelward.rehearse.words import Raw, patch_of
from panelward.schedule import Finding, from_tables, vet
from panelward.schedule.difference import difference
from panelward.schedule.values import most_like, printable
from panelward.schedule.vetting import Around
from panelward.schedule.vetting.finding import COORDINATION, listed
from panelward.schedule.vetting.way import FeederWay, Way

# The keys that a variation may hold. All else is a limit, a name, or another vehicle.
CIRCUIT = ("id", "protection", "conductor", "load", "feed", "importance")
FEEDER = ("protection", "conductor", "diversity")
SUPPLY = ("battery", "cutoff_v", "cutoff_delay_s", "restore_v")
DEVICE = ("kind", "type", "rating_a", "rated_v", "breaking_a")
BATTERY = ("capacity_ah", "usable")
LOAD = ("standby_w", "always_draws_w", "levels", "duty", "longest_run", "daily_wh", "hours", "behaves")
SIZES = ("area_mm2", "awg", "sae")
# Findings that refuse a variation whatever their grade: a device above what its conductor, way or maker bears.
ABOVE = (
    "device-above-ampacity", "device-above-ampacity-exempted", "ampacity-unreached", "way-below-device", "device-above-maker",
)  # fmt: skip
ELV_AC_V, ELV_DC_V = 50.0, 120.0  # extra-low voltage: IEC 61140, band I of IEC 60449 as quoted
MOST_BYTES = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Variation:
    """A schedule as it is and as it would be."""

    before: Schedule
    after: Schedule
    changes: tuple[str, ...]  # in the schedule's own keys
    circuits: tuple[str, ...]  # whose own tables are otherwise, in the order of the panel
    feeders: tuple[str, ...]
    supplies: tuple[str, ...]
    licensed: tuple[str, ...]  # titles of what is for licensed practice
    warned: tuple[Finding, ...]  # what `check` warns of that it did not before
    notes: tuple[str, ...] = ()


class Refused(BadInput):
    """A variation above a limit; carries the findings, each with its limit and its source."""

    def __init__(self, findings: Sequence[Finding]) -> None:
        super().__init__("\n".join(_refusal(finding) for finding in findings))
        self.findings = tuple(findings)


def varied(text: str, wanted: Sequence[str], before: Schedule, file: str) -> Variation:
    """The schedule whose text is `text` and which reads as `before`, with these variations, one on top of the other.

    BadInput and ScheduleError: what can't be read or doesn't fit. Refused: above a limit.
    """
    raw: Raw = tomllib.loads(text)
    for each in wanted:
        patch = _file(each) if each.endswith(".toml") else patch_of(each, before)
        raw = _merged(raw, patch, each)
    after = from_tables(raw, f"{file} as varied")
    return weighed(before, after)


def weighed(before: Schedule, after: Schedule) -> Variation:
    """Two schedules of one vehicle, side by side. Refused: the other is above a limit."""
    circuits = tuple(c.id for c in after.circuits if c != _own(before.circuits, c.id))
    feeders = tuple(f.id for f in after.feeders if f != _own(before.feeders, f.id))
    supplies = tuple(s.id for s in after.supplies if s != _own(before.supplies, s.id))
    was, now = vet(before), vet(after)
    rewired = tuple(name for name in circuits if _wired(_own(before.circuits, name)) != _wired(_own(after.circuits, name)))
    refused = [f for f in now if _refuses(f, was, rewired, feeders)]
    refused += [f for f in _unlimited(before, after) if not any(x.circuit == f.circuit for x in refused)]
    if refused:
        raise Refused(refused)
    told = {(*_key(f), f.found, f.limit) for f in was}
    warned = tuple(f for f in now if f.grade == "warn" and (*_key(f), f.found, f.limit) not in told)
    return Variation(
        before=before, after=after, changes=difference(before, after), circuits=circuits, feeders=feeders, supplies=supplies,
        licensed=tuple(_licensed(after, circuits)), warned=warned,
        notes=(*_sizes(before, after), *_needless(before, after, circuits, warned)),
    )  # fmt: skip


def _own(those: Sequence[Any], name: str) -> Any:
    return next((each for each in those if each.id == name), None)


def _wired(circuit: Circuit | None) -> object:
    """What decides which device it may have."""
    return None if circuit is None else (circuit.protection, circuit.conductor)


def _key(finding: Finding) -> tuple[object, ...]:
    """What a finding is about: the part, which stands before the colon, and the rule."""
    return finding.circuit, finding.rule, finding.message.partition(":")[0]


def _refuses(finding: Finding, was: Sequence[Finding], circuits: Sequence[str], feeders: Sequence[str]) -> bool:
    """Does this finding of the varied schedule refuse it?"""
    mine = finding.circuit in circuits or any(finding.message.startswith(f"Feeder {f}:") for f in feeders)
    if finding.rule in ABOVE and mine:
        return True
    if finding.grade != "refuse" and finding.rule not in ABOVE:
        return False
    old = [f for f in was if _key(f) == _key(finding) and (f.grade == "refuse" or f.rule in ABOVE)]
    return not any(f.message == finding.message or _excess(finding) < _excess(f) for f in old)


def _excess(finding: Finding) -> float:
    """How far beyond its limit; 0 where that is no matter of size."""
    found, limit = finding.found, finding.limit
    if isinstance(found, (int, float)) and isinstance(limit, (int, float)) and min(found, limit) > 0.0:
        return max(found / limit, limit / found)
    return 0.0


def _unlimited(before: Schedule, after: Schedule) -> list[Finding]:
    """A bigger device where no ampacity is known: nothing says that its conductor bears it."""
    around = Around.of(after)
    ways: list[tuple[Way, Protection | None]] = []
    for c in after.circuits:
        old: Circuit | None = _own(before.circuits, c.id)
        ways.append((Way(around, c), old.protection if old is not None else None))
    for f in after.feeders:
        was: Feeder | None = _own(before.feeders, f.id)
        ways.append((FeederWay(around, f), was.protection if was is not None else None))
    found = []
    for way, fitted in ways:
        now = way.protection
        if now is None or fitted is None or now.fitted_a <= fitted.fitted_a:
            continue
        if way.weakest is None or any(a is None for a in way.ampacities):
            found.append(
                way.find(
                    "refuse",
                    "ampacity-unknown",
                    COORDINATION,
                    "Write the size of each stretch of its conductor into the schedule.",
                    f"a device of {now.fitted_a:g} A in the place of {fitted.fitted_a:g} A, and what its conductor carries is "
                    "not known.",
                    now.fitted_a,
                    None,
                    "A",
                )
            )
    return found


def _licensed(schedule: Schedule, circuits: Sequence[str]) -> list[str]:
    """Circuits above extra-low voltage, where only licensed people work."""
    found = []
    for c in schedule.circuits:
        supply = schedule.supply(c.supply)
        if c.id in circuits and supply.nominal_v > (ELV_AC_V if supply.kind == "ac" else ELV_DC_V):
            found.append(f"{c.label} ({c.id}), {supply.nominal_v:g} V {supply.kind.upper()}")
    return found


def _sizes(before: Schedule, after: Schedule) -> list[str]:
    """Sizes that nobody sells."""
    found = []
    for name, segments, old in [
        *((c.label, c.conductor, _own(before.circuits, c.id)) for c in after.circuits),
        *((f"Feeder {f.id}", f.conductor, _own(before.feeders, f.id)) for f in after.feeders),
    ]:
        for segment in segments:
            area = segment.area_mm2
            if area is not None and area not in STANDARD_MM2 and (old is None or segment not in old.conductor):
                found.append(f"{name}: {area:g} mm² is no standard size (IEC 60228).")
    return found


def _needless(before: Schedule, after: Schedule, circuits: Sequence[str], warned: Sequence[Finding]) -> list[str]:
    """Bigger devices than their loads need, where `check` does not warn of it."""
    found, around = [], Around.of(after)
    for name in circuits:
        way, old = Way(around, after.circuit(name)), _own(before.circuits, name)
        now, was = way.protection, old.protection if old is not None else None
        if now is None or was is None or now.fitted_a <= max(was.fitted_a, way.needs_a):
            continue
        if not any(f.circuit == name and f.rule == "device-far-above-load" for f in warned):
            found.append(
                f"{way.title}: {now.fitted_a:g} A is more than its load needs: it draws {way.steady_a:.3g} A; ratings that fit "
                f"it: {listed(way.fitting_a)} A."
            )
    return found


def _refusal(finding: Finding) -> str:
    limit = f" The limit: {finding.limit:g} {finding.unit}." if isinstance(finding.limit, (int, float)) else ""
    message = finding.message if finding.message.endswith(".") else f"{finding.message}."
    return f"refused: {message}{limit} Source: {finding.source}. {finding.remedy}"


# From the schedule's tables and what changes in them to the tables as varied.


def _file(path: str) -> Raw:
    try:
        content = Path(path).read_bytes()
    except OSError as error:
        raise BadInput(f"--variation {path}: wanted a TOML file of the schedule's own keys; {error.strerror}") from None
    if len(content) > MOST_BYTES:
        raise BadInput(f"--variation {path}: wanted a few keys of the schedule; it has {len(content):,} bytes")
    try:
        raw = tomllib.loads(content.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        what = "text in UTF-8" if isinstance(error, UnicodeDecodeError) else "TOML"
        raise ScheduleError((Fault(path, None, "the file", what, printable(str(error), 120)),)) from None
    if not raw:
        raise BadInput(f"--variation {path}: it changes nothing; write for example [[circuit]] with id and conductor")
    return raw


def _merged(raw: Raw, patch: Raw, source: str) -> Raw:
    out = deepcopy(raw)
    for key, value in patch.items():
        if key == "circuit":
            _circuits(out, value, source)
        elif key in ("feeder", "supply"):
            tables = out.get(key, {})
            for name, keys in _is_table(value, key, source).items():
                if name not in tables:
                    raise BadInput(f"--variation {source}: the schedule has no {key} {printable(name)}: {', '.join(tables)}")
                _into(tables[name], _is_table(keys, f"{key}.{name}", source), FEEDER if key == "feeder" else SUPPLY, source)
        else:
            raise _not_varied(key, ("circuit", "feeder", "supply"), source)
    return out


def _circuits(out: Raw, value: object, source: str) -> None:
    if not isinstance(value, list):
        raise BadInput(f"--variation {source}: write circuits as [[circuit]], with two brackets")
    there = {table["id"]: table for table in out.get("circuit", [])}
    for each in value:
        table = _is_table(each, "circuit", source)
        name = table.get("id")
        if not isinstance(name, str) or name not in there:
            near = most_like(str(name), list(there))
            hint = f" Did you mean {near}?" if near else ""
            text = printable(str(name))
            raise BadInput(f"--variation {source}: the schedule has no circuit {text}: {', '.join(there)}.{hint}")
        _into(there[name], table, CIRCUIT, source)


def _into(table: Raw, patch: Raw, known: Sequence[str], source: str) -> None:
    """The keys of one table, over its own."""
    for key, value in patch.items():
        if key not in known:
            raise _not_varied(key, known, source)
        if key == "id":
            continue
        if key == "conductor":
            table[key] = _conductor(table.get(key), value)
        elif key == "protection" and isinstance(value, dict):
            _only(value, DEVICE, "protection", source)
            own: Raw = table.get(key) or {}
            # What was found and left in the way is of the device that is there now.
            kept = {k: v for k, v in own.items() if "rating_a" not in value or k not in ("as_found_a", "as_left_a")}
            table[key] = kept | value
        elif key == "battery" and isinstance(value, dict):
            _only(value, BATTERY, "battery", source)
            table[key] = table.get(key, {}) | value
        elif key == "load":
            table[key] = _loads(table.get(key), value, source)
        else:
            table[key] = value


def _conductor(own: object, value: object) -> object:
    """A table goes into each stretch that there is; an array takes their place."""
    if not isinstance(value, dict):
        return value
    stretches = own if isinstance(own, list) else [own if isinstance(own, dict) else {}]
    sized = any(key in SIZES for key in value)
    laid = [{k: v for k, v in s.items() if not (sized and k in SIZES)} | value for s in stretches]
    return laid if isinstance(own, list) else laid[0]


def _loads(own: object, value: object, source: str) -> object:
    loads = own if isinstance(own, list) else [own if isinstance(own, dict) else {}]
    patches = value if isinstance(value, list) else [value]
    if len(patches) != len(loads):
        told = "one load" if len(loads) == 1 else f"{len(loads)} loads"
        raise BadInput(f"--variation {source}: the way has {told}: as many [[circuit.load]] are wanted")
    for each in patches:
        _only(_is_table(each, "load", source), LOAD, "load", source)
    return [load | each for load, each in zip(loads, patches, strict=True)]


def _only(value: Raw, known: Sequence[str], where: str, source: str) -> None:
    for key in value:
        if key not in known:
            raise _not_varied(f"{where}.{key}", known, source)


def _is_table(value: object, key: str, source: str) -> Raw:
    if not isinstance(value, dict):
        raise BadInput(f"--variation {source}: {printable(key)} wants a table")
    return value


def _not_varied(key: str, known: Sequence[str], source: str) -> BadInput:
    return BadInput(
        f"--variation {source}: {printable(key)} is not among what can be varied: {', '.join(k for k in known if k != 'id')}. "
        "A limit, a name or a sensor is not varied: change it in the schedule, where it is true"
    )
