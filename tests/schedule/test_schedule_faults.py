"""Every key wrong in turn: the fault names the key, its line, what was wanted and what was found."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import pytest
from pydantic import BaseModel
from whole import WHOLE, line_of, swapped

from panelward.errors import Fault, ScheduleError
from panelward.records.topics import filter_is_valid
from panelward.schedule import load, parse
from panelward.schedule.models import Document

REFERENCE = Path(__file__).parent.parent / "reference"
LINES = WHOLE.splitlines()
KEYED = [number for number, line in enumerate(LINES, 1) if " = " in line]


def faults(text: str) -> tuple[Fault, ...]:
    with pytest.raises(ScheduleError) as caught:
        parse(text, "van.toml")
    return caught.value.faults


def only(text: str) -> Fault:
    found = faults(text)
    assert len(found) == 1, "\n".join(map(str, found))
    return found[0]


def with_line(number: int, line: str) -> str:
    return "\n".join([*LINES[: number - 1], line, *LINES[number:]])


def test_the_whole_schedule_is_good_and_has_every_key() -> None:
    parse(WHOLE, "van.toml")
    written = {line.split(" = ")[0] for line in LINES if " = " in line} | set(re.findall(r"[a-z0-9_]+", WHOLE))

    def keys(model: type[BaseModel]) -> Iterator[str]:
        for name, field in model.model_fields.items():
            yield field.alias or name
            waiting: list[Any] = [field.annotation]
            while waiting:
                part = waiting.pop()
                waiting += get_args(part)
                if isinstance(part, type) and issubclass(part, BaseModel):
                    yield from keys(part)

    assert set(keys(Document)) <= written


@pytest.mark.parametrize("number", KEYED, ids=lambda n: f"{n}: {LINES[n - 1][:40]}")
def test_a_value_of_a_wrong_kind_is_named_with_its_line(number: int) -> None:
    key = LINES[number - 1].split(" = ")[0]
    found = faults(with_line(number, f"{key} = 1979-05-27"))
    here = [fault for fault in found if fault.line == number]
    assert [fault.found for fault in here] == ["the date or time 1979-05-27"]
    assert here[0].key.split(".")[-1].split(" ")[-1] == key
    assert "_type" not in here[0].wanted
    assert here[0].wanted


@pytest.mark.parametrize("number", KEYED, ids=lambda n: f"{n}: {LINES[n - 1][:40]}")
def test_an_unknown_key_is_named_with_the_nearest_known_one(number: int) -> None:
    key, value = LINES[number - 1].split(" = ", 1)
    found = [fault for fault in faults(with_line(number, f"{key}x = {value}")) if "unknown" in fault.found]
    assert [(fault.line, fault.found) for fault in found] == [(number, f'the unknown key "{key}x"')]
    assert found[0].key.endswith(f"{key}x")
    assert found[0].remedy == f"Did you mean {key}?"


# old part, new part, key, wanted, found; each is the only fault.
WRONG = (
    ('name = "Survey van"', 'name = " "', "vehicle.name", "a name", '" "'),
    ('name = "Survey van"', 'name = "a\\u001bb"', "vehicle.name", "without control characters", '"a\\x1bb"'),
    ('id = "survey-van"', 'id = "Survey van"', "vehicle.id", "small letters", '"Survey van"'),
    ("Europe/Oslo", "Europe/Olso", "vehicle.timezone", "IANA", '"Europe/Olso"'),
    ("Europe/Oslo", "Europe", "vehicle.timezone", "IANA", '"Europe"'),
    ("Europe/Oslo", "../Oslo", "vehicle.timezone", "IANA", '"../Oslo"'),
    ("+44 1632 960123", "ring me", "vehicle.fitter.phone", "a telephone number", '"ring me"'),
    ("+44 1632 960123", "+44 1632 960123 ext 4", "vehicle.fitter.phone", "a telephone number", '"+44 1632 960123 ext 4"'),
    ("+44 1632 960123", "tel:+441632960123", "vehicle.fitter.phone", "a telephone number", '"tel:+441632960123"'),
    ("+44 1632 960123", "(-) -", "vehicle.fitter.phone", "a telephone number", '"(-) -"'),
    ("+44 1632 960123", "1234567890123456", "vehicle.fitter.phone", "3 to 15 digits", '"1234567890123456"'),
    ('"+44 1632 960123"', "441632960123", "vehicle.fitter.phone", "a telephone number", "441632960123"),
    ("odd-left", "two-column", "vehicle.panel", "one of one-column, odd-left", '"two-column"'),
    ("http://panel.local:8460", "panel.local:8460", "vehicle.door_at", "like http://", '"panel.local:8460"'),
    ("http://panel.local:8460", "http://a:b@c", "vehicle.door_at", "without user", '"http://a:b@c"'),
    ("http://panel.local:8460", "http://c/?key=1", "vehicle.door_at", "query or fragment", '"http://c/?key=1"'),
    ("http://panel.local:8460", "http://c/#a", "vehicle.door_at", "query or fragment", '"http://c/#a"'),
    ("http://panel.local:8460", "file:///etc", "vehicle.door_at", "like http://", '"file:///etc"'),
    ("port = 8883", "port = 0", "broker.port", "a whole number from 1 to 65535", "0"),
    ("port = 8883", "port = 65536", "broker.port", "a whole number from 1 to 65535", "65536"),
    ("port = 8883", "port = 1883.0", "broker.port", "a whole number", "1883"),
    ("port = 8883", "port = true", "broker.port", "a whole number", "true"),
    ('host = "127.0.0.1"', 'host = "mqtt://a"', "broker.host", "address of a host", '"mqtt://a"'),
    ('tls = true', 'tls = "true"', "broker.tls", "true or false", '"true"'),
    ('dialect = "plain"', 'dialect = "homie"', "monitor dc-panel dialect", "plain, json, senml", '"homie"'),
    ("dc/{circuit}/{quantity}", "dc/{circuit}", "monitor dc-panel topic", "{quantity}", '"van/dc/{circuit}"'),
    ("dc/{circuit}/{quantity}", "dc/{quantity}", "monitor dc-panel topic", "{circuit}", '"van/dc/{quantity}"'),
    ("dc/{circuit}/{quantity}", "{circuit}-{quantity}", "monitor dc-panel topic", "alone", '"van/{circuit}-{quantity}"'),
    ("dc/{circuit}/{quantity}", "{circuit}/{amount}/{quantity}", "monitor dc-panel topic", "no other braces", "amount"),
    ("dc/{circuit}/{quantity}", "{circuit}/{circuit}/{quantity}", "monitor dc-panel topic", "once each", "circuit"),
    ("dc/{circuit}/{quantity}", "d+/{circuit}/{quantity}", "monitor dc-panel topic", "MQTT topic filter", "d+"),
    ("dc/{circuit}/{quantity}", "{circuit}/{quantity}/#", "monitor dc-panel topic", 'without "#"', "#"),
    ("van/ac/{circuit}", "van/ac", "monitor ac-panel topic", "{circuit}", '"van/ac"'),
    ("van/ac/{circuit}", "van/ac/{circuit}/{quantity}", "monitor ac-panel topic", "no {quantity}", "{quantity}"),
    ("expect_every_s = 2", "expect_every_s = 0", "monitor dc-panel expect_every_s", "above 0", "0"),
    ('topic = "van/dc/state"', 'topic = "van/+/state"', "monitor dc-panel will.topic", "without wildcards", "van/+/state"),
    ('here = "ready"', 'here = "lost"', "monitor dc-panel will.here", "another text than gone", '"lost"'),
    ('volts_at = "after-device"', 'volts_at = "fuse"', "monitor dc-panel sense.volts_at", "bus, after-device", '"fuse"'),
    ("resolution_a = 0.02", "resolution_a = -1", "monitor dc-panel sense.resolution_a", "above 0", "-1"),
    ('pointer = "/i"', 'pointer = "i"', "monitor ac-panel fields.amps.pointer", "RFC 6901", '"i"'),
    ('pointer = "/i"', 'pointer = "/~2"', "monitor ac-panel fields.amps.pointer", "RFC 6901", '"/~2"'),
    ("scale = 0.001", "scale = 0", "monitor ac-panel fields.amps.scale", "other than 0", "0"),
    ("scale = 0.001", "scale = nan", "monitor ac-panel fields.amps.scale", "other than 0", "nan"),
    ("urn:dev:{circuit}:{quantity}", "urn:{quantity}", "monitor rear-panel topic", "or in record_name", '"van/rear"'),
    ("urn:dev:{circuit}:{quantity}", "{circuit}{circuit}", "monitor rear-panel record_name", "at most once", "{circuit}"),
    ("urn:dev:{circuit}:{quantity}", "{circuit}{unit}", "monitor rear-panel record_name", "no other braces", "{unit}"),
    ("nominal_v = 12.8", "nominal_v = inf", "supply house nominal_v", "above 0", "inf"),
    ("nominal_v = 12.8", 'nominal_v = "12.8"', "supply house nominal_v", "a number above 0", '"12.8"'),
    ("capacity_ah = 200", "capacity_ah = 2e6", "supply house battery.capacity_ah", "at most 1000000", "2000000"),
    ("usable = 0.85", "usable = 85", "supply house battery.usable", "above 0 and at most 1", "85"),
    ("usable = 0.85", "usable = 0", "supply house battery.usable", "above 0 and at most 1", "0"),
    ('chemistry = "lfp"', 'chemistry = "LFP"', "supply house battery.chemistry", "lfp, flooded", '"LFP"'),
    ("restore_v = 12.9", "restore_v = 11.6", "supply house restore_v", "above cutoff_v (11.6)", "11.6"),
    ('meter = "SH"', 'meter = "D1"', "supply house meter", 'role = "meter"', '"D1", a load'),
    ('meter = "SH"', 'meter = "S"', "supply house meter", "the id of a circuit (SH, D1", '"S"'),
    ("min = 900", "min = 9000", "supply house fault_a", "min not above max", "min 9000, max 3000"),
    ('fed_by = "D9"', 'fed_by = "D99"', "supply inverter fed_by", "the id of a circuit", '"D99"'),
    ('behind = ["disconnect"]', 'behind = ["switch"]', "feeder rear behind[1]", "user-switch, rear", '"switch"'),
    ('behind = ["disconnect"]', 'behind = "disconnect"', "feeder rear behind", "an array of texts", '"disconnect"'),
    ('where = "load:D1"', 'where = "load:D2"', "probe T1 where", "the id of a circuit", '"load:D2"'),
    ('where = "load:D1"', 'where = "roof"', "probe T1 where", "panel, outside, bank", '"roof"'),
    ('id = "T1"', 'id = "D5"', "probe D5 id", "used once", '"D5", also on line'),
    ('id = "D9"\nlabel', 'id = "D9"\nfed = 1\nlabel', "circuit D9 fed", "a known key: id, label", '"fed"'),
    ('label = "Mast lights"', f'label = "{"x" * 81}"', "circuit D5 label", "at most 80 characters", "xxx…"),
    ('monitor = "rear-panel"', 'monitor = "rear"', "circuit D5 monitor", "dc-panel, ac-panel, rear-panel", '"rear"'),
    ('feeder = "rear"', 'feeder = "front"', "circuit D5 feeder", "the id of a feeder (rear)", '"front"'),
    ('feeder = "rear"', 'feeder = "rear"\nsupply = "inverter"', "circuit D5 supply", "house", '"inverter"'),
    ("carries_messages = false", "carries_messages = 0", "circuit D1 carries_messages", "true or false", "0"),
    ('importance = "property"', 'importance = "high"', "circuit D1 importance", "life, property, comfort", '"high"'),
    ("rating_a = 15", 'rating_a = "ten"', "circuit D1 protection.rating_a", "a number above 0", '"ten"'),
    ("rating_a = 15", "rating_a = 0", "circuit D1 protection.rating_a", "a number above 0", "0"),
    ('type = "C"', 'type = "A"', "circuit D1 protection.type", "one of C, E, F", '"A"'),
    ('kind = "breaker-c"', 'kind = "breaker-c"\ntype = "C"', "circuit D5 protection.type", "only for a blade", "breaker-c"),
    ("insulation_c = 105", "insulation_c = 1050", "circuit D1 conductor.insulation_c", "from 60 to 260", "1050"),
    ("ambient_c = 40", "ambient_c = 400", "circuit D1 conductor.ambient_c", "from -60 to 150", "400"),
    ("bundled = 3", "bundled = 2.5", "circuit D1 conductor.bundled", "a whole number", "2.5"),
    ("insulation_m = 0", "insulation_m = -1", "circuit D1 conductor.thermal_insulation_m", "0 or more", "-1"),
    ('return = "wire"', 'return = "frame"', "circuit D1 conductor.return", "wire, chassis", '"frame"'),
    ('awg = "1/0"', 'awg = "5"', "circuit D5 conductor[2].awg", "18, 16, 14", '"5"'),
    ('awg = "12"', "awg = 12", "circuit D5 conductor[1].awg", "18, 16, 14", "12"),
    ('awg = "12"', 'awg = "12"\narea_mm2 = 4', "circuit D5 conductor[1].awg", "one of them", "area_mm2 and awg"),
    ('kind = "fan"', 'kind = "blower"', "circuit D5 load[2].kind", "compressor, fan, pump", '"blower"'),
    ("always_draws_w = 1.4", "always_draws_w = 0", "circuit D1 load.always_draws_w", "above 0", "0"),
    ('longest_run = "3h"', 'longest_run = "3 hours"', "circuit D1 load.longest_run", '"1h30min"', '"3 hours"'),
    ('longest_run = "3h"', 'longest_run = "0s"', "circuit D1 load.longest_run", '"1h30min"', '"0s"'),
    ('longest_run = "3h"', 'longest_run = ""', "circuit D1 load.longest_run", '"1h30min"', '""'),
    ('["06:00-22:00"]', '["6:00-22:00"]', "circuit D1 load.hours[1]", '"06:00-22:00"', '"6:00-22:00"'),
    ('["06:00-22:00"]', '["06:00-24:01"]', "circuit D1 load.hours[1]", '"06:00-22:00"', '"06:00-24:01"'),
    ('["06:00-22:00"]', '["06:00-06:00"]', "circuit D1 load.hours[1]", "two different times", '"06:00-06:00"'),
    ('["06:00-22:00"]', "[]", "circuit D1 load.hours", "at least one span", "an empty array"),
    ("tolerance = 0.25", "tolerance = -0.1", "circuit D1 load.levels[1].tolerance", "0 or more", "-0.1"),
    ("times = 3.0", "times = 0.5", "circuit D1 load.levels[1].surge.times", "1 or more", "0.5"),
    ("high = 0.65", "high = 1.2", "circuit D1 load.duty.high", "from 0 to 1", "1.2"),
    ("low = 0.15", "low = -0.1", "circuit D1 load.duty.low", "from 0 to 1", "-0.1"),
    ("scale = 0.001", "scale = 2e12", "monitor ac-panel fields.amps.scale", "at most 1e12", "2e+12"),
    ("port = 8883", "port = 1000000000000000", "broker.port", "from 1 to 65535", "more than 15 digits"),
    ("port = 8883", "port = 999999999999999", "broker.port", "from 1 to 65535", "999999999999999"),
    ('where = "load:D1"', 'where = "lead:D1"', "probe T1 where", "panel, outside, bank", '"lead:D1"'),
    ('where = "load:D1"', 'where = "load"', "probe T1 where", "panel, outside, bank", '"load"'),
    ("port = 8883", f"port = 1{'0' * 400}", "broker.port", "from 1 to 65535", "more than 15 digits"),
)  # fmt: skip


@pytest.mark.parametrize(("old", "new", "key", "wanted", "found"), WRONG, ids=lambda value: str(value)[:40])
def test_a_wrong_value_is_one_fault(old: str, new: str, key: str, wanted: str, found: str) -> None:
    if old == "rating_a = 15":  # it stands in as_found_a and others only with other words before it
        text, line = swapped('type = "C"\nrating_a = 15', f'type = "C"\n{new}')
        line += 1
    elif old == "min = 900":
        text, line = swapped(old, new)
        line -= 1  # said of the table: the two keys are wrong together
    else:
        text, line = swapped(old, new)
        line += [part in new for part in ("\nfed", "\nsupply", "\ntype")].count(True)
        line -= key == "monitor rear-panel topic"  # the line above
    if "area_mm2" in new:
        line = line_of(text, 'awg = "12"')
    fault = only(text)
    assert (fault.key, fault.line) == (key, line)
    assert wanted in fault.wanted
    assert found in fault.found
    assert str(fault).startswith(f"van.toml, line {line}: {key}: wanted ")


@pytest.mark.parametrize(
    ("old", "new", "remedy"),
    [
        ('awg = "12"', "awg = 12", 'Write it in quotes: "12".'),
        ("nominal_v = 230", 'nominal_v = "230"', "Write it without quotes."),
        ('feed = "always-on"', 'feed = "allways-on"', "Did you mean always-on?"),
        ('kind = "compressor"', 'kind = "Compressor"', "Did you mean compressor?"),
        ('monitor = "rear-panel"', 'monitor = "rear_panel"', "Did you mean rear-panel?"),
        ('pointer = "/i"', 'pointer = "i"', 'Put a slash before it: "/i".'),
        ('behind = ["isolator"]', 'behind = "isolator"', 'Write it in brackets: ["isolator"].'),
        ("always_draws_w = 1.4", "always_draws_w = 0", "Leave the key out if the load may draw nothing."),
        ("[[probe]]", "[probe]", "Write it as [[probe]], with two brackets."),
        ("tls = true", 'tls = "true"', "Write it without quotes."),
        ("tls = true", 'tls = "yes"', ""),
        ('awg = "12"', "awg = true", ""),
        ('awg = "12"', "awg = 5", ""),
        ('awg = "12"', 'awg = "13"', "Did you mean 12 or 14?"),
        ('awg = "12"', 'awg = "7"', "Did you mean 6 or 8?"),
        ('awg = "12"', 'awg = "9999"', ""),
        ('awg = "12"', 'awg = "2.5"', ""),
        ('id = "A1"', "id = 3", 'Write it in quotes: "3".'),
        ('label = "Mast lights"', "label = 12.5", 'Write it in quotes: "12.5".'),
        ('host = "127.0.0.1"', "host = 12", 'Write it in quotes: "12".'),
        ("rating_a = 125", 'rating_a = "15A"', "Write the number alone: 15."),
        ("rating_a = 125", 'rating_a = "15 kA"', "Write a number alone, in a, and without quotes."),
        ("length_m = 4.5", 'length_m = "12 m"', "Write the number alone: 12."),
        ("length_m = 4.5", 'length_m = "12,5 m"', "Write the number alone: 12.5."),
        ("length_m = 4.5", 'length_m = "1,250"', ""),
        ("watts = 52", 'watts = "52 W"', "Write the number alone: 52."),
        ("usable = 0.85", 'usable = "85 %"', "Write a number alone, without a unit, and without quotes."),
        ("always_draws_w = 1.4", "always_draws_w = -1", ""),
        ('["06:00-22:00"]', '"06:00-22:00"', 'Write it in brackets: ["06:00-22:00"].'),
    ],
)
def test_the_remedy_says_what_to_write(old: str, new: str, remedy: str) -> None:
    assert remedy in [fault.remedy for fault in faults(swapped(old, new)[0])]


MISSING = (
    ('name = "Survey van"\n', "vehicle.name", "[vehicle]"),
    ('dialect = "plain"\n', "monitor dc-panel dialect", '[[monitor]]\nname = "dc-panel"'),
    ('topic = "van/dc/{circuit}/{quantity}"\n', "monitor dc-panel topic", '[[monitor]]\nname = "dc-panel"'),
    ('kind = "ac"\n', "supply inverter kind", "[supply.inverter]"),
    ("nominal_v = 230\n", "supply inverter nominal_v", "[supply.inverter]"),
    ('label = "Mast lights"\n', "circuit D5 label", '[[circuit]]\nid = "D5"'),
    ('feeder = "rear"\n', "circuit D5 supply", '[[circuit]]\nid = "D5"'),
    ('monitor = "rear-panel"\n', "circuit D5 monitor", '[[circuit]]\nid = "D5"'),
    ('feed = "always-on"\n', "circuit D1 feed", '[[circuit]]\nid = "D1"'),
    (
        '[circuit.protection]\nkind = "bolt-fuse"\nrating_a = 125\nbreaking_a = 5000\n',
        "circuit D9 protection",
        '[[circuit]]\nid = "D9"',
    ),
    ('username = "panelward"\n', "broker.username", "[broker]"),
    ('key_file = "/etc/panelward/van.key"\n', "broker.key_file", "[broker]"),
    ("cutoff_v = 11.6\n", "supply house cutoff_v", "[supply.house]\n"),
)


@pytest.mark.parametrize(("part", "key", "header"), MISSING, ids=lambda value: str(value)[:40])
def test_a_missing_key_is_named_at_the_head_of_its_table(part: str, key: str, header: str) -> None:
    text, _ = swapped(part, "")
    found = faults(text)
    assert {(fault.key, fault.line, fault.found) for fault in found} == {(key, line_of(text, header), "nothing")}


def test_a_circuit_without_an_id_is_named_by_its_number() -> None:
    text, _ = swapped('id = "A1"\n', "")
    fault = only(text)
    assert fault.key == "circuit number 5 id"
    assert fault.line == line_of(text, '[[circuit]]\nlabel = "Bench outlet"')


def test_an_empty_schedule_wants_a_vehicle() -> None:
    fault = only("")
    assert (fault.key, fault.wanted, fault.found) == ("vehicle", "a table", "nothing")
    assert str(fault).startswith("van.toml: vehicle: wanted a table; found nothing")


def test_every_fault_is_found_at_once_in_the_order_of_the_file() -> None:
    text = WHOLE
    for old, new in (
        ('dialect = "plain"', 'dialect = "sparkplug-b"'),
        ("nominal_v = 230", "nominal_v = -230"),
        ('supply = "house"\nbehind = []', 'supply = "hose"\nbehind = ["nowhere"]'),
        ("watts = 52", "wats = 52"),
        ('feeder = "rear"', 'feeder = "raer"'),
        ('id = "A1"', 'id = "D9"'),
    ):
        text, _ = swapped(old, new, text)
    found = [(fault.line, fault.key) for fault in faults(text)]
    assert found == [
        (line_of(text, "sparkplug-b"), "monitor dc-panel dialect"),
        (line_of(text, "-230"), "supply inverter nominal_v"),
        (line_of(text, '"hose"'), "circuit D1 supply"),
        (line_of(text, '["nowhere"]'), "circuit D1 behind[1]"),
        (line_of(text, "[[circuit.load.levels]]"), "circuit D1 load.levels[1].watts"),
        (line_of(text, "wats"), "circuit D1 load.levels[1].wats"),
        (line_of(text, '"raer"'), "circuit D5 feeder"),
        (line_of(text, 'id = "D9"\nlabel = "Bench outlet"'), "circuit D9 id"),
    ]
    assert str(faults(text)[2]) in str(ScheduleError(faults(text)))


def test_a_circuit_twice_names_the_line_of_the_first() -> None:
    text, line = swapped('id = "D5"', 'id = "D1"')
    fault = only(text)
    assert (fault.key, fault.line) == ("circuit D1 id", line)
    first = line_of(text, 'id = "D1"\nlabel = "Sample')
    assert fault.found == f'"D1", also on line {first}'


@pytest.mark.parametrize("bad", ["D/5", "D+5", "D#5", "D 5", "Dø", "D.5"])
def test_ids_fit_into_a_topic(bad: str) -> None:
    """OASIS MQTT 5.0 section 4.7: "/", "+" and "#" have a meaning of their own in topics."""
    fault = only(swapped('id = "D5"', f'id = "{bad}"')[0])
    assert fault.key == f"circuit {bad} id"
    assert "letters, digits, - and _ only" in fault.wanted
    supply = faults(WHOLE + f'[supply."{bad}"]\nkind = "dc"\nnominal_v = 12\n')
    assert [(f.key, f.found) for f in supply] == [(f"supply {bad}", f'"{bad}"')]


@pytest.mark.parametrize(
    ("text", "key", "wanted", "remedy"),
    [
        ("supply = 3", "supply", "a table", "Write it as [supply.name], with a name of yours."),
        ('[feeder]\nrear = "house"', "feeder rear", "a table", "Write it as [feeder.name], with a name of yours."),
        ("supply.house.battery = 3", "supply house battery", "a table", ""),
        ("circuit = 3", "circuit", "an array of tables", "Write it as [[circuit]], with two brackets."),
        ("circuit = [3]", "circuit number 1", "a table", ""),
        ('circuit = [{ load = 3 }]', "circuit number 1 load", "a table or an array of tables", ""),
        ("circuit = [{ conductor = [3] }]", "circuit number 1 conductor[1]", "a table", ""),
        ('circuit = [{ load = { levels = 3 } }]', "circuit number 1 load.levels", "an array of tables", ""),
        ('circuit = [{ behind = 3 }]', "circuit number 1 behind", "an array of texts", ""),
        ('[supply.house]\nkind = "dc"\nnominal_v = 12\nfault_a = {}', "supply house fault_a", "min, max or both", ""),
    ],
)  # fmt: skip
def test_a_wrong_shape_says_how_to_write_it(text: str, key: str, wanted: str, remedy: str) -> None:
    assert (key, wanted, remedy) in [(fault.key, fault.wanted, fault.remedy) for fault in faults(text)]


def test_what_is_just_within_its_bounds_is_taken() -> None:
    text = WHOLE
    for old, new in (
        ("port = 8883", "port = 65535"),
        ("usable = 0.85", "usable = 1"),
        ("capacity_ah = 200", "capacity_ah = 1000000"),
        ("min = 900", "min = 3000"),
        ("low = 0.15", "low = 0"),
        ("high = 0.65", "high = 1"),
        ("times = 3.0", "times = 1"),
        ("tolerance = 0.25", "tolerance = 0"),
        ("insulation_c = 105", "insulation_c = 60"),
        ("scale = 0.001", "scale = -1e12"),
        ('label = "Mast lights"', f'label = "{"x" * 80}"'),
    ):
        text, _ = swapped(old, new, text)
    parse(text, "van.toml")
    only_max, _ = swapped("min = 900\n", "")
    assert parse(only_max, "van.toml").supply("house").fault_min_a is None
    only_min, _ = swapped("max = 3000\n", "")
    assert parse(only_min, "van.toml").supply("house").fault_min_a == 900


def test_a_duty_that_is_no_span() -> None:
    fault = only(swapped("low = 0.15", "low = 0.65")[0])
    assert (fault.key, fault.wanted, fault.found) == ("circuit D1 load.duty", "low below high", "low 0.65, high 0.65")


def test_a_long_text_is_shown_cut() -> None:
    assert only(swapped('feeder = "rear"', f'feeder = "{"x" * 61}"')[0]).found == f'"{"x" * 59}…"'
    assert only(swapped('feeder = "rear"', f'feeder = "{"x" * 60}"')[0]).found == f'"{"x" * 60}"'


def test_of_many_names_the_first_are_listed() -> None:
    more = "".join(f'[feeder.f{number}]\nsupply = "house"\n' for number in range(20))
    fault = only(swapped('feeder = "rear"', 'feeder = "xyz"')[0] + more)
    assert fault.wanted.startswith("the id of a feeder (rear, f0, f1, f2,")
    assert fault.wanted.endswith(" and 9 more)")


def test_a_password_is_refused_and_never_shown() -> None:
    fault = only(swapped('username = "panelward"', 'username = "panelward"\npassword = "hunter2"')[0])
    assert fault.key == "broker.password"
    assert "password_file" in fault.remedy
    assert "hunter2" not in str(fault)


def test_tls_files_without_tls_would_be_sent_in_clear() -> None:
    found = faults(swapped("tls = true\n", "")[0])
    assert {fault.key for fault in found} == {"broker.tls"}
    assert [fault.wanted for fault in found] == [f"tls = true beside {key}" for key in ("ca_file", "cert_file", "key_file")]


def test_two_levels_of_one_name_and_two_monitors_of_one_name() -> None:
    again = '[[circuit.load.levels]]\nname = "compressor"\nwatts = 20\n[circuit.load.duty]'
    assert only(swapped("[circuit.load.duty]", again)[0]).key == "circuit D1 load.levels[2].name"
    found = faults(swapped('name = "rear-panel"', 'name = "ac-panel"')[0])
    assert "also on line" in found[0].found
    assert found[0].key == "monitor ac-panel name"


def test_a_feeder_may_not_be_called_like_a_switch() -> None:
    found = only(WHOLE + '[feeder.ignition]\nsupply = "house"\n')
    assert found.key == "feeder ignition"


def test_a_name_from_which_no_id_can_be_made() -> None:
    text, _ = swapped('name = "Survey van"\nid = "survey-van"', 'name = "测量车"')
    fault = only(text)
    assert (fault.key, fault.found) == ("vehicle.id", "nothing")


def test_json_needs_fields_and_the_others_have_none() -> None:
    start, end = WHOLE.index("[monitor.fields.volts]"), WHOLE.index('[[monitor]]\nname = "rear-panel"')
    fault = only(WHOLE[:start] + WHOLE[end:])
    assert (fault.key, fault.found) == ("monitor ac-panel fields", "nothing")
    time = WHOLE.index("[monitor.fields.time]")
    assert "at least one of volts" in only(WHOLE[:start] + WHOLE[time:]).wanted
    assert only(swapped('dialect = "json"', 'dialect = "senml"')[0]).key == "monitor ac-panel fields"
    found = {fault.key for fault in faults(swapped('dialect = "senml"', 'dialect = "plain"')[0])}
    assert "monitor rear-panel record_name" in found


def test_a_supply_that_feeds_itself_is_a_loop() -> None:
    text, line = swapped('fed_by = "D9"', 'fed_by = "A1"')
    fault = only(text)
    assert (fault.key, fault.line) == ("supply inverter fed_by", line)
    assert fault.found == "a loop: inverter from circuit A1 from inverter"
    text, _ = swapped('presence = "always"', 'presence = "always"\nfed_by = "A1"')
    fault = only(text)
    assert fault.found == "a loop: house from circuit A1 from inverter from circuit D9 from house"


def test_feeders_behind_each_other_are_a_loop() -> None:
    text, _ = swapped('behind = ["disconnect"]', 'behind = ["front"]')
    text += '[feeder.front]\nsupply = "house"\nbehind = ["isolator", "rear"]\n'
    fault = only(text)
    assert (fault.key, fault.found) == ("feeder rear behind", "a loop: rear behind front behind rear")
    straight, _ = swapped('behind = ["disconnect"]', 'behind = ["front"]')
    parse(straight + '[feeder.front]\nsupply = "house"\n', "van.toml")


@pytest.mark.parametrize("text", ["[vehicle]\nname = 'a'\nx == 1", "[vehicle]\r\nname = 'a'\r\nx == 1"])
def test_bad_toml_has_the_line_of_tomllib(text: str) -> None:
    with pytest.raises(tomllib.TOMLDecodeError, match="line 3"):
        tomllib.loads(text)
    fault = only(text)
    assert (fault.line, fault.wanted, fault.found) == (3, "TOML", "Invalid value")
    assert "mistyped" in fault.remedy


def test_toml_that_ends_too_soon_has_the_last_line() -> None:
    assert only('[vehicle]\nname = "a').line == 2


@pytest.mark.parametrize("text", ["a = " + "[" * 5000 + "]" * 5000, "a = 1" + "0" * 5000])
def test_absurd_toml_is_a_fault_too(text: str) -> None:
    assert only(text).file == "van.toml"


def test_filters_are_those_of_the_standard() -> None:
    """OASIS MQTT 5.0 section 4.7: the examples of valid and invalid filters."""
    rows = tomllib.loads((REFERENCE / "mqtt_topics.toml").read_text())["filters"]["filters"]
    assert len(rows) >= 10
    for row in rows:
        assert filter_is_valid(row["f"]) is row["valid"], row
    assert filter_is_valid("a" * 65535)
    assert not filter_is_valid("a" * 65536)
    assert filter_is_valid("$share/watchers/van/+")  # section 4.8.2
    assert not filter_is_valid("$share/watch+ers/van/+")
    assert not filter_is_valid("$share/watchers/")
    assert not filter_is_valid("$share")


@pytest.mark.parametrize(
    ("key", "remedy"),
    [
        ('fed_by = "D5"', "It belongs under [supply.X], X being the supply that this circuit feeds."),
        ("cutoff_v = 11.6", "It belongs under [supply.X], X being the supply's id."),
        ("rating_a = 15", "It belongs in the circuit's protection."),
        ("length_m = 4", "It belongs in the circuit's conductor."),
        ('longest_run = "3h"', "It belongs in the circuit's load."),
    ],
)
def test_a_key_in_a_circuit_that_belongs_elsewhere(key: str, remedy: str) -> None:
    assert only(swapped('id = "A1"', f'id = "A1"\n{key}')[0]).remedy == remedy


@pytest.mark.parametrize(
    ("old", "new", "meant"),
    [
        ("[feeder.rear]", "[feder.rear]", "feeder"),
        ('[[probe]]\nid = "T1"', '[[prob]]\nid = "T1"', "probe"),
        ("[vehicle]", "[vehicel]", "vehicle"),
        ("[broker]", "[brocker]", "broker"),
    ],
)
def test_a_misspelt_table_is_the_only_fault(old: str, new: str, meant: str) -> None:
    text = WHOLE.replace(old, new).replace(f"{old[:-1]}.", f"{new[:-1]}.")
    assert only(text).remedy == f"Did you mean {meant}?"


def test_what_stands_under_a_misspelt_table_may_be_named() -> None:
    for name, other in (("supply", "suply"), ("monitor", "moniter"), ("circuit", "circit")):
        text = re.sub(rf"(?m)^(\[+){name}(?=[.\]])", rf"\g<1>{other}", WHOLE)
        assert only(text).remedy == f"Did you mean {name}?"
    text = WHOLE.replace("[supply.inverter", "[suply.inverter")
    assert only(text).found == 'the unknown key "suply"'
    stray = faults(text.replace('supply = "inverter"', 'supply = "invertor"'))
    assert [fault.found for fault in stray] == ['the unknown key "suply"', '"invertor"']


SLIPS = (
    ("awg = 4/0", 1, "4/0 without quotes", 'Put it in quotes: "4/0".'),
    ("p = { awg = 2/0, length_m = 3 }", 1, "2/0 without quotes", 'Put it in quotes: "2/0".'),
    ("awg = 00 # thick", 1, "00 without quotes", 'Put it in quotes: "00".'),
    ("x = 1\nlength_m = 24,5", 2, "24,5", "Write a point: 24.5."),
    ("p = { length_m = 24,5, awg = 3 }", 1, "24,5", "Write a point: 24.5."),
    ("rating_a = 1,000", 1, "1,000", "Write a point before decimals, and nothing between thousands."),
    ("length_m = 12 m", 1, "12 m", "Write the number alone, in the unit that the key ends with."),
    ('x = 1\nlabel = "Pump\ny = 2\n', 2, "a quotation mark without its other one", "Put the missing quotation mark"),
    ('label = "Pump', 1, "a quotation mark without its other one", "Put the missing quotation mark"),
    ("x = 1\nlabel = 'Pump\n", 2, "a quotation mark without its other one", "Put the missing quotation mark"),
    ('label = Pump"', 1, "a quotation mark without its other one", "Put the missing quotation mark"),
    ('p = { a = "b, c = "d" }', 1, "a quotation mark without its other one", "Put the missing quotation mark"),
    ("label = “Pump”", 1, "curly quotes", 'Write straight quotes: "…".'),
    ("kind = dc", 1, "dc without quotes", 'Put it in quotes: "dc".'),
    ("tls = True", 1, "True", "Write it in small letters: true."),
    ('[circuit]\nid = "a"\n[circuit]', 3, "[circuit] once more", "Write each as [[circuit]], with two brackets."),
    ('[[circuit]]\nid = "a"\n[circuit]', 3, "[circuit] once more", "Write each as [[circuit]], with two brackets."),
    ('[circuit]\nid = "a"\n[[circuit]]', 3, "[circuit] on line 1", "Write that too as [[circuit]], with two brackets."),
    ("[[circuit]]\n[circuit.load]\n[circuit.load]", 3, "[circuit.load] once more", "Is [[circuit]] missing above it?"),
    ("[supply.house]\n[supply.house]", 2, "[supply.house] once more", "Put all its keys under one header."),
    ('[[circuit]]\nid = "a"\nid = "b"', 3, "id once more in one table", "Leave one of them out."),
    ("p = { a = 1, a = 2 }", 1, "Duplicate inline table key 'a'", "Leave one of the two out."),
    ('label = """Pump\nx = 1', 2, "Unterminated string", "mistyped"),
    ('label = "the “old” pump" x', 1, "Expected newline", "mistyped"),
    ('x = "a" # say "hi\ny = ', 2, "Invalid value", "mistyped"),
)


@pytest.mark.parametrize(("text", "line", "found", "remedy"), SLIPS, ids=lambda value: str(value)[:30])
def test_a_slip_of_the_keyboard_is_named_with_its_remedy(text: str, line: int, found: str, remedy: str) -> None:
    fault = only(text)
    assert (fault.line, fault.wanted) == (line, "TOML")
    assert fault.found.startswith(found)
    assert remedy in fault.remedy


@pytest.mark.parametrize(
    "content",
    [b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", b"\x1f\x8b\x08\xff\x02\x03\x91", b"[vehicle]\0"],
    ids=["image", "archive", "nul"],
)
def test_a_binary_file_is_no_schedule(content: bytes, tmp_path: Path) -> None:
    fault = in_file(content, tmp_path)
    assert (fault.line, fault.wanted, fault.found) == (None, "text", "a binary file")
    assert "UTF-8" not in fault.remedy


def test_text_of_another_encoding_is_saved_as_utf8(tmp_path: Path) -> None:
    assert in_file(WHOLE.encode("utf-16"), tmp_path).remedy == "Save the file as UTF-8."
    assert in_file("x = 'Fusé'".encode("latin-1"), tmp_path).remedy == "Save the file as UTF-8."


def test_a_folder_is_no_schedule(tmp_path: Path) -> None:
    with pytest.raises(ScheduleError) as caught:
        load(tmp_path)
    assert [fault.found for fault in caught.value.faults] == ["a folder"]


def in_file(content: bytes, folder: Path) -> Fault:
    file = folder / "van.toml"
    file.write_bytes(content)
    with pytest.raises(ScheduleError) as caught:
        load(file)
    (fault,) = caught.value.faults
    return fault


def test_a_fault_current_is_a_table() -> None:
    found = faults('[vehicle]\nname = "a"\n[supply.house]\nkind = "dc"\nnominal_v = 12\nfault_a = 3000\n')
    assert [fault.remedy for fault in found] == ["Write it as a table, like fault_a = { min = 600, max = 950 }."]
