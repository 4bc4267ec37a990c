"""A standby that has risen and stands there: hour by hour against what was measured or first learned, and then held.

An hour's floor is the least draw that it stands at for a fifth of it (minutes sampled, and their mean, so that a step's
dither counts). The anchor is the lowest floor of the first days; a sealed record bounds it, and stands in until there is
one. It is held: a drift is not followed, and a fault from day one stays unknown where no record knows better.

A rise is one that no law of the volts explains, beyond what the zero may have moved with warmth, and of more than one step
and a half: one step up may be next to nothing. It stands where its lowest hours are alike and none comes back to the
anchor: a large one for most of a night, a small one over two. A charge that tapers off has no hours alike, and a run of
people's comes back; what has stood as long before and ended by itself must outlast that.
"""

from __future__ import annotations

from math import ceil
from typing import TYPE_CHECKING, Any

from panelward.records import Circuit, Commissioned, Supply

if TYPE_CHECKING:
    from panelward.watch.panel import Panel, Sample

HOUR_MS, MINUTE_MS = 3600_000, 60_000
SEEN = 0.4  # of an hour's minutes, at the least
FLOOR = 0.2  # of an hour at its floor
WIDE_STEPS, WIDE = 2.0, 0.05  # readings of one stand: noise and rounding; the wiggle of a standby (common practice, no source)
ANCHOR_HOURS, ANCHOR_ALIKE = 24, 4  # hours that are learned from; at rest for so many
ANEW_HOURS = 168  # none in so many: the first ones are given up
RISE_A = 0.012  # what standbys do by themselves (common practice, no source)
RISE_STEPS = 1.4
RISE_SHARE = 0.05
SURE_A = 0.02  # never told below
ZERO_A_PER_K = 0.0005  # from memory
UNKNOWN_K, UNKNOWN_K_A_DAY, MOST_K = 15.0, 1.0, 40.0  # between the anchor's warmth and now's, where no probe knows it
LARGE_A = 0.07
LARGE_HOURS = 6  # most of a night
LEFT_ON_A, LEFT_ON_HOURS = 0.04, 8  # … of a socket or a charger: there a whole night says that something was left
NIGHTS_HOURS, SMALL_HOURS = 26, 10  # a small one: over two nights, alike in so many hours
SURE = 1.5
BACK = 0.5  # of the rise: below it, it rests
ALIKE_A, ALIKE = 0.008, 0.06
HABIT = 1.5  # times the longest that stood and ended
MOST_STOOD = 16  # hours of it: no habit hides what stands for a day
LEFT_A = 0.6  # more than this at a socket is somebody's use
END_READINGS, END_MS = 5, 120_000
KEPT = 48  # hours
LEFT_ON = ("socket", "charger")  # nobody's setting: what stands there all night was left
CHOSEN = ("fan", "light", "air-heater", "heater-element", "pump", "motor", "compressor", "inverter")


class Standby:
    """One circuit's floor. `take` is the hot path: one reading a minute counts."""

    def __init__(
        self, panel: Panel, circuit: Circuit, supply: Supply, commissioned: Commissioned | None, period_ms: int
    ) -> None:
        self._panel, self._nominal_v = panel, supply.nominal_v
        self._on_change = circuit.sense.publishes == "on-change"
        self._step_a = circuit.sense.resolution_a
        loads = circuit.loads
        kinds = {load.kind for load in loads}
        most = [load.standby_max_w or 1.5 * (load.always_draws_w or 0.0) for load in loads]
        measured = commissioned.standby if commissioned is not None and commissioned.skipped is None else None
        self._left_on = bool(loads) and kinds <= set(LEFT_ON)
        known = any(most) or measured is not None
        self.judged = bool(loads) and supply.kind == "dc" and (known or self._left_on) and "inverter" not in kinds
        self._standby_a = sum(most) / self._nominal_v if any(most) else None
        self._record_a: float | None = None
        self._record_zero_a = 0.0
        if measured is not None and not measured.provisional:
            self._record_a = measured.watts / self._nominal_v
            self._record_zero_a = abs(commissioned.zero_a or 0.0) if commissioned is not None else 0.0
        lowest = [level.watts * (1.0 - level.tolerance) for load in loads for level in load.levels]
        self._lowest_w = min(lowest, default=0.0)
        self._chosen = bool(kinds & set(CHOSEN))
        self._needed = max(2, round(SEEN * min(60, HOUR_MS // max(1, period_ms)) / 1.0))
        self.minute = -1  # the last that was counted
        self.rows: list[list[Any]] = []  # amps, watts, volts, minutes of this hour
        self.held: list[Any] | None = None  # on-change: what it said last
        self.first: list[list[Any]] = []  # floors until there is an anchor: amps, watts, volts
        self.anchor: list[Any] | None = None  # amps, watts, volts
        self.anchor_c: float | None = None
        self.anchor_hour = 0
        self.stand: list[list[float]] = []  # hour, rise, watts of what has not come back since
        self.stood = 0  # hours of the longest that ended
        self.rise_a: float | None = None  # of what stands, while it does
        self.told_a = 0.0
        self.since_ms = 0
        self.back = 0
        self.back_ms = 0

    def take(self, sample: Sample) -> bool:
        """One sample; whether an hour was closed by it."""
        minute = sample.time_ms // MINUTE_MS
        if minute <= self.minute:
            if self._on_change and self.minute >= 0 and minute == self.minute:
                self.held = [abs(sample.amps), abs(sample.watts), sample.volts]
            return False
        row = [abs(sample.amps), abs(sample.watts), sample.volts]
        closed = self.minute >= 0 and minute // 60 > self.minute // 60
        if self._on_change:
            closed = self.until(sample.time_ms)
            self.held = row
        elif closed:
            self._close()
            self.rows.append([*row, 1])
        else:
            self.rows.append([*row, 1])
        self.minute = minute
        return closed

    def until(self, time_ms: int) -> bool:
        """On-change: what it said last has held until now. Whether an hour was closed."""
        minute, closed = time_ms // MINUTE_MS, False
        if self.held is None or minute <= self.minute:
            return False
        if minute - self.minute > KEPT * 60:
            self.minute = minute - 60
        while self.minute < minute:
            upto = min(minute, (self.minute // 60 + 1) * 60)
            self.rows.append([*self.held, upto - self.minute])
            self.minute = upto
            if upto % 60 == 0:
                self._close(upto // 60 - 1)
                closed = True
        return closed

    def next_ms(self) -> int:
        """On-change: when its hour ends."""
        return (self.minute // 60 + 1) * HOUR_MS

    def _close(self, hour: int | None = None) -> None:
        rows, self.rows = self.rows, []
        hour = self.minute // 60 if hour is None else hour
        n = sum(row[3] for row in rows)
        if n < self._needed:
            return
        rows.sort(key=lambda row: row[0])
        wanted, at = FLOOR * n, 0
        while wanted > rows[at][3]:
            wanted -= rows[at][3]
            at += 1
        low_a = rows[at][0]
        for _ in range(2):
            wide_a = WIDE_STEPS * self._step_a + WIDE * low_a + 1e-9
            near = [row for row in rows if abs(row[0] - low_a) <= wide_a]
            count = sum(row[3] for row in near)
            low_a = sum(row[0] * row[3] for row in near) / count
        watts = sum(row[1] * row[3] for row in near) / count
        volts = sorted(row[2] for row in near if row[2] is not None)
        self._hour(hour, low_a, watts, volts[len(volts) // 2] if 2 * len(volts) > len(near) else None)

    # The anchor.

    def _hour(self, hour: int, amps: float, watts: float, volts: float | None) -> None:
        if self.anchor is None:
            self._learn(hour, amps, watts, volts)
            if self._record_a is None:
                return
        self._judge(hour, amps, watts, volts)

    def _learn(self, hour: int, amps: float, watts: float, volts: float | None) -> None:
        self.first.append([amps, watts, volts])
        if len(self.first) < ANCHOR_HOURS:
            return
        rows = sorted(self.first, key=lambda row: row[0])
        low_a = rows[ANCHOR_ALIKE // 2][0]
        near = [row for row in rows if abs(row[0] - low_a) <= max(ALIKE_A, RISE_STEPS * self._step_a, WIDE * low_a)]
        if len(near) < ANCHOR_ALIKE or not self._can_be(near[len(near) // 2]):
            if len(self.first) >= ANEW_HOURS:
                self.first = self.first[ANCHOR_HOURS:]
            return
        volts_of = [row[2] for row in near if row[2] is not None]
        self.anchor = [
            sum(row[0] for row in near) / len(near),
            sum(row[1] for row in near) / len(near),
            sum(volts_of) / len(volts_of) if volts_of else None,
        ]
        if self._record_a is not None and self.anchor[0] < self._record_a - self._record_zero_a - SURE_A - self._step_a:
            self.anchor = [self._record_a, self._record_a * self._nominal_v, self._nominal_v]  # less is no fault, and no anchor
        self.anchor_c, self.anchor_hour, self.first = self._warmth(), hour, []

    def _can_be(self, row: list[Any]) -> bool:
        """Can this be its standby, by what is written and measured? Else it never rests, or there was a fault before."""
        limits = [self._record_a + self._record_zero_a] if self._record_a is not None else []
        if not limits and self._standby_a is not None:
            limits.append(1.1 * self._standby_a)
        if not limits and self._lowest_w:
            limits.append(max(0.0, self._lowest_w / self._nominal_v - SURE_A))
        slack_a = SURE_A + self._step_a
        return all(row[0] <= limit + slack_a for limit in limits)

    def _warmth(self) -> float | None:
        return self._panel.panel_c if self._panel.panel_c is not None else self._panel.outside_c

    def _reference(self, volts: float | None, hour: int) -> tuple[float, float]:
        """What it may read by any law of its volts, amps; and what a rise must amount to beyond it."""
        if self.anchor is None:
            assert self._record_a is not None
            amps, watts, at_v, error_a = self._record_a, self._record_a * self._nominal_v, self._nominal_v, self._record_zero_a
            kelvin = MOST_K / 2.0
            error_a += self._step_a / 2.0
        else:
            (amps, watts, at_v), error_a = self.anchor, 0.0
            now_c = self._warmth()
            if now_c is not None and self.anchor_c is not None:
                kelvin = abs(now_c - self.anchor_c) + 5.0
            else:
                kelvin = min(MOST_K, UNKNOWN_K + UNKNOWN_K_A_DAY * (hour - self.anchor_hour) / 24.0)
        if volts is not None and at_v is not None and volts > 1.0:
            ratio = volts / at_v
            amps = max(watts / volts, amps, amps * ratio)
        elif volts is None or at_v is None:
            error_a += 0.1 * amps  # ... its volts may be elsewhere
        least_a = max(SURE_A, RISE_STEPS * self._step_a, RISE_A + ZERO_A_PER_K * kelvin + RISE_SHARE * amps + error_a)
        return amps, least_a

    # A rise.

    def _judge(self, hour: int, amps: float, watts: float, volts: float | None) -> None:
        reference_a, least_a = self._reference(volts, hour)
        rise_a = amps - reference_a
        if rise_a < BACK * least_a or (self.rise_a is not None and rise_a < BACK * self.rise_a):
            self._comes_back(reference_a, least_a)
            return
        if self.stand and hour - self.stand[-1][0] > ANCHOR_HOURS:
            self.stand = []  # what was between nobody knows
        self.stand = [*self.stand[1 - KEPT :], [hour, rise_a, watts]]
        if self.rise_a is not None or len(self.stand) < LARGE_HOURS:
            return
        low_a, count, first = self._alike()
        if low_a < least_a:
            return
        if low_a >= LARGE_A:
            enough = count >= max(LARGE_HOURS, ceil(HABIT * self.stood))
        elif self._left_on and low_a >= max(LEFT_ON_A, SURE * least_a):
            enough = count >= max(LEFT_ON_HOURS, ceil(HABIT * self.stood))
        else:
            enough = count >= max(SMALL_HOURS, ceil(HABIT * self.stood)) and hour - first >= NIGHTS_HOURS
        if enough and self._none_of_its_own(low_a, reference_a):
            self.rise_a, self.told_a, self.since_ms = low_a, low_a, int(first) * HOUR_MS
            self.back = 0

    def _comes_back(self, reference_a: float, least_a: float) -> None:
        """It rests again: what ended by itself, or by somebody's hand, must last longer the next time."""
        if self.stand:
            low_a, count, _ = self._alike()
            if low_a >= least_a and self._none_of_its_own(low_a, reference_a):
                self.stood = max(self.stood, min(count, MOST_STOOD))
        self.stand, self.rise_a, self.back = [], None, 0

    def _alike(self) -> tuple[float, int, float]:
        """Of what has not come back: its low rise, how many hours are like it, and the first of them."""
        rises = sorted(row[1] for row in self.stand)
        low_a = rises[min(1, len(rises) - 1)]
        width_a = max(ALIKE_A, 1.2 * self._step_a, ALIKE * low_a)
        near = [row for row in self.stand if abs(row[1] - low_a) <= width_a]
        return low_a, len(near), near[0][0]

    def _none_of_its_own(self, rise_a: float, reference_a: float) -> bool:
        """Is it none of the levels that people or the load itself choose?"""
        if not self._lowest_w:
            return rise_a <= LEFT_A
        rest_w = reference_a * self._nominal_v
        watts = rest_w + rise_a * self._nominal_v
        below = watts < self._lowest_w or (self._lowest_w < 1.2 * rest_w and rise_a * self._nominal_v < 0.5 * self._lowest_w)
        return below or (not self._chosen and self.anchor is not None and rise_a <= LEFT_A)  # it was seen to rest

    def ends(self, sample: Sample) -> bool:
        """Of what is told: has it come back, for some readings?"""
        if self.rise_a is None:
            return True
        reference_a, least_a = self._reference(sample.volts, sample.time_ms // HOUR_MS)
        if abs(sample.amps) - reference_a >= BACK * self.rise_a:
            self.back = 0
            return False
        if not self.back:
            self.back_ms = sample.time_ms
        self.back += 1
        if (self._on_change or self.back >= END_READINGS) and sample.time_ms - self.back_ms >= END_MS:
            self._comes_back(reference_a, least_a)
            return True
        return False

    @property
    def reference_w(self) -> float:
        """What it drew standing by, by the anchor, or the record."""
        if self.anchor is not None:
            return float(self.anchor[1])
        return (self._record_a or 0.0) * self._nominal_v

    @property
    def on_record(self) -> bool:
        return self._record_a is not None

    def unheard(self) -> None:
        """Nobody knows what it draws."""
        self.held = None

    def save(self) -> dict[str, Any]:
        state: dict[str, Any] = {name: getattr(self, name) for name in _KEPT}
        for name in ("rows", "first", "stand"):
            state[name] = [list(row) for row in getattr(self, name)]
        state["held"] = None if self.held is None else list(self.held)
        state["anchor"] = None if self.anchor is None else list(self.anchor)
        return state

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        for name in ("rows", "first", "stand"):
            setattr(self, name, [list(row) for row in state[name]])
        self.held = None if state["held"] is None else list(state["held"])
        self.anchor = None if state["anchor"] is None else list(state["anchor"])


_KEPT = ("minute", "anchor_c", "anchor_hour", "stood", "rise_a", "told_a", "since_ms", "back", "back_ms")
