"""A device that opens under load is told by the second reading, whatever the sensing; each case beside its innocent twin.

Streams are invented. Amps on a 12.8 V bus at 13 V; the event is at 100 s unless said.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

import pytest

from panelward.core import Core
from panelward.records import Output, Protection, Reading, Schedule, Sense, Settings, Transition
from plans import DETECTOR, FREEZER, METER, PLAN, T0, circuit, plan, run

AT_S = 100.0
FUSE = Protection(kind="blade-fuse", type="C", rating_a=10)


def way(name: str, kind: str = "light", **keys: object) -> dict[str, object]:
    return {"circuit_id": name, "label": f"Way {name}", "kind": kind, "protection": FUSE, "conductor": (), **keys}


def house(sense: Sense, period_s: float = 2.0, **keys: object) -> Schedule:
    """The target D7 and three others, all sensed alike."""
    ways = [circuit(**way("D7", sense=sense, **keys)), *(circuit(**way(f"K{n}", sense=sense)) for n in (1, 2, 3))]  # type: ignore[arg-type]
    return replace(plan(*ways), monitors=(replace(PLAN.monitors[0], expect_every_s=period_s),))


def reading(name: str, at_s: float, amps: float, volts: float | None = 13.0, closed: bool | None = None) -> Reading:
    at_ms = T0 + round(at_s * 1000)
    return Reading(name, at_ms, at_ms, volts=volts, amps=amps, closed=closed)


def rounds(
    target: Callable[[float], tuple[float, float | None, bool | None] | None],
    others_v: Callable[[float], float | None] = lambda t: 13.0,
    *,
    period_s: float = 2.0,
    seconds: float = 200.0,
) -> Iterator[Reading]:
    """Every round: the target's amps, volts and switch (None: lost), 200 ms later the others, which draw on."""
    for n in range(int(seconds / period_s) + 1):
        t = n * period_s
        mine = target(t)
        if mine is not None:
            yield reading("D7", t, *mine)
        for k in (1, 2, 3):
            yield reading(f"K{k}", t + 0.2, 2.0, others_v(t))


def told(schedule: Schedule, rows: Iterable[Reading]) -> list[tuple[str, str, str | None, float]]:
    """Whom, what, why, and how long after the event."""
    found = run(schedule, rows, until_ms=T0 + 400_000)
    return [
        (t.subject_id, t.kind, t.cause, (t.at_ms - T0) / 1000.0 - AT_S)
        for t in found
        if t.group == "dead" and t.event == "begins"
    ]


def opened(found: list[tuple[str, str, str | None, float]], within_s: float) -> bool:
    return [f[:3] for f in found] == [("D7", "protection-opened", "device-opened")] and found[0][3] <= within_s


# Volts behind the switch, which says anew that it is on


def behind_switch(closed_after: bool | None, later: bool | None = None) -> Iterator[Reading]:
    def target(t: float) -> tuple[float, float, bool | None]:
        if t < AT_S:
            return 5.0, 13.0, True
        return 0.0, 0.0, closed_after if t < AT_S + 4 else later

    return rounds(target)


def test_no_volts_behind_a_switch_that_still_says_on_is_the_device() -> None:
    assert opened(told(house(Sense(volts_at="after-switch", resolution_a=0.01)), behind_switch(True, True)), 6.0)


@pytest.mark.parametrize(("at_once", "later"), [(False, False), (None, False), (None, None)])
def test_a_switch_that_says_off_or_nothing_since_is_no_opened_device(at_once: bool | None, later: bool | None) -> None:
    sense = Sense(volts_at="after-switch", resolution_a=0.01)
    assert told(house(sense), behind_switch(at_once, later)) == []


# Who publishes on change says nothing twice

ON_CHANGE = Sense(volts_at="after-device", resolution_a=0.01, publishes="on-change")


def changes(volts: float, back_s: float | None = None) -> list[Reading]:
    rows = [reading(name, 0.1 * n, 5.0) for n, name in enumerate(("D7", "K1", "K2", "K3"))]
    rows.append(reading("D7", AT_S, 0.0, volts))
    if back_s is not None:
        rows.append(reading("D7", AT_S + back_s, 5.0))
    return rows


@pytest.mark.parametrize("period_s", [1.0, 2.0, 10.0])
def test_an_on_change_publisher_needs_no_second_message(period_s: float) -> None:
    assert opened(told(house(ON_CHANGE, period_s), changes(0.0)), max(period_s, 5.0) + 1.0)


def test_an_on_change_publisher_that_is_back_or_has_volts_is_no_opening() -> None:
    assert told(house(ON_CHANGE), changes(0.0, back_s=4.0)) == [], "a moment"
    assert told(house(ON_CHANGE), changes(13.0)) == [], "switched off beyond its device"


def test_an_on_change_circuit_at_rest_whose_volts_go_is_told_by_the_clock() -> None:
    rows = [*changes(13.0), reading("D7", AT_S + 200.0, 0.0, 0.0)]
    found = told(house(ON_CHANGE), rows)
    assert [f[:3] for f in found] == [("D7", "protection-opened", "device-opened")]
    assert 200.0 + 45.0 <= found[0][3] <= 200.0 + 50.0
    assert told(house(ON_CHANGE), [*rows, reading("D7", AT_S + 220.0, 0.0)]) == []


def test_saved_between_the_reading_and_the_second_look_nothing_changes() -> None:
    schedule, rows = house(ON_CHANGE), changes(0.0)
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=schedule, started=True))
    for row in rows:
        core.feed(row)
    again = Core()
    again.restore(json.loads(json.dumps(core.save())), schedule, silence_from_start=False)
    out: list[Output] = again.advance(T0 + 400_000)
    mine = [t for t in out if isinstance(t, Transition) and t.group == "dead"]
    assert [((t.at_ms - T0) / 1000.0 - AT_S, t.cause) for t in mine] == [(f[3], f[2]) for f in told(schedule, rows)]


# A dip where nobody measures the bus, and one of the same round

AT_LOAD = Sense(volts_at="load", resolution_a=0.01)


def dips(volts: float, at_s: float = AT_S, lasts_s: float = 0.5) -> Callable[[float], float]:
    return lambda t: volts if at_s <= t < at_s + lasts_s else 13.0


def stops(volts: float) -> Callable[[float], tuple[float, float, bool | None]]:
    return lambda t: (5.0, 12.9, None) if t < AT_S else (0.0, volts, None)


@pytest.mark.parametrize("period_s", [2.0, 5.0])
def test_a_deep_dip_behind_the_devices_of_others_is_a_short(period_s: float) -> None:
    rows = rounds(stops(0.0), dips(11.0), period_s=period_s)
    assert opened(told(house(AT_LOAD, period_s), rows), max(6.0, period_s + 1.0))


def test_one_channel_that_dips_alone_or_a_crank_is_no_short() -> None:
    def one(t: float) -> float | None:
        return None

    rows = [
        r._replace(volts=11.0 if r.circuit == "K1" and r.time_ms == T0 + 100_200 else 13.0) if r.circuit != "D7" else r
        for r in rounds(stops(0.0), one)
    ]
    assert told(house(AT_LOAD), rows) == []
    assert told(house(AT_LOAD), rounds(stops(0.0), dips(11.0, lasts_s=5.0))) == []


def test_a_shallow_dip_of_the_very_round_is_a_short_and_one_of_the_round_before_is_not() -> None:
    sense = Sense(volts_at="bus", resolution_a=0.01)

    def bus(at_s: float) -> Iterator[Reading]:
        volts = dips(12.3, at_s)
        return rounds(lambda t: (5.0 if t < AT_S else 0.0, volts(t), None), volts)

    assert opened(told(house(sense), bus(AT_S)), 6.0)
    assert told(house(sense), bus(AT_S - 4.0)) == []


def test_a_dip_while_readings_were_lost_counts_and_an_older_one_does_not() -> None:
    sense = Sense(volts_at="bus", resolution_a=0.01)

    def lost(at_s: float) -> Iterator[Reading]:
        return rounds(lambda t: None if AT_S <= t < AT_S + 8 else (5.0 if t < AT_S else 0.0, 13.0, True), dips(11.0, at_s))

    assert opened(told(house(sense), lost(AT_S)), 15.0)
    assert told(house(sense), lost(AT_S - 12.0)) == []


@pytest.mark.parametrize("rounds_before", [0, 1, 2])
@pytest.mark.parametrize("period_s", [2.0, 10.0])
def test_a_heavy_load_that_goes_on_is_no_dip(period_s: float, rounds_before: int) -> None:
    """A kettle behind the inverter pulls the bus down for minutes; a pump that ends its run in them has not blown its fuse."""
    sense = Sense(volts_at="bus", resolution_a=0.01)

    def bus(t: float) -> float:
        return 12.955 if t >= AT_S - rounds_before * period_s else 13.3

    rows = rounds(lambda t: (5.0 if t < AT_S else 0.0, bus(t), None), bus, period_s=period_s)
    assert told(house(sense, period_s), rows) == []


# Slow publishers: the others of the round have the last word


def test_the_volts_of_the_second_round_come_after_the_second_reading() -> None:
    sense = Sense(volts_at="bus", resolution_a=0.01)
    slow = house(sense, 10.0)
    rows = list(rounds(lambda t: (5.0 if t < AT_S else 0.0, None, None), dips(11.0), period_s=10.0))
    assert opened(told(slow, rows), 11.0)
    back = [r for r in rows if r.circuit != "D7" or r.time_ms < T0 + 110_000]
    back.append(reading("D7", AT_S + 10.0, 5.0, None))
    assert told(slow, sorted(back, key=lambda r: r.received_ms)) == []


def test_a_quick_publisher_whose_third_reading_is_lost_is_told_in_time() -> None:
    sense = Sense(volts_at="after-device", resolution_a=0.01)

    def target(t: float) -> tuple[float, float, bool | None] | None:
        if t < AT_S:
            return 5.0, 13.0, None
        return None if AT_S + 4 <= t < AT_S + 12 else (0.0, 0.0, None)

    assert opened(told(house(sense), rounds(target)), 6.0)
    assert told(house(sense), rounds(lambda t: target(t) if t < AT_S + 4 else (5.0, 13.0, None))) == [], "two are a moment"


# Overloads


def ran(multiple: float, seconds: float, *, mixed: bool) -> Iterator[Reading]:
    """So many times the rating until the event; of means the last holds half of it."""

    def target(t: float) -> tuple[float, float, bool | None]:
        if t >= AT_S:
            return (5.0 * multiple, 13.0, None) if mixed and t == AT_S else (0.0, 13.0, None)
        return (10.0 * multiple if t >= AT_S - seconds else 3.0), 13.0, None

    return rounds(target)


def test_the_last_mean_thins_the_overload_before_it() -> None:
    means = house(Sense(volts_at="bus", resolution_a=0.01, reports="mean"))
    found = told(means, ran(1.4, 16.0, mixed=True))
    assert [f[:2] for f in found] == [("D7", "protection-opened")]
    assert found[0][3] <= 10.0
    assert told(means, ran(1.05, 16.0, mixed=True)) == []


@pytest.mark.parametrize(("seconds", "says"), [(400.0, ["unknown"]), (100.0, [])])
def test_what_most_of_its_type_do_not_outlast_is_worth_a_look(seconds: float, says: list[str]) -> None:
    """1.3 times: no time is published for it, and yet minutes of it leave few fuses whole."""

    def target(t: float) -> tuple[float, float, bool | None]:
        return (0.0 if t >= 1000.0 else 13.0 if t >= 1000.0 - seconds else 3.0), 13.0, None

    found = run(house(Sense(volts_at="bus", resolution_a=0.01)), rounds(target, seconds=1100.0))
    assert [t.cause for t in found if t.group == "dead"] == says


# Lost readings


def floor(rows: Iterator[tuple[float, float]]) -> list[tuple[str, str, str | None, float]]:
    others = [reading("D6", 2.0 * n + 0.1, 0.1) for n in range(150)]
    mine = [reading("D1", t, amps) for t, amps in rows]
    return told(plan(FREEZER, DETECTOR), sorted([*mine, *others], key=lambda r: r.received_ms))


def lost_feed(quiet_s: float, lives_at: float | None = None) -> Iterator[tuple[float, float]]:
    for n in range(150):
        t = 2.0 * n
        if t == lives_at:
            yield t, 0.12
        elif not AT_S + 4 < t < AT_S + quiet_s:
            yield t, 0.12 if t < AT_S else 0.0


def test_a_floor_is_counted_from_its_first_low_reading_across_a_few_lost_ones() -> None:
    whole, burst = floor(lost_feed(0.0)), floor(lost_feed(16.0))
    assert [f[:2] for f in whole] == [f[:2] for f in burst] == [("D1", "feed-lost")]
    assert burst[0][3] <= 60.0


def test_life_between_or_a_long_silence_begins_the_minute_anew() -> None:
    assert floor(lost_feed(16.0, lives_at=AT_S + 12))[0][3] >= 14.0 + 45.0
    assert floor(lost_feed(40.0))[0][3] >= 40.0 + 45.0


def test_a_meter_that_fell_while_readings_were_lost_does_not_say_that_the_draw_goes_on() -> None:
    """The circuit's last draw stood in the sum until its next reading: what the meter shows beyond it fell, and came back."""
    sense = Sense(volts_at="bus", resolution_a=0.01)
    base = house(sense, feed="always-on", loads=FREEZER.loads)
    with_meter = replace(base, circuits=(METER, *base.circuits))

    def rows(lost_s: float, goes_on: bool) -> Iterator[Reading]:
        for r in rounds(lambda t: None if AT_S <= t < AT_S + lost_s else (4.0 if t < AT_S else 0.0, 13.0, None)):
            yield r
            if r.circuit == "K3":
                drawn = 4.0 if goes_on or r.time_ms < T0 + 100_000 else 0.0
                yield reading("SH", (r.time_ms - T0) / 1000.0 + 0.1, 6.0 + drawn)

    def causes(lost_s: float, goes_on: bool) -> list[str | None]:
        found = run(with_meter, rows(lost_s, goes_on), until_ms=T0 + 200_000)
        return [t.cause for t in found if t.subject_id == "D7" and t.event == "begins"]

    assert causes(8.0, False) == ["unknown"]
    assert causes(0.0, True) == ["sensor-failed"]


@pytest.mark.parametrize(("after_a", "says"), [(0.0, ["feed-lost"]), (0.018, [])])
def test_a_small_floor_is_judged_by_its_amps_and_not_by_watts_in_tenths(after_a: float, says: list[str]) -> None:
    """18.7 mA in steps of 1 mA; the watts beside them jump from 0.2 to 0.3, 8 mA."""
    fine = Sense(volts_at="bus", resolution_a=0.001)
    kept = circuit("D1", "Kept", feed="always-on", always_draws_w=0.239, sense=fine)

    def rows() -> Iterator[Reading]:
        for n in range(600):
            t = 2.0 * n
            amps = (0.018 if n % 2 else 0.019) if t < 1000.0 else after_a
            amps = 2.0 if 200.0 <= t < 300.0 else amps
            yield reading("D1", t, amps)._replace(watts=round(amps * 13.0, 1))
            yield reading("D6", t + 0.1, 0.1)

    found = run(plan(kept, DETECTOR), rows(), until_ms=T0 + 1_200_000)
    assert [t.kind for t in found if t.group == "dead"] == says


# What takes all of them


@pytest.mark.parametrize("reports", ["sample", "mean"])
@pytest.mark.parametrize("stopped_s", [0.0, 6.0, 23.0])
def test_a_lost_supply_that_nobody_measures_is_no_opened_device(stopped_s: float, reports: str) -> None:
    """The target was switched off at its load some time before; the others' last means still hold a draw."""
    sense = Sense(volts_at="after-switch", resolution_a=0.01, reports=reports)
    kept = [circuit(**way(f"K{n}", feed="always-on", always_draws_w=10.0, sense=sense)) for n in (1, 2, 3)]  # type: ignore[arg-type]
    schedule = plan(circuit(**way("D7", sense=sense)), *kept)  # type: ignore[arg-type]

    def rows() -> Iterator[Reading]:
        for n in range(100):
            t = 2.0 * n
            fed = t < AT_S
            yield reading("D7", t, 5.0 if t < AT_S - stopped_s else 0.0, 13.0 if fed else 0.0, True)
            for k in (1, 2, 3):
                mixed = reports == "mean" and t == AT_S
                yield reading(f"K{k}", t + 0.2, 2.0 if fed else 1.5 if mixed else 0.0, 13.0 if fed else 0.0, True)

    found = run(schedule, rows(), until_ms=T0 + 250_000)
    assert [(t.subject, t.subject_id) for t in found if t.group == "dead" and t.told] == [("supply", "house")]
