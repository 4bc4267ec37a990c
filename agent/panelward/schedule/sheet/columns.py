"""The columns of a sheet: their units and bounds, the headers that mean them, and the words that may stand in them."""

from __future__ import annotations

from panelward.ratings.conductor import AWG_ALIASES, AWG_SIZES, SAE_CMIL
from panelward.schedule.values import Kind, Number, OneOf

COLUMNS = (
    "position", "purpose", "supply", "feeder", "feed", "always_on_reason", "importance", "behind", "device", "type",
    "rating_a", "as_found_a", "as_left_a", "way_max_a", "area_mm2", "awg", "sae", "length_m", "insulation_c",
    "bundled", "ambient_c", "thermal_insulation_m", "return", "load", "watts", "maker_fuse_a", "always_draws_w",
    "standby_max_w", "longest_run",
)  # fmt: skip
MOST_WAYS = 5_000
MOST_LINES = 20_000
MOST_TITLES = 20
LONGEST = 2_000  # a cell's characters

SIZES = ("area_mm2", "awg", "sae")  # a stretch of conductor has one of them
SEGMENT = COLUMNS[COLUMNS.index("area_mm2") : COLUMNS.index("load")]
LOAD = COLUMNS[COLUMNS.index("load") :]
WAY = COLUMNS[2 : COLUMNS.index("area_mm2")]
DEVICE = COLUMNS[COLUMNS.index("rating_a") : COLUMNS.index("area_mm2")]

_ABOVE_0, _FROM_0 = Number(above=0), Number(least=0)
FIGURES: dict[str, tuple[str, Kind]] = {  # column: its unit, its bounds (those of the models)
    "rating_a": ("A", _ABOVE_0),
    "as_found_a": ("A", _ABOVE_0),
    "as_left_a": ("A", _ABOVE_0),
    "way_max_a": ("A", _ABOVE_0),
    "area_mm2": ("mm²", _ABOVE_0),
    "length_m": ("m", _ABOVE_0),
    "insulation_c": ("°C", Number(least=60, most=260)),
    "bundled": ("", Number(least=1, most=1000, whole=True)),
    "ambient_c": ("°C", Number(least=-60, most=150)),
    "thermal_insulation_m": ("m", _FROM_0),
    "watts": ("W", _ABOVE_0),
    "maker_fuse_a": ("A", _ABOVE_0),
    "always_draws_w": ("W", _ABOVE_0),
    "standby_max_w": ("W", _FROM_0),
}
UNITS: dict[str, dict[str, float]] = {  # as folded by cells.fold, to the column's unit
    "A": {"a": 1, "amp": 1, "amps": 1, "ampere": 1, "amperes": 1, "ma": 0.001},
    "mm²": {"mm2": 1, "mm^2": 1, "sq mm": 1, "sqmm": 1},
    "m": {"m": 1, "metre": 1, "metres": 1, "meter": 1, "meters": 1, "cm": 0.01, "mm": 0.001, "ft": 0.3048, "feet": 0.3048},
    "°C": {"°c": 1, "c": 1, "deg c": 1, "degc": 1},
    "W": {"w": 1, "watt": 1, "watts": 1, "kw": 1000},
    "": {},
}
KNOWN_UNITS = frozenset(unit for units in UNITS.values() for unit in units) | {"awg", "sae"}
NO_UNITS = frozenset({"", "one way", "each", "nominal"})  # bracketed words that change no number

ALIASES: dict[str, str] = {column.replace("_", " "): column for column in COLUMNS} | {
    name: column
    for column, names in {
        "position": "way, no, pos, #, number, way no, way number, position no, circuit no, circuit number, circuit #, slot, "
        "nr, nummer, kreis nr, stromkreis nr, kurs nr, plass",
        "purpose": "label, description, name, designation, circuit name, circuit description, bezeichnung, beschreibung, "
        "beskrivelse, navn",
        "supply": "source, fed from, versorgung, forsyning",
        "feeder": "sub panel, subpanel",
        "always_on_reason": "reason, always on because",
        "device": "protection, device kind, device type, fuse type, breaker type, protection type, "
        "sicherungsart, sicherungstyp, sikringstype",
        "rating_a": "fuse, breaker, amps, a, rating, fuse size, fuse rating, breaker size, breaker rating, fuse amps, "
        "sicherung, absicherung, sikring",
        "as_found_a": "as found",
        "as_left_a": "as left",
        "way_max_a": "way max",
        "area_mm2": "cable, csa, mm2, size, area, cross section, cable size, wire size, conductor (mm2), wire (mm2), "
        "querschnitt, kabel, kabelquerschnitt, leiterquerschnitt, tverrsnitt, kabeltverrsnitt",
        "awg": "gauge, wire gauge, cable (awg), wire (awg), size (awg), cable size (awg), wire size (awg), conductor (awg)",
        "sae": "sae size, cable (sae), wire (sae), size (sae), cable size (sae), wire size (sae), conductor (sae), "
        "gauge (sae), wire gauge (sae)",
        "length_m": "length, run, cable length, wire length, run length, m, länge, laenge, kabellänge, "
        "leitungslänge, lengde, kabellengde",
        "insulation_c": "insulation, insulation (°c), insulation rating, insulation temperature",
        "bundled": "bundle, cables in bundle, grouped",
        "ambient_c": "ambient, ambient temperature",
        "thermal_insulation_m": "thermal insulation, in thermal insulation",
        "return": "return path",
        "load": "load kind, load type, kind of load",
        "watts": "load (w), load (kw), power, w, watt, wattage, load watts, load power, leistung, effekt",
        "maker_fuse_a": "maker fuse, maker's fuse",
        "always_draws_w": "always draws",
        "standby_max_w": "standby, standby max",
    }.items()
    for name in names.split(", ")
}

# Headers that may mean one thing or another: each takes the first of its columns that no plainer header means. A feeder
# is taken only where one header alone means it: in German the main panel and a sub-panel bear the same name.
DOUBTFUL: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(("circuit", "kreis", "stromkreis", "kurs"), ("position", "purpose")),
    "verbraucher": ("purpose",),
    **dict.fromkeys(("verteiler", "unterverteiler", "unterverteilung", "underfordeling"), ("feeder",)),
}
SPARE = ("spare", "spare way", "unused", "empty", "free", "reserve", "reserva", "ledig", "frei", "unbelegt")  # folded

WORDS: dict[str, tuple[OneOf, dict[str, str]]] = {  # column: its words, and further plain ones
    "feed": (
        OneOf("always-on", "switched", "charger", "meter"),
        dict.fromkeys(("always", "permanent", "unswitched", "fest", "dauerplus", "alltid", "alltid på"), "always-on")
        | dict.fromkeys(("switch", "geschaltet", "bryter"), "switched"),
    ),
    "importance": (OneOf("life", "property", "comfort"), {}),
    "type": (OneOf("B", "C", "D", "E", "F"), {f"{how} {c}": c.upper() for c in "bcdef" for how in ("type", "curve")}),
    "return": (OneOf("wire", "chassis"), {"body": "chassis", "frame": "chassis", "cable": "wire", "two wire": "wire"}),
    "awg": (OneOf(*AWG_SIZES), AWG_ALIASES),
    "sae": (OneOf(*SAE_CMIL), AWG_ALIASES),
}
DEVICE_WORDS: dict[str, str] = {
    "blade": "blade-fuse", "bolt": "bolt-fuse", "bolt down fuse": "bolt-fuse", "glass": "glass-fuse",
    "breaker thermal": "breaker-thermal", "thermal breaker": "breaker-thermal", "thermal": "breaker-thermal",
    "self resetting breaker": "breaker-self-resetting", "self resetting": "breaker-self-resetting",
    "electronic fuse": "electronic", "flachsicherung": "blade-fuse", "flatsikring": "blade-fuse",
    **{form.replace("?", c): f"breaker-{c}" for c in "bcd" for form in ("? breaker", "type ? breaker", "mcb ?", "? curve")},
}  # fmt: skip
BREAKERS = ("breaker", "circuit breaker", "mcb")  # which one, the column `type` says
LOAD_WORDS: dict[str, str] = {
    "fridge": "compressor", "freezer": "compressor", "refrigerator": "compressor", "lights": "light", "lamp": "light",
    "lamps": "light", "lighting": "light", "outlet": "socket", "outlets": "socket", "sockets": "socket", "fans": "fan",
    "pumps": "pump", "motors": "motor", "battery charger": "charger",
}  # fmt: skip
SWITCH_WORDS: dict[str, str] = {"lvd": "disconnect", "low voltage disconnect": "disconnect", "switch": "user-switch"}


def unit_words(name: str) -> str:
    unit = FIGURES[name][0]
    return f"a unit of {', '.join(UNITS[unit])}" if unit else "no unit"


def figure_words(name: str) -> str:
    unit, kind = FIGURES[name]
    return f"{kind.words}, in {unit}" if unit else kind.words
