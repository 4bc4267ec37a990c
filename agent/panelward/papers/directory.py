"""The panel directory: what is behind each way of the panel, for the person who stands before it.

Its entries are what NEC 408.4 asks for: a clear, evident and specific purpose each, spares described too.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from panelward.errors import RequestRefused
from panelward.ratings.colours import blade_colour
from panelward.records import Circuit, Protection, Schedule, Segment, Supply

TITLE = "Panel directory"
CAUTION = (
    "Isolate every source before touching this panel. Replace a fuse only like for like: same type, same rating. "
    "AC: licensed persons only. Local code and licensed practice win."
)
SPARE = "Spare, no conductor connected - verify"
NO_DEVICE = "no device in the schedule - verify"
LICENSED = "licensed person only"
ALWAYS_ON = "ALWAYS ON"
LIFE = "LIFE"
SOURCE = "SOURCE"
LEGEND = (
    "Chip: the standard colour of the blade fuse (ISO 8820, DIN 72581). Colour is only a hint: "
    "the number printed on the fuse rules."
)
MARKS = (
    (ALWAYS_ON, "nobody can switch its feed off remotely"),
    (LIFE, "lives hang on it"),
    (SOURCE, "a charger: it feeds the panel, isolate it too"),
)
REASON = "; the reason stands beside it"  # said of ALWAYS_ON where a row has one
SYMBOLS = (("fuse", "fuse"), ("breaker", "circuit breaker"))
CUTTING = "Label strips of 60 x 12 mm. Print at 100 %, cut along the lines."

_DEVICES = {
    "blade-fuse": "blade fuse",
    "bolt-fuse": "bolt-in fuse",
    "glass-fuse": "glass fuse",
    "breaker-b": "breaker B",
    "breaker-c": "breaker C",
    "breaker-d": "breaker D",
    "breaker-thermal": "thermal breaker",
    "breaker-self-resetting": "self-resetting breaker",
    "electronic": "electronic output",
}
_SEGMENTS = 6  # more than these would make a row longer than a page
_POSITION = 64  # as long as an id may be


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A protective device as it was left in its way. Texts are empty where there is nothing to say."""

    text: str = ""
    symbol: str = ""  # fuse | breaker
    chip: str = ""  # the number printed in the chip, in A; blade fuses of a published colour only
    colour: str = ""  # the chip's colour in words
    differs: str = ""  # what the schedule had, where another rating was left in the way


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One way. Texts are empty where there is nothing to say."""

    position: str
    purpose: str
    device: Fitted = Fitted()
    always_on: bool = False
    reason: str = ""
    life: bool = False
    source: bool = False
    hands: str = ""
    conductor: str = ""
    fed_by: str = ""
    spare: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FeederRow:
    """One feeder and its own device."""

    feeder: str
    device: Fitted
    fed_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Directory:
    """Everything on the paper: rows in panel order, and what its foot says."""

    vehicle: str
    rows: tuple[Row, ...]
    feeders: tuple[FeederRow, ...]
    date: str  # YYYY-MM-DD
    file: str  # the schedule's file name, without its folder
    hash: str  # the first digits of the hash of the schedule's bytes

    @property
    def foot(self) -> str:
        return f"{self.date} · {self.file} · schedule {self.hash}"

    @property
    def devices(self) -> tuple[Fitted, ...]:
        return (*(row.device for row in self.rows), *(feeder.device for feeder in self.feeders))

    @property
    def chips(self) -> tuple[tuple[str, str], ...]:
        """(number, colour) of every chip in use, by rising rating in A."""
        used = {(device.chip, device.colour) for device in self.devices if device.chip}
        return tuple(sorted(used, key=lambda chip: (float(chip[0]), chip[1])))

    @property
    def symbols(self) -> tuple[tuple[str, str], ...]:
        """(symbol, its name) of every symbol in use."""
        used = {device.symbol for device in self.devices}
        return tuple(pair for pair in SYMBOLS if pair[0] in used)

    @property
    def meanings(self) -> tuple[tuple[str, str], ...]:
        """(mark, its meaning) of every mark in use."""
        used = {
            ALWAYS_ON: any(row.always_on for row in self.rows),
            LIFE: any(row.life for row in self.rows),
            SOURCE: any(row.source for row in self.rows),
        }
        more = {ALWAYS_ON: REASON if any(row.reason for row in self.rows) else ""}
        return tuple((mark, meaning + more.get(mark, "")) for mark, meaning in MARKS if used[mark])


def panel_directory(
    schedule: Schedule, *, spares: tuple[str, ...] = (), date: str = "", file: str = "", hash: str = ""
) -> Directory:
    """The directory of a schedule, in its own order, with the spare ways put where their positions belong.

    A meter without a device is no way and is left out. Raises RequestRefused where a spare's position is in use, given
    twice, or no text of 1 to 64 printable characters.
    """
    rows = [_row(schedule, circuit) for circuit in schedule.circuits if circuit.role != "meter" or circuit.protection]
    used = {circuit.id.casefold(): circuit for circuit in schedule.circuits}
    seen: set[str] = set()
    for position in sorted(spares, key=_natural):
        if not 0 < len(position) <= _POSITION or not position.isprintable() or not position.strip():
            raise RequestRefused(f"spare {position!r}: a position has 1 to {_POSITION} printable characters")
        if (circuit := used.get(position.casefold())) is not None:
            raise RequestRefused(f"spare {position}: this position is in use: {circuit.label} ({circuit.id})")
        if position.casefold() in seen:
            raise RequestRefused(f"spare {position}: given twice")
        seen.add(position.casefold())
        rows.insert(_place(rows, position), Row(position=position, purpose=SPARE, spare=True))
    feeders = tuple(
        FeederRow(feeder=f.id, device=fitted_of(f.protection), fed_by=_fed(f.supply, schedule.supply(f.supply)))
        for f in schedule.feeders
    )
    return Directory(vehicle=schedule.vehicle.name, rows=tuple(rows), feeders=feeders, date=date, file=file, hash=hash)


def _row(schedule: Schedule, circuit: Circuit) -> Row:
    always_on = circuit.feed == "always-on"
    return Row(
        position=circuit.id,
        purpose=circuit.label,
        device=fitted_of(circuit.protection),
        always_on=always_on,
        reason=(circuit.always_on_reason or "") if always_on else "",
        life=circuit.importance == "life",
        source=circuit.role == "charger",
        hands=LICENSED if circuit.hands == "licensed" else "",
        conductor=conductor_of(circuit.conductor),
        fed_by=_fed(f"feeder {circuit.feeder}" if circuit.feeder else circuit.supply, schedule.supply(circuit.supply)),
    )


def fitted_of(protection: Protection | None) -> Fitted:
    """A device in words and colour."""
    if protection is None:
        return Fitted(text=NO_DEVICE)
    name = _DEVICES.get(protection.kind, protection.kind)
    if protection.type:
        name += f" {protection.type}"
    rating = f"{protection.fitted_a:g}"
    colour = blade_colour(protection.type, protection.fitted_a) if protection.kind == "blade-fuse" else None
    return Fitted(
        text=f"{name} {rating} A",
        symbol=next((symbol for symbol, _ in SYMBOLS if symbol in protection.kind), ""),
        chip=rating if colour else "",
        colour=colour or "",
        differs="" if protection.fitted_a == protection.rating_a else f"scheduled: {protection.rating_a:g} A",
    )


def _fed(by: str, supply: Supply) -> str:
    hertz = f" {supply.frequency_hz:g} Hz" if supply.frequency_hz else ""
    return f"{by}, {supply.kind.upper()} {supply.nominal_v:g} V{hertz}"


def conductor_of(segments: tuple[Segment, ...]) -> str:
    """Its stretches, in words."""
    texts = [text for text in map(_segment, segments) if text]
    if len(texts) > _SEGMENTS:
        texts[_SEGMENTS - 1 :] = [f"{len(texts) - _SEGMENTS + 1} more segments"]
    return " + ".join(texts)


def _segment(segment: Segment) -> str:
    parts: list[str] = []
    if segment.area_mm2 is not None:
        parts.append(f"{segment.area_mm2:g} mm²")
    elif segment.awg is not None:
        parts.append(f"AWG {segment.awg}")
    elif segment.sae is not None:
        parts.append(f"SAE {segment.sae}")
    if segment.length_m is not None:
        parts.append(f"{segment.length_m:g} m")
    return " · ".join(parts)


def _natural(position: str) -> list[str | int]:
    """A key that puts D2 before D10: texts and whole numbers by turns."""
    return [int(part) if i % 2 else part.casefold() for i, part in enumerate(re.split(r"([0-9]+)", position))]


def _place(rows: list[Row], position: str) -> int:
    """Where a spare goes: behind its last lower neighbour of the same letters, else before the first; else at the end."""
    key = _natural(position)
    kin = [(i, _natural(row.position)) for i, row in enumerate(rows)]
    kin = [(i, other) for i, other in kin if other[0] == key[0]]
    below = [i for i, other in kin if other < key]
    if below:
        return below[-1] + 1
    return kin[0][0] if kin else len(rows)


def shortened(text: str, most: int) -> str:
    """The text in at most so many characters, its end told by an ellipsis."""
    return text if len(text) <= most else text[: max(most - 1, 0)].rstrip() + "…"


def unbroken(text: str) -> str:
    """The same text with each number held to its unit by a no-break space."""
    return re.sub(r"(?<=[0-9]) (?=(?:A|V|Hz|m|mm²|°C)(?!\w))", "\u00a0", text)


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """What a label of 60 x 12 mm has room for; `marks` stand below each other, at most two."""

    position: str
    purpose: str
    device: Fitted
    marks: tuple[str, ...] = ()


def strips(directory: Directory) -> tuple[Strip, ...]:
    """A label a way, in the directory's order."""
    return tuple(map(_strip, directory.rows))


def marks(row: Row) -> tuple[str, ...]:
    """The words in capitals beside a purpose."""
    return tuple(mark for shown, mark in ((row.life, LIFE), (row.always_on, ALWAYS_ON), (row.source, SOURCE)) if shown)


def _strip(row: Row) -> Strip:
    if row.spare:
        return Strip(position=row.position, purpose="Spare", device=Fitted(text="no conductor - verify"))
    said = marks(row)
    if row.hands:
        said = (" · ".join(said), row.hands) if said else (row.hands,)
    device = replace(row.device, text=row.device.text.removeprefix("blade "))  # as its chip says; leaves larger letters
    return Strip(position=row.position, purpose=row.purpose, device=device if device.chip else row.device, marks=said)
