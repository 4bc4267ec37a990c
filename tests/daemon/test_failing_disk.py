"""A disk that takes nothing any more: phones hear all the same, once, and they hear of the disk."""

from __future__ import annotations

from pathlib import Path

import pytest

from daemon.told import Told
from panelward.notify import SendResult


def failing(told: Told, seconds: float, result: str = "handed-over") -> None:
    """The daemon's turns while the disk fails."""
    for _ in range(round(seconds / 5)):
        told.ms += 5000
        told.commits()
        told.sends(result)


def test_what_is_found_while_nothing_can_be_written_is_sent_once_and_written_later(tmp_path: Path) -> None:
    told = Told(tmp_path)
    told.alarm("D7", kind="overcurrent-approach", priority="medium", figures=(("draw_a", 17.0),))
    assert told.sends("failed")  # one that waited before is not lost either
    told.disk(fails=True)
    told.alarm("D1")
    told.sends()
    assert told.got == [], "the disk may come back in a moment"
    failing(told, 30)
    assert len(told.got) == 2, "each once"
    assert not any(sentence.startswith("Again") for sentence in told.sentences)
    told.disk(fails=False)
    failing(told, 300)
    assert len(told.got) == 2
    status = {(row.alarm_id, row.step): row.status for row in told.rows()}
    assert status["D1-feed-lost", "begun"] == status["D7-overcurrent-approach", "begun"] == "handed-over"
    assert status["D1-feed-lost", "again-1"] == "waiting"
    failing(told, 600)
    assert told.sentences[2].startswith("Again: ")


def test_a_message_on_its_way_when_the_disk_comes_back_is_settled(tmp_path: Path) -> None:
    told = Told(tmp_path)
    told.disk(fails=True)
    told.alarm("D1")
    told.ms += 20_000
    told.outward.deliver()
    ((row,),) = told.outward.lanes.given()
    told.disk(fails=False)
    told.commits()
    assert [each.status for each in told.rows() if each.step == "begun"] == ["trying"]
    told.outward.settle([SendResult(row.row, "handed-over", "")])
    assert [each.status for each in told.rows() if each.step == "begun"] == ["handed-over"]


def test_an_answer_while_nothing_can_be_written_stops_what_waits_for_one(tmp_path: Path) -> None:
    told = Told(tmp_path)
    told.disk(fails=True)
    told.alarm("D1")
    failing(told, 30)
    told.alarm("D1", "acknowledge", 2, state="acknowledged", told=False, who="Kari")
    failing(told, 3600)
    assert len(told.got) == 1
    told.disk(fails=False)
    told.commits()
    assert {row.status for row in told.rows() if row.step != "begun"} == {"expired"}


@pytest.mark.parametrize(("seconds", "said"), [(30.0, []), (90.0, [True])])
def test_that_the_disk_fails_is_said_once_and_that_it_is_over(tmp_path: Path, seconds: float, said: list[bool]) -> None:
    """A moment of it is nobody's business."""
    told = Told(tmp_path)
    told.disk(fails=True)
    failing(told, seconds)
    assert told.unwritten == said
    told.disk(fails=False)
    failing(told, 30)
    assert told.unwritten == said + [False] * len(said)
