"""Readings straight from the monitors, beside the watch: link, intake and clock in one."""

from __future__ import annotations

import os
import queue
from collections.abc import Callable, Iterator
from typing import Any

from panelward.clock import HostClock, Pace
from panelward.errors import BadInput, EnvironmentFault, PayloadRefused
from panelward.intake import Intake
from panelward.link import Link
from panelward.records import Presence, Reading, Schedule

TURN_S = 0.05
NUDGE = object()


class Hearing:
    """The broker's; `say` is told of the broker itself."""

    def __init__(
        self,
        schedule: Schedule,
        file: str,
        *,
        simulated: Pace | None = None,
        say: Callable[[str], None],
        turn_s: float = TURN_S,
    ) -> None:
        broker = schedule.broker
        if broker is None or not schedule.monitors:
            raise BadInput(f"{file}: commission needs a [broker] and a [[monitor]], or --readings of a recorded session")
        if simulated and broker.host not in ("127.0.0.1", "localhost", "::1"):
            raise EnvironmentFault(f"--clock is for a broker on this machine; {broker.host} is another")
        self._clock, self._intake, self._say, self._turn_s = HostClock(simulated), Intake(schedule), say, turn_s
        self._inbox: queue.SimpleQueue[Any] = queue.SimpleQueue()
        self._met = self._ended = False
        self._link = Link(
            broker, client_id=f"panelward-commission-{os.getpid()}", on_message=self._inbox.put, on_state=self._state,
            persistent=False, log=say,
        )  # fmt: skip
        self._link.subscribe(self._intake.subscriptions())
        self._link.start()

    def _state(self, connected: bool, why: str) -> None:
        self._inbox.put((connected, why))

    def items(self) -> Iterator[tuple[Reading | Presence | None, int]]:
        """(what came, or None where only time goes on; the time)"""
        while not self._ended:
            try:
                message = self._inbox.get(timeout=self._turn_s)
            except queue.Empty:
                yield None, self._clock.now_ms()
                continue
            if message is None:
                return
            if message is NUDGE:
                yield None, self._clock.now_ms()
                continue
            if type(message) is tuple:
                self._broker(*message)
                continue
            try:
                found = self._intake.message(
                    message.topic, message.payload, received_ms=self._clock.at(message.monotonic_s), retained=message.retained,
                    dup=message.dup, clock_trusted=self._clock.trusted,
                )  # fmt: skip
            except PayloadRefused as refused:
                self._intake.refusals.add(refused, message.topic, message.payload)
                continue
            for item in found:
                yield item, item.received_ms

    def _broker(self, connected: bool, why: str) -> None:
        if not connected and why and not self._met and not self._link.worth_waiting:
            raise EnvironmentFault(why)  # nothing was begun yet
        if self._met or not connected:
            self._say(f"broker: {'connected' if connected else f'away: {why}'}")
        self._met = self._met or connected

    def nudge(self) -> None:
        """Let time go on at once: somebody waits."""
        self._inbox.put(NUDGE)

    def end(self) -> None:
        self._ended = True
        self._inbox.put(None)
        self._link.stop()
        for text in self._intake.refusals.news():
            self._say(text)
