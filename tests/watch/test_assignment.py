"""The assignment of least cost against SciPy's (frozen, with its version) and, for small matrices, against every order."""

from __future__ import annotations

import json
from itertools import permutations
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panelward.watch.assignment import assigned

FROZEN = json.loads((Path(__file__).parents[1] / "reference" / "assignment_scipy.json").read_text())


def total(cost: list[list[float]], columns: list[int]) -> float:
    return sum(row[column] for row, column in zip(cost, columns, strict=True))


@pytest.mark.parametrize("case", FROZEN["cases"], ids=lambda case: case["name"])
def test_it_costs_what_scipys_costs(case: dict[str, object]) -> None:
    """scipy.optimize.linear_sum_assignment, by make_assignment.py. Of equal costs either is right."""
    cost: list[list[float]] = case["cost"]  # type: ignore[assignment]
    found = assigned(cost)
    assert sorted(found) == list(range(len(cost)))
    assert total(cost, found) == pytest.approx(case["sum"], abs=1e-6)
    if str(case["name"]).startswith(("uniform", "diagonal")):  # the best is one
        assert found == case["columns"]


@given(
    st.integers(0, 5).flatmap(
        lambda n: st.lists(st.lists(st.floats(-100, 100), min_size=n, max_size=n), min_size=n, max_size=n)
    )
)
def test_no_order_costs_less(cost: list[list[float]]) -> None:
    found = assigned(cost)
    assert sorted(found) == list(range(len(cost)))
    least = min(total(cost, list(order)) for order in permutations(range(len(cost))))
    assert total(cost, found) == pytest.approx(least, abs=1e-6)
