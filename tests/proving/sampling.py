"""Latin hypercube: n points, each coordinate's n strata used once. A point is made alone, from the names and its number."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from random import Random
from typing import TypeVar

T = TypeVar("T")
SEED = "proving-1"


@lru_cache(maxsize=4096)
def _strata(family: str, n: int, name: str) -> tuple[int, ...]:
    strata = list(range(n))
    Random(f"{SEED}/{family}/{n}/{name}").shuffle(strata)
    return tuple(strata)


class Point:
    """One point of the cube of `family`; a coordinate exists when it is asked for."""

    def __init__(self, family: str, n: int, number: int) -> None:
        self.family, self.n, self.number = family, n, number
        self.rng = Random(f"{SEED}/{family}/{n}/{number}")  # for what is not worth a coordinate

    def u(self, name: str) -> float:
        within = Random(f"{SEED}/{self.family}/{self.n}/{self.number}/{name}").random()
        return (_strata(self.family, self.n, name)[self.number] + within) / self.n

    def between(self, name: str, low: float, high: float) -> float:
        return low + (high - low) * self.u(name)

    def log_between(self, name: str, low: float, high: float) -> float:
        return float(low * (high / low) ** self.u(name))

    def pick(self, name: str, choices: Sequence[T]) -> T:
        return choices[int(self.u(name) * len(choices))]

    def chance(self, name: str, share: float) -> bool:
        return self.u(name) < share
