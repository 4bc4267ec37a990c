"""Vetting against the published rules; the source of each figure stands in reference/vetting.toml or beside it."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelward.ratings import corrected_ampacity_a
from panelward.records import Circuit, Feeder, Level, Load, Protection, Schedule, Segment, Sense, Supply
from panelward.schedule import GRADES, Finding, load, vet
from plans import DETECTOR, FREEZER, PLAN, circuit, plan

CONFIG = Path(__file__).parent.parent.parent / "config"
PUBLISHED = tomllib.loads((Path(__file__).parent.parent / "reference" / "vetting.toml").read_text(encoding="utf-8"))
V = PLAN.supplies[0].nominal_v


def blade(rating_a: float, **keys: Any) -> Protection:
    return Protection(kind="blade-fuse", type="C", rating_a=rating_a, **keys)


def wire(awg: str, **keys: Any) -> tuple[Segment, ...]:
    return (Segment(**({"awg": awg, "insulation_c": 105, "ambient_c": 30, "bundled": 1} | keys)),)


def way(**keys: Any) -> Circuit:
    return circuit("D4", "Water pump", "pump", **keys)


def of(schedule: Schedule, rule: str) -> list[Finding]:
    return [finding for finding in vet(schedule) if finding.rule == rule]


def one(schedule: Schedule, rule: str) -> Finding:
    found = of(schedule, rule)
    assert len(found) == 1, found
    return found[0]


@pytest.mark.parametrize(("awg", "amps"), PUBLISHED["ampacity_cfr"]["c105_a"].items())
def test_a_device_may_be_as_great_as_the_ampacity_of_33_cfr_and_no_greater(awg: str, amps: float) -> None:
    fits = plan(way(protection=blade(amps), conductor=wire(awg)))
    assert of(fits, "device-above-ampacity") == []
    finding = one(plan(way(protection=blade(amps + 1), conductor=wire(awg))), "device-above-ampacity")
    assert (finding.circuit, finding.grade, finding.unit) == ("D4", "refuse", "A")
    assert (finding.found, finding.limit) == (amps + 1, amps)
    assert "33 CFR 183.425" in finding.source
    assert "IEC 60364-4-43" in finding.source
    assert f"at most {amps:g} A" in finding.remedy
    assert "bigger conductor" in finding.remedy
    assert "Water pump (D4)" in finding.message
    assert f"{amps + 1:g} A" in finding.message


def test_the_smallest_segment_in_its_place_decides() -> None:
    """12 AWG at 105 °C carries 45 A alone and 0.70 of that in a bundle of three (33 CFR 183.425 and its note 2)."""
    bundled = 45 * PUBLISHED["bundle"]["three"]
    conductor = (*wire("6"), *wire("12", bundled=3), *wire("10"))
    finding = one(plan(way(protection=blade(35), conductor=conductor)), "device-above-ampacity")
    assert finding.limit == pytest.approx(bundled)
    assert of(plan(way(protection=blade(30), conductor=conductor)), "device-above-ampacity") == []


def test_insulation_that_is_not_written_is_doubt_and_not_refusal() -> None:
    """14 AWG: 20 A at 60 °C, 35 A at 105 °C. What fits the better only is doubtful; what fits neither is wrong."""
    table = PUBLISHED["ampacity_cfr"]
    assert (table["c60_a"]["14"], table["c105_a"]["14"]) == (20, 35)
    unknown = wire("14", insulation_c=None)
    assert of(plan(way(protection=blade(20), conductor=unknown)), "device-above-ampacity") == []
    doubtful = one(plan(way(protection=blade(30), conductor=unknown)), "device-above-ampacity")
    assert (doubtful.grade, doubtful.limit) == ("warn", 20)
    assert "insulation_c" in doubtful.remedy
    assert one(plan(way(protection=blade(40), conductor=unknown)), "device-above-ampacity").grade == "refuse"
    written = wire("14", insulation_c=60)
    assert one(plan(way(protection=blade(30), conductor=written)), "device-above-ampacity").grade == "refuse"


def test_what_was_left_in_the_way_is_vetted_too() -> None:
    left = plan(way(protection=blade(15, as_left_a=30), conductor=wire("18")))
    finding = one(left, "device-above-ampacity")
    assert (finding.found, finding.limit) == (30, 20)
    assert "as left" in finding.message


@pytest.mark.parametrize("insulation_c", [60, 75, 105])
@given(
    rating=st.floats(1, 200),
    way_max=st.none() | st.floats(1, 200),
    maker=st.none() | st.floats(1, 200),
    feeder=st.floats(1, 200),
    awg=st.sampled_from(["18", "12", "6"]),
    ambient=st.floats(-20, 90),
)
@settings(deadline=None)
def test_no_remedy_names_a_device_above_the_ampacity(
    insulation_c: float, rating: float, way_max: float | None, maker: float | None, feeder: float, awg: str, ambient: float
) -> None:
    pump = way(
        protection=blade(rating, way_max_a=way_max), maker_fuse_a=maker, feeder="rear",
        conductor=wire(awg, insulation_c=insulation_c, ambient_c=ambient), levels=(Level(name="on", watts=900),),
    )  # fmt: skip
    fed = replace(PLAN.feeders[0], protection=blade(feeder))
    ampacity = corrected_ampacity_a(pump.conductor[0], "dc")
    assert ampacity is not None
    for finding in vet(plan(pump, feeders=(fed,), supplies=(replace(PLAN.supplies[0], meter=None),))):
        for offered in re.findall(r"at most ([0-9.]+) A", finding.remedy):
            assert 0 < float(offered) <= ampacity.amps * (1 + 1e-9)
        assert not re.search(r"(larger|bigger|greater|higher)[^.]*(fuse|device|breaker)", finding.remedy)


def test_a_level_above_the_rating_is_refused() -> None:
    """IEC 60364-4-43 433.1: Ib <= In."""
    assert PUBLISHED["coordination"]["rule"].startswith("Ib <= In")
    at = plan(way(protection=blade(5), levels=(Level(name="pumping", watts=5 * V),)))
    assert of(at, "level-above-rating") == []
    above = plan(way(protection=blade(5), levels=(Level(name="idle", watts=9), Level(name="pumping", watts=5.2 * V))))
    finding = one(above, "level-above-rating")
    assert (finding.grade, finding.found, finding.limit, finding.unit) == ("refuse", 5.2, 5, "A")
    assert '"pumping"' in finding.message
    assert "IEC 60364-4-43" in finding.source
    left = plan(way(protection=blade(10, as_left_a=5), levels=(Level(name="pumping", watts=6 * V),)))
    assert one(left, "level-above-rating").limit == 5


@pytest.mark.parametrize("cut", ["user-switch", "disconnect"])
def test_life_behind_a_switch_is_refused(cut: str) -> None:
    """Common practice, no source."""
    finding = one(plan(replace(DETECTOR, behind=(cut,))), "life-behind-switch")
    assert (finding.circuit, finding.grade, finding.found) == ("D6", "refuse", cut)
    assert "no source" in finding.source
    assert of(plan(replace(DETECTOR, behind=("isolator",))), "life-behind-switch") == []
    assert [f.grade for f in of(plan(replace(DETECTOR, behind=("ignition",))), "life-behind-switch")] == ["warn"]
    assert of(plan(replace(FREEZER, behind=(cut,))), "life-behind-switch") == []


def test_the_switch_is_found_up_through_feeders_and_supplies() -> None:
    assert of(plan(DETECTOR), "life-behind-switch") == []
    on_feeder = plan(replace(DETECTOR, feeder="rear"))
    assert one(on_feeder, "life-behind-switch").found == "disconnect"
    named = plan(replace(DETECTOR, behind=("rear",)))
    assert one(named, "life-behind-switch").found == "disconnect"
    front = Feeder(id="front", supply="house", behind=("rear",))
    twice = plan(replace(DETECTOR, feeder="front"), feeders=(*PLAN.feeders, front))
    assert one(twice, "life-behind-switch").found == "disconnect"
    inverter = Supply(id="inverter", kind="ac", nominal_v=230, fed_by="D9")
    outlet = replace(DETECTOR, id="A1", supply="inverter")
    fed = plan(circuit("D9", "Inverter", "inverter", behind=("user-switch",)), outlet, supplies=(*PLAN.supplies, inverter))
    assert one(fed, "life-behind-switch").found == "user-switch"


def test_a_way_below_its_device_is_warned_of_and_a_device_above_its_maker_refused() -> None:
    """A way's rating and a maker's instruction: common practice, no source."""
    finding = one(plan(way(protection=blade(25, way_max_a=20))), "way-below-device")
    assert (finding.grade, finding.found, finding.limit) == ("warn", 25, 20)
    assert "at most 20 A" in finding.remedy
    assert of(plan(way(protection=blade(20, way_max_a=20))), "way-below-device") == []
    finding = one(plan(way(protection=blade(15), maker_fuse_a=10)), "device-above-maker")
    assert (finding.grade, finding.found, finding.limit) == ("refuse", 15, 10)
    assert "at most 10 A" in finding.remedy
    assert of(plan(way(protection=blade(10), maker_fuse_a=10)), "device-above-maker") == []
    two = replace(way(), loads=(Load(kind="pump", maker_fuse_a=20), Load(kind="light", maker_fuse_a=7.5)))
    assert one(plan(two), "device-above-maker").limit == 7.5


def test_a_feeder_smaller_than_its_branch_is_warned_of() -> None:
    """The device next to the fault opens first: common practice, no source."""
    fed = replace(PLAN.feeders[0], protection=Protection(kind="bolt-fuse", rating_a=40, as_left_a=10))
    finding = one(plan(way(feeder="rear"), feeders=(fed,)), "feeder-below-branch")
    assert (finding.grade, finding.found, finding.limit) == ("warn", 15, 10)
    equal = replace(fed, protection=blade(15))
    assert of(plan(way(feeder="rear"), feeders=(equal,)), "feeder-below-branch") == []


def test_what_was_found_or_left_otherwise_is_warned_of() -> None:
    found = vet(plan(way(protection=blade(15, as_found_a=30, as_left_a=10))))
    figures = {f.rule: (f.grade, f.found, f.limit) for f in found if f.rule.startswith("as-")}
    assert figures == {"as-found-differs": ("warn", 30, 15), "as-left-differs": ("warn", 10, 15)}
    remedies = {f.rule: f.remedy for f in found}
    assert "who changed it" in remedies["as-found-differs"]
    assert "The watch judges what was left" in remedies["as-left-differs"]
    same = vet(plan(way(protection=blade(15, as_found_a=15, as_left_a=15))))
    assert [f for f in same if f.rule.startswith("as-")] == []


def test_a_fuel_fired_heater_behind_a_switch_is_warned_of() -> None:
    """It must cool itself down after burning: common practice, no source."""
    heater = circuit("D3", "Air heater", "air-heater", feed="always-on")
    assert "switched" in str(one(plan(replace(heater, feed="switched")), "heater-behind-switch").found)
    assert one(plan(replace(heater, behind=("user-switch",))), "heater-behind-switch").grade == "warn"
    assert one(plan(replace(heater, feeder="rear")), "heater-behind-switch").found == "disconnect"
    assert of(plan(heater, way(behind=("disconnect",))), "heater-behind-switch") == []


@pytest.mark.parametrize("label", ["Water pump", "water  PUMP", "Water-pump"])
def test_two_labels_alike_are_warned_of(label: str) -> None:
    """NEC 408.4(A): a circuit is identified so that it is distinguished from all others; from memory."""
    finding = one(plan(way(), circuit("D5", label)), "labels-alike")
    assert (finding.grade, finding.circuit, finding.found, finding.limit) == ("warn", "D5", label, "Water pump")
    assert of(plan(way(), circuit("D5", "Water pump 2")), "labels-alike") == []


def test_a_continuous_load_takes_eighty_percent_of_its_device() -> None:
    """NEC art. 100: three hours or more; 210.20(A): the device at 125 % of it or more."""
    rule = PUBLISHED["continuous_load"]
    amps = 15 / rule["factor"]
    seconds = rule["hours"] * 3600.0

    def running(watts: float, longest_run_s: float | None, **keys: Any) -> list[Finding]:
        level = (Level(name="on", watts=watts),)
        return of(plan(way(levels=level, longest_run_s=longest_run_s, **keys)), "continuous-above-80-percent")

    assert running(amps * V, seconds) == []
    assert running(amps * V * 1.01, seconds - 1) == []
    assert running(amps * V * 1.01, None) == []
    finding = running(amps * V * 1.01, seconds)[0]
    assert (finding.grade, finding.limit, finding.found) == ("warn", amps, 12.12)
    assert "75 %" in finding.source  # a fuse: its holder's heat; three rules with three sources, never one number
    assert running(16 * V, seconds) == []  # refused already
    ul = running(amps * V * 1.01, seconds, protection=Protection(kind="breaker-thermal", rating_a=15))
    assert "210.20(A)" in ul[0].source
    assert running(amps * V * 1.2, seconds, protection=Protection(kind="breaker-b", rating_a=15)) == []  # carries 1.13 times


@pytest.mark.parametrize("kind", ["electronics", "detector"])
def test_electronics_that_are_always_on_are_continuous(kind: str) -> None:
    level = (Level(name="on", watts=13 * V),)
    always = circuit("D2", "Terminal", kind, feed="always-on", levels=level)
    assert one(plan(always), "continuous-above-80-percent").circuit == "D2"
    assert of(plan(replace(always, feed="switched")), "continuous-above-80-percent") == []
    fridge = circuit("D1", "Fridge", "compressor", feed="always-on", levels=level)
    assert of(plan(fridge), "continuous-above-80-percent") == []


def test_a_floor_below_three_steps_of_the_sensing_is_warned_of() -> None:
    """Three steps: common practice, no source."""
    steps = PUBLISHED["practice"]["floor_steps"]
    assert of(plan(replace(FREEZER, sense=Sense(resolution_a=1.4 / V / steps))), "floor-below-sensing") == []
    finding = one(plan(replace(FREEZER, sense=Sense(resolution_a=0.05))), "floor-below-sensing")
    assert (finding.grade, finding.found, finding.limit, finding.unit) == ("warn", 0.1094, 0.15, "A")
    assert of(plan(replace(FREEZER, feed="switched", sense=Sense(resolution_a=0.05))), "floor-below-sensing") == []
    several = replace(FREEZER, loads=FREEZER.loads * 2, sense=Sense(resolution_a=0.05))
    assert of(plan(several), "floor-below-sensing") == []


def test_what_cannot_be_judged_is_noted() -> None:
    bare = Circuit(
        id="D4", label="Water pump", monitor="dc", supply="house", sense=Sense(), feed="always-on", protection=blade(10)
    )
    supply = Supply(id="house", kind="dc", nominal_v=12.8)
    found = vet(plan(bare, supplies=(supply,)))
    assert {finding.rule for finding in found if finding.grade != "note"} == {"feeder-unprotected"}
    assert {finding.rule: finding.circuit for finding in found} == {
        "rules-not-named": None,
        "fitter-unknown": None,
        "bonding-unseen": None,
        "fault-unknown": None,
        "feeder-unprotected": None,
        "battery-unknown": None,
        "cutoff-unknown": None,
        "floor-unknown": "D4",
        "conductor-unknown": "D4",
        "load-unknown": "D4",
    }
    assumed = one(plan(way(conductor=wire("12", insulation_c=None, ambient_c=None, bundled=None))), "conductor-assumed")
    assert all(word in assumed.message for word in ("60 °C", "30 °C", "not bundled"))
    assert of(plan(way(conductor=wire("12"))), "conductor-assumed") == []
    small = plan(way(conductor=(Segment(area_mm2=0.2, insulation_c=105, ambient_c=30, bundled=1),)))
    assert one(small, "ampacity-unknown").grade == "note"
    unsized = plan(way(conductor=(*wire("12"), Segment(length_m=2))))
    assert one(unsized, "conductor-unknown").circuit == "D4"


def test_a_supply_that_is_fed_needs_neither_battery_nor_cut_off() -> None:
    fed = Supply(id="sub", kind="dc", nominal_v=24, fed_by="D9")
    shore = Supply(id="shore", kind="ac", nominal_v=230, presence="comes-and-goes")
    found = vet(replace(PLAN, supplies=(*PLAN.supplies, fed, shore)))
    named = [f.rule for f in found if f.message.startswith(("Supply sub", "Supply shore"))]
    assert named == ["neutral-bond"]


def test_every_ac_circuit_is_for_licensed_practice() -> None:
    outlet = circuit("A1", "Outlet", "socket", supply="shore", protection=Protection(kind="breaker-b", rating_a=10))
    schedule = plan(outlet, way(), supplies=(*PLAN.supplies, Supply(id="shore", kind="ac", nominal_v=230)))
    finding = one(schedule, "licensed-practice")
    assert (finding.circuit, finding.grade) == ("A1", "note")
    assert "insulation resistance" in finding.remedy


def test_a_meter_without_a_device_gives_nothing() -> None:
    assert [finding for finding in vet(plan(PLAN.circuits[0])) if finding.circuit is not None] == []


LESSER = ("length-unknown", "rating-not-standard")


def test_refusals_come_first_and_the_rest_as_on_the_panel() -> None:
    bad = way(protection=blade(50, as_found_a=20), conductor=wire("18"))
    worse = circuit("D5", "Lights", protection=blade(50), conductor=wire("18"))
    found = vet(plan(replace(bad, feed="always-on"), worse))
    assert [f.grade for f in found] == sorted([f.grade for f in found], key=GRADES.index)
    grades = [(f.grade, f.circuit) for f in found if f.circuit is not None and f.rule not in LESSER]
    assert grades == [("refuse", "D4"), ("refuse", "D5"), ("warn", "D4"), ("note", "D4")]


@pytest.mark.parametrize("name", ["survey-van.toml", "minimal.toml"])
def test_the_schedules_that_come_with_it_are_neither_refused_nor_warned_of(name: str) -> None:
    schedule, _ = load(CONFIG / name)
    assert [finding for finding in vet(schedule) if finding.grade != "note"] == []


def test_the_minimal_schedule_leaves_nothing_open_on_its_circuits() -> None:
    assert [finding for finding in vet(load(CONFIG / "minimal.toml")[0]) if finding.circuit is not None] == []


def test_a_schedule_without_circuits_and_a_cutoff_that_does_not_fit_are_warned_of() -> None:
    """The cut-off lies below the nominal volts and not far below: common practice, no source."""
    assert one(replace(plan(), circuits=()), "no-circuits").grade == "warn"
    supply = replace(plan().supplies[0], cutoff_v=14.0)
    assert one(replace(plan(), supplies=(supply,)), "cutoff-unlikely").grade == "warn"
    assert of(plan(), "cutoff-unlikely") == []
