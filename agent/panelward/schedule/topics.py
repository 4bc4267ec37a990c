"""Topics and patterns of topics, as MQTT 5.0 section 4.7 has them, with {circuit} and {quantity} in a monitor's."""

from __future__ import annotations

import re

_PLACE = re.compile(r"\{([^{}]*)\}")
PLACEHOLDERS = ("circuit", "quantity")


def filter_is_valid(text: str) -> bool:
    """Whether a text is a topic filter: MQTT 5.0 section 4.7.1 and 4.7.3 ("+" and "#" alone in their level, "#" last)."""
    if not topic_fits(text):
        return False
    levels = text.split("/")
    if levels[0] == "$share":  # section 4.8.2: $share/{name}/{filter}
        name, rest = levels[1] if len(levels) > 1 else "", "/".join(levels[2:])
        return bool(name) and not set(name) & set("+#") and filter_is_valid(rest)
    return all(
        (level == "#" and place == len(levels) - 1) or level == "+" or not set(level) & set("+#")
        for place, level in enumerate(levels)
    )


def topic_fits(text: str) -> bool:
    """Length and characters of a topic or a filter: 1 to 65535 bytes of UTF-8 without U+0000; section 4.7.3."""
    return "\0" not in text and 1 <= len(text.encode("utf-8", "surrogatepass")) <= 65535


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
