"""A variation along a journey: the readings once through both schedules, with all that is judged on the way."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from panelward.records import Reading, Record
from panelward.rehearse import plain, told, wiring
from panelward.rehearse.bank import Bank, BankAnswer
from panelward.rehearse.beside import Compared, Run, side_by_side
from panelward.rehearse.variation import Variation
from panelward.rehearse.varied import Judged, Varied


@dataclass(frozen=True, slots=True)
class Along:
    """What came of a variation."""

    variation: Variation
    judged: tuple[tuple[str, Judged], ...]  # (circuit or feeder id, what was found)
    banks: tuple[BankAnswer, ...]
    compared: Compared

    def sentences(self) -> Iterator[str]:
        """For a person."""
        variation, zone = self.variation, self.variation.before.vehicle.timezone
        yield from told.head(variation)
        titles = {f.id: f"feeder {f.id}" for f in variation.before.feeders}
        titles |= {c.id: f"{c.label} ({c.id})" for c in variation.before.circuits}
        yield from told.messages(self.compared, zone, titles)
        if not self.compared.readings:
            yield told.CAUTION
            return
        for way, judged in self.judged:
            opened_ms = [at_ms for subject, at_ms in self.compared.before.openings if subject == way]
            opened = (self.compared.before.opened[way], self.compared.after.opened[way])
            yield from wiring.conductor(judged, zone)
            yield from wiring.devices(judged, zone, opened_ms, opened)
        for answer in self.banks:
            capacities = tuple(
                found.capacity_ah if (found := each.supply(answer.supply).battery) is not None else 0.0
                for each in (variation.before, variation.after)
            )
            yield from wiring.bank(answer, (capacities[0], capacities[1]), zone)
        yield told.NOT_READ
        yield told.CAUTION

    def as_json(self) -> dict[str, Any]:
        return {
            **plain.variation_json(self.variation),
            "alarms": plain.compared_json(self.compared),
            "readings": self.compared.readings,
            "ways": {way: plain.judged_json(judged, untold=way in self.compared.untold) for way, judged in self.judged},
            "banks": {answer.supply: plain.bank_json(answer) for answer in self.banks},
            "caution": told.CAUTION,
        }


def along(
    variation: Variation, readings: Iterable[Reading], *, until_ms: int | None = None, record: Record | None = None
) -> Along:  # fmt: skip
    """Both schedules through the readings, the other one with its physics."""
    other = Varied(variation)
    before = variation.before
    banks = [
        Bank(before, variation.after, supply, other.meters)
        for supply in before.supplies
        if supply.id in variation.supplies and supply.fed_by is None and supply.kind == "dc"
    ]

    def as_read() -> Iterator[Reading]:
        for reading in readings:
            for bank in banks:
                bank.take(reading)
            yield reading

    pairs = other.meters.in_step(as_read(), other.take)
    compared = Compared([way for way, judged in other.ways.items() if judged.refitted])
    side_by_side(compared, (Run(before, record), Run(variation.after, record)), pairs, until_ms)
    other.end()
    judged = [(way, found) for way, found in (*other.feeders.items(), *other.ways.items()) if compared.readings]
    untold = [way for way, found in judged if found.cut_short(compared.before.opened[way] > 0)]
    # Behind a feeder whose device may have opened, what its circuits would have drawn on was never read either.
    compared.end(list(dict.fromkeys([*untold, *(c for way in untold for c in other.behind(way))])))
    return Along(variation, tuple(judged), tuple(bank.answer() for bank in banks if compared.readings), compared)
