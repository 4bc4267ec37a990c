"""Blocks come back bit for bit. The outside truth is the readings themselves; the grids are those of intake."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from panelward.journal import block
from panelward.journal.block import MOST_READINGS, DamagedBlock, decode, encode, pack
from panelward.records import Reading

TIME = st.one_of(st.integers(1_777_000_000_000, 1_778_000_000_000), st.integers(-(2**61), 2**61))
TRISTATE = st.sampled_from([None, False, True])


def grid(scale: float, most: int) -> st.SearchStrategy[float]:
    return st.integers(-most, most).map(lambda n: round(n / scale, 5))


def quantity(scale: float) -> st.SearchStrategy[float | None]:
    return st.one_of(
        st.none(),
        grid(scale, 10**6),
        grid(scale, 10**15),
        st.sampled_from([0.0, -0.0]),
        st.floats(),  # off the grid too
    )


READING = st.builds(
    Reading,
    st.one_of(st.sampled_from(["D1", "D2", "A1"]), st.text(max_size=8)),
    TIME,
    TIME,
    volts=quantity(1e4),
    amps=quantity(1e4),
    watts=quantity(1e3),
    celsius=quantity(1e3),
    closed=TRISTATE,
    commanded=TRISTATE,
    origin=st.one_of(st.sampled_from(["live", "retained", "backlog"]), st.text(max_size=5)),
)


def bits(reading: Reading) -> tuple[object, ...]:
    """Floats as their bytes: a minus zero is not a zero, a NaN is itself."""
    return tuple((type(x), struct.pack("<d", x) if isinstance(x, float) else x) for x in reading)


@given(st.lists(READING, max_size=40))
@example([Reading("D1", 5, 5, volts=0.1), Reading("D1", 5, 5, volts=-0.0)])
@example([Reading("D1", 5, 5, volts=0.1 + 0.2)])
@settings(max_examples=300, deadline=None)
def test_what_was_packed_comes_back_bit_for_bit_and_in_order(readings: list[Reading]) -> None:
    assert [bits(r) for r in decode(encode(readings))] == [bits(r) for r in readings]


@given(st.lists(READING, min_size=1, max_size=40))
@example([Reading("D1", 5, 5, volts=0.1), Reading("D1", 5, 5, volts=-0.0), Reading("D1", 5, 5, volts=12.5)])
@example([Reading("D1", 5, 5, volts=0.1 + 0.2)])
@example([Reading("D1", 2**61, -(2**61), amps=1e15)])
@settings(max_examples=400, deadline=None)
def test_what_was_packed_together_comes_back_bit_for_bit_and_in_order(readings: list[Reading]) -> None:
    assert [bits(r) for r in decode(pack(readings))] == [bits(r) for r in readings]


METERED = st.builds(
    lambda circuit, t, late, volts, amps, beyond, no_watts: Reading(
        circuit, t - late, t, volts=volts, amps=amps, watts=None if no_watts else round(volts * amps, 1) + beyond / 10
    ),
    st.sampled_from(["D1", "D2", "A1"]),
    st.integers(1_777_000_000_000, 1_777_000_900_000),
    st.integers(-3, 900),
    st.one_of(st.integers(1200, 1450).map(lambda n: n / 100), st.sampled_from([230.0, 231.5, 0.0])),
    st.integers(-40_000, 200_000).map(lambda n: n / 1000),
    st.integers(-3, 3),
    st.booleans(),
)


@given(st.lists(METERED, min_size=1, max_size=120), st.booleans())
@settings(max_examples=300, deadline=None)
def test_what_meters_say_comes_back_however_its_columns_lie(readings: list[Reading], ordered: bool) -> None:
    """Volts times amps, one bus for several circuits, times in order or not, constant delays: every kind of column."""
    found = sorted(readings, key=lambda r: r.received_ms) if ordered else readings
    assert [bits(r) for r in decode(pack(found))] == [bits(r) for r in found]


@given(st.lists(METERED | READING, min_size=1, max_size=60), st.none() | st.sets(st.sampled_from(["D1", "D2", "A1"])))
@settings(max_examples=200, deadline=None)
def test_the_currents_alone_are_those_of_the_readings(readings: list[Reading], circuits: set[str] | None) -> None:
    wanted: dict[str, list[tuple[int, int, bytes]]] = {}
    for r in readings:
        if r.amps is not None and r.origin != "retained" and (circuits is None or r.circuit in circuits):
            wanted.setdefault(r.circuit, []).append((r.time_ms, r.received_ms, struct.pack("<d", r.amps)))
    for packed in (encode(readings), pack(readings)):
        found = {each.circuit: each for each in block.amps(packed, circuits)}
        assert {
            name: list(zip(a.times_ms, a.received_ms, [struct.pack("<d", x) for x in a.amps], strict=True))
            for name, a in found.items()
        } == wanted


@given(st.lists(st.tuples(st.sampled_from(["D1", "D2"]), grid(1e4, 2**33)), min_size=2, max_size=300))
@settings(max_examples=100, deadline=None)
def test_every_width_of_column_comes_back(pairs: list[tuple[str, float]]) -> None:
    readings = [Reading(c, n * n, n * n * 1000, amps=x) for n, (c, x) in enumerate(pairs)]
    assert decode(encode(readings)) == readings
    assert decode(pack(readings)) == readings


def test_more_kinds_of_reading_than_a_byte_counts() -> None:
    readings = [Reading(f"C{n % 300}", n, n, amps=n / 10) for n in range(MOST_READINGS)]
    assert decode(encode(readings)) == readings
    assert decode(pack(readings)) == readings


def test_figures_on_the_grid_take_a_few_bytes() -> None:
    """Ours: 12 circuits, 50 s, steps of 0.01 in every figure: far under the 17 bytes of the bare floats packed."""
    readings = []
    for t in range(50):
        for c in range(1, 13):
            volts, amps = round(13 + (c * t) % 7 / 100, 2), round(c + (t * c) % 5 / 100, 2)
            readings.append(Reading(f"D{c}", t * 1000, t * 1000 + (c * 37 + t * 11) % 40, volts=volts, amps=amps))
    assert len(encode(readings)) < 4 * len(readings)


@pytest.mark.parametrize("where", [0, 1, 5, -1])
@pytest.mark.parametrize("how", [encode, pack])
def test_a_damaged_block_is_told_from_a_good_one(how: Callable[[list[Reading]], bytes], where: int) -> None:
    whole = bytearray(how([Reading("D1", n, n, amps=n / 10) for n in range(50)]))
    whole[where] ^= 0x55
    with pytest.raises(DamagedBlock):
        decode(bytes(whole))


@pytest.mark.parametrize("how", [encode, pack])
def test_a_block_cut_short_is_damaged(how: Callable[[list[Reading]], bytes]) -> None:
    whole = how([Reading("D1", n, n, amps=n / 10) for n in range(50)])
    for length in range(len(whole)):
        with pytest.raises(DamagedBlock):
            decode(whole[:length])


@given(st.binary(max_size=60), st.sampled_from([b"\x01", b"\x02"]))
@example(b"\x02\x01\x02D1\x0f\x00\x00\x02\x01\x01\x00\x01\x00\x01\x01\x00\x01", b"\x02")
@settings(max_examples=300, deadline=None)
def test_bytes_of_nobody_are_damage_and_nothing_worse(inside: bytes, version: bytes) -> None:
    try:
        found = decode(version + zlib.compress(inside))
    except DamagedBlock:
        return
    assert all(isinstance(each, Reading) for each in found)
