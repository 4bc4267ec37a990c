"""What a journal shows at the hand-over: the alarms that stand, how often readings come, and the remarks that follow."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from panelward.papers.remarks import Remark
from panelward.records import Schedule

WRONG_DEVICE = "protection-doubtful"  # the kind of alarm that says: another fuse than on the door list
WORST_FIRST = ("high", "medium", "low")
MOST = 12  # alarms on the cover
LONGER = 1.5  # times the schedule's period: what comes later than that comes by another one. Common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """One alarm that is not over, or not seen by anybody."""

    id: str
    way: str  # empty: of no single way
    label: str
    kind: str
    priority: str
    state: str
    since: str
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """A monitor's readings come less often than its schedule says."""

    monitor: str
    every_s: float
    schedule_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """What a journal shows at the hand-over."""

    file: str
    from_: str
    to: str
    unread_share: float | None
    clock_sets: int
    damaged: int
    standing: tuple[Standing, ...] = ()  # the worst first
    tested: str = ""  # when a phone's service last took a test message
    paces: tuple[Pace, ...] = ()


def standing(alarms: Iterable[Mapping[str, Any]], schedule: Schedule, local: Callable[[float], str]) -> tuple[Standing, ...]:
    """The newest object of each alarm that is not over; what another alarm explains stands in that one."""
    found = sorted((a for a in alarms if a["state"] != "suppressed"), key=_rank)
    return tuple(_standing(alarm, schedule, local) for alarm in found)


def _rank(alarm: Mapping[str, Any]) -> tuple[int, bool, float]:
    """By priority; what goes on before what ended; then the oldest."""
    priority = alarm["priority"]
    rank = WORST_FIRST.index(priority) if priority in WORST_FIRST else len(WORST_FIRST)
    return rank, alarm["event"] == "ends", float(alarm["since"])


def _standing(alarm: Mapping[str, Any], schedule: Schedule, local: Callable[[float], str]) -> Standing:
    what, of = next(iter(alarm["subject"].items()))
    labels = {circuit.id: circuit.label for circuit in schedule.circuits}
    way = str(of) if what == "circuit" else ""
    label = labels.get(way, "") if way else f"{what} {of}"
    return Standing(
        id=str(alarm["id"]), way=way, label=label, kind=str(alarm["kind"]), priority=str(alarm["priority"]),
        state=str(alarm["state"]), since=local(float(alarm["since"]) * 1000), sentence=str(alarm["message"]),
    )  # fmt: skip


def line(one: Standing) -> str:
    """As it stands on the cover."""
    return f"{one.priority}, {f'{one.way} {one.label}'.strip()}, since {one.since}: {one.sentence}"


def paces(schedule: Schedule, seen_s: Mapping[str, float]) -> tuple[Pace, ...]:
    """Of each monitor whose readings come less often than is written. `seen_s`: by circuit, as `journal.pace` has it."""
    out = []
    for monitor in schedule.monitors:
        ways = [c for c in schedule.circuits if c.monitor == monitor.name and c.sense.publishes != "on-change"]
        found = sorted(seen_s[c.id] for c in ways if c.id in seen_s)
        if found and found[len(found) // 2] > LONGER * monitor.expect_every_s:
            out.append(Pace(monitor=monitor.name, every_s=found[len(found) // 2], schedule_s=monitor.expect_every_s))
    return tuple(out)


def of_readings(readings: Readings | None) -> Iterator[Remark]:
    """Remarks, not yet numbered: a wrong device at its way, a period that is not the schedule's for the whole."""
    if readings is None:
        return
    for pace in readings.paces:
        yield Remark(
            number=0, way="", text=f"Readings of {pace.monitor} come every {pace.every_s:g} s, the schedule says "
            f"{pace.schedule_s:g} s.", rule="readings against schedule", found=f"{pace.every_s:g} s",
            limit=f"{pace.schedule_s:g} s", source="the journal looked at",
            remedy=f"Let the monitor publish every {pace.schedule_s:g} s, or write {pace.every_s:g} as its expect_every_s: "
            "the watch waits and counts by it.",
        )  # fmt: skip
    for one in readings.standing:
        if one.kind == WRONG_DEVICE:
            yield Remark(
                number=0, way=one.way, text=one.sentence, rule="alarm that stands", found=f"since {one.since}",
                source="the journal looked at",
                remedy="Isolate, read what is printed on the device, and write it into the schedule.",
            )  # fmt: skip


def slower(readings: Readings | None) -> str:
    """Said above what is found within how long; empty: readings come as the schedule says."""
    if readings is None or not readings.paces:
        return ""
    by = ", ".join(f"every {each.every_s:g} s from {each.monitor}" for each in readings.paces)
    return f"With readings {by}, as the journal has them, times are longer, and what lasts less may lie between two readings."
