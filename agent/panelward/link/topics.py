"""Topic filters of MQTT 5.0 and 3.1.1, section 4.7. Pure."""

from __future__ import annotations

LONGEST_BYTES = 65_535


def valid_filter(text: str) -> bool:
    """At least one character, no U+0000; "#" last and alone in its level, "+" alone in its level."""
    if not text or "\0" in text or len(text.encode("utf-8", "surrogatepass")) > LONGEST_BYTES:
        return False
    levels = text.split("/")
    for n, level in enumerate(levels):
        if "#" in level and (level != "#" or n != len(levels) - 1):
            return False
        if "+" in level and level != "+":
            return False
    return True


def matches(text: str, topic: str) -> bool:
    """Does a valid filter match this topic name? A leading wildcard does not match a topic beginning with $ (4.7.2)."""
    if topic.startswith("$") and text[:1] in ("+", "#"):
        return False
    wanted, given = text.split("/"), topic.split("/")
    for n, level in enumerate(wanted):
        if level == "#":
            return True  # its parent level too
        if n >= len(given) or level not in ("+", given[n]):
            return False
    return len(wanted) == len(given)
