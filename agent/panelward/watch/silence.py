"""Silence: readings that did not come. Group `readings`. Nothing is claimed about what they would have said.

A circuit is silent by itself; where all of a monitor's are, the monitor is; where the broker is away, the broker is.
An on-change publisher is not overdue because it is quiet: only its will, or the broker, speaks for it.
"""

from __future__ import annotations

from typing import Any

from panelward.records import Condition, Facts, Monitor
from panelward.watch.afar import Afar
from panelward.watch.bench import Bench

BROKER_S = 120.0
_LATE: Facts = (("late", True),)


class Silence:
    """One circuit's (or probe's) silence."""

    def __init__(self, bench: Bench, subject_id: str, over: MonitorSilence, on_change: bool, judged: bool) -> None:
        self._bench, self._subject_id, self._over = bench, subject_id, over
        self.on_change, self.judged = on_change, judged
        self.order = bench.enrol(self)
        self.due_ms: int | None = None
        self.heard_ms: int | None = None  # last received; None: never
        self.active = False
        self.hidden = False  # its monitor's silence explains it
        self.since_ms = 0
        over.members.append(self)

    def begin(self, now_ms: int) -> None:
        """Count silence from now (the start, or a return of the broker or the program)."""
        self.heard_ms = now_ms
        if not self.on_change and self.judged and not self.active:
            self._bench.call_at(self, now_ms + self._over.limit_ms)

    def hear(self, now_ms: int, *, late: bool = False) -> None:
        """A reading came, whatever it said; `late`: it was measured before, so what lay in between is known."""
        self.heard_ms = now_ms
        if self.due_ms is None and not self.on_change and self.judged:
            self._bench.call_at(self, now_ms + self._over.limit_ms)
        if self._over.active:
            self._over.end(now_ms, late=late)
        if self.active:
            self.active = False
            if not self.hidden:
                self._emit("ends", now_ms, late=late)
            self.hidden = False

    def shown_overdue(self, now_ms: int) -> bool:
        return self.heard_ms is None or now_ms - self.heard_ms >= self._over.shown_ms

    def fire(self, now_ms: int) -> None:
        if self.active or self.heard_ms is None:
            return
        true_ms = self.heard_ms + self._over.limit_ms
        if true_ms > now_ms:
            self._bench.call_at(self, true_ms)
            return
        if self._over.broker_away():
            return  # the broker's silence explains it; `begin` is called when it is back
        if self._over.explains(now_ms):
            return
        self.active, self.since_ms = True, self.heard_ms
        self._emit("begins", now_ms)

    def hide(self, now_ms: int) -> None:
        if self.active and not self.hidden:
            self.hidden = True
            self._emit("suppressed", now_ms)

    def _emit(self, edge: str, now_ms: int, *, late: bool = False) -> None:
        every_s, facts = self._over.monitor.expect_every_s, _LATE if late else ()
        self._bench.found.append(_condition("circuit", self._subject_id, edge, now_ms, self.since_ms, (), every_s, facts))

    def save(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in ("due_ms", "heard_ms", "active", "hidden", "since_ms")}

    def restore(self, state: dict[str, Any]) -> None:
        for name in ("due_ms", "heard_ms", "active", "hidden", "since_ms"):
            setattr(self, name, state[name])


class MonitorSilence:
    """All of one monitor's circuits."""

    def __init__(self, bench: Bench, monitor: Monitor, broker: BrokerSilence) -> None:
        self._bench, self.monitor, self._broker = bench, monitor, broker
        self.limit_ms = round(monitor.overdue_s * 1000)
        self.shown_ms = round(monitor.shown_overdue_s * 1000)
        self.members: list[Silence] = []
        self.active = False
        self.said_gone = False  # by its will
        self.since_ms = 0
        broker.monitors.append(self)

    def broker_away(self) -> bool:
        return self._broker.away_ms is not None

    def explains(self, now_ms: int) -> bool:
        """Is it the monitor as a whole? Begins the monitor's condition if so."""
        if self.active:
            return True
        judged = [m for m in self.members if m.judged and m.heard_ms is not None and not m.on_change]
        if len(judged) < 2 or not all(m.shown_overdue(now_ms) for m in judged):
            return False
        self._begin(now_ms)
        return True

    def presence(self, here: bool, now_ms: int) -> None:
        """Its will, or its own word that it is back. Only a reading ends its silence: `here` proves no value."""
        self.said_gone = not here
        if not here and not self.active:
            self._begin(now_ms)

    def _begin(self, now_ms: int) -> None:
        heard = [m.heard_ms for m in self.members if m.heard_ms is not None]
        # By its will it is gone from now; by silence, since it was last heard.
        self.active, self.since_ms = True, now_ms if self.said_gone or not heard else max(heard)
        self._emit("begins", now_ms)
        for member in self.members:
            member.hide(now_ms)

    def end(self, now_ms: int, *, late: bool = False) -> None:
        self.active = self.said_gone = False
        self._emit("ends", now_ms, late=late)
        for member in self.members:
            if member.active:  # it was silent before the others: its own silence goes on
                member.hidden = False
                member._emit("unsuppressed", now_ms)
            else:
                member.begin(now_ms)

    def _emit(self, edge: str, now_ms: int, *, late: bool = False) -> None:
        circuits = tuple(m._subject_id for m in self.members if m.judged and m.heard_ms is not None)
        facts: Facts = (("will", self.said_gone), *(_LATE if late else ()))
        self._bench.found.append(
            _condition("monitor", self.monitor.name, edge, now_ms, self.since_ms, circuits, self.monitor.expect_every_s, facts)
        )

    def save(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in ("active", "said_gone", "since_ms")}

    def restore(self, state: dict[str, Any]) -> None:
        for name in ("active", "said_gone", "since_ms"):
            setattr(self, name, state[name])


class BrokerSilence:
    """The broker: away from us, so everything is silent."""

    def __init__(self, bench: Bench, host: str, afar: Afar) -> None:
        self._bench, self.host, self._afar = bench, host, afar
        self.order = bench.enrol(self)
        self.due_ms: int | None = None
        self.monitors: list[MonitorSilence] = []
        self.away_ms: int | None = None
        self.active = False

    def presence(self, here: bool, now_ms: int) -> None:
        self._afar.broker(here, now_ms)
        if here:
            was_away = self.away_ms is not None
            if self.active:
                self._emit("ends", now_ms)
            self.active, self.away_ms = False, None
            self._bench.call_at(self, None)
            if was_away:
                for monitor in self.monitors:
                    for member in monitor.members:
                        if member.heard_ms is not None and not member.active:
                            member.begin(now_ms)
        elif self.away_ms is None:
            self.away_ms = now_ms
            self._bench.call_at(self, now_ms + round(BROKER_S * 1000))

    def rest(self) -> None:
        """The program was off: whether the broker was away meanwhile nobody knows."""
        if not self.active:
            self.away_ms = None
            self._bench.call_at(self, None)

    def fire(self, now_ms: int) -> None:
        if self.away_ms is not None and not self.active:
            self.active = True
            self._emit("begins", now_ms)

    def _emit(self, edge: str, now_ms: int) -> None:
        circuits = tuple(m._subject_id for monitor in self.monitors for m in monitor.members if m.judged)
        facts: Facts = ()
        if self._afar.listens:  # it is no reading that does not come
            circuits, facts = (), (("from_afar", True),)
        self._bench.found.append(_condition("broker", self.host, edge, now_ms, self.away_ms or now_ms, circuits, None, facts))

    def save(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in ("due_ms", "away_ms", "active")}

    def restore(self, state: dict[str, Any]) -> None:
        for name in ("due_ms", "away_ms", "active"):
            setattr(self, name, state[name])


def _condition(
    subject: str,
    subject_id: str,
    edge: str,
    now_ms: int,
    since_ms: int,
    circuits: tuple[str, ...],
    every_s: float | None,
    facts: Facts = (),
) -> Condition:
    return Condition(
        subject=subject,
        subject_id=subject_id,
        group="readings",
        edge=edge,
        at_ms=now_ms,
        since_ms=since_ms,
        kind="readings-overdue",
        priority="medium",
        circuits=circuits,
        figures=(("silent_s", (now_ms - since_ms) / 1000.0), *facts),
        evidence=(
            ("said-gone", ())
            if ("will", True) in facts
            else ("unheard-meanwhile", ())
            if ("from_afar", True) in facts
            else ("silence", (("seconds", (now_ms - since_ms) / 1000.0), ("every_s", every_s))),
        ),
    )
