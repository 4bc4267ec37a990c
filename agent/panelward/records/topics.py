"""Topic filters of MQTT 5.0 section 4.7: what the schedule, the link and their tests all judge by."""

from __future__ import annotations


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
