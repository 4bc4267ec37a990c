"""Intervals, false-discovery control, percentiles, energy and duty against SciPy, statsmodels and NumPy.

What those say is frozen in reference/review.json, made by reference/make_review.py.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelward.records import Level, Load
from panelward.review.bank import BLOCK_DAYS, DRAWS, SEED
from panelward.review.gathered import gather, quantile
from panelward.review.statistics import adjusted, lasts, slope, steps, survives, t_quantile, t_tail, welch
from plans import PLAN, T0, circuit
from review.made import Made, columns

FROZEN = json.loads((Path(__file__).parents[1] / "reference" / "review.json").read_text())


def test_welchs_interval_is_scipys() -> None:
    assert len(FROZEN["intervals"]) == 40
    for each in FROZEN["intervals"]:
        found = welch(each["before"], each["now"])
        assert found is not None
        assert found.now - found.before == pytest.approx(np.mean(each["now"]) - np.mean(each["before"]))
        assert (found.low, found.high) == pytest.approx((each["low"], each["high"]), rel=1e-8, abs=1e-9)
        assert found.p == pytest.approx(each["p"], rel=1e-8, abs=1e-14)


def test_students_t_is_scipys() -> None:
    for share, freedom, expected in FROZEN["t"]:
        assert t_quantile(share, freedom) == pytest.approx(expected, rel=1e-9)
        assert t_tail(expected, freedom) == pytest.approx(2 * (1 - share), rel=1e-8)


def test_a_slope_is_scipys() -> None:
    for each in FROZEN["slopes"]:
        found = slope(np.array(each["x"]), np.array(each["y"]))
        assert found is not None
        assert (found.per, found.low, found.high, found.at_end) == pytest.approx(
            (each["slope"], each["low"], each["high"], each["at_end"]), rel=1e-8, abs=1e-9
        )


def test_a_difference_beside_the_warmth_is_statsmodels() -> None:
    for each in FROZEN["adjusted"]:
        found = adjusted(*(np.array(each[name]) for name in ("before", "now", "x_before", "x_now")))
        assert found is not None
        assert (found.before, found.now) == pytest.approx(each["at"], rel=1e-9)
        assert (found.low, found.high, found.p) == pytest.approx((each["low"], each["high"], each["p"]), rel=1e-7, abs=1e-12)
    days = np.array([0.4, 0.5, 0.45, 0.41])
    assert adjusted(days, days, np.full(4, 15.0), np.full(4, 15.0)) is None
    assert adjusted(days, days, np.full(4, np.nan), np.full(4, np.nan)) is None


def test_what_is_told_is_what_statsmodels_would_tell() -> None:
    assert any(any(each["told"]) for each in FROZEN["falses"])
    for each in FROZEN["falses"]:
        assert survives(each["p"], 0.1) == each["told"]


def test_quantiles_are_numpys() -> None:
    counts = np.bincount(np.rint(np.array(FROZEN["quantiles"]["values"]) * 100).astype(int))
    for share, expected in FROZEN["quantiles"]["at"]:
        assert quantile(counts, share, 0.01) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("number", range(20))
def test_energy_and_duty_of_real_appliances(number: int) -> None:
    """Draws of a house's appliances: 20 of 10 classes, an hour each."""
    expected = FROZEN["energy"][number]
    draws = json.loads((Path(__file__).parents[1] / "reference" / "appliances.json").read_text())["draws"]
    watts = draws[number]["watts"]
    assert expected["wh"] == pytest.approx(expected["wh_scipy"])
    level = Level(name="on", watts=max(0.1, expected["on_w"] * 2), tolerance=0.0)
    load = circuit("D1", "Appliance", loads=(Load(kind="socket", levels=(level,)),))
    monitors = (replace(PLAN.monitors[0], expect_every_s=10),)
    plan = replace(PLAN, circuits=(load,), monitors=monitors, supplies=(replace(PLAN.supplies[0], meter=None),))
    times = [T0 + 10_000 * n for n in range(len(watts))]
    whole = gather(Made({"D1": columns(times, None, None, watts)}), plan, ZoneInfo("UTC"), *2 * ((T0, times[-1] + 1),))
    assert whole.ways["D1"].grid.wh.sum() == pytest.approx(expected["wh"], rel=1e-12)
    day = whole.ways["D1"].habits.days[0]
    assert day.on_ms / day.read_ms == pytest.approx(expected["duty"], abs=1e-9)
    kept = [n for n in range(len(watts)) if not 120 <= n < 150]
    gap = columns([times[n] for n in kept], None, None, [watts[n] for n in kept])
    found = gather(Made({"D1": gap}), plan, ZoneInfo("UTC"), *2 * ((T0, times[-1] + 1),)).ways["D1"].grid
    assert found.wh.sum() == pytest.approx(expected["wh_with_gap"], rel=1e-12)
    assert found.read_s.sum() == pytest.approx(expected["read_s_with_gap"])


def test_a_step_is_told_from_a_slope() -> None:
    chance = np.random.default_rng(5)
    x = np.arange(30.0)
    noise = chance.normal(0, 0.2, 30)
    assert steps(x, np.where(x < 20, 5.0, 8.0) + noise)
    assert not steps(x, 5.0 + 0.1 * x + noise)
    assert not steps(x, np.full(30, 5.0))


def test_the_bank_lasts_what_it_must_where_every_day_is_alike() -> None:
    for draws in (1, 50):
        assert lasts(np.full(10, 40.0), 170.0, nights=60, draws=draws, seed=1) == pytest.approx(np.full(draws, 4.25))
    assert (lasts(np.full(5, -1.0), 170.0, nights=60, draws=9, seed=1) == 60.0).all()


def test_the_same_days_give_the_same_nights() -> None:
    use = np.random.default_rng(1).normal(40, 15, 14)
    one, two = (lasts(use, 170.0, nights=60, draws=DRAWS, seed=SEED, block=2) for _ in range(2))
    assert np.array_equal(one, two)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(-50, 120), min_size=3, max_size=30), st.floats(10, 400))
def test_a_greater_bank_never_lasts_shorter(use: list[float], most: float) -> None:
    small, great = (lasts(np.array(use), size, nights=30, draws=40, seed=3, block=2) for size in (most, most * 1.5))
    assert (great >= small - 1e-9).all()
    assert ((small > 0) & (small <= 30)).all()


def covered(days: int, alike: float, vehicles: int = 300) -> float:
    """In how many of so many simulated vehicles P10 to P90 of some days hold how long the bank really lasts after them.

    A day takes 35 Ah net, give or take 10; `alike`: how far it is like the day before.
    """
    chance = np.random.default_rng(77)
    inside = 0
    for _ in range(vehicles):
        level, use = chance.normal(), np.empty(days + 40)
        for n in range(len(use)):
            level = alike * level + chance.normal(0, (1 - alike**2) ** 0.5)
            use[n] = 35.0 + 10.0 * level
        found = lasts(use[:days], 250.0, nights=40, draws=300, seed=SEED, block=max(1, min(BLOCK_DAYS, days // 3)))
        low, high = np.quantile(found, (0.1, 0.9))
        used = 0.0
        for n, today in enumerate(use[days:]):
            if used + today >= 250.0:
                inside += low <= n + (250.0 - used) / today <= high
                break
            used = max(0.0, used + today)
    return inside / vehicles


@pytest.mark.parametrize(("days", "alike", "least", "most"), [
    (7, 0.0, 0.80, 0.95), (14, 0.0, 0.80, 0.95), (30, 0.0, 0.78, 0.92),
    (14, 0.5, 0.66, 0.86), (30, 0.5, 0.66, 0.86),
])  # fmt: skip
def test_p10_to_p90_hold_about_four_futures_in_five(days: int, alike: float, least: float, most: float) -> None:
    """Days that are half like the day before (grey weather) cover less: a fortnight of them is only some four of their own."""
    share = covered(days, alike)
    print(f"{days} days, {alike:g} alike: {share:.2f}")
    assert least <= share <= most
