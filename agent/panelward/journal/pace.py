"""How often readings really come, by what is kept."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from panelward.journal import Journal

SPAN_MS = 3_600_000
LEAST = 20  # waits; fewer say nothing of a habit. Common practice, no source


def pace_s(journal: Journal, to_ms: int, circuits: Collection[str], span_ms: int = SPAN_MS) -> dict[str, float]:
    """The median wait, s, between the currents of each circuit in the span before `to_ms`; a gap or two move it little.

    Of which there are too few, nothing is said.
    """
    times: dict[str, list[int]] = {}
    for found in journal.amps(to_ms - span_ms, to_ms, circuits):
        times.setdefault(found.circuit, []).extend(found.times_ms)
    seen = {circuit: typical_s(found_ms) for circuit, found_ms in times.items()}
    return {circuit: every_s for circuit, every_s in seen.items() if every_s is not None}


def typical_s(times_ms: Iterable[int]) -> float | None:
    """The median wait between these moments, s; None: too few."""
    waits = [after - before for before, after in pairwise(sorted(set(times_ms)))]
    return round(median(waits) / 1000, 1) if len(waits) >= LEAST else None
