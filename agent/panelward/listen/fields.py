"""Which member of a JSON object is which quantity, by its name, its values and what volts × amps must give."""

from __future__ import annotations

import re
from dataclasses import dataclass
from statistics import median
from typing import Any

from panelward.intake.dialects import LARGEST, NEWEST_MS, OLDEST_MS

# Words of the trade and unit symbols; what is written after the last separator or capital decides.
WORDS = {
    "volts": "volts", "volt": "volts", "voltage": "volts", "v": "volts", "u": "volts", "vdc": "volts", "vac": "volts",
    "amps": "amps", "amp": "amps", "ampere": "amps", "amperes": "amps", "current": "amps", "i": "amps", "a": "amps",
    "watts": "watts", "watt": "watts", "power": "watts", "w": "watts", "p": "watts",
    "celsius": "celsius", "temperature": "celsius", "temp": "celsius", "degc": "celsius", "cel": "celsius", "t": "celsius",
    "closed": "closed", "on": "closed", "switch": "closed", "relay": "closed", "state": "closed", "output": "closed",
    "commanded": "commanded", "command": "commanded", "cmd": "commanded",
}  # fmt: skip
UNITS = {
    "v": ("volts", 1.0), "mv": ("volts", 0.001), "a": ("amps", 1.0), "ma": ("amps", 0.001), "w": ("watts", 1.0),
    "mw": ("watts", 0.001), "kw": ("watts", 1000.0), "c": ("celsius", 1.0), "volts": ("volts", 1.0), "amps": ("amps", 1.0),
    "watts": ("watts", 1.0), "celsius": ("celsius", 1.0), "millivolts": ("volts", 0.001), "milliamps": ("amps", 0.001),
    "milliwatts": ("watts", 0.001), "kilowatts": ("watts", 1000.0),
}  # fmt: skip
TIMES = ("time", "timestamp", "ts", "t", "epoch", "unix")
# No reading of the circuit: what it may, or once did.
NOT_NOW = ("max", "min", "limit", "rated", "rating", "set", "nominal", "peak", "trip", "alarm", "threshold", "last")
STATE_WORDS = ("1", "0", "true", "false", "on", "off")
STATES = ("closed", "commanded")
PLAIN_STATES = ("closed", "switch", "relay", "commanded", "command", "cmd")  # of other words only the whole name counts

# Bands in which a bus stands, volts: batteries of 12, 24 and 48 V from empty to charging, mains of 120 and 230 V
# (common practice, no source: they only choose a power of ten).
BANDS = ((9.0, 16.0), (18.0, 32.0), (36.0, 64.0), (100.0, 132.0), (205.0, 255.0))
MOST_A = 500.0  # of one way of a vehicle's panel; what is beyond it is counted in thousandths (our own choice)
MOST_W = 100_000.0
FITS = (0.8, 1.25)  # volts × amps over watts, of the median; mains loads may have a power factor

_APART = re.compile(r"[^A-Za-z0-9]+")
_CAPITALS = re.compile(r"(?<=[a-z0-9])(?=[A-Z])")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?")
Scaled = tuple[float, str]  # a factor, and why


@dataclass(frozen=True, slots=True)
class Member:
    """A member of the object that may be a quantity."""

    pointer: str
    quantity: str
    scale: float
    strength: int
    unit: bool  # its name has the unit


def number(raw: Any) -> float | None:
    """A number, also one in quotes; None for all else."""
    if isinstance(raw, bool):
        return None
    if isinstance(raw, str):
        if len(raw) > 40 or _NUMBER.fullmatch(raw.strip()) is None:
            return None
        raw = raw.strip()
    elif not isinstance(raw, int | float):
        return None
    try:
        value = float(raw)
    except OverflowError:
        return None
    return value if abs(value) <= 1e15 else None


def member(pointer: str, values: list[Any]) -> Member | None:
    """What this member is by its name, if its values can be that."""
    key = pointer.rsplit("/", 1)[1].replace("~1", "/").replace("~0", "~")
    words = [word.lower() for piece in _APART.split(key) for word in _words(piece)]
    if not words or set(words[:-1]) & set(NOT_NOW):
        return None
    found: Member | None = None
    unit = UNITS.get(words[-1]) if len(words) > 1 or words[-1] not in ("c",) else None
    named = WORDS.get(words[-2]) if len(words) > 1 and unit is not None else WORDS.get(words[-1])
    if unit is not None and (len(words) == 1 or named in (None, unit[0])):
        has_unit = len(words) > 1 or unit[1] != 1.0 or words[0] == unit[0]
        found = Member(pointer, unit[0], unit[1], 3 if words[0] == unit[0] else 2 if named or len(words) == 1 else 1, has_unit)
    elif named is not None and (named not in STATES or len(words) == 1 or words[-1] in PLAIN_STATES):
        found = Member(pointer, named, 1.0, 3 if words == [named] else 2 if len(words) == 1 else 1, False)
    return found if found is not None and _can_be(found, values) else None


def _words(piece: str) -> list[str]:
    """A name's words: loadCurrent is two, mA one."""
    if piece.lower() in UNITS or piece.lower() in WORDS:
        return [piece]
    return [word for word in _CAPITALS.split(piece) if word]


def _can_be(found: Member, values: list[Any]) -> bool:
    if found.quantity in STATES:
        return all(isinstance(v, bool) or str(v).strip().lower() in STATE_WORDS for v in values)
    numbers = [number(v) for v in values]
    if any(v is None or abs(v * found.scale) > LARGEST * 1000 for v in numbers):
        return False
    return found.quantity != "celsius" or all(v is not None and -100 <= v * found.scale <= 1000 for v in numbers)


def time_scale(pointer: str, values: list[tuple[int, Any]]) -> float | None:
    """The factor to Unix seconds where this member is the time of its message, as intake would take it."""
    key = pointer.rsplit("/", 1)[1].lower()
    if key not in TIMES or not values:
        return None
    for scale in (1.0, 0.001, 1e-6):
        ages = [
            received_ms - value * scale * 1000 for received_ms, raw in values if (value := number(raw)) is not None
        ]  # fmt: skip
        if len(ages) == len(values) and all(-NEWEST_MS <= age <= OLDEST_MS for age in ages):
            return scale
    return None


def scales(members: dict[str, Member], samples: list[dict[str, float]]) -> tuple[dict[str, Scaled], list[str]]:
    """What to multiply each number by and why, where it isn't 1 as a matter of course; and what stays doubtful."""
    raw = {q: [abs(s[q]) for s in samples if q in s and s[q] != 0] for q in ("volts", "amps", "watts")}
    found: dict[str, Scaled] = {q: (m.scale, "its name has the unit") for q, m in members.items() if m.unit and m.scale != 1}
    fixed = {q for q, m in members.items() if m.unit}
    doubts: list[str] = []
    if "volts" in members and "volts" not in fixed:
        _volts(raw["volts"], samples, found, doubts)
    if "amps" in members and "amps" not in fixed:
        _amps(raw, samples, members, fixed, found, doubts)
    if "watts" in members and "watts" not in fixed:
        _watts(raw["watts"], samples, members, found)
    return found, doubts


def _volts(
    volts: list[float], samples: list[dict[str, float]], found: dict[str, Scaled], doubts: list[str]
) -> None:  # fmt: skip
    if not volts:
        return
    usual = median(volts)
    if _in_band(usual) or any(v != int(v) for v in volts):
        return
    fits = [scale for scale in (0.001, 0.01, 0.1) if _in_band(usual * scale)]
    ratio = _product(samples, 1.0, 1.0, 1.0)
    if ratio is not None and len(fits) > 1:
        # Amps and watts are counted in ones or thousandths, hardly ever in tenths.
        by_watts = [s for s in fits if any(FITS[0] <= ratio * s * factor <= FITS[1] for factor in (1.0, 0.001, 1000.0))]
        fits = by_watts if len(by_watts) == 1 else fits
    if fits:
        found["volts"] = (fits[0], f"likely: {usual:g} is no bus's volts, {usual * fits[0]:.4g} V is")
    if len(fits) > 1:
        either = " or ".join(f"{usual * scale:.4g} V" for scale in fits)
        doubts.append(f"Volts come as {usual:g}: that may be {either}. Measure the bus, then set the scale of volts.")


def _amps(
    raw: dict[str, list[float]],
    samples: list[dict[str, float]],
    members: dict[str, Member],
    fixed: set[str],
    found: dict[str, Scaled],
    doubts: list[str],
) -> None:
    amps = raw["amps"]
    if not amps:
        return
    whole = all(a == int(a) for a in amps)
    volts_scale = found.get("volts", (1.0, ""))[0]
    if "watts" in members and _product(samples, volts_scale, 1.0, 1.0) is not None:
        for amps_scale in (1.0, 0.001, 0.01, 0.1):
            watts_scales = (members["watts"].scale,) if "watts" in fixed else (1.0, 0.001, 0.1)
            for watts_scale in watts_scales:
                ratio = _product(samples, volts_scale, amps_scale, watts_scale)
                too_much = max(amps) * amps_scale > MOST_A or max(raw["watts"], default=0.0) * watts_scale > MOST_W
                if ratio is not None and FITS[0] <= ratio <= FITS[1] and not too_much:
                    if amps_scale != 1.0:
                        found["amps"] = (amps_scale, "likely: so volts times amps make its watts")
                    if watts_scale != 1.0 and "watts" not in fixed:
                        found["watts"] = (watts_scale, "likely: so volts times amps make its watts")
                    return
        doubts.append("Volts times amps don't make the watts it sends: check each with a meter, then set their scales.")
    if whole and max(amps) > MOST_A:
        found["amps"] = (0.001, f"likely: up to {max(amps):g} in whole numbers, beyond any way of a vehicle's panel")
    elif whole and volts_scale == 0.001 and max(amps) >= 50:
        found["amps"] = (0.001, "likely: whole numbers, and its volts are counted in thousandths too")
    elif whole and max(amps) >= 30:
        doubts.append(
            f"Amps come in whole numbers up to {max(amps):g}: amps, or thousandths of them? Compare one circuit with a "
            "clamp meter; if they are thousandths write scale = 0.001."
        )


def _watts(watts: list[float], samples: list[dict[str, float]], members: dict[str, Member], found: dict[str, Scaled]) -> None:
    if "watts" in found or not watts or not {"volts", "amps"} <= set(members):
        return
    volts_scale = found.get("volts", (members["volts"].scale, ""))[0]
    amps_scale = found.get("amps", (members["amps"].scale, ""))[0]
    for scale in (1.0, 0.001, 0.1, 1000.0):
        ratio = _product(samples, volts_scale, amps_scale, scale)
        if ratio is not None and FITS[0] <= ratio <= FITS[1]:
            if scale != 1.0:
                found["watts"] = (scale, "likely: so volts times amps make its watts")
            return


def _product(samples: list[dict[str, float]], volts: float, amps: float, watts: float) -> float | None:
    """The median of volts × amps over watts, None where they never came together above nothing."""
    ratios = [
        abs(s["volts"] * volts * s["amps"] * amps) / abs(s["watts"] * watts)
        for s in samples
        if s.get("volts") and s.get("amps") and s.get("watts")
    ]
    return median(ratios) if ratios else None


def _in_band(volts: float) -> bool:
    return any(low <= volts <= high for low, high in BANDS)
