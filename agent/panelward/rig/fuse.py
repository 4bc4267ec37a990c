"""A fuse that melts by its own two bodies, a breaker that trips by its own; each piece with its own scatter."""

from __future__ import annotations

from math import exp
from random import Random


class Link:
    """An element in its holder. Opens when the element stands at its melting heat; once open it stays open."""

    def __init__(self, rating_a: float, slow: bool, scatter: Random) -> None:
        self.rating_a = rating_a
        # Set so that every piece lies inside the published gates of its type (tests/rig/test_physics.py).
        self._carries = scatter.uniform(1.20, 1.30) if slow else scatter.uniform(1.17, 1.30)
        # The share of the heat that is the element's own; a slow one sheds more of it into its blades and holder.
        self._element = scatter.uniform(0.45, 0.55) if slow else scatter.uniform(0.60, 0.75)
        self._tau_element_s = scatter.uniform(6.0, 8.0) if slow else scatter.uniform(0.6, 1.0)
        self._tau_holder_s = scatter.uniform(180.0, 300.0) if slow else scatter.uniform(60.0, 150.0)
        self._own = self._holder = 0.0
        self.open = False

    @property
    def heat(self) -> float:
        return self._element * self._own + (1.0 - self._element) * self._holder

    def step(self, amps: float, dt_s: float) -> bool:
        """Carry the heat on; True when it opens in this step."""
        drive = (amps / (self._carries * self.rating_a)) ** 2
        self._own = drive + (self._own - drive) * exp(-dt_s / self._tau_element_s)
        self._holder = drive + (self._holder - drive) * exp(-dt_s / self._tau_holder_s)
        if not self.open and self.heat >= 1.0:
            self.open = True
            return True
        return False


class Breaker(Link):
    """A bimetal and a coil: type B trips at once from about four times its rating (IEC 60898-1: 3 to 5)."""

    def __init__(self, rating_a: float, scatter: Random) -> None:
        super().__init__(rating_a, True, scatter)
        self._carries = scatter.uniform(1.15, 1.40)
        self._tau_element_s = scatter.uniform(20.0, 60.0)
        self._coil = scatter.uniform(3.2, 4.8)

    def step(self, amps: float, dt_s: float) -> bool:
        if not self.open and amps >= self._coil * self.rating_a:
            self.open = True
            return True
        return super().step(amps, dt_s)


def fitted(kind: str, letter: str | None, rating_a: float, scatter: Random) -> Link:
    """A device by its kind in the schedule."""
    if kind.startswith("breaker"):
        return Breaker(rating_a, scatter)
    return Link(rating_a, kind == "bolt-fuse" or letter == "E", scatter)
