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
    before_v: float = 0.0  # where it stood before: it is over when it is near that again, not when the mean has come down to it


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
            if last is None or (now_ms - last.last_ms > APART_MS and last.seen_ms > last.last_ms):
                last = Dip(0.0, now_ms, now_ms, now_ms, volts, level_v)
            fall_v, low_v = max(last.volts, level_v - volts), min(last.low_v, volts)
            self.last = last._replace(volts=fall_v, last_ms=now_ms, seen_ms=now_ms, low_v=low_v)
        elif last is not None and last.seen_ms == last.last_ms:
            if volts >= last.before_v - self._least_v:
                self.last = last._replace(seen_ms=now_ms)
            elif now_ms - last.from_ms > APART_MS:
                self.last = None  # it stays down: a load that goes on, no dip
            else:
                self.last = last._replace(last_ms=now_ms, seen_ms=now_ms)
        self.level_v = level_v + 0.02 * (volts - level_v)

    def save(self) -> dict[str, Any]:
        return {"level_v": self.level_v, "last": list(self.last) if self.last else None}

    def restore(self, state: dict[str, Any]) -> None:
        self.level_v = state["level_v"]
        self.last = Dip(*state["last"]) if state["last"] else None
