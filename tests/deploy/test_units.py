"""The systemd units: rated by systemd's own tool, understood by it, and true to what the program does."""

from __future__ import annotations

import configparser
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from brokers import wait_for
from houses import House
from panelward import commands

UNITS = Path(__file__).parents[2] / "deploy" / "systemd"
SERVICES = sorted(UNITS.glob("*.service"))
MOST_EXPOSED = 2.0

analyze = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None,
    reason="systemd-analyze is not here and could not be installed: apt-get install systemd",
)


def unit(name: str) -> dict[str, dict[str, list[str]]]:
    """Section → key → its values in order: a unit file may give a key several times."""
    found: dict[str, dict[str, list[str]]] = {}
    section = ""
    for line in (UNITS / name).read_text().splitlines():
        if head := re.fullmatch(r"\[(\w+)\]", line):
            section = head[1]
        elif line and not line.startswith("#"):
            key, equals, value = line.partition("=")
            assert equals, line
            found.setdefault(section, {}).setdefault(key, []).append(value)
    return found


@analyze
@pytest.mark.parametrize("path", SERVICES, ids=lambda p: p.stem)
def test_no_unit_is_exposed_more_than_it_must(path: Path) -> None:
    asked = ["systemd-analyze", "security", "--offline=yes", "--no-pager", f"--threshold={MOST_EXPOSED * 10:g}", str(path)]
    done = subprocess.run(asked, capture_output=True, text=True, check=False)
    rated = re.search(r"exposure level for \S+: ([\d.]+)", done.stdout)
    assert rated, done.stdout + done.stderr
    print(f"\n{path.name}: {rated[1]}")
    assert float(rated[1]) <= MOST_EXPOSED, done.stdout


@analyze
@pytest.mark.parametrize("path", [*SERVICES, *sorted(UNITS.glob("*.timer"))], ids=lambda p: p.name)
def test_systemd_understands_every_line(path: Path) -> None:
    done = subprocess.run(["systemd-analyze", "verify", "--man=no", str(path)], capture_output=True, text=True, check=False)
    # It also looks at other units of this machine, and for our program, which is not installed here.
    ours = [line for line in done.stderr.splitlines() if "panelward" in line and "is not executable" not in line]
    assert ours == []


def test_the_units_are_true_to_the_program() -> None:
    watch = unit("panelward.service")["Service"]
    assert watch["Type"] == ["notify"]
    for name in ("panelward.service", "panelward-learn.service", "panelward-door.service"):
        words = [word for word in unit(name)["Service"]["ExecStart"][0].split() if word != "$DOOR_ARGUMENTS"]
        assert words[:4] == ["/opt/panelward/current/bin/python", "-P", "-m", "panelward"]
        args = commands.parser().parse_args(words[4:])
        assert (args.schedule, args.journal) == (commands.SCHEDULE, commands.JOURNAL)
    assert Path(commands.JOURNAL).parent == Path("/var/lib") / watch["StateDirectory"][0]
    # All are the same user, or one could not read what another wrote.
    assert {unit(path.name)["Service"]["User"][0] for path in SERVICES} == {"panelward"}
    # Twice what the journal may wait for a lock, and more: a busy disk is no loop that hangs.
    assert int(watch["WatchdogSec"][0]) >= 30
    # Whoever learns writes beside the schedule, and nowhere else may anybody write.
    written = {path.stem: unit(path.name)["Service"].get("ReadWritePaths", []) for path in SERVICES}
    assert written == {
        "panelward": [],
        "panelward-learn": [str(Path(commands.SCHEDULE).parent)],
        "panelward-backup": ["/var/backups/panelward"],
        "panelward-door": [],
    }


def test_a_schedule_that_cannot_be_used_ends_in_the_code_that_is_not_tried_again(tmp_path: Path) -> None:
    watch = unit("panelward.service")["Service"]
    bad = tmp_path / "bad.toml"
    bad.write_text("[vehicle]\n")
    asked = ["watch", "--schedule", str(bad), "--journal", str(tmp_path / "j.sqlite")]
    assert [str(commands.main(asked))] == watch["RestartPreventExitStatus"]
    # Its twin: a disk that is away may come back, so that is tried again.
    good = Path(__file__).parents[2] / "config" / "minimal.toml"
    code = commands.main(["watch", "--schedule", str(good), "--journal", str(tmp_path / "no" / "such" / "j.sqlite")])
    assert code not in (0, 2)


def test_the_drop_in_is_only_what_newer_systemd_knows() -> None:
    """RestartSteps= and RestartMaxDelaySec= came with version 254 (systemd.service(5))."""
    drop_in = configparser.ConfigParser()
    drop_in.optionxform = str  # type: ignore[assignment,method-assign]
    drop_in.read(UNITS / "growing-gap.conf")
    found = dict(drop_in["Service"])
    assert set(found) == {"RestartSec", "RestartSteps", "RestartMaxDelaySec"}
    assert int(found["RestartSec"]) < int(found["RestartMaxDelaySec"])


def allowed_calls(name: str = "panelward.service") -> set[str]:
    """What SystemCallFilter= leaves, by systemd's own lists."""

    def members(name: str) -> set[str]:
        asked = ["systemd-analyze", "syscall-filter", "--no-pager", name]
        lines = subprocess.run(asked, capture_output=True, text=True, check=True).stdout.splitlines()
        words = {line.strip() for line in lines[1:] if line.strip() and not line.strip().startswith("#")}
        return {w for w in words if not w.startswith("@")} | {c for w in words if w.startswith("@") for c in members(w)}

    allowed: set[str] = set()
    for value in unit(name)["Service"]["SystemCallFilter"]:
        named = {call for word in value.lstrip("~").split() for call in members(word)}
        allowed = allowed - named if value.startswith("~") else allowed | named
    return allowed


@analyze
@pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not here: apt-get install strace")
def test_the_watch_and_what_it_sends_with_need_no_system_call_that_the_unit_forbids(tmp_path: Path) -> None:
    """From the start over an alarm that is handed over to the end, every call of it and of its children."""
    # MemoryDenyWriteExecute= as the kernel itself offers it (prctl(2), PR_SET_MDWE since Linux 6.3); older: without.
    launch = "import ctypes, os, sys; ctypes.CDLL(None).prctl(65, 1, 0, 0, 0); os.execv(sys.argv[1], sys.argv[1:])"
    house = House(tmp_path, rate=60.0)
    house.broker.start()
    calls = tmp_path / "calls"
    try:
        house.start(under=("strace", "-f", "-c", "-I", "2", "-o", str(calls), sys.executable, "-c", launch))
        assert wait_for(house.connected, 60), house.said()
        house.live(20, D1=4.0, D7=5.0)
        with house.living(D1=4.0, D7=25.0):
            assert wait_for(lambda: house.phone.got, 60), house.said()
        child = Path(f"/proc/{house.daemon.pid}/task/{house.daemon.pid}/children") if house.daemon else calls
        subprocess.run(["kill", "-TERM", child.read_text().split()[0]], check=True)
        assert house.daemon is not None
        assert house.daemon.wait(60) == 0
    finally:
        house.end()
    rows = [line.split() for line in calls.read_text().splitlines()[2:]]
    used = {row[-1] for row in rows if row and row[0][0].isdigit()} - {"total"}
    assert {"connect", "fsync", "sendto"} & used, "the trace has seen nothing"
    allowed = allowed_calls()
    assert "read" in allowed
    assert "mount" not in allowed
    # SQLite gives the files beside a database its owner where it runs as root, and only there (its os_unix.c).
    own = {"fchown"} if os.geteuid() == 0 else set()
    assert sorted(used - allowed - own) == []
