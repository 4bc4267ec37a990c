"""A journal as the source of a review: the same readings as `journal.block.decode` gives, bit for bit, at the right time."""

from __future__ import annotations

import math
import sqlite3
import struct
from collections.abc import Collection
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from panelward.journal import Journal, RawBlock, block
from panelward.journal.octets import DamagedBlock
from panelward.records import Clock, Presence, Reading, Schedule, Settings, Vehicle
from panelward.review.stored import PATIENCE_MS, PIECE_MS, Stored
from panelward.review.unpacked import unpack

T0 = 1_790_000_000_000
SECOND, MINUTE, HOUR = 1000, 60_000, 3_600_000
TRISTATE = st.sampled_from([None, False, True])
CLOSED = {None: -1, False: 0, True: 1}


def figure(scale: float) -> st.SearchStrategy[float | None]:
    near = st.integers(-10_000, 10_000).map(lambda n: n / scale)
    far = st.integers(-(10**15), 10**15).map(lambda n: n / scale)
    return st.one_of(st.none(), near, far, st.sampled_from([0.0, -0.0, 1e15]), st.floats())


READING = st.builds(
    Reading,
    st.sampled_from(["D1", "D2", "A1"]),
    st.integers(T0, T0 + 10**6) | st.integers(-(2**61), 2**61),
    st.integers(T0, T0 + 10**6) | st.integers(-(2**61), 2**61),
    volts=figure(1e4),
    amps=figure(1e4),
    watts=figure(1e3),
    celsius=figure(1e3),
    closed=TRISTATE,
    commanded=TRISTATE,
    origin=st.sampled_from(["live", "retained", "backlog"]),
)


def bits(x: float | None) -> bytes:
    return struct.pack("<d", math.nan if x is None or math.isnan(x) else x)


def unpacked(raw: RawBlock, circuits: Collection[str] | None = None) -> list[tuple[object, ...]]:
    rows = []
    for part in unpack(raw, circuits):
        columns = [
            [None] * len(part.numbers) if c is None else c.tolist() for c in (part.volts, part.amps, part.watts, part.celsius)
        ]
        for number, time, closed, *figures in zip(
            part.numbers.tolist(), part.time_ms.tolist(), part.closed.tolist(), *columns, strict=True
        ):
            rows.append((number, part.circuit, time, *map(bits, figures), closed))
    return sorted(rows)


def decoded(raw: RawBlock, circuits: Collection[str] | None = None) -> list[tuple[object, ...]]:
    return [
        (number, r.circuit, r.time_ms, bits(r.volts), bits(r.amps), bits(r.watts), bits(r.celsius), CLOSED[r.closed])
        for number, r in enumerate(block.decode(raw.body), start=raw.first_number)
        if r.origin != "retained" and number >= raw.first_number + raw.past and (circuits is None or r.circuit in circuits)
    ]


def raw(body: bytes, *, first: int = 1, past: int = 0) -> RawBlock:
    return RawBlock(first, 0, 0, 0, False, body, past)


@given(st.lists(READING, min_size=1, max_size=40), st.integers(0, 3), st.none() | st.sets(st.sampled_from(["D1", "D2"])))
@example([Reading("D1", 5, 5, volts=0.1), Reading("D1", 5, 5, volts=-0.0)], 0, None)
@settings(max_examples=400, deadline=None)
def test_columns_are_what_decode_gives_bit_for_bit(readings: list[Reading], past: int, circuits: set[str] | None) -> None:
    for encode in (block.encode, block.pack):
        packed = raw(encode(readings), first=77, past=past)
        assert unpacked(packed, circuits) == decoded(packed, circuits)


METERED = st.builds(
    lambda circuit, t, late, volts, amps, beyond, origin: Reading(
        circuit, t - late, t, volts=volts, amps=amps, watts=None if beyond is None else round(volts * amps, 1) + beyond / 10,
        origin=origin,
    ),
    st.sampled_from(["D1", "D2", "A1"]),
    st.integers(T0, T0 + 900_000),
    st.integers(-3, 900),
    st.one_of(st.integers(1200, 1450).map(lambda n: n / 100), st.sampled_from([230.0, 231.5, 0.0])),
    st.integers(-40_000, 200_000).map(lambda n: n / 1000),
    st.integers(-3, 3) | st.none(),
    st.sampled_from(["live", "live", "retained"]),
)  # fmt: skip


@given(st.lists(METERED, min_size=1, max_size=120), st.booleans(), st.sampled_from([0, 0, 86_400_000]), st.booleans())
@settings(max_examples=400, deadline=None)
def test_columns_of_what_meters_say(readings: list[Reading], ordered: bool, add_ms: int, unset: bool) -> None:
    """Every way in which a packed column may lie; and the time that it was by a clock that was set since."""
    found = sorted(readings, key=lambda r: r.received_ms) if ordered else readings
    was = [r._replace(time_ms=r.time_ms + (add_ms if unset or r.time_ms == r.received_ms else 0)) for r in found]
    for encode in (block.encode, block.pack):
        assert unpacked(raw(encode(found))._replace(add_ms=add_ms, unset=unset)) == decoded(raw(block.encode(was)))


def test_a_damaged_block_is_told_and_not_guessed() -> None:
    body = block.encode([Reading("D1", T0 + n, T0 + n, amps=n / 10) for n in range(50)])
    for length in (0, 1, 5, len(body) - 1):
        with pytest.raises(DamagedBlock):
            unpack(raw(body[:length]))


# The source itself.


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "j.sqlite"


def started(at_ms: int) -> Settings:
    return Settings(
        received_ms=at_ms, schedule=Schedule(vehicle=Vehicle(name="Van", id="van")), schedule_text="x", started=True
    )


def fill(journal: Journal, from_ms: int, count: int, step_ms: int, circuits: tuple[str, ...] = ("D1", "D2")) -> None:
    for n in range(count):
        at_ms = from_ms + n * step_ms
        for k, circuit in enumerate(circuits):
            journal.append(Reading(circuit, at_ms, at_ms + k, volts=12.5, amps=n / 10 + k))
        if n % 7 == 6:
            journal.commit()
    journal.commit()


def rows(
    source: Stored, from_ms: int, to_ms: int, circuits: Collection[str] | None = None
) -> dict[str, list[tuple[int, float]]]:
    """All that is given; that pieces follow each other and hold what is theirs is looked at on the way."""
    found: dict[str, list[tuple[int, float]]] = {}
    end_ms = from_ms
    for begin_ms, until_ms, columns in source.pieces(from_ms, to_ms, circuits):
        assert end_ms <= begin_ms < until_ms <= to_ms
        end_ms = until_ms
        for circuit, each in columns.items():
            assert len({len(column) for column in each}) == 1
            times = each.time_ms.tolist()
            assert times == sorted(times)
            assert begin_ms <= times[0] <= times[-1] < until_ms
            found.setdefault(circuit, []).extend(zip(times, each.amps.tolist(), strict=True))
    return found


def by_past(path: Path, from_ms: int, to_ms: int) -> dict[str, list[tuple[int, float]]]:
    """The outside truth: `Journal.readings`, reading by reading."""
    found: dict[str, list[tuple[int, float]]] = {}
    journal = Journal.read(path)
    for r in journal.readings():
        if from_ms <= r.time_ms < to_ms:
            found.setdefault(r.circuit, []).append((r.time_ms, r.amps if r.amps is not None else math.nan))
    journal.close()
    return {circuit: sorted(each, key=lambda row: row[0]) for circuit, each in found.items()}


@pytest.mark.parametrize(("from_h", "to_h"), [(0, 60), (0.5, 13.2), (11.99, 12.01), (59.9, 70), (-5, 1), (100, 101)])
def test_every_reading_is_given_once_in_its_piece(path: Path, from_h: float, to_h: float) -> None:
    journal = Journal.open(path)
    fill(journal, T0, 60, HOUR)
    source = Stored(path)
    assert (source.first_ms, source.last_ms) == (T0, T0 + 59 * HOUR)
    from_ms, to_ms = T0 + round(from_h * HOUR), T0 + round(to_h * HOUR)
    assert rows(source, from_ms, to_ms) == by_past(path, from_ms, to_ms)
    assert source.late == {}


def test_some_circuits(path: Path) -> None:
    journal = Journal.open(path)
    fill(journal, T0, 30, HOUR, ("D1", "D2", "D3"))
    found = rows(Stored(path), T0, T0 + 90 * HOUR, ["D2"])
    assert list(found) == ["D2"]
    assert len(found["D2"]) == 30


def test_a_silence_of_months_gives_no_empty_pieces(path: Path) -> None:
    journal = Journal.open(path)
    fill(journal, T0, 5, MINUTE)
    fill(journal, T0 + 200 * 24 * HOUR, 5, MINUTE)
    pieces = list(Stored(path).pieces(T0, T0 + 300 * 24 * HOUR))
    assert [begin for begin, _, _ in pieces] == [T0, T0 + 200 * 24 * HOUR]


def test_what_comes_late_is_put_in_its_place_or_counted(path: Path) -> None:
    """A backlog within the patience is in its piece; one that comes a day later is not, and is counted once."""
    journal = Journal.open(path)
    ends_ms = T0 + PIECE_MS
    fill(journal, T0, 10, HOUR, ("D1",))
    journal.append(Reading("D1", ends_ms + 1, ends_ms + 1, amps=1.0))
    journal.append(Reading("D1", ends_ms - MINUTE, ends_ms + PATIENCE_MS - 1, amps=2.0, origin="backlog"))
    journal.commit()
    journal.append(Reading("D1", ends_ms + HOUR, ends_ms + HOUR, amps=3.0))
    journal.commit()
    journal.append(Reading("D1", ends_ms - HOUR, ends_ms + HOUR + 5, amps=4.0, origin="backlog"))
    journal.append(Reading("D2", T0 - HOUR, ends_ms + HOUR + 6, amps=5.0, origin="backlog"))
    journal.commit()
    source = Stored(path)
    found = rows(source, T0, T0 + 2 * PIECE_MS)
    assert [amps for _, amps in found["D1"]] == [n / 10 for n in range(10)] + [2.0, 1.0, 3.0]
    assert source.late == {"D1": 1}
    assert "D2" not in found, "before what was asked: not late, but not asked"


def test_a_day_of_readings_in_1970_stands_where_it_was(path: Path) -> None:
    journal = Journal.open(path)
    journal.append(started(5_000))
    fill(journal, 10_000, 20, MINUTE, ("D1",))
    journal.append(Clock(received_ms=T0, shift_ms=T0 - 1_300_000))
    fill(journal, T0 + 10_000, 5, MINUTE, ("D1",))
    source = Stored(path)
    assert source.first_ms == T0 - 1_290_000
    found = rows(source, T0 - HOUR, T0 + HOUR)
    assert found == by_past(path, T0 - HOUR, T0 + HOUR)
    assert len(found["D1"]) == 25


def test_a_clock_that_is_set_back_loses_and_repeats_nothing(path: Path) -> None:
    journal = Journal.open(path)
    journal.append(started(T0))
    fill(journal, T0 + 1, 40, MINUTE)
    journal.append(Clock(received_ms=T0 + HOUR, offset_ms=-HOUR))
    fill(journal, T0 + HOUR + 1, 40, MINUTE)
    found = rows(Stored(path), T0 - DAY, T0 + DAY)
    assert found == by_past(path, T0 - DAY, T0 + DAY)
    assert sum(map(len, found.values())) == 160


DAY = 24 * HOUR


def test_quantities_that_come_in_messages_of_their_own(path: Path) -> None:
    journal = Journal.open(path)
    for n in range(50):
        at_ms = T0 + n * SECOND
        journal.append(Reading("D1", at_ms, at_ms, volts=12.0 + n / 100))
        journal.append(Reading("D1", at_ms, at_ms, amps=n / 10, closed=bool(n % 2)))
        journal.append(Reading("D1", at_ms, at_ms + 1, watts=n * 1.5, origin="retained"))
    journal.commit()
    ((_, _, columns),) = Stored(path).pieces(T0, T0 + DAY)
    each = columns["D1"]
    assert each.time_ms.tolist() == [T0 + n // 2 * SECOND for n in range(100)]
    assert each.volts[::2].tolist() == [12.0 + n / 100 for n in range(50)]
    assert np.isnan(each.volts[1::2]).all()
    assert each.amps[1::2].tolist() == [n / 10 for n in range(50)]
    assert each.closed.tolist() == [-1 if n % 2 == 0 else n // 2 % 2 for n in range(100)]
    assert np.isnan(each.watts).all()


def test_a_damaged_block_costs_only_itself_and_is_counted(path: Path) -> None:
    journal = Journal.open(path)
    fill(journal, T0, 70, MINUTE, ("D1",))
    journal.close()
    with sqlite3.connect(path) as raw_:
        raw_.execute("UPDATE blocks SET body = X'0102' WHERE first_number = 8")
    raw_.close()
    source = Stored(path)
    assert len(rows(source, T0, T0 + DAY)["D1"]) == 63
    assert source.damaged_blocks == 1


def test_a_journal_that_is_written_meanwhile(path: Path) -> None:
    """Given is what was committed when it came to it; nothing twice, nothing torn."""
    journal = Journal.open(path)
    fill(journal, T0, 14, HOUR, ("D1",))
    source = Stored(path)
    pieces = source.pieces(T0, T0 + 10 * DAY)
    first = next(pieces)
    fill(journal, T0 + 14 * HOUR, 14, HOUR, ("D1",))
    rest = list(pieces)
    times = [t for _, _, columns in (first, *rest) for t in columns["D1"].time_ms.tolist()]
    assert times[:14] == [T0 + n * HOUR for n in range(14)]
    assert times == sorted(set(times))
    assert len(rows(source, T0, T0 + 10 * DAY)["D1"]) == 28


@pytest.mark.parametrize("after", [1, 3])
def test_a_journal_that_is_packed_meanwhile(path: Path, after: int) -> None:
    """Between two looks at the file small blocks become large ones: every reading is given once all the same."""
    journal = Journal.open(path)
    fill(journal, T0, 7 * 200, 5 * MINUTE)
    expected = by_past(path, T0, T0 + 10 * DAY)
    pieces = Stored(path).pieces(T0, T0 + 10 * DAY)
    given_ = [next(pieces) for _ in range(after)]
    while journal.pack(T0 * 2, most=1000):
        pass
    given_ += pieces
    found: dict[str, list[tuple[int, float]]] = {}
    for _, _, columns in given_:
        for circuit, each in columns.items():
            found.setdefault(circuit, []).extend(zip(each.time_ms.tolist(), each.amps.tolist(), strict=True))
    assert found == expected
    assert rows(Stored(path), T0, T0 + 10 * DAY) == expected


def test_a_journal_of_an_older_version(path: Path) -> None:
    """A copy that was made before there were sums and packed blocks is looked at as it is, and left so."""
    journal = Journal.open(path)
    fill(journal, T0, 60, HOUR)
    journal.close()
    raw_ = sqlite3.connect(path)
    with raw_:
        for table in ("minute_sums", "hour_sums", "summing"):
            raw_.execute(f"DROP TABLE {table}")
        raw_.execute("DELETE FROM migrations WHERE name = 'sums'")
    raw_.close()
    before = path.read_bytes()
    source = Stored(path)
    assert rows(source, source.first_ms, source.last_ms + 1) == by_past(path, T0, T0 + 10 * DAY)
    assert path.read_bytes() == before


def test_no_readings_at_all(path: Path) -> None:
    journal = Journal.open(path)
    journal.append(Presence(received_ms=T0, subject="broker", name="x", here=True))
    journal.commit()
    source = Stored(path)
    assert (source.first_ms, source.last_ms) == (0, 0)
    assert list(source.pieces(0, T0 + DAY)) == []
