"""A review of nothing says so: no date of 1970, no sentence that could be read as calm; and other files are told from CSV."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest

from panelward.commands import main
from panelward.journal import Journal

SCHEDULE = str(Path(__file__).parents[2] / "config" / "survey-van.toml")


def test_no_reading_is_no_calm_journey_of_1970(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "r.csv").write_text("time,circuit,amps\n")
    page = tmp_path / "r.html"
    asked = ["review", "--schedule", SCHEDULE, "--readings", str(tmp_path / "r.csv")]
    assert main(asked) == 0
    assert main([*asked, "--out", str(page)]) == 0
    for text in (capsys.readouterr().out, page.read_text()):
        assert "Survey van: no readings" in text
        assert "Not known: nothing was read." in text
        assert "1970" not in text
        assert "1 Jan" not in text
        assert "No device was seen to open" not in text
        assert "asks to be told" not in text


@pytest.mark.parametrize(
    ("begins", "said"),
    [(b"PAR1....", "found a Parquet file"), (b'{"time": 1}', "found lines of JSON"), (b"SQLite format 3\0", "found a journal"),
     (b"", "found nothing: the file is empty")],
)  # fmt: skip
@pytest.mark.parametrize("command", ["review", "rehearse"])
def test_another_kind_of_file_is_said(
    tmp_path: Path, command: str, begins: bytes, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "r.csv").write_bytes(begins)
    assert main([command, "--schedule", SCHEDULE, "--readings", str(tmp_path / "r.csv")]) == 2
    told = " ".join(capsys.readouterr().err.split())
    assert said in told
    assert "lenient" not in told


def test_export_refuses_what_nobody_knows_and_half_a_consent(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with closing(Journal.open(tmp_path / "j.sqlite")):
        pass
    asked = ["log", "export", "--schedule", SCHEDULE, "--journal", str(tmp_path / "j.sqlite")]
    out = tmp_path / "o.csv"
    assert main([*asked, "--circuit", "D99", "--out", str(out)]) == 2
    assert "Did you mean D9?" in " ".join(capsys.readouterr().err.split())
    assert not out.exists()
    assert main([*asked, "--for", "", "--consent", ""]) == 2
    assert main([*asked, "--for", "the maker", "--consent", " "]) == 2
    out.write_text("mine")
    assert main([*asked, "--out", str(out)]) == 2
    assert "it is there already" in " ".join(capsys.readouterr().err.split())
    assert out.read_text() == "mine"
    assert main([*asked, "--out", str(out), "--force"]) == 0
    assert out.read_text().startswith("time,")
