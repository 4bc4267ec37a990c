"""The whole review: from a source of readings, its alarms and a schedule to one frozen Report."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from zoneinfo import ZoneInfo

from panelward import __version__
from panelward.records import Doing, Record, Schedule
from panelward.review import bank, margins
from panelward.review.alarms import Alarm, within
from panelward.review.befell import episodes, happened, still_so
from panelward.review.changes import ageing, changes
from panelward.review.deeds import Deeds
from panelward.review.energy import energies
from panelward.review.gathered import Gathered, gather
from panelward.review.habits import Habits
from panelward.review.journeys import doing_shares, journeys
from panelward.review.judged import down, judged, openings
from panelward.review.lines import coverage, lines
from panelward.review.report import Journey, Report, Sentence, Span
from panelward.review.samples import Pairing, habit
from panelward.review.source import Source
from panelward.review.told import Known, answers
from panelward.review.unsaid import cannot_say
from panelward.wording.past import listed

HALF_DAYS = 4.0  # of so many days the second half is compared with the first, where there is no journey before
NEVER_MS = 1
MOST_MS = 1100 * 86_400_000
MOST_EMPTY_MS = 400 * 86_400_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What is to be looked at."""

    from_ms: int | None = None
    to_ms: int | None = None
    journey: str | None = None  # "last", or its number from 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """What is known besides the readings."""

    alarms: Sequence[Alarm] = ()
    alarms_known: str = ""  # empty: they are all; else why none is
    doings: Sequence[Doing] | None = None  # as the daemon wrote them down; None: nobody did
    clock_sets: Sequence[tuple[int, int]] = ()
    doubts: Sequence[Sentence] = ()
    record: Record | None = None
    rehearsed: bool = False
    timezone: str = ""
    schedule_sha256: str = ""
    fill: Callable[[Gathered, int, int], Sequence[Sentence]] | None = None  # sums, where no readings are kept
    late_doubts: Callable[[], Sequence[Sentence]] | None = field(default=None)  # known once all was read


class NoSuchJourney(Exception):
    """How many there are."""

    def __init__(self, count: int) -> None:
        super().__init__(count)
        self.count = count


def review(
    source: Source,
    schedule: Schedule,
    asked: Asked,
    beside: Beside,
    made_ms: int,
    *,
    progress: Callable[[int], None] | None = None,
) -> Report:
    """Raises NoSuchJourney, and what the source raises."""
    zone = ZoneInfo(beside.timezone or schedule.vehicle.timezone)
    first_ms, end_ms = source.first_ms, source.last_ms + 1
    asked = _bounded(asked, first_ms, end_ms)
    if end_ms - first_ms > MOST_MS:  # a clock that never was set; or more years than anybody asks for at once
        first_ms = end_ms - MOST_MS
    doings, watched = beside.doings, None
    if doings is None and _tells_home(schedule) and first_ms < end_ms - 1:
        watched = _watched(source, schedule, first_ms, end_ms)  # journeys have to be known before the pass
        doings = watched.changes
    earliest_ms = min((d.at_ms for d in beside.doings or ()), default=first_ms)  # those are kept longer than readings
    found = journeys(doings or (), min(first_ms, earliest_ms) if first_ms else earliest_ms, end_ms)
    span, before, compared = _spans(asked, found, first_ms, end_ms)
    kept = (min(span.from_ms, before.from_ms if before is not None else span.from_ms), span.to_ms)
    gathered = gather(source, schedule, zone, kept, (span.from_ms, span.to_ms), watch_deeds=doings is None, progress=progress)
    if doings is None:
        doings = gathered.deeds.changes if gathered.deeds is not None else ()
    summed = beside.fill(gathered, *kept) if beside.fill is not None else ()
    beside = replace(beside, doubts=(*beside.doubts, *summed))
    return _report(source, schedule, span, before, compared, found, gathered, doings, beside, zone, made_ms)


def _bounded(asked: Asked, first_ms: int, end_ms: int) -> Asked:
    """A span of years for which nothing is kept is cut to what is."""
    from_ms, to_ms = asked.from_ms, asked.to_ms
    if first_ms and from_ms is not None and from_ms < first_ms - MOST_EMPTY_MS:
        from_ms = first_ms
    if first_ms and to_ms is not None and to_ms > end_ms + MOST_EMPTY_MS:
        to_ms = end_ms
    return replace(asked, from_ms=from_ms, to_ms=to_ms)


def _tells_home(schedule: Schedule) -> bool:
    """May a journey be told from the readings alone?"""
    outside = any(s.kind == "ac" and s.presence == "comes-and-goes" and s.fed_by is None for s in schedule.supplies)
    return outside or any(c.role == "charger" and c.source == "shore" for c in schedule.circuits)


def _watched(source: Source, schedule: Schedule, from_ms: int, to_ms: int) -> Deeds:
    deeds = Deeds(schedule)
    pairings = {c.id: Pairing(habit(schedule, c)) for c in schedule.circuits if deeds.listens(c.id)}
    for _begin, _end, columns in source.pieces(from_ms, to_ms, tuple(pairings)):
        deeds.take([(way, pairings[way].take(of)) for way, of in columns.items() if way in pairings])
    return deeds


def _spans(asked: Asked, found: Sequence[Journey], first_ms: int, end_ms: int) -> tuple[Span, Span | None, str]:
    """What is looked at, what it is compared with, and what that is in words."""
    chosen: Journey | None = None
    if asked.journey is not None:
        number = len(found) if asked.journey == "last" else int(asked.journey)
        if found and not 1 <= number <= len(found):
            raise NoSuchJourney(len(found))
        if not found and asked.journey != "last":
            raise NoSuchJourney(0)
        chosen = found[number - 1] if found else None
    elif asked.from_ms is None and asked.to_ms is None:
        chosen = found[-1] if found else None
    if chosen is not None:
        how = "the last journey" if chosen is found[-1] else "asked"
        span = Span(from_ms=chosen.from_ms, to_ms=chosen.to_ms, how=how)
    elif asked.from_ms is not None or asked.to_ms is not None:
        from_ms = first_ms if asked.from_ms is None else asked.from_ms
        to_ms = end_ms if asked.to_ms is None else asked.to_ms
        span = Span(from_ms=from_ms, to_ms=max(to_ms, from_ms + NEVER_MS), how="asked")
    else:
        span = Span(from_ms=first_ms, to_ms=max(end_ms, first_ms + NEVER_MS), how="all that is kept")
    earlier = [j for j in found if j.to_ms <= span.from_ms]
    if earlier:
        return span, Span(from_ms=earlier[-1].from_ms, to_ms=earlier[-1].to_ms, how="asked"), "the journey before"
    length = span.to_ms - span.from_ms
    if not found and span.from_ms - length >= first_ms and length >= 86_400_000:
        return span, Span(from_ms=span.from_ms - length, to_ms=span.from_ms, how="asked"), "as many days before it"
    return span, None, ""


def _report(
    source: Source, schedule: Schedule, span: Span, before: Span | None, compared: str, found: Sequence[Journey],
    gathered: Gathered, doings: Sequence[Doing], beside: Beside, zone: ZoneInfo, made_ms: int,
) -> Report:  # fmt: skip
    part = gathered.bins(span.from_ms, span.to_ms)
    shares = doing_shares(schedule, gathered, part, doings, zone)
    energy = energies(schedule, gathered, span, before, zone, shares)
    alarms = within(beside.alarms, span.from_ms, span.to_ms)
    against, now = before, span
    if before is None and span.days >= HALF_DAYS:
        middle = (span.from_ms + span.to_ms) // 2
        against, now = (
            Span(from_ms=span.from_ms, to_ms=middle, how="asked"),
            Span(from_ms=middle, to_ms=span.to_ms, how="asked"),
        )
        compared = "the first half of this time"
    changed = changes(schedule, gathered, against, now)
    over = Span(from_ms=before.from_ms if before is not None else span.from_ms, to_ms=span.to_ms, how="asked")
    supply = next(iter(bank.banks(schedule)), None)
    days = bank.whole_days(schedule, gathered, supply, span) if supply is not None else None
    wh_per_day = {e.way: e.wh_per_day for e in energy if e.way is not None and e.what == "circuit" and e.wh_per_day is not None}
    margin = tuple(
        margins.margin(schedule, gathered, way, span, beside.record, _starts(way.habits, gathered, span))
        for way in gathered.ways.values()
        if way.circuit.role != "meter"
    )
    doubts = [*beside.doubts, *_strangers(gathered), *(beside.late_doubts() if beside.late_doubts is not None else ())]
    impossible = sum(way.pairing.impossible for way in gathered.ways.values())
    if impossible:
        doubts.append(Sentence(text=f"{impossible:,} readings show more than can be, and are in no figure.", about="trust"))
    known = Known(
        schedule=schedule, zone=zone, span=span, before=before, compared=compared or "the journey before", alarms=alarms,
        alarms_known=beside.alarms_known, readings=sum(way.readings for way in gathered.ways.values()),
        coverage=coverage(schedule, gathered, span, gathered.late, alarms), energy=energy,
        lines=lines(schedule, gathered, alarms, span),
        episodes=episodes(schedule, gathered, alarms, span),
        openings=openings(schedule, gathered, alarms, span), down=down(schedule, gathered, alarms, span), changes=changed,
        ageing=ageing(schedule, gathered, over, beside.record), margins=margin,
        volts=tuple(v for way in gathered.ways.values() if (v := margins.volts_of(schedule, way)) is not None),
        tides=bank.tides(schedule, gathered, span, zone), nights=bank.nights(schedule, days, supply),
        savings=bank.savings(schedule, days, supply, wh_per_day), charge=bank.charges(schedule, gathered, span, zone),
        judged=judged(schedule, gathered, alarms, span),
        clock_sets=[c for c in beside.clock_sets if span.from_ms <= c[0] < span.to_ms], doubts=doubts,
        record=beside.record is not None, rehearsed=beside.rehearsed,
    )  # fmt: skip
    happening, also = happened(known)
    return Report(
        vehicle=schedule.vehicle.name, vehicle_id=schedule.vehicle.id, timezone=str(zone), version=__version__,
        schedule_sha256=beside.schedule_sha256, record_sha256=beside.record.seal or None if beside.record is not None else None,
        made_ms=made_ms, span=span, before=before, journeys=tuple(found), readings=known.readings, source=source.name,
        ways=tuple(c.id for c in schedule.circuits), labels=tuple((c.id, c.label) for c in schedule.circuits),
        cannot_say=cannot_say(known), happened=happening, more_happened=len(also), coverage=tuple(known.coverage),
        lines=tuple(known.lines), energy=energy, openings=tuple(known.openings), down=tuple(known.down),
        changes=changed, ageing=tuple(known.ageing), margins=margin, volts=tuple(known.volts), tides=tuple(known.tides),
        nights=tuple(known.nights), savings=tuple(known.savings), charge=tuple(known.charge), judged=tuple(known.judged),
        answers=answers(known), clock_sets_ms=tuple(at for at, _ in known.clock_sets), also=also, still=still_so(known),
        episodes=tuple(known.episodes), compared=compared,
    )  # fmt: skip


def _starts(habits: Habits, gathered: Gathered, span: Span) -> int:
    """Starts of the days whose middle lies in the span."""
    return sum(
        day.starts
        for number, day in habits.days.items()
        if span.from_ms <= (int(gathered.days_ms[number]) + int(gathered.days_ms[number + 1])) // 2 < span.to_ms
        or len(habits.days) == 1
    )


def _strangers(gathered: Gathered) -> list[Sentence]:
    """Readings of ways that the schedule does not have: renamed half-way, perhaps."""
    if not gathered.unknown:
        return []
    names = listed([f"{name} ({count:,})" for name, count in sorted(gathered.unknown.items())])
    text = f"Readings of ways that are not on this schedule are in no figure: {names}. A way may have been renamed."
    return [Sentence(text=text, about="trust")]
