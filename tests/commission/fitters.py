"""A fitter at the rig's van: switches loads by a plan, answers what is asked; everything in one process, no clock."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from panelward.commission import Session
from panelward.records import Reading, Record, Schedule
from panelward.rig import Life, Row, Van
from panelward.schedule import load

VAN = Path(__file__).parents[2] / "config" / "survey-van.toml"
START_MS = 1_777_888_800_000  # 2026-05-04T10:00Z

# (pattern of the question, what is answered)
Reply = tuple[str, str]
USUAL: tuple[Reply, ...] = (
    (r"Who commissions", "Kari Lund"),
    (r"Which clamp meter", "clamp no. 3, calibrated in March"),
    (r"It takes about", ""),
    (r"isolated now", "yes"),
    (r"as scheduled\?", ""),
    (r"Cover on", ""),
    (r"Start now", ""),
    (r"own control, never at the panel", ""),
    (r"Neutral bond", "not by us"),
    (r"Enter: seal it", ""),
    (r"Keep measuring", "no"),
)


class Fitter:
    """Lives with the van: `minutes` are of the session."""

    def __init__(self, life: Life, session: Session, replies: tuple[Reply, ...] = USUAL) -> None:
        self.life, self.session, self.replies = life, session, list(replies)
        self.said: list[str] = []
        self.asked: list[str] = []
        self.wait_for: list[tuple[str, Callable[[Van], bool]]] = []  # a question is answered once this holds
        self.made: list[Record] = []
        self.period_ms = 2000
        self.hold_ms = 0
        self.clamp = False  # it has one round the bank's lead
        self.mute: Callable[[str], bool] = lambda _: False

    def live(self, minutes: float) -> None:
        """Readings every two seconds for so long, or until it is over."""
        end_ms = self.life.van.now_ms + round(minutes * 60_000)
        while self.life.van.now_ms < end_ms and not self.session.over:
            self.life.step_to(self.life.van.now_ms + self.period_ms)
            for row in self.life.van.sample():
                if not self.mute(row.circuit):
                    self._heard(self.session.reading(reading_of(row)))
            self._heard(self.session.advance(self.life.van.now_ms))
            self._reply()

    def _heard(self, lines: list[str]) -> None:
        self.said += lines
        if self.session.made is not None:
            self.made.append(self.session.made)
            self.session.made = None

    def _reply(self) -> None:
        for _ in range(40):
            prompt = self.session.prompt
            if prompt is None or self.life.van.now_ms < self.hold_ms:
                return
            for pattern, held in self.wait_for:
                if re.search(pattern, prompt) and not held(self.life.van):
                    return
            if self.clamp and ("clamp round" in prompt or "switch one steady" in prompt):
                self._answer(prompt, f"{self._clamp_a():.2f}")
                continue
            at = next((i for i, (pattern, _) in enumerate(self.replies) if re.search(pattern, prompt)), None)
            if at is None:
                return
            pattern, text = self.replies[at]
            if text.startswith("once:"):
                text = text.removeprefix("once:")
                del self.replies[at]
            self._answer(prompt, text)

    def _answer(self, prompt: str, text: str) -> None:
        self.asked.append(prompt)
        self.said += [f"? {prompt}", f"> {text}"]
        lines = self.session.answer(text)
        if any("changing just now" in line for line in lines):
            self.hold_ms = self.life.van.now_ms + 8_000
        self._heard(lines)

    def _clamp_a(self) -> float:
        van = self.life.van
        return float(sum(van.amps.values()) - van.solar_a)

    def taps(self) -> int:
        return self.session.state.taps


def reading_of(row: Row) -> Reading:
    return Reading(
        row.circuit, row.time_ms, row.time_ms, row.volts, row.amps, row.watts, row.closed, row.celsius, row.commanded
    )  # fmt: skip


def van_schedule() -> tuple[Schedule, str]:
    return load(VAN)
