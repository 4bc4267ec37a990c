"""Where the watch sees a draw stand anew, against change points by another program on measured appliances.

tests/reference/change_points.json: ruptures' exact partition of the draws in appliances.json; what a `step` is stands in
make_change_points.py. A reading is 10 s.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from panelward.watch.steady import Steady

REFERENCE = Path(__file__).resolve().parents[1] / "reference"
CUT: dict[str, Any] = json.loads((REFERENCE / "change_points.json").read_text())
DRAWS: dict[tuple[int, int], list[float]] = {
    (d["class"], d["trace"]): d["watts"] for d in json.loads((REFERENCE / "appliances.json").read_text())["draws"]
}
LEAST_W = 1.0  # of a fine instrument, as `level` would give it
NEAR = 1  # readings
# Its bursts go 777, 136, 361, 170, 117 W from reading to reading: between two steps it does not stand.
RESTLESS = {(7, 83), (7, 180)}


def stands(watts: list[float]) -> list[int]:
    """The first reading of each stand but the first."""
    steady, found = Steady(LEAST_W), []
    for n, w in enumerate(watts):
        if steady.take(n * 1000, w):
            found.append(steady.since_ms // 1000)
    return found[1:]


def near(points: list[int], others: list[int]) -> int:
    return sum(any(abs(n - other) <= NEAR for other in others) for n in points)


def leap(watts: list[float], n: int) -> float:
    return abs(sum(watts[n - 2 : n]) - sum(watts[n : n + 2])) / 2


def test_the_steps_that_an_exact_partition_finds_are_new_stands() -> None:
    found = {True: 0, False: 0}
    steps = {True: 0, False: 0}
    for cut in CUT["draws"]:
        name = cut["class"], cut["trace"]
        steps[name in RESTLESS] += len(cut["steps"])
        found[name in RESTLESS] += near(cut["steps"], stands(DRAWS[name]))
    assert steps == {False: 85, True: 9}
    assert found[False] >= 83  # the two others: one reading between two draws on either side of the step
    assert found[True] >= 4


def test_a_new_stand_far_away_is_a_change_for_the_exact_partition_too() -> None:
    """Of stands that lie a fifth of the greatest draw from what was drawn before."""
    far = agree = 0
    for cut in CUT["draws"]:
        watts = DRAWS[cut["class"], cut["trace"]]
        leaps = [n for n in stands(watts) if n >= 2 and leap(watts, n) >= 0.2 * max(watts)]
        far += len(leaps)
        agree += near(leaps, cut["changes"])
    assert far >= 90
    assert agree >= far - 1


def test_what_stands_still_or_creeps_is_cut_nowhere() -> None:
    """The twin: where neither people nor the partition would see a step there is none."""
    assert stands([60.0] * 300) == []
    assert stands([60.0 + 0.03 * n for n in range(300)]) == []  # by 15 % in all
    assert stands([60.0] * 100 + [90.0] + [60.0] * 100) == []  # one reading elsewhere


@pytest.mark.parametrize("case", CUT["levels"], ids=range(len(CUT["levels"])))
def test_a_fan_s_settings_begin_where_they_were_switched(case: dict[str, Any]) -> None:
    """Two steps of 0.1 A are 2.6 W, which is what the watch asks at the least: 11.7 and 9 W lie as near as that. It takes the
    hand-over to tell them apart (tests/commission/test_edges_by_others.py); the other changes begin where they were switched.
    """
    least_w = 2.0 * CUT["step_a"] * CUT["volts"]
    watts = [a * CUT["volts"] for a in case["amps"]]
    steady, found = Steady(least_w), []
    for n, w in enumerate(watts):
        if steady.take(n * 1000, w):
            found.append(steady.since_ms // 1000)
    plain = [n for n in case["truth"] if leap(watts, n) > 2.0 * least_w]
    assert len(plain) >= 5
    assert near(plain, found) == len(plain)
    assert near(case["optimal"], case["truth"]) == len(case["truth"])
