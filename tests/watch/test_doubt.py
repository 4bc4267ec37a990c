"""A fuse greater than the one on the list, proven by what it carried; and everything that looks like it and proves nothing.

Type C opens within 50 s at 1.6 and within 5 s at 2.0 times its rating (data sheets naming ISO 8820-3, quoted in two public
texts); at 1.35 times its standard lets it take 1,800 s (noiasca.rothschopf.net). A holder of its type takes no other type.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from panelward.core import Core
from panelward.ratings import device, time_to_open_s
from panelward.records import Circuit, Protection, Reading, Settings, Transition
from panelward.wording import message
from plans import PLAN, SOCKETS, T0, plan, run, stream

WARM = [Reading("T1", T0, T0, celsius=25.0)]


def doubts(transitions: list[Transition]) -> list[Transition]:
    return [t for t in transitions if t.kind == "protection-doubtful"]


def fused(kind: str = "blade-fuse", type: str | None = "C", rating_a: float = 15) -> Circuit:
    return replace(SOCKETS, protection=Protection(kind=kind, type=type, rating_a=rating_a))


def test_what_no_fuse_of_that_rating_could_carry_is_told_once_and_high() -> None:
    """31 A on a 15 A type C fuse, 2.07 times: within 5 s it must open; with gain and cold allowed, within a minute."""
    found = doubts(run(PLAN, [*WARM, *stream({"D7": lambda t: 31.0 if t >= 60 else 5.0}, 600, start_ms=T0 + 1)]))
    assert [(t.subject_id, t.group, t.priority, t.event) for t in found] == [("D7", "device", "high", "begins")]
    assert found[0].at_ms - T0 <= 90_000
    assert message(found[0], PLAN) == (
        "Keep all off at Bench sockets, ring the fitter: at 06:01 it held 31 A longer than the fuse on the door list could."
    )


def test_without_a_probe_the_cold_is_allowed_for_and_it_takes_longer() -> None:
    with_probe = doubts(run(PLAN, [*WARM, *stream({"D7": 27.0}, 3600, start_ms=T0 + 1)]))
    without = doubts(run(PLAN, stream({"D7": 27.0}, 3600, start_ms=T0 + 1)))
    assert with_probe[0].at_ms < without[0].at_ms


@pytest.mark.parametrize("type", ["C", "E", None])
@pytest.mark.parametrize("times", [1.05, 1.2, 1.35, 1.39, 1.6, 2.0])
def test_what_the_slowest_that_fits_could_carry_is_no_proof(type: str | None, times: float) -> None:
    """A genuine device, the slowest there may be, read by a meter 3 % too high, in the cold: it opens before it is doubted."""
    way = fused(type=type)
    assert way.protection is not None
    truly = times / 1.03 / 1.07
    holds_s = max(time_to_open_s(m.body(), m.body().cold(), truly) for m in device(way.protection).proof)
    holds_s = min(holds_s, 7200.0)
    rows = stream({"D7": lambda t: 15 * times if t < holds_s else 0.0}, holds_s + 60)
    assert doubts(run(plan(way), rows)) == []


def test_innocent_twins_of_a_greater_fuse_raise_nothing() -> None:
    pulsing = stream({"D7": lambda t: 31.0 if int(t / 2) % 2 else 4.0}, 1800)
    assert doubts(run(PLAN, pulsing)) == [], "a hob's pulses, sampled"
    start = stream({"D7": lambda t: 45.0 if t % 60 < 4 else 8.0}, 3600)
    assert doubts(run(PLAN, start)) == [], "starts"
    gaps = [r for r in stream({"D7": 31.0}, 3600) if (r.time_ms - T0) % 60_000 < 4000]
    assert doubts(run(PLAN, gaps)) == [], "two readings a minute: nobody knows what flowed between"


@pytest.mark.parametrize("kind", ["breaker-b", "breaker-thermal", "glass-fuse", "bolt-fuse", "electronic"])
def test_only_published_gates_prove(kind: str) -> None:
    assert doubts(run(plan(fused(kind, None)), stream({"D7": 31.0}, 1200))) == []


def test_a_replaced_device_is_another_device() -> None:
    """The schedule's new rating withdraws the doubt; a new label does not."""
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=plan(SOCKETS), started=True))
    out = [found for reading in stream({"D7": 31.0}, 300) for found in core.feed(reading)]
    assert doubts([t for t in out if isinstance(t, Transition)])
    assert core.feed(Settings(received_ms=T0 + 400_000, schedule=plan(replace(SOCKETS, label="Sockets")))) == []
    replaced = replace(SOCKETS, protection=Protection(kind="blade-fuse", type="C", rating_a=30))
    out = core.feed(Settings(received_ms=T0 + 500_000, schedule=plan(replaced)))
    assert ("protection-doubtful", "withdrawn") in [(t.kind, t.event) for t in out if isinstance(t, Transition)]
