"""Names that look swapped, and the innocent twins: the same look, no swap. Loads and their days are invented.

The rig's days (a simulated van, which shares no code with the watch) are judged in tests/rig.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from panelward.core import Core
from panelward.records import Level, Output, Presence, Reading, Schedule, Settings, Transition
from panelward.watch.swapped import known, profile
from panelward.wording import alarm_object, body, message
from plans import DETECTOR, FREEZER, METER, PLAN, SOCKETS, T0, circuit, plan

PUMP = circuit("D4", "Water pump", "pump", levels=(Level(name="pumping", watts=62),))
LAMPS = circuit("D5", "Deck lights", "light", levels=(Level(name="on", watts=24),))
SPOTS = circuit("D8", "Spot lights", "light", levels=(Level(name="on", watts=24),))
SUN = replace(SOCKETS, id="D13", label="Solar charger", role="charger", feed=None, loads=())
SLOW = replace(PLAN.monitors[0], expect_every_s=10)
VAN = plan(METER, FREEZER, PUMP, LAMPS, SPOTS, DETECTOR, SOCKETS, SUN, monitors=(SLOW,))
PERIOD_S = 10
HOUR = 3600

Draw = Callable[[float], float]  # watts by seconds


def pump_w(t: float) -> float:
    return 62.0 if t % 2700 < 90 else 0.0


def lamps_w(t: float) -> float:
    return 24.0 if t % (6 * HOUR) < 3 * HOUR else 0.0


def freezer_w(t: float) -> float:
    return 52.0 if t % 2400 < 700 else 1.5


def sun_w(t: float) -> float:
    return -60.0 if t % (24 * HOUR) < 9 * HOUR else 0.0


DAY: dict[str, Draw] = {
    "D1": freezer_w, "D4": pump_w, "D5": lamps_w, "D8": lambda t: lamps_w(t + HOUR), "D6": lambda _: 1.3,
    "D7": lambda t: 45.0 if t % 9000 < 1800 else 0.0, "D13": sun_w,
}  # fmt: skip


def readings(draws: dict[str, Draw], hours: float, *, start_h: float = 0.0, seed: int = 3) -> Iterator[Reading]:
    """A noisy meter: 2 % and a hundredth of an ampere, on a bus that breathes."""
    chance = Random(seed)
    for n in range(round(start_h * HOUR / PERIOD_S), round((start_h + hours) * HOUR / PERIOD_S)):
        t = n * PERIOD_S
        volts = 12.9 + 0.3 * (t // 1800 % 3)
        for circuit_id, draw in draws.items():
            watts = draw(t)
            amps = round(watts / volts * (1 + chance.gauss(0, 0.02)) + (chance.gauss(0, 0.01) if watts else 0.0), 2)
            yield Reading(circuit_id, T0 + t * 1000, T0 + t * 1000, volts=volts, amps=amps)


def swapped_at(hour: float, one: str, other: str, day: dict[str, Draw] | None = None) -> dict[str, Draw]:
    """From that hour on these two show one another's draw."""
    day = DAY if day is None else day
    a, b = day[one], day[other]
    return day | {
        one: lambda t: (b if t >= hour * HOUR else a)(t),
        other: lambda t: (a if t >= hour * HOUR else b)(t),
    }


def fed(schedule: Schedule, inputs: Iterator[Reading], core: Core | None = None) -> list[Transition]:
    out: list[Output] = []
    if core is None:
        core = Core()
    if core.watch is None:
        out += core.feed(Settings(received_ms=T0, schedule=schedule, started=True))
    for item in inputs:
        out += core.feed(item)
    return [t for t in out if isinstance(t, Transition)]


def swaps(found: list[Transition]) -> list[tuple[str, tuple[str, ...]]]:
    return [(t.event, t.circuits) for t in found if t.cause == "swapped"]


@pytest.mark.parametrize(("one", "other"), [("D4", "D5"), ("D1", "D4"), ("D5", "D6"), ("D4", "D13"), ("D1", "D13")])
def test_a_swap_is_told_once_within_a_day(one: str, other: str) -> None:
    """Target: within 24 h of data (our own choice)."""
    found = fed(VAN, readings(swapped_at(0, one, other), 30))
    told = [t for t in found if t.cause == "swapped"]
    assert [(t.circuits, t.priority) for t in told] == [((one, other), "medium")]
    assert told[0].event in ("begins", "changes")  # a charger's channel on a load was backwards before
    assert told[0].at_ms - T0 <= 24 * HOUR * 1000
    assert told[0].since_ms - T0 <= 2 * HOUR * 1000


def test_a_swap_in_the_middle_of_the_journey_is_told_with_its_hour() -> None:
    found = fed(VAN, readings(swapped_at(30, "D4", "D5"), 54))
    (told,) = [t for t in found if t.cause == "swapped"]
    assert 30 * HOUR * 1000 < told.at_ms - T0 <= 54 * HOUR * 1000
    assert abs(told.since_ms - T0 - 30 * HOUR * 1000) <= 3 * HOUR * 1000
    text = message(told, VAN)
    assert text.startswith("Don't trust the names Water pump and Deck lights: their readings look swapped since ")
    assert text.endswith("Have them checked.")
    evidence = " ".join(alarm_object(told, VAN)["evidence"])
    assert "What is named Water pump draws about 24.7 W when it runs, as Deck lights would." in evidence


def test_three_in_a_ring_are_one_alarm() -> None:
    ring = DAY | {"D1": pump_w, "D4": lamps_w, "D5": freezer_w, "D8": lambda t: 0.0}
    told = swaps(fed(VAN, readings(ring, 30)))
    assert told == [("begins", ("D1", "D4", "D5"))]


def test_it_ends_when_the_names_fit_again() -> None:
    def until(t: float, swapped: Draw, own: Draw) -> float:
        return (swapped if t < 30 * HOUR else own)(t)

    day = DAY | {"D4": lambda t: until(t, lamps_w, pump_w), "D5": lambda t: until(t, pump_w, lamps_w)}
    found = [t for t in fed(VAN, readings(day, 60)) if t.cause == "swapped"]
    assert [t.event for t in found] == ["begins", "ends"]
    assert found[1].at_ms - T0 > 40 * HOUR * 1000
    assert message(found[1], VAN).startswith("Nothing to do: Water pump's readings make sense again")


def test_a_new_load_in_the_schedule_begins_it_anew_and_a_new_label_does_not() -> None:
    core = Core()
    day = swapped_at(0, "D4", "D5")
    assert swaps(fed(VAN, readings(day, 24), core)) == [("begins", ("D4", "D5"))]
    renamed = replace(VAN, circuits=tuple(replace(c, label="Deck lamps") if c.id == "D5" else c for c in VAN.circuits))
    out = core.feed(Settings(received_ms=T0 + 24 * HOUR * 1000, schedule=renamed))
    assert out == []
    loads = {"D4": LAMPS.loads, "D5": PUMP.loads}
    mapped = replace(VAN, circuits=tuple(replace(c, loads=loads.get(c.id, c.loads)) for c in VAN.circuits))
    out = core.feed(Settings(received_ms=T0 + 24 * HOUR * 1000, schedule=mapped))
    gone = [(t.event, t.cause) for t in out if isinstance(t, Transition) and t.group == "readings"]
    assert gone == [("withdrawn", "swapped")]
    assert swaps(fed(mapped, readings(day, 30, start_h=24), core)) == []


# Innocent twins: each has the look of one half of a swap.

TWINS: dict[str, dict[str, Draw]] = {
    "an ordinary day": DAY,
    "one off all day": DAY | {"D4": lambda _: 0.0},
    "all off but one": {c: (lambda _: 0.0) for c in DAY} | {"D1": freezer_w, "D6": lambda _: 1.3},
    "a pump that was replaced": DAY | {"D4": lambda t: pump_w(t) * 24 / 62},
    "the lamps' bulbs replaced": DAY | {"D5": lambda t: lamps_w(t) * 62 / 24},
    "the lamps' at a level nobody wrote": DAY | {"D5": lambda t: lamps_w(t) * 5},
    "a freezer without a feed": DAY | {"D1": lambda t: freezer_w(t) if t < 5 * HOUR else 0.0},
    "pump left without a rest": DAY | {"D4": lambda _: 24.0},
    "pulsed lamps": DAY | {"D5": lambda t: 62.0 if t // PERIOD_S % 2 else 0.0},
    "a dimmer": DAY | {"D5": lambda t: 4.0 + 20.0 * (t // 3600 % 6) / 6},
    "all scaled by two": {c: (lambda t, d=d: 2 * d(t)) for c, d in DAY.items()},  # type: ignore[misc]
    "all scaled by a half": {c: (lambda t, d=d: d(t) / 2) for c, d in DAY.items()},  # type: ignore[misc]
    "a charger that draws a little at night": DAY | {"D13": lambda t: sun_w(t) or 1.5},
    "sockets that look like the pump": DAY | {"D7": pump_w},
    "alike circuits swapped": swapped_at(0, "D5", "D8"),
    "sockets and lamps swapped": swapped_at(0, "D5", "D7"),
}  # fmt: skip


@pytest.mark.parametrize("name", TWINS)
def test_innocent_twins(name: str) -> None:
    assert swaps(fed(VAN, readings(TWINS[name], 48))) == []


def test_two_monitors_are_not_swapped_with_each_other() -> None:
    """A lamp of one and a pump of another can't have changed places in one panel's list."""
    split = replace(
        VAN,
        monitors=(*VAN.monitors, replace(VAN.monitors[0], name="rear", topic="rear/{circuit}/{quantity}")),
        circuits=tuple(replace(c, monitor="rear") if c.id in ("D5", "D8") else c for c in VAN.circuits),
    )
    assert swaps(fed(split, readings(swapped_at(0, "D4", "D5"), 30))) == []


def test_an_hour_is_not_lasting() -> None:
    def for_an_hour(t: float, other: Draw, own: Draw) -> float:
        return (other if 10 * HOUR <= t < 11 * HOUR else own)(t)

    day = DAY | {"D1": lambda t: for_an_hour(t, lambda _: 24.0, freezer_w), "D5": lambda t: for_an_hour(t, freezer_w, lamps_w)}
    assert swaps(fed(VAN, readings(day, 30))) == []


# While it stands.


def test_it_qualifies_every_sentence_about_both() -> None:
    core = Core()
    fed(VAN, readings(swapped_at(0, "D4", "D5"), 24), core)
    stuck_on = DAY | {"D5": lambda _: 300.0, "D7": lambda _: 300.0}
    found = [t for t in fed(VAN, readings(stuck_on, 0.3, start_h=24), core) if t.kind == "overcurrent-approach"]
    by_id = {t.subject_id: t for t in found if t.event == "begins"}
    doubted, other = by_id["D5"], by_id["D7"]
    assert "names look swapped" in message(doubted, VAN)
    assert len(message(doubted, VAN)) <= 140
    text = body(alarm_object(doubted, VAN), 1)
    assert "The readings of Water pump, Deck lights look swapped: what is said of one may be about another." in text
    assert "swapped" not in message(other, VAN) + body(alarm_object(other, VAN), 2)


def test_what_a_swap_explains_is_told_by_it_alone() -> None:
    """The lamps' channel draws as a pump does, more than is listed for lamps: that is suppressed while the swap stands."""
    core = Core()
    out = fed(VAN, readings(swapped_at(0, "D4", "D5"), 30), core)
    standing = {a.key: a.state for a in core.standing() if a.condition.group == "level"}
    assert set(standing.values()) <= {"suppressed", "returned-unacknowledged"}
    swapped_ms = next(t.at_ms for t in out if t.cause == "swapped" and t.event == "begins")
    assert [t for t in out if t.group == "level" and t.told and t.at_ms > swapped_ms] == []


def test_of_a_doubted_name_no_more_than_a_half_is_sure() -> None:
    """It is about this circuit or the other. Where the names hold, the same evidence is worth what it was."""
    sure: dict[str, dict[str, float | None]] = {}
    for name, day in (("swapped", swapped_at(0, "D1", "D4")), ("as they are", DAY)):
        core = Core()
        fed(VAN, readings(day, 24), core)
        lost = {c: (lambda t, d=d: d(t) if t < 24.2 * HOUR else 0.0) for c, d in day.items() if c in ("D1", "D6")}  # type: ignore[misc]
        found = [t for t in fed(VAN, readings(day | lost, 0.5, start_h=24), core) if t.kind == "feed-lost"]
        sure[name] = {t.subject_id: t.confidence for t in found if t.event.startswith("begins")}
    assert sure["swapped"]["D1"] == 0.5
    assert (sure["as they are"]["D1"] or 0.0) > 0.9
    assert sure["swapped"]["D6"] == sure["as they are"]["D6"]
    assert (sure["as they are"]["D6"] or 0.0) > 0.9


def test_what_stood_before_the_names_were_doubted_is_no_surer_either() -> None:
    """The lamps' draw on the freezer's channel: it looks lost whenever they are off; the doubt comes while that stands."""
    found = [t for t in fed(VAN, readings(swapped_at(0, "D1", "D5"), 24)) if t.subject_id == "D1"]
    doubted = next(n for n, t in enumerate(found) if t.cause == "swapped")
    before, after = found[doubted - 1], found[doubted + 1]
    assert [(t.kind, t.event) for t in (before, after)] == [("feed-lost", "begins"), ("feed-lost", "ends")]
    assert (before.confidence or 0.0) > 0.9
    assert after.confidence == 0.5
    assert after.evidence[0][0] == "names-swapped"


def test_a_silence_in_between_does_not_end_it() -> None:
    core = Core()
    day = swapped_at(0, "D4", "D5")
    fed(VAN, readings(day, 24), core)
    without = {c: d for c, d in day.items() if c != "D4"}
    found = fed(VAN, readings(without, 1, start_h=24), core) + fed(VAN, readings(day, 1, start_h=25), core)
    mine = [(t.kind, t.event) for t in found if t.subject_id == "D4"]
    assert mine == [("readings-overdue", "changes"), ("readings-overdue", "ends"), ("reading-suspect", "begins-again")]


def test_the_profiles_of_alike_circuits_are_equal_and_each_is_a_distribution() -> None:
    supply = VAN.supplies[0]
    assert profile(LAMPS, supply) == profile(SPOTS, supply)
    for one in (FREEZER, PUMP, LAMPS, DETECTOR, SUN):
        assert known(one)
        assert sum(2.718281828459045**-x for x in profile(one, supply)[1:]) == pytest.approx(1.0)
    assert not known(SOCKETS)
    assert not known(circuit("D9", "Box"))
    assert not known(METER)


# Save and restore.

WATTS = (0.0, 1.4, 9.0, 24.0, 52.0, 62.0, -60.0)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.lists(st.tuples(st.sampled_from(["D1", "D4", "D5", "D13"]), st.sampled_from(WATTS)), min_size=30, max_size=120),
    st.data(),
)
def test_save_and_restore_in_the_middle_changes_nothing(steps: list[tuple[str, float]], data: st.DataObject) -> None:
    """Half-hours in which levels wander between channels; a swap may begin and end on the way."""
    inputs: list[Reading | Presence] = []
    now = {"D1": 52.0, "D4": 24.0, "D5": 62.0, "D13": -60.0}
    for n, (circuit_id, watts) in enumerate(steps):
        if n % 40 > 30:
            now[circuit_id] = watts
        for k in range(3):
            at_ms = T0 + n * 1_800_000 + k * 10_000
            inputs += [Reading(c, at_ms, at_ms, volts=12.8, amps=round(w / 12.8, 4)) for c, w in now.items()]
    cut = data.draw(st.integers(0, len(inputs)))
    whole, first = Core(), Core()
    for core in (whole, first):
        core.feed(Settings(received_ms=T0, schedule=VAN, started=True))
    expected = [out for item in inputs for out in whole.feed(item)]
    out = [o for item in inputs[:cut] for o in first.feed(item)]
    second = Core()
    second.restore(json.loads(json.dumps(first.save())), VAN, silence_from_start=False)
    out += [o for item in inputs[cut:] for o in second.feed(item)]
    assert out == expected
    assert json.dumps(second.save()) == json.dumps(whole.save())
