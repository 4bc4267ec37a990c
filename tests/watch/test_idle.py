"""Idle times and their survival against SciPy's frozen values, by simulation, and in their innocent twins.

The laws of idle times are invented (25 ± 6 min: from memory); what is checked is the share of honest rests that
would be taken for a lost feed.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from math import exp, log, sqrt
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panelward.watch import idle
from panelward.watch.idle import Idle
from plans import DETECTOR, FREEZER, SOCKETS, circuit

REFERENCE: dict[str, Any] = json.loads((Path(__file__).parent.parent / "reference" / "idle_survival.json").read_text())
MINUTE_MS, HOUR_MS = 60_000, 3600_000
RUN_MS = 15 * MINUTE_MS
MIDDAY_MS = 6 * HOUR_MS  # a kind begins at 22, 6 and 14 h


@pytest.mark.parametrize(("t", "freedom", "tail"), REFERENCE["tails"])
def test_the_tail_of_students_t_is_scipys(t: float, freedom: int, tail: float) -> None:
    assert idle.outlasts(t, freedom) == pytest.approx(tail, rel=1e-10)


@pytest.mark.parametrize(("freedom", "above", "t"), REFERENCE["quantiles"])
def test_its_thousandth_is_scipys(freedom: int, above: float, t: float) -> None:
    assert idle.quantile(freedom, above) == pytest.approx(t, rel=1e-9)


def same_kind(idle_s: Iterable[float], *, period_ms: int = 5_000, outside_c: float | None = None) -> tuple[Idle, int]:
    """These idle times, all in one third of the day, ten a day."""
    own, now_ms = Idle(period_ms), 0
    for n, seconds in enumerate(idle_s):
        now_ms = (n // 10) * idle.DAY_MS + MIDDAY_MS + (n % 10) * 45 * MINUTE_MS
        own.conditions(now_ms // MINUTE_MS % 1440, outside_c)
        own.stopped(now_ms)
        own.started(now_ms + round(seconds * 1000))
    return own, now_ms + 2 * HOUR_MS


CASES = [case for case in REFERENCE["cases"] if case["above"] == idle.KNOWN]


def test_the_reference_has_the_watchs_own_chance() -> None:
    assert len(CASES) == 9


@pytest.mark.parametrize("case", CASES, ids=lambda c: f"{c['law']} {len(c['idle_s'])}")
def test_survival_is_scipys(case: dict[str, Any]) -> None:
    own, now_ms = same_kind(case["idle_s"])
    (kind,) = own._kinds.values()
    assert kind.scale() == pytest.approx(case["deviation"], rel=1e-9)
    assert kind.m3 / kind.m2**1.5 == pytest.approx(case["skewness"], rel=1e-9)
    own.stopped(now_ms)
    assert own.due_ms is not None
    assert (own.due_ms - now_ms) / 1000 == pytest.approx(case["due_s"], abs=0.002)
    for seconds, chance in case["survival"]:
        assert own.survival(now_ms + seconds * 1000) == pytest.approx(chance, rel=1e-4)
    assert own.watchable() == own.due_ms - now_ms


def cool_box(seed: int, rests: int = 100) -> tuple[Idle, int]:
    r = Random(seed)
    return same_kind(60 * exp(r.gauss(log(25), 0.2)) for _ in range(rests))


# Honest rests

Law = Callable[[Random, float], float]  # minutes, by hour


def spread(middle: float, deviation: float = 0.237) -> Law:
    return lambda r, _: exp(r.gauss(log(middle), deviation))


def night(r: Random, hour: float) -> float:
    return spread(60.0 if hour < 6 or hour >= 22 else 22.0)(r, hour)


def half_past_night(r: Random, hour: float) -> float:
    """Its night isn't ours: both kinds of rest fall into one third of the day."""
    return spread(45.0 if hour < 5 or hour >= 23 else 25.0)(r, hour)


def bedtime(r: Random, hour: float) -> float:
    return exp(r.gauss(log(480), 0.1)) if hour >= 22 else exp(r.gauss(log(20), 0.3))


def lived(law: Law, seed: int, rests: int = 700) -> Iterable[tuple[Idle, int, int]]:
    """The circuit after each run, with the time and the rest that comes."""
    r, own, now_ms = Random(seed), Idle(5_000), 0
    for _ in range(rests):
        rest_ms = round(law(r, now_ms / HOUR_MS % 24) * MINUTE_MS)
        own.conditions(now_ms // MINUTE_MS % 1440, None)
        own.stopped(now_ms)
        yield own, now_ms, rest_ms
        own.started(now_ms + rest_ms)
        now_ms += rest_ms + RUN_MS


@pytest.mark.parametrize(
    ("law", "watched"),
    [
        (spread(24.3), 0.7),
        (lambda r, _: r.gammavariate(17.4, 25 / 17.4), 0.7),
        (lambda r, _: r.gammavariate(9, 25 / 9), 0.7),
        (lambda r, _: r.weibullvariate(28, 3), 0.6),
        (lambda r, _: r.weibullvariate(28, 4.5), 0.7),
        (night, 0.7),
        (half_past_night, 0.7),
        (bedtime, 0.6),
    ],
    ids=["log-normal", "gamma 17", "gamma 9", "weibull 3", "weibull 4.5", "day and night", "another night", "bedtime"],
)
def test_one_rest_in_a_thousand_at_the_most_is_taken_for_a_loss(law: Law, watched: float) -> None:
    rests = judged = taken = 0
    for seed in range(50):
        for own, now_ms, rest_ms in lived(law, seed):
            rests += 1
            if own.due_ms is not None:
                judged += 1
                taken += now_ms + rest_ms >= own.due_ms
    limit = judged * idle.KNOWN + 3.1 * sqrt(judged * idle.KNOWN)  # 1 in 1000 by chance, were it just so
    print(f"{rests} rests, {judged} judged, {taken} taken for a loss: {taken / judged:.5f}, at most {limit:.0f}")
    assert judged > watched * rests
    assert taken <= limit


@pytest.mark.parametrize(
    "law",
    [
        lambda r, hour: 480.0 if hour >= 22 else exp(r.gauss(log(12), 1.4)),  # water, by people
        lambda r, _: r.expovariate(1 / 25),  # whenever somebody plugs something in
        lambda r, _: r.lognormvariate(log(40), 1.0),
    ],
    ids=["water pump", "sockets", "motor"],
)
def test_use_by_people_is_never_watched_and_says_so(law: Law) -> None:
    for seed in range(20):
        said = set()
        for own, now_ms, _ in lived(law, seed, rests=300):
            assert own.due_ms is None
            assert own.survival(now_ms + 30 * 24 * HOUR_MS) is None
            assert own.watchable() is None
            said.add(own.standing())
        assert said == {idle.LEARNING, idle.IRREGULAR}


def test_a_cyclic_load_that_stops_is_known_within_the_hour() -> None:
    """Idle 25 ± 6 min: 45 to 60 min (from memory), seldom some more."""
    within = []
    for seed in range(40):
        *_, (own, now_ms, rest_ms) = lived(spread(24.3), seed, rests=400)
        now_ms += rest_ms + RUN_MS
        own.stopped(now_ms)
        if own.due_ms is None:
            assert own.standing() != idle.WATCHED
            continue
        before, after = own.survival(own.due_ms - 1000), own.survival(own.due_ms)
        assert before is not None
        assert after is not None
        assert after < idle.KNOWN <= before
        within.append((own.due_ms - now_ms) / MINUTE_MS)
    assert len(within) >= 38
    within.sort()
    assert within[2] >= 45
    assert within[len(within) // 2] <= 60
    assert within[-1] <= 80


def test_too_few_too_short_a_time_and_another_warmth_are_not_judged() -> None:
    r = Random(1)
    minutes = [25 * exp(r.gauss(0, 0.2)) for _ in range(31)]
    few, now_ms = same_kind(60 * m for m in minutes[:29])
    few.stopped(now_ms)
    assert (few.due_ms, few.standing(), few.learned()) == (None, idle.LEARNING, 29)
    own, now_ms = same_kind((60 * m for m in minutes), outside_c=22.0)
    assert own.standing() == idle.WATCHED
    own.conditions(720, 8.0)  # a cold front: its rests may be longer, and none was seen
    own.stopped(now_ms)
    assert (own.due_ms, own.standing()) == (None, idle.LEARNING)
    one_day = Idle(5_000)
    for n, minute in enumerate(minutes):
        one_day.conditions(720, None)
        one_day.stopped(n * 15 * MINUTE_MS)
        one_day.started(n * 15 * MINUTE_MS + round(minute * 10_000))
    assert (one_day.learned(), one_day.standing()) == (31, idle.LEARNING), "what comes once a day was not seen yet"


def test_rests_that_grow_slowly_are_no_loss() -> None:
    """It gets colder from rest to rest, and no probe says so: each is a fifth longer than the last."""
    own, now_ms = cool_box(2)
    for n in range(9):
        rest_ms = round(25 * 1.2**n * MINUTE_MS)
        own.stopped(now_ms)
        assert own.due_ms is None or now_ms + rest_ms < own.due_ms
        own.started(now_ms + rest_ms)
        now_ms += rest_ms + RUN_MS
    own, now_ms = cool_box(2)
    own.stopped(now_ms)
    assert own.due_ms is not None
    assert own.due_ms < now_ms + round(25 * 1.2**8 * MINUTE_MS), "as a jump it is one"


def test_what_ended_an_alarm_is_set_aside_and_a_second_is_a_habit() -> None:
    own, now_ms = cool_box(3)
    before = json.dumps(own.save()["kinds"])
    limit_ms = own.watchable()
    assert limit_ms is not None
    own.stopped(now_ms)
    own.started(now_ms + 9 * HOUR_MS)  # eight hours without a feed
    assert json.dumps(own.save()["kinds"]) == before
    assert own.watchable() == limit_ms
    own.stopped(now_ms + 10 * HOUR_MS)
    own.started(now_ms + 19 * HOUR_MS)
    assert own.standing() == idle.IRREGULAR, "two kinds of rest"


def test_a_loss_that_another_cause_explains_is_forgotten() -> None:
    own, now_ms = cool_box(3)
    before = json.dumps(own.save()["kinds"])
    own.stopped(now_ms)
    own.forget_current()
    assert (own.due_ms, own.survival(now_ms + 9 * HOUR_MS)) == (None, None)
    own.gap(now_ms + HOUR_MS)  # nothing rests: readings that were missing change nothing
    assert own.due_ms is None
    own.resume(now_ms + 2 * HOUR_MS)  # the feeder is back, the circuit is not
    limit_ms = own.watchable()
    assert limit_ms is not None
    assert own.due_ms == now_ms + 2 * HOUR_MS + limit_ms
    own.started(now_ms + 2 * HOUR_MS + 10 * MINUTE_MS)
    assert json.dumps(own.save()["kinds"]) == before


def test_a_gap_is_not_learned_and_judged_from_its_end() -> None:
    own, now_ms = cool_box(3)
    n = own.learned()
    mean = own.typical_s()
    own.stopped(now_ms)
    own.gap(now_ms + 50 * MINUTE_MS)  # it may have run meanwhile
    assert own.survival(now_ms + 50 * MINUTE_MS) == 1.0
    assert own.due_ms is not None
    assert own.due_ms > now_ms + 50 * MINUTE_MS + 40 * MINUTE_MS
    own.started(now_ms + 60 * MINUTE_MS)
    assert (own.learned(), own.typical_s()) == (n, mean)


def test_dips_and_lost_readings_are_no_rests() -> None:
    own, now_ms = cool_box(3)
    before = json.dumps(own.save()["kinds"])
    for n in range(50):
        own.stopped(now_ms + n * MINUTE_MS)
        own.started(now_ms + n * MINUTE_MS + 10_000)
    assert json.dumps(own.save()["kinds"]) == before


def test_which_circuits_are_judged() -> None:
    bare = circuit("D1", "Cool box", "compressor", feed="always-on")
    assert idle.judged(bare)
    assert idle.judged(FREEZER)
    assert idle.judged(DETECTOR)
    assert not idle.judged(SOCKETS)
    assert not idle.judged(circuit("D2", "Sump pump", "pump", feed="always-on")), "it rests while it doesn't rain"
    assert not idle.judged(circuit("D3", "Cool box", "compressor"))


# Laws

LIVES = st.lists(
    st.tuples(
        st.sampled_from(["stopped", "started", "gap", "resume", "forget_current", "conditions"]),
        st.integers(1, 5_000),
        st.sampled_from([None, 5.0, 21.0]),
    ),
    max_size=60,
)


def live(own: Idle, steps: list[tuple[str, int, float | None]], now_ms: int) -> int:
    for name, seconds, outside_c in steps:
        now_ms += seconds * 1000
        if name == "conditions":
            own.conditions(now_ms // MINUTE_MS % 1440, outside_c)
        elif name == "forget_current":
            own.forget_current()
        else:
            getattr(own, name)(now_ms)
    return now_ms


@settings(max_examples=150, deadline=None)
@given(LIVES, LIVES, st.integers(0, 130))
def test_saved_and_restored_in_the_middle_nothing_changes(first: Any, then: Any, before: int) -> None:
    own, now_ms = cool_box(4, before)
    now_ms = live(own, first, now_ms)
    other = Idle(5_000)
    other.restore(json.loads(json.dumps(own.save())))
    assert live(own, then, now_ms) == live(other, then, now_ms)
    assert json.dumps(own.save()) == json.dumps(other.save())
    assert (own.due_ms, own.watchable(), own.standing()) == (other.due_ms, other.watchable(), other.standing())


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(300, 3000), min_size=30, max_size=140), st.lists(st.integers(0, 100_000), min_size=2, max_size=8))
def test_survival_falls_and_its_deadline_is_where_it_says(idle_s: list[float], asked: list[int]) -> None:
    own, now_ms = same_kind(idle_s)
    own.stopped(now_ms)
    chances = [own.survival(now_ms + seconds * 1000) for seconds in sorted(asked)]
    if own.due_ms is None:
        assert set(chances) == {None}
        return
    known = [c for c in chances if c is not None]
    assert known == sorted(known, reverse=True)
    assert all(0.0 <= c <= 1.0 for c in known)
    at, earlier = own.survival(own.due_ms), own.survival(own.due_ms - 5)
    assert at is not None
    assert earlier is not None
    assert at < idle.KNOWN <= earlier


@given(st.lists(st.floats(300, 900), min_size=30, max_size=60), st.sampled_from([0.5, 2.0, 3.0]))
@settings(max_examples=40, deadline=None)
def test_the_unit_of_time_does_not_matter(idle_s: list[float], times: float) -> None:
    """The same rests on a clock that is so many times slower: the deadline is so many times later."""
    one, _ = same_kind(idle_s)
    other, _ = same_kind(times * s for s in idle_s)
    assert one.standing() == other.standing()
    limit_ms, of_other = one.watchable(), other.watchable()
    if limit_ms is not None and of_other is not None:
        assert of_other == pytest.approx(times * limit_ms, rel=1e-5)


def test_its_state_is_bounded() -> None:
    own, r = Idle(5_000), Random(5)
    for n in range(5_000):
        own.conditions(r.randrange(1440), r.uniform(-60, 60))
        own.stopped(n * HOUR_MS)
        own.started(n * HOUR_MS + r.randrange(60, 3_000) * 1000)
    assert len(own._kinds) <= 24
    assert len(json.dumps(own.save())) < 4_000
