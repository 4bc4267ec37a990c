"""A message says what is so when it goes out; a repeat says that it is one; what stands does not run out."""

from __future__ import annotations

from pathlib import Path

import pytest

from daemon.told import Told

MEDIUM = {"kind": "overcurrent-approach", "priority": "medium", "figures": (("draw_a", 17.0),)}


def test_a_single_message_that_waited_for_days_says_what_is_so_now(tmp_path: Path) -> None:
    told = Told(tmp_path)
    told.alarm("D1")
    told.alarm("D1", "acknowledge", 2, state="acknowledged", told=False, who="the page")  # no repeats, one row
    told.passes(68 * 3600, "failed", 900)
    told.passes(3600)
    assert len(told.got) == 1
    assert "since Wed 11:59" in told.sentences[0], told.sentences
    assert "for 60 s" not in told.sentences[0]


def test_what_is_fresh_goes_out_as_it_was_found(tmp_path: Path) -> None:
    told = Told(tmp_path)
    told.alarm("D1")
    (text,) = told.sends()
    assert text == next(row.body for row in told.rows() if row.step == "begun")


def test_what_is_over_and_comes_days_late_says_the_day(tmp_path: Path) -> None:
    told = Told(tmp_path)
    told.alarm("D1")
    told.sends()
    told.ms += 3600 * 1000
    told.alarm("D1", "ends", 2, state="returned-unacknowledged")
    told.passes(50 * 3600, "failed", 900)
    told.passes(3600)
    assert "Wed 1" in told.sentences[-1], told.sentences


@pytest.mark.parametrize("taken", [True, False])
def test_repeats_that_come_together_say_again_to_whom_was_told_before_and_to_nobody_else(tmp_path: Path, taken: bool) -> None:
    told = Told(tmp_path)
    told.alarm("D1")
    told.sends("handed-over" if taken else "failed")
    told.passes(3600, "failed")
    told.passes(1800)
    assert [sentence.startswith("Again: ") for sentence in told.sentences] == ([False, True] if taken else [False])


def test_back_from_the_shelf_it_is_a_repeat(tmp_path: Path) -> None:
    told = Told(tmp_path)
    told.alarm("D1")
    told.sends()
    told.alarm("D1", "shelve", 2, state="shelved", told=False, who="Kari")
    told.ms += 3600 * 1000
    told.alarm("D1", "unshelve", 3)
    told.sends()
    assert [sentence.startswith("Again: ") for sentence in told.sentences] == [False, True]


def test_who_was_told_nothing_because_somebody_worked_there_hears_no_repeat(tmp_path: Path) -> None:
    told = Told(tmp_path)
    told.alarm("D1", told=False)
    told.alarm("D1", "work-over", 2)
    told.sends()
    assert [sentence.startswith("Again: ") for sentence in told.sentences] == [False]


@pytest.mark.parametrize("over", [False, True])
def test_the_newest_message_of_what_stands_never_runs_out(tmp_path: Path, over: bool) -> None:
    told = Told(tmp_path)
    told.alarm("D7", **MEDIUM)  # type: ignore[arg-type]
    told.passes(4 * 86_400, "failed", 900)
    if over:
        told.alarm("D7", "ends", 2, state="returned-unacknowledged", told=False, **MEDIUM)  # type: ignore[arg-type]
        told.passes(9 * 86_400, "failed", 900)
    told.passes(7200)
    assert len(told.got) == (0 if over else 1), told.rows()
    assert {row.status for row in told.rows()} == ({"expired"} if over else {"handed-over"})


def test_a_catch_up_is_one_message_of_the_hour_and_high_ones_are_none(tmp_path: Path) -> None:
    told = Told(tmp_path)
    for n in range(13):
        told.alarm("D7", alarm_id=f"L{n}", **MEDIUM)  # type: ignore[arg-type]
    for n in range(13):
        told.alarm("D1", alarm_id=f"H{n}")
        told.alarm("D1", "acknowledge", 2, alarm_id=f"H{n}", state="acknowledged", told=False, who="Kari")
    told.passes(900, "failed")
    told.passes(1800)
    assert told.got
    before = len(told.got)
    told.alarm("D7", alarm_id="one more", **MEDIUM)  # type: ignore[arg-type]
    told.alarm("drill", kind="drill", priority="low", subject="broker")
    told.passes(60)
    assert len(told.got) == before + 2


def test_single_messages_count_and_a_test_message_is_not_held_back(tmp_path: Path) -> None:
    told = Told(tmp_path)
    for n in range(13):
        told.alarm("D7", alarm_id=f"L{n}", **MEDIUM)  # type: ignore[arg-type]
        told.passes(60)
    assert len(told.got) == 12
    told.alarm("drill", kind="drill", priority="low", subject="broker")
    told.passes(60)
    assert "test message" in told.sentences[-1]
