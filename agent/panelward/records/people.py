"""Who is told: read from people.toml, used where messages are addressed. An address is a reference, never the secret."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

EVENING_MIN = 18 * 60  # of the local day: before it is dark, and long before anybody sleeps (our own choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """One who is told, by all of `refs`."""

    name: str
    refs: tuple[str, ...]
    priorities: tuple[str, ...] = ("high", "medium", "low")
    circuits: tuple[str, ...] = ()  # nothing: all
    sleeping: tuple[int, int] | None = None  # minutes of the local day [from, to)
    after_s: float = 0.0  # told of a high alarm only when nobody answered for so long
    at_once: bool = False  # an address without a person: everything, as it comes


@dataclass(frozen=True, slots=True, kw_only=True)
class People:
    """All of them, in the order of the file: the next one is asked when nobody answers."""

    persons: tuple[Person, ...] = ()
    evening_min: int = EVENING_MIN  # when the evening sheet goes out
    weekly_day: int | None = None  # 0 = Monday: that evening's sheet says that all works
    unread: str = ""  # why people.toml could not be read: only those of the environment are here

    def by_ref(self, ref: str) -> Person | None:
        """Whose address it is; None: nobody's any more."""
        return next((person for person in self.persons if ref in person.refs), None)


def everybody(refs: Iterable[str]) -> People:
    """Addresses without people: each hears everything, as it comes."""
    return People(persons=(Person(name="everybody", refs=tuple(refs), at_once=True),))
