"""The review as one file: page 1 answers, from page 2 on stands what it rests on. It shows a Report and reckons nothing.

Nothing is fetched, nothing runs: it opens from a stick, on a phone, and prints on A4.
"""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from panelward.records import Schedule
from panelward.review import page_alarms, page_bank, page_changes, page_energy, page_first, page_ways
from panelward.review.page_parts import Safe, link, paragraph, safe
from panelward.review.page_sheet import SECTIONS, Sheet
from panelward.review.page_style import document
from panelward.review.report import Report

FOOT = "This watches; it does not protect. Local code and licensed practice win."

ROOM_MM = 274.0  # of a page of A4 between its margins
HEADS_MM, LINE_MM, WAY_MM, ROW_MM = 80.0, 4.3, 4.9, 4.1  # as measured on paper: all headings and captions, a sentence, …


def html(report: Report, schedule: Schedule) -> str:
    """The whole file. Every text of the report and of the schedule is escaped."""
    sheet = Sheet(report, schedule)
    title = f"Review: {escape(report.vehicle)}"
    return document(title, "\n".join(_body(sheet)))


def _body(sheet: Sheet) -> Iterator[str]:
    yield "<main>"
    yield from page_first.first(sheet)
    yield '<div class="second">' if _on_one_page(sheet) else "<div>"
    yield from _contents()
    yield from page_ways.ways(sheet)
    yield "</div>"
    yield from page_bank.bank(sheet)
    yield from page_changes.changes(sheet)
    yield from page_changes.ageing(sheet)
    yield from page_energy.when(sheet)
    yield from page_energy.doing(sheet)
    yield from page_ways.volts(sheet)
    yield from page_alarms.openings(sheet)
    yield from page_alarms.down(sheet)
    yield from page_alarms.judged(sheet)
    yield from page_first.trust(sheet)
    yield from _left_over(sheet)
    yield paragraph(FOOT, "foot")
    yield "</main>"


def _on_one_page(sheet: Sheet) -> bool:
    """Does page 1 end on paper's page 1? Else what follows begins where it ends, not on a third page."""
    report = sheet.report
    lines = (
        len(report.cannot_say)
        + len(report.happened)
        + 2 * bool(report.also)
        + min(5, len(report.still))
        + sum(each.about == "energy" for each in report.answers)
    )
    return HEADS_MM + LINE_MM * lines + WAY_MM * sheet.on_panel + ROW_MM * len(report.energy) <= ROOM_MM


def _contents() -> Iterator[str]:
    links = "".join(f"<li>{link(name, about)}</li>" for about, name in SECTIONS.items() if about != "energy")
    yield f'<nav aria-label="What stands where"><ul>{links}</ul></nav>'


def _left_over(sheet: Sheet) -> Iterator[str]:
    """An answer to a question that no section asks is an answer all the same."""
    rest = [each for each in sheet.report.answers if each.about not in SECTIONS]
    if rest:
        yield "<h2>And further</h2>"
        for each in rest:
            yield paragraph(Safe(f"{safe(each.text)} {sheet.where(each)}"))
