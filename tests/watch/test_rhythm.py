"""Runs, duty and starts: each fault beside what looks like it and is none. Shares and delays are those the trade asks for.

The vehicles are simulated by `coolers`, which shares no code with the watch; a fixed handful of each runs here.
"""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from coolers import (
    COOLER,
    DAY,
    FREEZES,
    HOUR,
    MIDNIGHT,
    OUTSIDE,
    Cooler,
    Fault,
    Weather,
    leak_runs,
    pump_readings,
    pump_runs,
    readings,
    schedule,
)

from panelward.core import Core
from panelward.records import Circuit, Duty, Level, Presence, Probe, Reading, Sense, Settings, Transition
from panelward.watch.cooling import CAUSES, EVIDENCE, warms, weighed
from panelward.wording import alarm_object, message
from plans import INVERTER, PLAN, T0, circuit, plan, run, stream

PUMP = circuit("D4", "Water pump", "pump", levels=(Level(name="pumping", watts=62),), longest_run_s=600.0)
SUMP = circuit("D10", "Sump pump", "pump", feed="always-on", levels=(Level(name="pumping", watts=40),))
PAD = circuit(
    "D3", "Tank heater", "heater-element", behaves="constant-impedance", standby_max_w=0.5,
    levels=(Level(name="on", watts=64),), duty=Duty(low=0.1, high=0.6, window_h=2.0),
)  # fmt: skip


def of_rhythm(found: list[Transition]) -> list[Transition]:
    return [t for t in found if t.group == "rhythm" and t.event in ("begins", "begins-again")]


def lived(cooler: Cooler, seconds: float, fault: Fault, **keys: object) -> list[Transition]:
    own = FREEZES if cooler.frozen else COOLER
    probe = bool(keys.get("probe", True))
    return [t for t in run(schedule(own, probe=probe), readings(cooler, seconds, fault, **keys)) if t.group == "rhythm"]  # type: ignore[arg-type]


def seconds_after(t: Transition, at_s: float) -> float:
    return (t.at_ms - MIDNIGHT) / 1000 - at_s


# a feed that was lost


@pytest.mark.parametrize("back_h", [2.0, 17.0])
def test_the_hours_without_a_feed_are_no_rest_of_its_own(back_h: float) -> None:
    """A lost feed is told; when it is back, its hours are no low duty, and the pull-down after them no high one."""
    loads = tuple(replace(load, always_draws_w=1.4) for load in FREEZES.loads)
    always = replace(FREEZES, feed="always-on", importance="property", loads=loads)
    begin_s = 3 * DAY + 2 * HOUR
    lost = (MIDNIGHT + round(begin_s * 1000), MIDNIGHT + round((begin_s + back_h * HOUR) * 1000))
    rows = [
        r._replace(watts=0.0, amps=0.0) if r.circuit == always.id and lost[0] <= r.time_ms < lost[1] else r
        for r in readings(Cooler(3, Weather(20.0, seed=3), frozen=True), 5 * DAY, Fault())
    ]
    found = [t for t in run(schedule(always), rows) if t.told]
    assert {t.kind for t in found} == {"feed-lost"}, [(t.kind, t.event, seconds_after(t, begin_s) / HOUR) for t in found]


# a run beyond the schedule's longest


@pytest.mark.parametrize("run_s", [590, 900])
def test_a_pump_that_runs_beyond_its_longest_and_a_shower_that_does_not(run_s: float) -> None:
    found = of_rhythm(run(plan(PUMP), stream({"D4": lambda t: 4.8 if 60 <= t < 60 + run_s else 0.0}, 1800)))
    assert [(t.kind, t.priority, t.since_ms - T0, (t.at_ms - T0) // 1000) for t in found] == (
        [("overlong-run", "medium", 60_000, 662)] if run_s > 600 else []
    )
    if found:
        assert message(found[0], plan(PUMP)) == (
            "Look at Water pump now: it has run 10 min without a stop, since 06:01. "
            "No tap open: switch it off at the panel switch."
        )


@pytest.mark.parametrize("pump", [SUMP, PUMP], ids=["sump", "water"])
def test_a_sump_pumps_long_run_stays_until_somebody_looked(pump: Circuit) -> None:
    """Where its water came from is not over with the run; a tap that was left open is."""
    judged = plan(replace(pump, id="D4", loads=tuple(replace(load, longest_run_s=600.0) for load in pump.loads)))
    found = run(judged, stream({"D4": lambda t: (3.1 if pump is SUMP else 4.8) if 60 <= t < 960 else 0.0}, 1800))
    ended = [(t.state, t.latched) for t in found if t.kind == "overlong-run" and t.event == "ends"]
    assert ended == [("unacknowledged", True) if pump is SUMP else ("returned-unacknowledged", False)]


def test_one_reading_of_rest_is_a_dip_and_two_are_a_rest() -> None:
    dips = {"D4": lambda t: 0.0 if t % 300 == 0 else 4.8}
    assert [t.kind for t in of_rhythm(run(plan(PUMP), stream(dips, 1200)))] == ["overlong-run"]
    assert of_rhythm(run(plan(PUMP), stream({"D4": lambda t: 0.0 if t % 300 in (0, 2) else 4.8}, 3600))) == []


def test_readings_lost_make_another_run() -> None:
    lost = {"D4": lambda t: None if 300 <= t < 420 else 4.8}
    found = of_rhythm(run(plan(PUMP), stream(lost, 1800)))
    assert [(t.since_ms - T0) // 1000 for t in found] == [420]


def test_an_on_change_pump_runs_on_in_silence_and_not_when_its_monitor_went() -> None:
    quiet = replace(PUMP, sense=Sense(publishes="on-change", resolution_a=0.01))
    once = [Reading("D4", T0, T0, volts=13.0, amps=0.0), Reading("D4", T0 + 60_000, T0 + 60_000, volts=13.0, amps=4.8)]
    found = of_rhythm(run(plan(quiet), once, until_ms=T0 + 1800_000))
    assert [(t.kind, (t.at_ms - T0) // 60_000) for t in found] == [("overlong-run", 12)]
    went = Presence(received_ms=T0 + 120_000, subject="monitor", name="dc", here=False)
    assert of_rhythm(run(plan(quiet), [*once, went], until_ms=T0 + 1800_000)) == []


def test_one_cause_is_one_alarm_outside_its_hours_or_too_long() -> None:
    both = replace(INVERTER, loads=(replace(INVERTER.loads[0], longest_run_s=3600.0),))
    found = run(plan(both), stream({"D9": 1.8}, 5 * HOUR, period_s=10, start_ms=T0 + 13 * 3600_000 + 1800_000))
    assert [(t.kind, t.event) for t in found] == [("standby-drain", "begins")]


# the schedule's duty


def test_a_heater_that_never_rests_and_one_that_does_in_frost() -> None:
    own = plan(PAD, probes=(OUTSIDE,))

    def at(celsius: float | None, on: float) -> list[Transition]:
        draw = stream({"D3": lambda t: 5.0 if t % 600 < 600 * on else 0.0}, 5 * HOUR, period_s=10)
        cold = [Reading("T2", T0 + n * 600_000, T0 + n * 600_000, celsius=celsius) for n in range(31)] if celsius else []
        return of_rhythm(run(own, sorted([*draw, *cold], key=lambda r: r.received_ms)))

    assert [t.kind for t in at(None, 0.9)] == ["duty-high"]
    assert [t.kind for t in at(12.0, 0.9)] == ["duty-high"]
    assert at(-8.0, 1.0) == []  # honest in frost
    assert [t.kind for t in at(-8.0, 0.0)] == ["duty-low"]
    assert at(15.0, 0.0) == []  # … and at rest in warmth
    assert at(5.0, 0.4) == []
    (frost,) = at(-8.0, 0.0)
    assert "hardly heated" in message(frost, own)


def test_a_compressor_that_hardly_runs_though_it_is_warm_and_one_in_the_cold() -> None:
    for mean_c, told in ((28.0, ["duty-low"]), (-10.0, [])):
        fault = Fault("off", 5 * DAY)
        cooler = Cooler(3, Weather(mean_c, seed=3), people=0)
        everything = run(schedule(), readings(cooler, 6 * DAY, fault))
        found = [t for t in everything if t.event == "begins" and seconds_after(t, fault.at_s) > 0]
        lost = [t for t in found if t.kind == "feed-lost"]
        assert [t.kind for t in found if t.group == "rhythm"] == ([] if lost else told)


def test_a_window_with_holes_is_not_judged() -> None:
    holes = {"D3": lambda t: None if t % 3600 < 900 else 5.0}
    assert of_rhythm(run(plan(PAD), stream(holes, 6 * HOUR, period_s=10))) == []


# a refrigerator: its door, ice, its charge, its vents

VANS = ((1, 20.0, False), (5, 20.0, False), (9, 27.0, False), (10, 12.0, False))


@pytest.mark.parametrize(("seed", "mean_c", "frozen"), VANS)
def test_a_door_left_open_is_told_within_45_minutes(seed: int, mean_c: float, frozen: bool) -> None:
    at_s = 5 * DAY + (seed * 2.7 % 24) * HOUR
    found = lived(Cooler(seed, Weather(mean_c, seed=seed), frozen=frozen), at_s + 3 * HOUR, Fault("door", at_s, 8.0))
    assert [(t.kind, t.event) for t in found] == [("duty-high", "begins")]
    assert 0 < seconds_after(found[0], at_s) <= 45 * 60
    assert found[0].candidates[0][0] == "door-open"
    assert found[0].cause is None  # warm goods look the same so soon
    said = message(found[0], schedule())
    assert said.startswith("Check Sample cooler's door: it has run ")


@pytest.mark.parametrize(
    ("kind", "size", "over_h", "cause"),
    [("iced", 0.6, 20.0, "iced"), ("charge", 0.7, 6.0, "charge-lost"), ("condenser", 0.5, 6.0, None)],
)
def test_ice_lost_charge_and_blocked_vents_are_told_within_two_days(
    kind: str, size: float, over_h: float, cause: str | None
) -> None:
    at_s = 6 * DAY + 8 * HOUR
    fault = Fault(kind, at_s, size, over_h * HOUR)
    found = lived(Cooler(2, Weather(22.0, seed=2)), at_s + 60 * HOUR, fault)
    assert found[0].kind == "duty-high"
    assert 0 < seconds_after(found[0], at_s) <= 48 * HOUR
    if cause:
        assert cause in [t.cause for t in found]
    assert not {t.cause for t in found} - {None, cause, "iced", "charge-lost", "condenser-blocked"}


@pytest.mark.parametrize("kind", ["", "thermostat", "shopping"])
def test_a_hot_day_people_and_a_colder_setting_raise_nothing(kind: str) -> None:
    fault = Fault("thermostat", 6 * DAY, 2.0) if kind == "thermostat" else Fault()
    if kind == "shopping":
        fault = Fault("hot-load", 6 * DAY + 15 * HOUR, 150.0)
    found = lived(Cooler(4, Weather(24.0, swing_k=8.0, seed=4), people=20), 10 * DAY, fault, lost=0.02)
    assert found == []


@pytest.mark.parametrize("mean_c", [-15.0, 36.0])
def test_frost_and_heat_raise_nothing_where_a_probe_tells_of_them(mean_c: float) -> None:
    assert lived(Cooler(6, Weather(mean_c, swing_k=6.0, seed=6), people=8), 8 * DAY, Fault()) == []


def test_after_it_was_off_it_pulls_down_and_that_is_no_fault() -> None:
    off = Fault("off", 6 * DAY, until_s=6 * DAY + 5 * HOUR)
    cooler = Cooler(7, Weather(26.0, seed=7), people=4)
    found = lived(cooler, 8 * DAY, off)
    assert [t.kind for t in found if t.kind != "duty-low"] == []


def test_a_cause_is_named_only_where_its_evidence_carries_it() -> None:
    assert weighed(())[0] is None
    assert weighed(("runs-at-its-watts", "came-at-once"))[0] is None
    assert weighed(("runs-at-more-watts", "crept-up", "lasts-half-a-day"))[0] == "condenser-blocked"
    assert weighed(("runs-at-far-fewer-watts", "never-rests", "lasts-half-a-day"))[0] == "charge-lost"
    for name, row in EVIDENCE.items():
        assert len(row) == len(CAUSES), name
    assert sum(p for _, p in weighed(("eases-off",))[1]) == pytest.approx(1.0)


# hours until it is warm


def test_hours_until_it_is_warm_by_the_trades_example() -> None:
    """80 kJ/K and 1 W/K, 32 °C outside, from 4 to 8 °C: 80 000 ln(28/24) s, which is 3.4 h."""
    found = warms(4.0, 32.0)
    assert found is not None
    assert (round(found[0], 1), found[1]) == (3.4, 8.0)
    assert warms(4.0, 6.0) is None
    assert warms(9.0, 20.0) == (0.0, 8.0)
    assert warms(-18.0, 20.0) == (pytest.approx(80 / 3.6 * 0.1719, abs=0.01), -12.0)  # ln(38/32) = 0.1719


@pytest.mark.parametrize("inside", [4.0, None])
def test_a_lost_feed_says_how_soon_it_is_warm_where_that_is_known(inside: float | None) -> None:
    own = schedule(COOLER, period_s=2.0)
    own = replace(own, probes=(OUTSIDE, Probe(id="T3", where="load:D1", monitor="dc")))
    warmth = [Reading("T2", T0, T0, celsius=32.0)] + ([Reading("T3", T0, T0, celsius=inside)] if inside else [])
    found = run(own, [*warmth, *stream({"D1": lambda t: 0.12 if t < 60 else 0.0}, 300)])
    assert [t.kind for t in found] == ["feed-lost"]
    assert dict(found[0].figures).get("warms_in_h") == (3.4 if inside else None)
    said = [line for line in alarm_object(found[0], own)["evidence"] if "until 8 °C" in line]
    assert len(said) == (1 if inside else 0)


# starts


@pytest.mark.parametrize(
    ("on_s", "off_s", "told"), [(60, 60, True), (100, 120, True), (240, 100, True), (600, 900, False), (200, 420, False)]
)
def test_a_compressor_that_starts_and_stops(on_s: int, off_s: int, told: bool) -> None:
    own = schedule(COOLER, period_s=10.0)
    draw = {"D1": lambda t: 0.12 if t < 900 or (t - 900) % (on_s + off_s) >= on_s else 4.0}
    found = of_rhythm(run(own, stream(draw, 3 * HOUR, period_s=10)))
    assert [(t.kind, t.cause) for t in found] == ([("short-cycling", None)] if told else [])
    if told:
        assert found[0].at_ms - T0 <= 900_000 + 3600_000


def test_volts_that_fall_as_it_starts_are_said() -> None:
    own = schedule(replace(COOLER, sense=Sense(volts_at="load", resolution_a=0.01)), period_s=2.0)
    on = lambda t: t >= 900 and (t - 900) % 120 < 60  # noqa: E731
    found = of_rhythm(
        run(own, stream({"D1": lambda t: 4.5 if on(t) else 0.12}, 2 * HOUR, volts=lambda t: 10.2 if on(t) else 12.6))
    )
    assert [(t.kind, t.cause) for t in found] == [("short-cycling", "low-volts-at-start")]
    assert message(found[0], own) == (
        "Have Sample cooler's supply checked: it starts and stops every 2 min since 06:15, and drops to 10.2 V as it starts."
    )


def test_starts_that_fail_are_one_alarm_of_their_own() -> None:
    own = schedule(COOLER, period_s=2.0)
    found = run(own, stream({"D1": lambda t: 8.0 if t > 900 and t % 60 < 3 else 0.12}, HOUR))
    assert [t.kind for t in found if t.event == "begins"] == ["off-profile"]


@pytest.mark.parametrize("seed", range(6))
def test_a_leak_is_told_within_four_pauses_by_night(seed: int) -> None:
    every_s = 720.0 + 330 * seed
    at_s = 23 * HOUR
    leak = leak_runs(seed, at_s, at_s + 6 * HOUR, every_s, 4.0 + seed)
    found = of_rhythm(run(plan(PUMP), pump_readings(leak, at_s + 6 * HOUR)))
    assert [(t.kind, t.cause) for t in found] == [("short-cycling", "leak-down")]
    assert seconds_after(found[0], leak[4][0]) <= 60
    assert "look for a leak: it ran 5 times, every" in message(found[0], plan(PUMP))


@pytest.mark.parametrize("habit", ["one", "family", "night"])
def test_people_who_draw_water_by_day_and_night_are_no_leak(habit: str) -> None:
    own = plan(PUMP, monitors=(replace(PLAN.monitors[0], expect_every_s=5.0),))
    for seed in range(2):
        assert of_rhythm(run(own, pump_readings(pump_runs(seed, 3, habit), 3 * DAY, period_s=5.0))) == []


def test_at_a_slow_period_a_leak_is_not_judged() -> None:
    slow = replace(PLAN.monitors[0], expect_every_s=30.0)
    leak = leak_runs(1, 23 * HOUR, 29 * HOUR, 900.0, 8.0)
    assert of_rhythm(run(plan(PUMP, monitors=(slow,)), pump_readings(leak, 29 * HOUR, period_s=30.0))) == []


@pytest.mark.parametrize("shower", [False, True])
def test_a_sump_that_fills_and_one_that_a_shower_drains_through(shower: bool) -> None:
    sump = [(HOUR + n * 480.0, 20.0) for n in range(8)]
    water = [(HOUR - 60 + n * 480.0, 120.0) for n in range(8)] if shower else []
    inputs = sorted([*pump_readings(sump, 3 * HOUR, name="D10"), *pump_readings(water, 3 * HOUR)], key=lambda r: r.received_ms)
    found = of_rhythm(run(plan(PUMP, SUMP), inputs))
    assert [(t.subject_id, t.kind, t.cause) for t in found] == ([] if shower else [("D10", "short-cycling", "water-comes-in")])
    if found:
        assert message(found[0], plan(SUMP)).startswith("Look at the water by Sump pump yourself: it ran 5 times in 32 min")


# laws


@pytest.mark.parametrize("cut", [0.2, 0.5, 0.77, 0.93])
@pytest.mark.parametrize("publishes", ["always", "on-change"])
def test_a_restart_in_the_middle_changes_nothing(cut: float, publishes: str) -> None:
    own = replace(COOLER, sense=Sense(resolution_a=0.05, publishes=publishes))
    pump = replace(PUMP, sense=Sense(resolution_a=0.05, publishes=publishes))
    plan_ = schedule(own, pump)
    cool = readings(Cooler(8, Weather(20.0, seed=8)), 2.5 * DAY, Fault("door", 2.3 * DAY, 10.0), period_s=60.0)
    leak = pump_readings(leak_runs(3, 0.95 * DAY, 1.2 * DAY, 900.0, 70.0), 2.5 * DAY, period_s=60.0)
    inputs = sorted([*cool, *leak], key=lambda r: r.received_ms)
    settings = Settings(received_ms=MIDNIGHT, schedule=plan_, started=True)
    whole, first, second = Core(), Core(), Core()
    expected = [out for item in (settings, *inputs) for out in whole.feed(item)]
    at = int(cut * len(inputs))
    out = [o for item in (settings, *inputs[:at]) for o in first.feed(item)]
    second.restore(json.loads(json.dumps(first.save())), plan_, silence_from_start=False)
    out += [o for item in inputs[at:] for o in second.feed(item)]
    assert out == expected
    assert json.dumps(second.save()) == json.dumps(whole.save())


def test_a_load_without_anything_to_judge_has_no_part() -> None:
    bare: Circuit = circuit("D1", "Lamp", "light")
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=plan(bare), started=True))
    assert core.watch is not None
    assert core.watch.ways["D1"].rhythm is None
