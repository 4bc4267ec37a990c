"""The physics of the draws: the proof is worth what its refrigerator, motors and heaters are worth."""

from __future__ import annotations

from random import Random

import pytest

from proving.draw_fridge import KELVIN, Refrigerator
from proving.draw_loads import charge, pads, retry, stall, tap, turn
from proving.draw_loads import of as program
from proving.draws import SORTS, Draw

NOMINAL_V = 12.8


def box(seed: int, around_c: float, *, freezer: bool = False) -> Refrigerator:
    return Refrigerator(SORTS["compressor"], 0.5, NOMINAL_V, Random(seed), lambda t: around_c, freezer=freezer, t=0.0)


def settled(fridge: Refrigerator, days: float = 2.0) -> float:
    """Its duty after a day."""
    fridge.advance(86400.0)
    fridge.on_s = fridge.all_s = fridge.cooled_j = fridge.let_in_j = fridge.used_j = 0.0
    fridge.advance(86400.0 * (1 + days))
    return fridge.on_s / fridge.all_s


# From memory: 15 to 25 % at 20 °C, 35 to 45 % at 32 °C, 55 to 70 % at 43 °C (its own model: 57 %); two points of grace.
@pytest.mark.parametrize(("around_c", "low", "high"), [(20.0, 0.15, 0.25), (32.0, 0.35, 0.45), (43.0, 0.53, 0.70)])
def test_the_duty_of_a_refrigerator(around_c: float, low: float, high: float) -> None:
    duties = [settled(box(seed, around_c)) for seed in range(10)]
    assert low - 0.02 <= min(duties)
    assert max(duties) <= high + 0.02


def test_a_freezer_runs_more() -> None:
    """From memory: 15 to 20 points more."""
    more = [settled(box(seed, 32.0, freezer=True)) - settled(box(seed, 32.0)) for seed in range(10)]
    assert 0.12 < sum(more) / len(more) < 0.22


@pytest.mark.parametrize("around_c", [12.0, 25.0, 38.0])
def test_heat_let_in_is_heat_taken_out(around_c: float) -> None:
    """The first law over days: what the box keeps is at most its band times its capacity."""
    fridge = box(3, around_c)
    duty = settled(fridge, 3.0)
    assert fridge.let_in_j == pytest.approx(fridge.cooled_j, rel=0.03)
    assert duty == pytest.approx(fridge.duty(around_c), abs=0.02)
    assert fridge.used_j == pytest.approx(duty * fridge.all_s * fridge.run_w(around_c), rel=1e-6)


def test_closed_steps_are_the_system_itself() -> None:
    """Beside the two equations taken in steps of half a second (Euler)."""
    fridge = box(5, 30.0)
    air, food, on, on_s, since = fridge.air_c, fridge.food_c, fridge.on, 0.0, -1e4
    dt, t = 0.5, 0.0
    while t < 86400.0:
        if on and air <= fridge.set_c - fridge.band_k:
            on, since = False, t
        elif not on and air >= fridge.set_c + fridge.band_k and t - since >= 180.0:
            on, since = True, t
        on_s += dt * on
        into = fridge.ua * (30.0 - air) + fridge.h * (food - air) + fridge.heat_w - on * fridge.cold_w(30.0)
        air, food = air + dt * into / fridge.c_air, food + dt * fridge.h * (air - food) / fridge.c_food
        t += dt
    fridge.advance(86400.0)
    assert fridge.on_s == pytest.approx(on_s, rel=0.02)
    assert fridge.food_c == pytest.approx(food, abs=0.15)


def test_how_long_a_step_is_changes_nothing() -> None:
    fine, coarse = box(8, 27.0), box(8, 27.0)
    for second in range(0, 86400, 7):
        fine.advance(float(second))
    fine.advance(86400.0)
    coarse.advance(86400.0)
    assert coarse.on_s == pytest.approx(fine.on_s, rel=0.01)


def test_what_a_fault_does_to_watts_and_cold() -> None:
    """From memory: iced, watts slightly down; condenser, 5 to 15 % up; lost charge, 15 to 40 % down."""
    fridge = box(1, 25.0)
    sound_w, cold_w = fridge.run_w(25.0), fridge.cold_w(25.0)
    fridge.frost = 0.5
    assert 0.90 < fridge.run_w(25.0) / sound_w < 0.99
    assert fridge.cold_w(25.0) < 0.6 * cold_w
    fridge.frost, fridge.condenser_k = 0.0, 15.0
    assert 1.05 < fridge.run_w(25.0) / sound_w < 1.15
    assert fridge.cold_w(25.0) < 0.9 * cold_w
    fridge.condenser_k, fridge.charge = 0.0, 0.4
    assert 0.60 < fridge.run_w(25.0) / sound_w < 0.85
    assert fridge.cold_w(25.0) < 0.5 * cold_w


def test_warm_goods_cost_hours_and_then_nothing() -> None:
    """8 kg of water from 25 to 5 °C are 4.2 kJ/kg K x 8 kg x 20 K = 0.67 MJ; it settles within 4 to 12 h (F30)."""
    fridge = box(2, 25.0)
    before = settled(fridge, 1.0)
    start = fridge.t
    fridge.put_in(8.0, 25.0)
    fridge.on_s = fridge.all_s = 0.0
    fridge.advance(start + 3 * 3600.0)
    assert fridge.on_s / fridge.all_s > before + 0.15
    fridge.advance(start + 14 * 3600.0)
    fridge.on_s = fridge.all_s = 0.0
    fridge.advance(start + 38 * 3600.0)
    assert fridge.on_s / fridge.all_s == pytest.approx(before, abs=0.05)


def test_cold_can_be_made() -> None:
    """No better than Carnot's machine between its evaporator and its condenser."""
    fridge = box(4, 32.0)
    assert fridge.cold_w(32.0) / fridge.run_w(32.0) < fridge.te_k / (KELVIN + 32.0 + 12.0 - fridge.te_k)


def load(name: str, watts: float, floor_w: float = 0.0) -> Draw:
    return Draw(SORTS[name], watts, floor_w, NOMINAL_V, Random(1))


def test_a_stalled_motor_takes_volts_over_resistance() -> None:
    motor = program(load("motor", 100.0))
    stall(motor, 10.0, 100.0, 4.0)
    first = motor.amps(10.5, NOMINAL_V)
    assert first == pytest.approx(4.0 * 100.0 / NOMINAL_V, rel=0.03)
    assert motor.amps(11.0, 0.8 * NOMINAL_V) == pytest.approx(0.8 * first, rel=0.04)  # I = V/R
    assert 0.8 * first < motor.amps(105.0, NOMINAL_V) < 0.9 * first  # its own warmth
    assert motor.amps(111.0, NOMINAL_V) == 0.0


def test_a_start_is_a_stall_that_is_run_out_of() -> None:
    motor = program(load("motor", 100.0))
    turn(motor, 10.0, 60.0, times=4.0, tau_s=0.2)
    start, later = motor.amps(10.0, NOMINAL_V), motor.amps(13.0, NOMINAL_V)
    assert start == pytest.approx(4.0 * 100.0 / NOMINAL_V, rel=0.1)
    assert later == pytest.approx(100.0 / NOMINAL_V, rel=0.15)


def test_elements_go_with_the_volts_and_by_parts() -> None:
    heater = program(load("element", 90.0))
    pads(heater, 0.0, 1000.0, 3)
    whole = heater.amps(1.0, NOMINAL_V)
    assert whole == pytest.approx(90.0 / NOMINAL_V, rel=0.02)
    assert heater.amps(2.0, 11.2) == pytest.approx(whole * 11.2 / NOMINAL_V, rel=0.02)
    heater.factor["pad0"] = 0.0
    assert heater.amps(3.0, NOMINAL_V) == pytest.approx(whole * 2 / 3, rel=0.02)


def test_a_pump_draws_least_with_the_tap_wide_open() -> None:
    """Common practice, no source: lower than near cut-off pressure."""
    wide, nearly = program(load("pump", 70.0)), program(load("pump", 70.0))
    for pump, opening in ((wide, 1.0), (nearly, 0.1)):
        tap(pump, 0.0, 60.0, opening)
    means = [sum(p.amps(10.0 + n, NOMINAL_V) for n in range(30)) / 30 for p in (wide, nearly)]
    assert 0.8 * 70.0 / NOMINAL_V < means[0] < 0.88 * 70.0 / NOMINAL_V
    assert means[1] > 1.07 * 70.0 / NOMINAL_V


def test_a_blocked_fan_pulses() -> None:
    fan = program(load("fan", 30.0))
    retry(fan, 0.0, 600.0, 1.5, 5.5, 0.5)
    seen = [fan.amps(n / 10, NOMINAL_V) > 0 for n in range(1, 5500)]
    assert sum(seen) / len(seen) == pytest.approx(0.5 / 5.5, rel=0.05)


def test_a_charge_is_its_energy() -> None:
    """P x full + P x tau (1 - exp(-4.5)), the integral of its taper."""
    device = program(load("charger", 60.0))
    end = charge(device, 0.0, Random(2), full_s=3600.0, taper_s=1200.0)
    joules = sum(device.amps(t, NOMINAL_V) * NOMINAL_V * 5.0 for t in range(0, int(end) + 10, 5))
    assert joules == pytest.approx(60.0 * (3600.0 + 1200.0 * (1 - 0.0111)), rel=0.01)
