"""What is found out of what invented monitors say, each form with its look-alike."""

from __future__ import annotations

import json
import tomllib

import pytest

from listen.voices import T0, WAYS, garbage, objects, on_change, packs, plain
from panelward.listen import Findings, FoundMonitor, Heard, Kept, draft, find, proved
from panelward.listen.heard import HEAD, LONGEST_PAYLOAD, MOST_MESSAGES, MOST_OF_A_TOPIC, MOST_TOPICS
from panelward.records import Broker, Pointer

BROKER = Broker(host="192.0.2.7")  # RFC 5737: an address of documentation


def at(pointer: str, scale: float = 1.0) -> Pointer:
    return Pointer(pointer=pointer, scale=scale)


def only(findings: Findings) -> FoundMonitor:
    assert len(findings.monitors) == 1, findings
    return findings.monitors[0]


def ids(found: FoundMonitor) -> list[str]:
    return [circuit.id for circuit in found.circuits]


def whys(findings: Findings) -> str:
    return "; ".join(each.why for each in findings.unread)


def test_a_number_a_topic() -> None:
    heard = plain()
    found = only(find(heard))
    assert (found.monitor.dialect, found.monitor.topic) == ("plain", "van/dc/{circuit}/{quantity}")
    assert ids(found) == list(WAYS)
    assert (found.every_s, found.resolution_a, found.publishes) == (2.0, 0.01, "always")
    assert found.circuits[0].quantities == ("volts", "amps", "watts")
    amps = [float(h.payload) for h in heard if h.topic == "van/dc/D1/amps"]
    assert found.circuits[0].amps == (min(amps), max(amps))
    assert (found.understood, found.refused, found.doubts) == (len(heard), 0, ())


def test_a_temperature_alone_is_a_probe() -> None:
    heard = plain() + [Heard(T0 + n * 2000, "van/dc/T1/celsius", b"21.5") for n in range(20)]
    found = only(find(heard))
    assert [c.id for c in found.circuits if c.is_probe] == ["T1"]
    assert tomllib.loads(draft(find(heard), BROKER))["probe"] == [{"id": "T1"}]


@pytest.mark.parametrize(
    ("given", "fields"),
    [
        ({}, {"volts": at("/u"), "amps": at("/i"), "watts": at("/p")}),
        ({"keys": ("voltage", "current")}, {"volts": at("/voltage"), "amps": at("/current")}),
        (
            {"keys": ("u_mV", "loadCurrent_mA"), "thousandths": True},
            {"volts": at("/u_mV", 0.001), "amps": at("/loadCurrent_mA", 0.001)},
        ),
        (
            {"thousandths": True},
            {"volts": at("/u", 0.001), "amps": at("/i", 0.001), "watts": at("/p", 0.001)},
        ),
        (
            {"keys": ("a/b~volts", "i")},
            {"volts": at("/a~1b~0volts"), "amps": at("/i")},  # RFC 6901 section 3
        ),
        (
            {"more": {"switch": "on", "current_max": 40, "temp_c": 31.5, "name": "pump", "set": {"current": 3}}},
            {
                "volts": at("/u"), "amps": at("/i"), "watts": at("/p"), "closed": at("/switch"),
                "celsius": at("/temp_c"),
            },
        ),
    ],
    ids=["short", "words", "units in names", "thousandths by watts", "escaped", "other members"],
)  # fmt: skip
def test_an_object_a_circuit(given: dict[str, object], fields: dict[str, Pointer]) -> None:
    heard = objects(**given)  # type: ignore[arg-type]
    found = only(find(heard))
    assert (found.monitor.dialect, found.monitor.topic) == ("json", "cabin/{circuit}")
    assert dict(found.monitor.fields) == fields
    assert ids(found) == list(WAYS)
    assert (found.every_s, found.publishes, found.understood) == (5.0, "always", len(heard))
    assert all(12.0 < (c.usual_v or 0) < 14.0 and c.amps is not None and c.amps[1] < 10.0 for c in found.circuits)


def test_a_likely_scale_says_why_and_an_unlikely_one_is_only_asked_about() -> None:
    found = only(find(objects(thousandths=True, keys=("u", "i"))))
    assert dict(found.monitor.fields)["amps"].scale == 0.001
    assert "beyond any way" in dict(found.scales)["amps"]
    whole = [Heard(T0 + n * 5000, f"cabin/{way}", json.dumps({"i": 40 + n}).encode()) for n in range(9) for way in WAYS]
    found = only(find(whole))
    assert dict(found.monitor.fields)["amps"].scale == 1.0
    assert "clamp meter" in found.doubts[-1]
    twelve = [h._replace(payload=json.dumps({"u": 12890 + n}).encode()) for n, h in enumerate(objects())]
    found = only(find(twelve))
    assert dict(found.monitor.fields)["volts"].scale == 0.001
    assert "12.9 V or 129 V" in found.doubts[-1] or "12.91 V or 129.1 V" in found.doubts[-1]


def test_a_messages_own_time_is_found() -> None:
    found = only(find(objects(time_key="ts")))
    assert found.monitor.time_field == at("/ts", 0.001)
    found = only(find(objects(more={"ts": 4711})))
    assert found.monitor.time_field is None


def test_two_members_that_may_be_the_same_quantity_are_both_named_and_neither_taken() -> None:
    found = only(find(objects(keys=("battery_volts", "i"), more={"solar_volts": 18.0})))
    assert dict(found.monitor.fields) == {"amps": at("/i")}
    assert "/battery_volts or /solar_volts" in found.doubts[0]


def test_senml_with_the_circuit_in_the_records() -> None:
    heard = packs()
    found = only(find(heard))
    assert (found.monitor.dialect, found.monitor.topic) == ("senml", "plant/panel")
    assert found.monitor.record_name == "urn:dev:{circuit}:{quantity}"
    assert ids(found) == list(WAYS)
    assert (found.every_s, found.resolution_a, found.understood) == (5.0, 0.01, len(heard))


def test_senml_with_the_circuit_in_the_topic() -> None:
    heard = [
        Heard(T0 + n * 1000, f"plant/{way}/senml", json.dumps([
            {"bn": f"urn:dev:mac:00{way}:", "n": "voltage", "u": "V", "v": 25.1}, {"n": "current", "u": "mA", "v": 900 + n},
        ]).encode())
        for n in range(9) for way in WAYS
    ]  # fmt: skip
    found = only(find(heard))
    assert (found.monitor.topic, found.monitor.record_name) == ("plant/{circuit}/senml", None)
    assert ids(found) == list(WAYS)
    assert found.circuits[0].amps == (0.9, 0.908)


def test_senml_without_units_is_read_by_its_own_words() -> None:
    heard = packs(words=("volts", "amps"))
    bare = [h._replace(payload=h.payload.replace(b'"u": "V", ', b"").replace(b'"u": "A", ', b"")) for h in heard]
    assert b'"u"' not in bare[0].payload
    found = only(find(bare))
    assert found.monitor.record_name == "urn:dev:{circuit}:{quantity}"
    assert found.circuits[0].quantities == ("volts", "amps")


def test_on_change_and_what_only_looks_like_it() -> None:
    found = only(find(on_change()))
    assert (found.publishes, found.every_s) == ("on-change", None)
    text = draft(find(on_change()), BROKER)
    assert tomllib.loads(text)["monitor"][0]["sense"]["publishes"] == "on-change"
    assert "expect_every_s" not in tomllib.loads(text)["monitor"][0]
    # A new value each time, but evenly; and uneven, but the same again and again.
    assert only(find(plain())).publishes == "always"
    uneven = [h._replace(payload=b"1.5") for h in on_change()]
    assert only(find(uneven)).publishes == "always"
    assert only(find(plain(seconds=4, ways=("D1",)))).publishes is None


def test_an_object_of_which_one_member_changed_was_sent_on_change() -> None:
    heard = [
        h._replace(topic=h.topic.removesuffix("/amps"), payload=b'{"u": 12.8, "i": ' + h.payload + b"}") for h in on_change()
    ]
    assert only(find(heard)).publishes == "on-change"


def test_members_that_may_mean_anything_are_left_or_asked_about() -> None:
    found = find(objects(keys=("p", "t", "h"), root="weather"))
    assert not found.monitors
    found = find(objects(keys=("u", "i"), more={"charge_state": 1}))
    assert "closed" not in dict(only(found).monitor.fields)
    found = find(objects(keys=("u", "i"), more={"state": 1}))
    assert dict(only(found).monitor.fields)["closed"] == at("/state")
    assert "Closed is taken from /state" in only(found).doubts[0]


def test_the_longest_period_of_a_monitor_is_written() -> None:
    heard = plain(seconds=60) + plain(seconds=60, ways=("D7",), period_s=10.0)
    found = only(find(heard))
    assert found.every_s == 10.0
    assert {c.id: c.every_s for c in found.circuits} == {"D1": 2.0, "D2": 2.0, "D3": 2.0, "D7": 10.0, "D10": 2.0}
    assert "D1 every 2 s" in draft(find(heard), BROKER)


def test_two_monitors_on_one_broker() -> None:
    heard = plain() + plain(root="van/ac", ways=("A1", "A2"), period_s=5.0) + objects() + packs(ways=("S1", "S2"))
    findings = find([h._replace(topic=h.topic.replace("cabin/D", "cabin/J")) for h in heard])
    assert [m.monitor.topic for m in findings.monitors] == [
        "cabin/{circuit}", "van/dc/{circuit}/{quantity}", "plant/panel", "van/ac/{circuit}/{quantity}",
    ]  # fmt: skip
    assert [m.every_s for m in findings.monitors] == [5.0, 2.0, 5.0, 5.0]
    assert all(m.understood == m.messages and not m.doubts for m in findings.monitors)
    names = {table["id"]: table["monitor"] for table in tomllib.loads(draft(findings, BROKER))["circuit"]}
    assert names["A1"] == "van-ac"
    assert names["D1"] == "van-dc"


def test_ids_that_two_monitors_share_are_drafted_once_and_said() -> None:
    heard = plain() + plain(root="van/ac", ways=("D1", "A1"), seed=9)
    findings = find(heard)
    assert [ids(m) for m in findings.monitors] == [list(WAYS), ["A1"]]
    assert "D1: published by van-dc too" in findings.monitors[1].doubts[-1]
    assert "stands once in a schedule" in whys(findings)
    assert "part 2 of the topic differs too (ac, dc)" in findings.monitors[0].doubts[0]


def test_one_circuit_alone_does_not_show_where_the_circuit_stands() -> None:
    found = only(find(plain(ways=("D1",))))
    assert found.monitor.topic == "van/dc/{circuit}/{quantity}"  # the part with a number, as ways have
    assert "only D1 was heard" in found.doubts[0]
    assert "Not certain: van/dc" in draft(find(plain(ways=("D1",))), BROKER)


def test_circuits_each_under_a_device_of_its_own() -> None:
    nodes = {way: f"node{n}" for n, way in enumerate(WAYS, 40)}
    heard = [h._replace(topic=f"van/{nodes[h.topic.split('/')[2]]}/{'/'.join(h.topic.split('/')[2:])}") for h in plain()]
    found = only(find(heard))
    assert found.monitor.topic == "van/+/{circuit}/{quantity}"
    assert found.understood == len(heard)
    assert "node40" in found.doubts[0]


STATE = "van/dc/state"


def test_a_retained_state_is_shown_and_its_other_word_asked_for() -> None:
    findings = find([*plain(), Heard(T0, STATE, b"ready", True)])
    state = only(findings).state
    assert state is not None
    assert (state.topic, state.texts, state.here, state.gone) == (STATE, ("ready",), "ready", None)
    text = draft(findings, BROKER)
    assert "will" not in tomllib.loads(text)["monitor"][0]
    assert f'# will = {{ topic = "{STATE}", gone = ..., here = "ready" }}' in text
    assert STATE not in [each.topic for each in findings.unread]


def test_both_words_are_written_where_readings_show_which_is_which() -> None:
    heard = [*plain(), Heard(T0, STATE, b"ready", True), Heard(T0 + 41_000, STATE, b"lost")]
    findings = find(heard, until_ms=T0 + 60_000)
    assert tomllib.loads(draft(findings, BROKER))["monitor"][0]["will"] == {"topic": STATE, "gone": "lost", "here": "ready"}
    # Its twin: said at the very end, so that no silence shows what it means.
    state = only(find(heard, until_ms=T0 + 41_500)).state
    assert state is not None
    assert (state.here, state.gone) == ("ready", None)


def test_a_circuits_own_text_is_not_the_monitors_state() -> None:
    findings = find([*plain(), Heard(T0, "van/dc/D1/state", b"ready", True)])
    assert only(findings).state is None
    assert "a text, no reading" in whys(findings)


def test_what_cant_be_read_is_said_with_what_would_be() -> None:
    heard = [
        *(Heard(T0 + n, f"van/D{n}/current", b"1.5") for n in range(3)),
        Heard(T0, "hut/panel", b'{"D1": {"i": 1.2, "u": 12}, "D2": {"i": 3, "u": 12.1}}'),
        Heard(T0, "van/x y/amps", b"2"),
        Heard(T0, "thing", b"7"),
    ]
    findings = find(heard)
    assert not findings.monitors
    said = whys(findings)
    assert "the topic says 'current': plain reads it only where it is called amps" in said
    assert "JSON with several circuits in one message" in said
    assert "may be its circuit is no id" in said
    assert "a bare number, and no part of the topic" in said


def test_among_garbage_the_same_is_found() -> None:
    clean, mixed = only(find(plain())), find([*plain(), *garbage()])
    assert only(mixed).circuits == clean.circuits
    assert only(mixed).monitor == clean.monitor
    assert (mixed.of_broker, mixed.own) == (1, 1)
    assert all(each.payload.isprintable() and len(each.payload) < 70 for each in mixed.unread)


def test_one_refused_payload_costs_no_circuit() -> None:
    heard = [*plain(), Heard(T0 + 5, "van/dc/D1/amps", b"\x00\xff"), Heard(T0 + 6, "van/dc/D2/amps", b"1e9")]
    findings = find(heard)
    assert (only(findings).understood, only(findings).refused) == (len(heard) - 2, 2)
    assert "no number, where a reading" in whys(findings)


def test_thousands_of_topics_stay_within_bounds_and_hide_nothing() -> None:
    kept = Kept()
    for n in range(6000):
        kept.add(Heard(T0 + n, f"flood/{n}/x{n}/amps", b"1"))
    for heard in plain():
        kept.add(heard)
    findings = find(kept.records())
    assert [m.monitor.topic for m in findings.monitors] == ["van/dc/{circuit}/{quantity}"]
    assert "more names at the place of the circuit than a panel has ways" in whys(findings)


def test_the_store_is_bounded() -> None:
    kept = Kept()
    for n in range(MOST_TOPICS + 50):
        kept.add(Heard(T0, f"t/{n}", b"1"))
    kept.add(Heard(T0, "x" * 600, b"1"))
    assert (kept.topics, kept.topics_not_kept) == (MOST_TOPICS, 51)
    for n in range(MOST_OF_A_TOPIC + 10):
        kept.add(Heard(T0 + n, "t/0", b"1"))
    kept.add(Heard(T0, "t/1", b"z" * (LONGEST_PAYLOAD + 1)))
    records = list(kept.records())
    assert sum(one.topic == "t/0" for one in records) == MOST_OF_A_TOPIC
    long = next(one for one in records if one.cut)
    assert (len(long.payload), long.size) == (HEAD, LONGEST_PAYLOAD + 1)
    assert kept.messages == len(records) + kept.not_kept
    assert len(records) < MOST_MESSAGES


def test_a_draft_reads_all_that_was_said_to_be_read() -> None:
    for heard in (plain(), objects(thousandths=True, time_key="t"), packs(), on_change(), plain() + garbage()):
        findings = find(heard)
        understood, readings = proved(draft(findings, BROKER), heard)
        assert understood == only(findings).understood
        assert readings >= understood
