"""What the vehicle is doing: under way or at rest, on an outside AC supply, charging by sun, aboard or laid up; else unknown.

Told by what charges, by what the ignition feeds and by what a person said, never by the house volts: a managed alternator
idles at 12.3 to 12.8 V under way, and a small solar feed holds 13.5 V parked. A charger that gives nothing proves little
(bank full, switched off, failed), so it makes nothing "at rest" by itself.

Used where it is known, by `panel.doing`; what is not known excuses nothing and tells nothing:

    nobody aboard, laid up   no habit of a compressor is learned; an inverter that idles within its hours is left on, too;
                             a pump's starts are nobody's, by day as by night; laid up, `learn` learns nothing
    under way                a charger that tapers is no drain: the engine carries it
"""

from __future__ import annotations

from typing import Any

from panelward.records import Circuit, Doing, Schedule
from panelward.watch.bench import Bench
from panelward.watch.panel import Panel

# How long each must show before it counts, and before it no longer does: a cloud, a gust of traffic, a charger that
# blinks change nothing. Common practice, no source.
DELAYS_MS = {
    "ignition": (10_000, 60_000),
    "engine": (60_000, 300_000),
    "shore": (30_000, 60_000),
    "sun": (120_000, 1_800_000),
    "bank-gives": (600_000, 60_000),
}
STALE_LEAST_MS = 120_000  # as long as a circuit may be silent before it is overdue
LIVE, NOT_LIVE = 0.5, 0.2  # of nominal: an input with more is fed, one with less is not; between: not known


class Signal:
    """One channel's word on one thing: shows, does not show, not known."""

    __slots__ = ("heard_ms", "holds", "kind", "off_ms", "on_ms", "raw", "since_ms", "stale_ms", "state")

    def __init__(self, kind: str, period_ms: int, *, holds: bool) -> None:
        self.kind, self.holds = kind, holds  # holds: it publishes on change only, so silence is no news
        self.on_ms, self.off_ms = DELAYS_MS[kind]
        self.stale_ms = max(10 * period_ms, STALE_LEAST_MS)
        self.state: bool | None = None
        self.raw: bool | None = None
        self.since_ms = 0  # of `raw`, where it is another than `state`
        self.heard_ms = 0

    def due_ms(self) -> int | None:
        """When its state changes by itself if nothing more is heard."""
        due: int | None = None
        if self.raw is not None and self.raw != self.state:
            due = self.since_ms + (self.on_ms if self.raw else self.off_ms)
        if not self.holds and self.raw is not None:
            stale_ms = self.heard_ms + self.stale_ms
            due = stale_ms if due is None else min(due, stale_ms)
        return due

    def look(self, now_ms: int) -> bool:
        """Let pass what is due; returns whether its state changed."""
        was = self.state
        if self.raw is None:
            return False
        if not self.holds and now_ms >= self.heard_ms + self.stale_ms:
            self.raw = self.state = None
        elif self.raw != self.state and now_ms >= self.since_ms + (self.on_ms if self.raw else self.off_ms):
            self.state = self.raw
        return self.state != was


class DoingState:
    """The whole vehicle's."""

    def __init__(self, bench: Bench, panel: Panel, schedule: Schedule) -> None:
        self._bench, self._panel = bench, panel
        self._nominal_v = {s.id: s.nominal_v for s in schedule.supplies}
        self._sign = {s.meter: -1.0 if s.meter_sign == "charge-positive" else 1.0 for s in schedule.supplies if s.meter}
        self._signals: dict[str, dict[str, Signal]] = {}
        self.depends: dict[str, str] = {}
        outside = [s.id for s in schedule.supplies if s.kind == "ac" and s.presence == "comes-and-goes" and s.fed_by is None]
        ignition = [f.id for f in schedule.feeders if "ignition" in f.behind]
        periods = {m.name: round(1000 * m.expect_every_s) for m in schedule.monitors}
        for circuit in schedule.circuits:
            kinds = _kinds(circuit, outside, ignition, metered=circuit.id in self._sign)
            if kinds:
                period_ms, holds = periods.get(circuit.monitor or "", 5000), circuit.sense.publishes == "on-change"
                self._signals[circuit.id] = {kind: Signal(kind, period_ms, holds=holds) for kind in kinds}
                self.depends[circuit.id] = repr((kinds, period_ms, holds))
        self._circuits = {c.id: c for c in schedule.circuits if c.id in self._signals}
        self.order = bench.enrol(self)
        self.due_ms: int | None = None
        self.told: str | None = None  # aboard | nobody-aboard | laid-up, by a person
        self.changes: list[Doing] = []

    @property
    def latest(self) -> Doing:
        """As all circuits see it."""
        return self._panel.doing

    def listens(self, circuit: Circuit) -> bool:
        return circuit.id in self._signals

    def hear(self, circuit_id: str, volts: float | None, amps: float | None, watts: float | None, now_ms: int) -> None:
        """One fresh reading of a channel that `listens`."""
        circuit = self._circuits[circuit_id]
        nominal_v = self._nominal_v[circuit.supply]
        if amps is None and watts is not None:
            amps = watts / nominal_v
        changed = False
        for kind, signal in self._signals[circuit_id].items():
            raw: bool | None = None
            if kind in ("engine", "sun") and amps is not None:
                raw = abs(amps) > circuit.sense.nothing_a
            elif kind == "bank-gives" and amps is not None:
                raw = amps * self._sign[circuit_id] > circuit.sense.nothing_a
            elif kind in ("ignition", "shore"):
                raw = self._live(kind, circuit, volts, amps, nominal_v)
            if raw is None:
                continue
            signal.heard_ms = now_ms
            if raw != signal.raw:
                signal.raw, signal.since_ms = raw, now_ms
            if raw != signal.state:
                changed |= signal.look(now_ms)
                due_ms = signal.due_ms()
                if due_ms is not None and (self.due_ms is None or due_ms < self.due_ms):
                    self._bench.call_at(self, due_ms)
            elif self.due_ms is None and not signal.holds:
                self._bench.call_at(self, now_ms + signal.stale_ms)
        if changed:
            self._settle(now_ms)

    @staticmethod
    def _live(kind: str, circuit: Circuit, volts: float | None, amps: float | None, nominal_v: float) -> bool | None:
        """What flows is fed; else its volts say, where they are measured behind what switches it."""
        if amps is not None and abs(amps) > circuit.sense.nothing_a:
            return True
        if volts is None or circuit.role == "charger" or (kind == "ignition" and circuit.sense.volts_at == "bus"):
            return None
        return True if volts >= LIVE * nominal_v else False if volts <= NOT_LIVE * nominal_v else None

    def fire(self, now_ms: int) -> None:
        """Something became due, or a channel went silent."""
        changed = False
        due: int | None = None
        for signals in self._signals.values():
            for signal in signals.values():
                changed |= signal.look(now_ms)
                next_ms = signal.due_ms()
                if next_ms is not None and (due is None or next_ms < due):
                    due = next_ms
        self._bench.call_at(self, due)
        if changed:
            self._settle(now_ms)

    def tell(self, presence: str, now_ms: int) -> None:
        """A person said so."""
        self.told = presence
        self._settle(now_ms)

    def _any(self, kind: str) -> bool | None:
        """True where one channel shows it; False where one shows that it is not, and none that it is."""
        states = [signals[kind].state for signals in self._signals.values() if kind in signals]
        return True if True in states else False if False in states else None

    def _settle(self, now_ms: int) -> None:
        ignition, engine, shore, sun = (self._any(kind) for kind in ("ignition", "engine", "shore", "sun"))
        under_way: bool | None = None
        if engine or ignition:
            under_way = True
        elif ignition is False or shore or self.told == "laid-up":
            under_way = False  # nobody drives off with the cable in
        elif engine is False and self._any("bank-gives"):
            under_way = False  # a running engine would carry the loads; a charger that failed looks the same
        if under_way and self.latest.under_way is not True and self.told in ("nobody-aboard", "laid-up"):
            self.told = None  # somebody drives it: what was said is over
        told = self.told
        latest = Doing(
            at_ms=now_ms, under_way=under_way, on_shore=shore, by_sun=sun, laid_up=told == "laid-up",
            aboard=None if told is None else told == "aboard",
        )  # fmt: skip
        if not latest.same(self.latest):
            self._panel.doing = latest
            self.changes.append(latest)

    def rest(self, now_ms: int) -> None:
        """The program was off until now: what stood, stands until a channel has been silent too long."""
        for signals in self._signals.values():
            for signal in signals.values():
                signal.heard_ms = now_ms
                if signal.raw != signal.state:
                    signal.raw = signal.state
        due = [d for signals in self._signals.values() for s in signals.values() if (d := s.due_ms()) is not None]
        self._bench.call_at(self, min(due, default=None))

    def save(self) -> dict[str, Any]:
        latest = self.latest
        return {
            "told": self.told,
            "due_ms": self.due_ms,
            "now": [latest.at_ms, latest.under_way, latest.on_shore, latest.by_sun, latest.laid_up, latest.aboard],
            "signals": {
                circuit_id: {kind: [s.state, s.raw, s.since_ms, s.heard_ms] for kind, s in signals.items()}
                for circuit_id, signals in self._signals.items()
            },
            "keys": self.depends,
        }

    def restore(self, state: dict[str, Any]) -> None:
        """A channel whose keys have changed begins anew; what a person said stays."""
        self.told, self.due_ms = state["told"], state["due_ms"]
        at_ms, under_way, on_shore, by_sun, laid_up, aboard = state["now"]
        self._panel.doing = Doing(
            at_ms=at_ms, under_way=under_way, on_shore=on_shore, by_sun=by_sun, laid_up=laid_up, aboard=aboard
        )  # fmt: skip
        for circuit_id, signals in self._signals.items():
            if state["keys"].get(circuit_id) == self.depends[circuit_id]:
                for kind, values in state["signals"][circuit_id].items():
                    signal = signals[kind]
                    signal.state, signal.raw, signal.since_ms, signal.heard_ms = values


def _kinds(circuit: Circuit, outside: list[str], ignition: list[str], *, metered: bool) -> tuple[str, ...]:
    kinds: list[str] = []
    if metered:
        kinds.append("bank-gives")
    if circuit.role == "charger" and circuit.source is not None:
        kinds.append(circuit.source)
    if circuit.supply in outside and "shore" not in kinds:
        kinds.append("shore")
    if circuit.role == "load" and ("ignition" in circuit.behind or circuit.feeder in ignition):
        kinds.append("ignition")
    return tuple(kinds)
