"""Every word of the pages, a TOML file a language. Alarm sentences are not here: the journal holds them as they were told."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from functools import cache
from importlib.resources import files
from typing import Any

LANGUAGES = ("en", "de", "nb")
NAMES = {"en": "English", "de": "Deutsch", "nb": "Norsk bokmål"}

Words = Callable[..., str]


@cache
def texts(language: str) -> dict[str, str]:
    """All texts of a language: `page.name` -> text with {placeholders}."""
    found = tomllib.loads(files("panelward.door").joinpath("words", f"{language}.toml").read_text("utf-8"))
    return {f"{page}.{name}": text for page, names in found.items() for name, text in names.items()}


def words(language: str) -> Words:
    """A text by its key, like `page.back`, with its values, in a language; one that a file lacks is said in English."""
    own, english = texts(language), texts("en")

    def t(key: str, **values: Any) -> str:
        text = own.get(key) or english[key]
        return text.format(**values) if values else text

    return t


def wanted(accepts: str, chosen: str | None = None) -> str:
    """The language to speak: the one chosen, else the first of Accept-Language that there is (RFC 9110, 12.5.4)."""
    if chosen in LANGUAGES:
        return chosen
    found: list[tuple[float, int, str]] = []
    for at, part in enumerate(accepts.split(",")[:20]):
        name, _, rest = part.strip().partition(";")
        try:
            weight = float(rest.strip().removeprefix("q=")) if rest else 1.0
        except ValueError:
            weight = 0.0
        language = name.split("-")[0].strip().lower()
        language = "nb" if language in ("no", "nn") else language
        if language in LANGUAGES and weight > 0:
            found.append((-weight, at, language))
    return min(found)[2] if found else "en"
