"""Makes the set of devices anew: agent/panelward/ratings/members.py, from the gates in ratings/devices.py.

Each member is (pickup, share, element_s, holder_s, warm_per_k, cold_per_k, corner). Candidates are points of a Halton
sequence over (pickup, share, element, holder) that satisfy every gate of the type. Corners are the candidates that
open first or last at a current, pushed outwards by a seeded random walk inside the gates, thinned to those that carry
the edge. The others are the first points of the sequence that satisfy the gates.

Run by `tests/run.sh --full`, which compares with the file; `--write` writes it.
"""

from __future__ import annotations

import sys
import types
from math import inf
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).parent.parent.parent
TARGET = ROOT / "agent" / "panelward" / "ratings" / "members.py"
GRID = (1.05, 1.1, 1.15, 1.2, 1.25, 1.3, 1.35, 1.4, 1.5, 1.6, 1.8, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 8.0, 10.0)
CANDIDATES = 200_000
LOW_DISCREPANCY = 9
MOST_CORNERS = 11
EDGE = 0.06  # the corners carry the edge to this (natural logarithm of the time)
FASTEST_S, SLOWEST_S = 0.02, 5000.0  # an element in air, a holder with its cables; from memory
TIGHT = 1.0005  # a hair inside the gates, so that rounding to eight digits stays inside

# Loss per kelvin above the reference, gain per kelvin below. Fuses: 0.1 to 0.38 %/K (0.33 and 0.38: the re-rating row of a
# type E link; 0.1: from memory) and 0 to 0.163 %/K (MIL-PRF-23419/9D: 107 % at -20 °C). Breakers from memory.
WARM = {"fuse": (0.0010, 0.0038), "breaker": (0.003, 0.007)}
COLD = {"fuse": (0.0, 0.07 / 43.0), "breaker": (0.0, 0.005)}

Gates = list[tuple[float, float, float]]
Array = Any


def gates_of_module() -> dict[str, Gates]:
    """The gates of devices.py. The module imports the set that is to be made: an empty one stands in for it."""
    stand_in = types.ModuleType("panelward.ratings.members")
    stand_in.MEMBERS = {}  # type: ignore[attr-defined]
    sys.modules.setdefault("panelward.ratings.members", stand_in)
    sys.path.insert(0, str(ROOT / "agent"))
    from panelward.ratings.devices import GATES

    return {name: [(gate.multiple, gate.min_s, gate.max_s) for gate in rows] for name, rows in GATES.items()}


def halton(count: int) -> Array:
    """The first `count` points of the Halton sequence in bases 2, 3, 5, 7, 11 and 13."""
    columns = []
    for base in (2, 3, 5, 7, 11, 13):
        index, value, factor = np.arange(1, count + 1), np.zeros(count), 1.0
        while index.any():
            factor /= base
            value += factor * (index % base)
            index = index // base
        columns.append(value)
    return np.stack(columns, axis=1)


def bounds(gates: Gates) -> tuple[float, float]:
    """Least and greatest pickup: above the greatest current that it must carry, below the least that must open it."""
    return gates[0][0] * TIGHT, next(m for m, _, longest in gates if longest < inf) / TIGHT


def scaled(points: Array, gates: Gates) -> Array:
    low, high = bounds(gates)
    element = FASTEST_S * 10 ** (points[:, 2] * 4.4)
    return np.stack(
        [low + (high - low) * points[:, 0], 0.97 * points[:, 1], element, element * 10 ** (0.3 + 2.7 * points[:, 3])], axis=1
    )


def heat(p: Array, multiple: float, seconds: Any) -> Array:
    pickup, share, element, holder = p.T
    return (multiple / pickup) ** 2 * (-(1 - share) * np.expm1(-seconds / element) - share * np.expm1(-seconds / holder))


def inside(p: Array, gates: Gates) -> Array:
    good = (p[:, 2] >= FASTEST_S) & (p[:, 3] <= SLOWEST_S) & (p[:, 3] >= 1.5 * p[:, 2])
    for multiple, shortest, longest in gates:
        if shortest > 0:
            good &= heat(p, multiple, shortest * TIGHT) < 1.0
        if longest < inf:
            good &= heat(p, multiple, longest / TIGHT) >= 1.0
    return good


def opening(p: Array, multiple: float) -> Array:
    """log10 of the opening time from cold; never is 99 + pickup, so that a greater pickup counts as later."""
    low, high = np.full(len(p), -4.0), np.full(len(p), 6.0)
    for _ in range(46):
        middle = (low + high) / 2
        opened = heat(p, multiple, 10**middle) >= 1.0
        low, high = np.where(opened, low, middle), np.where(opened, middle, high)
    return np.where((multiple / p[:, 0]) ** 2 <= 1.0, 99.0 + p[:, 0], high)


def pushed(start: Array, gates: Gates, multiple: float, sign: float, seed: int) -> Array:
    """The candidate at the edge, walked on inside the gates."""
    random = np.random.default_rng(seed)
    low, high = bounds(gates)
    best, value = start, sign * opening(start, multiple)[0]
    for step in range(260):
        width = 0.3 * 0.982**step
        tried = np.repeat(best, 160, axis=0)
        tried[:, 0] = np.clip(tried[:, 0] + random.normal(0, width * 0.1, len(tried)), low, high)
        tried[:, 1] = np.clip(tried[:, 1] + random.normal(0, width * 0.3, len(tried)), 0.0, 0.97)
        tried[:, 2:] *= np.exp(random.normal(0, width, (len(tried), 2)))
        tried = tried[inside(tried, gates)]
        if len(tried):
            values = sign * opening(tried, multiple)
            if values.min() < value:
                best, value = tried[[int(values.argmin())]], values.min()
    return best


def thinned(corners: Array, grid: list[float]) -> list[int]:
    """The fewest corners that carry the edge, taken greedily."""
    times = np.array([opening(corners, multiple) for multiple in grid])
    first, last = times.min(axis=1), times.max(axis=1)
    never = last > 50
    chosen: list[int] = []

    def gap(of: list[int]) -> Array:
        early = np.where(first > 50, 0.0, times[:, of].min(axis=1) - first)
        late = np.where(never, np.where(times[:, of].max(axis=1) > 50, 0.0, 5.0), last - times[:, of].max(axis=1))
        return np.maximum(early, late) * np.log(10)

    while len(chosen) < MOST_CORNERS and (not chosen or gap(chosen).max() > EDGE):
        sums = [(float(gap([*chosen, i]).clip(0, 8).sum()), i) for i in range(len(corners)) if i not in chosen]
        chosen.append(min(sums)[1])
    return chosen


def ambient(word: str, early: float, u: float, v: float) -> tuple[float, float]:
    """What warmth takes and cold gives. `early` 1: an early corner, which loses most; 0: a late one; -1: by the points."""
    (warm_least, warm_most), (cold_least, cold_most) = WARM[word], COLD[word]
    if early == 1.0:
        return warm_most, cold_least
    if early == 0.0:
        return warm_least, cold_most
    return warm_least + (warm_most - warm_least) * u, cold_least + (cold_most - cold_least) * v


def members(name: str, gates: Gates) -> list[tuple[float, ...]]:
    points = halton(CANDIDATES)
    candidates = scaled(points, gates)
    good = inside(candidates, gates)
    candidates, points = candidates[good], points[good]
    grid = list(GRID)
    corners, early = [], []
    for at, multiple in enumerate(grid):
        times = opening(candidates, multiple)
        for sign, pick in ((1.0, times.argmin()), (-1.0, times.argmax())):
            corners.append(pushed(candidates[[int(pick)]], gates, multiple, sign, at)[0])
            early.append(1.0 if sign > 0 else 0.0)
    word = "breaker" if name.startswith("breaker") else "fuse"
    rows: list[tuple[float, ...]] = []
    for i in thinned(np.array(corners), grid):
        rows.append((*rounded(corners[i]), *rounded(ambient(word, early[i], 0, 0)), True))
    for p, u in zip(candidates[:LOW_DISCREPANCY], points[:LOW_DISCREPANCY], strict=True):
        rows.append((*rounded(p), *rounded(ambient(word, -1.0, u[4], u[5])), False))
    plain = np.array([row[:4] for row in rows])
    loose = [(m, a / TIGHT, b * TIGHT) for m, a, b in gates]
    assert inside(plain, loose).all(), name
    return rows


def rounded(values: Any) -> tuple[float, ...]:
    return tuple(float(f"{value:.8g}") for value in values)


HEAD = '''"""The published set of devices, by type. Made by tests/reference/make_members.py from the gates in devices.py.

Rows: pickup, share of the holder, element_s, holder_s, loss per kelvin of warmth, gain per kelvin of cold, corner.
Every row satisfies every gate of its type: tests/ratings checks each. Corners stand at the edges of the band; the others
are low-discrepancy points inside it.
"""

from __future__ import annotations

Row = tuple[float, float, float, float, float, float, bool]

MEMBERS: dict[str, tuple[Row, ...]] = {
'''


def main() -> int:
    gates = gates_of_module()
    text = HEAD
    for name, rows_of in gates.items():
        rows = members(name, rows_of)
        print(f"members: {name}: {sum(bool(row[-1]) for row in rows)} corners, {len(rows)} in all", flush=True)
        text += f'    "{name}": (\n' + "".join(f"        {tuple(row)!r},\n" for row in rows) + "    ),\n"
    text += "}\n"
    if "--write" in sys.argv:
        TARGET.write_text(text)
        return 0
    same = TARGET.read_text() == text
    print(f"members: the file {'is what' if same else 'is NOT what'} this search makes (numpy {np.__version__})")
    return 0 if same else 1


if __name__ == "__main__":
    raise SystemExit(main())
