"""The same program elsewhere: it hears the vehicle's signs of life over a bridged broker, and says when none comes.

It takes no readings: what is drawn aboard is judged aboard. Its own topics stand under `…/afar/`.
"""

from __future__ import annotations

import json
from math import isfinite
from typing import Any

from panelward.daemon import Daemon
from panelward.link import Message
from panelward.records import Presence
from panelward.records.inputs import ABOARD

APART_S = 5.0  # two signs that are nearer tell nothing of whether they waited
DELAY_S = 60.0  # a sign that took so much longer than the one before it was kept somewhere on its way


class Heard:
    """Which signs prove life: two of one run of the watch aboard, as far apart here as they were sent.

    A bridge that connects again tells what was retained once more, and not as retained; so does a broker that starts anew, with
    an older one perhaps; and what waited for the link comes all at once. None of them shows that the vehicle lives now.
    Runs have names and `up_s` is by a clock that nobody sets: new starts, steps back and 1970 are nothing special.
    """

    def __init__(self) -> None:
        self._run: str | None = None
        self._up_s = self._at_s = 0.0  # of the sign that the next is measured by
        self._latest_s = 0.0

    def take(self, told: dict[str, Any], at_s: float, *, kept: bool = False) -> tuple[bool, bool]:
        """Is it no older than what was heard before? Does it prove life? `kept`: its own broker tells it again; it proves
        nothing, and nothing is measured by it, or a live one after it would seem to come too soon."""
        run, up_s = told.get("run"), told.get("up_s")
        if not isinstance(run, str) or not isinstance(up_s, (int, float)) or not isfinite(up_s):
            return True, not kept  # of a version that says neither
        if kept:
            return run != self._run or up_s >= self._latest_s, False
        if run != self._run:
            self._run, self._up_s, self._at_s, self._latest_s = run, up_s, at_s, up_s
            return True, False
        if up_s < self._latest_s:
            return False, False
        self._latest_s = up_s
        there_s, here_s = up_s - self._up_s, at_s - self._at_s
        if there_s < APART_S:
            return True, False
        self._up_s, self._at_s = up_s, at_s
        return True, there_s / 2 <= here_s <= there_s + DELAY_S


class AfarDaemon(Daemon):
    """One vehicle, from afar."""

    ROLE = "panelward-afar"
    DOOR = False
    SILENCE_FROM_START = False  # of circuits: nothing is read here
    _low: bool | None = None  # its last word was that its bank nears the cut-off; None: not heard since the start
    _journals: bool | None = None  # the watch aboard can write its journal

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._heard_aboard = Heard()

    def _topic(self, rest: str) -> str:
        return f"panelward/{self.schedule.vehicle.id}/afar/{rest}"

    @property
    def _aboard(self) -> str:
        return f"panelward/{self.schedule.vehicle.id}/sign-of-life"

    def _filters(self) -> tuple[tuple[str, int], ...]:
        return ((self._aboard, 1), (self._topic("request/+"), 1))

    def _message(self, message: Message) -> None:
        if message.topic != self._aboard:
            super()._message(message)
            return
        try:
            told = json.loads(message.payload)
        except (ValueError, RecursionError):
            return
        if not isinstance(told, dict):
            return
        ended = told.get("ended") is True
        at_ms, vehicle = self._clock.at(message.monotonic_s), self.schedule.vehicle.id
        newest, proves = self._heard_aboard.take(told, message.monotonic_s, kept=message.retained)
        low = bool(told.get("nears_cut_off"))
        if newest and (low or not ended) and low != self._low:  # the last will knows nothing of the bank
            self._low = low
            self._feed(Presence(received_ms=at_ms, subject="bank", name=vehicle, here=not low))
        journals = told.get("journals") is not False
        if newest and not ended and journals != self._journals:
            self._journals = journals
            self._feed(Presence(received_ms=at_ms, subject="journal", name=ABOARD, here=journals))
        if ended or proves:
            self._feed(Presence(received_ms=at_ms, subject="vehicle", name=vehicle, here=not ended))

    def _say_start(self) -> None:
        super()._say_start()
        vehicle = self.schedule.vehicle.id  # from here on silence counts, though nothing was heard yet
        self._feed(Presence(received_ms=self._clock.now_ms(), subject="vehicle", name=vehicle, here=False))
        self._log("from afar: only the vehicle's signs of life are heard; what is drawn aboard is judged aboard")
