"""A file of readings of any length: the same as intake reads it, its faults by their line, in bounded memory."""

from __future__ import annotations

import os
import signal
import subprocess
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import interrupted
from panelward.errors import ReadingsError
from panelward.intake import TableReader, write_table
from panelward.records import Reading
from panelward.review.source import Columns
from panelward.review.table import Table
from plans import PLAN, T0

HEAD = "time,circuit,volts,amps,watts,closed,celsius,commanded,received,origin\n"
STRETCH = 2000


def table(path: Path, **keys: object) -> Table:
    return Table(path, PLAN, stretch=STRETCH, **keys)  # type: ignore[arg-type]


def all_of(source: Table) -> dict[str, Columns]:
    found: dict[str, list[Columns]] = {}
    for _low, _high, of in source.pieces(source.first_ms, source.last_ms + 1):
        for way, each in of.items():
            found.setdefault(way, []).append(each)
    return {way: Columns(*(np.concatenate(c) for c in zip(*each, strict=True))) for way, each in found.items()}


def readings(count: int, seed: int = 1) -> list[Reading]:
    chance = np.random.default_rng(seed)
    out = []
    for n in range(count):
        at = T0 + 1000 * (n // 3)
        volts, amps, watts = (None if chance.random() < 0.2 else round(float(chance.normal(12, 1)), d) for d in (4, 4, 3))
        origin = ("live", "live", "backlog", "retained")[int(chance.integers(4))]
        closed = (None, True, False)[int(chance.integers(3))]
        lag = int(chance.integers(0, 4000))
        out.append(Reading(("D1", "D7", "SH")[n % 3], at - lag, at, volts, amps, watts, closed, None, None, origin))
    return out


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_it_reads_what_intake_reads(tmp_path_factory: pytest.TempPathFactory, seed: int) -> None:
    path = tmp_path_factory.mktemp("t") / "r.csv"
    with path.open("w") as out:
        write_table(readings(300, seed), out)
    with path.open(newline="") as lines:
        expected = [r for r in TableReader(lines, PLAN) if r.origin != "retained"]
    found = all_of(table(path))
    for way in ("D1", "D7", "SH"):
        rows = sorted((r for r in expected if r.circuit == way), key=lambda r: r.time_ms)
        of = found[way]
        assert of.time_ms.tolist() == [r.time_ms for r in rows]
        for name in ("volts", "amps", "watts"):
            values = [np.nan if (x := getattr(r, name)) is None else x for r in rows]
            assert np.array_equal(getattr(of, name), values, equal_nan=True)
        assert of.closed.tolist() == [-1 if r.closed is None else int(r.closed) for r in rows]


def test_unix_seconds_offsets_and_other_columns(tmp_path: Path) -> None:
    path = tmp_path / "r.csv"
    path.write_text(
        "circuit,note,time,amps\nD1,x,1777615200.25,1.5\nD1,,2026-05-01T08:00:01+02:00,2\nD1,,2026-05-01 06:00:02Z,3\n"
    )
    found = all_of(table(path))["D1"]
    assert found.time_ms.tolist() == [T0 + 250, T0 + 1000, T0 + 2000]
    assert found.amps.tolist() == [1.5, 2.0, 3.0]


@pytest.mark.parametrize(
    ("row", "wanted"),
    [
        ("2026-05-01T06:00:00Z,D1,x,1,,,,,,", "volts"),
        ("2026-05-01T06:00:00Z,W9,12,1,,,,,,", "circuit"),
        ("yesterday,D1,12,1,,,,,,", "time"),
        ("2026-05-01T06:00:00Z,D1,12", "row"),
        ("2026-05-01T06:00:00Z,D1,12,1,,,,,,,,,", "row"),
        ("2026-05-01T06:00:00Z,D1,12,1e9,,,,,,", "amps"),
        ("2026-05-01T06:00:00Z,D1,12,1,,perhaps,,,,", "closed"),
        ("2026-05-01T06:00:00Z,D1,12,1,,,,,,tomorrow", "origin"),
        ("2026-05-01T06:00:00Z,D1,nan,1,,,,,,", "volts"),
    ],
)
def test_a_bad_row_is_named_by_its_line_wherever_it_is(tmp_path: Path, row: str, wanted: str) -> None:
    path = tmp_path / "r.csv"
    good = [f"2026-05-01T06:{n // 60 % 60:02d}:{n % 60:02d}Z,D1,12.8,1,,,,,," for n in range(400)]
    path.write_text(HEAD + "\n".join([*good[:321], row, *good[321:]]) + "\n")
    with pytest.raises(ReadingsError) as caught:
        table(path)
    assert (caught.value.fault.line, caught.value.fault.key) == (323, wanted)
    lenient = table(path, lenient=True)
    assert len(all_of(lenient)["D1"].time_ms) == 400
    assert lenient.skipped == 1


@pytest.mark.parametrize("text", ["", "\n", "a,b,c\n1,2,3\n", "time,circuit\n1,D1\n"])
def test_what_is_no_table_is_said(tmp_path: Path, text: str) -> None:
    path = tmp_path / "r.csv"
    path.write_text(text)
    with pytest.raises(ReadingsError, match="line 1: header"):
        table(path)


def test_the_head_of_a_file_that_was_given_away_is_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "r.csv"
    path.write_text("# for: the maker\n# consent: Kari\ntime,circuit,amps\n1777615200,D1,1.5\n1777615201,D1,x\n")
    with pytest.raises(ReadingsError) as caught:
        table(path)
    assert caught.value.fault.line == 5
    assert all_of(table(path, lenient=True))["D1"].amps.tolist() == [1.5]


def test_a_header_alone_is_no_reading_and_no_fault(tmp_path: Path) -> None:
    path = tmp_path / "r.csv"
    path.write_text(HEAD)
    assert (table(path).first_ms, all_of(table(path))) == (0, {})


def test_a_long_file_is_read_in_stretches_and_what_is_too_late_is_counted(tmp_path: Path) -> None:
    path = tmp_path / "r.csv"
    rows = [Reading("D1", T0 + 60_000 * n, T0 + 60_000 * n, amps=1.0) for n in range(3000)]
    late = Reading("D7", T0 + 60_000, T0 + 60_000 * 2999, amps=2.0)
    with path.open("w") as out:
        write_table([*rows, late], out)
    long = table(path, whole=0)
    assert (long.first_ms, long.last_ms) == (T0, T0 + 60_000 * 2999)
    found = all_of(long)
    assert found["D1"].time_ms.tolist() == [r.time_ms for r in rows]
    assert "D7" not in found
    assert long.late == {"D7": 1}
    whole = table(path)
    assert all_of(whole)["D7"].amps.tolist() == [2.0]
    assert not whole.late


def test_a_reading_by_a_clock_that_was_never_set_stretches_no_review(tmp_path: Path) -> None:
    path = tmp_path / "r.csv"
    rows = "".join(f"{1777615200 + n},D1,1.5\n" for n in range(100))
    path.write_text(f"time,circuit,amps\n0,D1,9\n5,D1,9\n{rows}32503600000,D1,9\n")
    found = table(path)
    assert (found.first_ms, found.last_ms, found.astray) == (T0, T0 + 99_000, 3)
    assert all_of(found)["D1"].amps.tolist() == [1.5] * 100


def test_an_interrupted_review_ends_clean(tmp_path: Path) -> None:
    """Ctrl-C while a long file is read: exit 130, no traceback."""
    path = tmp_path / "r.csv"
    block = "".join(f"{T0 / 1000 + n},D1,12.8,1.0,,\n" for n in range(20_000))
    with path.open("w") as out:
        out.write("time,circuit,volts,amps,watts,closed\n")
        for _ in range(150):
            out.write(block)
    schedule = tmp_path / "s.toml"
    schedule.write_text((Path(__file__).parents[2] / "config" / "minimal.toml").read_text())
    words = interrupted.command("review", "--schedule", str(schedule), "--readings", str(path), "--json")
    reviewing = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=os.environ)
    while not _open(reviewing.pid, path):
        assert reviewing.poll() is None
    reviewing.send_signal(signal.SIGINT)
    out_text, err = reviewing.communicate(timeout=120)
    assert (reviewing.returncode, out_text) == (130, "")
    assert "Traceback" not in err


def _open(pid: int, path: Path) -> bool:
    """Does that process have this file open?"""
    try:
        return any(os.path.realpath(each) == str(path) for each in Path(f"/proc/{pid}/fd").iterdir())
    except OSError:
        return False
