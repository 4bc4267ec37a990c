"""kill -9 at any instant, and what a power cut leaves of the disk."""

from __future__ import annotations

import shutil
import subprocess
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from brokers import wait_for
from enduring.lives import Nursery
from enduring.storms import PATIENCE_S, Storm
from enduring.tally import Count, judge

PER_EPISODE = 10  # kills between two looks whether what is the case stands


def kills(folder: Path, nursery: Nursery, count: int, *, houses: int = 3, phones: int = 1, seed: int = 1) -> Count:
    """So many, over several houses side by side. With phones each life also sends."""
    shares = [count // houses + (at < count % houses) for at in range(houses)]

    def one(at: int) -> Count:
        return _kills(folder / f"house-{at}", nursery, shares[at], phones=phones, seed=seed * 100 + at)

    with ThreadPoolExecutor(houses) as pool:
        found = list(pool.map(one, [at for at in range(houses) if shares[at]]))
    return sum(found[1:], found[0])


def _kills(folder: Path, nursery: Nursery, count: int, *, phones: int, seed: int) -> Count:
    storm = Storm(folder, nursery, seed=seed, phones=phones)
    found = Count("kills", cases=count)
    try:
        storm.start()
        storm.await_connected()
        left = count
        while left:
            storm.storm()
            for _ in range(min(left, PER_EPISODE)):
                left -= 1
                _one_kill(storm, found)
            _look(storm, found)
        storm.judged(())
        storm.drained()
        judge(storm, found)
    finally:
        storm.end()
    return found


def _one_kill(storm: Storm, found: Count) -> None:
    """At a random instant, in the middle of a write to the journal, or of a send."""
    how = storm.chance.choices(("instant", "write", "send"), (5, 4, 1 if storm.ears else 0))[0]
    time.sleep(storm.chance.uniform(0.0, 0.7))
    if how == "write":
        wal = Path(f"{storm.journal}-wal")
        before = _stamp(wal)
        end_s = time.monotonic() + 1.0
        while _stamp(wal) == before and time.monotonic() < end_s:
            time.sleep(0.0002)
    elif how == "send":
        heard = len(storm.ears[0].heard)
        storm.ears[0].hears = lambda _body: storm.alive() and storm.daemon and storm.daemon.send_signal(9)  # before the answer
        wait_for(lambda: len(storm.ears[0].heard) > heard, 4.0)
        storm.ears[0].hears = lambda _body: None
    if not storm.alive() and how != "send":
        found.lose(f"the daemon ended by itself: {storm.said()[-400:]}")
    at_s = storm.kill()
    found.least(_not_kept_s(storm, at_s))
    storm.start()


def _stamp(path: Path) -> tuple[int, int]:
    try:
        now = path.stat()
    except OSError:
        return 0, 0
    return now.st_size, now.st_mtime_ns


def _not_kept_s(storm: Storm, at_s: float) -> float:
    """Real seconds before the kill of this life, of which no reading is in the journal."""
    journal = storm.open()
    try:
        van_s = storm.van_s(at_s)
        last_ms = max((each.received_ms for each in journal.readings(round((van_s - 20 * storm.rate) * 1000))), default=None)
    finally:
        journal.close()
    last_s = storm.real_s(last_ms / 1000) if last_ms is not None else 0.0
    return max(0.0, at_s - max(last_s, storm.started_s))  # what came before this life is not this kill's


def _look(storm: Storm, found: Count) -> None:
    """A pattern held until the alarms say just that."""
    names = sorted(storm.faulty)
    wanted = frozenset(name for name in names if storm.chance.random() < 0.5)
    if not storm.judged(wanted):
        for name in sorted(wanted - storm.standing()):
            found.lose(f"{name} is faulty and no alarm stands: {storm.said()[-300:]}")
        for name in sorted(storm.standing() - wanted):
            found.invent(f"{name} is in order and an alarm stands")


# Power cuts.


def copies(folder: Path, nursery: Nursery, count: int, *, seed: int = 2) -> Count:
    """The files as they are in one instant of a running daemon; each copy opened and gone on with."""
    storm = Storm(folder / "house", nursery, seed=seed)
    found = Count("copies of the files", cases=count)
    try:
        storm.start()
        storm.await_connected()
        storm.storm()
        for number in range(count):
            time.sleep(storm.chance.uniform(0.05, 0.6))
            copy = folder / f"copy-{number}"
            copy.mkdir()
            assert storm.daemon is not None
            storm.daemon.send_signal(19)  # SIGSTOP: what is on the disk does not move while it is copied
            held_s = time.time()
            told, said = len(storm.ears[0].took), len(storm.seen)
            try:
                for name in ("", "-wal", "-shm"):
                    if (source := Path(f"{storm.journal}{name}")).exists():
                        shutil.copy(source, copy / f"journal.sqlite{name}")
            finally:
                storm.daemon.send_signal(18)
                storm.hushed.append((held_s, time.time()))  # it heard nobody
            gone_on_with(storm, copy / "journal.sqlite", found, told=told, said=said)
            shutil.rmtree(copy)
        storm.judged(())
        storm.drained()
        judge(storm, found)
    finally:
        storm.end()
    return found


def gone_on_with(storm: Storm, path: Path, found: Count, *, told: int, said: int) -> None:
    """Nothing is denied of what was said before the cut, and the daemon starts on it."""
    from panelward.journal import Journal

    journal = Journal.open(path)
    if journal.set_aside is not None:
        found.lose(f"a copy could not be read: {journal.set_aside}")
    kept = {(each["id"], each["sequence"]) for each in journal.last_transitions(10**6)}
    bodies = " ".join(row.body for row in journal.outbox_rows() if row.status in ("trying", "handed-over"))
    journal.close()
    for _, shown in storm.seen[:said]:
        if (shown["id"], shown["sequence"]) not in kept:
            found.lose(f"said by MQTT, denied after the cut: {shown['id']} {shown['sequence']}")
    for _, body in storm.ears[0].took[:told]:
        number = next(text for text in body.splitlines() if text.startswith("Message "))
        if number not in bodies:
            found.lose(f"handed over, denied after the cut: {number}")
    shutil.copy(storm.schedule, path.parent / "schedule.toml")
    argv = ["watch", "--schedule", str(path.parent / "schedule.toml"), "--journal", str(path)]
    log = path.parent / "watch.log"
    life = storm.nursery.start([*argv, "--clock", storm.clock, "--trial"], {"PATH": "/usr/bin:/bin"}, log)
    life.wait(PATIENCE_S)
    if "(ended with 0)" not in log.read_text():
        found.lose(f"not gone on with: {log.read_text()[-400:]}")


def power_cuts(folder: Path, nursery: Nursery, count: int, *, seed: int = 3) -> Count:
    """A file system of its own (ext4 on a loop device): what of it had reached the disk itself, mounted anew.

    Unlike a copy of the files this forgets what the kernel had not written yet.
    """
    found = Count("power cuts (ext4)")
    disk, image, again = folder / "disk", folder / "disk.img", folder / "again"
    for each in (disk, again):
        each.mkdir(parents=True)
    with image.open("wb") as file:
        file.truncate(48 << 20)
    try:
        subprocess.run(["mkfs.ext4", "-q", "-F", str(image)], check=True, capture_output=True)
        subprocess.run(["mount", "-o", "loop", str(image), str(disk)], check=True, capture_output=True)
    except (OSError, subprocess.CalledProcessError):
        found.skipped = "no loop device may be mounted here"
        return found
    storm = None
    try:
        storm = Storm(folder / "house", nursery, seed=seed, journal=disk / "journal.sqlite")
        storm.start()
        storm.await_connected()
        for number in range(count):
            # In a storm every alarm takes the readings before it to the disk; in a calm nothing hurries them there.
            calm = number % 4 == 3
            if calm:
                storm.hold(())
                time.sleep(storm.chance.uniform(5.0, 40.0))
            else:
                storm.storm()
                time.sleep(storm.chance.uniform(0.05, 1.0))
            cut = folder / "cut.img"
            told, said, at_s = _cut(storm, image, cut)
            subprocess.run(["mount", "-o", "loop", str(cut), str(again)], check=True, capture_output=True)
            try:
                found.cases += 1
                found.least(_lost_of(storm, again / "journal.sqlite", at_s))
                gone_on_with(storm, again / "journal.sqlite", found, told=told, said=said)
            finally:
                subprocess.run(["umount", str(again)], check=True, capture_output=True)
        storm.judged(())
        storm.drained()
        judge(storm, found)
    finally:
        if storm is not None:
            storm.end()
        subprocess.run(["umount", "--lazy", str(disk)], check=False, capture_output=True)
    return found


def _cut(storm: Storm, image: Path, cut: Path) -> tuple[int, int, float]:
    """Copy the disk in one instant: two copies that are the same, the daemon held meanwhile."""
    assert storm.daemon is not None
    at_s = time.time()
    storm.daemon.send_signal(19)
    try:
        told, said = len(storm.ears[0].took), len(storm.seen)
        before = b""
        for _ in range(50):
            now = image.read_bytes()
            if now == before:
                break
            before = now
        cut.write_bytes(before)
        return told, said, at_s
    finally:
        storm.daemon.send_signal(18)
        storm.hushed.append((at_s, time.time()))  # held so long, it heard nobody


def _lost_of(storm: Storm, path: Path, at_s: float) -> float:
    from panelward.journal import Journal

    journal = Journal.open(path)
    try:
        last_ms = max((each.received_ms for each in journal.readings()), default=None)
    finally:
        journal.close()
    return at_s - storm.real_s(last_ms / 1000) if last_ms is not None else 0.0
