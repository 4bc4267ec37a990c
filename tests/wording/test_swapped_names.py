"""While names look swapped, every sentence about one of them says so where it fits, and its body always does."""

from __future__ import annotations

from dataclasses import replace

import pytest
from test_sentences import CASES, FORBIDDEN, LABELS, transition

from panelward.records import Transition
from panelward.wording import alarm_object, body, message
from plans import FREEZER, LIGHTS, PLAN, SOCKETS, T0, plan

OTHER = replace(LIGHTS, feeder=None)


def doubted(case: tuple[str, str | None, str, dict[str, object], tuple[str, ...]], *circuits: str) -> Transition:
    return replace(transition(SOCKETS, case), evidence=(("names-swapped", (("circuits", circuits),)),), at_ms=T0 + 90_000)


@pytest.mark.parametrize("label", LABELS)
@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case[0]} {case[1]} {case[2]}")
def test_it_stays_within_140_and_the_body_says_it(
    label: str, case: tuple[str, str | None, str, dict[str, object], tuple[str, ...]]
) -> None:
    schedule = plan(replace(SOCKETS, label=label), replace(OTHER, label=label), FREEZER)
    for circuits in (("D5", "D7"), ("D1", "D5", "D7")):
        told = doubted(case, *circuits)
        sentence = message(told, schedule)
        assert len(sentence) <= 140
        assert not set(FORBIDDEN) & set(sentence.lower().split())
        assert "look swapped: what is said of one may be about another." in body(alarm_object(told, schedule), 1)


def test_the_other_is_named_and_of_several_it_is_said() -> None:
    schedule = plan(SOCKETS, OTHER, FREEZER)
    pair, ring = doubted(CASES[0], "D5", "D7"), doubted(CASES[0], "D1", "D5", "D7")
    begun = "Switch something off at Bench sockets: 17.6 A since 06:00, more than its fuse carries for long."
    assert message(pair, schedule) == f"{begun} Perhaps Mast lights: names look swapped."
    assert message(ring, schedule) == f"{begun} Names look swapped."


def test_the_alarm_itself_names_both_or_says_how_many() -> None:
    circuits = tuple(c.id for c in PLAN.circuits[1:4])
    pair = transition(SOCKETS, ("reading-suspect", "swapped", "medium", {"nats": 30.0, "hours": 24}, ()), circuits=("D7", "D5"))
    schedule = plan(SOCKETS, OTHER, FREEZER)
    assert message(pair, schedule) == (
        "Don't trust the names Bench sockets and Mast lights: their readings look swapped since Fri 06:00. Have them checked."
    )
    assert message(replace(pair, circuits=("D7", *circuits)), plan()).startswith("Don't trust the names of 4 circuits, ")
    for label in LABELS:
        long = plan(replace(SOCKETS, label=label), replace(OTHER, label=label))
        assert len(message(pair, long)) <= 140
