"""`panelward alarms --why`: each piece of evidence with its weight, the cause that was named and those that were rejected."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from panelward.commands import main
from panelward.journal import Journal, StoredTransition
from panelward.records import Transition
from panelward.wording import alarm_object
from plans import PLAN, run, stream


@pytest.fixture
def lost(tmp_path: Path) -> tuple[Path, str]:
    """A journal in which the freezer's feed was lost, and the alarm's id."""
    found = [t for t in run(PLAN, stream({"D1": lambda t: 4.0 if t < 60 else 0.0, "D7": 3.0}, 300)) if t.subject_id == "D1"]
    path = tmp_path / "journal.sqlite"
    with_file = Journal.open(path)
    with_file.commit([stored(t) for t in found])
    with_file.close()
    return path, found[0].id


def stored(t: Transition) -> StoredTransition:
    return StoredTransition(
        alarm_id=t.id, sequence=t.sequence, at_ms=t.at_ms, subject=t.subject, subject_id=t.subject_id, group=t.group,
        state=t.state, object=alarm_object(t, PLAN), number=0,
    )  # fmt: skip


def test_evidence_weights_and_causes_are_told(lost: tuple[Path, str], capsys: pytest.CaptureFixture[str]) -> None:
    path, alarm_id = lost
    assert main(["alarms", "--journal", str(path), "--why", alarm_id]) == 0
    out = capsys.readouterr().out
    assert max(len(line) for line in out.splitlines()) <= 80
    assert "feed-lost" in out
    flat = " ".join(out.split())
    assert "Even what it always draws is not seen" in flat
    assert "its fuse or breaker +0.3" in flat
    for cause in ("switched off", "its fuse or breaker", "the load itself", "the wiring", "the sensor"):
        assert cause in out
    assert "named at 85 % or more" in flat


def test_the_same_for_programs(lost: tuple[Path, str], capsys: pytest.CaptureFixture[str]) -> None:
    path, alarm_id = lost
    assert main(["alarms", "--journal", str(path), "--why", alarm_id, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["id"] == alarm_id
    assert sum(p for _, p in found["candidates"]) == pytest.approx(1.0, abs=0.03)


def test_an_id_that_is_none_is_2(lost: tuple[Path, str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["alarms", "--journal", str(lost[0]), "--why", "nothing"]) == 2
    assert "alarms --last 20" in " ".join(capsys.readouterr().err.split())
