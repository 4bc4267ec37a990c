"""What opened or lost its feed, which always-on ways were down, and whether the alarms were any good."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from panelward.review.page_parts import Safe, folded, lasting, number, share, table
from panelward.review.page_sheet import Sheet
from panelward.review.report import Judged, Opening
from panelward.wording.english import CAUSES

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
    )


def _why(each: Opening) -> str:
    """What it was by the alarm, and its cause where one is named."""
    if each.cause in (None, "unknown"):
        return f"{kind(each.kind)}; the cause was left open"
    sure = f", {share(each.confidence)}" if each.confidence is not None else ""
    return f"{kind(each.kind)}: {CAUSES.get(each.cause or '', each.cause)}{sure}"


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
    if told:
        yield _judged(sheet, told, "Each alarm: was it right, and how soon?")
    if kept:
        yield folded(f"{len(kept)} kept back, not told to anybody", _judged(sheet, kept, "Alarms kept back"))


def _judged(sheet: Sheet, rows: list[Judged], caption: str) -> str:
    clock = sheet.clock
    return table(
        caption,
        ("Way", "Right?", "Alarm", "Began", "Told after", "Seen", "Over"),
        (
            (
                sheet.head(each.way),
                Safe(f"{escape(each.verdict)}{f': {escape(each.why)}' if each.why else ''}"),
                Safe(
                    f'{escape(kind(each.kind))}<br><span class="small">{escape(each.priority)}, {escape(each.alarm_id)}</span>'
                ),
                clock.moment(each.began_ms),
                lasting(each.delay_s) if each.delay_s is not None else "not told" if each.told_ms is None else number(None),
                clock.moment(each.seen_ms) if each.seen_ms is not None else "not seen",
                clock.moment(each.over_ms) if each.over_ms is not None else "stands",
            )
            for each in rows
        ),
        words=(0, 1, 2, 3, 5, 6),
        marked=[each.verdict == "wrong" for each in rows],
    )
