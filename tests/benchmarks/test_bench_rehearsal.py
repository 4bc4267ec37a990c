"""Rehearsal: readings a second on one core, linear in circuits and in length; beside what a person would script instead.

python -m pytest tests/benchmarks -m benchmark -s
"""

from __future__ import annotations

import json
import random
import time
from dataclasses import replace
from pathlib import Path

import pytest

from panelward.core import Core
from panelward.intake import TableReader
from panelward.records import Reading, Schedule, Settings
from panelward.rehearse import rehearse
from plans import SOCKETS, T0, plan


def vehicle(circuits: int) -> Schedule:
    return plan(*(replace(SOCKETS, id=f"D{n}", label=f"Sockets {n}") for n in range(circuits)))


def table(circuits: int, seconds: int) -> list[str]:
    noise = random.Random(5)
    lines = ["time,circuit,volts,amps,watts,closed\n"]
    for s in range(seconds):
        for n in range(circuits):
            amps = 2.0 + 3.0 * (s // 300 % 2) + noise.gauss(0, 0.02)
            lines.append(f"{T0 / 1000 + s:.3f},D{n},13.02,{amps:.2f},{amps * 13.02:.1f},\n")
    return lines


def seconds_for(circuits: int, seconds: int) -> tuple[float, int]:
    schedule, lines = vehicle(circuits), table(circuits, seconds)
    begun = time.process_time()
    found = list(rehearse(schedule, TableReader(iter(lines), schedule)))
    assert found == []
    return time.process_time() - begun, len(lines) - 1


@pytest.mark.benchmark
def test_readings_a_second_and_how_it_grows() -> None:
    base, rows = seconds_for(12, 3000)
    print(f"\n12 circuits, {rows:,} readings: {rows / base:,.0f} readings/s, {base / rows * 1e6:.2f} µs each")
    for name, circuits, seconds in (("4x the circuits", 48, 3000), ("4x the length", 12, 12_000)):
        more, more_rows = seconds_for(circuits, seconds)
        print(f"{name}: {more_rows / more:,.0f} readings/s; cost a reading {more / more_rows / (base / rows):.2f} x")


@pytest.mark.benchmark
def test_beside_a_frame_a_message_with_fixed_thresholds() -> None:
    """One long pandas frame, appended to and filtered at every message: what a person would script instead."""
    pd = pytest.importorskip("pandas")
    schedule, lines = vehicle(12), table(12, 300)
    begun = time.process_time()
    list(rehearse(schedule, TableReader(iter(lines), schedule)))
    ours = time.process_time() - begun
    rows = [line.strip().split(",") for line in lines[1:]]
    begun = time.process_time()
    frame = pd.DataFrame({"time": [], "circuit": [], "amps": []})
    alarms = 0
    for time_text, circuit, _, amps, _, _ in rows:
        new = pd.DataFrame({"time": [float(time_text)], "circuit": [circuit], "amps": [float(amps)]})
        frame = new if frame.empty else pd.concat([frame, new])
        alarms += frame[frame.circuit == circuit].tail(10)["amps"].mean() > 15.0
    script = time.process_time() - begun
    print(f"\n{len(rows):,} readings: rehearsal {len(rows) / ours:,.0f}/s, script {len(rows) / script:,.0f}/s, "
          f"ratio {script / ours:.0f}")  # fmt: skip


@pytest.mark.benchmark
def test_state_is_dumped_and_taken_back() -> None:
    core = Core()
    schedule = vehicle(60)
    core.feed(Settings(received_ms=T0, schedule=schedule, started=True))
    for n in range(60):
        core.feed(Reading(f"D{n}", T0, T0, volts=13.0, amps=2.0))
    begun = time.process_time()
    text = json.dumps(core.save())
    dumped = time.process_time() - begun
    begun = time.process_time()
    Core().restore(json.loads(text), schedule, silence_from_start=True)
    print(f"\n60 circuits: state of {len(text):,} characters, saved in {dumped * 1e3:.1f} ms, "
          f"taken back in {(time.process_time() - begun) * 1e3:.1f} ms")  # fmt: skip


@pytest.mark.benchmark
def test_memory_of_the_core_stays_flat() -> None:
    """24 circuits at 1 Hz for an hour, fed fast: resident memory before, half-way, after (Linux, from /proc)."""

    def resident_mb() -> float:
        status = Path("/proc/self/status").read_text()
        return int(status.split("VmRSS:")[1].split()[0]) / 1024

    core = Core()
    core.feed(Settings(received_ms=T0, schedule=vehicle(24), started=True))
    figures = [resident_mb()]
    for s in range(3600):
        for n in range(24):
            core.feed(Reading(f"D{n}", T0 + s * 1000, T0 + s * 1000, volts=13.0, amps=2.0 + s % 5, watts=26.0))
        if s in (1799, 3599):
            figures.append(resident_mb())
    print("\nresident MB before, half-way, after:", ", ".join(f"{f:.1f}" for f in figures))
