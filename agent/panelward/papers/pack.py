"""The hand-over pack: all that the owner is given with the vehicle, as plain records, and how they are put together.

    pack_devices  the device schedule, spares aboard
    pack_record   what was measured when it was commissioned
    pack_always   what is always on, what happens without it, and for how long the bank feeds it
    pack_readings what a journal shows: standing alarms, how often readings come
    pack_lists    isolation, inspection, cautions
    pack_words    its sentences
    pack_pdf      the pack as a PDF

Whatever a way's device was found or left to be by the record is judged, not what the schedule says of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace

from panelward.papers.directory import Directory, panel_directory
from panelward.papers.pack_always import AlwaysOn, Bank, always_on, banks
from panelward.papers.pack_devices import DeviceLine, Spare, device_lines, spares_aboard
from panelward.papers.pack_lists import Inspect, cautions, inspections, isolation
from panelward.papers.pack_readings import Readings, of_readings, slower
from panelward.papers.pack_record import RecordPart, record_part
from panelward.papers.pack_words import MEANS, NEVER_SEEN, NO_SIGNATURE
from panelward.papers.remarks import GRADES, Remark, Worst, remarks, three_of
from panelward.records import Circuit, Record, Schedule
from panelward.records.people import People
from panelward.schedule import Finding, vet
from panelward.schedule.detect import Sight, detectability
from panelward.schedule.detect.draw import duration
from panelward.schedule.detect.told import SHARED
from panelward.schedule.vetting import Around, Way

AS_READ = ("as-found-differs", "as-left-differs")  # rules of vetting that the record's own sentence says too
FOUND = " A was found where "  # in such a sentence of commission.differs …
FIT_SCHEDULED = "Fit the scheduled rating once the panel is isolated."  # … and its advice
DONT_FIT = "The scheduled rating is not to be fitted either: it is more than its way bears. Ring the fitter."


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What this pack was made of."""

    vehicle: str
    vehicle_id: str
    timezone: str
    made: str  # local date
    schedule_file: str
    schedule_hash: str  # the first digits, as the watch and the page show them
    schedule_sha256: str  # whole: for signing
    record_file: str = ""
    record_seal: str = ""  # whole
    version: str = ""  # of the program
    fitter: str = ""
    phone: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """What the watch can find on one way, and what not."""

    position: str
    purpose: str
    found: tuple[str, ...]
    together: tuple[str, ...]  # only with something else, or it may be missed
    unseen: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One who is told; no address stands here."""

    name: str
    priorities: tuple[str, ...]
    circuits: tuple[str, ...]
    sleeping: str
    after: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Pack:
    """All of it, in the order of the pages."""

    facts: Facts
    cautions: tuple[str, ...]
    directory: Directory
    devices: tuple[DeviceLine, ...]
    spares_aboard: tuple[Spare, ...]
    remarks: tuple[Remark, ...]
    notes: int  # findings of vetting that only note something
    record: RecordPart
    always_on: tuple[AlwaysOn, ...]
    banks: tuple[Bank, ...]
    watched: tuple[Watched, ...]
    watched_alike: tuple[str, ...]  # the same for many ways
    slower: str = ""  # readings come less often than those times are reckoned with
    never_seen: tuple[str, ...] = NEVER_SEEN
    isolation: tuple[str, ...] = ()
    inspections: tuple[Inspect, ...] = ()
    means: tuple[tuple[str, str], ...] = MEANS
    told: tuple[Told, ...] | None = None  # None: no people were named
    readings: Readings | None = None
    no_signature: str = NO_SIGNATURE
    missing: str = ""  # letters that the paper's fonts lack


def handover_pack(
    schedule: Schedule,
    facts: Facts,
    record: Record | None,
    *,
    versions: int = 0,
    worst: Mapping[str, Worst] | None = None,
    readings: Readings | None = None,
    people: People | None = None,
) -> Pack:
    """Everything on the pages."""
    fitted = as_fitted(schedule, record)
    sights = detectability(fitted)
    differs = _differs(fitted, record, facts)
    findings = [f for f in vet(fitted) if not _same_read(f, differs)]
    directory = panel_directory(
        fitted, spares=schedule.vehicle.spares, date=facts.made, file=facts.schedule_file, hash=facts.schedule_hash
    )
    order = {row.position: at for at, row in enumerate(directory.rows)}
    pencil = remarks(
        fitted, [asdict(each) for each in findings], differs, dict(worst or {}), order, others=of_readings(readings),
    )  # fmt: skip
    return Pack(
        facts=facts,
        cautions=cautions(fitted),
        directory=directory,
        devices=device_lines(fitted, schedule, record, directory, worst or {}, pencil),
        spares_aboard=spares_aboard(fitted),
        remarks=pencil,
        notes=sum(each.grade not in GRADES for each in findings),
        record=record_part(fitted, record, facts.schedule_sha256, versions),
        always_on=always_on(fitted, record),
        banks=banks(fitted, record),
        watched=watched(fitted, sights),
        watched_alike=watched_alike(sights),
        slower=slower(readings),
        isolation=isolation(fitted),
        inspections=inspections(fitted),
        told=None if people is None else tuple(_told(people)),
        readings=readings,
    )


def as_fitted(schedule: Schedule, record: Record | None) -> Schedule:
    """The schedule with the devices as the record found or left them: what hangs in the panel is judged."""
    if record is None:
        return schedule
    return replace(schedule, circuits=tuple(_as_fitted(circuit, record) for circuit in schedule.circuits))


def _as_fitted(circuit: Circuit, record: Record) -> Circuit:
    way = record.circuit(circuit.id)
    if circuit.protection is None or way is None:
        return circuit
    three = three_of(circuit, way)
    left_a = three.left_a if way.as_left_a is not None or way.as_found_a is None else way.as_found_a
    return replace(circuit, protection=replace(circuit.protection, as_found_a=three.found_a, as_left_a=left_a))


def _differs(fitted: Schedule, record: Record | None, facts: Facts) -> tuple[str, ...]:
    """The record's sentences. Where it asks for the scheduled rating and the way bears less, that advice is not printed."""
    if record is None:
        return ()
    around = Around.of(fitted)
    out: list[str] = []
    if not facts.schedule_sha256.startswith(record.schedule_hash):  # a record keeps more digits than the watch shows
        out.append(
            f"The record was measured by schedule {record.schedule_hash}, this is {facts.schedule_hash}: compare what was "
            "changed, and measure those ways anew with `panelward commission --redo`."
        )
    for said in record.differs:
        way = next((c for c in fitted.circuits if said.startswith(f"{c.id} ")), None)
        bears = way is not None and _bears_scheduled(Way(around, way))
        out.append(said if bears else said.replace(FIT_SCHEDULED, DONT_FIT))
    return tuple(out)


def _bears_scheduled(way: Way) -> bool:
    return way.protection is not None and way.protection.rating_a <= way.most_a * (1 + 1e-9)


def _same_read(finding: Finding, differs: Sequence[str]) -> bool:
    """Does the record say itself what vetting found of a device that was read?"""
    return finding.rule in AS_READ and any(text.startswith(f"{finding.circuit} ") and FOUND in text for text in differs)


def _shared(sights: Sequence[Sight]) -> dict[tuple[str, str, str], list[str]]:
    """What is the same for many ways: those ways, by what, whether it can be found, and why."""
    groups: dict[tuple[str, str, str], list[str]] = {}
    for sight in sights:
        if sight.what in SHARED:
            groups.setdefault((sight.what, sight.can, sight.why), []).append(sight.circuit)
    return {key: ids for key, ids in groups.items() if len(ids) > 1}


def watched_alike(sights: Sequence[Sight]) -> tuple[str, ...]:
    """The same, a sentence each."""
    words = {"yes": "found", "together": "only with something else", "unreliable": "may be missed", "no": "not found"}
    return tuple(f"{what}, {words[can]}: {why} ({', '.join(ids)})." for (what, can, why), ids in _shared(sights).items())


def watched(schedule: Schedule, sights: Sequence[Sight]) -> tuple[Watched, ...]:
    """By way, what can be found within how long, and what not and why; but for what is alike for many."""
    shared = _shared(sights)
    own = [s for s in sights if (s.what, s.can, s.why) not in shared]
    return tuple(_watched(circuit, [s for s in own if s.circuit == circuit.id]) for circuit in schedule.circuits)


def _watched(circuit: Circuit, own: Sequence[Sight]) -> Watched:
    def with_time(sight: Sight) -> str:
        return f"{sight.what} ({duration(sight.within_s)})" if sight.within_s else sight.what

    return Watched(
        position=circuit.id,
        purpose=circuit.label,
        found=tuple(with_time(s) for s in own if s.can == "yes"),
        together=tuple(s.what for s in own if s.can in ("together", "unreliable")),
        unseen=tuple(f"{s.what}: {s.why}" for s in own if s.can == "no"),
    )


def _told(people: People) -> list[Told]:
    return [
        Told(
            name=each.name,
            priorities=("high", "medium", "low") if each.at_once else each.priorities,
            circuits=each.circuits,
            sleeping="" if each.sleeping is None else "-".join(f"{m // 60:02d}:{m % 60:02d}" for m in each.sleeping),
            after=f"when nobody answered for {duration(each.after_s)}" if each.after_s else "at once",
        )
        for each in people.persons
    ]
