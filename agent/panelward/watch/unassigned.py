"""unassigned-draw: the bank's meter shows more than its circuits account for. Group `drain`, subject the supply, medium.

    r = meter - sum of g_k I_k

The gains g_k come from the circuits' own steps: where one alone changed between two quiet moments, what the meter changed
by is the truth of it. What remains unsure is the error of r: the gains that are not known well enough, times what flows
through them (so that a heavy load proves nothing), and the zero of every channel, which only a commissioning record can
take away; how the zeros move together with the warmth, the channels at nothing show. A draw is told where its hours,
weighed by how little was unsure in them, stand above three such errors: a large one within the hour, a small one in the
night. A constant that is smaller than the zeros nobody can tell from them.
"""

from __future__ import annotations

from math import sqrt
from statistics import median
from typing import Any

from panelward.records import GROUP_OF, Condition, Facts, Figure, Record, Schedule, Supply
from panelward.watch.bench import Bench
from panelward.watch.suspect import Suspect

BLOCK_MS = 3600_000
QUIET_READINGS = 60  # of a block, where the period allows; else half of what could come
STILL_A, STILL_SHARE = 0.1, 0.02  # the circuits together move by no more between two readings of the meter
SIGMAS = 3.0
AT_ONCE = 6.0  # errors: told after one block
NIGHT_BLOCKS = 6  # … else after so many in a row
LEAST_A = 0.03
OVER = 1.5  # errors: below it is over
GAIN_SD = 0.012  # of a channel against the meter, before any step: both accept 2 % (trade practice, no source), uniform
GAIN_STEP_SD = 0.02  # of one step: the two are not read at the same moment
GAIN_SURE = 0.003
MOST_GAIN = 0.06  # beyond it is no gain but a load before the sensor
EDGE_A = 0.5
BESIDE_A = 0.1  # what all others together may change by in a step
BESIDE_EDGES = 5
BESIDE_LEAST_A = 0.3
ZERO_SD_STEPS, ZERO_SD_A = 1.0, 0.0115  # ± two steps, 20 mA at the least, uniform (`zero`)
NOTHING_A = 0.03  # a channel that reads no more is taken for off
OFF_LEAST = 3  # so many channels at nothing show how all zeros have moved (0.5 mA a kelvin; trade practice, no source)
WARMTH_A = 0.005  # … else they may have moved by so much
MOVED_SD_A = 0.0015  # of one about their middle: they do not move by quite the same
DITHERS = 0.2  # of its readings differ from the one before: then their mean is finer than its step
MOVES = 64.0  # readings that this share remembers
MIDDLE = 1.25  # of a median's deviation, times a mean's
KNOWN_ZERO_SD_A = 0.002  # after it was measured (from memory)


class _Channel:
    """What is known of one circuit's gain."""

    __slots__ = ("beside_a", "beside_a2", "edges", "moves", "own_a", "precision", "step_a", "weighed", "zero_a", "zero_sd_a")

    def __init__(self, step_a: float, zero_a: float | None) -> None:
        self.weighed, self.precision = 1.0 / GAIN_SD**2, 1.0 / GAIN_SD**2  # of gain 1
        self.edges = 0
        self.step_a = step_a
        self.moves = 0.0  # share of readings that are not the one before
        self.beside_a = self.beside_a2 = 0.0  # sums of what the meter changed by beyond it, and of its squares
        self.own_a = 0.0  # … of its own steps
        self.zero_a = zero_a or 0.0
        self.zero_sd_a = max(ZERO_SD_STEPS * step_a, ZERO_SD_A)
        if zero_a is not None:
            self.zero_sd_a = KNOWN_ZERO_SD_A

    @property
    def gain(self) -> float:
        return min(1.0 + MOST_GAIN, max(1.0 - MOST_GAIN, self.weighed / self.precision))

    @property
    def sd(self) -> float:
        return max(GAIN_SURE, 1.0 / sqrt(self.precision))

    @property
    def round_var(self) -> float:
        """Of what stands still the rounding is the same all night; what moves about a step is known better by its mean."""
        still = max(0.0, 1.0 - self.moves / DITHERS)
        return still * self.step_a**2 / 12.0

    def beside(self) -> float:
        """What surely steps with it, beyond what a gain may explain; 0: nothing surely does."""
        n = self.edges
        if n < BESIDE_EDGES:
            return 0.0
        mean_a = self.beside_a / n
        var = max(0.0, self.beside_a2 / n - mean_a**2) / (n - 1)
        explained_a = max(BESIDE_LEAST_A, SIGMAS * GAIN_SD * self.own_a / n)
        return mean_a if mean_a - SIGMAS * sqrt(var) > explained_a else 0.0

    def step(self, own_a: float, meter_a: float) -> None:
        """It alone changed by `own_a`, the meter by `meter_a`."""
        ratio = meter_a / own_a
        self.edges += 1
        beside_a = (ratio - 1.0) * abs(own_a)
        self.beside_a += beside_a
        self.beside_a2 += beside_a**2
        self.own_a += abs(own_a)
        if abs(ratio - 1.0) <= MOST_GAIN:
            weight = 1.0 / (GAIN_STEP_SD**2 + (0.05 / own_a) ** 2)
            self.weighed += weight * ratio
            self.precision += weight

    def save(self) -> list[Any]:
        return [getattr(self, name) for name in _CHANNEL]

    def restore(self, kept: list[Any]) -> None:
        for name, value in zip(_CHANNEL, kept, strict=True):
            setattr(self, name, value)


_CHANNEL = ("weighed", "precision", "edges", "beside_a", "beside_a2", "own_a", "moves")


class Unassigned:
    """One supply's meter against its circuits."""

    def __init__(
        self, bench: Bench, schedule: Schedule, supply: Supply, channels: list[Suspect], period_ms: int, record: Record | None
    ) -> None:  # fmt: skip
        self._bench, self._supply, self._suspects = bench, supply, channels
        self._period_ms = period_ms
        self._circuits = tuple(c for c in schedule.circuits if c.supply == supply.id and c.role != "meter")
        measured = {c.circuit: c.zero_a for c in record.circuits} if record is not None else {}
        self._channels = {c.id: _Channel(c.sense.resolution_a, measured.get(c.id)) for c in self._circuits}
        meter = next((c for c in schedule.circuits if c.id == supply.meter), None)
        step_a = meter.sense.resolution_a if meter is not None else 0.0
        own = _Channel(step_a, measured.get(supply.meter or ""))
        self._zero_a = own.zero_a
        self._zero_var = own.zero_sd_a**2 + sum(each.zero_sd_a**2 for each in self._channels.values())
        self._on_record = bool(measured) and all(c.id in measured for c in self._circuits)
        known = all(c.monitor is not None for c in self._circuits)
        self.judged = meter is not None and bool(self._circuits) and known and supply.kind == "dc"
        self._needed = max(5, min(QUIET_READINGS, BLOCK_MS // max(1, period_ms) // 2))
        self.drawn_a: float | None = None  # at the meter's last reading
        self.metered_a = 0.0
        self.calm: tuple[float, dict[str, float]] | None = None  # meter and circuits at the last quiet moment
        self.block_ms: int | None = None
        self.count = 0
        self.weight = self.sum = 0.0
        self.above = 0  # blocks in a row
        self.since_ms = 0
        self.active = False
        self.residual_a = self.error_a = self.mean_a = 0.0
        self.excess_mams = 0
        self.beside: str | None = None

    def meter(self, amps: float, drawn_a: float, now_ms: int) -> None:
        """A reading of the meter of now, discharge positive; `drawn_a`: the sum of its circuits."""
        last_a, self.drawn_a = self.drawn_a, drawn_a
        last_metered_a, self.metered_a = self.metered_a, amps
        if self.block_ms is None:
            self.block_ms = now_ms
        elif now_ms - self.block_ms >= BLOCK_MS:
            self._judge(now_ms)
        if last_a is None:
            return
        still_a = STILL_A + STILL_SHARE * abs(drawn_a)
        if abs(drawn_a - last_a) > still_a or abs(amps - last_metered_a) > still_a:
            return
        present: dict[str, float] = {}
        for channel in self._suspects:
            if channel.id in self._channels:
                if channel.heard_ms is None or not channel.heard(now_ms) or channel.active is not None:
                    return  # what it draws nobody knows
                present[channel.id] = channel.held_a
        self._step(amps, present)
        self._take(amps, present)

    def _step(self, amps: float, present: dict[str, float]) -> None:
        calm, self.calm = self.calm, (amps, present)
        if calm is None:
            return
        changed, beside = "", 0.0
        for name, own_a in present.items():
            change = own_a - calm[1].get(name, own_a)
            channel = self._channels[name]
            channel.moves += ((change != 0.0) - channel.moves) / MOVES
            if abs(change) >= EDGE_A:
                if changed:
                    return
                changed = name
            else:
                beside += abs(change)
        if changed and beside <= BESIDE_A:
            self._channels[changed].step(present[changed] - calm[1][changed], amps - calm[0])

    def _moved(self, present: dict[str, float]) -> tuple[float, float]:
        """How far the zeros have moved together since they were measured, as the channels at nothing show it; its error."""
        if not self._on_record:
            return 0.0, 0.0  # the error of zeros that nobody measured has that in it
        names = [name for name, own_a in present.items() if abs(own_a) <= NOTHING_A]
        off = [present[name] - self._channels[name].zero_a for name in names]
        if len(off) < OFF_LEAST:
            return 0.0, WARMTH_A
        round_var = sum(self._channels[name].round_var for name in names) / len(names)
        return median(off), MIDDLE * sqrt((MOVED_SD_A**2 + round_var) / len(off))

    def _take(self, amps: float, present: dict[str, float]) -> None:
        moved_a, moved_sd_a = self._moved(present)
        together_a = len(present) * moved_sd_a  # what moves all of them alike adds up
        beyond = amps - self._zero_a + len(present) * moved_a
        var = self._zero_var + together_a**2
        for name, own_a in present.items():
            channel = self._channels[name]
            beyond -= channel.gain * (own_a - channel.zero_a)
            var += (channel.sd * own_a) ** 2 + channel.round_var
        self.count += 1
        self.weight += 1.0 / var
        self.sum += beyond / var

    def _judge(self, now_ms: int) -> None:
        """A block is over."""
        begun_ms, self.block_ms = self.block_ms or now_ms, now_ms
        count, weight, total = self.count, self.weight, self.sum
        self.count, self.weight, self.sum = 0, 0.0, 0.0
        if count < self._needed or now_ms - begun_ms > 2 * BLOCK_MS:
            self.above = 0  # too little was quiet: nothing is claimed, nothing is over
            return
        self.residual_a = total / weight
        self.error_a = sqrt(count / weight)
        self.mean_a = self.metered_a
        if self.active:
            self.excess_mams += round(max(0.0, self.residual_a) * 1000) * (now_ms - begun_ms)
            if self.residual_a < OVER * self.error_a:
                self._emit("ends", now_ms)
                self.active, self.above = False, 0
            return
        if self.residual_a < max(LEAST_A, SIGMAS * self.error_a):
            self.above = 0
            return
        if not self.above:
            self.since_ms, self.excess_mams = begun_ms, 0
        self.above += 1
        self.excess_mams += round(self.residual_a * 1000) * (now_ms - begun_ms)
        if self.above >= NIGHT_BLOCKS or self.residual_a >= AT_ONCE * self.error_a:
            self.active = True
            self._emit("begins", now_ms)

    def goes_with(self) -> str | None:
        """The circuit with whose steps the meter steps by more than it does: something hangs before its sensor."""
        worst, most_a = None, 0.5 * self.residual_a
        for name, channel in self._channels.items():
            beside_a = channel.beside()
            if beside_a > most_a:
                worst, most_a = name, beside_a
        return worst

    def _emit(self, edge: str, now_ms: int) -> None:
        watts = self.residual_a * self._supply.nominal_v
        figures: list[tuple[str, Figure]] = [
            ("draw_a", self.residual_a),
            ("draw_w", watts),
            ("excess_ah", self.excess_mams / 3.6e9),
            ("excess_wh", self.excess_mams / 3.6e9 * self._supply.nominal_v),
        ]
        with_a = self.mean_a if self.mean_a > self.residual_a else self.residual_a
        days, without = self._days(with_a), self._days(with_a - self.residual_a)
        figures += [("days_left", days), ("days_without", without)]
        if edge == "begins":
            self.beside = self.goes_with()  # and so it is called until it is over
        beside = self.beside
        evidence: list[tuple[str, Facts]] = [
            ("beyond-its-circuits", (("amps", self.residual_a), ("error_a", self.error_a), ("circuits", len(self._circuits))))
        ]
        if beside is not None:
            evidence.append(("goes-with", (("of", beside),)))
        if days is not None:
            evidence.append(("bank-days", (("days", days), ("draw_a", with_a), ("whole", True))))
        self._bench.found.append(
            Condition(
                subject="supply",
                subject_id=self._supply.id,
                group=GROUP_OF["unassigned-draw"],
                edge=edge,
                at_ms=now_ms,
                since_ms=self.since_ms,
                kind="unassigned-draw",
                priority="medium",
                circuits=(beside,) if beside is not None else (),
                figures=tuple(figures),
                evidence=tuple(evidence) if edge == "begins" else (),
            )
        )

    def _days(self, draw_a: float) -> float | None:
        battery = self._supply.battery
        if battery is None or draw_a <= 0.0:
            return None
        return battery.capacity_ah * battery.usable / draw_a / 24.0

    def rest(self) -> None:
        """The program was off: what lies before and after is no block and no step."""
        self.drawn_a = self.calm = self.block_ms = None
        self.count, self.weight, self.sum = 0, 0.0, 0.0
        self.above = 0

    def save(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in _KEPT} | {
            "calm": [self.calm[0], dict(self.calm[1])] if self.calm is not None else None,
            "channels": {name: c.save() for name, c in self._channels.items()},
            "keys": self.depends(),
        }

    def restore(self, state: dict[str, Any]) -> None:
        if state["keys"] != self.depends():
            return
        for name in _KEPT:
            setattr(self, name, state[name])
        self.calm = (state["calm"][0], dict(state["calm"][1])) if state["calm"] is not None else None
        for name, channel in self._channels.items():
            channel.restore(state["channels"][name])

    def depends(self) -> str:
        """What the state depends on: these channels, as sensed and as measured."""
        zeros = [(c.id, c.sense, self._channels[c.id].zero_a, self._channels[c.id].zero_sd_a) for c in self._circuits]
        return repr((self._supply.meter, self._supply.meter_sign, zeros, self._zero_var))


_KEPT = (
    "drawn_a", "metered_a", "block_ms", "count", "weight", "sum", "above", "since_ms", "active", "residual_a", "error_a",
    "mean_a", "excess_mams", "beside",
)  # fmt: skip
