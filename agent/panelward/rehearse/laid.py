"""One conductor out and back along a journey: how warm it is, what it resists, what is lost on it."""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from math import exp

from panelward.ratings import corrected_ampacity_a, greatest_ohm_per_m, time_constant_s
from panelward.ratings.conductor import COPPER_ALPHA_20C
from panelward.records import Segment

KEPT_DECAYS = 16
FINEST = 1e-4  # of nominal: the width of a step in which losses are counted
STEPS = 10_000


class Laid:
    """A loop with its warmth: each stretch one body that rests where `ratings.steady_c` says."""

    def __init__(self, segments: Sequence[Segment], kind: str, rules: Sequence[str]) -> None:
        self._pieces: list[tuple[float, float, float, float, float, float]] = []
        self.known = bool(segments)
        self.chassis = any(s.return_path == "chassis" for s in segments)
        for s in segments:
            per_m = greatest_ohm_per_m(s, 20.0)
            if per_m is None or s.length_m is None:
                self.known = False
                continue
            ohm = per_m * s.length_m * (1.0 if s.return_path == "chassis" else 2.0)
            carries = corrected_ampacity_a(s, kind, rules)
            ambient_c = 20.0 if s.ambient_c is None else s.ambient_c
            if carries is None or carries.thermal_a <= 0.0:
                self._pieces.append((ohm, ambient_c, 0.0, 1.0, 1.0, ambient_c))
                continue
            most_c = max(carries.insulation_c, carries.ambient_c)
            rise_k = carries.rated_c - carries.ambient_c
            self._pieces.append((ohm, carries.ambient_c, rise_k, carries.thermal_a**2, time_constant_s(carries), most_c))
        self._heat = [0.0] * len(self._pieces)
        self._decays: dict[float, list[float]] = {}
        self.ohm = self._ohm()

    def carry(self, dt_s: float, amps: float) -> None:
        """`amps` flowed for so long."""
        decays = self._decays.get(dt_s)
        if decays is None:
            if len(self._decays) >= KEPT_DECAYS:
                self._decays.clear()
            decays = self._decays[dt_s] = [exp(-dt_s / piece[4]) for piece in self._pieces]
        square = amps * amps
        for i, (piece, decay) in enumerate(zip(self._pieces, decays, strict=True)):
            drive = square / piece[3]
            self._heat[i] = drive + (self._heat[i] - drive) * decay
        self.ohm = self._ohm()

    def _ohm(self) -> float:
        total = 0.0
        for (ohm, ambient_c, rise_k, _, _, most_c), heat in zip(self._pieces, self._heat, strict=True):
            at_c = min(ambient_c + rise_k * heat, most_c)
            total += ohm * (1.0 + COPPER_ALPHA_20C * (at_c - 20.0))
        return total


class Losses:
    """What was lost on the way while something flowed, as a share of nominal, weighed by time; of bounded size."""

    def __init__(self) -> None:
        self._seconds = array("d", bytes(8 * (STEPS + 1)))
        self.seconds = 0.0
        self.most = 0.0
        self.most_ms = 0
        self.lowest_v: float | None = None  # at the load
        self.lowest_ms = 0

    def take(self, share: float, load_v: float, seconds: float, at_ms: int) -> None:
        self._seconds[min(STEPS, max(0, int(share / FINEST)))] += seconds
        self.seconds += seconds
        if share > self.most:
            self.most, self.most_ms = share, at_ms
        if self.lowest_v is None or load_v < self.lowest_v:
            self.lowest_v, self.lowest_ms = load_v, at_ms

    def percentile(self, percent: float) -> float | None:
        """The share that was not exceeded for so many of a hundred seconds of drawing; None: nothing was drawn."""
        if self.seconds <= 0.0:
            return None
        wanted, before = self.seconds * percent / 100.0, 0.0
        for step, seconds in enumerate(self._seconds):
            if seconds > 0.0 and before + seconds >= wanted:
                return min(self.most, (step + (wanted - before) / seconds) * FINEST)
            before += seconds
        return self.most
