"""What stands beside the tables: what was assumed is named, what is not known is None, and the heat a conductor takes up."""

from __future__ import annotations

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panelward.ratings import (
    DEFAULT_RULES,
    RULES,
    Ampacity,
    area_mm2,
    corrected_ampacity_a,
    greatest_ohm_per_m,
    steady_c,
    time_constant_s,
)
from panelward.records import Segment


def found(segment: Segment, kind: str = "dc", rules: tuple[str, ...] = ()) -> Ampacity:
    ampacity = corrected_ampacity_a(segment, kind, rules)
    assert ampacity is not None
    return ampacity


def test_what_is_not_known_is_named() -> None:
    assert found(Segment(area_mm2=4.0)).assumed == ("ambient 30 °C", "not bundled", "insulation 60 °C")
    assert found(Segment(area_mm2=4.0, ambient_c=25, bundled=3, insulation_c=105)).assumed == ()
    assert found(Segment(area_mm2=4.0, ambient_c=25, bundled=3), "ac").assumed == ("insulation 70 °C",)


def test_no_size_no_ampacity_and_no_resistance() -> None:
    nothing = Segment(length_m=3.0)
    assert area_mm2(nothing) is None
    assert greatest_ohm_per_m(nothing) is None
    assert corrected_ampacity_a(nothing, "dc") is None
    thin = corrected_ampacity_a(Segment(area_mm2=0.01, insulation_c=105), "dc")
    assert thin is not None
    assert thin.bound  # less than an 18 AWG carries, that is all that is known


def test_a_rule_that_is_not_known_is_an_error_and_one_of_the_other_supply_does_not_count() -> None:
    with pytest.raises(KeyError):
        corrected_ampacity_a(Segment(area_mm2=4.0), "dc", ("no such rule",))
    assert corrected_ampacity_a(Segment(area_mm2=4.0), "ac", ("33 CFR 183.425",)) is None
    assert found(Segment(area_mm2=4.0), "ac", ("33 CFR 183.425", "IEC 60364-5-52")).by_rule == (("IEC 60364-5-52", 30.0),)


def test_the_default_rules_apply_to_their_supply() -> None:
    for kind, names in DEFAULT_RULES.items():
        assert all(kind in RULES[name].kinds for name in names)
        assert found(Segment(area_mm2=4.0), kind).rule == names[0]


AREAS, AT = st.floats(0.5, 100.0), st.floats(-20, 120)


@given(
    st.floats(0.5, 100.0), st.floats(0.0, 50.0), AT, st.floats(0.0, 60.0), st.integers(1, 60), st.sampled_from(sorted(RULES))
)
def test_ampacity_never_rises_with_ambient_and_bundling_nor_falls_with_copper(
    area: float, more: float, ambient_c: float, warmer: float, bundled: int, rule: str
) -> None:
    kind = RULES[rule].kinds[0]

    def amps(mm2: float, at: float, count: int) -> float:
        seg = Segment(area_mm2=mm2, ambient_c=at, bundled=count, insulation_c=105)
        ampacity = corrected_ampacity_a(seg, kind, (rule,))
        return 0.0 if ampacity is None else ampacity.amps

    here = amps(area, ambient_c, bundled)
    assert amps(area, ambient_c + warmer, bundled) <= here + 1e-9
    assert amps(area, ambient_c, bundled + 1) <= here + 1e-9
    if rule != "NEC 551.10" or area + more < 5.26:  # that rule ends at 10 AWG
        assert amps(area + more, ambient_c, bundled) >= here - 1e-9


def test_a_cold_place_gains_nothing() -> None:
    for rule, of in RULES.items():
        cold, mild = (
            found(Segment(awg="12", insulation_c=105, ambient_c=at, bundled=1), of.kinds[0], (rule,)) for at in (-20.0, 30.0)
        )
        assert cold.amps == mild.amps


def test_the_time_constant_is_minutes_for_a_branch_conductor() -> None:
    of = found(Segment(area_mm2=4.0, insulation_c=105, ambient_c=40, bundled=3))
    # Energy balance by hand: 3.45 J/mm2 m K x 3.309 mm2 x 65 K / ((29.32 A)^2 x 6.95 mohm/m) = 124 s.
    assert time_constant_s(of) == pytest.approx(124, rel=0.02)


def test_where_nothing_may_flow_any_current_is_too_warm() -> None:
    hot = found(Segment(awg="12", insulation_c=60, ambient_c=60))
    assert hot.amps == 0.0
    assert steady_c(hot, 1.0) == inf
    assert steady_c(hot, 0.0) == 60.0


@given(st.floats(0.0, 200.0))
def test_at_its_ampacity_a_conductor_rests_at_its_insulations_temperature(amps: float) -> None:
    of = found(Segment(awg="10", insulation_c=105, ambient_c=30, bundled=1))
    assert steady_c(of, of.amps) == pytest.approx(105.0)
    assert (steady_c(of, amps) > 105.0) is (amps > of.amps)


def test_a_cap_of_a_rule_is_no_temperature() -> None:
    """NEC 240.4(D) holds a 14 AWG device at 15 A; its 90 °C insulation is at 90 °C at 25 A (Table 310.16)."""
    found = corrected_ampacity_a(Segment(awg="14", insulation_c=90, ambient_c=30, bundled=1), "dc", ("NEC 310.16",))
    assert found is not None
    assert (found.amps, found.thermal_a) == (15.0, 25.0)
    assert steady_c(found, 25.0) == pytest.approx(90.0)
    hotter = corrected_ampacity_a(Segment(area_mm2=4.0, insulation_c=105, ambient_c=30, bundled=1), "dc", ("IEC 60364-5-52",))
    assert hotter is not None
    assert steady_c(hotter, 40.0) == pytest.approx(90.0)  # the column is of 90 °C: better insulation bears more
    assert hotter.rated_c == 105


def test_where_nothing_may_flow_heat_is_at_once() -> None:
    found = corrected_ampacity_a(Segment(area_mm2=1.0, insulation_c=60, ambient_c=60, bundled=1), "dc")
    assert found is not None
    assert (found.amps, found.thermal_a, time_constant_s(found)) == (0.0, 0.0, 1.0)
