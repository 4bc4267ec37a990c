"""Topics and filters of MQTT 5.0 section 4.7: what the schedule, the link, the daemon and their tests all judge by."""

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


def topic_is_valid(text: str) -> bool:
    """Whether it may be published to.

    Beside section 4.7: no characters for which a broker may close the connection (1.5.4: controls, non-characters).
    """
    return topic_fits(text) and not any(c in "+#" or _closes(ord(c)) for c in text)


def _closes(code: int) -> bool:
    controls = code < 0x20 or 0x7F <= code < 0xA0
    return controls or 0xD800 <= code < 0xE000 or 0xFDD0 <= code < 0xFDF0 or code & 0xFFFE == 0xFFFE


def level(name: str) -> str:
    """A name as one level of a topic: what means something to MQTT is written as in a URL (RFC 3986 section 2.1)."""
    return "".join(f"%{ord(c):02X}" if c in "%+#/" else c for c in name)
