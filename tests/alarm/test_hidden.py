"""Shelved, suppressed, out of service, latched: apart from each other, so what ends one of them ends that one alone."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alarm.edges import edge, until
from panelward.alarm import Alarms
from panelward.records import Request, Transition
from plans import T0


def ask(alarms: Alarms, kind: str, at_s: float = 0.0, **keys: object) -> bool:
    request = Request(kind=kind, received_ms=T0, who="Kari", why="painting", **({"circuit": "D1"} | keys))  # type: ignore[arg-type]
    return alarms.request(request, T0 + round(at_s * 1000)).done


def stands(alarms: Alarms) -> list[tuple[str, bool]]:
    return [(a.state, a.active) for a in alarms.standing()]


@pytest.mark.parametrize(("away", "back"), [("shelve", "unshelve"), ("out-of-service", "in-service")])
def test_what_a_parent_explains_stays_suppressed_when_a_person_lets_it_out(away: str, back: str) -> None:
    alarms = Alarms()
    alarms.edge(edge("D1"))
    assert ask(alarms, away)
    alarms.edge(edge("D1", "suppressed", 60))
    alarms.out()
    assert ask(alarms, back, 120)
    assert [(t.event, t.state, t.told) for t in alarms.out()] == [(back, "suppressed", False)]
    alarms.edge(edge("D1", "unsuppressed", 180))
    assert [(t.event, t.state, t.told) for t in alarms.out()] == [("unsuppress", "unacknowledged", True)]


@pytest.mark.parametrize(("away", "back"), [("shelve", "unshelve"), ("out-of-service", "in-service")])
def test_its_parent_back_it_is_told_when_it_is_let_out(away: str, back: str) -> None:
    alarms = Alarms()
    alarms.edge(edge("D1"))
    assert ask(alarms, away)
    alarms.edge(edge("D1", "suppressed", 60))
    alarms.edge(edge("D1", "unsuppressed", 90))
    alarms.out()
    assert ask(alarms, back, 120)
    assert [(t.event, t.state, t.told) for t in alarms.out()] == [(back, "unacknowledged", True)]


def test_what_ends_is_suppressed_no_more_and_its_next_time_is_told() -> None:
    """Its parent's end need not say so: what is over, nothing explains."""
    alarms = Alarms()
    alarms.edge(edge("D1"))
    alarms.edge(edge("D1", "suppressed", 60))
    alarms.edge(edge("D1", "ends", 90))
    assert alarms.standing() == ()
    alarms.out()
    alarms.edge(edge("D1", "begins", 120))
    assert [t.told for t in alarms.out()] == [True]


@pytest.mark.parametrize("away", ["shelve", "out-of-service", "suppressed"])
@pytest.mark.parametrize(("kind", "state"), [("protection-opened", "latched-unacknowledged"), ("feed-lost", None)])
def test_what_latches_must_be_looked_at_whatever_hid_its_end(away: str, kind: str, state: str | None) -> None:
    alarms = Alarms()
    alarms.edge(edge("D1", kind=kind))
    if away == "suppressed":
        alarms.edge(edge("D1", "suppressed", 60, kind=kind))
    else:
        assert ask(alarms, away, 60, for_s=600.0)
    alarms.edge(edge("D1", "ends", 300, kind=kind))
    until(alarms, 700)
    assert stands(alarms) == ([(state, False)] if state else [])
    alarms.out()
    if state:
        assert ask(alarms, "acknowledge", 800)
        assert [t.event for t in alarms.out()] == ["acknowledge", "reset"]
        assert alarms.standing() == ()


def test_what_was_withdrawn_while_shelved_needs_no_look() -> None:
    alarms = Alarms()
    alarms.edge(edge("D1", kind="protection-opened"))
    assert ask(alarms, "shelve", 60, for_s=600.0)
    alarms.edge(edge("D1", "withdrawn", 300, kind="protection-opened"))
    until(alarms, 700)
    assert alarms.standing() == ()


def test_a_circuit_is_taken_out_of_service_before_the_work_begins_and_comes_back_as_it_is() -> None:
    """By itself at the end that was said, a day later at the most."""
    for end_s, ends in ((600.0, None), (86_400.0, None), (300.0, "in-service")):
        alarms = Alarms()
        assert ask(alarms, "out-of-service", 0, for_s=None if end_s == 86_400.0 else 600.0)
        assert [(r.circuit, r.who) for r in alarms.removed()] == [("D1", "Kari")]
        alarms.edge(edge("D1", at_s=60))
        alarms.edge(edge("D2", at_s=60))
        assert [(t.subject_id, t.state, t.told) for t in alarms.out()] == [
            ("D1", "out-of-service", False), ("D2", "unacknowledged", True)
        ]  # fmt: skip
        if ends:
            assert ask(alarms, ends, end_s)
        else:
            assert until(alarms, end_s - 1) == []
        found = until(alarms, end_s)
        assert [(t.subject_id, t.event, t.state, t.told) for t in found] == [("D1", "in-service", "unacknowledged", True)]
        assert alarms.removed() == ()


@pytest.mark.parametrize("for_s", [0.0, -1.0, 86_401.0])
def test_out_of_service_is_bounded(for_s: float) -> None:
    alarms = Alarms()
    assert not ask(alarms, "out-of-service", for_s=for_s)
    assert not ask(alarms, "in-service")
    assert alarms.removed() == ()


def test_what_life_depends_on_is_never_out_of_service() -> None:
    alarms = Alarms(life=frozenset({"D1"}))
    assert not ask(alarms, "out-of-service", for_s=60.0)
    alarms.edge(edge("D1"))
    assert not ask(alarms, "out-of-service", for_s=60.0)
    assert not ask(alarms, "out-of-service", circuit=None, alarm=alarms.standing()[0].id)
    assert stands(alarms) == [("unacknowledged", True)]


def test_what_life_comes_to_depend_on_is_back_in_service() -> None:
    alarms = Alarms()
    assert ask(alarms, "out-of-service")
    alarms.edge(edge("D1"))
    alarms.out()
    alarms.life = frozenset({"D1"})
    alarms.cap(T0 + 60_000)
    assert [(t.event, t.state, t.told) for t in alarms.out()] == [("in-service", "unacknowledged", True)]
    assert alarms.removed() == ()


STEPS = st.lists(
    st.sampled_from(
        ["shelve", "unshelve", "out-of-service", "in-service", "acknowledge", "lost", "back", "fails", "lives", "wait"]
    ),
    max_size=40,
)


@given(STEPS)
def test_one_cause_is_never_told_twice_in_any_order(steps: list[str]) -> None:
    """While its feeder's alarm stands, a circuit says nothing by itself, whatever people did with its alarm before or since.
    Once it is back, what still stands and nobody hid is asked for. Out of service it says nothing. A restored copy is alike.
    """
    one, lost, stands_alone = Alarms(), False, False
    for n, what in enumerate(steps):
        at_s = 20.0 * n
        other = Alarms()
        other.restore(json.loads(json.dumps(one.save())))
        found: list[list[Transition]] = []
        for alarms in (one, other):
            _step(alarms, what, at_s, lost=lost, fails=stands_alone)
            found.append(until(alarms, at_s))
        lost = what == "lost" or (lost and what != "back")
        stands_alone = (stands_alone and what != "lives") or (what == "fails" and not lost)
        assert found[0] == found[1]
        assert one.save() == other.save()
        if lost or one.removed():
            assert [t for t in found[0] if t.subject_id == "D1" and t.told] == []
        states = [a.state for a in one.standing() if a.condition.subject_id == "D1" and a.active]
        if lost:
            assert not {"unacknowledged", "acknowledged"} & set(states)
        elif stands_alone:
            assert len(states) == 1
            assert states != ["suppressed"]


def _step(alarms: Alarms, what: str, at_s: float, *, lost: bool, fails: bool) -> None:
    """What the watch says of a circuit and its feeder (it begins nothing that a parent explains); what people ask."""
    if what == "lost" and not lost:
        alarms.edge(edge("rear", "begins", at_s, subject="feeder", circuits=("D1",)))
        if fails:
            alarms.edge(edge("D1", "suppressed", at_s))
    elif what == "back" and lost:
        alarms.edge(edge("rear", "ends", at_s, subject="feeder", circuits=("D1",)))
        if fails:
            alarms.edge(edge("D1", "unsuppressed", at_s))
    elif what == "fails" and not lost and not fails:
        alarms.edge(edge("D1", "begins", at_s))
    elif what == "lives" and fails:
        alarms.edge(edge("D1", "ends", at_s))
    elif what not in ("lost", "back", "fails", "lives", "wait"):
        ask(alarms, what, at_s, for_s=30.0 if what == "shelve" else None)


@pytest.mark.parametrize("before", [False, True], ids=["never over before", "over once before"])
@pytest.mark.parametrize(("away", "back"), [("shelve", "unshelve"), ("out-of-service", "in-service")])
@pytest.mark.parametrize("asked", [False, True], ids=["its time runs out", "a person asks"])
def test_let_out_while_its_end_is_not_sure_yet_it_latches_like_any_other(
    before: bool, away: str, back: str, asked: bool
) -> None:
    """What overheats is over only 15 s after it seems so; in those it comes back from the shelf."""
    hot = {"kind": "conductor-overheating", "priority": "high"}
    alarms = Alarms()
    alarms.edge(edge("D1", "begins", 0, **hot))
    assert ask(alarms, away, 10, for_s=600.0)
    if before:
        alarms.edge(edge("D1", "ends", 100, **hot))
        until(alarms, 200)
        alarms.edge(edge("D1", "begins", 300, **hot))
    alarms.edge(edge("D1", "ends", 600, **hot))
    if asked:
        assert ask(alarms, back, 605)
    until(alarms, 700)
    assert stands(alarms) == [("latched-unacknowledged", False)]


@pytest.mark.parametrize(("for_s", "back_at_s"), [(5 * 3600.0, 18_120), (600.0, 720)])
def test_another_end_of_the_time_out_of_service_is_that_of_its_alarms_too(for_s: float, back_at_s: int) -> None:
    alarms = Alarms()
    assert ask(alarms, "out-of-service", 0, for_s=3600.0)
    alarms.edge(edge("D1", "begins", 60))
    assert ask(alarms, "out-of-service", 120, for_s=for_s)
    assert not any(t.told for t in until(alarms, back_at_s - 1))
    assert [t.told for t in until(alarms, back_at_s)] == [True]


def test_of_swapped_names_either_may_be_named_and_what_life_depends_on_holds_up_no_other() -> None:
    alarms = Alarms(life=frozenset({"D2"}))
    swapped = {"kind": "reading-suspect", "priority": "medium", "circuits": ("D1", "D2")}
    alarms.edge(edge("D1", "begins", 0, **swapped))
    assert ask(alarms, "acknowledge", 1, alarm=alarms.standing()[0].id, circuit="D2")
    assert not ask(alarms, "acknowledge", 1, alarm=alarms.standing()[0].id, circuit="D3")
    assert ask(alarms, "out-of-service", 2)
    assert [a.state for a in alarms.standing()] == ["acknowledged"], "it is about life, too"
    assert len(alarms.removed()) == 1


@pytest.mark.parametrize("seen", [False, True], ids=["not seen", "seen while it stood"])
@pytest.mark.parametrize("over", [False, True], ids=["it stands", "it is over"])
def test_what_latched_and_begins_again_on_a_circuit_out_of_service_is_not_told_yet(seen: bool, over: bool) -> None:
    hot = {"kind": "conductor-overheating", "priority": "high"}
    alarms = Alarms()
    alarms.edge(edge("D1", "begins", 0, **hot))
    if seen:
        assert ask(alarms, "acknowledge", 5)
    alarms.edge(edge("D1", "ends", 60, **hot))
    until(alarms, 100)
    assert ask(alarms, "out-of-service", 200, for_s=600.0)
    assert [a.state.partition("-")[0] for a in alarms.standing()] == ["latched"], "a look is owed, whoever works there"
    alarms.out()
    alarms.edge(edge("D1", "begins", 300, **hot))
    if over:
        alarms.edge(edge("D1", "ends", 400, **hot))
    assert not any(t.told for t in (*alarms.out(), *until(alarms, 799)))
    assert [t.event for t in until(alarms, 800)] == ["in-service"]
    assert stands(alarms) == ([("latched-unacknowledged", False)] if over else [("unacknowledged", True)])
