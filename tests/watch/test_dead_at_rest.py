"""Without a floor: a rest that outlasts all it ever took. With one: what warmth does to a small one. Through the core."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from random import Random

import pytest

from panelward.core import Core
from panelward.records import Reading, Sense, Settings, Transition
from plans import FREEZER, LIGHTS, PLAN, SOCKETS, T0, circuit, plan, run

PERIOD_MS = 30_000
DAY_MS = 86_400_000
COOLER = circuit("D1", "Vaccine cooler", "compressor", feed="always-on")
SLOW = replace(plan(COOLER, SOCKETS), monitors=(replace(PLAN.monitors[0], expect_every_s=PERIOD_MS / 1000.0),))


def cycles(
    days: float, seed: int, *, stops_ms: int | None = None, rests_min: tuple[float, float] = (25.0, 4.0)
) -> Iterator[Reading]:
    """A thermostat's runs of about 15 min and rests of about 25; from `stops_ms` on it draws nothing."""
    chance = Random(seed)
    at_ms, on, until_ms = T0, True, T0
    while at_ms < T0 + days * DAY_MS:
        if at_ms >= until_ms:
            on = not on
            middle, spread = (15.0, 2.0) if on else rests_min
            until_ms = at_ms + round(max(2.0, chance.gauss(middle, spread)) * 60_000)
        amps = 4.0 if on and not (stops_ms and at_ms >= stops_ms) else 0.0
        yield Reading("D7", at_ms, at_ms, volts=13.0, amps=3.0)
        yield Reading("D1", at_ms, at_ms, volts=13.0, amps=amps)
        at_ms += PERIOD_MS


@pytest.mark.parametrize("seed", [1, 2])
def test_a_rest_that_outlasts_all_others_is_told_and_an_ordinary_week_is_not(seed: int) -> None:
    assert run(SLOW, cycles(7.0, seed)) == []
    stops_ms = T0 + 6 * DAY_MS
    found = [t for t in run(SLOW, cycles(6.3, seed, stops_ms=stops_ms)) if t.event == "begins"]
    assert [(t.subject_id, t.kind, t.cause, t.priority) for t in found] == [("D1", "feed-lost", "unknown", "medium")]
    assert found[0].at_ms - stops_ms <= 100 * 60_000
    assert found[0].at_ms - found[0].since_ms >= 40 * 60_000
    assert "idle-too-long" in [name for name, _ in found[0].evidence]


def test_what_people_switch_is_never_told_by_its_rests() -> None:
    pump = circuit("D1", "Water pump", "pump", feed="always-on")
    slow = replace(SLOW, circuits=(pump, SOCKETS))
    assert run(slow, cycles(6.3, 1, stops_ms=T0 + 6 * DAY_MS)) == []


def test_saving_in_the_middle_of_a_rest_changes_nothing() -> None:
    stops_ms = T0 + 5 * DAY_MS
    rows = list(cycles(5.3, 3, stops_ms=stops_ms))
    whole = [t for t in run(SLOW, rows) if t.event == "begins"]
    half = next(n for n, r in enumerate(rows) if r.time_ms >= stops_ms + 900_000)
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=SLOW, started=True))
    for row in rows[:half]:
        core.feed(row)
    again = Core()
    again.restore(json.loads(json.dumps(core.save())), SLOW, silence_from_start=False)
    rest = [t for row in rows[half:] for t in again.feed(row) if isinstance(t, Transition)]
    assert [(t.id, t.at_ms) for t in rest if t.event == "begins"] == [(t.id, t.at_ms) for t in whole]
    assert len(whole) == 1


def drifting(lost_s: float | None, seconds: float = 6 * 3600.0) -> Iterator[Reading]:
    """A freezer's floor of 0.11 A on a channel whose zero creeps by 40 mA over an afternoon; it runs now and then."""
    for n in range(int(seconds / 30)):
        t_s, at_ms = 30.0 * n, T0 + 30_000 * n
        zero_a = 0.02 - 0.04 * t_s / seconds
        fed = lost_s is None or t_s < lost_s
        amps = (4.0 if t_s % 2400 < 900 else 0.11) if fed else 0.0
        yield Reading("D1", at_ms, at_ms, volts=12.8, amps=round((amps + zero_a) / 0.01) * 0.01)
        yield Reading("D5", at_ms, at_ms, volts=12.8, amps=1.0)


def test_a_zero_that_creeps_with_warmth_is_no_lost_feed_and_a_lost_feed_under_it_is() -> None:
    fine = replace(FREEZER, sense=Sense(resolution_a=0.01))
    slow = replace(plan(fine, replace(LIGHTS, feeder=None)), monitors=SLOW.monitors)
    assert [t for t in run(slow, drifting(None)) if t.group == "dead"] == []
    found = [t for t in run(slow, drifting(5 * 3600.0 + 1200.0)) if t.group == "dead"]
    assert [(t.kind, t.event) for t in found] == [("feed-lost", "begins")]
    assert found[0].at_ms - (T0 + 5 * 3_600_000 + 1_200_000) <= 90_000


def test_others_behind_their_devices_show_the_bus_where_nobody_measures_it() -> None:
    """No channel measures the bus. One circuit's volts go while its neighbour's stay; the twin: both go."""
    behind = Sense(volts_at="after-device", resolution_a=0.01)
    pair = tuple(replace(SOCKETS, id=name, label=f"Sockets {name}", sense=behind) for name in ("D1", "D2"))

    def rows(both: bool) -> Iterator[Reading]:
        for n in range(300):
            at_ms = T0 + 2000 * n
            lost = n >= 150
            yield Reading("D2", at_ms, at_ms, volts=0.0 if lost and both else 12.9, amps=0.0 if lost and both else 2.0)
            yield Reading("D1", at_ms, at_ms, volts=0.0 if lost else 12.9, amps=0.0 if lost else 3.0)

    found = [t for t in run(plan(*pair), rows(both=False)) if t.group == "dead"]
    assert [(t.subject_id, t.kind, t.cause) for t in found] == [("D1", "protection-opened", "device-opened")]
    assert not [t for t in run(plan(*pair), rows(both=True)) if t.kind == "protection-opened"]
