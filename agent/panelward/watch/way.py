"""One circuit's present values: readings are ordered, paired and summed here, then judged by the files beside this.

A reading has two times. `received` ends silence whatever it is; `time` orders each quantity, and a quantity that is
not after its own last is late: it ends a silence and goes nowhere else.
"""

from __future__ import annotations

from typing import Any

from panelward.records import Circuit, Commissioned, Condition, Reading, Schedule
from panelward.watch.bench import Bench
from panelward.watch.dead import Dead
from panelward.watch.doing import DoingState
from panelward.watch.doubt import Doubt
from panelward.watch.drain import Drain
from panelward.watch.drift import Drift
from panelward.watch.early import Early
from panelward.watch.early import judged as judged_early
from panelward.watch.level import Level
from panelward.watch.overcurrent import Overcurrent
from panelward.watch.panel import Panel, Sample
from panelward.watch.rhythm import Rhythm
from panelward.watch.silence import Silence
from panelward.watch.supply import SupplyState
from panelward.watch.suspect import Suspect
from panelward.watch.swapped import Names
from panelward.watch.tree import Tree
from panelward.watch.unassigned import Unassigned
from panelward.watch.unmoved import Unmoved

STEP_W = 60.0  # a draw that jumps up by so much may dip the bus honestly (5 A on 12 V)
STEP_READINGS = 3  # a jump between the two times in this many readings in a row is a clock step
_NEVER = -(2**62)


class Way:
    """A circuit, a charger or the bank's meter."""

    __slots__ = (
        "_agree_ms", "_bench", "_counts", "_gap_ms", "_nominal_v", "_old_ms", "_period_ms", "_step_ms", "_unassigned",
        "_unmoved", "amps", "amps_ms", "circuit", "dead", "doing", "doubt", "drain", "drawn", "drift", "early",
        "energy_2mwms", "energy_ms", "energy_w", "lag_ms", "lags", "last_received_ms", "late", "level", "meters", "over",
        "rhythm", "silence", "stepped", "supply", "suspect", "switch_ms", "trace", "tree", "unknown_ms", "volts", "volts_ms",
        "watts", "watts_ms", "watts_s",
    )  # fmt: skip

    def __init__(
        self,
        bench: Bench,
        panel: Panel,
        tree: Tree,
        schedule: Schedule,
        circuit: Circuit,
        period_s: float,
        silence: Silence,
        supply: SupplyState,
        names: Names | None,
        unmoved: Unmoved,
        commissioned: Commissioned | None = None,
        unassigned: Unassigned | None = None,
        fed: list[Suspect] | None = None,
        doing: DoingState | None = None,
        drift: Drift | None = None,
        ambient_c: float | None = None,
    ) -> None:
        self._bench, self.circuit, self.silence, self.supply, self.tree = bench, circuit, silence, supply, tree
        source = schedule.supply(circuit.supply)
        self._nominal_v = source.nominal_v
        self._period_ms = max(1, round(period_s * 1000))
        self._old_ms = 2 * self._period_ms
        self._gap_ms = max(3 * self._period_ms, 10_000)
        self._agree_ms = self._gap_ms
        self._step_ms = max(1_000, self._period_ms // 2)
        self.over = Overcurrent(bench, panel, schedule, circuit, self._period_ms)
        doubt = Doubt(bench, panel, circuit, self._period_ms)
        self.doubt = doubt if doubt.judged else None
        self.suspect = Suspect(bench, circuit, source, unmoved.channels, self._period_ms)
        self._unmoved, self._unassigned, self.doing, self.drift = unmoved, unassigned, doing, drift
        self.trace = names.trace(circuit, self._period_ms) if names is not None else None
        self._counts = supply.listens(circuit)
        opens_early = judged_early(circuit, self.over, self._period_ms)
        self.early = Early(bench, panel, circuit, self.over, self.doubt, self._period_ms) if opens_early else None
        self.dead: Dead | None = None
        self.drain: Drain | None = None
        self.level: Level | None = None
        self.rhythm: Rhythm | None = None
        if circuit.role == "load":
            self.dead = Dead(bench, panel, tree, circuit, source, self.over, self._period_ms)
            self.dead.early = self.early
            on_change = circuit.sense.publishes == "on-change"
            drain = Drain(bench, panel, circuit, source, self._period_ms, on_change, fed, commissioned)
            self.drain = drain if drain.judged else None
            level = Level(bench, panel, circuit, source, self.over, self._period_ms, commissioned)
            self.level = level if level.judged else None
            rhythm = Rhythm(bench, panel, circuit, source, self._period_ms, commissioned, ambient_c)
            rhythm.dead, rhythm.drain, rhythm.level = self.dead, self.drain, self.level
            self.rhythm = rhythm if rhythm.judged else None
            if self.drain is not None:
                self.drain.rhythm, self.drain.level = self.rhythm, self.level
        self.volts: float | None = None
        self.amps: float | None = None
        self.watts: float | None = None  # of the last sample
        self.volts_ms = self.amps_ms = self.watts_ms = self.switch_ms = _NEVER
        self.watts_s = 0.0  # as published
        self.last_received_ms = _NEVER
        self.lag_ms = 0  # received minus time, of the last reading that did not agree
        self.lags = 0
        self.stepped = False  # the two times disagree for good: received stands in for time
        self.energy_2mwms = 0  # twice milliwatts x milliseconds (trapezoids), exact
        self.energy_ms: int | None = None
        self.energy_w = 0
        self.unknown_ms = 0  # time without energy: gaps
        self.late = 0
        self.drawn = 0  # amps as they stand in the sum of its supply, 0.1 mA
        self.meters = 0.0  # of its supply's meter: 1, or -1 where charge is positive
        if source.meter == circuit.id:
            self.meters = -1.0 if source.meter_sign == "charge-positive" else 1.0

    def take(self, reading: Reading, bank_a: float | None) -> None:
        """Everything one reading does to this circuit."""
        if reading.origin == "retained":
            return  # of unknown age: it may show, starts no timer, proves no life
        now_ms = reading.received_ms
        silent = self.silence.active
        time_ms = reading.time_ms
        lag_ms = now_ms - time_ms
        self.silence.hear(now_ms, late=lag_ms > self._agree_ms and not self.stepped)
        if silent:
            self.suspect.again(now_ms)
        fresh = True
        if lag_ms > self._agree_ms or lag_ms < -self._agree_ms:
            if reading.origin == "backlog":  # known to be history, at whatever pace it comes: no sign of another clock
                fresh = False
                time_ms = min(now_ms, time_ms + self.lag_ms) if self.stepped else min(now_ms, time_ms)
            else:
                fresh = self._disagrees(lag_ms, now_ms)
                if self.stepped or lag_ms < 0:
                    time_ms = now_ms
        elif self.lags or self.stepped:
            self._agrees(now_ms)
        self.last_received_ms = now_ms
        if fresh:
            self.suspect.heard_ms = now_ms
        volts, amps, watts = reading.volts, reading.amps, reading.watts
        jump = False
        if volts is not None and fresh:
            self.suspect.hear_volts(volts, now_ms)
            jump = self.suspect.high_ms is not None and self.suspect.jumped(volts, now_ms)
        impossible = self.suspect.impossible(volts, amps, jump=jump)
        if fresh and (amps is not None or volts is not None):
            bus_v = self.tree.buses[self.circuit.supply].volts
            self.suspect.take(volts, amps, watts, bus_v, time_ms, now_ms, impossible=impossible)
        if impossible:  # history too: a backlog of such values must not warm the physics
            return
        if self.doing is not None and fresh:
            self.doing.hear(self.circuit.id, volts, amps, watts, now_ms)
        if volts is not None:
            if time_ms > self.volts_ms:
                self.volts, self.volts_ms = volts, time_ms
                if jump:
                    pass  # of another vehicle: they say nothing of the bank, and the dip after them is none
                elif self.circuit.sense.volts_at == "bus" and fresh:
                    self.supply.take(self.circuit.id, volts, time_ms, now_ms)
                    self.tree.bus_volts(self.circuit.supply, volts, now_ms, self.circuit.id)
                elif fresh:
                    self.tree.beyond(self.circuit.id, self.circuit.supply, volts, now_ms)
            else:
                self.late += 1
                volts = None
        if (reading.closed is not None or reading.commanded is not None) and time_ms >= self.switch_ms:
            self.switch_ms = time_ms
            if self.dead is not None:
                self.dead.switch(reading.closed, reading.commanded, now_ms)
        if watts is not None:
            if time_ms > self.watts_ms:
                self.watts_s, self.watts_ms = watts, time_ms
            else:
                self.late += 1
                watts = None
        if amps is not None:
            if time_ms > self.amps_ms:
                self.amps, self.amps_ms = amps, time_ms
            else:
                self.late += 1
                amps = None
        if amps is not None:
            paired = self.volts if time_ms - self.volts_ms <= self._old_ms else None
            if time_ms - self.watts_ms <= self._period_ms // 2:
                watts = self.watts_s
            else:
                watts = amps * (paired if paired is not None else self._nominal_v)
            self._sample(Sample(time_ms, now_ms, amps, watts, paired, fresh), bank_a)
        elif watts is not None and time_ms - self.amps_ms > self._old_ms:
            paired = self.volts if time_ms - self.volts_ms <= self._old_ms else None
            amps = watts / (paired if paired is not None and paired > 1.0 else self._nominal_v)
            self._sample(Sample(time_ms, now_ms, amps, watts, paired, fresh), bank_a)

    def _sample(self, sample: Sample, bank_a: float | None) -> None:
        milliwatts = round(sample.watts * 1000)
        if self.energy_ms is not None:
            dt_ms = sample.time_ms - self.energy_ms
            if dt_ms <= self._gap_ms or self.circuit.sense.publishes == "on-change":
                self.energy_2mwms += (milliwatts + self.energy_w) * dt_ms
            else:
                self.unknown_ms += dt_ms
                if self.dead is not None:
                    self.dead.gap(dt_ms)
                if self.drain is not None:
                    self.drain.gap(dt_ms)
                if self.level is not None:
                    self.level.gap(dt_ms)
                if self.rhythm is not None:
                    self.rhythm.gap(sample.time_ms)
        self.energy_ms, self.energy_w = sample.time_ms, milliwatts
        if sample.fresh:
            if self.meters:
                self.tree.volts.meters(self.circuit.supply, self.meters * sample.amps)
                if self.circuit.sense.publishes == "always":
                    bus = self.tree.buses[self.circuit.supply]
                    drawn_a = bus.drawn / 10_000.0
                    if self._unassigned is not None:
                        self._unassigned.meter(self.meters * sample.amps, drawn_a, sample.received_ms)
                    self._unmoved.meter(self.meters * sample.amps, drawn_a, bus.volts, sample.received_ms, self._gap_ms)
            elif self.circuit.role != "meter":
                drawn = round(sample.amps * 10_000)
                if drawn != self.drawn:
                    self.tree.volts.drew(self.circuit.supply, drawn - self.drawn)
                    self.drawn = drawn
        if self.watts is not None and sample.watts - self.watts >= STEP_W and sample.fresh:
            self.tree.stepped(self.circuit.id, sample.received_ms)
        self.watts = sample.watts
        if self.trace is not None and sample.fresh:
            self.trace.take(sample)
        if self._counts:
            self.supply.draw(self.circuit, sample.amps, sample.time_ms, fresh=sample.fresh)
        if self.level is not None:
            self.level.take(sample)
        if self.drift is not None:
            self.drift.take(sample)
        if self.over.fitted:
            self.over.take(sample)
        if self.doubt is not None:
            self.doubt.take(sample)
        if self.early is not None:
            self.early.take(sample)
        if self.dead is not None:
            self.dead.take(sample)
        if self.drain is not None:
            self.drain.take(sample, bank_a)
        if self.rhythm is not None:
            self.rhythm.take(sample)

    def _disagrees(self, lag_ms: int, now_ms: int) -> bool:
        """The two times differ. Three alike in a row, arriving at the circuit's own pace: a clock step, said once.

        Returns whether the reading is of now (True once the step is known), else it is history or a stray.
        """
        if self.stepped:
            return True
        alike = abs(lag_ms - self.lag_ms) <= self._step_ms and now_ms - self.last_received_ms >= self._period_ms // 2
        self.lags = self.lags + 1 if alike else 1
        self.lag_ms = lag_ms
        if self.lags >= STEP_READINGS:
            self.stepped = True
            self.volts_ms = self.amps_ms = self.watts_ms = self.switch_ms = min(
                now_ms - 1, max(self.volts_ms, self.amps_ms, self.watts_ms)
            )
            self._say_step("begins", now_ms)
        return self.stepped

    def _agrees(self, now_ms: int) -> None:
        self.lags = 0
        if self.stepped:
            self.stepped = False
            self._say_step("ends", now_ms)

    def _say_step(self, edge: str, now_ms: int) -> None:
        if self.suspect.active is not None:
            return  # its alarm is about its values: that weighs more, and goes on
        self._bench.found.append(
            Condition(
                subject="circuit",
                subject_id=self.circuit.id,
                group="readings",
                edge=edge,
                at_ms=now_ms,
                since_ms=now_ms,
                kind="reading-suspect",
                priority="journal",
                cause="clock-step",
                figures=(("step_s", self.lag_ms / 1000.0),),
                evidence=(("clock-step", (("seconds", self.lag_ms / 1000.0),)),),
            )
        )

    def energy_wh(self) -> float:
        """Energy since the beginning, Wh; what lay in gaps is not in it."""
        return self.energy_2mwms / 7.2e9

    def unheard(self) -> None:
        """Its monitor or the broker went: what an on-change publisher said last is not held on."""
        if self.circuit.sense.publishes == "on-change":
            self.over.rest()
        if self.dead is not None:
            self.dead.unheard()
        if self.drain is not None:
            self.drain.unheard()
        if self.rhythm is not None:
            self.rhythm.unheard()

    def rest(self, now_ms: int) -> None:
        """The program was off until now: one gap."""
        self.over.rest()
        self.suspect.rest()
        if self.doubt is not None:
            self.doubt.rest()
        if self.early is not None:
            self.early.rest()
        if self.dead is not None:
            self.dead.rest(now_ms)
        if self.drain is not None:
            self.drain.rest(now_ms)
        if self.level is not None:
            self.level.rest()
        if self.rhythm is not None:
            self.rhythm.rest()
        self.lags = 0

    def save(self) -> dict[str, Any]:
        state: dict[str, Any] = {name: getattr(self, name) for name in _KEPT}
        state["silence"], state["over"] = self.silence.save(), self.over.save()
        state["suspect"] = self.suspect.save()
        state["early"] = self.early.save() if self.early else None
        state["doubt"] = self.doubt.save() if self.doubt else None
        state["dead"] = self.dead.save() if self.dead else None
        state["drain"] = self.drain.save() if self.drain else None
        state["level"] = self.level.save() if self.level else None
        state["rhythm"] = self.rhythm.save() if self.rhythm else None
        state["drift"] = self.drift.save() if self.drift else None
        return state

    def restore(self, state: dict[str, Any], parts: frozenset[str]) -> None:
        """Take back what was saved; of what the files beside this keep only the parts named."""
        for name in _KEPT:
            setattr(self, name, state[name])
        self.silence.restore(state["silence"])
        if "over" in parts:
            self.over.restore(state["over"])
        if "suspect" in parts:
            self.suspect.restore(state["suspect"])
        if self.doubt and state["doubt"] and "doubt" in parts:
            self.doubt.restore(state["doubt"])
        if self.early and state["early"] and "early" in parts:
            self.early.restore(state["early"])
        if self.dead and state["dead"] and "dead" in parts:
            self.dead.restore(state["dead"])
        if self.drain and state["drain"] and "drain" in parts:
            self.drain.restore(state["drain"])
        if self.level and state["level"] and "level" in parts:
            self.level.restore(state["level"])
        if self.rhythm and state["rhythm"] and "rhythm" in parts:
            self.rhythm.restore(state["rhythm"])
        if self.drift and state["drift"] and "drift" in parts:
            self.drift.restore(state["drift"])


_KEPT = (
    "volts", "volts_ms", "amps", "amps_ms", "watts", "watts_ms", "watts_s", "switch_ms", "last_received_ms", "lag_ms",
    "lags", "stepped", "energy_2mwms", "energy_ms", "energy_w", "unknown_ms", "late", "drawn",
)  # fmt: skip
