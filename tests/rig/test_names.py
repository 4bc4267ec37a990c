"""The watch on the rig's days with two channels swapped, and with one load changed (which is no swap)."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

import pytest

from panelward.records import Reading, Transition
from panelward.rehearse import rehearse
from panelward.rig import Life, Van
from panelward.schedule import load

SCHEDULE = str(Path(__file__).parents[2] / "config" / "survey-van.toml")
NOON = 1_777_896_000_000  # 2026-05-04T12:00Z
PERIOD_S = 10


@cache
def days(seed: int, hours: int) -> tuple[Reading, ...]:
    life = Life(Van(SCHEDULE, seed, NOON))
    life.people(3, seed)
    rows = []
    for n in range(hours * 3600 // PERIOD_S):
        life.step_to(NOON + n * PERIOD_S * 1000)
        rows += [Reading(r.circuit, r.time_ms, r.time_ms, r.volts, r.amps, r.watts) for r in life.van.sample()]
    return tuple(rows)


def swaps(rows: Iterator[Reading]) -> list[tuple[tuple[str, ...], str]]:
    schedule, _ = load(SCHEDULE)
    found: list[Transition] = list(rehearse(schedule, rows))
    return [(t.circuits, t.event) for t in found if t.cause == "swapped"]


@pytest.mark.parametrize(("one", "other"), [("D2", "D11"), ("D1", "D13"), ("D5", "D11")])
def test_two_swapped_channels_are_told(one: str, other: str) -> None:
    onto = {one: other, other: one}
    found = swaps(r._replace(circuit=onto.get(r.circuit, r.circuit)) for r in days(12, 30))
    assert [circuits for circuits, _ in found] == [(one, other)]


def test_a_pump_that_draws_a_quarter_like_the_fans_middle_is_no_swap() -> None:
    """One load changed, one of several levels: each looks a little like the other, hour by hour."""
    scaled: Callable[[float | None], float | None] = lambda x: None if x is None else x / 4  # noqa: E731
    rows = (r._replace(amps=scaled(r.amps), watts=scaled(r.watts)) if r.circuit == "D4" else r for r in days(12, 48))
    assert swaps(rows) == []
