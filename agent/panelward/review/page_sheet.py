"""What every section needs: the report, the schedule, the clock, and where each way and each question stands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from panelward.papers.directory import Row, panel_directory
from panelward.records import Schedule
from panelward.review.page_parts import Clock, Safe, link, paragraph, safe
from panelward.review.report import Report, Sentence

# The question of a sentence -> the heading of the section that answers it, in the pages' order.
SECTIONS = {
    "energy": "What used the energy",
    "margins": "How near each way came to its limit",
    "bank": "The bank",
    "charge": "What charged it",
    "changes": "What changed",
    "ageing": "What is ageing",
    "when": "When it was drawn",
    "doing": "What the vehicle was doing",
    "volts": "Volts",
    "openings": "What opened or lost its feed",
    "down": "Always-on ways without feed",
    "alarms": "Were the alarms any good?",
    "trust": "What was read",
}


class Sheet:
    def __init__(self, report: Report, schedule: Schedule) -> None:
        self.report = report
        self.schedule = schedule
        try:
            self.clock = Clock(ZoneInfo(report.timezone))
        except (ZoneInfoNotFoundError, ValueError):
            self.clock = Clock(ZoneInfo("UTC"))
        self.labels = dict(report.labels)
        self.circuits = {circuit.id: circuit for circuit in schedule.circuits}
        self.entries: dict[str, Row] = {row.position: row for row in panel_directory(schedule).rows}
        # What has neither a margin nor a story has no section: a meter.
        shown = {each.way for each in report.margins} | {each.way for each in report.happened if each.way is not None}
        shown |= {way for way in report.ways if way not in self.circuits or self.circuits[way].role != "meter"}
        self._anchor = {way: f"way-{at}" for at, way in enumerate(report.ways, 1) if way in shown}

    @property
    def on_panel(self) -> int:
        """How many ways have a line and a section of their own."""
        return len(self._anchor)

    def anchor(self, way: str) -> str | None:
        """An id may hold what an anchor may not: ways are counted."""
        return self._anchor.get(way)

    def name(self, way: str | None) -> str:
        """D4 Mast lights"""
        return f"{way} {self.labels.get(way, '')}".strip() if way is not None else "whole panel"

    def head(self, way: str | None, *, label: str = "") -> Safe:
        """The way at the head of a row, as a link to its own section."""
        if way is None:
            return Safe(escape(label or "whole panel"))
        text = Safe(f"<b>{escape(way)}</b> {escape(label or self.labels.get(way, ''))}")
        anchor = self.anchor(way)
        return link(text, anchor) if anchor else text

    def heading(self, about: str) -> str:
        return f'<h2 id="{about}">{SECTIONS[about]}</h2>'

    def said(self, about: str, *, way: str | None = None) -> Iterator[str]:
        """The answers to this question, above their table."""
        for each in self.report.answers:
            if each.about == about and (way is None or each.way == way):
                yield paragraph(Safe(f"{safe(each.text)} {self.where(each)}"))

    def where(self, sentence: Sentence) -> Safe:
        """Its way and its moment, small, behind it."""
        parts = []
        if sentence.way is not None:
            anchor = self.anchor(sentence.way)
            parts.append(link(sentence.way, anchor) if anchor else Safe(escape(sentence.way)))
        if sentence.at_ms is not None:
            parts.append(Safe(escape(self.clock.moment(sentence.at_ms))))
        return Safe(f'<span class="where">{", ".join(parts)}</span>') if parts else Safe("")

    def to(self, sentence: Sentence) -> str:
        """Where its figures stand."""
        anchor = self.anchor(sentence.way) if sentence.way is not None else None
        return anchor or (sentence.about if sentence.about in SECTIONS else "trust")

    def none(self, text: str, about: str = "") -> str:
        """Where there is nothing to show; empty where an answer has said so."""
        answered = any(each.about == about for each in self.report.answers)
        return "" if answered else paragraph(text, "small")


def order(ways: Sequence[str], way: str | None) -> int:
    """In panel order; what is no way comes last."""
    return ways.index(way) if way in ways else len(ways)
