"""`panelward alarms --last N`: N alarms, each once as it is now; programs get each step. Ids near one that is none."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from panelward.commands import main
from panelward.journal import Journal, StoredTransition
from panelward.journal.listed import last_alarms, nearest

STAMP = "20260612T0630{:02d}000Z"


def step(alarm_id: str, sequence: int, at_s: int, state: str = "unacknowledged") -> StoredTransition:
    way, group, _ = alarm_id.rsplit("-", 2)
    shown = {
        "id": alarm_id, "sequence": sequence, "time": float(at_s), "since": 1_780_000_000.0, "subject": {"circuit": way},
        "circuit": way, "group": group, "kind": "feed-lost", "event": "begins", "state": state, "priority": "high",
        "message": f"Look at {way}, {sequence}.", "evidence": [], "candidates": [], "cause": None, "circuits": [],
    }  # fmt: skip
    return StoredTransition(
        alarm_id=alarm_id, sequence=sequence, at_ms=at_s * 1000, subject="circuit", subject_id=way, group=group, state=state,
        object=shown, number=0,
    )  # fmt: skip


NAMES = ("D1-dead", "D4-dead", "D4-level", "D40-dead")
D1, D4, LATER, D40 = (f"{name}-{STAMP.format(at)}" for at, name in enumerate(NAMES, start=1))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    with_file = Journal.open(tmp_path / "journal.sqlite")
    with_file.commit(
        [
            step(D1, 1, 10), step(D4, 1, 20), step(D4, 2, 30), step(LATER, 1, 40), step(D40, 1, 50),
            step(D4, 3, 60, "acknowledged"), step(D4, 4, 70, "normal"),
        ]
    )  # fmt: skip
    with_file.close()
    return tmp_path / "journal.sqlite"


def listed(path: Path, *args: str) -> int:
    return main(["alarms", "--journal", str(path), *args])


def test_each_alarm_once_as_it_is_now(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert listed(path, "--last", "3") == 0
    out = capsys.readouterr().out
    assert [line.split()[1] for line in out.splitlines() if line.startswith("  id ")] == [LATER, D40, D4]
    assert "Look at D4, 4." in out
    assert "Look at D4, 3." not in out


def test_every_alarm_where_there_are_fewer(path: Path) -> None:
    journal = Journal.read(path)
    assert [each["id"] for each in last_alarms(journal, 20)] == [D1, LATER, D40, D4]
    journal.close()


def test_programs_get_each_step(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert listed(path, "--last", "3", "--json") == 0
    found = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [(each["id"], each["sequence"]) for each in found] == [(D40, 1), (D4, 3), (D4, 4)]


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ("D4", (D4, LATER)), ("d4-level", (LATER, D4)), (f"{D4[:-3]}", (D4, LATER)), ("D40-x", (D40,)), ("D", ()),
        ("D5-dead", ()), ("", ()),
    ],
)  # fmt: skip
def test_ids_of_the_same_circuit_are_near(asked: str, found: tuple[str, ...], path: Path) -> None:
    journal = Journal.read(path)
    assert nearest(journal, asked) == found
    journal.close()


def test_an_id_that_is_none_names_those_of_its_circuit(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert listed(path, "--why", "D4-dead-1") == 2
    said = " ".join(capsys.readouterr().err.split())
    assert f"`panelward alarms --last 20` lists them; of D4 it has {D4}, {LATER}" in said
