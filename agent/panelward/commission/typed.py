"""Reading what a person typed."""

from __future__ import annotations

import re
from math import isfinite

from panelward.records import Circuit, Schedule

_NUMBER = re.compile(r"([+-]?\d{1,6}(?:[.,]\d{1,4})?)\s*(?:a|amps?|°?\s*c|w)?", re.IGNORECASE)
_SKIP = re.compile(r"skip\b\s*([^,]*?)\s*(?:,\s*)?(?:because\b\s*(.*))?", re.IGNORECASE | re.DOTALL)
_UNKNOWN = ("don't know", "dont know", "do not know", "unknown", "dk", "?")
LONGEST = 300


def tidy(text: str) -> str:
    """One line of plain text."""
    return " ".join("".join(c for c in text.replace("’", "'") if c.isprintable() or c.isspace()).split())[:LONGEST]


def number(text: str) -> float | None:
    """A number, perhaps with its unit; None where it is none."""
    found = _NUMBER.fullmatch(text)
    value = float(found[1].replace(",", ".")) if found else None
    return value if value is not None and isfinite(value) else None


def skip(text: str) -> tuple[str, str] | None:
    """(way, reason) of "skip …, because …"; None: it is no skip."""
    found = _SKIP.fullmatch(text)
    return (found[1], (found[2] or "").rstrip(".")) if found is not None else None


def unknown(text: str) -> bool:
    return text.casefold() in _UNKNOWN


def yes(text: str) -> bool:
    return text.casefold() in ("y", "yes", "ok", "okay", "right")


def acted(text: str) -> bool:
    """Enter, or a word for having done it."""
    return not text or yes(text) or text.casefold() in ("done", "started", "ready")


def way(text: str, schedule: Schedule) -> Circuit | None:
    """The circuit that a person means by its way or its label, whole or by the beginning of a word of it."""
    wanted, circuits = text.strip().casefold(), schedule.circuits
    for circuit in circuits:
        if wanted in (circuit.id.casefold(), circuit.label.casefold()):
            return circuit
    begun = [c for c in circuits if len(wanted) >= 3 and any(words.startswith(wanted) for words in _beginnings(c.label))]
    return begun[0] if len(begun) == 1 else None


def _beginnings(label: str) -> list[str]:
    words = label.casefold().split()
    return [" ".join(words[at:]) for at in range(len(words))]
