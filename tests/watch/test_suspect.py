"""Values that can't be, and their innocent twins. Scales and signs as a person sets them wrong; common practice, no source."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest

from panelward.core import Core
from panelward.records import Circuit, Level, Load, Protection, Reading, Schedule, Settings, Supply, Transition
from panelward.wording import message
from plans import DETECTOR, PLAN, SOCKETS, T0, plan, run

HOUSE = replace(PLAN.supplies[0], fault_min_a=600, fault_max_a=950)
PAD = Load(kind="heater-element", behaves="constant-impedance", levels=(Level(name="on", watts=42),))
PADS = replace(SOCKETS, id="D8", label="Tank pads", loads=(PAD,))


def van(*circuits: Circuit) -> Schedule:
    return replace(plan(*circuits), supplies=(HOUSE,))


def rows(
    of: dict[str, Callable[[float], tuple[float | None, float | None, float | None]]], seconds: float, period_s: float = 2.0
) -> Iterator[Reading]:
    """Each circuit's (volts, amps, watts) by time."""
    for n in range(int(seconds / period_s)):
        t = n * period_s
        for circuit_id, values in of.items():
            volts, amps, watts = values(t)
            at_ms = T0 + round(t * 1000)
            yield Reading(circuit_id, at_ms, at_ms, volts=volts, amps=amps, watts=watts)


def suspects(transitions: list[Transition]) -> list[tuple[str, str, str | None]]:
    return [(t.subject_id, t.event, t.cause) for t in transitions if t.kind == "reading-suspect"]


def test_milliamperes_as_amperes_are_a_scale_and_not_a_fire() -> None:
    out = run(van(SOCKETS), rows({"D7": lambda t: (13.0, 4100.0 if t >= 60 else 4.1, None)}, 300))
    assert suspects(out) == [("D7", "begins", "scale")]
    assert {t.kind for t in out} == {"reading-suspect"}
    assert message(out[0], van(SOCKETS)).startswith("Don't trust Bench sockets's figures: 4100 A can't be")


def test_a_short_seen_in_one_reading_is_no_scale() -> None:
    """600 A for one sample, then the fuse is open: it goes to the physics, and nothing is suspect."""
    out = run(van(SOCKETS), rows({"D7": lambda t: (13.0, 600.0 if t == 60 else 4.0 if t < 60 else 0.0, None)}, 200))
    assert suspects(out) == []


@pytest.mark.parametrize("volts", [24.6, 12_900.0])
def test_a_bus_far_above_its_nominal_is_a_scale(volts: float) -> None:
    assert suspects(run(van(SOCKETS), rows({"D7": lambda _: (volts, 4.0, None)}, 120))) == [("D7", "begins", "scale")]
    load_dump = rows({"D7": lambda t: (35.0 if t == 60 else 13.0, 4.0, None)}, 300)  # ISO 16750-2 4.6.4: over in 0.4 s
    assert run(van(SOCKETS), load_dump) == []


def jumped(t: float) -> float:
    """26 V for a minute on 12 V: ISO 16750-2:2023 4.3.1.2."""
    return 26.0 if 60 <= t < 120 else 12.8


def high(t: float) -> float:
    return 26.0 if t >= 60 else 12.8


ORDINARY = (12.8, 1.0, None)


def test_volts_that_several_channels_show_together_are_the_bus() -> None:
    """A jump start; for as long as it lasts its draw is still judged."""
    together = {c: lambda t: (jumped(t), 4.0, None) for c in ("D7", "D8", "D1")}
    assert run(van(SOCKETS, PADS, PLAN.circuits[1]), rows(together, 300)) == []
    heavy = together | {"D7": lambda t: (high(t), 17.6 if t >= 60 else 4.0, None), "D8": lambda t: (high(t), 4.0, None)}
    out = run(van(SOCKETS, PADS), rows({c: heavy[c] for c in ("D7", "D8")}, 200))
    assert {t.kind for t in out} == {"overcurrent-approach"}


@pytest.mark.parametrize(
    "others",
    [
        {"D8": lambda _: ORDINARY},
        {"D8": lambda _: ORDINARY, "D1": lambda _: ORDINARY},
        {"D8": lambda t: (None if t >= 60 else 12.8, 1.0, None)},  # nobody else has volts
        {"D8": lambda _: (0.0, 0.0, None), "D1": lambda _: ORDINARY},  # one is behind an open device
    ],
    ids=["one", "two", "none", "open"],
)
def test_one_channel_alone_so_high_is_a_scale_told_once(others: dict[str, Callable[[float], tuple[float | None, ...]]]) -> None:
    of = {"D7": lambda t: (high(t), 4.0, None)} | others
    out = run(van(SOCKETS, PADS, PLAN.circuits[1]), rows(of, 600))  # type: ignore[arg-type]
    assert suspects(out) == [("D7", "begins", "scale")]


def test_two_channels_of_one_wrong_scale_are_outvoted() -> None:
    of = {"D7": lambda t: (high(t), 4.0, None), "D8": lambda t: (high(t), 1.0, None)}
    of |= {c: lambda _: ORDINARY for c in ("D1", "D6")}
    out = run(van(SOCKETS, PADS, PLAN.circuits[1], DETECTOR), rows(of, 300))
    assert suspects(out) == [("D7", "begins", "scale"), ("D8", "begins", "scale")]


def test_a_bus_that_no_jump_start_gives_is_a_scale_though_all_show_it() -> None:
    """Millivolts as volts, by the whole monitor."""
    out = run(van(SOCKETS, PADS), rows({c: lambda _: (12_800.0, 1.0, None) for c in ("D7", "D8")}, 300))
    assert suspects(out) == [("D7", "begins", "scale"), ("D8", "begins", "scale")]


def test_a_jump_start_moves_nothing_that_is_known_of_the_bank() -> None:
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=van(SOCKETS, PADS), started=True))
    for reading in rows({c: lambda t: (jumped(t), 4.0, None) for c in ("D7", "D8")}, 110):
        core.feed(reading)
    assert core.watch is not None
    assert core.watch.tree.buses["house"].volts == 12.8
    assert core.watch.ways["D7"].volts == 26.0


def test_watts_that_are_not_volts_times_amps_are_said_once_and_end() -> None:
    out = run(van(SOCKETS), rows({"D7": lambda t: (13.0, 4.0, 0.052 if t < 300 else 52.0)}, 600))
    assert suspects(out) == [("D7", "begins", "watts"), ("D7", "ends", "watts")]
    assert suspects(run(van(SOCKETS), rows({"D7": lambda _: (13.0, 4.0, 50.0)}, 600))) == [], "gains differ by a few per cent"


def test_a_power_factor_is_no_disagreement() -> None:
    """True power of alternating current is half to all of volts times amps."""
    ac = Supply(id="shore", kind="ac", nominal_v=230)
    outlet = replace(SOCKETS, id="A1", supply="shore", protection=Protection(kind="breaker-b", rating_a=10))
    schedule = replace(plan(outlet), supplies=(HOUSE, ac))
    assert suspects(run(schedule, rows({"A1": lambda _: (230.0, 2.0, 276.0)}, 600))) == []
    assert suspects(run(schedule, rows({"A1": lambda _: (230.0, 2.0, 0.46)}, 600))) == [("A1", "begins", "watts")]


def test_a_sensor_the_wrong_way_round_and_a_back_feed_are_told_apart() -> None:
    always = run(van(SOCKETS), rows({"D7": lambda t: (13.0, -4.0 if t % 60 < 50 else 0.0, None)}, 1200))
    assert suspects(always) == []  # it rests in between: not twenty in a row yet
    steady = run(van(SOCKETS), rows({"D7": lambda _: (13.0, -4.0, None)}, 300))
    assert suspects(steady) == [("D7", "begins", "backwards")]
    sunny = run(van(SOCKETS), rows({"D7": lambda t: (13.0, 3.0 if t < 60 else -4.0, None)}, 300))
    assert suspects(sunny) == [("D7", "begins", "back-feed")]
    assert "stay live" in message(sunny[0], van(SOCKETS))


def test_a_charger_and_a_meter_may_give() -> None:
    charger = replace(SOCKETS, role="charger", feed=None, loads=())
    assert suspects(run(van(charger), rows({"D7": lambda _: (13.0, -8.0, None)}, 600))) == []


def swinging(t: float) -> float:
    return 12.6 + 0.8 * (t // 300 % 2)


def test_a_stuck_value_is_told_by_what_the_bus_did() -> None:
    """Pads of constant resistance must follow 0.8 V; the neighbour shows that the bus moved."""
    stuck = {"D7": lambda t: (swinging(t), 1.0, None), "D8": lambda t: (None, 3.21 if t < 2400 else 3.3 + t % 7 / 100, None)}
    out = run(van(SOCKETS, PADS), rows(stuck, 3000))
    assert suspects(out) == [("D8", "begins", "stuck"), ("D8", "ends", "stuck")]
    assert "exactly 3.2 A" in message(out[0], van(SOCKETS, PADS))


@pytest.mark.parametrize(
    ("pads", "bus", "amps"),
    [
        (PADS, lambda _: 12.8, 3.21),  # the bus stood still
        (PADS, swinging, 0.0),  # a true nothing
        (replace(PADS, loads=(replace(PAD, behaves="constant-current"),)), swinging, 3.21),  # it need not follow
        (replace(PADS, loads=(replace(PAD, kind="socket"),)), swinging, 3.21),  # nobody knows what is plugged in
        (replace(PADS, sense=replace(PADS.sense, resolution_a=0.1)), swinging, 3.2),  # too coarse to show it
        (replace(PADS, sense=replace(PADS.sense, publishes="on-change")), swinging, 3.21),
    ],
    ids=["still bus", "nothing", "constant current", "socket", "coarse", "on change"],
)
def test_innocent_twins_of_a_stuck_value(pads: Circuit, bus: Callable[[float], float], amps: float) -> None:
    out = run(van(SOCKETS, pads), rows({"D7": lambda t: (bus(t), 1.0, None), "D8": lambda _: (None, amps, None)}, 3600))
    assert suspects(out) == []


def test_a_silence_in_between_does_not_end_what_is_suspect() -> None:
    def reading(t: float) -> tuple[float | None, float | None, float | None]:
        return 13.0, -4.0, None

    first = list(rows({"D7": reading, "D1": lambda _: (13.0, 4.0, None)}, 1800))
    gap = [r for r in first if r.circuit == "D1" or not 300_000 <= r.time_ms - T0 < 900_000]
    out = run(van(PLAN.circuits[1], SOCKETS), gap)
    mine = [(t.kind, t.event) for t in out if t.subject_id == "D7"]
    assert mine[0] == ("reading-suspect", "begins")
    assert ("readings-overdue", "begins") in mine or ("readings-overdue", "changes") in mine
    assert mine[-1][0] == "reading-suspect"
    assert mine[-1][1] != "ends"


def test_what_can_not_be_is_kept_from_the_physics_in_a_backlog_too() -> None:
    """History raises nothing, and a scale that was wrong an hour ago warms no conductor now."""
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=van(SOCKETS), started=True))
    out = [o for n in range(20) for o in core.feed(Reading("D7", T0 - 3_600_000 + n * 2000, T0 + n, amps=4100.0))]
    assert out == []
    assert core.watch is not None
    assert core.watch.ways["D7"].over.cable == 0.0
