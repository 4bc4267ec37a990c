"""Laws of finding: order doesn't matter, hearing longer finds nothing less, and nothing that is published can break it."""

from __future__ import annotations

import json
import tomllib

import hypothesis.strategies as st
from hypothesis import given, settings

from listen.test_draft import BROKER, asked
from listen.voices import T0, garbage, objects, on_change, packs, plain
from panelward.listen import Findings, Heard, draft, find, proved, report

VOICES = (
    plain(seconds=16, ways=("D1", "D2", "A3")),
    objects(seconds=30, ways=("J1", "J2"), thousandths=True, time_key="t"),
    packs(seconds=30, ways=("S1", "S2")),
    on_change(seconds=60, ways=("C1", "C2")),
    garbage(),
)
LEVEL = st.one_of(
    st.sampled_from(("van", "dc", "D1", "D2", "amps", "volts", "watts", "closed", "state", "{circuit}", "+", "#", "", "$SYS")),
    st.text(max_size=6),
)
PAYLOAD = st.one_of(
    st.binary(max_size=40),
    st.sampled_from((
        b"1", b"12.5", b"-3", b"on", b"nan", b"1_0", b"{}", b"[]", b"[{}]", b'{"i":1,"u":13000}', b'{"amps":{"amps":1}}',
        b'[{"n":"D1","u":"A","v":1}]', b'[{"bn":"a:","n":"D1","u":"V","v":12},{"n":"D2","u":"V","v":1e400}]', b"ready",
        b'{"\\u0007":1,"volts\\n":2,"volts":"x"}', b'{"closed":true,"t":1780000000}', b'{"i":"1.5","mA":3,"a_b":null}',
    )),
    st.recursive(st.none() | st.booleans() | st.integers() | st.text(max_size=4),
                 lambda inner: st.lists(inner, max_size=3) | st.dictionaries(
                     st.sampled_from(("i", "u", "amps", "mA", "t", "x", "n", "v")) | st.text(max_size=3), inner, max_size=4),
                 max_leaves=8).map(lambda value: json.dumps(value).encode()),
)  # fmt: skip
RECORD = st.builds(
    Heard,
    st.integers(T0, T0 + 20_000),
    st.lists(LEVEL, min_size=1, max_size=5).map("/".join),
    PAYLOAD,
    st.booleans(),
)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.sampled_from(range(len(VOICES))), min_size=1, max_size=3, unique=True), st.randoms(use_true_random=False))
def test_the_order_of_messages_does_not_matter(chosen: list[int], rng: object) -> None:
    heard = [one for n in chosen for one in VOICES[n]]
    mixed = list(heard)
    rng.shuffle(mixed)  # type: ignore[attr-defined]
    assert find(mixed) == find(heard)
    assert draft(find(mixed), BROKER) == draft(find(heard), BROKER)


def known(findings: Findings) -> dict[str, set[str]]:
    return {c.id: set(c.quantities) for m in findings.monitors for c in m.circuits}


@settings(max_examples=25, deadline=None)
@given(
    st.integers(2, 40),
    st.integers(0, 2**31),
    st.lists(st.sampled_from(("D1", "D2", "D7", "A1", "SH")), min_size=2, unique=True),
)
def test_heard_twice_as_long_finds_nothing_less(seconds: int, seed: int, ways: list[str]) -> None:
    whole = [
        *plain(seconds=2 * seconds, ways=ways, seed=seed),
        *objects(seconds=2 * seconds, ways=[f"J{way}" for way in ways], seed=seed + 1, period_s=3.0),
        *packs(seconds=2 * seconds, ways=[f"S{way}" for way in ways], seed=seed + 2, period_s=4.0),
    ]
    half = [one for one in whole if one.received_ms < T0 + seconds * 1000]
    less, more = find(half), find(whole)
    for circuit, quantities in known(less).items():
        assert quantities <= known(more)[circuit]
    after = {m.monitor.topic: m for m in more.monitors}
    for before in less.monitors:
        later = after[before.monitor.topic]
        assert before.every_s in (None, later.every_s)
        assert before.publishes is None or later.publishes is not None
        assert before.resolution_a is None or later.resolution_a is not None
        assert before.understood <= later.understood


@settings(max_examples=120, deadline=None)
@given(st.lists(RECORD, max_size=25))
def test_nothing_that_is_published_breaks_it(heard: list[Heard]) -> None:
    findings = find(heard)
    lines = "\n".join(report(findings)).split("\n")
    assert all(len(line) <= 80 and line.isprintable() for line in lines), lines
    if findings.monitors:
        text = draft(findings, BROKER)
        raw = tomllib.loads(text)
        assert len(raw["monitor"]) == len(findings.monitors)
        asked(text)
        understood, _ = proved(text, heard)
        assert understood >= sum(m.understood for m in findings.monitors)
