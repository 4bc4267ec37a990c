"""One circuit as its sensing sees it, and one answer about it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from panelward.ratings import Device, device
from panelward.records import Circuit, Feeder, Monitor, Schedule, Supply
from panelward.schedule.detect.limits import (
    CYCLIC,
    DRIFT_A,
    FINE_A,
    TELL_PERIODS,
    TELL_S,
    ZERO_A,
    ZERO_ERROR_A,
    ZERO_ERROR_STEPS,
    ZERO_STEPS,
)

FLOOR_STEPS = 3.0  # half a floor of three steps bears an error of one and a half; common practice, no source
CAN = ("yes", "together", "unreliable", "no")
# together: only with what `why` names. unreliable: it may be missed, or told where it is not so.


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """One fault on one circuit: can the watch find it?"""

    circuit: str
    what: str
    can: str  # of CAN
    within_s: float | None = None  # from the first reading that shows it; None: not found, or no time can be said
    why: str  # what decides, with its number
    mend: str | None = None  # the cheapest change; None: none


class Look:
    """One circuit with what decides what can be seen of it."""

    def __init__(self, schedule: Schedule, circuit: Circuit) -> None:
        self.schedule, self.circuit = schedule, circuit
        self.supply: Supply = schedule.supply(circuit.supply)
        self.monitor: Monitor | None = next((m for m in schedule.monitors if m.name == circuit.monitor), None)
        self.period_s = (self.monitor or Monitor(name="", dialect="plain", topic="")).expect_every_s
        self.on_change = circuit.sense.publishes == "on-change"
        self.always_on = circuit.feed == "always-on"
        self.step_a = circuit.sense.resolution_a
        self.floor_w = sum(load.always_draws_w or 0.0 for load in circuit.loads)
        self.floor_a = self.floor_w / self.supply.nominal_v
        self.zero_error_a = zero_error_a(self.step_a)
        self.least_floor_a = FLOOR_STEPS * self.step_a
        self.zero_a = max(ZERO_STEPS * self.step_a, ZERO_A)

    def sight(self, what: str, can: str, within_s: float | None, why: str, mend: str | None = None) -> Sight:
        within_s = None if within_s is None else round(within_s, 1)
        return Sight(circuit=self.circuit.id, what=what, can=can, within_s=within_s, why=why, mend=mend)

    def no(self, what: str, why: str, mend: str | None = None) -> Sight:
        return self.sight(what, "no", None, why, mend)

    @cached_property
    def device(self) -> Device | None:
        return device(self.circuit.protection) if self.circuit.protection else None

    @property
    def floor_told(self) -> bool:
        """Is its floor far enough above the steps of its sensing?"""
        return self.floor_a > 0.0 and self.least_floor_a <= self.floor_a * (1 + 1e-9)

    @property
    def floor_hidden(self) -> bool:
        """… but not above the zero error of its channel: half of it must show beyond that."""
        return self.floor_told and self.floor_a * (1 + 1e-9) < 2.0 * self.zero_error_a

    @cached_property
    def witness(self) -> bool:
        """Does anything show the volts of its bus? Without that, volts gone behind the device may be the bus's."""
        known = [m.name for m in self.schedule.monitors]
        return any(
            c.supply == self.supply.id
            and (c.sense.volts_at == "bus" or (c.sense.volts_at == "after-device" and c.id != self.circuit.id))
            and c.monitor in known
            for c in self.schedule.circuits
        )

    @property
    def by_volts(self) -> bool:
        """Do volts behind its device tell, against those of the bus?"""
        return self.circuit.sense.volts_at != "bus" and self.witness

    @property
    def volts_come_alone(self) -> bool:
        """On-change with a number a topic: the last amps may come before the volts that belong to them."""
        return self.on_change and self.monitor is not None and self.monitor.dialect == "plain"

    @property
    def cyclic(self) -> bool:
        """Does it come and go by itself, so that its idle times can tell?"""
        loads = self.circuit.loads
        return self.always_on and bool(loads) and all(load.kind in CYCLIC for load in loads)

    @property
    def most_a(self) -> float | None:
        """Its loads at their highest levels, A; None: the levels don't say."""
        loads = self.circuit.loads
        if not loads or not all(load.levels for load in loads):
            return None
        return sum(max(level.watts * (1 + level.tolerance) for level in load.levels) for load in loads) / self.supply.nominal_v

    @property
    def peers(self) -> list[Circuit]:
        """The other loads of its supply."""
        return [
            c for c in self.schedule.circuits if c.supply == self.supply.id and c.role == "load" and c.id != self.circuit.id
        ]

    @property
    def feeder(self) -> Feeder | None:
        return next((f for f in self.schedule.feeders if f.id == self.circuit.feeder), None)

    @property
    def tell_s(self) -> float:
        return max(TELL_S, TELL_PERIODS * self.period_s)


def zero_error_a(step_a: float) -> float:
    """What a channel may read at no current, either way, while nobody knows its zero; drift and rounding are in it."""
    if step_a < FINE_A:
        return (ZERO_ERROR_STEPS + 1.0) * step_a
    return max(ZERO_ERROR_STEPS * step_a, ZERO_ERROR_A) + DRIFT_A


def looks(schedule: Schedule) -> Iterator[Look]:
    return (Look(schedule, circuit) for circuit in schedule.circuits)
