"""Who is told what, when: each rule beside what looks like it and is not."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panelward.notify.whom import AGAIN_S, Errand, Plan, Sent, Told, plan, rank, weekly_since
from panelward.records.people import People, Person, everybody

OSLO = ZoneInfo("Europe/Oslo")
ADA = Person(name="Ada", refs=("Ada",), sleeping=(22 * 60, 7 * 60))
BO = Person(name="Bo", refs=("Bo 1", "Bo 2"), after_s=900.0)
CY = Person(name="Cy", refs=("Cy",), priorities=("high",), circuits=("D1",))
THREE = People(persons=(ADA, BO, CY), weekly_day=0)


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=OSLO)


NOON, NIGHT = at("2026-11-26T12:00"), at("2026-11-26T23:30")


def told(priority: str = "high", event: str = "begins", *, over: bool = False, circuits: tuple[str, ...] = ("D1",),
         urgent: bool = False, worse: bool = False, wanted: bool = True) -> Told:  # fmt: skip
    return Told(priority=priority, event=event, over=over, circuits=circuits, urgent=urgent, worse=worse, wanted=wanted)


def first(found: Plan, ref: str) -> Errand:
    return next(errand for errand in found.errands if errand.ref == ref)


def test_high_sounds_at_night_and_twice_again_with_growing_gaps() -> None:
    found = [e for e in plan(told(), THREE, NIGHT).errands if e.ref == "Ada"]
    assert [(e.step, e.after_s, e.until_answered) for e in found] == [
        ("begun", 0.0, False),
        ("again-1", AGAIN_S[0], True),
        ("again-2", AGAIN_S[1], True),
    ]
    assert AGAIN_S[1] - AGAIN_S[0] > AGAIN_S[0]


def test_the_next_person_is_asked_when_nobody_answers_by_all_addresses() -> None:
    found = plan(told(), THREE, NOON)
    for ref in BO.refs:
        assert (first(found, ref).after_s, first(found, ref).until_answered) == (900.0, True)
    # … but not made to wait where nobody is aboard to answer.
    assert first(plan(told(), THREE, NOON, aboard=False), "Bo 1").after_s == 0.0


def test_medium_comes_once_and_waits_for_the_morning_of_who_sleeps() -> None:
    assert [(e.ref, e.step, e.after_s) for e in plan(told("medium"), THREE, NOON).errands] == [
        ("Ada", "begun", 0.0), ("Bo 1", "begun", 0.0), ("Bo 2", "begun", 0.0)
    ]  # fmt: skip
    found = plan(told("medium"), THREE, NIGHT)
    assert first(found, "Ada").after_s == 7.5 * 3600
    assert first(found, "Bo 1").after_s == 0.0


def test_low_stands_on_the_evening_sheet() -> None:
    found = first(plan(told("low"), THREE, NOON), "Ada")
    assert (found.after_s, found.on_sheet) == (6 * 3600, True)
    assert first(plan(told("low"), THREE, at("2026-11-26T18:30")), "Ada").after_s == 23.5 * 3600


@pytest.mark.parametrize(
    ("day", "hours"),
    # The hour changes in Oslo on 29 March and on 25 October 2026 (EU directive 2000/84/EC: last Sundays, 01:00 UTC).
    [("2026-03-28", 8.0 + 0.5 - 1), ("2026-10-24", 8.0 + 0.5 + 1), ("2026-11-26", 8.0 + 0.5)],
)
def test_the_morning_is_the_local_clocks_also_where_the_hour_changes(day: str, hours: float) -> None:
    assert first(plan(told("medium"), THREE, at(f"{day}T22:30")), "Ada").after_s == hours * 3600


def test_only_who_asked_for_it_hears_it() -> None:
    assert "Cy" not in {e.ref for e in plan(told("medium"), THREE, NOON).errands}
    assert "Cy" not in {e.ref for e in plan(told(circuits=("D2",)), THREE, NOON).errands}
    assert "Cy" in {e.ref for e in plan(told(circuits=("D2", "D1")), THREE, NOON).errands}
    assert "Cy" in {e.ref for e in plan(told(circuits=()), THREE, NOON).errands}, "what is about no circuit is about all"


def test_a_test_message_proves_every_address() -> None:
    found = plan(replace(told("low", urgent=True), everyone=True), THREE, NIGHT)
    assert {(e.ref, e.after_s) for e in found.errands} == {("Ada", 0.0), ("Bo 1", 0.0), ("Bo 2", 0.0), ("Cy", 0.0)}


BEGUN = Sent("Ada", "begun", "handed-over", 1, 500.0)
CHANGED = Sent("Ada", "changed", "handed-over", 1, 300.0)


def test_a_thread_is_begun_changed_over_and_the_rest_stands_on_the_sheet() -> None:
    ada = People(persons=(ADA,))
    second = plan(told("medium", "changes"), ada, NOON, [BEGUN])
    assert [(e.step, e.on_sheet) for e in second.errands] == [("changed", False)]
    third = plan(told("medium", "changes"), ada, NOON, [BEGUN, CHANGED])
    assert [(e.step, e.on_sheet) for e in third.errands] == [("changed", True)]
    over = plan(told("medium", "ends", over=True), ada, NOON, [BEGUN, CHANGED])
    assert [(e.step, e.on_sheet, e.after_s) for e in over.errands] == [("over", False, 0.0)]
    # Worse than before, or life: never on the sheet.
    assert not plan(told("high", "re-alarm", worse=True), ada, NOON, [BEGUN, CHANGED]).errands[0].on_sheet
    assert not plan(told("high", "changes", urgent=True), ada, NIGHT, [BEGUN, CHANGED]).errands[0].on_sheet


def test_who_was_never_told_of_it_hears_no_end_and_an_end_at_night_wakes_nobody() -> None:
    ada = People(persons=(ADA,))
    assert plan(told("high", "ends", over=True), ada, NOON).errands == ()
    found = plan(told("high", "ends", over=True), ada, NIGHT, [BEGUN])
    assert [(e.step, e.after_s) for e in found.errands] == [("over", 7.5 * 3600)]


def test_what_is_over_before_it_was_read_is_told_as_over() -> None:
    ada = People(persons=(ADA,))
    waits = Sent("Ada", "begun", "waiting", 0, 3 * 3600.0)
    found = plan(told("medium", "ends", over=True), ada, NIGHT, [waits])
    assert (found.overtaken, [e.step for e in found.errands]) == (("Ada",), ["over"])
    # An end that nobody would be told takes the message of its beginning along, and stands on the sheet.
    quiet = plan(told("medium", "ends", over=True, wanted=False), ada, NIGHT, [waits])
    assert (quiet.overtaken, [(e.step, e.on_sheet) for e in quiet.errands]) == (("Ada",), [("over", True)])
    # Just begun: that message is on its way, and is let go.
    now = plan(told("medium", "ends", over=True, wanted=False), ada, NOON, [Sent("Ada", "begun", "waiting", 0, 2.0)])
    assert now == Plan((), ())


def test_laid_up_what_is_not_high_waits_for_the_weekly_sheet() -> None:
    found = first(plan(told("medium"), THREE, NOON, laid_up=True), "Ada")  # a Thursday
    assert (found.on_sheet, found.after_s) == (True, (4 * 24 + 6) * 3600)
    assert first(plan(told("high"), THREE, NOON, laid_up=True), "Ada").after_s == 0.0


def test_an_address_without_a_person_hears_everything_at_once() -> None:
    one = everybody(["notify-1"])
    for priority in ("high", "medium", "low"):
        assert first(plan(told(priority), one, NIGHT, aboard=False, laid_up=True), "notify-1").after_s == 0.0


@given(
    priority=st.sampled_from(["high", "medium", "low"]),
    minute=st.integers(0, 366 * 1440 - 1),
    aboard=st.sampled_from([None, True, False]),
    laid_up=st.booleans(),
)
def test_life_is_never_made_to_wait(priority: str, minute: int, aboard: bool | None, laid_up: bool) -> None:
    local = datetime.fromtimestamp(1_767_225_600 + 60 * minute, OSLO)
    for sent in ([], [BEGUN, CHANGED]):
        found = plan(told(priority, urgent=True), THREE, local, sent, aboard=aboard, laid_up=laid_up)
        assert first(found, "Ada").after_s == 0.0
    some = plan(told(priority), THREE, local, aboard=aboard, laid_up=laid_up)
    for errand in some.errands:
        assert 0.0 <= errand.after_s <= 9 * 86_400.0
        assert errand.expires_s > errand.after_s


def test_what_matters_most_leads() -> None:
    order = [told("low", urgent=True), told("high"), told("medium"), told("low"), told("high", over=True)]
    assert [rank(each) for each in order] == sorted(rank(each) for each in order)


def test_the_weekly_sign_is_due_on_its_evening() -> None:
    assert weekly_since(THREE, at("2026-11-30T18:00")) == at("2026-11-30T18:00")
    assert weekly_since(THREE, at("2026-11-30T17:59")) == at("2026-11-23T18:00")
    assert weekly_since(People(persons=(ADA,)), NOON) is None
