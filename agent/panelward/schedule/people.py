"""people.toml: who is told, by which addresses, when they sleep. It holds secrets, so nobody else may read it."""

from __future__ import annotations

import re
import stat
import tomllib
from collections.abc import Collection
from pathlib import Path
from typing import Annotated

from pydantic import Field, ValidationError

from panelward.errors import EnvironmentFault, Fault, ScheduleError
from panelward.records import PRIORITIES
from panelward.records.people import EVENING_MIN, People, Person
from panelward.schedule.models import DaySpan, FromZero, Name, Table
from panelward.schedule.values import Kind, OneOf, Text, listed, nearest, printable, shown

_ENVIRONMENT = re.compile(r"notify-\d+")  # as `notify.addresses` calls those of PANELWARD_NOTIFY
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


class ClockTime(Kind):
    """A time of the day like "18:00"; read as minutes."""

    words = 'a time of the day like "18:00"'

    def read(self, value: object) -> object:
        hours, colon, minutes = value.partition(":") if isinstance(value, str) else ("", "", "")
        if not (
            colon and len(hours) == 2 and len(minutes) == 2 and (hours + minutes).isascii() and (hours + minutes).isdigit()
        ):
            raise self.unfit()
        if int(hours) > 23 or int(minutes) > 59:
            raise self.unfit()
        return int(hours) * 60 + int(minutes)


class PersonTable(Table):
    name: Name
    addresses: list[Annotated[str, Text("an address", most=2000)]]
    priorities: list[Annotated[str, OneOf(*PRIORITIES[1:])]] = Field(default_factory=lambda: list(PRIORITIES[1:]))
    circuits: list[Name] = Field(default_factory=list)
    sleeping: DaySpan | None = None
    after_s: FromZero = 0.0


class PeopleTable(Table):
    person: list[PersonTable] = Field(default_factory=list)
    evening: Annotated[int, ClockTime()] = EVENING_MIN
    weekly: Annotated[str, OneOf(*DAYS, "never")] = "Mon"


def load_people(
    path: str | Path, circuits: Collection[str] = (), *, others: bool = False, each_circuit: bool = True
) -> tuple[People, dict[str, str]]:
    """Who is told, and {reference: address}. `circuits`: those there are; `others`: addresses beside it hear everything.
    `each_circuit`: somebody must hear of each at once, not of some only.

    Raises ScheduleError with every fault, EnvironmentFault where the file can't be read.
    """
    file = str(path)
    try:
        mode = Path(path).stat().st_mode
        if mode & stat.S_IRWXO:
            raise _single(file, "a file that only its owner and group can read", f"mode {stat.S_IMODE(mode):o}",
                          f"It holds addresses: chmod 640 {file}")  # fmt: skip
        raw = tomllib.loads(Path(path).read_text("utf-8-sig"))
    except FileNotFoundError:
        raise _single(file, "a file that can be read", "none") from None
    except OSError as error:
        raise EnvironmentFault(
            f"{file}: can't be read: {error.strerror or error}. The user that watches must own it: "
            f"sudo chown panelward:panelward {file} (and chmod 600)."
        ) from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
        raise _single(file, "TOML in UTF-8", printable(str(error), 200)) from None
    try:
        table = PeopleTable.model_validate(raw)
    except ValidationError as error:
        raise ScheduleError(tuple(_faults(file, raw, error))) from None
    faults = _amiss(file, table, circuits)
    people, addresses = _people_of(table)
    if not faults and not others:
        faults = [Fault(file, None, "person", *each) for each in unheard(people, circuits if each_circuit else ())]
    if faults:
        raise ScheduleError(tuple(faults))
    return people, addresses


def unheard(people: People, circuits: Collection[str] = ()) -> list[tuple[str, str, str]]:
    """(wanted, found, remedy) where a high alarm sounds at no one's at once. An alarm of no circuit is everybody's."""
    if not people.persons:
        return []  # said where the watch starts
    high = [each for each in people.persons if "high" in each.priorities]
    if not high:
        return [("somebody who hears high alarms", "nobody", 'Write no priorities, or "high" among them.')]
    found: list[tuple[list[str], str, str]] = []
    at_once = [each for each in high if each.after_s <= 0]
    for told, wanted, remedy in (
        (high, "somebody who hears high alarms", "Give one person no circuits: then it is all of them."),
        (at_once, "somebody who is told at once", "Give one person no after_s, and no circuits or these too."),
    ):
        missed = [c for c in circuits if not any(c in each.circuits or not each.circuits for each in told)]
        if missed and not any(set(missed) & set(named) for named, *_ in found):
            found.append((missed, wanted, remedy))
    if not at_once and not found:
        return [("somebody who is told at once", "nobody", "Give one no after_s.")]
    return [(wanted, f"nobody for {listed(missed)}", remedy) for missed, wanted, remedy in found]


def _people_of(table: PeopleTable) -> tuple[People, dict[str, str]]:
    addresses: dict[str, str] = {}
    persons = []
    for each in table.person:
        refs = _refs(each)
        addresses |= zip(refs, dict.fromkeys(each.addresses), strict=True)
        persons.append(
            Person(
                name=each.name,
                refs=tuple(refs),
                priorities=tuple(each.priorities),
                circuits=tuple(each.circuits),
                sleeping=each.sleeping,
                after_s=each.after_s,
            )
        )
    day = DAYS.index(table.weekly) if table.weekly != "never" else None
    return People(persons=tuple(persons), evening_min=table.evening, weekly_day=day), addresses


def _refs(person: PersonTable) -> list[str]:
    """What stands for each address in the journal and in topics."""
    count = len(set(person.addresses))
    return [person.name] if count == 1 else [f"{person.name} {place + 1}" for place in range(count)]


def _faults(file: str, raw: dict[str, object], error: ValidationError) -> list[Fault]:
    """The models' errors in words; an address is never shown."""
    faults = []
    for item in error.errors(include_url=False):
        key = ".".join(f"[{part + 1}]" if isinstance(part, int) else str(part) for part in item["loc"]).replace(".[", "[")
        context, kind = item.get("ctx", {}), item["type"]
        secret = "addresses" in item["loc"]
        if kind == "unfit":
            found = "an address that is none" if secret else context.get("found") or shown(item["input"])
            faults.append(Fault(file, None, key, context["wanted"], found, context["remedy"]))
        elif kind == "extra_forbidden":
            model = PersonTable if len(item["loc"]) > 1 else PeopleTable
            known = list(model.model_fields)
            near = nearest(str(item["loc"][-1]), known) or "Leave it out."
            faults.append(Fault(file, None, key, f"a known key: {', '.join(known)}", "an unknown key", near))
        elif kind == "missing":
            faults.append(Fault(file, None, key, "this key", "nothing", "It is required."))
        else:
            remedy = "Write it as [[person]], with two brackets." if item["loc"] == ("person",) else ""
            found = "something else" if secret else shown(item["input"])
            faults.append(Fault(file, None, key, "an array" if "list" in kind else "a table or a value", found, remedy))
    return faults


def _amiss(file: str, table: PeopleTable, circuits: Collection[str]) -> list[Fault]:
    """What ties keys together: names that differ, circuits that there are."""
    faults = []
    taken: dict[str, str] = {}  # what stands for an address already, as a person reads it: whose
    for place, each in enumerate(table.person, start=1):
        here = f"person[{place}] {printable(each.name)}"
        folded = [" ".join(ref.split()).casefold() for ref in dict.fromkeys((each.name, *_refs(each)))]
        whose = next((taken[ref] for ref in folded if ref in taken), None)
        if whose is not None:
            found = f"one that stands for an address of {printable(whose)}"
            faults.append(Fault(file, None, f"{here} name", "a name of its own", found, "Write another name."))
        if _ENVIRONMENT.fullmatch(folded[0]):
            found = "one that stands for an address of PANELWARD_NOTIFY"
            faults.append(Fault(file, None, f"{here} name", "a name of its own", found, "Write another name."))
        taken |= {ref: taken.get(ref, each.name) for ref in folded}
        if not each.addresses:
            faults.append(Fault(file, None, f"{here} addresses", "one address or more", "none"))
        for name in each.circuits:
            if circuits and name not in circuits:
                remedy = nearest(name, list(circuits))
                faults.append(Fault(file, None, f"{here} circuits", "circuits of the schedule", printable(name), remedy))
    return faults


def _single(file: str, wanted: str, found: str, remedy: str = "") -> ScheduleError:
    return ScheduleError((Fault(file, None, "the file", wanted, found, remedy),))
