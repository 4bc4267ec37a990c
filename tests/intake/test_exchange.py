"""Readings out of a journal and in again: the same to the bit, in each format; and what their head says of consent."""

from __future__ import annotations

import io
import json
import os
import signal
import subprocess
import time
from contextlib import closing, suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import interrupted
from panelward.commands import main
from panelward.errors import ReadingsError
from panelward.intake import LineReader, TableReader, head_of, write_lines, write_table
from panelward.journal import Journal
from panelward.records import Reading
from panelward.review.parquet import ParquetReader, write_parquet
from plans import T0

ENDINGS = ("csv", "jsonl", "parquet")


def journal_of(path: Path, readings: list[Reading]) -> Path:
    with closing(Journal.open(path)) as journal:
        for reading in readings:
            journal.append(reading)
        journal.commit()
    return path


def readings_of(path: Path) -> list[Reading]:
    with closing(Journal.read(path)) as journal:
        return list(journal.readings())


def _grid(digits: int) -> st.SearchStrategy[float | None]:
    return st.none() | st.integers(-(10**7), 10**7).map(lambda n: round(n / 10**digits, digits) + 0.0)


TRISTATE = st.sampled_from((None, True, False))
ODD = st.builds(
    Reading,
    circuit=st.text(st.characters(codec="utf-8", exclude_characters="\r\n\0"), min_size=1, max_size=9),
    time_ms=st.integers(T0, T0 + 10**9),
    received_ms=st.just(T0),
    volts=_grid(4), amps=_grid(4), watts=_grid(3), closed=TRISTATE, celsius=_grid(3), commanded=TRISTATE,
    origin=st.sampled_from(("live", "retained", "backlog")),
)  # fmt: skip
MANY = st.lists(ODD, max_size=30).map(
    lambda rows: [
        row._replace(received_ms=T0 + 10**9 + n) for n, row in enumerate(rows) if any(each is not None for each in row[3:9])
    ]
)


@settings(max_examples=60)
@given(MANY)
def test_each_format_gives_back_what_it_was_given(rows: list[Reading]) -> None:
    csv, lines = io.StringIO(), io.StringIO()
    assert write_table(rows, csv, ("# panelward export 1", "# {}")) == write_lines(rows, lines, {"for": "x"}) == len(rows)
    assert list(TableReader(io.StringIO(csv.getvalue()), None)) == rows
    assert list(LineReader(io.StringIO(lines.getvalue()), None)) == rows


@settings(max_examples=15, deadline=None)  # its first call loads the package
@given(rows=MANY)
def test_parquet_gives_back_what_it_was_given(rows: list[Reading], tmp_path_factory: pytest.TempPathFactory) -> None:
    path = tmp_path_factory.mktemp("p") / "r.parquet"
    write_parquet(rows, path, {"consent": "Kari"})
    reader = ParquetReader(path)
    assert list(reader) == rows
    assert reader.head == {"consent": "Kari"}


@pytest.fixture
def house(tmp_path: Path) -> Path:
    rows = [
        Reading("D7", T0 + n * 1000, T0 + n * 1000 + n % 3, volts=12.8, amps=n / 100, closed=bool(n % 2)) for n in range(5000)
    ]
    return journal_of(tmp_path / "j.sqlite", rows)


@pytest.mark.parametrize("ending", ENDINGS)
def test_out_and_in_and_out_again_is_the_same(house: Path, tmp_path: Path, ending: str) -> None:
    first, second, again = tmp_path / f"a.{ending}", tmp_path / f"b.{ending}", tmp_path / "again.sqlite"
    assert main(["log", "export", "--journal", str(house), "--out", str(first)]) == 0
    assert main(["log", "import", str(first), "--journal", str(again)]) == 0
    assert readings_of(again) == readings_of(house)
    assert main(["log", "export", "--journal", str(again), "--out", str(second)]) == 0
    assert second.read_bytes() == first.read_bytes()


@pytest.mark.parametrize("ending", ENDINGS)
def test_the_head_names_range_and_consent_and_no_place(
    house: Path, tmp_path: Path, ending: str, capsys: pytest.CaptureFixture[str]
) -> None:
    schedule = Path(__file__).parents[2] / "config" / "survey-van.toml"
    out = tmp_path / f"a.{ending}"
    asked = ["log", "export", "--journal", str(house), "--schedule", str(schedule), "--out", str(out)]
    begin = f"{(T0 + 1000_000) / 1000}"
    assert main([*asked, "--from", begin, "--for", "the fridge's maker", "--consent", "Kari N."]) == 0
    assert "consent" not in capsys.readouterr().err
    if ending == "parquet":
        head, raw = ParquetReader(out).head, out.read_bytes()
    else:
        text = out.read_text(encoding="utf-8")
        head = head_of(text.splitlines()) if ending == "csv" else json.loads(text.splitlines()[0])["head"]
        raw = text.encode()
    assert head is not None
    assert head["from"] == "2026-05-01T06:16:40Z"
    assert (head["consent"], head["given_to"], head["local_offset"]) == ("Kari N.", "the fridge's maker", "+02:00")
    assert b"Oslo" not in raw, "a time zone's name is a place"
    # … and it is read like any other
    again = tmp_path / "again.sqlite"
    assert main(["log", "import", str(out), "--journal", str(again)]) == 0
    assert readings_of(again) == [r for r in readings_of(house) if r.received_ms >= T0 + 1000_000]


def test_without_consent_nothing_claims_it(house: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "a.csv"
    assert main(["log", "export", "--journal", str(house), "--out", str(out)]) == 0
    assert "No consent is named" in capsys.readouterr().err
    assert out.read_text().startswith("time,circuit,"), "as interfaces have it"
    assert main(["log", "export", "--journal", str(house), "--out", str(out), "--for", "somebody"]) == 2
    assert "go together" in " ".join(capsys.readouterr().err.split())


def test_a_bad_row_is_named_with_its_line_in_the_file_and_makes_no_journal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    csv = "# panelward export 1\n# {}\ntime,circuit,amps\n2026-05-01T06:00:00Z,D7,1\n2026-05-01T06:00:01Z,D7,eleven\n"
    lines = '{"head": {}}\n{"time": 1777615200, "circuit": "D7", "amps": 1}\n'
    lines += '{"time": 1777615201, "circuit": "D7", "amps": "eleven"}\n'
    for name, text, line in (("a.csv", csv, 5), ("a.jsonl", lines, 3)):
        (tmp_path / name).write_text(text)
        before = sorted(tmp_path.iterdir())
        asked = ["log", "import", str(tmp_path / name), "--journal", str(tmp_path / "new.sqlite")]
        assert main(asked) == 2
        said = " ".join(capsys.readouterr().err.split())
        assert f"line {line}: amps: wanted a number" in said
        assert sorted(tmp_path.iterdir()) == before
        assert main([*asked, "--lenient"]) == 0
        assert "skipped: 1 rows" in capsys.readouterr().err
        assert len(readings_of(tmp_path / "new.sqlite")) == 1
        (tmp_path / "new.sqlite").unlink()


def test_a_journal_that_is_there_stays_as_it_is(house: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "a.csv").write_text("time,circuit,amps\n2026-05-01T06:00:00Z,D7,1\n")
    before = house.read_bytes()
    assert main(["log", "import", str(tmp_path / "a.csv"), "--journal", str(house)]) == 2
    assert "there already" in capsys.readouterr().err
    assert house.read_bytes() == before


@pytest.mark.parametrize("text", ["no parquet at all", ""])
def test_what_is_no_parquet_is_said(tmp_path: Path, text: str, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "a.parquet").write_text(text)
    assert main(["log", "import", str(tmp_path / "a.parquet"), "--journal", str(tmp_path / "new.sqlite")]) == 2
    assert "wanted a Parquet file" in capsys.readouterr().err
    with pytest.raises(ReadingsError):
        ParquetReader(tmp_path / "missing.parquet")


def test_a_parquet_file_of_another_kind_is_said(tmp_path: Path) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    pq.write_table(pa.table({"when": [1, 2], "what": ["a", "b"]}), tmp_path / "other.parquet")
    with pytest.raises(ReadingsError, match="wanted time and circuit"):
        ParquetReader(tmp_path / "other.parquet")
    pq.write_table(pa.table({"time": ["noon"], "circuit": ["D7"], "amps": ["many"]}), tmp_path / "words.parquet")
    with pytest.raises(ReadingsError):
        list(ParquetReader(tmp_path / "words.parquet"))


def test_alarms_and_notes_go_along_in_lines_and_are_no_readings(house: Path, tmp_path: Path) -> None:
    from journal.journals import message, transition

    with closing(Journal.open(house)) as journal:
        made = transition("a1")
        made.object.update(time=T0 / 1000, circuit="D7")
        journal.commit([made], [message("a1")])
        journal.changed([{"at_ms": T0, "kind": "note", "who": "Kari", "why": "it smells", "circuit": None}])
        journal.commit()
    out = tmp_path / "a.jsonl"
    assert main(["log", "export", "--journal", str(house), "--out", str(out), "--alarms"]) == 0
    last = [json.loads(line) for line in out.read_text().splitlines()[-2:]]
    assert last[0]["alarm"]["id"] == "a1"
    assert last[1]["note"]["why"] == "it smells"
    assert main(["log", "import", str(out), "--journal", str(tmp_path / "new.sqlite")]) == 0
    assert readings_of(tmp_path / "new.sqlite") == readings_of(house)


def test_ctrl_c_leaves_nothing_behind(tmp_path: Path) -> None:
    """Rows without end on standard input; SIGINT as a terminal sends it."""
    command = interrupted.command("log", "import", "-", "--journal", str(tmp_path / "new.sqlite"))
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stderr=subprocess.PIPE)
    assert process.stdin is not None
    os.set_blocking(process.stdin.fileno(), True)
    process.stdin.write(b"time,circuit,amps\n")
    end_s = time.monotonic() + 20
    row = 0
    while not any(tmp_path.iterdir()) and time.monotonic() < end_s:
        process.stdin.write(b"".join(b"%d,D7,1\n" % (T0 // 1000 + row + n) for n in range(1000)))
        process.stdin.flush()
        row += 1000
    assert any(tmp_path.iterdir()), "it writes beside its target"
    process.send_signal(signal.SIGINT)
    with suppress(BrokenPipeError):
        process.stdin.close()
    assert process.wait(20) == 130
    assert list(tmp_path.iterdir()) == []
    assert process.stderr is not None
    assert b"Traceback" not in process.stderr.read()
    process.stderr.close()
