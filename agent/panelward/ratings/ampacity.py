"""What a conductor may carry continuously in its place, by every rule that is named for the vehicle.

The rules do not agree, and none is right for all: 33 CFR 183.425 (boats, free air, under 50 V) allows two to three times
what the US low-voltage rule for vehicles does. So the schedule names the rules, each is applied with its own factors
for ambient, bundling and thermal insulation, the strictest decides, and it is named. A size between two rows takes the
smaller row, insulation between two columns the cooler column. Nothing is gained from a cold place.
Local code and licensed practice win over this arithmetic.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import sqrt

from panelward.ratings.conductor import COPPER_J_PER_M3_K, area_mm2, awg_area_mm2, resistance_ohm_per_m
from panelward.records import Segment


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
    by_rule: tuple[tuple[str, float | None], ...]  # every rule named for it, and what it gives; None: it does not reach
    bound: bool  # no rule reaches it: this is what the next greater tabulated one carries, so it carries less
    thermal_a: float  # what brings its insulation to its rated temperature in its place; a rule may allow less
    rated_c: float  # of its insulation


@dataclass(frozen=True, slots=True)
class _Row:
    amps: float
    column_c: float
    area_mm2: float
    free_a: float  # what the table prints, times its bundling: at column_c from base_c
    assumed: tuple[str, ...] = ()
    bound: bool = False
    base_c: float = 30.0


@dataclass(frozen=True, slots=True)
class Rule:
    """One published rule of ampacity."""

    name: str
    source: str
    kinds: tuple[str, ...]  # dc, ac
    row: Callable[[float, Segment, float, int], _Row | None]


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

_NEC_COLUMNS_C = (60, 75, 90)
_NEC_A: dict[str, tuple[int, int, int]] = {  # NEC 2023 Table 310.16, copper: wiresizes.com; intrysys.com; 0: not listed
    "18": (0, 0, 14),
    "16": (0, 0, 18),
    "14": (15, 20, 25),
    "12": (20, 25, 30),
    "10": (30, 35, 40),
    "8": (40, 50, 55),
    "6": (55, 65, 75),
    "4": (70, 85, 95),
    "3": (85, 100, 115),
    "2": (95, 115, 130),
    "1": (110, 130, 145),
    "1/0": (125, 150, 170),
    "2/0": (145, 175, 195),
    "3/0": (165, 200, 225),
    "4/0": (195, 230, 260),
}
# NEC Table 310.15(B)(1): up to this ambient, for 60, 75 and 90 °C. Its factors above 1 are not used here.
_NEC_AMBIENT = (
    (30, (1.0, 1.0, 1.0)),
    (35, (0.91, 0.94, 0.96)),
    (40, (0.82, 0.88, 0.91)),
    (45, (0.71, 0.82, 0.87)),
    (50, (0.58, 0.75, 0.82)),
    (55, (0.41, 0.67, 0.76)),
    (60, (0.0, 0.58, 0.71)),
    (65, (0.0, 0.0, 0.65)),
    (70, (0.0, 0.0, 0.58)),
    (75, (0.0, 0.0, 0.50)),
    (80, (0.0, 0.0, 0.41)),
    (85, (0.0, 0.0, 0.29)),
)
# NEC 310.15(C)(1), in 2014 Table 310.15(B)(3)(a): conductors in one raceway or bundle.
_NEC_BUNDLE = ((3, 1.0), (6, 0.80), (9, 0.70), (20, 0.50), (30, 0.45), (40, 0.40), (10**9, 0.35))
# NEC 240.4(D): the device of a small conductor. 14 to 10 AWG: voltagelab.com, intrysys.com; 18 and 16 from memory.
_NEC_SMALL_A = {"18": 7.0, "16": 10.0, "14": 15.0, "12": 20.0, "10": 30.0}
_NEC_551_A = {"18": 6.0, "16": 8.0, "14": 15.0, "12": 20.0, "10": 30.0}  # NEC 551.10(E)(1), from memory

_IEC_MM2 = (1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0)
# Two loaded conductors, method B2: B.52.2 (PVC 70 °C) and B.52.4 (cross-linked 90 °C), from memory. Three loaded, B.52.4's
# neighbour for PVC, is in two instruction books (15, 20, 27, 34, 46, 62, 80, 99, 118, 149, 179): nine to twelve per cent less.
_IEC_B2_A = (
    (16.5, 23, 30, 38, 52, 69, 90, 111, 133, 168, 201),
    (22, 30, 40, 51, 69, 91, 119, 146, 175, 221, 265),
)
# B.52.14, PVC and cross-linked; PVC 40 to 55 °C by the instruction books, the others from memory.
_IEC_AMBIENT = (
    (30, (1.0, 1.0)), (35, (0.94, 0.96)), (40, (0.87, 0.91)), (45, (0.79, 0.87)), (50, (0.71, 0.82)), (55, (0.61, 0.76)),
    (60, (0.50, 0.71)), (65, (0.0, 0.65)), (70, (0.0, 0.58)), (75, (0.0, 0.50)), (80, (0.0, 0.41)),
)  # fmt: skip
_IEC_BUNCHED = (  # IEC 60364-5-52 table B.52.17, from memory
    (1, 1.0), (2, 0.80), (3, 0.70), (4, 0.65), (5, 0.60), (6, 0.57),
    (7, 0.54), (8, 0.52), (9, 0.50), (12, 0.45), (16, 0.41), (10**9, 0.38),
)  # fmt: skip
# FAA AC 43.13-1B Table 11-9: conductor at 105 °C, bundles of 33 or more, 70 °C ambient; landseaskyspace.com.
_FAA_A = {
    "24": 2.5, "22": 3.0, "20": 4.0, "18": 6.0, "16": 7.0, "14": 10.0, "12": 13.0, "10": 17.0, "8": 38.0, "6": 50.0,
    "4": 68.0, "2": 95.0, "1": 113.0, "1/0": 128.0, "2/0": 147.0, "3/0": 172.0, "4/0": 204.0,
}  # fmt: skip

# Length surrounded by thermal insulation, m; IEC 60364-5-52 clause 523.9, from memory. Rules without one of their own take it.
_INSULATED = ((0.05, 0.88), (0.1, 0.78), (0.2, 0.63), (0.4, 0.51), (1e9, 0.50))


def _step(table: Sequence[tuple[float, float]], value: float) -> float:
    return next(factor for limit, factor in table if value <= limit + 1e-9)


def _awg_row(area: float, segment: Segment, sizes: Sequence[str]) -> tuple[str, float, bool]:
    """The greatest tabulated AWG size that holds no more copper; if none, the smallest, as a bound. With a factor: an SAE
    size takes the row of its number, less what it lacks in copper.
    """
    if segment.sae is not None and segment.sae in sizes:
        return segment.sae, area / awg_area_mm2(segment.sae), False
    fitting = [awg for awg in sizes if awg_area_mm2(awg) <= area * 1.0005]
    return (max(fitting, key=awg_area_mm2), 1.0, False) if fitting else (min(sizes, key=awg_area_mm2), 1.0, True)


def _insulation(segment: Segment, columns: Sequence[int], otherwise: int) -> tuple[int, bool, tuple[str, ...]]:
    """The column for the insulation, as a number in `columns`; if it is below the coolest, that, as a bound."""
    if segment.insulation_c is None:
        return columns.index(otherwise), False, (f"insulation {otherwise} °C",)
    fitting = [i for i, column in enumerate(columns) if column <= segment.insulation_c]
    return (fitting[-1], False, ()) if fitting else (0, True, ())


def _warmth(column_c: float, own_c: float, ambient: float, base_c: float = 30.0) -> float:
    """What is left in a warm place, by the square law of the rise, for insulation of `own_c` in a column of `column_c`.

    At 50 °C it gives the printed 0.85 of 105 °C cable. Better insulation than the column's bears more warmth.
    """
    return sqrt(max(0.0, own_c - ambient) / (column_c - base_c))


def _cfr(area: float, segment: Segment, ambient: float, bundled: int) -> _Row:
    awg, less, small = _awg_row(area, segment, tuple(_CFR_A))
    column, cool, assumed = _insulation(segment, _CFR_COLUMNS_C, 60)
    at_c = _CFR_COLUMNS_C[column]
    free = _CFR_A[awg][column] * less * _step(_CFR_BUNDLE, bundled)
    warmth = min(1.0, _warmth(at_c, max(at_c, segment.insulation_c or 0.0), ambient))
    return _Row(free * warmth, at_c, awg_area_mm2(awg), free, assumed, small or cool)


def _nec(area: float, segment: Segment, ambient: float, bundled: int) -> _Row:
    awg, less, small = _awg_row(area, segment, tuple(_NEC_A))
    column, cool, assumed = _insulation(segment, _NEC_COLUMNS_C, 60)
    sizes = tuple(_NEC_A)
    while not _NEC_A[awg][column]:  # not listed for that insulation: the next greater size bounds it
        awg, less, small = sizes[sizes.index(awg) + 1], 1.0, True
    warm = next((factors[column] for limit, factors in _NEC_AMBIENT if ambient <= limit + 1e-9), 0.0)
    free = _NEC_A[awg][column] * less * _step(_NEC_BUNDLE, bundled)
    amps = min(free * warm, _NEC_SMALL_A.get(awg, free))
    return _Row(amps, _NEC_COLUMNS_C[column], awg_area_mm2(awg), free, assumed, small or cool)


def _nec_551(area: float, segment: Segment, ambient: float, bundled: int) -> _Row | None:
    """It prints no factors: its figure, and no more than 33 CFR leaves in that place."""
    awg, _, small = _awg_row(area, segment, tuple(_NEC_551_A))
    if segment.sae not in _NEC_551_A and area > awg_area_mm2("10") * 1.0005:
        return None
    free_air = _cfr(area, segment, ambient, bundled)
    amps = min(_NEC_551_A[awg], free_air.amps)
    return _Row(amps, free_air.column_c, awg_area_mm2(awg), free_air.free_a, free_air.assumed, small)


def _iec(area: float, segment: Segment, ambient: float, bundled: int) -> _Row:
    """`bundled` counts conductors, the table circuits: two conductors are one."""
    rows = [i for i, mm2 in enumerate(_IEC_MM2) if mm2 <= area * 1.0005]
    column, cool, assumed = _insulation(segment, (70, 90), 70)
    row, at_c = rows[-1] if rows else 0, (70.0, 90.0)[column]
    free = _IEC_B2_A[column][row] * _step(_IEC_BUNCHED, (bundled + 1) // 2)
    warm = next((factors[column] for limit, factors in _IEC_AMBIENT if ambient <= limit + 1e-9), 0.0)
    return _Row(free * warm, at_c, _IEC_MM2[row], free, assumed, not rows or cool)


def _faa(area: float, segment: Segment, ambient: float, bundled: int) -> _Row:
    del bundled  # the table is for bundles of 33 or more
    awg, less, small = _awg_row(area, segment, tuple(_FAA_A))
    _, cool, assumed = _insulation(segment, (105,), 105)
    free = _FAA_A[awg] * less
    bound = small or cool or segment.insulation_c is None
    return _Row(free if ambient <= 70 else 0.0, 105.0, awg_area_mm2(awg), free, assumed, bound, 70.0)


RULES: dict[str, Rule] = {
    rule.name: rule
    for rule in (
        Rule("33 CFR 183.425", "33 CFR 183.425 Table 5 (free air, under 50 V, 30 °C; bundles by boat practice)", ("dc",), _cfr),
        Rule("NEC 310.16", "NEC 2023 Table 310.16 (30 °C) with 310.15 and 240.4(D)", ("dc", "ac"), _nec),
        Rule(
            "NEC 551.10",
            "NEC 551.10(E)(1), low voltage, 18 to 10 AWG, from memory; no more than 33 CFR leaves there",
            ("dc",),
            _nec_551,
        ),
        Rule("IEC 60364-5-52", "IEC 60364-5-52, method B2, two loaded, 30 °C, from memory", ("dc", "ac"), _iec),
        Rule("FAA AC 43.13-1B", "FAA AC 43.13-1B Table 11-9 (105 °C, bundles, 70 °C)", ("dc", "ac"), _faa),
    )
}
DEFAULT_RULES = {"dc": ("33 CFR 183.425",), "ac": ("IEC 60364-5-52",)}


def corrected_ampacity_a(segment: Segment, supply_kind: str, rules: Sequence[str] = ()) -> Ampacity | None:
    """Ampacity of a segment in its place, A, by the strictest of the named `rules`; none named: DEFAULT_RULES.

    None: its size is not known, or none of the rules says anything about it. Where none reaches its size or insulation
    the next greater tabulated one bounds it (`bound`). What the segment does not say is taken as stated in `assumed`:
    30 °C ambient, not bundled, the coolest insulation of the rule. Only rules that apply to the kind of supply (dc, ac)
    count. KeyError for a rule that is not in RULES.
    """
    area = area_mm2(segment)
    if area is None:
        return None
    ambient = max(30.0, 30.0 if segment.ambient_c is None else segment.ambient_c)
    bundled = segment.bundled or 1
    buried = _step(_INSULATED, segment.thermal_insulation_m) if segment.thermal_insulation_m > 0 else 1.0
    named = [RULES[name] for name in rules or DEFAULT_RULES[supply_kind]]
    found: list[tuple[Rule, _Row]] = []
    by_rule: list[tuple[str, float | None]] = []
    for rule in named:
        if supply_kind not in rule.kinds:
            continue
        row = rule.row(area, segment, ambient, bundled)
        by_rule.append((rule.name, None if row is None or row.bound else row.amps * buried))
        if row is not None:
            found.append((rule, row))
    if by_rule and not found:  # the named say nothing of this size: the kind's ordinary rule bounds it
        for rule in (RULES[name] for name in DEFAULT_RULES[supply_kind]):
            row = rule.row(area, segment, ambient, bundled)
            found += [(rule, row)] if row is not None else []
    if not found:
        return None
    reaching = [pair for pair in found if not pair[1].bound]
    rule, row = min(reaching or found, key=lambda pair: pair[1].amps)
    lower = min((pair for pair in found if pair[1].bound), key=lambda pair: pair[1].amps, default=None)
    if lower is not None and lower[1].amps < row.amps:
        rule, row = lower  # it carries less than even that
    assumed = [] if segment.ambient_c is not None else ["ambient 30 °C"]
    assumed += [] if segment.bundled is not None else ["not bundled"]
    rated_c = max(segment.insulation_c or 0.0, row.column_c)
    thermal = [r.free_a * _warmth(r.column_c, rated_c, ambient, r.base_c) for _, r in reaching or found]
    return Ampacity(
        row.amps * buried, rule.name, rule.source, row.column_c, ambient, row.area_mm2, (*assumed, *row.assumed),
        tuple(by_rule), row.bound, min(thermal) * buried, rated_c,
    )  # fmt: skip


def weakest(
    segments: Sequence[Segment], supply_kind: str, rules: Sequence[str] = (), insulation_c: float | None = None
) -> Ampacity | None:
    """The ampacity of the stretch that carries least, as far as known; `insulation_c` stands in where none is written."""
    if insulation_c is not None:
        segments = [s if s.insulation_c is not None else replace(s, insulation_c=insulation_c) for s in segments]
    found = [corrected_ampacity_a(segment, supply_kind, rules) for segment in segments]
    return min((a for a in found if a is not None), key=lambda a: a.amps, default=None)


def steady_c(ampacity: Ampacity, amps: float) -> float:
    """Temperature, °C, at which the conductor comes to rest at `amps`: its rise goes with the square of the current.

    At 1.65 times its ampacity, 105 °C cable in 30 °C air comes to 234 °C. inf where it may carry nothing.
    """
    if ampacity.thermal_a <= 0.0:
        return float("inf") if amps > 0.0 else ampacity.ambient_c
    return ampacity.ambient_c + (ampacity.rated_c - ampacity.ambient_c) * (amps / ampacity.thermal_a) ** 2


def time_constant_s(ampacity: Ampacity) -> float:
    """Seconds in which a conductor takes up 63 % of its final rise; 1 where it may carry nothing.

    Energy balance of the bare copper at its thermal limit: tau = c A dT / (I^2 R'), insulation left out (the quick side).
    """
    if ampacity.thermal_a <= 0.0:
        return 1.0
    ohm_per_m = resistance_ohm_per_m(ampacity.area_mm2, ampacity.rated_c)
    rise_k = max(1.0, ampacity.rated_c - ampacity.ambient_c)
    stored_j_per_m = COPPER_J_PER_M3_K * ampacity.area_mm2 * 1e-6 * rise_k
    return stored_j_per_m / (ampacity.thermal_a**2 * ohm_per_m)
