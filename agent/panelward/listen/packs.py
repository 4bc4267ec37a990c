"""SenML packs (RFC 8428): whether the circuit stands in the topic or in the records' names, and where."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import NamedTuple

from panelward.intake.senml import QUANTITY_OF_UNIT
from panelward.listen.proposals import Proposal, Topic, can_stand, which_part
from panelward.listen.shape import QUANTITY, Parts, covers
from panelward.records import QUANTITIES

_CUT = re.compile(r"([/:])")


class _Name(NamedTuple):
    """A record's name, cut; and its quantity, by its unit or by a word of ours within it."""

    parts: Parts
    cuts: Parts
    quantity: str
    by_unit: bool


def senml(topics: Iterable[Topic]) -> list[Proposal]:
    """Monitors that send SenML."""
    alone: list[tuple[Topic, list[_Name], dict[Parts, list[_Name]]]] = []
    made: list[Proposal] = []
    for topic in topics:
        names = _names(topic)
        if not names:
            continue
        circuits = _by_circuit(names)
        if len(circuits) > 1:
            made += _in_records(topic, circuits)
        else:
            alone.append((topic, names, circuits))
    if len(alone) == 1:
        return [*made, *_in_records(alone[0][0], alone[0][2])]
    by_parts = {topic.parts: (topic, names) for topic, names, _ in alone}
    for cover in covers(by_parts):
        of_cover = [by_parts[parts] for parts, _ in cover.circuits]
        table = {"dialect": "senml", "topic": "/".join(cover.template)}
        if not all(name.by_unit for _, names in of_cover for name in names):
            patterns = {_written(name, QUANTITY) for _, names in of_cover for name in names}
            if len(patterns) != 1:
                continue  # no unit and no common form: nothing says what is what
            table["record_name"] = patterns.pop()
        topics_of = [topic.name for topic, _ in of_cover]
        made.append(Proposal(table, topics_of, [circuit for _, circuit in cover.circuits], which_part(cover)))
    return made


def _names(topic: Topic) -> list[_Name]:
    found: dict[_Name, None] = {}
    for one in topic.looks:
        for record in one.value if one.kind == "senml" else ():
            cut = _CUT.split(record["n"])
            parts, cuts = tuple(cut[::2]), tuple(cut[1::2])
            unit = QUANTITY_OF_UNIT.get(record.get("u", ""))
            word = next((part for part in reversed(parts) if part in QUANTITIES), None)
            quantity = word or (unit[0] if unit else "closed" if "vb" in record else None)
            if quantity is not None and ("v" in record or "vb" in record):
                found[_Name(parts, cuts, quantity, unit is not None or "vb" in record)] = None
    return sorted(found)


def _by_circuit(names: list[_Name]) -> dict[Parts, list[_Name]]:
    """The names with the quantity's part marked, by what is left."""
    places: dict[int, int | None] = {}
    for length in {len(name.parts) for name in names}:
        places[length] = _quantity_place([name for name in names if len(name.parts) == length])
    found: dict[Parts, list[_Name]] = {}
    for name in names:
        place = places[len(name.parts)]
        parts = name.parts if place is None else (*name.parts[:place], QUANTITY, *name.parts[place + 1 :])
        found.setdefault(parts, []).append(name)
    return found


def _quantity_place(names: list[_Name]) -> int | None:
    """The part that is a quantity's word in all, or that tells the quantities of one circuit apart."""
    length = len(names[0].parts)
    for place in reversed(range(length)):
        if all(name.parts[place] == name.quantity for name in names):
            return place
    for place in reversed(range(length)):
        meant: dict[str, set[str]] = {}
        rest: dict[Parts, set[str]] = {}
        for name in names:
            meant.setdefault(name.parts[place], set()).add(name.quantity)
            rest.setdefault(name.parts[:place] + name.parts[place + 1 :], set()).add(name.quantity)
        if all(len(found) == 1 for found in meant.values()) and any(len(found) > 1 for found in rest.values()):
            return place
    return None


def _in_records(topic: Topic, circuits: dict[Parts, list[_Name]]) -> list[Proposal]:
    if not can_stand(topic.name):
        return []
    made = []
    for cover in covers(circuits):
        first = circuits[cover.circuits[0][0]][0]
        pattern = _joined(cover.template, first.cuts)
        table = {"dialect": "senml", "topic": topic.name, "record_name": pattern}
        doubts = [text.replace("of the topic", "of the name") for text in which_part(cover)]
        made.append(Proposal(table, [topic.name], [circuit for _, circuit in cover.circuits], doubts))
    return made


def _written(name: _Name, mark: str) -> str:
    place = next((n for n in reversed(range(len(name.parts))) if name.parts[n] == name.quantity), None)
    parts = tuple(mark if n == place else part for n, part in enumerate(name.parts))
    return _joined(parts, name.cuts)


def _joined(parts: Parts, cuts: Parts) -> str:
    return parts[0] + "".join(cut + part for cut, part in zip(cuts, parts[1:], strict=True))
