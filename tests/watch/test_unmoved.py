"""A channel that stands still though its load stopped, by the bank's meter, and what only looks so. Streams are invented."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest

from panelward.core import Core
from panelward.records import Reading, Schedule, Sense, Settings, Transition
from panelward.wording import alarm_object
from plans import DETECTOR, FREEZER, METER, SOCKETS, T0, circuit, plan, run

COARSE = Sense(resolution_a=0.1)
LAMPS = circuit("D5", "Mast lights", "light", sense=COARSE)
VAN = plan(METER, FREEZER, SOCKETS, LAMPS, DETECTOR)
STOPS_S = 600.0

Draw = Callable[[float], float]


def freezer(t_s: float) -> float:
    """It runs and rests: the meter lives."""
    return 4.0 + 0.02 * (t_s // 2 % 3) if t_s % 1400 < 900 else 0.11


def rows(
    true: dict[str, Draw], shown: dict[str, Draw], seconds: float, *, other: Draw = lambda _: 0.03, period_s: float = 2.0,
    volts: Draw = lambda _: 13.0, meter: Callable[[float, float], float] = lambda _, total: total,
) -> Iterator[Reading]:  # fmt: skip
    """What flows, and what the channels show where that is another thing; `other` flows through no circuit."""
    for n in range(round(seconds / period_s)):
        t_s = n * period_s
        at_ms = T0 + round(t_s * 1000)
        total = other(t_s)
        for circuit_id, draw in true.items():
            total += draw(t_s)
            yield Reading(circuit_id, at_ms, at_ms, volts=volts(t_s), amps=round(shown.get(circuit_id, draw)(t_s), 2))
        yield Reading("SH", at_ms, at_ms, volts=volts(t_s), amps=round(meter(t_s, total), 2))


def until(amps: float, stops_s: float = STOPS_S, begins_s: float = 1e9) -> Draw:
    return lambda t_s: 0.0 if stops_s <= t_s < begins_s else amps


def steady(amps: float) -> Draw:
    return lambda _: amps


TRUE = {"D1": freezer, "D7": steady(3.0), "D5": until(2.0), "D6": steady(0.1)}
STUCK = {"D5": steady(2.0)}


def suspects(transitions: list[Transition]) -> list[tuple[str, str, str | None]]:
    return [(t.subject_id, t.event, t.cause) for t in transitions if t.group in ("readings", "dead")]


def test_a_channel_whose_load_stopped_by_the_meter_is_told_once_since_then_and_ends_as_it_moves() -> None:
    moves = {"D5": lambda t_s: 2.0 if t_s < 3000 else 0.0}
    found = run(VAN, rows(TRUE, moves, 3300))
    assert suspects(found) == [("D5", "begins", "stuck"), ("D5", "ends", "stuck")]
    first = found[0]
    assert abs(first.since_ms - T0 - STOPS_S * 1000) <= 6_000
    assert first.at_ms - first.since_ms <= 620_000
    assert first.priority == "low"
    said = alarm_object(first, VAN)
    assert "exactly 2 A" in said["message"]
    assert said["evidence"][0].startswith("The battery's meter fell by 2 A and stayed there")


def test_an_on_change_channel_that_is_quiet_while_the_meter_fell_is_told_too() -> None:
    quiet = replace(LAMPS, sense=replace(COARSE, publishes="on-change"))
    van = plan(METER, FREEZER, SOCKETS, quiet, DETECTOR)
    said = [r for r in rows(TRUE, STUCK, 1500) if r.circuit != "D5" or r.time_ms == T0]
    assert suspects(run(van, said)) == [("D5", "begins", "stuck")]


def fed(t_s: float, *, from_s: float = STOPS_S, until_s: float = 1e9) -> float:
    """A source on no circuit."""
    return -1.97 if from_s <= t_s < until_s else 0.03


LIT = TRUE | {"D5": steady(2.0)}  # a lamp that draws the same to its coarse digit for hours

TWINS: dict[str, tuple[Schedule, Iterator[Reading]]] = {
    "a steady lamp": (VAN, rows(LIT, {}, 7200)),
    "on a bus that moves": (VAN, rows(LIT, {}, 7200, volts=lambda t: 12.6 + 0.8 * (t // 300 % 2))),
    "its channel falls with it": (VAN, rows(TRUE, {}, 3600)),
    "it moves by a digit": (VAN, rows(LIT, {"D5": lambda t: 2.1 if t == 1000 else 2.0}, 3600, other=fed)),
    "another of no circuit stops": (VAN, rows(LIT, {}, 3600, other=lambda t: 2.03 if t < STOPS_S else 0.03)),
    "something feeds for a while": (VAN, rows(LIT, {}, 3600, other=lambda t: fed(t, until_s=1100))),
    "something feeds ever less": (VAN, rows(LIT, {}, 3600, other=lambda t: 0.03 if t < 600 else -30.0 * 0.5 ** (t / 600))),
    "something feeds on the sun": (VAN, rows(LIT, {}, 3600, other=lambda t: fed(t) * (1.0 + 0.5 * (t // 60 % 2)))),
    "something charges the bus": (VAN, rows(LIT, {}, 3600, other=fed, volts=lambda t: 13.0 if t < STOPS_S else 14.2)),
    "more is fed than before": (VAN, rows(LIT, {}, 3600, other=lambda t: -10.0 if t < STOPS_S else -12.0)),
    "something fed the bank yesterday": (
        VAN,
        rows(LIT, {}, 86_400 + 3600, other=lambda t: -9.0 if 300 <= t < 2000 else fed(t, from_s=86_400)),
    ),
    "something charged the bus yesterday": (
        VAN,
        rows(
            LIT, {}, 86_400 + 3600, other=lambda t: -9.0 if 300 <= t < 2000 else fed(t, from_s=86_400),
            volts=lambda t: 14.2 if 290 <= t < 2010 else 13.0,
        ),
    ),
    "a little was fed before": (
        VAN, rows(LIT | {"D5": steady(1.0)}, {}, 3600, other=lambda t: -0.4 if t < STOPS_S else -1.4)
    ),
    "not by its draw": (VAN, rows(LIT, {}, 3600, other=lambda t: fed(t) / 2)),
    "two of the same draw": (
        plan(METER, FREEZER, SOCKETS, LAMPS, DETECTOR, replace(LAMPS, id="D4", label="Deck lights")),
        rows(LIT | {"D4": steady(2.0)}, {}, 3600, other=fed),
    ),
    "the meter is gone": (
        plan(METER, LAMPS),
        rows({"D5": steady(2.0)}, {}, 3600, meter=lambda t, total: total if t < STOPS_S else 0.0),
    ),
}  # fmt: skip


@pytest.mark.parametrize("twin", TWINS)
def test_what_only_looks_like_a_channel_that_stands_still(twin: str) -> None:
    schedule, readings = TWINS[twin]
    assert suspects(run(schedule, readings)) == []


def test_what_a_silent_circuit_draws_is_not_known() -> None:
    """The sockets went silent at 2.1 A and were switched off then: the lamps are not blamed for it."""
    true = LIT | {"D7": lambda t_s: 2.1 + 0.01 * (t_s // 2 % 2) if t_s < 604 else 0.0}
    silent = [r for r in rows(true, {}, 3600) if r.circuit != "D7" or r.time_ms < T0 + 600_000]
    assert {(t.subject_id, t.kind) for t in run(VAN, silent)} == {("D7", "readings-overdue")}


def test_that_one_is_told_hides_no_other_later() -> None:
    """What the first leaves below nothing is not taken for a source; once it moves again the next is found."""
    moves = {"D5": lambda t_s: 2.0 if t_s < 3000 else 0.0, "D7": steady(3.0)}
    found = run(VAN, rows(TRUE | {"D7": until(3.0, 4000.0)}, moves, 5500))
    assert suspects(found) == [("D5", "begins", "stuck"), ("D5", "ends", "stuck"), ("D7", "begins", "stuck")]


def test_a_gap_of_the_meters_readings_is_no_step() -> None:
    gap = [r for r in rows(LIT, {}, 3600, other=fed) if r.circuit != "SH" or not 590_000 <= r.time_ms - T0 < 660_000]
    assert suspects([t for t in run(VAN, gap) if t.kind != "readings-overdue"]) == []


def test_it_outlives_a_restart() -> None:
    """Saved and restored in the middle of the ten minutes, nothing that follows differs."""
    whole = run(VAN, rows(TRUE, STUCK, 1500))
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=VAN, started=True))
    out = []
    for n, reading in enumerate(rows(TRUE, STUCK, 1500)):
        if n == 2000:
            kept, core = core.save(), Core()
            core.restore(kept, VAN, silence_from_start=False)
        out += core.feed(reading)
    assert [(t.at_ms, t.cause) for t in out if isinstance(t, Transition)] == [(t.at_ms, t.cause) for t in whole]
