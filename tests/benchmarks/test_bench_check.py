"""Vetting: CPU of `panelward check` on 500 circuits over that on one; and what the set of devices costs a reading.

python -m pytest tests/benchmarks -m benchmark -s
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from panelward.core import Core
from panelward.records import Protection, Settings
from plans import SOCKETS, T0, plan, stream

HEAD = '[vehicle]\nname = "V"\n[supply.house]\nkind = "dc"\nnominal_v = 12.8\nfault_a = { min = 600, max = 950 }\n'


def schedule(circuits: int) -> str:
    pick = random.Random(3)
    ratings = [5, 7.5, 10, 15, 20, 30]
    ways = [
        f'[[circuit]]\nid = "X{n}"\nlabel = "Load {n}"\nsupply = "house"\nfeed = "switched"\n'
        f'protection = {{ kind = "blade-fuse", type = "{pick.choice("CEF")}", rating_a = {pick.choice(ratings)} }}\n'
        f"conductor = {{ area_mm2 = {pick.choice([1.0, 1.5, 2.5, 4.0, 6.0])}, length_m = {pick.uniform(1, 12):.1f}, "
        f"insulation_c = 105, bundled = {pick.randint(1, 6)}, ambient_c = {pick.choice([30, 40, 50])} }}\n"
        f'[circuit.load]\nkind = "{pick.choice(["pump", "light", "electronics", "fan"])}"\n'
        f'levels = [ {{ name = "on", watts = {pick.uniform(5, 120):.0f} }} ]\n'
        for n in range(circuits)
    ]
    return HEAD + "".join(ways)


def cpu_s(file: Path) -> float:
    """CPU seconds of one run as a child, the least of three."""
    least = float("inf")
    for _ in range(3):
        before = os.times()
        subprocess.run(
            [sys.executable, "-m", "panelward", "check", "--schedule", str(file)], stdout=subprocess.DEVNULL, check=False
        )
        after = os.times()
        least = min(least, after.children_user + after.children_system - before.children_user - before.children_system)
    return least


@pytest.mark.benchmark
def test_a_check_of_500_circuits(tmp_path: Path) -> None:
    found = {}
    for circuits in (1, 500, 5000):
        file = tmp_path / f"{circuits}.toml"
        file.write_text(schedule(circuits), encoding="utf-8")
        found[circuits] = cpu_s(file)
    base, more, most = found.values()
    print(f"\ncheck: 1 circuit {base:.2f} s CPU; 500: {more - base:.2f} s over it; 5,000: {most - base:.2f} s over it")


def cost_us(amps: float, protection: Protection) -> float:
    rows = list(stream({"D7": amps}, 100_000))
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=plan(replace(SOCKETS, protection=protection)), started=True))
    begun = time.process_time()
    for row in rows:
        core.feed(row)
    return (time.process_time() - begun) / len(rows) * 1e6


@pytest.mark.benchmark
def test_what_the_set_costs_a_reading() -> None:
    """An electronic output has no set: the same core without it, in the same run."""
    none = Protection(kind="electronic", rating_a=15)
    print("\nthe core, µs a reading: without a set; type C; type E; type not known (and what the set adds)")
    for times in (0.2, 0.45, 0.7, 0.9, 1.2):
        bare = min(cost_us(times * 15, none) for _ in range(2))
        told = [f"{bare:.2f}"]
        for letter in ("C", "E", None):
            with_set = min(cost_us(times * 15, Protection(kind="blade-fuse", type=letter, rating_a=15)) for _ in range(2))
            told.append(f"{with_set:.2f} (+{with_set - bare:.2f})")
        print(f"  {times:g} x the rating: {'; '.join(told)}")
