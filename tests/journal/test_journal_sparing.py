"""Readings around a note and an alarm's beginning outlive the others; how many; a replay knows nothing of them."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from journals import SCHEDULE, START_MS, TEXT, parse, transition

from panelward.journal import Journal
from panelward.journal.sparing import AROUND_MS
from panelward.records import Presence, Reading, Settings
from panelward.rehearse import relive

MINUTE_MS = 60_000
HOUR_MS = 3_600_000


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "j.sqlite"


def hours(path: Path, n: int) -> Journal:
    """A reading a minute, a block of each, for n hours; three snapshots at the end."""
    journal = Journal.open(path)
    journal.append(
        Settings(received_ms=START_MS, schedule=SCHEDULE, schedule_text=TEXT, started=True, silence_from_start=True)
    )  # fmt: skip
    for minute in range(1, 60 * n + 1):
        at_ms = START_MS + minute * MINUTE_MS
        journal.append(Reading("D1", at_ms, at_ms, amps=minute / 10_000))
        journal.commit()
    for _ in range(3):
        journal.append(Presence(received_ms=START_MS + n * HOUR_MS, subject="broker", name="x", here=True))
        journal.commit()
        journal.save_snapshot(journal.last_number, {})
    return journal


def note(journal: Journal, at_ms: int, kind: str = "note") -> None:
    journal.changed([{"at_ms": at_ms, "kind": kind, "who": "Kari", "changed": (), "found": (), "why": "x", "circuit": None}])
    journal.commit()


def begun(journal: Journal, at_ms: int, alarm: str, sequence: int = 1, priority: str = "high", subject: str = "D1") -> None:
    row = transition(alarm, sequence)
    shown = {**row.object, "priority": priority}
    journal.commit([replace(row, at_ms=at_ms, object=shown, subject_id=subject)])


def minutes(journal: Journal) -> list[int]:
    return [(r.received_ms - START_MS) // MINUTE_MS for r in journal.readings()]


def around(*at: int) -> list[int]:
    """Minutes within ten minutes of these."""
    return sorted({m for each in at for m in range(each - 10, each + 11)})


def test_what_is_near_a_note_or_a_beginning_stays_and_everything_else_goes(path: Path) -> None:
    """The innocent twins: a reload, an alarm's later steps, one that is only recorded, a test message."""
    journal = hours(path, 12)
    begun(journal, START_MS + 120 * MINUTE_MS, "a")
    begun(journal, START_MS + 200 * MINUTE_MS, "a", sequence=2)
    begun(journal, START_MS + 260 * MINUTE_MS, "b", priority="journal")
    begun(journal, START_MS + 320 * MINUTE_MS, "c", subject="drill")
    note(journal, START_MS + 400 * MINUTE_MS, kind="reload")
    note(journal, START_MS + 480 * MINUTE_MS)
    before_ms = START_MS + 600 * MINUTE_MS
    journal.prune(before_ms)
    assert minutes(journal) == around(120, 480) + list(range(600, 721))
    journal.prune(before_ms)
    assert minutes(journal) == around(120, 480) + list(range(600, 721)), "a second look changes nothing"
    assert AROUND_MS == 10 * MINUTE_MS
    journal.close()
    assert minutes(Journal.read(path)) == around(120, 480) + list(range(600, 721))


@pytest.mark.parametrize(("steps", "rows"), [(1, 1), (1, 7), (3, 20), (20, 200)])
def test_pages_of_any_size_spare_the_same(path: Path, steps: int, rows: int) -> None:
    journal = hours(path, 6)
    for minute in (30, 41, 200):
        note(journal, START_MS + minute * MINUTE_MS)
    for _ in range(400):
        journal.prune(START_MS + 300 * MINUTE_MS, steps=steps, rows=rows)
    assert minutes(journal) == around(30, 41, 200) + list(range(300, 361))


def test_a_moment_behind_what_is_pruned_spares_what_comes_before_it(path: Path) -> None:
    journal = hours(path, 4)
    note(journal, START_MS + 125 * MINUTE_MS)
    journal.prune(START_MS + 120 * MINUTE_MS)
    assert minutes(journal) == list(range(115, 241))
    journal.prune(START_MS + 180 * MINUTE_MS)
    assert minutes(journal) == around(125) + list(range(180, 241))


def test_there_is_a_most_and_the_oldest_goes_first(path: Path) -> None:
    journal = hours(path, 12)
    for minute in (100, 200, 300):
        note(journal, START_MS + minute * MINUTE_MS)
    each = sum(length for (length,) in sql(path, "SELECT length(body) FROM blocks")) / 720
    most = round(30 * each)
    journal.prune(START_MS + 600 * MINUTE_MS, most_spared_bytes=most)
    left = [m for m in minutes(journal) if m < 600]
    assert left == (around(100, 200, 300))[-len(left) :]
    assert 28 <= len(left) <= 31
    (kept,) = sql(path, "SELECT sum(length(body)) FROM blocks WHERE first_number < 600")[0]
    assert kept <= most
    assert sql(path, "SELECT value FROM counters WHERE name = 'spared_bytes'") == [(kept,)]


def test_a_year_of_alarms_and_notes_keeps_what_the_most_allows_and_no_more(path: Path) -> None:
    """An alarm and a note a day; a day is six readings here, pruned as the daemon does. A file that grew would show."""
    journal = Journal.open(path)
    sizes = []
    for day in range(400):
        for n in range(6):
            at_ms = START_MS + day * 24 * HOUR_MS + n * 4 * HOUR_MS
            journal.append(Reading("D1", at_ms, at_ms, amps=n / 10_000))
            journal.commit()
        begun(journal, at_ms, f"a{day}")
        note(journal, at_ms - 4 * HOUR_MS)
        journal.save_snapshot(journal.last_number, {})
        journal.prune(at_ms - 40 * 24 * HOUR_MS, most_spared_bytes=4000)
        sizes.append(sql(path, "SELECT count(*), sum(length(body)) FROM blocks")[0])
    most = 4000 + 42 * 6 * 60
    assert max(size for _, size in sizes) < most
    assert sizes[399] == sizes[300], "what comes is what goes"
    assert sizes[399][0] > 41 * 6 + 20, "some of it was spared"


def test_what_was_told_no_more_spares_no_more(path: Path) -> None:
    journal = hours(path, 6)
    note(journal, START_MS + 60 * MINUTE_MS)
    note(journal, START_MS + 200 * MINUTE_MS)
    journal.prune(START_MS + 300 * MINUTE_MS)
    journal.prune_told(START_MS + 100 * MINUTE_MS)
    assert minutes(journal) == around(200) + list(range(300, 361))
    journal.prune_told(START_MS + 10**10)
    assert minutes(journal) == list(range(300, 361)), "and never what was not looked at"
    assert sql(path, "SELECT value FROM counters WHERE name = 'spared_bytes'") == [(0,)]


def test_a_replay_begins_behind_them(path: Path, tmp_path: Path) -> None:
    """Fragments months apart would be told as silence: a replay of the pruned journal is what it was without sparing."""
    given: list[Sequence[object]] = []
    for name, moments in (("spared.sqlite", (30, 100)), ("bare.sqlite", ())):
        journal = hours(tmp_path / name, 6)
        for minute in moments:
            note(journal, START_MS + minute * MINUTE_MS)
        journal.prune(START_MS + 300 * MINUTE_MS)
        given.append(list(journal.inputs_after(0, parse)))
        assert (minutes(journal)[0] < 300) is bool(moments)
        assert list(journal.inputs_after(340, parse)) == given[-1][-24:]
    assert given[0] == given[1]
    assert isinstance(given[0][0], tuple)
    assert isinstance(given[0][0][1], Settings)
    assert list(relive(item for _, item in given[0])) == list(relive(item for _, item in given[1]))  # type: ignore[misc]


def test_a_journal_that_an_older_version_pruned_is_gone_on_with(path: Path) -> None:
    journal = hours(path, 6)
    note(journal, START_MS + 200 * MINUTE_MS)
    with sqlite3.connect(path) as raw:
        raw.execute("DELETE FROM blocks WHERE first_received_ms < ?", (START_MS + 150 * MINUTE_MS,))
    raw.close()
    journal.prune(START_MS + 300 * MINUTE_MS)
    assert minutes(journal) == around(200) + list(range(300, 361))


def sql(path: Path, question: str) -> list[tuple[int, ...]]:
    with sqlite3.connect(path) as raw:
        found = raw.execute(question).fetchall()
    raw.close()
    return found
