"""The accepted profile beside a schedule (`path_of`): every version, which one is in force, what is proposed.

    load_profile(path) -> Book      save_profile(path, book)      applied(schedule, profile) -> Schedule

A profile changes levels and standby of a load and nothing else. The file is written whole or not at all. What the journal
keeps of the settings is the schedule's text with the profile in force as its last line, a TOML comment: `joined`, `parsed`.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from panelward.errors import EnvironmentFault, Fault, ProfileError
from panelward.records import Circuit, Level, Profile, Profiled, ProfiledLevel, Schedule
from panelward.schedule.file import parse

FORMAT = "panelward profile 1"
_MARK = "# profile in force: "
WATTS_MOST = 1e6


@dataclass(frozen=True, slots=True)
class Proposed:
    """A widening that waits for a person: what it would be, what it is now, why."""

    circuit: str
    what: str  # level | standby | move
    name: str
    watts: float
    tolerance: float
    now: str
    why: str
    made_ms: int = 0


@dataclass(frozen=True, slots=True)
class Book:
    """All versions of a vehicle's profile, the oldest first."""

    vehicle: str
    versions: tuple[Profile, ...] = ()
    in_force: int = 0  # its version; 0: none, the schedule alone holds
    proposed: tuple[Proposed, ...] = ()

    @property
    def profile(self) -> Profile | None:
        return next((p for p in self.versions if p.version == self.in_force), None)

    def with_version(self, made_ms: int, by: str, why: str, circuits: tuple[Profiled, ...]) -> Book:
        """A new version, in force from now on."""
        number = max((p.version for p in self.versions), default=0) + 1
        made = Profile(vehicle=self.vehicle, version=number, made_ms=made_ms, by=by, why=why, circuits=circuits)
        return replace(self, versions=(*self.versions, made), in_force=number)


def applied(schedule: Schedule, profile: Profile | None) -> Schedule:
    """The schedule with what was learned in the place of what was written. Circuits with several loads stay as they are."""
    if profile is None:
        return schedule
    return replace(schedule, circuits=tuple(applied_to(c, profile.circuit(c.id)) for c in schedule.circuits))


def standing(profile: Profile | None, replaced: Mapping[str, int]) -> Profile | None:
    """The profile without what was learned of loads that were replaced since (`replaced`: circuit -> Unix ms)."""
    if profile is None:
        return None
    kept = tuple(c for c in profile.circuits if (c.made_ms or profile.made_ms) > replaced.get(c.circuit, -1))
    return profile if kept == profile.circuits else replace(profile, circuits=kept)


def applied_to(circuit: Circuit, learned: Profiled | None) -> Circuit:
    """One circuit with what was learned of it."""
    if learned is None or len(circuit.loads) != 1:
        return circuit
    load = circuit.loads[0]
    by_name = {level.name: level for level in learned.levels}
    levels = [
        replace(level, watts=by_name[level.name].watts, tolerance=by_name[level.name].tolerance)
        if level.name in by_name
        else level
        for level in load.levels
    ]
    written = {level.name for level in load.levels}
    levels += [Level(name=x.name, watts=x.watts, tolerance=x.tolerance) for x in learned.levels if x.name not in written]
    standby_w = learned.standby_max_w if learned.standby_max_w is not None else load.standby_max_w
    return replace(circuit, loads=(replace(load, levels=tuple(levels), standby_max_w=standby_w),))


def joined(text: str, profile: Profile | None) -> str:
    """A schedule's text with a profile behind it, as `parsed` reads it back."""
    if profile is None:
        return text
    return f"{text.rstrip()}\n{_MARK}{json.dumps(_body(profile), separators=(',', ':'))}\n"


def parsed(text: str, file: str) -> Schedule:
    """The schedule of a joined text, the profile applied. Raises ScheduleError, ProfileError."""
    head, mark, tail = text.rpartition(_MARK)
    if not mark or "\n" in tail.rstrip("\n"):
        return parse(text, file)
    try:
        raw = json.loads(tail)
        return applied(parse(head, file), _version(raw | {"seal": _seal(raw)}, file))
    except (ValueError, KeyError, TypeError) as error:
        raise ProfileError(Fault(file, None, "the profile in it", "a profile", f"{type(error).__name__}: {error}")) from None


def written(text: str, file: str) -> Schedule:
    """The schedule of a joined text as a person wrote it, without the profile. Raises ScheduleError."""
    head, mark, tail = text.rpartition(_MARK)
    return parse(head if mark and "\n" not in tail.rstrip("\n") else text, file)


def path_of(schedule_path: str | Path) -> Path:
    """Where the profile of a schedule lies: schedule.toml -> schedule.profile.json."""
    return Path(str(schedule_path).removesuffix(".toml") + ".profile.json")


def load_profile(path: str | Path, vehicle: str) -> tuple[Book, str]:
    """The profile of a file and the file's text; an empty one where there is no file. Raises ProfileError."""
    try:
        text = Path(path).read_text(encoding="utf-8")
    except FileNotFoundError:
        return Book(vehicle), ""
    except (OSError, ValueError) as error:
        raise ProfileError(Fault(str(path), None, "(file)", "a profile", str(error))) from None
    book = parse_profile(text, str(path))
    if book.vehicle != vehicle:
        raise ProfileError(
            Fault(
                str(path), None, "vehicle", f"'{vehicle}', the schedule's", f"'{book.vehicle}'", "Name this vehicle's profile."
            )
        )
    return book, text


def parse_profile(text: str, file: str = "profile") -> Book:
    """A Book of its text; ProfileError names what is wrong."""
    try:
        raw = json.loads(text)
        if not isinstance(raw, dict) or raw.get("format") != FORMAT:
            raise ProfileError(
                Fault(file, None, "format", f"'{FORMAT}'", repr(str(raw)[:40]), "It is no profile, or a newer one.")
            )
        versions = tuple(_version(each, file) for each in raw["versions"])
        book = Book(str(raw["vehicle"]), versions, int(raw["in_force"]), tuple(Proposed(**each) for each in raw["proposed"]))
    except (ValueError, KeyError, TypeError) as error:
        remedy = "Take the file back from a copy, or remove it: the schedule alone holds then."
        raise ProfileError(Fault(file, None, "(text)", "a profile", f"{type(error).__name__}: {error}", remedy)) from None
    if book.in_force and book.profile is None:
        raise ProfileError(Fault(file, None, "in_force", "one of its versions", str(book.in_force)))
    return book


def _version(raw: dict[str, Any], file: str) -> Profile:
    body = {name: value for name, value in raw.items() if name != "seal"}
    if raw["seal"] != _seal(body):
        key = f"version {raw.get('version')}"
        raise ProfileError(
            Fault(
                file, None, key, "as it was written", "changed by hand", "Take a version back with `panelward learn --revert`."
            )
        )
    circuits = tuple(
        Profiled(
            circuit=name,
            levels=tuple(
                ProfiledLevel(name=x["name"], watts=_watts(x["watts"]), tolerance=float(x["tolerance"])) for x in each["levels"]
            ),
            standby_max_w=None if each["standby_max_w"] is None else _watts(each["standby_max_w"]),
            made_ms=int(each.get("made_ms", 0)),
        )
        for name, each in raw["circuits"].items()
    )
    return Profile(
        vehicle=raw["vehicle"], version=int(raw["version"]), made_ms=int(raw["made_ms"]), by=raw["by"], why=raw["why"],
        circuits=circuits,
    )  # fmt: skip


def _watts(value: Any) -> float:
    watts = float(value)
    if not 0.0 <= watts <= WATTS_MOST:
        raise ValueError(f"{watts} W")
    return watts


def save_profile(path: str | Path, book: Book) -> str:
    """Write the file whole or not at all; returns its text. EnvironmentFault where it can't be written."""
    text = spelled(book)
    half = Path(f"{path}.new")
    try:
        with open(half, "w", encoding="utf-8") as out:
            out.write(text)
            out.flush()
            os.fsync(out.fileno())
        os.replace(half, path)
    except OSError as error:
        raise EnvironmentFault(f"{path}: can't be written: {error.strerror}; the old profile stays") from None
    return text


def spelled(book: Book) -> str:
    """Its text."""
    versions = [_body(each) | {"seal": _seal(_body(each))} for each in book.versions]
    proposed = [{name: getattr(p, name) for name in Proposed.__slots__} for p in book.proposed]
    found = {"format": FORMAT, "vehicle": book.vehicle, "in_force": book.in_force, "versions": versions, "proposed": proposed}
    return json.dumps(found, indent=1, ensure_ascii=False) + "\n"


def _body(profile: Profile) -> dict[str, Any]:
    return {
        "version": profile.version,
        "vehicle": profile.vehicle,
        "made_ms": profile.made_ms,
        "by": profile.by,
        "why": profile.why,
        "circuits": {
            c.circuit: {
                "levels": [{"name": x.name, "watts": x.watts, "tolerance": x.tolerance} for x in c.levels],
                "standby_max_w": c.standby_max_w,
            }
            | ({"made_ms": c.made_ms} if c.made_ms else {})
            for c in profile.circuits
        },
    }


def _seal(body: dict[str, Any]) -> str:
    return hashlib.sha256(json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()).hexdigest()
