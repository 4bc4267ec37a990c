"""A standby that has risen and stands there, and what only looks like it. Streams are invented."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from math import exp, pi, sin
from random import Random

import pytest

from panelward.core import Core
from panelward.records import Circuit, Commissioned, Level, Measured, Reading, Record, Schedule, Sense, Settings, Transition
from panelward.schedule.detect import detectability
from panelward.wording import alarm_object
from plans import PLAN, T0, circuit, plan

HOUR, DAY = 3600.0, 86_400.0
EVENING = 40 * HOUR  # 22:00 of the second day; T0 is 06:00
Draw = Callable[[float], float]  # amps at a moment
MODEM = circuit(
    "D1", "Modem", "electronics", standby_max_w=1.5, levels=(Level(name="sends", watts=9.0, tolerance=0.2),)
)  # fmt: skip
SOCKET = circuit("D1", "Rear socket", "socket")


def panel(own: Circuit, resolution_a: float = 0.01, publishes: str = "always", period_s: float = 30.0) -> Schedule:
    sense = Sense(resolution_a=resolution_a, publishes=publishes)
    monitor = replace(PLAN.monitors[0], expect_every_s=period_s)
    return plan(replace(own, sense=sense), monitors=(monitor,), feeders=(), probes=())


def rests(t_s: float) -> float:
    """A modem: 0.08 A standing by, at work for a quarter of each hour of the day."""
    hour = (t_s / HOUR + 6.0) % 24.0
    return 0.7 if 8.0 <= hour < 22.0 and t_s % 7200 < 1800 else 0.08


def rises(by_a: float, at_s: float = EVENING, base: Draw = rests) -> Draw:
    return lambda t_s: base(t_s) + (by_a if t_s >= at_s else 0.0)


def rows(
    draw: Draw, days: float, resolution_a: float = 0.01, *, noise_a: float | None = None, volts: Draw = lambda _: 12.8,
    period_s: float = 30.0, on_change: bool = False,
) -> Iterator[Reading]:  # fmt: skip
    rng = Random(4)
    noise_a = 0.3 * resolution_a if noise_a is None else noise_a
    last = -1.0
    for n in range(int(days * DAY / period_s)):
        t_s = n * period_s
        seen = round((draw(t_s) + noise_a * rng.gauss(0.0, 1.0)) / resolution_a) * resolution_a
        if on_change and abs(seen - last) < 1.6 * resolution_a:
            continue
        last = seen
        at_ms = T0 + round(t_s * 1000)
        yield Reading("D1", at_ms, at_ms, volts=round(volts(t_s), 2), amps=round(seen, 4))


def record(watts: float) -> Record:
    standby = Measured(name="standby", watts=watts, low_w=0.9 * watts, high_w=1.1 * watts, sd_w=0.03 * watts, readings=60)
    return Record(vehicle="survey-van", version=1, made_ms=T0, who="Ada Fitter", instrument="clamp",
                  circuits=(Commissioned(circuit="D1", zero_a=0.0, standby=standby),))  # fmt: skip


def drains(schedule: Schedule, readings: Iterator[Reading], kept: Record | None = None) -> list[Transition]:
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=schedule, started=True, record=kept))
    found = [x for row in readings for x in core.feed(row) if isinstance(x, Transition)]
    return [x for x in found if x.kind == "standby-drain"]


def hours(found: Transition) -> float:
    return (found.at_ms - T0) / 3.6e6


@pytest.mark.parametrize(
    ("resolution_a", "by_a"), [(0.001, 0.1), (0.01, 0.1), (0.05, 0.1), (0.1, 0.2)]
)  # fmt: skip
@pytest.mark.parametrize("own", [MODEM, SOCKET])
def test_a_tenth_of_an_ampere_is_told_before_the_morning(resolution_a: float, by_a: float, own: Circuit) -> None:
    found = drains(panel(own, resolution_a), rows(rises(by_a), 2.1, resolution_a))
    assert [(x.event, x.priority) for x in found] == [("begins", "medium")]
    assert 40.0 < hours(found[0]) < 50.0


def test_one_step_of_its_sensing_that_nothing_dithers_may_be_next_to_nothing() -> None:
    """0.1 A on steps of 0.1 A: any rise from nought to 0.2 A reads so. Nothing is claimed."""
    assert drains(panel(SOCKET, 0.1), rows(rises(0.1), 3.1, 0.1, noise_a=0.0)) == []


@pytest.mark.parametrize("resolution_a", [0.001, 0.01])
def test_thirty_milliamperes_are_told_after_three_nights_and_not_after_one(resolution_a: float) -> None:
    found = drains(panel(MODEM, resolution_a), rows(rises(0.032), 4.1, resolution_a))
    assert [x.event for x in found] == ["begins"]
    assert 64.0 < hours(found[0]) < 98.0
    assert dict(found[0].figures)["why"] == "raised"


def test_an_on_change_publisher_that_says_nothing_all_night_is_told_too() -> None:
    schedule = panel(MODEM, 0.01, "on-change")
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=schedule, started=True))
    found = [x for row in rows(rises(0.09), 1.7, noise_a=0.0, on_change=True) for x in core.feed(row)]
    found += core.advance(T0 + round(50 * HOUR * 1000))
    told = [x for x in found if isinstance(x, Transition) and x.kind == "standby-drain"]
    assert [(x.event, hours(x) < 48.0) for x in told] == [("begins", True)]


def taper(t_s: float) -> float:
    """From 21:00 on a charge: full for half an hour, then less and less over the night."""
    since = t_s - 39 * HOUR
    return rests(t_s) + (0.0 if since < 0 else 1.5 if since < 1800 else 1.5 * exp(-(since - 1800) / 6000))


def fold(t_s: float) -> float:
    return rests(t_s) / (12.8 + 0.9 * sin(2 * pi * t_s / DAY)) * 12.8


INNOCENT: dict[str, tuple[Draw, Draw]] = {
    "a zero that goes with 30 K of the day": (lambda t: rests(t) + 0.0075 * (1 + sin(2 * pi * t / DAY)), lambda _: 12.8),
    "a load in a warmer night": (lambda t: rests(t) * (1.12 if t > EVENING else 1.0), lambda _: 12.8),
    "a charge that tapers all night": (taper, lambda _: 12.8),
    "an update of an hour and a half": (lambda t: rests(t) + (0.3 if 44 * HOUR <= t < 45.5 * HOUR else 0.0), lambda _: 12.8),
    "a converter on a bus that swings": (
        lambda t: rests(t) * 12.8 / (13.4 + 1.2 * sin(2 * pi * t / DAY)), lambda t: 13.4 + 1.2 * sin(2 * pi * t / DAY)
    ),
    "a resistor on a bus that swings": (
        lambda t: rests(t) * (13.4 + 1.2 * sin(2 * pi * t / DAY)) / 12.8, lambda t: 13.4 + 1.2 * sin(2 * pi * t / DAY)
    ),
    "one that is charged from the second day on": (
        lambda t: rests(t) * (14.4 / 12.3 if t > EVENING else 1.0), lambda t: 14.4 if t > EVENING else 12.3
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", INNOCENT)
@pytest.mark.parametrize("resolution_a", [0.001, 0.01, 0.05])
def test_what_only_looks_like_it(name: str, resolution_a: float) -> None:
    draw, volts = INNOCENT[name]
    assert drains(panel(MODEM, resolution_a), rows(draw, 4.1, resolution_a, volts=volts)) == []
    if resolution_a < 0.05:
        assert drains(panel(SOCKET, resolution_a), rows(draw, 4.1, resolution_a, volts=volts)) == []


def test_a_person_who_works_late_is_no_drain() -> None:
    assert drains(panel(SOCKET), rows(lambda t: rests(t) + (0.2 if EVENING <= t < EVENING + 5 * HOUR else 0.0), 4.1)) == []


def test_a_slow_rise_is_held_against_the_first_days() -> None:
    """4 mA a day for three weeks: no day differs from the one before, the anchor does not follow."""
    found = drains(panel(MODEM), rows(lambda t: rests(t) + 0.004 * t / DAY, 21, period_s=60.0))
    assert [x.event for x in found] == ["begins"]
    assert 8 * 24 < hours(found[0]) < 20 * 24


def test_a_fault_of_the_first_day_is_known_to_the_record_alone() -> None:
    high = rises(0.12, 0.0)
    plain = circuit("D1", "Modem", "electronics", standby_max_w=4.0, levels=MODEM.loads[0].levels)
    assert drains(panel(plain), rows(high, 3.1)) == []
    found = drains(panel(plain), rows(high, 3.1), record(0.08 * 12.8))
    assert [x.event for x in found] == ["begins"]
    assert hours(found[0]) < 24.0


def test_what_stands_every_night_and_ends_by_itself_is_said_once() -> None:
    """A radio by a bed from 22:00 to 07:00, on a socket: after the first night it must last longer."""
    draw: Draw = lambda t: rests(t) + (0.25 if (t / HOUR + 6) % 24 >= 22 or (t / HOUR + 6) % 24 < 7 else 0.0)  # noqa: E731
    quiet = lambda t: draw(t) if t > 30 * HOUR else rests(t)  # noqa: E731
    found = drains(panel(SOCKET), rows(quiet, 6.1))
    assert len([x for x in found if x.event in ("begins", "begins-again")]) <= 1


def test_a_load_that_never_rests_has_no_anchor() -> None:
    rng = Random(2)
    level = {n: rng.choice((0.35, 0.5, 0.7)) for n in range(400)}
    busy = lambda t: level[int(t // 2700)] if t % 2700 > 30 else 0.08  # noqa: E731
    assert drains(panel(MODEM), rows(busy, 8.1)) == []


def test_a_device_that_the_schedule_names_since_begins_anew() -> None:
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=panel(MODEM), started=True))
    inputs = list(rows(rises(0.05), 4.1))
    cut = next(n for n, row in enumerate(inputs) if row.received_ms >= T0 + EVENING * 1000)
    for row in inputs[:cut]:
        core.feed(row)
    more = replace(MODEM, loads=(replace(MODEM.loads[0], standby_max_w=2.5),))
    core.feed(Settings(received_ms=inputs[cut].received_ms, schedule=panel(more)))
    found = [x for row in inputs[cut:] for x in core.feed(row) if isinstance(x, Transition)]
    assert [x for x in found if x.kind == "standby-drain"] == []


def test_what_it_says_and_that_it_ends() -> None:
    schedule = panel(SOCKET)
    ends = lambda t: rises(0.2)(t) if t < 49 * HOUR else rests(t)  # noqa: E731
    found = drains(schedule, rows(ends, 2.3))
    assert [x.event for x in found] == ["begins", "ends"]
    assert hours(found[1]) - 49.0 < 0.1
    figures = dict(found[0].figures)
    assert figures["draw_a"] == pytest.approx(0.28, abs=0.02)
    # By hand: 170 usable Ah at 0.28 A are 25.3 days, at 0.08 A 88.5.
    assert figures["days_left"] == pytest.approx(170 / 0.28 / 24, rel=0.08)
    assert figures["days_without"] == pytest.approx(170 / 0.08 / 24, rel=0.1)
    assert figures["excess_ah"] == pytest.approx(0.2 * 6.0, rel=0.25)
    said = alarm_object(found[0], schedule)
    assert said["message"].startswith("Look what was left on at Rear socket: it draws 3.")
    assert any(line.startswith("Standing by it drew 1") and "in its first days" in line for line in said["evidence"])
    assert any(line.startswith("Without this, ") for line in said["evidence"])


@pytest.mark.parametrize("publishes", ["always", "on-change"])
@pytest.mark.parametrize("cut_h", [10.0, 30.0, 44.3, 47.0])
def test_saved_and_restored_it_says_the_same(publishes: str, cut_h: float) -> None:
    schedule, quiet = panel(MODEM, 0.01, publishes), publishes == "on-change"
    whole, first, second = Core(), Core(), Core()
    for core in (whole, first):
        core.feed(Settings(received_ms=T0, schedule=schedule, started=True))
    inputs = list(rows(rises(0.09), 2.2, on_change=quiet, period_s=60.0))
    cut = next(n for n, row in enumerate(inputs) if row.received_ms >= T0 + cut_h * 3.6e6)
    end_ms = inputs[-1].received_ms + 3_600_000
    expected = [x for row in inputs for x in whole.feed(row)] + whole.advance(end_ms)
    out = [x for row in inputs[:cut] for x in first.feed(row)]
    second.restore(json.loads(json.dumps(first.save())), schedule, silence_from_start=False)
    out += [x for row in inputs[cut:] for x in second.feed(row)] + second.advance(end_ms)
    assert out == expected
    assert any(isinstance(x, Transition) and x.kind == "standby-drain" for x in out)
    assert json.dumps(second.save()) == json.dumps(whole.save())


@pytest.mark.parametrize("resolution_a", [0.001, 0.01, 0.05])
def test_what_detect_promises_is_kept(resolution_a: float) -> None:
    schedule = panel(SOCKET, resolution_a)
    said = next(x for x in detectability(schedule) if x.what == "a standby that has risen")
    least_a = float(said.why.split()[0])
    found = drains(schedule, rows(rises(1.1 * least_a), 2.1, resolution_a))
    assert [x.event for x in found] == ["begins"]
    assert hours(found[0]) - EVENING / HOUR <= (said.within_s or 0.0) / HOUR
    lamp = panel(circuit("D1", "Lamp", "light"), resolution_a)
    assert [x.can for x in detectability(lamp) if x.what == said.what] == ["no"]
    assert drains(lamp, rows(rises(1.1 * least_a), 2.1, resolution_a)) == []
