"""What the air round a load may do to its draw: as exactly as the probes there tell, and no more.

A fan at one speed moves volume, so its watts go with the air's density, as 1/T. A compressor's go up with the warmth its
condenser stands in. Nobody measures the air that they take in: it lies between what a probe reads and what people, sun and a
full panel make of it.
"""

from __future__ import annotations

from typing import NamedTuple

from panelward.watch.cooling import INSIDE_OLD_MS
from panelward.watch.panel import Panel

AIR = 0.09  # a fan's power with the air's density, 5 to 30 °C: what a season or a front may do; 303 K / 278 K
KELVIN = 273.15
COLDEST_C, HOTTEST_C = -20.0, 45.0  # where nothing tells
PROBE_K = 1.0  # a probe beside it may be wrong by so much (no source)
SUN_K, ROOM_C = 5.0, 22.0  # inside it is warmer than outside by the sun, or as warm as people heat (no source)
PANEL_K = 15.0  # a panel's own warmth (no source)
COMPRESSOR_PER_K = (0.005, 0.011)  # of its watts (from memory)


class Around(NamedTuple):
    """What draw is to be divided by, and by what share it may still be above or below."""

    factor: float
    above: float
    below: float


def warmth(panel: Panel, circuit_id: str, now_ms: int, *, beside: bool) -> tuple[float, float] | None:
    """The air that a load takes in, °C, at least and at most; None: nothing tells. `beside`: a probe at the load is in it."""
    probe = panel.inside.get(circuit_id) if beside else None
    if probe is not None and now_ms - probe[1] <= INSIDE_OLD_MS:
        return probe[0] - PROBE_K, probe[0] + PROBE_K
    if panel.outside_c is not None:
        return panel.outside_c, max(panel.outside_c + SUN_K, ROOM_C)
    if panel.panel_c is not None:
        return panel.panel_c - PANEL_K, panel.panel_c
    return None


def of_fan(ambient_c: float, warm: tuple[float, float] | None) -> Around:
    """Beside the air of the record."""
    if warm is None:
        then_k = KELVIN + ambient_c
        return Around(1.0, then_k / (KELVIN + COLDEST_C) - 1.0, 1.0 - then_k / (KELVIN + HOTTEST_C))
    middle_k = KELVIN + (warm[0] + warm[1]) / 2.0
    return Around((KELVIN + ambient_c) / middle_k, middle_k / (KELVIN + warm[0]) - 1.0, 1.0 - middle_k / (KELVIN + warm[1]))


def of_compressor(ambient_c: float, warm: tuple[float, float]) -> Around:
    """Beside the warmth of the record."""
    corners = [1.0 + per_k * (celsius - ambient_c) for per_k in COMPRESSOR_PER_K for celsius in warm]
    low, high = max(0.5, min(corners)), max(corners)
    middle = (low + high) / 2.0
    return Around(middle, high / middle - 1.0, 1.0 - low / middle)
