"""Is the device in the way the one that the schedule says? Group `device`.

What was carried for longer than any of the types that go into the holder could bear is proof that another, greater
device is fitted. The proof is cautious on every side: between two readings the lesser of the two flowed, nothing in a
gap; the meter's gain is taken off; a panel without a probe may have been at -20 °C. Judged only where the gates are
published (blade fuses), and never by what an opening looked like.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from panelward.ratings import Specimens, cold_factor, device
from panelward.records import Circuit, Condition, Figure
from panelward.watch.bench import Bench
from panelward.watch.panel import Panel, Sample

GAIN = 0.97  # a meter may show 3 % too much; common practice, no source
COLDEST_C = -20.0
PROVEN = 1.1  # heat: the edges are carried to 6 % of the time (make_members.py), so a little is added
FOLD = 5  # readings carried at once, at their mean square: cheap, and it proves no more
READINGS = {"mean": 5, "sample": 10}  # above the rating in a row: those that a pulsing load happens to show prove nothing


class Doubt:
    """One circuit's fuse, as far as what it carried tells."""

    __slots__ = (
        "_bench", "_circuit", "_device", "_panel", "_period_ms", "_proof", "_readings", "active", "folded", "folded_ms",
        "last_a", "last_ms", "over", "over_ms", "square_ms",
    )  # fmt: skip

    def __init__(self, bench: Bench, panel: Panel, circuit: Circuit, period_ms: int) -> None:
        self._bench, self._panel, self._circuit, self._period_ms = bench, panel, circuit, period_ms
        self._device = device(circuit.protection) if circuit.protection else None
        proof = self._device.proof if self._device else ()
        self._proof = Specimens(replace(self._device, members=proof)) if self._device and proof else None
        self._readings = READINGS[circuit.sense.reports]
        self.last_a = 0.0
        self.last_ms: int | None = None
        self.over = 0  # readings above the rating in a row
        self.over_ms = 0
        self.active = False
        self.square_ms = 0.0  # ampere² x ms that wait to be carried
        self.folded_ms = self.folded = 0

    @property
    def judged(self) -> bool:
        """Are the gates of its type published?"""
        return self._proof is not None

    def take(self, sample: Sample) -> None:
        """Carry the slowest device on to this sample. A current at or below the rating proves nothing and cools it."""
        fitted = self._device
        if fitted is None or self._proof is None:
            return
        amps, last_ms = abs(sample.amps), self.last_ms
        rating_a = fitted.rating_a
        if amps <= rating_a and self.last_a <= rating_a:  # most readings
            if self.over:
                self.over = 0
                self.square_ms, self.folded_ms, self.folded = 0.0, 0, 0
                self._proof.cool()  # cooler than they are: it proves less
            self.last_ms, self.last_a = sample.time_ms, amps
            return
        if last_ms is not None:
            dt_ms = max(0, sample.time_ms - last_ms)
            gap = dt_ms > 3 * self._period_ms and dt_ms > 10_000
            if gap:
                self.over = 0
            else:
                flowed = min(self.last_a, amps)
                self.square_ms += flowed * flowed * dt_ms
            self.folded_ms += dt_ms
            self.folded += 1
            if self.folded >= FOLD or gap:
                self._fold(rating_a)
        if amps > rating_a:
            if not self.over:
                self.over_ms = sample.time_ms
            self.over += 1
        self.last_ms, self.last_a = max(sample.time_ms, last_ms or sample.time_ms), amps
        if self.active or self.folded or self.over < self._readings or not sample.fresh:
            return
        if self._proof.coolest() < PROVEN:
            return
        self.active = True
        figures: list[tuple[str, Figure]] = [
            ("draw_a", amps),
            ("rating_a", rating_a),
            ("carried_for_s", (sample.time_ms - self.over_ms) / 1000.0),
        ]
        if amps >= self._circuit.sense.full_a:
            figures.append(("draw_is_least", True))  # it carried so much or more: the proof stands
        self._bench.found.append(
            Condition(
                subject="circuit",
                subject_id=self._circuit.id,
                group="device",
                edge="begins",
                at_ms=sample.received_ms,
                since_ms=sample.time_ms,
                kind="protection-doubtful",
                priority="high",
                figures=tuple(figures),
                evidence=(("carried-too-much", tuple(figures)),),
            )
        )

    def _fold(self, rating_a: float) -> None:
        """Carry what waits at its mean square: a few readings at once."""
        assert self._proof is not None
        if self.folded_ms > 0:
            panel_c = self._panel.panel_c
            times = GAIN / rating_a / cold_factor(COLDEST_C if panel_c is None else panel_c)
            self._proof.carry(self.folded_ms / 1000.0, self.square_ms / self.folded_ms * times * times, None)
        self.square_ms, self.folded_ms, self.folded = 0.0, 0, 0

    def rest(self) -> None:
        """The program was off: what was counted in a row is not in a row any more."""
        self.over = 0

    def save(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in _KEPT} | {"proof": self._proof.save() if self._proof else None}

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        if self._proof and state["proof"]:
            self._proof.restore(state["proof"])


_KEPT = ("last_a", "last_ms", "over", "over_ms", "active", "square_ms", "folded_ms", "folded")


def depends(circuit: Circuit) -> object:
    """What this file's state depends on: a device that was replaced is another device."""
    return circuit.protection
