"""What `detect` says of a lost feed against the core itself, over a grid of sensing. Streams are made by hand."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import product
from math import ceil

import pytest

from panelward.records import Circuit, Level, Protection, Reading, Schedule, Sense, Supply, Transition
from panelward.schedule.detect import Sight, detectability
from plans import METER, PLAN, T0, circuit, plan, run

V = 12.8
LOST_AT_S = 97.0  # between two readings, for every period but the shortest
DEAD = ("feed-lost", "protection-opened")
PERIODS = (1, 2, 5, 10, 15, 20, 21, 30)
STEPS_A = (0.001, 0.01, 0.05, 0.1)
FLOORS_A = (None, 0.12, 0.5)
PLACES = ("bus", "after-device", "after-switch", "load")
DRAWING_A = 4.0

Draw = Callable[[float], float]


def schedule_of(
    period_s: float, step_a: float, floor_a: float | None, place: str, *, witness: bool = True, **sense: str
) -> Schedule:
    feed = circuit(
        "D1", "Freezer", "compressor", feed="always-on", always_draws_w=None if floor_a is None else floor_a * V,
        levels=(Level(name="running", watts=DRAWING_A * V),), sense=Sense(resolution_a=step_a, volts_at=place, **sense),
    )  # fmt: skip
    monitor = replace(PLAN.monitors[0], dialect="json", expect_every_s=period_s)
    supply = Supply(id="house", kind="dc", nominal_v=V)
    circuits = (replace(METER, sense=Sense()), feed) if witness else (feed,)
    return plan(*circuits, monitors=(monitor,), supplies=(supply,), feeders=(), probes=())


def sight(schedule: Schedule, what: str, circuit_id: str = "D1") -> Sight:
    (found,) = (s for s in detectability(schedule) if s.what == what and s.circuit == circuit_id)
    return found


def quantised(amps: float, step_a: float, error: float) -> float:
    """As the sensing shows it: in whole steps, and so many steps off."""
    return max(0.0, round(amps / step_a) * step_a + error * step_a)


def readings(schedule: Schedule, draw: Draw, seconds: float, *, lost_at_s: float, error: float = 0.0) -> Iterator[Reading]:
    """Every circuit's readings at the expected period; what is lost takes the volts behind it with it."""
    period_s = schedule.monitors[0].expect_every_s
    for n in range(ceil(seconds / period_s) + 1):
        t_s = n * period_s
        at_ms = T0 + round(t_s * 1000)
        for c in schedule.circuits:
            lost = c.id == "D1" and t_s >= lost_at_s
            amps = 3.0 if c.role == "meter" else quantised(0.0 if lost else draw(t_s), c.sense.resolution_a, error)
            volts = 0.0 if lost and c.sense.volts_at != "bus" else V
            yield Reading(c.id, at_ms, at_ms, volts=volts, amps=amps, watts=round(amps * volts, 3))


def dead(transitions: list[Transition]) -> list[Transition]:
    return [t for t in transitions if t.kind in DEAD and t.event == "begins"]


def late_s(found: Transition, period_s: float) -> float:
    """Seconds from the first reading that shows it."""
    return (found.at_ms - T0) / 1000 - ceil(LOST_AT_S / period_s) * period_s


def test_the_grid_holds_every_answer() -> None:
    """Else a test below could pass by having nothing to look at."""
    grid = product(PERIODS, STEPS_A, FLOORS_A, PLACES, (True, False))
    said = [sight(schedule_of(p, q, f, at, witness=w), "lost feed").can for p, q, f, at, w in grid]
    assert {can: said.count(can) for can in ("yes", "together", "unreliable", "no")} == {
        # 0.12 A bears steps of 1 and 10 mA (3 x 40 mA); 0.5 A all. Without a floor: by volts behind the device,
        # or by its rests.
        "yes": 8 * (2 + 4) * 4 * 2 + 8 * 4 * 3,
        "unreliable": 8 * 2 * 4 * 2,
        "together": 8 * 4 * (1 * 2 + 3),
        "no": 0,
    }


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("period_s", PERIODS)
def test_what_it_says_of_a_lost_feed_is_so(period_s: float, place: str) -> None:
    for step_a, floor_a, witness in product(STEPS_A, FLOORS_A, (True, False)):
        if place == "bus" and not witness:
            continue  # its own volts are those of the bus
        schedule = schedule_of(period_s, step_a, floor_a, place, witness=witness)
        said = sight(schedule, "lost feed")
        rest_a = floor_a or 0.0
        length_s = LOST_AT_S + (said.within_s or 120) + 4 * period_s
        from_draw = dead(run(schedule, readings(schedule, lambda _: DRAWING_A, length_s, lost_at_s=LOST_AT_S)))
        from_rest = dead(run(schedule, readings(schedule, lambda _, a=rest_a: a, length_s, lost_at_s=LOST_AT_S)))  # type: ignore[misc]
        case = (period_s, step_a, floor_a, place, witness, said)
        if said.can == "yes":
            for found in (from_draw, from_rest):
                assert [t.subject_id for t in found] == ["D1"], case
                assert said.within_s is not None
                assert late_s(found[0], period_s) <= said.within_s, case
        elif said.can == "together" and said.within_s is None:
            assert "only once its rests are learned" in said.why, case
            assert from_draw + from_rest == [], case
        elif said.can == "together":
            assert [t.subject_id for t in from_draw] == ["D1"], case
            assert said.within_s is not None
            assert late_s(from_draw[0], period_s) <= said.within_s, case
            assert from_rest == [], case
        elif said.can == "no":
            assert from_draw + from_rest == [], case


@pytest.mark.parametrize(("step_a", "floor_a"), [(q, f) for q, f in product(STEPS_A, FLOORS_A) if f])
def test_three_steps_bear_an_error_of_a_step_and_fewer_may_be_missed(step_a: float, floor_a: float) -> None:
    schedule = schedule_of(2, step_a, floor_a, "bus")
    said = sight(schedule, "lost feed")
    if said.can == "yes":
        for error in (-1.0, 1.0):
            fed = readings(schedule, lambda _: floor_a, 300, lost_at_s=1e9, error=error)
            assert dead(run(schedule, fed)) == []
            lost = readings(schedule, lambda _: floor_a, 300, lost_at_s=LOST_AT_S, error=error)
            (found,) = dead(run(schedule, lost))
            assert late_s(found, 2) <= said.within_s  # type: ignore[operator]
        return
    assert said.can == "unreliable"
    shown = max(0.0, floor_a - 1.49 * step_a)  # half a step of rounding, one of noise or zero
    fed = list(readings(schedule, lambda _: floor_a, 300, lost_at_s=1e9))
    fed = [r._replace(amps=shown, watts=round(shown * V, 3)) if r.circuit == "D1" else r for r in fed]
    assert dead(run(schedule, fed)) == [], "what may be its zero error is no lost feed"
    lost = readings(schedule, lambda _: floor_a, 300, lost_at_s=LOST_AT_S)
    assert dead(run(schedule, lost)) == [], "and so a lost feed is missed"


def test_what_its_rests_can_tell_and_where_they_can_not() -> None:
    schedule = schedule_of(2, 0.01, None, "bus")
    said = sight(schedule, "lost feed")
    assert (said.can, said.within_s) == ("together", None)
    assert "about 30 in a third of the day" in said.why
    assert "else sense volts after the device" in (said.mend or "")
    for kind in ("pump", "socket", "light", "air-heater"):
        feed = schedule.circuits[1]
        by_people = replace(feed, loads=(replace(feed.loads[0], kind=kind),))
        said = sight(replace(schedule, circuits=(schedule.circuits[0], by_people)), "lost feed")
        assert said.can == "no"
        assert said.why.startswith("can't be watched for a lost feed")


def test_a_floor_that_its_zero_error_can_hide_is_no_proof_at_first() -> None:
    """40 mA at steps of 10 mA, which may read 30 mA at no current."""
    said = sight(schedule_of(2, 0.01, 0.04, "bus"), "lost feed")
    assert said.can == "together"
    assert "0.03 A" in said.why
    assert (said.mend or "").startswith("Use a sensor with steps of at most 0.006 A.")
    assert sight(schedule_of(2, 0.006, 0.04, "bus"), "lost feed").can == "yes"
    assert sight(schedule_of(2, 0.01, 0.06, "bus"), "lost feed").can == "yes"
    assert sight(schedule_of(2, 0.05, 0.2, "bus"), "lost feed").mend == (
        "Use a sensor with steps of at most 0.045 A. Else leave always_draws_w out and sense volts after the device."
    )
    assert sight(schedule_of(2, 0.045, 0.2, "bus"), "lost feed").can == "yes"
    assert sight(schedule_of(2, 0.046, 0.2, "bus"), "lost feed").can == "together"


@pytest.mark.parametrize(("floor_a", "place"), [(0.5, "bus"), (None, "after-device"), (None, "load")])
@pytest.mark.parametrize("period_s", [2, 30])
def test_on_change_is_told_by_the_clock_after_one_reading(period_s: float, floor_a: float | None, place: str) -> None:
    schedule = schedule_of(period_s, 0.01, floor_a, place, publishes="on-change")
    said = sight(schedule, "lost feed")
    assert said.within_s == max(60, 3 * period_s)
    volts = V if place == "bus" else 0.0
    bus = [Reading("SH", T0 + ms, T0 + ms, volts=V, amps=3.0) for ms in (0, 100_000)]
    own = [Reading("D1", T0 + 1, T0 + 1, volts=V, amps=4.0), Reading("D1", T0 + 100_001, T0 + 100_001, volts=volts, amps=0.0)]
    stream = sorted(bus + own, key=lambda r: r.received_ms)
    (found,) = dead(run(schedule, stream, until_ms=T0 + 400_000))
    assert found.at_ms - (T0 + 100_001) <= 1000 * said.within_s
    plain = replace(schedule, monitors=(replace(schedule.monitors[0], dialect="plain"),))
    if floor_a is None:  # a number a topic: the last amps may be paired with the volts before
        assert sight(plain, "lost feed").can == "unreliable"
        apart = [*bus, own[0], own[1]._replace(volts=None), Reading("D1", T0 + 100_002, T0 + 100_002, volts=0.0)]
        assert dead(run(plain, sorted(apart, key=lambda r: r.received_ms), until_ms=T0 + 400_000)) == []
    else:
        assert sight(plain, "lost feed").can == "yes"


def test_a_draw_that_counts_as_nothing_is_missed_only_by_its_volts() -> None:
    """Up to three steps count as nothing without a floor: 0.2 A against 0.1 A steps."""
    schedule = schedule_of(2, 0.1, None, "load")
    small = replace(schedule.circuits[1], loads=(replace(schedule.circuits[1].loads[0], levels=(Level(name="on", watts=2),)),))
    schedule = replace(schedule, circuits=(schedule.circuits[0], small))
    said = sight(schedule, "lost feed")
    assert said.can == "yes"
    (found,) = dead(run(schedule, readings(schedule, lambda _: 0.2, 300, lost_at_s=LOST_AT_S)))
    assert late_s(found, 2) <= said.within_s  # type: ignore[operator]


def test_a_supply_that_comes_and_goes_needs_another_circuit_that_draws() -> None:
    schedule = schedule_of(2, 0.01, 0.5, "bus")
    shore = replace(schedule.supplies[0], presence="comes-and-goes")
    alone = replace(schedule, supplies=(shore,))
    assert sight(alone, "lost feed").can == "no"
    assert dead(run(alone, readings(alone, lambda _: 0.5, 300, lost_at_s=LOST_AT_S))) == []
    lamp = circuit("D2", "Lamp", "light", sense=Sense(resolution_a=0.01))
    both = replace(alone, circuits=(*alone.circuits, lamp))
    said = sight(both, "lost feed")
    assert said.can == "together"
    (found,) = dead(run(both, readings(both, lambda _: 0.5, 300, lost_at_s=LOST_AT_S)))
    assert late_s(found, 2) <= said.within_s  # type: ignore[operator]


# A device that has opened


def opening(schedule: Schedule, before: Draw, *, seconds: float = LOST_AT_S) -> list[Transition]:
    found = run(schedule, readings(schedule, before, seconds + 300, lost_at_s=seconds))
    return [t for t in found if t.kind == "protection-opened" and t.event == "begins"]


@pytest.mark.parametrize(("floor_a", "feed"), list(product(FLOORS_A, ("always-on", "switched"))))
@pytest.mark.parametrize("place", PLACES)
def test_what_it_says_of_an_opened_device_is_so(place: str, feed: str, floor_a: float | None) -> None:
    schedule = schedule_of(2, 0.01, floor_a, place)
    own: Circuit = replace(schedule.circuits[1], feed=feed, protection=Protection(kind="blade-fuse", type="C", rating_a=10))
    schedule = replace(schedule, circuits=(schedule.circuits[0], own))
    said = sight(schedule, "device opened")
    ordinary, overload = opening(schedule, lambda _: DRAWING_A), opening(schedule, lambda t: 17.0 if t > 86 else 4.0)
    resting = opening(schedule, lambda _: floor_a or 0.0)
    assert overload, said
    assert late_s(overload[0], 2) <= said.within_s  # type: ignore[operator]
    if place == "after-device":
        assert late_s(ordinary[0], 2) <= said.within_s  # type: ignore[operator]
        assert said.can == "yes"
        assert late_s(resting[0], 2) <= said.within_s  # type: ignore[operator]
    else:
        assert said.can == "together"
        assert "readings showed" in said.why
        assert ordinary + resting == []


def test_a_long_small_overload_shows_an_opening_where_it_says_so() -> None:
    """1.35 times: with a floor or a switch; always-on without a floor it takes 1.6 times."""
    for floor_a, feed, times in ((0.5, "always-on", 1.35), (None, "switched", 1.35), (None, "always-on", 1.6)):
        schedule = schedule_of(2, 0.01, floor_a, "bus")
        fuse = Protection(kind="blade-fuse", type="C", rating_a=10)
        own = replace(schedule.circuits[1], feed=feed, protection=fuse)
        schedule = replace(schedule, circuits=(schedule.circuits[0], own))
        said = sight(schedule, "device opened")
        assert f"({times:g} times its rating)" in said.why
        (found,) = opening(schedule, lambda t, m=times: 10.05 * m if t > 40 else 4.0)  # type: ignore[misc]
        assert late_s(found, 2) <= said.within_s  # type: ignore[operator]


def test_volts_after_the_device_want_those_of_the_bus_beside_them() -> None:
    schedule = schedule_of(2, 0.01, None, "after-device", witness=False)
    said = sight(schedule, "device opened")
    assert (said.can, said.mend) == ("together", "Take the volts of one circuit of this supply at the bus.")
    assert opening(schedule, lambda _: DRAWING_A) == []
    assert sight(schedule, "lost feed").mend == said.mend
    beside = schedule_of(2, 0.01, None, "after-device")
    assert len(opening(beside, lambda _: DRAWING_A)) == 1
