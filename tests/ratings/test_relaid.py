"""A measured load at the end of another conductor: against the solver, the theorem and a published pair of wires."""

from __future__ import annotations

import tomllib
from math import sqrt
from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from panelward.ratings import most_watts, relaid, solve
from panelward.ratings.behaviour import EXPONENT, at_nominal

PUBLISHED: dict[str, Any] = tomllib.loads((Path(__file__).parent.parent / "reference" / "voltage_drop.toml").read_text())
OHMS = st.floats(0.001, 0.5)
VOLTS = st.floats(9.0, 60.0)


@given(
    behaves=st.sampled_from(sorted(EXPONENT)), source_v=VOLTS, share=st.floats(0.001, 0.45), ohm=OHMS, other_ohm=OHMS
)  # fmt: skip
def test_it_is_what_the_solver_says(behaves: str, source_v: float, share: float, ohm: float, other_ohm: float) -> None:
    """The load's watts at nominal volts, worked out from what flowed, solved anew: two ways to the same amps."""
    amps = share * source_v / ohm
    found = relaid(amps, source_v, ohm, source_v, other_ohm, EXPONENT[behaves])
    assert found is not None
    load_v = source_v - ohm * amps
    watts = at_nominal(amps * load_v, load_v, source_v, EXPONENT[behaves])
    solved = solve([(behaves, watts)], other_ohm, source_v, source_v)
    if found.brown_out:
        assert solved is None or solved.load_v == pytest.approx(source_v / 2, rel=1e-3)
    else:
        assume(solved is not None)
        assert solved is not None
        assert found.amps == pytest.approx(solved.amps, rel=1e-6)
        assert found.load_v == pytest.approx(solved.load_v, rel=1e-6)


@given(source_v=VOLTS, ohm=OHMS, over=st.floats(0.5, 1.5))
def test_no_load_gets_more_than_v2_over_4r(source_v: float, ohm: float, over: float) -> None:
    """The maximum power transfer theorem: at half the source's volts, and not a watt more."""
    watts = over * most_watts(source_v, ohm)
    thick = ohm / 1000.0
    amps = (source_v - sqrt(source_v**2 - 4 * thick * watts)) / (2 * thick)
    found = relaid(amps, source_v, thick, source_v, ohm, 0.0)
    assert found is not None
    if abs(over - 1.0) > 1e-6:
        assert found.brown_out == (over > 1.0)
    if found.brown_out:
        assert found.load_v * found.amps == pytest.approx(most_watts(source_v, ohm))
        assert found.load_v == pytest.approx(source_v / 2)
    else:
        assert found.load_v * found.amps == pytest.approx(watts, rel=1e-6)
        assert found.load_v >= source_v / 2


def test_the_figures_of_the_theorem() -> None:
    """12 V behind 0.36 ohm bring 100 W at most, at 6 V: 144 / 1.44."""
    assert most_watts(12.0, 0.36) == pytest.approx(100.0)
    at_99 = relaid(99.0 / 12.0, 12.0, 0.0, 12.0, 0.36, 0.0)
    at_101 = relaid(101.0 / 12.0, 12.0, 0.0, 12.0, 0.36, 0.0)
    assert at_99 is not None
    assert not at_99.brown_out
    assert at_101 == (pytest.approx(12.0 / 0.72), pytest.approx(6.0), True)


def test_wires_that_grow_warm_as_printed() -> None:
    """Example 14 of the published: the same load from one wire onto the other has the volts that are printed there."""
    row = PUBLISHED["warm_wires"]
    source_v, load_ohm = row["source_v"], row["load_ohm"]
    (first, *others), (_, *printed) = [2 * ohm for ohm in row["wire_ohm"]], row["load_v"]
    amps = source_v / (load_ohm + first)
    for ohm, load_v in zip(others, printed, strict=True):
        found = relaid(amps, source_v, first, source_v, ohm, 2.0)
        assert found is not None
        assert found.load_v == pytest.approx(load_v, abs=0.005)


@given(amps=st.floats(0.001, 200.0), source_v=VOLTS, ohm=OHMS, exponent=st.sampled_from(sorted(EXPONENT.values())))
def test_the_same_conductor_changes_nothing(amps: float, source_v: float, ohm: float, exponent: float) -> None:
    found = relaid(amps, source_v, ohm, source_v, ohm, exponent)
    assert (found is None) == (source_v - ohm * amps <= 0.0)
    if found is not None:
        assert (found.amps, found.brown_out) == (amps, False)


@given(
    share=st.floats(0.001, 0.99), source_v=VOLTS, ohm=OHMS, thinner=st.floats(0.01, 1.0), least=st.floats(0.01, 1.0),
    exponent=st.sampled_from(sorted(EXPONENT.values())),
)  # fmt: skip
def test_a_thicker_conductor_loses_less_and_browns_out_no_more(
    share: float, source_v: float, ohm: float, thinner: float, least: float, exponent: float
) -> None:
    """Whatever hangs there: thicker than what is there never browns out; of two thinner ones the thicker not before."""
    amps = share * source_v / ohm
    thick = relaid(amps, source_v, ohm, source_v, ohm * least, exponent)
    assert thick is not None
    assert not thick.brown_out
    assert thick.load_v >= source_v - ohm * amps - 1e-9 * source_v
    one, other = ohm / thinner, ohm / thinner / least
    nearer, farther = (relaid(amps, source_v, ohm, source_v, each, exponent) for each in (one, other))
    assert nearer is not None
    assert farther is not None
    assert farther.brown_out or not nearer.brown_out


def test_a_conductor_that_cannot_be_the_one() -> None:
    """20 A through 1 ohm lose more than 12 V have: nothing is reckoned."""
    assert relaid(20.0, 12.0, 1.0, 12.0, 0.5, 0.0) is None
