"""What `detect` says of everything but a lost feed, against the core itself. Streams are made by hand."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from math import floor

import pytest

from panelward.records import Circuit, Level, Load, Probe, Protection, Schedule, Segment, Sense, Surge, Transition, Will
from panelward.schedule.detect import Sight, detectability
from plans import PLAN, T0, circuit, plan, run, stream

V = 12.8
FUSE = Protection(kind="blade-fuse", type="C", rating_a=10)
PERIODS = (1.0, 2.0, 5.0, 10.0, 19.0, 20.0, 30.0)


def schedule_of(own: Circuit, period_s: float = 2.0) -> Schedule:
    monitor = replace(PLAN.monitors[0], expect_every_s=period_s)
    return plan(own, monitors=(monitor,), feeders=(), probes=(), supplies=(replace(PLAN.supplies[0], meter=None),))


def sight(schedule: Schedule, what: str) -> Sight:
    (found,) = (s for s in detectability(schedule) if s.what == what and s.circuit == "D1")
    return found


def begins(found: list[Transition], kind: str) -> list[Transition]:
    return [t for t in found if t.kind == kind and t.event == "begins"]


def told(schedule: Schedule, kind: str, amps: float | Callable[[float], float], length_s: float) -> list[Transition]:
    return begins(run(schedule, stream({"D1": amps}, length_s, period_s=schedule.monitors[0].expect_every_s, volts=V)), kind)


@pytest.mark.parametrize("period_s", PERIODS)
@pytest.mark.parametrize(("surge", "seconds"), [(None, 0), (Surge(times=5.0, seconds=40), 40)])
def test_overcurrent_is_told_in_its_time_and_never_before_two_readings(
    period_s: float, surge: Surge | None, seconds: float
) -> None:
    own = circuit("D1", "Heater", "heater-element", protection=FUSE, levels=(Level(name="on", watts=50, surge=surge),))
    schedule = schedule_of(own, period_s)
    said = sight(schedule, "overcurrent")
    assert (said.can, said.within_s is not None) == ("yes", True)
    alone_s = {1.0: 11, 2.0: 12, 5.0: 15, 10.0: 20, 19.0: 38, 20.0: 30, 30.0: 40}[period_s]  # by hand from the watch's rule
    assert said.within_s == max(alone_s, seconds and seconds + 2 * period_s)
    found = told(schedule, "overcurrent-approach", 12.0, said.within_s)  # type: ignore[arg-type]
    assert len(found) == 1
    assert (
        begins(run(schedule, stream({"D1": lambda t: 12.0 if t < 9 else 2.0}, 300, period_s=period_s)), "overcurrent-approach")
        == []
    )


def test_an_on_change_overcurrent_is_told_by_the_clock() -> None:
    schedule = schedule_of(circuit("D1", "Pump", "pump", protection=FUSE, sense=Sense(publishes="on-change")))
    said = sight(schedule, "overcurrent")
    found = run(schedule, stream({"D1": 12.0}, 0), until_ms=T0 + round(said.within_s * 1000))  # type: ignore[operator]
    assert len(begins(found, "overcurrent-approach")) == 1


@pytest.mark.parametrize("kind", ["blade-fuse", "breaker-b"])
def test_the_multiple_that_opens_sooner_opens_sooner(kind: str) -> None:
    """Type C: at 2.0 times within 5 s, at 1.6 within 50 s (data sheets naming ISO 8820-3). B: 5 times at once (IEC 60898-1)."""
    fitted = Protection(kind=kind, type="C" if kind == "blade-fuse" else None, rating_a=10)
    said = sight(schedule_of(circuit("D1", "Pump", "pump", protection=fitted)), "overcurrent")
    assert f"from {2 if kind == 'blade-fuse' else 5} times its rating on its device opens before" in said.why


@pytest.mark.parametrize("period_s", PERIODS)
@pytest.mark.parametrize("ambient_c", [30, 60])
def test_a_conductor_that_overheats_is_told_in_its_time(period_s: float, ambient_c: float) -> None:
    wire = (Segment(area_mm2=4.0, length_m=4, insulation_c=105, bundled=1, ambient_c=ambient_c),)
    own = circuit("D1", "Pump", "pump", protection=replace(FUSE, rating_a=300), conductor=wire)
    schedule = schedule_of(own, period_s)
    said = sight(schedule, "conductor overheating")
    amps = float(said.why.split()[1])
    assert len(told(schedule, "conductor-overheating", amps * 1.01, said.within_s)) == 1  # type: ignore[arg-type]
    assert told(schedule, "conductor-overheating", amps / 1.5 * 0.98, 3600) == []
    unknown = replace(own, conductor=(Segment(length_m=4),))
    assert sight(schedule_of(unknown, period_s), "conductor overheating").can == "no"
    assert told(schedule_of(unknown, period_s), "conductor-overheating", amps * 1.01, 3600) == []


@pytest.mark.parametrize("period_s", PERIODS)
@pytest.mark.parametrize(("kind", "type_"), [("blade-fuse", "C"), ("blade-fuse", "E"), ("bolt-fuse", None)])
@pytest.mark.parametrize("reports", ["sample", "mean"])
def test_another_device_is_told_in_its_time(period_s: float, kind: str, type_: str | None, reports: str) -> None:
    fitted = Protection(kind=kind, type=type_, rating_a=30)
    own = circuit("D1", "Winch", "motor", protection=fitted, sense=Sense(reports=reports))
    schedule = schedule_of(own, period_s)
    said = sight(schedule, "another device fitted")
    found = told(schedule, "protection-doubtful", 60.5, said.within_s or 3600)
    assert len(found) == (said.can == "yes") == (kind == "blade-fuse")
    on_change = schedule_of(replace(own, sense=Sense(reports=reports, publishes="on-change")), period_s)
    assert sight(on_change, "another device fitted").can == "no"
    held = run(on_change, stream({"D1": 60.5}, 0), until_ms=T0 + 3600_000)
    assert begins(held, "protection-doubtful") == []


HOURS = ((7 * 60, 20 * 60),)


@pytest.mark.parametrize("publishes", ["always", "on-change"])
@pytest.mark.parametrize(
    ("keys", "amps", "can"),
    [
        ({"longest_run_s": 1200.0}, 1.0, "no"),
        ({"standby_max_w": 3.0, "levels": (Level(name="on", watts=50),)}, 1.0, "together"),
        ({"hours": HOURS}, 1.0, "together"),
        ({}, 1.0, "no"),
        ({"standby_max_w": 3.0, "levels": (Level(name="on", watts=3.5),)}, 0.27, "no"),
    ],
)
def test_a_standby_drain_is_told_in_its_time(keys: dict[str, object], amps: float, can: str, publishes: str) -> None:
    own = circuit("D1", "Lamp", "light", sense=Sense(resolution_a=0.01, publishes=publishes), **keys)
    schedule = schedule_of(own, 10.0)
    said = sight(schedule, "standby drain")
    assert said.can == can
    night_ms = T0 + 16 * 3600_000
    until_s = said.within_s or 6 * 3600
    length_s = 0 if publishes == "on-change" else until_s
    inputs = stream({"D1": amps}, length_s, period_s=10.0, volts=V, start_ms=night_ms)
    found = begins(run(schedule, inputs, until_ms=night_ms + round(until_s * 1000)), "standby-drain")
    assert len(found) == (can != "no")


@pytest.mark.parametrize("period_s", [2.0, 30.0])
def test_silence_is_told_in_its_time_unless_it_is_no_evidence(period_s: float) -> None:
    schedule = schedule_of(circuit("D1", "Lamp", "light"), period_s)
    said = sight(schedule, "overdue readings")
    assert said.within_s == max(120, 10 * period_s)
    found = run(schedule, stream({"D1": 1.0}, 0), until_ms=T0 + round(said.within_s * 1000))
    assert [t.kind for t in found] == ["readings-overdue"]
    quiet = schedule_of(circuit("D1", "Lamp", "light", sense=Sense(publishes="on-change")), period_s)
    assert sight(quiet, "overdue readings").can == "no"
    assert run(quiet, stream({"D1": 1.0}, 0), until_ms=T0 + 86_400_000) == []
    will = replace(quiet, monitors=(replace(quiet.monitors[0], will=Will(topic="van/state", gone="lost")),))
    assert sight(will, "overdue readings").can == "together"


@pytest.mark.parametrize("period_s", [1.0, 2.0, 30.0, 90.0])
def test_a_supply_near_its_cut_off_is_told_in_its_time(period_s: float) -> None:
    schedule = schedule_of(circuit("D1", "Lamp", "light"), period_s)
    said = sight(schedule, "supply near cut-off")
    near_v = float(said.why.split()[5])

    def volts(t_s: float) -> float:
        return 12.8 if t_s < 610 else near_v - 0.01

    inputs = stream({"D1": 1.0}, 610 + period_s + said.within_s, period_s=period_s, volts=volts)  # type: ignore[operator]
    assert len(begins(run(schedule, inputs), "undervoltage-approach")) == 1
    above = stream({"D1": 1.0}, 7200, period_s=period_s, volts=near_v + 0.02)
    assert begins(run(schedule, above), "undervoltage-approach") == []
    behind = schedule_of(circuit("D1", "Lamp", "light", sense=Sense(volts_at="load")), period_s)
    assert sight(behind, "supply near cut-off").can == "no"
    low = stream({"D1": 1.0}, 7200, period_s=period_s, volts=near_v - 0.2)
    assert begins(run(behind, low), "undervoltage-approach") == []


def test_a_supply_near_its_cut_off_is_told_before_those_volts_where_it_falls() -> None:
    """As it says: earlier, at higher volts, where a lasting fall leaves so few hours."""
    schedule = schedule_of(circuit("D1", "Lamp", "light"), 10.0)
    said = sight(schedule, "supply near cut-off")
    near_v = float(said.why.split()[5])
    assert "earlier, at higher volts, where at a lasting fall it has 3 h or less left" in said.why
    inputs = stream({"D1": 1.0}, 3600, period_s=10.0, volts=lambda t_s: near_v + 0.4 - 0.3 * t_s / 3600)
    (told,) = begins(run(schedule, inputs), "undervoltage-approach")
    assert dict(told.figures)["volts"] > near_v
    still = stream({"D1": 1.0}, 7200, period_s=10.0, volts=near_v + 0.05)
    assert begins(run(schedule, still), "undervoltage-approach") == []


@pytest.mark.parametrize(("width_s", "period_s"), [(0.4, 2.0), (1.0, 2.0), (3.0, 10.0), (30.0, 10.0)])
def test_a_surge_is_seen_as_often_as_it_says(width_s: float, period_s: float) -> None:
    """Starts at random moments; a start is seen if a sample falls into it. Compared with a binomial's four deviations."""
    own = circuit("D1", "Pump", "pump", levels=(Level(name="on", watts=50, surge=Surge(times=3, seconds=width_s)),))
    said = sight(schedule_of(own, period_s), 'start surge "on"')
    chance, starts = min(1.0, width_s / period_s), random.Random(8)
    hits = sum(floor((at + width_s) / period_s) > floor(at / period_s) for at in (starts.random() * 1e5 for _ in range(4000)))
    assert abs(hits - 4000 * chance) <= 4 * (4000 * chance * (1 - chance)) ** 0.5
    if chance == 1.0:
        assert said.can == "yes"
    else:
        assert (said.can, f"seen in {100 * chance:.2g} %" in said.why) == ("unreliable", True)
        assert said.mend == (None if width_s < 1 else f"A period of at most {floor(width_s)} s.")
        means = sight(schedule_of(replace(own, sense=Sense(reports="mean")), period_s), 'start surge "on"')
        steady_a = 50 / V
        assert means.can == "no"
        assert f"at most {steady_a + 2 * steady_a * chance:.3g} A" in means.why


def test_stuck_readings_and_resistance_raise_nothing_and_it_says_so() -> None:
    chassis = (Segment(area_mm2=4.0, length_m=4, insulation_c=105, ambient_c=30, bundled=1, return_path="chassis"),)
    own = circuit("D1", "Lamp", "light", conductor=chassis, sense=Sense(volts_at="load"))
    schedule = schedule_of(own)
    assert sight(schedule, "stuck readings").can == sight(schedule, "resistance of its branch").can == "no"
    assert "chassis" in sight(schedule, "resistance of its branch").why
    assert run(schedule, stream({"D1": 5.0}, 3600, volts=10.0)) == []


def test_a_stuck_reading_is_found_where_it_says_so_and_within_its_time() -> None:
    """A lamp of 60 W must follow the bus, which another circuit shows to move by a volt."""
    lamp = circuit("D1", "Lamp", "light", levels=(Level(name="on", watts=60),))
    other = circuit("D2", "Other", "socket")
    alone = schedule_of(lamp)
    schedule = replace(alone, circuits=(lamp, other))
    said = sight(schedule, "stuck readings")
    assert (said.can, said.within_s) == ("together", 600.0)
    found = run(schedule, stream({"D1": 4.7, "D2": 1.0}, 3600, volts=lambda t: 12.2 + (t // 400 % 2)))
    stuck = [t for t in found if t.kind == "reading-suspect" and t.subject_id == "D1"]
    assert stuck
    assert stuck[0].at_ms - T0 <= (400 + 600 + 10) * 1000


def test_a_stuck_reading_of_what_need_not_follow_the_bus_is_found_by_the_banks_meter() -> None:
    """Sockets go on at 4 A to the last digit, though the meter falls by as much."""
    own, other = circuit("D1", "Sockets", "socket"), circuit("D2", "Other", "light")
    meter = Circuit(id="SH", label="Bank", monitor="dc", supply="house", sense=own.sense, role="meter")
    alone = schedule_of(own)
    assert sight(alone, "stuck readings").can == "no"
    schedule = replace(alone, circuits=(meter, own, other), supplies=(replace(alone.supplies[0], meter="SH"),))
    said = sight(schedule, "stuck readings")
    assert (said.can, said.within_s) == ("together", 600.0)
    bank = stream({"D1": 4.0, "D2": lambda t: 1.0 + t % 3 / 100, "SH": lambda t: (5.0 if t < 400 else 1.0) + t % 3 / 100}, 1400)
    (stuck,) = (t for t in run(schedule, bank) if t.kind == "reading-suspect")
    assert (stuck.subject_id, stuck.cause) == ("D1", "stuck")
    assert stuck.at_ms - T0 <= (400 + 600 + 20) * 1000


def test_a_circuit_without_a_monitor_is_seen_by_nobody() -> None:
    own = circuit("D1", "Lamp", "light", monitor=None, loads=(Load(kind="light"),))
    (said,) = detectability(replace(schedule_of(own), monitors=()))
    assert (said.what, said.can) == ("every fault", "no")


@pytest.mark.parametrize(("where", "standby_only"), [(None, True), ("load:D1", True), ("panel", False), ("outside", False)])
def test_a_compressor_s_departure_is_seen_where_it_is_known_how_warm_it_is(where: str | None, standby_only: bool) -> None:
    """The core itself is held to it in tests/watch/test_drift_causes.py."""
    own = circuit("D1", "Freezer", "compressor", levels=(Level(name="compressor", watts=50),))
    probes = (Probe(id="T2", where=where, monitor="dc"),) if where else ()
    found = sight(replace(schedule_of(own), probes=probes), "departure from its record")
    assert ("its standby only" in found.why) is standby_only
