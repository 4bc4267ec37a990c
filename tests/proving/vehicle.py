"""The vehicle of a case: bank, bus, feeders, devices, loads, sensors, transport. No code of watch, ratings or rig."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from math import ceil, exp, pi, sin
from random import Random

from panelward.records import (
    Battery,
    Broker,
    Circuit,
    Feeder,
    Level,
    Load,
    Monitor,
    Presence,
    Probe,
    Protection,
    Reading,
    Schedule,
    Segment,
    Sense,
    Settings,
    Supply,
    Surge,
    Vehicle,
)
from proving.devices import Device
from proving.draws import Draw

T0_MS = 1_777_615_200_000  # 2026-05-01T06:00:00Z
# Rested volts of a 12 V bank by charge: (lead: BCI table; iron-phosphate: from memory, +-0.03 V a cell).
OCV = {
    "agm": ((0.0, 11.89), (0.25, 12.06), (0.5, 12.24), (0.75, 12.45), (1.0, 12.75)),
    "flooded": ((0.0, 11.89), (0.25, 12.06), (0.5, 12.24), (0.75, 12.45), (1.0, 12.65)),
    "lfp": ((0.0, 10.2), (0.04, 11.4), (0.1, 12.0), (0.2, 12.8), (0.5, 13.16), (0.9, 13.4), (1.0, 13.6)),
}


@dataclass(slots=True)
class Bank:
    """Open-circuit volts by charge, R0 and one RC (from memory)."""

    chemistry: str
    capacity_ah: float
    charge: float
    r0_ohm: float
    r1_ohm: float
    tau_s: float
    lag_v: float = 0.0

    def step(self, seconds: float, discharge_a: float) -> None:
        target = discharge_a * self.r1_ohm
        self.lag_v += (target - self.lag_v) * (1 - exp(-seconds / self.tau_s))
        self.charge = min(1.0, max(0.0, self.charge - discharge_a * seconds / 3600 / self.capacity_ah))

    def open_v(self) -> float:
        table = OCV[self.chemistry]
        for (c0, v0), (c1, v1) in itertools.pairwise(table):
            if self.charge <= c1:
                return v0 + (v1 - v0) * (self.charge - c0) / (c1 - c0)
        return table[-1][1]


@dataclass(slots=True, kw_only=True)
class Way:
    """One branch circuit, its device, its switch, its wire, its load, and what measures it."""

    id: str
    label: str
    draw: Draw
    device: Device
    protection: Protection
    sense: Sense
    supply: str = "house"
    feeder: str | None = None
    behind: tuple[str, ...] = ()
    feed: str = "switched"
    importance: str = "comfort"
    declared_floor_w: float | None = None
    inline_fuse_a: float | None = None
    load: Load | None = None  # as scheduled, where that is more than one level
    r_ohm: float = 0.03
    tells_closed: bool = False
    tells_commanded: bool = False
    tells_watts: bool = False
    zero_a: float = 0.0
    gain: float = 1.0
    noise_a: float = 0.0
    drift_a_per_k: float = 0.0
    loss: float = 0.0
    heartbeat_s: float | None = None
    # state
    closed: bool = True
    commanded: bool | None = None
    wire_open: bool = False
    loose: float = 0.0  # chance of a moment without contact
    load_off: bool = False
    own_fuse_open: bool = False
    silent: bool = False  # its channel says nothing
    sensor: str = "live"  # live | zero | stuck
    amps: float = 0.0
    mean_a: float = 0.0
    weight: float = 0.0
    bar_v: float = 0.0
    stuck: float | None = None
    last: tuple[float, float, bool | None, bool | None] | None = None
    last_t: float = -1e9
    losing: int = 0  # readings that the burst still takes

    def circuit(self) -> Circuit:
        draw, sort = self.draw, self.draw.sort
        levels = tuple(
            Level(
                name="run" if share == 1.0 else f"run at {share:.0%}", watts=round(draw.watts * share, 1), tolerance=0.3,
                surge=Surge(times=sort.surge[0], seconds=sort.surge[1]) if sort.surge[1] else None,
            )
            for share in sort.steps
            if draw.watts
        )  # fmt: skip
        return Circuit(
            id=self.id, label=self.label, monitor="panel", supply=self.supply, sense=self.sense, feeder=self.feeder,
            behind=self.behind, feed=self.feed, always_on_reason="it must not lose power" if self.feed == "always-on" else None,
            importance=self.importance, protection=self.protection,
            conductor=(Segment(area_mm2=6.0 if self.protection.rating_a <= 40 else 35.0, length_m=4, insulation_c=105),),
            loads=(
                self.load
                or Load(
                    kind=sort.kind, behaves=sort.behaves, always_draws_w=self.declared_floor_w, levels=levels,
                    inline_fuse_a=self.inline_fuse_a,
                ),
            ),
        )  # fmt: skip


@dataclass(slots=True)
class Branch:
    """A feeder to a sub-panel."""

    id: str
    r_ohm: float
    behind: tuple[str, ...]
    rating_a: float
    opened: bool = False
    amps: float = 0.0


@dataclass(slots=True)
class Inverter:
    way: str
    limit_w: float
    on: bool = True
    over_s: float = 0.0
    idle_when_off_w: float = 0.0


Action = Callable[["Van"], None]


@dataclass(slots=True, kw_only=True)
class Van:
    """Everything of one vehicle, and its time in seconds from 0."""

    rng: Random
    bank: Bank
    ways: list[Way]
    period_s: float
    feeders: dict[str, Branch] = field(default_factory=dict)
    inverter: Inverter | None = None
    cutoff_v: float | None = None
    cutoff_delay_s: float = 10.0
    restore_v: float | None = None
    meter_sense: Sense | None = None  # the whole-bank meter, if there is one
    meter_zero_a: float = 0.0
    meter_gain: float = 1.0
    other_a: float = 0.02  # what is on no circuit: the monitor itself
    own_bar: bool = True  # "bus" volts are those of the circuit's own bar, else of the bar at the bank
    presence: str = "always"
    panel_c: Callable[[float], float] = lambda t: 25.0 + 3.0 * sin(2 * pi * t / 86400)
    actions: list[tuple[float, Action]] = field(default_factory=list)
    fine: list[tuple[float, float]] = field(default_factory=list)  # windows of 1 s steps
    coarse: bool = False  # never finer than the period (vehicle-weeks)
    part_s: float = 1.0  # the longest step within these windows
    mean_parts: int = 1  # steps that a mean is made of where it is coarse
    probes: list[tuple[Probe, Callable[[float], float]]] = field(default_factory=list)  # each minute at the most
    dips: list[tuple[float, float, float]] = field(default_factory=list)  # from, to, volts less
    charge_a: float = 0.0
    charge_v: float = 14.2
    payload_time: bool = True
    duplicates: float = 0.0
    # state
    isolator_open: bool = False
    disconnect_open: bool = False
    protection_open: bool = False
    below_s: float = 0.0
    bus_v: float = 12.8
    lowest_v: float = 99.0  # of the bus, without dips that end before the cut-off's delay
    total_a: float = 0.0
    marks: dict[str, float] = field(default_factory=dict)
    held: list[Reading] = field(default_factory=list)  # a link gap's backlog
    holding: bool = False  # the link is away and keeps
    away: bool = False  # the link is away and loses
    events: list[Presence | Settings] = field(default_factory=list)
    extra: list[Reading] = field(default_factory=list)  # told besides: retained messages, an old backlog
    now_s: float = 0.0

    def way(self, way_id: str) -> Way:
        return next(w for w in self.ways if w.id == way_id)

    def at(self, t: float, action: Action) -> None:
        self.actions.append((t, action))

    def mark(self, name: str, t: float | None = None) -> None:
        self.marks.setdefault(name, self.now_s if t is None else t)

    def schedule(self) -> Schedule:
        circuits = [w.circuit() for w in self.ways]
        if self.meter_sense is not None:
            circuits.insert(
                0, Circuit(id="SH", label="Bank meter", monitor="panel", supply="house", sense=self.meter_sense, role="meter")
            )
        supplies = [
            Supply(
                id="house", kind="dc", nominal_v=12.8, cutoff_v=self.cutoff_v,
                battery=Battery(chemistry=self.bank.chemistry, capacity_ah=self.bank.capacity_ah, usable=0.85),
                cutoff_delay_s=self.cutoff_delay_s if self.cutoff_v else None, restore_v=self.restore_v,
                meter="SH" if self.meter_sense is not None else None,
            )
        ]  # fmt: skip
        if self.inverter is not None:
            supplies.append(
                Supply(
                    id="inverter", kind="ac", nominal_v=230, frequency_hz=50, fed_by=self.inverter.way, presence=self.presence
                )
            )
        return Schedule(
            vehicle=Vehicle(name="Proving van", id="proving-van"),
            broker=Broker(host="127.0.0.1"),
            monitors=(
                Monitor(
                    name="panel", dialect="plain", topic="van/{circuit}/{quantity}", expect_every_s=self.period_s,
                    sense=self.ways[0].sense,
                ),
            ),
            supplies=tuple(supplies),
            feeders=tuple(
                Feeder(
                    id=f.id, supply="house", behind=f.behind, protection=Protection(kind="bolt-fuse", rating_a=f.rating_a)
                )
                for f in self.feeders.values()
            ),
            probes=tuple(probe for probe, _ in self.probes),
            circuits=tuple(circuits),
        )  # fmt: skip

    # physics

    def _cut(self, behind: tuple[str, ...]) -> bool:
        return (
            self.protection_open
            or (self.disconnect_open and "disconnect" in behind)
            or (self.isolator_open and "isolator" in behind)
        )

    def _feed_v(self, way: Way) -> float:
        """Volts of the bar that the way hangs on; 0 where it is cut off."""
        if way.supply == "inverter":
            inverter = self.inverter
            assert inverter is not None
            source = self.way(inverter.way)
            alive = inverter.on and source.bar_v > 6 and not source.device.opened and source.closed
            return 230.0 if alive else 0.0
        if self._cut(way.behind):
            return 0.0
        if way.feeder is not None:
            branch = self.feeders[way.feeder]
            if branch.opened or self._cut(branch.behind):
                return 0.0
            return self.bus_v - branch.r_ohm * branch.amps
        return self.bus_v

    def step(self, t: float, dt: float) -> bool:
        """One step that ends at t. Whether a device is carrying more than its rating."""
        self.now_s = t
        while self.actions and self.actions[0][0] <= t:
            self.actions.pop(0)[1](self)
        rng, over = self.rng, False
        ac_w = 0.0
        total = self.other_a
        for branch in self.feeders.values():
            branch.amps = 0.0
        inverter_way: Way | None = None
        for way in self.ways:
            bar = way.bar_v = self._feed_v(way)
            if self.inverter is not None and way.id == self.inverter.way:
                inverter_way = way
                continue
            amps = 0.0
            if bar > 1.0 and way.closed and not way.device.opened and not way.wire_open and not way.load_off:
                if way.own_fuse_open or (way.loose and rng.random() < way.loose):
                    amps = 0.0
                else:
                    amps = way.draw.amps(t, bar - way.r_ohm * way.amps if way.supply == "house" else bar)
            device = way.device
            if amps > 0.7 * device.rating_a:
                surge_s = way.draw.sort.surge[1]
                if surge_s < dt and t - way.draw.surge_from < surge_s:  # a surge shorter than the step
                    carried_s = surge_s
                else:
                    carried_s = dt
                if device.carry(amps, carried_s):
                    self.mark(f"opened {way.id}", t)
                    amps = 0.0
                elif amps > device.rating_a * device.factor:
                    over = True
            elif device.link > 0.05:
                device.carry(amps, dt)
            way.amps = amps
            if way.supply == "inverter":
                ac_w += amps * 230.0
            else:
                total += amps
                if way.feeder is not None:
                    self.feeders[way.feeder].amps += amps
        if inverter_way is not None and self.inverter is not None:
            total += self._invert(self.inverter, inverter_way, ac_w, t, dt)
        if self.protection_open:
            self.total_a, self.bus_v = 0.0, 0.0
            return over
        self._bus(total, t, dt)
        return over

    def _invert(self, inverter: Inverter, way: Way, ac_w: float, t: float, dt: float) -> float:
        if ac_w > inverter.limit_w and inverter.on:
            inverter.over_s += dt
            if inverter.over_s >= 2.0:  # an electronic source limits and shuts down instead (common practice, no source)
                inverter.on = False
                self.mark("inverter shut down", t)
                ac_w = 0.0
                for other in self.ways:
                    if other.supply == "inverter":
                        other.amps = 0.0
        else:
            inverter.over_s = 0.0
        amps = 0.0
        if way.bar_v > 6 and way.closed and not way.device.opened:
            watts = way.draw.floor_w + ac_w / 0.88 if inverter.on else inverter.idle_when_off_w
            amps = watts / way.bar_v * (1 + 0.005 * self.rng.gauss(0, 1)) if watts else 0.0
        way.amps = amps
        if way.feeder is not None:
            self.feeders[way.feeder].amps += amps
        return amps

    def _bus(self, total: float, t: float, dt: float) -> None:
        bank = self.bank
        charge = self.charge_a
        volts = bank.open_v() - bank.lag_v - bank.r0_ohm * (total - charge)
        if charge and volts > self.charge_v:
            charge = max(0.0, total - (bank.open_v() - bank.lag_v - self.charge_v) / bank.r0_ohm)
            volts = min(volts, self.charge_v)
        bank.step(dt, total - charge)
        self.total_a = total - charge
        lasting = volts  # without the dips that end before the cut-off's delay
        for begin, end, less in self.dips:
            if begin <= t < end:
                volts -= less
                if end - begin >= self.cutoff_delay_s:
                    lasting -= less
        self.bus_v = volts
        self.lowest_v = min(self.lowest_v, lasting)
        if self.cutoff_v is not None:
            self.below_s = self.below_s + dt if lasting < self.cutoff_v else 0.0
            if not self.disconnect_open and self.below_s >= self.cutoff_delay_s:
                self.disconnect_open = True
                self.mark("disconnect", t)
            elif self.disconnect_open and self.restore_v is not None and volts > self.restore_v:
                self.disconnect_open = False

    def _settle(self) -> None:
        """A minute before the first reading: the bus as it stands under what is drawn already."""
        self.bus_v = self.bank.open_v()
        waiting, self.actions = self.actions, []
        for second in range(-60, 0, 5):
            self.step(float(second), 5.0)
        self.actions = waiting
        self.lowest_v = 99.0

    # what is measured and sent

    def run(self, seconds: float) -> Iterator[Reading | Presence | Settings]:
        """The stream in the order of `received`."""
        self.actions.sort(key=lambda item: item[0])
        period, over = self.period_s, False
        mean = any(w.sense.reports == "mean" for w in self.ways)
        ticks = int(seconds / period)
        self._settle()
        for way in self.ways:
            way.last_t = -self.rng.random() * (way.heartbeat_s or 1e9)
        for tick in range(ticks + 1):
            t = tick * period
            parts = 1
            if self.coarse:
                parts = self.mean_parts if mean else 1
            elif period > self.part_s:
                if over or any(begin <= t <= end for begin, end in self.fine):
                    parts = ceil(period / self.part_s)
                elif mean and period > 1.0:
                    parts = ceil(period / 2)
            over = False
            for way in self.ways:
                way.mean_a = 0.0
            for part in range(parts):
                over = self.step(t - period + (part + 1) * period / parts, period / parts) or over
                if over and parts < period / self.part_s and not self.coarse:
                    self.fine.append((t, t + 60))
                if parts > 1:
                    for way in self.ways:
                        way.mean_a += way.amps / parts
            if parts == 1:
                for way in self.ways:
                    way.mean_a = way.amps
            yield from self._send(t)

    def _send(self, t: float) -> Iterator[Reading | Presence]:
        rng = self.rng
        batch: list[Reading] = []
        warm = self.panel_c(t) - 25.0
        if self.meter_sense is not None:
            resolution = self.meter_sense.resolution_a
            amps = round((self.meter_gain * self.total_a + self.meter_zero_a) / resolution) * resolution
            volts = round(self.bus_v + 0.004 * rng.gauss(0, 1), 2)
            batch.append(self._reading("SH", t, round(amps, 4), max(0.0, volts), None, None, None))
        for way in self.ways:
            reading = self._measure(way, t, warm)
            if reading is not None:
                batch.append(reading)
                if self.duplicates and rng.random() < self.duplicates:
                    batch.append(reading)
        for probe, celsius in self.probes if t % 60.0 < self.period_s else ():
            reading = self._reading(probe.id, t, 0.0, None, None, None, None)
            batch.append(reading._replace(amps=None, celsius=round(celsius(t) + 0.1 * rng.gauss(0.0, 1.0), 1)))
        batch.sort(key=lambda r: r.received_ms)
        if self.events:
            yield from self.events
            self.events.clear()
        if self.extra:
            yield from self.extra
            self.extra.clear()
        if self.away:
            return
        if self.holding:
            self.held += batch
            return
        if self.held:
            received = batch[0].received_ms if batch else T0_MS + round(t * 1000)
            for old in self.held:
                yield old._replace(received_ms=received)
            self.held = []
            batch = [r if r.received_ms >= received else r._replace(received_ms=received) for r in batch]
        yield from batch

    def _reading(
        self, circuit: str, t: float, amps: float, volts: float | None, watts: float | None, closed: bool | None,
        commanded: bool | None,
    ) -> Reading:  # fmt: skip
        time_ms = T0_MS + round(t * 1000)
        received_ms = time_ms + 20 + int(self.rng.random() * 250)
        return Reading(
            circuit, time_ms if self.payload_time else received_ms, received_ms, volts, amps, watts, closed, None, commanded
        )

    def _measure(self, way: Way, t: float, warm: float) -> Reading | None:
        rng, sense = self.rng, way.sense
        true_a = way.mean_a if sense.reports == "mean" else way.amps
        resolution = sense.resolution_a
        amps = way.gain * true_a + way.zero_a + way.drift_a_per_k * warm
        if way.noise_a:
            amps += way.noise_a * rng.gauss(0.0, 1.0)
        if way.sensor == "zero":
            amps = 0.0
        elif way.sensor == "stuck":
            if way.stuck is None:
                way.stuck = amps
            amps = way.stuck
        amps = round(amps / resolution) * resolution
        place, bar = sense.volts_at, self._feed_v(way)  # the bus as it is now, a dip too
        if place == "bus":
            volts = bar if self.own_bar or way.supply != "house" else self.bus_v
        else:
            volts = 0.0 if way.device.opened else bar
            if place != "after-device" and not way.closed:
                volts = 0.0
            if place == "load":
                volts = 0.0 if way.wire_open else volts - way.r_ohm * true_a if volts else 0.0
        step = 0.1 if way.supply == "inverter" else 0.01
        volts = max(0.0, round((volts + 0.4 * step * rng.gauss(0.0, 1.0)) / step) * step)
        closed = way.closed if way.tells_closed else None
        commanded = way.commanded if way.tells_commanded else None
        if way.silent:
            return None
        if way.loss:  # bursts of 1 to 4, never two on end: ten periods on end would be a true silence
            if way.losing > 0:
                way.losing = way.losing - 1 or -1  # -1: the next comes through
                return None
            if way.losing == 0 and rng.random() < way.loss / (1 - way.loss) / 2.5 * 1.1:
                way.losing = rng.randint(0, 3) or -1
                return None
            way.losing = 0
        if sense.publishes == "on-change":
            last = way.last
            due = way.heartbeat_s is not None and t - way.last_t >= way.heartbeat_s
            if (
                last is not None
                and not due
                and abs(amps - last[0]) < max(1.6 * resolution, 0.02 * abs(last[0]))
                and abs(volts - last[1]) < 5 * step + 0.01 * last[1]
                and closed is last[2]
                and commanded is last[3]
            ):
                return None
            way.last, way.last_t = (amps, volts, closed, commanded), t
        watts = round(amps * volts, 1) if way.tells_watts else None
        return self._reading(way.id, t, round(amps, 4), round(volts, 4), watts, closed, commanded)
