"""The held curve against brute force, pandas and its own promises: a gap is no rest, what was not read is no zero."""

from __future__ import annotations

import json
import random
from itertools import pairwise
from math import ceil
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelward.door.held import GRID, HOUR_MS, WINDOWS_S, Holding, Seen
from panelward.journal import block
from panelward.records import Reading

T0 = 1_777_615_200_000  # 2026-05-01T06:00:00Z
REFERENCE = json.loads((Path(__file__).parent.parent / "reference" / "held_pandas.json").read_text())


def seen(times: list[int], amps: list[float], period_s: float = 1.0, hours: float = 6, pieces: int = 1, **more: bool) -> Seen:
    holding = Holding(period_s, T0, T0 + round(hours * HOUR_MS), **more)
    size = max(1, ceil(len(times) / pieces))
    for at in range(0, len(times), size):
        holding.take(times[at : at + size], amps[at : at + size])
    return holding.seen()


def by_hand(runs: list[list[int]], period_s: int) -> dict[int, float]:
    """Every window of every run, one by one, in 0.1 mA; then the largest of at least so long."""
    found: dict[int, float] = {}
    for seconds in WINDOWS_S:
        n = ceil(seconds / period_s)
        means = [abs_sum(run[i : i + n]) / n for run in runs for i in range(len(run) - n + 1)]
        if means and seconds >= period_s:
            found[n * period_s] = max(means)
    first = [max(abs(each) for run in runs for each in run)] if runs else []
    if first:
        found.setdefault(period_s, first[0])
    return {s: max(v for t, v in found.items() if t >= s) for s in sorted(found)}


def abs_sum(units: list[int]) -> int:
    return sum(abs(each) for each in units)


RUNS = st.lists(st.lists(st.integers(-300_000, 300_000), min_size=1, max_size=150), min_size=1, max_size=4)


@settings(max_examples=60, deadline=None)
@given(runs=RUNS, period_s=st.sampled_from([1, 2, 5, 7]), pieces=st.integers(1, 40), gap=st.integers(4, 30))
def test_every_window_is_the_one_found_by_trying_all(runs: list[list[int]], period_s: int, pieces: int, gap: int) -> None:
    times, amps, at = [], [], T0
    for run in runs:
        for units in run:
            times.append(at)
            amps.append(units / GRID)
            at += period_s * 1000
        at += max(gap * period_s, 10) * 1000
    found = seen(times, amps, period_s, pieces=pieces)
    wanted = by_hand(runs, period_s)
    assert [h.seconds for h in found.held] == list(wanted)
    assert [h.amps for h in found.held] == [units / GRID for units in wanted.values()]
    read_s = sum(map(len, runs)) * period_s
    assert found.unread_share == pytest.approx(1 - read_s / (6 * 3600))


@settings(max_examples=60, deadline=None)
@given(
    jitter=st.lists(st.integers(-400, 400), min_size=2, max_size=300),
    levels=st.lists(st.integers(0, 200_000), min_size=300, max_size=300),
    pieces=st.integers(1, 50),
)
def test_readings_that_come_unevenly_stay_near_the_true_mean(jitter: list[int], levels: list[int], pieces: int) -> None:
    """By the integral of what stood: each end of a window may be off by less than a bin."""
    times = [T0 + 1000 * (i + 1) + each for i, each in enumerate(jitter)]
    amps = [units / GRID for units in levels[: len(times)]]
    found = seen(times, amps, pieces=pieces)
    most = max(amps)
    edges = [*times, times[-1] + 1000]
    cumulated = [0.0]
    for (a, b), each in zip(pairwise(edges), amps, strict=True):
        cumulated.append(cumulated[-1] + each * (b - a) / 1000)

    def charge(at: float) -> float:
        i = max(0, min(len(edges) - 2, next((k for k, e in enumerate(edges) if e > at), len(edges)) - 1))
        return cumulated[i] + amps[i] * (at - edges[i]) / 1000

    for held in found.held:
        begins = min(max(held.begins_ms, edges[0]), edges[-1] - held.seconds * 1000)
        if begins < edges[0]:
            continue
        longest = next(h for h in reversed(found.held) if h.begins_ms == held.begins_ms and h.amps == held.amps).seconds
        ends = min(begins + longest * 1000, edges[-1])
        mean = (charge(ends) - charge(begins)) / longest
        assert abs(mean - held.amps) <= 3 * most / longest + 1e-6


def test_pandas_finds_the_same_windows() -> None:
    rng = random.Random(REFERENCE["seed"])
    amps = [round(max(0.0, rng.gauss(3.0, 2.0)), 4) for _ in range(REFERENCE["readings"])]
    found = seen([T0 + 1000 * i for i in range(len(amps))], amps, pieces=61)
    raw = {float(seconds): mean for seconds, mean in REFERENCE["greatest_rolling_mean"].items()}
    wanted = {s: max(v for t, v in raw.items() if t >= s) for s in raw}
    assert {h.seconds: h.amps for h in found.held} == pytest.approx(wanted, rel=1e-12)
    hours = REFERENCE["hours"]
    assert [h.mean_a for h in found.hours[:4]] == pytest.approx([h["mean"] for h in hours], rel=1e-12)
    assert [(h.low_a, h.high_a) for h in found.hours[:4]] == [(h["min"], h["max"]) for h in hours]


def test_a_gap_is_no_rest_and_is_never_bridged() -> None:
    """20 s at 10 A, nothing read for a minute, 20 s at 10 A: 30 s were never seen, and no mean is diluted."""
    times = [T0 + 1000 * i for i in (*range(20), *range(80, 100))]
    found = seen(times, [10.0] * 40, hours=1)
    assert found.held[-1].seconds == 20
    assert found.held[-1].amps == 10.0
    assert found.worst_a(60) is None
    assert found.hours[0].mean_a == 10.0
    assert found.hours[0].unread_s == 3560


def test_its_twin_a_rest_that_was_read_dilutes() -> None:
    amps = [10.0] * 20 + [0.0] * 60 + [10.0] * 20
    found = seen([T0 + 1000 * i for i in range(100)], amps, hours=1)
    assert found.worst_a(60) == pytest.approx(200 / 60, abs=1e-4)
    assert found.hours[0].mean_a == 4.0


def test_two_missed_readings_are_no_gap_three_periods_later_is() -> None:
    held = seen([T0, T0 + 5000, T0 + 20_000, T0 + 25_000], [1.0, 2.0, 3.0, 3.0], period_s=5, hours=1)
    assert held.hours[0].unread_s == 3570  # the second reading stood for 15 s
    assert held.worst_a(25) == pytest.approx((1 + 2 * 3 + 3 + 3) / 6)
    torn = seen([T0, T0 + 5000, T0 + 20_001, T0 + 25_001], [1.0, 2.0, 3.0, 3.0], period_s=5, hours=1)
    assert torn.hours[0].unread_s == 3580
    assert torn.worst_a(20) is None


def test_ten_seconds_are_no_gap_however_often_it_is_read() -> None:
    """The watch and the review have the same rule."""
    held = seen([T0, T0 + 10_000, T0 + 20_000], [1.0, 2.0, 3.0], hours=1)
    assert held.hours[0].unread_s == 3579
    torn = seen([T0, T0 + 10_001, T0 + 20_002], [1.0, 2.0, 3.0], hours=1)
    assert torn.hours[0].unread_s == 3597


def test_hours_without_readings_hold_nothing_not_zero() -> None:
    found = seen([T0 + 3 * HOUR_MS], [0.0], hours=6)
    assert [h.mean_a for h in found.hours] == [None, None, None, 0.0, None, None]
    assert [h.unread_s for h in found.hours] == [3600, 3600, 3600, 3599, 3600, 3600]
    assert seen([], [], hours=2).held == ()
    assert seen([], [], hours=2).unread_share == 1.0


def test_late_readings_and_those_outside_the_span_are_left_out() -> None:
    times = [T0 - 5, T0, T0 + 1000, T0 + 500, T0 + 2000, T0 + 2000, T0 + 40 * HOUR_MS]
    found = seen(times, [99.0, 1.0, 1.0, 50.0, 1.0, 60.0, 70.0], hours=1)
    assert found.readings == 3
    assert {h.amps for h in found.held} == {1.0}


def test_charge_and_draw_count_alike_for_the_wire_and_keep_their_sign_in_the_hours() -> None:
    found = seen([T0 + 1000 * i for i in range(4)], [-8.0, -8.0, 2.0, 2.0], hours=1)
    assert found.held[0].amps == 8.0
    assert found.hours[0].mean_a == -3.0
    assert (found.hours[0].low_a, found.hours[0].high_a) == (-8.0, 2.0)


def test_faster_than_a_second_the_single_reading_keeps_its_peak() -> None:
    amps = [0.0] * 10 + [30.0] + [0.0] * 19
    found = seen([T0 + 100 * i for i in range(30)], amps, period_s=0.1, hours=1)
    assert (found.held[0].seconds, found.held[0].amps) == (0.1, 30.0)
    assert (found.held[1].seconds, found.held[1].amps) == (1.0, 3.0)


def test_hours_begin_where_local_hours_do() -> None:
    holding = Holding(1.0, T0, T0 + 2 * HOUR_MS, offset_ms=round(5.5 * HOUR_MS))
    holding.take([T0 + HOUR_MS // 2 - 1000, T0 + HOUR_MS // 2], [1.0, 3.0])
    hours = holding.seen().hours
    assert [h.begins_ms - T0 for h in hours] == [-HOUR_MS // 2, HOUR_MS // 2, 3 * HOUR_MS // 2]
    assert [h.mean_a for h in hours] == [1.0, 3.0, None]
    assert sum(h.unread_s for h in hours) == 2 * 3600 - 2


AMPS = st.none() | st.integers(-500_000, 500_000).map(lambda n: n / GRID) | st.floats(allow_nan=False)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["D1", "D2", "ü"]), st.integers(-9000, 9000), st.integers(0, 5000), AMPS, AMPS,
            st.sampled_from(["live", "retained", "backlog"]), st.sampled_from([None, True, False]),
        ),
        max_size=60,
    )
)  # fmt: skip
def test_a_block_gives_the_same_currents_as_its_readings(
    rows: list[tuple[str, int, int, float | None, float | None, str, bool | None]],
) -> None:
    at, readings = T0, []
    for circuit, lag, wait, volts, amps, origin, closed in rows:
        at += wait
        readings.append(Reading(circuit, at - lag, at, volts=volts, amps=amps, origin=origin, closed=closed))
    packed = block.encode(readings)
    for wanted in (None, {"D1"}, {"D9"}):
        found = {each.circuit: each for each in block.amps(packed, wanted)}
        for circuit in ("D1", "D2", "ü"):
            kept = [r for r in readings if r.circuit == circuit and r.amps is not None and r.origin != "retained"]
            if not kept or (wanted is not None and circuit not in wanted):
                assert circuit not in found
                continue
            each = found[circuit]
            assert list(zip(each.times_ms, each.received_ms, each.amps, strict=True)) == [
                (r.time_ms, r.received_ms, r.amps) for r in kept
            ]
    with pytest.raises(block.DamagedBlock):
        block.amps(packed[: len(packed) // 2])
