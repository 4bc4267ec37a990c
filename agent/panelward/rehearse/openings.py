"""What the whole set of devices of a type would have done on a journey's current, overload by overload.

An overload begins when the current nears the rating and ends when it has stayed below for ten minutes. Each member of the
published set is carried through it; one whose heat reaches the opening heat has opened then, and counts once an overload.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import ceil, inf

from panelward.ratings import Specimens, device
from panelward.records import Protection

NEAR = 0.75  # of its rating: even the warmest published panel leaves a device more than half of it
OVER_S = 600.0  # below that for so long: the next is another overload (no source)
FOLD_S = 60.0  # far below its rating its heat is carried at the mean square of up to a minute, as the watch does
EASY = 0.5
MOST = 200  # overloads that are kept one by one


@dataclass(slots=True)
class Overload:
    """One overload, and when each member opened in it, seconds after its beginning; inf: it did not."""

    from_ms: int
    to_ms: int
    most_a: float
    over: bool = False  # above its rating at any time
    opened_s: list[float] = field(default_factory=list)

    @property
    def share(self) -> float:
        """Of the set, how much opened; 0 where nothing is published."""
        return sum(t < inf for t in self.opened_s) / len(self.opened_s) if self.opened_s else 0.0

    def after_s(self, percent: int) -> float | None:
        """By when so many of a hundred of the set have opened; inf: so many may never; None: nothing is published."""
        if not self.opened_s:
            return None
        return sorted(self.opened_s)[max(0, ceil(len(self.opened_s) * percent / 100.0) - 1)]


class Openings:
    """One device's set along a journey."""

    def __init__(self, protection: Protection, starts: Sequence[tuple[float, float]] = (), running_a: float = inf) -> None:
        """`starts`: surges as (amps at the most, seconds) of loads that run at up to `running_a`. A start that is seen in one
        reading lasted no longer than that, whatever the period.
        """
        self.protection = protection
        self._starts, self._running_a = starts, running_a
        self._start_s: float | None = None  # the last reading is one of a start, which lasts so long at the most
        self._device = device(protection)
        self._set = Specimens(self._device) if self._device.members else None
        self._square_s = self._fold_s = 0.0
        self._last_a = 0.0
        self._now: Overload | None = None
        self._quiet_ms = 0
        self.found: list[Overload] = []
        self.more = 0  # not kept one by one

    @property
    def published(self) -> bool:
        """Is there a published set for its type?"""
        return self._set is not None

    def take(self, at_ms: int, dt_s: float, amps: float, panel_c: float | None, *, gap: bool = False) -> None:
        """`amps` flow from `at_ms` on; for `dt_s` before it flowed what was given last (in a gap: nothing is known to)."""
        rating_a = self._device.rating_a
        if self._set is not None and dt_s > 0.0:
            flowed_a = 0.0 if gap else self._last_a
            if flowed_a <= EASY * rating_a and self._now is None:
                self._square_s += flowed_a * flowed_a * dt_s
                self._fold_s += dt_s
                if self._fold_s >= FOLD_S:
                    self._fold(panel_c)
            else:
                self._fold(panel_c)
                for seconds, part_a in self._parts(dt_s, flowed_a, abs(amps)):
                    self._set.carry(seconds, (part_a / rating_a) ** 2, panel_c)
                    self._open(at_ms)
        was_a, self._last_a = self._last_a, abs(amps)
        amps = abs(amps)
        self._start_s = self._starting(was_a, amps)
        now = self._now
        if amps > NEAR * rating_a:
            if now is None:
                members = len(self._device.members)
                now = self._now = Overload(at_ms, at_ms, amps, False, [inf] * members)
            now.to_ms, now.most_a, now.over = (
                at_ms,
                max(now.most_a, amps),
                now.over or (amps > rating_a and self._start_s is None),
            )
            self._quiet_ms = at_ms
            self._at_once(now, at_ms, amps / rating_a)
        elif now is not None and at_ms - self._quiet_ms > OVER_S * 1000.0:
            self._end()

    def _parts(self, dt_s: float, flowed_a: float, amps: float) -> list[tuple[float, float]]:
        """What flowed since the last reading: of a start its seconds, then what flows now."""
        start_s = self._start_s
        if start_s is None or start_s >= dt_s or flowed_a == 0.0:
            return [(dt_s, flowed_a)]
        return [(start_s, flowed_a), (dt_s - start_s, amps)]

    def _starting(self, was_a: float, amps: float) -> float | None:
        """Is this the first reading above its running draw, and no more than a listed start? Then how long that lasts."""
        if amps <= self._running_a or was_a > self._running_a:
            return None
        return max((seconds for most_a, seconds in self._starts if amps <= most_a), default=None)

    def end(self) -> None:
        """No more readings."""
        self._end()

    def _end(self) -> None:
        now, self._now = self._now, None
        if now is None or not (now.over or now.share):
            return
        if len(self.found) < MOST:
            self.found.append(now)
        else:
            self.more += 1

    def _fold(self, panel_c: float | None) -> None:
        if self._set is not None and self._fold_s > 0.0:
            self._set.carry(self._fold_s, self._square_s / self._fold_s / self._device.rating_a**2, panel_c)
        self._square_s = self._fold_s = 0.0

    def _open(self, at_ms: int) -> None:
        if self._now is None or self._set is None:
            return
        for i, heat in enumerate(self._set.heats()):
            if heat >= 1.0:
                self._mark(self._now, i, at_ms)

    def _at_once(self, now: Overload, at_ms: int, multiple: float) -> None:
        """A magnetic release: between its two multiples it may trip, evenly over the band; above the second all do."""
        magnetic = self._device.magnetic
        if magnetic is None or multiple <= magnetic[0]:
            return
        share = min(1.0, (multiple - magnetic[0]) / (magnetic[1] - magnetic[0]))
        for i in range(round(share * len(now.opened_s))):
            self._mark(now, i, at_ms)

    @staticmethod
    def _mark(now: Overload, i: int, at_ms: int) -> None:
        if now.opened_s[i] == inf:
            now.opened_s[i] = (at_ms - now.from_ms) / 1000.0
