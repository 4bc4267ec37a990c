"""A floor against the zero error of its channel: which reading says that the floor is gone, and is that a proof?

A channel without current reads its zero, which creeps with warmth and is not known until the circuit was known to be off.
What warmth does is slow; what a lost feed does comes within a reading. So the resting reading is followed no faster than
warmth moves a zero, and the floor is gone where a reading falls by half of the floor below it.

A resting reading is one of a live circuit if no zero error reads so much, or if the circuit has started out of it again and
again. Until then only a reading that no live floor can give says that the floor is gone.
"""

from __future__ import annotations

from math import inf
from typing import Any

ZERO_STEPS, ZERO_A = 2.0, 0.02  # an unknown zero: 20 mA is what a commissioning lets pass (our own choice), or two steps
FLOOR_STEPS = 3.0  # half a floor of three steps bears an error of one and a half; common practice, no source
FINE_A = 0.01  # a channel with finer steps was made to use them: its zero and drift are reckoned by its steps; no source
DRIFT_A_PER_K, WARMER_K = 0.0005, 20.0  # 0.5 mA/K (from memory) over a day's warmth in a panel (no source)
WARMER_K_PER_H = 30.0  # a closed panel in the sun; common practice, no source
UP_A_PER_MS = DRIFT_A_PER_K * WARMER_K_PER_H / 3.6e6
DOWN_A_PER_MS = 8.0 * UP_A_PER_MS  # a floor is the least draw: it is followed down sooner than up
REST_READINGS, STARTS = 3, 3  # in a row at rest; starts out of the same reading (one alone may be a feed that came back)
OFF_READINGS = 3  # known off for so many: a switch's report and the current don't come together
GAP_MS = 60_000  # what a single reading can move at the most


def zero_error_a(resolution_a: float) -> float:
    """What a channel may read at no current, either way, as long as its zero isn't known; drift and rounding are in it."""
    if resolution_a < FINE_A:
        return (ZERO_STEPS + 1.0) * resolution_a
    return max(ZERO_STEPS * resolution_a, ZERO_A) + DRIFT_A_PER_K * WARMER_K


def least_floor_a(resolution_a: float, *, known: bool = False) -> float:
    """The least floor that proves life: half of it must show beyond the zero error, or beyond rounding once that is known."""
    return FLOOR_STEPS * resolution_a if known else 2.0 * zero_error_a(resolution_a)


class Zero:
    """One channel with a floor. `take` is the hot path: `low_a` decides."""

    __slots__ = (
        "_error_a", "_floor_a", "_step_a", "before_a", "low_a", "near_a", "off", "rest_a", "rest_ms", "rests", "settled",
        "started_a", "starts", "zero_a",
    )  # fmt: skip

    def __init__(self, resolution_a: float, floor_a: float) -> None:
        self._step_a, self._floor_a, self._error_a = resolution_a, floor_a, zero_error_a(resolution_a)
        self.zero_a: float | None = None  # what it reads at no current
        self.rest_a = floor_a  # what it reads at rest
        self.settled = False  # … and is that seen?
        self.rest_ms: int | None = None
        self.off = 0
        self.before_a: float | None = None  # not settled: the last reading at rest
        self.rests = 0  # … in a row
        self.started_a = 0.0  # … that it has started out of
        self.starts = 0
        self.low_a = self.near_a = 0.0
        self._set()

    @property
    def provable(self) -> bool:
        """Is a floor that is gone a proof, and will it be seen?"""
        if self.zero_a is not None:
            level_a = self.rest_a - self.zero_a if self.settled else self._floor_a
            return _reaches(level_a, least_floor_a(self._step_a, known=True))
        if self.settled:  # a fall of a whole floor shows against the resting reading, if that is near what is written
            if self._rests_above:
                return _reaches(self._floor_a, least_floor_a(self._step_a))
            # Many channels show nothing below nought: a threshold there would never be passed.
            return (
                self.low_a > 0.0
                and self._floor_a - self.rest_a <= self._error_a
                and _reaches(self._floor_a, least_floor_a(self._step_a, known=True))
            )
        return _reaches(self._floor_a, least_floor_a(self._step_a))

    @property
    def _rests_above(self) -> bool:
        """Does it rest farther above what is written than a zero error goes? Then what is written is the least that lives."""
        return self.settled and self.zero_a is None and self.rest_a - self._floor_a > self._error_a

    def take(self, amps: float, time_ms: int) -> bool:
        """One reading of a circuit that isn't known to be off: is its floor gone?"""
        if amps < self.low_a:
            self.before_a, self.rests = None, 0
            return True
        if amps < self.near_a:
            self._follow(amps, time_ms)
        elif self.before_a is not None:
            self._start(amps)
        return False

    def known_off(self, amps: float) -> None:
        """A reading while no current can flow: its switch reports off, its feeder or its supply is gone."""
        if abs(amps) > self._error_a:  # it draws, or something feeds back: not its zero
            self.off = 0
            return
        self.off += 1
        if self.off < OFF_READINGS:
            return
        if self.zero_a is None:
            moved_a, self.zero_a = 0.0, amps
        else:
            moved_a = (amps - self.zero_a) / 8.0  # a mean of some readings: less than their rounding
            self.zero_a += moved_a
        self.rest_a = self.rest_a + moved_a if self.settled else self.zero_a + self._floor_a
        self._set()

    def fed(self) -> None:
        """It is not known to be off any more."""
        self.off = 0

    def _follow(self, amps: float, time_ms: int) -> None:
        """The resting reading creeps after its readings."""
        last_ms, self.rest_ms = self.rest_ms, time_ms
        # Until it is settled, only what a dead channel can't read counts as rest.
        dead_a = self._error_a if self.zero_a is None else self.zero_a + self._step_a
        if not self.settled:
            self.before_a, self.rests = amps, self.rests + 1
        if last_ms is None or time_ms <= last_ms or not (self.settled or amps > dead_a):
            return
        dt_ms = min(GAP_MS, time_ms - last_ms)
        before_a = self.rest_a
        # What reads more than a zero error above the floor is a load that draws more.
        zero_a, error_a = (0.0, self._error_a) if self.zero_a is None else (self.zero_a, 2.0 * self._step_a)
        wanted_a = min(amps, zero_a + self._floor_a + error_a)
        self.rest_a += min(UP_A_PER_MS * dt_ms, max(-DOWN_A_PER_MS * dt_ms, wanted_a - before_a))
        if self.settled and self.zero_a is not None:
            self.zero_a += self.rest_a - before_a  # warmth moves both
        if not self.settled and abs(amps - self.rest_a) <= self._step_a / 2.0:
            self._settle(self.rest_a)
        self._set()

    def _start(self, amps: float) -> None:
        """It draws, straight from a reading at rest: that was a live one, if it happens again and again."""
        before_a, rests = self.before_a, self.rests
        self.before_a, self.rests = None, 0
        if before_a is None or rests < REST_READINGS or amps < self._floor_a + 2.0 * self._error_a:
            return
        if self.starts and abs(before_a - self.started_a) <= self._step_a * (1.0 + 1e-9):
            self.starts, self.started_a = self.starts + 1, max(before_a, self.started_a)
        else:
            self.starts, self.started_a = 1, before_a
        if self.starts >= STARTS:
            self._settle(self.started_a)
            self._set()

    def _settle(self, rest_a: float) -> None:
        self.rest_a, self.settled = rest_a, True
        self.before_a, self.rests, self.starts = None, 0, 0

    def _set(self) -> None:
        half_a = self._floor_a / 2.0
        if (self.settled or self.zero_a is not None) and not self._rests_above:
            self.low_a = self.rest_a - half_a if self.zero_a is None else (self.rest_a + self.zero_a) / 2.0
        elif self._floor_a > self._error_a:
            self.low_a = min(half_a, self._floor_a - self._error_a)  # lower than a live floor can read
        else:
            self.low_a = -inf  # no reading says that it is gone
        self.near_a = self.rest_a + half_a

    def save(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in _KEPT}

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        self._set()


_KEPT = ("zero_a", "rest_a", "settled", "rest_ms", "off", "before_a", "rests", "started_a", "starts")


def _reaches(level_a: float, least_a: float) -> bool:
    return level_a >= least_a * (1.0 - 1e-9)


def floor_threshold_a(resolution_a: float, floor_a: float) -> tuple[float, bool]:
    """For a channel of which nothing is known: below which reading the floor is gone, and is that a proof?"""
    fresh = Zero(resolution_a, floor_a)
    return fresh.low_a, fresh.provable
