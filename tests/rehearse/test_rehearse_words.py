"""A variation in words or as TOML: what it becomes, what is said of what is none, and every refusal with its limit."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelward.errors import BadInput, PanelwardError, ScheduleError
from panelward.rehearse.told import head
from panelward.rehearse.variation import Refused, Variation, varied
from panelward.schedule import load, parse

VAN = str(Path(__file__).parents[2] / "config" / "survey-van.toml")
SCHEDULE, TEXT = load(VAN)


def vary(*wanted: str, text: str = TEXT) -> Variation:
    return varied(text, wanted, parse(text, "van"), "van.toml")


@pytest.mark.parametrize(
    ("words", "changes"),
    [
        ("D4 conductor 4 mm2", ["D4 conductor.area_mm2 2.5 -> 4"]),
        ("water pump conductor 4 mm²", ["D4 conductor.area_mm2 2.5 -> 4"]),
        ("Mast cable 6mm2", ["D5 conductor.area_mm2 2.5 -> 6"]),
        ("D4 conductor 10 AWG", ["D4 conductor.area_mm2 2.5 -> none", "D4 conductor.awg none -> 10"]),
        ("D9 conductor awg 0", ["D9 conductor.area_mm2 35 -> none", "D9 conductor.awg none -> 1/0"]),
        ("D4 wire 10 sae", ["D4 conductor.area_mm2 2.5 -> none", "D4 conductor.sae none -> 10"]),
        ("D4 length 3,5 m", ["D4 conductor.length_m 5 -> 3.5"]),
        ("D4 fuse 7.5 A", ["D4 protection.rating_a 10 -> 7.5"]),
        ("outlet breaker 6 A", ["A1 protection.rating_a 10 -> 6"]),
        ("D4 device 5A", ["D4 protection.rating_a 10 -> 5"]),
        ("bank 280 Ah", ["supply house battery.capacity_ah 200 -> 280"]),
        ("house battery 280ah", ["supply house battery.capacity_ah 200 -> 280"]),
        ("cut-off 12.0 V", ["supply house cutoff_v 11.6 -> 12"]),
        ("rear conductor 25 mm2", ["feeder rear conductor.area_mm2 16 -> 25"]),
        ("D4 conductor 2.5 mm2", []),
    ],
)
def test_words(words: str, changes: list[str]) -> None:
    assert list(vary(words).changes) == changes


def test_a_device_as_left_goes_with_the_one_that_was_left() -> None:
    found = vary("D7 fuse 10 A").after.circuit("D7").protection
    assert found is not None
    assert (found.rating_a, found.as_left_a, found.as_found_a, found.fitted_a) == (10.0, None, None, 10.0)


def test_several_one_on_top_of_the_other() -> None:
    found = vary("D4 conductor 4 mm2", "D4 length 9 m", "bank 100 Ah")
    assert (found.circuits, found.supplies) == (("D4",), ("house",))
    assert (found.after.circuit("D4").conductor[0].area_mm2, found.after.circuit("D4").conductor[0].length_m) == (4.0, 9.0)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("D4 conductr 4 mm2", 'understood "D4" as Water pump (D4); "conductr 4 mm2" is no variation'),
        ("D4 conductr 4 mm2", 'Did you mean "conductor"?'),
        ("pump conductor 4 mm2", '"pump" may be Water pump (D4), Sump pump (D10)'),
        ("D99 conductor 4 mm2", 'nothing here is called "D99"'),
        ("D4 conductor 4", 'understood "conductor"; wanted a size like 4 mm2'),
        ("D4 conductor 5 AWG", "there is no AWG size 5"),
        ("conductor 4 mm2", "but not of which way"),
        ("D4 breaker 10 A", "Water pump (D4) has a blade-fuse"),
        ("SH fuse 10 A", "the schedule lists no device of Bank meter (SH)"),
        ("inverter bank 10 Ah", "the schedule lists no battery of supply inverter"),
        ("bank 280", "wanted a capacity like 280 Ah"),
        ("D4 fuse -5 A", 'wanted a rating like 15 A behind it, found "-5 A"'),
        ("D4 fuse", 'fuse of how many amperes? For example "D4 fuse 7.5 A"'),
        ("D4 conductor", 'conductor of what size? For example "D4 conductor 4 mm2"'),
        ("bank", 'bank of how many ampere-hours? For example "bank 280 Ah"'),
        ("", "is no variation"),
        ("nothing.toml", "No such file"),
    ],
)
def test_what_is_none_is_said_with_what_was_understood(words: str, said: str) -> None:
    with pytest.raises(BadInput) as raised:
        vary(words)
    assert said in str(raised.value)


def test_a_value_that_no_schedule_may_have() -> None:
    with pytest.raises(ScheduleError) as raised:
        vary("D4 conductor 0 mm2")
    assert "circuit D4 conductor.area_mm2" in str(raised.value)


@given(st.text(max_size=60))
@settings(max_examples=300, deadline=None)
def test_anything_else_is_bad_input(text: str) -> None:
    with suppress(PanelwardError):
        vary(text)


# Refused, each with its limit and where that comes from.

WAY_MAX = TEXT.replace("rating_a = 10, way_max_a = 20 }", "rating_a = 10, way_max_a = 12 }")
NO_SIZE = TEXT.replace('behaves = "fan"', 'behaves = "fan"').replace(
    "conductor = { area_mm2 = 1.5, length_m = 5, insulation_c = 105, bundled = 1, ambient_c = 40 }",
    "conductor = { length_m = 5 }",
)


@pytest.mark.parametrize(
    ("words", "text", "limit", "source"),
    [
        ("D4 fuse 30 A", TEXT, "24.5 A", "33 CFR 183.425"),  # 35 A of 2.5 mm² (14 AWG) at 105 °C, three bundled: x 0.70
        ("D7 conductor 1 mm2", TEXT, "14 A", "33 CFR 183.425"),  # 20 A of 18 AWG x 0.70
        ("D1 fuse 20 A", TEXT, "15 A", "maker_fuse_a"),
        ("D2 fuse 15 A", WAY_MAX, "12 A", "the panel maker's rating of the way"),
        ("D8 fuse 7.5 A", NO_SIZE, "not known", "IEC 60364-4-43"),
        ("rear device 125 A", TEXT, "111.7 A", "33 CFR 183.425"),  # 120 A of 6 AWG, in 40 °C: x sqrt(65 / 75)
        ("A1 breaker 32 A", TEXT, "A", "IEC 60364-5-52"),
    ],
)
def test_above_a_limit_it_is_refused_with_the_limit_and_its_source(words: str, text: str, limit: str, source: str) -> None:
    with pytest.raises(Refused) as raised:
        vary(words, text=text)
    assert limit in str(raised.value)
    assert source in str(raised.value)
    assert "would have held" not in str(raised.value)


def test_the_way_s_rating_is_not_varied_away(tmp_path: Path) -> None:
    """A limit, an exemption, a rule: what refuses is not a variation."""
    for n, toml in enumerate(
        (
            '[[circuit]]\nid = "D2"\nprotection = { rating_a = 25, way_max_a = 30 }\n',
            '[[circuit]]\nid = "D1"\n[circuit.load]\nmaker_fuse_a = 30\n',
            '[[circuit]]\nid = "D4"\nprotection = { rating_a = 30, exemption = { rule = "1", edition = "1", why = "x" } }\n',
            '[vehicle]\nrules = { dc = ["FAA AC 43.13-1B"] }\n',
            '[[circuit]]\nid = "D4"\nlabel = "Other"\n',
            "[supply.house]\nnominal_v = 24\n",
        )
    ):
        path = tmp_path / f"{n}.toml"
        path.write_text(toml)
        with pytest.raises(BadInput, match="is not among what can be varied"):
            vary(str(path))


def test_what_is_wrong_already_refuses_only_what_makes_it_worse() -> None:
    """A schedule with a refusal elsewhere can still be varied here."""
    wrong = TEXT.replace('id = "D1"\nlabel = "Sample freezer"', 'id = "D1"\nlabel = "Sample freezer"').replace(
        "rating_a = 15, as_found_a = 15, as_left_a = 15, way_max_a = 20", "rating_a = 20, way_max_a = 20", 1
    )
    assert vary("D4 conductor 4 mm2", text=wrong).changes
    with pytest.raises(Refused, match="15 A"):
        vary("D1 conductor 10 mm2", text=wrong)  # its device stays above its maker's value


def test_an_alarm_key_of_a_way_that_is_wrong_already_is_no_matter_of_its_device(tmp_path: Path) -> None:
    wrong = TEXT.replace("rating_a = 15, as_found_a = 15, as_left_a = 15, way_max_a = 20", "rating_a = 20, way_max_a = 20", 1)
    path = tmp_path / "v.toml"
    path.write_text('[[circuit]]\nid = "D1"\n[circuit.load]\nlongest_run = "2h"\n')
    assert vary(str(path), text=wrong).changes == ("D1 load.longest_run 10800 -> 7200",)


def test_toml_of_the_schedule_s_own_keys(tmp_path: Path) -> None:
    path = tmp_path / "v.toml"
    path.write_text(
        '[[circuit]]\nid = "D4"\nconductor = { area_mm2 = 4 }\n[circuit.load]\nlongest_run = "5min"\n'
        "[supply.house]\nbattery = { capacity_ah = 280 }\n"
    )
    assert set(vary(str(path)).changes) == {
        "D4 conductor.area_mm2 2.5 -> 4", "D4 load.longest_run 600 -> 300", "supply house battery.capacity_ah 200 -> 280"
    }  # fmt: skip


@pytest.mark.parametrize(
    ("toml", "said"),
    [
        ('[[circuit]]\nid = "D44"\nconductor = { area_mm2 = 4 }\n', "the schedule has no circuit D44"),
        ('[[circuit]]\nconductor = { area_mm2 = 4 }\n', "the schedule has no circuit None"),
        ('[circuit]\nid = "D4"\n', "[[circuit]]"),
        ("[feeder.front]\n", "no feeder front"),
        ("x = [", "TOML"),
        ("", "it changes nothing"),
        ('[[circuit]]\nid = "D4"\nload = [{}, {}]\n', "the way has one load"),
    ],
)  # fmt: skip
def test_a_toml_that_does_not_fit(tmp_path: Path, toml: str, said: str) -> None:
    path = tmp_path / "v.toml"
    path.write_text(toml)
    with pytest.raises(PanelwardError) as raised:
        vary(str(path))
    assert said in str(raised.value)


def test_alternating_current_is_for_licensed_practice() -> None:
    assert vary("A1 conductor 4 mm2").licensed == ("Bench outlet (A1), 230 V AC",)
    assert vary("D4 conductor 4 mm2").licensed == ()


def test_the_remedy_of_a_refusal_names_no_more_than_the_load_needs() -> None:
    with pytest.raises(Refused) as raised:
        vary("D4 fuse 30 A")
    assert str(raised.value).endswith("Fit a device of at most 15 A, the greatest that fits its load.")


def test_a_device_above_what_its_load_needs_is_not_let_by_in_silence() -> None:
    """Warned of by the rule of `check`; noted where that does not warn yet; what fits is neither."""
    far = vary("D6 fuse 15 A")
    assert [(f.circuit, f.rule) for f in far.warned] == [("D6", "device-far-above-load")]
    assert any("would warn: Gas detector (D6): 15 A is far above what the load needs" in s for s in head(far))
    assert far.notes == ()
    more = vary("D4 fuse 20 A")
    note = "Water pump (D4): 20 A is more than its load needs: it draws 4.84 A; ratings that fit it: 10 or 15 A."
    assert more.notes == (note,)
    assert note in list(head(more))
    assert vary("D4 fuse 15 A").notes == ()


def test_a_size_that_nobody_sells_is_noted() -> None:
    assert vary("D4 conductor 5 mm2").notes == ("Water pump: 5 mm² is no standard size (IEC 60228).",)
