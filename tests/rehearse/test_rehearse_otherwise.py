"""`panelward rehearse --variation, --against, --plant` as its user has it: sentences at 80 columns, JSON, exit codes."""

from __future__ import annotations

import json
import os
import signal
import subprocess
from pathlib import Path
from typing import Any

import pytest

import interrupted
from panelward.commands import main
from panelward.intake import write_table
from panelward.journal import Journal
from panelward.records import Reading, Settings
from panelward.rig import Life, Van
from panelward.schedule import load

VAN = str(Path(__file__).parents[2] / "config" / "survey-van.toml")
NOON_MS = 1_777_896_000_000  # 2026-05-04T12:00Z


def readings(hours: float = 2.0, fault: str | None = "bench-overload@15:30") -> list[Reading]:
    life = Life(Van(VAN, 3, NOON_MS))
    life.people(2, 3)
    if fault:
        life.befall(fault)
    found = []
    for n in range(int(hours * 360)):
        life.step_to(NOON_MS + n * 10_000)
        found += [
            Reading(r.circuit, r.time_ms, r.time_ms, r.volts, r.amps, r.watts, r.closed, r.celsius) for r in life.van.sample()
        ]
    return found


@pytest.fixture(scope="module")
def there(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str]:
    """The same readings as a file and as a journal."""
    home = tmp_path_factory.mktemp("van")
    found = readings()
    with open(home / "r.csv", "w", encoding="utf-8") as out:
        write_table(found, out)
    schedule, text = load(VAN)
    journal = Journal.open(home / "j.sqlite")
    journal.append(Settings(received_ms=NOON_MS, schedule=schedule, schedule_text=text, started=True))
    for reading in found:
        journal.append(reading)
    journal.commit()
    journal.close()
    return str(home / "r.csv"), str(home / "j.sqlite")


def said(capsys: pytest.CaptureFixture[str], *args: str, code: int = 0) -> str:
    assert main(["rehearse", "--schedule", VAN, *args]) == code
    out, err = capsys.readouterr()
    text = out if code == 0 else err
    assert all(len(line) <= 80 for line in text.splitlines()), [line for line in text.splitlines() if len(line) > 80]
    return " ".join(text.split())


def test_a_variation_read_aloud(capsys: pytest.CaptureFixture[str], there: tuple[str, str]) -> None:
    text = said(capsys, "--readings", there[0], "--variation", "D7 conductor 6 mm2", "--variation", "bank 280 Ah")
    assert "Varied: D7 conductor.area_mm2 4 -> 6" in text
    assert "As it is: no openings told, " in text
    assert "Bench sockets (D7): drop at the 95th percentile " in text
    assert "Bench sockets (D7): no brown-out as varied" in text
    assert "Bank of house: by counted Ah it can't be known how often it would have acted: it was never seen full" in text
    assert "local code and licensed practice win over it." in text


def test_a_file_and_a_journal_say_the_same(capsys: pytest.CaptureFixture[str], there: tuple[str, str]) -> None:
    for asked in (["--variation", "D7 conductor 6 mm2"], ["--plant", "freezer feed-lost 15:30"], ["--against", VAN]):
        one = said(capsys, "--readings", there[0], *asked)
        assert one == said(capsys, "--journal", there[1], *asked)


def test_a_variation_that_says_what_is_there_already(capsys: pytest.CaptureFixture[str], there: tuple[str, str]) -> None:
    text = said(capsys, "--readings", there[0], "--variation", "D4 conductor 2.5 mm2", "--variation", "bank 200 Ah")
    assert "Varied: nothing." in text
    assert "As varied: the same, to the letter and the millisecond." in text


def test_a_circuit_that_had_another_id_is_passed_over_and_named(
    capsys: pytest.CaptureFixture[str], there: tuple[str, str], tmp_path: Path
) -> None:
    renamed = tmp_path / "renamed.toml"
    renamed.write_text(Path(VAN).read_text().replace('id = "D8"', 'id = "D88"'))
    args = ["rehearse", "--schedule", str(renamed), "--journal", there[1], "--variation", "D4 conductor 4 mm2"]
    assert main(args) == 0
    assert "the schedule has no such circuit or probe: D8 (720)" in capsys.readouterr().err


def test_from_and_to(capsys: pytest.CaptureFixture[str], there: tuple[str, str]) -> None:
    span = ("--from", "2026-05-04T12:00Z", "--to", "2026-05-04T13:20Z")
    for source in (("--readings", there[0]), ("--journal", there[1])):
        assert "As it is: no openings told, no messages." in said(capsys, *source, *span, "--variation", "D7 conductor 6 mm2")
    turned = ("--from", "200", "--to", "100", "--plant", "D1 stuck 02:10")
    assert "is not after --from" in said(capsys, "--journal", there[1], *turned, code=2)
    assert "--from and --to go with" in said(capsys, "--journal", there[1], *span, code=2)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (
            ["--variation", "D1 fuse 20 A"],
            "refused: Sample freezer (D1): a blade fuse of 20 A, above the 15 A its load's maker",
        ),
        (["--variation", "D4 fuse 30 A"], "The limit: 24.5 A. Source: 33 CFR 183.425"),
        (["--variation", "D4 fuze 30 A"], 'understood "D4" as Water pump (D4)'),
        (["--plant", "D4 on-fire 02:10"], "The kinds are: feed-lost, switched-off"),
        (["--against", "/nowhere/other.toml"], "no such file"),
        (["--variation", "/nowhere/v.toml"], "No such file"),
    ],
)
def test_bad_input(capsys: pytest.CaptureFixture[str], there: tuple[str, str], asked: list[str], words: str) -> None:
    assert words in said(capsys, "--readings", there[0], *asked, code=2)


def test_no_reading_at_all(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    empty = tmp_path / "none.csv"
    empty.write_text("time,circuit,volts,amps\n")
    for asked in (["--variation", "D4 conductor 4 mm2"], ["--against", VAN]):
        text = said(capsys, "--readings", str(empty), *asked)
        assert "There is no reading there: nothing is compared." in text
        assert "As varied" not in text
        assert "no messages" not in text
        assert main(["rehearse", "--schedule", VAN, "--readings", str(empty), "--json", *asked]) == 0
        found = json.loads(capsys.readouterr().out)
        assert (found["readings"], found["alarms"]["identical"]) == (0, None)
    assert main(["rehearse", "--schedule", VAN, "--readings", str(empty), "--plant", "D1 feed-lost 02:10"]) == 2
    assert "the readings are none" in " ".join(capsys.readouterr().err.split())


def test_a_span_without_a_reading(capsys: pytest.CaptureFixture[str], there: tuple[str, str]) -> None:
    span = ("--from", "2026-07-01T00:00Z", "--to", "2026-07-02T00:00Z")
    text = said(capsys, "--journal", there[1], *span, "--variation", "D4 fuse 7.5 A")
    assert "There is no reading there: nothing is compared." in text
    assert "never reached" not in text


def test_a_plant_outside_the_readings_is_bad_input(capsys: pytest.CaptureFixture[str], there: tuple[str, str]) -> None:
    """What could be planted beside it is told all the same."""
    asked = ("--plant", "freezer feed-lost 15:30", "--plant", "D1 feed-lost 2027-01-01T08:00")
    assert main(["rehearse", "--schedule", VAN, "--readings", there[0], *asked]) == 2
    out, err = capsys.readouterr()
    assert "feed-lost." in " ".join(out.split())
    said_of = " ".join(err.split())
    assert '--plant "D1 feed-lost 2027-01-01T08:00": not planted: the readings go from 2026-05-04 14:00' in said_of
    assert "(2027-01-01 08:00) is not among them" in said_of


def test_json_has_what_is_said(capsys: pytest.CaptureFixture[str], there: tuple[str, str]) -> None:
    def found(*asked: str) -> Any:
        assert main(["rehearse", "--schedule", VAN, "--readings", there[0], "--json", *asked]) == 0
        return json.loads(capsys.readouterr().out, parse_constant=pytest.fail)

    one = found("--variation", "D7 conductor 6 mm2", "--variation", "bank 280 Ah")
    assert one["changes"] == ["supply house battery.capacity_ah 200 -> 280", "D7 conductor.area_mm2 4 -> 6"]
    assert one["ways"]["D7"]["before"]["drop_p95_percent"] > one["ways"]["D7"]["after"]["drop_p95_percent"] > 0
    assert one["banks"]["house"]["unknown"]
    assert one["alarms"]["before"]["messages"] >= 1
    other = found("--against", VAN)
    assert (other["changes"], other["alarms"]["identical"]) == ([], True)
    planted = found("--plant", "freezer feed-lost 15:30")["plants"][0]
    assert planted["messages"][0]["kind"] == "feed-lost"
    assert planted["messages"][0]["body"].startswith(planted["messages"][0]["message"])


def test_alternating_current_is_for_licensed_practice(capsys: pytest.CaptureFixture[str], there: tuple[str, str]) -> None:
    text = said(capsys, "--readings", there[0], "--variation", "A1 conductor 4 mm2")
    assert "Bench outlet (A1), 230 V AC. Above extra-low voltage: for a licensed person to judge and to do." in text


def test_an_interrupt_ends_it_without_a_trace(tmp_path: Path) -> None:
    """Ctrl-C while it waits for more of its standard input."""
    words = interrupted.command("rehearse", "--schedule", VAN, "--readings", "-", "--variation", "D4 length 3 m")
    child = subprocess.Popen(words, stdin=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=dict(os.environ))
    assert child.stdin is not None
    child.stdin.write("time,circuit,volts,amps\n" + "1777896000,D4,13.0,4.0\n" * 20_000)
    child.stdin.flush()
    child.send_signal(signal.SIGINT)
    _, err = child.communicate(timeout=60)
    assert child.returncode == 130
    assert "Traceback" not in err
