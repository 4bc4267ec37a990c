"""A short at the far end, coordination with the conductor, and which of two devices opens first."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from math import inf
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panelward.ratings import (
    Device,
    Member,
    corrected_ampacity_a,
    device,
    far_fault_a,
    far_short,
    loop_ohm,
    opening_times_s,
    selectivity,
    source_limited_a,
    withstand_a2s,
)
from panelward.ratings.selectivity import NOT_SHOWN, NOT_SO, SHOWN
from panelward.records import Protection, Segment

PUBLISHED: dict[str, Any] = tomllib.loads((Path(__file__).parent.parent / "reference" / "devices.toml").read_text())


def fitted(kind: str, rating_a: float, letter: str | None = None) -> Device:
    return device(Protection(kind=kind, rating_a=rating_a, type=letter))


def blade(rating_a: float, letter: str = "C") -> Device:
    return fitted("blade-fuse", rating_a, letter)


def latest(of: Device, multiple: float) -> float:
    found = opening_times_s(of, multiple)[2]
    assert found is not None
    return found


# ------------------------------------------------------------------------------------------------- far shorts

LONG_RUN = Segment(awg="16", length_m=20.0, insulation_c=60)


def test_a_long_thin_run_never_opens_its_fuse() -> None:
    """DERIVED: 20 m of 16 AWG has 0.537 ohm there and back at 20 °C. A tired bank of 10.5 V gives 19 to 20 A, hot 16 to 17."""
    cold_a = 10.5 / loop_ohm((LONG_RUN,), conductor_c=20.0).ohm
    assert cold_a == pytest.approx(19.5, abs=0.3)
    hot_a = far_fault_a(10.5, 0.0, (LONG_RUN,))
    assert 16.0 < hot_a < 17.0
    found = far_short(blade(15), hot_a, (LONG_RUN,), "dc", None)
    assert found.latest_s == inf
    assert found.earliest_s is not None
    assert found.earliest_s < inf
    assert found.multiple == pytest.approx(hot_a / 15)


def test_resistance_of_the_source_and_every_stretch_counts() -> None:
    hot = loop_ohm((LONG_RUN,), conductor_c=60.0).ohm
    assert far_fault_a(12.0, 0.1, (LONG_RUN, LONG_RUN)) == pytest.approx(12.0 / (0.1 + 2 * hot))
    assert far_fault_a(12.0, 0.1, ()) == pytest.approx(120.0)
    assert far_fault_a(12.0, 0.0, (Segment(length_m=2.0),)) == inf
    unsaid = replace(LONG_RUN, insulation_c=None)  # taken at 70 °C
    assert far_fault_a(12.0, 0.0, (unsaid,)) == pytest.approx(12.0 / loop_ohm((LONG_RUN,), conductor_c=70.0).ohm)


def test_a_short_of_five_times_opens_a_type_c_within_half_a_second() -> None:
    """ISO 8820-3 as quoted: at most 0.5 s at 3.5 times, 0.15 s at 6."""
    found = far_short(blade(15), 75.0, (), "dc", None)
    assert found.latest_s is not None
    assert 0.15 <= found.latest_s < 0.5
    assert found.withstand_s == inf  # no conductor named


def test_a_bolted_short_opens_at_once() -> None:
    found = far_short(blade(15), inf, (LONG_RUN,), "dc", None)
    assert (found.earliest_s, found.latest_s) == (0.0, 0.0)


def test_the_weakest_stretch_decides_what_is_borne() -> None:
    """k²S² / I² of IEC 60364-4-43: 16 AWG of PVC bears 500 A for (115 x 1.309)² / 500² = 0.09 s."""
    thin, thick = Segment(awg="16", insulation_c=60), Segment(awg="10", insulation_c=105)
    found = far_short(blade(15), 500.0, (thick, thin, Segment(length_m=1.0)), "dc", None)
    assert found.withstand_s == pytest.approx(0.0906, rel=2e-3)
    alone = far_short(blade(15), 500.0, (thick,), "dc", None)
    assert alone.withstand_s == pytest.approx(withstand_a2s(5.2615, 105) / 500**2, rel=0.02)


def test_a_long_short_sheds_heat_so_it_is_borne_longer_than_k2s2_says() -> None:
    """k²S² holds to 5 s: it counts no heat that is shed. Beyond them never shorter than it, within them just it."""
    thin = Segment(awg="16", insulation_c=60, ambient_c=30, bundled=1)
    ratios = []
    for amps in (45.0, 60.0, 100.0, 300.0, 1000.0):
        ratios.append(far_short(blade(15), amps, (thin,), "dc", None).withstand_s * amps**2 / withstand_a2s(1.309, 60))
    assert ratios == sorted(ratios, reverse=True)
    assert ratios[0] > 1.1
    assert ratios[2:] == pytest.approx([1.0, 1.0, 1.0], rel=1e-3)


def test_a_breaker_that_trips_at_once_is_not_held_to_its_tests_ceiling() -> None:
    """IEC 60898-1 test e: under 0.1 s; what it lets through is far less than 0.1 s would be."""
    cable = Segment(area_mm2=1.5, insulation_c=70, ambient_c=30, bundled=1)
    found = far_short(device(Protection(kind="breaker-b", rating_a=10)), 600.0, (cable,), "ac", None)
    assert found.withstand_s == inf
    assert found.latest_s is not None
    assert found.latest_s <= 0.1


def test_up_to_its_ampacity_a_conductor_bears_for_ever() -> None:
    ampacity = corrected_ampacity_a(LONG_RUN, "dc")
    assert ampacity is not None
    assert far_short(blade(15), ampacity.amps, (LONG_RUN,), "dc", None).withstand_s == inf
    assert far_short(blade(15), ampacity.amps * 5, (LONG_RUN,), "dc", None).withstand_s < inf
    # A rule's cap is no temperature: 9 A on 16 AWG is borne for ever, though NEC 551.10 gives it a device of 8 A.
    assert far_short(blade(15), 9.0, (replace(LONG_RUN, area_mm2=None),), "dc", None, ("NEC 551.10",)).withstand_s == inf


def test_a_warm_panel_opens_sooner_on_a_short() -> None:
    mild, warm = (far_short(blade(15), 25.0, (), "dc", at).latest_s for at in (23.0, 60.0))
    assert mild is not None
    assert warm is not None
    assert warm < mild


def test_a_breaker_behind_an_inverter_never_opens() -> None:
    """1 kW at 230 V gives twice its watts for a moment, 8.7 A: less than B10 carries for ever, let alone 30 to 50 A."""
    amps = source_limited_a(1000.0, 230.0)
    assert amps == pytest.approx(8.7, abs=0.01)
    assert opening_times_s(fitted("breaker-b", 10), amps / 10) == (inf, inf, inf)
    assert source_limited_a(1000.0, 230.0, surge=1.0) == pytest.approx(4.35, abs=0.01)


def test_nothing_is_claimed_of_an_electronic_output() -> None:
    found = far_short(fitted("electronic", 10), 100.0, (), "dc", None)
    assert (found.earliest_s, found.latest_s) == (None, None)


# ----------------------------------------------------------------------------------------------- coordination


def opens_surely(of: Device, within_s: float) -> float:
    """I2 as a multiple of the rating: the least current that every device of the type opens on within `within_s`."""
    low, high = 1.0, 3.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if latest(of, middle) <= within_s else (middle, high)
    return high


@pytest.mark.parametrize("kind", ["breaker-b", "breaker-c", "breaker-d"])
def test_a_breaker_within_its_conductors_ampacity_satisfies_the_second_rule_of_its_own(kind: str) -> None:
    """IEC 60364-4-43 433.1: Ib <= In <= Iz and I2 <= 1.45 Iz. I2 is 1.45 In, so In <= Iz is enough."""
    rule = PUBLISHED["coordination"]
    i2 = opens_surely(fitted(kind, 16), 3600.0)
    assert i2 == pytest.approx(rule["breaker_i2_times_in"], rel=1e-3)
    assert i2 <= rule["i2_most_times_iz"] * (1 + 1e-6)


@pytest.mark.parametrize("letter", ["C", "E", "F"])
def test_so_does_a_blade_fuse(letter: str) -> None:
    """DERIVED: its I2 is 1.35 In."""
    i2 = opens_surely(blade(20, letter), 1800.0)
    assert i2 == pytest.approx(PUBLISHED["coordination_blade"]["blade_i2_times_in"], rel=2e-3)
    assert i2 <= PUBLISHED["coordination"]["i2_most_times_iz"]


# ------------------------------------------------------------------------------------------------ selectivity

FAMILIES = [
    ("blade-fuse", "C"), ("blade-fuse", "E"), ("blade-fuse", "F"), ("bolt-fuse", None), ("glass-fuse", None),
    ("breaker-b", None), ("breaker-c", None), ("breaker-d", None), ("breaker-thermal", None),
]  # fmt: skip


def test_equal_ratings_do_not_discriminate() -> None:
    assert selectivity(blade(10), blade(10), None) == NOT_SO
    assert selectivity(blade(15), blade(10, "E"), 400.0) == NOT_SO


@pytest.mark.parametrize(("kind", "letter"), FAMILIES)
def test_twice_the_rating_of_one_family_is_never_not_so(kind: str, letter: str | None) -> None:
    """Common practice asks for twice. To a real fault the bands of the standards can't show it, and don't refute it."""
    branch, feeder = fitted(kind, 20, letter), fitted(kind, 40, letter)
    for fault_a in (None, 50.0, 100.0, 200.0):
        assert selectivity(branch, feeder, fault_a) != NOT_SO
    for fault_a in (400.0, 1000.0):
        assert selectivity(branch, feeder, fault_a) == NOT_SHOWN


def test_far_apart_it_is_shown() -> None:
    """A quick 5 A behind a slow 60 A, to a fault of 500 A: at most 0.15 s from 6 times, against at least 0.04 s at 360 A."""
    for fault_a in (100.0, 200.0, 500.0):
        assert selectivity(blade(5), blade(60, "E"), fault_a) == SHOWN


def test_a_small_breaker_is_shown_until_the_feeders_magnetic_band_begins() -> None:
    """IEC 60898-1 type B: the feeder of 63 A may open at once from 189 A on, the branch needs up to 0.1 s."""
    branch, feeder = fitted("breaker-b", 6), fitted("breaker-b", 63)
    assert selectivity(branch, feeder, 150.0) == SHOWN
    assert selectivity(branch, feeder, 400.0) == NOT_SHOWN


@given(
    st.sampled_from(FAMILIES),
    st.sampled_from(FAMILIES),
    st.sampled_from([5.0, 10.0, 20.0]),
    st.sampled_from([30.0, 60.0, 100.0]),
)
def test_without_a_fault_current_nothing_is_shown(
    one: tuple[str, str | None], two: tuple[str, str | None], branch_a: float, feeder_a: float
) -> None:
    assert selectivity(fitted(one[0], branch_a, one[1]), fitted(two[0], feeder_a, two[1]), None) in (NOT_SHOWN, NOT_SO)


def test_a_feeder_that_surely_opens_first_is_not_so() -> None:
    """Devices narrowed to one member each: the branch the slowest of its type, the feeder the quickest."""
    e, c = blade(20, "E"), blade(25)
    branch = replace(e, members=(max(e.members, key=lambda m: m.holder_s),))
    feeder = replace(c, members=(min(c.members, key=lambda m: m.pickup),))
    assert selectivity(branch, feeder, None) == NOT_SO
    assert selectivity(branch, feeder, 200.0) == NOT_SO
    assert selectivity(branch, replace(feeder, rating_a=1e4), None) == NOT_SHOWN


def test_without_a_fault_current_overloads_to_three_times_the_feeder_are_looked_at() -> None:
    """A branch that opens first at 1.5 times its feeder's rating and last at 3 times is found out."""
    slow = Member(1.1, 0.0, 100.0, 200.0, 0.0, 0.0, False)
    quick = Member(1.35, 0.7, 0.1, 300.0, 0.0, 0.0, False)
    branch, feeder = replace(blade(20), members=(slow,)), replace(blade(25), members=(quick,))
    assert latest(branch, 37.5 / 20) < latest(feeder, 37.5 / 25)
    assert latest(branch, 75.0 / 20) > latest(feeder, 75.0 / 25)
    assert selectivity(branch, feeder, 37.5) == SHOWN
    assert selectivity(branch, feeder, None) == NOT_SO


def test_an_electronic_output_is_not_shown() -> None:
    output = fitted("electronic", 5)
    assert selectivity(output, blade(60), 500.0) == selectivity(blade(5), fitted("electronic", 60), 500.0) == NOT_SHOWN
