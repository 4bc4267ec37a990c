"""Overcurrent: how near the device is to opening, and how warm the conductor is. Group `overcurrent`.

What the fitted device may do is told by the whole set of its type (ratings.specimens): the earliest, the likely and the
latest opening, or that it may never open. What was seen to be carried strikes out members of the set. In a gap of
readings the earliest goes on with the last draw, the latest rests. A start surge within the allowance of its level
raises nothing.

While a circuit stays below half its rating and half its ampacity, its runs of readings are folded: the mean square
of up to a minute is carried at once. Where a fold ends depends on this circuit's own readings only.
"""

from __future__ import annotations

from math import exp, inf
from typing import Any

from panelward.ratings import (
    Ampacity,
    Specimens,
    device,
    steady_c,
    time_constant_s,
    warm_factor,
    weakest,
)
from panelward.records import Circuit, Condition, Facts, Figure, Schedule
from panelward.watch.bench import Bench
from panelward.watch.panel import Panel, Sample

SUSTAINED_S = 10.0  # a draw over the rating counts after this long and three readings (a start is over by then)
LOOK_AGAIN_MS = 12_000
NEARLY = 0.85  # heat of the slowest at which a pulsed draw counts without standing still
DEADBAND = 0.95  # flow-like, 5 %: EEMUA 191 as quoted
SOON_S = 600.0  # "may open within ten minutes" makes it high where losing the circuit hurts
CONTINUOUS_SHARE = 0.8  # NEC 210.20(A): the device at no less than 125 % of the continuous load
CONTINUOUS_S = 3 * 3600.0  # NEC art. 100: expected to run three hours or more
CONTINUOUS_PAUSE_S = 60.0  # a shorter dip is the same run
HARM = 1.0  # conductor heat at which its insulation stands at its rated temperature
HARM_OVER = 0.9
EASY = 0.5  # of rating and ampacity: below it runs of readings are folded
FOLD_MS = 60_000
MUST_OPEN = 1.35  # a blade fuse opens within 600 s there (data sheets naming ISO 8820-3)
RESTED = 1e-9  # heat that is none
STRUCK_AFTER = 3  # readings above what it carries, in a row, before a member of the set is struck out
SURGE_SLACK = 1.15  # meter gain and supply voltage on top of the level's surge

_RANK = {"low": 1, "medium": 2, "high": 3}


class Overcurrent:
    """One circuit's device and conductor."""

    __slots__ = (
        "_bench", "_cable", "_cable_tau_s", "_circuit", "_decay", "_device", "_easy_a", "_full_a", "_hurts", "_limit_a",
        "_limit_c", "_nominal_v", "_on_change", "_panel", "_period_ms", "_set", "_surge_left_ms", "_surges", "_turns", "active",
        "below_ms", "cable", "cause", "continuous_ms", "due_ms", "fold_ms", "fold_square_ms", "hot_ms", "last_a", "last_ms",
        "last_received_ms", "order", "over", "over_ms", "priority", "rested", "rule", "running_a", "since_ms",
        "surge_ms", "warm",
    )  # fmt: skip

    def __init__(self, bench: Bench, panel: Panel, schedule: Schedule, circuit: Circuit, period_ms: int) -> None:
        self._bench, self._panel, self._circuit, self._period_ms = bench, panel, circuit, period_ms
        self._device = device(circuit.protection) if circuit.protection else None
        self._hurts = circuit.importance in ("life", "property")
        supply = schedule.supply(circuit.supply)
        self._cable = weakest(circuit.conductor, supply.kind, schedule.vehicle.rules(supply.kind))
        self._cable_tau_s = time_constant_s(self._cable) if self._cable else 0.0
        self._surges = tuple(
            (level.surge.times * level.watts / supply.nominal_v * SURGE_SLACK, level.surge.seconds)
            for load in circuit.loads
            for level in load.levels
            if level.surge
        )
        self._nominal_v = supply.nominal_v
        self._full_a = circuit.sense.full_a
        running = [level.watts / supply.nominal_v * (1.0 + level.tolerance) for load in circuit.loads for level in load.levels]
        self.running_a = max(running, default=0.0)  # above it a draw is a start, or a fault
        self._on_change = circuit.sense.publishes == "on-change"
        self._surge_left_ms: int | None = None
        self.order = bench.enrol(self)
        self.due_ms: int | None = None
        self._decay: dict[int, float] = {}
        self._set = Specimens(self._device) if self._device and self._device.members else None
        limits = [self._device.rating_a] if self._device else []
        self._easy_a = EASY * min([*limits, self._cable.thermal_a] if self._cable else limits, default=inf)
        self._limit_c: float | None = None
        self._limit_a = self._device.rating_a * self._device.carries if self._device else inf
        self.fold_square_ms = 0.0  # ampere² x ms not yet carried
        self.fold_ms = 0
        self.warm = False  # some heat stands in the set
        self.rested = False  # a gap lies before the next reading, whoever publishes
        self.cable = 0.0
        self.last_a = 0.0
        self.last_ms: int | None = None
        self.last_received_ms = 0
        self.surge_ms: int | None = None  # above every level since
        self.over_ms: int | None = None  # the draw stands above what the device carries since
        self.over = 0  # readings in a row
        self.hot_ms: int | None = None  # the draw stands above the conductor's ampacity since
        self.continuous_ms: int | None = None
        self.below_ms: int | None = None
        self._turns = True  # False: `level` says that its motor is stalled
        self.active: str | None = None  # kind
        self.cause: str | None = None
        self.rule = ""  # which rule of the kind: conductor, may-open, continuous
        self.priority = ""
        self.since_ms = 0

    @property
    def fitted(self) -> bool:
        return self._device is not None or self._cable is not None

    def stalled(self, now_ms: int) -> bool:
        """Its motor is stalled, as `level` finds. Is that it draws too much told already? Then that alarm learns why."""
        self._turns = False
        if self.active != "overcurrent-approach":
            return False
        self.cause, self.priority = "stalled", "high"
        self._emit("changes", self.active, "high", self.last_a, now_ms)
        return True

    def turns(self) -> None:
        """It is stalled no more."""
        self._turns = True

    def quick_heat(self) -> float:
        """How near the quickest device of this type is to opening; 0 where no opening time is claimed."""
        return self._asked().hottest() if self._set else 0.0

    def slow_heat(self) -> float:
        """The same for the slowest."""
        return self._asked().coolest() if self._set else 0.0

    def _asked(self) -> Specimens:
        """The set as it stands now, for a question: a question never folds."""
        assert self._set is not None
        if not self.fold_ms:
            return self._set
        asked = self._set.copy()
        asked.carry(self.fold_ms / 1000.0, self._square(), self._panel.panel_c)
        return asked

    def _square(self) -> float:
        """Mean square of the multiple over what waits to be folded."""
        rating_a = self._device.rating_a if self._device else 1.0
        return self.fold_square_ms / self.fold_ms / rating_a**2

    def renewed(self) -> None:
        """Its device opened and the circuit draws again: another of its type is in the way."""
        if self._set:
            self._set.renew()

    def rating_multiple(self, amps: float) -> float:
        """A current as a multiple of the fitted rating; 0 without a device."""
        return abs(amps) / self._device.rating_a if self._device else 0.0

    @property
    def times_claimed(self) -> bool:
        """Are there published gates for this type, so that its heat means something?"""
        return self._set is not None

    @property
    def rating_a(self) -> float | None:
        return self._device.rating_a if self._device else None

    def device_word(self) -> str:
        return self._device.word if self._device else "fuse"

    def take(self, sample: Sample) -> None:
        """Carry the heat on to this sample, then judge its draw."""
        amps = abs(sample.amps)
        last_ms = self.last_ms
        if last_ms is not None:
            # A held draw may have been carried past the time at which its end was measured.
            dt_ms = max(0, sample.time_ms - last_ms)
            gap = self.rested or (dt_ms > 3 * self._period_ms and dt_ms > 10_000 and not self._on_change)
            self.rested = False
            if self.last_a <= self._easy_a and not gap:
                # Most circuits spend their lives here: nothing can open, nothing can be harmed.
                if self.last_a > 0.0 or self.warm:
                    self.fold_square_ms += self.last_a * self.last_a * dt_ms
                    self.fold_ms += dt_ms
                    if self.fold_ms >= FOLD_MS:
                        self._fold()
            else:
                if self.fold_ms:
                    self._fold()
                surge_ms = self._surge_left_ms
                if surge_ms is not None and surge_ms < dt_ms and not gap:
                    # A start seen in one sample lasted no longer than its allowance: then it ran as it runs now.
                    self._carry(surge_ms, False)
                    self.last_a = amps
                    dt_ms -= surge_ms
                self._carry(dt_ms, gap)
            if gap:
                self.over_ms = self.continuous_ms = self.below_ms = self.hot_ms = None
                self.over = 0
        self._note_surge(sample.time_ms, amps)
        self.last_ms = sample.time_ms if last_ms is None else max(last_ms, sample.time_ms)
        self.last_received_ms = sample.received_ms
        self.last_a = amps
        # The cold path: most circuits spend their lives far below all of this.
        if (
            amps <= self._easy_a
            and self.active is None
            and self.over_ms is None
            and self.continuous_ms is None
            and self.hot_ms is None
        ):
            return
        self._judge(sample, amps)
        if self._on_change:  # the next reading may be hours away: look again by the clock
            self._bench.call_at(self, sample.received_ms + LOOK_AGAIN_MS)

    def _note_surge(self, time_ms: int, amps: float) -> None:
        """Is this sample within a start surge of the schedule, and for how long may that still last?"""
        self._surge_left_ms = None
        if not self._surges:
            return
        if amps <= self.running_a:
            self.surge_ms = None
            return
        if self.surge_ms is None:
            self.surge_ms = time_ms
        since_ms = time_ms - self.surge_ms
        left = [
            round(lasts_s * 1000) - since_ms
            for most_a, lasts_s in self._surges
            if amps <= most_a and since_ms <= lasts_s * 1000 + self._period_ms
        ]
        if left:
            self._surge_left_ms = max(0, *left)

    def fire(self, now_ms: int) -> None:
        """On-change publishers: the held draw still flows, as far as anybody knows."""
        if self.last_ms is None or self.rested:
            return
        time_ms = self.last_ms + now_ms - self.last_received_ms
        volts = self._nominal_v
        self.take(Sample(time_ms, now_ms, self.last_a, self.last_a * volts, None, True))

    def _fold(self) -> None:
        """Carry what waits, at its mean square."""
        square, dt_ms = self._square(), self.fold_ms
        mean_a2 = self.fold_square_ms / dt_ms
        self.fold_square_ms, self.fold_ms = 0.0, 0
        if self._set:
            self._set.carry(dt_ms / 1000.0, square, self._panel.panel_c)
            self.warm = self._set.hottest() > RESTED
        self._carry_cable(dt_ms, mean_a2)
        self.warm = self.warm or self.cable > RESTED

    def _carry(self, dt_ms: int, gap: bool) -> None:
        """Carry a stretch of the last draw, exactly."""
        amps, fitted, of_set = self.last_a, self._device, self._set
        self.warm = True
        if fitted and of_set:
            multiple = amps / fitted.rating_a
            of_set.carry(dt_ms / 1000.0, multiple * multiple, self._panel.panel_c, gap=gap)
            if self.over >= STRUCK_AFTER and not gap and self._surge_left_ms is None:
                of_set.strike_out(self._panel.panel_c)
        # What flowed in a gap nobody knows: no heat of the conductor is claimed from it.
        self._carry_cable(dt_ms, 0.0 if gap else amps * amps)

    def _carry_cable(self, dt_ms: int, square_a2: float) -> None:
        if self._cable is None:
            return
        decay = self._decay.get(dt_ms)
        if decay is None:
            if len(self._decay) > 16:
                self._decay.clear()
            decay = self._decay[dt_ms] = exp(-dt_ms / 1000.0 / self._cable_tau_s)
        limit_a = self._cable.thermal_a
        drive = square_a2 / limit_a**2 if limit_a > 0 else 4.0 * (square_a2 > 0)
        self.cable = drive + (self.cable - drive) * decay

    def _judge(self, sample: Sample, amps: float) -> None:
        now_ms, time_ms = sample.received_ms, sample.time_ms
        fitted = self._device
        limit_a = self._limit()
        if fitted and amps > limit_a:
            if self.over_ms is None:
                self.over_ms, self.over = time_ms, 0
            self.over += 1
        elif self.over_ms is not None and amps <= DEADBAND * limit_a:
            self.over_ms, self.over = None, 0
        self._count_continuous(time_ms, amps)
        if self._cable is None or amps <= DEADBAND * self._cable.thermal_a:
            self.hot_ms = None
        elif self.hot_ms is None and amps > self._cable.thermal_a:
            self.hot_ms = time_ms
        if not sample.fresh:
            return
        over_s = (time_ms - self.over_ms) / 1000.0 if self.over_ms is not None else 0.0
        needed = 2 if self._period_ms >= 20_000 or self._on_change else 3
        surging = self._surge_left_ms is not None
        may_open = self.over >= needed and over_s >= SUSTAINED_S and not surging
        if not may_open and self.over_ms is not None and not surging and self._set:
            may_open = self._set.coolest() >= NEARLY
        kind, priority, since_ms, rule = None, "", time_ms, ""
        hot = HARM_OVER if self.active == "conductor-overheating" else HARM
        # It begins only while too much flows: a conductor that is left in peace cools.
        if self._cable and self.cable >= hot and (self.active == "conductor-overheating" or self.hot_ms is not None):
            rule = "conductor"
            kind, priority, since_ms = "conductor-overheating", "high", self.hot_ms or time_ms
        elif may_open and not self._turns and self.active is None:
            pass  # one cause, one alarm: that it is stalled is told
        elif may_open:
            kind, since_ms, rule = "overcurrent-approach", self.over_ms or time_ms, "may-open"
            priority = "high" if self._hurts and self._soon(amps) else "medium"
        elif self.rule == "may-open" and self.over_ms is not None:
            kind, priority, since_ms, rule = "overcurrent-approach", self.priority, self.since_ms, self.rule  # in the deadband
        elif self.continuous_ms is not None and time_ms - self.continuous_ms >= CONTINUOUS_S * 1000:
            kind, priority, since_ms, rule = "overcurrent-approach", "low", self.continuous_ms, "continuous"
        self._edge(kind, priority, since_ms, rule, amps, now_ms)

    def _limit(self) -> float:
        """The most the device carries for ever, in the panel's present warmth."""
        panel_c = self._panel.panel_c
        if panel_c != self._limit_c and self._device:
            self._limit_c = panel_c
            self._limit_a = self._device.rating_a * self._device.carries * warm_factor(self._device, panel_c)
        return self._limit_a

    def _soon(self, amps: float) -> bool:
        """May it open within ten minutes at this draw?"""
        if amps >= self._full_a:
            return True  # what flows above that nobody knows
        if self._set is None or self._device is None:
            return amps >= MUST_OPEN * self._limit()
        if self.rule == "may-open" and self.priority == "high":
            return True  # within one rule a priority only rises
        return self._set.may_open_within(SOON_S, amps / self._device.rating_a, self._panel.panel_c)

    def _count_continuous(self, time_ms: int, amps: float) -> None:
        fitted = self._device
        if fitted and amps > CONTINUOUS_SHARE * fitted.rating_a:
            self.below_ms = None
            if self.continuous_ms is None:
                self.continuous_ms = time_ms
        elif self.continuous_ms is not None:
            if self.below_ms is None:
                self.below_ms = time_ms
            elif time_ms - self.below_ms >= CONTINUOUS_PAUSE_S * 1000:
                self.continuous_ms = self.below_ms = None

    def _times(self, amps: float) -> tuple[float | None, float | None, float | None]:
        """Earliest, likely and latest seconds to open at this draw; inf = never, None = not known."""
        fitted = self._device
        if not fitted or self._set is None:
            known = fitted is not None and amps <= fitted.rating_a and amps < self._full_a
            return (inf, inf, inf) if known else (None, None, None)
        earliest, likely, latest = self._asked().times_s(amps / fitted.rating_a, self._panel.panel_c)
        if amps >= self._full_a:  # so much or more: it opens no later than at so much, but perhaps at once
            return 0.0, None, None if latest == inf else latest
        return earliest, likely, latest

    def _edge(self, kind: str | None, priority: str, since_ms: int, rule: str, amps: float, now_ms: int) -> None:
        if kind is None and self.active is None:
            return
        if kind is None or self.active is None:
            edge = "ends" if kind is None else "begins"
            if kind is not None:
                self.since_ms, self.priority = since_ms, priority
            shown_kind, shown_priority = kind or self.active or "", priority or self.priority
        else:
            if rule == self.rule:  # within one rule a priority rises only: no nagging back and forth
                priority = max(priority, self.priority, key=lambda p: _RANK[p])
                if priority == self.priority:
                    return
            edge, shown_kind, shown_priority = "changes", kind, priority
            self.priority = priority
            if kind == self.active:
                self.since_ms = since_ms  # another rule: it counts from its own beginning
        self.active, self.rule = kind, rule
        self._emit(edge, shown_kind, shown_priority, amps if kind else None, now_ms)
        if kind is None:
            self.priority, self.cause = "", None

    def _emit(self, edge: str, kind: str, priority: str, amps: float | None, now_ms: int) -> None:
        self._bench.found.append(
            Condition(
                subject="circuit",
                subject_id=self._circuit.id,
                group="overcurrent",
                edge=edge,
                at_ms=now_ms,
                since_ms=self.since_ms,
                kind=kind,
                priority=priority,
                cause=self.cause,
                figures=self._figures(amps) if amps is not None else (),
                evidence=self._evidence(amps) if amps is not None else (),
            )
        )

    def _figures(self, amps: float) -> Facts:
        figures: list[tuple[str, Figure]] = [("draw_a", amps)]
        if amps >= self._full_a:
            figures.append(("draw_is_least", True))
        if self._device:
            figures.append(("rating_a", self._device.rating_a))
        earliest, likely, latest = self._times(amps)
        figures.append(("time_to_open_s", (_leave(earliest), _leave(likely), _leave(latest))))
        if self._cable:
            figures.append(("ampacity_a", self._cable.amps))
            figures.append(("conductor_c", self._conductor_c(self._cable)))
        return tuple(figures)

    def _conductor_c(self, cable: Ampacity) -> float:
        return steady_c(cable, cable.thermal_a * self.cable**0.5) if cable.thermal_a > 0 else cable.rated_c

    def _evidence(self, amps: float) -> tuple[tuple[str, Facts], ...]:
        facts: list[tuple[str, Facts]] = []
        if amps >= self._full_a:
            facts.append(("at-full-scale", (("full_a", self._circuit.sense.full_scale_a),)))
        if self._device:
            facts.append(("draw-of-rating", (("amps", amps), ("rating_a", self._device.rating_a), ("word", self._device.word))))
            if self._set:
                facts.append(("heat-of-device", (("quickest", self.quick_heat()), ("slowest", self.slow_heat()))))
            if self._panel.panel_c is not None:
                facts.append(("panel-warmth", (("celsius", self._panel.panel_c), ("carries_a", self._limit()))))
        if self._cable:
            facts.append(
                (
                    "conductor-warmth",
                    (
                        ("celsius", self._conductor_c(self._cable)),
                        ("rated_c", self._cable.rated_c),
                        ("ampacity_a", self._cable.amps),
                        ("rule", self._cable.rule),
                    ),
                )
            )
        return tuple(facts)

    def rest(self) -> None:
        """Nobody hears it now: what was counted in a row is not in a row any more, and what flows is not known."""
        self.rested = self.last_ms is not None
        self._bench.call_at(self, None)
        self.over_ms = self.continuous_ms = self.below_ms = self.hot_ms = None
        self.over = 0

    def save(self) -> dict[str, Any]:
        own = {"set": self._set.save() if self._set else None, "surge_left_ms": self._surge_left_ms}
        return {name: getattr(self, name) for name in _KEPT} | own

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        self._surge_left_ms = state["surge_left_ms"]
        if self._set and state["set"]:
            self._set.restore(state["set"])


_KEPT = (
    "due_ms", "cable", "last_a", "last_ms", "last_received_ms", "surge_ms", "over_ms", "over", "continuous_ms", "below_ms",
    "hot_ms", "active", "rule", "priority", "since_ms", "fold_square_ms", "fold_ms", "warm",
    "rested", "cause", "_turns",
)  # fmt: skip


def depends(schedule: Schedule, circuit: Circuit) -> object:
    """What this file's state depends on: new values of these begin it anew."""
    rules = schedule.vehicle.rules(schedule.supply(circuit.supply).kind)
    return circuit.protection, circuit.conductor, circuit.supply, rules, circuit.sense.full_scale_a


def _leave(seconds: float | None) -> float | str | None:
    return "never" if seconds == inf else seconds
