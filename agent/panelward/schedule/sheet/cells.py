"""One cell: its text, number, word, supply or time span, or what is wrong with it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from unicodedata import normalize

from pydantic_core import PydanticCustomError

from panelward.schedule.models import BEHIND
from panelward.schedule.sheet.columns import FIGURES, UNITS, WORDS, figure_words, unit_words
from panelward.schedule.values import ID_FORM, ID_WORDS, Duration, Kind, Number, shown
from panelward.schedule.written import plain

FIGURE = re.compile(r"([+-]?)((?:[0-9][0-9.,]*)?[0-9]|[.,][0-9]+)\s*([^0-9\s.,].*)?")
_THOUSANDS = re.compile(r"[1-9][0-9]{0,2}[.,][0-9]{3}")  # "1,234": a group of three, or three decimals
_VOLTS = r"([0-9]+(?:[.,][0-9]+)?)\s*v\s*(ac|dc|~|)"
_SUPPLY_FORMS = (
    re.compile(rf"(?P<name>.*?)(?:^|[\s,(]+){_VOLTS}\)?", re.IGNORECASE),
    re.compile(rf"{_VOLTS}[\s,]+(?P<name>.+)", re.IGNORECASE),
)
_OWN_SUPPLY = re.compile(r"([A-Za-z0-9_-]{1,64}) \(([0-9.]+) V (AC|DC)\)")


class Wrong(Exception):
    """What is wrong with a cell."""

    def __init__(self, wanted: str, found: str, remedy: str = "") -> None:
        super().__init__(wanted)
        self.wanted, self.found, self.remedy = wanted, found, remedy


@dataclass(frozen=True, slots=True)
class Supply:
    id: str
    volts: float | None = None
    kind: str | None = None

    @property
    def said(self) -> str:
        return " ".join(part for part in (f"{plain(self.volts)} V" if self.volts else "", self.kind or "") if part)


@dataclass(frozen=True, slots=True)
class Unclear:
    """A word that means nothing here: a person must fill in what it means."""

    text: str


@dataclass(slots=True)
class Marks:
    """Which decimal marks a sheet shows beyond doubt."""

    commas: bool = False
    dots: bool = False

    def see(self, cell: str) -> None:
        found = FIGURE.fullmatch(flat(cell))
        if found and not _THOUSANDS.fullmatch(found[2]) and len(re.findall("[.,]", found[2])) == 1:
            self.commas |= "," in found[2]
            self.dots |= "." in found[2]

    def decimal(self, digits: str, text: str) -> float:
        """The number that digits with marks mean; `text` is the cell. Raises Wrong."""
        only_commas, only_dots = self.commas and not self.dots, self.dots and not self.commas
        if "," not in digits and digits.count(".") <= 1 and not (self.commas and _THOUSANDS.fullmatch(digits)):
            return float(digits)
        if "." not in digits and digits.count(",") == 1 and (only_commas or not _THOUSANDS.fullmatch(digits)):
            return float(digits.replace(",", "."))
        if only_commas and re.fullmatch(r"[0-9]{1,3}(?:\.[0-9]{3})+,[0-9]+", digits):
            return float(digits.replace(".", "").replace(",", "."))
        if only_dots and re.fullmatch(r"[0-9]{1,3}(?:,[0-9]{3})+\.[0-9]+", digits):
            return float(digits.replace(",", ""))
        remedy = "Which mark is the decimal one is not clear: write it without marks between thousands."
        raise Wrong("a number with one decimal mark", shown(text), remedy)


def flat(text: str) -> str:
    """A text with plain spaces and signs: non-breaking spaces, superscripts and the long minus become plain."""
    return " ".join(normalize("NFKC", text).replace("\u2212", "-").split())


def fold(text: str) -> str:
    return " ".join(re.split(r"[_\-.:\s]+", flat(text).casefold())).strip()


def clean(cell: str) -> str:
    """A cell without what a spreadsheet puts around it. What follows an apostrophe stays as it is."""
    text = re.sub(r"[\t\r\n\u00a0\u2007\u202f]", " ", cell)
    return text.lstrip() if text.lstrip().startswith("'") else text.strip()


def bare(cell: str) -> str:
    return cell[1:] if cell.startswith("'") else cell


def made_id(text: str) -> str:
    """The text where it may be an id, else one made from it; empty where nothing can stay."""
    if ID_FORM.fullmatch(text):
        return text
    ascii_only = normalize("NFKD", text).encode("ascii", "ignore").decode("ascii")
    return "-".join(re.findall(r"[A-Za-z0-9_]+", ascii_only))[:64].strip("-")


def checked(kind: Kind, value: object, found: str = "") -> object:
    try:
        return kind.read(value)
    except PydanticCustomError as error:
        context = error.context or {}
        raise Wrong(str(context["wanted"]), found or shown(value or None), str(context["remedy"])) from None


def size_column(column: str, text: str) -> str:
    """The column that a cell belongs to: one in the area's or AWG's column may itself say in which series it counts."""
    text = text.casefold()
    if column in ("area_mm2", "awg") and "sae" in text:
        return "sae"
    return "awg" if column == "area_mm2" and "awg" in text else column


def read_word(name: str, text: str) -> object:
    kind, aliases = WORDS[name]
    word = fold(text)
    if name in ("awg", "sae"):
        word = re.sub(rf"{name}|gauge|ga|#", "", word).strip()
    if name == "type":
        word = word.upper()
    return checked(kind, aliases.get(fold(word), word.replace(" ", "-")), shown(text))


def read_figure(name: str, text: str, factor: float, marks: Marks) -> float:
    """The number in a cell, in its column's unit. `factor` is the header's, where the cell has no unit of its own."""
    unit, kind = FIGURES[name]
    found = FIGURE.fullmatch(flat(text))
    if found is None:
        raise Wrong(figure_words(name), shown(text))
    if found[3]:
        if fold(found[3]) not in UNITS[unit]:
            raise Wrong(unit_words(name), shown(text), "Leave only the number and its unit in the cell.")
        factor = UNITS[unit][fold(found[3])]
    value = marks.decimal(found[2], text) * (-1 if found[1] == "-" else 1)
    if factor != 1:
        value = float(f"{value * factor:.12g}")
    checked(kind, int(value) if name == "bundled" and value.is_integer() else value, shown(text))
    return value


def read_supply(text: str) -> Supply:
    own = _OWN_SUPPLY.fullmatch(text)
    found = own or next((m for m in (form.fullmatch(flat(text)) for form in _SUPPLY_FORMS) if m), None)
    if found is None:
        name, volts, kind = text, None, None
    else:
        name, number, how = found.groups() if own or found.re is _SUPPLY_FORMS[0] else (found[3], found[1], found[2])
        try:
            volts = float(number.replace(",", "."))
        except ValueError:
            raise Wrong("a voltage", shown(text)) from None
        checked(Number(above=0, most=1500), volts, shown(text))
        kind = {"ac": "ac", "~": "ac", "dc": "dc"}.get(how.lower())
        name = name.strip(" ,(") or f"{kind or ('dc' if volts <= 60 else 'ac')}-{number}v"
    made = made_id(name)
    if not made:
        raise Wrong(f"a supply's name of {ID_WORDS}", shown(text))
    return Supply(made, volts, kind)


def read_feeder(text: str) -> str:
    made = made_id(text)
    if not made or made in BEHIND:
        raise Wrong(f"a feeder's name of {ID_WORDS}, and none of {', '.join(BEHIND)}", shown(text))
    return made


def read_run(text: str) -> str:
    spoken = flat(text).casefold()
    for form, short in (("h(?:ours?|rs?)", "h"), ("min(?:ute)?s?", "min"), ("s(?:econd|ec)s?", "s")):
        spoken = re.sub(f"{form}(?![a-z])", short, spoken)
    seconds = checked(Duration(), spoken.replace(" ", ""), shown(text))
    assert isinstance(seconds, float)
    return span(seconds)


def span(seconds: float) -> str:
    minutes, s = divmod(round(seconds), 60)
    h, m = divmod(minutes, 60)
    return "".join(f"{n}{unit}" for n, unit in ((h, "h"), (m, "min"), (s, "s")) if n)
