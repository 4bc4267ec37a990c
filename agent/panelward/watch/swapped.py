"""Whose readings are these? Names that look swapped. Group `readings`, kind reading-suspect, cause `swapped`.

Every circuit's schedule gives a likelihood of what a channel shows: its levels, its standby, its floor, the sign of a
charger. Once an hour the channels of one monitor and supply are assigned to these profiles at the least sum of
-log p (`assignment`). A swap is told when that beats the names as they are by more than 10 nats, for three hours in a
row, and only where every channel of it by itself fits another's name better: one load that was changed, one of unknown
levels or one that is off all day is no swap. Sockets, inverters and loads without levels or floor could be anything, so
they are never judged.

What counts is a draw that stands still for a few readings, once an hour and level: readings in a row are no news.
"""

from __future__ import annotations

from math import log, log2
from typing import Any

from panelward.ratings.behaviour import EXPONENT
from panelward.records import Circuit, Condition, Facts, Schedule, Supply
from panelward.watch.assignment import assigned
from panelward.watch.bench import Bench
from panelward.watch.panel import Sample

NATS = 10.0  # by which another assignment must beat the names as they are (our own choice)
NATS_EACH = 5.0  # … and each channel of it by itself
NATS_AN_HOUR = 1.25  # … on the average of its hours: a load of several levels spreads its shares, so one of them proves less
NATS_OVER, OVER_H = -5.0, 24  # the names fit again, by the last hours since it began
SPANS_H = (12, 36)  # that are looked back on: a swap of what runs all day, and of what runs in the evening
HOURS = SPANS_H[-1]
DRAWN_HOURS = 2  # of them in which each channel must have drawn
LASTING = 3  # hourly looks in a row that must agree
MOST_HOURS = 6.0  # hours alike are no independent evidence: all of a channel's count for so many at the most
NO_CHANGE = 1.0  # nats for a name that stays: of equal assignments the one that changes least

# Shares of what a load shows, where its profile is known; starting values, common practice, no source.
AT_LEVELS, AT_REST, BETWEEN, ANYTHING = 0.60, 0.25, 0.10, 0.05
NEVER_NOTHING = 0.01  # of a load with a floor: an hour of nothing (it lost its feed)

STEADY = 1.15  # a draw that stands still stays within so much of where it stood
OCTAVE = 4  # bins an octave
LEAST_W, BINS = 0.25, 62  # 0.25 W to 9 kW; below and above go into the last ones
ZERO, GIVES, FIRST = 1 << 0, 1 << 1, 2  # bits of an hour's mask: it drew nothing; it gave; the bins
MOST_SHIFT = 4 * OCTAVE  # a wrong scale of the whole meter is no swap: up to sixteen times
EDGE = 1.06  # of a level's band: a meter's gain
HIGH_BUS, LOW_BUS = 1.14, 0.9  # of nominal: a bus on charge and a low one
UNKNOWN = ("socket", "inverter")  # nobody knows what hangs on these
MOST_SUMS = 64
HOUR_MS = 3_600_000


def bin_of(watts: float) -> int:
    """Which bit of the mask stands for this draw."""
    if watts <= LEAST_W:
        return FIRST
    return FIRST + min(BINS - 1, int(OCTAVE * log2(watts / LEAST_W)))


class Trace:
    """One channel's last hours: where its draw stood still. Cheap: most readings are two comparisons."""

    __slots__ = ("_high_w", "_low_w", "_names", "_needed", "_run", "_zero_w", "circuit", "hour", "hours", "mask")

    def __init__(self, names: Names, circuit: Circuit, supply: Supply, period_ms: int) -> None:
        self._names, self.circuit = names, circuit
        self._zero_w = circuit.sense.nothing_a * supply.nominal_v
        self._needed = 1 if circuit.sense.publishes == "on-change" else 2 if period_ms >= 5_000 else 3
        self._low_w = self._high_w = 0.0  # where the draw stands still; nothing yet
        self._run = 0
        self.hour = -1
        self.mask = 0  # of this hour
        self.hours: list[tuple[int, int]] = []  # (hour, mask) of those before in which something was seen

    def take(self, sample: Sample) -> None:
        """One sample of now."""
        watts = sample.watts
        hour = sample.received_ms // HOUR_MS
        if hour != self.hour:
            self._turn(hour, sample.received_ms)
        if self._low_w <= watts <= self._high_w:
            if self._run == self._needed:
                return
            self._run += 1
        else:
            self._run = 1
            if watts > self._zero_w:
                self._low_w, self._high_w = watts / STEADY, watts * STEADY
            elif watts < -self._zero_w:
                self._low_w, self._high_w = watts * 1e3, -self._zero_w  # a source's watts are what the sun makes of them
            else:
                self._low_w, self._high_w = -self._zero_w, self._zero_w
        if self._run == self._needed:
            self.mask |= ZERO if abs(watts) <= self._zero_w else GIVES if watts < 0.0 else 1 << bin_of(watts)

    def _turn(self, hour: int, now_ms: int) -> None:
        if self.mask:
            self.hours.append((self.hour, self.mask))
        while self.hours and self.hours[0][0] < hour - HOURS:
            del self.hours[0]
        self.hour, self.mask, self._run = hour, 0, 0
        self._low_w = self._high_w = 0.0
        self._names.turn(hour, now_ms)

    def seen(self, hour: int, span_h: int = HOURS) -> list[tuple[int, int]]:
        """The last hours before this one."""
        own = [*self.hours, (self.hour, self.mask)] if self.mask else self.hours
        return [(at, mask) for at, mask in own if hour - span_h <= at < hour]

    def rest(self) -> None:
        self._run, self._low_w, self._high_w = 0, 0.0, 0.0

    def save(self) -> dict[str, Any]:
        return {
            "hour": self.hour, "mask": self.mask, "run": self._run, "low_w": self._low_w, "high_w": self._high_w,
            "hours": [list(pair) for pair in self.hours],
        }  # fmt: skip

    def restore(self, state: dict[str, Any]) -> None:
        self.hour, self.mask, self._run = state["hour"], state["mask"], state["run"]
        self._low_w, self._high_w = state["low_w"], state["high_w"]
        self.hours = [(hour, mask) for hour, mask in state["hours"]]


class Names:
    """The names of one monitor's circuits on one supply, as far as their profiles can be told apart."""

    def __init__(self, bench: Bench, schedule: Schedule, circuits: tuple[Circuit, ...]) -> None:
        self._bench, self._schedule = bench, schedule
        self.circuits = circuits
        supply = schedule.supply(circuits[0].supply)
        self._costs = [profile(circuit, supply) for circuit in circuits]
        self.traces: list[Trace] = []  # in the order of the circuits
        self.hour = -1  # the last one that was looked back from
        self.agreed: list[tuple[tuple[int, ...], int]] = []  # cycles, and how many looks in a row found them
        self.active: list[tuple[tuple[int, ...], int]] = []  # cycles that stand, and since when

    def trace(self, circuit: Circuit, period_ms: int) -> Trace:
        """What a circuit's readings go to."""
        trace = Trace(self, circuit, self._schedule.supply(circuit.supply), period_ms)
        self.traces.append(trace)
        return trace

    def turn(self, hour: int, now_ms: int) -> None:
        """The first reading of an hour: look back."""
        if hour <= self.hour:
            return
        self.hour = hour
        seen = [trace.seen(hour) for trace in self.traces]
        shown = [self._shown(hours) for hours in seen]
        self._look_again(seen, now_ms)
        found = self._better([self._shown(trace.seen(hour, SPANS_H[0])) for trace in self.traces]) or self._better(shown)
        before = dict(self.agreed)
        self.agreed = [(cycle, before.get(cycle, 0) + 1) for cycle in found]
        for cycle, looks in self.agreed:
            if looks >= LASTING and not any(set(cycle) & set(other) for other, _ in self.active):
                self.active.append((cycle, self._since(cycle, seen) * HOUR_MS))
                self._bench.found.append(self._condition("begins", *self.active[-1], now_ms, seen))

    @staticmethod
    def _shown(hours: list[tuple[int, int]]) -> dict[int, float]:
        """How often each bit was seen: an hour counts once, shared by what it showed; nothing at all is only half news."""
        drawn: dict[int, float] = {}
        nothing = 0.0
        for _, mask in hours:
            bits = _bits(mask)
            if mask & ZERO:
                nothing += 1.0
            for bit in bits:
                drawn[bit] = drawn.get(bit, 0.0) + 1.0 / len(bits)
        total = sum(drawn.values())
        scale = MOST_HOURS / total if total > MOST_HOURS else 1.0
        shown = {bit: weight * scale for bit, weight in sorted(drawn.items())}
        if nothing:
            shown[0] = min(nothing, MOST_HOURS / 2)
        return shown

    def _cost(self, channel: int, name: int, shown: list[dict[int, float]]) -> float:
        """-log p of what a channel shows, if it were this circuit's."""
        costs = self._costs[name]
        return sum(weight * costs[bit] for bit, weight in shown[channel].items())

    def _better(self, shown: list[dict[int, float]]) -> list[tuple[int, ...]]:
        """The cycles by which another assignment beats the names as they are, each strong in every part."""
        n = len(shown)
        own = [self._cost(channel, channel, shown) for channel in range(n)]
        cost = [[own[c] - NO_CHANGE if c == name else self._cost(c, name, shown) for name in range(n)] for c in range(n)]
        if sum(max(0.0, own[c] - min(cost[c])) for c in range(n)) <= NATS:
            return []  # most hours: nothing could win
        onto = assigned(cost)
        found = []
        done = [False] * n
        for first in range(n):
            if done[first]:
                continue
            cycle = [first]
            while onto[cycle[-1]] != first:
                cycle.append(onto[cycle[-1]])
            for channel in cycle:
                done[channel] = True
            if len(cycle) > 1 and self._strong(tuple(cycle), shown):
                found.append(tuple(cycle))
        return found

    def _gains(self, cycle: tuple[int, ...], shown: list[dict[int, float]]) -> list[float]:
        return [self._cost(c, c, shown) - self._cost(c, name, shown) for c, name in _pairs(cycle)]

    def _strong(self, cycle: tuple[int, ...], shown: list[dict[int, float]]) -> bool:
        gains = self._gains(cycle, shown)
        drawn = [sum(weight for bit, weight in shown[c].items() if bit) for c in cycle]
        if sum(gains) <= NATS or min(gains) < NATS_EACH or min(drawn) < DRAWN_HOURS:
            return False
        if any(gain < NATS_AN_HOUR * hours for gain, hours in zip(gains, drawn, strict=True)):
            return False
        return sum(gains) - self._scaled(cycle, shown) > NATS_EACH

    def _scaled(self, cycle: tuple[int, ...], shown: list[dict[int, float]]) -> float:
        """How many nats one wrong scale of the meter would explain instead, for all of them alike."""
        found = 0.0
        for shift in range(-MOST_SHIFT, MOST_SHIFT + 1):
            gain = 0.0
            for c in cycle:
                costs = self._costs[c]
                for bit, weight in shown[c].items():
                    if bit >= FIRST:
                        gain += weight * (costs[bit] - costs[min(max(bit + shift, FIRST), FIRST + BINS - 1)])
            found = max(found, gain)
        return found

    def _since(self, cycle: tuple[int, ...], seen: list[list[tuple[int, int]]]) -> int:
        """The hour from which on, taken together, the readings speak most for it."""
        by_hour: dict[int, float] = {}
        for channel, name in _pairs(cycle):
            for hour, mask in seen[channel]:
                gain = sum(self._costs[channel][bit] - self._costs[name][bit] for bit in _bits(mask) or [0])
                by_hour[hour] = by_hour.get(hour, 0.0) + gain / max(1, len(_bits(mask)))
        total, best, since = 0.0, 0.0, max(by_hour)
        for hour in sorted(by_hour, reverse=True):
            total += by_hour[hour]
            if total > best:
                best, since = total, hour
        return since

    def _look_again(self, seen: list[list[tuple[int, int]]], now_ms: int) -> None:
        """Do the names of what stands fit again? Without new evidence it stands."""
        for cycle, since_ms in list(self.active):
            lately = [[pair for pair in hours if pair[0] >= max(since_ms // HOUR_MS, self.hour - OVER_H)] for hours in seen]
            if sum(self._gains(cycle, [self._shown(hours) for hours in lately])) <= NATS_OVER:
                self.active.remove((cycle, since_ms))
                self._bench.found.append(self._condition("ends", cycle, since_ms, now_ms, seen))

    def begins_with(self, circuit_id: str) -> tuple[tuple[int, ...], int] | None:
        """What stands with this circuit as its subject."""
        return next((a for a in self.active if self.circuits[a[0][0]].id == circuit_id), None)

    def doubted_with(self, circuit_id: str) -> tuple[str, ...]:
        """All the circuits whose names are doubted together with this one's; none: it isn't."""
        for cycle, _ in self.active:
            ids = tuple(self.circuits[i].id for i in cycle)
            if circuit_id in ids:
                return ids
        return ()

    def again(self, circuit_id: str, now_ms: int) -> list[Condition]:
        """Another alarm of its subject's readings is over: this one still stands."""
        standing = self.begins_with(circuit_id)
        if standing is None:
            return []
        return [self._condition("begins", *standing, now_ms, [trace.seen(self.hour) for trace in self.traces])]

    def _condition(
        self, edge: str, cycle: tuple[int, ...], since_ms: int, now_ms: int, seen: list[list[tuple[int, int]]]
    ) -> Condition:  # fmt: skip
        seen = [[pair for pair in hours if pair[0] >= since_ms // HOUR_MS] for hours in seen]
        shown = [self._shown(hours) for hours in seen]
        ids = tuple(self.circuits[i].id for i in cycle)
        figures: Facts = (("nats", sum(self._gains(cycle, shown))), ("hours", max(len(seen[c]) for c in cycle)))
        facts: list[tuple[str, Facts]] = [("suspect-swapped", figures)]
        for channel, name in _pairs(cycle):
            drawn = [(weight, -bit) for bit, weight in shown[channel].items() if bit >= FIRST]
            if drawn:
                watts = LEAST_W * 2.0 ** ((-max(drawn)[1] - FIRST + 0.5) / OCTAVE)
                facts.append(
                    (
                        "swapped-channel",
                        (("of", self.circuits[channel].id), ("watts", watts), ("fits", self.circuits[name].id)),
                    )
                )
        return Condition(
            subject="circuit",
            subject_id=ids[0],
            group="readings",
            edge=edge,
            at_ms=now_ms,
            since_ms=since_ms,
            kind="reading-suspect",
            priority="medium",
            cause="swapped",
            circuits=ids,
            figures=figures,
            evidence=tuple(facts) if edge == "begins" else (),
        )

    def rest(self) -> None:
        """The program was off: looks in a row are not in a row any more."""
        self.agreed = []
        for trace in self.traces:
            trace.rest()

    def save(self) -> dict[str, Any]:
        return {
            "keys": self.depends(),
            "hour": self.hour,
            "agreed": [[list(cycle), looks] for cycle, looks in self.agreed],
            "active": [[list(cycle), since_ms] for cycle, since_ms in self.active],
            "traces": [trace.save() for trace in self.traces],
        }

    def restore(self, state: dict[str, Any]) -> None:
        self.hour = state["hour"]
        self.agreed = [(tuple(cycle), looks) for cycle, looks in state["agreed"]]
        self.active = [(tuple(cycle), since_ms) for cycle, since_ms in state["active"]]
        for trace, kept in zip(self.traces, state["traces"], strict=True):
            trace.restore(kept)

    def depends(self) -> str:
        """What all of this depends on: another circuit, load or way of reading the monitor begins it anew."""
        monitor = next((m for m in self._schedule.monitors if m.name == self.circuits[0].monitor), None)
        read = (monitor.topic, monitor.dialect, monitor.fields, monitor.record_name) if monitor else None
        return repr((read, [(c.id, c.role, c.supply, c.sense, c.loads, c.protection) for c in self.circuits]))


def groups(bench: Bench, schedule: Schedule) -> list[Names]:
    """Whose names could be swapped with whose: circuits of one monitor and supply with a profile; two at the least."""
    members: dict[tuple[str, str], list[Circuit]] = {}
    for circuit in schedule.circuits:
        if known(circuit):
            members.setdefault((circuit.monitor or "", circuit.supply), []).append(circuit)
    return [Names(bench, schedule, tuple(circuits)) for circuits in members.values() if len(circuits) > 1]


def known(circuit: Circuit) -> bool:
    """Does its schedule say what it would show?"""
    if circuit.role == "charger":
        return True
    loads = circuit.loads
    if circuit.role != "load" or not loads or any(load.kind in UNKNOWN for load in loads):
        return False
    return all(load.levels or load.always_draws_w for load in loads)


def profile(circuit: Circuit, supply: Supply) -> list[float]:
    """-log p of each bit of a mask, for one circuit; of nothing at all it is no share of what was drawn."""
    width = FIRST + BINS
    if circuit.role == "charger":
        share = [BETWEEN / BINS] * width
        share[0], share[1] = 1.0, 1.0 - BETWEEN
        return [-log(p) for p in share]
    share = [ANYTHING / (width - 1)] * width
    floor_w = sum(load.always_draws_w or 0.0 for load in circuit.loads)
    standby_w = max(sum(load.standby_max_w or 0.0 for load in circuit.loads), 1.5 * floor_w)
    bands = _level_bands(circuit, supply)
    rating_w = circuit.protection.fitted_a * supply.nominal_v if circuit.protection else 0.0
    top_w = max((high for _, high in bands), default=max(rating_w, standby_w))
    if standby_w > 0.0:
        _spread(share, AT_REST, 0.6 * floor_w, standby_w)
    for low, high in bands:
        _spread(share, AT_LEVELS / len(bands), low, high)
    _spread(share, BETWEEN, LEAST_W, top_w * HIGH_BUS)
    total = sum(share[1:])
    costs = [-log(p / total) for p in share]
    costs[0] = -log(NEVER_NOTHING) if floor_w > 0.0 else 0.0
    return costs


def _level_bands(circuit: Circuit, supply: Supply) -> list[tuple[float, float]]:
    """From and to how many watts its levels go, those of several loads together too."""
    sums = [(0.0, 0.0)]
    for load in circuit.loads:
        exponent = EXPONENT[load.behaves] if supply.kind == "dc" else 0.0
        least, most = LOW_BUS**exponent / EDGE, HIGH_BUS**exponent * EDGE
        rest_w = load.always_draws_w or 0.0
        own = [(rest_w, max(rest_w, load.standby_max_w or 0.0))]
        own += [(x.watts * (1 - x.tolerance) * least, x.watts * (1 + x.tolerance) * most) for x in load.levels]
        sums = [(a + low, b + high) for a, b in sums for low, high in own][:MOST_SUMS]
    return sums[1:]  # the first is all of them at rest


def _spread(share: list[float], mass: float, low_w: float, high_w: float) -> None:
    """A mass evenly over the bins from low to high."""
    first, last = bin_of(max(low_w, LEAST_W)), bin_of(max(high_w, LEAST_W))
    for place in range(first, last + 1):
        share[place] += mass / (last + 1 - first)


def _pairs(cycle: tuple[int, ...]) -> list[tuple[int, int]]:
    """(channel, whose name it fits) around the cycle."""
    return list(zip(cycle, cycle[1:] + cycle[:1], strict=True))


def _bits(mask: int) -> list[int]:
    """The places of what was drawn or given."""
    found = []
    mask &= ~ZERO
    while mask:
        found.append((mask & -mask).bit_length() - 1)
        mask &= mask - 1
    return found
