"""install.sh, update.sh and backup.sh on a staging root: real virtual environments, real daemons, a real journal."""

from __future__ import annotations

import os
import shutil
import sqlite3
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from roots import CLONE, SCHEDULE, Root, clone

from panelward.journal import Journal, door_key
from panelward.records import Reading

SCRIPTS = ("install.sh", "update.sh", "backup.sh")


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A clone of the first version."""
    return clone(tmp_path_factory.mktemp("clones") / "first", "0.1.0")


@pytest.fixture(scope="module")
def installed(first: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """It, installed once: copied for each test, for nothing in it knows where it lies."""
    root = Root(tmp_path_factory.mktemp("roots") / "root")
    done = root.script("install.sh", of=first)
    assert done.returncode == 0, done.stdout + done.stderr
    return root.folder


@pytest.fixture
def root(installed: Path, tmp_path: Path) -> Iterator[Root]:
    shutil.copytree(installed, tmp_path / "root", symlinks=True)
    made = Root(tmp_path / "root")
    (made.etc / "schedule.toml").write_text(SCHEDULE)
    program = tmp_path / "systemctl"
    program.write_text(f'#!/bin/sh\nexec {sys.executable} -P {Path(__file__).parent}/systemctl.py "$@"\n')
    program.chmod(0o755)
    made.systemctl = program
    yield made
    subprocess.run([program, "stop"], env=made.env, check=True)


def mode(path: Path) -> str:
    return oct(stat.S_IMODE(path.stat().st_mode))[2:]


def readings(path: Path) -> int:
    journal = Journal.read(path)
    try:
        return sum(1 for _ in journal.readings())
    finally:
        journal.close()


def fill(path: Path, n: int = 500) -> None:
    begin_ms = round(time.time() * 1000) - n * 1000  # of late: what is older than forty days is pruned
    journal = Journal.open(path)
    for at_ms in range(begin_ms, begin_ms + n * 1000, 1000):
        journal.append(Reading("D1", at_ms, at_ms, volts=13.0, amps=1.0))
    journal.commit()
    journal.close()


@pytest.mark.parametrize("name", SCRIPTS)
def test_each_explains_itself_and_refuses_what_it_does_not_know(name: str) -> None:
    script = str(CLONE / "deploy" / name)
    shown = subprocess.run(["bash", script, "--help"], capture_output=True, text=True, check=False)
    assert shown.returncode == 0
    assert "--root DIR" in shown.stdout or "--root," in shown.stdout
    assert max(map(len, shown.stdout.splitlines())) <= 82
    for bad in (["--rot", "x"], ["--root"]):
        done = subprocess.run(["bash", script, *bad], capture_output=True, text=True, check=False)
        assert (done.returncode, done.stdout) == (2, "")
    assert "set -euo pipefail" in Path(script).read_text()


def test_an_installation_is_complete_closed_and_can_be_repeated(first: Path, root: Root) -> None:
    assert root.version == "0.1.0"
    assert root.run("check", "--schedule", str(root.etc / "schedule.toml")).returncode in (0, 1)
    for path, wanted in ((root.etc, "770"), (root.etc / "environment", "600"), (root.journal.parent, "750")):
        assert mode(path) == wanted, path
    units = root.folder / "etc/systemd/system"
    assert {p.name for p in units.iterdir() if p.is_file()} == {
        p.name for p in (CLONE / "deploy/systemd").iterdir() if p.suffix in (".service", ".timer")
    }
    # A person's own files are kept to the byte, and secrets are closed, at the second run.
    (root.etc / "people.toml").write_text("[[person]]\n")
    (root.etc / "people.toml").chmod(0o644)
    (root.etc / "environment").write_text('PANELWARD_NOTIFY="json://127.0.0.1:1"\n')
    before = {p.name: p.read_bytes() for p in root.etc.iterdir()}
    in_use = (root.app / "current").resolve()
    done = root.script("install.sh", of=first)
    assert done.returncode == 0, done.stderr
    assert "installing" not in done.stdout
    assert {p.name: p.read_bytes() for p in root.etc.iterdir()} == before
    assert mode(root.etc / "people.toml") == mode(root.etc / "environment") == "600"
    assert (root.app / "current").resolve() == in_use


def test_an_installation_that_fails_changes_nothing(first: Path, tmp_path: Path) -> None:
    root = Root(tmp_path / "root")
    broken = tmp_path / "broken"
    shutil.copytree(first, broken)
    next((broken / "wheels").iterdir()).write_bytes(b"no wheel")
    done = root.script("install.sh", of=broken)
    assert done.returncode == 1
    assert "nothing was changed" in done.stderr
    assert not (root.app / "current").exists()
    assert list((root.app / "releases").iterdir()) == []


def test_an_update_keeps_the_journal_and_the_settings(root: Root, tmp_path: Path) -> None:
    fill(root.journal)
    (root.etc / "people.toml").write_text('[[person]]\nname = "Kari"\naddresses = ["json://127.0.0.1:1"]\n')
    (root.etc / "people.toml").chmod(0o640)
    assert root.systemctl
    subprocess.run([root.systemctl, "restart"], env=root.env, check=True)
    before = {p.name: p.read_bytes() for p in root.etc.iterdir()}
    done = root.script("update.sh", of=clone(tmp_path / "second", "0.2.0"))
    assert done.returncode == 0, done.stdout + done.stderr
    assert root.version == "0.2.0"
    assert "panelward 0.2.0 watches" in (root.folder / "watch.log").read_text()
    assert readings(root.journal) == 500
    assert {p.name: p.read_bytes() for p in root.etc.iterdir()} == before
    assert root.releases() == ["0.1.0", "0.2.0"]
    assert not list(root.journal.parent.glob("trial*"))

    # And back by hand; then there is nothing before that but the newer one.
    back = root.script("update.sh", "--back", of=tmp_path / "second")
    assert back.returncode == 0, back.stdout + back.stderr
    assert root.version == "0.1.0"
    assert readings(root.journal) == 500


BAD = {
    "does not start": ("core.py", "    def feed(self", "    def fed(self"),
    "reads another schedule": ("schedule/models.py", "class Document(Table):", "class Document(Table):\n    wing: str\n"),
}
NEW_TABLE = (
    "def newest(connection: sqlite3.Connection) -> None:\n    connection.execute('CREATE TABLE newest (id INTEGER)')\n\n\n"
)


@pytest.mark.parametrize("what", BAD)
def test_a_version_that_cannot_do_it_is_not_even_tried_on_the_watch(what: str, root: Root, tmp_path: Path) -> None:
    fill(root.journal)
    assert root.systemctl
    subprocess.run([root.systemctl, "restart"], env=root.env, check=True)
    pid = (root.folder / "watch.pid").read_text()
    done = root.script("update.sh", of=clone(tmp_path / "bad", "0.2.0", BAD[what]))
    assert done.returncode == 1, done.stdout
    assert "The version in use stays: 0.1.0-" in done.stderr
    assert root.version == "0.1.0"
    assert root.releases() == ["0.1.0"]
    assert (root.folder / "watch.pid").read_text() == pid, "the watch was interrupted"
    assert "restart" not in (root.folder / "systemctl.log").read_text().split("\n", 1)[1]
    assert not list(root.journal.parent.glob("trial*"))


def test_a_version_that_does_not_get_ready_is_put_back_with_a_journal_it_can_read(root: Root, tmp_path: Path) -> None:
    """The worst case: it passes its trial, changes the journal's tables, then fails where only the real start goes."""
    fill(root.journal)
    assert root.systemctl
    subprocess.run([root.systemctl, "restart"], env=root.env, check=True)
    bad = clone(
        tmp_path / "bad",
        "0.2.0",
        ("journal/schema.py", "MIGRATIONS: tuple", f"{NEW_TABLE}MIGRATIONS: tuple"),
        ("journal/schema.py", "= (first_tables, ", "= (first_tables, newest, "),
        ("link/client.py", '        """Begin to connect, and go on until `stop`."""', '        raise RuntimeError("here")'),
    )
    done = root.script("update.sh", of=bad)
    assert done.returncode == 1, done.stdout
    assert "did not get ready: going back" in done.stdout
    assert "the copy from before the update takes its place" in done.stdout
    assert "RuntimeError: here" in (root.folder / "watch.log").read_text()
    assert root.version == "0.1.0"
    assert subprocess.run([root.systemctl, "is-active"], env=root.env, check=False).returncode == 0
    assert readings(root.journal) == 500
    # What the newer version had written is kept beside it.
    aside = sqlite3.connect(root.journal.with_name("journal.sqlite.after-update"))
    assert aside.execute("SELECT count(*) FROM newest").fetchone() == (0,)
    aside.close()


def test_a_copy_of_a_running_watch_is_checked_and_the_newest_are_kept(root: Root, tmp_path: Path) -> None:
    fill(root.journal)
    assert root.systemctl
    subprocess.run([root.systemctl, "restart"], env=root.env, check=True)
    (root.etc / "people.toml").write_text("secret")
    (root.etc / "broker.password").write_text("secret")
    door_key.made(root.journal)
    for n in range(1, 5):
        done = root.script("backup.sh", "--keep", "2")
        assert done.returncode == 0, done.stdout + done.stderr
        assert [p.name[:16] for p in sorted(root.backups.iterdir())] == [
            f"panelward-{k:06}" for k in range(max(1, n - 1), n + 1)
        ]
    newest = max(root.backups.iterdir())
    assert readings(newest / "journal.sqlite") == 500
    assert {p.name for p in (newest / "etc").iterdir()} == {"schedule.toml"}, "secrets leave only when asked to"
    assert subprocess.run(["sha256sum", "--quiet", "-c", "SHA256SUMS"], cwd=newest, check=False).returncode == 0
    assert mode(newest / "journal.sqlite")[-1] == "0"
    asked = root.script("backup.sh", "--secrets")
    assert asked.returncode == 0, asked.stderr
    assert {p.name for p in (max(root.backups.iterdir()) / "etc").iterdir()} == {
        "schedule.toml", "people.toml", "broker.password", "environment",
    }  # fmt: skip
    assert not list(root.backups.rglob("*door-key*")), "the key of the links stays where it was made, secrets or not"
    # What was copied is a journal to go on with.
    shutil.copy(newest / "journal.sqlite", tmp_path / "restored.sqlite")
    schedule, journal = str(root.etc / "schedule.toml"), str(tmp_path / "restored.sqlite")
    again = root.run("watch", "--trial", "--schedule", schedule, "--journal", journal)
    assert again.returncode == 0, again.stderr


def test_a_copy_that_cannot_be_made_leaves_the_older_ones(root: Root, tmp_path: Path) -> None:
    fill(root.journal, 5000)
    assert root.script("backup.sh", "--keep", "1").returncode == 0
    kept = [p.name for p in root.backups.iterdir()]
    with root.journal.open("r+b") as file:
        file.seek(os.path.getsize(root.journal) // 2 // 4096 * 4096)
        file.write(b"\xa5" * 4096)
    done = root.script("backup.sh", "--keep", "1")
    assert done.returncode == 1
    assert "damaged" in done.stderr
    assert [p.name for p in root.backups.iterdir()] == kept
    gone = root.script("backup.sh", "--to", str(tmp_path / "stick"))
    assert gone.returncode == 1
    assert "plugged in" in gone.stderr
    assert root.script("backup.sh", "--keep", "0").returncode == 2
