"""A third plain watcher, for draws: the schedule's bands and nothing else. What the watch has to beat."""

from __future__ import annotations

from dataclasses import dataclass, field

from panelward.records import Reading, Schedule

THREE = 3
LONG_MS = 2 * 3_600_000
AGAIN_MS = 6 * 3_600_000  # it says the same thing once in so long


@dataclass(slots=True)
class Band:
    """Watts outside every level's band three times: wrong. Above standby for two hours without a rest: long."""

    schedule: Schedule
    said: list[tuple[int, str, str]] = field(default_factory=list)  # received_ms, circuit, what
    _bands: dict[str, tuple[float, tuple[tuple[float, float], ...], float]] = field(default_factory=dict)
    _off: dict[str, int] = field(default_factory=dict)
    _since: dict[str, int] = field(default_factory=dict)
    _last: dict[tuple[str, str], int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        nominal = {s.id: s.nominal_v for s in self.schedule.supplies}
        for circuit in self.schedule.circuits:
            if circuit.role != "load" or not circuit.loads:
                continue
            levels = [level for load in circuit.loads for level in load.levels]
            standby_w = sum(load.standby_max_w or 0.0 for load in circuit.loads)
            volts = nominal[circuit.supply]
            rest_w = max(standby_w, 3 * circuit.sense.resolution_a * volts)
            bands = tuple((x.watts * (1 - x.tolerance), x.watts * (1 + x.tolerance) + standby_w) for x in levels)
            self._bands[circuit.id] = (volts, bands, rest_w)

    def take(self, reading: Reading) -> None:
        name = reading.circuit
        found = self._bands.get(name)
        if found is None or reading.amps is None:
            return
        nominal_v, bands, rest_w = found
        watts = reading.amps * (reading.volts or nominal_v)
        if watts <= rest_w:
            self._off[name] = 0
            self._since.pop(name, None)
            return
        if bands and not any(low <= watts <= high for low, high in bands):
            off = self._off[name] = self._off.get(name, 0) + 1
            if off == THREE:
                self._say(reading.received_ms, name, "level")
        else:
            self._off[name] = 0
        since = self._since.setdefault(name, reading.received_ms)
        if reading.received_ms - since >= LONG_MS:
            self._say(reading.received_ms, name, "long")

    def _say(self, at_ms: int, name: str, what: str) -> None:
        if at_ms - self._last.get((name, what), -AGAIN_MS) >= AGAIN_MS:
            self._last[name, what] = at_ms
            self.said.append((at_ms, name, what))
