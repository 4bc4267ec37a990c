"""What the drafted monitors read: all that was heard, once more through the intake of the schedule that was drafted."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from panelward.errors import PayloadRefused, ScheduleError
from panelward.intake import Intake
from panelward.listen.heard import Heard, in_order
from panelward.records import Reading, Schedule
from panelward.schedule import from_tables


@dataclass(slots=True)
class Read:
    """Readings in order of time; counts of messages by topic; a refusal of each topic that had one."""

    readings: list[Reading] = field(default_factory=list)
    understood: dict[str, int] = field(default_factory=dict)
    refused: dict[str, int] = field(default_factory=dict)
    why: dict[str, tuple[str, Heard]] = field(default_factory=dict)


def schedule_of(monitors: list[dict[str, Any]], circuits: Mapping[str, str]) -> Schedule:
    """A schedule of these monitors alone. Its ways are meters: of those nothing else is asked, and none of it is drafted."""
    ways = [
        {"id": id_, "label": id_, "monitor": monitor, "supply": "any", "role": "meter"} for id_, monitor in circuits.items()
    ]
    supply = {"any": {"kind": "dc", "nominal_v": 12.0}}
    raw = {"vehicle": {"name": "heard"}, "monitor": monitors, "supply": supply, "circuit": ways}
    return from_tables(raw, "draft")


def can_be_scheduled(table: dict[str, Any], circuits: Iterable[str]) -> bool:
    """Whether the schedule's own rules take this monitor."""
    try:
        schedule_of([table], dict.fromkeys(circuits, str(table["name"])))
    except ScheduleError:
        return False
    return True


def read(schedule: Schedule, records: Iterable[Heard]) -> Read:
    """The records, in order of time, through this schedule's intake."""
    intake, found = Intake(schedule), Read()
    for heard in records:
        try:
            if heard.cut:
                raise PayloadRefused("too-large", f"{heard.size} bytes")
            inputs = intake.message(
                heard.topic, heard.payload, received_ms=heard.received_ms, retained=heard.retained
            )  # fmt: skip
        except PayloadRefused as refused:
            found.refused[heard.topic] = found.refused.get(heard.topic, 0) + 1
            found.why.setdefault(heard.topic, (refused.reason, heard))
            continue
        found.understood[heard.topic] = found.understood.get(heard.topic, 0) + 1
        found.readings += [one for one in inputs if isinstance(one, Reading)]
    return found


def proved(toml: str, records: Iterable[Heard]) -> tuple[int, int]:
    """Messages that the monitors of a draft understand, and readings in them: by the draft's own text."""
    raw = tomllib.loads(toml)
    monitors = raw.get("monitor", [])
    if not monitors:
        return 0, 0
    only = monitors[0]["name"]
    circuits = {table["id"]: table.get("monitor", only) for table in [*raw.get("circuit", []), *raw.get("probe", [])]}
    found = read(schedule_of(monitors, circuits), sorted(records, key=in_order))
    return sum(found.understood.values()), len(found.readings)
