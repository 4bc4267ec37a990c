"""A copy of the journal taken while another process writes it, checked with SQLite's own program where there is one."""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest
from journals import input_of, parse
from test_journal_faults import small_disk

from panelward.errors import EnvironmentFault
from panelward.journal import Journal, back_up

WRITER = Path(__file__).parent / "writer.py"


def filled(path: Path, inputs: int = 400) -> Path:
    journal = Journal.open(path)
    for number in range(1, inputs + 1):
        journal.append(input_of(number))
        if number % 50 == 0:
            journal.commit()
    journal.commit()
    journal.close()
    return path


def test_a_copy_taken_while_it_is_written_is_whole_and_goes_on(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    chance = random.Random(5)
    writer = subprocess.Popen([sys.executable, WRITER, path], stdout=subprocess.PIPE)
    try:
        assert writer.stdout is not None
        assert writer.stdout.readline() == b"writing\n"
        counts = []
        for n in range(8):
            time.sleep(chance.random() * 0.05)
            copy = tmp_path / f"copy-{n}.sqlite"
            assert back_up(path, copy) == copy.stat().st_size
            # What it holds is a beginning of what was written, without holes, each transition with its messages.
            kept = Journal.read(copy)
            numbers = [number for number, _item in kept.inputs_after(0, parse)]
            assert numbers == list(range(1, len(numbers) + 1))
            kept.close()
            counts.append(len(numbers))
            with sqlite3.connect(copy) as look:
                assert (
                    look.execute("SELECT count(*) * 2 FROM transitions").fetchone()
                    == look.execute("SELECT count(*) FROM outbox").fetchone()
                )
            look.close()
            assert not list(tmp_path.glob(f"copy-{n}.sqlite?*")), "the copy is one file"
        assert writer.poll() is None, "the copying ended the writer"
        assert counts == sorted(counts)
        assert counts[-1] > counts[0] > 0
    finally:
        writer.kill()
        writer.wait()
        assert writer.stdout is not None
        writer.stdout.close()
    program = shutil.which("sqlite3")
    if program:
        asked = [program, str(copy), "PRAGMA integrity_check; PRAGMA foreign_key_check"]
        assert subprocess.run(asked, capture_output=True, text=True, check=True).stdout.strip() == "ok"
    # A copy is a journal like the first: it is opened to write, and its numbers go on.
    journal = Journal.open(copy, create=False)
    assert journal.set_aside is None
    assert journal.append(input_of(counts[-1] + 1)) == counts[-1] + 1
    journal.commit()
    journal.close()


def test_what_is_there_is_not_written_over(tmp_path: Path) -> None:
    path = filled(tmp_path / "journal.sqlite")
    kept = tmp_path / "kept.sqlite"
    kept.write_text("somebody's")
    with pytest.raises(EnvironmentFault, match="is there already"):
        back_up(path, kept)
    assert kept.read_text() == "somebody's"


def test_a_damaged_journal_leaves_no_copy(tmp_path: Path) -> None:
    path = filled(tmp_path / "journal.sqlite", 4000)
    with path.open("r+b") as file:  # a page in the middle, as a worn card gives it back
        file.seek(path.stat().st_size // 2 // 4096 * 4096)
        file.write(b"\xa5" * 4096)
    with pytest.raises(EnvironmentFault, match="damaged"):
        back_up(path, tmp_path / "copy.sqlite")
    assert [p.name for p in tmp_path.glob("copy*")] == []


def test_where_the_copy_does_not_fit_it_says_so_and_leaves_none(tmp_path: Path) -> None:
    path = filled(tmp_path / "journal.sqlite", 4000)
    with small_disk(tmp_path / "stick", size="64k") as stick:
        with pytest.raises(EnvironmentFault, match=r"copy\.sqlite: the disk is full"):
            back_up(path, stick / "copy.sqlite")
        assert list(stick.iterdir()) == []


def test_the_command(tmp_path: Path) -> None:
    path = filled(tmp_path / "journal.sqlite")
    command = [sys.executable, "-m", "panelward", "log", "backup", "--journal", str(path), "--out"]
    done = subprocess.run([*command, str(tmp_path / "copy.sqlite")], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (0, "")
    assert done.stderr.endswith(" MB, whole\n")
    nowhere = subprocess.run([*command, str(tmp_path / "no" / "copy.sqlite")], capture_output=True, text=True, check=False)
    assert nowhere.returncode == 3
    assert "can't be opened" in nowhere.stderr
    none = subprocess.run([*command[:-2], str(tmp_path / "none"), "--out", os.devnull + "x"], capture_output=True, check=False)
    assert none.returncode == 3
