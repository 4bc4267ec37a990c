"""Conductors against ASTM sizes, NEC chapter 9 resistances and the ampacity tables."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from panelward.ratings import awg_area_mm2, corrected_ampacity_a, resistance_ohm_per_m, time_constant_s
from panelward.records import Segment

PUBLISHED = tomllib.loads((Path(__file__).parent.parent / "reference" / "devices.toml").read_text())
CMIL_MM2 = 0.00050670748  # a circle of 0.001 in


def amps(kind: str = "dc", **keys: float | str) -> float:
    found = corrected_ampacity_a(Segment(**keys), kind)  # type: ignore[arg-type]
    assert found is not None
    return found.amps


def test_awg_areas_are_those_of_the_table() -> None:
    for awg, cmil in PUBLISHED["awg"]["cmil"].items():
        assert awg_area_mm2(awg) == pytest.approx(cmil * CMIL_MM2, rel=2e-3)


def test_resistance_is_nec_chapter_9_table_8_at_75_c() -> None:
    for awg, per_kft in PUBLISHED["nec_ch9_table8"]["ohm_per_kft"].items():
        assert resistance_ohm_per_m(awg_area_mm2(awg), 75.0) * 304.8 == pytest.approx(per_kft, rel=5e-3)


def test_33_cfr_table_5_and_its_engine_space() -> None:
    for awg, printed in PUBLISHED["cfr_183_425"]["c105_a"].items():
        assert amps(awg=awg, insulation_c=105, ambient_c=30) == printed
    for awg, printed in PUBLISHED["cfr_183_425"]["engine_space_105c"].items():
        assert amps(awg=awg, insulation_c=105, ambient_c=50) == pytest.approx(printed, rel=0.011, abs=0.5)


def test_bundles_take_the_published_factors() -> None:
    for bundled, factor in PUBLISHED["cfr_183_425"]["bundle"]:
        assert amps(awg="10", insulation_c=105, ambient_c=30, bundled=bundled) == pytest.approx(60 * factor)


def test_iec_60364_5_52_reproduces_the_printed_figures_to_the_ampere() -> None:
    published = PUBLISHED["iec_60364_5_52"]
    for mm2, row in ((4.0, "b2_4mm2_printed_a"), (10.0, "b2_10mm2_printed_a")):
        for ambient, printed in zip(published["ambient_c"], published[row], strict=True):
            assert amps("ac", area_mm2=mm2, insulation_c=70, ambient_c=ambient) == pytest.approx(printed, abs=1.0)


def test_odd_sizes_and_insulations_take_the_next_smaller_one() -> None:
    assert amps(area_mm2=1.5, insulation_c=105, ambient_c=30) == 25  # 16 AWG is 1.31 mm2; 14 AWG is more
    assert amps(area_mm2=2.08, insulation_c=70, ambient_c=30) == 20  # 14 AWG in the 60 °C column


def test_what_is_not_known_is_named() -> None:
    found = corrected_ampacity_a(Segment(area_mm2=4.0), "dc")
    assert found is not None
    assert found.assumed == ("ambient 30 °C", "not bundled", "insulation 60 °C")
    assert corrected_ampacity_a(Segment(length_m=3.0), "dc") is None
    assert corrected_ampacity_a(Segment(area_mm2=0.01, insulation_c=105), "dc") is None


def test_thermal_insulation_halves_beyond_half_a_metre() -> None:
    """IEC 60364-5-52 clause 523.9, from memory."""
    free = amps(awg="10", insulation_c=105, ambient_c=30)
    assert amps(awg="10", insulation_c=105, ambient_c=30, thermal_insulation_m=0.6) == pytest.approx(free / 2)


def test_the_time_constant_is_minutes_for_a_branch_conductor() -> None:
    found = corrected_ampacity_a(Segment(area_mm2=4.0, insulation_c=105, ambient_c=40, bundled=3), "dc")
    assert found is not None
    # Energy balance by hand: 3.45 J/mm2 m K x 3.309 mm2 x 65 K / ((29.32 A)^2 x 6.95 mohm/m) = 124 s.
    assert time_constant_s(found) == pytest.approx(124, rel=0.02)
