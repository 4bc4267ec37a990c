"""What opened, what was down and for how long, and whether the alarms were any good, from the alarms and the readings after."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from panelward.records import Schedule
from panelward.review.alarms import Alarm, held_ms
from panelward.review.gathered import Gathered, Way
from panelward.review.margins import warmest
from panelward.review.report import Down, Judged, Opening, Span
from panelward.review.source import Floats

DEAD = ("protection-opened", "feed-lost")
AFTER_MS = 12 * 3_600_000  # so long after it was told a bank that was near its cut-off should have come nearer
NEAR_V = 0.2  # of the cut-off (our own choice)
MOSTLY = 0.8  # of what was read that bears it out


def ways_of(alarm: Alarm, schedule: Schedule) -> tuple[str, ...]:
    """The circuits that an alarm is about."""
    if alarm.subject == "circuit":
        return (alarm.subject_id,)
    known = {c.id for c in schedule.circuits}
    return tuple(c for c in alarm.circuits if c in known)


def openings(schedule: Schedule, gathered: Gathered, alarms: Sequence[Alarm], span: Span) -> tuple[Opening, ...]:
    """Each time that a device opened or a feed was lost, in time order."""
    found = []
    for alarm in alarms:
        if alarm.kind not in DEAD:
            continue
        for begins_ms, ends_ms in alarm.episodes or [(alarm.since_ms, alarm.ended_ms)]:
            if not span.from_ms <= begins_ms < span.to_ms:
                continue
            way = ways_of(alarm, schedule)
            at = gathered.at(begins_ms)
            before = alarm.figures.get("before_a")
            found.append(
                Opening(
                    way=alarm.subject_id, kind=alarm.kind,
                    at_ms=begins_ms, ended_ms=ends_ms, cause=alarm.cause, confidence=alarm.confidence,
                    amps_before=float(before) if isinstance(before, int | float) else None,
                    celsius=warmest(gathered.probes, schedule, at), volts=_least_v(gathered, way, at),
                    answered_ms=alarm.seen_ms, answer=alarm.answer, alarm_id=alarm.id,
                )
            )  # fmt: skip
    return tuple(sorted(found, key=lambda o: (o.at_ms, o.way)))


def _least_v(gathered: Gathered, ways: Sequence[str], at: int) -> float | None:
    """The lowest volts in the minute of it and the one before."""
    for way in ways:
        if way in gathered.ways:
            volts = gathered.ways[way].grid.least_v[max(0, at - 1) : max(0, at + 1)]
            if len(volts) and not np.isnan(volts).all():
                return float(np.nanmin(volts))
    return None


def down(schedule: Schedule, gathered: Gathered, alarms: Sequence[Alarm], span: Span) -> tuple[Down, ...]:
    """Of every always-on way; where several causes hold at a time, the first counts."""
    part = gathered.bins(span.from_ms, span.to_ms)
    found = []
    for circuit in schedule.circuits:
        if circuit.feed != "always-on":
            continue
        read_s = float(gathered.ways[circuit.id].grid.read_s[part].sum())
        if read_s <= 0.0:
            continue
        stretches = sorted(
            (begin, end, alarm.cause or "unknown")
            for alarm in alarms
            if alarm.kind in DEAD and circuit.id in ways_of(alarm, schedule)
            for begin, end in held_ms(alarm, span.from_ms, span.to_ms)
        )
        causes: dict[str, float] = {}
        until = span.from_ms
        for begin, end, cause in stretches:
            seconds = max(0, end - max(begin, until)) / 1000
            causes[cause] = causes.get(cause, 0.0) + seconds
            until = max(until, end)
        down_s = sum(causes.values())
        found.append(
            Down(
                way=circuit.id, down_s=down_s, read_s=max(read_s, down_s), causes=tuple((c, s) for c, s in causes.items() if s)
            )
        )
    return tuple(found)


def judged(schedule: Schedule, gathered: Gathered, alarms: Sequence[Alarm], span: Span) -> tuple[Judged, ...]:
    """Each alarm of the span, in time order."""
    found = []
    for alarm in alarms:
        verdict, why = _verdict(schedule, gathered, alarm, span)
        delay = None if alarm.told_ms is None else max(0.0, (alarm.told_ms - alarm.since_ms) / 1000)
        found.append(
            Judged(
                alarm_id=alarm.id, way=alarm.way, kind=alarm.kind, priority=alarm.priority, began_ms=alarm.since_ms,
                told_ms=alarm.told_ms, seen_ms=alarm.seen_ms, over_ms=alarm.over_ms, delay_s=delay, verdict=verdict, why=why,
                suppressed=alarm.suppressed, ended_ms=alarm.ended_ms,
            )
        )  # fmt: skip
    return tuple(found)


def _verdict(schedule: Schedule, gathered: Gathered, alarm: Alarm, span: Span) -> tuple[str, str]:
    """Right or wrong only where the readings of the whole time bear it out, or belie it."""
    ways = ways_of(alarm, schedule)
    stretches = held_ms(alarm, span.from_ms, span.to_ms)
    if alarm.kind == "readings-overdue":
        return _overdue(schedule, gathered, alarm, stretches)
    if alarm.kind == "undervoltage-approach":
        return _near_cutoff(schedule, gathered, alarm, span)
    if not ways or not stretches:
        return "unknown", "nothing was measured that could tell"
    way = gathered.ways[ways[0]]
    part = np.concatenate([np.arange(s.start, s.stop) for s in (gathered.bins(b, e) for b, e in stretches)])
    grid = way.grid
    read_s = grid.read_s[part]
    hours = read_s / 3600
    seen = read_s > 0
    if not seen.any():
        return "unknown", "nothing was read meanwhile"
    amps = (grid.out_ah[part] + grid.in_ah[part])[seen] / hours[seen]
    if alarm.kind in DEAD:
        none = float((amps <= way.circuit.sense.nothing_a).mean())
        if none >= MOSTLY:
            return "right", "it drew nothing all that time" + (", and drew again after it" if alarm.ended_ms else "")
        return ("wrong", "it drew meanwhile") if none <= 1.0 - MOSTLY else ("unknown", "it drew now and then")
    if alarm.kind in ("overcurrent-approach", "conductor-overheating", "protection-doubtful") and way.fitted_a is not None:
        return _carried(way, [gathered.bins(begin, end) for begin, end in stretches], way.fitted_a)
    if alarm.kind == "standby-drain":
        rest_w = alarm.figures.get("standby_w")
        watts = float(grid.wh[part].sum() / hours.sum())
        if isinstance(rest_w, int | float):
            return ("right" if watts > rest_w else "wrong"), f"it drew {watts:.3g} W, at rest it may draw {rest_w:.3g} W"
    if alarm.kind in ("overlong-run", "duty-high", "duty-low"):
        return _rhythm(way, alarm.kind, grid.wh[part][seen] / hours[seen])
    if alarm.kind == "off-profile":
        watts = float(grid.wh[part].sum() / hours.sum())
        levels = [level for load in way.circuit.loads for level in load.levels]
        if levels and not any(abs(watts - level.watts) <= level.tolerance * level.watts for level in levels):
            return "right", f"it drew {watts:.3g} W in the mean, none of its levels"
    return "unknown", "the readings alone can't tell; ask who was there"


def _carried(way: Way, parts: Sequence[slice], fitted_a: float) -> tuple[str, str]:
    """The most of each time that it held: one time's current is not another's."""
    most = [float(np.nanmax(amps)) for part in parts if len(amps := way.grid.most_a[part]) and not np.isnan(amps).all()]
    if not most:
        return "unknown", "it was over within a minute"
    listed = " and later ".join(f"{amps:.3g} A" for amps in (most if len(most) <= 3 else [most[0], max(most[1:])]))
    if max(most) >= fitted_a:
        return "right", f"up to {listed} flowed on {fitted_a:g} A"
    return "unknown", f"at most {listed} flowed on {fitted_a:g} A"


def _rhythm(way: Way, kind: str, watts: Floats) -> tuple[str, str]:
    """How much of the time it ran, minute by minute."""
    ran = float((watts > way.habits.on_w).mean())
    said = f"it ran {100 * ran:.0f} % of that time"
    duty = next((load.duty for load in way.circuit.loads if load.duty is not None), None)
    if kind == "overlong-run":
        return ("right", said) if ran >= MOSTLY else ("unknown", said)
    if duty is None:
        return "unknown", said
    limit = duty.high if kind == "duty-high" else duty.low
    right = ran > limit if kind == "duty-high" else ran < limit
    return ("right" if right else "unknown"), f"{said}; its band ends at {100 * limit:.0f} %"


def _near_cutoff(schedule: Schedule, gathered: Gathered, alarm: Alarm, span: Span) -> tuple[str, str]:
    """How low the bus came, until half a day after it was told."""
    supply = next((s for s in schedule.supplies if s.id == alarm.subject_id), None)
    if supply is None or supply.cutoff_v is None:
        return "unknown", "its cut-off is not on the schedule"
    until_ms = min(span.to_ms, max(alarm.ended_ms or 0, alarm.began_ms + AFTER_MS))
    part = gathered.bins(max(span.from_ms, alarm.since_ms), until_ms)
    least = least_bus_v(gathered, supply.id, part)
    if least is None:
        return "unknown", "the bus was not read meanwhile"
    said = f"the bus came down to {least:.1f} V then or within half a day, its cut-off is {supply.cutoff_v:g} V"
    return ("right" if least <= supply.cutoff_v + NEAR_V else "unknown"), said


def least_bus_v(gathered: Gathered, supply: str, part: slice) -> float | None:
    """The lowest that a supply's bus was read at."""
    ways = [w for w in gathered.ways.values() if w.circuit.supply == supply and w.circuit.sense.volts_at == "bus"]
    least = [float(np.nanmin(v)) for w in ways if len(v := w.grid.least_v[part]) and not np.isnan(v).all()]
    return min(least, default=None)


def _overdue(schedule: Schedule, gathered: Gathered, alarm: Alarm, stretches: Sequence[tuple[int, int]]) -> tuple[str, str]:
    """Of a monitor or a circuit that was silent."""
    ways = ways_of(alarm, schedule) or tuple(
        c.id for c in schedule.circuits if alarm.subject == "broker" or c.monitor == alarm.subject_id
    )
    whole = read = 0.0
    for begin, end in stretches:
        part = gathered.bins(begin, end)
        for way in ways:
            whole += float(gathered.seconds(part).sum())
            read += float(gathered.ways[way].grid.read_s[part].sum())
    if whole <= 0.0:
        return "unknown", "it was over within a minute"
    return (
        ("right", "nothing was read meanwhile")
        if read <= (1 - MOSTLY) * whole
        else ("unknown", "some was read meanwhile, late")
    )
