"""Voltage drop against published worked examples (tests/reference/voltage_drop.toml) and closed forms."""

from __future__ import annotations

import tomllib
from math import sqrt
from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from panelward.ratings import (
    Solved,
    awg_area_mm2,
    circular_mils,
    corrected_ampacity_a,
    drop_by_circular_mils_v,
    greatest_ohm_per_m,
    loop_ohm,
    resistance_ohm_per_m,
    sae_area_mm2,
    solve,
    steady_c,
)
from panelward.ratings.conductor import CMIL_MM2, COPPER_ALPHA_20C, COPPER_OHM_MM2_PER_M_20C
from panelward.ratings.drop import CRITICAL_SHARE, K_BOAT, K_NEC, OTHER_SHARE
from panelward.records import Segment

PUBLISHED: dict[str, Any] = tomllib.loads((Path(__file__).parent.parent / "reference" / "voltage_drop.toml").read_text())
FOOT_M = 0.3048
BEHAVIOURS = ("constant-power", "constant-current", "constant-impedance", "fan")


def solved(loads: list[tuple[str, float]], ohm: float, source_v: float, nominal_v: float) -> Solved:
    found = solve(loads, ohm, source_v, nominal_v)
    assert found is not None
    return found


def drop_v(amps: float, ohm: float, source_v: float = 28.0) -> float:
    """By the solver, with a load that draws `amps` whatever its volts."""
    return solved([("constant-current", amps * source_v)], ohm, source_v, source_v).drop_v


# --------------------------------------------------------------------------------- the fourteen examples


@pytest.mark.parametrize("row", PUBLISHED["mils"], ids=lambda row: f"example {row['number']}")
def test_circular_mils(row: dict[str, Any]) -> None:
    """Examples 1, 2 and 13: CM = K I L / E, and the size that is picked by it."""
    needed = circular_mils(row["k"], row["i_a"], row["out_and_back_ft"], row["drop_v"])
    assert needed == pytest.approx(row["cmil"], rel=2e-4)
    assert row["enough"]["cmil"] >= needed > row["too_small"]["cmil"]
    assert awg_area_mm2(row["enough"]["awg"]) / CMIL_MM2 >= needed
    small = row["too_small"]
    ours = sae_area_mm2(small["sae"]) if "sae" in small else awg_area_mm2(small["awg"])
    assert ours / CMIL_MM2 == pytest.approx(small["cmil"], rel=1e-3)


@pytest.mark.parametrize("row", PUBLISHED["by_mils"], ids=lambda row: f"example {row['number']}")
def test_drop_by_circular_mils(row: dict[str, float]) -> None:
    """Examples 3, 4 and 5: E = 2 K I D / CM on 120 V."""
    found = drop_by_circular_mils_v(K_NEC, row["i_a"], 2 * row["one_way_ft"], row["cmil"])
    assert found == pytest.approx(row["printed_v"], rel=0.009)
    assert found / 120 == pytest.approx(row["printed_share"], abs=0.0006)


@pytest.mark.parametrize("row", PUBLISHED["faa"], ids=lambda row: f"example {row['number']}-{row['ft']:g}")
def test_faa_tables_11_7_and_11_8(row: dict[str, Any]) -> None:
    """Examples 6 to 10, by the circular's own ohm per foot."""
    assert drop_v(20.0, row["ohm_per_ft"] * row["ft"]) == pytest.approx(row["printed_v"], rel=row["rel"])
    plain = greatest_ohm_per_m(Segment(awg=row["awg"]))
    assert plain is not None
    assert 0.80 < plain * FOOT_M / row["ohm_per_ft"] < 0.925  # tin-plated wire has more than ours


def test_faa_example_that_is_printed_wrong() -> None:
    """Example 11: 19.5 ft of No. 10 at 20 A. The circular prints 0.366 V; its own 0.00126 ohm per foot give 0.491 V."""
    row = PUBLISHED["faa_misprint"]
    found = drop_v(20.0, row["ohm_per_ft"] * row["ft"])
    assert found == pytest.approx(row["by_its_own_ohm_v"], abs=5e-4)
    assert found > 1.3 * row["printed_v"]


def test_faa_picks_no_8() -> None:
    """Example 12: between No. 10, which loses more than 1 V, and No. 8."""
    row = PUBLISHED["faa_pick"]
    too_much, picked = (drop_v(20.0, row[f"{of}_ohm_per_ft"] * row["ft"]) for of in ("too_small", "picked"))
    assert too_much == pytest.approx(row["too_small_v"])
    assert picked == pytest.approx(row["picked_v"])
    assert picked < row["limit_v"] < too_much


def test_a_run_of_2300_feet() -> None:
    """Example 13: 14 AWG of pure copper (10.09 ohm cmil/ft) has 5.651 ohm each way, so at most 20.352 A of 230 V."""
    row = PUBLISHED["long_14_awg"]
    each_way = drop_by_circular_mils_v(row["k"], 1.0, row["each_way_ft"], row["cmil"])
    assert each_way == pytest.approx(row["each_way_ohm"], abs=5e-4)
    assert row["source_v"] / (2 * each_way) == pytest.approx(row["most_a"], abs=2e-3)


def test_wires_that_grow_warm() -> None:
    """Example 14: at 35 °C each wire has 15.909 ohm, and the load falls from 12.5 to 12.42 V."""
    row = PUBLISHED["warm_wires"]
    source_v = row["source_v"]
    watts = source_v**2 / row["load_ohm"]
    for wire_ohm, load_v, wire_v in zip(row["wire_ohm"], row["load_v"], row["wire_v"], strict=True):
        found = solved([("constant-impedance", watts)], 2 * wire_ohm, source_v, source_v)
        assert found.load_v == pytest.approx(load_v, abs=0.005)
        assert found.drop_v / 2 == pytest.approx(wire_v, abs=0.005)


def test_all_fourteen_are_here() -> None:
    tables = [PUBLISHED[name] for name in ("mils", "by_mils", "faa")]
    numbers = {row["number"] for table in tables for row in table}
    numbers |= {PUBLISHED[name]["number"] for name in ("faa_misprint", "faa_pick", "warm_wires", "long_14_awg")}
    assert numbers == set(range(1, 15))


def test_the_constants_are_copper_at_different_temperatures() -> None:
    """10.75 is copper at 29 °C, 12.9 at 82 °C, the metric 0.0164 stands 5 % below copper at 20 °C: they do not agree."""
    constants, compared = PUBLISHED["constants"], PUBLISHED["constants_compared"]
    assert (constants["boat"], constants["nec_copper"]) == (K_BOAT, K_NEC)
    at_20 = COPPER_OHM_MM2_PER_M_20C / CMIL_MM2 * FOOT_M
    for k, at_c in ((K_BOAT, compared["boat_c"]), (K_NEC, compared["nec_c"])):
        assert 20.0 + (k / at_20 - 1.0) / COPPER_ALPHA_20C == pytest.approx(at_c, abs=0.5)
    assert 1 - constants["metric"] / COPPER_OHM_MM2_PER_M_20C == pytest.approx(compared["metric_below_copper"], abs=0.002)


def test_the_limits_are_those_of_the_boat_rules() -> None:
    limits = PUBLISHED["limits"]
    assert (limits["critical"], limits["other"]) == (CRITICAL_SHARE, OTHER_SHARE)


def test_five_metres_at_ten_amperes() -> None:
    """DERIVED, ideal copper at 20 °C: 14 AWG 0.83 V, 10 AWG 0.33 V. Ours with its lay 2 % more."""
    runs = PUBLISHED["runs"]
    for awg, printed in runs["drop_v"].items():
        ideal = resistance_ohm_per_m(awg_area_mm2(awg)) * 2 * runs["one_way_m"]
        assert drop_v(runs["i_a"], ideal) == pytest.approx(printed, abs=0.005)
        ours = loop_ohm((Segment(awg=awg, length_m=runs["one_way_m"]),), conductor_c=20.0).ohm
        assert ours / ideal == pytest.approx(1.02)


# ------------------------------------------------------------------------------------------------ the loop


def test_the_loop_is_out_and_back_but_for_a_chassis() -> None:
    wire, chassis = (Segment(area_mm2=2.5, length_m=4.0, return_path=way) for way in ("wire", "chassis"))
    there_and_back, one_way = (loop_ohm((s,), conductor_c=20.0) for s in (wire, chassis))
    assert there_and_back.ohm == pytest.approx(2 * 4.0 * 7.98e-3)  # IEC 60228 class 5
    assert one_way.ohm == pytest.approx(4.0 * 7.98e-3)
    assert (there_and_back.chassis, one_way.chassis) == (False, True)
    both = loop_ohm((wire, chassis, Segment(length_m=2.0), Segment(area_mm2=2.5)), conductor_c=20.0)
    assert both.ohm == pytest.approx(there_and_back.ohm + one_way.ohm)
    assert (both.chassis, both.unknown) == (True, 2)


def test_a_loaded_conductor_is_warm() -> None:
    """Without a temperature each stretch is taken at its rest under the draw, at most its insulation's."""
    segment = Segment(awg="14", length_m=5.0, insulation_c=105, ambient_c=30, bundled=1)
    ampacity = corrected_ampacity_a(segment, "dc")
    assert ampacity is not None
    for amps, at_c in ((0.0, 30.0), (20.0, steady_c(ampacity, 20.0)), (35.0, 105.0), (80.0, 105.0)):
        expected = loop_ohm((segment,), conductor_c=at_c).ohm
        assert loop_ohm((segment,), amps=amps).ohm == pytest.approx(expected)
    unsized = Segment(length_m=1.0, ambient_c=40)
    assert loop_ohm((unsized,), amps=1.0).unknown == 1


# ---------------------------------------------------------------------------------------------- the solver

OHMS, WATTS, VOLTS = st.floats(0.001, 1.0), st.floats(1.0, 2000.0), st.floats(10.0, 60.0)


@given(OHMS, WATTS, VOLTS)
def test_constant_power_is_the_quadratic_and_browns_out_beyond_v_squared_by_4r(ohm: float, watts: float, volts: float) -> None:
    """V² - Vs V + P R = 0: two roots to P = Vs²/4R, of which the upper is the working point; beyond, none."""
    most = volts**2 / (4 * ohm)
    assume(abs(watts / most - 1) > 1e-6)
    found = solve([("constant-power", watts)], ohm, volts, 12.0)
    if watts > most:
        assert found is None
        return
    assert found is not None
    assert found.load_v == pytest.approx((volts + sqrt(volts**2 - 4 * watts * ohm)) / 2, rel=1e-5)
    assert found.amps * found.load_v == pytest.approx(watts, rel=1e-6)
    assert found.drop_v == pytest.approx(found.amps * ohm, rel=1e-4, abs=1e-6)
    assert found.share == pytest.approx(found.drop_v / 12.0)


@pytest.mark.parametrize(("ohm", "volts"), [(0.1, 12.0), (0.5, 24.0), (0.02, 10.5)])
def test_brown_out_begins_at_v_squared_by_4r(ohm: float, volts: float) -> None:
    most = volts**2 / (4 * ohm)
    assert solved([("constant-power", most * 0.999999)], ohm, volts, 12.0).load_v == pytest.approx(volts / 2, rel=2e-3)
    assert solve([("constant-power", most * 1.000001)], ohm, volts, 12.0) is None


@given(OHMS, WATTS, VOLTS)
def test_constant_current_is_ohms_law(ohm: float, watts: float, volts: float) -> None:
    amps = watts / 12.0
    assume(amps * ohm < 0.99 * volts)
    found = solved([("constant-current", watts)], ohm, volts, 12.0)
    assert found.amps == pytest.approx(amps)
    assert found.drop_v == pytest.approx(amps * ohm, rel=1e-6, abs=1e-9)


@given(OHMS, WATTS, VOLTS)
def test_constant_impedance_is_a_divider(ohm: float, watts: float, volts: float) -> None:
    load_ohm = 12.0**2 / watts
    found = solved([("constant-impedance", watts)], ohm, volts, 12.0)
    assert found.load_v == pytest.approx(volts * load_ohm / (load_ohm + ohm), rel=1e-6)


@given(OHMS, WATTS, VOLTS)
def test_a_fan_draws_with_the_power_1_5_of_its_volts(ohm: float, watts: float, volts: float) -> None:
    """Amps with volts to the 1.3 to 1.8: common practice, no source."""
    found = solved([("fan", watts)], ohm, volts, 12.0)
    assert found.amps == pytest.approx(watts / 12.0 * (found.load_v / 12.0) ** 1.5, rel=1e-6)
    assert found.load_v == pytest.approx(volts - ohm * found.amps, rel=1e-6)


LOADS = st.lists(st.tuples(st.sampled_from(BEHAVIOURS), st.floats(1.0, 120.0)), min_size=1, max_size=4)


@given(LOADS, st.floats(0.001, 0.3), st.floats(0.0, 0.3), st.floats(10.0, 30.0))
def test_more_resistance_never_leaves_more_volts(loads: list[tuple[str, float]], ohm: float, more: float, volts: float) -> None:
    little, much = solve(loads, ohm, volts, 12.0), solve(loads, ohm + more, volts, 12.0)
    if little is None:
        assert much is None
    elif much is not None:
        assert much.load_v <= little.load_v + 1e-5
        assert much.load_v == pytest.approx(volts - (ohm + more) * much.amps, rel=1e-4)


def test_without_resistance_nothing_drops() -> None:
    found = solved([("constant-power", 120.0)], 0.0, 12.0, 12.0)
    assert found.drop_v == pytest.approx(0.0, abs=1e-6)
    assert found.amps == pytest.approx(10.0)
