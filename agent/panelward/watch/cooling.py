"""A compressor's heat balance: the share of time it should run at this warmth, and why it runs more.

    duty = (UA (outside - inside) + use) / cooling(outside)

Learned from its own first fortnight, by thirds of the day (people open doors by day), as mean duty at mean warmth with a
slope towards the trade's figure; then it stands, so that ice which grows over weeks is not taken for its habit. The
watts of a run and the length of runs are learned beside it. What a longer run or a higher duty comes from is weighed on
three more things: its watts against their own earlier level, sudden or creeping, and whether it eases.
"""

from __future__ import annotations

from math import log
from typing import Any

from panelward.records import Commissioned

SLOPE = 0.016  # of duty per kelvin: 20, 37 and 57 % at 20, 32 and 43 °C for a small compressor (trade practice, computed)
SLOPE_WEIGHT = 150.0  # kelvins squared: as much as six thirds of a day 5 K apart say
THIRD_MS = 8 * 3600_000
SEEN = 0.9  # of a third of a day that must have been seen
LEARNING = 12  # thirds of a day before it is judged: four days
LEARNED = 42  # … after which nothing more is learned: a fortnight
LEAST_SD = 0.02  # of duty
TAIL = 3.5  # standard deviations
LEAST_SHARE = 0.3  # of the expected: a thermostat set 3 K colder asks for 15 to 20 %, a day of visitors for a quarter
LEAST_DUTY = 0.08
PER_K = 0.004  # more room for each kelvin away from where it was learned: duty bends upwards in heat
RUNS = 96  # runs of which the longest is known
RUNS_LEAST = 20
RUNS_SPAN_MS = 24 * 3600_000  # … and a day of them, with its noon
RUN_TIMES = 1.5  # … and this many times that, one in twelve left out, is no run of its kind
RUN_TIMES_ONCE = 1.4  # … nor this many times the longest of all
RUN_TIMES_BLIND = 2.5  # … times this where no probe tells how warm it is outside
RUN_TIMES_MORE, RUN_DUTY = 4.0, 0.35  # the higher its duty, the more a little warmth lengthens its runs
RUN_LEAST_MS = 36 * 60_000
REST_MS = 3600_000  # shorter ones warm nothing
REST_TIMES, REST_SHARE = 3.0, 0.1
WATTS_PER_K = 0.006  # a compressor's watts rise with the warmth around it (from memory)
STEADY_MS = 120_000  # of a run before its watts count
RECORD_C = 22.0  # a room, where the record does not say (common practice, no source)
LOAD_K = 18.0  # across its walls then: so much warmer at twice the load
MOST_DUTY = 0.85  # above it a run hardly ends in any case: runs are not judged by their length

# log10 of how likely each piece of evidence is under each cause, against its mean. Proposals from the trade's table of
# signatures (section 8.6), not fitted.
PRIOR = {"door-open": 0.32, "hot-load": 0.28, "iced": 0.18, "condenser-blocked": 0.12, "charge-lost": 0.10}
CAUSES = tuple(PRIOR)
EVIDENCE: dict[str, tuple[float, ...]] = {  # door-open, hot-load, iced, condenser-blocked, charge-lost
    "runs-at-its-watts": (0.3, 0.3, 0.1, -0.8, -1.2),
    "runs-at-more-watts": (-0.5, -0.5, -1.0, 1.0, -1.5),
    "runs-at-fewer-watts": (-0.5, -0.5, 0.7, -1.2, 0.2),
    "runs-at-far-fewer-watts": (-1.2, -1.2, -0.5, -1.5, 1.2),
    "came-at-once": (0.4, 0.4, -1.0, -0.3, -0.2),
    "crept-up": (-1.0, -1.0, 0.5, 0.3, 0.2),
    "lasts-half-a-day": (-0.2, -1.5, 0.2, 0.2, 0.2),
    "eases-off": (-0.6, 0.9, -0.6, -0.3, -0.6),
    "air-stays-warm": (0.3, -1.0, 0.2, 0.1, 0.2),
    "cools-less": (-1.5, -1.5, 0.5, 0.5, 0.3),
    "still-rests": (-0.2, 0.1, 0.1, 0.1, -0.4),
    "never-rests": (0.2, -0.1, -0.1, -0.1, 0.3),
}
# Without power: t = (C / UA) ln((outside - inside) / (outside - limit)), with the trade's figures for a small refrigerator.
STORE_KJ_PER_K, WALLS_W_PER_K = 80.0, 1.0
CHILLED_LIMIT_C = 8.0
INSIDE_OLD_MS = 3600_000  # a probe that spoke longer ago says nothing of now
FROZEN_C, FROZEN_LIMIT_C = -8.0, -12.0  # from memory
SURE, RUNNER_UP = 0.85, 0.10  # as for a lost feed
Ranked = tuple[tuple[str, float], ...]


def weighed(names: tuple[str, ...]) -> tuple[str | None, Ranked]:
    """The cause that the evidence carries, if it does, and all of them, the likeliest first."""
    odds = {cause: prior * 10.0 ** sum(EVIDENCE[name][CAUSES.index(cause)] for name in names) for cause, prior in PRIOR.items()}
    whole = sum(odds.values())
    ranked = tuple(sorted(((cause, value / whole) for cause, value in odds.items()), key=lambda row: (-row[1], row[0])))
    named = ranked[0][0] if ranked[0][1] >= SURE and ranked[1][1] <= RUNNER_UP else None
    return named, ranked


def warms(inside_c: float, outside_c: float) -> tuple[float, float] | None:
    """Hours until what it keeps reaches its limit without power, and that limit, °C; None: it is no warmer outside."""
    limit_c = FROZEN_LIMIT_C if inside_c <= FROZEN_C else CHILLED_LIMIT_C
    if outside_c <= limit_c:
        return None
    if inside_c >= limit_c:
        return 0.0, limit_c
    return STORE_KJ_PER_K / (3.6 * WALLS_W_PER_K) * log((outside_c - inside_c) / (outside_c - limit_c)), limit_c


class _Third:
    """Duty and warmth over the same third of many days."""

    __slots__ = ("duty", "n", "sdd", "std", "stt", "warmth")

    def __init__(self) -> None:
        self.n = 0
        self.duty = self.warmth = self.sdd = self.std = self.stt = 0.0

    def learn(self, duty: float, warmth: float) -> None:
        self.n += 1
        d, t = duty - self.duty, warmth - self.warmth
        self.duty += d / self.n
        self.warmth += t / self.n
        self.sdd += d * (duty - self.duty)
        self.std += d * (warmth - self.warmth)
        self.stt += t * (warmth - self.warmth)


class Cooling:
    """One compressor's habit. Warmth None: no probe outside; then weather can't be told from a fault, and duty isn't judged."""

    __slots__ = (
        "_block", "_ratios", "_rest_ms", "_runs", "_third", "_thirds", "last_w", "learned", "over", "run_n", "run_w", "watts",
        "watts_n", "watts_warmth",
    )  # fmt: skip

    def __init__(self) -> None:
        self._thirds = [_Third(), _Third(), _Third()]
        self._third = -1
        self._block = [0.0, 0.0, 0.0, 0.0]  # ms seen, ms run, warmth x ms, ms of known warmth
        self.learned = 0
        self.over: list[int] = []  # of the last two thirds: was it above what is expected?
        self._ratios: list[float] = []  # duty over the expected, of the last thirds
        self._runs: list[list[float]] = []  # length ms, ended ms, warmth
        self.run_w = 0.0  # watts of the run in progress: sum, readings
        self.run_n = 0
        self.last_w = 0.0  # … of the last
        self.watts = 0.0  # … of its runs, at `watts_warmth`
        self.watts_n = 0
        self.watts_warmth = 0.0
        self._rest_ms = 0.0  # a rest of late

    # Duty by thirds of the day.

    def quarter(self, seen_ms: int, ran_ms: int, warmth: float | None, minute: int, *, learn: bool) -> bool | None:
        """A quarter of an hour more. True or False where a third of the day is over and was judged: too high for two."""
        third = (minute + 105) % 1440 // 480  # `minute` is its end; from 22, 6 and 14 h
        judged: bool | None = None
        if third != self._third:
            judged = self._over(learn=learn)
            self._third, self._block = third, [0.0, 0.0, 0.0, 0.0]
        block = self._block
        block[0] += seen_ms
        block[1] += ran_ms
        if warmth is not None:
            block[2] += warmth * seen_ms
            block[3] += seen_ms
        return judged

    def _over(self, *, learn: bool) -> bool | None:
        seen_ms, ran_ms, warm, known_ms = self._block
        if self._third < 0 or seen_ms < SEEN * THIRD_MS or known_ms < SEEN * seen_ms:
            self.over = []
            return None
        duty, warmth = ran_ms / seen_ms, warm / known_ms
        high = False
        if self.judges(self._third):
            expected, most = self.expected(warmth, self._third)
            high = duty > most
            self.over = [*self.over[-1:], int(high)]
            self._ratios = [*self._ratios[-3:], duty / max(expected, 0.02)]
        else:
            self.over = []
        if learn and not high and self.learned < LEARNED:
            self._thirds[self._third].learn(duty, warmth)
            self.learned += 1
        return len(self.over) == 2 and all(self.over) and self._third in (0, 1) if self.over else None

    def judges(self, third: int) -> bool:
        return self.learned >= LEARNING and self._thirds[third].n >= 3

    def slope(self) -> float:
        stt = sum(t.stt for t in self._thirds)
        return (SLOPE * SLOPE_WEIGHT + sum(t.std for t in self._thirds)) / (SLOPE_WEIGHT + stt)

    def expected(self, warmth: float, third: int) -> tuple[float, float]:
        """Duty at this warmth, and the most that is still its habit."""
        slope, t = self.slope(), self._thirds[third]
        rest = sum(x.sdd - 2.0 * slope * x.std + slope * slope * x.stt for x in self._thirds)
        sd = max(LEAST_SD, (max(0.0, rest) / max(1, self.learned - 4)) ** 0.5)
        expected = max(0.0, t.duty + slope * (warmth - t.warmth))
        room = max(TAIL * sd * (1.0 + 1.0 / t.n) ** 0.5, LEAST_SHARE * expected, LEAST_DUTY)
        return expected, expected + room + PER_K * abs(warmth - t.warmth)

    @property
    def crept(self) -> bool | None:
        """Did it come over more than a third of a day? None: not known."""
        ratios = self._ratios
        if len(ratios) < 2:
            return None
        return any(1.12 <= r <= 0.75 * max(ratios) + 0.3 for r in ratios[:-1]) and ratios[-1] > 1.3

    @property
    def eases(self) -> bool:
        """Was the last third of a day above its habit, and clearly less so than the one before?"""
        ratios = self._ratios
        return len(ratios) >= 2 and 1.1 < ratios[-1] < ratios[-2] - 0.15 and ratios[-2] > 1.3

    # Runs.

    def draws(self, watts: float, run_for_ms: int) -> None:
        """A reading within a run."""
        if run_for_ms >= STEADY_MS:
            self.run_w += watts
            self.run_n += 1

    def ran(self, length_ms: int, ended_ms: int, warmth: float | None, *, whole: bool, learn: bool) -> None:
        """A run is over."""
        if self.run_n >= 3 and learn and self.learned < LEARNED and self.watts_n < 1000:
            self.watts_n += 1
            a = 1.0 / min(self.watts_n, 100)
            self.watts += a * (self.run_w / self.run_n - self.watts)
            if warmth is not None:
                self.watts_warmth += a * (warmth - self.watts_warmth)
        if self.run_n >= 3:
            self.last_w = self.run_w / self.run_n
        self.run_w, self.run_n = 0.0, 0
        if whole and learn and length_ms >= 60_000:
            self._runs = [*self._runs[1 - RUNS :], [float(length_ms), float(ended_ms), -273.0 if warmth is None else warmth]]

    def rested(self, length_ms: int) -> bool:
        """A rest is over. Was it far longer than those of late, so that what it keeps has warmed?"""
        long = length_ms >= REST_MS and (not self._rest_ms or length_ms > REST_TIMES * self._rest_ms)
        self._rest_ms += (length_ms - self._rest_ms) * (REST_SHARE if self._rest_ms else 1.0)
        return long

    def longest(self, duty: float | None, warmth: float | None) -> int | None:
        """A run beyond this is none of its own, ms; None: not known."""
        runs = self._runs
        if len(runs) < RUNS_LEAST or runs[-1][1] - runs[0][1] < RUNS_SPAN_MS or duty is None:
            return None
        lengths = sorted(row[0] for row in runs)
        times = RUN_TIMES + RUN_TIMES_MORE * max(0.0, duty - RUN_DUTY)
        known = [row[2] for row in runs if row[2] > -200.0]
        more = SLOPE * max(0.0, warmth - sum(known) / len(known)) if known and warmth is not None else 0.0
        if duty + more > MOST_DUTY:
            return None
        blind = RUN_TIMES_BLIND if warmth is None else 1.0
        longest = blind * max(times * lengths[-1 - len(lengths) // 12], RUN_TIMES_ONCE * lengths[-1])
        return max(RUN_LEAST_MS, round(longest * (1.0 - duty) / (1.0 - duty - more)))

    def usual_ms(self) -> int:
        """The middle run."""
        lengths = sorted(row[0] for row in self._runs)
        return round(lengths[len(lengths) // 2]) if lengths else 0

    def recorded(self, commissioned: Commissioned, ambient_c: float | None) -> None:
        """What its runs drew when it was handed over: its habit begins there."""
        if len(commissioned.levels) == 1 and not commissioned.levels[0].provisional:
            self.watts, self.watts_n = commissioned.levels[0].watts, RUNS_LEAST
            self.watts_warmth = RECORD_C if ambient_c is None else ambient_c

    def watts_ratio(self, warmth: float | None, load: float | None = None) -> float | None:
        """Watts of the run in progress, or of the last, over those of its habit, at this warmth or load."""
        mean_w = self.run_w / self.run_n if self.run_n >= 3 else self.last_w
        if not mean_w or self.watts_n < RUNS_LEAST:
            return None
        warmer = LOAD_K * (load - 1.0) if load is not None else 0.0 if warmth is None else warmth - self.watts_warmth
        return mean_w / (self.watts * (1.0 + WATTS_PER_K * warmer))

    def save(self) -> dict[str, Any]:
        return {
            "thirds": [[getattr(t, name) for name in _Third.__slots__] for t in self._thirds],
            "block": list(self._block),
            "ratios": list(self._ratios),
            "runs": [list(row) for row in self._runs],
            "over": list(self.over),
        } | {name: getattr(self, name) for name in _KEPT}

    def restore(self, kept: dict[str, Any]) -> None:
        for third, values in zip(self._thirds, kept["thirds"], strict=True):
            for name, value in zip(_Third.__slots__, values, strict=True):
                setattr(third, name, value)
        self._block, self._ratios, self.over = list(kept["block"]), list(kept["ratios"]), list(kept["over"])
        self._runs = [list(row) for row in kept["runs"]]
        for name in _KEPT:
            setattr(self, name, kept[name])


_KEPT = ("_third", "learned", "run_w", "run_n", "last_w", "watts", "watts_n", "watts_warmth", "_rest_ms")
