"""`panelward check` as a person or a program runs it."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import pytest
from whole import WHOLE, line_of, swapped

from panelward.commands import check

CONFIG = Path(__file__).parent.parent.parent / "config"
KEYS = ["circuit", "grade", "rule", "found", "limit", "unit", "source", "remedy", "message"]  # of the interface


def run(schedule: Path | str, *, as_json: bool = False) -> int:
    top = argparse.ArgumentParser()
    check.register(top.add_subparsers(dest="command"))
    return check.run(top.parse_args(["check", "--schedule", str(schedule), *(["--json"] if as_json else [])]))


@pytest.fixture
def wrong(tmp_path: Path) -> Path:
    """A 30 A fuse on a conductor for 20 A; a second circuit of the same label."""
    text, _ = swapped('type = "C"\nrating_a = 15\nas_found_a = 15\nas_left_a = 15', 'type = "C"\nrating_a = 30')
    text, _ = swapped("area_mm2 = 6.0", "area_mm2 = 1.0", text)
    text, _ = swapped('label = "Inverter"', 'label = "Mast lights"', text)
    file = tmp_path / "van.toml"
    file.write_text(text, encoding="utf-8")
    return file


@pytest.mark.parametrize("name", ["survey-van.toml", "minimal.toml"])
def test_nothing_but_notes_is_0(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(CONFIG / name) == 0
    out = capsys.readouterr().out
    assert "Nothing refused, nothing warned." in out
    assert "safe" not in out


def test_something_found_is_1_grouped_by_grade(wrong: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(wrong) == 1
    out, err = capsys.readouterr()
    assert err == ""
    assert out.index("Refused") < out.index("device-above-ampacity") < out.index("Warned") < out.index("labels-alike")
    assert out.index("labels-alike") < out.index("Noted") < out.index("licensed-practice")
    flat = " ".join(out.split())
    assert "Sample freezer (D1): a blade fuse of 30 A, above the" in flat
    assert "33 CFR 183.425" in flat
    assert "Nothing refused" not in flat


def test_the_text_fits_80_columns_without_colour(wrong: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(wrong)
    lines = capsys.readouterr().out.splitlines()
    assert [line for line in lines if len(line) > 80 and str(wrong) not in line] == []
    assert "\x1b" not in "".join(lines)


@pytest.mark.parametrize("name", ["survey-van.toml", "minimal.toml"])
def test_it_ends_with_the_caution(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    run(CONFIG / name)
    flat = " ".join(capsys.readouterr().out.split())
    assert flat.endswith(
        "Isolate every source before touching a panel. Replace like for like only. Local code and licensed practice win "
        "over this arithmetic. "
        "panelward watches, it does not protect: the fuse or breaker does."
    )


def test_json_is_one_object_a_line_with_the_keys_of_the_interface(wrong: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(wrong, as_json=True) == 1
    found = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert found
    assert all(list(item) == KEYS for item in found)
    assert found[0]["circuit"] == "D1"
    assert (found[0]["grade"], found[0]["rule"], found[0]["found"]) == ("refuse", "device-above-ampacity", 30)
    assert {item["grade"] for item in found} == {"refuse", "warn", "note"}
    assert run(CONFIG / "minimal.toml", as_json=True) == 0
    assert {json.loads(line)["grade"] for line in capsys.readouterr().out.splitlines()} == {"note"}


@pytest.mark.parametrize("as_json", [False, True])
def test_a_bad_schedule_is_2_with_every_fault_on_stderr(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], as_json: bool
) -> None:
    text, _ = swapped("nominal_v = 230", "nominal_v = -230")
    text, _ = swapped('feeder = "rear"', 'feeder = "raer"', text)
    file = tmp_path / "van.toml"
    file.write_text(text, encoding="utf-8")
    assert run(file, as_json=as_json) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert all(len(line) <= 80 or str(file) in line for line in err.splitlines())
    first, second = err.replace("\n  ", " ").splitlines()
    assert first.startswith(f"{file}, line {line_of(text, '-230')}: supply inverter nominal_v: wanted a number above 0")
    assert second.startswith(f"{file}, line {line_of(text, 'raer')}: circuit D5 feeder: wanted the id of a feeder (rear)")
    assert second.endswith('found "raer". Did you mean rear?')


def test_a_missing_schedule_is_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(tmp_path / "none.toml") == 2
    assert "no such file" in capsys.readouterr().err


def test_warnings_alone_are_1_and_notes_alone_0(tmp_path: Path) -> None:
    file = tmp_path / "van.toml"
    text, _ = swapped('label = "Inverter"', 'label = "Mast lights"')
    for content, code in ((text, 1), (WHOLE, 0)):
        file.write_text(content, encoding="utf-8")
        assert run(file) == code
