"""`panelward check --detect` as a person or a program runs it, and its one note in the plain check."""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from pathlib import Path

import pytest

from panelward.commands import check
from panelward.records import Level, Sense
from panelward.schedule import vet
from plans import METER, circuit, plan

CONFIG = Path(__file__).parent.parent.parent / "config"
SUMP = circuit("D10", "Sump pump", "pump", feed="always-on", levels=(Level(name="pumping", watts=40),))


def run(schedule: Path | str, *options: str) -> int:
    top = argparse.ArgumentParser()
    check.register(top.add_subparsers(dest="command"))
    return check.run(top.parse_args(["check", "--schedule", str(schedule), "--detect", *options]))


@pytest.mark.parametrize("name", ["survey-van.toml", "minimal.toml"])
def test_a_block_a_circuit_in_80_columns_without_colour(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(CONFIG / name) == 0
    out = capsys.readouterr().out
    lines = out.splitlines()[1:]
    assert [line for line in lines if len(line) > 80] == []
    assert "\x1b" not in out
    assert "safe" not in out.lower()
    labels = [row.split('"')[1] for row in (CONFIG / name).read_text().splitlines() if row.startswith("label")]
    assert labels
    for label in labels:
        assert sum(line.startswith(f"{label} (") for line in lines) == 1


def test_the_demo_says_what_decides(capsys: pytest.CaptureFixture[str]) -> None:
    run(CONFIG / "survey-van.toml")
    flat = " ".join(capsys.readouterr().out.split())
    assert "lost feed, within 60 s: its floor of 0.109 A against three steps of 0.01 A." in flat
    assert "lost feed: can't be watched for a lost feed: no floor, volts at the bus stay when it is lost, and how long" in flat
    assert "lost feed, within 60 s: only once its channel is known, by a start from rest" in flat, "the heater's 31 mA"
    assert "volts at the bus can't show an opened fuse" in flat


def test_json_is_one_object_a_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(CONFIG / "survey-van.toml", "--json") == 0
    rows = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert all(list(row) == ["circuit", "what", "can", "within_s", "why", "mend"] for row in rows)
    assert {row["can"] for row in rows} == {"yes", "together", "unreliable", "no"}
    assert all(row["within_s"] is None for row in rows if row["can"] == "no")
    assert len({(row["circuit"], row["what"]) for row in rows}) == len(rows)


def test_a_bad_schedule_is_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text("[vehicle]\n")
    assert run(bad) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "name" in err


def lost(*circuits: object) -> list[tuple[str, str]]:
    rules = ("floor-unknown", "floor-below-sensing", "feed-unwatched")
    return [(f.rule, f.message) for f in vet(plan(*circuits)) if f.rule in rules]  # type: ignore[arg-type]


def test_the_plain_check_says_once_what_cant_be_watched_for_a_lost_feed() -> None:
    assert lost(METER, replace(SUMP, feed="switched")) == []
    ((rule, message),) = lost(METER, SUMP)
    assert (rule, "can't be watched for a lost feed" in message) == ("floor-unknown", True)
    assert lost(METER, replace(SUMP, sense=Sense(volts_at="load"))) == []  # volts at the load show it, at rest too
    ((rule, message),) = lost(METER, replace(SUMP, sense=Sense(volts_at="load", publishes="on-change")))
    assert (rule, "at rest it goes unseen" in message) == ("floor-unknown", True)
    floored = replace(SUMP, loads=(replace(SUMP.loads[0], always_draws_w=1.0),))
    assert lost(METER, floored) == []
    ((rule, message),) = lost(METER, replace(floored, sense=Sense(resolution_a=0.05)))
    assert (rule, "can't be watched for a lost feed" in message) == ("floor-below-sensing", True)
