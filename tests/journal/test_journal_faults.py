"""Kills, full disks, vanished files, damage, strangers' files: real ones."""

from __future__ import annotations

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from journals import input_of, message, parse, reading, transition

from panelward.errors import EnvironmentFault
from panelward.journal import Journal, opening, schema

WRITER = Path(__file__).parent / "writer.py"
KILLS = 30


@contextmanager
def small_disk(folder: Path, size: str = "1m") -> Iterator[Path]:
    """A file system of its own; skips where we may not mount."""
    folder.mkdir()
    mount = shutil.which("mount")
    if mount is None or os.geteuid() != 0:
        pytest.skip("a small disk needs root and mount")
    done = subprocess.run([mount, "-t", "tmpfs", "-o", f"size={size}", "none", folder], capture_output=True, check=False)
    if done.returncode:
        pytest.skip(f"tmpfs can't be mounted here: {done.stderr.decode().strip()}")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "--lazy", folder], check=True)


def remount(folder: Path, how: str) -> None:
    subprocess.run(["mount", "-o", f"remount,{how}", folder], check=True, capture_output=True)


# Kills.


def test_killed_at_any_instant_nothing_is_half_written(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    chance = random.Random(11)
    seen = 0
    for _ in range(KILLS):
        writer = subprocess.Popen([sys.executable, WRITER, path], stdout=subprocess.PIPE)
        assert writer.stdout is not None
        assert writer.stdout.readline() == b"writing\n"
        time.sleep(chance.random() * 0.06)
        assert writer.poll() is None, "the writer ended by itself"
        os.kill(writer.pid, signal.SIGKILL)
        writer.wait()
        writer.stdout.close()
        seen = look_after_a_kill(path, seen)
    assert seen > 20 * KILLS, "the writer wrote next to nothing: the kills proved little"


def look_after_a_kill(path: Path, before: int) -> int:
    """Everything that must hold; the last number."""
    journal = Journal.open(path)
    assert journal.set_aside is None
    last = journal.last_number
    assert last >= before, "what was there once stays"
    assert list(journal.inputs_after(0, parse)) == [(n, input_of(n)) for n in range(1, last + 1)], "no holes"
    told = [int(shown["id"][1:]) for shown in journal.last_transitions(10**6)]
    assert told == list(range(20, (told[-1] if told else 0) + 1, 20)), "each once, none before its inputs"
    assert not told or told[-1] <= last
    assert last - (told[-1] if told else 0) < 20, "the input that begot it and the transition are one"
    rows = Counter((row.alarm_id, row.address_ref) for row in journal.outbox_rows())
    assert rows == {(f"a{n}", ref): 1 for n in told for ref in ("notify-1", "notify-2")}
    kept = journal.newest_snapshot()
    assert kept is None or (kept[0] <= last and kept[1] == {"number": kept[0]})
    journal.close()
    return last


# A disk that fails.


def not_written(journal: Journal, number: int) -> bool:
    try:
        journal.commit([transition(f"t{number}")], [message(f"t{number}")], {"number": number})
    except EnvironmentFault as fault:
        return "the disk is full. Free some space" in str(fault)
    return False


def test_on_a_full_disk_everything_is_kept_and_written_when_there_is_room(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk") as disk:
        journal = Journal.open(disk / "journal.sqlite")
        journal.append(input_of(1))
        journal.commit([transition("a")], [message("a"), message("a", ref="notify-2")])
        row, other = (each.id for each in journal.outbox_rows())
        journal.mark_trying([row])
        free = os.statvfs(disk).f_bavail * os.statvfs(disk).f_frsize
        (disk / "hog").write_bytes(b"x" * free)
        with suppress(EnvironmentFault):
            while True:  # what is left of the last page of the disk takes a few pages of the journal
                journal.set_present({"n": 1})
        faults = 0
        for number in range(2, 30_001):
            journal.append(input_of(number))
            if number % 300 == 0:
                faults += not_written(journal, number)
        assert faults > 90
        assert journal.kept.transitions == faults
        assert journal.known("t30000", 1), "kept is known: it is not to be told again"
        journal.settle(row, "handed-over")
        assert journal.outbox_rows("a")[0].status == "trying"
        with pytest.raises(EnvironmentFault, match="full"):
            journal.mark_trying([other])  # not written, so not to be sent

        (disk / "hog").unlink()
        new = journal.commit([transition("t30000")], [message("t30000")])  # given again: no harm
        assert len(new) == faults
        assert journal.kept == (0, 0, 0, 0)
        journal.close()
        again = Journal.open(disk / "journal.sqlite")
        assert list(again.inputs_after(0, parse)) == [(n, input_of(n)) for n in range(1, 30_001)]
        assert [s["id"] for s in again.last_transitions(1000)] == ["a", *(f"t{n}" for n in range(300, 30_001, 300))]
        assert len(again.outbox_rows()) == 102
        assert [each.status for each in again.outbox_rows("a")] == ["handed-over", "waiting"]
        assert again.present() == {"number": 30_000}
        assert again.dropped_readings == 0
        again.close()


def test_while_the_disk_fails_only_the_oldest_readings_are_given_up_and_that_is_said(tmp_path: Path) -> None:
    journal = Journal.open(tmp_path / "vehicle" / "journal.sqlite", keep_readings=500)
    for number in range(1, 101):
        journal.append(input_of(number))
    journal.commit()
    (tmp_path / "vehicle").rename(tmp_path / "away")
    for number in range(101, 2001):
        journal.append(input_of(number))
        if number % 50 == 0:
            with pytest.raises(EnvironmentFault, match="has gone"):
                journal.commit([transition(f"t{number}")], [message(f"t{number}")])
    assert journal.kept.readings <= 500
    dropped = journal.dropped_readings
    (tmp_path / "away").rename(tmp_path / "vehicle")
    assert len(journal.commit()) == 38
    found = dict(journal.inputs_after(0, parse))
    gone = [n for first, last in journal.dropped() for n in range(first, last + 1)]
    assert len(gone) == dropped
    assert gone == sorted(gone)
    assert sorted([*found, *gone]) == list(range(1, 2001)), "every number is there or said to be gone"
    assert all(found[n] == input_of(n) for n in found)
    assert all(n in found for n in range(1, 101))
    assert all(n in found for n in range(37, 2001, 37)), "never another input than a reading"
    assert all(n in found for n in range(1600, 2001)), "never the newest"
    journal.close()
    assert Journal.open(tmp_path / "vehicle" / "journal.sqlite").append(reading(2001)) == 2001


def test_a_file_that_was_deleted_is_not_written_to_in_silence(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    journal = Journal.open(path)
    journal.append(reading(1))
    journal.commit()
    for file in tmp_path.iterdir():
        file.unlink()
    journal.append(reading(2))
    with pytest.raises(EnvironmentFault, match=r"has gone.*restart"):
        journal.commit()
    assert journal.kept.readings == 1


def test_a_copy_put_back_in_its_place_is_gone_on_with(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    journal = Journal.open(path)
    journal.append(reading(1))
    journal.commit()
    with sqlite3.connect(tmp_path / "copy") as copy, sqlite3.connect(path) as raw:
        raw.backup(copy)
    copy.close()
    raw.close()
    journal.append(reading(2))
    journal.commit()
    for name in ("journal.sqlite", "journal.sqlite-wal", "journal.sqlite-shm"):
        (tmp_path / name).unlink()
    (tmp_path / "copy").rename(path)
    journal.append(reading(3))
    journal.commit()
    assert [n for n, _item in journal.inputs_after(0, parse)] == [1, 3]
    assert journal.dropped() == [(2, 2)]


def test_a_read_only_disk_is_named(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk") as disk:
        journal = Journal.open(disk / "journal.sqlite")
        journal.append(reading(1))
        journal.commit()
        journal.close()
        remount(disk, "ro")
        with pytest.raises(EnvironmentFault, match=r"journal\.sqlite: .*read-only"):
            Journal.open(disk / "journal.sqlite")
        reader = Journal.read(disk / "journal.sqlite")
        assert list(reader.readings()) == [reading(1)]
        reader.close()


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(EnvironmentFault, match="folder can't be made"):
        Journal.open(tmp_path / "file" / "sub" / "journal.sqlite")


def test_without_create_a_missing_file_is_a_fault_and_none_is_made(tmp_path: Path) -> None:
    for opener in (lambda p: Journal.open(p, create=False), Journal.read):
        with pytest.raises(EnvironmentFault, match="there is no journal"):
            opener(tmp_path / "none.sqlite")
    assert list(tmp_path.iterdir()) == []


def test_a_locked_file_is_named_and_nothing_is_lost(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    journal = Journal.open(path)
    journal._connection.execute("PRAGMA busy_timeout = 50")  # the wait itself is not the matter here
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    journal.append(reading(1))
    with pytest.raises(EnvironmentFault, match="another program keeps it locked"):
        journal.commit()
    other.execute("ROLLBACK")
    other.close()
    journal.commit()
    assert list(journal.readings()) == [reading(1)]


# Files of strangers, of newer versions, of older ones.


@pytest.mark.parametrize("kind", ["text", "database", "short"])
def test_a_file_that_is_not_ours_is_refused_and_left_as_it_is(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "schedule.toml"
    if kind == "database":
        with sqlite3.connect(path) as raw:
            raw.execute("CREATE TABLE mine (x)")
        raw.close()
    else:
        path.write_text("x" if kind == "short" else '[vehicle]\nname = "Survey van"\n' * 100)
    before = path.read_bytes()
    for opener in (Journal.open, Journal.read):
        with pytest.raises(EnvironmentFault, match="no journal of panelward"):
            opener(path)
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["schedule.toml"]


def test_a_newer_version_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    journal = Journal.open(path)
    journal.append(reading(1))
    journal.commit()
    journal.close()
    with sqlite3.connect(path) as raw:
        raw.execute("INSERT INTO migrations VALUES ('sums_by_the_minute')")
    raw.close()
    before = path.read_bytes()
    for opener in (Journal.open, Journal.read):
        with pytest.raises(EnvironmentFault, match=r"newer panelward.*sums_by_the_minute"):
            opener(path)
    assert path.read_bytes() == before
    assert not list(tmp_path.glob("*damaged*"))


def test_a_migration_runs_once_all_or_nothing_with_the_row_that_says_so(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    Journal.open(path).close()
    raw = sqlite3.connect(path, isolation_level=None)
    assert raw.execute("SELECT name FROM migrations").fetchall() == [(each.__name__,) for each in schema.MIGRATIONS]
    assert raw.execute("PRAGMA application_id").fetchone() == (schema.APPLICATION_ID,)
    # A version in between: its tables, without the row of the last migration and with a table that stands in its way.
    raw.execute("DELETE FROM migrations")
    with pytest.raises(sqlite3.OperationalError, match="already exists"):
        schema.migrate(raw)
    assert raw.execute("SELECT count(*) FROM migrations").fetchone() == (0,)
    assert not raw.in_transaction
    raw.close()


def test_an_empty_file_becomes_a_journal(tmp_path: Path) -> None:
    """What `touch` or a power cut right after the making leaves."""
    path = tmp_path / "journal.sqlite"
    path.write_bytes(b"")
    journal = Journal.open(path)
    assert journal.set_aside is None
    assert journal.append(reading(1)) == 1


# Damage.


def make(path: Path, upto: int = 3000) -> None:
    journal = Journal.open(path)
    for number in range(1, upto + 1):
        journal.append(input_of(number))
        if number % 100 == 0:
            journal.commit([transition(f"a{number}")], [message(f"a{number}")])
    journal.save_snapshot(upto, {"at": upto})
    journal.close()


@pytest.mark.parametrize(("share", "saved"), [(0.37, 1), (0.6, 75), (0.9, 150)])
def test_a_file_cut_short_is_set_aside_and_a_new_one_begun(tmp_path: Path, share: float, saved: int) -> None:
    path = tmp_path / "journal.sqlite"
    make(path, 20_000)
    whole = path.stat().st_size
    os.truncate(path, int(whole * share))
    before = path.read_bytes()
    journal = Journal.open(path)
    assert journal.set_aside == tmp_path / "journal.sqlite.damaged-1"
    assert journal.set_aside.read_bytes() == before, "what was found is kept as it was found"
    told = {shown["id"] for shown in journal.last_transitions(10**6)}
    assert told <= {f"a{n}" for n in range(100, 20_001, 100)}
    assert len(told) >= saved, "what can still be read goes over"
    last = journal.last_number
    assert journal.append(reading(last + 1)) == last + 1
    journal.commit([transition("new")], [message("new")])
    assert [n for n, _item in journal.inputs_after(0, parse)] == [last + 1]
    assert last == 0 or journal.dropped() == [(1, last)]
    journal.close()
    again = Journal.open(path)
    assert again.set_aside is None
    assert again.known("new", 1)


def test_a_damaged_page_costs_no_message_that_can_still_be_read(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    make(path)
    with sqlite3.connect(path) as raw:
        (page,) = raw.execute("SELECT rootpage FROM sqlite_master WHERE name = 'blocks'").fetchone()
        (size,) = raw.execute("PRAGMA page_size").fetchone()
    raw.close()
    with path.open("r+b") as file:
        file.seek((page - 1) * size)
        file.write(b"\xa5" * size)
    journal = Journal.open(path)
    assert journal.set_aside is not None
    assert [s["id"] for s in journal.last_transitions(10**6)] == [f"a{n}" for n in range(100, 3001, 100)]
    assert [r.alarm_id for r in journal.due(1000.0, 10**6)] == [f"a{n}" for n in range(100, 3001, 100)]
    assert journal.newest_snapshot() == (3000, {"at": 3000})
    assert journal.append(reading(3001)) == 3001, "numbers go on behind the snapshot"


def test_zeros_where_the_file_was_are_set_aside(tmp_path: Path) -> None:
    """What a power cut can leave of a file whose size was written and whose pages were not."""
    path = tmp_path / "journal.sqlite"
    path.write_bytes(bytes(40_960))
    journal = Journal.open(path)
    assert journal.set_aside == tmp_path / "journal.sqlite.damaged-1"
    journal.close()
    path.write_bytes(bytes(40_960))
    assert Journal.open(path).set_aside == tmp_path / "journal.sqlite.damaged-2"


def test_damage_found_while_writing_sets_aside_and_loses_nothing_that_waits(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    make(path)
    journal = Journal.open(path)
    with sqlite3.connect(path) as raw:
        (size,) = raw.execute("PRAGMA page_size").fetchone()
        pages = [p for (p,) in raw.execute("SELECT rootpage FROM sqlite_master WHERE rootpage > 1 AND name <> 'outbox'")]
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    raw.close()
    with path.open("r+b") as file:
        for page in pages:
            file.seek((page - 1) * size)
            file.write(b"\xa5" * size)
    for number in range(3001, 3101):
        journal.append(input_of(number))
    (new,) = journal.commit([transition("late")], [message("late")])
    assert new.alarm_id == "late"
    assert journal.set_aside == tmp_path / "journal.sqlite.damaged-1"
    assert list(journal.inputs_after(3000, parse)) == [(n, input_of(n)) for n in range(3001, 3101)]
    assert journal.dropped() == [(1, 3000)]
    assert "late" in {row.alarm_id for row in journal.due(1000.0, 1000)}
    assert {row.alarm_id for row in journal.due(1000.0, 1000)} > {f"a{n}" for n in range(100, 3001, 100)}
    journal.close()


def test_a_large_file_is_looked_at_where_it_is_newest(tmp_path: Path) -> None:
    """Not every page of a large file is read at a start; one cut short is found all the same."""
    path = tmp_path / "journal.sqlite"
    make(path, 300)
    with sqlite3.connect(path) as raw:
        raw.execute("CREATE TABLE ballast (x)")
        raw.execute("INSERT INTO ballast VALUES (zeroblob(?))", (opening.WHOLE_CHECK_BYTES + 1,))
    raw.close()
    journal = Journal.open(path)
    assert journal.set_aside is None
    journal.close()
    os.truncate(path, opening.WHOLE_CHECK_BYTES + 8192)
    assert Journal.open(path).set_aside is not None
