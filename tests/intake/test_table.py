"""Readings as a file: what is read, what is refused by line, and that writing and reading give the same."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panelward.errors import ReadingsError
from panelward.intake import TableReader, write_table
from panelward.records import Reading
from plans import PLAN, T0

HEAD = "time,circuit,volts,amps,watts,closed\n"


def read(text: str, **keys: bool) -> list[Reading]:
    return list(TableReader(io.StringIO(text), PLAN, **keys))


def test_rows_in_both_ways_of_time() -> None:
    text = HEAD + f"2026-05-01T06:00:00Z,D7,12.8,3.2,,1\n{T0 / 1000 + 2},D7,,3.3,41.5,\n2026-05-01T08:00:04+02:00,D1,,,,0\n"
    assert read(text) == [
        Reading("D7", T0, T0, volts=12.8, amps=3.2, closed=True),
        Reading("D7", T0 + 2000, T0 + 2000, amps=3.3, watts=41.5),
        Reading("D1", T0 + 4000, T0 + 4000, closed=False),
    ]


def test_columns_in_any_order_with_more_of_them() -> None:
    text = f"origin,celsius,place,received,circuit,time\nbacklog,21.5,x,{T0 / 1000 + 9},T1,{T0 / 1000}\n"
    assert read(text) == [Reading("T1", T0, T0 + 9000, celsius=21.5, origin="backlog")]


def test_received_where_missing_is_the_greatest_time_so_far() -> None:
    text = HEAD + "".join(f"{T0 / 1000 + s},D7,,1,,\n" for s in (0, 10, 5, 12))
    assert [(r.time_ms - T0, r.received_ms - T0) for r in read(text)] == [(0, 0), (10_000,) * 2, (5000, 10_000), (12_000,) * 2]


@pytest.mark.parametrize(
    ("text", "line", "key"),
    [
        ("", 1, "header"),
        ("when,what\n1,2\n", 1, "header"),
        ("time,circuit\n1,D7\n", 1, "header"),
        ("time,circuit,amps,amps\n", 1, "header"),
        (HEAD + "1,D7,,x,,\n", 2, "amps"),
        (HEAD + "1,D7,,nan,,\n", 2, "amps"),
        (HEAD + "1,D7,,1e308,,\n", 2, "amps"),
        (HEAD + "1,D7,,1,,\n1,D99,,1,,\n", 3, "circuit"),
        (HEAD + "yesterday,D7,,1,,\n", 2, "time"),
        (HEAD + "2026-05-01T06:00:00,D7,,1,,\n", 2, "time"),
        (HEAD + "1e12,D7,,1,,\n", 2, "time"),
        (HEAD + "1,D7,,1\n", 2, "row"),
        (HEAD + "1,D7,,1,,maybe\n", 2, "closed"),
        ("time,circuit,amps,origin\n1,D7,1,dreamt\n", 2, "origin"),
    ],
)
def test_what_is_wrong_is_named_by_line_and_key(text: str, line: int, key: str) -> None:
    with pytest.raises(ReadingsError) as error:
        read(text)
    assert (error.value.fault.line, error.value.fault.key) == (line, key)


def test_lenient_counts_and_skips() -> None:
    table = TableReader(io.StringIO(HEAD + "1,D7,,1,,\nx\n2,D99,,1,,\n3,D7,,q,,\n4,D7,,2,,\n"), PLAN, lenient=True)
    assert [r.amps for r in table] == [1.0, 2.0]
    assert table.skipped == 3


FIGURE = st.none() | st.integers(-(10**9), 10**9)
READINGS = st.builds(
    lambda c, t, late, v, a, w, k, s, m, o: Reading(
        c, T0 + t, T0 + t + late, None if v is None else v / 1e4, None if a is None else a / 1e4,
        None if w is None else w / 1e3, k, None if s is None else s / 1e3, m, o,
    ),
    st.sampled_from(["D1", "D7", "SH", "T1"]), st.integers(0, 10**9), st.integers(0, 10**6), FIGURE, FIGURE, FIGURE,
    st.none() | st.booleans(), FIGURE, st.none() | st.booleans(), st.sampled_from(["live", "retained", "backlog"]),
)  # fmt: skip


@given(st.lists(READINGS, max_size=30))
def test_written_and_read_back_it_is_the_same(readings: list[Reading]) -> None:
    readings = [r for r in readings if r[3:7] + r[7:9] != (None,) * 6]  # what measured nothing is no reading
    readings.sort(key=lambda r: r.received_ms)
    out = io.StringIO()
    assert write_table(readings, out) == len(readings)
    assert read(out.getvalue()) == readings


def test_a_row_that_measured_nothing_is_no_reading() -> None:
    """A logger writes such rows for a channel it did not hear: they must not end a silence."""
    text = HEAD + f"{T0 / 1000},D7,,1,,\n{T0 / 1000 + 9},D7,,,,\n{T0 / 1000 + 5},D7,,2,,\n"
    assert [(r.amps, r.time_ms - T0, r.received_ms - T0) for r in read(text)] == [(1.0, 0, 0), (2.0, 5000, 9000)]


def test_states_alone_are_a_file_of_readings() -> None:
    assert read(f"time,circuit,closed\n{T0 / 1000},D7,0\n") == [Reading("D7", T0, T0, closed=False)]


@pytest.mark.parametrize("lenient", [False, True])
@pytest.mark.parametrize(("content", "line"), [(b"\xff\xfe\x00", 1), (HEAD.encode() + b"1,D7,,1,,\n1,D\xff,,1,,\n", 2)])
def test_a_file_that_is_not_utf_8_is_said(content: bytes, line: int, lenient: bool, tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    path.write_bytes(content)
    with path.open(encoding="utf-8", newline="") as lines, pytest.raises(ReadingsError) as error:
        list(TableReader(lines, PLAN, lenient=lenient, file=str(path)))
    assert error.value.fault.wanted == "text in UTF-8"
    assert error.value.fault.line is not None
    assert error.value.fault.line <= line


def test_an_id_with_a_comma_and_a_quote_comes_back() -> None:
    """RFC 4180 section 2, rules 6 and 7."""
    plan_of_one = replace(PLAN, circuits=(replace(PLAN.circuits[1], id='rear, "left"'),))
    out = io.StringIO()
    written = [Reading('rear, "left"', T0, T0, amps=1.0)]
    write_table(written, out)
    assert list(TableReader(io.StringIO(out.getvalue()), plan_of_one)) == written
