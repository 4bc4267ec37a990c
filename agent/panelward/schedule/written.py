"""Values as TOML 1.0 writes them, for what drafts a schedule."""

from __future__ import annotations

from decimal import Decimal


def quoted(text: str) -> str:
    """A TOML basic string (TOML 1.0, String): quotes, backslashes and what can't be printed escaped."""
    return '"' + "".join(f"\\{c}" if c in '"\\' else c if c.isprintable() else _escape(c) for c in text) + '"'


def _escape(c: str) -> str:
    return f"\\u{ord(c):04x}" if ord(c) < 0x10000 else f"\\U{ord(c):08x}"


def plain(value: float) -> str:
    """A number with a dot and without an exponent, that reads back as the same float."""
    text = format(Decimal(repr(float(value) + 0.0)), "f")  # + 0.0: no "-0"
    return text.rstrip("0").rstrip(".") if "." in text else text


def inline(table: dict[str, object]) -> str:
    """An inline table."""
    return f"{{ {', '.join(f'{name} = {_value(value)}' for name, value in table.items())} }}"


def _value(value: object) -> str:
    if isinstance(value, dict):
        return inline(value)
    if isinstance(value, list):
        return f"[{', '.join(_value(item) for item in value)}]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if value is None:
        return "..."  # only in what is commented out
    return plain(value) if isinstance(value, int | float) else quoted(str(value))
