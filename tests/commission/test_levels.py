"""Levels: told apart, inside their intervals, accepted when narrow enough; what is no level is not made one."""

from __future__ import annotations

from math import exp
from random import Random

import pytest
from benches import FAN, LIGHT, PUMP, START_MS, Bench

from panelward.commission.finish import record
from panelward.commission.runs import Channel
from panelward.records import Commissioned, Reading


def way(bench: Bench, circuit_id: str) -> Commissioned:
    found = record(bench.schedule, bench.session.state, bench.session.lap).circuit(circuit_id)
    assert found is not None
    return found


# Common practice, no source: a roof fan of 35 W at full, nearly a third of it at the 70 % setting, about 9 W at half.
@pytest.mark.parametrize("seed", range(20))
def test_35_w_nearly_a_third_and_9_w_are_three_levels_from_noisy_coarse_readings(seed: int) -> None:
    bench = Bench(FAN, step_a=0.1, noise_a=0.06, seed=seed)
    bench.volts = 12.8
    truth = {"full": 35.0, "middle": 11.7, "half": 9.0}
    for watts in truth.values():
        bench.amps["D3"] = watts / 12.8
        bench.run(60)
    bench.amps["D3"] = 0.0
    bench.run(20)
    levels = {one.name: one for one in way(bench, "D3").levels}
    assert list(levels) == ["half", "middle", "full"]
    for name, watts in truth.items():
        assert levels[name].low_w < watts < levels[name].high_w
        assert levels[name].watts == pytest.approx(watts, abs=0.6)  # 2.5 standard errors of 30 readings at 0.067 A


def test_an_interval_wider_than_the_band_asked_is_provisional_and_a_narrow_one_is_not() -> None:
    coarse, fine = Bench(FAN, step_a=0.1, noise_a=0.09), Bench(FAN, step_a=0.01, noise_a=0.005)
    for bench in (coarse, fine):
        bench.amps["D3"] = 9.0 / 12.8
        bench.volts = 12.8
        bench.run(40)
    (rough,), (sharp,) = way(coarse, "D3").levels, way(fine, "D3").levels
    assert rough.provisional
    assert not coarse.heard("taken after")
    assert not sharp.provisional
    assert fine.heard("D3 Roof fan, half: ")
    assert fine.heard("taken after 14 s")


def test_a_level_is_taken_within_twenty_seconds_at_two() -> None:
    bench = Bench(LIGHT)
    bench.amps["D2"] = 84 / 13.2
    bench.run(18)
    assert bench.heard("D2 Deck lights, on: ")
    assert bench.heard("taken after 14 s")


def test_the_interval_holds_95_of_100_readings_to_come() -> None:
    """What the record promises, by simulation: of many intervals 95 % hold 95 % of the readings."""
    held = 0
    for seed in range(100):
        bench = Bench(LIGHT, noise_a=0.1, seed=seed)
        bench.volts = 12.8
        bench.amps["D2"] = 84 / 12.8
        bench.run(24)
        (one,) = way(bench, "D2").levels
        chance = Random(1000 + seed)
        later = [84 + chance.gauss(0.0, 0.1 * 12.8) for _ in range(2000)]
        held += sum(one.low_w <= w <= one.high_w for w in later) >= 0.95 * len(later)
    assert held >= 88  # 95 expected; 3.2 standard errors of 100 tries


def test_a_surge_of_two_readings_is_measured_and_a_shorter_one_is_not_observable() -> None:
    long, short = Bench(PUMP), Bench(PUMP)
    for bench, surges in ((long, 3), (short, 0)):
        for _ in range(surges):
            bench.amps["D1"] = 3.0 * 60 / 13.2
            bench.run(2)
        bench.amps["D1"] = 60 / 13.2
        bench.run(30)
    (one,) = way(long, "D1").levels
    assert one.surge_times == pytest.approx(3.0, rel=0.05)
    assert one.surge_s == pytest.approx(6.0, abs=2.0)
    assert one.watts == pytest.approx(60, rel=0.01)
    (one,) = way(short, "D1").levels
    assert one.surge_times is None


@pytest.mark.parametrize(("exponent", "load"), [(2.5, FAN), (0.0, LIGHT)])
def test_the_exponent_is_fitted_where_the_volts_moved_and_not_where_they_stood(exponent: float, load: str) -> None:
    moved, stood = Bench(load), Bench(load)
    name = load.split('id = "')[1][:2]
    for bench, swing in ((moved, 1.0), (stood, 0.0)):
        for n in range(30):
            bench.volts = 12.6 + swing * n / 29
            bench.amps[name] = 35.0 * (bench.volts / 12.8) ** exponent / bench.volts
            bench.run(2)
    assert way(moved, name).exponent == pytest.approx(exponent, abs=0.25)
    assert way(stood, name).exponent is None


def test_a_charger_that_starts_moves_no_level_and_makes_no_edge() -> None:
    """The bus goes from 12.7 to 14.2 V under a fan, a heater of fixed resistance and a pump of fixed watts."""
    bench = Bench(FAN, LIGHT, PUMP)
    laws = {"D3": (35.0, 2.5), "D2": (84.0, 2.0), "D1": (60.0, 0.0)}  # lights that are no electronics: by resistance

    def at(volts: float, seconds: float) -> None:
        bench.volts = volts
        for name, (watts, exponent) in laws.items():
            bench.amps[name] = watts * (volts / 12.8) ** exponent / volts
        bench.run(seconds)

    at(12.7, 40)
    said = len(bench.said)
    at(14.2, 40)
    assert bench.heard("The bus moved from 12.7 to 14.2 V (a charger?)")
    assert [line for line in bench.said[said:] if "rose" in line or "seen" in line] == []
    assert bench.session.prompt is not None
    assert "One lap" in bench.session.prompt
    for name, (watts, _) in laws.items():
        assert len(way(bench, name).levels) == 1, name
        assert way(bench, name).levels[0].watts == pytest.approx(watts, rel=0.03)
    assert way(bench, "D2").exponent == pytest.approx(2.0, abs=0.2)


def test_a_level_that_never_stands_still_is_said_and_stays_provisional() -> None:
    bench, chance = Bench(PUMP), Random(3)
    bench.run(60, lambda _: chance.uniform(2.5, 7.0), "D1")
    assert bench.heard("D1 Water pump does not stand still: ")
    assert bench.heard("Hold it steady, or go on: it stays provisional.")
    levels = way(bench, "D1").levels
    assert len(levels) == 1
    assert levels[0].provisional
    assert levels[0].name.startswith("unsteady at")


def test_its_twin_that_settles_slowly_is_a_level() -> None:
    bench = Bench(PUMP)
    bench.run(30, lambda left: (60 / 13.2) * (1 + 0.5 * exp(-(30 - left) / 6)), "D1")
    bench.amps["D1"] = 60 / 13.2
    bench.run(30)
    assert not bench.heard("does not stand still")
    assert way(bench, "D1").levels[-1].watts == pytest.approx(60, rel=0.04)


def test_what_a_channel_reads_of_nothing_is_its_zero() -> None:
    bench = Bench(PUMP, LIGHT, lap=False)
    bench.amps["D1"] = 0.018
    bench.run(20)
    for text in ("Kari", "none", "", "no"):
        bench.answer(text)
    bench.run(40)
    assert way(bench, "D1").zero_a == pytest.approx(0.018, abs=0.003)
    assert way(bench, "D1").skipped == "not seen in the lap"


@pytest.mark.parametrize(("step_a", "noise_a"), [(0.01, 0.005), (0.1, 0.06), (0.1, 0.0), (0.05, 0.2)])
def test_a_draw_that_stands_still_makes_no_edges(step_a: float, noise_a: float) -> None:
    """Five hours at 2 s: one edge at the most, whatever the noise is to the step."""
    chance, edges = Random(11), 0
    channel = Channel("D1", 12.8, 0.0, step_a * 12.8, 3 * step_a * 12.8, 10_000, 4_000)
    for n in range(9000):
        amps = round(round((4.03 + chance.gauss(0.0, noise_a)) / step_a) * step_a, 4)
        edges += channel.take(Reading("D1", START_MS + n * 2000, START_MS + n * 2000, 12.8, amps)) is not None
    assert edges <= 1
