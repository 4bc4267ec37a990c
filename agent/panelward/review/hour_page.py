"""The warranty view as one file: what can't be shown first, then what was weighed, read, told, and what was in force.

Neutral: it says what was, not whose doing. Local time and UTC stand on every row; of the place, only the offset of local time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from html import escape

from panelward.review.drawn_hour import drawn
from panelward.review.hour import Hour, Message, Read, Switched
from panelward.review.hour_weighed import Cause
from panelward.review.page_alarms import kind
from panelward.review.page_parts import UNKNOWN, Safe, figure, number, paragraph, plural, table
from panelward.review.page_style import document
from panelward.wording.english import CAUSES

MOST_NAMED = 3  # ways in the heading
MOST_COLUMNS = 4  # ways in the table of minutes; all are in the JSON
FOOT = "This watches; it does not protect. What is not written here is not known to these pages."
_EVENTS = {
    "begins": "began",
    "begins-again": "began again",
    "acknowledge": "seen by a person",
    "ends": "over",
    "re-alarm": "told again",
    "changes": "changed",
}


class Times:
    """Both times of a moment."""

    def __init__(self, hour: Hour) -> None:
        self.zone = timezone(timedelta(seconds=hour.utc_offset_s))
        minutes = abs(hour.utc_offset_s) // 60
        self.name = f"{'−' if hour.utc_offset_s < 0 else '+'}{minutes // 60:02d}:{minutes % 60:02d}"
        self.heads = (f"Local ({self.name})", "UTC")
        self._days = {text(at_ms, zone)[:10] for at_ms in (hour.from_ms, hour.to_ms) for zone in (self.zone, UTC)}

    def both(self, at_ms: int) -> tuple[Safe, Safe]:
        return self._time(text(at_ms, self.zone)), self._time(text(at_ms, UTC))

    def of_day(self, at_ms: int) -> tuple[str, str]:
        """Without the day, where these hours are of one day in both."""
        both = text(at_ms, self.zone), text(at_ms, UTC)
        return (both[0][11:], both[1][11:]) if len(self._days) == 1 else both

    def day(self) -> str:
        return f" All on {next(iter(self._days))}." if len(self._days) == 1 else ""

    def line(self, at_ms: int | None) -> str:
        """2026-05-12 14:02:10 +02:00 (12:02:10 UTC)"""
        if at_ms is None:
            return UNKNOWN
        local, utc = text(at_ms, self.zone), text(at_ms, UTC)
        return f"{local} {self.name} ({utc if local[:10] != utc[:10] else utc[11:]} UTC)"

    def clock(self, at_ms: int) -> str:
        return text(at_ms, self.zone)[11:]

    def short(self, at_ms: int) -> str:
        return text(at_ms, self.zone)[11:16]

    @staticmethod
    def _time(said: str) -> Safe:
        return Safe(f"<time>{said}</time>")


def text(at_ms: int, zone: tzinfo) -> str:
    return f"{datetime.fromtimestamp(at_ms / 1000, zone):%Y-%m-%d %H:%M:%S}"


def html(hour: Hour) -> str:
    """The whole file. Every text is escaped."""
    return document(f"Alarm {escape(hour.alarm_id)}", "\n".join(_body(hour, Times(hour))))


def _body(hour: Hour, times: Times) -> Iterator[str]:
    labels = dict(hour.labels)
    about = ", ".join(f"{way} {labels.get(way, '')}".strip() for way in hour.ways)
    if not 0 < len(hour.ways) <= MOST_NAMED:
        about = f"{hour.subject.capitalize()} {hour.subject_id}" + (f", {len(hour.ways)} ways" if hour.ways else "")
    yield "<main>"
    yield f"<h1>{escape(about)}: {escape(kind(hour.kind))}</h1>"
    yield paragraph(f"Began {times.line(hour.since_ms)}. From two hours before to one hour after.")
    yield paragraph(
        f"{hour.vehicle}. Alarm {hour.alarm_id}. Made {times.line(hour.made_ms)} by panelward {hour.made_by}.", "small"
    )
    for remark in hour.remarks:
        yield paragraph(remark, "pencil")
    yield "<h2>What the data can't show</h2>"
    yield (
        f'<ul class="cannot">{"".join(f"<li>{escape(each)}</li>" for each in hour.cannot_show)}</ul>'
        if hour.cannot_show
        else (paragraph("No limit of the sensing is known for what this alarm is about.", "small"))
    )
    yield from _weighed(hour)
    yield from _read(hour, times)
    yield from _told(hour, times)
    yield from _done(hour, times)
    yield from _in_force(hour, times)
    yield from _minutes(hour, times)
    yield paragraph(FOOT, "foot")
    yield "</main>"


def _weighed(hour: Hour) -> Iterator[str]:
    yield "<h2>What was weighed</h2>"
    if hour.causes:
        yield table(
            "Causes, kept and rejected",
            ("Cause", "Kept?", "Probability", "Speaks for it", "Speaks against it"),
            (
                (each.text, each.verdict, _percent(each), _evidence(each.speaks_for), _evidence(each.speaks_against))
                for each in hour.causes
            ),
            words=(0, 1, 3, 4),
            shown="Causes, kept and rejected. Weights are log10 likelihood ratios: +1 makes it ten times as likely.",
        )
    else:
        yield paragraph("For an alarm of this kind no causes are weighed against each other.", "small")
    if hour.evidence:
        yield "<h3>Evidence, as it was written down then</h3>"
        yield f'<ul class="cannot">{"".join(f"<li>{escape(each)}</li>" for each in hour.evidence)}</ul>'
    else:
        yield paragraph("No evidence is kept of it.", "small")


def _percent(cause: Cause) -> str:
    return "below\u00a00.5\u00a0%" if cause.probability is None else f"{100 * cause.probability:.1f}\u00a0%"


def _evidence(found: Sequence[tuple[str, float]]) -> Safe:
    lines = (f"{escape(text)} {f'{weight:+.1f}'.replace('-', '−')}" for text, weight in found)
    return Safe("<br>".join(lines) or "nothing")


def _read(hour: Hour, times: Times) -> Iterator[str]:
    yield "<h2>What was read</h2>"
    drawing = drawn(hour, times.short)
    if not drawing:
        yield paragraph("Nothing of it is kept from these hours: neither a draw nor its lack is claimed.")
    else:
        caption = f"Minute by minute, local time ({times.name}). Thin: the most amps, the lowest volts in the minute."
        yield figure(drawing, f"{caption} Red: the alarm's beginning. A line breaks where nothing was read.")
    yield from _singles(hour, times)
    if hour.beside:
        yield table(
            "The ways beside it, ten minutes before and after",
            ("Way", "On", "Before", "After"),
            (
                (
                    Safe(f"<b>{escape(each.way)}</b> {escape(each.label)}"),
                    "the same feeder" if each.same_feeder else "the same supply",
                    number(each.before_a, "A"),
                    number(each.after_a, "A"),
                )
                for each in hour.beside
            ),
            words=(0, 1),
        )


def _volts(value: float | None) -> str:
    """To a hundredth: limits of a bank lie closer than a tenth."""
    return UNKNOWN if value is None else f"{value:.2f}"


def _singles(hour: Hour, times: Times) -> Iterator[str]:
    """Each reading around the beginning: what a minute's mean hides."""
    found = {each.way for each in hour.singles}
    ways = [way for way in hour.ways if way in found][:MOST_NAMED] + sorted(found - set(hour.ways))
    by: dict[int, dict[str, Read]] = {}
    for each in hour.singles:
        by.setdefault(each.at_ms // 1000 * 1000, {})[each.way] = each
    if not by:
        return
    rows = []
    for at_ms, here in sorted(by.items()):
        cells = [*times.of_day(at_ms)]
        for way in ways:
            cells += [number(here[way].amps), _volts(here[way].volts)] if way in here else ["unread", "unread"]
        rows.append(cells)
    yield table(
        "Readings around the beginning",
        (*times.heads, *(f"{way}, {unit}" for way in ways for unit in ("A", "V"))),
        rows,
        words=(0, 1),
        shown=f"Each reading, from one minute before the beginning ({times.clock(hour.since_ms)}) to one after.{times.day()}",
    )


def _told(hour: Hour, times: Times) -> Iterator[str]:
    yield "<h2>What was told and answered</h2>"
    yield table(
        "The alarm, step by step",
        (*times.heads, "What", "Cause then", "Sure", "Message as composed"),
        (
            (
                *times.both(each.at_ms),
                _EVENTS.get(each.event, each.event.replace("-", " ")),
                CAUSES.get(each.cause, each.cause) if each.cause is not None else "none named",
                f"{100 * each.confidence:.0f}\u00a0%" if each.confidence is not None else "not judged",
                each.message,
            )
            for each in hour.steps
        ),
        words=(0, 1, 2, 3, 5),
    )
    if not hour.messages:
        yield paragraph("No message of this alarm is in the outbox: nobody was to be told, or it is no longer kept.", "small")
        return
    yield table(
        "Messages: composed, handed over",
        (f"Composed, {times.heads[0].lower()}", "UTC", "To", "What", "Handed over, local", "UTC", "Came of it"),
        (
            (*times.both(each.composed_ms), f"address {each.address}", each.step, *_handed(each, times), _became(each))
            for each in hour.messages
        ),
        words=(0, 1, 2, 3, 4, 5, 6),
        shown="When each message was composed, and when a service took it. That it was read shows in an answer only.",
    )


def _handed(each: Message, times: Times) -> tuple[str, str]:
    return times.both(each.handed_over_ms) if each.handed_over_ms is not None else ("not taken", "not taken")


def _became(each: Message) -> str:
    why = f": {each.why}" if each.why and each.status != "handed-over" else ""
    repeat = ", perhaps twice" if each.repeat else ""
    return f"{each.status.replace('-', ' ')}{why}, tried {plural(each.attempts, 'time')}{repeat}"


def _done(hour: Hour, times: Times) -> Iterator[str]:
    yield "<h2>What was switched and done</h2>"
    rows = [
        (
            each.at_ms,
            _switched(each),
            "",
        )
        for each in hour.switched
    ]
    rows += [(each.at_ms, f"{each.what.replace('-', ' ')}{f', {each.of}' if each.of else ''}", each.why) for each in hour.deeds]
    if not rows:
        yield paragraph("No switch's state, no command and nothing that anybody asked for is kept from these hours.", "small")
        return
    yield table(
        "Switches, commands, and what was asked for or came and went",
        (*times.heads, "What", "Why, as they wrote"),
        ((*times.both(at_ms), what, why or "nothing written") for at_ms, what, why in sorted(rows)),
        words=(0, 1, 2, 3),
    )


def _switched(each: Switched) -> str:
    return f"{each.way}: {each.what} {'on' if each.to else 'off'}{'' if each.was is not None else ', as first told'}"


def _in_force(hour: Hour, times: Times) -> Iterator[str]:
    held = hour.held
    yield "<h2>What was in force</h2>"
    made = f", made {times.line(held.record_made_ms)}" if held.record_made_ms is not None else ""
    rows = [
        ("Schedule", f"{held.schedule_hash}, since {times.line(held.since_ms)}" if held.schedule_hash else "no longer kept"),
        (
            "Commissioning record",
            f"version {held.record_version}, seal {held.record_seal.removeprefix('sha256:')[:12]}{made}"
            if held.record_seal
            else "none",
        ),
        ("Program", f"panelward {held.program}" if held.program else "its version was not written down"),
        ("Clock", _clock(hour)),
    ]
    rows += [("Clock set", f"{times.line(at_ms)}, by {_seconds(by_s)}") for at_ms, by_s in held.clock_sets]
    rows += [("Replaced before", f"{each.of}: {each.why or 'its load'}, {times.line(each.at_ms)}") for each in held.replaced]
    yield table("Schedule, record, program and clock", ("What", "As it was"), rows, words=(0, 1))
    if held.ways:
        yield table(
            "The ways, as schedule and record had them",
            ("Way", "Device", "Scheduled", "Fitted", "On the record", "Conductor", "Feed", "Sensed"),
            (
                (
                    Safe(f"<b>{escape(each.way)}</b> {escape(each.label)}"),
                    each.device or UNKNOWN,
                    number(each.scheduled_a, "A"),
                    number(each.fitted_a, "A"),
                    number(each.on_record_a, "A"),
                    each.conductor or UNKNOWN,
                    each.feed or UNKNOWN,
                    each.sensed,
                )
                for each in held.ways
            ),
            words=(0, 1, 5, 6, 7),
        )


def _seconds(by_s: float) -> str:
    return f"{by_s:+.1f} s".replace("-", "−")


def _clock(hour: Hour) -> str:
    held = hour.held
    if held.clock_set is None:
        return UNKNOWN
    said = "it was set" if held.clock_set else "it was not set: times are reckoned from when it was"
    return f"{said}; times were moved by {_seconds(held.added_s)} afterwards" if held.added_s else said


def _minutes(hour: Hour, times: Times) -> Iterator[str]:
    if not hour.series:
        return
    shown = hour.series[:MOST_COLUMNS]
    by = [{minute.at_ms: minute for minute in each.minutes} for each in shown]
    warm = [{minute.at_ms: minute for minute in each.minutes} for each in hour.warmth]
    moments = sorted({at_ms for each in (*by, *warm) for at_ms in each})
    heads = [*times.heads]
    for each in shown:
        heads += [f"{each.way}, mean A", f"{each.way}, most A"]
    bus = next((at for at, found in enumerate(by) if any(minute.volts is not None for minute in found.values())), 0)
    heads += [
        f"{shown[bus].way}, mean V",
        f"{shown[bus].way}, lowest V",
        f"{shown[0].way}, switch",
        *(f"{each.way}, °C" for each in hour.warmth),
    ]
    rows = []
    for at_ms in moments:
        cells = [*times.of_day(at_ms)]
        for of_way in by:
            minute = of_way.get(at_ms)
            cells += [number(minute.amps), number(minute.most_a)] if minute is not None else ["unread", "unread"]
        first = by[0].get(at_ms)
        volts = by[bus].get(at_ms)
        cells += [_volts(volts.volts), _volts(volts.least_v)] if volts is not None else ["unread", "unread"]
        cells += ["on" if first.closed else "off"] if first is not None and first.closed is not None else ["not told"]
        cells += [number(of_probe[at_ms].celsius) if at_ms in of_probe else "unread" for of_probe in warm]
        rows.append(cells)
    yield "<h2>Minute by minute</h2>"
    left_out = len(hour.series) - len(shown)
    more = f" {left_out} more ways are in the JSON." if left_out else ""
    yield table(
        "Readings minute by minute",
        heads,
        rows,
        words=(0, 1),
        marked=[at_ms <= hour.since_ms < at_ms + 60_000 for at_ms in moments],
        shown=f"Readings minute by minute; the alarm's beginning is marked. Unread is not zero.{more}{times.day()}",
    )
