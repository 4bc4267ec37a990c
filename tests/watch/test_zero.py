"""A floor and the zero of its channel: what warmth does is innocent, what falls within a reading is a lost feed."""

from __future__ import annotations

import json
from collections.abc import Callable
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelward.watch.zero import DRIFT_A_PER_K, Zero, floor_threshold_a, least_floor_a, zero_error_a

PERIOD_MS = 5_000
HOUR_MS = 3600_000


def shown(amps: float, step_a: float) -> float:
    return round(amps / step_a) * step_a


def lows(zero: Zero, amps: Callable[[float], float], hours: float, *, from_h: float = 0.0, step_a: float = 0.01) -> list[float]:
    """Hours at which a reading says that the floor is gone."""
    found = []
    for n in range(round(hours * HOUR_MS / PERIOD_MS)):
        hour = from_h + n * PERIOD_MS / HOUR_MS
        if zero.take(shown(amps(hour), step_a), round(hour * HOUR_MS)):
            found.append(hour)
    return found


def afternoon(hour: float) -> float:
    """40 K warmer within four hours and back: 20 mA at 0.5 mA/K (from memory)."""
    return DRIFT_A_PER_K * 40.0 * min(1.0, hour / 4.0, max(0.0, (10.0 - hour) / 4.0))


@pytest.mark.parametrize("zero_a", [-0.02, 0.0, 0.02])
@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_a_zero_that_creeps_by_20_ma_over_a_warm_afternoon_raises_nothing(zero_a: float, sign: float) -> None:
    zero = Zero(0.01, 0.06)
    assert lows(zero, lambda h: 0.06 + zero_a + sign * afternoon(h), 12) == []


@pytest.mark.parametrize("zero_a", [-0.02, 0.0, 0.02])
@pytest.mark.parametrize("sign", [-1.0, 1.0])
@pytest.mark.parametrize("floor_a", [0.06, 0.12])
def test_a_floor_that_falls_to_the_zero_is_gone_in_the_first_reading(zero_a: float, sign: float, floor_a: float) -> None:
    zero = Zero(0.01, floor_a)
    assert zero.provable
    lost_h = 4.0
    found = lows(zero, lambda h: (floor_a if h < lost_h else 0.0) + zero_a + sign * afternoon(h), 5)
    assert found[0] == pytest.approx(lost_h, abs=1e-6)
    assert len(found) == round((5 - lost_h) * HOUR_MS / PERIOD_MS), "and stays gone"


def test_dead_from_the_first_reading_it_is_told_and_never_taken_for_rest() -> None:
    for zero_a in (-0.02, 0.0, 0.02):
        zero = Zero(0.01, 0.12)
        assert len(lows(zero, lambda _, z=zero_a: z, 3)) == 3 * HOUR_MS // PERIOD_MS  # type: ignore[misc]
        assert not zero.settled


def test_a_floor_that_a_zero_error_can_hide_is_no_proof_until_more_is_known() -> None:
    """40 mA at steps of 10 mA: a zero of 25 mA looks nearly as alive."""
    zero = Zero(0.01, 0.04)
    assert floor_threshold_a(0.01, 0.04) == (pytest.approx(0.01), False)
    assert lows(zero, lambda _: 0.025, 6) == [], "dead or alive: nobody can tell"
    assert not zero.settled
    assert not zero.provable
    for _ in range(3):
        zero.known_off(0.02)  # its switch reports off
    zero.fed()
    assert zero.provable
    assert zero.low_a == pytest.approx(0.04)
    assert len(lows(zero, lambda _: 0.025, 1)) == HOUR_MS // PERIOD_MS
    assert lows(zero, lambda _: 0.06, 1, from_h=2.0) == []


def test_seen_at_rest_above_any_zero_it_proves_by_its_fall() -> None:
    zero = Zero(0.01, 0.05)
    assert not zero.provable
    assert lows(zero, lambda _: 0.06, 2) == []
    assert zero.settled
    assert zero.provable
    assert lows(zero, lambda _: 0.01, 0.1, from_h=2.0) != []


def cycles(zero: Zero, rests_a: list[float]) -> None:
    """Half an hour at each, and a run of a quarter after it."""
    for n, rest_a in enumerate(rests_a):
        assert lows(zero, lambda h, n=n, a=rest_a: a if h % 1 < 0.5 else 4.0, 0.75, from_h=float(n)) == []  # type: ignore[misc]


def test_starts_out_of_the_same_rest_prove_it_alive() -> None:
    """30 mA at steps of 10 mA with a zero of -10: alike a dead channel of +20, until it has started out of it thrice."""
    zero = Zero(0.01, 0.03)
    cycles(zero, [0.02, 0.02])
    assert not zero.provable
    cycles(zero, [0.02])
    assert zero.settled
    assert zero.provable
    assert lows(zero, lambda _: -0.01, 0.1, from_h=10.0) != []


def test_a_feed_that_came_back_with_a_start_makes_a_dead_reading_no_rest() -> None:
    zero = Zero(0.01, 0.03)
    cycles(zero, [0.0, 0.03, 0.03, 0.0, 0.0, 0.03])
    assert not zero.settled
    cycles(zero, [0.03, 0.02])
    assert zero.settled
    assert zero.rest_a == pytest.approx(0.03), "the highest of those alike: one may be rounded down"


def test_a_threshold_below_nought_is_no_proof() -> None:
    """Many channels show nothing below nought."""
    zero = Zero(0.01, 0.04)
    cycles(zero, [0.02] * 4)
    assert zero.settled
    assert not zero.provable


def test_a_floor_written_too_great_is_no_proof() -> None:
    zero = Zero(0.01, 0.2)
    assert lows(zero, lambda _: 0.11, 6) == [], "it draws, if less than is written"
    assert zero.settled
    assert not zero.provable


def test_one_that_rests_above_what_is_written_proves_by_what_no_live_floor_reads() -> None:
    """36 mA written, 41 read, in steps of 1 mA: farther off than a zero error, and yet a reading of nothing is no live one."""
    zero = Zero(0.001, 0.036)
    for n in range(3):
        at_rest = lows(zero, lambda h: 0.041 if h % 1 < 0.5 else 2.0, 0.75, from_h=float(n), step_a=0.001)
        assert at_rest == []
    assert zero.settled
    assert zero.provable
    assert lows(zero, lambda _: 0.001, 0.1, from_h=10.0, step_a=0.001) != []


def test_a_lower_level_of_one_that_rests_above_what_is_written_is_no_loss() -> None:
    """It dozes at 60 mA for days, then at the 25 that are written: half of what it read last, and alive."""
    zero = Zero(0.001, 0.025)
    for n in range(3):
        assert lows(zero, lambda h: 0.060 if h % 1 < 0.5 else 2.0, 0.75, from_h=float(n), step_a=0.001) == []
    assert lows(zero, lambda _: 0.025, 1, from_h=10.0, step_a=0.001) == []


def test_a_load_that_draws_more_for_hours_is_no_zero_error() -> None:
    """A set-top that is awake at 90 mA and dozes at 60: its floor is the least, also after a long day."""
    zero = Zero(0.01, 0.06)
    assert lows(zero, lambda h: 0.09 if h < 10 else 0.06, 12) == []
    compressor = Zero(0.01, 0.12)
    assert lows(compressor, lambda h: 4.0 if h % 1 < 0.5 else 0.12, 24) == []
    assert compressor.rest_a == pytest.approx(0.12)


def test_a_discharging_capacitor_does_not_drag_the_rest_down() -> None:
    zero = Zero(0.01, 0.12)
    lows(zero, lambda _: 0.12, 1)
    found = lows(zero, lambda h: max(0.02, 0.12 - 0.06 * (h - 1.0) * 60), 0.1, from_h=1.0)
    assert found[0] <= 1.0 + 1.2 / 60
    assert zero.rest_a > 0.11


def test_what_draws_while_reported_off_is_no_zero() -> None:
    zero = Zero(0.01, 0.06)
    for _ in range(100):
        zero.known_off(0.3)
    assert zero.zero_a is None
    for _ in range(2):
        zero.known_off(0.01)
    zero.fed()
    zero.known_off(0.01)
    assert zero.zero_a is None, "a report and its current come apart: three in a row"


@pytest.mark.parametrize(
    ("step_a", "error_a", "least_a"), [(0.001, 0.003, 0.006), (0.01, 0.03, 0.06), (0.05, 0.11, 0.22), (0.1, 0.21, 0.42)]
)
def test_how_large_a_floor_must_be(step_a: float, error_a: float, least_a: float) -> None:
    assert zero_error_a(step_a) == pytest.approx(error_a)
    assert least_floor_a(step_a) == pytest.approx(least_a)
    assert Zero(step_a, least_a).provable
    assert not Zero(step_a, 0.98 * least_a).provable


@pytest.mark.parametrize("step_a", [0.001, 0.01, 0.05, 0.1])
def test_a_provable_floor_is_never_lost_to_any_zero_error_and_always_missed_by_none(step_a: float) -> None:
    """Over all zeros, drifts and roundings that the bounds allow: alive never low, dead always low."""
    r = Random(1)
    floor_a, error_a = least_floor_a(step_a) * 1.02, zero_error_a(step_a)
    for _ in range(300):
        offset_a = r.uniform(-1, 1) * (error_a - step_a / 2.0) * 0.98
        alive, dead = Zero(step_a, floor_a), Zero(step_a, floor_a)
        assert not alive.take(shown(floor_a + offset_a, step_a), 0)
        assert dead.take(shown(offset_a, step_a), 0)
        assert not lows(alive, lambda _, o=offset_a: floor_a + o, 3, step_a=step_a)  # type: ignore[misc]
        assert alive.take(shown(offset_a, step_a), 3 * HOUR_MS + 1)


STEPS = st.lists(
    st.tuples(st.sampled_from(["take", "known_off", "fed"]), st.floats(-0.1, 0.3), st.integers(1, 600_000)), max_size=80
)


def lived(zero: Zero, steps: list[tuple[str, float, int]], now_ms: int) -> list[Any]:
    out: list[Any] = []
    for name, amps, dt_ms in steps:
        now_ms += dt_ms
        if name == "take":
            out.append(zero.take(amps, now_ms))
        elif name == "known_off":
            zero.known_off(amps)
        else:
            zero.fed()
    return [*out, now_ms]


@settings(max_examples=100, deadline=None)
@given(STEPS, STEPS)
def test_saved_and_restored_in_the_middle_nothing_changes(first: Any, then: Any) -> None:
    one, other = Zero(0.01, 0.08), Zero(0.01, 0.08)
    (*_, now_ms) = lived(one, first, 0)
    other.restore(json.loads(json.dumps(one.save())))
    assert lived(one, then, now_ms) == lived(other, then, now_ms)
    assert (one.save(), one.low_a, one.provable) == (other.save(), other.low_a, other.provable)
