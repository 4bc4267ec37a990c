"""What opened or lost its feed, which always-on ways were down, and whether the alarms were any good."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from panelward.review import page_story
from panelward.review.page_parts import Safe, folded, lasting, number, share, table
from panelward.review.page_sheet import Sheet
from panelward.review.report import Judged, Opening
from panelward.wording.english import CAUSES
from panelward.wording.past import sure

KINDS = {
    "protection-opened": "device opened",
    "feed-lost": "feed lost",
    "overcurrent-approach": "too much current",
    "conductor-overheating": "cable overheating",
    "standby-drain": "draws while it should stand by",
    "unassigned-draw": "draw that no circuit accounts for",
    "undervoltage-approach": "bank near its cut-off",
    "off-profile": "an odd draw",
    "duty-high": "runs too much",
    "duty-low": "runs too little",
    "overlong-run": "runs too long at a time",
    "short-cycling": "starts too often",
    "departed-from-record": "crept from its record",
    "protection-doubtful": "device doubtful",
    "readings-overdue": "no readings",
    "reading-suspect": "readings doubtful",
    "drill": "test message",
}


def kind(name: str) -> str:
    return KINDS.get(name, name.replace("-", " "))


def openings(sheet: Sheet) -> Iterator[str]:
    report, clock = sheet.report, sheet.clock
    yield sheet.heading("openings")
    yield from sheet.said("openings")
    if not report.openings:
        yield sheet.none("No device opened and no feed was lost in what was read.", "openings")
        return
    yield table(
        "What opened or lost its feed, in time order",
        ("Way", "When", "Why", "Before it", "Volts", "Warmth", "Back", "Answered"),
        (
            (
                sheet.head(each.way),
                clock.moment(each.at_ms),
                _why(each),
                number(each.amps_before, "A"),
                number(each.volts, "V"),
                number(each.celsius, "°C"),
                f"after {lasting((each.ended_ms - each.at_ms) / 1000)}" if each.ended_ms is not None else "not seen back",
                _answer(sheet, each),
            )
            for each in sorted(report.openings, key=lambda each: each.at_ms)
        ),
        words=(0, 1, 2, 6, 7),
        folds=True,
    )


def _why(each: Opening) -> str:
    """What it was by the alarm, and its cause where one is named."""
    if each.cause in (None, "unknown"):
        return f"{kind(each.kind)}; the cause was left open"
    return f"{kind(each.kind)}: {sure(each.confidence)} {CAUSES.get(each.cause or '', each.cause)}"


def _answer(sheet: Sheet, each: Opening) -> str:
    if each.answered_ms is None:
        return "no answer"
    return f"{each.answer or 'answered'}, after {lasting((each.answered_ms - each.at_ms) / 1000)}"


def down(sheet: Sheet) -> Iterator[str]:
    report = sheet.report
    yield sheet.heading("down")
    yield from sheet.said("down")
    if not report.down:
        yield sheet.none("The schedule has no always-on way that was read.", "down")
        return
    yield table(
        "How long each always-on way was without its feed",
        ("Way", "Without feed", "Of the time read, fed", "By what"),
        (
            (
                sheet.head(each.way),
                lasting(each.down_s) if each.down_s else "never seen",
                share(each.available_share),
                "; ".join(f"{CAUSES.get(cause, cause)} {lasting(seconds)}" for cause, seconds in each.causes) or "nothing",
            )
            for each in report.down
        ),
        words=(0, 3),
        folds=True,
        marked=[each.down_s > 0.0 for each in report.down],
    )


def judged(sheet: Sheet) -> Iterator[str]:
    report = sheet.report
    yield sheet.heading("alarms")
    yield from sheet.said("alarms")
    told = [each for each in report.judged if not each.suppressed]
    kept = [each for each in report.judged if each.suppressed]
    if not report.judged:
        yield sheet.none("There was no alarm.", "alarms")
    others = {each.kind for each in report.episodes if each.way is None} - {
        "undervoltage-approach", "unassigned-draw", "readings-overdue", "reading-suspect",
    }  # fmt: skip
    yield from page_story.of_kinds(sheet, sorted(others))
    if told:
        yield _judged(sheet, told, "Each alarm: was it right, and how soon?")
    if kept:
        yield folded(f"{len(kept)} kept back, not told to anybody", _judged(sheet, kept, "Alarms kept back"))


def _began(sheet: Sheet, each: Judged) -> str:
    """And when it was so again: its figures are of all those times."""
    times = [episode.from_ms for episode in sheet.report.episodes if episode.alarm_id == each.alarm_id]
    again = [sheet.clock.moment(at_ms) for at_ms in times[1:]]
    more = f", again {again[0]}" if again else ""
    return f"{sheet.clock.moment(each.began_ms)}{more}" + (f" and {len(again) - 1} times more" if len(again) > 1 else "")


def _ended(sheet: Sheet, each: Judged) -> str:
    """The condition's end; an alarm may wait for somebody to see it long after."""
    ended_ms = each.ended_ms if each.ended_ms is not None else each.over_ms
    if ended_ms is None:
        return "not seen to end"
    waits = "" if each.over_ms is not None or each.seen_ms is not None else "; nobody has answered it"
    return f"{sheet.clock.moment(ended_ms)}{waits}"


def _judged(sheet: Sheet, rows: list[Judged], caption: str) -> str:
    return table(
        caption,
        ("Way", "Right?", "Alarm", "Began", "Told after", "Seen", "Ended", "Its id"),
        (
            (
                sheet.head(each.way),
                Safe(f"{escape(each.verdict)}{f': {escape(each.why)}' if each.why else ''}"),
                f"{kind(each.kind)}, {each.priority}",
                _began(sheet, each),
                lasting(each.delay_s) if each.delay_s is not None else "not told" if each.told_ms is None else number(None),
                sheet.clock.moment(each.seen_ms) if each.seen_ms is not None else "not seen",
                _ended(sheet, each),
                Safe(f'<span class="id">{escape(each.alarm_id)}</span>'),
            )
            for each in rows
        ),
        words=(0, 1, 2, 3, 5, 6, 7),
        folds=True,
        marked=[each.verdict == "wrong" for each in rows],
    )
