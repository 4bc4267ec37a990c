""" "I am in the panel until …": ten pulled fuses are not ten alarms, and what still stands at the end is told."""

from __future__ import annotations

import json

import pytest
from edges import edge, told, until

from panelward.alarm import Alarms
from panelward.alarm.work import MOST_S
from panelward.records import Answer, Request
from plans import T0


def working(alarms: Alarms, at_s: float = 0.0, **keys: object) -> Answer:
    base: dict[str, object] = {"kind": "working", "received_ms": T0, "who": "Kari", "for_s": 3600.0}
    return alarms.working(Request(**(base | keys)), T0 + round(at_s * 1000))  # type: ignore[arg-type]


def test_work_on_the_panel_keeps_its_alarms_from_people_and_marks_them() -> None:
    alarms = Alarms()
    assert working(alarms).done
    alarms.edge(edge("D1", at_s=60))
    found = alarms.out()
    assert [(t.state, t.told) for t in found] == [("unacknowledged", False)]
    assert found[0].evidence[0] == ("under-work", (("who", "Kari"), ("until_s", T0 // 1000 + 3600)))


def test_what_life_depends_on_and_an_overheating_conductor_are_told_as_always_and_marked() -> None:
    alarms = Alarms(life=frozenset({"D6"}))
    working(alarms)
    alarms.edge(edge("D6", at_s=60))
    alarms.edge(edge("rear", at_s=61, subject="feeder", circuits=("D5", "D6")))
    alarms.edge(edge("D7", at_s=62, kind="conductor-overheating", priority="high"))
    found = alarms.out()
    assert told(found) == ["D6", "rear", "D7"]
    assert all(t.evidence[0][0] == "under-work" for t in found)


def test_work_on_one_circuit_leaves_the_others_alone() -> None:
    alarms = Alarms()
    working(alarms, circuit="D1")
    for circuit in ("D1", "D2"):
        alarms.edge(edge(circuit, at_s=60))
    alarms.edge(edge("rear", at_s=61, subject="feeder", circuits=("D1", "D3")))
    alarms.edge(edge("front", at_s=62, subject="feeder", circuits=("D1",)))
    alarms.edge(edge("dc", at_s=63, subject="monitor", kind="readings-overdue"))
    assert told(alarms.out()) == ["D2", "rear", "dc"]


def test_at_the_end_what_still_stands_is_told_and_nothing_else() -> None:
    alarms = Alarms()
    alarms.edge(edge("D9", at_s=0))  # told before
    working(alarms, 1)
    for circuit in ("D1", "D2", "D3", "D4"):
        alarms.edge(edge(circuit, at_s=60))
    alarms.edge(edge("D2", "ends", at_s=120))
    alarms.request(Request(kind="acknowledge", received_ms=T0, circuit="D3"), T0 + 130_000)
    alarms.request(Request(kind="shelve", received_ms=T0, circuit="D4", for_s=7200.0), T0 + 130_000)
    assert told(alarms.out()) == ["D9"]
    assert alarms.next_ms() == T0 + 3_601_000
    out = until(alarms, 3601)
    assert [(t.subject_id, t.event, t.state, t.told) for t in out] == [("D1", "work-over", "unacknowledged", True)]
    assert out[0].evidence == ()
    assert alarms.works() == ()
    alarms.edge(edge("D1", "ends", at_s=3700))
    assert told(alarms.out()) == ["D1"]


def test_many_that_stand_at_the_end_are_a_flood() -> None:
    alarms = Alarms(vehicle="van")
    working(alarms)
    for n in range(14):
        alarms.edge(edge(f"D{n}", at_s=60))
    assert told(until(alarms, 3599)) == []
    assert told(until(alarms, 3700)) == [*(f"D{n}" for n in range(10)), "van"]


def test_alarms_under_work_are_no_flood() -> None:
    alarms = Alarms()
    working(alarms, circuit="D1")
    working(alarms, circuit="D2")
    for n in range(8):
        alarms.edge(edge(("D1", "D2")[n % 2], at_s=n, kind=("feed-lost", "standby-drain", "overcurrent-approach")[n % 3]))
    for n in range(10):
        alarms.edge(edge(f"E{n}", at_s=20))
    assert told(until(alarms, 600)) == [f"E{n}" for n in range(10)]


def test_done_ends_it_before_its_time() -> None:
    alarms = Alarms()
    working(alarms)
    alarms.edge(edge("D1", at_s=60))
    answer = working(alarms, 120, done=True, for_s=None)
    assert answer.done
    assert told(alarms.out()) == ["D1"]


def test_two_at_one_panel_it_ends_with_the_last() -> None:
    alarms = Alarms()
    working(alarms, who="Kari", for_s=3600.0)
    working(alarms, who="Ola", for_s=1800.0, circuit="D1")
    alarms.edge(edge("D1", at_s=60))
    assert alarms.out()[0].evidence[0][1][0] == ("who", "Kari")
    assert until(alarms, 1800) == []
    assert working(alarms, 1900, who="Kari", done=True, for_s=None).done
    assert told(alarms.out()) == ["D1"]


def test_the_same_person_can_move_the_end() -> None:
    alarms = Alarms()
    working(alarms, 0, for_s=600.0)
    working(alarms, 300, for_s=600.0)
    alarms.edge(edge("D1", at_s=400))
    assert told(until(alarms, 899)) == []
    assert told(until(alarms, 900)) == ["D1"]


@pytest.mark.parametrize(
    ("keys", "why"),
    [
        ({"who": " "}, "who"),
        ({"for_s": None}, "for_s"),
        ({"for_s": MOST_S + 1}, "43200"),
        ({"alarm": "D1-dead-x"}, "no alarm"),
        ({"done": True, "who": "Ola"}, "Kari"),
        ({"done": True, "circuit": "D5"}, "D5"),
    ],
)
def test_what_is_refused_changes_nothing(keys: dict[str, object], why: str) -> None:
    alarms = Alarms()
    working(alarms)
    before = json.dumps(alarms.save())
    answer = working(alarms, 60, **keys)
    assert not answer.done
    assert why in answer.why
    assert json.dumps(alarms.save()) == before


def test_twelve_hours_are_allowed() -> None:
    assert working(Alarms(), for_s=MOST_S).done


def test_work_that_ends_in_an_off_delay_tells_all_the_same() -> None:
    alarms = Alarms()
    working(alarms, for_s=600.0)
    alarms.edge(edge("D7", at_s=60, kind="overcurrent-approach"))
    alarms.edge(edge("D7", "ends", at_s=595, kind="overcurrent-approach"))
    out = until(alarms, 604)
    alarms.edge(edge("D7", at_s=605, kind="overcurrent-approach"))
    assert told(out + until(alarms, 3600)) == ["D7"]
