"""The draft is a schedule that lacks what a person must write, and invents nothing."""

from __future__ import annotations

import re
import tomllib

import pytest

from listen.voices import T0, garbage, objects, on_change, packs, plain
from panelward.errors import ScheduleError
from panelward.listen import Heard, draft, find, report
from panelward.records import Broker
from panelward.schedule import parse

BROKER = Broker(host="192.0.2.7", port=8883, username="eva", password_file="p", tls=True, ca_file='c"\\a')
MANY = [
    *plain(), *plain(root="van/ac", ways=("A1",), seed=7), *garbage(), *packs(ways=("S1", "S2")),
    *(Heard(T0 + n * 2000, "van/dc/T1/celsius", b"20.1") for n in range(20)),
    *(Heard(T0 + n * 2000, "van/dc/SH/amps", f"{-3.2 - n}".encode()) for n in range(20)),
]  # fmt: skip
VOICES = {"plain": plain(), "json": objects(), "senml": packs(), "on-change": on_change(), "many": MANY}


def asked(text: str) -> list[str]:
    """What `check` asks for; all of it for want of something, none for what stands there."""
    with pytest.raises(ScheduleError) as error:
        parse(text, "draft.toml")
    assert {fault.found for fault in error.value.faults} == {"nothing"}, error.value
    return [fault.key for fault in error.value.faults]


@pytest.mark.parametrize("name", VOICES)
def test_check_reads_it_and_names_what_is_missing(name: str) -> None:
    findings = find(VOICES[name])
    keys = asked(draft(findings, BROKER))
    circuits = [c for m in findings.monitors for c in m.circuits]
    for circuit in circuits:
        if circuit.is_probe:
            assert f"probe {circuit.id} where" in keys
        else:
            assert f"circuit {circuit.id} feed" in keys
            assert f"circuit {circuit.id} protection" in keys


@pytest.mark.parametrize("name", VOICES)
def test_nothing_that_matters_for_safety_is_invented(name: str) -> None:
    raw = tomllib.loads(draft(find(VOICES[name]), BROKER))
    for circuit in raw["circuit"]:
        assert set(circuit) <= {"id", "label", "monitor", "supply"}
        assert circuit["label"] == circuit["id"]
    for probe in raw.get("probe", []):
        assert set(probe) <= {"id", "monitor"}
    assert all(supply == {} for supply in raw.get("supply", {}).values())
    assert set(raw) <= {"vehicle", "broker", "monitor", "supply", "circuit", "probe"}
    for monitor in raw["monitor"]:
        assert set(monitor.get("sense", {})) <= {"resolution_a", "publishes"}


@pytest.mark.parametrize("name", VOICES)
def test_filled_in_as_its_comments_say_it_is_a_schedule(name: str) -> None:
    text = draft(find(VOICES[name]), BROKER)
    for asks, fill in (
        (r'# kind = "\.\.\."  # fill in: dc or ac', 'kind = "dc"'),
        (r"# nominal_v = \.\.\.", "nominal_v = 12"),
        (r'# feed = "\.\.\."', 'feed = "switched"'),
        (r'# protection = \{ kind = "\.\.\.", rating_a = \.\.\. \}', 'protection = { kind = "glass-fuse", rating_a = 5 }'),
        (r'# load = \{ kind = "\.\.\." \}', 'load = { kind = "light" }'),
        (r'# where = "\.\.\."', 'where = "panel"'),
    ):
        text = re.sub(asks, fill, text)
    if '# supply = "..."' in text:
        first = re.search(r"\[supply\.([a-z0-9-]+)\]", text)
        text = text.replace('# supply = "..."', f'supply = "{first[1] if first else "any"}"')
        text += "" if first else '\n[supply.any]\nkind = "dc"\nnominal_v = 12\n'
    schedule = parse(text, "draft.toml")
    findings = find(VOICES[name])
    assert schedule.broker == BROKER
    assert {c.id for c in (*schedule.circuits, *schedule.probes)} == {c.id for m in findings.monitors for c in m.circuits}
    for monitor, found in zip(schedule.monitors, findings.monitors, strict=True):
        assert (monitor.topic, monitor.fields, monitor.record_name) == (
            found.monitor.topic, found.monitor.fields, found.monitor.record_name,
        )  # fmt: skip
        assert monitor.expect_every_s == (found.every_s or 5.0)


def test_amps_below_nothing_are_asked_about_and_zeros_noise_is_not() -> None:
    heard = [*plain(), *(Heard(T0 + n * 2000, "van/dc/D9/amps", (b"0", b"-0.01")[n % 2]) for n in range(20))]
    heard += [Heard(T0 + n * 2000, "van/dc/SH/amps", f"{-3.2 - n}".encode()) for n in range(20)]
    findings = find(heard)
    assert findings.monitors[0].flows_back == ("SH",)
    blocks = draft(findings, BROKER).split("[[circuit]]")
    assert ['id = "SH"' in block for block in blocks if "amps went below nothing" in block] == [True]


def test_volts_far_apart_are_of_two_buses_and_none_is_named_dc_or_ac() -> None:
    mains = [Heard(T0 + n * 2000, "van/dc/A1/volts", b"231.5") for n in range(20)]
    dead = [Heard(T0 + n * 2000, "van/dc/D8/volts", b"0.02") for n in range(20)]
    raw = tomllib.loads(draft(find([*plain(), *mains, *dead]), BROKER))
    of = {circuit["id"]: circuit.get("supply") for circuit in raw["circuit"]}
    assert (of["D1"], of["D10"], of["A1"], of["D8"]) == ("bus-13v", "bus-13v", "bus-232v", None)


def test_at_a_terminal_of_eighty_columns() -> None:
    lines = "\n".join(report(find(MANY))).split("\n")
    assert max(len(line) for line in lines) <= 80
    assert all(line.isprintable() for line in lines)
    text = "\n".join(lines)
    assert "van/dc/{circuit}/{quantity}" in text
    assert "below nothing at SH" in text
    assert "\\x1b[31mred" in text


def test_nothing_heard_is_a_table_of_nothing() -> None:
    findings = find([])
    assert (findings.span_s, findings.messages, findings.monitors) == (0.0, 0, ())
    assert list(report(findings)) == ["Heard for 0 s: 0 messages on 0 topics."]
