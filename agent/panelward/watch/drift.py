"""departed-from-record: a load that needs more or less power, day by day, than on the day it was handed over. Group `drift`.

Each metric (its standby, each measured level) has one value a day: the median of its watts at nominal volts while it
stands in that level. Its distance from the sealed record, less what the instrument and the air may explain, in standard
deviations, goes into two cumulative sums. The record is the anchor, never yesterday: a slow fault teaches it nothing.
"""

from __future__ import annotations

from math import sqrt
from typing import Any

from panelward.ratings.behaviour import at_nominal, exponent_of
from panelward.records import GROUP_OF, Circuit, Commissioned, Condition, Figure, Measured, Supply
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
AIR = 0.09  # a fan's power with the air's density, 5 to 30 °C, where the air is not known: 303 K / 278 K
THIN = 0.18  # less air 2000 m up, where a vehicle may stand for a week: 1.007 of 1.225 kg/m3 (ISO 2533:1975)
LEAST_READINGS = 20  # fewer make no day: common practice, no source
KEPT_DAYS = 28  # for the slope
ANEW_DAYS = 7  # after a replacement the first days stand in for the record
BACK_DAYS = 3  # days in a row inside that end it
UNJUDGED = ("compressor", "air-heater", "socket", "inverter", "charger")  # their draw goes with heat or with what hangs on it
AHEAD = 0.30  # what the forecast asks for
SURE = 2.0  # no forecast where its late end is more than so many times its early one


class Metric:
    """One draw of the record."""

    __slots__ = ("allowed", "anew", "bins", "cusum", "days", "high_w", "inside", "low_w", "n", "name", "ref_w", "sd", "thin")

    def __init__(
        self, measured: Measured, low_w: float, high_w: float, step_w: float, air: float, thin: float, zero_w: float
    ) -> None:
        self.name, self.ref_w, self.low_w, self.high_w = measured.name, measured.watts, low_w, high_w
        self.sd = max(SD, step_w / 2.0 / measured.watts)
        self.allowed = GAIN + air + zero_w / measured.watts
        self.thin = thin  # allowed below it besides
        self.cusum = Cusum()
        self.bins, self.n = [0] * BINS, 0
        self.days: list[list[float]] = []  # day, its share above the record
        self.inside = 0
        self.anew: list[float] | None = None  # values since a replacement, until there are enough of them

    def close(self, day: int) -> bool:
        """A day is over; whether it gave a value."""
        n, bins = self.n, self.bins
        if n == 0:
            return False
        self.bins, self.n = [0] * BINS, 0
        if n < LEAST_READINGS:
            return False
        quarter_w, median_w, most_w = (self._quantile(bins, n * q) for q in (0.25, 0.5, 0.75))
        if most_w - quarter_w > SPREAD * median_w:
            return False
        if self.anew is not None:
            self.anew.append(median_w)
            if len(self.anew) < ANEW_DAYS:
                return False
            self.ref_w, self.anew = sorted(self.anew)[ANEW_DAYS // 2], None
            return False
        off = median_w / self.ref_w - 1.0
        allowed = self.allowed + (self.thin if off < 0.0 else 0.0)
        if abs(off) > allowed + self.sd and abs(off - (self.days[-1][1] if self.days else 0.0)) > STEP:
            return False
        beyond = max(0.0, abs(off) - allowed) * (1.0 if off > 0 else -1.0)
        self.cusum.take(max(-CLIP, min(CLIP, beyond / self.sd)))
        self.inside = self.inside + 1 if abs(off) <= allowed + self.sd else 0
        self.days = [*self.days[1 - KEPT_DAYS :], [float(day), off]]
        return True

    def _quantile(self, bins: list[int], wanted: float) -> float:
        seen, at = 0, 0
        while seen + bins[at] < wanted and at < BINS - 1:
            seen += bins[at]
            at += 1
        return self.low_w + (at + (wanted - seen) / max(1, bins[at])) / BINS * (self.high_w - self.low_w)

    def share(self) -> float:
        """Where it stands: the median of the last three days."""
        last = sorted(off for _, off in self.days[-3:])
        return last[len(last) // 2]

    def weeks(self) -> float | None:
        """Weeks until it stands at +30 %, by Sen's slope and its 95 % interval (1968); None: no such thing can be said."""
        days, now = self.days, self.share()
        n = len(days)
        slopes = sorted((b[1] - a[1]) / (b[0] - a[0]) for i, a in enumerate(days) for b in days[i + 1 :] if b[0] > a[0])
        if n < 8 or now >= AHEAD:
            return None
        half = 1.96 * sqrt(n * (n - 1) * (2 * n + 5) / 18.0) / 2.0  # of the ranks of the slopes (Kendall)
        middle = len(slopes) / 2.0
        low, high = slopes[max(0, round(middle - half))], slopes[min(len(slopes) - 1, round(middle + half))]
        if low <= 0.0 or high > SURE * low:
            return None
        return (AHEAD - now) / slopes[len(slopes) // 2] / 7.0


class Drift:
    """One circuit against its record."""

    def __init__(
        self, bench: Bench, panel: Panel, circuit: Circuit, supply: Supply, commissioned: Commissioned | None,
        ambient_c: float | None, h: float,
    ) -> None:  # fmt: skip
        self._bench, self._panel, self._circuit, self._h = bench, panel, circuit, h
        self._nominal_v = supply.nominal_v
        step_w = circuit.sense.resolution_a * supply.nominal_v
        fan = [load.kind for load in circuit.loads] == ["fan"]
        self._ambient_c = ambient_c if fan else None
        self._exponent = 0.0
        self.metrics: list[Metric] = []
        if commissioned is not None and commissioned.skipped is None and len(circuit.loads) == 1:
            behaves = exponent_of(circuit.loads[0].behaves)
            self._exponent = behaves if commissioned.exponent is None else commissioned.exponent
            named = sorted(metrics_of(circuit, commissioned), key=lambda each: each.watts)
            named = [each for each in named if each.watts >= LEAST_STEPS * step_w]
            for place, each in enumerate(named):  # a band ends half-way to its neighbours
                low_w, high_w = LEAST * each.watts, MOST * each.watts
                if place:
                    low_w = max(low_w, sqrt(each.watts * named[place - 1].watts))
                if place + 1 < len(named):
                    high_w = min(high_w, sqrt(each.watts * named[place + 1].watts))
                air = AIR if fan and ambient_c is None else 0.0
                zero_w = ZERO_A * supply.nominal_v
                self.metrics.append(Metric(each, low_w, high_w, step_w, air, THIN if fan else 0.0, zero_w))
        self.judged = bool(self.metrics)
        self._least_w = min((m.low_w for m in self.metrics), default=0.0)
        self.day = 0
        self.active: str | None = None  # the metric it is about
        self.since_ms = 0

    def take(self, sample: Sample) -> None:
        """One sample. A day is closed by the first sample of a later one."""
        day = (sample.time_ms + self._panel.shift_ms) // DAY_MS
        if day > self.day:
            self._close(sample)
            self.day = day
        watts = abs(sample.watts)
        if watts < 0.4 * self._least_w or day < self.day:
            return
        watts = at_nominal(watts, sample.volts, self._nominal_v, self._exponent)
        outside_c = self._panel.outside_c
        if self._ambient_c is not None and outside_c is not None:  # a fan moves volume: watts go with density, with 1/T
            watts *= (273.15 + outside_c) / (273.15 + self._ambient_c)
        for metric in self.metrics:
            if metric.low_w <= watts < metric.high_w:
                metric.bins[int(BINS * (watts - metric.low_w) / (metric.high_w - metric.low_w))] += 1
                metric.n += 1
                return

    def _close(self, sample: Sample) -> None:
        told = [metric for metric in self.metrics if metric.close(self.day)]
        if self.active is not None:
            metric = next((m for m in told if m.name == self.active), None)
            if metric is not None and metric.inside >= BACK_DAYS:
                self._emit("ends", metric, sample.received_ms)
                metric.cusum, self.active = Cusum(), None
            return
        over = [metric for metric in told if abs(metric.cusum.most) > self._h]
        if over:
            worst = max(over, key=lambda m: abs(m.cusum.most))
            self.active, self.since_ms = worst.name, sample.time_ms
            self._emit("begins", worst, sample.received_ms)

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
            [m.name, m.cusum.high, m.cusum.low, list(m.bins), m.n, [list(d) for d in m.days], m.inside, m.anew, m.ref_w]
            for m in self.metrics
        ]
        return {"day": self.day, "active": self.active, "since_ms": self.since_ms, "metrics": metrics}

    def restore(self, state: dict[str, Any]) -> None:
        self.day, self.active, self.since_ms = state["day"], state["active"], state["since_ms"]
        for metric, kept in zip(self.metrics, state["metrics"], strict=True):
            _, metric.cusum.high, metric.cusum.low, bins, metric.n, days, metric.inside, metric.anew, metric.ref_w = kept
            metric.bins, metric.days = list(bins), [list(d) for d in days]

    def replaced(self, now_ms: int) -> None:
        """Another part does its work now: the record is of the old one. The first days of the new one stand in for it."""
        if self.active is not None:
            self._emit("withdrawn", next(m for m in self.metrics if m.name == self.active), now_ms)
        self.active = None
        for metric in self.metrics:
            metric.cusum, metric.days, metric.inside, metric.anew = Cusum(), [], 0, []
            metric.bins, metric.n = [0] * BINS, 0


def metrics_of(circuit: Circuit, commissioned: Commissioned) -> list[Measured]:
    """What of its record is judged: its standby and levels, the provisional ones not."""
    levels = () if any(load.kind in UNJUDGED for load in circuit.loads) else commissioned.levels
    both = (*((commissioned.standby,) if commissioned.standby is not None else ()), *levels)
    return [each for each in both if not each.provisional and each.watts > 0.0]
