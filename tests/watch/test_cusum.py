"""Cumulative sums against published values.

Sources: NIST/SEMATECH e-Handbook 6.3.2.3 (CUSUM example, ARL table), 6.3.2.4 (EWMA, in tests/reference beside it);
ARL values of Lucas (1976) solved from the Goel & Wu (1971) integral equation. They stand in
tests/reference/control_charts.toml.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from random import Random

import pytest

from panelward.watch.cusum import CLIP, Cusum, run_length, threshold

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "reference" / "control_charts.toml").read_text())


def test_the_handbook_s_example_to_the_digit() -> None:
    case = PUBLISHED["cusum"]
    sums, found = Cusum(), []
    for x in case["x"]:
        sums.take(x - case["target"], case["k"])
        found.append((sums.high, sums.low))
    for (high, low), high_printed, low_printed in zip(found, case["s_hi_printed"], case["s_lo_printed"], strict=True):
        assert abs(high - high_printed) <= 0.0050001  # printed to two places
        assert abs(low - low_printed) <= 0.0050001
    over = [number for number, (high, low) in enumerate(found, 1) if max(high, low) > case["h"]]
    assert over == case["signals_hi"]


def test_the_handbook_s_average_to_the_digit() -> None:
    """6.3.2.4: an exponentially weighted average is kept nowhere in the watch; the published sums are checked here."""
    case = PUBLISHED["ewma"]
    average = case["ewma0"]
    for x, printed in zip(case["x"], case["ewma_printed_2dp"], strict=True):
        average += case["lambda"] * (x - average)
        assert abs(average - printed) <= 0.0050001
    spread = case["k"] * case["s"] * (case["lambda"] / (2 - case["lambda"])) ** 0.5
    assert case["ewma0"] + spread == pytest.approx(case["ucl"], abs=1e-4)
    assert case["ewma0"] - spread == pytest.approx(case["lcl_printed"], abs=1.5e-4)  # printed from a rounded factor


@pytest.mark.parametrize("h", [4, 5])
def test_run_lengths_of_the_table_by_the_formula(h: int) -> None:
    case = PUBLISHED["cusum_arl"]
    for shift, exact in zip(case["shift_sigma"], case[f"two_sided_h{h}"], strict=True):
        if shift <= 1.5:  # beyond, the approximation is of no use and none is made of it
            assert run_length(h, shift) == pytest.approx(exact, rel=0.03)


@pytest.mark.parametrize(("h", "shift"), [(4, 0.0), (4, 1.0), (5, 0.5), (5, 1.0)])
def test_run_lengths_of_the_table_by_simulation(h: int, shift: float) -> None:
    case = PUBLISHED["cusum_arl"]
    exact = case[f"two_sided_h{h}"][case["shift_sigma"].index(shift)]
    rng, runs, total = Random(6), 1500, 0
    for _ in range(runs):
        sums = Cusum()
        while max(sums.high, sums.low) <= h:
            sums.take(rng.gauss(shift, 1.0))
            total += 1
    assert total / runs == pytest.approx(exact, rel=0.09)  # three standard errors of 1500 runs are 8 %


def test_the_threshold_of_a_vehicle_keeps_its_promise_by_simulation() -> None:
    """30 circuits of 3 metrics, 500 weeks each way: under 0.1 false alarms a week; a sum that alarmed begins anew."""
    metrics, weeks = 90, 500
    h = threshold(metrics, 0.1)
    assert 7.3 < h < 7.8  # two-sided; one side alone would do with about 7
    rng, alarms = Random(90), 0
    for _ in range(metrics):
        sums = Cusum()
        for _ in range(weeks * 7):
            sums.take(max(-CLIP, min(CLIP, rng.gauss(0.0, 1.0))))
            if max(sums.high, sums.low) > h:
                alarms += 1
                sums = Cusum()
    assert alarms / weeks <= 0.1
