"""Which part of a name is the circuit: the part at which most names of one form differ.

Names are topics cut at their slashes, or SenML names cut at their separators.
"""

from __future__ import annotations

import heapq
import re
from collections.abc import Iterable
from dataclasses import dataclass

from panelward.schedule.values import ID_FORM

CIRCUIT, QUANTITY, ANY = "{circuit}", "{quantity}", "+"
MARKS = (CIRCUIT, QUANTITY, ANY)
MOST_PARTS = 12  # of a topic; more are no monitor's (our own choice)
TOGETHER = 3  # so many names whose parts differ all at once are taken for one monitor

Parts = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Cover:
    """A template, the names it fits and the circuit of each; `others` are parts that might be the circuit as well."""

    template: Parts
    place: int
    circuits: tuple[tuple[Parts, str], ...]
    others: tuple[tuple[int, tuple[str, ...]], ...] = ()


def can_be_written(part: str) -> bool:
    """Whether a fixed part may stand in a schedule's topic."""
    return part.isprintable() and not set(part) & set("+#{}")


def covers(names: Iterable[Parts]) -> list[Cover]:
    """Templates that fit the names, those that fit most first; a name that fits none is left out."""
    fits: dict[tuple[Parts, int], list[Parts]] = {}
    at: dict[Parts, list[tuple[Parts, int]]] = {}
    for name in sorted(set(names)):
        if len(name) > MOST_PARTS:
            continue
        unfit = [n for n, part in enumerate(name) if part not in MARKS and not can_be_written(part)]
        for place, part in enumerate(name):
            if part in MARKS or ID_FORM.fullmatch(part) is None or any(n != place for n in unfit):
                continue
            key = ((*name[:place], CIRCUIT, *name[place + 1 :]), place)
            fits.setdefault(key, []).append(name)
            at.setdefault(name, []).append(key)

    def rank(key: tuple[Parts, int], left: list[Parts]) -> tuple[int, bool, int, Parts]:
        # Of equals the part with numbers, as ways have, and then the last: topics go from the large to the small.
        return (-len(left), not all(_has_digit(name[key[1]]) for name in left), -key[1], key[0])

    waiting = [(rank(key, found), key) for key, found in fits.items()]
    heapq.heapify(waiting)
    done: dict[Parts, None] = {}
    made: list[Cover] = []
    while waiting:
        before, key = heapq.heappop(waiting)
        left = [name for name in fits[key] if name not in done]
        if not left:
            continue
        now = rank(key, left)
        if now != before:
            heapq.heappush(waiting, (now, key))
            continue
        done |= dict.fromkeys(left)
        template, place = key
        if len(left) == 1 and any(part and part not in MARKS and not ID_FORM.fullmatch(part) for part in left[0][place + 1 :]):
            continue  # a part behind it is no id, and may well be the circuit: one name alone does not show it
        made.append(Cover(template, place, tuple((name, name[place]) for name in left), _others(left, place, fits, at)))
    return _joined(made)


def _others(
    names: list[Parts], place: int, fits: dict[tuple[Parts, int], list[Parts]], at: dict[Parts, list[tuple[Parts, int]]]
) -> tuple[tuple[int, tuple[str, ...]], ...]:
    """Other parts that differ too among names of this form; of a single name any part."""
    found: dict[int, dict[str, None]] = {}
    for name in names:
        for key in at[name]:
            if key[1] != place and (len(fits[key]) > 1 or len(names) == 1):
                found.setdefault(key[1], {}).update(dict.fromkeys(other[key[1]] for other in fits[key]))
    return tuple((other, tuple(sorted(texts))) for other, texts in sorted(found.items()))


def _joined(made: list[Cover]) -> list[Cover]:
    """Names that differ at several parts at once, each circuit under a device of its own: "+" for the other parts."""
    alone: dict[tuple[object, ...], list[Parts]] = {}
    for cover in made:
        if len(cover.circuits) == 1:
            name = cover.circuits[0][0]
            form = (len(name), name[0], *(part if part in MARKS else "" for part in name))
            alone.setdefault(form, []).append(name)
    taken: dict[Parts, None] = {}
    joined: list[Cover] = []
    for names in alone.values():
        differ = [n for n in range(len(names[0])) if len({name[n] for name in names}) > 1]
        places = [n for n in differ if len({name[n] for name in names}) == len(names)]
        places = [n for n in places if all(ID_FORM.fullmatch(name[n]) for name in names)]
        if len(names) < TOGETHER or len(differ) < 2 or not places:
            continue
        place = max(places, key=lambda n: (all(_has_digit(name[n]) for name in names), n))
        template = tuple(
            CIRCUIT if n == place else ANY if n in differ else part for n, part in enumerate(names[0])
        )  # fmt: skip
        others = tuple((n, tuple(sorted({name[n] for name in names}))) for n in differ if n != place)
        taken |= dict.fromkeys(names)
        joined.append(Cover(template, place, tuple((name, name[place]) for name in sorted(names)), others))
    return [cover for cover in made if len(cover.circuits) > 1 or cover.circuits[0][0] not in taken] + joined


def natural(text: str) -> list[tuple[bool, int, str]]:
    """To sort by: D2 before D10."""
    pieces = re.split(r"([0-9]+)", text[:100])
    return [(piece.isdecimal(), int(piece) if piece.isdecimal() else 0, piece) for piece in pieces if piece]


def _has_digit(text: str) -> bool:
    return any(c.isdigit() for c in text)
