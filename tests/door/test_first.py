"""What the first screen is made of, without a server."""

from __future__ import annotations

import time
from dataclasses import replace

import pytest
from tests.door.served import alarm_object, present_row

from panelward.door.first import Way, first
from panelward.records import Level, Record
from panelward.records.commissioned import Commissioned, Measured
from plans import circuit, plan

PANEL = plan(
    circuit("D1", "Sample freezer", "compressor", feed="always-on", importance="life"),
    circuit("D2", "Deck lights", "light", feed="switched", levels=(Level(name="on", watts=26.0),)),
)


def made(alarms: list[dict[str, object]], **over: object) -> object:
    row = present_row(["Sample freezer", "Deck lights"], **over)  # type: ignore[arg-type]
    return first(PANEL, None, row, alarms, real_s=time.time())


def test_what_life_depends_on_comes_first_among_its_equals() -> None:
    now_s = time.time()
    alarms = [
        alarm_object("D2", "Lights.", id="b", since=now_s - 9000),
        alarm_object("D1", "Freezer.", id="a", since=now_s - 60),
    ]
    found = made(alarms)
    assert [a.sentence for a in found.asking] == ["Freezer.", "Lights."]  # type: ignore[attr-defined]
    assert [w.position for w in found.ways if w.ringed] == ["D1"]  # type: ignore[attr-defined]


def test_what_heats_a_cable_comes_before_an_older_drain_of_the_same_priority() -> None:
    now_s = time.time()
    alarms = [
        alarm_object("D2", "Drain.", id="a", since=now_s - 9000, priority="medium", kind="standby-drain"),
        alarm_object("D1", "Over.", id="b", since=now_s - 60, priority="medium", kind="overcurrent-approach"),
        alarm_object("D2", "Rhythm.", id="c", since=now_s - 9999, priority="medium", kind="duty-high"),
    ]
    plan = replace(PANEL, circuits=tuple(replace(c, importance="comfort") for c in PANEL.circuits))
    found = first(plan, None, present_row(["Sample freezer", "Deck lights"]), alarms, real_s=time.time())
    assert [a.sentence for a in found.asking] == ["Over.", "Rhythm.", "Drain."]
    assert [w.position for w in found.ways if w.ringed] == ["D1"]


def test_an_alarm_that_another_one_says_is_not_said() -> None:
    assert made([alarm_object("D1", "Freezer.", state="suppressed")]).asking == ()  # type: ignore[attr-defined]


def _measured(name: str, watts: float) -> Measured:
    return Measured(name=name, watts=watts, low_w=watts - 1, high_w=watts + 1, sd_w=0.3, readings=20)


@pytest.mark.parametrize(
    ("found", "bracket"),
    [
        (Commissioned(circuit="D2", standby=_measured("standby", 1.28), levels=(_measured("on", 25.6),)), (0.1, 2.0)),
        (Commissioned(circuit="D2", levels=(_measured("on", 25.6),)), (2.0, 2.0)),
        (Commissioned(circuit="D2", skipped="not aboard"), (None, None)),
        (Commissioned(circuit="D1", levels=(_measured("on", 25.6),)), (None, None)),  # another way
    ],
)
def test_the_bracket_is_where_it_was_when_commissioned(found: Commissioned, bracket: tuple[float | None, float | None]) -> None:
    """Watts at nominal volts over nominal volts (12.8 V)."""
    record = Record(vehicle="van", version=1, made_ms=0, who="K", instrument="clamp", circuits=(found,))
    way = first(PANEL, record, present_row(["Sample freezer", "Deck lights"]), [], real_s=time.time()).ways[1]
    volts = PANEL.supply("house").nominal_v
    expected = tuple(None if a is None else pytest.approx(a * 12.8 / volts) for a in bracket)
    assert (way.low_a, way.high_a) == expected


@pytest.mark.parametrize(
    ("amps", "place", "over"),
    [(None, None, False), (0.0, 0.0, False), (0.02, 0.0, False), (7.5, 500.0, False), (-3.0, 200.0, False),
     (15.0, 1000.0, False), (40.0, 1022.0, True)],
)  # fmt: skip
def test_the_tick(amps: float | None, place: float | None, over: bool) -> None:
    """The whole length is the rating; no reading has no place; beyond it stands past the end, in red."""
    way = Way(position="D1", label="x", rating_a=15.0, amps=amps, nothing_a=0.03)
    assert (way.place(way.amps), way.over) == (place, over)


@pytest.mark.parametrize(
    ("position", "side"), [("D1", "left"), ("D2", "right"), ("2B", "right"), ("AC", "left"), ("P1-10", "right"), ("٤", "left")]
)
def test_odd_left_even_right(position: str, side: str) -> None:
    assert replace(Way(position="", label=""), position=position).side == side


def test_nobody_watches_when_the_row_is_old_and_a_row_of_seconds_is_not() -> None:
    row = present_row(["Sample freezer", "Deck lights"])
    assert first(PANEL, None, row, [], real_s=row["real_s"] + 20).quiet_s is None
    assert first(PANEL, None, row, [], real_s=row["real_s"] + 60).quiet_s == 60
    assert first(PANEL, None, row, [], real_s=row["real_s"] - 3600).quiet_s is None, "a clock that was set back is no silence"
