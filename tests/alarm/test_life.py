"""The life cycle against the published transitions and the eight-event example of OPC 10000-9, annex B.1.2."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panelward import alarm
from panelward.alarm import KINDS, STATES, TABLE, Alarms
from panelward.errors import RequestRefused
from panelward.records import GROUP_OF, Condition, Request
from plans import T0

PUBLISHED = tomllib.loads((Path(__file__).parent.parent / "reference" / "alarm.toml").read_text())
OURS = {
    "alarm occurs": ["begins"],
    "alarm occurs again": ["begins"],
    "acknowledge": ["acknowledge"],
    "return to normal": ["ends"],
    "return to normal, latching": ["ends-latching"],
    "re-alarm": ["re-alarm"],
    "reset": ["reset"],
    "shelve": ["shelve"],
    "designed suppression": ["suppress"],
    "remove from service": ["remove"],
    "unshelve or timer ends": ["unshelve-while-normal", "unshelve-while-active"],
    "suppression ends": ["unsuppress-while-normal", "unsuppress-while-active"],
    "return to service": ["return-while-normal", "return-while-active"],
}

HIDDEN = ("shelved", "suppressed", "out-of-service")


def condition(edge: str, at_s: float = 0.0, kind: str = "feed-lost", **keys: object) -> Condition:
    at_ms = T0 + round(at_s * 1000)
    base = {"priority": "medium", "since_ms": at_ms} | keys
    return Condition(
        subject="circuit", subject_id="D1", group=GROUP_OF[kind], edge=edge, at_ms=at_ms, kind=kind, **base  # type: ignore[arg-type]
    )  # fmt: skip


def test_every_published_transition_is_a_row_of_the_table() -> None:
    states = PUBLISHED["transitions"]["states"]
    for row in PUBLISHED["transitions"]["t"]:
        for letter in row["frm"].split("|"):
            events = OURS[row["ev"]]
            targets = ["A", "B"] if " if " in row["to"] else [row["to"]]
            for event, target in zip(events, targets, strict=True):
                assert alarm.step(states[letter], event) == states[target], row


def test_the_table_has_no_row_that_is_not_published() -> None:
    """Besides them: a hidden alarm stays hidden as its condition comes and goes; a latched acknowledged one may begin again;
    and what latched, or a parent explains, is that still when it is let out (OPC 10000-9: each is apart from the others).
    """
    states = PUBLISHED["transitions"]["states"]
    published = {
        (states[letter], event)
        for row in PUBLISHED["transitions"]["t"]
        for letter in row["frm"].split("|")
        for event in OURS[row["ev"]]
    }
    ours = {(s, e) for s in HIDDEN for e in ("begins", "ends")}
    ours |= {("shelved", "unshelve-while-covered"), ("out-of-service", "return-while-covered")}
    ours |= {(s, f"{e}-while-latched") for s, e in zip(HIDDEN, ("unshelve", "unsuppress", "return"), strict=True)}
    ours |= {("shelved", "unshelve-while-removed"), ("suppressed", "unsuppress-while-removed")}
    latched = ("latched-unacknowledged", "latched-acknowledged")
    ours |= {(s, "begins-while-removed") for s in latched}
    assert set(TABLE) == published | ours | {("latched-acknowledged", "begins")}


def test_the_eight_event_example_of_opc_10000_9() -> None:
    """Confirming is not ours: those rows change nothing here. Active and acknowledged agree at every row."""
    alarms = Alarms()
    shown: list[tuple[bool, bool]] = []
    active = acked = False
    for event in PUBLISHED["opc_b1"]["events"]:
        n = event["n"]
        if event["what"] == "goes active":
            alarms.edge(condition("begins", n))
        elif event["what"] == "goes inactive":
            alarms.edge(condition("ends", n))
        elif event["what"] == "acknowledged":
            standing = alarms.standing()[0]
            request = Request(kind="acknowledge", received_ms=T0, alarm=standing.id, who="tester")
            assert alarms.request(request, T0 + n * 1000).done
        for transition in alarms.out():
            active = transition.state in ("unacknowledged", "acknowledged")
            acked = transition.state in ("acknowledged", "normal")
        shown.append((active, acked))
    assert shown == [(e["active"], e["acked"]) for e in PUBLISHED["opc_b1"]["events"]]


def test_an_illegal_request_is_refused_and_changes_nothing() -> None:
    alarms = Alarms()
    alarms.edge(condition("begins"))
    alarm_id = alarms.standing()[0].id
    assert alarms.request(Request(kind="acknowledge", received_ms=T0, alarm=alarm_id), T0).done
    before = json.dumps(alarms.save())
    alarms.out()
    for request in (
        Request(kind="acknowledge", received_ms=T0, alarm=alarm_id),
        Request(kind="acknowledge", received_ms=T0, alarm="D1-dead-nowhere"),
        Request(kind="unshelve", received_ms=T0, alarm=alarm_id),
        Request(kind="shelve", received_ms=T0, alarm=alarm_id, for_s=0),
        Request(kind="shelve", received_ms=T0, alarm=alarm_id, for_s=1e9),
        Request(kind="acknowledge", received_ms=T0),
        Request(kind="unknown-word", received_ms=T0, alarm=alarm_id),
        Request(kind="shelve", received_ms=T0, alarm=alarm_id, circuit="D2", for_s=600),
    ):
        answer = alarms.request(request, T0)
        assert not answer.done
        assert answer.why
        assert json.dumps(alarms.save()) == before
        assert alarms.out() == []
    assert alarms.request(Request(kind="shelve", received_ms=T0, alarm=alarm_id, circuit="D1", for_s=600), T0).done


def test_what_life_depends_on_is_shelved_for_an_hour_at_most_and_with_a_reason() -> None:
    alarms = Alarms(life=frozenset({"D1"}))
    alarms.edge(condition("begins"))
    ask = {"kind": "shelve", "received_ms": T0, "alarm": alarms.standing()[0].id}
    assert not alarms.request(Request(**ask, for_s=3601, why="painting"), T0).done  # type: ignore[arg-type]
    assert not alarms.request(Request(**ask, for_s=600), T0).done  # type: ignore[arg-type]
    assert alarms.request(Request(**ask, for_s=3600, why="painting"), T0).done  # type: ignore[arg-type]
    assert alarms.next_ms() == T0 + 3_600_000
    alarms.fire(T0 + 3_600_000)
    assert [t.state for t in alarms.out()][-1] == "unacknowledged"


def answer(alarms: Alarms, kind: str, at_s: float = 0.0, **keys: object) -> list[tuple[str, str, bool]]:
    """Ask for it; (event, state, latched) of what came of it."""
    alarms.out()
    done = alarms.request(Request(kind=kind, received_ms=T0, circuit="D1", who="owner", **keys), T0 + round(at_s * 1000))  # type: ignore[arg-type]
    assert done.done, done.why
    return [(t.event, t.state, t.latched) for t in alarms.out()]


def test_a_device_that_opened_stays_until_somebody_looked() -> None:
    """OPC 10000-9, 5.8.2 LatchedState: it is reset after it returned to normal and was acknowledged (from memory)."""
    alarms = Alarms()
    alarms.edge(condition("begins", 0, "protection-opened"))
    alarms.edge(condition("ends", 60, "protection-opened"))
    assert [(t.state, t.latched) for t in alarms.out()] == [("unacknowledged", False), ("unacknowledged", True)]
    assert answer(alarms, "acknowledge", 70) == [("acknowledge", "acknowledged", True), ("reset", "normal", False)]
    assert alarms.standing() == ()
    # Acknowledged while it is the case, then over: somebody looks once more, by the same answer.
    alarms.edge(condition("begins", 100, "protection-opened"))
    assert answer(alarms, "acknowledge", 110) == [("acknowledge", "acknowledged", False)]
    alarms.edge(condition("ends", 160, "protection-opened"))
    assert [(t.event, t.state, t.latched) for t in alarms.out()] == [("ends", "acknowledged", True)]
    assert answer(alarms, "acknowledge", 170) == [("reset", "normal", False)]


@pytest.mark.parametrize(
    ("figures", "latched"), [((("off_for_s", 9e4), ("to_look_at", True)), True), ((("off_for_s", 60.0),), False)]
)
def test_a_feed_lost_longer_than_its_load_bears_latches_a_shorter_one_does_not(figures: object, latched: bool) -> None:
    alarms = Alarms()
    alarms.edge(condition("begins", 0))
    alarms.edge(condition("ends", 60, figures=figures))
    assert alarms.out()[-1].latched is latched
    alarms.edge(condition("begins", 90))
    assert [(t.event, t.latched) for t in alarms.out()] == [("begins-again", False)]


def test_what_the_schedule_no_longer_asks_latches_nothing() -> None:
    alarms = Alarms()
    alarms.edge(condition("begins", 0, "protection-opened"))
    alarms.edge(condition("withdrawn", 60, "protection-opened"))
    assert alarms.out()[-1].latched is False


def test_shelved_once_comes_back_with_its_end_and_a_day_later_at_the_most() -> None:
    alarms = Alarms()
    alarms.edge(condition("begins", 0))
    assert answer(alarms, "shelve") == [("shelve", "shelved", False)]
    alarms.edge(condition("ends", 60))
    assert [(t.event, t.state) for t in alarms.out()] == [("ends", "shelved"), ("unshelve", "normal")]
    assert alarms.standing() == ()
    alarms.edge(condition("begins", 100))
    answer(alarms, "shelve", 100)
    assert alarms.next_ms() == T0 + 100_000 + 24 * 3_600_000
    assert not alarms.request(Request(kind="shelve", received_ms=T0, circuit="D1", for_s=90_000.0), T0).done
    alarms.fire(T0 + 100_000 + 24 * 3_600_000)
    assert [(t.event, t.state, t.told) for t in alarms.out()] == [("unshelve", "unacknowledged", True)]


def test_shelved_once_when_it_is_over_hides_its_next_time() -> None:
    """OPC 10000-9, 5.8.17: a one-shot shelving of an inactive alarm lasts through its next active period."""
    alarms = Alarms()
    alarms.edge(condition("begins", 0))
    alarms.edge(condition("ends", 60))
    assert answer(alarms, "shelve", 70) == [("shelve", "shelved", False)]
    alarms.edge(condition("begins", 80))
    alarms.edge(condition("ends", 90))
    assert [(t.event, t.state, t.told) for t in alarms.out()] == [
        ("begins", "shelved", False), ("ends", "shelved", False), ("unshelve", "normal", False)
    ]  # fmt: skip


def test_out_of_service_is_judged_on_and_comes_back_as_it_is() -> None:
    alarms = Alarms()
    alarms.edge(condition("begins", 0))
    assert answer(alarms, "out-of-service") == [("out-of-service", "out-of-service", False)]
    alarms.edge(condition("ends", 60))
    alarms.edge(condition("begins", 90))
    assert [(t.state, t.told) for t in alarms.out()] == [("out-of-service", False)] * 2
    assert answer(alarms, "in-service", 100) == [("in-service", "unacknowledged", False)]


def test_coming_again_unacknowledged_is_the_same_alarm_with_a_new_since() -> None:
    alarms = Alarms()
    alarms.edge(condition("begins", 0))
    alarms.edge(condition("ends", 60))
    alarms.edge(condition("begins", 120))
    first, over, again = alarms.out()
    assert first.id == over.id == again.id
    assert (again.event, again.sequence, again.since_ms) == ("begins-again", 3, T0 + 120_000)


def test_acknowledged_and_over_the_next_one_is_another_alarm() -> None:
    alarms = Alarms()
    alarms.edge(condition("begins", 0))
    alarms.request(Request(kind="acknowledge", received_ms=T0, circuit="D1"), T0)
    alarms.edge(condition("ends", 60))
    alarms.edge(condition("begins", 120))
    ids = [t.id for t in alarms.out()]
    assert ids[0] == ids[2] != ids[3]


def test_worse_while_acknowledged_asks_again_and_says_what_it_was() -> None:
    alarms = Alarms()
    alarms.edge(condition("begins", 0, "overcurrent-approach"))
    alarms.request(Request(kind="acknowledge", received_ms=T0, circuit="D1"), T0)
    alarms.edge(condition("changes", 60, "conductor-overheating", priority="high"))
    last = alarms.out()[-1]
    assert (last.state, last.event, last.was, last.told) == ("unacknowledged", "re-alarm", "overcurrent-approach", True)


def test_an_off_delay_swallows_a_short_drop() -> None:
    """OPC 10000-9, B.1.5: an off-delay keeps an alarm through a short drop."""
    alarms = Alarms()
    alarms.edge(condition("begins", 0, "overcurrent-approach"))
    alarms.edge(condition("ends", 60, "overcurrent-approach"))
    alarms.edge(condition("begins", 70, "overcurrent-approach"))
    assert [t.event for t in alarms.out()] == ["begins"]
    alarms.edge(condition("ends", 90, "overcurrent-approach"))
    assert alarms.next_ms() == T0 + 105_000
    alarms.fire(T0 + 105_000)
    assert [(t.event, t.at_ms) for t in alarms.out()] == [("ends", T0 + 105_000)]


def test_a_drill_is_marked_and_leaves_nothing_standing() -> None:
    alarms = Alarms()
    alarms.drill(Request(kind="drill", received_ms=T0, who="owner", priority="high"), T0)
    out = alarms.out()
    assert [(t.kind, t.told) for t in out] == [("drill", True), ("drill", False), ("drill", False)]
    assert out[-1].state == "normal"
    assert alarms.standing() == ()


EVENTS = st.lists(
    st.tuples(st.sampled_from(["begins", "ends", "changes", "suppressed", "unsuppressed", "ack", "shelve", "unshelve", "tick"]),
              st.sampled_from(["low", "medium", "high"])),
    max_size=40,
)  # fmt: skip


@given(EVENTS)
def test_whatever_comes_states_follow_the_table_and_saving_changes_nothing(events: list[tuple[str, str]]) -> None:
    """Sequence numbers have no hole; two alarms never stand for one key; a restored copy goes on alike."""
    one = Alarms()
    seen: dict[str, int] = {}
    for n, (event, priority) in enumerate(events):
        other = Alarms()
        other.restore(json.loads(json.dumps(one.save())))
        for alarms in (one, other):
            _do(alarms, event, priority, n)
        out = one.out()
        assert other.out() == out
        for transition in out:
            assert transition.state in STATES
            assert transition.sequence == seen.get(transition.id, 0) + 1
            seen[transition.id] = transition.sequence
        assert len(one.standing()) <= 1


def _do(alarms: Alarms, event: str, priority: str, n: int) -> None:
    if event in ("ack", "shelve", "unshelve"):
        kind = "acknowledge" if event == "ack" else event
        alarms.request(Request(kind=kind, received_ms=T0, circuit="D1", for_s=5.0), T0 + n * 10_000)
    elif event == "tick":
        due = alarms.next_ms()
        if due is not None:
            alarms.fire(due)
    else:
        alarms.edge(condition(event, n * 10, "overcurrent-approach", priority=priority))


def test_every_kind_has_a_life_and_a_group() -> None:
    assert set(KINDS) == set(GROUP_OF)


def test_a_state_without_a_row_raises() -> None:
    with pytest.raises(RequestRefused, match="normal"):
        alarm.step("normal", "acknowledge")


def test_two_alarms_of_one_key_never_have_one_id() -> None:
    """A watch may date a second beginning as the first one; the journal would take its transitions for known ones."""
    alarms, ids = Alarms(), []
    for n in range(4):
        copy = Alarms()
        copy.restore(json.loads(json.dumps(alarms.save())))
        for each in (alarms, copy):
            each.edge(condition("begins", 60 * n, since_ms=T0 - (1000 if n == 2 else 0)))
        ids.append(alarms.standing()[0].id)
        assert copy.standing()[0].id == ids[-1]
        assert answer(alarms, "acknowledge", 60 * n + 10)
        alarms.edge(condition("ends", 60 * n + 20))
    assert len(set(ids)) == 4
    assert ids[0] == "D1-dead-20260501T060000000Z"


@pytest.mark.parametrize(("for_s", "left_s"), [(86_400.0, 3_600.0), (None, 3_600.0), (900.0, 780.0)])
def test_a_shelf_over_what_life_comes_to_depend_on_lasts_an_hour_more_at_most(for_s: float | None, left_s: float) -> None:
    """Its alarm comes to be about another circuit; a shelf that ends sooner stays as it is."""
    alarms = Alarms(life=frozenset({"D6"}))
    alarms.edge(condition("begins", 0, circuits=("D2",)))
    answer(alarms, "shelve", 0, for_s=for_s)
    alarms.edge(condition("changes", 120, circuits=("D2", "D6"), since_ms=T0))
    assert alarms.standing()[0].shelved_until_ms == T0 + round((120 + left_s) * 1000)
    shortened = [(t.event, t.state, t.told, bool(t.why)) for t in alarms.out() if t.event != "changes"]
    assert shortened == ([("shelve", "shelved", False, True)] if left_s == 3_600.0 else [])


def test_hours_that_were_left_are_fewer_when_it_is_said_again_later() -> None:
    alarms = Alarms()
    alarms.edge(condition("begins", kind="undervoltage-approach", figures=(("hours_left", 0.6), ("volts", 12.1))))
    (stands,) = alarms.standing()
    for minutes, left_h in ((0, 0.6), (30, 0.1), (90, 0.0)):
        found = alarms.as_it_stands(stands.id, T0 + minutes * 60_000)
        assert found is not None
        assert dict(found.figures) == {"hours_left": pytest.approx(left_h), "volts": 12.1}
