"""Does the device open at less than it is listed for? Group `device`, kind protection-doubtful, cause `opens-early`.

A weak link, a hot holder or a smaller fuse than the listed one opens at a draw that even the quickest member of its type
would carry. It looks like a short that no sample saw, and a fuse that a hand pulled; so it is told only of a fuse, only where
volts or a switch's state named the opening, only when it happens again, and only after a draw that stood still: readings
complete, unsaturated, samples close enough that a start would have shown, no dip of the bus.
"""

from __future__ import annotations

from typing import Any

from panelward.records import Circuit, Condition, Figure
from panelward.watch.bench import Bench
from panelward.watch.causes import Evidence
from panelward.watch.doubt import Doubt
from panelward.watch.overcurrent import Overcurrent
from panelward.watch.panel import Panel, Sample

COARSE_MS = 2_000  # a motor's start lasts half a second to a few: samples farther apart miss it (common practice, no source)
STEADY = 0.15  # of the draw: it stood still so nearly
STEADY_MS = 10_000
STEADY_READINGS = 5
MISSED = 1.5  # periods: a reading was missing
# Heat of the quickest device that still carries on: a meter may show 3 % too little, and a place in the panel be warmer …
CARRIED = 0.8
CARRIED_UNKNOWN = 0.5  # … without a probe as warm as 60 °C
STARTS = ("compressor", "fan", "pump", "motor", "air-heater", "charger")  # what starts with a surge
RUNS = 0.5  # of its greatest level: so much and it is past its start
UNKNOWN = ("socket", "inverter")  # what starts behind these nobody knows
NAMED_BY = ("no-volts-after-device", "no-volts-after-switch", "no-volts-at-load", "switch-reported-on")
TIMES = 2  # once may have been a short that fell between two samples
WITHIN_MS = 30 * 86_400_000
OVER_MS = 86_400_000  # it carried as much again, a day after


class Early:
    """One circuit's fuse, as far as its openings tell."""

    __slots__ = (
        "_bench", "_circuit", "_doubt", "_over", "_panel", "_period_ms", "active", "base_a", "draw_a", "from_ms",
        "last_ms", "live_ms", "openings", "run",
    )  # fmt: skip

    def __init__(
        self, bench: Bench, panel: Panel, circuit: Circuit, over: Overcurrent, doubt: Doubt | None, period_ms: int
    ) -> None:
        self._doubt = doubt
        self._bench, self._panel, self._circuit, self._over, self._period_ms = bench, panel, circuit, over, period_ms
        self.base_a = 0.0  # where its draw stands still, since when, and its last reading there
        self.from_ms = self.live_ms = 0
        self.run = 0
        self.last_ms = 0
        self.openings: list[int] = []  # at less than it is listed for
        self.draw_a = 0.0  # the draw before the last of them
        self.active = False

    def take(self, sample: Sample) -> None:
        """One sample. What was seen before readings were missing does not count."""
        amps = abs(sample.amps)
        if not sample.fresh or sample.time_ms - self.last_ms > MISSED * self._period_ms:
            self.run = 0
        self.last_ms = sample.time_ms
        if amps <= self._circuit.sense.nothing_a:
            return
        if not self.run or abs(amps - self.base_a) > STEADY * self.base_a:
            self.base_a, self.from_ms, self.run = amps, sample.time_ms, 0
        self.run = self.run + 1 if amps < self._circuit.sense.full_a else 0
        self.live_ms = sample.time_ms
        if self.active and amps >= (1.0 - STEADY) * self.draw_a and sample.received_ms - self.openings[-1] >= OVER_MS:
            self.active = False
            if not self._proved_greater:
                self._emit("ends", sample.received_ms, sample.time_ms, ())

    @property
    def _proved_greater(self) -> bool:
        """Is its alarm about another device already, by what that carried?"""
        return self._doubt is not None and self._doubt.active

    def stopped(self) -> bool:
        """Asked at its first reading of nothing: did its draw stand still until then, for all that was seen?"""
        if self.run < STEADY_READINGS or self.live_ms - self.from_ms < STEADY_MS:
            return False
        starts = any(load.kind in STARTS for load in self._circuit.loads)
        return not starts or (self._over.running_a > 0.0 and self.base_a >= RUNS * self._over.running_a)

    def opened(self, evidence: Evidence, quick: float, since_ms: int, now_ms: int) -> None:
        """Its device opened, after a draw that stood still. `quick`: heat of the quickest of its type then."""
        limit = CARRIED if self._panel.panel_c is not None else CARRIED_UNKNOWN
        shorted = any(name.startswith("bus-dipped") for name in evidence)
        if quick > limit or shorted or not any(name in evidence for name in NAMED_BY):
            return
        self.openings = [*[at_ms for at_ms in self.openings if now_ms - at_ms <= WITHIN_MS][-9:], now_ms]
        self.draw_a = self.base_a
        if len(self.openings) < TIMES or self.active or self._proved_greater:
            return
        self.active = True
        own: tuple[tuple[str, Figure], ...] = (
            ("draw_a", self.draw_a),
            ("rating_a", self._over.rating_a),
            ("openings", len(self.openings)),
            ("quickest", quick),
        )
        self._emit("begins", now_ms, since_ms, own)

    def _emit(self, edge: str, now_ms: int, since_ms: int, figures: tuple[tuple[str, Figure], ...]) -> None:
        self._bench.found.append(
            Condition(
                subject="circuit",
                subject_id=self._circuit.id,
                group="device",
                edge=edge,
                at_ms=now_ms,
                since_ms=since_ms,
                kind="protection-doubtful",
                priority="medium",
                cause="opens-early",
                figures=figures,
                evidence=(("opened-early", figures),) if figures else (),
            )
        )

    def rest(self) -> None:
        """The program was off: what was counted in a row is not in a row any more."""
        self.run = 0

    def save(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in _KEPT} | {"openings": list(self.openings)}

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        self.openings = list(state["openings"])


_KEPT = ("base_a", "from_ms", "live_ms", "run", "last_ms", "draw_a", "active")


def judged(circuit: Circuit, over: Overcurrent, period_ms: int) -> bool:
    """Can it be said of this circuit at all? A breaker is worked by hand; means and rare samples hide a start."""
    sense = circuit.sense
    if not over.times_claimed or over.device_word() != "fuse" or period_ms > COARSE_MS:
        return False
    if sense.reports != "sample" or sense.publishes != "always":
        return False
    return circuit.role == "load" and bool(circuit.loads) and all(load.kind not in UNKNOWN for load in circuit.loads)


def depends(circuit: Circuit) -> object:
    """What this file's state depends on: a device that was replaced is another device."""
    return circuit.protection, circuit.loads, circuit.sense
