"""Cases that a hostile reader made of the watch: gaps, surges, on-change publishers, parents, reloads, restarts."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import pytest

from panelward.core import Core
from panelward.records import (
    Input,
    Level,
    Output,
    Presence,
    Protection,
    Reading,
    Schedule,
    Segment,
    Sense,
    Settings,
    Supply,
    Surge,
    Transition,
)
from panelward.watch.causes import named
from plans import DETECTOR, FREEZER, INVERTER, LIGHTS, PLAN, SOCKETS, T0, circuit, kinds, plan, run, stream

ON_CHANGE = Sense(publishes="on-change", resolution_a=0.01)
THREE = tuple(circuit(f"K{n}", f"Kept {n}", feed="always-on", always_draws_w=10.0) for n in (1, 2, 3))


def fed(core: Core, inputs: Iterable[Input]) -> list[Transition]:
    out: list[Output] = [found for item in inputs for found in core.feed(item)]
    return [t for t in out if isinstance(t, Transition)]


def begun(schedule: Schedule, **keys: Any) -> Core:
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=schedule, started=True, **keys))
    return core


def one(circuit_id: str, at_s: float, amps: float) -> Reading:
    at_ms = T0 + round(at_s * 1000)
    return Reading(circuit_id, at_ms, at_ms, volts=13.0, amps=amps, watts=round(13.0 * amps, 3))


# Parents


def test_a_suppressed_alarm_is_let_out_and_the_next_loss_is_told() -> None:
    def first(t: float) -> float:
        return 0.0 if 100 <= t < 900 or t >= 1500 else 2.0

    def other(t: float) -> float:
        return 0.0 if 500 <= t < 900 else 2.0

    found = run(plan(*THREE), stream({"K1": first, "K2": other, "K3": other}, 1700, volts=None))
    mine = [t for t in found if t.subject_id == "K1"]
    assert [t.event for t in mine][:2] == ["begins", "suppress"]
    last = mine[-1]
    assert (last.event, last.state, last.told) == ("begins", "unacknowledged", True)


def test_one_channel_without_volts_is_no_lost_supply() -> None:
    rows = []
    for r in stream({"K1": 3.0, "K2": lambda t: 3.0 if t < 100 else 0.0}, 300):
        gone = r.circuit == "K2" and not r.amps
        rows.append(r._replace(volts=0.0) if gone else r._replace(volts=None) if r.circuit == "K1" else r)
    assert [t.subject for t in run(plan(*THREE), rows)] == ["circuit"]


def test_the_circuits_of_an_inverter_are_covered_by_a_lost_house() -> None:
    mains = Supply(id="mains", kind="ac", nominal_v=230, fed_by="D9")
    outlet = circuit("A1", "Outlet", "socket", supply="mains", feed="always-on", always_draws_w=50.0)
    house = replace(plan(*THREE, INVERTER, outlet), supplies=(*PLAN.supplies, mains))

    def rows() -> Iterable[Reading]:
        for r in stream({"K1": 1.0, "K2": 1.0, "D9": 6.0, "A1": 5.0}, 400):
            dead = r.time_ms >= T0 + 100_000
            volts = 0.0 if dead else 230.0 if r.circuit == "A1" else 13.0
            amps = 0.0 if dead else 0.3 if r.circuit == "A1" else r.amps
            yield r._replace(volts=volts, amps=amps, watts=round(volts * (amps or 0.0), 3))

    found = [t for t in run(house, rows()) if t.group == "dead"]
    assert [(t.subject, t.subject_id, t.cause) for t in found] == [("supply", "house", "supply-lost")]
    assert "A1" in found[0].circuits


@pytest.mark.parametrize("guard", ["isolator", "disconnect"])
def test_lamps_switched_off_together_by_a_hand_are_no_alarm(guard: str) -> None:
    lamps = tuple(circuit(f"L{n}", f"Lamp {n}", "light", behind=(guard,)) for n in (1, 2, 3))
    draws: dict[str, Any] = {f"L{n}": lambda t: 2.0 if t < 100 else 0.0 for n in (1, 2, 3)}
    assert run(plan(*lamps, SOCKETS), stream(draws | {"D7": 3.0}, 400)) == []


def test_shore_supply_goes_as_it_may() -> None:
    shore = Supply(id="shore", kind="ac", nominal_v=230, presence="comes-and-goes")
    kept = tuple(circuit(f"A{n}", f"Charger {n}", supply="shore", feed="always-on", always_draws_w=20.0) for n in (1, 2))
    house = replace(plan(*kept, SOCKETS), supplies=(*PLAN.supplies, shore))

    def rows() -> Iterable[Reading]:
        for r in stream({"A1": 0.5, "A2": 0.5, "D7": 3.0}, 400):
            if r.circuit == "D7":
                yield r
            else:
                on = r.time_ms < T0 + 100_000
                yield r._replace(volts=230.0 if on else 0.0, amps=0.5 if on else 0.0, watts=115.0 if on else 0.0)

    assert run(house, rows()) == []


# Openings and surges


def test_one_sample_far_over_the_rating_and_then_nothing_is_an_opening() -> None:
    fitted = replace(SOCKETS, protection=Protection(kind="blade-fuse", type="C", rating_a=10))
    found = run(plan(fitted, FREEZER), stream({"D7": lambda t: 5.0 if t < 100 else 60.0 if t < 101 else 0.0, "D1": 4.0}, 200,
                                              period_s=1.0))  # fmt: skip
    assert [(t.kind, t.cause) for t in found] == [("protection-opened", "device-opened")]


def test_a_bolt_in_link_opens_too() -> None:
    fitted = replace(SOCKETS, protection=Protection(kind="bolt-fuse", rating_a=60))
    draws = {"D7": lambda t: 20.0 if t < 100 else 400.0 if t < 104 else 0.0, "D1": 4.0}
    found = run(plan(fitted, FREEZER), stream(draws, 200))
    assert [t.kind for t in found if t.group == "dead"] == ["protection-opened"]


@pytest.mark.parametrize("period_s", [1.0, 2.0, 5.0, 10.0, 30.0, 60.0])
@pytest.mark.parametrize("start", [(20.0, 4.0), (20.0, 5.0, 5.0)])
def test_an_ordinary_start_then_off_is_no_opening(period_s: float, start: tuple[float, ...]) -> None:
    pump = circuit("P1", "Pump", "pump", protection=Protection(kind="blade-fuse", type="C", rating_a=10),
                   levels=(Level(name="on", watts=55, surge=Surge(times=5, seconds=1)),))  # fmt: skip
    slow = replace(plan(pump, FREEZER), monitors=(replace(PLAN.monitors[0], expect_every_s=period_s),))

    def draw(t: float) -> float:
        n = round(t / period_s) % 12
        return start[n - 2] if 2 <= n < 2 + len(start) else 0.0

    assert run(slow, stream({"P1": draw, "D1": 4.0}, 60 * period_s, period_s=period_s)) == []


@pytest.mark.parametrize("seconds", [4.0, 60.0])
def test_a_draw_that_its_fuse_may_carry_for_minutes_names_no_cause(seconds: float) -> None:
    fitted = replace(SOCKETS, protection=Protection(kind="blade-fuse", type="C", rating_a=10))
    draws = {"D7": lambda t: 5.0 if t < 100 else 14.0 if t < 100 + seconds else 0.0, "D1": 4.0}
    dead = [t for t in run(plan(fitted, FREEZER), stream(draws, 400)) if t.group == "dead"]
    assert [(t.kind, t.cause) for t in dead] == [("protection-opened", "unknown")]
    gentle = {"D7": lambda t: 5.0 if t < 100 else 11.5 if t < 100 + seconds else 0.0, "D1": 4.0}
    assert [t for t in run(plan(fitted, FREEZER), stream(gentle, 400)) if t.group == "dead"] == []


def test_another_circuits_start_makes_no_short() -> None:
    draws = {"D7": lambda t: 5.0 if t < 100 else 0.0, "D5": lambda t: 0.0 if t < 98 else 18.0 if t < 100 else 6.0, "D1": 4.0}
    found = run(PLAN, stream(draws, 300, volts=lambda t: 11.6 if 98 <= t < 100 else 13.0))
    assert [t for t in found if t.group == "dead"] == []


# Conductors


def test_a_conductor_does_not_overheat_in_a_gap_or_at_rest() -> None:
    thin = replace(SOCKETS, conductor=(replace(SOCKETS.conductor[0], area_mm2=1.5, insulation_c=60),))
    rows = [
        *stream({"D7": 4.0}, 60),
        *stream({"D7": 13.0}, 1, start_ms=T0 + 62_000),
        *stream({"D7": 0.0}, 60, start_ms=T0 + 362_000),
    ]
    assert [t for t in run(plan(thin), rows) if t.kind == "conductor-overheating"] == []


def test_overload_after_a_long_run_counts_from_its_own_beginning_and_eases() -> None:
    fitted = replace(SOCKETS, protection=Protection(kind="blade-fuse", type="C", rating_a=10))
    draws = {"D7": lambda t: 13.0 if 11_400 <= t < 11_460 else 8.6}
    found = run(plan(fitted), stream(draws, 12_600, period_s=5))
    assert [(t.event, t.priority) for t in found] == [("begins", "low"), ("changes", "medium"), ("eases", "low")]
    assert found[1].since_ms == T0 + 11_400_000
    assert found[2].since_ms == T0
    assert [t.told for t in found] == [True, True, False]


# On-change publishers


def test_on_change_a_drain_ends_with_one_reading_of_nothing() -> None:
    lamp = replace(LIGHTS, sense=ON_CHANGE, feeder=None, loads=(replace(LIGHTS.loads[0], hours=((360, 420),)),))
    assert run(plan(lamp), [one("D5", 0, 2.0), one("D5", 60, 0.0)], until_ms=T0 + 6 * 3_600_000) == []


def test_on_change_an_overload_is_seen_without_another_reading() -> None:
    fitted = replace(SOCKETS, sense=ON_CHANGE, protection=Protection(kind="blade-fuse", type="C", rating_a=10))
    found = run(plan(fitted), [one("D7", 0, 3.0), one("D7", 100, 19.0)], until_ms=T0 + 7_200_000)
    assert found[0].kind == "overcurrent-approach"
    assert found[0].at_ms - T0 <= 160_000


def test_on_change_a_lost_feed_survives_a_restart() -> None:
    kept = plan(replace(FREEZER, sense=ON_CHANGE), SOCKETS)
    core = begun(kept)
    fed(core, [one("D1", 0, 4.0), one("D1", 100, 0.0)])
    again = Core()
    again.restore(json.loads(json.dumps(core.save())), kept, silence_from_start=False)
    again.feed(Settings(received_ms=T0 + 120_000, schedule=kept, started=True))
    out = [t for t in again.advance(T0 + 400_000) if isinstance(t, Transition)]
    assert [(t.subject_id, t.kind) for t in out] == [("D1", "feed-lost")]


def test_on_change_quiet_neighbours_do_not_make_a_monitor_silent() -> None:
    two = plan(FREEZER, replace(SOCKETS, sense=ON_CHANGE))
    rows = [one("D7", 0, 1.0), *stream({"D1": 4.0}, 100)]
    found = run(two, rows, until_ms=T0 + 400_000)
    assert [(t.subject, t.subject_id) for t in found] == [("circuit", "D1")]


# Gaps


def test_a_gap_is_no_run_and_no_death() -> None:
    rows = [*stream({"D1": 4.5}, 120), *stream({"D1": 4.5}, 4, start_ms=T0 + 14_500_000)]
    assert [t.kind for t in run(PLAN, rows)] == ["readings-overdue", "readings-overdue"]
    rows = [
        *stream({"D6": 0.1}, 60),
        *stream({"D6": 0.0}, 2, start_ms=T0 + 62_000),
        *stream({"D6": 0.0}, 0, start_ms=T0 + 960_000),
    ]
    assert [t for t in run(PLAN, rows) if t.kind == "feed-lost"] == []


def test_a_draw_well_below_the_floor_is_told() -> None:
    assert kinds(run(plan(*THREE), stream({"K1": lambda t: 1.0 if t < 100 else 0.3, "K2": 1.0}, 300))) == [
        ("K1", "feed-lost", "begins")
    ]


# Readings that prove nothing


def test_a_retained_reading_ends_no_silence() -> None:
    rows = list(stream({"D1": 4.0, "D7": 3.0}, 60))
    old = Reading("D1", T0, T0 + 400_000, amps=4.0, origin="retained")
    assert [t.event for t in run(PLAN, [*rows, old], until_ms=T0 + 900_000)] == ["begins"]
    assert run(PLAN, [old._replace(received_ms=T0)], until_ms=T0 + 900_000) == []


def test_a_probe_that_cannot_be_or_is_old_changes_no_limit() -> None:
    for probe in (Reading("T1", T0, T0, celsius=85_000.0), Reading("T1", T0 - 36_000_000, T0 - 36_000_000, celsius=65.0)):
        assert run(PLAN, [probe, *stream({"D7": 13.2}, 300, start_ms=T0 + 1)]) == []


# Reloads and restarts


def test_a_reload_leaves_the_alarms_of_other_circuits_alone() -> None:
    core = begun(plan(FREEZER, DETECTOR, SOCKETS))
    found = fed(core, stream({"D1": lambda t: 4.0 if t < 20 else 0.0, "D6": 0.1, "D7": 3.0}, 200))
    assert kinds(found) == [("D1", "feed-lost", "begins")]
    rerated = replace(SOCKETS, protection=Protection(kind="blade-fuse", type="C", rating_a=20))
    out = fed(core, [Settings(received_ms=T0 + 201_000, schedule=plan(FREEZER, DETECTOR, rerated, LIGHTS))])
    out += fed(core, stream({"D1": 0.0, "D6": 0.1, "D7": 3.0}, 100, start_ms=T0 + 202_000))
    assert out == []


def test_what_a_reload_takes_away_is_withdrawn_and_told_to_nobody() -> None:
    core = begun(plan(FREEZER, DETECTOR))
    fed(core, stream({"D1": lambda t: 4.0 if t < 20 else 0.0, "D6": 0.1}, 200))
    out = fed(core, [Settings(received_ms=T0 + 201_000, schedule=plan(DETECTOR))])
    assert [(t.event, t.told) for t in out] == [("withdrawn", False)]


def test_a_restart_does_not_say_that_the_broker_was_away_while_nobody_watched() -> None:
    core = begun(plan(FREEZER))
    fed(core, [*stream({"D1": 4.0}, 60), Presence(received_ms=T0 + 100_000, subject="broker", name="127.0.0.1", here=False)])
    again = Core()
    again.restore(json.loads(json.dumps(core.save())), plan(FREEZER), silence_from_start=False)
    out = fed(again, [Settings(received_ms=T0 + 5_000_000, schedule=plan(FREEZER), started=True)])
    assert out == []


def test_a_switch_that_is_on_again_is_no_cause_any_more() -> None:
    draws = {"D1": lambda t: 4.0 if t < 100 else 0.0, "D6": 0.1}
    found = run(PLAN, stream(draws, 400, closed={"D1": lambda t: not 100 <= t < 200}))
    assert [(t.event, t.cause) for t in found] == [("begins", "switched-off"), ("changes", "unknown")]


# The numbers that decide


def test_an_overload_shorter_than_ten_seconds_is_a_start() -> None:
    assert run(PLAN, stream({"D7": lambda t: 17.6 if 60 <= t < 68 else 5.0}, 200, period_s=1.0)) == []


def test_in_a_gap_the_quickest_device_goes_on_and_the_slowest_rests() -> None:
    """The time off is one gap: `earliest` assumes that the last draw went on, `latest` none."""
    core = begun(plan(SOCKETS))
    fed(core, stream({"D7": 14.9}, 200))
    assert core.watch is not None
    over = core.watch.ways["D7"].over
    quick, slow = over.quick_heat(), over.slow_heat()
    fed(core, stream({"D7": 0.0}, 0.0, start_ms=T0 + 1_200_000))
    assert over.quick_heat() >= quick - 1e-9 > 0.9
    assert over.slow_heat() < 0.01 < slow


def test_one_minute_near_the_cut_off_is_a_heavy_load_and_two_are_told() -> None:
    for minutes, told in ((1, 0), (3, 1)):
        found = run(
            plan(SOCKETS),
            stream({"D7": 3.0}, 1200, volts=lambda t, m=minutes: 11.8 if 600 <= t < 600 + 60 * m else 12.8),  # type: ignore[misc]
        )
        assert len([t for t in found if t.event == "begins"]) == told, minutes


def test_a_clock_step_is_known_after_three_readings() -> None:
    rows = [r._replace(time_ms=r.time_ms - 3_600_000 * (r.time_ms >= T0 + 60_000)) for r in stream({"D7": 3.0}, 90)]
    (found,) = run(plan(SOCKETS), rows)
    assert found.at_ms - (T0 + 60_000) == 4000  # the third of them, two seconds apart


def test_a_bus_without_volts_is_a_lost_supply_though_nothing_was_drawn() -> None:
    rows = stream({"D7": 0.0}, 200, volts=lambda t: 12.8 if t < 100 else 0.4)
    found = [t for t in run(plan(SOCKETS), rows) if t.group == "dead"]
    assert [(t.subject, t.cause) for t in found] == [("supply", "supply-lost")]


def test_a_cause_is_named_at_085_with_the_runner_up_at_010_at_the_most() -> None:
    assert named((("a", 0.85), ("b", 0.10), ("c", 0.05))) == "a"
    assert named((("a", 0.84), ("b", 0.10), ("c", 0.06))) is None
    assert named((("a", 0.86), ("b", 0.11), ("c", 0.03))) is None


# What a hostile reading of the overcurrent watch found.

SLOW_MONITOR = replace(PLAN.monitors[0], expect_every_s=60.0)
HELD = replace(SOCKETS, sense=ON_CHANGE, protection=Protection(kind="blade-fuse", type="E", rating_a=30))


def at(circuit_id: str, measured_s: float, received_s: float, amps: float) -> Reading:
    return Reading(circuit_id, T0 + round(measured_s * 1000), T0 + round(received_s * 1000), volts=13.0, amps=amps)


def test_a_held_draw_that_was_carried_past_its_own_end_does_no_harm() -> None:
    """An on-change publisher looked at by the clock, then a reading measured before the last look."""
    slow = replace(plan(replace(SOCKETS, sense=ON_CHANGE)), monitors=(SLOW_MONITOR,))
    core = begun(slow)
    fed(core, [at("D7", 0, 0, 13.5), at("D7", 20, 60, 6.0), at("D7", 90, 95, 13.5), at("D7", 91, 200, 1.0)])
    assert core.watch is not None
    assert 0.0 <= core.watch.ways["D7"].over.quick_heat() < 2.0


def test_what_an_on_change_publisher_said_last_is_not_held_through_an_outage() -> None:
    """38 A on 30 A and then an hour in which nobody listened: nothing is claimed of that hour."""
    thin = replace(HELD, conductor=(Segment(area_mm2=4.0, length_m=4, insulation_c=60, ambient_c=40, bundled=1),))
    off = begun(plan(thin))
    fed(off, [at("D7", 0, 0, 38.0)])
    assert fed(off, [Settings(received_ms=T0 + 3_600_000, schedule=plan(thin), started=True)]) == []
    assert [t for t in off.advance(T0 + 3_700_000) if isinstance(t, Transition)] == []
    gone = begun(plan(thin))
    fed(gone, [at("D7", 0, 0, 38.0), Presence(received_ms=T0 + 1_000, subject="monitor", name="dc", here=False)])
    out = [t for t in gone.advance(T0 + 600_000) if isinstance(t, Transition)]
    assert {t.kind for t in out} <= {"readings-overdue"}
    heard = begun(plan(thin))
    fed(heard, [at("D7", 0, 0, 38.0)])
    out = [t for t in heard.advance(T0 + 600_000) if isinstance(t, Transition)]
    assert "conductor-overheating" in {t.kind for t in out}, "while its monitor is there the draw is held"


def test_a_rule_that_caps_a_device_is_no_temperature() -> None:
    """NEC 240.4(D): 15 A on 14 AWG whatever its insulation; 33 CFR gives 105 °C cable 35 A. 15.6 A is no fire."""
    cable = (Segment(awg="14", length_m=4, insulation_c=105, ambient_c=20, bundled=1),)
    capped = replace(plan(replace(SOCKETS, conductor=cable)), vehicle=replace(PLAN.vehicle, rules_dc=("NEC 310.16",)))
    out = run(capped, stream({"D7": 15.6}, 7200, period_s=10))
    assert "conductor-overheating" not in {t.kind for t in out}


def test_a_conductor_that_may_carry_nothing_is_hot_at_once() -> None:
    cable = (Segment(area_mm2=1.0, length_m=4, insulation_c=60, ambient_c=60, bundled=1),)
    out = run(plan(replace(SOCKETS, conductor=cable)), stream({"D7": 14.0}, 120))
    hot = [t for t in out if t.kind == "conductor-overheating"]
    assert hot
    assert hot[0].at_ms - T0 <= 30_000


def resting(volts_of: Any, seconds: float = 600) -> list[Transition]:
    """A circuit without a floor that rests, its volts measured behind its device; a neighbour shows the bus."""
    behind = replace(SOCKETS, id="D2", sense=Sense(volts_at="after-device", resolution_a=0.01), feed="always-on")
    schedule = plan(SOCKETS, behind)
    rows: list[Reading] = []
    for n in range(int(seconds / 2)):
        at_ms = T0 + 2000 * n
        rows.append(Reading("D7", at_ms, at_ms, volts=12.8, amps=3.0 + n % 3 / 100))
        rows.append(Reading("D2", at_ms, at_ms, volts=volts_of(2 * n), amps=0.0))
    return run(schedule, rows)


def test_a_feed_that_is_lost_while_its_load_rests_is_told_by_the_volts_behind_its_device() -> None:
    out = [t for t in resting(lambda t: 12.7 if t < 300 else 0.0) if t.group == "dead"]
    assert [(t.subject_id, t.kind, t.event) for t in out] == [("D2", "protection-opened", "begins")]
    assert out[0].since_ms == T0 + 300_000
    assert out[0].at_ms - out[0].since_ms <= 50_000


def test_volts_that_fail_for_a_moment_while_a_load_rests_are_no_lost_feed() -> None:
    assert resting(lambda t: 0.0 if 300 <= t < 320 else 12.7) == []


def test_after_an_outage_the_slowest_device_and_the_conductor_of_an_on_change_publisher_have_rested() -> None:
    core = begun(plan(HELD))
    fed(core, [at("D7", 0, 0, 29.0), at("D7", 600, 600, 29.1)])
    assert core.watch is not None
    warm = core.watch.ways["D7"].over.slow_heat()
    fed(core, [Settings(received_ms=T0 + 7_200_000, schedule=plan(HELD), started=True), at("D7", 7210, 7210, 2.0)])
    over = core.watch.ways["D7"].over
    assert over.slow_heat() < 0.3 * warm
    assert over.cable < 0.01
