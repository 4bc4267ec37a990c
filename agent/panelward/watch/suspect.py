"""Values that can't be. Group `readings`, kind reading-suspect; low: nobody needs to get up for it.

    impossible   more than the supply can give, or a bus far above its nominal: a wrong scale. Kept from the physics.
                 Volts that several channels of a supply show together are its bus's: a jump start, not a scale
    watts        watts that are not volts times amps
    backwards    a load that gives current: its sensor is the wrong way round, or something feeds back through it
    saturated    at the most that its meter can show (`full_scale_a`): it is this or more
    stuck        the same to the last digit while the bus moved by more than its resolution shows, or while the bank's
                 meter fell by what it goes on showing (`unmoved`)

Each is said once, by its cause, and ends when readings are plausible again. One odd reading proves nothing.
"""

from __future__ import annotations

from typing import Any

from panelward.records import Circuit, Condition, Figure, Supply
from panelward.watch.bench import Bench

TIMES_RATING = 100.0  # where the fault current is not written: no device lets so much pass for two readings
TIMES_FAULT = 1.2
TIMES_NOMINAL = 1.6  # of volts: a 24 V reading on a 12 V bus, millivolts as volts; a load dump is over in 0.4 s (ISO 16750-2)
TIMES_JUMP = (
    2.2  # a jump start from a 24 V vehicle: 26 V for 60 s on a 12 V supply (ISO 16750-2:2023 4.3.1.2). No bus goes higher
)
ALIKE = 0.1  # of the volts: two channels of one bus, their gains and the drop up to a load
NO_VOLTS = 0.3  # of nominal: a channel behind an open device says nothing of the bus
READINGS = {"scale": 3, "watts": 10, "saturated": 10, "backwards": 20, "back-feed": 10, "stuck": 20}
LASTING_MS = {"scale": 10_000, "watts": 60_000, "saturated": 10_000, "backwards": 60_000, "back-feed": 60_000, "stuck": 600_000}
GOOD = 20  # plausible readings in a row that end it
RATIO = 1.25
POWER_FACTOR_LEAST = 0.2
WATTS_LEAST = 5.0
LEAST_STEPS = 20.0  # a smaller draw is not judged
STEPS = 5.0  # of resolution that the bus's movement must amount to
FOLLOWS = ("constant-power", "constant-impedance", "fan")  # what changes its current with the bus


class Suspect:
    """One circuit's plausibility."""

    __slots__ = (
        "_ac", "_bench", "_beside", "_circuit", "_follows", "_full_a", "_nominal_v", "_old_ms", "_on_change", "_over_a",
        "_over_v", "_res", "_zero", "active", "bus_high", "bus_low", "count", "doubt", "ever", "fell_a", "good", "heard_ms",
        "held_a", "held_ms", "high_ms", "last", "seen_ms", "seen_v", "since_ms", "value",
    )  # fmt: skip

    def __init__(self, bench: Bench, circuit: Circuit, supply: Supply, beside: list[Suspect], period_ms: int) -> None:
        """`beside`: those of its supply, this one too once it is made."""
        self._bench, self._circuit, self._beside = bench, circuit, beside
        self._old_ms = max(3 * period_ms, 10_000)
        beside.append(self)
        self._res = circuit.sense.resolution_a
        self._zero = max(3.0 * self._res, 0.05)
        self._nominal_v, self._ac = supply.nominal_v, supply.kind == "ac"
        self._over_v = TIMES_NOMINAL * supply.nominal_v
        rating = circuit.protection.fitted_a if circuit.protection else None
        limit = TIMES_FAULT * supply.fault_max_a if supply.fault_max_a is not None else None
        self._over_a = limit if limit is not None else TIMES_RATING * rating if rating is not None else None
        self._full_a = circuit.sense.full_a
        # Of sockets and inverters nobody knows what hangs on them.
        known = [load for load in circuit.loads if load.levels and load.kind not in ("socket", "inverter")]
        self._follows = bool(known) and len(known) == len(circuit.loads) and all(load.behaves in FOLLOWS for load in known)
        self._follows = self._follows and circuit.sense.publishes == "always" and circuit.role == "load"
        self._on_change = circuit.sense.publishes == "on-change"
        self.doubt: str | None = None  # which cause is being counted
        self.count = 0
        self.since_ms = 0
        self.good = 0
        self.ever = False  # it has drawn like a load before
        self.value: float | None = None  # the last amps, and the bus since they last changed
        self.last = 0.0
        self.bus_low = self.bus_high = 0.0
        self.seen_v = 0.0  # its last volts of now
        self.seen_ms: int | None = None
        self.high_ms: int | None = None  # above what a bus has since
        self.heard_ms: int | None = None  # its last reading of now
        self.held_a = 0.0  # its last amps, and since when not one digit of them has changed
        self.held_ms = 0
        self.fell_a: float | None = None  # by how much the meter fell, where that is why it is told
        self.active: str | None = None

    @property
    def id(self) -> str:
        return self._circuit.id

    @property
    def step_a(self) -> float:
        """The resolution of its amps."""
        return self._res

    @property
    def may_be_held(self) -> bool:
        """A load that is not at the most that its meter can show: there it stands still for that reason."""
        return self._circuit.role == "load" and self.held_a < self._full_a

    def heard(self, now_ms: int) -> bool:
        """Is what it draws known? An on-change publisher is quiet because nothing changed; what never spoke never counted."""
        return self._on_change or self.heard_ms is None or now_ms - self.heard_ms <= self._old_ms

    def hear_volts(self, volts: float, now_ms: int) -> None:
        """Volts of now, whatever they are: the channels of a supply vouch for each other."""
        self.seen_v, self.seen_ms = volts, now_ms
        if volts <= self._over_v:
            self.high_ms = None
        elif self.high_ms is None:
            self.high_ms = now_ms

    def impossible(self, volts: float | None, amps: float | None, *, jump: bool) -> bool:
        """Can't be: such a reading goes nowhere but here."""
        if volts is not None and volts > self._over_v and not jump:
            return True
        return amps is not None and self._over_a is not None and abs(amps) > self._over_a

    def jumped(self, volts: float, now_ms: int) -> bool:
        """Is the bus itself so high? More channels show these volts now than ordinary ones since this one first did."""
        if self.high_ms is None or not self._over_v < volts <= TIMES_JUMP * self._nominal_v:
            return False
        alike = ordinary = 0
        for other in self._beside:
            if other is self or other.seen_ms is None or now_ms - other.seen_ms > other._old_ms:
                continue
            if abs(other.seen_v - volts) <= ALIKE * volts:
                alike += 1
            elif NO_VOLTS * self._nominal_v <= other.seen_v <= self._over_v and other.seen_ms > self.high_ms:
                ordinary += 1
        return alike > ordinary

    def take(
        self, volts: float | None, amps: float | None, watts: float | None, bus_v: float | None, time_ms: int, now_ms: int,
        *, impossible: bool,
    ) -> None:  # fmt: skip
        """Judge the values of one reading. `bus_v`: the supply's volts as others measure them."""
        cause = "scale" if impossible else self._odd(volts, amps, watts, bus_v)
        moves = amps is not None and amps != self.held_a
        if amps is not None and moves:
            self.held_a, self.held_ms = amps, now_ms
        if cause is None:
            if self.active == "stuck":
                if not moves:
                    return
                self.good = GOOD  # it moves again: that is all it takes
            if self.doubt is not None:
                self.doubt, self.count = None, 0
            if self.active is not None and amps is not None:
                self.good += 1
                if self.good >= GOOD:
                    self._end(now_ms)
            return
        self.good = 0
        self.last = amps if amps is not None else volts or 0.0
        if cause != self.doubt:
            self.doubt, self.count, self.since_ms = cause, 0, time_ms
        self.count += 1
        if self.active is None and self.count >= READINGS[cause] and time_ms - self.since_ms >= LASTING_MS[cause]:
            self.active = cause
            self._emit("begins", now_ms)

    def _odd(self, volts: float | None, amps: float | None, watts: float | None, bus_v: float | None) -> str | None:
        if amps is None:
            return None
        if amps >= self._full_a or amps <= -self._full_a:
            return "saturated"
        if amps > self._zero:
            self.ever = True
        elif amps < -self._zero and self._circuit.role == "load":
            return "back-feed" if self.ever else "backwards"
        if watts is not None and volts is not None:
            product = volts * amps
            if abs(product) >= max(WATTS_LEAST, LEAST_STEPS * self._res * self._nominal_v):
                ratio = watts / product
                if ratio > RATIO or ratio < (POWER_FACTOR_LEAST if self._ac else 1.0 / RATIO):
                    return "watts"
        return self._same(amps, bus_v) if self._follows else None

    def _same(self, amps: float, bus_v: float | None) -> str | None:
        """Not one digit has changed, though what the bus did must have shown."""
        if amps != self.value or bus_v is None:
            self.value = amps if bus_v is not None else None
            self.bus_low = self.bus_high = bus_v if bus_v is not None else 0.0
            return None
        if bus_v < self.bus_low:
            self.bus_low = bus_v
        elif bus_v > self.bus_high:
            self.bus_high = bus_v
        moved = amps * (self.bus_high - self.bus_low) / self._nominal_v
        return "stuck" if moved >= STEPS * self._res and amps > LEAST_STEPS * self._res else None

    def unmoved(self, since_ms: int, now_ms: int, readings: int, fell_a: float) -> None:
        """The meter fell by what it goes on showing (`unmoved`)."""
        if self.active is None:
            self.active, self.since_ms, self.count = "stuck", since_ms, readings
            self.last, self.fell_a, self.good = self.held_a, fell_a, 0
            self._emit("begins", now_ms)

    def again(self, now_ms: int) -> None:
        """Another alarm of its readings is over: this one still stands."""
        if self.active is not None:
            self._emit("begins", now_ms)

    def _end(self, now_ms: int) -> None:
        self._emit("ends", now_ms)
        self.active, self.good, self.fell_a = None, 0, None

    def _emit(self, edge: str, now_ms: int) -> None:
        figures: tuple[tuple[str, Figure], ...] = (("draw_a", self.last), ("readings", self.count))
        why = f"suspect-{self.active}"
        if self.fell_a is not None:
            why, figures = "suspect-unmoved", (*figures, ("fell_a", self.fell_a))
        self._bench.found.append(
            Condition(
                subject="circuit",
                subject_id=self._circuit.id,
                group="readings",
                edge=edge,
                at_ms=now_ms,
                since_ms=self.since_ms,
                kind="reading-suspect",
                priority="low",
                cause=self.active,
                figures=figures,
                evidence=((why, figures),) if edge == "begins" else (),
            )
        )

    def rest(self) -> None:
        """The program was off: what was counted in a row is not in a row any more."""
        self.doubt, self.count, self.value = None, 0, None

    def save(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in _KEPT}

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])


_KEPT = (
    "doubt", "count", "since_ms", "good", "ever", "value", "last", "bus_low", "bus_high", "active", "seen_v", "seen_ms",
    "high_ms", "heard_ms", "held_a", "held_ms", "fell_a",
)  # fmt: skip


def depends(circuit: Circuit) -> object:
    """What this file's state depends on."""
    return circuit.sense, circuit.supply, circuit.role, circuit.protection
