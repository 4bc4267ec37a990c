"""Vetting beyond the mistakes of one day: bus, fault, exemptions, sources that limit, the volts that arrive.

Sources stand with the rule in ratings; what is common practice says so there.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelward.records import (
    Battery,
    Circuit,
    Exemption,
    Feeder,
    Fitter,
    Level,
    Load,
    Protection,
    Schedule,
    Segment,
    Supply,
    Surge,
)
from panelward.schedule import Finding, vet
from plans import PLAN, circuit, plan

HOUSE = PLAN.supplies[0]
V = HOUSE.nominal_v


def blade(rating_a: float, **keys: Any) -> Protection:
    return Protection(kind="blade-fuse", type="C", rating_a=rating_a, **keys)


def wire(**keys: Any) -> tuple[Segment, ...]:
    return (Segment(**({"area_mm2": 2.5, "length_m": 3.0, "insulation_c": 105, "ambient_c": 30, "bundled": 1} | keys)),)


def way(**keys: Any) -> Circuit:
    base: dict[str, Any] = {"protection": blade(10), "conductor": wire(), "levels": (Level(name="on", watts=60),)}
    return circuit("D4", "Deck lights", "light", **(base | keys))


def on(supply: Supply, *circuits: Circuit, **keys: Any) -> Schedule:
    return plan(*circuits, supplies=(supply,), feeders=keys.pop("feeders", ()), **keys)


def of(schedule: Schedule, rule: str) -> list[Finding]:
    return [finding for finding in vet(schedule) if finding.rule == rule]


@pytest.mark.parametrize(
    ("nominal_v", "rated_v", "refused"),
    [
        (12.8, None, False),
        (25.6, None, False),
        (51.2, None, True),
        (48.0, 58.0, False),
        (51.2, 58.0, False),
        (51.2, 32.0, True),
    ],
)
def test_a_32_v_blade_is_for_12_and_24_v_only(nominal_v: float, rated_v: float | None, refused: bool) -> None:
    """ISO 8820-3:2015: 32 V or 58 V. A 48 V bus charges at 52 to 58 V."""
    supply = replace(HOUSE, nominal_v=nominal_v, cutoff_v=None)
    found = of(on(supply, way(protection=blade(10, rated_v=rated_v))), "device-below-bus-volts")
    assert [f.grade for f in found] == (["refuse"] if refused else [])


@pytest.mark.parametrize(("fault_a", "marked_a", "refused"), [(900, None, False), (1500, None, True), (1500, 2000, False)])
def test_no_short_may_exceed_what_the_device_breaks(fault_a: float, marked_a: float | None, refused: bool) -> None:
    """ISO 8820-3:2015: blades break 1,000 A; ISO 8820-5: bolt-in links 2,000 A."""
    supply = replace(HOUSE, fault_min_a=500, fault_max_a=fault_a)
    found = of(on(supply, way(protection=blade(10, breaking_a=marked_a))), "fault-above-breaking")
    assert [f.grade for f in found] == (["refuse"] if refused else [])
    bolt = way(protection=Protection(kind="bolt-fuse", rating_a=60), conductor=wire(area_mm2=25))
    assert of(on(replace(supply, fault_max_a=1999), bolt), "fault-above-breaking") == []
    assert of(on(replace(supply, fault_max_a=2001), bolt), "fault-above-breaking") != []


def test_a_written_exemption_holds_for_direct_current_to_150_percent_and_never_in_insulation() -> None:
    """33 CFR 183.455(c): below 50 V at most 150 % of the ampacity. 16 AWG at 105 °C carries 25 A."""
    exemption = Exemption(rule="33 CFR 183.455(c)", edition="2024", why="next standard size")
    cable = wire(area_mm2=None, awg="16")
    assert of(plan(way(protection=blade(30), conductor=cable)), "device-above-ampacity")[0].grade == "refuse"
    exempted = plan(way(protection=blade(30, exemption=exemption), conductor=cable))
    assert of(exempted, "device-above-ampacity") == []
    (note,) = of(exempted, "device-above-ampacity-exempted")
    assert note.grade == "note"
    assert "33 CFR 183.455(c), 2024" in note.source
    over = of(plan(way(protection=blade(40, exemption=exemption), conductor=cable)), "device-above-ampacity")
    assert "150 %" in over[0].message
    buried = wire(area_mm2=None, awg="16", thermal_insulation_m=1.0)
    found = of(plan(way(protection=blade(15, exemption=exemption), conductor=buried)), "device-above-ampacity")
    assert "never in thermal insulation" in found[0].message
    shore = Supply(id="shore", kind="ac", nominal_v=230)
    breaker = Protection(kind="breaker-b", rating_a=25, exemption=exemption)
    outlet = circuit("A1", "Outlet", "socket", supply="shore", protection=breaker, conductor=wire(insulation_c=70))
    found = of(plan(outlet, supplies=(*PLAN.supplies, shore)), "device-above-ampacity")
    assert "never for AC" in found[0].message


def test_a_circuit_without_a_device_is_refused() -> None:
    assert [f.grade for f in of(plan(replace(way(), protection=None)), "no-device")] == ["refuse"]
    assert of(plan(PLAN.circuits[0]), "no-device") == []  # the bank's meter


@pytest.mark.parametrize(
    ("mm2", "rating", "grade"),
    [(0.01, 5, "refuse"), (0.5, 15, "refuse"), (0.5, 5, "warn"), (0.75, 5, None), (0.5, 1, None)],
)
def test_a_conductor_below_the_least_size_is_told(mm2: float, rating: float, grade: str | None) -> None:
    """ISO 10133:2012 7.7 and 33 CFR 183.425, which leaves circuits under 1 A out; its densest row is 20 A on 0.82 mm²."""
    found = of(plan(way(protection=blade(rating), conductor=wire(area_mm2=mm2))), "conductor-too-thin")
    assert [f.grade for f in found] == ([grade] if grade else [])


@pytest.mark.parametrize(
    ("cable", "device", "rules"),
    [
        ({"area_mm2": 0.75}, blade(30), ()),
        ({"area_mm2": None, "awg": "16", "insulation_c": 60}, blade(30), ("NEC 310.16",)),
        ({"area_mm2": None, "awg": "8", "insulation_c": 90}, blade(100), ("FAA AC 43.13-1B",)),
    ],
)
def test_what_no_rule_reaches_is_bounded_by_the_next_greater_row(
    cable: dict[str, Any], device: Protection, rules: tuple[str, ...]
) -> None:
    """It carries less than that: a device above it is refused, and no device is proposed on a conductor nobody tabulates."""
    named = replace(plan(way(protection=device, conductor=wire(**cable))), vehicle=replace(PLAN.vehicle, rules_dc=rules))
    (found,) = of(named, "device-above-ampacity")
    assert found.grade == "refuse"
    assert "next greater" in found.message
    assert "Fit a device" not in found.remedy
    small = replace(named, circuits=(way(protection=blade(2), conductor=wire(**cable)),))
    assert of(small, "device-above-ampacity") == []
    assert len(of(small, "ampacity-unknown")) == 1


def test_near_its_bound_a_size_that_no_rule_reaches_is_doubtful() -> None:
    """0.75 mm² has nine tenths of the copper of 18 AWG, which carries 20 A (33 CFR 183.425): about 19 A."""
    found = of(plan(way(protection=blade(20), conductor=wire(area_mm2=0.75))), "ampacity-unreached")
    assert [f.grade for f in found] == ["warn"]
    assert of(plan(way(protection=blade(15), conductor=wire(area_mm2=0.75))), "ampacity-unreached") == []


@pytest.mark.parametrize(
    ("cable", "device", "rules"),
    [
        ({"area_mm2": None, "awg": "14", "ambient_c": 40}, blade(15), ("NEC 551.10",)),
        ({"area_mm2": None, "sae": "14"}, blade(15), ("NEC 551.10",)),
        ({"area_mm2": 1.5, "insulation_c": 70, "ambient_c": 45}, blade(10), ()),
        ({"area_mm2": 2.5, "insulation_c": 70, "ambient_c": 59}, blade(5), ()),
    ],
)
def test_ordinary_practice_is_not_refused(cable: dict[str, Any], device: Protection, rules: tuple[str, ...]) -> None:
    """Common practice, no source: what is wired so every day."""
    named = replace(plan(way(protection=device, conductor=wire(**cable), levels=(Level(name="on", watts=24),))),
                    vehicle=replace(PLAN.vehicle, rules_dc=rules))  # fmt: skip
    assert [f.rule for f in vet(named) if f.grade == "refuse"] == []


@pytest.mark.parametrize(("kind", "rating", "mm2"), [("breaker-b", 10, 1.5), ("breaker-b", 16, 1.5), ("breaker-c", 16, 2.5)])
def test_ordinary_ac_circuits_are_neither_refused_nor_warned_of(kind: str, rating: float, mm2: float) -> None:
    """16 A on 1.5 mm² and 2.5 mm² PVC, two loaded conductors (IEC 60364-5-52 B.52.2, from memory); and its magnetic trip."""
    shore = Supply(id="shore", kind="ac", nominal_v=230, presence="comes-and-goes", fault_min_a=300, fault_max_a=1500)
    outlet = circuit(
        "A1", "Outlet", "socket", supply="shore", protection=Protection(kind=kind, rating_a=rating),
        conductor=wire(area_mm2=mm2, length_m=4, insulation_c=70, bundled=2),
    )  # fmt: skip
    found = [f.rule for f in vet(plan(outlet, supplies=(HOUSE, shore))) if f.circuit == "A1" and f.grade != "note"]
    assert found == []
    us = Supply(id="shore", kind="ac", nominal_v=120, presence="comes-and-goes")
    nec = replace(
        plan(replace(outlet, protection=Protection(kind="breaker-thermal", rating_a=15, rated_v=120),
                     conductor=wire(area_mm2=None, awg="14", length_m=5, insulation_c=90)), supplies=(HOUSE, us)),
        vehicle=replace(PLAN.vehicle, rules_ac=("NEC 310.16",)),
    )  # fmt: skip
    assert [f.rule for f in vet(nec) if f.circuit == "A1" and f.grade != "note"] == []


def test_a_main_device_that_breaks_the_fault_stands_for_the_blades() -> None:
    """Back-up protection, IEC 60364-4-43 434.5.1."""
    supply = replace(HOUSE, fault_min_a=900, fault_max_a=2500)
    assert [f.grade for f in of(on(supply, way()), "fault-above-breaking")] == ["refuse"]
    main = replace(supply, protection=Protection(kind="bolt-fuse", rating_a=200, breaking_a=20_000))
    assert of(on(main, way()), "fault-above-breaking") == []
    assert [f.grade for f in of(on(main, way()), "fault-above-breaking-backed-up")] == ["note"]


def test_a_short_run_that_is_over_before_the_device_opens_is_no_overload() -> None:
    winch = circuit(
        "D4", "Winch", "motor", protection=Protection(kind="bolt-fuse", rating_a=250), conductor=wire(area_mm2=95, length_m=2),
        levels=(Level(name="pulling", watts=4000),), longest_run_s=60.0,
    )  # fmt: skip
    assert of(on(HOUSE, winch), "level-above-rating") == []  # 1.25 times: within the band of its type 2 min at the least
    for_long = replace(winch, loads=(replace(winch.loads[0], longest_run_s=3600.0),))
    assert [f.grade for f in of(on(HOUSE, for_long), "level-above-rating")] == ["refuse"]
    demanded = replace(winch, loads=(replace(winch.loads[0], longest_run_s=3600.0, maker_fuse_a=250),))
    assert [f.grade for f in of(on(HOUSE, demanded), "level-above-rating")] == ["warn"]


@pytest.mark.parametrize(("nominal_v", "marked"), [(12.8, 14.0), (12.0, 12.0), (25.6, 24.0)])
def test_a_mark_may_be_the_nominal_voltage(nominal_v: float, marked: float) -> None:
    supply = replace(HOUSE, nominal_v=nominal_v, cutoff_v=None)
    breaker = Protection(kind="breaker-self-resetting", rating_a=10, rated_v=marked)
    assert of(on(supply, way(protection=breaker)), "device-below-bus-volts") == []


def test_a_fuse_of_road_vehicles_is_not_for_ac_whatever_is_written() -> None:
    shore = Supply(id="shore", kind="ac", nominal_v=230)
    outlet = circuit("A1", "Outlet", "socket", supply="shore", protection=blade(10, rated_v=250))
    (found,) = of(plan(outlet, supplies=(HOUSE, shore)), "device-not-for-ac")
    assert "licensed" in found.remedy
    chassis = replace(outlet, conductor=wire(return_path="chassis"))
    assert [f.grade for f in of(plan(chassis, supplies=(HOUSE, shore)), "chassis-return-on-ac")] == ["refuse"]


def test_a_load_with_a_fuse_of_its_own_does_not_ask_for_the_ways() -> None:
    pump, detector = Load(kind="pump", maker_fuse_a=10), Load(kind="electronics", maker_fuse_a=3)
    assert of(plan(replace(way(), loads=(pump, detector))), "device-above-maker") != []
    own = replace(detector, inline_fuse_a=3)
    assert of(plan(replace(way(), loads=(pump, own))), "device-above-maker") == []


def test_a_detector_is_life_whatever_is_written() -> None:
    detector = circuit("D6", "Gas detector", "detector", feed="switched", protection=blade(2))
    assert [f.grade for f in of(plan(detector), "life-behind-switch")] == ["refuse"]
    shore = Supply(id="shore", kind="dc", nominal_v=12.8, presence="comes-and-goes")
    there = replace(detector, feed="always-on", supply="shore")
    assert [f.grade for f in of(plan(there, supplies=(HOUSE, shore)), "life-behind-switch")] == ["refuse"]
    switched = way(feed="always-on", behind=("user-switch",))
    assert [f.grade for f in of(plan(switched), "always-on-behind-switch")] == ["warn"]


def test_a_start_that_opens_its_device_is_told() -> None:
    """Type C opens within 5 s at twice and within 0.5 s at 3.5 times its rating (data sheets naming ISO 8820-3)."""
    level = Level(name="on", watts=50, surge=Surge(times=8.0, seconds=2.0))
    found = of(
        plan(circuit("D4", "Pump", "pump", protection=blade(5), conductor=wire(), levels=(level,))), "start-opens-device"
    )
    assert [f.grade for f in found] == ["warn"]
    soft = replace(level, surge=Surge(times=1.5, seconds=1.0))
    assert of(plan(circuit("D4", "Pump", "pump", protection=blade(10), levels=(soft,))), "start-opens-device") == []


def test_a_thin_stretch_that_no_rule_reaches_is_not_passed_over() -> None:
    both = (*wire(area_mm2=10), *wire(area_mm2=0.75))
    assert [f.grade for f in of(plan(way(protection=blade(40), conductor=both)), "device-above-ampacity")] == ["refuse"]


def test_no_device_is_proposed_in_a_place_where_the_conductor_bears_nothing() -> None:
    hot = way(protection=blade(10), conductor=wire(insulation_c=60, ambient_c=70))
    (found,) = of(plan(hot), "device-above-ampacity")
    assert found.remedy == "Lay the conductor in a cooler place, or one of better insulation."


def feeder(**keys: Any) -> Feeder:
    base: dict[str, Any] = {"id": "rear", "supply": "house", "protection": Protection(kind="bolt-fuse", rating_a=40)}
    return Feeder(**(base | {"conductor": wire(area_mm2=16, length_m=2)} | keys))


@pytest.mark.parametrize(
    ("keys", "rule", "grade"),
    [
        ({"protection": Protection(kind="bolt-fuse", rating_a=40, as_left_a=100)}, "as-left-differs", "warn"),
        ({"protection": Protection(kind="bolt-fuse", rating_a=40, way_max_a=30)}, "way-below-device", "warn"),
        ({"protection": Protection(kind="breaker-c", rating_a=40)}, "breaker-for-ac-only", "warn"),
        ({"protection": None}, "feeder-unprotected", "warn"),
        ({"conductor": wire(area_mm2=6, length_m=2), "protection": blade(80)}, "device-above-ampacity", "refuse"),
        ({"conductor": wire(area_mm2=2.5, length_m=60), "protection": blade(20)}, "far-short-never-opens", "refuse"),
    ],
)
def test_a_feeders_device_is_judged_as_a_circuits_is(keys: dict[str, Any], rule: str, grade: str) -> None:
    found = [f for f in of(on(HOUSE, way(feeder="rear"), feeders=(feeder(**keys),)), rule) if f.circuit is None]
    assert [f.grade for f in found] == [grade]
    assert found[0].message.startswith("Feeder rear")
    assert of(on(HOUSE, way(feeder="rear"), feeders=(feeder(),)), rule) == []


def test_a_feeder_whose_insulation_is_not_written_is_doubt_and_its_exemption_holds() -> None:
    unwritten = feeder(conductor=wire(area_mm2=10, insulation_c=None, length_m=2), protection=blade(60))
    assert [f.grade for f in of(on(HOUSE, way(), feeders=(unwritten,)), "device-above-ampacity")] == ["warn"]
    exemption = Exemption(rule="33 CFR 183.455(c)", edition="2024", why="next standard size")
    exempted = feeder(conductor=wire(area_mm2=10, insulation_c=75, length_m=2), protection=blade(50, exemption=exemption))
    assert of(on(HOUSE, way(), feeders=(exempted,)), "device-above-ampacity") == []


def test_a_fault_is_what_arrives_through_the_feeder() -> None:
    """1,500 A at the panel and 6 m of 16 mm² out and back: 12.8 V / (8.5 + 12.9 mohm) = 597 A (IEC 60028 copper, cold)."""
    supply = replace(HOUSE, fault_min_a=500, fault_max_a=1500)
    long = feeder(conductor=wire(area_mm2=16, length_m=6))
    assert of(on(supply, way(feeder="rear"), feeders=(long,)), "fault-above-breaking") == []
    assert [f.circuit for f in of(on(supply, way()), "fault-above-breaking")] == ["D4"]


def test_a_feeder_behind_a_feeder_is_followed() -> None:
    main, sub = feeder(id="main"), feeder(id="sub", behind=("main",), protection=Protection(kind="bolt-fuse", rating_a=100))
    found = of(on(HOUSE, way(feeder="sub"), feeders=(main, sub)), "feeder-below-branch")
    assert [f.message.startswith("Feeder sub") for f in found] == [True]
    heavy = way(feeder="sub", levels=(Level(name="on", watts=500),), protection=blade(40), conductor=wire(area_mm2=16))
    loaded = of(on(HOUSE, heavy, feeders=(main, replace(sub, protection=blade(40)))), "feeder-overloaded")
    assert [f.message.split(":")[0] for f in loaded] == ["Feeder main", "Feeder sub"]


def test_the_drop_is_that_from_source_to_load() -> None:
    screen = circuit(
        "D4", "Screen", "electronics", feeder="rear", protection=blade(10), conductor=wire(area_mm2=4, length_m=5),
        levels=(Level(name="on", watts=60),),
    )  # fmt: skip
    heavy = circuit("D5", "Heater pads", "light", feeder="rear", levels=(Level(name="on", watts=300),), protection=blade(30))
    long = feeder(conductor=wire(area_mm2=16, length_m=4), protection=Protection(kind="bolt-fuse", rating_a=60))
    assert of(on(HOUSE, replace(screen, feeder=None)), "drop-above-limit") == []
    (found,) = [f for f in of(on(HOUSE, screen, heavy, feeders=(long,)), "drop-above-limit") if f.circuit == "D4"]
    assert "its feeder" in found.message


def test_life_on_a_switched_feed_is_life_behind_a_switch() -> None:
    """Switched: somebody can switch it off. Common practice, no source."""
    detector = circuit("D6", "Gas detector", "detector", feed="switched", importance="life", protection=blade(2))
    assert [f.grade for f in of(plan(detector), "life-behind-switch")] == ["refuse"]
    assert of(plan(replace(detector, feed="always-on")), "life-behind-switch") == []
    feeding = circuit("D9", "Inverter", "inverter", feed="switched", protection=blade(40), conductor=wire(area_mm2=16))
    ac = Supply(id="ac", kind="ac", nominal_v=230, fed_by="D9")
    breather = circuit("A1", "Breathing", "electronics", supply="ac", feed="always-on", importance="life",
                       protection=Protection(kind="breaker-b", rating_a=6))  # fmt: skip
    assert [f.circuit for f in of(plan(feeding, breather, supplies=(HOUSE, ac)), "life-behind-switch")] == ["A1"]


def test_several_loads_on_one_way_are_summed() -> None:
    """Ib <= In (IEC 60364-4-43 433.1) for all of them; and three hours or more together."""
    three = Load(kind="electronics", levels=(Level(name="on", watts=60),))
    way_of = replace(
        circuit("D4", "Rack", feed="always-on", protection=blade(10), conductor=wire(area_mm2=6)), loads=(three,) * 3
    )
    rules = {f.rule for f in vet(plan(way_of))}
    assert {"levels-above-rating-together", "continuous-above-80-percent"} <= rules
    assert "levels-above-rating-together" not in {f.rule for f in vet(plan(replace(way_of, protection=blade(20))))}


def test_a_makers_word_that_the_load_itself_exceeds_is_for_its_maker() -> None:
    (found,) = of(plan(way(protection=blade(10), maker_fuse_a=3)), "device-above-maker")
    assert "Ask its maker" in found.remedy
    two = replace(way(), loads=(Load(kind="light", maker_fuse_a=3), Load(kind="light", maker_fuse_a=15)))
    assert "a way of its own" in of(plan(two), "device-above-maker")[0].remedy


@pytest.mark.parametrize(
    "exemption", [Exemption(rule="because", edition="2024", why="x"), Exemption(rule="33 CFR 183.455", edition="?", why="x")]
)
def test_an_exemption_without_rule_or_edition_is_none(exemption: Exemption) -> None:
    found = of(
        plan(way(protection=blade(30, exemption=exemption), conductor=wire(area_mm2=None, awg="16"))), "device-above-ampacity"
    )
    assert "names no rule" in found[0].message


@pytest.mark.parametrize("kind", ["inverter", "charger"])
def test_behind_a_source_that_limits_no_device_is_relied_on(kind: str) -> None:
    """A 1 kW 230 V inverter gives 4.3 A, perhaps twice that for a moment; a B10 breaker wants 50 A. Common practice."""
    feeding = circuit("D9", "Inverter", kind, protection=blade(40), conductor=wire(area_mm2=16))
    out = Supply(id="out", kind="ac" if kind == "inverter" else "dc", nominal_v=230 if kind == "inverter" else 24, fed_by="D9")
    device = Protection(kind="breaker-b", rating_a=10) if kind == "inverter" else blade(5)
    load = circuit("A1", "Outlet", "socket", supply="out", protection=device, conductor=wire(length_m=200, insulation_c=70))
    schedule = plan(feeding, load, supplies=(HOUSE, out))
    (note,) = of(schedule, "source-limits")
    assert (note.circuit, note.grade) == ("A1", "note")
    assert of(schedule, "far-short-never-opens") == []
    known = replace(out, fault_min_a=4.0, fault_max_a=9.0)
    assert of(plan(feeding, load, supplies=(HOUSE, known)), "source-limits") == []


def test_loads_that_find_no_working_point_are_refused() -> None:
    """P > V² / 4R has no solution."""
    (found,) = of(plan(way(conductor=wire(area_mm2=1.0, length_m=30), levels=(Level(name="on", watts=60),))), "brown-out")
    assert found.grade == "refuse"
    assert "Lay at least" in found.remedy
    steady = way(conductor=wire(area_mm2=1.0, length_m=30), levels=(Level(name="on", watts=60),), behaves="constant-current")
    assert of(plan(steady), "brown-out") == []
    assert len(of(plan(steady), "drop-above-limit")) == 1


def test_three_percent_for_what_must_have_its_volts_and_ten_for_the_rest() -> None:
    """ABYC E-11 and ISO 10133 as quoted."""
    cable = wire(area_mm2=2.5, length_m=8)
    lamp = plan(way(conductor=cable))
    assert of(lamp, "drop-above-limit") == []
    screen = circuit("D4", "Screen", "electronics", protection=blade(10), conductor=cable, levels=(Level(name="on", watts=60),))
    assert [f.limit for f in of(plan(screen), "drop-above-limit")] == [3.0]


def test_a_chassis_return_is_said_and_counts_one_way() -> None:
    both = plan(way(conductor=wire(length_m=9, area_mm2=1.5)))
    one = plan(way(conductor=wire(length_m=9, area_mm2=1.5, return_path="chassis")))
    assert of(both, "drop-above-limit")
    assert of(one, "drop-above-limit") == []
    assert len(of(one, "chassis-return")) == 1


def test_a_feeder_is_judged_like_a_circuit() -> None:
    thin = Feeder(
        id="rear", supply="house", protection=Protection(kind="bolt-fuse", rating_a=60), conductor=wire(area_mm2=6, length_m=9)
    )
    loads = [circuit(f"D{n}", f"Load {n}", "light", feeder="rear", levels=(Level(name="on", watts=120),)) for n in range(4)]
    schedule = on(HOUSE, *loads, feeders=(thin,))
    assert len(of(schedule, "drop-above-limit")) >= 1
    assert any(f.message.startswith("Feeder rear") for f in of(schedule, "drop-above-limit"))
    small = replace(thin, protection=Protection(kind="bolt-fuse", rating_a=100))
    assert any(f.message.startswith("Feeder rear") for f in of(on(HOUSE, *loads, feeders=(small,)), "device-above-ampacity"))


def test_selectivity_is_told_as_it_is() -> None:
    """Twice the rating holds for overloads; on a bolted fault both blades may go."""
    feeder = Feeder(id="rear", supply="house", protection=blade(20))
    branch = way(feeder="rear", protection=blade(10))
    supply = replace(HOUSE, fault_min_a=300, fault_max_a=900)
    (note,) = of(on(supply, branch, feeders=(feeder,)), "selectivity-not-shown")
    assert "Deck lights" in note.message
    equal = on(supply, way(feeder="rear", protection=blade(20)), feeders=(feeder,))
    assert [f.grade for f in of(equal, "not-selective")] == ["warn"]


def test_days_are_told_from_the_bank_and_what_is_always_on() -> None:
    """50 mA is 36 Ah a month; 200 Ah at 80 % carries 1.5 A for 4.4 days: arithmetic."""
    bank = replace(HOUSE, battery=Battery(chemistry="lfp", capacity_ah=200, usable=0.8))
    always = circuit("D1", "Computer", "electronics", feed="always-on", always_draws_w=1.5 * V)
    (days,) = of(on(bank, always), "days-of-autonomy")
    assert days.found == pytest.approx(4.44, abs=0.01)
    (stands,) = of(on(bank, always), "storage-days")
    assert isinstance(stands.found, float)
    assert stands.found < 4.44


def test_no_days_are_told_where_a_need_is_not_written() -> None:
    fridge = circuit("D2", "Fridge", "compressor", feed="always-on", levels=(Level(name="on", watts=45),))
    always = circuit("D1", "Computer", "electronics", feed="always-on", always_draws_w=2.0)
    both = on(HOUSE, always, fridge)
    assert of(both, "days-of-autonomy") == []
    assert "daily_wh of Fridge" in of(both, "autonomy-unknown")[0].message
    assert "at most" in of(both, "storage-days")[0].message
    assert of(on(HOUSE, fridge), "storage-days") == []
    assert "Fridge" in of(on(HOUSE, fridge), "storage-unknown")[0].message


def test_a_load_of_constant_power_is_judged_at_the_least_volts_too() -> None:
    """2,000 W at 11.6 V are 172 A: P / V."""
    cable = wire(area_mm2=70, length_m=1.2)
    loads = {"levels": (Level(name="full", watts=2000),), "conductor": cable}
    big = circuit("D9", "Inverter", "inverter", protection=Protection(kind="bolt-fuse", rating_a=160), **loads)
    assert [f.found for f in of(on(HOUSE, big), "level-above-rating-at-low-volts")] == [172.4]
    assert (
        of(on(HOUSE, replace(big, protection=Protection(kind="bolt-fuse", rating_a=175))), "level-above-rating-at-low-volts")
        == []
    )


def test_rules_are_named_or_said_to_be_taken() -> None:
    assert {f.grade for f in of(plan(way()), "rules-not-named")} == {"note"}
    named = replace(plan(way()), vehicle=replace(PLAN.vehicle, rules_dc=("NEC 551.10", "33 CFR 183.425")))
    assert of(named, "rules-not-named") == []
    fitted = replace(named, circuits=(way(protection=blade(20), conductor=wire(area_mm2=2.5)),))
    (found,) = of(fitted, "device-above-ampacity")
    assert found.limit == 15  # 14 AWG's row of the US low-voltage rule, from memory; 33 CFR has 35 A
    assert "NEC 551.10" in found.source


def test_a_fitter_who_is_not_written_is_noted() -> None:
    assert {f.grade for f in of(plan(way()), "fitter-unknown")} == {"note"}
    named = replace(plan(way()), vehicle=replace(PLAN.vehicle, fitter=Fitter(phone="112")))
    assert of(named, "fitter-unknown") == []


LOADS = st.builds(
    Load,
    kind=st.sampled_from(["compressor", "fan", "pump", "light", "electronics", "socket", "inverter", "motor", "air-heater"]),
    behaves=st.sampled_from(["constant-power", "constant-current", "constant-impedance", "fan"]),
    maker_fuse_a=st.none() | st.floats(0.5, 80),
    levels=st.lists(st.builds(Level, name=st.just("on"), watts=st.floats(0.01, 30_000)), max_size=2).map(tuple),
    longest_run_s=st.none() | st.floats(1, 1e6),
)
SEGMENTS = st.builds(
    Segment,
    area_mm2=st.none() | st.floats(0.005, 200), length_m=st.none() | st.floats(0.01, 500),
    insulation_c=st.none() | st.floats(60, 260), ambient_c=st.none() | st.floats(-60, 150),
    bundled=st.none() | st.integers(1, 99), thermal_insulation_m=st.floats(0, 3),
    return_path=st.sampled_from(["wire", "chassis"]),
)  # fmt: skip
PROTECTIONS = st.builds(
    Protection,
    kind=st.sampled_from(
        ["blade-fuse", "bolt-fuse", "glass-fuse", "breaker-b", "breaker-c", "breaker-d", "breaker-thermal", "electronic",
         "breaker-self-resetting"]
    ),
    rating_a=st.floats(0.1, 900), as_left_a=st.none() | st.floats(0.1, 900), way_max_a=st.none() | st.floats(1, 99),
)  # fmt: skip


@given(
    protection=PROTECTIONS, conductor=st.lists(SEGMENTS, max_size=3).map(tuple), loads=st.lists(LOADS, max_size=3).map(tuple),
    fault=st.none() | st.floats(1, 10_000), nominal=st.sampled_from([12.8, 25.6, 51.2, 230.0]), feeder=st.booleans(),
)  # fmt: skip
@settings(deadline=None, max_examples=200)
def test_whatever_is_written_is_vetted_without_a_crash_and_told_whole(
    protection: Protection, conductor: tuple[Segment, ...], loads: tuple[Load, ...], fault: float | None, nominal: float,
    feeder: bool,
) -> None:  # fmt: skip
    supply = replace(
        HOUSE, kind="ac" if nominal > 60 else "dc", nominal_v=nominal, cutoff_v=None, fault_min_a=fault,
        fault_max_a=fault and fault * 2, battery=None if nominal > 60 else HOUSE.battery,
    )  # fmt: skip
    odd = circuit("D4", "Odd", protection=protection, conductor=conductor, feeder="rear" if feeder else None)
    rear = Feeder(id="rear", supply="house", protection=blade(20), conductor=conductor)
    for finding in vet(on(supply, replace(odd, loads=loads), feeders=(rear,))):
        assert finding.grade in ("refuse", "warn", "note")
        assert finding.source
        assert finding.remedy.endswith(".")
        assert finding.message.endswith((".", ")")), finding.message
        assert "None" not in finding.message + finding.remedy
        assert "safe" not in finding.message + finding.remedy
