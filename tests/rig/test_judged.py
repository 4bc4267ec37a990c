"""The watch on the rig's readings: every fault is told as its truth expects, every innocent twin raises nothing."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from panelward.records import Reading, Transition
from panelward.rehearse import rehearse
from panelward.rig import FAULTS, Life, Van
from panelward.schedule import load

SCHEDULE = str(Path(__file__).parents[2] / "config" / "survey-van.toml")
NOON = 1_777_896_000_000  # 2026-05-04T12:00Z
EVENING = 1_777_910_400_000  # 16:00Z, 18:00 in the van
# Longer than the delay of what is to be found: hours to go before the cut-off, three hours' run, half an hour after 20:00.
HOURS = {"freezer-door-open": 4.2, "inverter-left-on": 3.0, "inverter-off-late": 3.0, "low-battery": 2.0, "freezer-rests": 4.0}


def rows(life: Life, hours: float, period_s: float) -> Iterator[Reading]:
    start_ms = life.van.now_ms
    for n in range(int(hours * 3600 / period_s)):
        life.step_to(start_ms + round(n * period_s * 1000))
        for r in life.van.sample():
            yield Reading(r.circuit, r.time_ms, r.time_ms, r.volts, r.amps, r.watts, r.closed, r.celsius)


def told(name: str | None, seed: int, hours: float, period_s: float) -> tuple[list[Transition], Life]:
    schedule, _ = load(SCHEDULE)
    life = Life(Van(SCHEDULE, seed, EVENING if name and name.startswith("inverter") else NOON))
    life.people(3, seed)
    if name:
        life.befall(name)
    end_ms = life.van.now_ms + round(hours * 3_600_000)
    found = list(rehearse(schedule, rows(life, hours, period_s), until_ms=end_ms))
    return [t for t in found if t.event in ("begins", "changes", "begins-again")], life


@pytest.mark.parametrize("name", [n for n, (_, kind, _, _) in FAULTS.items() if kind])
def test_a_fault_is_told(name: str) -> None:
    found, life = told(name, 1, HOURS.get(name, 1.2), 2.0)
    truth = life.truth[-1]
    mine = [t for t in found if t.kind == truth.expected and t.subject_id == truth.circuit]
    assert mine, [(t.subject_id, t.kind) for t in found]
    assert mine[0].at_ms >= truth.begins_ms - 2000


@pytest.mark.parametrize("name", [n for n, (_, kind, _, _) in FAULTS.items() if not kind])
@pytest.mark.parametrize("seed", [1, 2])
def test_an_innocent_twin_raises_nothing(name: str, seed: int) -> None:
    found, _ = told(name, seed, HOURS.get(name, 1.2), 2.0)
    assert [(t.subject_id, t.kind) for t in found] == []


@pytest.mark.parametrize("seed", [3, 4])
def test_two_quiet_days_raise_nothing(seed: int) -> None:
    found, _ = told(None, seed, 48.0, 10.0)
    assert [(t.subject_id, t.kind) for t in found] == []
