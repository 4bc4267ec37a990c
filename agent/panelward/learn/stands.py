"""A circuit's stands over a fortnight, without what must never train: hours around alarms, thin coverage, other clocks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from panelward.ratings.behaviour import EXPONENT, at_nominal
from panelward.records import Circuit, Commissioned, Reading, Supply
from panelward.watch.steady import Steady

QUARANTINE_MS = 24 * 3600_000  # before an alarm begins: what led to it
CLOCK_MS = 60_000  # received and measured further apart than this: another clock, or a backlog
LEAST_READINGS = 5
PAIR_MS = 60_000


ALL = ""  # the key of what holds for every circuit
OF_LOADS = ("dead", "overcurrent", "device", "drain", "level", "rhythm", "drift")


def quarantine_of(objects: Iterable[dict[str, Any]], now_ms: int) -> dict[str, list[tuple[int, int]]]:
    """From alarm objects in time order: per circuit from when to when nothing may be learned, Unix ms.

    A circuit's own alarm takes the day before it along; that a parent was lost takes the time itself.
    """
    began: dict[str, dict[str, Any]] = {}
    found: dict[str, list[tuple[int, int]]] = {}

    def close(first: dict[str, Any], end_ms: int) -> None:
        since_ms = round(1000 * min(first["since"], first["time"]))
        if "circuit" in first:
            found.setdefault(first["circuit"], []).append((since_ms - QUARANTINE_MS, end_ms))
        for circuit in first["circuits"]:
            if circuit != first.get("circuit"):
                found.setdefault(circuit, []).append((since_ms, end_ms))

    for each in objects:
        if each["group"] not in OF_LOADS and not (each["kind"] == "reading-suspect" and each["priority"] != "journal"):
            continue
        if each["event"] in ("ends", "withdrawn"):
            first = began.pop(each["id"], None)
            if first is not None:
                close(first, round(1000 * each["time"]))
        elif each["event"].startswith("begins"):
            began.setdefault(each["id"], each)
    for first in began.values():
        close(first, now_ms)
    return found


def laid_up(doings: Iterable[dict[str, Any]], now_ms: int) -> list[tuple[int, int]]:
    """From what the vehicle was doing, change by change: from when to when it was laid up. What rests then is no standby."""
    found: list[tuple[int, int]] = []
    since_ms: int | None = None
    for each in doings:
        if each["laid_up"] and since_ms is None:
            since_ms = each["at_ms"]
        elif not each["laid_up"] and since_ms is not None:
            found.append((since_ms, each["at_ms"]))
            since_ms = None
    return found if since_ms is None else [*found, (since_ms, now_ms)]


@dataclass(frozen=True, slots=True)
class Stand:
    """A draw that stood still."""

    watts: float  # mean, at nominal volts
    since_ms: int
    lasted_ms: int
    readings: int


@dataclass(slots=True)
class Stands:
    """What one circuit did."""

    circuit: str
    found: list[Stand] = field(default_factory=list)
    seen_ms: int = 0  # time that is covered by readings
    whole_ms: int = 0  # from the first to the last, without the quarantine
    quarantined_ms: int = 0
    readings: int = 0
    off_clock: int = 0  # readings of another clock

    @property
    def coverage(self) -> float:
        return self.seen_ms / self.whole_ms if self.whole_ms else 0.0

    @property
    def days(self) -> float:
        return self.whole_ms / 86_400_000


class Collector:
    """Takes one circuit's readings in order."""

    def __init__(
        self, circuit: Circuit, supply: Supply, period_s: float, quarantine: Iterable[tuple[int, int]],
        commissioned: Commissioned | None = None,
    ) -> None:  # fmt: skip
        self.stands = Stands(circuit.id)
        self._nominal_v = supply.nominal_v
        load = circuit.loads[0] if circuit.loads else None
        self._exponent = EXPONENT[load.behaves] if load is not None and supply.kind == "dc" else 0.0
        if commissioned is not None and commissioned.exponent is not None:
            self._exponent = commissioned.exponent
        self._gap_ms = max(round(3000 * period_s), 10_000)
        self._on_change = circuit.sense.publishes == "on-change"
        self._quarantine = sorted(quarantine)
        self._steady = Steady(max(2.0 * circuit.sense.resolution_a * supply.nominal_v, 0.3))
        self._stood: tuple[float, int, int, int] | None = None
        self._last_ms: int | None = None
        self._volts: tuple[int, float] | None = None

    def take(self, reading: Reading) -> None:
        """One reading."""
        if reading.origin != "live" or abs(reading.received_ms - reading.time_ms) > CLOCK_MS:
            self.stands.off_clock += 1
            self._cut()
            return
        if reading.volts is not None:
            self._volts = (reading.time_ms, reading.volts)
        if reading.amps is None and reading.watts is None:
            return
        now_ms = reading.received_ms
        last_ms, self._last_ms = self._last_ms, now_ms
        stands = self.stands
        if last_ms is not None:
            step_ms = now_ms - last_ms
            if self._held(now_ms):
                stands.quarantined_ms += step_ms
                self._cut(keep=False)
                return
            stands.whole_ms += step_ms
            if step_ms <= self._gap_ms or self._on_change:
                stands.seen_ms += step_ms
            else:
                self._cut()
        elif self._held(now_ms):
            return
        stands.readings += 1
        volts = self._volts[1] if self._volts is not None and now_ms - self._volts[0] <= PAIR_MS else None
        watts = reading.watts if reading.watts is not None else (reading.amps or 0.0) * (volts or self._nominal_v)
        steady = self._steady
        if steady.take(now_ms, at_nominal(watts, volts, self._nominal_v, self._exponent)):
            self._keep()
        if steady.n >= LEAST_READINGS:
            n = self._stood[3] + 1 if self._stood is not None else steady.n
            self._stood = (steady.mean_w, steady.since_ms, now_ms, n)

    def _held(self, now_ms: int) -> bool:
        return any(begins <= now_ms <= ends for begins, ends in self._quarantine)

    def _keep(self) -> None:
        if self._stood is not None:
            watts, since_ms, last_ms, n = self._stood
            self.stands.found.append(Stand(watts, since_ms, last_ms - since_ms, n))
        self._stood = None

    def _cut(self, *, keep: bool = True) -> None:
        """What comes is a new stand; what stood is kept, or belongs to what is not to be learned."""
        if keep:
            self._keep()
        self._stood = None
        self._steady.forget()

    def end(self) -> Stands:
        """All of it."""
        self._keep()
        return self.stands
