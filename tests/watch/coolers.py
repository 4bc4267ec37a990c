"""A simulated refrigerator, heaters and pumps with people around them, for the tests of rhythm. Shares no code with the watch.

The refrigerator has two nodes, air and goods, after the form C dT/dt = UA (Ta - Ti) + q - s Q: 8 to 15 and 60 to 200 kJ/K,
UA 0.8 to 1.5 W/K, a thermostat of +-1.5 K on the air, three minutes off at the least (figures: trade practice, from memory).
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from math import cos, exp, pi

from panelward.records import Circuit, Duty, Level, Probe, Reading
from plans import PLAN, circuit, plan

MIDNIGHT = 1_777_593_600_000  # 2026-05-01T00:00:00Z, and the plan's zone is UTC
HOUR, DAY, WEEK = 3600.0, 86_400.0, 604_800.0
COOLER = circuit(
    "D1", "Sample cooler", "compressor", feed="always-on", always_draws_w=1.4, standby_max_w=3.0,
    levels=(Level(name="compressor", watts=52, tolerance=0.25),), duty=Duty(low=0.05, high=0.65, window_h=6.0),
    longest_run_s=6 * HOUR,
)  # fmt: skip
FREEZES = replace(COOLER, loads=(replace(COOLER.loads[0], duty=Duty(low=0.1, high=0.8, window_h=6.0)),))
OUTSIDE = Probe(id="T2", where="outside", monitor="dc")


def schedule(*circuits: Circuit, period_s: float = 30.0, probe: bool = True):  # type: ignore[no-untyped-def]
    monitor = replace(PLAN.monitors[0], expect_every_s=period_s)
    supply = replace(PLAN.supplies[0], meter=None)
    return plan(
        *(circuits or (COOLER,)), monitors=(monitor,), supplies=(supply,), feeders=(), probes=(OUTSIDE,) if probe else ()
    )


@dataclass
class Weather:
    """A day's swing round a mean that wanders from day to day."""

    mean_c: float
    swing_k: float = 6.0
    wander_k: float = 2.0
    seed: int = 0
    days: list[float] = field(default_factory=list)

    def at(self, t_s: float) -> float:
        day = int(t_s // DAY)
        rng = random.Random(f"{self.seed} weather {len(self.days)}")
        while len(self.days) <= day + 1:
            self.days.append((0.7 * self.days[-1] if self.days else 0.0) + rng.gauss(0.0, self.wander_k))
        part = t_s / DAY - day
        return (
            self.mean_c + (1 - part) * self.days[day] + part * self.days[day + 1]
            - self.swing_k * cos((t_s / DAY - 4 / 24) * 2 * pi)
        )  # fmt: skip


@dataclass
class Fault:
    """From `at_s` on, growing over `over_s`, until `until_s`; `size` is its own measure."""

    kind: str = ""  # door | iced | charge | condenser | hot-load | thermostat | off
    at_s: float = 0.0
    size: float = 0.0
    over_s: float = 0.0
    until_s: float = 1e12

    def share(self, t_s: float) -> float:
        if t_s < self.at_s or t_s >= self.until_s:
            return 0.0
        return 1.0 if self.over_s <= 0 else min(1.0, (t_s - self.at_s) / self.over_s)


@dataclass
class Cooler:
    """One refrigerator and its people. `people`: door openings a day; they shop about once in three days."""

    seed: int
    weather: Weather
    people: float = 12.0
    frozen: bool = False

    def __post_init__(self) -> None:
        rng = self.rng = random.Random(f"{self.seed} cooler")
        self.air_kj, self.goods_kj = rng.uniform(8, 15), rng.uniform(60, 200)
        self.ua = rng.uniform(0.5, 0.8) if self.frozen else rng.uniform(0.8, 1.2)
        self.couple = rng.uniform(3.0, 6.0)
        self.set_c = -16.0 if self.frozen else rng.uniform(3.0, 6.0)
        self.watts = rng.uniform(46.0, 56.0)
        self.cools = rng.uniform(95.0, 120.0) * (0.8 if self.frozen else 1.0)
        self.air_c = self.goods_c = self.set_c
        self.on, self.off_s = False, 1e9
        self.doors: list[tuple[float, float, float]] = []

    def _plan_day(self, day: int) -> None:
        rng, self.doors = self.rng, []
        aboard = self.people * (rng.choice([0.0, 1.0, 1.0, 1.0, 1.0, 1.6]) if self.people else 0.0)
        for _ in range(round(aboard)):
            hour = rng.choice([7, 8, 12, 13, 17, 18, 19, 20, 21, 22]) + rng.random()
            self.doors.append((day * DAY + hour * HOUR, rng.choice([8, 10, 15, 20, 30, 60]), 0.0))
        if aboard and rng.random() < 0.33:  # the shopping: a door open for minutes, and 2 to 7 kg at 5 to 20 K above
            kj = rng.uniform(2.0, 7.0) * 3.6 * rng.uniform(5.0, 20.0)
            self.doors.append((day * DAY + rng.uniform(10, 19) * HOUR, rng.uniform(60, 240), kj))
        self.doors.sort()

    def run(self, seconds: float, fault: Fault, step_s: float = 10.0) -> Iterator[tuple[float, float, float]]:
        """(seconds, watts, outside) every step."""
        t_s, day = 0.0, -1
        while t_s < seconds:
            if int(t_s // DAY) != day:
                day = int(t_s // DAY)
                self._plan_day(day)
            share = fault.share(t_s)
            outside = self.weather.at(t_s)
            around = max(outside, min(18.0, outside + 14.0)) + 2.0  # people heat, but not in the tropics
            gains, set_c, qc, watts = 0.0, self.set_c, self.cools, self.watts
            qc *= 1.0 - 0.008 * (around - 25.0)
            watts *= 1.0 + 0.006 * (around - 25.0)
            if fault.kind == "door":
                gains += share * fault.size * (around - self.air_c)
            elif fault.kind == "iced":
                qc *= 1.0 - share * fault.size
                watts *= 1.0 - 0.12 * share * fault.size
            elif fault.kind == "charge":
                qc *= 1.0 - share * fault.size
                watts *= 1.0 - 0.5 * share * fault.size
            elif fault.kind == "condenser":
                qc *= 1.0 - share * fault.size
                watts *= 1.0 + 0.3 * share * fault.size
            elif fault.kind == "thermostat":
                set_c -= share * fault.size
            elif fault.kind == "hot-load" and fault.at_s <= t_s < fault.at_s + step_s:
                self.goods_c += fault.size / self.goods_kj
            for at_s, lasts_s, kj in self.doors:
                if at_s <= t_s < at_s + lasts_s:
                    gains += 12.0 * (around - self.air_c) * min(1.0, lasts_s / step_s)
                    if kj and t_s < at_s + step_s:
                        self.goods_c += kj / self.goods_kj
            if self.on and self.air_c < set_c - 1.5:
                self.on, self.off_s = False, 0.0
            elif not self.on and self.air_c > set_c + 1.5 and self.off_s >= 180:
                self.on = True
            off = fault.kind == "off" and share > 0
            on = self.on and not off
            self.off_s += step_s
            into_air = self.ua * (around - self.air_c) + gains + self.couple * (self.goods_c - self.air_c)
            into_air -= qc if on else 0.0
            leak = self.couple * (self.goods_c - self.air_c)
            tau = (self.ua + self.couple) / (self.air_kj * 1000)
            self.air_c += into_air / (self.air_kj * 1000) * step_s * (1 - exp(-tau * step_s)) / (tau * step_s)
            self.air_c = min(self.air_c, around)
            self.goods_c -= leak / (self.goods_kj * 1000) * step_s
            yield t_s, (watts if on else 0.0) + 1.6, outside
            t_s += step_s


def readings(
    cooler: Cooler, seconds: float, fault: Fault, *, period_s: float = 30.0, probe: bool = True, resolution_a: float = 0.05,
    lost: float = 0.0,
) -> Iterator[Reading]:  # fmt: skip
    """What a monitor says of it: volts that charge by day, amps in steps."""
    rng, every = random.Random(f"{cooler.seed} noise"), round(period_s / 10.0)
    bus = 12.9
    for n, (t_s, watts, outside) in enumerate(cooler.run(seconds, fault)):
        at_ms = MIDNIGHT + round(t_s * 1000)
        if probe and n % 60 == 0:
            yield Reading("T2", at_ms, at_ms, celsius=round(outside + rng.gauss(0, 0.3), 1))
        if n % every or rng.random() < lost:
            continue
        hour = t_s % DAY / HOUR
        bus += 0.05 * ((13.9 if 9 <= hour < 17 else 12.9) - bus)
        volts = bus + rng.gauss(0, 0.02)
        amps = round(watts * (1 + rng.gauss(0, 0.01)) / volts / resolution_a) * resolution_a
        yield Reading("D1", at_ms, at_ms, volts=round(volts, 2), amps=round(amps, 3), watts=round(amps * volts, 2))


def pump_runs(seed: int, days: float, habit: str) -> list[tuple[float, float]]:
    """When people draw water, and for how long the pump runs."""
    rng, found = random.Random(f"{seed} water {habit}"), []
    for day in range(int(days)):
        uses = {"nobody": 0, "one": 12, "family": 40, "night": 20}[habit]
        for _ in range(uses):
            hour = rng.choice([6, 7, 8, 12, 13, 18, 19, 20, 21, 22]) + rng.random()
            found.append((day * DAY + hour * HOUR, rng.choice([2, 3, 4, 5, 8, 12, 20, 30, 60])))
        if habit in ("family", "one") and rng.random() < 0.6:
            found.append((day * DAY + rng.uniform(6.5, 9) * HOUR, rng.uniform(120, 420)))  # a shower
        for _ in range({"nobody": 0, "one": rng.randint(0, 2), "family": rng.randint(0, 4), "night": rng.randint(3, 8)}[habit]):
            found.append((day * DAY + (rng.uniform(-1.5, 6.5) % 24) * HOUR, rng.choice([3, 4, 5, 6, 8])))
    return sorted(found)


def leak_runs(seed: int, at_s: float, until_s: float, every_s: float, run_s: float) -> list[tuple[float, float]]:
    rng, found, t_s = random.Random(f"{seed} leak"), [], at_s
    while t_s < until_s:
        found.append((t_s, run_s * rng.uniform(0.9, 1.1)))
        t_s += every_s * rng.uniform(0.85, 1.15)
    return found


def pump_readings(
    runs: list[tuple[float, float]], seconds: float, *, period_s: float = 2.0, name: str = "D4"
) -> Iterator[Reading]:
    runs, n = sorted(runs), 0
    until_s = -1.0
    for step in range(round(seconds / period_s)):
        t_s = step * period_s
        while n < len(runs) and runs[n][0] <= t_s:
            until_s = max(until_s, runs[n][0] + runs[n][1])
            n += 1
        amps = 4.8 if t_s < until_s else 0.0
        at_ms = MIDNIGHT + round(t_s * 1000)
        yield Reading(name, at_ms, at_ms, volts=13.0, amps=amps, watts=round(13.0 * amps, 2))
