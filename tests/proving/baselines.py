"""Two simple watchers on the same readings: fixed thresholds, and a rolling three-sigma. What the watch has to beat."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from math import sqrt

from panelward.records import Reading, Schedule


@dataclass(slots=True)
class Fixed:
    """Below half the floor (or about zero, always-on without a floor) three times: dead. Above the rating three times:
    too much; too much and then zero: opened.
    """

    schedule: Schedule
    said: list[tuple[int, str, str]] = field(default_factory=list)  # received_ms, circuit, what
    _floor: dict[str, float | None] = field(default_factory=dict)
    _rating: dict[str, float] = field(default_factory=dict)
    _low: dict[str, int] = field(default_factory=dict)
    _over: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        nominal = {s.id: s.nominal_v for s in self.schedule.supplies}
        for circuit in self.schedule.circuits:
            if circuit.role != "load" or circuit.protection is None:
                continue
            floor = sum(load.always_draws_w or 0.0 for load in circuit.loads)
            self._rating[circuit.id] = circuit.protection.fitted_a
            if circuit.feed == "always-on":
                self._floor[circuit.id] = 0.5 * floor / nominal[circuit.supply] if floor else 0.5 * circuit.sense.resolution_a

    def take(self, reading: Reading) -> None:
        name, amps = reading.circuit, reading.amps
        rating = self._rating.get(name)
        if rating is None or amps is None:
            return
        floor = self._floor.get(name)
        if self._over.get(name, 0) and amps < 0.02 * rating and self._over[name] < 1000:
            self.said.append((reading.received_ms, name, "dead"))
        over = self._over[name] = self._over.get(name, 0) + 1 if amps > rating else 0
        if over == 3:
            self.said.append((reading.received_ms, name, "overcurrent"))
        if floor is not None:
            low = self._low[name] = self._low.get(name, 0) + 1 if abs(amps) < floor else 0
            if low == 3:
                self.said.append((reading.received_ms, name, "dead"))


@dataclass(slots=True)
class Sigma:
    """Three readings on end further than three standard deviations from the mean of the last 60; then it starts anew."""

    said: list[tuple[int, str, str]] = field(default_factory=list)
    _past: dict[str, deque[float]] = field(default_factory=dict)
    _sums: dict[str, tuple[float, float]] = field(default_factory=dict)
    _out: dict[str, int] = field(default_factory=dict)

    def take(self, reading: Reading) -> None:
        name, amps = reading.circuit, reading.amps
        if amps is None or name == "SH":
            return
        past = self._past.get(name)
        if past is None:
            past = self._past[name] = deque()
            self._sums[name] = (0.0, 0.0)
        total, squares = self._sums[name]
        n = len(past)
        if n >= 20:
            mean = total / n
            sd = sqrt(max(0.0, squares / n - mean * mean))
            if abs(amps - mean) > 3 * sd + 0.005:
                out = self._out[name] = self._out.get(name, 0) + 1
                if out == 3:
                    self.said.append((reading.received_ms, name, "dead" if amps < mean else "more"))
                    past.clear()
                    self._sums[name] = (0.0, 0.0)
                    self._out[name] = 0
                return
            self._out[name] = 0
        past.append(amps)
        total, squares = total + amps, squares + amps * amps
        if n >= 60:
            old = past.popleft()
            total, squares = total - old, squares - old * old
        self._sums[name] = (total, squares)
