"""What is printed about devices, and the thermal memory against IEC 60255-149 and an ODE solver."""

from __future__ import annotations

import json
import tomllib
from math import inf, isclose, log
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panelward.ratings import (
    MAGNETIC,
    Body,
    cold_factor,
    device,
    family,
    heat,
    iec_60255_149_time_s,
    opening_times_s,
    set_names,
    time_to_open_s,
    warm,
    warm_factor,
)
from panelward.ratings.devices import MAGNETIC_MAX_S
from panelward.records import Protection

REFERENCE = Path(__file__).parent.parent / "reference"
PUBLISHED = tomllib.loads((REFERENCE / "devices.toml").read_text())
KINDS = ("blade-fuse", "bolt-fuse", "glass-fuse", *MAGNETIC, "breaker-thermal", "breaker-self-resetting")


def fuse(letter: str | None, rating_a: float = 15) -> Protection:
    return Protection(kind="blade-fuse", type=letter, rating_a=rating_a)


def test_the_magnetic_bands_are_those_of_iec_60898_1() -> None:
    for kind, (least, most) in PUBLISHED["breaker_iec60898_1"]["instantaneous"].items():
        assert device(Protection(kind=kind, rating_a=16)).magnetic == (least, most)
    assert PUBLISHED["breaker_iec60898_1"]["instantaneous_s"] == MAGNETIC_MAX_S


@pytest.mark.parametrize("kind", sorted(MAGNETIC))
def test_every_breaker_opens_within_a_tenth_of_a_second_at_its_second_multiple(kind: str) -> None:
    """Test e of IEC 60898-1."""
    most = PUBLISHED["breaker_iec60898_1"]["instantaneous"][kind][1]
    latest = opening_times_s(device(Protection(kind=kind, rating_a=16)), most)[2]
    assert latest is not None
    assert latest <= PUBLISHED["breaker_iec60898_1"]["instantaneous_s"]


@pytest.mark.parametrize("kind", sorted(MAGNETIC))
def test_no_breaker_opens_within_a_tenth_of_a_second_at_its_first_multiple(kind: str) -> None:
    """Test d of IEC 60898-1."""
    for rating_a in (16, 40):
        earliest = opening_times_s(
            device(Protection(kind=kind, rating_a=rating_a)), PUBLISHED["breaker_iec60898_1"]["instantaneous"][kind][0]
        )[0]
        assert earliest is not None
        assert earliest >= PUBLISHED["breaker_iec60898_1"]["instantaneous_s"], (rating_a, earliest)


def test_breakers_have_the_preferred_ratings_and_the_reference_ambient_of_iec_60898_1() -> None:
    for kind in MAGNETIC:
        of = family(Protection(kind=kind, rating_a=16))
        assert list(of.ratings_a) == PUBLISHED["breaker_iec60898_1"]["preferred_a"]
        assert of.reference_c == PUBLISHED["breaker_iec60898_1"]["reference_c"]
        assert of.carries == PUBLISHED["breaker_iec60898_1"]["no_trip"]["multiple"]
        assert not of.dc  # part 1 is for AC only


def test_scope_of_the_fuse_standards() -> None:
    scope = PUBLISHED["scope"]
    for letter in ("C", "E", "F"):
        of = family(fuse(letter))
        assert (of.rated_v, of.breaking_a) == (scope["blade_v"], scope["blade_breaking_a"])
    bolt = family(Protection(kind="bolt-fuse", rating_a=60))
    assert (bolt.rated_v, bolt.breaking_a) == (scope["bolt_v"], scope["bolt_breaking_a"])
    assert [bolt.ratings_a[0], bolt.ratings_a[-1]] == scope["bolt_a"]
    assert family(Protection(kind="glass-fuse", rating_a=5)).rated_v == scope["glass_v"]


@pytest.mark.parametrize("kind", [*KINDS, "electronic"])
def test_every_kind_has_a_family_and_ratings_in_order(kind: str) -> None:
    of = family(Protection(kind=kind, rating_a=20))
    assert list(of.ratings_a) == sorted(set(of.ratings_a))
    assert of.word == ("output" if kind == "electronic" else kind.rpartition("-")[2] if "fuse" in kind else "breaker")


def test_the_sets_that_bound_a_device() -> None:
    assert set_names(fuse("F")) == ("blade-fuse F",)
    assert set_names(fuse(None)) == ("blade-fuse C", "blade-fuse E")
    assert set_names(Protection(kind="bolt-fuse", rating_a=60)) == ("bolt-fuse SF 30", "bolt-fuse SF 51")
    steps = {"glass-fuse": [(30, "glass-fuse to 30 A"), (31, "glass-fuse above 30 A")]}
    steps["breaker-c"] = [(32, "breaker-c to 32 A"), (40, "breaker-c to 63 A"), (80, "breaker-c above 63 A")]
    for kind in ("breaker-thermal", "breaker-self-resetting"):
        steps[kind] = [(r, f"breaker-thermal {n}") for r, n in ((30, "to 30 A"), (50, "to 50 A"), (60, "above 50 A"))]
    for kind, rows in steps.items():
        for rating_a, name in rows:
            assert set_names(Protection(kind=kind, rating_a=rating_a)) == (name,)


def test_the_rating_left_in_the_way_is_the_one_that_is_judged() -> None:
    left = Protection(kind="breaker-c", rating_a=32, as_left_a=40)
    assert device(left).rating_a == 40
    assert set_names(left) == ("breaker-c to 63 A",)


def test_no_opening_time_is_claimed_for_electronic_outputs() -> None:
    fitted = device(Protection(kind="electronic", rating_a=10))
    assert fitted.members == ()
    assert fitted.proof == ()
    assert opening_times_s(fitted, 5.0) == (None, None, None)


def test_only_blade_fuses_have_a_proof_and_an_unknown_type_takes_both() -> None:
    both = device(fuse(None)).proof
    assert set(both) == set(device(fuse("C")).proof) | set(device(fuse("E")).proof)
    assert device(fuse("C")).proof == device(fuse("F")).proof
    assert all(device(Protection(kind=kind, rating_a=20)).proof == () for kind in KINDS if kind != "blade-fuse")


@pytest.mark.parametrize("row", PUBLISHED["thermal_memory"], ids=lambda row: f"{row['confidence']}-{row['tau_s']}")
def test_published_numbers_of_thermal_memory(row: dict[str, float]) -> None:
    """The manual prints whole seconds of tau; the derived rows have two decimals."""
    body = Body(row["k"], ((1.0, row["tau_s"]),))
    state = body.cold()
    warm(body, state, row["before"], 1e9)
    assert time_to_open_s(body, state, row["i"]) == pytest.approx(row["t_s"], rel=2e-3)
    assert iec_60255_149_time_s(row["i"], row["before"], row["k"], row["tau_s"]) == pytest.approx(row["t_s"], rel=2e-3)


def test_the_closed_form_never_opens_at_its_pickup() -> None:
    assert iec_60255_149_time_s(1.1, 0.0, 1.1, 60.0) == inf


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


BODIES = [m.body() for p in (fuse("C"), fuse("E"), Protection(kind="breaker-c", rating_a=16)) for m in device(p).members]


@given(st.sampled_from(BODIES), st.floats(0.1, 8), st.floats(0.0, 7), st.floats(0.0, 0.99))
def test_opening_time_falls_as_current_and_preload_rise(body: Body, multiple: float, more: float, preload: float) -> None:
    hot = body.cold()
    warm(body, hot, preload * body.pickup, 30.0)
    cold_s, hot_s = time_to_open_s(body, body.cold(), multiple), time_to_open_s(body, hot, multiple)
    assert hot_s <= cold_s * (1 + 2e-9)
    assert time_to_open_s(body, body.cold(), multiple + more) <= cold_s * (1 + 2e-9)


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


@given(st.sampled_from(BODIES), st.floats(1.001, 6), st.lists(st.floats(0.0, 20.0), min_size=2, max_size=2))
def test_so_it_is_from_any_heat_also_where_one_body_cools_meanwhile(body: Body, over: float, hot: list[float]) -> None:
    """After a surge the element may be hotter than the draw that follows would make it, while its holder still warms."""
    now = heat(body, hot)
    state = [part * 0.99 / max(now, 0.99) for part in hot]
    multiple = over * body.pickup
    seconds = time_to_open_s(body, state, multiple)
    before = list(state)
    warm(body, before, multiple, 0.99 * seconds)
    assert heat(body, before) < 1.0
    warm(body, state, multiple, seconds)
    assert heat(body, state) == pytest.approx(1.0, abs=1e-6)


def test_one_body_is_the_closed_form() -> None:
    body = Body(1.1, ((1.0, 100.0),))
    assert isclose(time_to_open_s(body, body.cold(), 2.0), 100.0 * log(4 / (4 - 1.21)), rel_tol=1e-12)


def test_a_warm_panel_takes_from_the_limit_and_a_cold_one_gives_to_the_proof() -> None:
    """Type E 40 A link: re-rating row (a data sheet naming ISO 8820-3); 107 % at -20 °C (MIL-PRF-23419/9D)."""
    link = device(fuse("E", 40))
    for panel_c, carries_a in PUBLISHED["type_e_40_a"]["rerating_c_a"]:
        assert 40 * warm_factor(link, panel_c) == pytest.approx(carries_a)
    assert warm_factor(link, 20.0) == warm_factor(link, -20.0) == warm_factor(link, None) == 1.0
    cold = PUBLISHED["cartridge_cold"]
    assert cold_factor(cold["at_c"]) == pytest.approx(cold["share"])
    assert cold_factor(30.0) == cold_factor(None) == 1.0


def test_a_breaker_carries_less_above_its_reference_ambient_only() -> None:
    """0.5 % per kelvin, from memory."""
    fitted = device(Protection(kind="breaker-c", rating_a=16))
    assert warm_factor(fitted, 30.0) == warm_factor(fitted, 10.0) == 1.0
    assert warm_factor(fitted, 50.0) == pytest.approx(0.90)


@pytest.mark.parametrize("kind", KINDS)
def test_members_carry_less_in_warmth_and_more_in_cold_within_the_published_slopes(kind: str) -> None:
    """Fuses: 0.38 % per kelvin is the steepest of the re-rating row (65 to 85 °C); 107 % at -20 °C is the most in the cold."""
    fitted = device(Protection(kind=kind, rating_a=20))
    for member in fitted.members:
        assert member.factor(0.0) == 1.0
        assert member.factor(-43.0) >= 1.0 > member.factor(20.0)
        if fitted.word == "fuse":
            assert member.factor(-43.0) <= PUBLISHED["cartridge_cold"]["share"] + 1e-6
            assert 1.0 - member.factor(20.0) + 1e-12 >= 20 * 0.0010
            assert 1.0 - member.factor(20.0) <= 20 * 0.0038 + 1e-12
        assert member.factor(1000.0) == pytest.approx(0.3)
