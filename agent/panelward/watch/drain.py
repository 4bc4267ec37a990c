"""Standby drain: a draw above standby while the load should stand by. Group `drain`.

Four ways to be one: outside the load's hours; steadily between standby and the lowest of its levels (neither standing by
nor doing its job, and no law of its volts explains it; a charge that tapers off is on its way to an end); an inverter
that is on while nothing draws from it; a standby that has risen and stands there (`standby`). A run beyond its longest is
`rhythm`'s, a load that is half of itself `level`'s.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from panelward.ratings.behaviour import at_nominal
from panelward.records import Circuit, Commissioned, Condition, Facts, Figure, Supply
from panelward.watch.bench import Bench
from panelward.watch.panel import Panel, Sample, within
from panelward.watch.standby import Standby

if TYPE_CHECKING:
    from panelward.watch.level import Level
    from panelward.watch.rhythm import Rhythm
    from panelward.watch.suspect import Suspect

OUTSIDE_HOURS_MS = 30 * 60_000  # people stay up late: half an hour beyond the hours is still honest use
BETWEEN_MS = 2 * 3600_000  # trade practice, no source: two hours asleep or parked make a standby drain
IDLING_MS = 6600_000  # told within two hours (trade practice, no source): an hour between two uses is honest
IDLING_A, IDLING_STEPS = 0.015, 1.5  # of an AC channel: a clock of 3 W still counts as nothing
DRAWS_STEPS, DRAWS_READINGS = 3.0, 3  # … less than so many steps could be noise, until it shows so often in a row
LOST_MS = 600_000  # readings lost in bursts
TAPERS, HALF_MS = 0.85, BETWEEN_MS // 2  # less in the second hour than so much of the first: it is going to end
OFF_READINGS = 2  # readings in a row at standby that end a run


class Drain:
    """One circuit's standby."""

    def __init__(
        self, bench: Bench, panel: Panel, circuit: Circuit, supply: Supply, period_ms: int, on_change: bool,
        fed: list[Suspect] | None = None, commissioned: Commissioned | None = None,
    ) -> None:  # fmt: skip
        """`fed`: the channels of what this circuit feeds, if it feeds a supply."""
        self._fed = fed
        self._bench, self._panel, self._circuit, self._supply = bench, panel, circuit, supply
        self._period_ms, self._on_change = period_ms, on_change
        loads = circuit.loads
        known = [load.standby_max_w for load in loads if load.standby_max_w is not None]
        floors = sum(load.always_draws_w or 0.0 for load in loads)
        self._standby_known = bool(known)
        self._standby_w = max(sum(known), 1.5 * floors)
        step_w = circuit.sense.resolution_a * supply.nominal_v
        self._above_w = self._standby_w + max(2.0 * step_w, 0.5)
        self._over_w = self._standby_w + max(step_w, 0.25)  # below it what was told is over
        lowest = [level.watts * (1.0 - level.tolerance) for load in loads for level in load.levels]
        self._lowest_w = min(lowest) if lowest and known else None
        self._hours = tuple(window for load in loads for window in load.hours) if all(x.hours for x in loads) else ()
        self._charges = any(load.kind == "charger" for load in loads)
        standby = Standby(panel, circuit, supply, commissioned, period_ms)
        self.standby = standby if standby.judged else None
        self.judged = bool(loads) and (
            bool(self._hours) or self._lowest_w is not None or fed is not None or self.standby is not None
        )
        self._step_w = step_w
        self.level: Level | None = None
        self.rhythm: Rhythm | None = None
        self.order = bench.enrol(self)
        self.due_ms: int | None = None
        self.above_ms: int | None = None  # above standby since, as measured
        self.outside_ms: int | None = None  # … and outside its hours since
        self.between_ms: int | None = None  # … and below the lowest level since
        self.idle_ms: int | None = None  # … and nothing draws from it since
        self.off = 0
        self.draws = 0  # readings in a row at which something drew from it
        self.halves = [0.0, 0.0, 0.0, 0.0]  # of that time: watts x ms and ms, its first hour and what came after
        self.last_ms: int | None = None
        self.last_received_ms = 0
        self.last_w = 0.0
        self.most_w = 0.0  # of that, at nominal volts, by whatever law of its volts
        self.last_a = 0.0
        self.excess_mwms = 0  # energy above standby since `above_ms`: milliwatts x milliseconds, exact
        self.excess_mams = 0
        self.active: str | None = None  # which of the four
        self.since_ms = 0
        self.mark = (0, 0)  # the two sums when the condition's own time began

    def take(self, sample: Sample, bank_a: float | None) -> None:
        """Judge one sample. `bank_a`: what the bank gives now, amps, where known."""
        above = sample.watts > (self._over_w if self.active == "above-standby" else self._above_w)
        time_ms = sample.time_ms
        if self.standby is not None:
            self._stands(self.standby, sample, bank_a)
        if not above and self.above_ms is None:
            self.last_ms = time_ms
            return
        self._sum(time_ms)
        self.last_ms, self.last_w, self.last_a = time_ms, sample.watts, abs(sample.amps)
        self.last_received_ms = sample.received_ms
        if above:
            self.off = 0
            if self.above_ms is None:
                self.above_ms, self.excess_mwms, self.excess_mams = time_ms, 0, 0
            self.most_w = self._most_w(sample) if self._lowest_w is not None else 0.0
            self._place(time_ms, sample.received_ms)
        else:
            self.off += 1
            if self.off < OFF_READINGS and not self._on_change:
                return
            self._end(sample.received_ms, bank_a)
            return
        if sample.fresh:
            self._judge(time_ms, sample.received_ms, bank_a)
        self._look_again(time_ms, sample.received_ms)

    def _stands(self, standby: Standby, sample: Sample, bank_a: float | None) -> None:
        """The floor of its hours."""
        standby.take(sample)
        if self.active == "raised":
            if standby.ends(sample):
                self._emit("ends", sample.received_ms, bank_a)
                self.active = None
        elif standby.rise_a is not None and sample.fresh:
            self._rises(sample.received_ms, sample.watts, abs(sample.amps), bank_a)
        if self._on_change and self.above_ms is None:
            self._look_again(sample.time_ms, sample.received_ms)

    def _rises(self, now_ms: int, watts: float, amps: float, bank_a: float | None) -> None:
        assert self.standby is not None
        if self.active is not None or (self.rhythm is not None and self.rhythm.active is not None):
            return
        if self.level is not None and self.level.explains_rest:
            return
        self.active, self.since_ms = "raised", self.standby.since_ms
        self.last_w, self.last_a = watts, amps
        self._emit("begins", now_ms, bank_a)

    def _look_again(self, time_ms: int, now_ms: int) -> None:
        """On-change publishers: the next reading may be hours away."""
        if not self._on_change:
            return
        if self.above_ms is not None:
            self._bench.call_at(self, now_ms + 60_000)
        elif self.standby is not None:
            self.last_received_ms = now_ms
            self._bench.call_at(self, now_ms + max(1, self.standby.next_ms() - time_ms))

    def _sum(self, time_ms: int) -> None:
        if self.last_ms is None or self.above_ms is None:
            return
        dt_ms = time_ms - self.last_ms
        if self._on_change or dt_ms <= max(3 * self._period_ms, 10_000):  # longer is a gap: unknown, not zero
            if self.between_ms is not None:
                later = 2 if self.last_ms - self.between_ms >= HALF_MS else 0
                self.halves[later] += self.last_w * dt_ms
                self.halves[later + 1] += dt_ms
            over_mw = round(self.last_w * 1000) - round(self._standby_w * 1000)
            self.excess_mwms += max(0, over_mw) * dt_ms
            volts_mw = max(1.0, self._supply.nominal_v)
            self.excess_mams += max(0, round(self.last_a * 1000) - round(self._standby_w / volts_mw * 1000)) * dt_ms

    def _most_w(self, sample: Sample) -> float:
        if self.level is None:
            return sample.watts
        law = self.level.exponent
        watts = at_nominal(sample.watts, sample.volts, self._supply.nominal_v, law.best)
        return watts * law.slack(sample.volts, self._supply.nominal_v)[1]

    def _of_fed(self, time_ms: int, now_ms: int) -> None:
        """Since when does nothing draw from it? A few readings lost say nothing; a channel long silent may hide a draw."""
        draws = False
        for channel in self._fed or ():
            if abs(channel.held_a) > max(IDLING_A, IDLING_STEPS * channel.step_a):
                draws = True
                if abs(channel.held_a) >= max(IDLING_A, DRAWS_STEPS * channel.step_a):
                    self.draws = DRAWS_READINGS
            if not channel.heard(now_ms) and now_ms - (channel.heard_ms or 0) > LOST_MS:
                self.idle_ms = None
                return
        self.draws = self.draws + 1 if draws else 0
        if self.draws >= DRAWS_READINGS:
            self.idle_ms = None
        elif self.idle_ms is None:
            self.idle_ms = time_ms

    def _place(self, time_ms: int, now_ms: int) -> None:
        outside = bool(self._hours) and not within(self._hours, self._panel.local_minute(time_ms))
        if not outside:
            self.outside_ms = None
        elif self.outside_ms is None:
            self.outside_ms = time_ms
            self.mark = (self.excess_mwms, self.excess_mams)
        doing = self._panel.doing
        if self._fed is not None and (not self._hours or doing.aboard is False):  # else its hours are somebody's
            self._of_fed(time_ms, now_ms)
        elif self._hours:
            self.idle_ms = None
        if self._lowest_w is None or self.most_w >= self._lowest_w or (self._charges and doing.under_way):
            self.between_ms = None
        elif self.between_ms is None:
            self.between_ms, self.halves = time_ms, [0.0, 0.0, 0.0, 0.0]

    def _tapers(self, time_ms: int) -> bool:
        """Is it less and less, between its levels? Then the time begins anew with what came last."""
        first_wms, first_ms, later_wms, later_ms = self.halves
        if not first_ms or not later_ms or later_wms / later_ms >= TAPERS * first_wms / first_ms - self._step_w:
            return False
        self.between_ms, self.halves = time_ms - round(later_ms), [later_wms, later_ms, 0.0, 0.0]
        return True

    def _judge(self, time_ms: int, now_ms: int, bank_a: float | None) -> None:
        if self.active is not None:
            if self.active == "outside-hours" and self.outside_ms is None:
                self._emit("ends", now_ms, bank_a)  # its hours have come
                self.active = None
            elif self.active == "idling" and self.idle_ms is None:
                self._emit("ends", now_ms, bank_a)  # something runs from it
                self.active = None
            return
        if self.rhythm is not None and self.rhythm.active is not None:
            return  # the same run, told already
        if self.outside_ms is not None and time_ms - self.outside_ms >= OUTSIDE_HOURS_MS:
            self.active, self.since_ms = "outside-hours", self.outside_ms
        elif self.idle_ms is not None and time_ms - self.idle_ms >= IDLING_MS:
            self.active, self.since_ms, self.mark = "idling", self.idle_ms, (0, 0)
        elif self.level is not None and self.level.explains_rest:
            return  # half of itself, or dry: told already
        elif self.between_ms is not None and time_ms - self.between_ms >= BETWEEN_MS and not self._tapers(time_ms):
            self.active, self.since_ms, self.mark = "above-standby", self.between_ms, (0, 0)
        else:
            return
        self._emit("begins", now_ms, bank_a)

    def fire(self, now_ms: int) -> None:
        """On-change publishers: the held draw still flows, as far as anybody knows."""
        if self.last_ms is None:
            return
        time_ms = self.last_ms + now_ms - self.last_received_ms
        standby = self.standby
        if standby is not None and standby.until(time_ms) and standby.held is not None:
            if self.active == "raised" and standby.rise_a is None:
                self._emit("ends", now_ms, None)
                self.active = None
            elif standby.rise_a is not None:
                self._rises(now_ms, standby.held[1], standby.held[0], None)
        if self.above_ms is not None:
            self._sum(time_ms)
        self.last_ms, self.last_received_ms = time_ms, now_ms
        if self.above_ms is not None:
            self._place(time_ms, now_ms)
            self._judge(time_ms, now_ms, None)
        elif standby is None or standby.held is None:
            return
        self._look_again(time_ms, now_ms)

    def _end(self, now_ms: int, bank_a: float | None) -> None:
        if self.active == "above-standby" and self.standby is not None and self.standby.rise_a is not None:
            self.active, self.since_ms = "raised", min(self.since_ms, self.standby.since_ms)  # the same one, less of it
        elif self.active not in (None, "raised"):
            self._emit("ends", now_ms, bank_a)
            self.active = None
        self.above_ms = self.outside_ms = self.between_ms = self.idle_ms = None
        self.off = 0
        self._bench.call_at(self, None)
        if self.last_ms is not None:
            self._look_again(self.last_ms, now_ms)

    def _emit(self, edge: str, now_ms: int, bank_a: float | None) -> None:
        wh = (self.excess_mwms - self.mark[0]) / 3.6e9
        ah = (self.excess_mams - self.mark[1]) / 3.6e9
        standby_w, standby = self._standby_w, self.standby
        if self.active == "raised" and standby is not None:
            standby_w = standby.reference_w
            ah = standby.told_a * (now_ms - self.since_ms) / 3.6e6
            wh = ah * self._supply.nominal_v
            if edge == "begins":
                self.last_a = max(self.last_a, standby_w / self._supply.nominal_v + standby.told_a)
        figures: list[tuple[str, Figure]] = [
            ("draw_w", self.last_w),
            ("draw_a", self.last_a),
            ("standby_w", standby_w),
            ("why", self.active or ""),
            ("excess_wh", wh),
            ("excess_ah", ah),
        ]
        days, without = self._days(bank_a)
        figures += [("days_left", days), ("days_without", without)]
        self._bench.found.append(
            Condition(
                subject="circuit",
                subject_id=self._circuit.id,
                group="drain",
                edge=edge,
                at_ms=now_ms,
                since_ms=self.since_ms,
                kind="standby-drain",
                priority="medium",
                figures=tuple(figures),
                evidence=self._evidence(days, without, bank_a),
            )
        )

    def _days(self, bank_a: float | None) -> tuple[float | None, float | None]:
        """Days that a full bank lasts with this and without it: of the whole draw where known, else of this circuit's alone."""
        battery = self._supply.battery
        draw_a = bank_a if bank_a is not None and bank_a > self.last_a else self.last_a
        if battery is None or draw_a <= 0.0:
            return None, None
        usable_ah = battery.capacity_ah * battery.usable
        rest_a = 0.0 if self.active in ("idling", "outside-hours") else self._rest_w() / self._supply.nominal_v
        without_a = draw_a - max(0.0, self.last_a - rest_a)
        return usable_ah / draw_a / 24.0, usable_ah / without_a / 24.0 if without_a > 0.01 * draw_a else None

    def _rest_w(self) -> float:
        return self.standby.reference_w if self.active == "raised" and self.standby is not None else self._standby_w

    def _evidence(self, days: float | None, without: float | None, bank_a: float | None) -> tuple[tuple[str, Facts], ...]:
        facts: list[tuple[str, Facts]] = []
        if self.active == "raised" and self.standby is not None:
            source = "stood-on-record" if self.standby.on_record else "stood-at-first"
            facts.append((source, (("watts", self.last_w), ("standby_w", self._rest_w()), ("rise_a", self.standby.told_a))))
        else:
            known = (("watts", self.last_w), ("standby_w", self._standby_w), ("known", self._standby_known))
            facts.append(("draw-over-standby", known))
        if self.active == "outside-hours":
            facts.append(("outside-hours", (("hours", tuple(m for window in self._hours for m in window)),)))
        elif self.active == "idling":
            facts.append(("nothing-runs", (("circuits", len(self._fed or ())),)))
        elif self.active == "above-standby" and self._lowest_w is not None:
            facts.append(("between-levels", (("lowest_w", self._lowest_w),)))
        if days is not None:
            whole = bank_a is not None and bank_a > self.last_a
            facts.append(("bank-days", (("days", days), ("draw_a", bank_a if whole else self.last_a), ("whole", whole))))
        if without is not None:
            facts.append(("bank-days-without", (("days", without),)))
        return tuple(facts)

    def gap(self, lasted_ms: int) -> None:
        """Readings were missing. After a few lost ones it goes on; else what came before and after is not one run."""
        if lasted_ms <= LOST_MS:
            return
        if self.active is None:
            self.above_ms = self.outside_ms = self.between_ms = self.idle_ms = None
        self.off = 0

    def rest(self, now_ms: int) -> None:
        """The program was off: timers start anew."""
        if self.active is None:
            self.above_ms = self.outside_ms = self.between_ms = self.idle_ms = None
            self._bench.call_at(self, None)
        self.off = 0
        self.last_received_ms = now_ms
        self.unheard()

    def unheard(self) -> None:
        """What an on-change publisher said last does not stand."""
        if self.standby is not None:
            self.standby.unheard()

    def save(self) -> dict[str, Any]:
        state: dict[str, Any] = {name: getattr(self, name) for name in _KEPT}
        state |= {"mark": list(self.mark), "halves": list(self.halves)}
        return state | {"standby": self.standby.save() if self.standby is not None else None}

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        self.mark = (state["mark"][0], state["mark"][1])
        self.halves = list(state["halves"])
        if self.standby is not None and state["standby"] is not None:
            self.standby.restore(state["standby"])


_KEPT = (
    "due_ms", "above_ms", "outside_ms", "between_ms", "off", "draws", "last_ms", "last_received_ms", "last_w", "last_a",
    "excess_mwms", "excess_mams", "active", "since_ms", "idle_ms", "most_w",
)  # fmt: skip


def depends(circuit: Circuit) -> object:
    """What this file's state depends on."""
    return circuit.loads, circuit.supply, circuit.sense
