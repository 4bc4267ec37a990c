"""What a good schedule becomes: its records, its defaults; and that nothing else than ScheduleError is ever raised."""

from __future__ import annotations

import json
import os
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from whole import WHOLE, swapped

from panelward.errors import Fault, ScheduleError
from panelward.records import (
    Battery,
    Broker,
    Duty,
    Exemption,
    Fitter,
    Level,
    Load,
    Monitor,
    Pointer,
    Probe,
    Protection,
    Segment,
    Sense,
    Supply,
    Surge,
    Vehicle,
    Will,
)
from panelward.schedule import load, parse
from panelward.schedule.values import JsonPointer

CONFIG = Path(__file__).parent.parent.parent / "config"
POINTERS = tomllib.loads((Path(__file__).parent.parent / "reference" / "jsonpointer.toml").read_text())

LEAST = """\
[vehicle]
name = "Blåbær & Søn's van 2"
[supply.house]
kind = "dc"
nominal_v = 12
[supply.shore]
kind = "ac"
nominal_v = 230
[[circuit]]
id = "D1"
label = "Sump pump"
supply = "house"
feed = "always-on"
protection = { kind = "electronic", rating_a = 5 }
load = { kind = "pump", levels = [{ name = "pumping", watts = 20 }], duty = { low = 0, high = 1 } }
[[circuit]]
id = "D2"
label = "Lights"
supply = "house"
feed = "switched"
protection = { kind = "glass-fuse", rating_a = 5 }
[[circuit]]
id = "A1"
label = "Outlet"
supply = "shore"
feed = "switched"
protection = { kind = "breaker-b", rating_a = 10 }
"""


def fault_of(path: str | Path) -> Fault:
    with pytest.raises(ScheduleError) as caught:
        load(path)
    assert len(caught.value.faults) == 1
    return caught.value.faults[0]


def test_every_key_arrives() -> None:
    schedule = parse(WHOLE, "van.toml")
    assert schedule.vehicle == Vehicle(
        name="Survey van", id="survey-van", timezone="Europe/Oslo", rules_dc=("33 CFR 183.425",), rules_ac=("IEC 60364-5-52",),
        spares=("D14",), unheard_after_s=1800.0, sign_of_life_to="https://owner.example/sign",
        fitter=Fitter(name="Fjord Panels", phone="+44 1632 960123"), panel="odd-left", door_at="http://panel.local:8460",
    )  # fmt: skip
    assert schedule.broker == Broker(
        host="127.0.0.1", port=8883, username="panelward", password_file="/etc/panelward/broker.password", tls=True,
        ca_file="/etc/panelward/ca.crt", cert_file="/etc/panelward/van.crt", key_file="/etc/panelward/van.key",
    )  # fmt: skip
    sense = Sense(volts_at="after-device", reports="mean", resolution_a=0.02, publishes="on-change", full_scale_a=50)
    assert schedule.monitors == (
        Monitor(
            name="dc-panel", dialect="plain", topic="van/dc/{circuit}/{quantity}", expect_every_s=2, sense=sense,
            will=Will(topic="van/dc/state", gone="lost", here="ready"),
        ),
        Monitor(
            name="ac-panel", dialect="json", topic="van/ac/{circuit}",
            fields=(
                ("volts", Pointer(pointer="/u")), ("amps", Pointer(pointer="/i", scale=0.001)),
                ("watts", Pointer(pointer="/p")), ("closed", Pointer(pointer="/on")),
                ("celsius", Pointer(pointer="/t")), ("commanded", Pointer(pointer="/want")),
            ),
            time_field=Pointer(pointer="/at"),
        ),
        Monitor(name="rear-panel", dialect="senml", topic="van/rear", record_name="urn:dev:{circuit}:{quantity}"),
    )  # fmt: skip
    assert schedule.supplies == (
        Supply(
            id="house", kind="dc", nominal_v=12.8, cutoff_v=11.6, cutoff_delay_s=10, restore_v=12.9, meter="SH",
            meter_sign="charge-positive", fault_min_a=900, fault_max_a=3000,
            battery=Battery(chemistry="lfp", capacity_ah=200, usable=0.85),
        ),
        Supply(id="inverter", kind="ac", nominal_v=230, frequency_hz=50, fed_by="D9"),
    )  # fmt: skip
    feeder = schedule.feeder("rear")
    assert (feeder.supply, feeder.behind) == ("house", ("disconnect",))
    exemption = Exemption(rule="33 CFR 183.455(c)", edition="2024", why="starter circuit")
    assert feeder.protection == Protection(kind="bolt-fuse", rating_a=60, breaking_a=6000, exemption=exemption)
    assert (feeder.conductor, feeder.diversity) == ((Segment(sae="2"),), 0.7)
    assert schedule.probes == (Probe(id="T1", where="load:D1", monitor="dc-panel"),)
    assert [circuit.id for circuit in schedule.circuits] == ["SH", "D1", "D5", "D9", "A1"]
    freezer = schedule.circuit("D1")
    assert freezer.sense == Sense(
        volts_at="after-device", reports="mean", resolution_a=0.01, publishes="on-change", full_scale_a=50
    )
    assert freezer.protection == Protection(
        kind="blade-fuse", type="C", rating_a=15, as_found_a=15, as_left_a=15, way_max_a=20, rated_v=32, breaking_a=3500
    )
    assert freezer.conductor == (
        Segment(area_mm2=6, length_m=4.5, insulation_c=105, bundled=3, ambient_c=40, return_path="wire"),
    )
    assert freezer.loads == (
        Load(
            kind="compressor", maker_fuse_a=15, standby_max_w=3, always_draws_w=1.4, longest_run_s=10800, daily_wh=700,
            levels=(Level(name="compressor", watts=52, tolerance=0.25, surge=Surge(times=3, seconds=1)),),
            duty=Duty(low=0.15, high=0.65, window_h=6), hours=((360, 1320),),
        ),
    )  # fmt: skip


def test_lists_stay_lists_and_a_feeder_gives_its_supply() -> None:
    lights = parse(WHOLE, "van.toml").circuit("D5")
    assert lights.conductor == (Segment(awg="12"), Segment(awg="1/0"))
    assert [found.kind for found in lights.loads] == ["light", "fan"]
    assert (lights.feeder, lights.supply) == ("rear", "house")


@pytest.mark.parametrize(("written", "size"), [("00", "2/0"), ("0", "1/0"), ("0000", "4/0"), ("2/0", "2/0")])
def test_sizes_with_noughts_are_read_both_ways(written: str, size: str) -> None:
    text, _ = swapped('awg = "1/0"', f'awg = "{written}"')
    assert parse(text, "van.toml").circuit("D5").conductor[1].awg == size


def test_the_defaults_are_those_of_the_interface() -> None:
    schedule = parse(LEAST, "van.toml")
    assert schedule.vehicle == Vehicle(name="Blåbær & Søn's van 2", id="blabr-sn-s-van-2", timezone="UTC")
    assert (schedule.broker, schedule.monitors, schedule.probes) == (None, (), ())
    pump, lights, outlet = schedule.circuits
    assert (pump.importance, lights.importance) == ("property", "comfort")
    assert (pump.hands, outlet.hands) == ("fitter", "licensed")
    assert (pump.role, pump.carries_messages, pump.behind, pump.monitor) == ("load", False, (), None)
    assert pump.sense == Sense(volts_at="bus", reports="sample", resolution_a=0.05, publishes="always")
    assert pump.loads[0].behaves == "constant-power"
    assert pump.loads[0].duty == Duty(low=0, high=1, window_h=6)
    assert schedule.supply("house").presence == "always"
    assert schedule.supply("house").meter_sign == "discharge-positive"


def test_the_only_monitor_need_not_be_named() -> None:
    monitor = (
        '[[monitor]]\nname = "m"\ndialect = "plain"\ntopic = "{circuit}/{quantity}"\n[[probe]]\nid = "T"\nwhere = "bank"\n'
    )
    schedule = parse(LEAST + monitor, "van.toml")
    assert {circuit.monitor for circuit in schedule.circuits} == {"m"}
    assert schedule.probes[0].monitor == "m"
    assert schedule.monitor("m").expect_every_s == 5


@pytest.mark.parametrize(
    ("written", "seconds"),
    [("3h", 10800), ("10min", 600), ("90s", 90), ("1h30min", 5400), ("1h 30min", 5400), ("1h1min1s", 3661)],
)
def test_time_spans(written: str, seconds: float) -> None:
    text, _ = swapped('longest_run = "3h"', f'longest_run = "{written}"')
    assert parse(text, "van.toml").circuit("D1").loads[0].longest_run_s == seconds


@pytest.mark.parametrize(
    ("written", "minutes"),
    [("22:00-07:00", (1320, 420)), ("00:00-24:00", (0, 1440)), ("07:05-07:06", (425, 426))],
)
def test_hours_are_minutes_of_the_day(written: str, minutes: tuple[int, int]) -> None:
    text, _ = swapped("06:00-22:00", written)
    assert parse(text, "van.toml").circuit("D1").loads[0].hours == (minutes,)


@pytest.mark.parametrize("pointer", [case["p"] for case in POINTERS["cases"]])
def test_json_pointers_of_rfc_6901_are_accepted(pointer: str) -> None:
    """RFC 6901 section 5."""
    assert JsonPointer().read(pointer) == pointer


@pytest.mark.parametrize("name", ["survey-van.toml", "minimal.toml"])
def test_the_schedules_that_come_with_it_load(name: str) -> None:
    schedule, text = load(CONFIG / name)
    assert text == (CONFIG / name).read_text(encoding="utf-8")
    assert schedule == parse(text, name)


def test_the_minimal_schedule_is_one_supply_one_monitor_two_circuits() -> None:
    schedule, _ = load(CONFIG / "minimal.toml")
    assert (len(schedule.supplies), len(schedule.monitors), len(schedule.circuits)) == (1, 1, 2)
    assert schedule.vehicle.id == "my-van"


def test_a_byte_order_mark_is_passed_over(tmp_path: Path) -> None:
    file = tmp_path / "van.toml"
    file.write_bytes(b"\xef\xbb\xbf" + WHOLE.encode())
    schedule, text = load(file)
    assert text == WHOLE
    assert schedule == parse(WHOLE, "van.toml")


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    fault = fault_of(tmp_path / "van.toml")
    assert fault.file == str(tmp_path / "van.toml")
    assert fault.found == "no such file"
    assert fault_of(tmp_path).wanted == "a file that can be read"
    assert fault_of("a\0b").wanted == "a file that can be read"


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_that_may_not_be_read(tmp_path: Path) -> None:
    file = tmp_path / "van.toml"
    file.write_text(WHOLE)
    file.chmod(0)
    assert fault_of(file).found == "Permission denied"


def test_a_file_in_another_encoding_has_the_line(tmp_path: Path) -> None:
    file = tmp_path / "van.toml"
    file.write_bytes('[vehicle]\nname = "Blåbær"\n'.encode("latin-1"))
    fault = fault_of(file)
    assert (fault.line, fault.wanted, fault.found) == (2, "text in UTF-8", "the byte 0xe5")


def raises_nothing_else(text: str) -> None:
    faults: tuple[Fault, ...] | None = None
    try:
        parse(text, "van.toml")
    except ScheduleError as error:
        faults = error.faults
    if faults is not None:
        assert faults
        assert all(fault.key and fault.wanted and fault.found for fault in faults)
        assert [str(fault) for fault in faults if not str(fault).isprintable()] == []


@given(st.text())
@settings(deadline=None)
def test_any_text_is_a_schedule_or_a_schedule_error(text: str) -> None:
    raises_nothing_else(text)


@given(st.integers(0, len(WHOLE)), st.integers(0, 30), st.text(max_size=8))
@settings(max_examples=200, deadline=None)
def test_any_slip_in_a_good_schedule_is_a_schedule_error_or_none(at: int, cut: int, put: str) -> None:
    raises_nothing_else(WHOLE[:at] + put + WHOLE[at + cut :])


KEYS = st.sampled_from(
    ["vehicle", "broker", "monitor", "supply", "feeder", "probe", "circuit", "id", "name", "label", "behind", "load",
     "conductor", "protection", "kind", "fed_by", "meter", "fields", "topic", "dialect", "where", "sense", "levels",
     "house", "will", "role", "duty", "fault_a", "hours", ""]
)  # fmt: skip
WORDS = st.sampled_from(["house", "D1", "plain", "json", "senml", "load:D1", "{circuit}", "a\nb", "", "1e400", "🚐"])
TREES = st.recursive(
    WORDS | st.integers() | st.booleans() | st.sampled_from(["inf", "-nan", "1979-05-27", "07:32:00"]).map(lambda w: [w]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=5),
    max_leaves=30,
)


def inline(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(key)} = {inline(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(inline(item) for item in value) + "]"
    return json.dumps(value, ensure_ascii=False)


@given(st.dictionaries(KEYS, TREES, max_size=6))
@settings(max_examples=200, deadline=None)
def test_any_shape_is_a_schedule_or_a_schedule_error(tree: dict[str, Any]) -> None:
    text = "".join(f"{json.dumps(key)} = {inline(value)}\n" for key, value in tree.items())
    tomllib.loads(text)
    raises_nothing_else(text)
