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
NOTHING = 0.01  # of its rating: nothing flows
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


@dataclass(slots=True)
class Above:
    """Readings above the rating of which that alone is known: how many, and the highest."""

    count: int = 0
    most_a: float = 0.0
    most_ms: int = 0

    def add(self, at_ms: int, amps: float) -> None:
        """One more."""
        self.count += 1
        if amps > self.most_a:
            self.most_a, self.most_ms = amps, at_ms


@dataclass(slots=True)
class _Moment:
    """What is known of one moment: all that its readings together say."""

    at_ms: int
    dt_s: float
    amps: float
    apart_a: float  # of that, what is no start
    panel_c: float | None
    gap: bool


class Openings:
    """One device's set along a journey.

    A sample says what flowed at its moment. The first one above what its loads run at, and no more than a listed start, is a
    start and lasted as long as it is listed. Any other that stands alone above the rating, between samples below it, may have
    lasted a blink or two periods: nothing is reckoned from it.
    """

    def __init__(
        self, protection: Protection, starts: Sequence[tuple[float, float]] = (), running_a: float = inf, *,
        sampled: bool = True, motor: bool = False,
    ) -> None:  # fmt: skip
        """`starts`: surges as (amps at the most, seconds) of loads that run at up to `running_a`. `sampled`: readings are
        samples and no means. `motor`: it starts with more than it runs at, listed or not.
        """
        self.protection = protection
        self._starts, self._running_a = (starts if sampled else ()), running_a
        self._sampled, self._motor = sampled, motor
        self._start_s: float | None = None  # the last reading is one of a start, which lasts so long at the most
        self._device = device(protection)
        self._set = Specimens(self._device) if self._device.members else None
        self._square_s = self._fold_s = 0.0
        self._pending: _Moment | None = None
        self._before_a = 0.0  # apart from starts, at the moment before the last
        self._last = _Moment(0, 0.0, 0.0, 0.0, None, False)
        self._now: Overload | None = None
        self._quiet_ms = 0
        self.found: list[Overload] = []
        self.more = 0  # not kept one by one
        self.started = Above()  # starts above its rating
        self.alone = Above()  # single readings above it whose length can't be known
        self.stopped = False  # … and after one of them nothing flowed
        self.most_a = 0.0

    @property
    def published(self) -> bool:
        """Is there a published set for its type?"""
        return self._set is not None

    def take(
        self, at_ms: int, dt_s: float, amps: float, panel_c: float | None, *, gap: bool = False, apart_a: float | None = None
    ) -> None:  # fmt: skip
        """`amps` flow from `at_ms` on; for `dt_s` before it flowed what was given last (in a gap: nothing is known to).
        `apart_a`: apart from starts, where who calls knows. Of one moment the last counts.
        """
        amps = abs(amps)
        moment = _Moment(at_ms, dt_s, amps, amps if apart_a is None else abs(apart_a), panel_c, gap)
        pending = self._pending
        if pending is not None:
            if dt_s > 0.0:
                self._step(pending)
            else:
                moment.dt_s, moment.gap = pending.dt_s, pending.gap
        self._pending = moment

    def _step(self, moment: _Moment) -> None:
        at_ms, dt_s, amps, panel_c = moment.at_ms, moment.dt_s, moment.amps, moment.panel_c
        rating_a = self._device.rating_a
        alone = self._judge(moment)
        if self._set is not None and dt_s > 0.0:
            flowed_a = 0.0 if moment.gap else amps if alone else self._last.amps
            if flowed_a <= EASY * rating_a and self._now is None:
                self._square_s += flowed_a * flowed_a * dt_s
                self._fold_s += dt_s
                if self._fold_s >= FOLD_S:
                    self._fold(panel_c)
            else:
                self._fold(panel_c)
                left_s = dt_s
                for seconds, part_a in self._parts(dt_s, flowed_a, amps):
                    left_s -= seconds
                    self._set.carry(seconds, (part_a / rating_a) ** 2, panel_c)
                    self._open(at_ms - round(1000.0 * left_s))
        was_a = self._last.amps
        self._before_a, self._last = self._last.apart_a, moment
        self._start_s = self._starting(was_a, amps, dt_s)
        self.most_a = max(self.most_a, amps)
        now = self._now
        if amps > NEAR * rating_a:
            if now is None:
                members = len(self._device.members)
                now = self._now = Overload(at_ms, at_ms, amps, False, [inf] * members)
            now.to_ms, now.most_a = at_ms, max(now.most_a, amps)
            self._quiet_ms = at_ms
            self._at_once(now, at_ms, amps / rating_a)
        elif now is not None and at_ms - self._quiet_ms > OVER_S * 1000.0:
            self._end()

    def _judge(self, after: _Moment | None) -> bool:
        """What was the last reading, now that the one after it is known? True: it stood alone, so its length can't be known."""
        last, rating_a = self._last, self._device.rating_a
        if last.amps <= rating_a:
            return False
        if self._start_s is not None or last.apart_a <= rating_a:
            self.started.add(last.at_ms, last.amps)
            return False
        between = self._before_a <= rating_a and (after is None or after.gap or after.apart_a <= rating_a)
        if not (self._sampled and between):
            if self._now is not None:
                self._now.over = True
            return False
        if self._motor and not self._starts:
            self.started.add(last.at_ms, last.amps)
        else:
            self.alone.add(last.at_ms, last.amps)
            self.stopped = self.stopped or after is None or after.amps <= NOTHING * rating_a
        return True

    def _parts(self, dt_s: float, flowed_a: float, amps: float) -> list[tuple[float, float]]:
        """What flowed since the last reading: of a start its seconds, then what flows now."""
        start_s = self._start_s
        if start_s is None or start_s >= dt_s or flowed_a == 0.0:
            return [(dt_s, flowed_a)]
        return [(start_s, flowed_a), (dt_s - start_s, amps)]

    def _starting(self, was_a: float, amps: float, dt_s: float) -> float | None:
        """Is this of a listed start: the first reading above its running draw, or within its seconds? For how long yet?"""
        if amps <= self._running_a:
            return None
        listed_s = max((seconds for most_a, seconds in self._starts if amps <= most_a), default=None)
        if listed_s is None or was_a <= self._running_a:
            return listed_s
        left_s = (self._start_s or 0.0) - dt_s
        return left_s if left_s > 0.0 else None

    def end(self) -> None:
        """No more readings."""
        if self._pending is not None:
            self._step(self._pending)
            self._pending = None
            self._judge(None)
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
