"""What looking for swapped names costs: a reading, and the look itself once an hour.

python -m pytest tests/benchmarks/test_bench_swapped.py -m benchmark -s
"""

from __future__ import annotations

import random
import time
from dataclasses import replace

import pytest

from panelward.core import Core
from panelward.records import Circuit, Level, Reading, Schedule, Settings
from panelward.watch.assignment import assigned
from plans import PLAN, T0, circuit, plan


def vehicle(circuits: int, *, known: bool) -> Schedule:
    """Circuits with a profile each; or the same with a kind of which nobody knows what it draws, so that none is judged."""
    kind = "light" if known else "socket"
    lamps: tuple[Circuit, ...] = tuple(
        circuit(f"D{n}", f"Lamp {n}", kind, levels=(Level(name="on", watts=10.0 + 4 * n),)) for n in range(circuits)
    )
    return replace(plan(*lamps), monitors=(replace(PLAN.monitors[0], expect_every_s=10),))


def seconds_for(schedule: Schedule, rows: list[Reading]) -> float:
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=schedule, started=True))
    begun = time.process_time()
    for row in rows:
        core.feed(row)
    return time.process_time() - begun


@pytest.mark.benchmark
def test_a_reading_with_and_without() -> None:
    noise = random.Random(6)
    rows = []
    for s in range(0, 4 * 3600, 10):
        for n in range(12):
            amps = round((10.0 + 4 * n) / 12.8 * (s // 900 % 2) + noise.gauss(0, 0.01), 2)
            rows.append(Reading(f"D{n}", T0 + s * 1000, T0 + s * 1000, volts=12.8, amps=amps))
    best = {known: min(seconds_for(vehicle(12, known=known), rows) for _ in range(5)) for known in (False, True)}
    each = {known: best[known] / len(rows) * 1e6 for known in best}
    print(f"\n{len(rows):,} readings: {each[False]:.2f} µs each without, {each[True]:.2f} µs with")


@pytest.mark.benchmark
def test_the_hourly_look_with_sixty_circuits() -> None:
    for name, shift in (("names that fit", 0), ("every name wrong", 30)):
        schedule = vehicle(60, known=True)
        core = Core()
        core.feed(Settings(received_ms=T0, schedule=schedule, started=True))
        worst = 0.0
        for s in range(0, 30 * 3600, 600):
            for n in range(60):
                amps = (10.0 + 4 * ((n + shift) % 60)) / 12.8
                for k in range(3):
                    at_ms = T0 + (s + 10 * k) * 1000
                    begun = time.process_time()
                    core.feed(Reading(f"D{n}", at_ms, at_ms, volts=12.8, amps=round(amps, 2)))
                    worst = max(worst, time.process_time() - begun)
        print(f"\n60 circuits, {name}: the slowest reading of 30 h took {worst * 1e3:.1f} ms")
    noise = random.Random(7)
    cost = [[noise.uniform(0, 50) for _ in range(60)] for _ in range(60)]
    begun = time.process_time()
    assigned(cost)
    print(f"\nan assignment of 60: {(time.process_time() - begun) * 1e3:.1f} ms")
