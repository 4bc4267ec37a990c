"""What may be varied in a few words, as the schedule's own keys: "D4 conductor 4 mm2", "bank 280 Ah".

    WAY conductor 4 mm2 | 12 AWG | 10 SAE     all its stretches; WAY: a position, a label, a word of it, or a feeder
    WAY length 3 m                            one way; of one stretch
    WAY fuse 15 A | breaker 15 A | device 15 A    another of the kind and type that is fitted
    [SUPPLY] bank 280 Ah                      its rated capacity
    [SUPPLY] cut-off 11.8 V                   its low-voltage disconnect

Anything else goes into a small TOML of the schedule's own keys.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from panelward.errors import BadInput
from panelward.ratings.conductor import AWG_ALIASES, AWG_SIZES, SAE_CMIL
from panelward.records import Circuit, Feeder, Schedule
from panelward.rehearse.named import Named, named
from panelward.schedule.values import most_like, printable

Raw = dict[str, Any]

FORMS = (
    "WAY conductor 4 mm2 (or 12 AWG, 10 SAE)", "WAY length 3 m", "WAY fuse 15 A (or breaker, device)", "bank 280 Ah",
    "cut-off 11.8 V",
)  # fmt: skip
WORDS = ("conductor", "length", "fuse", "breaker", "device", "bank", "cut-off")
_WANTED = {
    "conductor": ("what size", "4 mm2"), "length": ("how many metres one way", "3 m"),
    "fuse": ("how many amperes", "7.5 A"), "breaker": ("how many amperes", "6 A"),
    "device": ("how many amperes", "7.5 A"), "bank": ("how many ampere-hours", "280 Ah"),
    "cut-off": ("how many volts", "11.8 V"),
}  # fmt: skip
_SAME = {"cable": "conductor", "wire": "conductor", "cutoff": "cut-off", "battery": "bank"}
_GAUGE = r"[1-4]/0|0{1,4}|[0-9]{1,2}"
_NUMBER = r"([0-9]{1,9}(?:[.,][0-9]{1,6})?)"


@dataclass(frozen=True, slots=True)
class _Asked:
    """One variation in words, taken apart."""

    text: str
    way: str
    word: str
    value: str

    def measure(self, unit: str, wanted: str) -> float:
        """The number before its unit. BadInput says what was understood of the rest."""
        found = re.fullmatch(rf"{_NUMBER}\s*(?:{unit})", self.value, re.IGNORECASE)
        if found is None:
            raise self.wrong(f'understood "{self.word}"; wanted {wanted} behind it, found "{printable(self.value)}"')
        return float(found[1].replace(",", "."))

    def wrong(self, why: str) -> BadInput:
        return BadInput(f'--variation "{printable(self.text)}": {why}')


def patch_of(text: str, schedule: Schedule) -> Raw:
    """The tables of the schedule that these words change. BadInput names what was understood of them."""
    # The last word of ours counts: a label may hold one too.
    there = _readings(text)
    asked = next((a for a in there if a.value), None)
    if asked is None and there:
        word, which = there[0].word, there[0].way or "D4"
        wanted, example = _WANTED[word]
        before = "" if word in ("bank", "cut-off") and not there[0].way else f"{printable(which)} "
        raise there[0].wrong(f'{word} of {wanted}? For example "{before}{word} {example}"')
    if asked is None:
        raise _not_understood(text, schedule)
    makes = _MAKES[asked.word]
    return makes(asked, schedule)


def _readings(text: str) -> list[_Asked]:
    found = []
    for match in re.finditer(rf"\b(?:{'|'.join((*WORDS, *_SAME))})\b", text, re.IGNORECASE):
        word = match[0].casefold()
        found.append(_Asked(text, text[: match.start()].strip(), _SAME.get(word, word), text[match.end() :].strip()))
    return found[::-1]


def _not_understood(text: str, schedule: Schedule) -> BadInput:
    first, _, rest = text.strip().partition(" ")
    understood = ""
    try:
        understood = f'understood "{printable(first)}" as {named(schedule, first).title}; '
    except BadInput:
        rest = text.strip()
    near = next((n for n in (most_like(w, WORDS) for w in rest.split()) if n), "")
    hint = f' Did you mean "{near}"?' if near else ""
    return BadInput(
        f'--variation "{printable(text)}": {understood}"{printable(rest)}" is no variation. Wanted one of: '
        f"{'; '.join(FORMS)}; or a TOML file of the schedule's own keys.{hint}"
    )


def _conductor(asked: _Asked, schedule: Schedule) -> Raw:
    part = _way(asked, schedule, ("circuit", "feeder"))
    gauge = re.fullmatch(rf"(?:(awg|sae)\s*({_GAUGE})|({_GAUGE})\s*(awg|sae))", asked.value, re.IGNORECASE)
    if gauge is not None:
        system = (gauge[1] or gauge[4]).casefold()
        size = gauge[2] or gauge[3]
        size = AWG_ALIASES.get(size, size)
        known = AWG_SIZES if system == "awg" else tuple(SAE_CMIL)
        if size not in known:
            sizes = ", ".join(known)
            raise asked.wrong(f'understood "{asked.word}" of {part.title}; there is no {system.upper()} size {size}: {sizes}')
        return _table(part, {"conductor": {system: size}})
    area = asked.measure("mm2|mm²|mm\\^2|sqmm", "a size like 4 mm2, 12 AWG or 10 SAE")
    return _table(part, {"conductor": {"area_mm2": area}})


def _length(asked: _Asked, schedule: Schedule) -> Raw:
    part = _way(asked, schedule, ("circuit", "feeder"))
    metres = asked.measure("m|metres?|meters?", "a length one way, like 3 m")
    stretches = len(_part(part, schedule).conductor)
    if stretches > 1:
        raise asked.wrong(f"{part.title} has {stretches} stretches; write all of them as an array in a TOML file")
    return _table(part, {"conductor": {"length_m": metres}})


def _device(asked: _Asked, schedule: Schedule) -> Raw:
    part = _way(asked, schedule, ("circuit", "feeder"))
    amps = asked.measure("a|amps?|amperes?", "a rating like 15 A")
    fitted = _part(part, schedule).protection
    if fitted is None:
        raise asked.wrong(f"the schedule lists no device of {part.title}")
    if asked.word != "device" and asked.word not in fitted.kind:
        raise asked.wrong(
            f"{part.title} has a {fitted.kind}; write another kind into a TOML file: protection = {{ kind = …, rating_a = … }}"
        )
    return _table(part, {"protection": {"rating_a": amps}})


def _bank(asked: _Asked, schedule: Schedule) -> Raw:
    supply_id = _supply(asked, schedule, battery=True)
    capacity = asked.measure("ah", "a capacity like 280 Ah")
    return {"supply": {supply_id: {"battery": {"capacity_ah": capacity}}}}


def _cut_off(asked: _Asked, schedule: Schedule) -> Raw:
    supply_id = _supply(asked, schedule, battery=False)
    return {"supply": {supply_id: {"cutoff_v": asked.measure("v|volts?", "volts like 11.8 V")}}}


def _supply(asked: _Asked, schedule: Schedule, *, battery: bool) -> str:
    if asked.way:
        part = named(schedule, asked.way, ("supply",), asked.text)
        if battery and schedule.supply(part.id).battery is None:
            raise asked.wrong(f"the schedule lists no battery of {part.title}")
        return part.id
    having = [s.id for s in schedule.supplies if (s.battery is not None if battery else s.cutoff_v is not None)]
    if len(having) != 1:
        what = "a battery" if battery else "a cut-off"
        lists = f"the schedule lists {what} of {', '.join(having) if having else 'no supply'}"
        raise asked.wrong(f'understood "{asked.word}"; {lists}: name the supply before it')
    return having[0]


def _way(asked: _Asked, schedule: Schedule, kinds: tuple[str, ...]) -> Named:
    if not asked.way:
        raise asked.wrong(f'understood "{asked.word} {printable(asked.value)}", but not of which way; begin with it, like D4')
    return named(schedule, asked.way, kinds, asked.text)


def _part(part: Named, schedule: Schedule) -> Circuit | Feeder:
    return schedule.circuit(part.id) if part.kind == "circuit" else schedule.feeder(part.id)


def _table(part: Named, keys: Raw) -> Raw:
    return {"circuit": [{"id": part.id} | keys]} if part.kind == "circuit" else {"feeder": {part.id: keys}}


_MAKES: dict[str, Callable[[_Asked, Schedule], Raw]] = {
    "conductor": _conductor, "length": _length, "fuse": _device, "breaker": _device, "device": _device, "bank": _bank,
    "cut-off": _cut_off,
}  # fmt: skip
