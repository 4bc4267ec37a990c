"""The open question for a thumb: its keys, each standing for an answer that may be typed at the terminal.

The words are the page's (`fitting` in its words files): here are names and values.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from panelward.commission.answers import Answers
from panelward.commission.state import Question, State, listed, loads, place, protected, supply_of
from panelward.ratings.colours import blade_colour
from panelward.records import Circuit, Schedule

BLADES_A = (1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0)  # ratings.colours: every one in its lists
MOST_NEAR = 3  # loads offered first where it is not plain which rose


@dataclass(frozen=True, slots=True)
class Key:
    """One tap."""

    name: str  # of its words
    answer: str
    values: Mapping[str, Any] = field(default_factory=dict)
    first: bool = False  # the likely one
    more: bool = False  # behind "another …"


@dataclass(frozen=True, slots=True)
class Asked:
    """What is open."""

    number: str
    name: str  # of its words
    text: str  # the terminal's
    values: Mapping[str, Any] = field(default_factory=dict)
    keys: tuple[Key, ...] = ()
    typed: str = ""  # "" | name | text | amps | celsius: what may be typed instead
    skip: bool = False  # takes "skip, because …"


UNKNOWN = Key("unknown", "don't know")


def asked(schedule: Schedule, answers: Answers, state: State) -> Asked | None:
    """The open question; None: nothing is asked, it measures."""
    text = answers.prompt()
    if text is None:
        return None
    found = _Keys(schedule, answers, state).found()
    return Asked(answers.number(), text=text, **found)


class _Keys:
    def __init__(self, schedule: Schedule, answers: Answers, state: State) -> None:
        self._schedule, self._answers, self._state = schedule, answers, state

    def found(self) -> dict[str, Any]:
        state = self._state
        if state.uncovered:
            keys = (Key("covered_now", "covered", first=True), Key("isolated_again", "isolated"))
            return {"name": "uncovered", "keys": keys, "skip": True}
        if state.open_question and state.questions:
            question = state.questions[0]
            return self._which(question) if question.kind == "which" else self._order(question)
        found: dict[str, Any] = getattr(self, f"_{state.phase.replace('-', '_')}")()
        return {"name": state.phase.replace("-", "_"), **found}

    def _which(self, question: Question) -> dict[str, Any]:
        fitting, meant = self._answers.fitting(question), self._answers.meant(question)
        near = fitting[:MOST_NEAR]
        keys = [Key("load", c.id, {"label": c.label, "way": c.id}, first=c is meant) for c in near]
        rest = [c for c in loads(self._schedule) if c not in near]
        keys += [Key("load", c.id, {"label": c.label, "way": c.id}, more=True) for c in rest]
        edge, way = question.edge, self._schedule.circuit(question.channels[0])
        watts = edge.to_w - edge.from_w if edge else 0.0
        values = {
            "place": place(way), "amps": f"{watts / supply_of(self._schedule, way).nominal_v:.1f}", "watts": f"{watts:.0f}",
            "label": way.label,
        }  # fmt: skip
        return {"name": "which", "values": values, "keys": (*keys, UNKNOWN), "skip": True}

    def _order(self, question: Question) -> dict[str, Any]:
        one, two = (self._schedule.circuit(each).label for each in question.channels[2:])
        values = {"a": question.channels[0], "b": question.channels[1], "one": one, "two": two}
        return {"name": "order", "values": values, "keys": (UNKNOWN,)}

    def _who(self) -> dict[str, Any]:
        return {"keys": (UNKNOWN,), "typed": "name"}

    def _instrument(self) -> dict[str, Any]:
        return {"keys": (Key("no_clamp", "none"), UNKNOWN), "typed": "text"}

    def _ambient(self) -> dict[str, Any]:
        return {"keys": (UNKNOWN,), "typed": "celsius"}

    def _plan(self) -> dict[str, Any]:
        minutes, every_s = self._answers.minutes()
        kept = listed(self._answers.kept_on())
        values = {"minutes": minutes, "every": f"{every_s:g}", "movers": self._answers.movers(), "kept": kept}
        return {"values": values, "keys": (Key("all_know", "", first=True),)}

    def _isolated(self) -> dict[str, Any]:
        return {"keys": (Key("isolated", "yes"), Key("live_covered", "covered"), Key("not_read", "no"), UNKNOWN)}

    def _device(self) -> tuple[Circuit, dict[str, Any]]:
        circuit = protected(self._schedule)[self._state.fuse]
        assert circuit.protection is not None
        rating_a = circuit.protection.rating_a
        values = {
            "place": place(circuit),
            "rating": f"{rating_a:g}",
            "kind": circuit.protection.kind,
            "colour": _colour(circuit, rating_a),
            "ac": supply_of(self._schedule, circuit).kind == "ac",
        }
        return circuit, values

    def _fuse(self) -> dict[str, Any]:
        circuit, values = self._device()
        return {
            "values": values, "keys": (Key("scheduled", "", values, first=True), *_others(circuit), UNKNOWN), "typed": "amps",
            "skip": True,
        }  # fmt: skip

    def _left(self) -> dict[str, Any]:
        circuit, values = self._device()
        found_a = self._state.as_found[circuit.id]
        as_it_was = {**values, "rating": f"{found_a:g}", "colour": _colour(circuit, found_a)}
        keys = (Key("changed", "", values, first=True), Key("left_in", f"{found_a:g}", as_it_was), *_others(circuit), UNKNOWN)
        return {"values": {**values, "found": f"{found_a:g}"}, "keys": keys, "typed": "amps"}

    def _cover(self) -> dict[str, Any]:
        return {"keys": (Key("cover_on", "", first=True),)}

    def _energise(self) -> dict[str, Any]:
        return {"keys": (Key("energised", "", first=True),), "skip": True}

    def _slow(self) -> dict[str, Any]:
        return {"values": {"labels": listed(self._answers.slow())}, "keys": (Key("started", "", first=True),), "skip": True}

    def _clamp(self) -> dict[str, Any]:
        return {"keys": (UNKNOWN,), "typed": "amps", "skip": True}

    def _clamp_2(self) -> dict[str, Any]:
        return {"values": {"best": self._answers.reference()}, "keys": (UNKNOWN,), "typed": "amps", "skip": True}

    def _lap(self) -> dict[str, Any]:
        holes = self._answers.missing()
        warned = self._state.warned_holes and bool(holes)
        keys = (Key("done_holes" if warned else "done", "done", first=not holes),)
        return {"values": {"holes": listed(holes) if warned else ""}, "keys": keys}

    def _heater(self) -> dict[str, Any]:
        return {"values": {"labels": listed(self._state.heaters)}, "keys": (Key("heater_off", "", first=True),)}

    def _bond(self) -> dict[str, Any]:
        return {"keys": (Key("not_by_us", "not by us", first=True),), "typed": "name"}

    def _summary(self) -> dict[str, Any]:
        return {"keys": (Key("seal", "", first=True),)}

    def _overnight(self) -> dict[str, Any]:
        return {"keys": (Key("keep_on", ""), Key("no_more", "no"))}


def _others(circuit: Circuit) -> list[Key]:
    """The other blade fuses that there are: a tap each."""
    protection = circuit.protection
    if protection is None or protection.kind != "blade-fuse":
        return []
    return [
        Key("amps", f"{a:g}", {"rating": f"{a:g}", "colour": _colour(circuit, a)}, more=True)
        for a in BLADES_A
        if a != protection.rating_a and _colour(circuit, a)
    ]


def _colour(circuit: Circuit, rating_a: float) -> str:
    protection = circuit.protection
    if protection is None or protection.kind != "blade-fuse":
        return ""
    return blade_colour(protection.type, rating_a) or blade_colour(None, rating_a) or ""
