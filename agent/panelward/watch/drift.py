"""departed-from-record: a load that needs more or less power, day by day, than on the day it was handed over. Group `drift`.

Each metric (its standby, each measured level) has one value a day: the median of its watts at nominal volts while it
stands in that level. Its distance from the sealed record, less what the instrument, the air and an exponent that was not
fitted may explain, in standard deviations, goes into two cumulative sums. What several circuits of one monitor do
together is no circuit's own. The record is the anchor, never yesterday: a slow fault teaches it nothing.
"""

from __future__ import annotations

import itertools
from math import sqrt
from typing import Any

from panelward.ratings.behaviour import at_nominal, exponent_of
from panelward.records import GROUP_OF, Circuit, Commissioned, Condition, Figure, Measured, Supply
from panelward.watch.air import AIR, Around, of_compressor, of_fan, warmth
from panelward.watch.bench import Bench
from panelward.watch.cusum import CLIP, Cusum
from panelward.watch.panel import Panel, Sample

DAY_MS = 86_400_000
BINS = 64  # of a day's values between half and twice the record: 2.2 % each, finer than a day's own spread
LEAST, MOST = 0.65, 1.5  # of the record: farther away it is another level or another fault (off-profile)
ZERO_A = 0.01  # a channel's zero may have moved by so much (trade practice, no source: 0.5 mA/K over 20 K)
LEAST_STEPS = 5.0  # of resolution, that a level must amount to
SPREAD = 0.12  # between a day's quartiles: two settings are mixed in it, and its median says nothing of one
STEP = 0.10  # from one day's value to the next: somebody changed a setting; what wears creeps
SD = 0.03  # of a day's median about the record: trade practice, no source
GAIN = 0.02  # the record and the meter may be wrong by so much without any drift
THIN = 0.18  # less air 2000 m up, where a vehicle may stand for a week: 1.007 of 1.225 kg/m3 (ISO 2533:1975)
LEAST_READINGS = 20  # fewer make no day: common practice, no source
KEPT_DAYS = 28  # for the slope
ANEW_DAYS = 7  # after a replacement the first days stand in for the record
BACK_DAYS = 3  # days in a row inside that end it
TAPS = 0.15  # a pump's draw goes with how far people open the taps: 0.83 to 1.15 of its own (trade practice, no source)
UNFITTED = 0.3  # an exponent that was not fitted may be wrong by so much (a fan's amps: V^1.3 to V^1.8; no source)
STANDBY_UNFITTED = 1.0  # … and of a standby nobody fits one: from constant power to constant current
HELD_MS = 1800_000  # a draw published on change stands so long at the most: its end may be lost
EVEN_DAYS, EVEN_SPAN = 10, 14  # values, and the days from first to last, before a rise is called even
EVEN = 0.003  # a day: a season is slower (20 K in two months: 0.1 %), a front is over in days
EVEN_LEAST, EVEN_MOST = 0.15, 0.55  # of the whole rise, from one quarter of the days to the next: a third each were it straight
TOGETHER = 3  # other circuits of its monitor, whose median is what all of them do
COMMON = 0.08  # more than this is nothing that a monitor does unnoticed
RECENT_DAYS = 7
UNJUDGED = ("air-heater", "socket", "inverter", "charger")  # their draw goes with heat or with what hangs on it
AHEAD = 0.30  # what the forecast asks for
SURE = 2.0  # no forecast where its late end is more than so many times its early one


class Metric:
    """One draw of the record."""

    __slots__ = (
        "above", "allowed", "anew", "below", "bins", "cusum", "days", "high_w", "inside", "low_w", "n", "name", "ref_w", "sd",
        "taps", "thin", "unknown",
    )  # fmt: skip

    def __init__(self, measured: Measured, low_w: float, high_w: float, step_w: float, kind: str | None, zero_w: float) -> None:
        self.name, self.ref_w, self.low_w, self.high_w = measured.name, measured.watts, low_w, high_w
        self.sd = max(SD, step_w / 2.0 / measured.watts)
        self.allowed = GAIN + zero_w / measured.watts
        self.thin = THIN if kind == "fan" else 0.0  # allowed below it besides
        self.taps = TAPS if kind == "pump" else 0.0  # … and either way
        self.cusum = Cusum()
        self.bins, self.n = [0] * BINS, 0
        self.above = self.below = 0.0  # sums over the day of what its surroundings may explain
        self.unknown = 0.0  # that share of the last day's, where it was more than a season's
        self.days: list[list[float]] = []  # day, its share above the record less what is common, and with it
        self.inside = 0
        self.anew: list[float] | None = None  # values since a replacement, until there are enough of them

    def take(self, watts: float, count: int, above: float, below: float) -> None:
        self.bins[int(BINS * (watts - self.low_w) / (self.high_w - self.low_w))] += count
        self.n += count
        self.above += count * above
        self.below += count * below

    def close(self, day: int, common: float) -> bool:
        """A day is over; whether it gave a value. `common`: what all circuits of its monitor are above their records by."""
        n, bins, above, below = self.n, self.bins, self.above, self.below
        if n == 0:
            return False
        self.clear()
        if n < LEAST_READINGS:
            return False
        quarter_w, median_w, most_w = (self._quantile(bins, n * q) for q in (0.25, 0.5, 0.75))
        if most_w - quarter_w > (SPREAD + self.taps) * median_w:
            return False
        if self.anew is not None:
            self.anew.append(median_w)
            if len(self.anew) < ANEW_DAYS:
                return False
            self.ref_w, self.anew = sorted(self.anew)[ANEW_DAYS // 2], None
            return False
        whole = median_w / self.ref_w - 1.0
        off = max(0.0, whole - max(0.0, common)) if whole > 0.0 else min(0.0, whole - min(0.0, common))
        room = self.taps + (above / n if off > 0.0 else below / n + self.thin)
        allowed = self.allowed + room
        if abs(off) > allowed + self.sd and abs(off - (self.days[-1][1] if self.days else 0.0)) > STEP:
            return False
        beyond = max(0.0, abs(off) - allowed) * (1.0 if off > 0 else -1.0)
        self.cusum.take(max(-CLIP, min(CLIP, beyond / self.sd)))
        self.unknown = max(0.0, room - AIR) if off > 0.0 else 0.0
        self.inside = self.inside + 1 if abs(off) <= allowed - self.unknown + self.sd else 0
        self.days = [*self.days[1 - KEPT_DAYS :], [float(day), round(off, 5), round(whole, 5)]]
        return True

    def clear(self) -> None:
        """Of the day so far."""
        self.bins, self.n = [0] * BINS, 0
        self.above = self.below = 0.0

    def rises(self) -> bool:
        """Where no probe tells how warm the air is, or how people tap: risen by more than a season makes, and evenly, as no
        front and no guest does."""
        days = self.days
        if not self.unknown or len(days) < EVEN_DAYS or days[-1][0] - days[0][0] < EVEN_SPAN:
            return False
        now, n = self.share(), len(days)
        risen = now - sorted(each[1] for each in days[:3])[1]
        if now < self.allowed or risen < AIR + self.sd or risen < EVEN * (days[-1][0] - days[0][0]):
            return False
        quarters = [sorted(each[1] for each in days[n * q // 4 : n * (q + 1) // 4]) for q in range(4)]
        stands = [each[len(each) // 2] for each in quarters]
        steps = [after - before for before, after in itertools.pairwise(stands)]
        return min(steps) >= EVEN_LEAST * sum(steps) and max(steps) <= EVEN_MOST * sum(steps)

    def _quantile(self, bins: list[int], wanted: float) -> float:
        seen, at = 0, 0
        while seen + bins[at] < wanted and at < BINS - 1:
            seen += bins[at]
            at += 1
        return self.low_w + (at + (wanted - seen) / max(1, bins[at])) / BINS * (self.high_w - self.low_w)

    def share(self) -> float:
        """Where it stands: the median of the last three days."""
        last = sorted(each[1] for each in self.days[-3:])
        return last[len(last) // 2]

    def _slope(self) -> tuple[float, float, float]:
        """A day, by Sen's slope with its 95 % interval (1968): least, middle, most."""
        days = self.days
        n = len(days)
        slopes = sorted((b[1] - a[1]) / (b[0] - a[0]) for i, a in enumerate(days) for b in days[i + 1 :] if b[0] > a[0])
        half = 1.96 * sqrt(n * (n - 1) * (2 * n + 5) / 18.0) / 2.0  # of the ranks of the slopes (Kendall)
        middle = len(slopes) / 2.0
        least, most = max(0, round(middle - half)), min(len(slopes) - 1, round(middle + half))
        return slopes[least], slopes[len(slopes) // 2], slopes[most]

    def weeks(self) -> float | None:
        """Weeks until it stands at +30 %; None: no such thing can be said."""
        now = self.share()
        if len(self.days) < 8 or now >= AHEAD:
            return None
        low, slope, high = self._slope()
        return None if low <= 0.0 or high > SURE * low else (AHEAD - now) / slope / 7.0


class Drift:
    """One circuit against its record."""

    def __init__(
        self, bench: Bench, panel: Panel, circuit: Circuit, supply: Supply, commissioned: Commissioned | None,
        ambient_c: float | None, h: float, period_ms: int = 0, beside: list[Drift] | None = None,
    ) -> None:  # fmt: skip
        self._bench, self._panel, self._circuit, self._h = bench, panel, circuit, h
        self._nominal_v, self._ambient_c = supply.nominal_v, ambient_c
        step_w = circuit.sense.resolution_a * supply.nominal_v
        kind = circuit.loads[0].kind if len(circuit.loads) == 1 else None
        self._kind = kind if kind in ("fan", "compressor") else None  # whose watts go with the air
        self._period_ms = period_ms if circuit.sense.publishes == "on-change" else 0
        self._beside = beside if beside is not None else []  # all of its monitor's, itself too
        self._exponent = self._unfitted = 0.0
        self._standby_w = 0.0  # below it, it stands by
        self.metrics: list[Metric] = []
        if commissioned is not None and commissioned.skipped is None and kind is not None:
            behaves = exponent_of(circuit.loads[0].behaves)
            self._exponent = behaves if commissioned.exponent is None else commissioned.exponent
            self._unfitted = UNFITTED if commissioned.exponent is None else 0.0
            named = sorted(metrics_of(circuit, commissioned), key=lambda each: each.watts)
            named = [each for each in named if each.watts >= LEAST_STEPS * step_w]
            for place, each in enumerate(named):  # a band ends half-way to its neighbours
                low_w, high_w = LEAST * each.watts, MOST * each.watts
                if place:
                    low_w = max(low_w, sqrt(each.watts * named[place - 1].watts))
                if place + 1 < len(named):
                    high_w = min(high_w, sqrt(each.watts * named[place + 1].watts))
                if each is commissioned.standby:
                    self._standby_w = high_w
                does = kind if each is not commissioned.standby else None
                self.metrics.append(Metric(each, low_w, high_w, step_w, does, ZERO_A * supply.nominal_v))
        self.judged = bool(self.metrics)
        self._least_w = min((m.low_w for m in self.metrics), default=0.0)
        self.day = 0
        self.held: tuple[int, float, float, float, int] | None = None  # what stands since, published on change
        self.active: str | None = None  # the metric it is about
        self.since_ms = 0
        if self.judged:
            self._beside.append(self)

    def take(self, sample: Sample) -> None:
        """One sample. A day is closed by the first sample of a later one."""
        if self.held is not None:
            place, watts, above, below, since_ms = self.held
            self.held = None
            count = min(HELD_MS, sample.time_ms - since_ms) // self._period_ms - 1
            if count > 0:
                self.metrics[place].take(watts, count, above, below)
        day = (sample.time_ms + self._panel.shift_ms) // DAY_MS
        if day > self.day:
            self._close(sample)
            self.day = day
        watts = abs(sample.watts)
        if watts < 0.4 * self._least_w or day < self.day:
            return
        volts = sample.volts
        off_nominal = abs(volts / self._nominal_v - 1.0) if volts is not None else 0.0
        above = below = STANDBY_UNFITTED * off_nominal
        if watts >= self._standby_w:
            watts = at_nominal(watts, volts, self._nominal_v, self._exponent)
            above = below = self._unfitted * off_nominal
            if self._kind is not None:
                air = self._air(sample.received_ms)
                if air is None:
                    return
                watts, above, below = watts / air.factor, above + air.above, below + air.below
        for place, metric in enumerate(self.metrics):
            if metric.low_w <= watts < metric.high_w:
                metric.take(watts, 1, above, below)
                if self._period_ms:
                    self.held = place, watts, above, below, sample.time_ms
                return

    def _air(self, now_ms: int) -> Around | None:
        """What the air does to its draw beside the air of the record; None: that can't be told."""
        if self._kind == "fan":
            if self._ambient_c is None:
                return Around(1.0, AIR, AIR)
            return of_fan(self._ambient_c, warmth(self._panel, self._circuit.id, now_ms, beside=True))
        warm = warmth(self._panel, self._circuit.id, now_ms, beside=False)
        return None if self._ambient_c is None or warm is None else of_compressor(self._ambient_c, warm)

    def _close(self, sample: Sample) -> None:
        common = self._common()
        told = [metric for metric in self.metrics if metric.close(self.day, common)]
        if self.active is not None:
            metric = next((m for m in told if m.name == self.active), None)
            if metric is not None and metric.inside >= BACK_DAYS:
                self._emit("ends", metric, sample.received_ms)
                metric.cusum, self.active = Cusum(), None
            return
        over = [metric for metric in told if abs(metric.cusum.most) > self._h or metric.rises()]
        if over:
            worst = max(over, key=lambda m: abs(m.cusum.most))
            self.active, self.since_ms = worst.name, sample.time_ms
            self._emit("begins", worst, sample.received_ms)

    def _common(self) -> float:
        """What all circuits of its monitor are off their records by: a gain that ages, or a season that moves them all."""
        offs = sorted(off for other in self._beside if other is not self and (off := other.latest(self.day)) is not None)
        return max(-COMMON, min(COMMON, offs[len(offs) // 2])) if len(offs) >= TOGETHER else 0.0

    def latest(self, day: int) -> float | None:
        """By what share it is off its record by now, all its draws together."""
        offs = sorted(metric.days[-1][2] for metric in self.metrics if metric.days and day - metric.days[-1][0] <= RECENT_DAYS)
        return offs[len(offs) // 2] if offs else None

    def _emit(self, edge: str, metric: Metric, now_ms: int) -> None:
        share = metric.share()
        weeks = metric.weeks() if share > 0 else None
        figures: list[tuple[str, Figure]] = [("percent", abs(round(100 * share))), ("level", metric.name)]
        if weeks is not None:
            figures.append(("weeks", max(1, round(weeks))))
        of_record = (("level", metric.name), ("watts", metric.ref_w), ("now_w", metric.ref_w * (1.0 + share)))
        self._bench.found.append(
            Condition(
                subject="circuit", subject_id=self._circuit.id, group=GROUP_OF["departed-from-record"], edge=edge,
                at_ms=now_ms, since_ms=self.since_ms, kind="departed-from-record", priority="low",
                cause="needs-more" if share > 0 else "needs-less", figures=tuple(figures),
                evidence=(("of-the-record", of_record),) if edge == "begins" else (),
            )
        )  # fmt: skip

    def save(self) -> dict[str, Any]:
        metrics = [
            [m.name, m.cusum.high, m.cusum.low, list(m.bins), m.n, m.above, m.below, m.unknown, [list(d) for d in m.days],
             m.inside, m.anew, m.ref_w]
            for m in self.metrics
        ]  # fmt: skip
        held = list(self.held) if self.held is not None else None
        return {"day": self.day, "active": self.active, "since_ms": self.since_ms, "held": held, "metrics": metrics}

    def restore(self, state: dict[str, Any]) -> None:
        self.day, self.active, self.since_ms = state["day"], state["active"], state["since_ms"]
        if state["held"] is not None:
            place, watts, above, below, since_ms = state["held"]
            self.held = place, watts, above, below, since_ms
        for m, kept in zip(self.metrics, state["metrics"], strict=True):
            _, m.cusum.high, m.cusum.low, bins, m.n, m.above, m.below, m.unknown, days, m.inside, m.anew, m.ref_w = kept
            m.bins, m.days = list(bins), [list(d) for d in days]

    def replaced(self, now_ms: int) -> None:
        """Another part does its work now: the record is of the old one. The first days of the new one stand in for it."""
        if self.active is not None:
            self._emit("withdrawn", next(m for m in self.metrics if m.name == self.active), now_ms)
        self.active = self.held = None
        for metric in self.metrics:
            metric.cusum, metric.days, metric.inside, metric.anew = Cusum(), [], 0, []
            metric.clear()


def metrics_of(circuit: Circuit, commissioned: Commissioned) -> list[Measured]:
    """What of its record is judged: its standby and levels, the provisional ones not."""
    levels = () if any(load.kind in UNJUDGED for load in circuit.loads) else commissioned.levels
    both = (*((commissioned.standby,) if commissioned.standby is not None else ()), *levels)
    return [each for each in both if not each.provisional and each.watts > 0.0]
