"""The whole-bank meter moves with what its circuits draw otherwise, so that no draw seems to come from nowhere."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import groupby, islice

from panelward.records import Circuit, Reading, Schedule

MOST_TOGETHER = 1000


class Meters:
    """Whose draw differs by how much, and the readings of the meters over them."""

    def __init__(self, schedule: Schedule) -> None:
        self._sign = {
            s.meter: (s.id, -1.0 if s.meter_sign == "charge-positive" else 1.0)
            for s in schedule.supplies
            if s.meter is not None
        }
        self._volts: dict[str, float] = {}
        self._more: dict[str, dict[str, float]] = {s.id: {} for s in schedule.supplies}

    def meters(self, circuit_id: str) -> bool:
        """Is this a whole-bank meter?"""
        return circuit_id in self._sign

    def note(self, circuit: Circuit, was_a: float, is_a: float) -> None:
        """This circuit draws `is_a` where it drew `was_a`."""
        if was_a != is_a:
            self._more[circuit.supply][circuit.id] = is_a - was_a
        else:
            self._more[circuit.supply].pop(circuit.id, None)

    def moved(self, circuit: Circuit, reading: Reading) -> Reading:
        """A reading of a meter with that in it; any other as it is."""
        meter = self._sign.get(circuit.id)
        if meter is None:
            return reading
        if reading.volts is not None:
            self._volts[circuit.id] = reading.volts
        if not self._more[meter[0]]:
            return reading
        more_a = meter[1] * sum(self._more[meter[0]].values())
        amps, watts = reading.amps, reading.watts
        if amps is not None:
            amps = round(amps + more_a, 4)
        if watts is not None and (volts := self._volts.get(circuit.id)) is not None:
            watts = round(watts + more_a * volts, 3)
        return reading._replace(amps=amps, watts=watts)

    def more_a(self, supply_id: str) -> float:
        """What its circuits draw more together."""
        return sum(self._more[supply_id].values())

    def in_step(
        self, readings: Iterable[Reading], change: Callable[[Reading], Reading]
    ) -> Iterator[tuple[Reading, Reading]]:  # fmt: skip
        """Each reading with what `change` makes of it, in their order. Of one moment the circuits are changed before their
        meter, which may stand before them in the file: else it would lag behind by a moment.
        """
        for frame in self.frames(readings):
            changed = [reading if self.meters(reading.circuit) else change(reading) for reading in frame]
            for reading, other in zip(frame, changed, strict=True):
                yield reading, change(reading) if self.meters(reading.circuit) else other

    @staticmethod
    def frames(readings: Iterable[Reading]) -> Iterator[list[Reading]]:
        """The readings of one moment together; of very many, in pieces."""
        for _, moment in groupby(readings, key=lambda r: (r.received_ms, r.time_ms)):
            while frame := list(islice(moment, MOST_TOGETHER)):
                yield frame
