"""Conductors: resistance, ampacity in their place, and how fast they warm.

The ampacity rule for direct current here is 33 CFR 183.425 Table 5 (systems under 50 V, 30 °C), for alternating
current IEC 60364-5-52 (copper, PVC 70 °C). Sizes between two table rows take the smaller row; insulation between
two columns the cooler column. Local code and licensed practice win over this arithmetic.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sqrt

from panelward.records import Segment

COPPER_OHM_MM2_PER_M_20C = 0.017241  # IEC 60028:1925, annealed copper
COPPER_ALPHA_20C = 0.00393  # per kelvin, IEC 60028:1925
COPPER_J_PER_M3_K = 3.45e6  # volumetric heat capacity, from memory (IEC 60364-5-54 uses the same figure)

AWG_SIZES = ("18", "16", "14", "12", "10", "8", "6", "4", "3", "2", "1", "1/0", "2/0", "3/0", "4/0")

_CFR_COLUMNS_C = (60, 75, 80, 90, 105, 125, 200)
_CFR_A: dict[str, tuple[int, ...]] = {  # 33 CFR 183.425 Table 5, federal.elaws.us and edocket.access.gpo.gov
    "18": (10, 10, 15, 20, 20, 25, 25),
    "16": (15, 15, 20, 25, 25, 30, 35),
    "14": (20, 20, 25, 30, 35, 40, 45),
    "12": (25, 25, 35, 40, 45, 50, 55),
    "10": (40, 40, 50, 55, 60, 70, 70),
    "8": (55, 65, 70, 70, 80, 90, 100),
    "6": (80, 95, 100, 100, 120, 125, 135),
    "4": (105, 125, 130, 135, 160, 170, 180),
    "3": (120, 145, 150, 155, 180, 195, 210),
    "2": (140, 170, 175, 180, 210, 225, 240),
    "1": (165, 195, 210, 210, 245, 265, 280),
    "1/0": (195, 230, 245, 245, 285, 305, 325),
    "2/0": (225, 265, 285, 285, 330, 355, 370),
    "3/0": (260, 310, 330, 330, 385, 410, 430),
    "4/0": (300, 360, 385, 385, 445, 475, 510),
}
# 33 CFR 183.425 note 2 as reprinted, and a wire maker's table: conductors in one bundle, up to and including.
_CFR_BUNDLE = ((2, 1.0), (3, 0.70), (6, 0.60), (24, 0.50), (10**9, 0.40))

_IEC_MM2 = (1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0)
_IEC_B2_A = (15, 20, 27, 34, 46, 62, 80, 99, 118, 149, 179)  # three loaded, method B2, two instruction books
_IEC_AMBIENT = ((30, 1.0), (35, 0.94), (40, 0.87), (45, 0.79), (50, 0.71), (55, 0.61), (60, 0.50))
_IEC_BUNCHED = (  # IEC 60364-5-52 table B.52.17, from memory
    (1, 1.0), (2, 0.80), (3, 0.70), (4, 0.65), (5, 0.60), (6, 0.57),
    (7, 0.54), (8, 0.52), (9, 0.50), (12, 0.45), (16, 0.41), (10**9, 0.38),
)  # fmt: skip
# Length surrounded by thermal insulation, m; IEC 60364-5-52 clause 523.9, from memory.
_INSULATED = ((0.05, 0.88), (0.1, 0.78), (0.2, 0.63), (0.4, 0.51), (1e9, 0.50))

CFR_SOURCE = "33 CFR 183.425 Table 5 (free air, under 50 V, 30 °C)"
IEC_SOURCE = "IEC 60364-5-52, method B2, PVC 70 °C, 30 °C"


@dataclass(frozen=True, slots=True)
class Ampacity:
    """What a stretch of conductor may carry continuously in its place."""

    amps: float
    rule: str
    source: str
    insulation_c: float  # the column that was used
    ambient_c: float
    area_mm2: float  # of the table row that was used
    assumed: tuple[str, ...]  # what the schedule does not say, and what was taken for it


def awg_area_mm2(awg: str) -> float:
    """Copper area of an AWG size, mm2: d = 0.127 mm x 92^((36 - n) / 39), ASTM B258; 1/0 to 4/0 are n = 0 to -3."""
    n = 1 - int(awg[0]) if awg.endswith("/0") else int(awg)
    diameter_mm = 0.127 * 92.0 ** ((36 - n) / 39.0)
    return float(pi / 4.0 * diameter_mm**2)


def area_mm2(segment: Segment) -> float | None:
    """Copper area of a segment, mm2; None where the schedule gives neither area nor AWG."""
    if segment.area_mm2 is not None:
        return segment.area_mm2
    return awg_area_mm2(segment.awg) if segment.awg is not None else None


def resistance_ohm_per_m(area: float, conductor_c: float = 20.0) -> float:
    """Resistance of one metre of annealed copper of `area` mm2 at a temperature; IEC 60028:1925."""
    return COPPER_OHM_MM2_PER_M_20C / area * (1.0 + COPPER_ALPHA_20C * (conductor_c - 20.0))


def corrected_ampacity_a(segment: Segment, supply_kind: str) -> Ampacity | None:
    """Ampacity of a segment in its place (ambient, bundle, thermal insulation); None: size not known or not tabulated.

    Direct current: the ambient factor is sqrt((Tins - Ta) / (Tins - 30)), which gives 33 CFR's engine-space 0.85 for
    105 °C and NEC 310.15's column values. Insulation or ambient not given: 60 °C and 30 °C are taken and named.
    """
    area = area_mm2(segment)
    if area is None:
        return None
    assumed: list[str] = []
    if segment.ambient_c is None:
        assumed.append("ambient 30 °C")
    ambient = 30.0 if segment.ambient_c is None else segment.ambient_c
    if segment.bundled is None:
        assumed.append("not bundled")
    bundled = segment.bundled or 1
    found = _iec(area, segment, ambient, assumed) if supply_kind == "ac" else _cfr(area, segment, ambient, assumed)
    if found is None:
        return None
    amps, rule, source, insulation, row = found
    buried = _step(_INSULATED, segment.thermal_insulation_m) if segment.thermal_insulation_m > 0 else 1.0
    factor = _step(_IEC_BUNCHED, bundled) if supply_kind == "ac" else _step(_CFR_BUNDLE, bundled)
    return Ampacity(amps * factor * buried, rule, source, insulation, ambient, row, tuple(assumed))


def _cfr(area: float, segment: Segment, ambient: float, assumed: list[str]) -> tuple[float, str, str, float, float] | None:
    sizes = [awg for awg in AWG_SIZES if awg_area_mm2(awg) <= area * 1.0005]
    if not sizes:
        return None
    if segment.insulation_c is None:
        assumed.append("insulation 60 °C")
    wanted = 60.0 if segment.insulation_c is None else segment.insulation_c
    columns = [c for c in _CFR_COLUMNS_C if c <= wanted]
    if not columns:
        return None
    column = columns[-1]
    base = _CFR_A[sizes[-1]][len(columns) - 1]
    factor = sqrt(max(0.0, column - ambient) / (column - 30.0))
    return base * factor, "33 CFR 183.425", CFR_SOURCE, float(column), awg_area_mm2(sizes[-1])


def _iec(area: float, segment: Segment, ambient: float, assumed: list[str]) -> tuple[float, str, str, float, float] | None:
    rows = [i for i, mm2 in enumerate(_IEC_MM2) if mm2 <= area * 1.0005]
    if not rows or (segment.insulation_c is not None and segment.insulation_c < 70):
        return None
    if segment.insulation_c is None:
        assumed.append("insulation 70 °C")
    factor = _step(_IEC_AMBIENT, max(30.0, ambient)) if ambient <= 60 else 0.0
    return _IEC_B2_A[rows[-1]] * factor, "IEC 60364-5-52", IEC_SOURCE, 70.0, _IEC_MM2[rows[-1]]


def _step(table: tuple[tuple[float, float], ...], value: float) -> float:
    return next(factor for limit, factor in table if value <= limit + 1e-9)


def time_constant_s(ampacity: Ampacity) -> float:
    """Seconds in which a conductor takes up 63 % of its final rise.

    Energy balance of the bare copper at its ampacity: tau = c A dT / (I^2 R'), insulation left out (the quick side).
    """
    ohm_per_m = resistance_ohm_per_m(ampacity.area_mm2, ampacity.insulation_c)
    rise_k = max(1.0, ampacity.insulation_c - ampacity.ambient_c)
    stored_j_per_m = COPPER_J_PER_M3_K * ampacity.area_mm2 * 1e-6 * rise_k
    return stored_j_per_m / (max(0.1, ampacity.amps) ** 2 * ohm_per_m)
