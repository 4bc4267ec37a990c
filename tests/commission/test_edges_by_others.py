"""The hand-over's edges against change points that people marked, and that another program's exact partition finds.

tests/reference/change_points.json: what river carries of the Turing Change Point Dataset (van den Burg and Williams 2020),
ruptures' partitions, and a fan switched through its settings; see make_change_points.py.
"""

from __future__ import annotations

import json
from pathlib import Path
from statistics import median
from typing import Any

import pytest
from benches import START_MS

from panelward.commission.runs import Channel
from panelward.records import Reading

CUT: dict[str, Any] = json.loads((Path(__file__).resolve().parents[1] / "reference" / "change_points.json").read_text())
SERIES: dict[str, dict[str, Any]] = {case["name"]: case for case in CUT["annotated"]}
MARGIN = 5  # readings: the dataset's own, of its paper (from memory)
STEP = {"run_log": 0.1, "occupancy": 10.0}  # what a series' values wiggle by while nothing happens


def edges(values: list[float], step: float) -> list[int]:
    """The first reading of each new steady draw."""
    channel, found = Channel("D1", 12.8, 0.0, step, 3 * step, 10**9, 10**9), []
    for n, value in enumerate(values, 1):
        edge = channel.take(Reading("D1", START_MS + n * 1000, START_MS + n * 1000, watts=value))
        if edge is not None:
            found.append((edge.begun_ms - START_MS) // 1000 - 1)
    return found


def near(points: list[int], others: list[int], margin: int) -> int:
    return sum(any(abs(n - other) <= margin for other in others) for n in points)


def test_what_three_of_five_people_marked_in_a_runner_s_pace_is_found_to_the_reading() -> None:
    case = SERIES["run_log"]
    marks = [n for people in case["annotators"] for n in people]
    most = sorted({n for n in marks if marks.count(n) >= 3})
    assert most == [60, 96, 114, 174, 204, 240, 258, 317]
    assert set(most) <= set(edges(case["values"], STEP["run_log"]))
    assert near(most, case["optimal"], 2) == 8  # the exact partition puts one of them two readings later


def test_every_change_of_light_that_anyone_marked_is_found() -> None:
    """People marked four curves at once; a mark at which the light did not change by a tenth of its most is of another, as
    is one reading of a passing cloud.
    """
    case = SERIES["occupancy"]
    values = case["values"]
    found = edges(values, STEP["occupancy"])
    in_all = 0
    for people in case["annotators"]:
        of_light = [
            n
            for n in people
            if n >= MARGIN and abs(median(values[n : n + MARGIN]) - median(values[n - MARGIN : n])) > 0.1 * max(values)
        ]
        in_all += len(of_light)
        assert near(of_light, found, MARGIN) == len(of_light)
    assert in_all == 23  # of 31


@pytest.mark.parametrize(("name", "most"), [("run_log", 8), ("occupancy", 7)])
def test_the_best_partition_into_nine_is_found_and_hardly_more(name: str, most: int) -> None:
    """Exact dynamic programming, told how many. One of its cuts lies in an evening's light that fades over twenty readings
    and stands nowhere. What else is found is smaller: a walk that slows down, a cloud.
    """
    case = SERIES[name]
    found = edges(case["values"], STEP[name])
    assert near(case["optimal"], found, MARGIN) >= most
    assert len(found) <= 20


@pytest.mark.parametrize("case", CUT["levels"], ids=range(len(CUT["levels"])))
def test_a_fan_s_settings_are_cut_where_they_were_switched(case: dict[str, Any]) -> None:
    """35, 11.7 and 9 W in steps of 0.1 A: as the exact partition, which was told how many there are."""
    found = edges([a * CUT["volts"] for a in case["amps"]], CUT["step_a"] * CUT["volts"])
    assert near(case["truth"], case["optimal"], 1) == len(case["truth"])
    assert near(case["truth"], found, 1) == len(case["truth"])


def test_no_more_than_one_edge_of_a_fan_in_eighty_is_false() -> None:
    """Of twelve fans switched seven times each, read 2880 times in all."""
    false = [
        n
        for case in CUT["levels"]
        for n in edges([a * CUT["volts"] for a in case["amps"]], CUT["step_a"] * CUT["volts"])
        if not near([n], case["truth"], 1)
    ]
    assert len(false) <= 1
