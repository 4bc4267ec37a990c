"""The judge of draws on streams made by hand: right, late, wrong, doubled; and a small fixed part of the whole."""

from __future__ import annotations

from typing import Any

import pytest

from proving import draw_cases, draw_judge, draw_report
from proving.draw_scene import Truth
from proving.vehicle import T0_MS

TRUTH = Truth(
    cause="stalled",
    kinds=("off-profile",),
    subjects=(("circuit", "D1"),),
    begins_s=90.0,
    onset_s=100.0,
    deadline_s=5.0,
    target="D1",
    also=("overcurrent",),
)
DUE_MS = T0_MS + 106_000


def told(at_s: float, kind: str = "off-profile", circuit: str = "D1", **keys: Any) -> dict[str, Any]:
    line = {
        "at": T0_MS + round(1000 * at_s),
        "delay_s": at_s - 100.0,
        "event": "begins",
        "told": True,
        "subject": "circuit",
        "id": circuit,
        "group": "level",
        "kind": kind,
        "priority": "high",
        "cause": "stalled",
        "candidates": [],
    }
    return line | keys


def score(*lines: dict[str, Any], truth: Truth = TRUTH) -> dict[str, Any]:
    return draw_judge.score(list(lines), truth, DUE_MS)


def test_right() -> None:
    got = score(told(103.0))
    assert (got["found"], got["in_time"], got["right"], got["wrong"], got["notices"], got["false"]) == (
        True,
        True,
        True,
        False,
        1,
        [],
    )
    assert got["delay_s"] == 3.0


def test_late() -> None:
    got = score(told(110.0))
    assert got["found"]
    assert not got["in_time"]


def test_before_it_began_is_false() -> None:
    got = score(told(50.0))
    assert not got["found"]
    assert len(got["false"]) == 1


def test_early_once_it_has_begun_is_in_time() -> None:
    assert score(told(95.0))["in_time"]


def test_wrong_kind_circuit_and_cause() -> None:
    kind = score(told(103.0, kind="feed-lost", group="dead", cause="unknown"))
    assert not kind["found"]
    assert kind["false"]
    assert kind["notices"] == 1
    other = score(told(103.0, circuit="D2"))
    assert not other["found"]
    assert other["false"]
    assert other["notices"] == 0
    cause = score(told(103.0, cause="element-open"))
    assert cause["found"]
    assert cause["wrong"]
    assert not cause["right"]


def test_the_last_word_counts() -> None:
    got = score(told(103.0, cause="unknown"), told(104.0, event="changes"))
    assert got["right"]
    assert got["notices"] == 1
    first = score(told(103.0, cause=None, candidates=[["stalled", 0.6], ["blocked", 0.3]]))
    assert first["right"]
    assert first["named"] is None
    assert not first["wrong"]


def test_doubled() -> None:
    again = score(told(103.0), told(130.0, event="begins-again"))
    assert again["notices"] == 2
    assert not again["false"]
    besides = score(told(103.0), told(104.0, kind="overcurrent-approach", group="overcurrent"))
    assert besides["notices"] == 2
    assert not besides["false"]


def test_what_nobody_is_told_does_not_count() -> None:
    assert score(told(103.0, told=False))["notices"] == 0


def test_of_a_twin_everything_is_false() -> None:
    got = score(told(103.0), truth=Truth(cause="none", target="D1"))
    assert not got["found"]
    assert len(got["false"]) == 1


def test_a_plain_watcher() -> None:
    got = draw_judge.score_plain(
        [(T0_MS + 50_000, "D1", "more"), (T0_MS + 103_000, "D1", "more"), (T0_MS, "D2", "dead")], TRUTH, DUE_MS
    )
    assert got == {"in_time": True, "false": 2}


# --- the fixed part: one case of every family that costs little

OF = 30
DEAR = (
    "drain-standby-30", "drain-unassigned", "drain-unassigned~zero", "drain-standby~warm", "rhythm-charge", "rhythm-condenser",
    "rhythm-fridge~hot-day", "rhythm-fridge~goods", "rhythm-fridge~set",
)  # fmt: skip
CHEAP = [
    name for name, f in draw_cases.FAMILIES.items() if f.group != "drift" and not f.held_out and name not in DEAR
]  # fmt: skip
AT_MOST = {"void": 0.05, "twin_high": 0.05}


@pytest.fixture(scope="module")
def part() -> list[dict[str, Any]]:
    return [draw_judge.run(draw_cases.make(name, OF, 3)) for name in CHEAP]


@pytest.mark.parametrize("name", AT_MOST)
def test_at_most(part: list[dict[str, Any]], name: str) -> None:
    hits, n = draw_report.figures(part)[name]
    assert hits <= max(1, AT_MOST[name] * n)


def test_the_table_is_80_columns(part: list[dict[str, Any]]) -> None:
    text = draw_report.table(part)
    assert all(len(line) <= 80 for line in text.splitlines())
    assert "aim, in time" in text


def test_the_same_case_is_the_same_twice() -> None:
    first, again = (draw_judge.run(draw_cases.make("level-stall", OF, 7)) for _ in range(2))
    assert {**first, "cpu_s": 0} == {**again, "cpu_s": 0}


def test_every_fault_has_its_twin() -> None:
    """One at least in every group, and none that is told to be right."""
    for group in draw_cases.GROUPS:
        mine = [f for f in draw_cases.FAMILIES.values() if f.group == group]
        assert any(f.innocent for f in mine)
        assert any(not f.innocent for f in mine)
