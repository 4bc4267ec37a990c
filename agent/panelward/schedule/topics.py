"""Patterns of topics: filters of MQTT 5.0 section 4.7 with {circuit} and {quantity} in a monitor's."""

from __future__ import annotations

import re

from panelward.records.topics import filter_is_valid

_PLACE = re.compile(r"\{([^{}]*)\}")
PLACEHOLDERS = ("circuit", "quantity")


def placeholders(text: str) -> list[str]:
    """The names in braces, in their order."""
    return _PLACE.findall(text)


def pattern_fault(text: str) -> tuple[str, str] | None:
    """What is wrong with a monitor's topic, apart from what its dialect needs: (wanted, remedy) or None."""
    names = placeholders(text)
    unknown = [name for name in names if name not in PLACEHOLDERS]
    if unknown or set(_PLACE.sub("", text)) & set("{}"):
        return "no other braces than {circuit} and {quantity}", ""
    if len(names) != len(set(names)):
        return "{circuit} and {quantity} once each", ""
    if any(_PLACE.sub("", level) for level in text.split("/") if _PLACE.search(level)):
        return "{circuit} and {quantity} each alone between two slashes", ""
    if "#" in text or not filter_is_valid(_PLACE.sub("+", text)):
        return 'a valid MQTT topic filter, without "#" and with "+" only alone between slashes', ""
    return None
