"""What stands is told by whatever schedule is in force then: renamed, taken away, another one's."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panelward.core import Core
from panelward.records import Request, Schedule, Settings, Transition
from panelward.wording import alarm_object, message
from plans import DETECTOR, PLAN, T0, stream
from wording.test_sentences import CASES, FORBIDDEN, LABELS, transition

DRAWS = {"D1": 4.0, "D5": 2.0, "D6": 0.1, "D7": 1.0, "D8": 1.0, "SH": 8.1}
OTHERS = ("supply", "feeder", "monitor", "broker", "vehicle", "address")
EVENTS = ("begins", "changes", "begins-again", "re-alarm", "ends", "withdrawn", "acknowledge", "unshelve", "work-over")


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
    for item in stream(DRAWS, 300):
        core.feed(item)
    for item in stream(dict.fromkeys(DRAWS, 0.0), 300, start_ms=T0 + 302_000, volts=0.0):
        core.feed(item)
    return next(a.id for a in core.standing() if a.condition.subject == "supply")


@pytest.mark.parametrize("kind", ["acknowledge", "shelve"])
@pytest.mark.parametrize("new", ["bank", "house"])
def test_an_alarm_of_a_supply_that_is_renamed_goes_on_to_be_told(kind: str, new: str) -> None:
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=PLAN, started=True))
    alarm = lost(core)
    ask = Request(kind=kind, received_ms=T0 + 610_000, alarm=alarm, for_s=600, who="Kari", why="seen")
    schedule = renamed(PLAN, "house", new)
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


NAMES = tuple(c.id for c in PLAN.circuits) + tuple(s.id for s in PLAN.supplies) + tuple(f.id for f in PLAN.feeders)


@given(
    case=st.sampled_from(CASES),
    subject=st.sampled_from(("circuit", *OTHERS)),
    subject_id=st.sampled_from((*NAMES, "gone")),
    circuits=st.lists(st.sampled_from((*NAMES, "gone")), max_size=4, unique=True),
    event=st.sampled_from(EVENTS),
    gone=st.lists(st.sampled_from(NAMES), max_size=6),
)
def test_whatever_stands_is_told_by_any_schedule(
    case: tuple[str, str | None, str, dict[str, object], tuple[str, ...]],
    subject: str, subject_id: str, circuits: list[str], event: str, gone: list[str],
) -> None:  # fmt: skip
    if case[0] == "readings-overdue" and subject in ("supply", "feeder", "address"):
        return  # these send none
    found = transition(
        PLAN.circuits[0], case, subject=subject, subject_id=subject_id, circuits=tuple(circuits), event=event
    )  # fmt: skip
    schedule = without(PLAN, tuple(gone))
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
