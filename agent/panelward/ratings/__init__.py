"""Pure functions over published tables: what devices and conductors can bear. Each number has its source beside it."""

from panelward.ratings.conductor import (
    Ampacity,
    area_mm2,
    awg_area_mm2,
    corrected_ampacity_a,
    resistance_ohm_per_m,
    time_constant_s,
)
from panelward.ratings.devices import GATES, MAGNETIC, Device, Gate, cold_factor, device, warm_factor
from panelward.ratings.thermal import Body, heat, iec_60255_149_time_s, time_to_open_s, warm

__all__ = [
    "GATES",
    "MAGNETIC",
    "Ampacity",
    "Body",
    "Device",
    "Gate",
    "area_mm2",
    "awg_area_mm2",
    "cold_factor",
    "corrected_ampacity_a",
    "device",
    "heat",
    "iec_60255_149_time_s",
    "resistance_ohm_per_m",
    "time_constant_s",
    "time_to_open_s",
    "warm",
    "warm_factor",
]
