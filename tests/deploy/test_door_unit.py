"""The door under its unit: a journal that is being written read from folders that it may not write; the calls that it makes.

ProtectSystem=strict and ReadOnlyPaths= are read-only mounts (systemd.exec(5)); the same is made here with unshare and mount.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from test_units import allowed_calls, unit

from brokers import free_port, wait_for
from houses import SCHEDULE
from panelward.journal import Journal
from panelward.records import Reading

READ = """
import sys
from panelward.journal import Journal
journal = Journal.read(sys.argv[1])
for _ in sys.stdin:
    try:
        print(sum(1 for _ in journal.readings()), (journal.present() or {}).get("n"), flush=True)
    except Exception as error:
        print("fault", error, flush=True)
"""
AS_READ_ONLY = 'mount --bind "$0" "$0" && mount -o remount,bind,ro "$0" && ! touch "$0/x" 2>/dev/null && exec "$@"'


def _may_mount() -> bool:
    if shutil.which("unshare") is None:
        return False
    return subprocess.run(["unshare", "-m", "true"], capture_output=True, check=False).returncode == 0


mounts = pytest.mark.skipif(not _may_mount(), reason="unshare -m is not allowed here: it takes root")


@contextmanager
def reader(folder: Path) -> Iterator[subprocess.Popen[str]]:
    """A process that reads the journal in `folder`, which it sees read only; it reads once for each line that it gets."""
    read = [sys.executable, "-c", READ, str(folder / "journal.sqlite")]
    command = ["unshare", "-m", "--propagation", "private", "sh", "-c", AS_READ_ONLY, str(folder), *read]
    made = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    try:
        yield made
    finally:
        made.communicate(timeout=60)


def asked(process: subprocess.Popen[str]) -> str:
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write("\n")
    process.stdin.flush()
    return process.stdout.readline().strip()


def give(journal: Journal, n: int) -> None:
    at_ms = 1_777_600_000_000 + n * 1000
    journal.append(Reading("D1", at_ms, at_ms, amps=n / 10_000))
    journal.commit(now_row={"n": n})


@mounts
def test_a_journal_that_is_written_is_read_from_a_folder_that_can_not_be(tmp_path: Path) -> None:
    folder = tmp_path / "lib"
    folder.mkdir()
    path = folder / "journal.sqlite"
    journal = Journal.open(path)
    give(journal, 1)
    with reader(folder) as live:
        assert asked(live) == "1 1"
        give(journal, 2)
        assert asked(live) == "2 2", "what is only in the write-ahead log"
        for n in range(3, 2000):  # beyond a checkpoint, which takes a thousand pages
            give(journal, n)
        assert asked(live) == "1999 1999"
        journal.close()  # the watch is started anew
        journal = Journal.open(path)
        give(journal, 2000)
        assert asked(live) == "2000 2000"
    journal.close()
    assert not Path(f"{path}-wal").exists()
    with reader(folder) as alone:
        assert asked(alone) == "2000 2000", "nobody writes, and the files beside it are gone"
        journal = Journal.open(path)  # the watch starts after the door
        give(journal, 2001)
        assert asked(alone) == "2001 2001"
        journal.close()


@mounts
def test_after_a_kill_what_was_committed_is_read_though_nobody_writes(tmp_path: Path) -> None:
    folder = tmp_path / "lib"
    folder.mkdir()
    code = (
        "import os, sys; sys.path.insert(0, sys.argv[2]); from pathlib import Path; from test_door_unit import give;"
        "from panelward.journal import Journal; j = Journal.open(sys.argv[1]); give(j, 1); give(j, 2); os.kill(os.getpid(), 9)"
    )
    here = os.pathsep.join((str(Path(__file__).parent), str(Path(__file__).parents[1])))
    environment = os.environ | {"PYTHONPATH": f"{here}{os.pathsep}{os.environ.get('PYTHONPATH', '')}"}
    command = [sys.executable, "-c", code, str(folder / "journal.sqlite"), str(Path(__file__).parent)]
    assert subprocess.run(command, env=environment, check=False).returncode == -9
    assert (folder / "journal.sqlite-wal").exists()
    with reader(folder) as live:
        assert asked(live) == "2 2"
        journal = Journal.open(folder / "journal.sqlite")  # the watch is back
        give(journal, 3)
        assert asked(live) == "3 3"
        journal.close()


def test_the_unit_reads_only_and_knows_no_address_of_a_person() -> None:
    door = unit("panelward-door.service")["Service"]
    assert door["ProtectSystem"] == ["strict"]
    assert "ReadWritePaths" not in door
    assert "StateDirectory" not in door
    assert door["ReadOnlyPaths"][0].split() == ["/etc/panelward", "/var/lib/panelward"]
    hidden = door["InaccessiblePaths"][0].split()
    assert {"-/etc/panelward/people.toml", "-/etc/panelward/environment"} <= set(hidden)
    assert door["EnvironmentFile"] == ["-/etc/panelward/door.environment"], "PANELWARD_NOTIFY is not for it"
    assert door["IPAddressDeny"] == ["any"]


@pytest.mark.skipif(
    shutil.which("strace") is None or shutil.which("systemd-analyze") is None, reason="strace or systemd-analyze is not here"
)
def test_the_door_needs_no_system_call_that_its_unit_forbids(tmp_path: Path) -> None:
    """From the start over pages, with the program that reads the schedule for it, to the end."""
    schedule, port = tmp_path / "schedule.toml", free_port()
    schedule.write_text(SCHEDULE.format(port=free_port(), broker=""), encoding="utf-8")
    journal = Journal.open(tmp_path / "journal.sqlite")
    calls = tmp_path / "calls"
    launch = "import ctypes, os, sys; ctypes.CDLL(None).prctl(65, 1, 0, 0, 0); os.execv(sys.argv[1], sys.argv[1:])"
    door = [
        "-m",
        "panelward",
        "door",
        "--schedule",
        str(schedule),
        "--journal",
        str(journal.path),
        "--listen",
        f"127.0.0.1:{port}",
    ]
    command = ["strace", "-f", "-c", "-I", "2", "-o", str(calls), sys.executable, "-c", launch, sys.executable, *door]
    with (tmp_path / "said").open("w") as said:
        process = subprocess.Popen(command, stdout=said, stderr=said)
    try:
        assert wait_for(lambda: page(port, "/") == 200, 60), (tmp_path / "said").read_text()
        assert page(port, "/static/door.css") == 200
        assert page(port, "/nothing") == 404
    finally:
        children = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()
        subprocess.run(["kill", "-TERM", children[0]], check=True)
        process.wait(60)
    journal.close()
    rows = [line.split() for line in calls.read_text().splitlines()[2:]]
    used = {row[-1] for row in rows if row and row[0][0].isdigit()} - {"total"}
    assert {"accept4", "listen"} & used, "the trace has seen nothing"
    own = {"fchown"} if os.geteuid() == 0 else set()
    assert sorted(used - allowed_calls("panelward-door.service") - own) == []


def page(port: int, path: str) -> int:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=20) as answer:
            return int(answer.status)
    except urllib.error.HTTPError as error:
        return error.code
    except OSError:
        return 0
