"""Messages into Readings: dialects, times, origins; and everything that is no reading into a named refusal."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panelward.errors import PayloadRefused
from panelward.intake import Intake, Refusals
from panelward.records import Monitor, Pointer, Presence, Reading, Schedule, Will
from plans import PLAN, T0

WILL = Will(topic="van/state", gone="lost", here="ready")
PLAIN = replace(PLAN, monitors=(replace(PLAN.monitors[0], will=WILL),))


def with_monitor(**keys: object) -> Schedule:
    base: dict[str, object] = {"name": "dc", "dialect": "json", "topic": "van/{circuit}", "expect_every_s": 2}
    return replace(PLAN, monitors=(Monitor(**(base | keys)),))  # type: ignore[arg-type]


JSON = with_monitor(
    fields=(("amps", Pointer(pointer="/i", scale=0.001)), ("volts", Pointer(pointer="/u")), ("closed", Pointer(pointer="/on"))),
    time_field=Pointer(pointer="/ts", scale=0.001),
)
SENML = with_monitor(dialect="senml", topic="van/senml", record_name="urn:dev:{circuit}:{quantity}")


def one(schedule: Schedule, topic: str, payload: bytes, **keys: object) -> Reading:
    (reading,) = Intake(schedule).message(topic, payload, received_ms=T0, **keys)  # type: ignore[arg-type]
    assert isinstance(reading, Reading)
    return reading


@pytest.mark.parametrize(
    ("topic", "payload", "expected"),
    [
        ("van/D7/amps", b"3.21", {"amps": 3.21}),
        ("van/D7/volts", b" 12.81234567 ", {"volts": 12.8123}),
        ("van/D7/watts", b"-1.5e1", {"watts": -15.0}),
        ("van/D7/closed", b"ON", {"closed": True}),
        ("van/D7/commanded", b"0", {"commanded": False}),
        ("van/T1/celsius", b"21.5", {"celsius": 21.5}),
    ],
)
def test_plain(topic: str, payload: bytes, expected: dict[str, object]) -> None:
    circuit = topic.split("/")[1]
    assert one(PLAIN, topic, payload) == Reading(circuit, T0, T0)._replace(**expected)


def test_json_by_pointer_and_scale() -> None:
    payload = json.dumps({"i": 3214, "u": "13.02", "on": True, "ts": T0 - 1500}).encode()
    expected = Reading("D7", T0 - 1500, T0, volts=13.02, amps=3.214, closed=True)
    assert one(JSON, "van/D7", payload) == expected


def test_json_tells_what_is_missing_and_takes_what_is_there() -> None:
    assert one(JSON, "van/D7", b'{"i": 1000}').amps == 1.0
    with pytest.raises(PayloadRefused, match=r"nothing-found.*amps at /i"):
        one(JSON, "van/D7", b'{"j": 1000}')


def test_senml_with_several_circuits_and_times() -> None:
    pack = [
        {"bn": "urn:dev:D7:", "bt": T0 / 1000, "n": "amps", "u": "A", "v": 3.2},
        {"n": "volts", "u": "mV", "v": 13020},
        {"n": "amps", "u": "A", "t": -2, "v": 3.1},
        {"bn": "urn:dev:D1:", "n": "closed", "vb": True},
    ]
    got = Intake(SENML).message("van/senml", json.dumps(pack).encode(), received_ms=T0)
    assert got == (
        Reading("D7", T0 - 2000, T0, amps=3.1),
        Reading("D7", T0, T0, volts=13.02, amps=3.2),
        Reading("D1", T0, T0, closed=True),
    )


@pytest.mark.parametrize(
    ("late_ms", "used", "origin"),
    [(0, True, "live"), (59_000, True, "live"), (61_000, True, "backlog"), (86_400_000, True, "backlog"),
     (86_401_000, False, "live"), (-5_000, True, "live"), (-5_100, False, "live")],
)  # fmt: skip
def test_a_payloads_time_is_used_within_a_day_before_and_five_seconds_after(late_ms: int, used: bool, origin: str) -> None:
    reading = one(JSON, "van/D7", json.dumps({"i": 1, "ts": T0 - late_ms}).encode())
    assert (reading.time_ms, reading.origin) == (T0 - late_ms if used else T0, origin)


def test_a_payloads_time_is_not_used_while_the_clock_is_not_trusted() -> None:
    payload = json.dumps({"i": 1, "ts": T0 - 1000}).encode()
    assert one(JSON, "van/D7", payload, clock_trusted=False).time_ms == T0


def test_retained_is_known_for_what_it_is() -> None:
    assert one(PLAIN, "van/D7/amps", b"1", retained=True).origin == "retained"


def test_a_double_is_counted_and_nothing_else() -> None:
    intake = Intake(JSON)
    payload = json.dumps({"i": 1, "ts": T0 - 1000}).encode()
    assert len(intake.message("van/D7", payload, received_ms=T0)) == 1
    assert intake.message("van/D7", payload, received_ms=T0 + 5) == ()
    assert len(intake.message("van/D7", b'{"i": 1}', received_ms=T0 + 6)) == 1
    assert intake.message("van/D7", b'{"i": 1}', received_ms=T0 + 7, dup=True) == ()
    assert intake.duplicates == 2
    plain = Intake(PLAIN)
    for _ in range(3):  # equal numbers without a time of their own are readings like any other
        assert len(plain.message("van/D7/amps", b"1", received_ms=T0)) == 1
    assert plain.message("van/D7/amps", b"1", received_ms=T0, dup=True) == ()
    assert plain.duplicates == 1


def test_delivered_again_but_never_heard_it_is_a_reading() -> None:
    """MQTT 5.0 section 3.3.1.1: DUP says that it was sent before, not that it arrived."""
    for schedule, topic, payload in ((PLAIN, "van/D7/closed", b"0"), (JSON, "van/D7", b'{"on": false}')):
        intake = Intake(schedule)
        intake.message(topic, payload.replace(b"0", b"1").replace(b"false", b"true"), received_ms=T0)
        (reading,) = intake.message(topic, payload, received_ms=T0 + 5, dup=True)
        assert isinstance(reading, Reading)
        assert reading.closed is False
        assert intake.duplicates == 0


def test_a_bad_value_beside_a_good_one_is_counted_and_the_good_one_taken() -> None:
    refusals = Refusals()
    intake = Intake(JSON, refusals)
    (reading,) = intake.message("van/D7", b'{"i": 3000, "u": "n/a"}', received_ms=T0)
    assert reading == Reading("D7", T0, T0, amps=3.0)
    assert refusals.counts == {"not-a-number": 1}


def test_a_circuit_that_is_not_ours_in_a_pack_does_not_hide_the_others() -> None:
    pack = [{"n": "urn:dev:D99:amps", "u": "A", "v": 1}, {"n": "urn:dev:D7:amps", "u": "A", "v": 3.2}]
    intake = Intake(SENML)
    assert intake.message("van/senml", json.dumps(pack).encode(), received_ms=T0) == (Reading("D7", T0, T0, amps=3.2),)
    assert intake.refusals.counts == {"unknown-circuit": 1}
    with pytest.raises(PayloadRefused, match="D99"):
        intake.message("van/senml", json.dumps(pack[:1]).encode(), received_ms=T0)
    assert intake.refusals.total == 1  # what is raised is the caller's to count


def test_a_pack_without_times_that_is_delivered_again_is_a_double() -> None:
    payload = json.dumps([{"n": "urn:dev:D7:amps", "u": "A", "v": 3.2}]).encode()
    intake = Intake(SENML)
    assert len(intake.message("van/senml", payload, received_ms=T0)) == 1
    assert intake.message("van/senml", payload, received_ms=T0 + 900, dup=True) == ()
    assert len(intake.message("van/senml", payload, received_ms=T0 + 2000)) == 1


def test_a_gateways_state_stands_for_all_its_monitors() -> None:
    other = replace(PLAIN.monitors[0], name="ac", topic="ac/{circuit}/{quantity}")
    intake = Intake(replace(PLAIN, monitors=(*PLAIN.monitors, other)))
    assert [p.name for p in intake.message("van/state", b"lost", received_ms=T0) if isinstance(p, Presence)] == ["dc", "ac"]


def test_a_monitor_says_that_it_went_and_came() -> None:
    intake = Intake(PLAIN)
    for word, here in (("lost", False), ("ready", True)):
        assert intake.message("van/state", word.encode(), received_ms=T0) == (
            Presence(received_ms=T0, subject="monitor", name="dc", here=here),
        )
    with pytest.raises(PayloadRefused, match="unknown-state"):
        intake.message("van/state", b"asleep", received_ms=T0)


def test_subscriptions() -> None:
    assert Intake(PLAIN).subscriptions() == (("van/+/+", 1), ("van/state", 1))


BAD = [
    ("van/D7/amps", b"", "not-a-number"),
    ("van/D7/amps", b"nan", "out-of-range"),
    ("van/D7/amps", b"inf", "out-of-range"),
    ("van/D7/amps", b"1e308", "out-of-range"),
    ("van/D7/amps", b"1_0", "out-of-range"),
    ("van/D7/amps", b"1,5", "not-a-number"),
    ("van/D7/amps", b"\xff\xfe", "not-a-number"),
    ("van/D7/amps", b"9" * 10_000_000, "out-of-range"),
    ("van/D7/closed", b"2", "not-a-state"),
    ("van/D7/ohms", b"1", "unknown-quantity"),
    ("van/D99/amps", b"1", "unknown-circuit"),
    ("elsewhere", b"1", "unknown-topic"),
]


@pytest.mark.parametrize(("topic", "payload", "reason"), BAD)
def test_what_is_no_plain_reading_is_refused_by_name(topic: str, payload: bytes, reason: str) -> None:
    with pytest.raises(PayloadRefused) as refused:
        Intake(PLAIN).message(topic, payload, received_ms=T0)
    assert refused.value.reason == reason
    assert len(str(refused.value)) < 400


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", "not-json"),
        (b"\xff", "not-utf-8"),
        (b"{", "not-json"),
        (b"[" * 10_000 + b"]" * 10_000, "too-deep"),
        (b'{"a":' * 10_000 + b"1" + b"}" * 10_000, "too-deep"),
        (b" " * 10_000_000, "too-large"),
        (b'{"i": NaN}', "out-of-range"),
        (b'{"i": -Infinity}', "out-of-range"),
        (b'{"i": 1e400}', "out-of-range"),
        (b'{"i": ' + b"9" * 4000 + b"}", "out-of-range"),
        (b'{"i": ' + b"9" * 6000 + b"}", "not-json"),
        (b'{"i": "12 V"}', "not-a-number"),
        (b'{"i": true}', "not-a-number"),
        (b'{"on": "maybe"}', "not-a-state"),
        (b'{"i": null}', "nothing-found"),
    ],
)
def test_what_is_no_json_reading_is_refused_by_name(payload: bytes, reason: str) -> None:
    with pytest.raises(PayloadRefused) as refused:
        Intake(JSON).message("van/D7", payload, received_ms=T0)
    assert refused.value.reason == reason


ANY = st.one_of(st.binary(max_size=200), st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    lambda c: st.lists(c, max_size=4) | st.dictionaries(st.sampled_from(["i", "u", "on", "ts", "n", "bn", "v", "t", "vb"]), c),
    max_leaves=12,
).map(lambda document: json.dumps(document).encode()))  # fmt: skip


@given(ANY, st.sampled_from([(PLAIN, "van/D7/amps"), (JSON, "van/D7"), (SENML, "van/senml"), (PLAIN, "van/state")]))
def test_nothing_but_a_refusal_ever_escapes(payload: bytes, where: tuple[Schedule, str]) -> None:
    schedule, topic = where
    intake, refusals = Intake(schedule), Refusals()
    try:
        for item in intake.message(topic, payload, received_ms=T0):
            assert isinstance(item, (Reading, Presence))
    except PayloadRefused as refused:
        refusals.add(refused, topic, payload)
        assert refusals.total == 1


def test_refusals_are_counted_sampled_and_named() -> None:
    refusals = Refusals()
    for n in range(50):
        refusals.add(PayloadRefused("not-json", f"case {n}"), "van/D7", b"x" * 1000)
    (row,) = refusals.summary()
    assert (row["reason"], row["count"], len(row["samples"])) == ("not-json", 50, 3)
    assert len(refusals.news()) == 1
    assert refusals.news() == []
