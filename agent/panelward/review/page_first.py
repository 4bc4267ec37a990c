"""Page 1: what these pages can't say, what happened, the journey along the panel, what used the energy."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from panelward.review import page_story
from panelward.review.drawn_journey import journey
from panelward.review.page_energy import energy
from panelward.review.page_parts import Safe, figure, lasting, link, number, paragraph, plural, safe, table
from panelward.review.page_sheet import Sheet
from panelward.review.report import Sentence

_KEY = (
    ('<path d="M0 6.6h12l4-4h8l4 4h16v1H28l-4 4h-8l-4-4H0z"/>', "read: the thicker, the nearer to its device's limit"),
    ('<path d="M0 2h44M0 12h44" stroke="currentColor" stroke-width=".7" stroke-opacity=".4" fill="none"/>',
     "full width: at its device's rating; beyond them: above it"),
    ('<path d="M-2 14L10 0M6 14L18 0M14 14L26 0M22 14L34 0M30 14L42 0M38 14L50 0" stroke="currentColor" fill="none"/>',
     "hatched: unread"),
    ('<path d="M0 6h14v2H0zM30 6h14v2H30z"/>', "a gap: no feed"),
)  # fmt: skip


MOST_FIRST, MOST_STILL = 2, 4
MOST_ALSO = 6  # of what did not find room among the eight


def first(sheet: Sheet) -> Iterator[str]:
    yield from _head(sheet)
    yield from _cannot(sheet)
    yield from _happened(sheet)
    yield from _still(sheet)
    yield from _journey(sheet)
    yield from energy(sheet)


def _head(sheet: Sheet) -> Iterator[str]:
    report, clock = sheet.report, sheet.clock
    span = report.span
    if not report.readings and span.to_ms - span.from_ms <= 1000:
        yield f"<h1>{escape(report.vehicle)}: no readings</h1>"
        return
    days = f"{clock.day(span.from_ms)} to {clock.day(span.to_ms)} {clock.local(span.to_ms):%Y}"
    yield f"<h1>{escape(report.vehicle)}: {days}</h1>"
    how = {"asked": "as asked for", "the last journey": "the last journey", "all that is kept": "all that is kept"}
    yield paragraph(
        f"{clock.moment(span.from_ms)} to {clock.moment(span.to_ms)}, {lasting(span.days * 86_400)}, "
        f"{how.get(span.how, span.how)}. All times are the vehicle's.",
        "small",
    )


def _cannot(sheet: Sheet) -> Iterator[str]:
    yield "<h2>What these pages can't say</h2>"
    if not sheet.report.cannot_say:
        yield sheet.none(
            "No gap of the readings or doubt about the clock is known. What no sensor measures is not in these pages."
        )
        return
    # What was not read and what the clock doubts bear on every sentence below; the rest is there for who asks.
    items = [f"<li>{safe(each.text)} {sheet.where(each)}</li>" for each in sheet.report.cannot_say]
    matter = [each.about in ("trust", "alarms") for each in sheet.report.cannot_say]
    first = [item for item, matters in zip(items, matter, strict=True) if matters][:MOST_FIRST] or items[:1]
    rest = [item for item in items if item not in first]
    yield f'<ul class="cannot">{"".join(first)}</ul>'
    if rest:
        yield f'<details class="shown"><summary>{len(rest)} more</summary><ul class="cannot">{"".join(rest)}</ul></details>'


def _happened(sheet: Sheet) -> Iterator[str]:
    report = sheet.report
    yield "<h2>What happened</h2>"
    if not report.happened:
        yield sheet.none(
            "Nothing in the readings asks to be told. See above for what was not read."
            if sheet.report.readings
            else "Not known: nothing was read."
        )
        return
    items = []
    for at, each in enumerate(report.happened, 1):
        value = each.number if each.number is not None else at
        items.append(f'<li value="{value}">{link(each.text, sheet.to(each))} {sheet.where(each)}</li>')
    yield f'<ol class="happened">{"".join(items)}</ol>'
    if report.also:
        names = " · ".join(_also(sheet, each) for each in report.also[:MOST_ALSO])
        more = f" · and {len(report.also) - MOST_ALSO} more" if len(report.also) > MOST_ALSO else ""
        yield f'<p class="also">And also: {names}{more}.</p>'
    elif report.more_happened:
        yield paragraph(Safe(
            f"And {plural(report.more_happened, 'thing')} more: {link('what opened', 'openings')}, "
            f"{link('what changed', 'changes')}, {link('the alarms', 'alarms')}."
        ))  # fmt: skip


def _also(sheet: Sheet, each: Sentence) -> str:
    """In small print, what, and when; its section has the rest."""
    at = f", {sheet.clock.moment(each.at_ms)}" if each.at_ms is not None else ""
    return link(f"{each.text.rstrip('.')}{at}", sheet.to(each))


def _still(sheet: Sheet) -> Iterator[str]:
    """What waits for somebody: the end of what happened."""
    rows = sheet.report.still
    if not rows:
        return
    items = "".join(f"<li>{link(each.text, sheet.to(each))} {sheet.where(each)}</li>" for each in rows[:MOST_STILL])
    more = f" {len(rows) - MOST_STILL} more stand below." if len(rows) > MOST_STILL else ""
    yield f'<div class="still"><p><b>Still so at the end:</b>{more}</p><ul>{items}</ul></div>'


def _journey(sheet: Sheet) -> Iterator[str]:
    yield "<h2>The journey along the panel</h2>"
    if not sheet.report.ways:
        yield sheet.none("No way was read.")
        return
    meters = {way for way in sheet.report.ways if sheet.anchor(way) is None}  # no ways of the panel: they have no device
    drawings = "".join(journey(sheet.report, sheet.clock, meters=meters, narrow=narrow) for narrow in (False, True))
    yield figure(drawings, "A line a way, in panel order. Red numbers are those of the sentences above.")
    key = "".join(f'<li><svg viewBox="0 0 44 14" aria-hidden="true">{mark}</svg> {text}</li>' for mark, text in _KEY)
    yield f'<ul class="key">{key}</ul>'


def trust(sheet: Sheet) -> Iterator[str]:
    """The last section: what all of this rests on."""
    report = sheet.report
    yield sheet.heading("trust")
    yield from sheet.said("trust")
    yield from page_story.of_kinds(sheet, ("readings-overdue", "reading-suspect"))
    if report.coverage:
        yield table(
            "Read and unread, way by way",
            ("Way", "Read", "Unread", "Came too late", "The sensing can't show"),
            (
                (
                    sheet.head(each.way),
                    lasting(each.read_s),
                    lasting(each.unread_s),
                    plural(each.late_readings, "reading") if each.late_readings else "none",
                    "; ".join(each.not_observable) or "nothing is known of",
                )
                for each in report.coverage
            ),
            words=(0, 4),
            folds=True,
        )
    if report.clock_sets_ms:
        sets = ", ".join(sheet.clock.moment(at_ms) for at_ms in report.clock_sets_ms)
        yield paragraph(f"The clock was set at: {sets}.")
    before = f", beside {_span(sheet, report.before.from_ms, report.before.to_ms)}" if report.before else ""
    record = f"record {report.record_sha256[:12]}" if report.record_sha256 else "no sealed record"
    yield paragraph(
        f"From {report.source}, {report.readings:,} readings, {_span(sheet, report.span.from_ms, report.span.to_ms)}{before}. "
        f"Schedule {report.schedule_sha256[:12]}, {record}. "
        f"Made {sheet.clock.moment(report.made_ms)} {sheet.clock.local(report.made_ms):%Y} by panelward {report.version}."
    )
    if report.journeys:
        yield table(
            "Journeys in what is kept",
            ("Left", "Ended", "Days", "Told from"),
            (
                (sheet.clock.moment(j.from_ms), sheet.clock.moment(j.to_ms), number((j.to_ms - j.from_ms) / 86_400_000), j.by)
                for j in report.journeys
            ),
            words=(0, 1, 3),
        )


def _span(sheet: Sheet, from_ms: int, to_ms: int) -> str:
    return f"{sheet.clock.moment(from_ms)} to {sheet.clock.moment(to_ms)}"
