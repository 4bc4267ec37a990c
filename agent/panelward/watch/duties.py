"""The share of its window that a load ran, held against the duty its schedule gives it, in the weather it is."""

from __future__ import annotations

from typing import Any

from panelward.records import Duty
from panelward.watch.cooling import SLOPE
from panelward.watch.runs import QUARTER_MS

SEEN = 0.9  # of a window that must have been seen
HOT_C, COLD_C = 32.0, 20.0  # a compressor's band is written for weather between these (common practice, no source)
FROST_C, WARM_C = 0.0, 10.0  # a heater may run for ever below the one and never above the other (common practice, no source)
BACK = 0.03  # of duty within its band again
HOLD_MS, HOLD_BLIND_MS = 12 * 3600_000, 24 * 3600_000  # a compressor above its band: warm goods are cold after 4 to 12 h;
# … and where no probe tells how warm it is, a day of it (a hot afternoon is over by then)
SOUND_MS = 24 * 3600_000  # … and longer where only what it must carry away can be more than usual: people, weather
OVER = 0.05  # … and by so much: doors that people open
HEATS = ("heater-element", "air-heater")
Rows = list[list[Any]]


class Duties:
    """One circuit's window of quarters of an hour: seen ms, ran ms, warmth."""

    def __init__(self, duty: Duty, kinds: tuple[str, ...], *, cold: bool) -> None:
        self.duty, self._cold = duty, cold
        self._heats = all(kind in HEATS for kind in kinds)
        self.quarters = max(1, round(duty.window_h * 4))
        self.window: Rows = []
        self.high_ms: int | None = None  # above its band since
        self.low_ms: int | None = None  # below it since

    def take(
        self, row: list[Any], end_ms: int, warmth: float | None, cases: dict[str, int], *, settling: bool, sound: bool
    ) -> None:
        """A quarter more; `high` and `low` are put into the cases, or taken away. `sound`: it is known to cool as it should."""
        keep = self.quarters - 1
        self.window = [*(self.window[-keep:] if keep else []), row]
        if self._cold and settling:
            self.window, self.high_ms, self.low_ms = [], None, None
        seen = share(self.window)
        if seen is None or len(self.window) < self.quarters:
            return
        low, high = self.band()
        since_ms = end_ms - self.quarters * QUARTER_MS
        if seen > high + (OVER if self._cold else 0.0):
            self.high_ms = self.high_ms if self.high_ms is not None else since_ms
            if end_ms - self.high_ms >= self._hold_ms(warmth) + (SOUND_MS if sound else 0):
                cases.setdefault("high", self.high_ms)
        elif seen < high - BACK or "high" not in cases:
            self.high_ms = None
            cases.pop("high", None)
        if seen < low:
            self.low_ms = self.low_ms if self.low_ms is not None else since_ms
            if end_ms - self.low_ms >= (self._hold_ms(warmth) if warmth is None else 0):
                cases.setdefault("low", self.low_ms)
        elif seen > low + BACK * min(1.0, low / BACK):
            self.low_ms = None
            cases.pop("low", None)

    def _hold_ms(self, warmth: float | None) -> int:
        """So long it must have been above its band, the window in it."""
        if not self._cold:
            return 0
        return self.quarters * QUARTER_MS + (HOLD_MS if warmth is not None else HOLD_BLIND_MS)

    def band(self) -> tuple[float, float]:
        """The schedule's duty in this weather: in heat a compressor honestly runs more, in cold less; heaters the other way."""
        low, high, warmth = self.duty.low, self.duty.high, mean_warmth(self.window)
        if warmth is not None and self._cold:
            high += SLOPE * max(0.0, warmth - HOT_C)
            low = max(0.0, low - SLOPE * max(0.0, COLD_C - warmth))
        elif warmth is not None and self._heats:
            high = 1.0 if warmth < FROST_C else high
            low = 0.0 if warmth > WARM_C else low
        return low, high

    def save(self) -> list[Any]:
        return [[list(row) for row in self.window], self.high_ms, self.low_ms]

    def restore(self, kept: list[Any]) -> None:
        rows, self.high_ms, self.low_ms = kept
        self.window = [list(row) for row in rows]


def share(rows: Rows) -> float | None:
    """Of what was seen, how much it ran; None: too little was seen."""
    seen: int = sum(row[0] for row in rows)
    ran: int = sum(row[1] for row in rows)
    if not rows or seen < SEEN * QUARTER_MS * len(rows):
        return None
    return ran / seen


def mean_warmth(rows: Rows) -> float | None:
    known: list[float] = [row[2] for row in rows if row[2] is not None]
    return sum(known) / len(known) if known and len(known) == len(rows) else None
