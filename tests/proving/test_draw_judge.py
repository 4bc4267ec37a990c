"""The judge of draws on streams made by hand: right, late, wrong, doubled; and a small fixed part of the whole."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from panelward.records import Protection, Reading
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


def came(*amps: float, publishes: str = "always", volts_at: str = "bus", every_s: float = 10.0) -> draw_judge.Came:
    """Readings every 10 s from the onset on, of a way with a 5 A fuse; a stall shows from 6 A on."""
    case = draw_cases.make("level-stall", 16, 0)
    way = case.van.way(case.truth.target)
    way.sense = replace(way.sense, publishes=publishes, volts_at=volts_at)
    way.protection, way.tells_closed = Protection(kind="blade-fuse", type="C", rating_a=5.0), False
    truth = replace(TRUTH, readings=2, shows_a=6.0, opens=True)
    got = draw_judge.Came(truth, way, every_s)
    for n, each in enumerate(amps):
        at_ms = T0_MS + round(1000 * (101.0 + n * every_s))
        got.take(Reading("D1", at_ms, at_ms, amps=each))
    return got


def test_a_stall_is_due_when_two_readings_have_shown_it() -> None:
    assert came(9.0, 9.0, 9.0).due_ms() == T0_MS + 112_000
    assert came(4.0, 9.0, 9.0).due_ms() == T0_MS + 122_000  # a mean over a part of it shows no stall
    assert came(9.0, publishes="on-change").due_ms() == T0_MS + 112_000  # its next look found nothing new


def test_a_stall_that_opened_its_device_before_a_second_reading_is_not_due_but_the_opened_device_is() -> None:
    for publishes in ("always", "on-change"):
        opened = came(9.0, 0.0, 0.0, 0.0, publishes=publishes)
        assert opened.due_ms() is None
        assert opened.opened_due_ms(105.0) == T0_MS + 122_000  # two readings of nothing, and 15 s
    shows_nothing = came(6.1, 0.0, 0.0)
    shows_nothing.over = False
    assert shows_nothing.opened_due_ms(105.0) is None
    behind = came(4.0, 0.0, 0.0, 0.0, volts_at="after-device")
    assert behind.opened_due_ms(105.0) == T0_MS + 122_000


def test_a_try_counts_when_it_is_over_and_once() -> None:
    got = came()
    got.truth = replace(got.truth, tries=True, opens=False)
    for n, each in enumerate((9.0, 9.0, 0.0, 0.0, 9.0, 0.0)):
        at_ms = T0_MS + 101_000 + n * 1000
        got.take(Reading("D1", at_ms, at_ms, amps=each))
    assert got.due_ms() == T0_MS + 107_000


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
