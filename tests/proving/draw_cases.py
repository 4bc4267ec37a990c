"""All families of the proof of draws, by name; `make` makes one case."""

from __future__ import annotations

from proving import draw_drains, draw_drift, draw_levels, draw_rhythm, draw_starts
from proving.draw_scene import FAMILIES, Case, Family, make

__all__ = ["FAMILIES", "GROUPS", "Case", "Family", "again", "make"]

GROUPS = ("level", "drain", "rhythm", "drift")
assert all(room for room in (draw_levels, draw_starts, draw_drains, draw_rhythm, draw_drift))


def again(case_id: str) -> Case:
    """The case of an outcome."""
    name, n, number = case_id.split("/")
    return make(name, int(n), int(number))
