"""A flood's one sentence, for every load that may be named in it, every mix and every state; and the mark of work."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

import pytest
from test_sentences import ALL, FORBIDDEN, LABELS, LOADS, NEVER

from panelward.alarm import Alarms
from panelward.records import GROUP_OF, Circuit, Condition, Request, Schedule, Supply, Transition
from panelward.wording import alarm_object, body, english, message
from plans import PLAN, T0, circuit, plan

MIXES = {
    "dead": ("feed-lost",),
    "opened": ("protection-opened",),
    "overcurrent": ("overcurrent-approach",),
    "silent": ("readings-overdue",),
    "drain": ("standby-drain",),
    "mixed": ("overcurrent-approach", "standby-drain", "feed-lost"),
    "strange": ("reading-suspect", "protection-doubtful"),
}


def vehicle(name: str, label: str) -> Schedule:
    """Fourteen circuits, the sixth of this load; life hangs on no other."""
    loads = [circuit(f"X{n}", f"Light {n}", "light", feed="always-on") for n in range(14)]
    loads[5] = circuit("X5", label, **LOADS[name])  # type: ignore[arg-type]
    return replace(plan(*loads), supplies=(*PLAN.supplies, Supply(id="mains", kind="ac", nominal_v=230)))


def flood(
    schedule: Schedule, kinds: tuple[str, ...] = ("feed-lost",), *, apart_ms: int = 1000, end: bool = False
) -> Iterator[tuple[Transition, int]]:
    """The transitions of a flood's summary, from its beginning until it is over and acknowledged; made by the alarms."""
    alarms = Alarms(vehicle=schedule.vehicle.id)
    alarms.life = frozenset(c.id for c in schedule.circuits if c.importance == "life")

    def fire(until_ms: int) -> None:
        while (due := alarms.next_ms()) is not None and due <= until_ms:
            alarms.fire(due)

    def summaries(until_ms: int) -> Iterator[Transition]:
        fire(until_ms)
        yield from (t for t in alarms.out() if t.kind == "flood")

    def edges(name: str, from_ms: int, ids: list[str], each_ms: int) -> None:
        for n, circuit_id in enumerate(ids):
            at_ms, kind = from_ms + n * each_ms, kinds[n % len(kinds)]
            fire(at_ms)
            alarms.edge(
                Condition(
                    subject="circuit", subject_id=circuit_id, group=GROUP_OF[kind], edge=name, at_ms=at_ms, since_ms=at_ms,
                    kind=kind, priority="medium",
                )
            )  # fmt: skip

    ids = [c.id for c in schedule.circuits]
    edges("begins", T0, ids, apart_ms)
    last_ms = T0 + 14 * apart_ms
    yield from ((t, 0) for t in summaries(last_ms + 40_000))
    if end:
        edges("ends", last_ms + 50_000, ids, 1)
    else:
        edges("begins", last_ms + 60_000, ["M1", "M2"], 1000)
    yield from ((t, 1) for t in summaries(last_ms + 700_000))
    yield from ((t, 2) for t in summaries(last_ms + 7_200_000))
    summary = next(a.id for a in alarms.standing() if a.condition.kind == "flood")
    assert alarms.request(Request(kind="acknowledge", received_ms=T0, alarm=summary), last_ms + 7_200_000).done
    yield from ((t, 3) for t in alarms.out() if t.kind == "flood")


def every() -> Iterator[tuple[str, str, Transition, str]]:
    for name in LOADS:
        for label in LABELS:
            schedule = vehicle(name, label)
            for mix, kinds in MIXES.items():
                for apart_ms in (1000, 20_000):
                    for end in (False, True):
                        for transition, _ in flood(schedule, kinds, apart_ms=apart_ms, end=end):
                            for again in (False, True):
                                yield name, mix, transition, message(transition, schedule, again=again)


SENTENCES = list(every())


def test_it_is_no_longer_than_a_phone_shows_and_says_no_forbidden_word() -> None:
    assert len(SENTENCES) > 3000
    for name, mix, _, sentence in SENTENCES:
        assert len(sentence) <= 140, (name, mix, sentence)
        assert not sentence.endswith("…"), (name, mix, sentence)
        words = re.findall(r"[a-z]+", sentence.lower())
        assert not [w for w in words if w in FORBIDDEN], sentence
        assert not re.search(ALL, sentence), sentence
        assert re.search(r"\d\d:\d\d", sentence), sentence
        assert "  " not in sentence, sentence


def test_every_model_is_used() -> None:
    """No sentence stands in the table that nothing says (the ones without a label: where no circuit is known)."""
    said = "\n".join(s for *_, s in SENTENCES)
    for situation, manners in english.SENTENCES.items():
        if situation.startswith("flood"):
            for manner, lines in manners.items():
                act = re.split(r"[{]", lines[0])[0]
                assert act in said or manner == "none", (situation, manner)


@pytest.mark.parametrize("name", sorted(NEVER))
def test_what_may_never_be_advised_for_a_load_is_not(name: str) -> None:
    for load, _, _, sentence in SENTENCES:
        if load == name and LABELS[1] in sentence:
            told = re.sub(r"[Ss]witch off what you can do without", "", sentence)
            pattern = NEVER[name]
            if name == "inverter":
                pattern = r"main switch off"  # to look at it is no advice to switch it
            assert not re.search(pattern, told), sentence


@pytest.mark.parametrize("load", ["detector", "medical"])
def test_life_is_named_first_where_it_stopped(load: str) -> None:
    for name, mix, transition, sentence in SENTENCES:
        stopped = dict(transition.figures).get("stopped") or ()
        if name == load and "X5" in stopped and transition.state == "unacknowledged":  # type: ignore[operator]
            act = {"detector": "Shut the gas, air the cabin", "medical": "Ring whoever needs "}[load]
            assert sentence.removeprefix("Again: ").startswith(act), (mix, sentence)


def test_the_models_word_for_word() -> None:
    schedule = vehicle("detector", "Gas detector")
    first, again, over, _ = (message(t, schedule) for t, _ in flood(schedule))
    assert first == (
        "Shut the gas, air the cabin, then find the main switch: 14 circuits stopped together at 06:00, "
        "Gas detector among them."
    )
    assert again.startswith("Again: Shut the gas, air the cabin")
    assert over == ("Look at the list of alarms for what still stands: since 06:10 they are told one by one again.")
    schedule = vehicle("cold", "Sample freezer")
    assert message(next(flood(schedule))[0], schedule) == (
        "Look at the main switch: 14 circuits stopped together at 06:00, Light 0 among them."
    )
    assert message(next(flood(schedule, apart_ms=20_000))[0], schedule) == (
        "Look at the main switch: 12 circuits stopped since 06:00, Light 0 among them."
    )
    assert message(next(flood(schedule, MIXES["mixed"]))[0], schedule) == (
        "Look at Light 0 first, then at the whole panel: 14 alarms since 06:00, it among them."
    )


def test_a_summary_said_again_says_so() -> None:
    schedule = vehicle("cold", "Sample freezer")
    said = [(t.event, message(t, schedule).startswith("Again: ")) for t, _ in flood(schedule)]
    assert said == [("begins", False), ("changes", True), ("ends", False), ("acknowledge", False)]


def test_the_object_of_a_flood_is_an_alarm_object() -> None:
    schedule = vehicle("detector", "Gas detector")
    found = alarm_object(next(flood(schedule))[0], schedule)
    assert (found["kind"], found["group"], found["subject"]) == ("flood", "flood", {"vehicle": "survey-van"})
    assert (found["vehicle"], found["state"], found["alarms"], found["dead"]) == ("survey-van", "unacknowledged", 14, 14)
    assert found["circuits"] == [f"X{n}" for n in range(14)]
    assert found["evidence"] == [
        "More than 10 messages within 10 min: until it calms, one message tells of all, at most every 10 min.",
        "14 of the kind feed-lost.",
    ]
    assert "does not protect" in body(found, 1)


def test_circuits_that_the_schedule_no_longer_has_are_no_reason_to_fail() -> None:
    summary = next(flood(vehicle("cold", "Sample freezer")))[0]
    assert message(summary, PLAN) == "Look at the whole panel: 14 alarms since 06:00, too many to tell one by one."


def under_work(load: Circuit, who: str = "Kari", **keys: object) -> tuple[Transition, ...]:
    alarms = Alarms(**keys)  # type: ignore[arg-type]
    alarms.working(Request(kind="working", received_ms=T0, who=who, for_s=7200.0), T0)
    edge = Condition(
        subject="circuit", subject_id=load.id, group="dead", edge="begins", at_ms=T0 + 60_000, since_ms=T0 + 1000,
        kind="feed-lost", priority="high", cause="unknown",
    )  # fmt: skip
    alarms.edge(edge)
    alarms.fire(T0 + 7_200_000)
    return tuple(alarms.out())


def test_an_alarm_under_work_says_who_and_until_when_in_the_vehicles_time() -> None:
    schedule = vehicle("cold", "Sample freezer")
    oslo = replace(schedule, vehicle=replace(schedule.vehicle, timezone="Europe/Oslo"))
    marked, _ = under_work(schedule.circuit("X5"))
    assert alarm_object(marked, oslo)["evidence"] == ["Somebody works on it, Kari, until 10:00."]


def test_told_after_the_end_the_sentence_is_the_ordinary_one() -> None:
    schedule = vehicle("cold", "Sample freezer")
    _, told = under_work(schedule.circuit("X5"))
    assert told.told
    assert message(told, schedule) == (
        "Look at Sample freezer's display. Dark: no power, ring the fitter. Lit: it rests or was turned down. "
        "No draw for 2 h, since 06:00."
    )
    assert alarm_object(told, schedule)["evidence"] == []


@pytest.mark.parametrize("who", ["x" * 500, "Kari {until_s} {0}", "Kari\n\u202e", "{", "🔥" * 60])
def test_any_name_is_told_on_one_line(who: str) -> None:
    schedule = vehicle("detector", "Gas detector")
    found = alarm_object(under_work(schedule.circuit("X5"), who, life=frozenset({"X5"}))[0], schedule)
    assert len(found["evidence"][0]) <= 70
    assert "\n" not in found["evidence"][0]
    assert found["evidence"][0].startswith("Somebody works on it, ")
