"""What a supply looks like from its bus: volts at rest behind a resistance, learned from the bus's own steps.

Where the current jumps and stays, the volts follow it: R = -dV / dI. Three readings on each side must be steady, and
the volts of the reading at the jump and of its neighbours are left out: a meter that means dilutes them, and volts
and amps of one moment may arrive a reading apart. The estimate is the median of the last steps, so that an uncounted
load which jumps at the same time, or a crank, moves it little.
"""

from __future__ import annotations

from statistics import median
from typing import Any

STEP_A = 5.0  # on a 12 V supply; half of it on 24 V (trade practice, no source)
STEPS = 31  # that are kept: older ones are forgotten
STEPS_LEAST = 5
STEADY = 0.1  # of the step: how much the draw may wander on each side of it
HIGHEST_OHM = 0.2  # per 12 V of nominal; more is no battery's and its cable's (common practice, no source)
BEFORE, WHOLE = 3, 7  # readings before the jump; in all


class Source:
    """One supply's resistance."""

    __slots__ = ("_apart_ms", "_gap_ms", "_highest_ohm", "_step_a", "_window", "amps", "amps_ms", "ohm", "paired_ms",
                 "rough_ohm", "sd_ohm", "steps", "volts", "volts_ms")  # fmt: skip

    def __init__(self, nominal_v: float, period_ms: int) -> None:
        self._step_a = STEP_A * 12.0 / max(12.0, nominal_v)
        self._highest_ohm = HIGHEST_OHM * max(1.0, nominal_v / 12.0)
        self._apart_ms = max(2_000, period_ms)  # volts and amps further apart are of two moments
        self._gap_ms = max(10_000, 3 * period_ms)
        self.volts: float | None = None  # heard since the last pair
        self.volts_ms = 0
        self.amps: float | None = None
        self.amps_ms = 0
        self.paired_ms = 0
        self._window: list[tuple[float, float]] = []  # the last pairs: amps, volts
        self.steps: list[float] = []  # ohm of the last steps
        self.rough_ohm: float | None = None  # from the first step on: better than none
        self.ohm: float | None = None
        self.sd_ohm: float | None = None

    def hear_volts(self, volts: float, time_ms: int) -> None:
        """Volts of the bus; paired with the amps of the same moment, whichever comes first."""
        self.volts, self.volts_ms = volts, time_ms
        if self.amps is not None and -self._apart_ms <= time_ms - self.amps_ms <= self._apart_ms:
            self.pair(volts, self.amps, time_ms)
            self.volts = self.amps = None

    def hear_amps(self, amps: float, time_ms: int) -> None:
        """What the bank gives, at the meter."""
        self.amps, self.amps_ms = amps, time_ms
        if self.volts is not None and -self._apart_ms <= time_ms - self.volts_ms <= self._apart_ms:
            self.pair(self.volts, amps, time_ms)
            self.volts = self.amps = None

    def pair(self, volts: float, amps: float, time_ms: int) -> None:
        """Volts and amps of about the same moment."""
        window = self._window
        if time_ms - self.paired_ms > self._gap_ms:
            window.clear()
        self.paired_ms = time_ms
        window.append((amps, volts))
        if len(window) < WHOLE:
            return
        if len(window) > WHOLE:
            del window[0]
        rise_a = amps - window[0][0]
        if -self._step_a < rise_a < self._step_a:
            return
        (a0, v0), (a1, v1), (a2, _), _, (a4, _), (a5, v5), (a6, v6) = window
        wander_a = STEADY * abs(rise_a)
        if max(a0, a1, a2) - min(a0, a1, a2) > wander_a or max(a4, a5, a6) - min(a4, a5, a6) > wander_a:
            return
        ohm = -(v5 + v6 - v0 - v1) / (a5 + a6 - a0 - a1)
        del window[:4]  # what stands after this jump stands before the next
        if -self._highest_ohm <= ohm <= self._highest_ohm:
            self._learn(ohm)

    def _learn(self, ohm: float) -> None:
        self.steps.append(ohm)
        del self.steps[:-STEPS]
        middle = median(self.steps)
        self.rough_ohm = max(0.0, middle)
        if len(self.steps) >= STEPS_LEAST:
            spread = 1.4826 * median(abs(step - middle) for step in self.steps)  # a normal's sd from its deviations
            self.ohm = self.rough_ohm
            self.sd_ohm = 1.2533 * spread / len(self.steps) ** 0.5  # … of a median

    def rest(self) -> None:
        """A gap: what lay in it is not known. What was learned stays."""
        self._window.clear()
        self.volts = self.amps = None

    def save(self) -> dict[str, Any]:
        kept = {name: getattr(self, name) for name in _KEPT}
        return kept | {"window": [list(pair) for pair in self._window], "steps": list(self.steps)}

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        self._window = [(amps, volts) for amps, volts in state["window"]]
        self.steps = list(state["steps"])


_KEPT = ("volts", "volts_ms", "amps", "amps_ms", "paired_ms", "rough_ohm", "ohm", "sd_ohm")
