"""Monitors as they might be written, one dialect after the other. Whether intake can read them is asked later."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from panelward.errors import PayloadRefused
from panelward.intake.dialects import plain_value
from panelward.listen.fields import PLAIN_STATES, STATES, Member, member, number, scales, time_scale
from panelward.listen.heard import Heard
from panelward.listen.payloads import Look, leaves
from panelward.listen.shape import QUANTITY, Cover, Parts, can_be_written, covers, natural
from panelward.records import QUANTITIES

LOOKED_AT = 200  # messages of a topic that are looked into for their form
MOST_NAMES = 6


@dataclass(frozen=True, slots=True)
class Topic:
    """All that was heard on one topic, in order of time, and what each payload is."""

    name: str
    heard: tuple[Heard, ...]
    looks: tuple[Look, ...]  # of the first of them

    @property
    def parts(self) -> Parts:
        return tuple(self.name.split("/"))


@dataclass(slots=True)
class Proposal:
    """A [[monitor]] as a table of TOML but for its name, the topics it is made from, and the circuits in them."""

    table: dict[str, Any]
    topics: list[str]
    circuits: list[str]
    doubts: list[str] = field(default_factory=list)
    scales: tuple[tuple[str, str], ...] = ()


def plain(topics: Iterable[Topic]) -> list[Proposal]:
    """A number or a state a topic, with a part of the topic that is the quantity's own word."""
    found: dict[Parts, list[str]] = {}
    for topic in topics:
        parts = topic.parts
        place = next((n for n in reversed(range(len(parts))) if parts[n] in QUANTITIES), None)
        if place is None or not any(_reads(parts[place], heard.payload) for heard in topic.heard[:LOOKED_AT]):
            continue
        found.setdefault((*parts[:place], QUANTITY, *parts[place + 1 :]), []).append(topic.name)
    made = []
    for cover in covers(found):
        names = [topic for name, _ in cover.circuits for topic in found[name]]
        table = {"dialect": "plain", "topic": "/".join(cover.template)}
        made.append(Proposal(table, names, [circuit for _, circuit in cover.circuits], which_part(cover)))
    return made


def _reads(quantity: str, payload: bytes) -> bool:
    try:
        plain_value(quantity, payload)
    except PayloadRefused:
        return False
    return True


def json(topics: Iterable[Topic]) -> list[Proposal]:
    """An object a message, its members by their names; topics whose members agree are one monitor's."""
    groups: list[tuple[dict[str, Member], list[Topic]]] = []
    known: list[tuple[Topic, dict[str, Member], list[str]]] = []
    for topic in topics:
        if not any(one.kind == "json" for one in topic.looks):
            continue
        members, doubts = _members(topic)
        if members:
            known.append((topic, members, doubts))
    for topic, members, _ in sorted(known, key=lambda one: (-len(one[1]), one[0].name)):
        for together, of_group in groups:
            shared = [q for q in members if q in together]
            as_long = len(of_group[0].parts) == len(topic.parts)
            if as_long and shared and all(_same(together[q], members[q]) for q in shared):
                together.update({q: m for q, m in members.items() if q not in together})
                of_group.append(topic)
                break
        else:
            groups.append((dict(members), [topic]))
    doubts_of = {topic.name: doubts for topic, _, doubts in known}
    made = []
    for members, of_group in groups:
        by_parts = {topic.parts: topic for topic in of_group}
        for cover in covers(by_parts):
            made.append(_json(cover, members, [by_parts[parts] for parts, _ in cover.circuits], doubts_of))
    return made


def _same(one: Member, other: Member) -> bool:
    """The same place and factor; how sure a name is does not matter here."""
    return (one.pointer, one.scale) == (other.pointer, other.scale)


def _json(cover: Cover, members: dict[str, Member], topics: list[Topic], doubts_of: dict[str, list[str]]) -> Proposal:
    present: dict[str, Member] = {}
    samples: list[dict[str, float]] = []
    times: dict[str, list[tuple[int, Any]]] = {}
    for topic in topics:
        for heard, one in zip(topic.heard, topic.looks, strict=False):
            if one.kind != "json":
                continue
            values = leaves(one.value)
            present |= {q: m for q, m in members.items() if m.pointer in values}
            figures = {q: number(values.get(m.pointer)) for q, m in members.items()}
            samples.append({q: value for q, value in figures.items() if value is not None})
            for pointer, raw in values.items():
                if not heard.retained:
                    times.setdefault(pointer, []).append((heard.received_ms, raw))
    scaled, doubts = scales(present, samples)
    fields: dict[str, Any] = {}
    for quantity in QUANTITIES:
        if quantity in present:
            fields[quantity] = {"pointer": present[quantity].pointer}
            factor = scaled.get(quantity, (1.0, ""))[0]
            fields[quantity] |= {"scale": factor} if factor != 1.0 else {}
    taken = {where["pointer"] for where in fields.values()}
    for pointer in sorted(times):
        factor_or_none = None if pointer in taken else time_scale(pointer, times[pointer])
        if factor_or_none is not None:
            fields["time"] = {"pointer": pointer} | ({"scale": factor_or_none} if factor_or_none != 1.0 else {})
            break
    said = [text for topic in topics for text in doubts_of[topic.name]]
    table = {"dialect": "json", "topic": "/".join(cover.template), "fields": fields}
    reasons = tuple((q, why) for q, (_, why) in scaled.items() if q in fields)
    names = [topic.name for topic in topics]
    return Proposal(table, names, [c for _, c in cover.circuits], [*which_part(cover), *dict.fromkeys(said), *doubts], reasons)


def _members(topic: Topic) -> tuple[dict[str, Member], list[str]]:
    """The member of each quantity; and where two could be it, that is said and neither taken."""
    values: dict[str, list[Any]] = {}
    stamped: dict[str, list[tuple[int, Any]]] = {}
    for heard, one in zip(topic.heard, topic.looks, strict=False):
        if one.kind == "json":
            for pointer, value in leaves(one.value).items():
                values.setdefault(pointer, []).append(value)
                stamped.setdefault(pointer, []).append((heard.received_ms, value))
    choices: dict[str, list[Member]] = {}
    for pointer in sorted(values):
        found = member(pointer, values[pointer])
        if found is not None and time_scale(pointer, stamped[pointer]) is None:
            choices.setdefault(found.quantity, []).append(found)
    members: dict[str, Member] = {}
    doubts: list[str] = []
    for quantity, found_here in choices.items():
        best = min(_worth(one) for one in found_here)
        first = [one for one in found_here if _worth(one) == best]
        if len(first) == 1:
            members[quantity] = first[0]
        else:
            places = " or ".join(one.pointer for one in first[:MOST_NAMES])
            doubts.append(f"{quantity.capitalize()} could stand at {places}: write in fields which it is.")
    for quantity in STATES:
        if quantity in members and _last(members[quantity]) not in PLAIN_STATES:
            place = members[quantity].pointer
            doubts.append(
                f"{quantity.capitalize()} is taken from {place}: see that it is the way's own switch, else leave it out."
            )
    letters = all(len(_last(one)) == 1 for one in members.values())
    if letters and not {"volts", "amps"} & set(members):
        return {}, []  # a t or a p alone may be anything
    return members, doubts


def _last(one: Member) -> str:
    return one.pointer.rsplit("/", 1)[1].lower()


def _worth(one: Member) -> tuple[int, int]:
    """What is less is better: not nested, then by its name."""
    return (one.pointer.count("/"), -one.strength)


def which_part(cover: Cover) -> list[str]:
    """Why another part may be the circuit, in plain words."""
    written = "/".join(cover.template)
    taken = cover.circuits[0][1]
    if not cover.others:
        return []
    if len(cover.circuits) == 1:
        return [
            f"{written}: only {taken} was heard there, so nothing shows which part names the circuit; {taken} is taken. "
            "Listen again while another circuit is read, or put {circuit} where it belongs."
        ]
    said = []
    for place, texts in cover.others:
        names = ", ".join(texts[:MOST_NAMES]) + (" …" if len(texts) > MOST_NAMES else "")
        circuits = ", ".join(sorted((circuit for _, circuit in cover.circuits), key=natural)[:MOST_NAMES])
        circuits += " …" if len(cover.circuits) > MOST_NAMES else ""
        said.append(
            f"{written}: {circuits} are taken for circuits; part {place + 1} of the topic differs too ({names}) and might "
            "name them instead. Look which of the two stands on the panel."
        )
    return said


def can_stand(topic: str) -> bool:
    """Whether a whole topic can stand in a schedule as it is."""
    return bool(topic) and all(can_be_written(part) for part in topic.split("/"))
