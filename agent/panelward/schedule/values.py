"""The kinds of values a schedule holds: what is accepted, and what is wanted in words a fitter understands."""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from math import isfinite
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import GetCoreSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

GREATEST = 1e6  # no quantity of a vehicle's panel is greater; what is, is a slip of the keyboard


class Kind(ABC):
    """Validates one value; `words` say what is wanted. Used as `Annotated[type, Kind(...)]`."""

    words: str

    @abstractmethod
    def read(self, value: object) -> object:
        """The value as the records want it; raises `unfit(...)`."""

    def unfit(self, remedy: str = "", wanted: str = "") -> PydanticCustomError:
        return PydanticCustomError("unfit", "unfit", {"wanted": wanted or self.words, "remedy": remedy})

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)


class Number(Kind):
    """A finite number within bounds: `above` leaves its bound out, `least` and `most` take theirs in."""

    def __init__(
        self,
        *,
        above: float | None = None,
        least: float = 0,
        most: float = GREATEST,
        whole: bool = False,
        nought: str = "",
    ) -> None:
        self.above, self.least, self.most, self.whole, self.nought = above, least, most, whole, nought
        noun = "a whole number" if whole else "a number"
        if above is not None:
            short = f"{noun} above {_plain(above)}"
            self._full = f"{short} and at most {_plain(most)}"
        else:
            short = f"{noun}, {_plain(least)} or more"
            self._full = f"{noun} from {_plain(least)} to {_plain(most)}"
        self.words = short if most == GREATEST else self._full

    def read(self, value: object) -> object:
        if isinstance(value, str) and _looks_like_number(value):
            raise self.unfit("Write it without quotes.")
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.unfit()
        if self.whole and not isinstance(value, int):
            raise self.unfit()
        if isinstance(value, float) and not isfinite(value):
            raise self.unfit()
        if value > self.most:
            raise self.unfit(wanted=self._full)
        if value < self.least if self.above is None else value <= self.above:
            raise self.unfit(self.nought if value == 0 else "")
        return value if self.whole else float(value)


class Scale(Kind):
    """What a number in a payload is multiplied by: anything finite but 0."""

    words = "a number other than 0, of at most 1e12"

    def read(self, value: object) -> object:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.unfit()
        if value == 0 or not abs(value) <= 1e12:
            raise self.unfit()
        return float(value)


class Truth(Kind):
    words = "true or false"

    def read(self, value: object) -> object:
        if not isinstance(value, bool):
            raise self.unfit("Write it without quotes." if value in ("true", "false") else "")
        return value


class Text(Kind):
    """A text on one line, without control characters."""

    def __init__(self, words: str = "a text", most: int = 200) -> None:
        self.words, self.most = words, most

    def read(self, value: object) -> object:
        if not isinstance(value, str) or not value.strip():
            raise self.unfit(_in_quotes(value))
        if len(value) > self.most:
            raise self.unfit(wanted=f"{self.words} of at most {self.most} characters")
        if not value.isprintable():
            raise self.unfit(wanted=f"{self.words} on one line, without control characters")
        return value


class Pattern(Kind):
    """A text of a given form."""

    def __init__(self, form: str, words: str) -> None:
        self.form, self.words = re.compile(form), words

    def read(self, value: object) -> object:
        if not isinstance(value, str) or self.form.fullmatch(value) is None:
            raise self.unfit(_in_quotes(value))
        return value


class OneOf(Kind):
    """One word of a list."""

    def __init__(self, *choices: str, remedies: Mapping[str, str] | None = None) -> None:
        self.choices, self.remedies = choices, remedies or {}
        self.words = f"one of {', '.join(choices)}"

    def read(self, value: object) -> object:
        if isinstance(value, str) and value in self.choices:
            return value
        if isinstance(value, str):
            raise self.unfit(self.remedies.get(value) or nearest(value, self.choices))
        quoted = isinstance(value, int) and not isinstance(value, bool) and f"{value:.0f}" in self.choices
        raise self.unfit(f'Write it in quotes: "{value}".' if quoted else "")


class Alias(OneOf):
    """One word of a list, some of which people also write in another way."""

    def __init__(self, *choices: str, aliases: Mapping[str, str]) -> None:
        super().__init__(*choices)
        self.aliases = aliases

    def read(self, value: object) -> object:
        return super().read(self.aliases.get(value, value) if isinstance(value, str) else value)


class Duration(Kind):
    """A time span like "3h", "10min", "90s" or "1h30min"; read as seconds."""

    words = 'a time span like "3h", "10min", "90s" or "1h30min"'
    _form = re.compile(r"(?:([0-9]{1,6})h)? ?(?:([0-9]{1,6})min)? ?(?:([0-9]{1,8})s)?")

    def read(self, value: object) -> object:
        found = self._form.fullmatch(value) if isinstance(value, str) else None
        seconds = 0
        if found is not None:
            seconds = sum(int(part or 0) * size for part, size in zip(found.groups(), (3600, 60, 1), strict=True))
        if not 0 < seconds <= 366 * 86400:
            raise self.unfit()
        return float(seconds)


class Hours(Kind):
    """A span of the day like "06:00-22:00"; read as minutes of the day [from, to)."""

    words = 'two different times of the day like "06:00-22:00"'
    _form = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])-(?:([01][0-9]|2[0-3]):([0-5][0-9])|(24):(00))")

    def read(self, value: object) -> object:
        found = self._form.fullmatch(value) if isinstance(value, str) else None
        if found is None:
            raise self.unfit()
        h, m, h_to, m_to = (int(part) for part in found.groups() if part is not None)
        if (h, m) == (h_to, m_to):
            raise self.unfit('Leave `hours` out if any time will do, or write "00:00-24:00".')
        return (h * 60 + m, h_to * 60 + m_to)


class TimeZone(Kind):
    words = 'a time zone of the IANA list, like "Europe/Oslo" or "UTC"'

    def read(self, value: object) -> object:
        if not isinstance(value, str) or not value:
            raise self.unfit()
        try:
            ZoneInfo(value)
        except (ValueError, KeyError, OSError):  # ZoneInfoNotFoundError is a KeyError; a folder's name is an OSError
            raise self.unfit() from None
        return value


class JsonPointer(Kind):
    """RFC 6901 section 3: empty, or "/" before each part, with "~" only as "~0" and "~1"."""

    words = 'a JSON pointer (RFC 6901) like "/i" or "/meter/amps"'
    _form = re.compile(r"(?:/(?:[^/~]|~[01])*)*", re.DOTALL)

    def read(self, value: object) -> object:
        if not isinstance(value, str) or self._form.fullmatch(value) is None:
            put = isinstance(value, str) and "~" not in value and not value.startswith("/")
            raise self.unfit(f'Put a slash before it: "/{value}".' if put else "")
        return value


ID_FORM = re.compile(r"[A-Za-z0-9_-]{1,64}")
_WHOLE = re.compile(r"[0-9]{1,9}")
ID_WORDS = "letters, digits, - and _ only, at most 64 (it stands in MQTT topics)"


def most_like(found: str, choices: Sequence[str]) -> str:
    """The choice most like what was found, or nothing."""
    folded = {choice.casefold(): choice for choice in choices}
    close = get_close_matches(found.casefold()[:100], list(folded), n=1, cutoff=0.6)
    return folded[close[0]] if close else ""


def nearest(found: str, choices: Sequence[str]) -> str:
    """A remedy that names the choice most like what was found, or nothing.

    A whole number among numbers is near those next to it in size, however its digits look.
    """
    numbers = {int(choice): choice for choice in choices if _WHOLE.fullmatch(choice)}
    if numbers and _WHOLE.fullmatch(found):
        if not min(numbers) <= int(found) <= max(numbers):
            return ""
        least = min(abs(number - int(found)) for number in numbers)
        near = " or ".join(numbers[number] for number in sorted(numbers) if abs(number - int(found)) == least)
    elif numbers and re.fullmatch(r"[0-9]+[.,][0-9]+", found):
        return ""
    else:
        near = most_like(found, choices)
    return f"Did you mean {near}?" if near else ""


def shown(value: object) -> str:
    """What was found, in words: texts in quotes, unprintable characters escaped, long things cut."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{printable(value)}"'
    if isinstance(value, float):
        return f"{value:.12g}"
    if isinstance(value, int):
        return str(value) if abs(value) < 10**15 else "a number of more than 15 digits"
    if isinstance(value, dict):
        return "a table" if value else "an empty table"
    if isinstance(value, list):
        return f"an array of {len(value)}" if value else "an empty array"
    return f"the date or time {value}"


def printable(text: str, most: int = 60) -> str:
    """A text for a person: cut to `most`, what can't be printed escaped."""
    return escaped(text if len(text) <= most else f"{text[: most - 1]}…")


def escaped(text: str) -> str:
    """What can't be printed (control characters, lone surrogates) as \\x1b or \\u202e."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def listed(names: list[str], most: int = 12) -> str:
    """The names, the first of them where there are many."""
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def _plain(value: float) -> str:
    return f"{value:.12g}"


def _looks_like_number(text: str) -> bool:
    return re.fullmatch(r"[+-]?[0-9]+(?:\.[0-9]+)?", text) is not None


def _in_quotes(value: object) -> str:
    plain = isinstance(value, int | float) and not isinstance(value, bool)
    return f'Write it in quotes: "{shown(value)}".' if plain and len(shown(value)) <= 15 else ""
