"""Runs and rests of one circuit on line, and how much of each quarter of an hour it ran.

A reading says what was so until the next one. One reading of rest within a run is a dip or a reboot and ends nothing;
two do, and the run ended at the first. What began while nobody looked is `broken`: it is going on, but its length is
not known and is not counted.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from panelward.records import Circuit, Supply

QUARTER_MS = 900_000
MOST = 200  # quarters without a reading after which nothing before them counts
FLOORS = 1.5  # standby is at least this many floors, as in `drain`
STEPS, LEAST_W = 2.0, 0.5  # above standby by the greater of these, as in `drain`


def on_w(circuit: Circuit, supply: Supply) -> tuple[float, bool]:
    """Watts at nominal volts from which it runs, and whether that stands between a known standby and a known level."""
    loads = circuit.loads
    standby_w = sum(load.standby_max_w or 0.0 for load in loads)
    standby_w = max(standby_w, FLOORS * sum(load.always_draws_w or 0.0 for load in loads))
    above_w = standby_w + max(STEPS * circuit.sense.resolution_a * supply.nominal_v, LEAST_W)
    lowest_w = min((level.watts * (1.0 - level.tolerance) for load in loads for level in load.levels), default=0.0)
    if lowest_w <= above_w:
        return above_w, any(load.standby_max_w is not None for load in loads)
    return max(above_w, (standby_w + lowest_w) / 2.0), True


class Past(NamedTuple):
    """A run or a rest that is over."""

    ran: bool
    began_ms: int
    length_ms: int
    whole: bool


class Quarter(NamedTuple):
    """What is known of a quarter of an hour: how much of it was seen, and how much of that it ran."""

    end_ms: int
    seen_ms: int
    ran_ms: int


class Runs:
    """One circuit's runs. Times are as measured."""

    __slots__ = ("bridged", "closed", "counted_ms", "fell_ms", "last_ms", "on", "ran_ms", "seen_ms", "since_ms", "whole")

    def __init__(self) -> None:
        self.on: bool | None = None  # None: not known
        self.since_ms = 0
        self.whole = False  # was its beginning seen, and all of it since?
        self.last_ms: int | None = None
        self.fell_ms: int | None = None  # one reading of rest, perhaps the first of a rest
        self.bridged = False  # some readings were lost before the next one
        self.counted_ms = 0
        self.seen_ms = self.ran_ms = 0  # of this quarter
        self.closed: list[Quarter] = []  # over, not fetched yet

    def step(self, time_ms: int, on: bool, *, at_once: bool) -> Past | None:
        """A reading that changes something, or a look at the clock; what is over with it."""
        if self.last_ms is None:
            self._skip(time_ms)
            self.on, self.since_ms, self.whole = on, time_ms, False
            self.last_ms = self.counted_ms = time_ms
            return None
        self.last_ms, bridged, self.bridged = time_ms, self.bridged, False
        if bridged and on != self.on:
            self.whole = False  # when it changed was not seen
        if on == self.on:
            self.fell_ms = None
            self.count(time_ms)
            return None
        if self.on and not at_once and self.fell_ms is None:
            self.count(time_ms)
            self.fell_ms = time_ms
            return None
        change_ms = time_ms if self.fell_ms is None else self.fell_ms
        if self.fell_ms is None:
            self.count(time_ms)
        past = Past(bool(self.on), self.since_ms, change_ms - self.since_ms, self.whole)
        self.on, self.since_ms, self.whole, self.fell_ms = on, change_ms, not bridged, None
        self.count(time_ms)
        return past

    def count(self, to_ms: int) -> None:
        """Time up to here was spent as it was known; while it is not known whether a run ended, it waits."""
        if self.fell_ms is not None:
            return
        while self.counted_ms < to_ms:
            end_ms = (self.counted_ms // QUARTER_MS + 1) * QUARTER_MS
            part_ms = min(end_ms, to_ms) - self.counted_ms
            self.seen_ms += part_ms
            if self.on:
                self.ran_ms += part_ms
            self.counted_ms += part_ms
            if self.counted_ms == end_ms:
                self._close(end_ms)

    def _close(self, end_ms: int) -> None:
        self.closed.append(Quarter(end_ms, self.seen_ms, self.ran_ms))
        self.seen_ms = self.ran_ms = 0

    def gap(self) -> None:
        """Nothing is known from the last reading on."""
        if self.last_ms is not None:
            self.fell_ms = None
            self.count(self.last_ms)
            self.on, self.last_ms, self.whole = None, None, False

    def bridge(self) -> None:
        """A few readings were lost: if the next one shows the same, it went on."""
        self.bridged = True

    def _skip(self, to_ms: int) -> None:
        """The quarters in which nothing was seen."""
        if not self.counted_ms or to_ms - self.counted_ms > MOST * QUARTER_MS:
            self.counted_ms = to_ms if not self.counted_ms else to_ms - MOST * QUARTER_MS
        while (end_ms := (self.counted_ms // QUARTER_MS + 1) * QUARTER_MS) <= to_ms:
            self._close(end_ms)
            self.counted_ms = end_ms

    @property
    def quarter_ms(self) -> int:
        """When this quarter ends."""
        return (self.counted_ms // QUARTER_MS + 1) * QUARTER_MS

    def save(self) -> list[Any]:
        return [getattr(self, name) for name in _KEPT]

    def restore(self, kept: list[Any]) -> None:
        for name, value in zip(_KEPT, kept, strict=True):
            setattr(self, name, value)


_KEPT = (
    "on",
    "since_ms",
    "whole",
    "bridged",
    "last_ms",
    "fell_ms",
    "counted_ms",
    "seen_ms",
    "ran_ms",
)  # `closed` is fetched at once
