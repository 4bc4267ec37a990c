"""A journey's readings as they would have been with another conductor or device: the physics, reading by reading.

What was seen tells the load: its amps at its own volts. On the other conductor it has other volts, and draws by what it
is (`ratings.relaid`). The volts of the bus are taken as they were. What is not touched passes through unchanged, the
whole-bank meter moves with what changed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import inf

from panelward.errors import BadInput
from panelward.ratings import relaid
from panelward.ratings.behaviour import exponent_of
from panelward.records import Circuit, Feeder, Protection, Reading, Schedule, Supply
from panelward.rehearse.laid import Laid, Losses
from panelward.rehearse.meter import Meters
from panelward.rehearse.openings import Openings
from panelward.rehearse.variation import Variation
from panelward.schedule.vetting import Around, Way
from panelward.watch.overcurrent import SURGE_SLACK

GAP_S = 10.0  # and three periods: what flowed in a longer gap is not known
APART_MS = 60_000  # brown-outs nearer together are one
MOTORS = ("pump", "motor", "fan", "compressor")  # start with more than they run at
MOST = 200  # brown-outs that are kept one by one
MIXED = "its loads behave differently: taken as of constant power, which loses most"


@dataclass(slots=True)
class BrownOut:
    """The load asked for more than the conductor can bring, P > V^2 / 4R."""

    from_ms: int
    to_ms: int
    seconds: float
    watts: float  # asked for, at the most


@dataclass(slots=True)
class Side:
    """One way as it is, or as varied."""

    laid: Laid
    losses: Losses = field(default_factory=Losses)
    openings: Openings | None = None
    amps: float = 0.0  # last


class Judged:
    """One circuit, or one feeder, whose conductor or device is varied."""

    def __init__(self, title: str, old: Side, new: Side, nominal_v: float, gap_s: float) -> None:
        self.title, self.old, self.new, self.nominal_v, self._gap_s = title, old, new, nominal_v, gap_s
        self.feeder = self.charger = False
        self.fed_by = ""  # the circuit that feeds its supply
        self.refitted = False  # is its device another?
        self.relaid = False  # is its conductor another?
        self.as_taken = ""  # what is not known of its loads, and how they are taken
        self.exponent = 0.0
        self.brown_outs: list[BrownOut] = []
        self.more_brown_outs = 0
        self.brown_out_s = 0.0
        self.unreckoned = 0  # readings that this conductor can't have brought
        self.without_volts = 0  # reckoned at nominal
        self.readings = 0
        self._last_ms: int | None = None

    def carry(self, at_ms: int) -> tuple[float, bool]:
        """Carry both sides' warmth on to now at what flowed last; the seconds since, and are they a gap?"""
        dt_s = 0.0 if self._last_ms is None else max(0, at_ms - self._last_ms) / 1000.0
        gap = dt_s > self._gap_s
        if dt_s > 0.0:
            for side in (self.old, self.new):
                if side.laid.known:
                    side.laid.carry(dt_s, 0.0 if gap else side.amps)
        self._last_ms = at_ms if self._last_ms is None else max(self._last_ms, at_ms)
        return dt_s, gap

    def flows(
        self, at_ms: int, seconds: tuple[float, bool], amps: tuple[float, float], volts: tuple[float, float],
        panel_c: float | None, nothing_a: float, apart: tuple[float, float] | None = None,
    ) -> None:  # fmt: skip
        """These amps flow from now on, with these volts at the far end; each as it is and as varied. `apart`: from starts."""
        dt_s, gap = seconds
        self.readings += 1
        both = zip((self.old, self.new), amps, volts, amps if apart is None else apart, strict=True)
        for side, flow_a, load_v, apart_a in both:
            if side.openings is not None:
                side.openings.take(at_ms, dt_s, flow_a, panel_c, gap=gap, apart_a=apart_a)
            side.amps = abs(flow_a)
            if side.laid.known and abs(flow_a) > nothing_a and not gap:
                side.losses.take(side.laid.ohm * abs(flow_a) / self.nominal_v, load_v, dt_s, at_ms)

    def browns_out(self, at_ms: int, dt_s: float, watts: float) -> None:
        last = self.brown_outs[-1] if self.brown_outs else None
        self.brown_out_s += dt_s
        if last is not None and at_ms - last.to_ms <= APART_MS + 1000.0 * dt_s:
            last.to_ms, last.seconds, last.watts = at_ms, last.seconds + dt_s, max(last.watts, watts)
        elif len(self.brown_outs) < MOST:
            self.brown_outs.append(BrownOut(at_ms, at_ms, dt_s, watts))
        else:
            self.more_brown_outs += 1

    def cut_short(self, opened: bool) -> bool:
        """Has it a bigger device, where the one that is there opened (`opened`: so the watch found) or may have?"""
        old, new = self.old.openings, self.new.openings
        if old is None or new is None or new.protection.fitted_a <= old.protection.fitted_a:
            return False
        return opened or any(each.share for each in old.found) or old.more > 0 or old.stopped

    def end(self) -> None:
        for side in (self.old, self.new):
            if side.openings is not None:
                side.openings.end()


class Varied:
    """Readings in, readings as varied out."""

    def __init__(self, variation: Variation) -> None:
        before, after = variation.before, variation.after
        self._before = before
        self._circuits = {c.id: c for c in before.circuits}
        self.meters = Meters(before)
        self.ways: dict[str, Judged] = {}
        self.feeders: dict[str, Judged] = {}
        self._above: dict[str, tuple[str, ...]] = {}  # of a circuit: the feeders over it whose conductor is another
        around = Around.of(before)
        for circuit_id in variation.circuits:
            old, new = self._circuits.get(circuit_id), after.circuit(circuit_id)
            if old is not None and (old.conductor, old.protection) != (new.conductor, new.protection):
                self.ways[circuit_id] = _judged(before, after, old, new)
        for feeder_id in variation.feeders:
            was, now = before.feeder(feeder_id), after.feeder(feeder_id)
            if (was.conductor, was.protection) == (now.conductor, now.protection):
                continue
            self.feeders[feeder_id] = _judged(before, after, was, now)
            for circuit in before.circuits:
                if was in Way(around, circuit).feeders:
                    self._above[circuit.id] = (*self._above.get(circuit.id, ()), feeder_id)
                    self.ways.setdefault(circuit.id, _judged(before, after, circuit, after.circuit(circuit.id)))
        for name in self.feeders:
            if not any(name in names for names in self._above.values()):
                raise BadInput(f"feeder {name}: no circuit draws through it, so nothing would be otherwise")
        self._flow: dict[str, tuple[float, float]] = dict.fromkeys(self._above, (0.0, 0.0))
        self._surges = {
            c.id: _starts(c, before.supply(c.supply)) for c in before.circuits if c.id in self._above and _sampled(c)
        }
        self._begun: dict[str, int] = {}  # a circuit behind such a feeder that starts, and until when by its listed length
        self._volts: dict[str, float] = {}  # of a circuit, last
        self._bus: dict[str, float] = {}  # of a supply, last
        self._metered: set[str] = set()  # circuits that report amps
        self._probes = tuple(p.id for p in before.probes if p.where == "panel")
        self._panel_c: float | None = None

    def take(self, reading: Reading) -> Reading:
        """The reading as it would have been."""
        if reading.celsius is not None and reading.circuit in self._probes:
            self._panel_c = reading.celsius
        circuit = self._circuits.get(reading.circuit)
        if circuit is None:
            return reading
        if reading.volts is not None:
            self._volts[circuit.id] = reading.volts
            if circuit.sense.volts_at == "bus":
                self._bus[circuit.supply] = reading.volts
        judged = self.ways.get(circuit.id)
        if judged is None:
            return self.meters.moved(circuit, reading)
        return self._other(circuit, judged, reading)

    def behind(self, feeder_id: str) -> list[str]:
        """The circuits behind a feeder that is varied."""
        return [circuit_id for circuit_id, names in self._above.items() if feeder_id in names]

    def end(self) -> None:
        """No more readings."""
        for judged in (*self.ways.values(), *self.feeders.values()):
            judged.end()

    def _other(self, circuit: Circuit, judged: Judged, reading: Reading) -> Reading:
        volts = self._volts.get(circuit.id, self._bus.get(circuit.supply))
        if volts is None:
            judged.without_volts += reading.amps is not None
            volts = judged.nominal_v
        amps = reading.amps
        if amps is not None:
            self._metered.add(circuit.id)
        elif reading.watts is not None and volts > 0.0:
            amps = reading.watts / volts
        counts = reading.amps is not None or circuit.id not in self._metered
        if amps is None or not counts:  # volts alone, or watts beside amps that come by themselves
            return self._beside(circuit, judged, reading)
        dt_s, gap = judged.carry(reading.time_ms)
        more_v = self._more_v(circuit.id)
        at_load = circuit.sense.volts_at == "load"
        # Without a known conductor nothing is lost on it, as far as anybody knows: only its device is judged then.
        ohm = judged.old.laid.ohm if judged.old.laid.known else 0.0
        other_ohm = judged.new.laid.ohm if judged.relaid else ohm
        source_v = volts + ohm * amps if at_load else volts
        found = relaid(max(0.0, amps), source_v, ohm, source_v + more_v, other_ohm, judged.exponent)
        flow_a, load_v, other_v = amps, source_v - ohm * amps, source_v + more_v - other_ohm * amps
        if found is None:
            judged.unreckoned += amps > circuit.sense.nothing_a
            other_v, more_v = load_v, 0.0
        elif amps > 0.0:
            other_v = found.load_v
            unchanged = found.amps == amps
            flow_a = amps if unchanged else found.amps
            if found.brown_out and not gap:
                judged.browns_out(reading.time_ms, dt_s, amps * load_v)
        judged.flows(
            reading.time_ms, (dt_s, gap), (amps, flow_a), (load_v, other_v), self._panel_c, circuit.sense.nothing_a
        )  # fmt: skip
        self._through(circuit.id, amps, flow_a, reading.time_ms)
        self.meters.note(circuit, amps, flow_a)
        watts = reading.watts
        if watts is not None and flow_a != amps:
            was_w, is_w = (load_v * amps, other_v * flow_a) if at_load else (source_v * amps, (source_v + more_v) * flow_a)
            watts = round(watts * is_w / was_w, 3) if was_w else watts
        shown_v = reading.volts
        if shown_v is not None and (other_v != load_v if at_load else more_v):
            shown_v = round(other_v if at_load else shown_v + more_v, 4)
        shown_a = reading.amps
        if shown_a is not None and flow_a != amps:
            shown_a = round(flow_a, 4)
        if (shown_v, shown_a, watts) == (reading.volts, reading.amps, reading.watts):
            return reading
        return reading._replace(volts=shown_v, amps=shown_a, watts=watts)

    def _beside(self, circuit: Circuit, judged: Judged, reading: Reading) -> Reading:
        """A part of a reading: its volts or its watts come by themselves, and go with the amps last seen."""
        was_a, is_a = judged.old.amps, judged.new.amps
        more_v = self._more_v(circuit.id)
        volts, watts = reading.volts, reading.watts
        if volts is not None and circuit.sense.volts_at == "load" and judged.relaid:
            more_v += judged.old.laid.ohm * was_a - judged.new.laid.ohm * is_a
        if volts is not None and more_v:
            volts = round(max(0.0, volts + more_v), 4)
        if watts is not None and was_a > 0.0 and was_a != is_a:
            watts = round(watts * is_a / was_a, 3)
        return reading if (volts, watts) == (reading.volts, reading.watts) else reading._replace(volts=volts, watts=watts)

    def _more_v(self, circuit_id: str) -> float:
        """By how much its bar stands higher than it did, behind feeders whose conductor is another."""
        more_v = 0.0
        for name in self._above.get(circuit_id, ()):
            old, new = self.feeders[name].old, self.feeders[name].new
            if self.feeders[name].relaid:
                more_v += old.laid.ohm * old.amps - new.laid.ohm * new.amps
        return more_v

    def _through(self, circuit_id: str, was_a: float, is_a: float, at_ms: int) -> None:
        """What it draws goes through the feeders over it. A start that is seen in a sample ends by its listed length."""
        if circuit_id not in self._above:
            return
        for until_ms, name in sorted((until_ms, name) for name, until_ms in self._begun.items() if until_ms < at_ms):
            del self._begun[name]
            self._flow[name] = self._at_rest(name)
            self._push(name, until_ms)
        self._starts_now(circuit_id, self._flow[circuit_id][0], was_a, at_ms)
        self._flow[circuit_id] = (was_a, is_a)
        self._push(circuit_id, at_ms)

    def _starts_now(self, circuit_id: str, before_a: float, amps: float, at_ms: int) -> None:
        starts, running_a = self._surges.get(circuit_id, ((), inf))
        seconds = max((s for most_a, s in starts if running_a < amps <= most_a), default=None)
        if seconds is None:
            self._begun.pop(circuit_id, None)
        elif before_a <= running_a:
            self._begun[circuit_id] = at_ms + round(1000.0 * seconds)

    def _at_rest(self, circuit_id: str) -> tuple[float, float]:
        """What it draws when its start is over, before the next reading tells: no more than it runs at."""
        running_a = self._surges[circuit_id][1]
        was_a, is_a = self._flow[circuit_id]
        return min(was_a, running_a), min(is_a, running_a)

    def _push(self, circuit_id: str, at_ms: int) -> None:
        """What flows through the feeders over it, from now on."""
        for name in self._above[circuit_id]:
            feeder = self.feeders[name]
            seconds = feeder.carry(at_ms)
            behind = [other for other in self._flow if name in self._above[other]]
            flows = [self._flow[other] for other in behind]
            apart = [self._at_rest(other) if other in self._begun else self._flow[other] for other in behind]
            amps = (sum(flow[0] for flow in flows), sum(flow[1] for flow in flows))
            supply = self._before.feeder(name).supply
            bus_v = self._bus.get(supply, feeder.nominal_v)
            ends = tuple(bus_v - side.laid.ohm * a for side, a in zip((feeder.old, feeder.new), amps, strict=True))
            without = (sum(flow[0] for flow in apart), sum(flow[1] for flow in apart))
            feeder.flows(at_ms, seconds, amps, (ends[0], ends[1]), self._panel_c, 0.0, without)


def _judged(before: Schedule, after: Schedule, old: Circuit | Feeder, new: Circuit | Feeder) -> Judged:
    supply = before.supply(old.supply)
    rules = before.vehicle.rules(supply.kind)
    motor = isinstance(old, Circuit) and any(load.kind in MOTORS for load in old.loads)

    def openings(protection: Protection | None) -> Openings | None:
        if protection is None:
            return None
        return Openings(protection, *_starts(old, supply), sampled=isinstance(old, Feeder) or _sampled(old), motor=motor)

    sides = tuple(Side(Laid(each.conductor, supply.kind, rules), openings=openings(each.protection)) for each in (old, new))
    title = f"{old.label} ({old.id})" if isinstance(old, Circuit) else f"Feeder {old.id}"
    every_s = {m.name: m.expect_every_s for m in before.monitors}
    gap_s = 3 * every_s.get(old.monitor or "", 5.0) if isinstance(old, Circuit) else 0.0
    held = isinstance(old, Circuit) and old.sense.publishes == "on-change"
    judged = Judged(title, sides[0], sides[1], supply.nominal_v, 3600.0 if held else max(GAP_S, gap_s))
    judged.feeder = isinstance(old, Feeder)
    judged.charger = isinstance(old, Circuit) and old.role == "charger"
    judged.fed_by = before.circuit(supply.fed_by).label if supply.fed_by is not None else ""
    judged.refitted = old.protection != new.protection
    judged.relaid = old.conductor != new.conductor
    if judged.relaid and not (sides[0].laid.known and sides[1].laid.known):
        raise BadInput(f"{title}: what is lost on its conductor can't be reckoned: write size and length_m of each stretch")
    behaves = {load.behaves for load in old.loads} if isinstance(old, Circuit) else set()
    if len(behaves) == 1:
        judged.exponent = exponent_of(next(iter(behaves)))
    elif behaves:
        judged.as_taken = MIXED
    return judged


def _sampled(circuit: Circuit) -> bool:
    """Are its readings samples, so that one of them says nothing of what flowed until the next?"""
    return circuit.sense.reports == "sample"


def _starts(of: Circuit | Feeder, supply: Supply) -> tuple[list[tuple[float, float]], float]:
    """Listed start surges as (amps at the most, seconds), and what it runs at; with slack for the meter and the volts, as the
    watch has it.
    """
    levels = [level for load in of.loads for level in load.levels] if isinstance(of, Circuit) else []
    starts = [(x.surge.times * x.watts / supply.nominal_v * SURGE_SLACK, x.surge.seconds) for x in levels if x.surge]
    running_a = max((x.watts / supply.nominal_v * (1.0 + x.tolerance) for x in levels), default=inf)
    return starts, running_a
