"""Short falls of volts, seen against their slow mean: at a bus, or behind one circuit's device."""

from __future__ import annotations

from typing import Any, NamedTuple

DIP_PER_NOMINAL = 0.025  # a common dip of 0.3 V on 12 V just before one circuit went: a short (trade practice, no source)
APART_MS = 5_000  # two falls farther apart are two dips


class Dip(NamedTuple):
    """A short fall of volts."""

    volts: float  # how far
    from_ms: int
    last_ms: int  # its last reading
    seen_ms: int  # the first reading after it, where it is over; else its last
    low_v: float  # its lowest


class Dips:
    """The last dip of one place."""

    def __init__(self, nominal_v: float) -> None:
        self._least_v = DIP_PER_NOMINAL * nominal_v
        self.level_v: float | None = None  # slow mean
        self.last: Dip | None = None

    def take(self, volts: float, now_ms: int) -> None:
        """One reading."""
        level_v = self.level_v if self.level_v is not None else volts
        last = self.last
        if volts < level_v - self._least_v:
            if last is None or now_ms - last.last_ms > APART_MS:
                last = Dip(0.0, now_ms, now_ms, now_ms, volts)
            self.last = Dip(max(last.volts, level_v - volts), last.from_ms, now_ms, now_ms, min(last.low_v, volts))
        elif last is not None and last.seen_ms == last.last_ms:
            self.last = last._replace(seen_ms=now_ms)
        self.level_v = level_v + 0.02 * (volts - level_v)

    def save(self) -> dict[str, Any]:
        return {"level_v": self.level_v, "last": list(self.last) if self.last else None}

    def restore(self, state: dict[str, Any]) -> None:
        self.level_v = state["level_v"]
        self.last = Dip(*state["last"]) if state["last"] else None
