"""Conductors: their sizes, resistance, and what heat they take up. What they may carry stands in `ampacity`.

Three series of sizes: mm² (IEC 60228), AWG (ASTM B258) and SAE, whose sizes hold 3 to 11 % less copper than the AWG
size of the same number. Local code and licensed practice win over this arithmetic.
"""

from __future__ import annotations

from functools import cache
from math import pi

from panelward.records import Segment

COPPER_OHM_MM2_PER_M_20C = 0.017241  # IEC 60028:1925, annealed copper
COPPER_ALPHA_20C = 0.00393  # per kelvin, IEC 60028:1925
COPPER_J_PER_M3_K = 3.45e6  # volumetric heat capacity, from memory (IEC 60364-5-54 uses the same figure)
STRANDED = 1.02  # a strand's lay is longer than its cable: about 2 %, from the stranded rows of NEC chapter 9 table 8

AWG_SIZES = (
    "24", "22", "20", "18", "16", "14", "12", "10", "8", "6", "4", "3", "2", "1", "1/0", "2/0", "3/0", "4/0",
)  # fmt: skip
AWG_ALIASES = {"0": "1/0", "00": "2/0", "000": "3/0", "0000": "4/0"}
CMIL_MM2 = 25.4e-3**2 * pi / 4.0  # the circular mil: a circle of 0.001 in

SAE_CMIL = {  # wire charts of boat cable (seen once)
    "18": 1537, "16": 2336, "14": 3702, "12": 5833, "10": 9343, "8": 14810, "6": 24538, "4": 37360, "2": 62450,
    "1": 77790, "1/0": 98980, "2/0": 125100, "3/0": 158600, "4/0": 205500,
}  # fmt: skip

# IEC 60228:2004, greatest resistance of plain copper at 20 °C, ohm per km; class 5 (flexible), four published copies.
# 50 mm² is printed lower than in class 2 (0.387): no slip.
IEC_60228_CLASS_5 = {
    0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30, 10.0: 1.91, 16.0: 1.21, 25.0: 0.780,
    35.0: 0.554, 50.0: 0.386, 70.0: 0.272, 95.0: 0.206,
}  # fmt: skip
IEC_60228_CLASS_2 = {
    0.5: 36.0, 0.75: 24.5, 1.0: 18.1, 1.5: 12.1, 2.5: 7.41, 4.0: 4.61, 6.0: 3.08, 10.0: 1.83, 16.0: 1.15, 25.0: 0.727,
    35.0: 0.524, 50.0: 0.387, 70.0: 0.268, 95.0: 0.193,
}  # fmt: skip
STANDARD_MM2 = tuple(IEC_60228_CLASS_5)

# IEC 60364-5-54 (as quoted): k in k²S² for copper, A √s / mm²: PVC 115, cross-linked 143.
K_PVC, K_CROSS_LINKED = 115.0, 143.0
CROSS_LINKED_FROM_C = 90.0


@cache
def awg_area_mm2(awg: str) -> float:
    """Copper area of an AWG size, mm2: d = 0.127 mm x 92^((36 - n) / 39), ASTM B258; 1/0 to 4/0 are n = 0 to -3."""
    n = 1 - int(awg[0]) if awg.endswith("/0") else int(awg)
    diameter_mm = 0.127 * 92.0 ** ((36 - n) / 39.0)
    return float(pi / 4.0 * diameter_mm**2)


def sae_area_mm2(size: str) -> float:
    """Copper area of an SAE size, mm2, from its circular mils."""
    return SAE_CMIL[size] * CMIL_MM2


def area_mm2(segment: Segment) -> float | None:
    """Copper area of a segment, mm2; None where the schedule gives no size."""
    if segment.area_mm2 is not None:
        return segment.area_mm2
    if segment.awg is not None:
        return awg_area_mm2(segment.awg)
    return sae_area_mm2(segment.sae) if segment.sae is not None else None


def resistance_ohm_per_m(area: float, conductor_c: float = 20.0) -> float:
    """Resistance of one metre of annealed copper of `area` mm2 at a temperature; IEC 60028:1925."""
    return COPPER_OHM_MM2_PER_M_20C / area * (1.0 + COPPER_ALPHA_20C * (conductor_c - 20.0))


def greatest_ohm_per_m(segment: Segment, conductor_c: float = 20.0) -> float | None:
    """The most that a metre of this conductor may have: IEC 60228 class 5 where its size is one, else copper and its lay.

    None where no size is known.
    """
    area = area_mm2(segment)
    if area is None:
        return None
    printed = IEC_60228_CLASS_5.get(area) if segment.area_mm2 is not None else None
    if printed is not None:
        return printed / 1000.0 * (1.0 + COPPER_ALPHA_20C * (conductor_c - 20.0))
    return STRANDED * resistance_ohm_per_m(area, conductor_c)


def withstand_a2s(area: float, insulation_c: float) -> float:
    """k²S²: what heat (A²s) a conductor of `area` mm2 bears in a short circuit without harm; IEC 60364-4-43 and -5-54."""
    k = K_CROSS_LINKED if insulation_c >= CROSS_LINKED_FROM_C else K_PVC
    return (k * area) ** 2
