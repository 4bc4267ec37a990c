"""The bank as a tide table, the nights left in words, what leaving a way off would add, and what charged it."""

from __future__ import annotations

from collections.abc import Iterator

from panelward.review import page_story
from panelward.review.drawn_rest import tide
from panelward.review.page_parts import figure, lasting, number, paragraph, table
from panelward.review.page_sheet import Sheet
from panelward.review.report import Charge, Nights

_SCENARIO = {"none": "no charge at all", "as it was": "as on this journey"}


def bank(sheet: Sheet) -> Iterator[str]:
    report, clock = sheet.report, sheet.clock
    yield sheet.heading("bank")
    yield from sheet.said("bank")
    yield from page_story.of_kinds(sheet, ("undervoltage-approach", "unassigned-draw"))
    if not any(each.about == "bank" for each in report.answers):
        yield from (paragraph(said) for said in dict.fromkeys(nights(each) for each in report.nights))
    if any(each.p50 is not None for each in report.nights):
        yield table(
            "Nights that the bank would last",
            ("Charge", "1 in 10 fewer than", "Middle", "1 in 10 more than"),
            (
                (
                    _SCENARIO.get(each.scenario, each.scenario) + (f": {each.why_not}" if each.why_not else ""),
                    number(each.p10),
                    number(each.p50),
                    number(each.p90),
                )
                for each in report.nights
            ),
            shown="Nights that the bank would last from full, from whole days of this journey drawn anew",
            folds=True,
        )
    if not report.tides and not report.nights:
        yield sheet.none("Nothing is known of the bank: no meter was read.", "bank")
    if report.tides:
        drawing = tide(report.tides, [clock.day(each.at_ms) for each in report.tides])
        if drawing:
            yield figure(drawing, "Charge each day at 6:00 (open) and at 18:00 (full). A break: it isn't known.")
        yield table(
            "The bank, every twelve hours",
            ("When", "Charge", "In since", "Out since", "Least volts", "Unread"),
            (
                (
                    clock.moment(each.at_ms),
                    number(each.charge_ah, "Ah"),
                    number(each.in_ah, "Ah"),
                    number(each.out_ah, "Ah"),
                    number(each.least_v, "V"),
                    lasting(each.unread_s) if each.unread_s else "none",
                )
                for each in report.tides
            ),
            shown="The bank, every twelve hours: where it stood, and what came in and went out since the row above.",
            folds=True,
        )
    if report.savings:
        yield table(
            "What leaving a way off would add",
            ("Way", "Wh a day", "Nights more"),
            ((sheet.head(each.way), number(each.wh_per_day), number(each.nights_more_p50)) for each in report.savings),
        )
    yield from _charge(sheet)


def nights(each: Nights) -> str:
    """P10, P50 and P90 in words."""
    scenario = f"Charge {_SCENARIO[each.scenario]}" if each.scenario in _SCENARIO else f"Charge by {each.scenario}"
    if each.p50 is None:
        return f"{scenario}: how many nights the bank would last can't be said{f': {each.why_not}' if each.why_not else ''}."
    text = f"{scenario}, the bank would last about {number(each.p50)} nights"
    if each.p10 is not None and each.p90 is not None:
        text += f"; of ten stretches like this, one would end before {number(each.p10)}, one last beyond {number(each.p90)}"
    return f"{text}."


def _charge(sheet: Sheet) -> Iterator[str]:
    yield sheet.heading("charge")
    yield from sheet.said("charge")
    if not sheet.report.charge:
        yield sheet.none("No source of charge was read.", "charge")
        return
    sources = list(dict.fromkeys(each.source for each in sheet.report.charge))
    days = sorted({each.day for each in sheet.report.charge})
    found = {(each.day, each.source): each for each in sheet.report.charge}
    yield table(
        "What each source brought, day by day",
        ("Day", *(sheet.name(each) if each in sheet.circuits else each for each in sources)),
        ((day, *(_brought(found.get((day, source))) for source in sources)) for day in days),
        shown="What each source brought, day by day: charge, energy, hours",
    )


def _brought(each: Charge | None) -> str:
    return f"{number(each.ah, 'Ah')}, {number(each.wh, 'Wh')}, {number(each.hours, 'h')}" if each is not None else "nothing"
