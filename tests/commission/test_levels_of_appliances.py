"""Levels of measured appliances: an hour of each draw in tests/reference/appliances.json (ACSF1), read every 10 s.

The reference is where ruptures' exact partition cuts them (change_points.json): a stretch of ten readings or more whose
readings lie within 5 % is a level that anybody would see.
"""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path
from statistics import fmean, pstdev
from typing import Any

import pytest
from benches import START_MS

from panelward.commission.figures import BAND, measured, pools
from panelward.commission.runs import Channel
from panelward.records import Measured, Reading

REFERENCE = Path(__file__).resolve().parents[1] / "reference"
CUT: list[dict[str, Any]] = json.loads((REFERENCE / "change_points.json").read_text())["draws"]
DRAWS: list[dict[str, Any]] = json.loads((REFERENCE / "appliances.json").read_text())["draws"]
STEP_W, NOTHING_W = 0.5, 1.5  # of a fine meter on 230 V
NAMES = [f"{draw['class']}-{draw['trace']}" for draw in DRAWS]


def levels(watts: list[float]) -> list[Measured]:
    channel = Channel("D1", 230.0, 0.0, STEP_W, NOTHING_W, 60_000, 20_000)
    for n, w in enumerate(watts):
        at_ms = START_MS + n * 10_000
        channel.take(Reading("D1", at_ms, at_ms, watts=w))
    return [measured(pool, "level", channel, BAND) for pool in pools(channel)]


def standing(watts: list[float], changes: list[int]) -> list[float]:
    """The mean of each stretch that stands."""
    bounds = [0, *changes, len(watts)]
    pieces = [watts[a:b] for a, b in pairwise(bounds) if b - a >= 10]
    return [fmean(p) for p in pieces if pstdev(p) <= 0.05 * fmean(p) and fmean(p) > NOTHING_W]


def test_the_draws_are_cut_in_the_same_order() -> None:
    assert [(c["class"], c["trace"]) for c in CUT] == [(d["class"], d["trace"]) for d in DRAWS]
    assert sum(len(standing(d["watts"], c["changes"])) for c, d in zip(CUT, DRAWS, strict=True)) == 37


@pytest.mark.parametrize(("cut", "draw"), list(zip(CUT, DRAWS, strict=True)), ids=NAMES)
def test_whatever_stands_lies_within_a_level_of_the_record(cut: dict[str, Any], draw: dict[str, Any]) -> None:
    found = levels(draw["watts"])
    for watts in standing(draw["watts"], cut["changes"]):
        assert any(level.low_w <= watts <= level.high_w for level in found), watts


@pytest.mark.parametrize("draw", DRAWS, ids=NAMES)
def test_a_level_that_is_no_provisional_one_holds_its_own_readings(draw: dict[str, Any]) -> None:
    """At least nine of ten, in an interval no wider than the band; and there is one but where nothing stands."""
    firm = [level for level in levels(draw["watts"]) if not level.provisional]
    for level in firm:
        assert sum(level.low_w <= w <= level.high_w for w in draw["watts"]) >= 0.9 * level.readings
        assert level.high_w - level.low_w <= 2.0 * BAND * level.watts * (1.0 + 1e-3)
    assert firm or draw["class"] == 2


def test_what_never_stands_is_no_firm_level() -> None:
    """The twin: one that swings from reading to reading as much as it draws."""
    swinging = [100.0 + 60.0 * ((n * 7) % 11 - 5) / 5 for n in range(360)]
    assert all(level.provisional for level in levels(swinging))
