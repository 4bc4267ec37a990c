"""What befell the vehicle: every time that an alarm's condition held, the eight worst in sentences, what has not ended."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from panelward.records import Schedule
from panelward.review.alarms import Alarm
from panelward.review.gathered import Gathered
from panelward.review.judged import least_bus_v
from panelward.review.report import Episode, Sentence, Span
from panelward.review.told import Known, surge
from panelward.wording.past import figure, past, short, still, times

MOST_HAPPENED = 8
AGAIN = 300.0  # that a way has been told of already weighs as much as a priority of high
SAID_FIRST = 90.0  # silence is among what can't be said, before all else
WEIGHT = {"high": 300.0, "medium": 200.0, "low": 100.0, "journal": 0.0}
ABOUT_OF = {
    "protection-opened": "openings", "feed-lost": "openings", "overcurrent-approach": "margins",
    "conductor-overheating": "margins", "protection-doubtful": "margins", "undervoltage-approach": "bank",
    "standby-drain": "energy", "unassigned-draw": "energy", "readings-overdue": "trust", "reading-suspect": "trust",
    "departed-from-record": "ageing",
}  # fmt: skip
NOT_TOLD = ("flood", "messages-unsent", "journal-unwritten", "drill")
CARRIED = ("overcurrent-approach", "conductor-overheating")  # what is told of is the current


def episodes(schedule: Schedule, gathered: Gathered, alarms: Sequence[Alarm], span: Span) -> tuple[Episode, ...]:
    """Of all alarms of a span, in time order."""
    found = []
    for alarm in alarms:
        if alarm.kind in NOT_TOLD:
            continue
        for number, (begin, end) in enumerate(alarm.episodes or [(alarm.since_ms, alarm.ended_ms)]):
            if begin >= span.to_ms or (end is not None and end <= span.from_ms):
                continue
            found.append(_episode(schedule, gathered, alarm, number, (begin, end), span))
    return tuple(sorted(found, key=lambda e: (e.from_ms, e.alarm_id)))


def _episode(
    schedule: Schedule, gathered: Gathered, alarm: Alarm, number: int, held: tuple[int, int | None], span: Span
) -> Episode:
    begin, end = held
    end = end if end is not None and end <= span.to_ms else None
    # The minutes that it touches: it may be over within one.
    first = max(0, gathered.at(max(begin, span.from_ms)))
    part = slice(first, max(first, gathered.at((span.to_ms if end is None else end) - 1)) + 1)
    most_a = least_v = None
    if alarm.way in gathered.ways:
        amps = gathered.ways[alarm.way].grid.most_a[part]
        most_a = None if not len(amps) or np.isnan(amps).all() else float(np.nanmax(amps))
    if alarm.subject == "supply":
        least_v = least_bus_v(gathered, alarm.subject_id, part)
    figures = alarm.figures_of(number)
    cause, confidence = figures.get("cause", alarm.cause), figures.get("confidence", alarm.confidence)
    made = Episode(
        alarm_id=alarm.id, way=alarm.way, kind=alarm.kind, from_ms=begin, to_ms=end, most_a=most_a, least_v=least_v,
        cause=cause, confidence=confidence, text="",
    )  # fmt: skip
    label = named(schedule, alarm)
    return replace(made, text=past(alarm.kind, label, _figures(alarm, number, made), None, cause, timed=False))


def _figures(alarm: Alarm, number: int, episode: Episode) -> dict[str, Any]:
    """As the alarm told then, and the worst that was read then."""
    figures = dict(alarm.figures_of(number))
    if alarm.kind in CARRIED and episode.most_a is not None:
        figures["draw_a"] = episode.most_a
    if episode.least_v is not None:
        figures["least_v"] = episode.least_v
    return figures


def named(schedule: Schedule, alarm: Alarm) -> str:
    """What an alarm is about, in words."""
    subject, name = alarm.subject, alarm.subject_id
    if subject == "circuit":
        return next((short(c.label) for c in schedule.circuits if c.id == name), name)
    if subject == "monitor":
        return f"the monitor {name}"
    if subject == "supply":
        bank = any(s.id == name and s.battery is not None for s in schedule.supplies)
        return f"the {name} {'bank' if bank else 'supply'}"
    return {"broker": "the broker", "vehicle": "the vehicle", "feeder": f"the feeder {name}"}.get(subject, name)


def happened(known: Known) -> tuple[tuple[Sentence, ...], tuple[Sentence, ...]]:
    """At most eight in time order, numbered, chosen worst first; and, in time order too, those that found no room."""
    rated = sorted(_each_once(_candidates(known)), key=lambda pair: (-pair[0], pair[1].at_ms or 0))
    chosen = sorted((s for _, s in rated[:MOST_HAPPENED]), key=lambda s: s.at_ms or 0)
    also = sorted((s for _, s in rated[MOST_HAPPENED:]), key=lambda s: s.at_ms or 0)
    return tuple(replace(s, number=at) for at, s in enumerate(chosen, start=1)), tuple(also)


def _each_once(found: Iterator[tuple[float, Sentence]]) -> Iterator[tuple[float, Sentence]]:
    """The worst of every way comes before the second worst of any; what opened is asked for first, and never waits."""
    said: set[str] = set()
    for weight, sentence in sorted(found, key=lambda pair: -pair[0]):
        again = sentence.way is not None and sentence.way in said and sentence.about != "openings"
        if sentence.way is not None:
            said.add(sentence.way)
        yield weight - (AGAIN if again else 0.0), sentence


def _candidates(known: Known) -> Iterator[tuple[float, Sentence]]:
    """(weight, sentence): alarms of one kind about one thing are one."""
    groups: dict[tuple[str, str, str], list[Alarm]] = {}
    for alarm in known.alarms:
        if alarm.kind not in NOT_TOLD:
            groups.setdefault((alarm.subject, alarm.subject_id, alarm.kind), []).append(alarm)
    for (_, _, kind), alarms in groups.items():
        ids = {a.id for a in alarms}
        held = [e for e in known.episodes if e.alarm_id in ids]
        if not held:
            continue
        weight = max(WEIGHT.get(a.priority, 0.0) for a in alarms)
        weight = min(weight, SAID_FIRST) if kind == "readings-overdue" else weight
        weight += 50.0 if kind in ("protection-opened", "feed-lost", "conductor-overheating") else 0.0
        yield weight, _sentence(known, alarms, held)
    yield from _unalarmed(known)


def _sentence(known: Known, alarms: Sequence[Alarm], held: Sequence[Episode]) -> Sentence:
    """Of alarms of one kind about one thing: the first time's figure, or a bank's lowest; and when it was so again."""
    worst = max(alarms, key=lambda a: WEIGHT.get(a.priority, 0.0))
    cutoff = worst.figures.get("cutoff_v")
    chosen = next(e for e in held if e.alarm_id == worst.id)
    lowest = min((e for e in held if e.least_v is not None), key=lambda e: e.least_v or 0.0, default=None)
    if lowest is not None and isinstance(cutoff, int | float):
        chosen = lowest
        below = [e for e in held if e.least_v is not None and e.least_v < cutoff]
        held = below or held
    alarm = next(a for a in alarms if a.id == chosen.alarm_id)
    number = next((n for n, (begin, _) in enumerate(alarm.episodes) if begin == chosen.from_ms), 0)
    ended = all(e.to_ms is not None for e in held)
    lasted_s = sum((e.to_ms or 0) - max(e.from_ms, known.span.from_ms) for e in held) / 1000 if ended else None
    text = past(alarm.kind, named(known.schedule, alarm), _figures(alarm, number, chosen), lasted_s, chosen.cause)
    if len(held) > 1:
        last = _day(max(e.from_ms for e in held), known.zone)
        if last == _day(min(e.from_ms for e in held), known.zone):
            again = times(len(held))
        else:
            again = f"again {last}" if len(held) == 2 else f"{times(len(held))}, last {last}"
        text = f"{text[:-1]}; {again}."
    return Sentence(
        text=text, way=alarm.way, at_ms=max(min(e.from_ms for e in held), known.span.from_ms),
        about=ABOUT_OF.get(alarm.kind, "alarms"), alarm_id=chosen.alarm_id,
    )  # fmt: skip


def _day(at_ms: int, zone: ZoneInfo) -> str:
    local = datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone)
    return f"{local:%a} {local.day} {local:%b}"


def _unalarmed(known: Known) -> Iterator[tuple[float, Sentence]]:
    """What the figures show and no alarm told."""
    opened = {o.way for o in known.openings}
    said = {a.way for a in known.alarms if a.kind in (*CARRIED, "protection-doubtful")}
    for m in known.margins:
        if m.way not in said and m.least_margin is not None and m.least_margin < 0.0 and m.worst_minute_a is not None:
            held = next((h for h in m.held if h.seconds >= 60.0), None)
            above = m.fitted_a is not None and m.worst_minute_a > m.fitted_a
            than = "above the rating of its" if above else "more than in so warm a panel is carried for long by its"
            text = f"{known.label(m.way)} carried {figure(m.worst_minute_a)} A for a minute, {than} {m.device}."
            yield 150.0 if above else 80.0, Sentence(text=text, way=m.way, at_ms=held.at_ms if held else None, about="margins")
        elif m.way not in said and m.way not in opened and (brief := surge(m)) is not None:
            text, at_ms = brief
            yield 120.0, Sentence(text=f"{known.label(m.way)} carried {text}.", way=m.way, at_ms=at_ms, about="margins")
    moved = {a.way for a in known.alarms if a.kind in ("standby-drain", "departed-from-record")}
    for change in known.changes:
        if (
            change.told
            and change.way not in moved
            and change.metric.partition(":")[0] in ("standby_w", "level_w", "source_ohm")
        ):
            yield 60.0, Sentence(text=change.text, way=change.way, at_ms=known.span.from_ms, about="changes")


def still_so(known: Known) -> tuple[Sentence, ...]:
    """What had not ended at the span's end: what to do, the most urgent first; of one kind about one thing once."""
    open_ids = {e.alarm_id: e for e in known.episodes if e.to_ms is None}
    rows = [a for a in known.alarms if a.id in open_ids and not a.suppressed and a.kind not in NOT_TOLD]
    rows.sort(key=lambda a: (-WEIGHT.get(a.priority, 0.0), open_ids[a.id].from_ms))
    found: dict[tuple[str, str], Sentence] = {}
    for alarm in rows:
        episode = open_ids[alarm.id]
        message = str(alarm.figures.get("message", ""))
        text = still(alarm.kind, named(known.schedule, alarm), message)
        found.setdefault(
            (alarm.subject_id, alarm.kind),
            Sentence(
                text=text, way=alarm.way, at_ms=episode.from_ms, about=ABOUT_OF.get(alarm.kind, "alarms"), alarm_id=alarm.id
            ),
        )
    return tuple(found.values())
