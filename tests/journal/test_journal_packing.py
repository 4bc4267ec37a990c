"""Small blocks are packed together a turn at a time: the same readings under the same numbers, whatever happens in between."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest
from journals import START_MS, input_of, parse, reading, transition

from panelward.errors import EnvironmentFault
from panelward.journal import Journal, block
from panelward.journal.packing import PACK_SPAN_MS
from panelward.records import Presence, Reading

FOR_EVER_MS = START_MS * 2
SECOND_MS = 1000
HOUR_MS = 3_600_000


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "j.sqlite"


def filled(path: Path, count: int, each: int = 10) -> Journal:
    journal = Journal.open(path)
    for number in range(journal.last_number + 1, journal.last_number + count + 1):
        journal.append(input_of(number))
        if number % each == 0:
            journal.commit()
    journal.commit()
    return journal


def seconds(path: Path, count: int, step_ms: int = SECOND_MS, from_ms: int = START_MS) -> Journal:
    """Readings of two circuits, a commit every ten times."""
    journal = Journal.open(path)
    for n in range(count):
        at_ms = from_ms + n * step_ms
        for circuit in ("D1", "D2"):
            journal.append(Reading(circuit, at_ms, at_ms, volts=12.5, amps=n % 50 / 10))
        if n % 10 == 9:
            journal.commit()
    journal.commit()
    return journal


def sql(path: Path, question: str) -> list[tuple[int, ...]]:
    with sqlite3.connect(path) as raw:
        found = raw.execute(question).fetchall()
    raw.close()
    return found


def sizes(path: Path) -> list[int]:
    return [last - first + 1 for first, last in sql(path, "SELECT first_number, last_number FROM blocks ORDER BY 1")]


def pack_all(journal: Journal, **how: int) -> int:
    turns = 0
    while journal.pack(FOR_EVER_MS, **how):
        turns += 1
    return turns


@pytest.mark.parametrize("most", [1, 7, 36, 100, 8192])
def test_the_same_inputs_under_the_same_numbers(path: Path, most: int) -> None:
    journal = filled(path, 1000)
    before = list(journal.inputs_after(0, parse))
    blocks = len(sizes(path))
    pack_all(journal, most=most)
    assert list(journal.inputs_after(0, parse)) == before
    assert [n for n, _ in before] == list(range(1, 1001))
    for number in (0, 1, 35, 36, 37, 38, 500, 999, 1000):
        assert list(journal.inputs_after(number, parse)) == before[number:]
    assert len(sizes(path)) <= blocks
    if most >= 36:
        assert sizes(path) == [36] * 27 + [1], "every 37th input is another one, and stands between"
    journal.close()
    assert list(Journal.read(path).inputs_after(0, parse)) == before


def test_times_and_circuits_are_asked_for_as_before(path: Path) -> None:
    journal = seconds(path, 3000)
    asked = [(START_MS + a, START_MS + b) for a, b in ((0, 10**9), (1_499_000, 1_500_001), (2_999_000, 3_000_000))]
    before = [list(journal.readings(a, b, ["D2"])) for a, b in asked]
    amps = [[(x.circuit, x.times_ms, x.amps) for x in journal.amps(a, b, ["D2"])] for a, b in asked]
    pack_all(journal, most=500)
    assert [list(journal.readings(a, b, ["D2"])) for a, b in asked] == before
    for (a, b), each in zip(asked, amps, strict=True):
        found = [amps for x in journal.amps(a, b, ["D2"]) for amps in x.amps]
        assert found == [amps for x in each for amps in x[2]]


def test_how_many_go_together(path: Path) -> None:
    """As many as may, of one hour at the most; what may still grow waits."""
    journal = seconds(path, 3000)
    journal.pack(FOR_EVER_MS, most=500)
    assert sizes(path)[:2] == [500, 20]
    pack_all(journal, most=500)
    assert sizes(path) == [500] * 12
    slow = path.with_name("slow.sqlite")
    pack_all(seconds(slow, 300, step_ms=60_000))
    assert (
        max(last - first for first, last in sql(slow, "SELECT first_received_ms, last_received_ms FROM blocks")) <= PACK_SPAN_MS
    )
    assert max(sizes(slow)) > 100


def test_the_newest_minutes_stay_as_they_are(path: Path) -> None:
    journal = seconds(path, 600)
    before_ms = START_MS + 300 * SECOND_MS
    while journal.pack(before_ms, most=200):
        pass
    newest = sql(path, f"SELECT last_number - first_number + 1 FROM blocks WHERE last_received_ms >= {before_ms}")
    assert newest == [(20,)] * 30
    assert sizes(path) == [200, 200] + [20] * 40, "and what may still grow waits"


def test_a_turn_of_nothing_writes_nothing(path: Path) -> None:
    journal = seconds(path, 30)
    assert not journal.pack(START_MS + 40 * SECOND_MS)
    before = path.read_bytes(), path.with_name("j.sqlite-wal").read_bytes()
    assert not journal.pack(START_MS + 40 * SECOND_MS)
    assert (path.read_bytes(), path.with_name("j.sqlite-wal").read_bytes()) == before


def test_what_can_not_be_said_smaller_or_to_the_bit_stays(path: Path) -> None:
    """A NaN is never equal to itself, so nothing proves that it came back; a damaged block is nobody's to throw away."""
    journal = Journal.open(path)
    for n in range(4):
        journal.append(Reading("D1", START_MS, START_MS + n, amps=float("nan") if n == 1 else 1.0))
        journal.commit()
    journal.append(Presence(received_ms=START_MS, subject="broker", name="x", here=True))
    for n in range(4):
        journal.append(reading(n + 10))
        journal.commit()
    journal.append(Presence(received_ms=START_MS, subject="broker", name="x", here=True))
    journal.commit()
    with sqlite3.connect(path) as raw:
        raw.execute("UPDATE blocks SET body = X'0102' WHERE first_number = 7")
    raw.close()
    before = sql(path, "SELECT * FROM blocks")
    assert pack_all(journal) == 2
    assert sql(path, "SELECT * FROM blocks") == before


def test_blocks_of_an_older_version_are_packed_too_and_spared_fragments_left(path: Path) -> None:
    journal = seconds(path, 3000)
    with sqlite3.connect(path) as raw:
        raw.execute("INSERT OR REPLACE INTO counters VALUES ('looked', 2001)")
    raw.close()
    before = list(journal.readings())
    assert {body[:1] for (body,) in sql(path, "SELECT body FROM blocks")} == {b"\x01"}
    pack_all(journal, most=1000)
    assert sizes(path) == [20] * 100 + [1000] * 4
    assert [body[:1] for (body,) in sql(path, "SELECT body FROM blocks")] == [b"\x01"] * 100 + [b"\x02"] * 4
    assert list(journal.readings()) == before


def test_packed_blocks_take_a_fraction_of_the_bytes(path: Path) -> None:
    journal = Journal.open(path)
    noise = random.Random(1)
    for n in range(600):
        at_ms = START_MS + n * SECOND_MS
        for k in range(12):
            volts, amps = round(13 + noise.gauss(0, 0.01), 2), round(k / 2 + noise.gauss(0, 0.02), 3)
            late_ms = at_ms + noise.randrange(40)
            journal.append(Reading(f"D{k}", late_ms, late_ms, volts=volts, amps=amps, watts=round(volts * amps, 1)))
        if n % 10 == 9:
            journal.commit()
    loose = sum(length for (length,) in sql(path, "SELECT length(body) FROM blocks"))
    pack_all(journal)
    packed = sum(length for (length,) in sql(path, "SELECT length(body) FROM blocks"))
    assert packed < 3.2 * 7200
    assert packed < 0.75 * loose


def test_a_reader_in_between_sees_each_reading_once(path: Path) -> None:
    """Pages are read one by one: what is packed meanwhile neither comes twice nor is passed over."""
    journal = seconds(path, 3000)
    expected = list(journal.readings())
    for taken in (1, 100, 1279, 1280, 1281, 4000):
        copy = path.with_name(f"{taken}.sqlite")
        journal.commit()
        with sqlite3.connect(path) as raw, sqlite3.connect(copy) as other:
            raw.backup(other)
        other.close()
        raw.close()
        writer, reader = Journal.open(copy), Journal.read(copy)
        found = reader.readings()
        first = [next(found) for _ in range(taken)]
        pack_all(writer, most=1700)
        assert first + list(found) == expected


WRITER = """
import sys
sys.path[:0] = [sys.argv[2], sys.argv[3]]
from journals import START_MS, input_of
from panelward.journal import Journal
journal = Journal.open(sys.argv[1])
print("writing", flush=True)
while True:
    number = journal.last_number + 1
    journal.append(input_of(number))
    if number % 5 == 0:
        journal.commit()
    if number % 60 == 0:
        journal.pack(START_MS * 2, most=200)
        journal.sum_up(most=100)
"""


def test_killed_at_any_instant_nothing_is_lost_or_twice(path: Path) -> None:
    """What is in the file is the inputs from the first on without a hole, and as many sums as its readings give."""
    chance = random.Random(3)
    here, agent = Path(__file__).parent, Path(__file__).parents[2] / "agent"
    for _ in range(8):
        writer = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path), str(here), str(agent)], stdout=subprocess.PIPE, text=True
        )  # fmt: skip
        assert writer.stdout is not None
        assert writer.stdout.readline() == "writing\n"
        time.sleep(chance.uniform(0.02, 0.25))
        os.kill(writer.pid, signal.SIGKILL)
        writer.wait()
        writer.stdout.close()
        journal = Journal.open(path)
        assert journal.set_aside is None
        found = list(journal.inputs_after(0, parse))
        assert found == [(n, input_of(n)) for n in range(1, journal.last_number + 1)]
        journal.close()
    assert len(found) > 500
    assert {body[:1] for (body,) in sql(path, "SELECT body FROM blocks")} == {b"\x01", b"\x02"}


def test_on_a_failing_disk_nothing_is_packed_beside_what_waits(tmp_path: Path) -> None:
    """A commit that failed may have reached the disk: its blocks must be found as they were when it is tried again."""
    path = tmp_path / "j.sqlite"
    journal = seconds(path, 100)
    (aside := tmp_path / "away").mkdir()
    for each in tmp_path.glob("j.sqlite*"):
        each.rename(aside / each.name)
    journal.append(reading(10_000))
    with pytest.raises(EnvironmentFault):
        journal.commit([transition("a")])
    assert not journal.pack(FOR_EVER_MS)
    for each in aside.iterdir():
        each.rename(tmp_path / each.name)
    journal.commit()
    assert journal.pack(FOR_EVER_MS)
    assert len(list(journal.readings())) == 201


def test_pack_keeps_what_decode_gives() -> None:
    readings = [reading(n) for n in range(1, 500)]
    assert block.decode(block.pack(readings)) == block.decode(block.encode(readings))
