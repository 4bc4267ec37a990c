"""What a load did each day: how long it ran, how often it started, what it drew at rest and at each of its levels.

A reading stands until the next one. It runs from the watts that `watch.runs` takes for running. One reading of rest within a
run is a dip and ends nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from panelward.ratings.behaviour import LEAST_V, MOST_V, exponent_of
from panelward.records import Circuit, Schedule
from panelward.review.samples import Habit, Samples
from panelward.review.source import Floats, Whole
from panelward.watch.runs import on_w

SURGE_READINGS = 3  # of a start, in which its peak is looked for
CARRIED = 4  # samples from piece to piece: two before a start and two within it
STEP_A = 3.0  # an edge that tells a resistance: trade practice wants 5 A, half of that still does with a median over many
EDGE_MS = 10_000  # before and after such an edge: longer apart, the bank's own recovery would count


@dataclass(slots=True)
class Day:
    """One local day of one way. Sums, so that days cut by pieces add up."""

    read_ms: float = 0.0
    on_ms: float = 0.0
    starts: int = 0
    rest_ms: float = 0.0
    rest_wms: float = 0.0
    levels: dict[str, list[float]] = field(default_factory=dict)  # name: [readings, sum of watts at nominal volts]
    surges: list[float] = field(default_factory=list)  # peak amps of each start
    ohms: list[float] = field(default_factory=list)  # of each edge


class Habits:
    """One way's days; `days_ms` are the local midnights."""

    def __init__(self, schedule: Schedule, circuit: Circuit, habit: Habit, days_ms: Whole) -> None:
        supply = schedule.supply(circuit.supply)
        self._habit, self._days_ms, self._circuit = habit, days_ms, circuit
        self._load = circuit.role == "load"
        self._meters = any(s.meter == circuit.id for s in schedule.supplies)
        self._exponent = exponent_of(circuit.loads[0].behaves) if circuit.loads else 0.0
        self.on_w, self.told_apart = on_w(circuit, supply)
        self._standby = any(load.standby_max_w is not None or load.always_draws_w is not None for load in circuit.loads)
        self._levels = [
            (level.name, level.watts * (1.0 - level.tolerance), level.watts * (1.0 + level.tolerance))
            for load in circuit.loads
            for level in load.levels
        ]
        surges = [level.surge.seconds for load in circuit.loads for level in load.levels if level.surge is not None]
        self.surge_seen = bool(surges) and habit.period_ms / 1000.0 <= max(surges)
        self.days: dict[int, Day] = {}  # the number of the day
        self._last: tuple[Samples, npt.NDArray[np.bool_]] | None = None  # the last samples, and whether it ran then

    def take(self, samples: Samples) -> None:
        if not (self._load or self._meters) or not len(samples.time_ms):
            return
        at_w = self._at_nominal(samples)
        on = at_w > self.on_w
        behind = 0
        if self._last is not None:
            last, was_on = self._last
            behind = len(last.time_ms)
            samples = samples.after(last)
            on = np.concatenate((was_on, on))
            at_w = np.concatenate((self._at_nominal(last), at_w))
        self._last = samples.rows(-CARRIED), on[-CARRIED:].copy()
        wait = np.diff(samples.time_ms)
        ok = wait <= self._habit.gap_ms
        # Of the samples carried along, the intervals between them were counted with the piece before.
        begin = max(0, behind - 1)
        if self._load:
            self._runs(samples, at_w, on, wait, ok, begin)
            self._starts(samples, on, ok, behind)
        if self._meters:
            self._edges(samples, wait, begin)

    def _at_nominal(self, samples: Samples) -> Floats:
        if self._exponent == 0.0:
            return samples.watts
        nominal_v, volts = self._habit.nominal_v, samples.volts
        lawful = (volts >= LEAST_V * nominal_v) & (volts <= MOST_V * nominal_v)
        factor: Floats = np.ones(len(volts))
        np.power(nominal_v / volts, self._exponent, out=factor, where=lawful)
        return samples.watts * factor

    def _runs(
        self, samples: Samples, at_w: Floats, on: npt.NDArray[np.bool_], wait: Whole, ok: npt.NDArray[np.bool_], begin: int
    ) -> None:
        time = samples.time_ms
        first = int(np.searchsorted(self._days_ms, time[min(begin, len(time) - 1)], side="right")) - 1
        last = int(np.searchsorted(self._days_ms, time[-1], side="right")) - 1
        bounds = np.searchsorted(time, self._days_ms[first + 1 : last + 1]).tolist()
        for number, low, high in zip(range(first, last + 1), (begin, *bounds), (*bounds, len(time)), strict=True):
            if not 0 <= number < len(self._days_ms) - 1 or low >= high:
                continue
            day = self.days.setdefault(number, Day())
            until = min(high, len(wait))
            spans = np.where(ok[low:until], wait[low:until], 0)
            ran, draws = on[low:until], at_w[low:until]
            day.read_ms += float(spans.sum())
            day.on_ms += float(spans[ran].sum())
            if self._standby:
                rests = ~ran
                day.rest_ms += float(spans[rests].sum())
                day.rest_wms += float(np.dot(spans[rests], draws[rests]))
            for name, low_w, high_w in self._levels:
                inside = (draws >= low_w) & (draws <= high_w) & (spans > 0)
                sums = day.levels.setdefault(name, [0.0, 0.0])
                sums[0] += float(inside.sum())
                sums[1] += float(draws[inside].sum())

    def _starts(self, samples: Samples, on: npt.NDArray[np.bool_], ok: npt.NDArray[np.bool_], behind: int) -> None:
        """Of each start its day, and its peak once all readings of it are there."""
        begun = np.flatnonzero(on[2:] & ~on[1:-1] & ~on[:-2] & ok[1:] & ok[:-1]) + 2
        for number in self._days_of(samples.time_ms[begun[begun >= behind]]):
            self.days.setdefault(number, Day()).starts += 1
        if self.surge_seen:
            whole = SURGE_READINGS - 1
            seen = begun[(begun >= behind - whole) & (begun < len(on) - whole)]
            peaks = np.max([np.abs(samples.amps[seen + n]) for n in range(SURGE_READINGS)], axis=0, initial=0.0)
            for number, peak in zip(self._days_of(samples.time_ms[seen]), peaks.tolist(), strict=True):
                self.days.setdefault(number, Day()).surges.append(peak)

    def _days_of(self, time_ms: Whole) -> list[int]:
        last = len(self._days_ms) - 2
        found = (np.searchsorted(self._days_ms, time_ms, side="right") - 1).tolist()
        return [min(max(number, 0), last) for number in found]

    def _edges(self, samples: Samples, wait: Whole, begin: int) -> None:
        """R = -dV/dI over each large step of the meter: the bank and all that lies before the point where volts are sensed."""
        di, dv = np.diff(samples.amps), np.diff(samples.volts)
        for at in np.flatnonzero((np.abs(di) >= STEP_A) & (wait <= EDGE_MS) & ~np.isnan(dv)).tolist():
            number = int(np.searchsorted(self._days_ms, samples.time_ms[at + 1], side="right")) - 1
            if at >= begin and 0 <= number < len(self._days_ms) - 1:
                self.days.setdefault(number, Day()).ohms.append(float(-dv[at] / di[at]))
