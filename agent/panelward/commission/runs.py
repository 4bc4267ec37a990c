"""One channel's readings cut into runs: stretches in which the draw stood still, and the edges between them.

A run begins at a change and is settled once three readings in a row agree; what came before them was its start (a surge, a
ramp). Two readings off the same way end it at once; a shift smaller than the noise of one reading ends it once the last few
readings together have moved. What moves along with the volts, as loads do when a charger starts, is no edge.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import log, sqrt
from statistics import fmean

from panelward.ratings.behaviour import at_nominal
from panelward.records import Reading

SETTLED = 3  # readings that agree
STEADY = 5  # readings that make a level worth telling; fewer have a tolerance factor above 6
RECENT = 30  # readings that a new one is compared with
KEPT = 400  # readings of a run; then every second is dropped
TAIL = 60  # amps kept for a comparison with the meter
RESTLESS_MS = 20_000  # without a steady run for so long: said (a level is often accepted in 15 to 20 s at 2 s)
QUICK_SD, SLOW_SD = 4.0, 4.5  # by simulation: fewer than one false edge in an hour of readings every 2 s
SWING = 0.015  # of ln(volts): a charger starting moves a bus by 3 to 12 % (common practice, no source)
LEAST_EXPONENT, MOST_EXPONENT = -1.5, 4.5  # a change that volts explain lies between these (-1: constant power by amps)


Point = tuple[int, float, float, float]  # time, volts (0: none), watts, watts at nominal volts


@dataclass(slots=True)
class Run:
    """A stretch of steady draw; watts as reported, volts 0 where there were none."""

    begun_ms: int
    ended_ms: int
    volts: list[float] = field(default_factory=list)
    watts: list[float] = field(default_factory=list)
    readings: int = 0  # in all, also those that were dropped
    stride: int = 1
    peak_w: float = 0.0  # at nominal volts, of its start
    start_ms: int = 0  # how long its start took
    from_w: float | None = None  # the steady draw before, at nominal volts; None: its begin was not seen
    ended: bool = False  # its end was seen


@dataclass(frozen=True, slots=True)
class Edge:
    """From one steady draw to another, watts at nominal volts."""

    channel: str
    from_w: float
    to_w: float
    begun_ms: int
    settled_ms: int
    raw_w: float  # the new draw as reported, and at which volts (0: none)
    volts: float
    diluted: bool  # one reading stood between the two: a mean over the period, or a load that takes its time


@dataclass(slots=True)
class Channel:
    """What one way reads."""

    circuit: str
    nominal_v: float
    exponent: float
    step_w: float  # the resolution, at nominal volts
    nothing_w: float  # up to this it draws nothing
    gap_ms: int  # a longer silence ends a run
    pair_ms: int  # amps are paired with volts no older than this
    volts: float | None = None
    volts_ms: int = -(10**15)
    last_ms: int | None = None  # of a sample
    by_amps: bool = False
    odd_watts: int = 0  # reported watts that are not volts x amps within 2 %
    good_watts: int = 0
    periods: list[int] = field(default_factory=list)
    steps: list[float] = field(default_factory=list)  # distinct amps seen, for the resolution
    tail: list[tuple[int, float]] = field(default_factory=list)
    runs: list[Run] = field(default_factory=list)
    present: Run | None = None
    recent: list[Point] = field(default_factory=list)  # of the present run, the last
    odd: list[Point] = field(default_factory=list)  # off it, one at most
    before_w: float | None = None
    restless_ms: int | None = None  # no steady run since
    restless_from_w: float | None = None  # the steady draw before that
    loose_v: list[float] = field(default_factory=list)
    loose_w: list[float] = field(default_factory=list)
    negative: int = 0  # readings of a flow back
    zero_until_ms: int | None = None  # the first reading under volts: what came before it was nothing

    @property
    def settled(self) -> bool:
        return self.present is not None and len(self.recent) >= SETTLED

    @property
    def steady_w(self) -> float | None:
        """The present steady draw at nominal volts."""
        return _mean(self.recent) if self.settled else None

    @property
    def draws(self) -> bool:
        return bool(self.recent) and _mean(self.recent[-3:]) > self.nothing_w

    def take(self, reading: Reading) -> Edge | None:
        """One reading; an edge where a new steady draw has been found."""
        time_ms = reading.time_ms
        if reading.volts is not None:
            self.volts, self.volts_ms = reading.volts, time_ms
            if self.zero_until_ms is None and reading.volts >= 1.0:
                self.zero_until_ms = time_ms if self.tail else 0
        volts = self.volts if self.volts is not None and time_ms - self.volts_ms <= self.pair_ms else None
        if reading.amps is not None:
            self.by_amps = True
            self._note_amps(time_ms, reading.amps)
            watts = reading.amps * (volts if volts is not None else self.nominal_v)
            if reading.watts is not None:
                self._check_watts(reading.watts, watts, volts)
        elif reading.watts is not None and not self.by_amps:
            watts = reading.watts
        else:
            if reading.watts is not None and self.tail and self.tail[-1][0] == time_ms and volts is not None:
                self._check_watts(reading.watts, self.tail[-1][1] * volts, volts)
            return None
        if self.last_ms is not None:
            if time_ms <= self.last_ms:
                return None
            if len(self.periods) < KEPT:
                self.periods.append(time_ms - self.last_ms)
            if time_ms - self.last_ms > self.gap_ms:
                self.cut()
        self.last_ms = time_ms
        return self._sample(time_ms, volts or 0.0, watts, at_nominal(watts, volts, self.nominal_v, self.exponent))

    def _note_amps(self, time_ms: int, amps: float) -> None:
        self.tail.append((time_ms, amps))
        del self.tail[:-TAIL]
        self.negative += amps * self.nominal_v < -self.nothing_w
        if len(self.steps) < 200 and amps not in self.steps:
            self.steps.append(amps)

    def _check_watts(self, watts: float, reckoned: float, volts: float | None) -> None:
        if volts is not None and abs(reckoned) > 5.0:
            if abs(watts - reckoned) <= 0.02 * abs(reckoned) + 0.5 * self.step_w:  # trade practice: within 2 %
                self.good_watts += 1
            else:
                self.odd_watts += 1

    def cut(self) -> None:
        """Nothing is known of what follows: the next run begins unseen."""
        self._close(ended=False)
        self.before_w, self.odd = None, []

    def forget(self) -> None:
        """Measure this way anew."""
        self.runs, self.present, self.recent, self.odd = [], None, [], []
        self.before_w, self.restless_ms, self.loose_v, self.loose_w = None, None, [], []

    def mean_a(self, from_ms: int, to_ms: int) -> float | None:
        """Mean of the amps measured from … to …; None: there were fewer than two."""
        found = [amps for time_ms, amps in self.tail if from_ms <= time_ms <= to_ms]
        return fmean(found) if len(found) >= 2 else None

    # The cutting.

    def _sample(self, time_ms: int, volts: float, watts: float, nominal_w: float) -> Edge | None:
        if self.restless_ms is not None and nominal_w > self.nothing_w and len(self.loose_w) < KEPT:
            self.loose_v.append(volts)
            self.loose_w.append(watts)
        if self.present is None:
            self.present = Run(time_ms, time_ms)
        point = (time_ms, volts, watts, nominal_w)
        if len(self.recent) < SETTLED:
            return self._young(point)
        mean, spread = self._stand()
        if abs(nominal_w - mean) > max(QUICK_SD * spread, 1.2 * self.step_w, 0.06 * max(abs(mean), abs(nominal_w))):
            return self._off(point, mean)
        self.odd = []
        self._add(point)
        return self._calm() or self._shifted()

    def _stand(self) -> tuple[float, float]:
        mean = _mean(self.recent)
        return mean, max(_sd(self.recent), self.step_w / sqrt(12.0), 0.004 * abs(mean))

    def _off(self, point: Point, mean: float) -> Edge | None:
        self.odd.append(point)
        if len(self.odd) < 2:
            return None
        if (self.odd[0][3] > mean) != (point[3] > mean):
            self.odd = self.odd[-1:]  # once above and once below: two odd readings, no new draw
            return None
        moved, self.odd = self.odd, []
        return self._anew(moved)

    def _anew(self, moved: list[Point]) -> Edge | None:
        """A new run begins with these readings."""
        self.before_w = _mean(self.recent)
        self._close(ended=True)
        self.present = Run(moved[0][0], moved[0][0], from_w=self.before_w)
        edge = None
        for point in moved:
            edge = self._young(point) or edge
        return edge

    def _young(self, point: Point) -> Edge | None:
        run, nominal_w = self.present, point[3]
        assert run is not None
        if self.recent:
            mean = _mean(self.recent)
            if abs(nominal_w - mean) > max(2.0 * self.step_w, 0.06 * max(abs(mean), abs(nominal_w))):
                run.peak_w = max(run.peak_w, *(each[3] for each in self.recent))
                run.volts, run.watts, run.readings, self.recent = [], [], 0, []
                run.start_ms = point[0] - run.begun_ms
                if run.start_ms >= RESTLESS_MS // 2 and self.restless_ms is None:
                    self.restless_ms, self.loose_v, self.loose_w = run.begun_ms, [], []
                    self.restless_from_w = run.from_w
        self._add(point)
        return self._settle() if len(self.recent) == SETTLED else None

    def _settle(self) -> Edge | None:
        run, from_w = self.present, self.before_w
        assert run is not None
        if from_w is None:
            return None
        to_w = _mean(self.recent)
        if self._by_volts(run):
            old = self.runs.pop()
            old.volts += run.volts
            old.watts += run.watts
            old.readings += run.readings
            old.ended_ms, old.ended, self.present, self.before_w = run.ended_ms, False, old, old.from_w
            return None
        least = max(0.08 * max(abs(from_w), abs(to_w)), self.step_w)
        if self.restless_ms is not None or abs(to_w - from_w) < least:
            return None
        diluted = bool(run.start_ms) and min(from_w, to_w) + least < run.peak_w < max(from_w, to_w) - least
        return self._edge(from_w, to_w, diluted=diluted)

    def _by_volts(self, run: Run) -> bool:
        """Did the draw move as a load's does when its volts move?"""
        old = self.runs[-1] if self.runs else None
        if old is None or len(old.watts) < SETTLED:
            return False
        v0, v1 = fmean(old.volts[-SETTLED:]), fmean(run.volts[-SETTLED:])
        w0, w1 = fmean(old.watts[-SETTLED:]), fmean(run.watts[-SETTLED:])
        if min(v0, v1) < 0.5 * self.nominal_v or min(w0, w1) <= self.nothing_w:
            return False
        swing = log(v1 / v0)
        return abs(swing) >= SWING and LEAST_EXPONENT <= log(w1 / w0) / swing <= MOST_EXPONENT

    def _shifted(self) -> Edge | None:
        """A shift smaller than one reading's noise: do the last few together stand elsewhere?"""
        n, run = len(self.recent), self.present
        if n < 10 or run is None:
            return None
        old = self.recent[:-5]
        mean, spread = _mean(old), max(_sd(old), self.step_w / sqrt(12.0))
        shift = _mean(self.recent[-5:]) - mean
        if abs(shift) <= max(SLOW_SD * spread * sqrt(0.2 + 1.0 / len(old)), 0.6 * self.step_w, 0.025 * abs(mean)):
            return None
        at = max(range(3, 8), key=lambda j: abs(_mean(self.recent[-j:]) - _mean(self.recent[:-j])) * sqrt(j))
        moved = self.recent[-at:]
        gone = at // run.stride
        if gone:
            del run.volts[-gone:], run.watts[-gone:]
        del self.recent[-at:]
        run.readings -= at
        run.ended_ms = self.recent[-1][0]
        return self._anew(moved)

    def _add(self, point: Point) -> None:
        run = self.present
        assert run is not None
        run.ended_ms = point[0]
        run.readings += 1
        if run.readings % run.stride == 0:
            run.volts.append(point[1])
            run.watts.append(point[2])
            if len(run.watts) > KEPT:
                run.volts, run.watts, run.stride = run.volts[::2], run.watts[::2], run.stride * 2
        self.recent.append(point)
        del self.recent[:-RECENT]

    def _calm(self) -> Edge | None:
        """A steady run after restlessness: the edge is from what was drawn before that."""
        run, from_w = self.present, self.restless_from_w
        if run is None or self.restless_ms is None or run.readings < STEADY:
            return None
        self.restless_ms, self.loose_v, self.loose_w = None, [], []
        to_w = _mean(self.recent)
        if from_w is None or abs(to_w - from_w) < max(0.08 * max(abs(from_w), abs(to_w)), self.step_w):
            return None
        return self._edge(from_w, to_w, diluted=False)

    def _edge(self, from_w: float, to_w: float, *, diluted: bool) -> Edge:
        run = self.present
        assert run is not None
        raw_w, volts = fmean(point[2] for point in self.recent), fmean(point[1] for point in self.recent)
        return Edge(self.circuit, from_w, to_w, run.begun_ms, run.ended_ms, raw_w, volts, diluted)

    def _close(self, *, ended: bool) -> None:
        run = self.present
        if run is not None:
            run.ended = ended
            drew = self.draws
            if run.readings < STEADY and drew and self.restless_ms is None and run.from_w is not None:
                self.restless_ms, self.restless_from_w = run.begun_ms, run.from_w
                self.loose_v, self.loose_w = list(run.volts), list(run.watts)
            elif not drew or not ended:
                self.restless_ms = None
            self.runs.append(run)
        self.present, self.recent = None, []


def _mean(points: list[Point]) -> float:
    return sum(point[3] for point in points) / len(points)


def _sd(points: list[Point]) -> float:
    """statistics.pstdev is exact and thirty times as slow."""
    mean = sum(point[3] for point in points) / len(points)
    return sqrt(sum((point[3] - mean) ** 2 for point in points) / len(points))
