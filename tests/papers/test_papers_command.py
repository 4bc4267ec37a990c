"""`panelward directory` as a person runs it."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from panelward.commands import main

CONFIG = Path(__file__).parent.parent.parent / "config"
VAN = CONFIG / "survey-van.toml"
BOTH = ["panel-directory.html", "panel-directory.pdf"]


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*args: str, schedule: Path = VAN) -> int:
    return main(["directory", "--schedule", str(schedule), *args])


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_both_files_stand_in_the_current_folder(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run() == 0
    assert names(folder) == BOTH
    out, err = capsys.readouterr()
    assert "panel-directory.pdf: 16 ways, " in out
    assert "panel-directory.html: 16 ways" in out
    assert out.splitlines()[-1].startswith("Isolate every source before touching this panel.")
    assert err == ""


def test_only_the_file_named_is_written(folder: Path) -> None:
    assert run("--html", "door.html") == 0
    assert names(folder) == ["door.html"]


def test_the_hash_is_of_the_schedules_bytes(folder: Path) -> None:
    run("--date", "2026-05-01")
    short = hashlib.sha256(VAN.read_bytes()).hexdigest()[:8]
    foot = f"2026-05-01 · survey-van.toml · schedule {short}"
    assert foot in (folder / "panel-directory.html").read_text(encoding="utf-8")
    assert foot in PdfReader(folder / "panel-directory.pdf").pages[0].extract_text()


def test_labels_and_paper(folder: Path) -> None:
    run("--labels", "--paper", "letter", "--spare", "D14", "D15", "--spare", "A2")
    pages = PdfReader(BytesIO((folder / "panel-directory.pdf").read_bytes())).pages
    assert (pages[0].mediabox.width, pages[0].mediabox.height) == (612, 792)
    assert "Label strips" in pages[-1].extract_text()
    assert {"D14", "D15", "A2", "D1"} <= set(pages[-1].extract_text().split())


def test_a4(folder: Path) -> None:
    run("--paper", "a4")
    box = PdfReader(folder / "panel-directory.pdf").pages[0].mediabox
    assert (round(box.width), round(box.height)) == (595, 842)  # ISO 216: 210 x 297 mm
    assert "size: A4" in (folder / "panel-directory.html").read_text(encoding="utf-8")


def test_one_form_goes_to_stdout(folder: Path, capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    assert run("--pdf", "-", "--date", "2026-05-01") == 0
    out, err = capfdbinary.readouterr()
    assert (out[:5], out.rstrip()[-5:], err) == (b"%PDF-", b"%%EOF", b"")
    assert len(PdfReader(BytesIO(out)).pages) >= 1
    assert run("--html", "-") == 0
    out, err = capfdbinary.readouterr()
    assert (out.startswith(b"<!doctype html>"), out.endswith(b"</html>\n"), err) == (True, True, b"")
    assert names(folder) == []


@pytest.mark.parametrize("args", [("--pdf", "-", "--html", "-"), ("--pdf", "-", "--html", "a"), ("--pdf", "a", "--html", "-")])
def test_two_forms_do_not_go_to_stdout(args: tuple[str, ...], folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*args) == 2
    out, err = capsys.readouterr()
    assert (out, names(folder)) == ("", [])
    assert "stdout" in err


def test_an_empty_sheet_is_told(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bare = folder / "bare.toml"
    bare.write_text('[vehicle]\nname = "Van"\n')
    assert run("--html", "door.html", schedule=bare) == 0
    assert "the sheet is empty" in capsys.readouterr().err
    assert run("--html", "door.html", "--force", "--spare", "D1", schedule=bare) == 0
    assert capsys.readouterr().err == ""


def test_two_runs_give_the_same_bytes_whatever_the_hash_seed(folder: Path) -> None:
    for seed in ("1", "2"):
        command = [sys.executable, "-m", "panelward", "directory", "--schedule", str(VAN), "--date", "2026-05-01", "--labels"]
        named = ["--pdf", f"{seed}.pdf", "--html", f"{seed}.html"]
        subprocess.run(
            [*command, *named], check=True, env={**os.environ, "PYTHONHASHSEED": seed}, cwd=folder, capture_output=True
        )
    assert (folder / "1.pdf").read_bytes() == (folder / "2.pdf").read_bytes()
    assert (folder / "1.html").read_bytes() == (folder / "2.html").read_bytes()


def test_a_file_that_is_there_stays(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "panel-directory.html").write_text("mine")
    assert run() == 2
    assert names(folder) == ["panel-directory.html"]
    assert (folder / "panel-directory.html").read_text() == "mine"
    assert "--force" in capsys.readouterr().err
    assert run("--force") == 0
    assert (folder / "panel-directory.html").read_text().startswith("<!doctype html>")


def test_json_says_the_rows_and_writes_nothing(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--json", "--spare", "D14", "D16") == 0  # D14 and D15 are the schedule's own
    rows = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [row["position"] for row in rows] == [*(f"D{n}" for n in range(1, 17)), "A1"]
    assert rows[9]["device"] == {
        "text": "blade fuse C 7.5 A",
        "symbol": "fuse",
        "chip": "7.5",
        "colour": "brown",
        "differs": "",
    }
    assert rows[13]["spare"]
    assert names(folder) == []


@pytest.mark.parametrize(
    "args", [("--spare", "D1"), ("--spare", "D16", "d16"), ("--pdf", "same", "--html", "./same")], ids=" ".join
)
def test_what_can_not_be_asked_for_is_2(args: tuple[str, ...], folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*args) == 2
    assert names(folder) == []
    assert capsys.readouterr().err.startswith("panelward: ")


@pytest.mark.parametrize("day", ["yesterday", "2026-02-30", "20260501"])
def test_a_date_that_is_none_is_2(day: str) -> None:
    with pytest.raises(SystemExit) as left:
        run("--date", day)
    assert left.value.code == 2


def test_a_bad_schedule_is_2_with_its_faults(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = folder / "bad.toml"
    bad.write_text('[vehicle]\nname = ""\n')
    assert run(schedule=bad) == 2
    assert "bad.toml" in capsys.readouterr().err
    assert run(schedule=folder / "none.toml") == 2
    assert names(folder) == ["bad.toml"]


@pytest.mark.parametrize("name", ["missing/door.pdf", "file/door.pdf", "folder", "x" * 300 + ".pdf", "/dev/null"])
def test_where_nothing_can_be_written_is_3(name: str, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "file").write_text("")
    (folder / "folder").mkdir()
    assert run("--pdf", name, "--html", "door.html", "--force") == 3
    assert "can't be written" in capsys.readouterr().err
    assert names(folder) == ["file", "folder"]  # the page that could have been written was not begun either


def test_letters_outside_the_fonts_are_told(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    strange = folder / "van.toml"
    strange.write_text(VAN.read_text(encoding="utf-8").replace("Sample freezer", "Sample 冷凍庫"), encoding="utf-8")
    assert run(schedule=strange) == 0
    assert 'printed as "?"' in capsys.readouterr().err


def test_other_commands_do_not_pay_for_it() -> None:
    code = "import sys; from panelward.commands import parser; parser(); print('reportlab' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout == "False\n"
