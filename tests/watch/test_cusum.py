"""Cumulative sums against published values.

Sources: NIST/SEMATECH e-Handbook 6.3.2.3 (CUSUM example, ARL table), 6.3.2.4 (EWMA, in tests/reference beside it);
ARL values of Lucas (1976) solved from the Goel & Wu (1971) integral equation. They stand in
tests/reference/control_charts.toml.
"""

from __future__ import annotations

import tomllib
from math import erfc, sqrt
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


def by_chain(h: float, shift: float = 0.0, k: float = 0.5, cells: int = 160) -> float:
    """Run length of one side as a Markov chain (Brook and Evans 1972): cells of its sum, left for good past h. Solved by
    Gauss's elimination; shares nothing with the watch's own formula.
    """
    wide = 2.0 * h / (2 * cells - 1)

    def below(x: float) -> float:
        return 0.5 * erfc(-(x - shift + k) / sqrt(2.0))

    rows = []
    for i in range(cells):
        chances = [below((j - i + 0.5) * wide) - below((j - i - 0.5) * wide) for j in range(cells)]
        chances[0] = below((0.5 - i) * wide)
        rows.append([(1.0 if i == j else 0.0) - chance for j, chance in enumerate(chances)] + [1.0])
    for i, row in enumerate(rows):
        for lower in rows[i + 1 :]:
            times = lower[i] / row[i]
            lower[i:] = [a - times * b for a, b in zip(lower[i:], row[i:], strict=True)]
    lengths = [0.0] * cells
    for i in reversed(range(cells)):
        rest = sum(rows[i][j] * lengths[j] for j in range(i + 1, cells))
        lengths[i] = (rows[i][cells] - rest) / rows[i][i]
    return lengths[0]


@pytest.mark.parametrize("h", [4, 5])
@pytest.mark.parametrize("shift", [0.0, 0.5, 1.0, 2.0])
def test_the_chain_that_checks_the_threshold_gives_the_table_itself(h: int, shift: float) -> None:
    case = PUBLISHED["cusum_arl"]
    exact = case[f"one_sided_h{h}"][case["shift_sigma"].index(shift)]
    assert by_chain(h, shift) == pytest.approx(exact, rel=0.005)


@pytest.mark.parametrize("metrics", [1, 3, 12, 40, 90, 240])
def test_however_many_are_watched_a_vehicle_has_a_false_alarm_in_ten_weeks(metrics: int) -> None:
    """The threshold follows from how many there are; judged by the chain, not by the formula it is made with."""
    h = threshold(metrics, 0.1)
    a_week = metrics * 7 * 2 / by_chain(h)
    assert 0.08 < a_week < 0.105  # Siegmund's formula is within 3 %
    assert h > threshold(max(1, metrics // 2), 0.1) or metrics == 1


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
