"""What changed since the journey before, and what ages against the sealed record."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from panelward.review.page_parts import folded, number, paragraph, plural, share, table
from panelward.review.page_sheet import Sheet
from panelward.review.report import Ageing, Change

_METRICS = {
    "standby_w": "standby",
    "duty": "share of time it runs",
    "starts_per_day": "starts a day",
    "surge_a": "surge at its start",
    "source_ohm": "source resistance",
}


def metric(name: str) -> str:
    """level_w:low -> its draw, low"""
    head, _, level = name.partition(":")
    if head == "level_w":
        return f"draw at {level}" if level else "draw"
    return _METRICS.get(head, head.replace("_", " ")) + (f", {level}" if level else "")


def changes(sheet: Sheet) -> Iterator[str]:
    told = [each for each in sheet.report.changes if each.told]
    rest = [each for each in sheet.report.changes if not each.told]
    yield sheet.heading("changes")
    yield from sheet.said("changes")
    for each in told:
        if each.text:
            yield paragraph(each.text)
    if told:
        yield _changes(sheet, told, "What changed, with its interval")
    elif sheet.report.changes:
        yield sheet.none(f"Of {plural(len(rest), 'figure')} compared, none differs by more than chance may do.", "changes")
    else:
        yield sheet.none(
            "Nothing could be compared: there is no journey before this one, or too little of it was read.", "changes"
        )
    if told and rest:
        yield paragraph(
            f"{plural(len(told) + len(rest), 'figure')} were compared; about one in ten of those told may be chance.", "small"
        )
    if rest:
        yield folded(
            f"{plural(len(rest), 'figure')} more compared: no change proved",
            _changes(sheet, rest, "Compared, no change proved"),
        )


def _changes(sheet: Sheet, rows: Sequence[Change], caption: str) -> str:
    return table(
        caption,
        ("Way", "What", "Before", "Now", "Difference, 95 %", "Chance", "Seen"),
        (
            (
                sheet.head(each.way),
                metric(each.metric),
                *_both(each),
                _p(each.p),
                f"{each.before_n:,} / {each.now_n:,}",
            )
            for each in rows
        ),
        words=(0, 1),
        folds=True,
    )


def _both(each: Change) -> tuple[str, str, str]:
    """Before, now, and the interval of the difference; shares as percent, their difference in points."""
    if each.metric == "duty":
        between = f"{_signed(100 * each.low)} to {_signed(100 * each.high)} points"
        return share(each.before), share(each.now), between
    before, now = (max(0.0, value) if each.metric == "standby_w" else value for value in (each.before, each.now))
    return number(before, each.unit), number(now, each.unit), f"{_signed(each.low)} to {_signed(each.high)}"


def _signed(value: float) -> str:
    return f"+{number(value)}" if value > 0.0 else number(value)


def _p(value: float) -> str:
    return "below 0.001" if value < 0.001 else f"{value:.3f}"


def ageing(sheet: Sheet) -> Iterator[str]:
    rows = sheet.report.ageing
    yield sheet.heading("ageing")
    yield from sheet.said("ageing")
    if not rows:
        yield sheet.none("Nothing could be held against a sealed record.", "ageing")
        return
    moving = [each for each in rows if not each.low <= 0.0 <= each.high]
    still = [each for each in rows if each.low <= 0.0 <= each.high]
    if moving:
        yield _slopes(sheet, moving, "Slopes against the sealed record")
    if still:
        yield folded(
            f"{plural(len(still), 'figure')} without a slope that is proved",
            _slopes(sheet, still, "Slopes that are not proved"),
        )


def _slopes(sheet: Sheet, rows: Sequence[Ageing], caption: str) -> str:
    return table(
        caption,
        ("Way", "What", "Record", "Now", "A month", "95 %", "Limit", "Reached in, if it goes on"),
        (
            (
                sheet.head(each.way),
                metric(each.metric),
                number(each.record, each.unit),
                number(max(0.0, each.now) if each.metric == "standby_w" else each.now, each.unit),
                _signed(each.slope_per_month),
                f"{_signed(each.low)} to {_signed(each.high)}",
                number(each.limit, each.unit),
                reached(each),
            )
            for each in rows
        ),
        words=(0, 1, 7),
        folds=True,
        marked=[each.weeks_p50 is not None and not each.low <= 0.0 <= each.high for each in rows],
    )


def reached(each: Ageing) -> str:
    """~ 14 weeks (9 to 30)"""
    if each.limit is None:
        return number(None)
    if each.stepped:
        return "it went in a step, not slowly"
    if each.low <= 0.0 <= each.high:
        return "no slope is proved"
    if each.weeks_p50 is None:
        return "not within ten years" if each.slope_per_month > 0.0 else "it moves away from it"
    between = (
        f" ({number(each.weeks_p10)} to {number(each.weeks_p90)})"
        if each.weeks_p10 is not None and each.weeks_p90 is not None
        else ""
    )
    return f"about {number(each.weeks_p50)} weeks{between}"
