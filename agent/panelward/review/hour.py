"""The hours around one alarm as frozen records: what was read, weighed, told and answered, and what held then.

For the installer on a warranty call. Who was told or answered is left out, and where it was; times are Unix milliseconds with
the offset of local time beside them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from panelward import sealed
from panelward.errors import BadInput, PanelwardError
from panelward.journal import InForce, Journal, OutboxRow, asked_between, in_force
from panelward.journal.listed import which
from panelward.papers.directory import panel_directory
from panelward.papers.pack_readings import LONGER
from panelward.records import Circuit, Record, Schedule
from panelward.review.hour_minutes import Minute, Read, Series, Switched, gathered
from panelward.review.hour_weighed import Cause, causes
from panelward.schedule.detect import detectability
from panelward.wording.english import ANSWERED

BEFORE_MS, AFTER_MS = 2 * 3_600_000, 3_600_000
BESIDE_MS = 600_000  # a sibling's draw before and after: ten minutes each
MOST = 1000  # transitions of one alarm: it has a few
__all__ = ["Hour", "Minute", "Read", "Series", "Switched", "hour"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One transition of the alarm."""

    sequence: int
    at_ms: int
    event: str
    state: str
    priority: str
    cause: str | None
    confidence: float | None
    message: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """One message to one address; the address is a number only."""

    address: int
    step: str
    composed_ms: int
    due_ms: int
    status: str
    handed_over_ms: int | None
    attempts: int
    why: str
    repeat: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Deed:
    """What somebody asked for, or what came, went or was set, in those hours."""

    at_ms: int
    what: str
    of: str
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """One way as schedule and record had it then; None: neither tells."""

    way: str
    label: str
    device: str | None
    word: str  # fuse | breaker | device
    scheduled_a: float | None
    fitted_a: float | None
    on_record_a: float | None
    conductor: str
    feed: str | None
    sensed: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """What was in force."""

    schedule_hash: str | None
    since_ms: int | None
    record_seal: str | None
    record_version: int | None
    record_made_ms: int | None
    program: str | None
    clock_set: bool | None
    added_s: float  # to the times afterwards, from a clock that was set later
    clock_sets: tuple[tuple[int, float], ...]  # in those hours: when, by how many seconds
    ways: tuple[Fitted, ...]
    replaced: tuple[Deed, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """Another way on the same feeder or supply: its mean draw in the ten minutes before and after."""

    way: str
    label: str
    same_feeder: bool
    before_a: float | None
    after_a: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Hour:
    """Everything about one alarm. `ways`: what it is about, in panel order."""

    alarm_id: str
    kind: str
    subject: str
    subject_id: str
    ways: tuple[str, ...]
    labels: tuple[tuple[str, str], ...]
    vehicle: str
    made_ms: int
    made_by: str
    utc_offset_s: int  # of local time as it began
    since_ms: int
    from_ms: int
    to_ms: int
    last_ms: int | None  # the last reading that is kept of all
    remarks: tuple[str, ...]
    cannot_show: tuple[str, ...]
    evidence: tuple[str, ...]
    causes: tuple[Cause, ...]
    steps: tuple[Step, ...]
    messages: tuple[Message, ...]
    deeds: tuple[Deed, ...]
    switched: tuple[Switched, ...]
    held: Held
    series: tuple[Series, ...]  # of its ways, then of the bank's meter and of those on its feeder
    warmth: tuple[Series, ...]  # of the probes
    beside: tuple[Beside, ...]
    singles: tuple[Read, ...] = ()  # of its ways and of their bus, a minute before the beginning to one after it


def hour(
    journal: Journal,
    schedule: Schedule,
    alarm_id: str,
    *,
    parse: Callable[[str], Schedule],
    made_ms: int,
    made_by: str,
) -> Hour:
    """All of it. `schedule` is today's: it stands in where the journal keeps none of that time.

    Raises BadInput where the journal has no such alarm.
    """
    steps = journal.last_transitions(MOST, alarm_id=alarm_id)
    then = in_force(journal, alarm_id)
    if not steps or then is None:
        raise BadInput(f"--hour-of: wanted the id of an alarm in {journal.path}, found {alarm_id}: {which(journal, alarm_id)}")
    plan, kept_record, remarks = _of_then(then, schedule, parse)
    since_ms = min(round(each["since"] * 1000) for each in steps)
    from_ms, to_ms = since_ms - BEFORE_MS, since_ms + AFTER_MS
    reasoned = max((s for s in steps if s["evidence"]), key=lambda s: int(s["sequence"]), default=steps[-1])
    ways = _ways(steps, plan)
    near = _near(plan, ways)
    probes = {probe.id for probe in plan.probes}
    meters = {supply.meter for supply in plan.supplies if supply.meter}
    found = gathered(journal, from_ms, to_ms, {*ways, *near, *probes, *meters}, since_ms)
    fitted = tuple(_fitted(plan, plan.circuit(way), kept_record) for way in ways)
    shown = [*ways, *(each for each in near if _feeder(plan, each) and _feeder(plan, each) == _feeder(plan, ways[0]))]
    return Hour(
        alarm_id=alarm_id, kind=reasoned["kind"], subject=next(iter(reasoned["subject"])),
        subject_id=str(next(iter(reasoned["subject"].values()))), ways=tuple(ways),
        labels=tuple((each.id, each.label) for each in plan.circuits), vehicle=plan.vehicle.name,
        made_ms=made_ms, made_by=made_by,
        utc_offset_s=_offset_s(then, plan, since_ms), since_ms=since_ms, from_ms=from_ms, to_ms=to_ms,
        last_ms=journal.last_received_ms, remarks=(*remarks, *_other_schedule(then, kept_record), *_neutral(fitted)),
        cannot_show=_cannot(plan, ways, found.series, from_ms, to_ms, found.every_s),
        evidence=tuple(str(line) for line in reasoned["evidence"]), causes=causes(reasoned),
        steps=tuple(_step(each) for each in steps), messages=_messages(journal.outbox_rows(alarm_id)),
        deeds=_deeds(journal, alarm_id, from_ms, to_ms), switched=found.switched,
        held=_held(journal, then, plan, kept_record, fitted, ways, from_ms, to_ms),
        series=tuple(found.series[each] for each in [*shown, *sorted(meters)] if each in found.series),
        warmth=tuple(found.series[each] for each in sorted(probes) if each in found.series),
        beside=tuple(_beside(plan, each, ways, found.series, since_ms) for each in near),
        singles=tuple(each for each in found.singles if each.way in {*ways, *_bus(plan, ways)}),
    )  # fmt: skip


def _of_then(then: InForce, schedule: Schedule, parse: Callable[[str], Schedule]) -> tuple[Schedule, Record | None, list[str]]:
    """Schedule and record as they were, and what is to be said of them."""
    if then.settings is None:
        return schedule, None, ["The schedule of that time is no longer kept: today's stands in its place."]
    said: list[str] = []
    try:
        plan = parse(then.settings["schedule_text"])
    except (PanelwardError, KeyError):
        plan = schedule
        said.append("The schedule of that time can't be read by this version: today's stands in its place.")
    text = then.settings.get("record_text") or ""
    try:
        kept = sealed.parse(text) if text else None
    except PanelwardError:
        kept = None
        said.append("The commissioning record of that time can't be read by this version.")
    return plan, kept, said


def _ways(steps: Sequence[Mapping[str, Any]], plan: Schedule) -> list[str]:
    """The ways that the alarm is about, in panel order."""
    named = {str(each["circuit"]) for each in steps if "circuit" in each}
    named |= {str(way) for each in steps for way in each["circuits"]} if not named else set()
    return [each.id for each in plan.circuits if each.id in named and each.role != "meter"]


def _bus(plan: Schedule, ways: Sequence[str]) -> set[str]:
    """The meters of their supplies."""
    return {meter for way in ways if (meter := plan.supply(plan.circuit(way).supply).meter) is not None}


def _feeder(plan: Schedule, way: str) -> str | None:
    return plan.circuit(way).feeder


def _near(plan: Schedule, ways: Sequence[str]) -> list[str]:
    """Its siblings: on its feeder, and on its supply."""
    if not ways:
        return []
    supplies = {plan.circuit(way).supply for way in ways}
    return [each.id for each in plan.circuits if each.supply in supplies and each.id not in ways and each.role != "meter"]


def _fitted(plan: Schedule, circuit: Circuit, record: Record | None) -> Fitted:
    row = next((row for row in panel_directory(plan).rows if row.position == circuit.id), None)
    device, measured = circuit.protection, record.circuit(circuit.id) if record is not None else None
    sense = circuit.sense
    return Fitted(
        way=circuit.id, label=circuit.label, device=row.device.text if row is not None and device is not None else None,
        word=(row.device.symbol if row is not None else "") or "device",
        scheduled_a=device.rating_a if device is not None else None, fitted_a=device.fitted_a if device is not None else None,
        on_record_a=measured.as_left_a if measured is not None else None, conductor=row.conductor if row is not None else "",
        feed=circuit.feed,
        sensed=f"volts at the {sense.volts_at}, each reading a {sense.reports}, steps of {sense.resolution_a:g} A",
    )  # fmt: skip


def _other_schedule(then: InForce, record: Record | None) -> list[str]:
    """A record may be older than the schedule: then what it measured may be of other devices and loads."""
    text = (then.settings or {}).get("schedule_text")
    if text is None or record is None or not record.schedule_hash:
        return []
    digits, now = record.schedule_hash, sealed.schedule_hash(text)
    alike = min(len(digits), len(now))
    return [] if digits[:alike] == now[:alike] else ["The record was made by another schedule than the one in force."]


def _neutral(fitted: Sequence[Fitted]) -> list[str]:
    """What differs, without a word on whose doing it is."""
    out = []
    for each in fitted:
        if each.on_record_a is not None and each.fitted_a is not None and each.on_record_a != each.fitted_a:
            out.append(
                f"{each.way}: the {each.word} fitted is not the one on the record: fitted {each.fitted_a:g} A, "
                f"on the record {each.on_record_a:g} A."
            )
        if each.scheduled_a is not None and each.fitted_a is not None and each.scheduled_a != each.fitted_a:
            out.append(f"{each.way}: the schedule has {each.scheduled_a:g} A, {each.fitted_a:g} A was left in the way.")
    return out


def _offset_s(then: InForce, plan: Schedule, at_ms: int) -> int:
    """Of local time: the zone's name would be a place."""
    asked = (then.settings or {}).get("timezone")
    zone = ZoneInfo(str(asked[0]) if asked else plan.vehicle.timezone)
    offset = datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone).utcoffset()
    return int(offset.total_seconds()) if offset is not None else 0


def _step(found: Mapping[str, Any]) -> Step:
    return Step(
        sequence=int(found["sequence"]), at_ms=round(found["time"] * 1000), event=str(found["event"]),
        state=str(found["state"]), priority=str(found["priority"]), cause=found["cause"],
        confidence=found["confidence"], message=str(found["message"]),
    )  # fmt: skip


def _messages(rows: Sequence[OutboxRow]) -> tuple[Message, ...]:
    numbers = {ref: number for number, ref in enumerate(dict.fromkeys(row.address_ref for row in rows), 1)}
    return tuple(
        Message(
            address=numbers[row.address_ref], step=row.step, composed_ms=_ms(row.created_real_s), due_ms=_ms(row.due_real_s),
            status=row.status, attempts=row.attempts, why=_nameless(row.last_why), repeat=row.repeat,
            handed_over_ms=_ms(row.settled_real_s) if row.status == "handed-over" and row.settled_real_s is not None else None,
        )
        for row in rows
    )  # fmt: skip


def _nameless(why: str) -> str:
    """Why a message was not sent, without who answered."""
    answered = ANSWERED.partition(":")[0]
    return answered if why.startswith(answered) else why


def _ms(seconds: float) -> int:
    return round(seconds * 1000)


_LEFT_OUT = ("settings", "clock")  # they stand under what was in force


def _deeds(journal: Journal, alarm_id: str, from_ms: int, to_ms: int) -> tuple[Deed, ...]:
    """What people asked for, and what came and went; nobody's name."""
    out = []
    for found in asked_between(journal, from_ms, to_ms):
        if found["input"] in _LEFT_OUT:
            continue
        if found["input"] == "presence":
            what = "came" if found.get("here") else "went"
            out.append(Deed(at_ms=found["at_ms"], what=f"{found.get('subject', '')} {what}".strip(), of=""))
            continue
        of = (
            "this alarm"
            if found.get("alarm") == alarm_id
            else "another alarm"
            if found.get("alarm")
            else found.get("circuit") or ""
        )
        why = "" if found.get("kind") == "timezone" else str(found.get("why") or "")
        out.append(Deed(at_ms=found["at_ms"], what=str(found.get("kind", "")), of=str(of), why=why))
    return tuple(sorted(out, key=lambda deed: deed.at_ms))


def _held(
    journal: Journal, then: InForce, plan: Schedule, record: Record | None, fitted: tuple[Fitted, ...], ways: Sequence[str],
    from_ms: int, to_ms: int,
) -> Held:  # fmt: skip
    sets = [each for each in asked_between(journal, from_ms, to_ms) if each["input"] == "clock"]
    text = (then.settings or {}).get("schedule_text")
    replaced = (each for each in journal.replacements() if each.get("circuit") in ways and each["at_ms"] < to_ms)
    return Held(
        schedule_hash=sealed.schedule_hash(text) if text is not None else None, since_ms=then.settings_ms,
        record_seal=record.seal if record is not None else None, record_version=record.version if record is not None else None,
        record_made_ms=record.made_ms if record is not None else None, program=then.program, clock_set=then.clock_set,
        added_s=then.added_ms / 1000,
        clock_sets=tuple((each["at_ms"], (each.get("shift_ms", 0) or each.get("offset_ms", 0)) / 1000) for each in sets),
        ways=fitted,
        replaced=tuple(
            Deed(at_ms=each["at_ms"], what="replaced", of=str(each.get("circuit") or ""), why=str(each.get("what") or ""))
            for each in replaced
        ),
    )  # fmt: skip


def _cannot(
    plan: Schedule, ways: Sequence[str], series: Mapping[str, Series], from_ms: int, to_ms: int, every_s: Mapping[str, float]
) -> tuple[str, ...]:
    """What the data can't show: the sensing's limits, the minutes without a reading. What is alike for several is said once."""
    whole = (to_ms - from_ms) // 60_000
    said: dict[str, list[str]] = {}
    sights = detectability(plan)
    for way in ways:
        circuit = plan.circuit(way)
        monitor = next((each for each in plan.monitors if each.name == circuit.monitor), None)
        found = []
        if circuit.sense.volts_at == "bus":
            found.append("volts are sensed at the bus. What is lost in its device, switch, joints and conductor is not seen.")
        if monitor is not None:
            written_s, seen_s = monitor.expect_every_s, every_s.get(way, 0.0)
            slower = circuit.sense.publishes != "on-change" and seen_s > LONGER * written_s
            read_s, why = (seen_s, f": so it was read; the schedule says {written_s:g} s") if slower else (written_s, "")
            found.append(f"what lasts less than {read_s:g} s may lie between two readings{why}.")
        minutes = sum(minute.readings > 0 for minute in series[way].minutes) if way in series else 0
        if minutes < whole:
            found.append(f"in {whole - minutes} of {whole} minutes nothing was read. Nothing is claimed about them.")
        found += [f"{each.what}: {each.why.rstrip('.')}." for each in sights if each.circuit == way and each.can == "no"]
        for text in found:
            said.setdefault(text, []).append(way)
    return tuple(f"{', '.join(of)}: {text}" for text, of in said.items())


def _beside(plan: Schedule, way: str, ways: Sequence[str], series: Mapping[str, Series], since_ms: int) -> Beside:
    def mean(from_ms: int, to_ms: int) -> float | None:
        minutes = series[way].minutes if way in series else ()
        amps = [each.amps for each in minutes if from_ms <= each.at_ms < to_ms and each.amps is not None]
        return sum(amps) / len(amps) if amps else None

    feeders = {_feeder(plan, each) for each in ways} - {None}
    begun = since_ms - since_ms % 60_000
    return Beside(
        way=way, label=plan.circuit(way).label, same_feeder=_feeder(plan, way) in feeders,
        before_a=mean(begun - BESIDE_MS, begun), after_a=mean(begun + 60_000, begun + 60_000 + BESIDE_MS),
    )  # fmt: skip
