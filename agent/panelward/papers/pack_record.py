"""What was measured when the vehicle was commissioned, way by way; what was not, and why."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from panelward.papers.pack_words import NO_RECORD
from panelward.ratings import solve
from panelward.records import Circuit, Commissioned, Measured, Record, Schedule
from panelward.schedule.vetting import Around, Way


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One steady draw. Watts and amps at the supply's nominal volts, so that they compare."""

    name: str
    watts: float
    amps: float
    volts: float
    low_w: float
    high_w: float
    readings: int
    provisional: bool
    surge_times: float | None  # None: not observable at this period, or none was seen
    surge_s: float | None
    lasted_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class WayRecord:
    """One way of the record. None: not told."""

    position: str
    purpose: str
    measured: str = ""  # local date, where it is another than the record's
    zero_ma: float | None = None
    gain: float | None = None
    exponent: float | None = None
    standby: Setting | None = None
    settings: tuple[Setting, ...] = ()
    skipped: str = ""
    seen_on: str = ""
    runs: int | None = None
    run_s: float | None = None
    idle_s: float | None = None
    drop_v: float | None = None  # reckoned along its own conductor at its highest setting; not measured
    drop_share: float | None = None
    drop_note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MonitorRecord:
    """A monitor as it was found."""

    monitor: str
    period_s: float | None
    reports: str
    resolution_a: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordPart:
    """The record, or that there is none."""

    there: bool
    said: str  # what is to be said of it as a whole
    version: int | None = None
    versions: int = 0
    made: str = ""
    who: str = ""
    instrument: str = ""
    ambient_c: float | None = None
    schedule_hash: str = ""
    same_schedule: bool = True
    seal: str = ""
    meter_sign: str = ""
    monitors: tuple[MonitorRecord, ...] = ()
    ways: tuple[WayRecord, ...] = ()
    holes: tuple[str, ...] = ()  # "D7 Bench sockets: why"
    remarks: tuple[str, ...] = ()


def record_part(schedule: Schedule, record: Record | None, sha256: str, versions: int) -> RecordPart:
    """Everything that the record says, in panel order."""
    if record is None:
        return RecordPart(there=False, said=NO_RECORD)
    zone = ZoneInfo(schedule.vehicle.timezone)
    around = Around.of(schedule)
    ways = tuple(_ways(schedule, record, around, zone))
    loads = {c.id for c in schedule.circuits if c.role == "load"}
    holes = tuple(
        f"{w.position} {w.purpose}: {w.skipped or 'no level was seen; the record tells no reason'}"
        for w in ways
        if w.position in loads and not w.settings and w.standby is None
    )
    return RecordPart(
        there=True, said=_said(len(loads), len(holes)), version=record.version, versions=max(versions, 1),
        made=_day(record.made_ms, zone), who=record.who, instrument=record.instrument, ambient_c=record.ambient_c,
        schedule_hash=record.schedule_hash, same_schedule=sha256.startswith(record.schedule_hash), seal=record.seal,
        meter_sign=record.meter_sign or "", ways=ways, holes=holes, remarks=record.remarks,
        monitors=tuple(
            MonitorRecord(monitor=m.monitor, period_s=m.period_s, reports=m.reports or "", resolution_a=m.resolution_a)
            for m in record.monitors
        ),
    )  # fmt: skip


def _said(loads: int, holes: int) -> str:
    if not holes:
        return f"All {loads} loads have a figure. What was measured once is no proof of tomorrow."
    have = "has" if loads - holes == 1 else "have"
    return (
        f"{loads - holes} of {loads} loads {have} a figure; {holes} {'was' if holes == 1 else 'were'} not measured, "
        "and why stands below. The record is valid without them: nothing is judged against what was not measured."
    )


def _ways(schedule: Schedule, record: Record, around: Around, zone: ZoneInfo) -> Iterator[WayRecord]:
    for circuit in schedule.circuits:
        found = record.circuit(circuit.id)
        if circuit.role == "meter" or (found is None and circuit.role != "load"):
            continue
        if found is None:
            yield WayRecord(position=circuit.id, purpose=circuit.label, skipped="not in the record")
            continue
        yield _way(circuit, found, record, Way(around, circuit), zone)
    known = {circuit.id for circuit in schedule.circuits}
    for found in record.circuits:
        if found.circuit not in known:
            said = found.skipped or "the schedule has no such way any more"
            yield WayRecord(position=found.circuit, purpose="no way of this schedule", skipped=said)


def _way(circuit: Circuit, found: Commissioned, record: Record, way: Way, zone: ZoneInfo) -> WayRecord:
    nominal_v = way.supply.nominal_v
    drop_v, share, note = _drop(found, way)
    return WayRecord(
        position=circuit.id, purpose=circuit.label,
        measured="" if found.measured_ms is None else _day(found.measured_ms, zone),
        zero_ma=None if found.zero_a is None else round(1000 * found.zero_a, 1), gain=found.gain, exponent=found.exponent,
        standby=None if found.standby is None else _setting(found.standby, nominal_v),
        settings=tuple(_setting(level, nominal_v) for level in found.levels),
        skipped=found.skipped or ("" if circuit.role == "load" else f"a {circuit.role}: its device was read"),
        seen_on=found.seen_on or "", runs=found.runs, run_s=found.run_s, idle_s=found.idle_s,
        drop_v=drop_v, drop_share=share, drop_note=note,
    )  # fmt: skip


def _setting(one: Measured, nominal_v: float) -> Setting:
    return Setting(
        name=one.name, watts=one.watts, amps=round(one.watts / nominal_v, 4), volts=nominal_v, low_w=one.low_w,
        high_w=one.high_w, readings=one.readings, provisional=one.provisional, surge_times=one.surge_times,
        surge_s=one.surge_s, lasted_s=one.lasted_s,
    )  # fmt: skip


def _drop(found: Commissioned, way: Way) -> tuple[float | None, float | None, str]:
    """Along the way's own conductor with its highest setting on, as its load behaves; feeders before it not counted."""
    if not found.levels:
        return None, None, ""
    highest = max(level.watts for level in found.levels)
    loop = way.loop(highest / way.supply.nominal_v)
    if not way.circuit.conductor or loop.unknown:
        return None, None, "its conductor is not written"
    behaves = way.circuit.loads[0].behaves if way.circuit.loads else "constant-power"
    solved = solve([(behaves, highest)], loop.ohm, way.supply.nominal_v, way.supply.nominal_v)
    if solved is None:
        return None, None, "its conductor can't carry that draw"
    note = "the way out only; the chassis is not known" if loop.chassis else ""
    return round(solved.drop_v, 3), round(solved.share, 4), note


def _day(at_ms: int, zone: ZoneInfo) -> str:
    return f"{datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone):%Y-%m-%d}"
