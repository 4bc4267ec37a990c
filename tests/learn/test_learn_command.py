"""`panelward learn` over a real journal, as a nightly job and as a person runs it."""

from __future__ import annotations

import json
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from random import Random

import pytest

from learn.test_learn import heating
from panelward.commands import main
from panelward.journal import Journal
from panelward.records import Reading
from panelward.schedule.profile import load_profile, path_of

SCHEDULE = """
[vehicle]
name = "Survey van"
[broker]
host = "127.0.0.1"
[[monitor]]
name = "dc"
dialect = "plain"
topic = "van/{circuit}/{quantity}"
expect_every_s = 60
sense = { resolution_a = 0.01 }
[supply.house]
kind = "dc"
nominal_v = 12.8
[[circuit]]
id = "D5"
label = "Tank heater"
supply = "house"
feed = "switched"
protection = { kind = "blade-fuse", type = "C", rating_a = 15 }
[circuit.load]
kind = "heater-element"
behaves = "constant-impedance"
standby_w = { max = 4.0 }
levels = [ { name = "heating", watts = 80, tolerance = 0.2 } ]
"""
T0 = 1_777_615_200_000


@pytest.fixture
def lived(tmp_path: Path) -> tuple[Path, Path]:
    """A schedule and the journal of ten days."""
    schedule, journal_path = tmp_path / "van.toml", tmp_path / "j.sqlite"
    schedule.write_text(SCHEDULE)
    journal = Journal.open(journal_path)
    draw, rng = heating(78), Random(1)
    for n in range(10 * 1440):
        at_ms = T0 + n * 60_000
        journal.append(Reading("D5", at_ms, at_ms, volts=13.0, amps=round(draw(n * 60.0, 13.0, rng), 2)))
    journal.commit()
    journal.close()
    return schedule, journal_path


def test_a_nightly_run_narrows_and_is_taken_back_by_a_person(
    lived: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    schedule, journal = lived
    args = ["learn", "--schedule", str(schedule), "--journal", str(journal)]
    assert main(args) == 0
    out = capsys.readouterr().out
    assert max(map(len, out.splitlines())) <= 80
    assert "D5: heating: 80 W ± 20 % becomes 78" in out
    assert "Taken: of " in out
    assert "Version 1 of the profile, 2026-05-11 05:59Z: narrower, taken by itself." in out
    profile = schedule.with_suffix(".profile.json")
    found = json.loads(profile.read_text())
    assert (found["in_force"], found["versions"][0]["by"]) == (1, "")

    assert main([*args, "--json"]) == 0  # a second night has nothing to add
    again = json.loads(capsys.readouterr().out)
    assert again["in_force"] == 1

    assert main([*args, "--revert", "0"]) == 0
    assert json.loads(profile.read_text())["in_force"] == 0
    assert main([*args, "--revert", "9"]) == 2
    assert "wanted one of 0, 1; found 9" in capsys.readouterr().err


def test_what_widens_wants_a_name_and_something_that_waits(
    lived: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    schedule, journal = lived
    args = ["learn", "--schedule", str(schedule), "--journal", str(journal)]
    assert main([*args, "--accept", "D5"]) == 2
    assert "--who" in capsys.readouterr().err
    assert main([*args, "--accept", "D5", "--who", "Ada Fitter"]) == 2
    assert "nothing is proposed for 'D5'" in capsys.readouterr().err
    assert not schedule.with_suffix(".profile.json").exists()


def test_without_time_it_says_so_and_changes_nothing(lived: tuple[Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    schedule, journal = lived
    assert main(["learn", "--schedule", str(schedule), "--journal", str(journal), "--seconds", "0"]) == 0
    assert "D5: nothing learned: no time left." in capsys.readouterr().out
    assert not schedule.with_suffix(".profile.json").exists()


def test_a_profile_that_was_changed_by_hand_is_refused(lived: tuple[Path, Path], capsys: pytest.CaptureFixture[str]) -> None:
    schedule, journal = lived
    args = ["learn", "--schedule", str(schedule), "--journal", str(journal)]
    assert main(args) == 0
    profile = schedule.with_suffix(".profile.json")
    profile.write_text(profile.read_text().replace('"by": ""', '"by": "me"'))
    before = profile.read_text()
    assert main(args) == 2
    assert "changed by hand" in " ".join(capsys.readouterr().err.split())
    assert profile.read_text() == before


def test_a_replacement_in_the_journal_ends_what_was_learned(
    lived: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    schedule, path = lived
    args = ["learn", "--schedule", str(schedule), "--journal", str(path)]
    assert main(args) == 0
    journal = Journal.open(path)
    at_ms = T0 + 10 * 86_400_000
    for n in range(1, 300):
        later_ms = at_ms + n * 60_000
        journal.append(Reading("D5", later_ms, later_ms, volts=13.0, amps=0.06))
    for each in ({"circuit": "D5", "part": "load"}, {"circuit": "D5", "part": "device"}):
        journal.replaced([each | {"at_ms": at_ms, "what": "", "who": "Kari"}])
    journal.commit()
    journal.close()
    capsys.readouterr()
    assert main(args) == 0
    out = capsys.readouterr().out
    assert "Version 2 of the profile, 2026-05-11 10:59Z: without D5, whose load was replaced." in out
    assert "what was before does not count" in " ".join(out.split())
    found = json.loads(schedule.with_suffix(".profile.json").read_text())
    assert (found["in_force"], found["versions"][1]["circuits"]) == (2, {})
    assert main(["replaced", "--list", "--json", "--schedule", str(schedule), "--journal", str(path)]) == 0
    assert [json.loads(line)["part"] for line in capsys.readouterr().out.splitlines()] == ["load", "device"]


def test_a_profile_that_can_not_be_written_is_said_and_the_old_one_stays(
    lived: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    schedule, journal = lived
    profile = schedule.with_suffix(".profile.json")
    (schedule.parent / f"{profile.name}.new").mkdir()  # what is written first can't be
    assert main(["learn", "--schedule", str(schedule), "--journal", str(journal)]) == 3
    assert "can't be written" in " ".join(capsys.readouterr().err.split())
    assert not profile.exists()


@pytest.mark.parametrize("seconds", [0.2, 0.6, 1.2])
def test_ended_at_any_moment_nothing_is_half_written(lived: tuple[Path, Path], seconds: float) -> None:
    schedule, journal = lived
    command = [sys.executable, "-m", "panelward", "learn", "--schedule", str(schedule), "--journal", str(journal)]
    night = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    with suppress(subprocess.TimeoutExpired):
        night.wait(seconds)
    night.kill()
    night.wait()
    book, _ = load_profile(path_of(schedule), "survey-van")
    assert book.in_force in (0, 1)
    assert main(["learn", "--schedule", str(schedule), "--journal", str(journal)]) == 0
    assert load_profile(path_of(schedule), "survey-van")[0].in_force == 1
