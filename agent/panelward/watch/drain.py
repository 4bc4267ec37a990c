"""Standby drain: a draw above standby while the load should stand by. Group `drain`.

Three ways to be one: outside the load's hours; steadily between standby and the lowest of its levels (neither standing by
nor doing its job, and no law of its volts explains it); an inverter that is on while nothing draws from it. A run beyond
its longest is `rhythm`'s, a load that is half of itself `level`'s.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from panelward.ratings.behaviour import at_nominal
from panelward.records import Circuit, Condition, Facts, Figure, Supply
from panelward.watch.bench import Bench
from panelward.watch.panel import Panel, Sample, within

if TYPE_CHECKING:
    from panelward.watch.level import Level
    from panelward.watch.rhythm import Rhythm
    from panelward.watch.suspect import Suspect

OUTSIDE_HOURS_MS = 30 * 60_000  # people stay up late: half an hour beyond the hours is still honest use
BETWEEN_MS = 2 * 3600_000  # trade practice, no source: two hours asleep or parked make a standby drain
IDLING_MS = 6600_000  # told within two hours (trade practice, no source): an hour between two uses is honest
IDLING_A, IDLING_STEPS = 0.015, 1.5  # of an AC channel: a clock of 3 W still counts as nothing
LOST_MS = 600_000  # readings lost in bursts
OFF_READINGS = 2  # readings in a row at standby that end a run


class Drain:
    """One circuit's standby."""

    def __init__(
        self, bench: Bench, panel: Panel, circuit: Circuit, supply: Supply, period_ms: int, on_change: bool,
        fed: list[Suspect] | None = None,
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
        lowest = [level.watts * (1.0 - level.tolerance) for load in loads for level in load.levels]
        self._lowest_w = min(lowest) if lowest and known else None
        self._hours = tuple(window for load in loads for window in load.hours) if all(x.hours for x in loads) else ()
        self.judged = bool(loads) and (bool(self._hours) or self._lowest_w is not None or fed is not None)
        self._charges = any(load.kind == "charger" for load in loads)
        self.level: Level | None = None
        self.rhythm: Rhythm | None = None
        self.order = bench.enrol(self)
        self.due_ms: int | None = None
        self.above_ms: int | None = None  # above standby since, as measured
        self.outside_ms: int | None = None  # … and outside its hours since
        self.between_ms: int | None = None  # … and below the lowest level since
        self.idle_ms: int | None = None  # … and nothing draws from it since
        self.off = 0
        self.last_ms: int | None = None
        self.last_received_ms = 0
        self.last_w = 0.0
        self.most_w = 0.0  # of that, at nominal volts, by whatever law of its volts
        self.last_a = 0.0
        self.excess_mwms = 0  # energy above standby since `above_ms`: milliwatts x milliseconds, exact
        self.excess_mams = 0
        self.active: str | None = None  # which of the three
        self.since_ms = 0
        self.mark = (0, 0)  # the two sums when the condition's own time began

    def take(self, sample: Sample, bank_a: float | None) -> None:
        """Judge one sample. `bank_a`: what the bank gives now, amps, where known."""
        above = sample.watts > self._above_w
        time_ms = sample.time_ms
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
        if self._on_change:  # the next reading may be hours away: look again by the clock
            self._bench.call_at(self, sample.received_ms + 60_000)

    def _sum(self, time_ms: int) -> None:
        if self.last_ms is None or self.above_ms is None:
            return
        dt_ms = time_ms - self.last_ms
        if self._on_change or dt_ms <= max(3 * self._period_ms, 10_000):  # longer is a gap: unknown, not zero
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
        for channel in self._fed or ():
            if abs(channel.held_a) > max(IDLING_A, IDLING_STEPS * channel.step_a):
                self.idle_ms = None
                return
            if not channel.heard(now_ms) and now_ms - (channel.heard_ms or 0) > LOST_MS:
                self.idle_ms = None
                return
        self.idle_ms = self.idle_ms if self.idle_ms is not None else time_ms

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
            self.between_ms = time_ms

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
        elif self.between_ms is not None and time_ms - self.between_ms >= BETWEEN_MS:
            self.active, self.since_ms, self.mark = "above-standby", self.between_ms, (0, 0)
        else:
            return
        self._emit("begins", now_ms, bank_a)

    def fire(self, now_ms: int) -> None:
        """On-change publishers: the held draw still flows, as far as anybody knows."""
        if self.above_ms is None or self.last_ms is None:
            return
        time_ms = self.last_ms + now_ms - self.last_received_ms
        self._sum(time_ms)
        self.last_ms, self.last_received_ms = time_ms, now_ms
        self._place(time_ms, now_ms)
        self._judge(time_ms, now_ms, None)
        self._bench.call_at(self, now_ms + 60_000)

    def _end(self, now_ms: int, bank_a: float | None) -> None:
        if self.active is not None:
            self._emit("ends", now_ms, bank_a)
        self.active = None
        self.above_ms = self.outside_ms = self.between_ms = self.idle_ms = None
        self.off = 0
        self._bench.call_at(self, None)

    def _emit(self, edge: str, now_ms: int, bank_a: float | None) -> None:
        wh = (self.excess_mwms - self.mark[0]) / 3.6e9
        ah = (self.excess_mams - self.mark[1]) / 3.6e9
        figures: list[tuple[str, Figure]] = [
            ("draw_w", self.last_w),
            ("draw_a", self.last_a),
            ("standby_w", self._standby_w),
            ("why", self.active or ""),
            ("excess_wh", wh),
            ("excess_ah", ah),
        ]
        days = self._days(bank_a)
        figures.append(("days_left", days))
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
                evidence=self._evidence(days, bank_a),
            )
        )

    def _days(self, bank_a: float | None) -> float | None:
        """Days a full bank would last: at the whole draw where it is known, else at this circuit's alone."""
        battery = self._supply.battery
        draw_a = bank_a if bank_a is not None and bank_a > self.last_a else self.last_a
        if battery is None or draw_a <= 0.0:
            return None
        return battery.capacity_ah * battery.usable / draw_a / 24.0

    def _evidence(self, days: float | None, bank_a: float | None) -> tuple[tuple[str, Facts], ...]:
        facts: list[tuple[str, Facts]] = [
            (
                "draw-over-standby",
                (("watts", self.last_w), ("standby_w", self._standby_w), ("known", self._standby_known)),
            )
        ]
        if self.active == "outside-hours":
            facts.append(("outside-hours", (("hours", tuple(m for window in self._hours for m in window)),)))
        elif self.active == "idling":
            facts.append(("nothing-runs", (("circuits", len(self._fed or ())),)))
        elif self.active == "above-standby" and self._lowest_w is not None:
            facts.append(("between-levels", (("lowest_w", self._lowest_w),)))
        if days is not None:
            whole = bank_a is not None and bank_a > self.last_a
            facts.append(("bank-days", (("days", days), ("draw_a", bank_a if whole else self.last_a), ("whole", whole))))
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

    def save(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in _KEPT} | {"mark": list(self.mark)}

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        self.mark = (state["mark"][0], state["mark"][1])


_KEPT = (
    "due_ms", "above_ms", "outside_ms", "between_ms", "off", "last_ms", "last_received_ms", "last_w", "last_a",
    "excess_mwms", "excess_mams", "active", "since_ms", "idle_ms", "most_w",
)  # fmt: skip


def depends(circuit: Circuit) -> object:
    """What this file's state depends on."""
    return circuit.loads, circuit.supply, circuit.sense
