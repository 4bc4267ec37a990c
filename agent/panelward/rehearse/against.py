"""Another schedule's alarm keys on readings that are there: which messages each would have sent, before it goes live.

Only what is judged may differ, not what flows: levels, standby, duty, hours, longest run, what is always on, who answers.
Wiring is another matter (`variation`): there the readings themselves would be others.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import MISSING, dataclass, fields, replace
from typing import Any

from panelward.errors import BadInput
from panelward.records import Reading, Record, Schedule
from panelward.rehearse import plain, told
from panelward.rehearse.beside import Compared, Run, side_by_side
from panelward.schedule.difference import difference, new_findings

CIRCUIT = ("label", "feed", "always_on_reason", "importance", "carries_messages", "hands", "loads", "source")
SUPPLY = ("cutoff_v", "cutoff_delay_s", "restore_v", "presence", "fault_min_a", "fault_max_a")
FEEDER = ("diversity",)
MONITOR = ("expect_every_s", "will", "topic", "dialect", "fields", "time_field", "record_name")
WAS, NOW = "As it is", "By the other schedule"


@dataclass(frozen=True, slots=True)
class Against:
    """Two schedules on the same readings."""

    before: Schedule
    after: Schedule
    changes: tuple[str, ...]
    found: tuple[str, ...]  # what vetting says of the other that it does not say of this
    compared: Compared

    def sentences(self) -> Iterator[str]:
        """For a person."""
        if not self.changes:
            yield "The other schedule says the same as this one."
        for change in self.changes:
            yield f"Changed: {change}"
        titles = {c.id: f"{c.label} ({c.id})" for c in self.before.circuits}
        yield from told.messages(self.compared, self.before.vehicle.timezone, titles, was=WAS, now=NOW)
        for finding in self.found:
            yield f"`panelward check` would say of it: {finding}"
        yield "Both begin cold with the first reading. A request, a note or a monitor's last word is not among the readings."

    def as_json(self) -> dict[str, Any]:
        return {
            "changes": list(self.changes),
            "check": list(self.found),
            "readings": self.compared.readings,
            "alarms": plain.compared_json(self.compared),
        }


def both(before: Schedule, after: Schedule) -> Schedule:
    """All circuits and probes of either: what a file of readings may name."""
    more = tuple(c for c in after.circuits if all(c.id != own.id for own in before.circuits))
    probes = tuple(p for p in after.probes if all(p.id != own.id for own in before.probes))
    return replace(before, circuits=(*before.circuits, *more), probes=(*before.probes, *probes))


def fits(before: Schedule, after: Schedule, file: str) -> None:
    """BadInput where the other schedule is of another vehicle, or changes the wiring."""
    if before.vehicle.id != after.vehicle.id:
        raise BadInput(f"--against {file}: it is of {after.vehicle.id}, the readings are of {before.vehicle.id}")
    wired = difference(_wiring(before), _wiring(_alike(before, after)))
    if wired:
        raise BadInput(
            f"--against {file}: {wired[0]}: that is wiring or sensing, so other readings would have come; --against compares "
            "what the alarms go by. Use --variation for the wiring"
        )


def against(
    before: Schedule, after: Schedule, readings: Iterable[Reading], *, until_ms: int | None = None, record: Record | None = None
) -> Against:  # fmt: skip
    """Both through the same readings."""
    compared = Compared()
    side_by_side(compared, (Run(before, record), Run(after, record)), ((r, r) for r in readings), until_ms)
    compared.end()
    return Against(before, after, difference(before, after), new_findings(before, after), compared)


def _alike(before: Schedule, after: Schedule) -> Schedule:
    """The other with only the parts that this one has, in its order: what comes or goes is no change of wiring."""
    known = {c.id: c for c in after.circuits}
    circuits = tuple(known.get(c.id, c) for c in before.circuits)
    probes = {p.id: p for p in after.probes}
    return replace(after, circuits=circuits, probes=tuple(probes.get(p.id, p) for p in before.probes))


def _wiring(schedule: Schedule) -> Schedule:
    """Only what decides what flows and what is read of it."""
    return replace(
        schedule,
        vehicle=replace(
            schedule.vehicle, **{f.name: _blank(f) for f in fields(schedule.vehicle) if f.name not in ("name", "id")}
        ),
        broker=None,
        monitors=tuple(_without(m, MONITOR) for m in schedule.monitors),
        supplies=tuple(_without(s, SUPPLY) for s in schedule.supplies),
        feeders=tuple(_without(f, FEEDER) for f in schedule.feeders),
        circuits=tuple(_without(c, CIRCUIT) for c in schedule.circuits),
    )


def _without(part: Any, keys: tuple[str, ...]) -> Any:
    blank = {f.name: _blank(f) if f.name not in ("label", "topic", "dialect") else "" for f in fields(part) if f.name in keys}
    return replace(part, **blank)


def _blank(field: Any) -> Any:
    return field.default if field.default is not MISSING else None
