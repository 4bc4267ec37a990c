"""What a review says in sentences: an answer to each question. `unsaid`: what it can't say; `befell`: what happened."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from panelward.records import Schedule
from panelward.review.alarms import Alarm
from panelward.review.band import inside
from panelward.review.changes import moved
from panelward.review.report import (
    Ageing,
    Change,
    Charge,
    Coverage,
    Down,
    Energy,
    Episode,
    Judged,
    Margin,
    Nights,
    Opening,
    Piece,
    Saving,
    Sentence,
    Span,
    Tide,
    Volts,
)
from panelward.wording.past import figure, lasting, listed, rough, short, times

NEAR = 0.2  # of margin left


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """All figures of a report, for the sentences."""

    schedule: Schedule
    zone: ZoneInfo
    span: Span
    before: Span | None
    compared: str
    alarms: Sequence[Alarm]
    alarms_known: str  # empty: they are; else why not
    readings: int
    coverage: Sequence[Coverage]
    lines: Sequence[tuple[str, tuple[Piece, ...]]]
    energy: Sequence[Energy]
    episodes: Sequence[Episode]
    openings: Sequence[Opening]
    down: Sequence[Down]
    changes: Sequence[Change]
    ageing: Sequence[Ageing]
    margins: Sequence[Margin]
    volts: Sequence[Volts]
    tides: Sequence[Tide]
    nights: Sequence[Nights]
    savings: Sequence[Saving]
    charge: Sequence[Charge]
    judged: Sequence[Judged]
    clock_sets: Sequence[tuple[int, int]]  # when, by how many ms
    doubts: Sequence[Sentence]  # of the source: what could not be read, ids that no schedule has
    record: bool
    rehearsed: bool  # the alarms are what the watch would have said: nobody was told

    def label(self, way: str) -> str:
        return next((short(c.label) for c in self.schedule.circuits if c.id == way), way)


def answers(known: Known) -> tuple[Sentence, ...]:
    if not known.readings and not known.alarms:
        return (Sentence(text="Nothing was read, so no question can be answered.", about="trust"),)
    return tuple(
        sentence
        for part in (
            _trust, _energy, _when, _doing, _openings, _down, _margins, _bank, _charge, _changes, _ageing, _volts, _alarms,
        )
        for sentence in part(known)
    )  # fmt: skip


def _trust(known: Known) -> Iterator[Sentence]:
    read = [c.read_s / max(1e-9, c.read_s + c.unread_s) for c in known.coverage]
    if not known.readings or not read:
        yield Sentence(text="Nothing was read.", about="trust")
        return
    worst = min(range(len(read)), key=lambda i: read[i])
    if max(read) - min(read) < 0.001:
        yield Sentence(text=f"Of the time, {100 * read[worst]:.3g} % was read, of every way alike.", about="trust")
        return
    way = known.coverage[worst].way
    yield Sentence(
        text=f"Of the time, {100 * sum(read) / len(read):.3g} % was read; the least of {known.label(way)}, {100 * read[worst]:.3g} %.",
        about="trust",
    )  # fmt: skip


def _energy(known: Known) -> Iterator[Sentence]:
    rows = sorted((e for e in known.energy if e.share is not None and e.energy_wh), key=lambda e: -(e.share or 0.0))
    if not rows:
        yield Sentence(text="No energy was read.", about="energy")
        return
    first = rows[0]
    rest = "".join(f", then {r.label} {rough(100 * (r.share or 0))} %" for r in rows[1:3])
    yield Sentence(
        text=f"{first.label} used the most: {figure(first.energy_wh or 0)} Wh, {rough(100 * (first.share or 0))} % of all{rest}.",
        way=first.way, about="energy",
    )  # fmt: skip
    for row in known.energy:
        if row.what == "unassigned" and row.energy_wh is not None and row.sd_wh is not None:
            much, error = figure(row.energy_wh), figure(2.0 * row.sd_wh)
            if abs(row.energy_wh) > 2.0 * row.sd_wh:
                text = f"{much} Wh is on no circuit, more than the sensors' own error of ± {error} Wh."
            else:
                text = f"{much} Wh is on no circuit, within the sensors' own error of ± {error} Wh: it may be none."
            yield Sentence(text=text, about="energy")


def _when(known: Known) -> Iterator[Sentence]:
    rows = [e for e in known.energy if e.share is not None and e.by_hour_wh]
    sums = [sum(e.by_hour_wh[h] for e in rows) for h in range(24)] if rows else []
    if not sums or sum(sums) <= 0.0:
        yield Sentence(text="When it was used can't be said: no energy was read.", about="when")
        return
    most = max(range(24), key=lambda h: sums[h])
    night = sum(sums[h] for h in (22, 23, 0, 1, 2, 3, 4, 5)) / sum(sums)
    yield Sentence(
        text=f"The most was used from {most}:00 to {(most + 1) % 24}:00; by night, 22:00 to 6:00, {rough(100 * night)} % of all.",
        about="when",
    )  # fmt: skip


def _doing(known: Known) -> Iterator[Sentence]:
    sums: dict[str, float] = {}
    for e in known.energy:
        if e.share is not None:
            for name, wh in e.by_doing_wh:
                sums[name] = sums.get(name, 0.0) + wh
    whole = sum(sums.values())
    if whole <= 0.0 or set(sums) <= {"unknown"}:
        yield Sentence(text="What the vehicle was doing is not known.", about="doing")
        return
    words = {"under-way": "under way", "at-rest": "at rest", "outside-supply": "on the outside supply",
             "lights-out": "by night with the lights out", "nobody-aboard": "with nobody aboard"}  # fmt: skip
    parts = [
        f"{rough(100 * wh / whole)} % {words.get(name, name)}"
        for name, wh in sorted(sums.items(), key=lambda x: -x[1])
        if wh > 0 and name != "unknown"
    ]
    unknown = sums.get("unknown", 0.0) / whole
    rest = f"; for {rough(100 * unknown)} % what the vehicle was doing is not known" if unknown > 0.0 else ""
    yield Sentence(text=f"Of all energy {listed(parts)} was used{rest}.", about="doing")


def _openings(known: Known) -> Iterator[Sentence]:
    if known.alarms_known:
        yield Sentence(text="What opened is not known: no alarms of this time are.", about="openings")
        return
    opened = [o for o in known.openings if o.kind == "protection-opened"]
    lost = [o for o in known.openings if o.kind != "protection-opened"]
    if not known.openings:
        yield Sentence(text="No device was seen to open and no feed was lost.", about="openings")
        return
    parts = []
    if opened:
        parts.append(f"{times(len(opened))} a fuse or breaker cut off ({listed([known.label(o.way) for o in opened])})")
    if lost:
        parts.append(f"{times(len(lost))} a feed was lost ({listed([known.label(o.way) for o in lost])})")
    text = " and ".join(parts)
    yield Sentence(text=f"{text[:1].upper()}{text[1:]}.", about="openings")


def _down(known: Known) -> Iterator[Sentence]:
    rows = sorted((d for d in known.down if d.down_s > 0.0), key=lambda d: -d.down_s)
    if not known.down:
        yield Sentence(text="No always-on way was read.", about="down")
    elif not rows:
        yield Sentence(text="No always-on way was seen without its feed.", about="down")
    else:
        first = rows[0]
        share = first.available_share
        fed = f", fed {min(100 * share, 99.99):.4g} % of the time read" if share is not None else ""
        others = f"; {len(rows) - 1} more were down, too" if len(rows) > 1 else ""
        yield Sentence(
            text=f"{known.label(first.way)} was without its feed for {lasting(first.down_s)}{fed}{others}.", way=first.way, about="down"
        )  # fmt: skip


def _margins(known: Known) -> Iterator[Sentence]:
    rows = sorted((m for m in known.margins if m.least_margin is not None), key=lambda m: m.least_margin or 0.0)
    if not rows:
        yield Sentence(
            text="How near the ways came to their limits can't be said: none was read for a minute.", about="margins"
        )
        return
    first = rows[0]
    worst = first.worst_minute_a or 0.0
    beyond = [m for m in rows if (m.least_margin or 0.0) < 0.0]
    near = [m for m in rows if (m.least_margin or 0.0) < NEAR]
    if beyond:
        text = f"{known.label(first.way)} went furthest beyond its limit: {figure(worst)} A for a minute on a {first.device}"
        others = [known.label(m.way) for m in beyond[1:]]
        text += f"; {listed(others)} went beyond {'its' if len(others) == 1 else 'theirs'}, too." if others else "."
        close = len(near) - len(beyond)
        if close:
            text = f"{text[:-1]}; {close} more came within a fifth of it."
    elif near:
        text = f"{known.label(first.way)} came nearest to its limit: {figure(worst)} A for a minute on a {first.device}"
        text += f"; {len(near)} ways came within a fifth of theirs." if len(near) > 1 else "."
    else:
        text = (
            f"For no whole minute did a way come within a fifth of its device's limit; nearest was {known.label(first.way)}, "
            f"{figure(worst)} A on a {first.device}."
        )
    yield Sentence(text=text, way=first.way, about="margins")
    for margin in rows:
        brief = surge(margin)
        if brief is not None and margin not in beyond:
            yield Sentence(text=f"{known.label(margin.way)} carried {brief[0]}.", way=margin.way, about="margins")
    hot = [
        m for m in known.margins if m.conductor_c is not None and m.insulation_c is not None and m.conductor_c > m.insulation_c
    ]
    for m in hot:
        yield Sentence(
            text=f"The cable of {known.label(m.way)} is reckoned to have come to {m.conductor_c:.0f} °C; its insulation is rated {m.insulation_c:.0f} °C.",
            way=m.way, about="margins",
        )  # fmt: skip


def surge(margin: Margin) -> tuple[str, int] | None:
    """What was held where its device may open by its published band, and beyond it, and when; None: nothing was."""
    within, past_it = inside(margin)
    if not within and not past_it:
        return None
    held = (past_it or within)[-1]
    what = f"a {margin.device} would have opened by its standard" if past_it else f"its {margin.device} may open"
    return f"{figure(held.amps)} A for {lasting(held.seconds)}, at which {what}", held.at_ms


def _bank(known: Known) -> Iterator[Sentence]:
    none = next((n for n in known.nights if n.scenario == "none"), None)
    was = next((n for n in known.nights if n.scenario == "as it was"), None)
    if none is None or none.p50 is None or none.p10 is None or none.p90 is None:
        why = none.why_not if none is not None and none.why_not else "no bank is on the schedule"
        yield Sentence(text=f"How many nights the bank would last can't be said: {why}.", about="bank")
    else:
        yield Sentence(
            text=f"From full and without any charge, the bank would last {_nights(none.p50)}; one journey in ten fewer than {rough(none.p10)}.",
            about="bank",
        )  # fmt: skip
        if was is not None and was.p50 is not None and was.p10 is not None:
            if was.p10 >= 60:
                text = "With the charge it had, it would last two months and more."
            elif was.p50 >= 60:
                text = f"With the charge it had, mostly two months and more; one journey in ten fewer than {rough(was.p10)} nights."
            else:
                text = f"With the charge it had, {_nights(was.p50)}; one journey in ten fewer than {rough(was.p10)}."
            if was.days:
                text = f"{text[:-1]}: from full, by {was.days} whole days of this journey drawn anew."
            yield Sentence(text=text, about="bank")
            yield from _emptied(known)
    best = next((s for s in known.savings if s.nights_more_p50 is not None and s.nights_more_p50 > 0.05), None)
    if best is not None and best.nights_more_p50 is not None:
        yield Sentence(
            text=f"Leaving {known.label(best.way)} off would add the most: {rough(best.nights_more_p50)} nights.", way=best.way, about="bank"
        )  # fmt: skip


def _nights(nights: float) -> str:
    said = rough(nights)
    return "1 night" if said == "1" else f"{said} nights"


def _emptied(known: Known) -> Iterator[Sentence]:
    """What the bank came to on the journey itself, beside what it would come to from full."""
    cutoffs = [s.cutoff_v for s in known.schedule.supplies if s.battery is not None and s.cutoff_v is not None]
    empty = [e for e in known.episodes if e.kind == "undervoltage-approach" and e.least_v is not None and cutoffs]
    first = next((e for e in empty if (e.least_v or 0.0) < max(cutoffs)), None)
    if first is None:
        return
    began = known.tides[0].charge_ah if known.tides else None
    how = "; how full it was at the start is not known" if began is None else ""
    after_s = max(0, first.from_ms - known.span.from_ms) / 1000
    yield Sentence(
        text=f"On this journey it fell below its cut-off {lasting(after_s)} after the start{how}.", at_ms=first.from_ms, about="bank"
    )  # fmt: skip


def _charge(known: Known) -> Iterator[Sentence]:
    sums: dict[str, float] = {}
    days: dict[str, set[str]] = {}
    for c in known.charge:
        sums[c.source] = sums.get(c.source, 0.0) + c.ah
        days.setdefault(c.source, set()).add(c.day)
    if not sums:
        yield Sentence(text="What charged the bank is not known: no charger has a way of its own.", about="charge")
    # A day that was read in part is no whole day.
    read = {e.way: e.read_share * known.span.days for e in known.energy if e.what == "charger" and e.read_share > 0.0}
    for source, ah in sorted(sums.items(), key=lambda x: -x[1]):
        yield Sentence(
            text=f"{known.label(source)} brought {figure(ah)} Ah, {figure(ah / read.get(source, len(days[source])))} Ah a day read.",
            way=source, about="charge",
        )  # fmt: skip


def _changes(known: Known) -> Iterator[Sentence]:
    told = [c for c in known.changes if c.told]
    if not known.changes:
        yield Sentence(text="What changed can't be said: there are not enough days to compare.", about="changes")
    elif not told:
        yield Sentence(
            text=f"Beside {known.compared}, none of {len(known.changes)} figures changed for certain.", about="changes"
        )
    else:
        ways = list(dict.fromkeys(known.label(c.way) for c in told))
        yield Sentence(
            text=f"Beside {known.compared}, {len(told)} of {len(known.changes)} figures changed for certain: {listed(ways)}.", about="changes"
        )  # fmt: skip


def _ageing(known: Known) -> Iterator[Sentence]:
    due = sorted((a for a in known.ageing if a.weeks_p50 is not None), key=lambda a: a.weeks_p50 or 0.0)
    if not known.ageing:
        yield Sentence(text="Whether anything ages can't be said: a week of days is needed.", about="ageing")
    elif not due:
        stepped = list(dict.fromkeys(known.label(a.way) for a in known.ageing if a.stepped and moved(a)))
        first = f"What {listed(stepped)} draws went in a step, not slowly; else nothing" if stepped else "Nothing"
        yield Sentence(text=f"{first} is seen to creep towards its limit.", about="ageing")
    for a in due[:3]:
        what = "at rest" if a.metric == "standby_w" else f"at {a.metric.partition(':')[2]}"
        if not a.weeks_p50:
            yield Sentence(text=f"{known.label(a.way)} draws more {what} than its band allows.", way=a.way, about="ageing")
            continue
        soon = rough(a.weeks_p10) if a.weeks_p10 is not None else "not known"
        yield Sentence(
            text=f"What {known.label(a.way)} draws {what} would reach its limit in about {rough(a.weeks_p50)} weeks, {soon} at the soonest.",
            way=a.way, about="ageing",
        )  # fmt: skip


def _percent(share: float) -> str:
    return "less than 0.1 %" if share < 0.001 else f"{rough(100 * share)} %"


def _volts(known: Known) -> Iterator[Sentence]:
    rows = sorted((v for v in known.volts if v.low_share), key=lambda v: -(v.low_share or 0.0))
    if not known.volts:
        yield Sentence(text="Volts are not measured.", about="volts")
    elif not rows:
        yield Sentence(text="Volts never fell below what counts as low where they are sensed.", about="volts")
    else:
        first = rows[0]
        yield Sentence(
            text=f"{'On the bus' if first.volts_at == 'bus' else f'At {known.label(first.way)}'} volts were below {figure(first.low_v)} V for {_percent(first.low_share or 0.0)} of the time read.",
            way=first.way, about="volts",
        )  # fmt: skip


def _alarms(known: Known) -> Iterator[Sentence]:
    if known.alarms_known:
        return
    told = [j for j in known.judged if not j.suppressed]
    if not told:
        yield Sentence(text="No alarm was told.", about="alarms")
        return
    count = {v: sum(j.verdict == v for j in told) for v in ("right", "wrong", "unknown")}
    would = " to be" if known.rehearsed else ""
    delays = sorted(j.delay_s for j in told if j.delay_s is not None)
    middle = f"; half of them within {lasting(delays[len(delays) // 2])} of what they tell" if delays else ""
    yield Sentence(
        text=f"{len(told)} {'alarm was' if len(told) == 1 else 'alarms were'}{would} told: {count['right']} right, {count['wrong']} wrong, {count['unknown']} not known{middle}.",
        about="alarms",
    )  # fmt: skip
