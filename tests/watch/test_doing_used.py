"""What the vehicle is doing, where it excuses or tells: each beside the same stream where nothing is known of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import pytest
from coolers import DAY, HOUR, MIDNIGHT, Cooler, Fault, Weather, leak_runs, pump_readings, readings, schedule

from panelward.records import Circuit, Level, Reading, Request, Schedule, Transition
from plans import BUS, PLAN, T0, circuit, plan, run, stream
from watch.test_idling import INVERTER, panel
from watch.test_idling import rows as ac_rows

PUMP = circuit("D4", "Water pump", "pump", levels=(Level(name="pumping", watts=62),), longest_run_s=600.0)
TOOLS = circuit("D3", "Tool charger", "charger", standby_max_w=1.0, levels=(Level(name="charging", watts=60),))
ENGINE = Circuit(
    id="A1", label="Driving charger", monitor="dc", supply="house", sense=BUS, role="charger", source="engine"
)  # fmt: skip


def said(presence: str, at_ms: int) -> Request:
    return Request(kind="presence", received_ms=at_ms, id="1", presence=presence, who="Kari")


def told(where: Schedule, rows: Iterable[Reading], *words: Request, group: str) -> list[tuple[str, str]]:
    inputs: list[Reading | Request] = sorted([*words, *rows], key=lambda each: each.received_ms)
    found = run(where, inputs)
    return [(t.kind, t.event) for t in found if isinstance(t, Transition) and t.group == group]


def let_out(seed: int, days: float, from_day: float) -> Iterator[Reading]:
    """A refrigerator that stands shut at its warmest; from a day on it is set colder, and people open it."""
    cooler = Cooler(seed, Weather(20.0, seed=seed), people=0)
    cold_c, cooler.set_c = cooler.set_c, 10.0
    for reading in readings(cooler, days * DAY, Fault()):
        if reading.received_ms - MIDNIGHT >= from_day * DAY * 1000:
            cooler.people, cooler.set_c = 20.0, cold_c
        yield reading


@pytest.mark.parametrize(("word", "seed"), [("laid-up", 1), ("nobody-aboard", 2)])
def test_what_a_refrigerator_does_with_nobody_aboard_is_no_habit_of_people(word: str, seed: int) -> None:
    rows = list(let_out(seed, 11, 8))
    back = said("aboard", MIDNIGHT + round(8 * DAY * 1000))
    assert told(schedule(), rows, group="rhythm")[:1] == [("duty-high", "begins")]
    assert told(schedule(), rows, said(word, MIDNIGHT), back, group="rhythm") == []


def test_a_fault_with_nobody_aboard_is_told_by_the_habit_from_before() -> None:
    at_s = 6 * DAY + 8 * HOUR
    rows = list(readings(Cooler(2, Weather(22.0, seed=2)), at_s + 40 * HOUR, Fault("iced", at_s, 0.6, 20 * HOUR)))
    away = said("laid-up", MIDNIGHT + round(6 * DAY * 1000))
    assert told(schedule(), rows, away, group="rhythm")[:1] == [("duty-high", "begins")]


@pytest.mark.parametrize(("word", "kinds"), [("nobody-aboard", ["short-cycling"]), ("aboard", []), ("", [])])
def test_four_even_pauses_by_day_are_a_leak_where_nobody_can_draw_water(word: str, kinds: list[str]) -> None:
    runs = leak_runs(1, 11 * HOUR, 11 * HOUR + 4.5 * 900, 900.0, 6.0)
    words = [said(word, MIDNIGHT)] if word else []
    found = told(plan(PUMP), pump_readings(runs, 13 * HOUR), *words, group="rhythm")
    assert [kind for kind, event in found if event == "begins"] == kinds


HOURS = replace(INVERTER, loads=(replace(INVERTER.loads[0], hours=((420, 1200),)),))  # from 7 to 20 h, in UTC; T0 is 6 h


@pytest.mark.parametrize(("word", "kinds"), [("nobody-aboard", ["standby-drain"]), ("aboard", []), ("", [])])
def test_an_inverter_within_its_hours_is_left_on_where_nobody_is_aboard(word: str, kinds: list[str]) -> None:
    own = panel(10.0)
    own = replace(own, circuits=(HOURS, *own.circuits[1:]))
    rows = ac_rows(lambda _: 0.0, lambda _: 0.0, lambda t: float(t > HOUR), 5)
    words = [said(word, T0)] if word else []
    assert [kind for kind, event in told(own, rows, *words, group="drain") if event == "begins"] == kinds


def test_somebody_who_comes_back_within_its_hours_ends_it_and_what_runs_from_it_begins_none() -> None:
    own = panel(10.0)
    own = replace(own, circuits=(HOURS, *own.circuits[1:]))
    away, back = said("nobody-aboard", T0), said("aboard", T0 + round(4 * HOUR * 1000))
    rows = list(ac_rows(lambda _: 0.0, lambda _: 0.0, lambda t: float(t > HOUR), 5))
    assert [event for _, event in told(own, rows, away, back, group="drain")] == ["begins", "ends"]
    works = ac_rows(lambda _: 0.0, lambda _: 60.0, lambda t: float(t > HOUR), 5)
    assert told(own, works, away, group="drain") == []


@pytest.mark.parametrize(("engine_a", "kinds"), [(-20.0, []), (0.0, ["standby-drain"]), (None, ["standby-drain"])])
def test_a_charger_that_tapers_under_way_is_no_drain(engine_a: float | None, kinds: list[str]) -> None:
    """Between standby and its level for three hours: with the engine's charger at work, without it, and with it not known."""
    monitor = replace(PLAN.monitors[0], expect_every_s=10.0)
    own = plan(TOOLS, ENGINE, monitors=(monitor,), probes=(), supplies=(replace(PLAN.supplies[0], meter=None),))
    rows = stream({"D3": 0.9, "A1": engine_a} if engine_a is not None else {"D3": 0.9}, 3 * HOUR, period_s=10.0)  # type: ignore[arg-type]
    assert [kind for kind, event in told(own, rows, group="drain") if event == "begins"] == kinds
