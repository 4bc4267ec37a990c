"""The same program elsewhere: it hears the vehicle's signs of life over a bridged broker, and says when none comes.

It takes no readings: what is drawn aboard is judged aboard. Its own topics stand under `…/afar/`.
"""

from __future__ import annotations

import json

from panelward.daemon import Daemon
from panelward.link import Message
from panelward.records import Presence


class AfarDaemon(Daemon):
    """One vehicle, from afar."""

    ROLE = "panelward-afar"
    DOOR = False
    SILENCE_FROM_START = False  # of circuits: nothing is read here
    _low = False  # its last word was that its bank nears the cut-off

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
        if message.retained and not ended:
            return  # of an unknown age: it proves no life
        at_ms = self._clock.at(message.monotonic_s)
        if (low := bool(told.get("nears_cut_off"))) != self._low:
            self._low = low
            self._feed(Presence(received_ms=at_ms, subject="bank", name=self.schedule.vehicle.id, here=not low))
        self._feed(Presence(received_ms=at_ms, subject="vehicle", name=self.schedule.vehicle.id, here=not ended))

    def _say_start(self) -> None:
        super()._say_start()
        vehicle = self.schedule.vehicle.id  # from here on silence counts, though nothing was heard yet
        self._feed(Presence(received_ms=self._clock.now_ms(), subject="vehicle", name=vehicle, here=False))
        self._log("from afar: only the vehicle's signs of life are heard; what is drawn aboard is judged aboard")
