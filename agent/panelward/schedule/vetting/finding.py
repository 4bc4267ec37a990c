"""What vetting says: one finding, its grade, and the sources that several files quote."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor

GRADES = ("refuse", "warn", "note")  # falling

PRACTICE = "common practice, no source"
SCHEDULE = "the schedule"
COORDINATION = "IEC 60364-4-43:2008 433.1: Ib <= In <= Iz"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that was found. `circuit` None: the whole vehicle, a supply or a feeder."""

    circuit: str | None
    grade: str  # refuse | warn | note
    rule: str
    found: float | str | None = None
    limit: float | str | None = None
    unit: str | None = None
    source: str
    remedy: str
    message: str


def finding(
    grade: str, rule: str, source: str, remedy: str, message: str,
    found: float | str | None = None, limit: float | str | None = None, unit: str | None = None,
    *, circuit: str | None = None,
) -> Finding:  # fmt: skip
    """A finding with its figures rounded as they are shown."""
    return Finding(
        circuit=circuit, grade=grade, rule=rule, found=figure(found), limit=figure(limit), unit=unit, source=source,
        remedy=remedy, message=message,
    )  # fmt: skip


def above(one: float, other: float) -> bool:
    """Above by more than the error of the arithmetic."""
    return one > other * (1 + 1e-9)


def figure(value: float | str | None) -> float | str | None:
    """To four significant digits; a text or nothing as it is."""
    return value if value is None or isinstance(value, str) else float(f"{value:.4g}")


def down(amps: float) -> float:
    """Rounded down to a tenth: a limit that is offered is never above the limit that was reckoned."""
    return floor(amps * 10 + 1e-9) / 10


def listed(ratings: tuple[float, ...]) -> str:
    """5, 7.5 or 10"""
    words = [f"{rating:g}" for rating in ratings]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]
