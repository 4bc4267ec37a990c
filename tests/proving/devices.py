"""A fuse or breaker of its own: two bodies (link, holder), drawn until it stands within the published gates.

Gates: ISO 8820-3 (types C and E), IEC 60898-1 (rows a to e); bolt-in links, thermal breakers from memory.
"""

from __future__ import annotations

from math import exp
from random import Random

# multiple of the rating: (shortest, longest) seconds
GATES: dict[str, tuple[tuple[float, float, float], ...]] = {
    "C": ((1.35, 0.75, 600), (1.6, 0.25, 50), (2.0, 0.15, 5), (3.5, 0.08, 0.5)),
    "F": ((1.35, 0.75, 600), (1.6, 0.25, 50), (2.0, 0.15, 5), (3.5, 0.08, 0.5)),
    "E": ((1.35, 60, 1800), (2.0, 2, 60), (3.5, 0.2, 7)),
    "bolt-fuse": ((1.35, 120, 1800), (2.0, 1, 15), (3.5, 0.3, 5)),
    "breaker-b": ((1.45, 1, 3600), (2.55, 1, 60)),
    "breaker-c": ((1.45, 1, 3600), (2.55, 1, 60)),
    "breaker-thermal": ((1.45, 10, 3600), (2.0, 2, 240)),
}
PICK_UP = {"breaker-b": (1.15, 1.4), "breaker-c": (1.15, 1.4), "breaker-thermal": (1.12, 1.4)}
SPEED = {"C": (0.15, 2.6), "F": (0.15, 2.6), "E": (4.0, 60.0), "bolt-fuse": (1.5, 25.0)}
MAGNETIC = {"breaker-b": (3.0, 5.0), "breaker-c": (5.0, 10.0)}


class Device:
    """Heat in multiples of the square of its rating; open when both bodies together reach the pick-up's square."""

    __slots__ = ("factor", "holder", "link", "magnetic", "opened", "pick_up", "rating_a", "share", "tau_holder", "tau_link")

    def __init__(self, family: str, rating_a: float, rng: Random) -> None:
        self.rating_a = rating_a
        self.factor = 1.0  # what warmth and a bad contact leave of the rating
        self.link = self.holder = 0.0
        self.opened = False
        self.magnetic = rng.uniform(*MAGNETIC[family]) if family in MAGNETIC else None
        for _ in range(4000):
            self.pick_up = rng.uniform(*PICK_UP.get(family, (1.12, 1.32)))
            self.share = rng.uniform(0.6, 0.95)
            low, high = SPEED.get(family, (8.0, 150.0))
            self.tau_link = low * (high / low) ** rng.random()
            self.tau_holder = 20.0 * 20.0 ** rng.random()
            if all(low_s <= self.time_s(m) <= high_s for m, low_s, high_s in GATES[family]):
                return
        raise ValueError(f"no device of {family} within its gates")

    def time_s(self, multiple: float) -> float:
        """Cold, at a constant multiple of the rating."""
        square, need = multiple**2, self.pick_up**2
        if square <= need:
            return float("inf")
        low, high = 0.0, 1e5
        for _ in range(60):
            middle = (low + high) / 2
            heat = square * (
                self.share * (1 - exp(-middle / self.tau_link)) + (1 - self.share) * (1 - exp(-middle / self.tau_holder))
            )
            low, high = (low, middle) if heat >= need else (middle, high)
        return high

    def carry(self, amps: float, seconds: float) -> bool:
        """Whether it is open after carrying this for so long."""
        if self.opened:
            return True
        multiple = amps / (self.rating_a * self.factor)
        square = multiple * multiple
        self.link += (square - self.link) * (1 - exp(-seconds / self.tau_link))
        self.holder += (square - self.holder) * (1 - exp(-seconds / self.tau_holder))
        heat = self.share * self.link + (1 - self.share) * self.holder
        if heat >= self.pick_up**2 or (self.magnetic is not None and multiple >= self.magnetic):
            self.opened = True
        return self.opened
