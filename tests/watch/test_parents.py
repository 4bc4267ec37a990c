"""What is above a circuit and what is not: parents told by volts, by what stopped together and by what lives on.

Each loss has its innocent or other twin: the same look at the circuit, and another truth above it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest

from panelward.core import Core
from panelward.records import Circuit, Protection, Reading, Schedule, Sense, Settings, Supply, Transition
from plans import DETECTOR, FREEZER, INVERTER, PLAN, T0, circuit, plan, run, stream

OWN_BAR = Sense(resolution_a=0.01)  # volts of the bar that the circuit hangs on
BEHIND = Sense(volts_at="after-device", resolution_a=0.01)
SWITCH = Sense(volts_at="after-switch", resolution_a=0.01)
BREAKER = Protection(kind="breaker-b", rating_a=10)
MAINS = Supply(id="mains", kind="ac", nominal_v=230, fed_by="D9")
LOST_S = 300.0

Shown = tuple[float, float]  # volts, amps
Rows = dict[str, Callable[[float], Shown | None]]


def rows(shown: Rows, seconds: float = 600.0, period_s: float = 2.0) -> Iterator[Reading]:
    """Readings of circuits that show so many volts and amps at a time; None: its reading is lost."""
    for n in range(int(seconds / period_s)):
        t_s, at_ms = period_s * n, T0 + round(1000 * period_s * n)
        for name, show in shown.items():
            now = show(t_s)
            if now is not None:
                yield Reading(name, at_ms, at_ms, volts=now[0], amps=now[1])


def until(volts: float, amps: float, lost_s: float = LOST_S) -> Callable[[float], Shown]:
    return lambda t: (volts, amps) if t < lost_s else (0.0, 0.0)


def steady(volts: float, amps: float) -> Callable[[float], Shown]:
    return lambda t: (volts, amps)


def dead(schedule: Schedule, readings: Iterator[Reading]) -> list[tuple[str, str, str, str | None]]:
    """(subject, its id, kind, cause) of what was told of dead circuits."""
    told = [t for t in run(schedule, readings) if t.group == "dead" and t.told and t.event in ("begins", "begins-again")]
    return [(t.subject, t.subject_id, t.kind, t.cause) for t in told]


def ways(sense: Sense, **keys: str) -> tuple[Circuit, ...]:
    """A lamp and a socket behind the feeder, both out of use at times, a detector beside it."""
    lamp = circuit("L1", "Rear lamp", "light", sense=sense, feeder="rear", feed="always-on", **keys)
    socket = circuit("L2", "Rear socket", "socket", sense=sense, feeder="rear", **keys)
    return lamp, socket, replace(DETECTOR, sense=sense)


# A feeder, and what rests behind it


@pytest.mark.parametrize("sense", [OWN_BAR, BEHIND, SWITCH], ids=lambda s: s.volts_at)
@pytest.mark.parametrize("socket_a", [2.0, 0.0])
def test_volts_gone_together_are_the_feeder_whatever_drew(sense: Sense, socket_a: float) -> None:
    shown: Rows = {"L1": until(12.9, 1.0), "L2": until(12.9, socket_a), "D6": steady(12.9, 0.1)}
    assert dead(plan(*ways(sense)), rows(shown)) == [("feeder", "rear", "feed-lost", "feeder-lost")]


@pytest.mark.parametrize("sense", [BEHIND, SWITCH], ids=lambda s: s.volts_at)
def test_volts_behind_a_resting_neighbour_show_that_the_feeder_stands(sense: Sense) -> None:
    """The twin: one circuit's volts go, its neighbour at rest still has its own."""
    shown: Rows = {"L1": until(12.9, 1.0), "L2": steady(12.9, 0.0), "D6": steady(12.9, 0.1)}
    assert "feeder" not in [subject for subject, *_ in dead(plan(*ways(sense)), rows(shown))]


def test_a_neighbour_that_lost_its_volts_long_before_says_nothing_of_the_feeder() -> None:
    shown: Rows = {"L1": until(12.9, 1.0), "L2": until(12.9, 0.0, 60.0), "D6": steady(12.9, 0.1)}
    found = dead(plan(*ways(BEHIND)), rows(shown))
    assert "feeder" not in [subject for subject, *_ in found]
    assert found[-1] == ("circuit", "L1", "protection-opened", "device-opened")


def test_two_lamps_that_a_hand_switched_off_are_no_lost_feeder() -> None:
    """No volts behind their switches, and both switches say so; nor where neither reports and nothing is always on."""
    lamps = tuple(circuit(f"L{n}", f"Lamp {n}", "light", sense=SWITCH, feeder="rear") for n in (1, 2))
    shown: Rows = {"L1": until(12.9, 1.0), "L2": until(12.9, 1.0, LOST_S + 3.0), "D6": steady(12.9, 0.1)}
    schedule = plan(*lamps, replace(DETECTOR, sense=SWITCH))
    assert dead(schedule, rows(shown)) == []
    told = (r._replace(closed=bool(r.volts)) if r.circuit != "D6" else r for r in rows(shown))
    assert dead(schedule, told) == []


def test_a_dead_bar_is_not_the_bus() -> None:
    """What one feeder's bar shows neither hides the loss nor dips the bus: a neighbour switched off later is no short."""
    lamp = circuit("D7", "Mast lamp", "light")
    after: Rows = {"D7": until(12.9, 3.0, 420.0)}
    shown: Rows = {"L1": until(12.9, 1.0), "L2": until(12.9, 0.0), "D6": steady(12.9, 0.1)}
    found = run(plan(*ways(OWN_BAR), lamp), rows(shown | after))
    assert [(t.subject, t.cause, t.at_ms <= T0 + 360_000) for t in found if t.told] == [("feeder", "feeder-lost", True)]


def test_a_bus_without_volts_is_the_supply_though_each_channel_might_be_cut_off() -> None:
    shown: Rows = {"L1": until(12.9, 1.0), "L2": until(12.9, 0.0), "D6": until(12.9, 0.1)}
    assert dead(plan(*ways(OWN_BAR)), rows(shown)) == [("supply", "house", "feed-lost", "supply-lost")]


@pytest.mark.parametrize(("gap_s", "bus_v", "told"), [(48.0, 12.9, "feeder"), (0.0, 0.0, "supply")])
def test_the_last_channel_that_sees_the_bus_may_miss_some_readings(gap_s: float, bus_v: float, told: str) -> None:
    """A feeder is lost, and a burst of the only other channel's readings: the bus is not; the twin: it goes as well."""

    def misses(t: float) -> Shown | None:
        return None if 420 <= t < 420 + gap_s else (12.9 if t < 420 else bus_v, 0.1 if t < 420 or bus_v else 0.0)

    shown: Rows = {"L1": until(12.9, 1.0), "L2": until(12.9, 0.0), "D6": misses}
    found = run(plan(*ways(OWN_BAR)), rows(shown, 700, period_s=10.0))
    assert found[0].subject == "feeder"
    assert {t.subject for t in found if t.event == "begins"} == {"feeder", told}
    assert [t.event for t in found if t.subject == "feeder"][:1] == ["begins"]


def test_a_feeder_is_back_with_its_volts_though_nothing_draws() -> None:
    def back(amps: float) -> Callable[[float], Shown]:
        return lambda t: (0.0, 0.0) if LOST_S <= t < 500 else (12.9, amps if t < LOST_S else 0.0)

    shown: Rows = {"L1": back(1.0), "L2": back(0.0), "D6": steady(12.9, 0.1)}
    found = [t for t in run(plan(*ways(BEHIND)), rows(shown, 800)) if t.subject == "feeder"]
    assert [t.event for t in found] == ["begins", "ends"]
    assert found[1].at_ms <= T0 + 510_000


def test_lost_readings_do_not_make_one_circuit_of_a_lost_feeder() -> None:
    """Its neighbour's readings come late, in a burst's gap: it is waited for, and the parent is told in time."""

    def late(t: float) -> Shown | None:
        return None if LOST_S <= t < LOST_S + 47 else until(12.9, 2.0)(t)

    keeper = replace(FREEZER, sense=SWITCH, feeder="rear")
    shown: Rows = {"D1": until(12.9, 4.0), "L2": late, "D6": steady(12.9, 0.1)}
    schedule = plan(keeper, *ways(SWITCH)[1:])
    found = [t for t in run(schedule, rows(shown, period_s=5.0)) if t.told]
    assert [(t.subject, t.cause) for t in found] == [("feeder", "feeder-lost")]
    assert found[0].at_ms <= T0 + 361_000


def test_a_neighbour_that_came_to_rest_at_the_same_moment_is_no_lost_supply() -> None:
    """One circuit's volts go, another only stops drawing, and nothing else has reported since."""
    keeper, lamp = replace(FREEZER, sense=BEHIND), circuit("D7", "Lamp", "light", sense=BEHIND)
    shown: Rows = {
        "D7": lambda t: (12.9, 2.0 if t < LOST_S else 0.0), "D1": until(12.9, 4.0),
        "D6": lambda t: (12.9, 0.1) if t < LOST_S or t > LOST_S + 12 else None,
    }  # fmt: skip
    ways = (keeper, lamp, replace(DETECTOR, sense=BEHIND))
    found = dead(replace(plan(*ways), feeders=()), rows(shown, period_s=5.0))
    assert found == [("circuit", "D1", "protection-opened", "device-opened")]


# The low-voltage disconnect


def shed(sense: Sense, at_v: float, *, beside: float | None = None) -> list[tuple[str, str, str, str | None]]:
    """A freezer and a lamp behind the disconnect lose their feed at these volts; a detector beside them lives."""
    keeper = replace(FREEZER, sense=sense, behind=("disconnect",))
    lamp = circuit("D7", "Shed lamp", "light", sense=sense, behind=("disconnect",))
    load = circuit("D4", "Pump", "pump", sense=sense)
    shown: Rows = {
        "D1": until(at_v, 4.0), "D7": until(at_v, 0.0) if beside is None else steady(beside, 0.0),
        "D6": lambda t: (at_v if t < LOST_S else at_v + 0.3, 0.1), "D4": lambda t: (at_v - 0.1, 5.0),
    }  # fmt: skip
    house = replace(PLAN, supplies=(replace(PLAN.supplies[0], meter=None),), feeders=())
    return dead(replace(house, circuits=(keeper, lamp, load, replace(DETECTOR, sense=sense))), rows(shown))


def test_volts_behind_devices_near_the_cut_off_name_the_disconnect_where_nobody_measures_the_bus() -> None:
    assert shed(BEHIND, 11.7) == [("supply", "house", "feed-lost", "low-voltage-disconnect")]


def test_far_from_the_cut_off_it_is_not_named() -> None:
    assert [cause for *_, cause in shed(BEHIND, 12.9)] not in ([], ["low-voltage-disconnect"])


def test_volts_that_stay_behind_the_disconnect_clear_it() -> None:
    """The twin: at the same low volts one circuit's own go, and its neighbour's stay."""
    assert shed(BEHIND, 11.7, beside=11.7) == [("circuit", "D1", "protection-opened", "device-opened")]


@pytest.mark.parametrize(("at_v", "cause"), [(11.7, "low-voltage-disconnect"), (12.9, "device-opened")])
def test_the_only_circuit_behind_the_disconnect(at_v: float, cause: str) -> None:
    keeper = replace(FREEZER, sense=BEHIND, behind=("disconnect",))
    shown: Rows = {"D1": until(at_v, 4.0), "D6": steady(at_v, 0.1), "D4": steady(at_v - 0.1, 5.0)}
    ways = (keeper, circuit("D4", "Pump", "pump", sense=BEHIND), replace(DETECTOR, sense=BEHIND))
    assert [found[3] for found in dead(replace(plan(*ways), feeders=()), rows(shown))] == [cause]


# An inverter


def inverted(
    inverter: Callable[[float], Shown], *, heavy: bool = False, volts: str = "after-device"
) -> list[tuple[str, str, str | None]]:
    """What is told where the outlets of an inverter lose their volts, and it draws so."""
    mains = Sense(volts_at=volts, resolution_a=0.01)
    lab = circuit("A1", "Lab", supply="mains", feed="always-on", always_draws_w=12.0, sense=mains, protection=BREAKER)
    kettle = circuit("A2", "Kettle", "heater-element", supply="mains", sense=mains, protection=BREAKER)
    lamp = circuit("D7", "Shed lamp", "light", sense=BEHIND, behind=("disconnect",))
    ways = (replace(INVERTER, sense=BEHIND), lamp, replace(DETECTOR, sense=BEHIND), lab, kettle)
    house = replace(plan(*ways), supplies=(*PLAN.supplies, MAINS), feeders=())

    def boils(t: float) -> Shown:
        return (230.0, 8.0 if heavy and t >= LOST_S - 2 else 0.0) if t < LOST_S else (0.0, 0.0)

    shown: Rows = {
        "D9": inverter, "D7": steady(12.9, 0.0), "D6": steady(12.9, 0.1), "A1": until(230.0, 0.3), "A2": boils,
    }  # fmt: skip
    return [(s, name, cause) for s, name, _, cause in dead(house, rows(shown))]


@pytest.mark.parametrize("volts", ["bus", "after-device", "load"])
def test_an_inverter_that_stopped_is_no_open_isolator(volts: str) -> None:
    """It and its outlets stop together, and volts stand behind its device: that is one loss, of its output."""
    assert inverted(lambda t: (12.9, 6.0 if t < LOST_S else 0.0), volts=volts) == [("supply", "mains", "unknown")]


def test_a_draw_near_its_limit_just_before_is_remembered_till_it_is_judged() -> None:
    """One reading of the kettle shows it, and the inverter idles on for a minute before anything is said."""
    found = inverted(lambda t: (12.9, 6.0 if t < LOST_S else 0.12), heavy=True, volts="bus")
    assert found == [("supply", "mains", "source-limited")]


def test_volts_gone_behind_the_inverters_own_device_are_its_device() -> None:
    """The twin: the outlets show the same, and what feeds them shows why."""
    assert inverted(until(12.9, 6.0)) == [("circuit", "D9", "device-opened")]


# A crank


@pytest.mark.parametrize(("low_v", "opened"), [(11.4, True), (9.5, False), (6.4, False)])
def test_a_bus_deeper_down_than_a_branch_pulls_it_is_a_crank(low_v: float, opened: bool) -> None:
    """Electronics that stopped in the dip, and is back after 35 s; the twin: a short's dip, and it never comes back."""
    node = circuit("D3", "Node", feed="always-on", always_draws_w=6.0)

    def dips(amps: float) -> Callable[[float], Shown]:
        return lambda t: (low_v if t == LOST_S else 12.9, amps)

    def stops(t: float) -> Shown:
        away = t >= LOST_S and (opened or t < LOST_S + 35)
        return (low_v if t == LOST_S else 12.9, 0.0 if away else 0.5)

    found = dead(plan(node, DETECTOR, FREEZER), rows({"D3": stops, "D6": dips(0.1), "D1": dips(4.0)}, period_s=1.0))
    assert [cause for *_, cause in found] == (["device-opened"] if opened else [])


# What survives a restart


def test_volts_seen_before_a_restart_still_tell_the_feeder() -> None:
    shown: Rows = {"L1": until(12.9, 1.0), "L2": until(12.9, 0.0), "D6": steady(12.9, 0.1)}
    schedule, all_rows = plan(*ways(BEHIND)), list(rows(shown))
    half = next(n for n, r in enumerate(all_rows) if r.time_ms >= T0 + 320_000)
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=schedule, started=True))
    for row in all_rows[:half]:
        assert not core.feed(row)
    again = Core()
    again.restore(json.loads(json.dumps(core.save())), schedule, silence_from_start=False)
    found = [t for row in all_rows[half:] for t in again.feed(row) if isinstance(t, Transition)]
    assert [(t.subject, t.cause) for t in found] == [("feeder", "feeder-lost")]


@pytest.mark.parametrize(("volts", "under_s", "told"), [(11.55, 20, False), (12.1, 20, True), (11.55, 2, True)])
def test_an_overload_at_the_cut_off_is_not_claimed_to_have_opened_a_fuse(volts: float, under_s: float, told: bool) -> None:
    """24 A on the 15 A behind the disconnect: with the bank under its cut-off for its delay either may have ended it."""
    lamp = circuit("D5", "Mast lights", "light", behind=("disconnect",))
    idle = circuit("D8", "Roof fan", "fan", behind=("disconnect",))

    def bus(t_s: float) -> float:
        return volts if 720.0 - under_s <= t_s < 720.0 else 12.1 if 600.0 <= t_s < 720.0 else 12.8

    def draws(t_s: float) -> float:
        return 3.0 if t_s < 600.0 else 24.0 if t_s < 720.0 else 0.0

    found = run(plan(lamp, idle, FREEZER), stream({"D1": 4.0, "D5": draws, "D8": 0.0}, 1000.0, volts=bus))
    kinds = {t.kind for t in found if t.subject_id == "D5" and t.group == "dead"}
    assert ("protection-opened" in kinds) is told
