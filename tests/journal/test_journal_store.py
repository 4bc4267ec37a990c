"""The journal on real files: numbers, order, transitions, snapshots, the present row, pruning, the reader."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from journals import START_MS, TEXT, input_of, message, parse, reading, transition

from panelward.errors import EnvironmentFault
from panelward.journal import Journal
from panelward.records import Clock, Presence, Reading, Settings


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.sqlite"


def filled(path: Path, upto: int, each: int = 50) -> Journal:
    journal = Journal.open(path)
    for number in range(journal.last_number + 1, upto + 1):
        assert journal.append(input_of(number)) == number
        if number % each == 0:
            journal.commit()
    journal.commit()
    return journal


# Inputs.


def test_every_kind_of_input_comes_back_equal_in_the_order_of_its_number(path: Path) -> None:
    filled(path, 400).close()
    journal = Journal.open(path)
    assert list(journal.inputs_after(0, parse)) == [(n, input_of(n)) for n in range(1, 401)]
    assert journal.last_number == 400
    assert journal.append(reading(401)) == 401


@pytest.mark.parametrize("number", [0, 1, 36, 37, 38, 49, 50, 51, 148, 399, 400, 1000])
def test_inputs_after_any_number_begin_right_behind_it(path: Path, number: int) -> None:
    journal = filled(path, 400)
    assert [n for n, _item in journal.inputs_after(number, parse)] == list(range(number + 1, 401))


def test_many_readings_in_one_commit_make_blocks_of_bounded_size(path: Path) -> None:
    journal = Journal.open(path)
    for number in range(1, 10_001):
        journal.append(reading(number))
    journal.commit()
    assert list(journal.readings()) == [reading(n) for n in range(1, 10_001)]
    with sqlite3.connect(path) as raw:
        assert raw.execute("SELECT count(*), max(last_number - first_number) FROM blocks").fetchone() == (3, 4095)


def test_what_is_not_committed_is_not_in_the_file(path: Path) -> None:
    journal = filled(path, 10)
    journal.append(reading(11))
    assert journal.kept.readings == 1
    assert len(list(journal.readings())) == 10
    assert Journal.open(path).last_number == 10


def test_a_commit_of_nothing_writes_nothing(path: Path) -> None:
    journal = filled(path, 10)
    before = path.with_name("journal.sqlite-wal").stat().st_mtime_ns
    assert journal.commit() == []
    assert path.with_name("journal.sqlite-wal").stat().st_mtime_ns == before


@pytest.mark.parametrize("first", [1, 2, 36, 51, 100, 399, 400, 401])
@pytest.mark.parametrize("last", [1, 60, 400, 500])
def test_readings_between_two_times_are_those_received_from_the_one_and_before_the_other(
    path: Path, first: int, last: int
) -> None:
    journal = filled(path, 400)
    found = list(journal.readings(from_ms=START_MS + first * 100, to_ms=START_MS + last * 100))
    assert found == [input_of(n) for n in range(first, min(last, 401)) if isinstance(input_of(n), Reading)]


def test_readings_of_some_circuits(path: Path) -> None:
    journal = filled(path, 400)
    found = list(journal.readings(circuits=["D3", "D5"]))
    assert found == [r for n in range(1, 401) if isinstance(r := input_of(n), Reading) and r.circuit in ("D3", "D5")]


def test_a_block_that_cannot_be_unpacked_costs_only_itself(path: Path) -> None:
    filled(path, 300, each=100).close()
    with sqlite3.connect(path) as raw:
        raw.execute("UPDATE blocks SET body = zeroblob(20) WHERE first_number = 1")
    raw.close()
    journal = Journal.open(path)
    assert [n for n, _item in journal.inputs_after(0, parse)] == list(range(37, 301))
    assert journal.damaged_blocks == 1


def test_when_the_last_input_was_received(path: Path) -> None:
    assert Journal.open(path).last_received_ms is None
    assert filled(path, 40).last_received_ms == START_MS + 4000
    assert filled(path, 74).last_received_ms == START_MS + 7400  # the 74th is no reading


# Transitions.


def test_a_transition_is_written_once_with_its_messages_and_said_to_be_new_once(path: Path) -> None:
    journal = filled(path, 10)
    one, two = transition("a"), transition("b")
    assert not journal.known("a", 1)
    new = journal.commit([one], [message("a"), message("a", ref="notify-2")])
    assert [(t.alarm_id, t.number) for t in new] == [("a", 10)]
    assert journal.known("a", 1)
    new = journal.commit([one, two], [message("a", ref="notify-3"), message("b")])
    assert [t.alarm_id for t in new] == ["b"]
    assert [(r.alarm_id, r.address_ref) for r in journal.outbox_rows()] == [
        ("a", "notify-1"),
        ("a", "notify-2"),
        ("b", "notify-1"),
    ]


def test_a_transition_takes_all_inputs_before_it_into_the_file(path: Path) -> None:
    journal = Journal.open(path)
    journal.append(reading(1))
    journal.append(reading(2))
    journal.commit([transition("a")])
    with sqlite3.connect(path) as raw:
        assert raw.execute("SELECT last_number FROM blocks").fetchone() == (2,)
        assert raw.execute("SELECT number FROM transitions").fetchone() == (2,)


def test_standing_is_the_newest_step_of_each_alarm_that_is_not_over(path: Path) -> None:
    journal = Journal.open(path)
    journal.commit([transition("a"), transition("b"), transition("c")])
    journal.commit([transition("b", 2, "acknowledged"), transition("a", 2, "normal")])
    assert [(s["id"], s["sequence"], s["state"]) for s in journal.standing()] == [
        ("b", 2, "acknowledged"),
        ("c", 1, "unacknowledged"),
    ]
    assert [(s["id"], s["sequence"]) for s in journal.last_transitions(3)] == [("c", 1), ("b", 2), ("a", 2)]
    assert [s["sequence"] for s in journal.last_transitions(9, "a")] == [1, 2]


def test_an_object_that_is_no_json_changes_nothing(path: Path) -> None:
    journal = filled(path, 5)
    bad = transition("b")
    bad.object["message"] = object()  # type: ignore[index]
    with pytest.raises(TypeError):
        journal.commit([transition("a"), bad], [message("a")])
    assert journal.commit() == []
    assert not journal.known("a", 1)


def test_message_numbers_go_on_over_a_restart(path: Path) -> None:
    journal = Journal.open(path)
    assert [journal.next_message_number() for _ in range(3)] == [1, 2, 3]
    journal.commit([transition("a")], [message("a")])
    journal.close()
    assert Journal.open(path).next_message_number() == 4


# The small rows.


def test_the_present_row_is_the_last_one_written(path: Path) -> None:
    journal = Journal.open(path)
    assert journal.present() is None
    journal.commit(now_row={"circuits": [1.5, None]})
    journal.set_present({"circuits": [2.5, "å"]})
    assert Journal.read(path).present() == {"circuits": [2.5, "å"]}


def test_the_newest_three_snapshots_are_kept_and_a_damaged_one_is_passed_over(path: Path) -> None:
    journal = filled(path, 100)
    assert journal.newest_snapshot() is None
    for number in (20, 40, 60, 80):
        journal.save_snapshot(number, {"core": {"at": number, "x": [0.1, None, "\u00e5"]}})
    assert journal.newest_snapshot() == (80, {"core": {"at": 80, "x": [0.1, None, "å"]}})
    with sqlite3.connect(path) as raw:
        assert [n for (n,) in raw.execute("SELECT number FROM snapshots ORDER BY number")] == [40, 60, 80]
        raw.execute("UPDATE snapshots SET body = substr(body, 1, 12) WHERE number = 80")
    raw.close()
    found = journal.newest_snapshot()
    assert found is not None
    assert found[0] == 60


def test_a_snapshot_takes_the_inputs_it_includes_into_the_file(path: Path) -> None:
    journal = Journal.open(path)
    journal.append(reading(1))
    journal.save_snapshot(1, {})
    assert len(list(Journal.read(path).readings())) == 1
    with pytest.raises(ValueError, match="the last input is 1"):
        journal.save_snapshot(2, {})


def test_pruning_keeps_what_a_snapshot_does_not_include_the_settings_and_all_transitions(path: Path) -> None:
    journal = filled(path, 1000)
    journal.commit([replace(transition("a", number=3), at_ms=START_MS + 10**8)], [message("a")])
    assert journal.prune(START_MS + 10**9) == 0, "without a snapshot every input is needed"
    for number in (600, 700, 800, 900):
        journal.save_snapshot(number, {})
    journal.prune(START_MS + 50_000)
    left = [n for n, _item in journal.inputs_after(0, parse)]
    settings = [n for n in range(37, 1001, 37) if isinstance(input_of(n), Settings)]
    newest_settings = max(n for n in settings if n <= 700)
    marks = [max(n for n in range(37, 482, 37) if isinstance(input_of(n), kind)) for kind in (Settings, Clock)]
    assert set(marks) < set(left), "what was received after them is dated by them"
    assert 445 < min(n for n in left if n not in (newest_settings, *marks)) <= 500  # whole blocks; 500 came at 50 000 ms
    journal.prune(START_MS + 10**9)
    left = [n for n, _item in journal.inputs_after(0, parse)]
    assert left[0] == newest_settings
    assert left[1:] == list(range(left[1], 1001))
    assert left[1] <= 701, "the oldest snapshot kept is 700: what comes after it is needed"
    assert journal.known("a", 1)
    assert len(journal.outbox_rows()) == 1


def test_pruning_goes_in_small_steps_and_numbers_never_start_again(path: Path) -> None:
    journal = filled(path, 400, each=10)
    journal.save_snapshot(400, {})
    assert 0 < journal.prune(START_MS + 10**9, steps=1, rows=5) <= 10
    while journal.prune(START_MS + 10**9, steps=2, rows=5):
        pass
    assert list(journal.readings()) == []
    journal.close()
    assert Journal.open(path).append(reading(401)) == 401


# Other processes.


def test_a_reader_in_another_process_sees_what_is_committed_while_we_write(path: Path) -> None:
    journal = filled(path, 100)
    code = (
        "import sys; from panelward.journal import Journal; j = Journal.read(sys.argv[1]);"
        "print(j.last_number, sum(1 for _ in j.readings()), j.present())"
    )
    ask = [sys.executable, "-c", code, str(path)]
    assert subprocess.run(ask, capture_output=True, text=True, timeout=60, check=True).stdout == "100 98 None\n"
    journal.append(reading(101))
    journal.commit(now_row={"a": 1})
    assert subprocess.run(ask, capture_output=True, text=True, timeout=60, check=True).stdout == "101 99 {'a': 1}\n"
    journal.close()
    assert subprocess.run(ask, capture_output=True, text=True, timeout=60, check=True).stdout == "101 99 {'a': 1}\n"


def test_a_slow_reader_neither_stops_the_writer_nor_loses_its_place(path: Path) -> None:
    journal = filled(path, 2000, each=10)
    reader = Journal.read(path)
    found = reader.readings()
    first = [next(found) for _ in range(5)]
    journal.append(Presence(received_ms=START_MS + 10**6, subject="broker", name="x", here=True))
    journal.commit([transition("a")])
    with sqlite3.connect(path) as raw:
        assert raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0] == 0, "a reader holds nothing between pages"
    raw.close()
    assert [*first, *found] == [r for n in range(1, 2001) if isinstance(r := input_of(n), Reading)]


def test_a_reader_cannot_write(path: Path) -> None:
    filled(path, 10).close()
    with pytest.raises(EnvironmentFault, match="read-only"):
        Journal.read(path).set_present({})


# Speed: no limits here, only the promise that `append` does no I/O.


def test_append_touches_no_file(path: Path) -> None:
    journal = Journal.open(path)
    journal.close()  # whatever would touch it now fails
    for number in range(1, 1001):
        assert journal.append(reading(number)) == number


@pytest.mark.benchmark
def test_what_a_reading_costs(path: Path) -> None:
    for each in (60, 500):
        journal = Journal.open(path.with_suffix(f".{each}"))
        items = [reading(n) for n in range(1, 30_001)]
        began = time.perf_counter()
        for n, item in enumerate(items, start=1):
            journal.append(item)
            if n % each == 0:
                journal.commit()
        took = time.perf_counter() - began
        began = time.perf_counter()
        for item in items:
            journal.append(item)
        appended = time.perf_counter() - began
        print(f"{each} a commit: {took / 30_000 * 1e6:.2f} us a reading in all, {appended / 30_000 * 1e6:.2f} us for append")


def test_the_text_of_a_schedule_is_kept_and_read_by_who_can(path: Path) -> None:
    journal = filled(path, 148)
    asked: list[str] = []

    def read(text: str):  # type: ignore[no-untyped-def]
        asked.append(text)
        return parse(text)

    list(journal.inputs_after(110, read))
    assert asked == [TEXT]
    asked.clear()
    list(journal.inputs_after(0, read))
    assert asked == [TEXT] * sum(isinstance(input_of(n), Settings) for n in range(1, 149))


def test_the_present_row_of_an_older_version_is_read(tmp_path: Path) -> None:
    """It was text once; now it is packed, for it is written every few seconds."""
    path = tmp_path / "journal.sqlite"
    journal = Journal.open(path)
    row = {"circuits": [{"id": f"D{n}", "label": "Sample freezer’s display", "watts": n / 7} for n in range(24)]}
    journal.set_present(row)
    assert journal.present() == row
    journal.close()
    with sqlite3.connect(path) as raw:
        (size,) = raw.execute("SELECT length(body) FROM present").fetchone()
        assert size < 1000  # a page's worth is 4061 bytes (sqlite.org/fileformat2.html, 1.6): it stays on one
        raw.execute("UPDATE present SET body = ?", ('{"circuits":[]}',))
    raw.close()
    older = Journal.read(path)
    assert older.present() == {"circuits": []}
    older.close()


@pytest.mark.parametrize(("fails", "reads"), [(0, True), (2, True), (99, False)])
def test_what_looks_like_a_failing_disk_for_a_moment_is_read_again(tmp_path: Path, fails: int, reads: bool) -> None:
    """Seen once in some hundred kills: a reader that opens while the next writer mends what the killed one left."""
    Journal.open(tmp_path / "j.sqlite").close()
    left = [fails]

    class Fitful(Journal):
        def __init__(self, *arguments: Any, **keys: Any) -> None:
            if left[0]:
                left[0] -= 1
                error = sqlite3.OperationalError("disk I/O error")
                error.sqlite_errorcode = sqlite3.SQLITE_IOERR
                raise error
            super().__init__(*arguments, **keys)

    if reads:
        Fitful.read(tmp_path / "j.sqlite").close()
    else:
        with pytest.raises(EnvironmentFault, match="the disk fails to read or write"):
            Fitful.read(tmp_path / "j.sqlite")
