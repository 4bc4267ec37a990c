"""Inks of the chips and lines of the symbols, shared by the two forms of a paper."""

from __future__ import annotations

RED_PENCIL = "#b3131b"

# Colour in words -> ink on paper. Near enough to tell apart; nobody measures a fuse by it.
INKS: dict[str, str] = {
    "black": "#1a1a1a",
    "grey": "#9a9a9a",
    "violet": "#7a4a9c",
    "pink": "#f2a7be",
    "tan": "#d2ad7c",
    "brown": "#7d4a26",
    "red": "#cf2127",
    "blue": "#2a6fc0",
    "yellow": "#f7d417",
    "clear": "#ffffff",
    "green": "#57b35c",
    "blue-green": "#3aa6a6",
    "orange": "#ee8a1c",
}

Line = tuple[tuple[float, float], ...]
BOX = (24.0, 10.0)  # width and height that the symbols are drawn in, y down

# After IEC 60617, from memory: a fuse is a box with the line through it, a circuit breaker a contact with a cross; here lying.
SYMBOLS: dict[str, tuple[Line, ...]] = {
    "fuse": (
        ((0, 5), (24, 5)),
        ((4.5, 1.5), (19.5, 1.5), (19.5, 8.5), (4.5, 8.5), (4.5, 1.5)),
    ),
    "breaker": (
        ((0, 8), (7, 8), (16.5, 2.5)),
        ((17, 8), (24, 8)),
        ((15, 6), (19, 10)),
        ((15, 10), (19, 6)),
    ),
}


def ink_on(colour: str) -> str:
    """Black or white, whichever contrasts more with a chip's ink (relative luminance, WCAG 2.1)."""
    red, green, blue = (_linear(int(INKS[colour][i : i + 2], 16) / 255) for i in (1, 3, 5))
    luminance = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    return "#000000" if (luminance + 0.05) / 0.05 >= 1.05 / (luminance + 0.05) else "#ffffff"


def _linear(value: float) -> float:
    return value / 12.92 if value <= 0.04045 else float(((value + 0.055) / 1.055) ** 2.4)
