"""Energy and charge of each circuit, minute by minute, in whole numbers: they add up the same however they are cut. Pure.

The rule is the watch's own (`watch.way`; a test holds the two to each other): trapezoids between a circuit's samples, and what
is longer than three periods (10 s at the least) is a gap, in which nothing is known. Who publishes on change has no gaps, but
for silences of more than a day: a computer that was off for a winter knows nothing of it (our own choice). A trapezoid
that runs over the end of a minute is cut there exactly, so that the minutes of an hour are the hour.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from panelward.records import Reading, Schedule

MINUTE_MS = 60_000
HOUR_MS = 3_600_000
_LARGEST = 1e6  # as intake has it: volts, amps or watts beyond this are no vehicle's


class Sensed(NamedTuple):
    """What a circuit's sums depend on."""

    period_ms: int = 5_000
    on_change: bool = False
    nominal_v: float | None = None  # None: amps without volts give no energy

    @property
    def gap_ms(self) -> int:
        return 24 * HOUR_MS if self.on_change else max(3 * self.period_ms, 10_000)


UNKNOWN = Sensed()


def sensed(schedule: Schedule) -> dict[str, Sensed]:
    """Of every circuit of a schedule."""
    period_ms = {m.name: max(1, round(1000 * m.expect_every_s)) for m in schedule.monitors}
    nominal_v = {s.id: s.nominal_v for s in schedule.supplies}
    return {
        c.id: Sensed(period_ms.get(c.monitor or "", 5_000), c.sense.publishes == "on-change", nominal_v.get(c.supply))
        for c in schedule.circuits
    }


class Sum(NamedTuple):
    """One circuit in one minute or hour. Nothing of a gap is in it; None: not measured."""

    circuit: str
    from_ms: int
    read_ms: int  # of it, this long is known
    energy_2mwms: int  # twice milliwatts x milliseconds
    charge_2e4ams: int  # twice 0.1 mA x milliseconds
    least_a: float | None
    most_a: float | None
    least_v: float | None
    most_v: float | None
    samples: int

    @property
    def energy_wh(self) -> float:
        return self.energy_2mwms / 7.2e9

    @property
    def charge_ah(self) -> float:
        return self.charge_2e4ams / 7.2e10


class Row:
    """A sum in the making. Amps and volts in steps of 0.0001; least above most: none."""

    __slots__ = ("charge", "energy", "least_a", "least_v", "most_a", "most_v", "read_ms", "samples")

    def __init__(self, values: Iterable[int] = (0, 0, 0, 1, 0, 1, 0, 0)) -> None:
        (
            self.read_ms, self.energy, self.charge, self.least_a, self.most_a, self.least_v, self.most_v, self.samples,
        ) = values  # fmt: skip

    def values(self) -> tuple[int, ...]:
        return (
            self.read_ms, self.energy, self.charge, self.least_a, self.most_a, self.least_v, self.most_v, self.samples,
        )  # fmt: skip

    def add(self, other: Row) -> None:
        self.read_ms += other.read_ms
        self.energy += other.energy
        self.charge += other.charge
        self.samples += other.samples
        if other.least_a <= other.most_a:
            self.amps(other.least_a)
            self.amps(other.most_a)
        if other.least_v <= other.most_v:
            self.volts(other.least_v)
            self.volts(other.most_v)

    def amps(self, n: int) -> None:
        none = self.least_a > self.most_a
        if none or n < self.least_a:
            self.least_a = n
        if none or n > self.most_a:
            self.most_a = n

    def volts(self, n: int) -> None:
        none = self.least_v > self.most_v
        if none or n < self.least_v:
            self.least_v = n
        if none or n > self.most_v:
            self.most_v = n

    def given(self, circuit: str, from_ms: int) -> Sum:
        some_a, some_v = self.least_a <= self.most_a, self.least_v <= self.most_v
        return Sum(
            circuit, from_ms, self.read_ms, self.energy, self.charge,
            self.least_a / 1e4 if some_a else None, self.most_a / 1e4 if some_a else None,
            self.least_v / 1e4 if some_v else None, self.most_v / 1e4 if some_v else None, self.samples,
        )  # fmt: skip


Rows = dict[tuple[str, int], Row]


class _Chain:
    """What of a circuit's last readings the next trapezoid depends on."""

    __slots__ = ("amps", "amps_ms", "back", "milliwatts", "sample_ms", "volts", "volts_ms", "watts", "watts_ms")

    def __init__(self) -> None:
        self.volts_ms = self.amps_ms = self.watts_ms = self.sample_ms = -(1 << 62)
        self.volts = self.watts = 0.0
        self.milliwatts = self.amps = 0  # of the last sample; amps in steps of 0.0001
        self.back = False  # what comes next may be earlier: the clock is another one


class Summing:
    """Takes readings in the order of their numbers, at the times that they had; makes rows of minutes.

    `save` and `Summing(saved, dating)` in the middle change nothing.
    """

    def __init__(self, state: Mapping[str, Any] | None = None, dating: Any = None) -> None:
        self.rows: Rows = {}
        self.dating = tuple(dating) if dating is not None else None
        self._chains: dict[str, _Chain] = {}
        for circuit, values in (state or {}).items():
            chain = self._chains[circuit] = _Chain()
            for name, value in zip(_Chain.__slots__, values, strict=True):
                setattr(chain, name, value)

    def save(self) -> dict[str, Any]:
        return {circuit: [getattr(chain, name) for name in _Chain.__slots__] for circuit, chain in self._chains.items()}

    def dated(self, how: tuple[int, bool]) -> None:
        """How what follows is dated: where that changes, it may be earlier than what was."""
        if how != self.dating:
            self.dating = how
            for chain in self._chains.values():
                chain.back = True

    def take(self, readings: Iterable[Reading], known: Mapping[str, Sensed]) -> None:
        """See `watch.way.Way.take`."""
        for r in readings:
            volts, amps, watts = r.volts, r.amps, r.watts
            if r.origin == "retained" or (amps is None and watts is None and volts is None):
                continue
            if not all(x is None or -_LARGEST <= x <= _LARGEST for x in (volts, amps, watts)):
                continue
            chain = self._chains.get(r.circuit)
            if chain is None:
                chain = self._chains[r.circuit] = _Chain()
            now_ms = r.time_ms
            if chain.back:
                if now_ms < max(chain.volts_ms, chain.amps_ms, chain.watts_ms):
                    chain = self._chains[r.circuit] = _Chain()
                chain.back = False
            if volts is not None and now_ms > chain.volts_ms:
                chain.volts, chain.volts_ms = volts, now_ms
                self._row(r.circuit, now_ms).volts(round(volts * 1e4))
            if watts is not None:
                if now_ms > chain.watts_ms:
                    chain.watts, chain.watts_ms = watts, now_ms
                else:
                    watts = None
            if amps is not None and now_ms <= chain.amps_ms:
                amps = None
            sense = known.get(r.circuit, UNKNOWN)
            paired = chain.volts if now_ms - chain.volts_ms <= 2 * sense.period_ms else sense.nominal_v
            if amps is not None:
                chain.amps_ms = now_ms
                if now_ms - chain.watts_ms <= sense.period_ms // 2:
                    watts = chain.watts
                else:
                    watts = amps * paired if paired is not None else None
            elif watts is not None and now_ms - chain.amps_ms > 2 * sense.period_ms:
                by = paired if paired is not None and paired > 1.0 else sense.nominal_v
                amps = watts / by if by else None
            else:
                continue
            if amps is not None and watts is not None:
                self._sample(r.circuit, chain, now_ms, round(amps * 1e4), round(watts * 1000), sense)

    def _sample(self, circuit: str, chain: _Chain, now_ms: int, amps: int, milliwatts: int, sense: Sensed) -> None:
        before_ms = chain.sample_ms
        row = self._row(circuit, now_ms)
        row.samples += 1
        row.amps(amps)
        long_ms = now_ms - before_ms
        if 0 < long_ms <= sense.gap_ms:
            if before_ms // MINUTE_MS == now_ms // MINUTE_MS:
                row.read_ms += long_ms
                row.energy += (milliwatts + chain.milliwatts) * long_ms
                row.charge += (amps + chain.amps) * long_ms
            else:
                self._cut(circuit, chain, now_ms, amps, milliwatts)
        chain.sample_ms, chain.milliwatts, chain.amps = now_ms, milliwatts, amps

    def _cut(self, circuit: str, chain: _Chain, now_ms: int, amps: int, milliwatts: int) -> None:
        """A trapezoid over the end of a minute: each minute has its part, rounded so that the parts are the whole."""
        before_ms, long_ms = chain.sample_ms, now_ms - chain.sample_ms
        begins_ms = 0
        energy = charge = 0
        while begins_ms < long_ms:
            ends_ms = min(long_ms, ((before_ms + begins_ms) // MINUTE_MS + 1) * MINUTE_MS - before_ms)
            upto_energy = 2 * chain.milliwatts * ends_ms + (milliwatts - chain.milliwatts) * ends_ms * ends_ms // long_ms
            upto_charge = 2 * chain.amps * ends_ms + (amps - chain.amps) * ends_ms * ends_ms // long_ms
            row = self._row(circuit, before_ms + begins_ms)
            row.read_ms += ends_ms - begins_ms
            row.energy += upto_energy - energy
            row.charge += upto_charge - charge
            begins_ms, energy, charge = ends_ms, upto_energy, upto_charge

    def _row(self, circuit: str, at_ms: int) -> Row:
        key = circuit, at_ms // MINUTE_MS * MINUTE_MS
        row = self.rows.get(key)
        if row is None:
            row = self.rows[key] = Row()
        return row


def by_hour(minutes: Rows) -> Rows:
    """The hours of these minutes."""
    found: Rows = {}
    for (circuit, from_ms), row in minutes.items():
        found.setdefault((circuit, from_ms // HOUR_MS * HOUR_MS), Row()).add(row)
    return found
