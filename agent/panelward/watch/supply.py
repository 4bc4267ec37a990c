"""A supply that nears its cut-off. Group `supply`.

Judged on whole minutes, so that cranking and momentary dips raise nothing, and on the volts that the bus will have at
its lasting draw, not on those of the moment: the volts at rest (`thevenin`) less what the last half hour's draw takes
off. Hours left come from the charge counted since the bank was last full (`charge`); a lead bank without it is judged
by a lasting fall; an iron-phosphate one has none to tell: its volts say nothing in mid-charge, and in its knee only
that it is time to speak. No forecast counts on the sun or a charger.
"""

from __future__ import annotations

from collections.abc import Callable
from statistics import median
from typing import Any

from panelward.records import Circuit, Condition, Facts, Figure, Schedule, Supply
from panelward.watch.bench import Bench
from panelward.watch.charge import Charge, Counted, left_at_rest
from panelward.watch.charge import depends as charge_depends
from panelward.watch.thevenin import Source
from panelward.watch.volts import Bus

NEAR = 0.03  # of nominal above the cut-off: about 0.4 V on 12.8 V
NEAR_OVER = 0.05
PULLED = 0.01  # … and this near the load that runs now pulls it under, whatever the mean draw is
NO_SUPPLY = 0.5
MINUTES_NEAR = 2
MINUTES_OVER = 5
MINUTES_REST = 30  # … without being charged: volts that come back when a load stops are no charge
WINDOW = 30  # minutes that a fall and the lasting draw are judged on
LASTING = 20  # minutes, of which most must discharge
DRAWS = 60  # minutes that the mean draw of a forecast is taken over: a cycle of a compressor and more
FAR = 0.042  # of nominal above the cut-off: no forecast from further up, where half an hour of a heavy load looks like a fall
FAR_LFP = 0.05  # iron-phosphate whose resistance is not known: further up a fall is only a load
FAR_KNEE = 0.1  # … whose resistance is known: its knee begins at a fifth of its charge
HOURS_AHEAD = 2.0  # an hour is wanted; draws change and a knee bends down
HOURS_KNEE = 3.0  # of iron-phosphate by a fall: the knee bends down
HOURS_OVER = 3.0
KNEE = 0.2  # of its charge: below it the volts of iron-phosphate at rest begin to tell
KNEE_MINUTES = 10
HOURS_TOLD = 6.0  # a count that gives more, where the volts are near, is not believed
STEADY_FALL = 0.5  # the window's first half falls at half the whole's rate at least: a load switched on is a step
NO_FLATTENING = 0.85  # … its second half at this much of it: volts that settle after a charge flatten out
CHARGES = 0.005  # of the capacity, A: going in, it charges
SOURCE_LOST_MS = 15_000
MOST_READINGS = 120  # of a minute that are kept
COLD_C = 5.0  # below it lithium takes no charge (common practice, no source)
PROBE_OLD_MS = 3600_000
CHARGER_OLD_MS = 600_000  # what a charger put in then says nothing of now


class SupplyState:
    """One supply's volts, what its bank gives, and when it will be cut off."""

    def __init__(self, bench: Bench, schedule: Schedule, supply: Supply, bus: Bus) -> None:
        self._bench, self._supply, self._bus = bench, supply, bus
        self.judged = supply.cutoff_v is not None
        circuits = goes_with(schedule, supply)
        self._circuits = tuple(c.id for c in circuits)
        self._inverters = [
            c.id for c in schedule.circuits if c.supply == supply.id and any(load.kind == "inverter" for load in c.loads)
        ]
        self.draws_now: Callable[[str], float] = lambda _: 0.0  # of a circuit, A; the watch knows
        self._carriers = tuple(c.id for c in circuits if c.carries_messages)
        periods = {m.name: m.expect_every_s for m in schedule.monitors}
        own = [c for c in schedule.circuits if c.supply == supply.id]
        period_ms = round(1000 * max((periods.get(c.monitor or "", 5.0) for c in own), default=5.0))
        meter = next((c for c in own if c.id == supply.meter), None)
        on_change = meter is not None and meter.sense.publishes == "on-change"
        self._stale_ms = 3600_000 if on_change else max(10_000, 3 * period_ms)
        self._sign = -1.0 if supply.meter_sign == "charge-positive" else 1.0
        self._metered = meter is not None
        self._chargers = tuple(c.id for c in own if c.role == "charger")
        battery = supply.battery
        self._lfp = battery is not None and battery.chemistry == "lfp"
        self._charges_a = CHARGES * battery.capacity_ah if battery is not None else 0.5
        self.thevenin = Source(supply.nominal_v, period_ms)
        self.charge: Charge | None = None
        if battery is not None and meter is not None:
            self.charge = Charge(
                battery, supply.nominal_v, period_ms=period_ms, on_change=on_change, resolution_a=meter.sense.resolution_a
            )
        self.source: str | None = None  # which circuit's volts are taken
        self.source_ms = 0
        self.minute: int | None = None
        self.volts: list[float] = []  # of this minute, as measured
        self.rests: list[float] = []  # … with what the draw took off put back
        self.each: dict[str, int] = {}  # what each charger puts in, 0.1 mA
        self.fed = 0  # … all of them
        self.fed_ms = 0
        self.amps: float | None = None  # what the bank gives at its meter, discharge positive
        self.amps_ms = 0
        self.given_a = 0.0  # sums over this minute's readings
        self.loads_a = 0.0
        self.known = 0
        self.means: list[float] = []  # volts at rest of the last minutes, without holes
        self.nets: list[float] = []  # what the bank gave in each of the last minutes
        self.draws: list[float] = []  # what was drawn, the chargers' part added: what it would give without them
        self.near = 0
        self.over = 0
        self.active = False
        self.since_ms = 0
        self.down_ms: int | None = None  # discharging since
        self.bank_c: float | None = None
        self.bank_ms = 0

    # What is heard.

    def listens(self, circuit: Circuit) -> bool:
        """Is this circuit's draw wanted here? What the loads draw together the bus knows."""
        return self.judged and (circuit.id == self._supply.meter or circuit.id in self._chargers)

    def draw(self, circuit: Circuit, amps: float, time_ms: int, *, fresh: bool) -> None:
        """What the bank gives, at its meter; what a charger puts in (its draw is negative)."""
        if circuit.id == self._supply.meter:
            amps *= self._sign
            if self.charge is not None:
                self.charge.take(amps, time_ms, self._mean(self.draws))
            if fresh:
                self.amps, self.amps_ms = amps, time_ms
                self.thevenin.hear_amps(amps, time_ms)
            return
        if not fresh:
            return
        now = max(0, -round(amps * 10_000))
        self.fed += now - self.each.get(circuit.id, 0)
        self.each[circuit.id], self.fed_ms = now, time_ms

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
        amps: float | None
        if not self._metered:
            amps = self._bus.drawn / 10_000
            self.thevenin.pair(volts, amps, time_ms)
        else:
            amps = self.amps if time_ms - self.amps_ms <= self._stale_ms else None
            if amps is not None:
                self.thevenin.hear_volts(volts, time_ms)
        if len(self.volts) < MOST_READINGS:
            self.volts.append(volts)
            ohm = self.thevenin.rough_ohm
            if amps is not None:
                self.rests.append(volts + ohm * amps if ohm is not None else volts)
                self.given_a += amps
                self.loads_a += amps + (self.fed / 10_000 if time_ms - self.fed_ms <= CHARGER_OLD_MS else 0.0)
                self.known += 1

    def probe(self, celsius: float, now_ms: int) -> None:
        """How warm the bank is."""
        self.bank_c, self.bank_ms = celsius, now_ms

    # Whole minutes.

    def _close(self, minute: int, time_ms: int, now_ms: int) -> None:
        if self.minute is None or not self.volts:
            return
        level = _middle(self.volts)
        rest_v = _middle(self.rests) if 2 * self.known > len(self.volts) else level
        net = self.given_a / self.known if self.known else None
        gross = self.loads_a / self.known if self.known else None
        self.volts, self.rests = [], []
        self.given_a, self.loads_a, self.known = 0.0, 0.0, 0
        if minute - self.minute > 3:
            self.means, self.nets, self.draws = [], [], []  # a gap: what lay in it is not known
            self.down_ms = None
        self.means.append(rest_v)
        del self.means[:-WINDOW]
        if net is not None and gross is not None:
            self.nets.append(net)
            del self.nets[:-WINDOW]
            if gross > 0.0:
                self.draws.append(gross)
                del self.draws[:-DRAWS]
            if net <= -self._charges_a:
                self.down_ms = None
            elif self.down_ms is None:
                self.down_ms = time_ms - 60_000
        if self.charge is not None:
            self.charge.minute(level, net, time_ms, self._warmth(now_ms))
        self._judge(level, rest_v, time_ms, now_ms)

    def _judge(self, level: float, rest_v: float, time_ms: int, now_ms: int) -> None:
        cutoff, nominal = self._supply.cutoff_v, self._supply.nominal_v
        if cutoff is None or level < NO_SUPPLY * nominal:
            return  # no volts at all is another story: a lost supply
        lasting_v = rest_v - self._taken_off()
        fall = self._fall_hours(cutoff)
        far = FAR if not self._lfp else FAR_LFP if self.thevenin.ohm is None else FAR_KNEE
        ahead = HOURS_KNEE if self._lfp else HOURS_AHEAD
        falling = fall is not None and fall <= ahead and lasting_v <= cutoff + far * nominal
        knee = self._knee_hours(cutoff)
        falling = falling or (knee is not None and knee <= (HOURS_OVER if self.active else HOURS_AHEAD))
        counted = self._counted_hours(time_ms)
        short = counted is not None and counted <= (HOURS_OVER if self.active else HOURS_AHEAD)
        charging = len(self.nets) >= MINUTES_OVER and max(self.nets[-MINUTES_OVER:]) <= -self._charges_a
        near = not charging and (lasting_v <= cutoff + NEAR * nominal or level <= cutoff + PULLED * nominal)
        clear = lasting_v > cutoff + NEAR_OVER * nominal or (charging and level > cutoff + NEAR * nominal)
        self.near = self.near + 1 if near or falling or short else 0
        self.over = self.over + 1 if clear and not falling and not short else 0
        if not self.active and self.near >= MINUTES_NEAR:
            self.active = True
            if falling:  # a fall began where the window does
                self.since_ms = time_ms - 60_000 * len(self.means)
            elif short and self.down_ms is not None:
                self.since_ms = self.down_ms
            else:
                self.since_ms = time_ms - 60_000 * self.near
            if counted is not None and (short or counted <= HOURS_TOLD):
                fall = counted
            elif self._lfp or not falling:
                fall = None
            self._emit("begins", level, rest_v, fall, time_ms, now_ms)
        elif self.active and self.over >= (MINUTES_OVER if charging else MINUTES_REST):
            self.active = False
            self._emit("ends", level, rest_v, None, time_ms, now_ms)

    def _taken_off(self) -> float:
        """Volts that the lasting draw takes off those at rest."""
        ohm = self.thevenin.rough_ohm
        return ohm * self._mean(self.nets) if ohm is not None and self.nets else 0.0

    def _fall_hours(self, cutoff_v: float) -> float | None:
        """Hours until the cut-off if the fall goes on; None where there is no lasting fall."""
        if len(self.means) < 20:
            return None
        first_v, middle_v, last_v = self._thirds()
        whole = self._v_per_h()
        if whole >= -0.004 * self._supply.nominal_v:
            return None
        half = (last_v - first_v) / 2.0
        if middle_v - first_v > STEADY_FALL * half or last_v - middle_v > NO_FLATTENING * half:
            return None
        return max(0.0, (self.means[-1] - self._taken_off() - cutoff_v) / -whole)

    def _knee_hours(self, cutoff_v: float) -> float | None:
        """Hours that an iron-phosphate bank in its knee may last at the most, by its volts at rest: too rough to be told."""
        battery, ohm = self._supply.battery, self.thevenin.ohm
        if not self._lfp or battery is None or ohm is None or len(self.means) < KNEE_MINUTES:
            return None
        if len(self.nets) < KNEE_MINUTES or median(self.nets[-KNEE_MINUTES:]) <= 0.0:
            return None
        nominal_v, draw_a = self._supply.nominal_v, self._draw()
        left = left_at_rest(battery, nominal_v, median(self.means[-KNEE_MINUTES:]))
        if left >= KNEE:
            return None
        cut = left_at_rest(battery, nominal_v, cutoff_v + ohm * draw_a)
        return max(0.0, left - cut) * battery.capacity_ah / draw_a

    def _thirds(self) -> tuple[float, float, float]:
        """Medians of the window's thirds: a minute of cranking among them moves nothing."""
        n = len(self.means) // 3
        return median(self.means[:n]), median(self.means[n:-n]), median(self.means[-n:])

    def _v_per_h(self) -> float:
        """How the volts rise; from the middle of the first third to that of the last."""
        first_v, _, last_v = self._thirds()
        return (last_v - first_v) / (len(self.means) - len(self.means) // 3) * 60.0

    def _counted_hours(self, time_ms: int) -> float | None:
        """Hours that the counted charge lasts; None where it is not known or the bank does not lastingly discharge."""
        if self.charge is None or len(self.nets) < LASTING or len(self.draws) < LASTING:
            return None
        if median(self.nets[-LASTING:]) <= 0.0:
            return None
        left_ah = self._left_ah(time_ms)
        return None if left_ah is None else self.charge.hours(left_ah, self._draw())

    def _left_ah(self, time_ms: int) -> float | None:
        """Counted charge until the volts at the mean draw are the cut-off's."""
        if self.charge is None or self._supply.cutoff_v is None:
            return None
        ohm = self.thevenin.ohm
        return self.charge.left_ah(time_ms, self._supply.cutoff_v + (ohm * self._draw() if ohm is not None else 0.0))

    def _draw(self) -> float:
        """The draw that a forecast goes by: the last hour's mean, or what has run for most of the last 20 min."""
        return max(self._mean(self.draws), median(self.draws[-LASTING:]) if self.draws else 0.0)

    @staticmethod
    def _mean(values: list[float]) -> float:
        return sum(values) / len(values) if values else 0.0

    def counted(self, now_ms: int) -> Counted | None:
        """The bank's charge as far as it is counted; None: nobody counts it."""
        return self.charge.counted(now_ms, self._mean(self.draws)) if self.charge is not None else None

    def _warmth(self, now_ms: int) -> float | None:
        return self.bank_c if now_ms - self.bank_ms <= PROBE_OLD_MS else None

    def _inverter_a(self) -> float | None:
        """What the inverters on it draw now; None: there is none."""
        found = [self.draws_now(circuit_id) for circuit_id in self._inverters]
        return sum(found) if found else None

    # What is told.

    def _emit(self, edge: str, level: float, rest_v: float, hours: float | None, time_ms: int, now_ms: int) -> None:
        source, charge, bank_c = self.thevenin, self.charge, self._warmth(now_ms)
        left_ah = self._left_ah(time_ms)
        full_days = (time_ms - charge.full_ms) / 86_400_000 if charge is not None and charge.full_ms is not None else None
        draw_a = self._draw() if self.draws else None
        rested = source.ohm is not None and bool(self.nets)
        cold = bank_c is not None and self._lfp and bank_c < COLD_C
        figures: tuple[tuple[str, Figure], ...] = (
            ("volts", level),
            ("rest_v", rest_v if rested else None),
            ("source_r_ohm", source.ohm),
            ("source_r_sd_ohm", source.sd_ohm),
            ("source_steps", len(source.steps)),
            ("charge_ah", left_ah),
            ("full_days", full_days),
            ("draw_a", draw_a),
            ("hours_left", hours),
            ("cutoff_v", self._supply.cutoff_v),
            ("carries_messages", bool(self._carriers)),
            ("carriers", self._carriers),
            ("bank_c", bank_c),
            ("too_cold", cold),
            ("inverter_a", self._inverter_a()),
        )
        facts: list[tuple[str, Facts]] = []
        if charge is not None and left_ah is not None:
            counted: Facts = (
                ("left_ah", left_ah),
                ("error_ah", charge.error_ah(time_ms)),
                ("days", full_days),
                ("draw_a", draw_a),
            )
            facts.append(("charge-counted", counted))
        elif self._lfp or charge is not None:
            facts.append(("charge-unknown" if charge is not None else "charge-not-counted", ()))
        facts.append(("near-cutoff", (("volts", level), ("cutoff_v", self._supply.cutoff_v))))
        if self._carriers:
            facts.append(("messages-go", (("carriers", self._carriers),)))
        if cold:
            facts.append(("bank-cold", (("celsius", bank_c),)))
        if rested and source.ohm is not None:
            steps: Facts = (("rest_v", rest_v), ("mohm", 1000.0 * source.ohm), ("steps", len(source.steps)))
            facts.append(("rest-volts", steps))
        v_per_h = self._v_per_h() if len(self.means) >= 20 else 0.0
        if v_per_h < 0.0:
            facts.append(("volts-fall", (("v_per_h", -v_per_h), ("minutes", len(self.means)))))
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
                figures=figures,
                evidence=tuple(facts),
            )
        )

    def rest(self) -> None:
        """The program was off: minutes in a row are not in a row any more."""
        for name in _LISTS:
            setattr(self, name, [])
        self.minute = self.down_ms = None
        self.near = self.over = 0
        self.given_a, self.loads_a, self.known = 0.0, 0.0, 0
        self.thevenin.rest()
        if self.charge is not None:
            self.charge.rest()

    def save(self) -> dict[str, Any]:
        kept = {name: getattr(self, name) for name in _KEPT} | {name: list(getattr(self, name)) for name in _LISTS}
        kept["each"] = dict(self.each)
        kept["thevenin"] = self.thevenin.save()
        kept["charge"] = self.charge.save() if self.charge is not None else None
        return kept

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        for name in _LISTS:
            setattr(self, name, list(state[name]))
        self.each = {c: state["each"][c] for c in self._chargers if c in state["each"]}  # one may have left the schedule
        self.fed = sum(self.each.values())
        self.thevenin.restore(state["thevenin"])
        if self.charge is not None and state["charge"] is not None:
            self.charge.restore(state["charge"])


_KEPT = (
    "source", "source_ms", "minute", "fed_ms", "amps", "amps_ms", "given_a", "loads_a", "known", "near",
    "over", "active", "since_ms", "down_ms", "bank_c", "bank_ms",
)  # fmt: skip
_LISTS = ("volts", "rests", "means", "nets", "draws")


def _middle(values: list[float]) -> float:
    """The median; of one or two the greater, so that a crank seen once is not a whole minute."""
    return median(values) if len(values) > 2 else max(values)


def goes_with(schedule: Schedule, supply: Supply) -> tuple[Circuit, ...]:
    """The loads that lose their feed with this supply's cut-off, also through an inverter; life first.

    Those behind the disconnect; where the schedule names none behind it, all.
    """
    all_fed = [c for c in schedule.circuits if c.role == "load" and _hangs_on(schedule, c, supply, guarded=False)]
    cut = [c for c in all_fed if _hangs_on(schedule, c, supply, guarded=True)]
    worth = {"life": 0, "property": 1, "comfort": 2}
    return tuple(sorted(cut or all_fed, key=lambda c: (worth[c.importance], c.feed != "always-on")))


def _hangs_on(schedule: Schedule, circuit: Circuit, supply: Supply, *, guarded: bool) -> bool:
    """Is this circuit fed by the supply, directly or through inverters, and (guarded) behind its disconnect?"""
    seen: list[str] = []
    while circuit.supply != supply.id:
        feeding = schedule.supply(circuit.supply).fed_by
        if feeding is None or feeding in seen:
            return False
        seen.append(feeding)
        circuit = schedule.circuit(feeding)
    return not guarded or _behind_disconnect(schedule, circuit)


def _behind_disconnect(schedule: Schedule, circuit: Circuit) -> bool:
    """Directly, or through its feeders."""
    feeders = {feeder.id: feeder for feeder in schedule.feeders}
    todo = [*circuit.behind, *((circuit.feeder,) if circuit.feeder else ())]
    seen: list[str] = []
    while todo:
        name = todo.pop()
        if name == "disconnect":
            return True
        if name in feeders and name not in seen:
            seen.append(name)
            todo += feeders[name].behind
    return False


def depends(schedule: Schedule, supply: Supply) -> object:
    """What this file's state depends on: what is judged, and how the bank's current is known."""
    role = {c.id: c.sense.publishes for c in schedule.circuits if c.id == supply.meter}
    return supply.cutoff_v, supply.nominal_v, supply.meter, supply.meter_sign, charge_depends(supply.battery), role
