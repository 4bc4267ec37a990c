"""A flood is one message; a chattering alarm is none. The limits are EEMUA 191's (more than 10 in 10 minutes, as quoted)."""

from __future__ import annotations

import json
from itertools import pairwise

import pytest
from edges import edge, told, until
from hypothesis import given, settings
from hypothesis import strategies as st

from panelward.alarm import Alarms
from panelward.alarm.flood import MOST_MESSAGES
from panelward.records import Request, Transition
from plans import T0


def flooded(count: int = 14, *, life: str = "", spacing_s: float = 1.0) -> tuple[Alarms, list[Transition]]:
    """So many circuits lose their feed one after the other, and the summary."""
    alarms = Alarms(life=frozenset({life} if life else ()), vehicle="van")
    out: list[Transition] = []
    for n in range(count):
        out += until(alarms, n * spacing_s)
        alarms.edge(edge(f"D{n}", at_s=n * spacing_s))
    return alarms, out + until(alarms, count * spacing_s + 31)


def test_ten_are_told_one_by_one_and_no_summary_comes() -> None:
    alarms, out = flooded(10)
    assert told(out) == [f"D{n}" for n in range(10)]
    assert told(until(alarms, 3600)) == []


def test_from_the_eleventh_on_there_is_one_message_of_the_whole_vehicle() -> None:
    _, out = flooded(14)
    assert told(out) == [*(f"D{n}" for n in range(10)), "van"]
    summary = out[-1]
    assert (summary.subject, summary.kind, summary.group, summary.event) == ("vehicle", "flood", "flood", "begins")
    assert (summary.state, summary.since_ms, summary.at_ms) == ("unacknowledged", T0, T0 + 40_000)
    figures = dict(summary.figures)
    assert (figures["alarms"], figures["dead"], figures["stopped_within_s"]) == (14, 14, 13)
    assert summary.circuits == tuple(f"D{n}" for n in range(14))


def test_every_alarm_of_a_flood_is_still_journalled_with_its_state() -> None:
    alarms, out = flooded(14)
    begun = [t for t in out if t.kind == "feed-lost"]
    assert [(t.event, t.state, t.sequence) for t in begun] == [("begins", "unacknowledged", 1)] * 14
    assert len(alarms.standing()) == 15


def test_what_life_depends_on_is_told_by_itself_and_counted() -> None:
    alarms, out = flooded(14, life="D12")
    assert told(out) == [*(f"D{n}" for n in range(10)), "D12", "van"]
    assert dict(out[-1].figures)["alarms"] == 14
    alarms.edge(edge("D12", "ends", 60))
    assert told(until(alarms, 60)) == ["D12"]


def test_a_parent_over_a_circuit_of_life_is_told_by_itself() -> None:
    alarms, _ = flooded(12, life="D99")
    alarms.edge(edge("rear", at_s=60, subject="feeder", circuits=("D50", "D99")))
    assert told(until(alarms, 60)) == ["rear"]


def test_a_conductor_that_overheats_is_told_by_itself_whatever_else_there_is() -> None:
    alarms, _ = flooded(12)
    alarms.edge(edge("D3", at_s=60, kind="conductor-overheating", priority="high"))
    assert told(until(alarms, 60)) == ["D3"]


def test_a_drill_is_told_in_a_flood_and_counts_for_none() -> None:
    alarms, _ = flooded(12)
    alarms.drill(Request(kind="drill", received_ms=T0, who="owner"), T0 + 60_000)
    assert told(until(alarms, 60)) == ["drill"]
    calm = Alarms()
    for n in range(30):
        calm.drill(Request(kind="drill", received_ms=T0), T0 + n)
    calm.edge(edge("D1", at_s=1))
    assert len(told(calm.out())) == 31


def test_while_it_lasts_it_is_said_again_at_most_every_ten_minutes() -> None:
    alarms, out = flooded(14)
    n = 14
    for at_s in range(60, 3600, 50):
        out += until(alarms, at_s)
        alarms.edge(edge(f"D{n}", at_s=at_s))
        n += 1
    out += until(alarms, 3600)
    summaries = [t for t in out if t.kind == "flood"]
    gaps = [b.at_ms - a.at_ms for a, b in pairwise(summaries)]
    assert [t.event for t in summaries] == ["begins"] + ["changes"] * 5
    assert all(t.told for t in summaries)
    assert gaps == [600_000] * 5
    assert dict(summaries[-1].figures)["alarms"] > dict(summaries[0].figures)["alarms"]


def test_nothing_new_nothing_said_again() -> None:
    alarms, _ = flooded(14)
    assert told(until(alarms, 86_400)) == []


def test_it_ends_below_five_in_ten_minutes_and_only_the_journal_says_so() -> None:
    alarms, _ = flooded(14, spacing_s=2)  # the fifth newest began at 18 s
    out = until(alarms, 3600)
    assert [(t.kind, t.event, t.state, t.told) for t in out] == [("flood", "ends", "returned-unacknowledged", False)]
    assert out[0].at_ms == T0 + 18_000 + 600_000
    alarms.edge(edge("D77", at_s=3601))
    assert told(until(alarms, 3601)) == ["D77"]


def test_between_ten_and_five_it_goes_on() -> None:
    """The deadband: seven in ten minutes begin no flood, and end none."""
    calm, lasting = Alarms(), flooded(14)[0]
    for n in range(40):
        at_s = 60 + n * 85
        for alarms in (calm, lasting):
            until(alarms, at_s)
            alarms.edge(edge(f"N{n}", at_s=at_s))
        assert told(calm.out()) == [f"N{n}"]
        assert told(lasting.out()) == []


def test_what_came_after_the_summary_is_said_before_the_flood_ends() -> None:
    alarms, _ = flooded(11)
    alarms.edge(edge("D50", at_s=60))
    out = until(alarms, 3600)
    assert [(t.event, t.at_ms - T0) for t in out if t.kind == "flood"] == [("changes", 640_000), ("ends", 640_000)]
    assert out[-2].told
    assert "D50" in out[-2].circuits


def test_acknowledged_and_more_came_it_asks_again() -> None:
    alarms, out = flooded(14)
    assert alarms.request(Request(kind="acknowledge", received_ms=T0, alarm=out[-1].id), T0 + 60_000).done
    alarms.out()
    alarms.edge(edge("D50", at_s=60))
    again = next(t for t in until(alarms, 700) if t.kind == "flood")
    assert (again.event, again.state, again.told) == ("re-alarm", "unacknowledged", True)


def test_a_second_flood_is_the_same_alarm_until_it_is_acknowledged() -> None:
    alarms, out = flooded(14)
    until(alarms, 3600)
    for n in range(14):
        alarms.edge(edge(f"E{n}", at_s=3601))
    again = until(alarms, 3640)[-1]
    assert (again.id, again.event, again.told) == (out[-1].id, "begins-again", True)
    until(alarms, 7200)
    assert alarms.request(Request(kind="acknowledge", received_ms=T0, alarm=again.id), T0 + 7_200_000).done
    for n in range(14):
        alarms.edge(edge(f"F{n}", at_s=7201))
    third = until(alarms, 7240)[-1]
    assert third.kind == "flood"
    assert third.id != again.id


@pytest.mark.parametrize("kind", ["shelve", "out-of-service"])
def test_a_flood_can_only_be_acknowledged(kind: str) -> None:
    alarms, out = flooded(14)
    answer = alarms.request(Request(kind=kind, received_ms=T0, alarm=out[-1].id, for_s=60, why="x"), T0 + 60_000)
    assert not answer.done
    assert "only be acknowledged" in answer.why


def test_many_ends_are_one_message_too() -> None:
    alarms = Alarms(vehicle="van")
    for n in range(14):
        alarms.edge(edge(f"D{n}", at_s=n * 1000))
        until(alarms, n * 1000)
    for n in range(14):
        alarms.edge(edge(f"D{n}", "ends", 20_000 + n))
    out = until(alarms, 20_100)
    assert told(out) == [*(f"D{n}" for n in range(10)), "van"]
    assert (dict(out[-1].figures)["alarms"], dict(out[-1].figures)["over"]) == (0, 4)


def test_one_that_chatters_is_no_flood_and_leaves_the_others_alone() -> None:
    """Told three times; what is the case ten minutes later is told then. Nobody hears of an end whose beginning waited."""
    alarms = Alarms()
    out: list[Transition] = []
    for n in range(10):
        out += until(alarms, n * 20)
        alarms.edge(edge("D1", "begins", n * 20))
        alarms.edge(edge("D1", "ends", n * 20 + 10))
    alarms.edge(edge("D2", "begins", 205))
    alarms.edge(edge("D1", "begins", 210))
    out += until(alarms, 300)
    assert told(out) == ["D1"] * 6 + ["D2"]
    later = until(alarms, 3600)
    assert [(t.subject_id, t.event, t.told, t.at_ms - T0) for t in later] == [("D1", "chatter-over", True, 600_000)]


def test_one_that_chattered_and_is_over_says_nothing_more() -> None:
    alarms = Alarms()
    for n in range(10):
        alarms.edge(edge("D1", "begins", n * 20))
        alarms.edge(edge("D1", "ends", n * 20 + 10))
    until(alarms, 300)
    assert until(alarms, 3600) == []


def test_what_gets_worse_does_not_wait_for_what_came_before() -> None:
    alarms = Alarms()
    for n in range(5):
        alarms.edge(edge("D7", "begins", n * 40, "overcurrent-approach"))
        alarms.edge(edge("D7", "ends", n * 40 + 10, "overcurrent-approach"))
        until(alarms, n * 40 + 30)
    alarms.edge(edge("D7", "begins", 300, "overcurrent-approach"))
    assert told(alarms.out()) == []
    alarms.edge(edge("D7", "changes", 310, "overcurrent-approach", priority="high"))
    alarms.edge(edge("D7", "changes", 320, "conductor-overheating", priority="high"))
    assert [t.kind for t in alarms.out() if t.told] == ["overcurrent-approach", "conductor-overheating"]


def test_what_waits_is_told_though_its_time_comes_in_an_off_delay() -> None:
    alarms = Alarms()
    for n in range(4):
        alarms.edge(edge("D7", "begins", n * 40, "overcurrent-approach"))
        if n < 3:
            alarms.edge(edge("D7", "ends", n * 40 + 10, "overcurrent-approach"))
        until(alarms, n * 40 + 30)
    alarms.edge(edge("D7", "ends", 595, "overcurrent-approach"))  # over at 610, if it were
    out = until(alarms, 604)
    alarms.edge(edge("D7", "begins", 605, "overcurrent-approach"))
    assert told(out + until(alarms, 3600)) == ["D7"]


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["begins"] * 4 + ["ends"] * 2 + ["changes", "ack", "shelve", "unshelve", "work", "done", "suppressed"]),
        st.integers(0, 24),
        st.sampled_from(["feed-lost", "feed-lost", "overcurrent-approach", "standby-drain", "readings-overdue"]),
        st.sampled_from(["low", "medium", "high"]),
        st.sampled_from([0, 0, 1, 5, 60, 400]),
    ),
    max_size=150,
)


def do(alarms: Alarms, step: tuple[str, int, str, str, int], at_s: float) -> None:
    event, n, kind, priority, _ = step
    now_ms = T0 + round(at_s * 1000)
    circuit = f"D{n}"
    if event in ("ack", "shelve", "unshelve"):
        name = "acknowledge" if event == "ack" else event
        alarms.request(Request(kind=name, received_ms=now_ms, circuit=circuit, for_s=300.0, why="x"), now_ms)
    elif event in ("work", "done"):
        on = None if n > 20 else circuit
        alarms.working(
            Request(kind="working", received_ms=now_ms, circuit=on, for_s=200.0, who="fitter", done=event == "done"), now_ms
        )
    else:
        alarms.edge(edge(circuit, event, at_s, kind, priority=priority))


@settings(max_examples=300, deadline=None)
@given(STEPS)
def test_nobody_gets_more_than_21_messages_in_ten_minutes_except_of_life(steps: list[tuple[str, int, str, str, int]]) -> None:
    """Twenty by themselves and one summary. And saving and restoring at every step changes nothing."""
    alarms = Alarms(life=frozenset({"D0", "D1"}))
    out: list[Transition] = []
    at_s = 0.0
    for step in steps:
        at_s += step[-1]
        other = Alarms(life=alarms.life)
        other.restore(json.loads(json.dumps(alarms.save())))
        mine, theirs = until(alarms, at_s), until(other, at_s)
        do(alarms, step, at_s)
        do(other, step, at_s)
        mine, theirs = mine + alarms.out(), theirs + other.out()
        assert mine == theirs
        assert other.save() == alarms.save()
        out += mine
    out += until(alarms, at_s + 86_400)
    assert until(alarms, at_s + 7 * 86_400) == [], "deadlines without end"
    times = [t.at_ms for t in out if t.told and t.subject_id not in alarms.life]
    for n, time_ms in enumerate(times):
        assert sum(time_ms <= other < time_ms + 600_000 for other in times[n:]) <= MOST_MESSAGES + 1
    summaries = [t.at_ms for t in out if t.kind == "flood" and t.told]
    assert all(b - a >= 600_000 for a, b in pairwise(summaries))
    assert all(t.told for t in out if t.subject_id in alarms.life and t.event == "begins" and t.state == "unacknowledged")
    numbered = [(t.id, t.sequence) for t in out]
    assert len(numbered) == len(set(numbered))


@settings(max_examples=200, deadline=None)
@given(STEPS)
def test_what_is_not_told_by_itself_is_said_in_a_summary_or_later(steps: list[tuple[str, int, str, str, int]]) -> None:
    """Whatever stands unacknowledged in the end, somebody was told of it since it began; in words or as one of many."""
    alarms = Alarms()
    out: list[Transition] = []
    at_s = 0.0
    for step in steps:
        at_s += step[-1]
        out += until(alarms, at_s)
        do(alarms, step, at_s)
        out += alarms.out()
    out += until(alarms, at_s + 86_400)
    for alarm in alarms.standing():
        if alarm.state != "unacknowledged" or alarm.condition.kind == "flood":
            continue
        began_ms = max(t.at_ms for t in out if t.id == alarm.id and t.event in ("begins", "begins-again"))
        after = [t for t in out if t.told and t.at_ms >= began_ms]
        assert any(t.id == alarm.id or (t.kind == "flood" and alarm.key[1] in t.circuits) for t in after)
