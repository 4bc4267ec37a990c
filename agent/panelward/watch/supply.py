"""A supply that nears its cut-off. Group `supply`.

Judged on the median volts of whole minutes, so that cranking and momentary dips raise nothing. Hours left are told
only from a lasting fall, and not for iron-phosphate: its volts say nothing in mid-charge.
"""

from __future__ import annotations

from statistics import median
from typing import Any

from panelward.records import Circuit, Condition, Facts, Figure, Schedule, Supply
from panelward.watch.bench import Bench

NEAR = 0.03  # of nominal above the cut-off: about 0.4 V on 12.8 V
NEAR_OVER = 0.05
NO_SUPPLY = 0.5
MINUTES_NEAR = 2
MINUTES_OVER = 5
WINDOW = 30  # minutes that a fall is judged on
FAR = 0.08  # of nominal above the cut-off: no forecast from further up
FAR_LFP = 0.05  # iron-phosphate is flat down to its knee: further up a fall is only a load
HOURS_AHEAD = 1.5
STEADY_FALL = 0.5  # each half of the window falls at half the whole's rate at least: a load switched on is a step
SOURCE_LOST_MS = 15_000


class SupplyState:
    """One supply's volts."""

    def __init__(self, bench: Bench, schedule: Schedule, supply: Supply) -> None:
        self._bench, self._supply = bench, supply
        self.judged = supply.cutoff_v is not None
        loads = [c for c in schedule.circuits if c.supply == supply.id and c.role == "load"]
        cut = [c for c in loads if _behind_disconnect(schedule, c)]
        self._circuits = tuple(c.id for c in (cut or loads))
        self._carries = any(c.carries_messages for c in (cut or loads))
        self.source: str | None = None  # which circuit's volts are taken
        self.source_ms = 0
        self.minute: int | None = None
        self.volts: list[float] = []
        self.means: list[float] = []  # medians of the last minutes, without holes
        self.near = 0
        self.over = 0
        self.active = False
        self.since_ms = 0

    def take(self, circuit_id: str, volts: float, time_ms: int, now_ms: int) -> None:
        """A reading of the bus; the bank's meter is preferred, else the first circuit that speaks."""
        if circuit_id != self.source:
            preferred = circuit_id == self._supply.meter
            if self.source is not None and not preferred and now_ms - self.source_ms <= SOURCE_LOST_MS:
                return
            if self.source == self._supply.meter and now_ms - self.source_ms <= SOURCE_LOST_MS:
                return
            self.source = circuit_id
        self.source_ms = now_ms
        minute = time_ms // 60_000
        if self.minute is not None and minute != self.minute:
            self._close(minute, time_ms, now_ms)
        self.minute = minute
        if len(self.volts) < 120:
            self.volts.append(volts)

    def _close(self, minute: int, time_ms: int, now_ms: int) -> None:
        if self.minute is None or not self.volts:
            return
        level = median(self.volts)
        self.volts = []
        if minute - self.minute > 3:
            self.means = []  # a gap: what lay in it is not known
        self.means.append(level)
        del self.means[:-WINDOW]
        self._judge(level, time_ms, now_ms)

    def _judge(self, level: float, time_ms: int, now_ms: int) -> None:
        cutoff, nominal = self._supply.cutoff_v, self._supply.nominal_v
        if cutoff is None or level < NO_SUPPLY * nominal:
            return  # no volts at all is another story: a lost supply
        hours = self._hours_left(cutoff)
        battery = self._supply.battery
        far = FAR_LFP if battery is not None and battery.chemistry == "lfp" else FAR
        falling = hours is not None and hours <= HOURS_AHEAD and level <= cutoff + far * nominal
        self.near = self.near + 1 if level <= cutoff + NEAR * nominal or falling else 0
        self.over = self.over + 1 if level > cutoff + NEAR_OVER * nominal and not falling else 0
        if not self.active and self.near >= MINUTES_NEAR:
            self.active = True
            # A fall began where the window does; without one it is from the first minute near the cut-off.
            self.since_ms = time_ms - 60_000 * (len(self.means) if falling else self.near)
            self._emit("begins", level, hours, now_ms)
        elif self.active and self.over >= MINUTES_OVER:
            self.active = False
            self._emit("ends", level, None, now_ms)

    def _hours_left(self, cutoff_v: float) -> float | None:
        """Hours until the cut-off if the fall goes on; None where there is no lasting fall."""
        if len(self.means) < 20:
            return None
        whole = _slope_v_per_h(self.means)
        half = len(self.means) // 2
        if whole >= -0.004 * self._supply.nominal_v:
            return None
        parts = _slope_v_per_h(self.means[:half]), _slope_v_per_h(self.means[half:])
        if any(part > STEADY_FALL * whole for part in parts):
            return None
        return max(0.0, (self.means[-1] - cutoff_v) / -whole)

    def _emit(self, edge: str, level: float, hours: float | None, now_ms: int) -> None:
        battery = self._supply.battery
        told = hours if battery is not None and battery.chemistry != "lfp" else None
        figures: list[tuple[str, Figure]] = [
            ("volts", level),
            ("cutoff_v", self._supply.cutoff_v),
            ("hours_left", told),
            ("carries_messages", self._carries),
        ]
        facts: Facts = (("volts", level), ("cutoff_v", self._supply.cutoff_v))
        fall: tuple[tuple[str, Facts], ...] = ()
        if len(self.means) >= 20:
            fall = (("volts-fall", (("v_per_h", _slope_v_per_h(self.means)), ("minutes", len(self.means)))),)
        self._bench.found.append(
            Condition(
                subject="supply",
                subject_id=self._supply.id,
                group="supply",
                edge=edge,
                at_ms=now_ms,
                since_ms=self.since_ms,
                kind="undervoltage-approach",
                priority="high",
                circuits=self._circuits,
                figures=tuple(figures),
                evidence=(("near-cutoff", facts), *fall),
            )
        )

    def rest(self) -> None:
        """The program was off: minutes in a row are not in a row any more."""
        self.volts, self.means, self.minute = [], [], None
        self.near = self.over = 0

    def save(self) -> dict[str, Any]:
        kept = {name: getattr(self, name) for name in _KEPT}
        return kept | {"volts": list(self.volts), "means": list(self.means)}

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        self.volts, self.means = list(state["volts"]), list(state["means"])


_KEPT = ("source", "source_ms", "minute", "near", "over", "active", "since_ms")


def _slope_v_per_h(levels: list[float]) -> float:
    """Least-squares slope of minute values, volts an hour."""
    n = len(levels)
    middle = (n - 1) / 2.0
    mean = sum(levels) / n
    above = sum((i - middle) * (v - mean) for i, v in enumerate(levels))
    below = sum((i - middle) ** 2 for i in range(n))
    return above / below * 60.0 if below else 0.0


def _behind_disconnect(schedule: Schedule, circuit: Circuit) -> bool:
    if "disconnect" in circuit.behind:
        return True
    return circuit.feeder is not None and "disconnect" in schedule.feeder(circuit.feeder).behind


def depends(supply: Supply) -> object:
    """What this file's state depends on."""
    return supply.cutoff_v, supply.nominal_v, supply.meter
