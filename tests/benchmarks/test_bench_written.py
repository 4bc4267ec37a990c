"""Bytes that reach the disk, a reading, at 12 readings a second: for the readings, and for all else; and what packing costs.

python -m pytest tests/benchmarks/test_bench_written.py -m benchmark -s

The daemon's own journal, core, present row, snapshots, packing and sums, on the clock of the readings
(`tests/enduring/long.py`): so the kernel has no 30 s after which it writes what is new, and a page that a second commit
changes counts once. On the real clock (PANELWARD_BENCH_REAL_MINUTES=25) it counts as often as it is written.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from pathlib import Path

import filled
import month
import pytest

from enduring import long
from panelward.journal import Journal, block
from panelward.records import Reading


class Readings(long.Lived):
    """Nothing but the readings."""

    def _commit(self) -> None:
        self.journal.commit()

    def _nothing(self) -> None: ...

    _snapshot = _prune = _pack = _sum = _nothing


def paced(draws: Iterator[Reading]) -> Iterator[Reading]:
    """On the real clock."""
    begun_s, last_ms = time.monotonic(), 0
    for reading in draws:
        if reading.received_ms != last_ms:
            last_ms = reading.received_ms
            time.sleep(max(0.0, begun_s + (last_ms - long.T0) / 1000 - time.monotonic()))
        yield reading


@pytest.mark.benchmark
@pytest.mark.parametrize("commit_s", [5.0, 10.0])
def test_bytes_written(tmp_path_factory: pytest.TempPathFactory, commit_s: float, monkeypatch: pytest.MonkeyPatch) -> None:
    minutes = float(os.environ.get("PANELWARD_BENCH_REAL_MINUTES", "0"))
    if minutes:
        draws = long.draws
        monkeypatch.setattr(long, "draws", lambda wanted: paced(draws(wanted)))
    found = []
    for life in (Readings, long.Lived):
        wanted = long.Long(days=(minutes or 240.0) / 1440, period_s=1.0, circuits=12, commit_s=commit_s)
        folder = tmp_path_factory.mktemp("written")
        before = long.written_bytes()
        life(wanted, folder).run()
        os.sync()
        found.append((long.written_bytes() - before) / wanted.readings)
    print(
        f"\na commit every {commit_s:g} s: {found[0]:.0f} bytes written a reading, {found[1] - found[0]:.0f} more for all else"
    )


@pytest.mark.benchmark
def test_what_packing_costs(tmp_path: Path) -> None:
    """CPU a reading, of each step; and bytes."""
    readings = list(month.readings(month.day(0, seconds=7200)))
    few, many = 120, 8192
    for name, encode, size in (("a commit", block.encode, few), ("packed", block.pack, many)):
        begun = time.process_time()
        made = [encode(readings[at : at + size]) for at in range(0, len(readings) - size, size)]
        took, count = time.process_time() - begun, len(made) * size
        begun = time.process_time()
        for each in made:
            block.decode(each)
        back = time.process_time() - begun
        print(f"\n{name}, {size} readings: {sum(map(len, made)) / count:.2f} bytes a reading, "
              f"{took / count * 1e6:.2f} us to pack, {back / count * 1e6:.2f} us to unpack", end="")  # fmt: skip
    path = tmp_path / "j.sqlite"
    count = filled.fill(path, 1, seconds=7200, pack=False)
    journal = Journal.open(path)
    journal.sensed = filled.SENSED
    for name, turn in (("pack", lambda: journal.pack(10**15)), ("sum", journal.sum_up)):
        begun, turns, worst = time.process_time(), 0, 0.0
        while True:
            at = time.process_time()
            if not turn():
                break
            turns, worst = turns + 1, max(worst, time.process_time() - at)
        print(f"\n{name}: {(time.process_time() - begun) / count * 1e6:.2f} us a reading, {turns} turns, {worst * 1e3:.0f} ms "
              "the longest", end="")  # fmt: skip
    print()
