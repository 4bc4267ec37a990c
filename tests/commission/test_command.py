"""`panelward commission` as a person runs it: a real Mosquitto and the rig, or a recorded session; the file it seals."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest
from fitters import VAN
from scripts import END, FUSES, START, START_UP, SWAPPED, WHO, WHOLE, at

from brokers import free_port, running_mosquitto, wait_for
from panelward import sealed
from panelward.commands.rehearse import moment_ms
from panelward.rig import Life, Van, write

PANELWARD = [sys.executable, "-m", "panelward"]
RATE = 60


def van_at(folder: Path, port: int = 1883) -> Path:
    path = folder / "van.toml"
    path.write_text(re.sub(r"(?m)^port = \d+$", f"port = {port}", VAN.read_text(encoding="utf-8"), count=1), encoding="utf-8")
    return path


def commission(schedule: Path, answers: list[str], *more: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*PANELWARD, "commission", "--schedule", str(schedule), *more], input="".join(f"{line}\n" for line in answers),
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The hand-over with the labels of D4 and D5 swapped, as a file."""
    path = tmp_path_factory.mktemp("recorded") / "van.csv"
    life = Life(Van(str(VAN), 3, moment_ms(START)))
    life.commissioning()
    life.van.mix_up("D4", "D5")
    write(life, str(path), hours=0.4, period_s=2.0, seed=3)
    return path


def test_over_a_real_broker_both_faults_are_found_and_the_record_is_sealed(tmp_path: Path) -> None:
    with running_mosquitto(tmp_path) as port:
        schedule = van_at(tmp_path, port)
        clock = f"{START},{RATE},{time.time() + 2:.3f}"
        rig = subprocess.Popen(
            [
                *PANELWARD,
                "rig",
                "--schedule",
                str(schedule),
                "--script",
                "commissioning",
                "--swap",
                "D4",
                "D5",
                "--clock",
                clock,
            ],
            stderr=subprocess.DEVNULL,
        )
        try:
            done = commission(schedule, WHOLE, "--clock", clock)
        finally:
            rig.terminate()
            rig.wait(timeout=20)
    assert done.returncode == 1, done.stderr  # something was found
    said = re.sub(r"\s+", " ", done.stdout)
    assert "Labels swapped: Water pump is on D5 and Mast lights on D4" in said
    assert "! D5 Mast lights: 20 A was found where 10 A is scheduled (too large); 10 A is left in it." in said
    assert max(len(line) for line in done.stdout.splitlines() if str(tmp_path) not in line) <= 80  # a path may be long
    assert "\x1b" not in done.stdout
    (record,) = sealed.load(sealed.path_of(str(schedule)), "survey-van")
    assert (record.version, record.who, record.instrument) == (1, "Kari Lund", "clamp no. 3, calibrated in March")
    assert record.seal in said
    assert record.differs[0] == "The labels of D4 and D5 are swapped: Water pump is on D5, Mast lights on D4."
    assert not list(tmp_path.glob("*.commission.json"))
    taps, minutes = re.search(r"(\d+) answers, \d+ of them numbers, (\d+) min", said).groups()  # type: ignore[union-attr]
    assert int(taps) <= 30
    assert int(minutes) <= 40


def test_a_recorded_session_gives_a_record_and_a_second_one_the_next_version(tmp_path: Path, recording: Path) -> None:
    schedule = van_at(tmp_path)
    first = commission(schedule, WHOLE, "--readings", str(recording))
    assert first.returncode == 1, first.stderr
    again = commission(schedule, WHOLE, "--readings", str(recording))
    assert "version 2, sealed sha256:" in re.sub(r"\s+", " ", again.stdout)
    one, two = sealed.load(sealed.path_of(str(schedule)))
    assert (one.version, two.version, two.previous) == (1, 2, one.seal)
    assert one.circuits == two.circuits  # the same readings, the same answers


def test_one_way_is_measured_anew_and_the_rest_kept(tmp_path: Path, recording: Path) -> None:
    schedule = van_at(tmp_path)
    commission(schedule, WHOLE, "--readings", str(recording))
    answers = ["Per", "none", "", at(12), "done", "done", ""]
    done = commission(schedule, answers, "--readings", str(recording), "--redo", "D8")
    assert done.returncode == 1, done.stderr + done.stdout
    one, two = sealed.load(sealed.path_of(str(schedule)))
    assert two.who == "Per"
    for old, new in zip(one.circuits, two.circuits, strict=True):
        kept = replace(old, measured_ms=one.made_ms)  # what was not measured anew stays as old as it is
        assert (kept == new) == (old.circuit != "D8")
    fan = two.circuit("D8")
    assert fan is not None
    assert [level.name for level in fan.levels] == ["half", "middle", "full"]


def test_a_way_measured_anew_keeps_what_was_read_of_its_device(tmp_path: Path, recording: Path) -> None:
    """Nobody reads the fuse again: that 20 A was found there stays on the newest record."""
    schedule = van_at(tmp_path)
    commission(schedule, WHOLE, "--readings", str(recording))
    answers = ["Per", "none", "", at(12), "Water pump", at(18), "done", "done", "", at(21.6), ""]
    commission(schedule, answers, "--readings", str(recording), "--redo", "D5")
    versions = sealed.load(sealed.path_of(str(schedule)))
    assert len(versions) == 2
    for one in versions:
        way = one.circuit("D5")
        assert way is not None
        assert (way.as_found_a, way.as_left_a) == (20.0, 10.0)
        assert any("20 A was found where 10 A is scheduled" in text for text in one.differs)


def test_it_goes_on_after_a_stop_and_nothing_is_half_written(tmp_path: Path, recording: Path) -> None:
    schedule = van_at(tmp_path)
    stopped = commission(schedule, [*WHO, *FUSES, *START_UP, *SWAPPED, at(12.85), "stop"], "--readings", str(recording))
    assert stopped.returncode == 1
    assert "Stopped. What is done is kept in" in stopped.stdout
    kept = tmp_path / "van.commission.json"
    state = json.loads(kept.read_text(encoding="utf-8"))
    assert state["found"]["D4"] == "D5"
    assert not sealed.path_of(str(schedule)).exists()
    done = commission(schedule, END, "--readings", str(recording))
    assert "Going on: 14 devices read, " in done.stdout
    (record,) = sealed.load(sealed.path_of(str(schedule)))
    assert record.differs[0].startswith("The labels of D4 and D5 are swapped")
    fan = record.circuit("D8")
    assert fan is not None
    assert len(fan.levels) == 3  # measured before the stop
    assert not kept.exists()


def test_killed_in_the_middle_it_goes_on_too(tmp_path: Path, recording: Path) -> None:
    schedule = van_at(tmp_path)
    command = [*PANELWARD, "commission", "--schedule", str(schedule), "--readings", str(recording)]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True)
    assert process.stdin is not None
    process.stdin.write("".join(f"{line}\n" for line in [*WHO, *FUSES[:5]]))
    process.stdin.flush()
    kept = tmp_path / "van.commission.json"
    assert wait_for(lambda: kept.exists() and json.loads(kept.read_text())["as_found"].get("D5") == 20.0)
    process.kill()
    process.communicate(timeout=10)
    assert not sealed.path_of(str(schedule)).exists()
    done = commission(schedule, [*FUSES[5:], *START_UP, *SWAPPED, *END], "--readings", str(recording))
    assert done.returncode == 1, done.stderr
    (record,) = sealed.load(sealed.path_of(str(schedule)))
    lights = record.circuit("D5")
    assert lights is not None
    assert (lights.as_found_a, lights.as_left_a) == (20.0, 10.0)


def test_a_changed_byte_is_refused_everywhere(tmp_path: Path, recording: Path) -> None:
    schedule = van_at(tmp_path)
    commission(schedule, WHOLE, "--readings", str(recording))
    path = sealed.path_of(str(schedule))
    whole = path.read_text(encoding="utf-8")
    path.write_text(whole.replace("Kari", "Mari", 1), encoding="utf-8")
    for command in (
        ["commission", "--schedule", str(schedule), "--readings", str(recording)],
        ["rehearse", "--schedule", str(schedule), "--readings", str(recording), "--record", str(path)],
    ):
        done = subprocess.run([*PANELWARD, *command], input="", capture_output=True, text=True, timeout=60, check=False)
        assert done.returncode == 2
        assert "found a text that was changed after Mari Lund sealed it" in re.sub(r"\s+", " ", done.stderr)
    path.write_text(whole, encoding="utf-8")
    twin = subprocess.run([*PANELWARD, *command], capture_output=True, text=True, timeout=120, check=False)
    assert twin.returncode == 0
    assert "version 1, sha256:" in twin.stderr


def test_readings_that_end_before_it_is_done_leave_no_record(tmp_path: Path, recording: Path) -> None:
    schedule = van_at(tmp_path)
    short = tmp_path / "short.csv"
    short.write_text("".join(recording.read_text().splitlines(keepends=True)[:4000]))
    done = commission(schedule, WHOLE, "--readings", str(short))
    assert done.returncode == 1
    assert "The readings end here." in done.stdout
    assert "Stopped. What is done is kept in" in done.stdout
    assert not sealed.path_of(str(schedule)).exists()


@pytest.mark.parametrize(
    ("more", "code", "said"),
    [
        (("--redo", "D99"), 2, "--redo: wanted ways of the schedule; found 'D99'"),
        (("--redo", "D1"), 2, "is no record yet: commission the whole first"),
        (("--readings", "/nowhere.csv"), 2, "wanted a file of readings; found No such file"),
        (("--clock", "soon,60"), 2, "wanted a time, a rate"),
        ((), 3, "can't be reached"),
    ],
)
def test_what_can_not_be_used_is_said(tmp_path: Path, more: tuple[str, ...], code: int, said: str) -> None:
    done = commission(van_at(tmp_path, free_port()), [], *more)
    assert done.returncode == code, done.stdout
    assert said in re.sub(r"\s+", " ", done.stderr)


def test_what_an_unfinished_one_kept_is_refused_when_it_is_broken(tmp_path: Path, recording: Path) -> None:
    schedule = van_at(tmp_path)
    kept = tmp_path / "van.commission.json"
    kept.write_text("{", encoding="utf-8")
    done = commission(schedule, [], "--readings", str(recording))
    assert done.returncode == 2
    assert "Begin anew with --anew." in re.sub(r"\s+", " ", done.stderr)
    assert kept.read_text(encoding="utf-8") == "{"
    anew = commission(schedule, ["Kari", "stop"], "--readings", str(recording), "--anew")
    assert "Stopped." in anew.stdout
