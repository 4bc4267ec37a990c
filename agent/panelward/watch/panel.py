"""What all circuits of the panel share: the sample a reading becomes, the panel's warmth, local time."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from panelward.records import Doing

_QUARTER_MS = 900_000  # offsets from UTC change only on a quarter of an hour


class Sample(NamedTuple):
    """One circuit's draw at one moment: amps, with the watts that belong to them. A charger's draw is negative."""

    time_ms: int
    received_ms: int
    amps: float
    watts: float
    volts: float | None  # measured, and no older than twice the expected period
    fresh: bool  # measured just now: False is history (a backlog), which changes state and raises nothing


class Panel:
    """Facts about the place, from probes and the clock."""

    def __init__(self, timezone: str) -> None:
        self.panel_c: float | None = None
        self.panel_ms = 0
        self.outside_c: float | None = None
        self.outside_ms = 0
        self.inside: dict[str, tuple[float, int]] = {}  # circuit -> how warm it is inside its load, and when that was read
        self.pumped_ms: int | None = None  # a water pump ran
        self.doing = Doing(at_ms=0)  # what the vehicle is doing, kept by `doing`; what is not known excuses nothing
        self._zone = ZoneInfo(timezone)
        self._quarter = -1
        self._zone_ms = 0
        self.shift_ms = 0  # from the core's own axis to Unix time
        self.offset_ms = 0  # from there to the wall clock, where that was set back

    def rezone(self, zone: ZoneInfo) -> None:
        """The vehicle crossed a border: its local time is another's from now on."""
        self._zone, self._quarter = zone, -1

    def save(self) -> dict[str, Any]:
        state: dict[str, Any] = {name: getattr(self, name) for name in _KEPT}
        return state | {"inside": [[name, celsius, at_ms] for name, (celsius, at_ms) in self.inside.items()]}

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        self.inside = {name: (celsius, at_ms) for name, celsius, at_ms in state["inside"]}

    def local_minute(self, time_ms: int) -> int:
        """Minute of the local day, 0 to 1439."""
        unix_ms = time_ms + self.shift_ms + self.offset_ms
        quarter = unix_ms // _QUARTER_MS
        if quarter != self._quarter:
            self._quarter = quarter
            offset = datetime.fromtimestamp(unix_ms // 1000, UTC).astimezone(self._zone).utcoffset()
            self._zone_ms = round(offset.total_seconds() * 1000) if offset is not None else 0
        return (unix_ms + self._zone_ms) // 60_000 % 1440


_KEPT = ("panel_c", "panel_ms", "outside_c", "outside_ms", "pumped_ms")


def zone_named(name: str) -> ZoneInfo | None:
    """The time zone of that name; None: there is none."""
    try:
        return ZoneInfo(name) if 0 < len(name) <= 100 else None
    except (ValueError, KeyError, OSError):  # ZoneInfoNotFoundError is a KeyError; a folder's name is an OSError
        return None


def within(hours: tuple[tuple[int, int], ...], minute: int) -> bool:
    """Is this local minute within one of the windows? [from, to); a window may run past midnight."""
    for begin, end in hours:
        if begin < end:
            if begin <= minute < end:
                return True
        elif minute >= begin or minute < end:
            return True
    return False
