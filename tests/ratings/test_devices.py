"""Devices against the gates of their standards, and the thermal memory against IEC 60255-149 and an ODE solver."""

from __future__ import annotations

import json
import tomllib
from math import inf, isclose, log
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panelward.ratings import (
    Body,
    cold_factor,
    device,
    heat,
    iec_60255_149_time_s,
    time_to_open_s,
    warm,
    warm_factor,
)
from panelward.records import Protection

REFERENCE = Path(__file__).parent.parent / "reference"
PUBLISHED = tomllib.loads((REFERENCE / "devices.toml").read_text())


def fuse(kind: str, rating_a: float = 15) -> Protection:
    family, _, letter = kind.rpartition("-")
    return Protection(kind=family, type=letter, rating_a=rating_a)


def bodies(protection: Protection) -> tuple[Body, Body]:
    fitted = device(protection)
    assert fitted.quickest is not None
    assert fitted.slowest is not None
    return fitted.quickest, fitted.slowest


@pytest.mark.parametrize("kind", ["blade-fuse-C", "blade-fuse-E", "blade-fuse-F"])
def test_both_bodies_of_a_blade_fuse_lie_inside_every_gate_of_its_type(kind: str) -> None:
    for body in bodies(fuse(kind)):
        for multiple, min_s, max_s in PUBLISHED["gates"][kind]["rows"]:
            assert min_s <= time_to_open_s(body, body.cold(), multiple) <= max_s, (kind, multiple)


@pytest.mark.parametrize("kind", ["blade-fuse-C", "blade-fuse-E"])
def test_the_two_bodies_span_most_of_the_band(kind: str) -> None:
    """A band that the standard leaves a hundred times wide is not told as one curve."""
    quick, slow = bodies(fuse(kind))
    _, min_s, max_s = PUBLISHED["gates"][kind]["rows"][1]
    told = time_to_open_s(slow, slow.cold(), 1.35) / time_to_open_s(quick, quick.cold(), 1.35)
    assert told > (max_s / min_s) ** 0.85


@pytest.mark.parametrize("rating_a", [10, 32, 40, 63])
@pytest.mark.parametrize("kind", ["breaker-b", "breaker-c", "breaker-d"])
def test_breakers_pass_tests_a_to_c_of_iec_60898_1(kind: str, rating_a: float) -> None:
    published = PUBLISHED["breaker_iec60898_1"]
    for body in bodies(Protection(kind=kind, rating_a=rating_a)):
        state = body.cold()
        assert time_to_open_s(body, state, published["no_trip"]["multiple"]) == inf
        warm(body, state, published["no_trip"]["multiple"], published["no_trip"]["s"])
        after = published["trip_after_no_trip"]
        assert time_to_open_s(body, state, after["multiple"]) < after["s"]
        most = published["at_255"]["max_s_up_to_32_a" if rating_a <= 32 else "max_s_above_32_a"]
        assert published["at_255"]["min_s"] < time_to_open_s(body, body.cold(), 2.55) < most


def test_the_magnetic_bands_are_those_of_iec_60898_1() -> None:
    for kind, (least, most) in PUBLISHED["breaker_iec60898_1"]["instantaneous"].items():
        assert device(Protection(kind=kind, rating_a=16)).magnetic == (least, most)


@pytest.mark.parametrize("kind", ["breaker-thermal", "breaker-self-resetting", "glass-fuse"])
def test_ul_devices_open_within_ul_489_and_ul_248_14(kind: str) -> None:
    for body in bodies(Protection(kind=kind, rating_a=15)):
        assert time_to_open_s(body, body.cold(), 1.0) == inf
        for multiple, max_s in PUBLISHED["ul489"]["rows"]:
            assert time_to_open_s(body, body.cold(), multiple) <= max_s


def test_no_opening_time_is_claimed_for_bolt_in_links() -> None:
    fitted = device(Protection(kind="bolt-fuse", rating_a=60))
    assert (fitted.quickest, fitted.slowest) == (None, None)


@pytest.mark.parametrize("row", PUBLISHED["thermal_memory"], ids=lambda row: f"{row['confidence']}-{row['tau_s']}")
def test_published_numbers_of_thermal_memory(row: dict[str, float]) -> None:
    """The manual prints whole seconds of tau; the derived rows have two decimals."""
    body = Body(row["k"], ((1.0, row["tau_s"]),))
    state = body.cold()
    warm(body, state, row["before"], 1e9)
    assert time_to_open_s(body, state, row["i"]) == pytest.approx(row["t_s"], rel=2e-3)
    assert iec_60255_149_time_s(row["i"], row["before"], row["k"], row["tau_s"]) == pytest.approx(row["t_s"], rel=2e-3)


def test_heat_follows_an_ode_solver_within_a_thousandth() -> None:
    """Frozen output of scipy's solve_ivp on the same waveforms (tests/reference/make_thermal.py computes it anew)."""
    frozen = json.loads((REFERENCE / "thermal_solve_ivp.json").read_text())
    assert len(frozen["cases"]) >= 6
    for case in frozen["cases"]:
        body = Body(case["pickup"], tuple((share, tau) for share, tau in case["terms"]))
        state = body.cold()
        for multiple, dt_s, expected in case["steps"]:
            warm(body, state, multiple, dt_s)
            assert heat(body, state) == pytest.approx(expected, rel=1e-3, abs=1e-6), case["name"]


BODIES = [b for kind in ("blade-fuse-C", "blade-fuse-E") for b in bodies(fuse(kind))] + list(
    bodies(Protection(kind="breaker-c", rating_a=16))
)


@given(st.sampled_from(BODIES), st.floats(0.1, 8), st.floats(0.0, 7), st.floats(0.0, 0.99))
def test_opening_time_falls_as_current_and_preload_rise(body: Body, multiple: float, more: float, preload: float) -> None:
    hot = body.cold()
    warm(body, hot, preload * body.pickup, 30.0)
    cold_s, hot_s = time_to_open_s(body, body.cold(), multiple), time_to_open_s(body, hot, multiple)
    assert hot_s <= cold_s
    assert time_to_open_s(body, body.cold(), multiple + more) <= cold_s


@given(st.sampled_from(BODIES), st.floats(1.5, 6), st.floats(0.001, 1e4))
def test_the_step_length_changes_nothing(body: Body, multiple: float, seconds: float) -> None:
    whole, parts = body.cold(), body.cold()
    warm(body, whole, multiple, seconds)
    for share in (0.3, 0.1, 0.6):
        warm(body, parts, multiple, seconds * share)
    assert heat(body, parts) == pytest.approx(heat(body, whole), rel=1e-9)


@given(st.sampled_from(BODIES), st.floats(1.5, 6))
def test_the_time_told_is_the_time_at_which_it_opens(body: Body, multiple: float) -> None:
    seconds = time_to_open_s(body, body.cold(), multiple)
    state = body.cold()
    warm(body, state, multiple, seconds)
    assert heat(body, state) == pytest.approx(1.0, rel=1e-6)


def test_one_body_is_the_closed_form() -> None:
    body = Body(1.1, ((1.0, 100.0),))
    assert isclose(time_to_open_s(body, body.cold(), 2.0), 100.0 * log(4 / (4 - 1.21)), rel_tol=1e-12)


def test_a_warm_panel_takes_from_the_quick_side_and_a_cold_one_gives_to_the_slow_side() -> None:
    """Type E 40 A link: 34 A at 65 °C (a data sheet naming ISO 8820-3); 107 % at -20 °C (MIL-PRF-23419/9D)."""
    link = device(Protection(kind="blade-fuse", type="E", rating_a=40))
    assert 40 * warm_factor(link, 65.0) == pytest.approx(34.0, rel=0.01)
    assert warm_factor(link, 20.0) == warm_factor(link, None) == 1.0
    assert cold_factor(-20.0) == pytest.approx(1.07)
    assert cold_factor(30.0) == cold_factor(None) == 1.0
