"""The daemon's clock: a wall clock that is set while it runs, and simulated time that several processes share."""

from __future__ import annotations

import pytest

from panelward.core import Core
from panelward.daemon.clock import HostClock, pace
from panelward.errors import ScheduleError
from panelward.records import Clock, Settings, Transition
from plans import DETECTOR, FREEZER, plan, stream

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
