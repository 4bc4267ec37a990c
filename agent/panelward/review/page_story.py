"""What happened at one place, each time with its beginning and its end: the story above a way's figures."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from panelward.review.page_parts import Safe, folded, lasting, safe
from panelward.review.page_sheet import Sheet
from panelward.review.report import Episode
from panelward.wording.past import because

MOST = 6  # times of one place that are shown at once


def of_way(sheet: Sheet, way: str) -> Iterator[str]:
    """The episodes of a way, and the numbered sentences about it that no alarm told."""
    yield from _listed(sheet, [each for each in sheet.report.episodes if each.way == way])
    told = {each.alarm_id for each in sheet.report.episodes}
    for each in sheet.report.happened:
        if each.way == way and each.alarm_id not in told:
            yield f'<p><span class="pencil">{each.number or ""}</span> {safe(each.text)}</p>'


def of_kinds(sheet: Sheet, kinds: Sequence[str]) -> Iterator[str]:
    """Those of no single way."""
    yield from _listed(sheet, [each for each in sheet.report.episodes if each.way is None and each.kind in kinds])


def _listed(sheet: Sheet, rows: Sequence[Episode]) -> Iterator[str]:
    items = [_item(sheet, each) for each in rows]
    if items:
        yield f'<ul class="story">{"".join(items[:MOST])}</ul>'
    if len(items) > MOST:
        yield folded(f"{len(items) - MOST} more times", f'<ul class="story">{"".join(items[MOST:])}</ul>')


def _item(sheet: Sheet, each: Episode) -> str:
    number = _number(sheet, each)
    mark = f'<span class="pencil">{number}</span> ' if number is not None else ""
    text = " ".join(part for part in (each.text, because(each.kind, each.cause, each.confidence)) if part)
    return f"<li>{mark}<b>{when(sheet, each)}</b>: {safe(text)}</li>"


def when(sheet: Sheet, each: Episode) -> Safe:
    """Sat 6 Jun 16:00 to 16:15, 15 min"""
    clock = sheet.clock
    begin = clock.moment(each.from_ms)
    if each.to_ms is None:
        return Safe(f"{begin}, not seen to end")
    one_day = clock.local(each.from_ms).date() == clock.local(each.to_ms).date()
    end = f"{clock.local(each.to_ms):%H:%M}" if one_day else clock.moment(each.to_ms)
    return Safe(f"{begin} to {end}, {lasting((each.to_ms - each.from_ms) / 1000)}")


def _number(sheet: Sheet, each: Episode) -> int | None:
    """Of the sentence that tells of its kind at its place."""
    kinds = {other.alarm_id: (other.way, other.kind) for other in sheet.report.episodes}
    return next(
        (
            said.number
            for said in sheet.report.happened
            if said.alarm_id is not None and kinds.get(said.alarm_id) == (each.way, each.kind)
        ),
        None,
    )
