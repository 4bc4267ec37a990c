"""The whole vehicle, watched from elsewhere: it can't say that it fell silent. The daemon there feeds its signs of life."""

from __future__ import annotations

from typing import Any

from panelward.records import Condition, Facts, Presence, Schedule
from panelward.watch.bench import Bench

UNHEARD_S = 2 * 3600.0  # a link that comes and goes on a journey is no news (our own choice)
BACK_MS = (
    300_000  # the least that is waited once its own broker is back: bridges connect again, two signs come (our own choice)
)


class Afar:
    """The vehicle's signs of life. Without one, nothing is ever said: who watches aboard hears none."""

    def __init__(self, bench: Bench, schedule: Schedule) -> None:
        self._bench, self.vehicle = bench, schedule.vehicle.id
        self._circuits = tuple(circuit.id for circuit in schedule.circuits)  # all of them are unseen, and life's among them
        self._after_ms = round((schedule.vehicle.unheard_after_s or UNHEARD_S) * 1000)
        life = any(circuit.importance == "life" for circuit in schedule.circuits)
        self._priority = "high" if life else "medium"
        self.order = bench.enrol(self)
        self.due_ms: int | None = None
        self.heard_ms: int | None = None
        self.gone_ms: int | None = None  # its broker said that it went
        self.active = False
        self.bank_low = False
        self.alive_ms: int | None = None  # a sign came
        self.away = False  # its own broker: what can't be heard is no silence
        self.left_ms: int | None = None  # … of the silence that is borne, meanwhile
        self.put_off = False  # for its own broker's return; once a silence: a link that flaps would put it off for ever

    @property
    def listens(self) -> bool:
        """Is this the watch from afar?"""
        return self.heard_ms is not None

    def known(self, now_ms: int) -> Facts:
        """What a test message from afar says beside itself; aboard, nothing."""
        if not self.listens:
            return ()
        silent_s = None if self.alive_ms is None else (now_ms - self.alive_ms) / 1000.0
        return ("from_afar", True), ("silent_s", silent_s), ("unheard", self.active or self.alive_ms is None)

    def broker(self, here: bool, now_ms: int) -> None:
        """Its own broker came or went."""
        self.away = not here
        if self.away and self.due_ms is not None:
            self.left_ms = self.due_ms - now_ms
            self._bench.call_at(self, None)
        elif here and self.left_ms is not None:
            least_ms = 0 if self.put_off else min(BACK_MS, self._after_ms)
            self.put_off = self.put_off or self.left_ms < least_ms
            self._wait(now_ms, max(self.left_ms, least_ms))

    def _wait(self, now_ms: int, span_ms: int) -> None:
        self.left_ms = span_ms if self.away else None
        self._bench.call_at(self, None if self.away else now_ms + span_ms)

    def take(self, presence: Presence) -> None:
        """A sign of life, or its last will; or what that said of its bank."""
        now_ms = presence.received_ms
        if presence.subject == "bank":
            self.bank_low = not presence.here
            return
        if not presence.here:
            self.gone_ms = self.gone_ms if self.gone_ms is not None else now_ms
            if self.heard_ms is None:  # the first that is heard of it is that it went
                self.heard_ms = now_ms
                self._wait(now_ms, self._after_ms)
            return
        if self.active:
            self.active = False
            self._emit("ends", now_ms)
        self.heard_ms = self.alive_ms = now_ms
        self.gone_ms, self.put_off = None, False
        self._wait(now_ms, self._after_ms)

    def rest(self, now_ms: int) -> None:
        """The program was off until now: silence counts anew."""
        if self.listens and not self.active:
            self._wait(now_ms, self._after_ms)

    def fire(self, now_ms: int) -> None:
        self.active = True
        self._emit("begins", now_ms)

    def _emit(self, edge: str, now_ms: int) -> None:
        since_ms = self.heard_ms if self.heard_ms is not None else now_ms
        silent_s = (now_ms - since_ms) / 1000.0
        said = (
            ("vehicle-gone", ()) if self.gone_ms is not None else ("vehicle-silent", (("hours", round(silent_s / 3600.0, 1)),))
        )
        low = (("vehicle-low", ()),) if self.bank_low else ()
        self._bench.found.append(
            Condition(
                subject="vehicle",
                subject_id=self.vehicle,
                group="readings",
                edge=edge,
                at_ms=now_ms,
                since_ms=since_ms,
                kind="readings-overdue",
                priority=self._priority,
                circuits=self._circuits,
                figures=(("silent_s", silent_s),),
                evidence=(said, *low) if edge == "begins" else (),
            )
        )

    def save(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in _KEPT}

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state.get(name, getattr(self, name)))


_KEPT = ("due_ms", "heard_ms", "gone_ms", "active", "bank_low", "alive_ms", "away", "left_ms", "put_off")
