"""Opening times of members of the set against an ODE solver that looks for the event itself.

Frozen output of scipy's solve_ivp; tests/reference/make_members_ivp.py computes it anew.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from panelward.ratings import Device, Member, Specimens, device, time_to_open_s, warm
from panelward.ratings.members import MEMBERS
from panelward.records import Protection

FROZEN: dict[str, Any] = json.loads((Path(__file__).parent.parent / "reference" / "members_solve_ivp.json").read_text())
CASES: list[dict[str, Any]] = FROZEN["cases"]


def member_of(case: dict[str, Any]) -> Member:
    pickup, share, element_s, holder_s = case["row"]
    return Member(pickup, share, element_s, holder_s, 0.0, 0.0, False)


def test_enough_is_frozen_and_it_is_of_the_set() -> None:
    assert len({tuple(case["row"]) for case in CASES}) >= 12
    assert len({case["type"] for case in CASES}) >= 6
    assert any(case["before"][1] > 0 for case in CASES)
    for case in CASES:
        assert tuple(case["row"]) in {row[:4] for row in MEMBERS[case["type"]]}, "the set was made anew: freeze these too"


def test_the_time_to_open_is_the_solvers_within_a_thousandth() -> None:
    for case in CASES:
        body, (before, seconds) = member_of(case).body(), case["before"]
        state = body.cold()
        warm(body, state, before, seconds)
        assert time_to_open_s(body, state, case["multiple"]) == pytest.approx(case["opens_s"], rel=1e-3), case


def test_the_set_that_is_carried_along_tells_the_same() -> None:
    """Specimens keeps heat another way than Body does (each part times its share): it must come to the same time."""
    plain: Device = device(Protection(kind="glass-fuse", rating_a=5))
    for case in CASES:
        before, seconds = case["before"]
        those = Specimens(replace(plain, members=(member_of(case),)))
        those.carry(seconds, before**2, None)
        told = those.times_s(case["multiple"], None)
        assert list(told) == [pytest.approx(case["opens_s"], rel=1e-3)] * 3, case
        assert those.may_open_within(case["opens_s"] * 1.001, case["multiple"], None)
        assert not those.may_open_within(case["opens_s"] * 0.999, case["multiple"], None)
