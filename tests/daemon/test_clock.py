"""The daemon's clock: a wall clock that is set while it runs, and simulated time that several processes share."""

from __future__ import annotations

from datetime import datetime

import pytest

from panelward.clock import STEP_MS, HostClock, pace
from panelward.core import Core
from panelward.errors import ScheduleError
from panelward.records import Clock, Reading, Request, Settings, Transition, Vehicle
from plans import DETECTOR, FREEZER, INVERTER, SOCKETS, plan, run, stream

NOW_S = 1_790_000_000.0


class Host:
    """A wall and a monotonic clock that can be set."""

    def __init__(self, wall_s: float) -> None:
        self.wall_s, self.mono_s = wall_s, 100.0

    def passes(self, seconds: float) -> None:
        self.wall_s += seconds
        self.mono_s += seconds

    def clock(self, not_before_ms: int = 0) -> HostClock:
        return HostClock(not_before_ms=not_before_ms, wall=lambda: self.wall_s, monotonic=lambda: self.mono_s)


@pytest.mark.parametrize("step_s", [3600.0, 1_700_000_000.0, 5.0])
def test_a_forward_step_moves_the_axis_and_says_by_how_much(step_s: float) -> None:
    host = Host(NOW_S)
    clock = host.clock()
    host.passes(10)
    assert clock.correction() is None
    host.wall_s += step_s
    found = clock.correction()
    assert found is not None
    assert found.shift_ms == pytest.approx(step_s * 1000, abs=2)
    assert clock.now_ms() == pytest.approx(host.wall_s * 1000, abs=2)
    assert clock.correction() is None


def test_a_backward_step_never_takes_the_axis_back() -> None:
    host = Host(NOW_S)
    clock = host.clock()
    before = clock.now_ms()
    host.wall_s -= 3600
    found = clock.correction()
    assert found == Clock(received_ms=before, offset_ms=-3_600_000)
    host.passes(10)
    assert clock.now_ms() == before + 10_000
    assert not clock.trusted
    assert clock.correction() is None
    host.wall_s += 3600
    assert clock.correction() == Clock(received_ms=before + 10_000, offset_ms=0)
    assert clock.trusted


def test_small_drifts_are_none() -> None:
    """RFC 5905 slews what is under its step threshold; so does the host, and the axis follows monotonic time."""
    host = Host(NOW_S)
    clock = host.clock()
    host.wall_s += 0.12
    assert clock.correction() is None


def test_from_1970_it_is_not_trusted_until_it_is_set() -> None:
    host = Host(30.0)
    clock = host.clock()
    assert not clock.trusted
    host.wall_s = NOW_S
    assert clock.correction() is not None
    assert clock.trusted


def test_after_a_restart_it_starts_no_earlier_than_what_is_journalled() -> None:
    host = Host(NOW_S)
    clock = host.clock(not_before_ms=round(NOW_S * 1000) + 60_000)
    assert clock.now_ms() == round(NOW_S * 1000) + 60_000
    assert clock.offset_ms == -60_000


@pytest.mark.parametrize("step_s", [3600.0, -3600.0, 1_600_000_000.0])
def test_a_step_while_running_invents_no_alarm_and_loses_none(step_s: float) -> None:
    """Readings go on at the circuit's pace through a step; then a feed is lost, and that alone is told."""
    host = Host(NOW_S - 1_600_000_000.0 if step_s > 1e6 else NOW_S)
    clock, core = host.clock(), Core()
    core.feed(Settings(received_ms=clock.now_ms(), schedule=plan(FREEZER, DETECTOR), started=True, silence_from_start=True))
    out = []
    for n in range(1, 400):
        host.passes(2.0)
        if n == 200:
            host.wall_s += step_s
        correction = clock.correction()
        if correction is not None:
            out += core.feed(correction)
        now_ms = clock.now_ms()
        for reading in stream({"D1": 4.0, "D6": 0.1 if n < 300 else 0.0}, 0.0, start_ms=now_ms):
            out += core.feed(reading)
    found = [t for t in out if isinstance(t, Transition)]
    assert [(t.subject_id, t.kind, t.event) for t in found] == [("D6", "feed-lost", "begins")]
    assert 28_000 <= found[0].at_ms - found[0].since_ms <= 62_000


def test_two_processes_share_one_simulated_clock() -> None:
    shared = pace("2026-05-01T06:00Z,60,1000000000")
    clocks = [HostClock(shared, wall=lambda: 1_000_000_010.0, monotonic=lambda m=m: m) for m in (5.0, 77.0)]  # type: ignore[misc]
    assert [c.now_ms() for c in clocks] == [shared.origin_ms + 600_000] * 2
    assert clocks[0].real_s(shared.origin_ms + 660_000) == pytest.approx(1.0)


@pytest.mark.parametrize("text", ["", "2026-05-01", "2026-05-01T06:00Z,0", "2026-05-01T06:00Z,fast", "yesterday,60", "a,b,c,d"])
def test_a_clock_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(ScheduleError, match="--clock"):
        pace(text)


def test_a_look_at_the_clock_takes_no_time_from_what_arrived_before_it() -> None:
    """A message stamped before the look, taken after it, keeps its own time; `now_ms` is a promise, a look is none."""
    host = Host(NOW_S)
    clock = host.clock()
    arrived_s = host.mono_s + 1.0
    host.passes(5.0)
    looked_ms = clock.peek_ms()
    assert clock.at(arrived_s) == looked_ms - 4000
    assert clock.now_ms() == looked_ms
    assert clock.at(arrived_s) == looked_ms


def test_the_published_step_threshold_stands_beside_ours() -> None:
    """RFC 5905 (STEPT in its code, from memory): 0.128 s is stepped, less is slewed, by at most 500 ppm.

    Ours is coarser, and may be: it says only when the axis is told anew. Whatever the wall clock does below or above it, no
    delay and no energy is judged on it, so nothing is a second late by that; what stays below adds up until it is followed.
    """
    stept_s, most_slew = 0.128, 500e-6
    assert stept_s * 1000 < STEP_MS
    assert STEP_MS / 1000 / most_slew >= 1800.0, "a slewed clock takes at least half an hour to get so far"
    for step_s in (stept_s, 0.9, -0.9):
        host = Host(NOW_S)
        clock, core = host.clock(), Core()
        core.feed(Settings(received_ms=clock.now_ms(), schedule=plan(DETECTOR), started=True))
        begun_ms = clock.now_ms()
        for n in range(1, 101):
            host.passes(2.0)
            if n == 50:
                host.wall_s += step_s
            assert clock.correction() is None
            at_ms = clock.now_ms()
            assert at_ms == begun_ms + n * 2000
            core.feed(Reading("D6", at_ms, at_ms, volts=13.0, amps=0.1, watts=1.3))
        assert core.watch is not None
        assert core.watch.ways["D6"].energy_wh() == pytest.approx(1.3 * 198 / 3600, rel=1e-9)


@pytest.mark.parametrize("step_s", [0.0, 3600.0, -3600.0, 1_600_000_000.0, 7 * 86_400.0])
def test_a_step_makes_and_loses_no_hour_of_energy(step_s: float) -> None:
    """100 W for an hour, the clock set in the middle: 100 Wh by hand."""
    host = Host(NOW_S - 1_600_000_000.0 if step_s > 1e9 else NOW_S)
    clock, core = host.clock(), Core()
    core.feed(Settings(received_ms=clock.now_ms(), schedule=plan(FREEZER), started=True))
    for n in range(1801):
        if n == 900:
            host.wall_s += step_s
            if (correction := clock.correction()) is not None:
                core.feed(correction)
        at_ms = clock.now_ms()
        core.feed(Reading("D1", at_ms, at_ms, volts=12.5, amps=8.0, watts=100.0))
        host.passes(2.0)
    assert core.watch is not None
    way = core.watch.ways["D1"]
    assert way.energy_wh() == pytest.approx(100.0, rel=1e-6)
    assert way.unknown_ms == 0


@pytest.mark.parametrize("step_s", [3600.0, -3600.0, 1_600_000_000.0])
def test_a_step_neither_clears_an_alarm_nor_ends_its_shelf(step_s: float) -> None:
    host = Host(NOW_S - 1_600_000_000.0 if step_s > 1e9 else NOW_S)
    clock, core = host.clock(), Core()
    core.feed(Settings(received_ms=clock.now_ms(), schedule=plan(FREEZER, SOCKETS), started=True))
    out = []

    def lives(seconds: int) -> None:
        for _ in range(0, seconds, 2):
            host.passes(2.0)
            for reading in stream({"D1": 4.0, "D7": 17.6}, 0.0, start_ms=clock.now_ms()):
                out.extend(core.feed(reading))

    lives(300)
    (alarm,) = core.standing()
    out += core.feed(Request(kind="shelve", received_ms=clock.now_ms(), alarm=alarm.id, who="Kari", for_s=1800.0))
    lives(600)
    before = len(out)
    host.wall_s += step_s
    correction = clock.correction()
    assert correction is not None
    out += core.feed(correction)
    lives(600)
    assert [t for t in out[before:] if isinstance(t, Transition)] == []
    lives(660)
    after = [(t.event, t.state) for t in out[before:] if isinstance(t, Transition)]
    assert after, "half an hour is over"
    assert after[0][1] == "unacknowledged"


def test_people_and_loads_go_by_the_wall_clock_where_it_was_set_back() -> None:
    """The axis stays ahead by what it was wrong; the hours are those of the clock on the wall. In 1970 they can't be."""
    host = Host(NOW_S)
    clock, core = host.clock(), Core()
    core.feed(Settings(received_ms=clock.now_ms(), schedule=plan(FREEZER), started=True))
    host.wall_s -= 3 * 3600.0
    correction = clock.correction()
    assert correction is not None
    core.feed(correction)
    assert clock.local_ms() == round(host.wall_s * 1000)
    assert core.watch is not None
    minute = int(host.wall_s) // 60 % 1440
    assert core.watch.panel.local_minute(clock.now_ms()) == minute
    state = core.save()
    again = Core()
    again.restore(state, core.schedule, silence_from_start=False)
    assert again.watch is not None
    assert again.watch.panel.local_minute(clock.now_ms()) == minute
    host.wall_s = 60.0
    correction = clock.correction()
    assert correction is not None
    core.feed(correction)
    assert core.watch.panel.local_minute(clock.now_ms()) == minute
    assert clock.local_ms() == clock.peek_ms()


# Where the hour changes: Directive 2000/84/EC, articles 2 and 3: at 01:00 UTC on the last Sundays of March and of October.
@pytest.mark.parametrize(
    ("day", "begins", "fault"),
    [
        ("2026-03-28", "06:10", False),  # winter: 07:10 in Oslo
        ("2026-03-28", "05:10", True),  # 06:10
        ("2026-03-29", "05:10", False),  # summer from this night on: 07:10
        ("2026-10-24", "05:10", False),
        ("2026-10-25", "05:10", True),  # 06:10 again
        ("2026-10-25", "06:10", False),
    ],
)
def test_the_hours_of_a_load_are_local_where_the_hour_changes(day: str, begins: str, fault: bool) -> None:
    """An inverter that may run from 07:00 to 20:00 in Oslo runs for 45 min; half an hour beyond its hours is honest."""
    midnight_ms = round(datetime.fromisoformat(f"{day}T00:00+00:00").timestamp() * 1000)
    begins_ms = round(datetime.fromisoformat(f"{day}T{begins}+00:00").timestamp() * 1000)
    schedule = plan(INVERTER, vehicle=Vehicle(name="Van", id="van", timezone="Europe/Oslo"))
    rows = list(stream({"D9": 0.0}, 4.5 * 3600.0, period_s=10.0, start_ms=midnight_ms))
    rows += stream({"D9": 0.0}, (begins_ms - rows[-1].time_ms) / 1000 - 10.0, period_s=10.0, start_ms=rows[-1].time_ms + 10_000)
    rows += stream({"D9": 8.0}, 45 * 60.0, period_s=10.0, start_ms=begins_ms)
    found = [t.kind for t in run(schedule, rows) if t.kind == "standby-drain"]
    assert bool(found) == fault
