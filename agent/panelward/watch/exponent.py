"""How a circuit's draw goes with its volts: from the schedule, then measured on the bus's own swings.

The schedule's `behaves` is a word that somebody chose, often the default. So until it is measured, what is known of the
kind of load stands beside it: a draw is odd only where it is odd whichever of these laws holds.

Measured is the slope of ln W over ln V within one stand (a person's change of setting lies between stands), over means of
readings, pooled over all stands. A fault cannot be learned by it: it changes the level, not how it goes with the volts.
"""

from __future__ import annotations

from math import log, sqrt
from typing import Any

from panelward.ratings.behaviour import EXPONENT, LEAST_V, MOST_V
from panelward.records import Circuit, Commissioned

# Of watts, whatever a schedule says (common practice, no source): regulated heaters and drives 0, plain resistance 2,
# a brushed motor with a fan up to 2.8, lamps with resistors steeper than resistance alone.
OF_KIND = {
    "fan": (0.0, 2.8), "pump": (0.0, 2.5), "motor": (0.0, 2.5), "heater-element": (0.0, 2.0), "light": (0.0, 2.8),
    "air-heater": (0.0, 2.0), "compressor": (0.0, 1.5), "electronics": (0.0, 1.0), "charger": (0.0, 1.0),
    "detector": (0.0, 1.0),
}  # fmt: skip
ANY = (0.0, 2.8)
BLOCK = 16  # readings to a mean
ENOUGH = 0.003  # sum of squares of ln V: as twelve means on a bus that swings by 5 %
SURE = 0.2  # standard error
WIDE = 0.35  # … and so much is left open on both sides
LOW_BUS, HIGH_BUS = 0.9, 1.14  # of nominal, where volts are not measured


class Exponent:
    """One circuit's law: `best`, and between which it lies."""

    __slots__ = (
        "_block", "_block_v", "_block_w", "_fixed", "_given", "_high0", "_low0", "_stand", "best", "high", "low", "n", "sxx",
        "sxy", "syy",
    )  # fmt: skip

    def __init__(self, circuit: Circuit, kind_of_supply: str, commissioned: Commissioned | None = None) -> None:
        given = [EXPONENT[load.behaves] for load in circuit.loads] or [0.0]
        ranges = [OF_KIND.get(load.kind, ANY) for load in circuit.loads] or [ANY]
        self._fixed = kind_of_supply == "ac"  # an inverter holds its volts
        self._given = sum(given) / len(given)
        self._low0 = min([low for low, _ in ranges] + given)
        self._high0 = max([high for _, high in ranges] + given)
        if self._fixed:
            self._given = self._low0 = self._high0 = 0.0
        self.best, self.low, self.high = self._given, self._low0, self._high0
        if commissioned is not None and commissioned.exponent is not None:
            self.best = commissioned.exponent
            self.low, self.high = self.best - WIDE, self.best + WIDE
            self._fixed = True
        self.n = 0
        self.sxx = self.sxy = self.syy = 0.0
        self._block, self._block_v, self._block_w = 0, 0.0, 0.0
        self._stand = [0.0, 0.0, 0.0]  # means in this stand: count, of ln V, of ln W

    def take(self, volts: float, watts: float) -> None:
        """A reading of a steady draw, both above nothing."""
        if self._fixed:
            return
        self._block_v += volts
        self._block_w += watts
        self._block += 1
        if self._block < BLOCK:
            return
        x, y = log(self._block_v / BLOCK), log(self._block_w / BLOCK)
        self._block, self._block_v, self._block_w = 0, 0.0, 0.0
        n, mean_x, mean_y = self._stand
        n += 1.0
        dx, dy = x - mean_x, y - mean_y
        if n == 1.0:
            self._stand = [1.0, x, y]
            return
        mean_x += dx / n
        mean_y += dy / n
        self.sxx += dx * (x - mean_x)
        self.sxy += dx * (y - mean_y)
        self.syy += dy * (y - mean_y)
        self.n += 1
        self._stand = [n, mean_x, mean_y]

    def new_stand(self) -> None:
        """The draw changed: what follows has its own mean. What is known by now is taken into use."""
        self._block, self._block_v, self._block_w = 0, 0.0, 0.0
        self._stand = [0.0, 0.0, 0.0]
        if self._fixed or self.sxx < ENOUGH:
            return
        slope = self.sxy / self.sxx
        left = max(0.0, self.syy - slope * self.sxy)
        if sqrt(left / max(1, self.n - 1) / self.sxx) > SURE:
            return
        self.best = min(self._high0, max(self._low0, slope))
        self.low, self.high = self.best - WIDE, self.best + WIDE

    def slack(self, volts: float | None, nominal_v: float) -> tuple[float, float]:
        """Factors (low, high): watts at nominal by `best` may be so much lower or higher by another law."""
        if self.low == self.high:
            return 1.0, 1.0
        if volts is None:
            found = [share ** (self.best - e) for share in (LOW_BUS, HIGH_BUS) for e in (self.low, self.high)]
        elif LEAST_V * nominal_v <= volts <= MOST_V * nominal_v:
            found = [(volts / nominal_v) ** (self.best - e) for e in (self.low, self.high)]
        else:
            return 0.0, float("inf")  # no law reaches there: nothing is odd
        return min(found), max(found)

    def save(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in _KEPT} | {"_stand": list(self._stand)}

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        self._stand = list(state["_stand"])


_KEPT = ("best", "low", "high", "n", "sxx", "sxy", "syy", "_block", "_block_v", "_block_w")
