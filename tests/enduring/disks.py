"""Disks that are full, fail, vanish, are kept busy by others; a journal cut short anywhere."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from brokers import wait_for
from enduring.lives import Nursery
from enduring.storms import PATIENCE_S, Storm
from enduring.tally import Count, judge
from panelward.errors import EnvironmentFault
from panelward.journal import Journal

Fault = tuple[Callable[[], None], Callable[[], None]]  # do it, undo it


def _run(*command: str | Path, check: bool = True) -> None:
    subprocess.run([str(each) for each in command], check=check, capture_output=True)


@contextmanager
def _tmpfs(disk: Path, work: Path) -> Iterator[Fault]:
    """A small disk that is filled to the last block, and freed."""
    _run("mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", disk)
    ballast = disk / "ballast"

    def fill() -> None:
        with ballast.open("wb", buffering=0) as out, suppress(OSError):
            while True:
                out.write(os.urandom(4096))

    try:
        yield fill, ballast.unlink
    finally:
        _run("umount", "--lazy", disk, check=False)


@contextmanager
def _failing(disk: Path, work: Path) -> Iterator[Fault]:
    """ext4 that finds a fault and will be written no more, as a worn card; only a start on a disk mounted anew helps."""
    image = work / "disk.img"
    with image.open("wb") as file:
        file.truncate(32 << 20)
    _run("mkfs.ext4", "-q", "-F", image)
    _run("mount", "-o", "loop", image, disk)

    def anew() -> None:
        _run("umount", "--lazy", disk)
        _run("mount", "-o", "loop", image, disk)

    try:
        yield lambda: _run("mount", "-o", "remount,abort", disk, check=False), anew
    finally:
        _run("umount", "--lazy", disk, check=False)


@contextmanager
def _vanishing(disk: Path, work: Path) -> Iterator[Fault]:
    """The cable is pulled and put in again: the path is empty meanwhile."""
    real = work / "real"
    real.mkdir()
    _run("mount", "--bind", real, disk)
    try:
        yield lambda: _run("umount", "--lazy", disk), lambda: _run("mount", "--bind", real, disk)
    finally:
        _run("umount", "--lazy", disk, check=False)


_HOLD = """
import sqlite3, sys
held = sqlite3.connect(sys.argv[1], isolation_level=None, timeout=30)
held.execute("BEGIN IMMEDIATE")
print("held", flush=True)
sys.stdin.read()
held.execute("ROLLBACK")
"""


@contextmanager
def _busy(disk: Path, work: Path) -> Iterator[Fault]:
    """Another process holds the write lock."""
    holding: list[subprocess.Popen[bytes]] = []

    def hold() -> None:
        command = [sys.executable, "-c", _HOLD, str(disk / "journal.sqlite")]
        held = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        assert held.stdout is not None
        assert held.stdout.readline() == b"held\n"
        holding.append(held)

    def let_go() -> None:
        while holding:
            holding.pop().communicate(timeout=30)

    try:
        yield hold, let_go
    finally:
        let_go()


KINDS = {"full": _tmpfs, "failing": _failing, "vanishing": _vanishing, "busy": _busy}


def disks(folder: Path, nursery: Nursery, count: int, *, kinds: tuple[str, ...] = tuple(KINDS), seed: int = 9) -> Count:
    """Each kind in turn: an alarm begins and another ends while nothing can be written; then all of it is there, and told."""
    found = Count("disks that fail")
    for number in range(count):
        kind = kinds[number % len(kinds)]
        home = folder / f"house-{number}"
        disk, work = home / "disk", home / "work"
        for each in (disk, work):
            each.mkdir(parents=True)
        try:
            with KINDS[kind](disk, work) as (break_it, mend_it):
                _failed(home, disk, nursery, found, kind, break_it, mend_it, seed=seed * 100 + number)
        except (OSError, subprocess.CalledProcessError) as error:
            found.why.append(f"{kind}: not possible here: {error}")
    if not found.cases:
        found.skipped = "no disk may be mounted here"
    return found


def _failed(
    home: Path,
    disk: Path,
    nursery: Nursery,
    found: Count,
    kind: str,
    break_it: Callable[[], None],
    mend_it: Callable[[], None],
    *,
    seed: int,
) -> None:
    storm = Storm(home / "house", nursery, seed=seed, journal=disk / "journal.sqlite")
    found.cases += 1
    try:
        storm.start()
        storm.await_connected()
        if not storm.judged(("F1", "O5")):
            found.lose(f"{kind}: before the fault")
        storm.drained()
        break_it()
        storm.hold(("F2", "O5", "O6"))  # one ends, two begin, while nothing is written
        if not wait_for(lambda: "can't be written" in storm.said() or not storm.alive(), PATIENCE_S):
            found.lose(f"{kind}: the fault is not said: {storm.said()[-300:]}")
        time.sleep(3.0)
        storm.hold(("F2", "O6"))
        time.sleep(2.0)
        if not storm.alive():
            found.lose(f"{kind}: the daemon ended: {storm.said()[-900:]}")
        if kind == "failing":  # while the daemon holds its file the kernel keeps the disk as it is
            storm.kill()
            mend_it()
            storm.seen.clear()  # said by MQTT, and never written: what is still the case has to be found again
            storm.start()
        else:
            mend_it()
        if not storm.judged(("F2", "O6")):
            found.lose(f"{kind}: {sorted(storm.standing())} stands: {storm.said()[-600:]}")
        storm.judged(())
        storm.drained()
        judge(storm, found)
        for name in ("F2", "O6"):
            if not any(name in body for ear in storm.ears for _, body in ear.took):
                found.lose(f"{kind}: {name} was never told")
    finally:
        storm.end()


# A journal cut short.


def truncated(folder: Path, nursery: Nursery, count: int, *, starts: int = 16, seed: int = 10) -> Count:
    """A daemon's own journal, cut at every 4 KiB (at most `count` of them): opened, or set aside and said; never silent.

    Every `starts`th is also gone on with by a daemon.
    """
    found = Count("journal cut at 4 KiB")
    storm = Storm(folder / "house", nursery, seed=seed)
    try:
        storm.start()
        storm.await_connected()
        storm.storm()
        wait_for(lambda: len(storm.transitions()) >= 150, 60)
        storm.judged(("F1",))
        storm.drained()
        running = folder / "running"
        running.mkdir()
        assert storm.daemon is not None
        storm.daemon.send_signal(19)
        for name in ("", "-wal"):
            shutil.copy(f"{storm.journal}{name}", running / f"journal.sqlite{name}")
        storm.daemon.send_signal(18)
    finally:
        storm.end()
    whole = storm.transitions()
    for name, base in (("", storm.journal), ("-wal", running / "journal.sqlite")):
        size = Path(f"{base}{name}").stat().st_size
        cuts = range(0, size, 4096)
        step = max(1, len(cuts) * 2 // count)
        for number, at in enumerate(cuts[::step]):
            place = folder / "cut"
            place.mkdir()
            for suffix in ("", "-wal"):
                if (source := Path(f"{base}{suffix}")).exists():
                    shutil.copy(source, place / f"journal.sqlite{suffix}")
            os.truncate(place / f"journal.sqlite{name}", at)
            found.cases += 1
            _cut_short(storm, place, found, whole, f"cut{name} at {at} of {size}", start=number % starts == 0, log=bool(name))
            shutil.rmtree(place)
    found.alarms = sum(each["event"] in ("begins", "begins-again") for each in whole)
    return found


def _cut_short(
    storm: Storm, place: Path, found: Count, whole: list[dict[str, object]], what: str, *, start: bool, log: bool
) -> None:
    path = place / "journal.sqlite"
    if start:
        shutil.copy(storm.schedule, place / "schedule.toml")
        argv = ["watch", "--schedule", str(place / "schedule.toml"), "--journal", str(path), "--clock", storm.clock, "--trial"]
        life = storm.nursery.start(argv, {"PATH": "/usr/bin:/bin"}, place / "log")
        life.wait(PATIENCE_S)
        said = (place / "log").read_text()
        if "(ended with 0)" not in said:
            found.lose(f"{what}: the daemon does not start: {said[-300:]}")
        if bool(list(place.glob("*damaged*"))) != ("set aside" in said):
            found.lose(f"{what}: set aside, and not said: {said[-300:]}")
        return
    try:
        journal = Journal.open(path)
    except EnvironmentFault as fault:
        found.lose(f"{what}: {fault}")
        return
    kept = journal.last_transitions(10**6)
    if not log and journal.set_aside is None and kept != whole and path.stat().st_size and what.find(" at 0 ") < 0:
        found.lose(f"{what}: opened in silence with {len(kept)} of {len(whole)} transitions")
    if log and (journal.set_aside is not None or kept != whole[: len(kept)]):
        found.lose(f"{what}: what is left is no beginning of what was: {journal.set_aside}")
    journal.close()
