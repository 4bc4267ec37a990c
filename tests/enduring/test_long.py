"""Long life in short: the same panel, the same code, what is kept in hours for days and in tens for tens of thousands."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from enduring.long import DAY_MS, Lived, Long
from journal.journals import START_MS, input_of, message, transition
from panelward.journal import Journal
from panelward.journal.keeping import MOST_DROPPED

SHORT: dict[str, Any] = {
    "keep_days": 0.5, "told_days": 1.0, "commit_s": 240.0, "snapshot_s": 3600.0, "prune_s": 3600.0, "look_days": 0.25,
    "minutes_days": 0.75,
}  # fmt: skip


def test_journal_and_tables_stand_still_once_the_first_keeping_is_over(tmp_path: Path) -> None:
    sizes = Lived(Long(days=3.0, period_s=240.0, faults_a_day=24, answers_every_h=2.0, **SHORT), tmp_path).run()
    settled = sizes[5:]  # a day for what is told, and a look
    assert len(settled) >= 6
    for table in ("blocks", "inputs", "transitions", "outbox", "minute_sums"):
        rows = [size.rows[table] for size in settled]
        assert rows[0] > 0, table
        assert max(rows) <= min(rows) + max(4, 0.3 * min(rows)), (table, rows)
    assert settled[-1].file_mb <= 1.1 * settled[0].file_mb
    assert all(size.rows["snapshots"] == 3 for size in settled)
    assert settled[0].rows["blocks"] < 12 + 2 * 15 + 15, "half a day of packed blocks, and an hour or two of a block a commit"
    assert settled[-1].rows["hour_sums"] == 4, "kept for years"


@pytest.mark.parametrize("answers", [2.0, None])
def test_in_an_alarm_storm_the_count_holds_where_age_does_not(tmp_path: Path, answers: float | None) -> None:
    """Whether somebody answers or the same alarm comes and goes for good."""
    wanted = Long(
        days=2.0, period_s=240.0, faults_a_day=24, most_transitions=30, most_messages=1000, latest_of_one=10,
        answers_every_h=answers,
        **SHORT | {"told_days": 1000.0},
    )  # fmt: skip
    sizes = Lived(wanted, tmp_path).run()
    added = 5 * 3  # of three hours: a start may need it again
    assert max(size.rows["transitions"] for size in sizes[2:]) <= 30 + added
    assert sizes[-1].rows["outbox"] > 0
    assert sum(_of_each(tmp_path).values()) >= 20
    if answers is None:
        assert list(_of_each(tmp_path)) == ["D7-overcurrent-20260501T070400000Z"]


def _of_each(folder: Path) -> dict[str, int]:
    journal = Journal.read(folder / "long.sqlite")
    found = journal.last_transitions(10_000)
    journal.close()
    counts: dict[str, int] = {}
    for shown in found:
        counts[shown["id"]] = counts.get(shown["id"], 0) + 1
    return counts


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    made = Journal.open(tmp_path / "j.sqlite")
    for n in range(1, 200):
        made.append(input_of(n))
    made.commit([transition("old"), transition("old", 2, "normal")], [message("old")])
    made.commit([transition("stands")], [message("stands")])
    made.commit([transition("unsent"), transition("unsent", 2, "normal")], [message("unsent", 2)])
    made.save_snapshot(199, {})
    made.append(input_of(200))
    made.commit([transition("young"), transition("young", 2, "normal")], [message("young")])
    rows = {row.alarm_id: row.id for row in made.outbox_rows()}
    for alarm in ("old", "stands", "young"):
        made.mark_trying([rows[alarm]])
        made.settle(rows[alarm], "handed-over")
    return made


def test_what_stands_what_waits_and_what_a_start_needs_stays_however_old(journal: Journal) -> None:
    assert journal.prune_told(START_MS + 3000 * DAY_MS) == 2
    assert {shown["id"] for shown in journal.last_transitions(100)} == {"stands", "unsent", "young"}
    assert {row.alarm_id for row in journal.outbox_rows()} == {"stands", "unsent", "young"}
    journal.save_snapshot(200, {})
    assert journal.prune_told(START_MS + 3000 * DAY_MS) == 0, "the oldest of three snapshots still asks for it"


def test_nothing_goes_before_its_time_and_nothing_without_a_snapshot(journal: Journal, tmp_path: Path) -> None:
    assert journal.prune_told(START_MS) == 0
    assert journal.prune_told(START_MS, most_transitions=7) == 0
    assert journal.prune_told(START_MS, most_transitions=6) == 2
    bare = Journal.open(tmp_path / "bare.sqlite")
    bare.append(input_of(1))
    bare.commit([transition("old"), transition("old", 2, "normal")])
    assert bare.prune_told(START_MS + 3000 * DAY_MS) == 0


def test_of_one_that_nobody_answers_the_beginning_and_the_latest_stay(journal: Journal) -> None:
    for n in range(2, 60):
        journal.commit([transition("stands", n)], [message("stands", n)])
    journal.prune_told(START_MS, latest_of_one=10)
    assert len(journal.last_transitions(100, "stands")) == 59, "its time has not come"
    journal.prune_told(START_MS + 1, latest_of_one=10)
    assert len(journal.last_transitions(100, "stands")) == 59, "what waits to be sent is not touched"
    for row in journal.outbox_rows("stands"):
        journal.mark_trying([row.id])
        journal.settle(row.id, "handed-over")
    for number in (201, 202, 203):
        journal.append(input_of(number))
        journal.save_snapshot(number, {})
    journal.prune_told(START_MS + 1, latest_of_one=10)
    left = [1, *range(50, 60)]
    assert [shown["sequence"] for shown in journal.last_transitions(100, "stands")] == left
    assert [row.sequence for row in journal.outbox_rows("stands")] == left


def test_what_the_vehicle_was_doing_goes_by_age_and_by_count(journal: Journal) -> None:
    journal.doing([{"at_ms": START_MS + n * DAY_MS, "laid_up": False} for n in range(50)])
    journal.commit()
    journal.prune_told(START_MS + 10 * DAY_MS)
    assert len(journal.doings()) == 40
    journal.prune_told(START_MS, most_doings=15)
    assert [each["at_ms"] for each in journal.doings()] == [START_MS + n * DAY_MS for n in range(35, 50)]


def test_a_disk_that_is_gone_for_months_fills_no_memory(tmp_path: Path) -> None:
    """Each commit that fails gives up the oldest readings: one line says which, however many."""
    journal = Journal.open(tmp_path / "j.sqlite", keep_readings=100)
    (tmp_path / "j.sqlite").rename(tmp_path / "away")
    for n in range(1, 36):
        for m in range(100):
            journal.append(input_of(37 * n * 100 + 1 + m % 36))
        with pytest.raises(Exception, match="the journal has gone"):
            journal.commit()
    assert journal.kept.readings <= 200
    (tmp_path / "away").rename(tmp_path / "j.sqlite")
    journal.commit()
    assert len(journal.dropped()) == 1
    assert journal.dropped_readings == journal.dropped()[0][1] >= 3300
    assert len(journal.dropped()) <= MOST_DROPPED
