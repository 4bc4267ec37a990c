"""One pass over the readings: of every way its minutes, its days, what it held and how it was spread.

Nothing is judged here. Memory: a piece of readings, and of each way some numbers a minute.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from panelward.records import Circuit, Schedule
from panelward.review.deeds import Deeds
from panelward.review.grid import Grid, Laying, edges
from panelward.review.habits import Habits
from panelward.review.holding import Holding
from panelward.review.report import Held
from panelward.review.samples import Habit, Pairing, Samples, habit
from panelward.review.source import Columns, Floats, Source, Whole

AMPS_STEP, MOST_AMPS = 0.01, 1200.0  # of a way's spread
SHARE_80 = 0.8


class Way:
    """What is gathered of one circuit."""

    def __init__(self, schedule: Schedule, circuit: Circuit, grid: Grid, days_ms: Whole, span: tuple[int, int]) -> None:
        self.circuit = circuit
        self.habit: Habit = habit(schedule, circuit)
        self.grid = grid
        self.pairing = Pairing(self.habit)
        self.habits = Habits(schedule, circuit, self.habit, days_ms)
        self.readings = 0  # in the span
        self.fitted_a = circuit.protection.fitted_a if circuit.protection is not None else None
        self.amps = np.zeros(round(MOST_AMPS / AMPS_STEP) + 1, np.int64)  # readings by size of current, in the span
        self.volts_step = 0.01 if self.habit.nominal_v <= 100 else 0.1
        self.volts = np.zeros(round(self.habit.most_v / self.volts_step) + 2, np.int64)
        self.above_80_s = 0.0
        self._span = span
        self._laying = Laying(grid, self.habit)
        gap_ms = self.habit.gap_ms
        self._holding = Holding(self.habit.period_ms, gap_ms, on_change=self.habit.on_change)
        self._before: tuple[int, float] | None = None
        self._held: tuple[Held, ...] | None = None

    def take(self, columns: Columns) -> Samples:
        samples = self.pairing.take(columns)
        self._laying.take(samples)
        self.habits.take(samples)
        low, high = np.searchsorted(samples.time_ms, self._span).tolist()
        if low < high:
            inside = samples.rows(low, high)
            self._spread(inside)
            self._holding.take(inside.time_ms, inside.amps)
        return samples

    @property
    def held(self) -> tuple[Held, ...]:
        if self._held is None:
            self._held = self._holding.held()
        return self._held

    def _spread(self, samples: Samples) -> None:
        self.readings += len(samples.time_ms)
        size = np.abs(samples.amps)
        steps = np.minimum(np.rint(size / AMPS_STEP), len(self.amps) - 1).astype(np.int64)
        found = np.bincount(steps)
        self.amps[: len(found)] += found
        volts = samples.volts
        missing = np.isnan(volts)
        if missing.any():
            volts = volts[~missing]
        if len(volts):
            steps = np.clip(np.rint(volts / self.volts_step), 0, len(self.volts) - 1).astype(np.int64)
            found = np.bincount(steps)
            self.volts[: len(found)] += found
        if self.fitted_a is not None:
            near = size >= SHARE_80 * self.fitted_a
            if self._before is not None:
                wait = int(samples.time_ms[0]) - self._before[0]
                if self._before[1] >= SHARE_80 * self.fitted_a and wait <= self.habit.gap_ms:
                    self.above_80_s += wait / 1000.0
            if near.any():
                wait_ms = np.diff(samples.time_ms)
                counted = near[:-1] & (wait_ms <= self.habit.gap_ms)
                self.above_80_s += float(wait_ms[counted].sum()) / 1000.0
            self._before = int(samples.time_ms[-1]), float(size[-1])


def quantile(counts: Sequence[int] | Whole, share: float, step: float) -> float | None:
    """Of a spread in steps: the least step at or below which so large a share lies; None: nothing was read."""
    sums = np.cumsum(counts)
    if not len(sums) or sums[-1] == 0:
        return None
    return float(np.searchsorted(sums, share * sums[-1])) * step


@dataclass(slots=True)
class Probed:
    """A probe's minutes."""

    sums: Floats
    counts: Floats

    @property
    def celsius(self) -> Floats:
        """Means; NaN where it was not read."""
        with np.errstate(invalid="ignore"):
            return np.where(self.counts > 0, self.sums / self.counts, np.nan)


@dataclass(slots=True)
class Gathered:
    """All of a pass."""

    edges_ms: Whole  # of the minutes
    days_ms: Whole  # local midnights, one more than there are days
    ways: dict[str, Way]
    probes: dict[str, Probed]
    unknown: dict[str, int] = field(default_factory=dict)  # readings of circuits that the schedule does not have
    late: Mapping[str, int] = field(default_factory=dict)
    deeds: Deeds | None = None

    def bins(self, from_ms: int, to_ms: int) -> slice:
        """Those that lie in a span as a whole."""
        first = int(np.searchsorted(self.edges_ms, from_ms))
        return slice(
            min(first, len(self.edges_ms) - 1), max(first, int(np.searchsorted(self.edges_ms, to_ms, side="right")) - 1)
        )

    def at(self, time_ms: int) -> int:
        """The bin that holds a moment."""
        return int(np.searchsorted(self.edges_ms, time_ms, side="right")) - 1

    def begins_ms(self, part: slice) -> Whole:
        return self.edges_ms[part.start : part.stop]

    def seconds(self, part: slice) -> Floats:
        """How long each bin is."""
        return np.diff(self.edges_ms[part.start : part.stop + 1]) / 1000.0


def midnights(from_ms: int, to_ms: int, zone: ZoneInfo) -> Whole:
    """Local midnights from the one before `from_ms` to the one after `to_ms`."""
    day = datetime.fromtimestamp(from_ms / 1000, UTC).astimezone(zone).replace(hour=0, minute=0, second=0, microsecond=0)
    found = [round(day.timestamp() * 1000)]
    while found[-1] < to_ms:
        day = (day.replace(tzinfo=None) + timedelta(days=1)).replace(tzinfo=zone)
        found.append(round(day.timestamp() * 1000))
    return np.array(found if len(found) > 1 else [*found, found[0] + 86_400_000], np.int64)


def gather(
    source: Source,
    schedule: Schedule,
    zone: ZoneInfo,
    kept: tuple[int, int],
    span: tuple[int, int],
    *,
    watch_deeds: bool = False,
    progress: Callable[[int], None] | None = None,
) -> Gathered:
    """Read [kept) once; what is held and how it is spread is of the span alone."""
    edges_ms = edges(*kept, span)
    count = len(edges_ms) - 1
    days_ms = midnights(kept[0], kept[1], zone)
    ways = {c.id: Way(schedule, c, Grid(edges_ms), days_ms, span) for c in schedule.circuits}
    probes = {p.id: Probed(np.zeros(count), np.zeros(count)) for p in schedule.probes}
    deeds = Deeds(schedule) if watch_deeds else None
    found = Gathered(edges_ms, days_ms, ways, probes, deeds=deeds)
    # A little beyond either end: a trapezoid that crosses it is cut there.
    beyond_ms = max((way.habit.gap_ms for way in ways.values() if not way.habit.on_change), default=0)
    for _from_ms, piece_to_ms, columns in source.pieces(kept[0] - beyond_ms, kept[1] + beyond_ms):
        heard = []
        for circuit, of in columns.items():
            if circuit in ways:
                samples = ways[circuit].take(of)
                if deeds is not None and deeds.listens(circuit):
                    heard.append((circuit, samples))
            elif circuit in probes:
                warm = ~np.isnan(of.celsius)
                bins = np.clip(np.searchsorted(edges_ms, of.time_ms[warm], side="right") - 1, 0, count - 1)
                np.add.at(probes[circuit].sums, bins, of.celsius[warm])
                np.add.at(probes[circuit].counts, bins, 1.0)
            else:
                found.unknown[circuit] = found.unknown.get(circuit, 0) + len(of.time_ms)
        if deeds is not None:
            deeds.take(heard)
        if progress is not None:
            progress(piece_to_ms)
    found.late = dict(source.late)
    return found
