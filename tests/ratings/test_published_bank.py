"""How long a bank lasts, against published worked examples (tests/reference/bank.toml)."""

from __future__ import annotations

import tomllib
from math import inf
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panelward.ratings import autonomy_days, peukert_exponent, peukert_hours, peukert_rated_hours, storage_days

PUBLISHED: dict[str, Any] = tomllib.loads((Path(__file__).parent.parent / "reference" / "bank.toml").read_text())


@pytest.mark.parametrize("row", PUBLISHED["at_one_ampere"], ids=lambda row: str(row["name"]))
def test_peukert_with_the_capacity_at_one_ampere(row: dict[str, Any]) -> None:
    """A: electrotechnik.net, 14.5 h. B: easycalculation.com, 5.0886 h, so 101.77 Ah of 250."""
    assert peukert_hours(row["ah"], row["k"], row["i_a"]) == pytest.approx(row["hours"], rel=row["rel"])
    if row["name"] == "B":
        assert row["i_a"] * peukert_hours(row["ah"], row["k"], row["i_a"]) == pytest.approx(101.772632884)


def test_two_tests_give_the_exponent() -> None:
    """C: 100 Ah at 20 h (5 A), and 10 A for about 7.5 h, needs 1.42; with it the other test comes out."""
    row = PUBLISHED["two_tests"]
    k = peukert_exponent(row["rated_h"], row["ah"] / row["rated_h"], row["hours"], row["i_a"])
    assert k == pytest.approx(row["k"], abs=0.005)
    assert peukert_rated_hours(row["ah"], row["rated_h"], k, row["i_a"]) == pytest.approx(row["hours"])


@pytest.mark.parametrize("row", PUBLISHED["rated"], ids=lambda row: f"{row['name']}-{row['k']}")
def test_peukert_with_the_printed_rating(row: dict[str, Any]) -> None:
    assert peukert_rated_hours(row["ah"], row["rated_h"], row["k"], row["i_a"]) == pytest.approx(row["hours"], abs=0.006)


def test_the_trap_of_the_capacity_at_one_ampere() -> None:
    """100 Ah over 20 h must give 20 h at 5 A. The rating put into the form for 1 A gives 14.5 h: the commonest error."""
    row = PUBLISHED["trap"]
    assert peukert_rated_hours(row["ah"], row["rated_h"], row["k"], row["i_a"]) == pytest.approx(row["hours"])
    assert peukert_hours(row["ah"], row["k"], row["i_a"]) == pytest.approx(row["wrong_hours"], abs=0.01)


@given(st.floats(20, 1000), st.floats(1, 100), st.floats(1.0, 1.6), st.floats(0.1, 100))
def test_both_forms_are_one(capacity_ah: float, rated_h: float, k: float, amps: float) -> None:
    """The capacity at 1 A of a bank rated otherwise is its rating's I^k t."""
    at_one = (capacity_ah / rated_h) ** k * rated_h
    assert peukert_hours(at_one, k, amps) == pytest.approx(peukert_rated_hours(capacity_ah, rated_h, k, amps), rel=1e-9)
    assert peukert_rated_hours(capacity_ah, rated_h, 1.0, amps) == pytest.approx(capacity_ah / amps)


def test_days_without_charge() -> None:
    """DERIVED: 200 Ah, 80 % usable, at 0.5, 1.5, 3 and 6 A."""
    row = PUBLISHED["autonomy"]
    for amps, days in row["days"]:
        for nominal_v in (12.0, 24.0):
            found = autonomy_days(row["ah"], row["usable"], nominal_v, amps * nominal_v * 24)
            assert found == pytest.approx(days, abs=0.05)
    assert autonomy_days(200, 0.8, 12, 864, cold=0.5) == pytest.approx(autonomy_days(200, 0.8, 12, 864) / 2)
    assert autonomy_days(200, 0.8, 12, 0.0) == inf


def test_fifty_milliamperes_take_36_ampere_hours_a_month() -> None:
    row = PUBLISHED["standby"]
    assert storage_days(row["ah_a_month"], 1.0, 12.0, row["i_a"] * 12.0) == pytest.approx(30.0)


def test_a_bank_loses_its_own_charge_too() -> None:
    """5 % a month alone empties a bank of which all is usable in 20 months of 30 days."""
    assert storage_days(100, 1.0, 12.0, 0.0, lost_per_month=0.05) == pytest.approx(600.0)
    assert storage_days(100, 1.0, 12.0, 0.0) == inf
    both = storage_days(100, 0.5, 12.0, 0.6, lost_per_month=0.05)
    assert both == pytest.approx(50 / (0.05 * 24 + 100 * 0.05 / 30))
