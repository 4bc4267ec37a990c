"""Gathers every fault of a schedule, each with the key in words and the line where it stands."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from panelward.errors import Fault
from panelward.schedule.models import (
    BatteryTable,
    CircuitTable,
    Document,
    LoadTable,
    ProtectionTable,
    SegmentTable,
    SupplyTable,
)
from panelward.schedule.places import Path, Places
from panelward.schedule.values import Kind, Number, escaped, most_like, nearest, printable, shown

Raw = dict[str, Any]

_ELSEWHERE: tuple[tuple[type[BaseModel], str], ...] = (  # where a key belongs that stands in a circuit itself
    (SupplyTable, "under [supply.X], X being the supply's id"),
    (BatteryTable, "in the battery of its [supply.X]"),
    (ProtectionTable, "in the circuit's protection"),
    (SegmentTable, "in the circuit's conductor"),
    (LoadTable, "in the circuit's load"),
)
_UNITS = {  # as written behind a number, folded; and the end of the keys that count in it
    "m": "m", "metre": "m", "metres": "m", "meter": "m", "meters": "m", "a": "a", "amp": "a", "amps": "a", "v": "v",
    "volt": "v", "volts": "v", "s": "s", "sec": "s", "seconds": "s", "h": "h", "hours": "h", "w": "w", "watt": "w",
    "watts": "w", "mm2": "mm2", "mm²": "mm2", "ah": "ah", "wh": "wh", "hz": "hz", "c": "c", "°c": "c", "%": "%",
}  # fmt: skip
_MEASURED = re.compile(r"([+-]?[0-9]+(?:[.,][0-9]+)?)\s*([^0-9\s.,]\S*)?")


class Report:
    """The faults found so far in one document."""

    def __init__(self, file: str, raw: Raw, places: Places) -> None:
        self.file, self.raw, self._places = file, raw, places
        self._faults: dict[Fault, None] = {}

    def add(self, path: Path, wanted: str, found: str, remedy: str = "") -> None:
        """One fault at a path of the raw document."""
        line = self._places.line(path)
        words = (escaped(text) for text in (key_words(self.raw, path), wanted, found, remedy))
        self._faults[Fault(self.file, line, *words)] = None

    def line(self, path: Path) -> int | None:
        return self._places.line(path)

    def faults(self) -> tuple[Fault, ...]:
        """All, in the order of the file."""
        return tuple(sorted(self._faults, key=lambda fault: fault.line or 0))

    def take(self, error: ValidationError) -> None:
        """Every error of the models, in words of this trade instead of theirs."""
        for item in error.errors(include_url=False):
            path, models = self._located(item["loc"])
            model, field = models
            context = item.get("ctx", {})
            kind = item["type"]
            if kind == "unfit":
                remedy = context["remedy"] or _number_alone(path, field, item["input"])
                self.add(path, context["wanted"], context.get("found") or shown(item["input"]), remedy)
            elif kind == "extra_forbidden":
                self._unknown(path, model)
            elif kind == "missing" and len(path) == 1 and path[0] in misspelt(self.raw).values():
                continue  # its table is there, under a name that is a fault of its own
            elif kind == "missing":
                self.add(path, _wanted(field, str(path[-1])), "nothing", "It is required.")
            else:  # the shape: a table or an array was wanted
                wanted = "a table" if isinstance(path[-1], int) else _wanted(field, str(path[-1]))
                self.add(path, wanted, shown(item["input"]), _shape_remedy(path, item["input"]))

    def _unknown(self, path: Path, model: type[BaseModel]) -> None:
        key = str(path[-1])
        known = [field.alias or name for name, field in model.model_fields.items()]
        if path == ("broker", "password"):
            self.add(path, "secrets only as names of files", "a password", 'Put it into a file: password_file = "…".')
            return
        near = (_elsewhere(key) if model is CircuitTable else "") or nearest(key, known)
        wanted = f"a known key: {', '.join(known)}"
        self.add(path, wanted, f'the unknown key "{printable(key)}"', near or "Leave it out.")

    def _located(self, loc: tuple[str | int, ...]) -> tuple[Path, tuple[type[BaseModel], FieldInfo | None]]:
        """The raw path of a model's location, the model that failed there and the field.

        A table given where an array may stand has no index in the file, so it gets none here.
        """
        path: list[str | int] = []
        raw: Any = self.raw
        model: type[BaseModel] = Document
        field: FieldInfo | None = None
        named = False  # the next part is a name of ours ([supply.house]), not a key of a model
        for part in loc:
            if isinstance(part, int) and isinstance(raw, dict):
                continue
            path.append(part)
            try:
                raw = raw[part]
            except (KeyError, IndexError, TypeError):
                raw = None
            if isinstance(part, int) or named:
                named = False
                continue
            if field is not None and _model(field) is not None:
                model = _model(field) or model
            field = next((f for name, f in model.model_fields.items() if part in (name, f.alias)), None)
            named = field is not None and _is_dict(field)
        return tuple(path), (model, field)


def key_words(raw: Raw, path: Path) -> str:
    """A path as a person says it: `circuit D4 protection.rating_a`, `supply house nominal_v`, `broker.port`."""
    if not path:
        return "the file"
    head, rest = str(path[0]), path[1:]
    if head in ("supply", "feeder") and rest:
        head, rest = f"{head} {printable(str(rest[0]))}", rest[1:]
    elif head in ("circuit", "monitor", "probe") and rest and isinstance(rest[0], int):
        key = "name" if head == "monitor" else "id"
        table = raw[head][rest[0]]
        name = table.get(key) if isinstance(table, dict) else None
        head = f"{head} {printable(name)}" if isinstance(name, str) and name else f"{head} number {rest[0] + 1}"
        rest = rest[1:]
    else:
        return _dotted(path)
    return f"{head} {_dotted(rest)}" if rest else head


def misspelt(raw: Raw) -> dict[str, str]:
    """The unknown tables of a document that are meant for a known one, and which."""
    near = {key: most_like(key, list(Document.model_fields)) for key in raw if key not in Document.model_fields}
    return {key: known for key, known in near.items() if known}


def _elsewhere(key: str) -> str:
    if key == "fed_by":
        return "It belongs under [supply.X], X being the supply that this circuit feeds."
    places = [place for model, place in _ELSEWHERE if key in model.model_fields]
    return f"It belongs {places[0]}." if len(places) == 1 else ""


def _number_alone(path: Path, field: FieldInfo | None, found: object) -> str:
    """The remedy for a number that is written as a text with its unit; only where that unit is the key's own."""
    if field is None or not isinstance(found, str) or not any(isinstance(part, Number) for part in _parts(field)):
        return ""
    measured = _MEASURED.fullmatch(found.strip())
    if measured is None or re.search(r",[0-9]{3}$", measured[1]):  # a comma between thousands, or a decimal one
        return ""
    number, unit = measured[1].replace(",", "."), measured[2]
    own = re.split("[_.]", str(path[-1]))[-1].removesuffix("watts") or "w"
    if unit is None or _UNITS.get(unit.casefold()) == own:
        return f"Write the number alone: {number}."
    return f"Write a number alone, {f'in {own}' if own in _UNITS.values() else 'without a unit'}, and without quotes."


def _dotted(path: Path) -> str:
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{printable(part)}" if part else '.""'
    return text.removeprefix(".")


def _parts(field: FieldInfo) -> Iterator[Any]:
    """The annotation and everything inside it."""
    yield from field.metadata
    waiting = [field.annotation]
    while waiting:
        part = waiting.pop(0)
        yield part
        waiting += get_args(part)


def _model(field: FieldInfo) -> type[BaseModel] | None:
    return next((p for p in _parts(field) if isinstance(p, type) and issubclass(p, BaseModel)), None)


def _is_dict(field: FieldInfo) -> bool:
    return getattr(field.annotation, "__origin__", None) is dict


def _is_list(field: FieldInfo) -> bool:
    return getattr(field.annotation, "__origin__", None) is list


def _wanted(field: FieldInfo | None, name: str) -> str:
    if field is None:
        return "a table"
    if _is_list(field):
        if name in ("conductor", "load"):
            return "a table or an array of tables"
        return "an array of tables" if _model(field) is not None else "an array of texts"
    if _model(field) is not None:
        return "a table"
    return next((part.words for part in _parts(field) if isinstance(part, Kind)), "a table")


def _shape_remedy(path: Path, found: object) -> str:
    if len(path) == 1 and path[0] in ("circuit", "monitor", "probe"):
        return f"Write it as [[{path[0]}]], with two brackets."
    if path[0] in ("supply", "feeder") and len(path) <= 2:
        return f"Write it as [{path[0]}.name], with a name of yours."
    if path[-1] == "fault_a":
        return "Write it as a table, like fault_a = { min = 600, max = 950 }."
    if isinstance(found, str) and path[-1] in ("behind", "hours"):
        return f'Write it in brackets: ["{printable(found)}"].'
    return ""
