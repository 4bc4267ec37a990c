"""Overcurrent: how near the device is to opening, and how warm the conductor is. Group `overcurrent`.

Two bodies bound what the fitted device may do (ratings.devices): the quickest gives the earliest opening, the slowest
the latest. In a gap of readings the quickest goes on with the last draw, the slowest rests. A start surge within the
allowance of its level raises nothing.
"""

from __future__ import annotations

from math import exp, inf
from typing import Any

from panelward.ratings import (
    Ampacity,
    Body,
    cold_factor,
    corrected_ampacity_a,
    device,
    time_constant_s,
    time_to_open_s,
    warm_factor,
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
SURGE_SLACK = 1.15  # meter gain and supply voltage on top of the level's surge

_RANK = {"low": 1, "medium": 2, "high": 3}


class Overcurrent:
    """One circuit's device and conductor."""

    __slots__ = (
        "_bench", "_cable", "_cable_tau_s", "_circuit", "_decay", "_device", "_hurts", "_nominal_v", "_on_change",
        "_panel", "_period_ms", "_quick_h", "_slow_h", "_surge_left_ms", "_surges", "active", "below_ms", "cable",
        "continuous_ms", "due_ms", "hot_ms", "last_a", "last_ms", "last_received_ms", "order", "over", "over_ms",
        "priority", "quick", "rule", "running_a", "since_ms", "slow", "surge_ms",
    )  # fmt: skip

    def __init__(self, bench: Bench, panel: Panel, schedule: Schedule, circuit: Circuit, period_ms: int) -> None:
        self._bench, self._panel, self._circuit, self._period_ms = bench, panel, circuit, period_ms
        self._device = device(circuit.protection) if circuit.protection else None
        self._hurts = circuit.importance in ("life", "property")
        supply = schedule.supply(circuit.supply)
        self._cable = _weakest(circuit, supply.kind)
        self._cable_tau_s = time_constant_s(self._cable) if self._cable else 0.0
        self._surges = tuple(
            (level.surge.times * level.watts / supply.nominal_v * SURGE_SLACK, level.surge.seconds)
            for load in circuit.loads
            for level in load.levels
            if level.surge
        )
        self._nominal_v = supply.nominal_v
        running = [level.watts / supply.nominal_v * (1.0 + level.tolerance) for load in circuit.loads for level in load.levels]
        self.running_a = max(running, default=0.0)  # above it a draw is a start, or a fault
        self._on_change = circuit.sense.publishes == "on-change"
        self._surge_left_ms: int | None = None
        self.order = bench.enrol(self)
        self.due_ms: int | None = None
        self._decay: dict[int, tuple[tuple[float, ...], tuple[float, ...], float]] = {}
        self.quick = self._device.quickest.cold() if self._device and self._device.quickest else []
        self.slow = self._device.slowest.cold() if self._device and self._device.slowest else []
        self._quick_h = self._slow_h = 0.0
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
        self.active: str | None = None  # kind
        self.rule = ""  # which rule of the kind: conductor, may-open, continuous
        self.priority = ""
        self.since_ms = 0

    @property
    def fitted(self) -> bool:
        return self._device is not None or self._cable is not None

    def quick_heat(self) -> float:
        """How near the quickest device of this type is to opening; 0 where no opening time is claimed."""
        return self._quick_h

    def slow_heat(self) -> float:
        """The same for the slowest."""
        return self._slow_h

    def rating_multiple(self, amps: float) -> float:
        """A current as a multiple of the fitted rating; 0 without a device."""
        return abs(amps) / self._device.rating_a if self._device else 0.0

    @property
    def times_claimed(self) -> bool:
        """Are there published gates for this type, so that its heat means something?"""
        return self._device is not None and self._device.quickest is not None

    def device_word(self) -> str:
        return self._device.word if self._device else "fuse"

    def take(self, sample: Sample) -> None:
        """Carry the heat on to this sample, then judge its draw."""
        amps = abs(sample.amps)
        last_ms = self.last_ms
        if last_ms is not None:
            dt_ms = sample.time_ms - last_ms
            gap = dt_ms > 3 * self._period_ms and dt_ms > 10_000 and not self._on_change
            if self.last_a > 0.0 or self.cable > 0.0 or self._quick_h > 0.0 or self._slow_h > 0.0:
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
        self.last_ms = sample.time_ms
        self.last_received_ms = sample.received_ms
        self.last_a = amps
        fitted = self._device
        # Cold path first: most circuits spend their lives far below all of this.
        if (
            self.active is None
            and self.over_ms is None
            and self.continuous_ms is None
            and self.cable < HARM
            and self.hot_ms is None
            and (self._cable is None or amps <= self._cable.amps)
            and (fitted is None or amps <= CONTINUOUS_SHARE * 0.5 * fitted.rating_a)
            and self._slow_h < NEARLY
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
        if self.last_ms is None:
            return
        time_ms = self.last_ms + now_ms - self.last_received_ms
        volts = self._nominal_v
        self.take(Sample(time_ms, now_ms, self.last_a, self.last_a * volts, None, True))

    def _carry(self, dt_ms: int, gap: bool) -> None:
        factors = self._decay.get(dt_ms)
        if factors is None:
            dt_s = dt_ms / 1000.0
            quick = self._device.quickest if self._device else None
            slow = self._device.slowest if self._device else None
            factors = (
                tuple(exp(-dt_s / tau) for _, tau in quick.terms) if quick else (),
                tuple(exp(-dt_s / tau) for _, tau in slow.terms) if slow else (),
                exp(-dt_s / self._cable_tau_s) if self._cable else 0.0,
            )
            if len(self._decay) > 16:
                self._decay.clear()
            self._decay[dt_ms] = factors
        amps = self.last_a
        fitted = self._device
        if fitted and fitted.quickest and fitted.slowest:
            panel_c = self._panel.panel_c
            multiple = amps / fitted.rating_a
            warm = multiple / warm_factor(fitted, panel_c) if panel_c is not None else multiple
            self._quick_h = _carried(fitted.quickest, self.quick, factors[0], warm)
            held = 0.0 if gap else multiple / cold_factor(panel_c)
            self._slow_h = _carried(fitted.slowest, self.slow, factors[1], held)
        if self._cable:
            held_a = 0.0 if gap else amps  # what flowed in a gap nobody knows: no heat is claimed from it
            drive = (held_a / self._cable.amps) ** 2 if self._cable.amps > 0 else 4.0 * (held_a > 0)
            rest = drive + (self.cable - drive) * factors[2]
            self.cable = rest if rest > 1e-12 else 0.0

    def _judge(self, sample: Sample, amps: float) -> None:
        now_ms, time_ms = sample.received_ms, sample.time_ms
        fitted = self._device
        limit_a = self._limit_a()
        if fitted and amps > limit_a:
            if self.over_ms is None:
                self.over_ms, self.over = time_ms, 0
            self.over += 1
        elif self.over_ms is not None and amps <= DEADBAND * limit_a:
            self.over_ms, self.over = None, 0
        self._count_continuous(time_ms, amps)
        if self._cable is None or amps <= DEADBAND * self._cable.amps:
            self.hot_ms = None
        elif self.hot_ms is None and amps > self._cable.amps:
            self.hot_ms = time_ms
        if not sample.fresh:
            return
        over_s = (time_ms - self.over_ms) / 1000.0 if self.over_ms is not None else 0.0
        needed = 2 if self._period_ms >= 20_000 or self._on_change else 3
        surging = self._surge_left_ms is not None
        may_open = self.over >= needed and over_s >= SUSTAINED_S and not surging
        may_open = may_open or (self._slow_h >= NEARLY and not surging and self.over_ms is not None)
        kind, priority, since_ms, rule = None, "", time_ms, ""
        hot = HARM_OVER if self.active == "conductor-overheating" else HARM
        # It begins only while too much flows: a conductor that is left in peace cools.
        if self._cable and self.cable >= hot and (self.active == "conductor-overheating" or self.hot_ms is not None):
            rule = "conductor"
            kind, priority, since_ms = "conductor-overheating", "high", self.hot_ms or time_ms
        elif may_open:
            kind, since_ms, rule = "overcurrent-approach", self.over_ms or time_ms, "may-open"
            earliest = self._times(amps)[0]
            soon = earliest <= SOON_S if earliest is not None else amps >= 1.35 * limit_a
            priority = "high" if self._hurts and soon else "medium"
        elif self.rule == "may-open" and self.over_ms is not None:
            kind, priority, since_ms, rule = "overcurrent-approach", self.priority, self.since_ms, self.rule  # in the deadband
        elif self.continuous_ms is not None and time_ms - self.continuous_ms >= CONTINUOUS_S * 1000:
            kind, priority, since_ms, rule = "overcurrent-approach", "low", self.continuous_ms, "continuous"
        self._edge(kind, priority, since_ms, rule, amps, now_ms)

    def _limit_a(self) -> float:
        """The most the device carries for ever, in the panel's present warmth."""
        fitted = self._device
        return fitted.rating_a * fitted.carries * warm_factor(fitted, self._panel.panel_c) if fitted else inf

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

    def _times(self, amps: float) -> tuple[float | None, float | None]:
        """Earliest and latest seconds to open at this draw; inf = never, None = not claimed."""
        fitted = self._device
        if not fitted or not fitted.quickest or not fitted.slowest:
            return (None, None) if not fitted or amps > fitted.rating_a else (inf, inf)
        panel_c = self._panel.panel_c
        multiple = amps / fitted.rating_a
        earliest = time_to_open_s(fitted.quickest, self.quick, multiple / warm_factor(fitted, panel_c))
        latest = time_to_open_s(fitted.slowest, self.slow, multiple / cold_factor(panel_c))
        if fitted.magnetic:
            at_least, at_most = fitted.magnetic
            earliest = min(earliest, 0.01) if multiple > at_least else earliest  # half a wave at 50 Hz
            latest = min(latest, 0.1) if multiple >= at_most else latest
        return earliest, latest

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
        self._bench.found.append(
            Condition(
                subject="circuit",
                subject_id=self._circuit.id,
                group="overcurrent",
                edge=edge,
                at_ms=now_ms,
                since_ms=self.since_ms,
                kind=shown_kind,
                priority=shown_priority,
                figures=self._figures(amps) if kind else (),
                evidence=self._evidence(amps) if kind else (),
            )
        )
        if kind is None:
            self.priority = ""

    def _figures(self, amps: float) -> Facts:
        earliest, latest = self._times(amps)
        figures: list[tuple[str, Figure]] = [("draw_a", amps)]
        if self._device:
            figures.append(("rating_a", self._device.rating_a))
        figures.append(("time_to_open_s", (_leave(earliest), None, _leave(latest))))
        if self._cable:
            figures.append(("ampacity_a", self._cable.amps))
            figures.append(("conductor_c", self._conductor_c(self._cable)))
        return tuple(figures)

    def _conductor_c(self, cable: Ampacity) -> float:
        return cable.ambient_c + (cable.insulation_c - cable.ambient_c) * self.cable

    def _evidence(self, amps: float) -> tuple[tuple[str, Facts], ...]:
        facts: list[tuple[str, Facts]] = []
        if self._device:
            facts.append(("draw-of-rating", (("amps", amps), ("rating_a", self._device.rating_a), ("word", self._device.word))))
            if self._device.slowest:
                facts.append(("heat-of-device", (("quickest", self.quick_heat()), ("slowest", self.slow_heat()))))
            if self._panel.panel_c is not None:
                facts.append(("panel-warmth", (("celsius", self._panel.panel_c), ("carries_a", self._limit_a()))))
        if self._cable:
            facts.append(
                (
                    "conductor-warmth",
                    (
                        ("celsius", self._conductor_c(self._cable)),
                        ("rated_c", self._cable.insulation_c),
                        ("ampacity_a", self._cable.amps),
                        ("rule", self._cable.rule),
                    ),
                )
            )
        return tuple(facts)

    def rest(self) -> None:
        """The program was off: what was counted in a row is not in a row any more."""
        self.over_ms = self.continuous_ms = self.below_ms = self.hot_ms = None
        self.over = 0

    def save(self) -> dict[str, Any]:
        own = {"quick": list(self.quick), "slow": list(self.slow), "surge_left_ms": self._surge_left_ms}
        return {name: getattr(self, name) for name in _KEPT} | own

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        self.quick, self.slow = list(state["quick"]), list(state["slow"])
        self._surge_left_ms = state["surge_left_ms"]
        if self._device and self._device.quickest and self._device.slowest:
            self._quick_h = _total(self._device.quickest, self.quick)
            self._slow_h = _total(self._device.slowest, self.slow)


_KEPT = (
    "due_ms", "cable", "last_a", "last_ms", "last_received_ms", "surge_ms", "over_ms", "over", "continuous_ms", "below_ms",
    "hot_ms", "active", "rule", "priority", "since_ms",
)  # fmt: skip


def _carried(body: Body, state: list[float], decay: tuple[float, ...], multiple: float) -> float:
    """ratings.warm with its exponentials kept per step length (the same numbers, a third of the time); the heat after."""
    drive = (multiple / body.pickup) ** 2
    for i, factor in enumerate(decay):
        rest = drive + (state[i] - drive) * factor
        state[i] = rest if rest > 1e-12 else 0.0
    return _total(body, state)


def _total(body: Body, state: list[float]) -> float:
    """ratings.heat for one or two terms, written out: it is asked for at every reading."""
    terms = body.terms
    if len(terms) == 1:
        return terms[0][0] * state[0]
    return terms[0][0] * state[0] + terms[1][0] * state[1]


def depends(circuit: Circuit) -> object:
    """What this file's state depends on: new values of these begin it anew."""
    return circuit.protection, circuit.conductor, circuit.supply


def _weakest(circuit: Circuit, supply_kind: str) -> Ampacity | None:
    known = [a for a in (corrected_ampacity_a(s, supply_kind) for s in circuit.conductor) if a is not None]
    return min(known, key=lambda a: a.amps) if known else None


def _leave(seconds: float | None) -> float | str | None:
    return "never" if seconds == inf else seconds
