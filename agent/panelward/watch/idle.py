"""Survival of idle times: how long a circuit without a floor may rest before it is no rest any more.

Learned are the times from the end of a run to the next start, in log time, apart by the third of the day and by ten
kelvins of outside temperature in which they begin. The chance that a rest lasts longer than t is that of the *predictive*
Student t (the scale is known from as few idle times as there are: the normal would promise too much), and t is first
shortened where the tail may be heavier: no rest is told before 1.25 times the longest known of its kind or 1.5 times the
longest of the last three (weather and settings move slowly).

A heavier tail than a log-normal's can't be judged from so few: idle times spread too wide (people's use) or skewed in log
time (two kinds of rest) make the circuit unwatchable, and it says so. A rest that outlasted its deadline and then ended is
set aside, not learned: it may have been a lost feed. With a second one soon after, both are taken for a habit, and learned.
"""

from __future__ import annotations

from functools import lru_cache
from math import exp, lgamma, log, sqrt
from typing import Any

from panelward.records import Circuit

NEEDED = 30  # idle times of a kind: a second kind of rest that is a tenth of all is missed by 30 with 0.9^30 = 4 %
VISITS = 3  # … begun on so many different days, so that what comes once a day was seen
VISIT_MS = 12 * 3600_000
MEMORY = 128  # older ones are forgotten by and by
KNOWN = 0.0002  # a rest that so few outlast is none: at 0.001 a vehicle's circuits would cry once in two months (measured)
WIDEST = 0.5  # standard deviation of log time. A thermostat's: 0.1 to 0.4; people's use: above 1 (common practice, no source)
NARROWEST = 0.05  # clocks and thermostats aren't better than 5 %
SKEWEST = 0.7  # of log time; 0 for a log-normal, below for gamma and Weibull, 2.7 where a tenth rest ten times as long
LONGEST, LATELY, LAST = 1.25, 1.5, 3
DAY_MS = 86_400_000
SOON = 4 * MEMORY  # idle times after which a rest set aside is no more held against the next
# Rests of these end by themselves in all weathers. A pump's and a socket's end with people, a heater's with the season.
CYCLIC = ("compressor", "detector", "electronics")

LEARNING, IRREGULAR, WATCHED = "learning", "irregular", "watched"


def judged(circuit: Circuit) -> bool:
    """Is this a circuit whose idle times are worth learning?"""
    loads = circuit.loads
    return circuit.role == "load" and circuit.feed == "always-on" and bool(loads) and all(x.kind in CYCLIC for x in loads)


class _Kind:
    """Idle times that began in the same third of the day and band of temperature: moments of log seconds."""

    __slots__ = ("longest", "m2", "m3", "mean", "n", "visit_ms", "visits")

    def __init__(self) -> None:
        self.n = 0
        self.mean = self.m2 = self.m3 = 0.0
        self.longest = 0.0
        self.visits = 0
        self.visit_ms = 0

    def learn(self, y: float, began_ms: int) -> None:
        """One more; from MEMORY on the older ones weigh less and less."""
        if not self.n or began_ms - self.visit_ms >= VISIT_MS:
            self.visits, self.visit_ms = min(VISITS, self.visits + 1), began_ms
        if self.n == MEMORY:
            self.longest -= (self.longest - self.mean) / (2 * MEMORY)
        else:
            self.n += 1
        a, d = 1.0 / self.n, y - self.mean
        self.m3 = (1.0 - a) * (self.m3 - 3.0 * a * d * self.m2 + a * (1.0 - 2.0 * a) * d**3)
        self.m2 = (1.0 - a) * (self.m2 + a * d * d)
        self.mean += a * d
        self.longest = max(y, self.longest)

    def scale(self) -> float:
        return max(NARROWEST, sqrt(self.m2 * self.n / (self.n - 1)))

    def standing(self) -> str:
        if self.n < NEEDED or self.visits < VISITS:
            return LEARNING
        if self.scale() > WIDEST or self.m3 > SKEWEST * self.m2**1.5 or exp(self.end(0.0)) * 1000.0 > DAY_MS:
            return IRREGULAR
        return WATCHED

    def end(self, lately: float) -> float:
        """Log seconds at which only KNOWN of the idle times still last; `lately`: of the last few, the longest."""
        end = self.mean + quantile(self.n - 1, KNOWN) * self.scale() * sqrt(1.0 + 1.0 / self.n)
        return max(end, self.longest + log(LONGEST), lately + log(LATELY))

    def save(self) -> list[Any]:
        return [getattr(self, name) for name in self.__slots__]

    def restore(self, kept: list[Any]) -> _Kind:
        for name, value in zip(self.__slots__, kept, strict=True):
            setattr(self, name, value)
        return self


class Idle:
    """One circuit's idle times. All times are the core's received time: `due_ms` is a deadline on that axis."""

    def __init__(self, period_ms: int) -> None:
        self._least_ms = max(3 * period_ms, 30_000)  # shorter is no rest but a dip, a reboot or a lost reading
        self._kinds: dict[str, _Kind] = {}
        self._here = ""  # the kind that begins now
        self._began_here = ""  # … that the rest in progress began in
        self.began_ms: int | None = None
        self.whole = False  # was its beginning seen, and all of it since?
        self.due_ms: int | None = None  # when its survival falls below KNOWN; None: never, or not judged
        self._lately: list[float] = []
        self._aside: list[list[Any]] = []  # outlasted their deadline and ended: kind, log seconds, began
        self._habit = False  # … a second one soon after
        self._since = 0  # idle times learned since

    def conditions(self, local_minute: int, outside_c: float | None) -> None:
        """What it is like now; call before `stopped` and `gap`."""
        third = (local_minute + 120) % 1440 // 480  # from 22, 6 and 14 h
        band = "?" if outside_c is None else str(min(4, max(-3, int(outside_c // 10.0))))
        self._here = f"{third}/{band}"

    def stopped(self, time_ms: int) -> None:
        """A run has ended."""
        self._begin(time_ms, whole=True)

    def started(self, time_ms: int) -> None:
        """It draws again."""
        began_ms, due_ms, whole, here = self.began_ms, self.due_ms, self.whole, self._began_here
        self.began_ms = self.due_ms = None
        if began_ms is None or time_ms - began_ms < self._least_ms:
            return
        y = log((time_ms - began_ms) / 1000.0)
        if due_ms is not None and time_ms >= due_ms:
            self._since = 0
            self._aside.append([here, y, began_ms])
            if len(self._aside) > 1 or self._habit:
                self._habit = True
                for name, longer, from_ms in self._aside:
                    self._learn(name, longer, from_ms)
                self._aside = []
        elif whole:
            self._learn(here, y, began_ms)
            self._since += 1
            if self._since >= SOON:
                self._aside, self._habit, self._since = [], False, 0
        elif here in self._kinds:  # it lasted at least so long
            kind = self._kinds[here]
            kind.longest = max(kind.longest, y)

    def _learn(self, name: str, y: float, began_ms: int) -> None:
        self._kinds.setdefault(name, _Kind()).learn(y, began_ms)
        self._lately = [*self._lately[1 - LAST :], y]

    def gap(self, time_ms: int) -> None:
        """Readings were missing until now, or the feed is back: what rests now is judged from here, and not learned."""
        if self.began_ms is not None:
            self._begin(time_ms, whole=False)

    def resume(self, time_ms: int) -> None:
        """As `gap`, after `forget_current`: it still shows nothing."""
        self._begin(time_ms, whole=False)

    def forget_current(self) -> None:
        """The rest in progress is none: its feed was lost, it was switched off, an alarm stands. Not learned, not judged."""
        self.began_ms = self.due_ms = None

    def _begin(self, time_ms: int, *, whole: bool) -> None:
        self.began_ms, self.whole, self._began_here = time_ms, whole, self._here
        kind = self._kinds.get(self._here)
        self.due_ms = None
        if kind is not None and kind.standing() == WATCHED:
            self.due_ms = time_ms + round(exp(kind.end(max(self._lately, default=0.0))) * 1000.0) + 1

    def survival(self, now_ms: int) -> float | None:
        """The chance that a rest as this one lasts longer than until now; None: it doesn't rest, or can't be judged."""
        if self.began_ms is None or self.due_ms is None:
            return None
        if now_ms <= self.began_ms:
            return 1.0
        kind = self._kinds[self._began_here]
        scale = kind.scale() * sqrt(1.0 + 1.0 / kind.n)
        end = kind.mean + quantile(kind.n - 1, KNOWN) * scale
        later = max(0.0, log((self.due_ms - 1 - self.began_ms) / 1000.0) - end)  # by what the tail was stretched
        return outlasts((log((now_ms - self.began_ms) / 1000.0) - later - kind.mean) / scale, kind.n - 1)

    def watchable(self) -> int | None:
        """The longest until a lost feed would be known under the conditions of now, ms; None: not watched."""
        kind = self._kinds.get(self._here)
        if kind is None or kind.standing() != WATCHED:
            return None
        return round(exp(kind.end(max(self._lately, default=0.0))) * 1000.0) + 1

    def standing(self) -> str:
        """`learning`, `irregular` (can't be watched) or `watched`, under the conditions of now."""
        kind = self._kinds.get(self._here)
        return LEARNING if kind is None else kind.standing()

    def learned(self) -> int:
        """Idle times that count under the conditions of now."""
        kind = self._kinds.get(self._here)
        return 0 if kind is None else kind.n

    def typical_s(self) -> float | None:
        """The middle idle time under the conditions of now, seconds."""
        kind = self._kinds.get(self._here)
        return None if kind is None or not kind.n else exp(kind.mean)

    def save(self) -> dict[str, Any]:
        state: dict[str, Any] = {name: getattr(self, name) for name in _KEPT}
        state |= {"lately": list(self._lately), "aside": [list(row) for row in self._aside]}
        return state | {"kinds": {name: kind.save() for name, kind in self._kinds.items()}}

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        self._lately, self._aside = list(state["lately"]), [list(row) for row in state["aside"]]
        self._kinds = {name: _Kind().restore(kept) for name, kept in state["kinds"].items()}


_KEPT = ("_here", "_began_here", "began_ms", "whole", "due_ms", "_habit", "_since")


# Student's t, by the continued fraction of the incomplete beta function (Abramowitz and Stegun 26.5.8 and 26.7.1).


def outlasts(t: float, freedom: int) -> float:
    """The upper tail of Student's t."""
    tail = 0.5 * _beta(freedom / (freedom + t * t), freedom / 2.0, 0.5)
    return tail if t >= 0.0 else 1.0 - tail


@lru_cache(maxsize=256)
def quantile(freedom: int, above: float) -> float:
    """The t that this share of the distribution lies above."""
    low, high = 0.0, 1e6
    while high - low > 1e-12 * high:
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        low, high = (middle, high) if outlasts(middle, freedom) > above else (low, middle)
    return high


def _beta(x: float, a: float, b: float) -> float:
    """The regularised incomplete beta function."""
    if x <= 0.0 or x >= 1.0:
        return 0.0 if x <= 0.0 else 1.0
    if x > (a + 1.0) / (a + b + 2.0):
        return 1.0 - _beta(1.0 - x, b, a)
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log(1.0 - x)) / a
    c, d = 1.0, 1.0 / (1.0 - (a + b) * x / (a + 1.0))
    fraction = d
    for m in range(1, 500):  # Lentz's way down the fraction
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        d, c = 1.0 / (1.0 + even * d), 1.0 + even / c
        fraction *= c * d
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        d, c = 1.0 / (1.0 + odd * d), 1.0 + odd / c
        fraction *= c * d
        if abs(c * d - 1.0) < 1e-15:
            break
    return front * fraction
