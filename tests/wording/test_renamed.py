"""What stands is told by whatever schedule is in force then: renamed, taken away, another one's."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import product

import pytest

from panelward.core import Core
from panelward.records import Request, Schedule, Settings, Transition
from panelward.wording import alarm_object, message
from plans import DETECTOR, PLAN, T0, stream
from wording.test_sentences import CASES, FORBIDDEN, LABELS, transition

DRAWS = {"D1": 4.0, "D5": 2.0, "D6": 0.1, "D7": 1.0, "D8": 1.0, "SH": 8.1}
EVENTS = ("begins", "ends", "withdrawn", "acknowledge")


def renamed(schedule: Schedule, old: str, new: str) -> Schedule:
    """The same with another name for a supply."""
    return replace(
        schedule,
        supplies=tuple(replace(s, id=new) if s.id == old else s for s in schedule.supplies),
        feeders=tuple(replace(f, supply=new) if f.supply == old else f for f in schedule.feeders),
        circuits=tuple(replace(c, supply=new) if c.supply == old else c for c in schedule.circuits),
    )


def lost(core: Core) -> str:
    """The alarm of the supply, whose volts are gone."""
    draws = {name: amps for name, amps in DRAWS.items() if any(c.id == name for c in core.schedule.circuits)}
    for item in (*stream(draws, 300), *stream(dict.fromkeys(draws, 0.0), 300, start_ms=T0 + 302_000, volts=0.0)):
        core.feed(item)
    return next(a.id for a in core.standing() if a.condition.subject == "supply")


@pytest.mark.parametrize("kind", ["acknowledge", "shelve"])
@pytest.mark.parametrize("new", ["bank", "house"])
def test_an_alarm_of_a_supply_that_is_renamed_goes_on_to_be_told(kind: str, new: str) -> None:
    core, before = Core(), replace(PLAN, circuits=tuple(c for c in PLAN.circuits if c.id != "D6"))
    core.feed(Settings(received_ms=T0, schedule=before, started=True))
    alarm = lost(core)
    ask = Request(kind=kind, received_ms=T0 + 610_000, alarm=alarm, for_s=600, who="Kari", why="seen")
    schedule = renamed(before, "house", new)
    asked = [ask] if kind == "shelve" else []
    out = [item for request in asked for item in core.feed(request)]
    out += core.feed(Settings(received_ms=T0 + 620_000, schedule=schedule))
    if kind == "acknowledge":
        out += core.feed(replace(ask, received_ms=T0 + 640_000))
    out += core.advance(T0 + 1_400_000)
    told = [message(t, schedule) for t in out if isinstance(t, Transition) and t.id == alarm]
    assert told
    assert all(told)


def without(schedule: Schedule, gone: tuple[str, ...]) -> Schedule:
    return replace(
        schedule,
        supplies=tuple(s for s in schedule.supplies if s.id not in gone),
        feeders=tuple(f for f in schedule.feeders if f.id not in gone and f.supply not in gone),
        circuits=tuple(c for c in schedule.circuits if c.id not in gone and c.supply not in gone),
    )


NAMES = ("house", "mains", "rear", "D1", "D6", "D7", "gone")
COVERED = ((), ("D7",), ("D1", "D7"), ("D6", "gone"))


@pytest.mark.parametrize("subject", ["circuit", "supply", "feeder", "monitor", "broker", "vehicle", "address"])
@pytest.mark.parametrize("gone", [("house",), ("rear", "D1"), ("D6", "D7"), ("house", "rear", "D1", "D6", "D7")])
def test_whatever_stands_is_told_by_any_schedule(subject: str, gone: tuple[str, ...]) -> None:
    schedule = without(PLAN, gone)
    for case, name, circuits, event in product(CASES, NAMES, COVERED, EVENTS):
        if case[0] == "readings-overdue" and subject in ("supply", "feeder", "address"):
            continue  # these send none
        found = transition(PLAN.circuits[0], case, subject=subject, subject_id=name, circuits=circuits, event=event)
        sentence = str(alarm_object(replace(found, evidence=()), schedule)["message"])
        assert sentence
        assert len(sentence) <= 140


@pytest.mark.parametrize("label", LABELS)
@pytest.mark.parametrize(
    ("keys", "nothing"),
    [
        ({"subject": "supply", "subject_id": "bank", "circuits": ("D1", "D6", "D7")}, False),  # life among them
        ({"subject": "supply", "subject_id": "bank", "circuits": ("D1", "D7")}, False),  # always-on
        ({"subject": "supply", "subject_id": "bank", "circuits": ("gone",)}, False),  # nobody knows what it was
        ({"subject": "supply", "subject_id": "x" * 60, "circuits": ("D7",)}, True),
        ({"subject": "monitor", "subject_id": "dc", "circuits": ()}, True),
        ({"subject_id": "D6"}, False),
        ({"subject_id": "gone"}, False),
        ({"subject_id": "D7"}, True),
    ],
)
def test_what_is_no_longer_watched_may_still_be_so_and_is_called_by_its_own_name(
    label: str, keys: dict[str, object], nothing: bool
) -> None:
    """The gas detector is in the schedule, and without power: only that its supply has another name now."""
    schedule = replace(PLAN, circuits=tuple(replace(c, label=label) if c.id == "D6" else c for c in PLAN.circuits))
    found = transition(DETECTOR, CASES[0], event="withdrawn", **keys)
    sentence = message(found, schedule)
    assert sentence.startswith("Nothing to do: " if nothing else "Look at "), sentence
    assert str(found.subject_id)[:15] in sentence or found.subject == "circuit" or found.circuits == ("gone",), sentence
    assert len(sentence) <= 140
    assert not re.search(rf"\b({'|'.join(FORBIDDEN)})\b", sentence, re.IGNORECASE), sentence
    if found.subject != "circuit":
        assert f"{label[:10]} is no longer" not in sentence
