"""The outbox: what is written is sent or said not to be; what may have been sent says so."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from journals import message, transition

from panelward.journal import Journal, OutboxRow


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    return Journal.open(tmp_path / "journal.sqlite")


def put(journal: Journal, *rows: OutboxRow) -> list[int]:
    journal.commit([transition(row.alarm_id, row.sequence) for row in rows], rows)
    return [row.id for row in journal.outbox_rows()]


def test_due_are_those_whose_time_has_come_the_most_urgent_first(journal: Journal) -> None:
    put(
        journal,
        message("low", priority="low", due_s=10),
        message("later", priority="high", due_s=50),
        message("medium", priority="medium", due_s=20),
        message("high", priority="high", due_s=30),
        message("high-too", priority="high", due_s=5),
    )
    assert [row.alarm_id for row in journal.due(30.0)] == ["high", "high-too", "medium", "low"]
    assert [row.alarm_id for row in journal.due(30.0, 2)] == ["high", "high-too"]
    assert journal.due(4.9) == []
    assert journal.next_due_s() == 5.0


def test_a_row_comes_back_as_it_was_given(journal: Journal) -> None:
    given = message("a")
    put(journal, given)
    (found,) = journal.due(1000.0)
    assert (found.title, found.body, found.kind, found.priority) == (given.title, given.body, given.kind, "high")
    assert (found.status, found.attempts, found.repeat, found.last_why) == ("waiting", 0, False, "")
    assert (found.created_real_s, found.due_real_s, found.expires_real_s) == (100.0, 100.0, 1100.0)


def test_from_trying_to_handed_over(journal: Journal) -> None:
    (row,) = put(journal, message("a"))
    journal.mark_trying([row])
    assert journal.due(1000.0) == [], "what is being sent is not sent by another"
    assert journal.attempts(row) == 1
    journal.settle(row, "handed-over")
    (found,) = journal.outbox_rows("a")
    assert (found.status, found.attempts) == ("handed-over", 1)
    assert journal.next_due_s() is None


def test_a_failed_try_waits_for_its_next_one_and_keeps_the_reason(journal: Journal) -> None:
    (row,) = put(journal, message("a"))
    journal.mark_trying([row])
    journal.settle(row, "waiting", "json://host/…: not sent: connection refused \ud83d", 205.0)
    assert journal.due(204.0) == []
    (found,) = journal.due(205.0)
    assert found.last_why.startswith("json://host/…: not sent: connection refused")
    assert not found.repeat
    journal.mark_trying([row])
    journal.settle(row, "waiting", "no answer within 60 s", 300.0, repeat=True)
    assert [(r.repeat, r.attempts) for r in journal.due(300.0)] == [(True, 2)]
    journal.mark_trying([row])
    journal.settle(row, "waiting", "connection refused", 400.0)
    assert journal.due(400.0)[0].repeat, "once it may have arrived, it stays so"


def test_what_was_being_sent_when_the_program_ended_is_sent_again_as_a_repeat(journal: Journal, tmp_path: Path) -> None:
    rows = put(journal, message("a"), message("b"), message("c"))
    journal.mark_trying(rows[:2])
    journal.settle(rows[0], "handed-over")
    journal.close()
    again = Journal.open(tmp_path / "journal.sqlite")
    assert [r.alarm_id for r in again.due(1000.0)] == ["c"]
    assert again.recover() == 1
    assert [(r.alarm_id, r.repeat) for r in again.due(1000.0)] == [("b", True), ("c", False)]
    assert again.recover() == 0


def test_rows_that_went_in_one_message_are_settled_together_or_not_at_all(journal: Journal, tmp_path: Path) -> None:
    rows = put(journal, message("a"), message("b"), message("c"))
    journal.mark_trying(rows)
    other = sqlite3.connect(tmp_path / "journal.sqlite", isolation_level=None)
    when = f"WHEN new.id = {rows[2]} BEGIN SELECT RAISE(ABORT, 'no'); END"
    other.execute(f"CREATE TRIGGER fails BEFORE UPDATE ON outbox {when}")
    journal.settle(rows, "handed-over", now_s=200.0)
    assert [row.status for row in journal.outbox_rows()] == ["trying"] * 3
    other.execute("DROP TRIGGER fails")
    other.close()
    journal.commit(now_row={})
    assert [row.status for row in journal.outbox_rows()] == ["handed-over"] * 3


def test_a_row_whose_time_ran_out_expires_and_is_not_sent(journal: Journal) -> None:
    rows = put(journal, message("a"), message("b", due_s=200.0), message("c"), message("d"))
    journal.commit([transition(alarm, 2, "normal") for alarm in "abc"])
    journal.mark_trying([rows[2]])
    assert journal.expire(1099.0) == 0
    assert journal.due(1100.0) != []
    assert [r.alarm_id for r in journal.due(1100.0)] == ["b"], "even before it is marked, or given another day"
    assert journal.expire(1100.0) == 1
    assert [r.status for r in journal.outbox_rows()] == ["expired", "waiting", "trying", "waiting"], "d stands"
    assert [r.alarm_id for r in journal.due(1100.0)] == ["b", "d"]


def test_an_address_that_needs_mending_is_refused_for_good(journal: Journal) -> None:
    (row,) = put(journal, message("a"))
    journal.mark_trying([row])
    journal.settle(row, "refused", "correct it")
    assert journal.due(1e12) == []
    assert journal.recover() == 0


@pytest.mark.parametrize(("status", "due_s"), [("trying", 1.0), ("waiting", None), ("sent", None), ("failed", 1.0)])
def test_a_settlement_that_is_none_changes_nothing(journal: Journal, status: str, due_s: float | None) -> None:
    (row,) = put(journal, message("a"))
    journal.mark_trying([row])
    with pytest.raises(ValueError, match="can't be settled"):
        journal.settle(row, status, "", due_s)
    journal.commit(now_row={})
    assert journal.outbox_rows()[0].status == "trying"


def test_only_what_waits_can_be_marked(journal: Journal) -> None:
    (row,) = put(journal, message("a"))
    journal.mark_trying([row])
    journal.settle(row, "handed-over")
    journal.mark_trying([row])
    assert journal.outbox_rows()[0].status == "handed-over"
    assert journal.attempts(row) == 1
