"""What is gathered in one pass: energy against another integration, spans that add up, and pieces that change nothing."""

from __future__ import annotations

from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelward.door.held import Holding as Doors
from panelward.records import Schedule
from panelward.review.gathered import Gathered, gather, quantile
from panelward.review.holding import Holding
from panelward.review.source import Columns
from plans import METER, PLAN, T0
from review.made import Made, columns

UTC = ZoneInfo("UTC")
HOUR_MS = 3_600_000


def ragged(seed: int, hours: float = 5.0, period_ms: int = 2000) -> Columns:
    """A compressor with its starts, jitter, gaps, and readings without watts or volts."""
    chance = np.random.default_rng(seed)
    steps = chance.integers(period_ms - 300, period_ms + 300, round(hours * HOUR_MS / period_ms))
    steps[chance.random(len(steps)) < 0.01] += chance.integers(5_000, 400_000)
    time = T0 + np.cumsum(steps)
    on = (time - T0) % 2_400_000 < 800_000
    volts = 12.8 + chance.normal(0, 0.02, len(time)).round(2)
    amps = np.where(on, 4.1, 0.15) + chance.normal(0, 0.02, len(time)).round(2)
    watts = (volts * amps).round(1)
    watts[chance.random(len(time)) < 0.2] = np.nan
    volts[chance.random(len(time)) < 0.1] = np.nan
    return columns(time.tolist(), amps.tolist(), volts.tolist(), watts.tolist())


def gathered(source: Made, schedule: Schedule = PLAN, span: tuple[int, int] | None = None) -> Gathered:
    span = span or (source.first_ms, source.last_ms + 1)
    return gather(source, schedule, UTC, span, span)


def test_energy_is_the_integral_of_what_was_published() -> None:
    made = ragged(3)
    way = gathered(Made({"D1": made})).ways["D1"]
    volts = np.where(np.isnan(made.volts), np.nan, made.volts)
    last = np.maximum.accumulate(np.where(np.isnan(volts), -1, np.arange(len(volts))))
    fresh = (last >= 0) & (made.time_ms - made.time_ms[last] <= 4000)
    watts = np.where(np.isnan(made.watts), made.amps * np.where(fresh, volts[last], 12.8), made.watts)
    # What was published up to half a period before stands for a reading's own.
    near = np.maximum.accumulate(np.where(np.isnan(made.watts), -1, np.arange(len(watts))))
    stands = np.isnan(made.watts) & (near >= 0) & (made.time_ms - made.time_ms[near] <= 1000)
    watts = np.where(stands, made.watts[near], watts)
    wait = np.diff(made.time_ms)
    known = wait <= 10_000
    expected = (((watts[1:] + watts[:-1]) / 2 * wait)[known]).sum() / 3.6e6
    assert way.grid.wh.sum() == pytest.approx(expected, rel=1e-12)
    assert way.grid.read_s.sum() == pytest.approx(wait[known].sum() / 1000, rel=1e-12)
    assert way.readings == len(made.time_ms)


def test_what_lies_in_a_gap_is_unknown_and_not_zero() -> None:
    times = [*range(0, 60_000, 2000), *range(120_000, 180_000, 2000)]
    way = gathered(Made({"D1": columns([T0 + t for t in times], [2.0] * 60)})).ways["D1"]
    assert way.grid.read_s.sum() == pytest.approx(116.0)
    assert way.grid.wh.sum() == pytest.approx(2.0 * 12.8 * 116 / 3600)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 1000), st.lists(st.integers(1, round(4.9 * HOUR_MS)), max_size=6))
def test_where_the_pieces_end_changes_nothing(seed: int, cuts: list[int]) -> None:
    made = {"D1": ragged(seed), "SH": ragged(seed + 1)}
    whole, pieces = gathered(Made(made)), gathered(Made(made, [T0 + c for c in cuts]))
    for name in made:
        one, two = whole.ways[name], pieces.ways[name]
        for what in ("read_s", "wh", "out_ah", "in_ah", "a2s"):
            assert np.allclose(getattr(one.grid, what), getattr(two.grid, what), rtol=1e-9, atol=1e-9)
        for what in ("most_a", "least_v", "count_v"):
            assert np.array_equal(getattr(one.grid, what), getattr(two.grid, what), equal_nan=True)
        assert one.held == two.held
        assert np.array_equal(one.amps, two.amps)
        assert np.array_equal(one.volts, two.volts)
        assert one.above_80_s == pytest.approx(two.above_80_s)
        assert one.habits.days.keys() == two.habits.days.keys()
        for number, day in one.habits.days.items():
            other = two.habits.days[number]
            assert (day.starts, sorted(day.surges), len(day.ohms)) == (other.starts, sorted(other.surges), len(other.ohms))
            assert (day.read_ms, day.on_ms, day.rest_ms) == (other.read_ms, other.on_ms, other.rest_ms)
            assert day.rest_wms == pytest.approx(other.rest_wms)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 1000), st.integers(1, round(4.9 * HOUR_MS)))
def test_the_energy_of_two_spans_is_that_of_both(seed: int, at: int) -> None:
    made = Made({"D1": ragged(seed)})
    begin, middle, end = made.first_ms, min(T0 + at, made.last_ms), made.last_ms + 1
    if not begin < middle < end:
        return
    whole = gathered(made).ways["D1"].grid
    parts = [gathered(made, span=span).ways["D1"].grid for span in ((begin, middle), (middle, end))]
    assert sum(p.wh.sum() for p in parts) == pytest.approx(whole.wh.sum(), rel=1e-9)
    assert sum(p.read_s.sum() for p in parts) == pytest.approx(whole.read_s.sum(), rel=1e-9)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from((500, 2000, 5000)), st.lists(st.integers(1, 3000), max_size=4))
def test_it_holds_what_the_door_says_was_held(seed: int, period_ms: int, cuts: list[int]) -> None:
    made = ragged(seed, hours=2.0, period_ms=max(period_ms, 1000) if period_ms > 500 else 700)
    amps = np.round(made.amps, 4)
    gap_ms = max(3 * period_ms, 1000)
    ours, door = Holding(period_ms, gap_ms), Doors(period_ms / 1000, T0, int(made.time_ms[-1]) + 1)
    edges = [0, *sorted(c for c in cuts if c < len(amps)), len(amps)]
    for low, high in pairwise(edges):
        ours.take(made.time_ms[low:high], amps[low:high])
    door.take(made.time_ms.tolist(), amps.tolist())
    theirs = [(h.seconds, h.amps, h.begins_ms) for h in door.seen().held]
    assert [(h.seconds, h.amps, h.at_ms) for h in ours.held()] == theirs


def test_quantities_that_come_alone_are_paired_as_the_watch_pairs_them() -> None:
    """A bare number a topic: volts, then amps, a moment apart; watts alone where no amps are published."""
    times, amps, volts, watts = [], [], [], []
    nan = float("nan")
    for n in range(300):
        at = T0 + 2000 * n
        times += [at, at + 5]
        volts += [12.5, nan]
        amps += [nan, 4.0]
        watts += [nan, nan]
    way = gathered(Made({"D1": columns(times, amps, volts, watts)})).ways["D1"]
    assert way.readings == 300
    assert way.grid.wh.sum() == pytest.approx(50.0 * 598 / 3600)
    alone = columns([T0 + 2000 * n for n in range(300)], None, None, [25.6] * 300)
    way = gathered(Made({"D1": alone})).ways["D1"]
    assert way.grid.wh.sum() == pytest.approx(25.6 * 598 / 3600)
    assert way.grid.out_ah.sum() == pytest.approx(2.0 * 598 / 3600)


def test_what_can_not_be_is_left_out_and_counted() -> None:
    amps = [2.0] * 100
    amps[50] = 20_000.0
    way = gathered(Made({"D1": columns([T0 + 2000 * n for n in range(100)], amps)})).ways["D1"]
    assert way.pairing.impossible == 1
    assert way.held[0].amps == pytest.approx(2.0)


def test_a_quantile_is_numpys_to_a_step() -> None:
    made = ragged(5)
    way = gathered(Made({"D1": made})).ways["D1"]
    for share in (0.05, 0.5, 0.95, 0.999):
        expected = float(np.quantile(np.abs(made.amps), share, method="inverted_cdf"))
        assert quantile(way.amps, share, 0.01) == pytest.approx(expected, abs=0.0101)


def test_readings_of_a_way_that_is_not_on_the_schedule_are_counted() -> None:
    found = gathered(Made({"D1": columns([T0], [1.0]), "W4": columns([T0, T0 + 5], [1.0, 1.0])}))
    assert found.unknown == {"W4": 2}


def test_the_meter_tells_the_resistance_before_it() -> None:
    time = [T0 + 2000 * n for n in range(2000)]
    amps = [20.0 if n % 40 < 20 else 2.0 for n in range(2000)]
    volts = [13.0 - 0.01 * a for a in amps]
    days = gathered(Made({METER.id: columns(time, amps, volts)})).ways[METER.id].habits.days
    ohms = [r for day in days.values() for r in day.ohms]
    assert len(ohms) >= 90
    assert float(np.median(ohms)) == pytest.approx(0.01, rel=1e-6)
