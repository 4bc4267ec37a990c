"""The numbers of `schedule.detect` are the watch's: a change there without one here fails."""

from __future__ import annotations

import pytest

from panelward.records import Sense, Settings
from panelward.schedule.detect import limits
from panelward.watch import (
    balance,
    cooling,
    dead,
    doubt,
    drain,
    drift,
    duties,
    glow,
    idle,
    level,
    overcurrent,
    retries,
    rhythm,
    runs,
    standby,
    starts,
    supply,
    suspect,
    swapped,
    unassigned,
    unmoved,
    witness,
    zero,
)
from plans import FREEZER, PLAN


@pytest.mark.parametrize(
    ("here", "there"),
    [
        (limits.LOW_READINGS, dead.READINGS),
        (limits.STEADY_S * 1000, dead.STEADY_MS),
        (limits.TELL_S * 1000, dead.TELL_MS),
        (limits.MUST_OPEN, dead.MUST_OPEN),
        (limits.FAR_OVER, witness.FAR_OVER),
        (limits.ZERO_ERROR_STEPS, zero.ZERO_STEPS),
        (limits.ZERO_ERROR_A, zero.ZERO_A),
        (limits.FINE_A, zero.FINE_A),
        (limits.DRIFT_A, zero.DRIFT_A_PER_K * zero.WARMER_K),
        (limits.IDLE_NEEDED, idle.NEEDED),
        (limits.IDLE_VISITS, idle.VISITS),
        (limits.CYCLIC, idle.CYCLIC),
        (limits.SUSTAINED_S, overcurrent.SUSTAINED_S),
        (limits.LOOK_AGAIN_S * 1000, overcurrent.LOOK_AGAIN_MS),
        (limits.SURGE_SLACK, overcurrent.SURGE_SLACK),
        (limits.GAIN, doubt.GAIN),
        (limits.COLDEST_C, doubt.COLDEST_C),
        (limits.PROVEN, doubt.PROVEN),
        (limits.DOUBT_FOLD, doubt.FOLD),
        (limits.DOUBT_READINGS, doubt.READINGS),
        (limits.OUTSIDE_HOURS_S * 1000, drain.OUTSIDE_HOURS_MS),
        (limits.BETWEEN_S * 1000, drain.BETWEEN_MS),
        (limits.RISEN_A, standby.SURE_A),
        (limits.RISEN_STEPS, standby.RISE_STEPS),
        (limits.RISEN_OWN_A, standby.RISE_A),
        (limits.RISEN_SHARE, standby.RISE_SHARE),
        (limits.RISEN_WARMTH_A, standby.ZERO_A_PER_K * standby.UNKNOWN_K),
        (limits.RISEN_LARGE_A, standby.LARGE_A),
        (limits.RISEN_LARGE_HOURS, standby.LARGE_HOURS),
        (limits.RISEN_SMALL_HOURS, standby.NIGHTS_HOURS),
        (limits.RISEN_ANCHOR_HOURS, standby.ANCHOR_HOURS),
        (limits.LEFT_ON, standby.LEFT_ON),
        (limits.FLOORS, runs.FLOORS),
        (limits.DRAIN_STEPS, runs.STEPS),
        (limits.DRAIN_W, runs.LEAST_W),
        (limits.DRAIN_LOOK_S * 1000, rhythm.LOOK_MS),
        (limits.RHYTHM_SEEN, duties.SEEN),
        (limits.QUARTER_S * 1000, runs.QUARTER_MS),
        (limits.RUN_LEAST_S * 1000, cooling.RUN_LEAST_MS),
        (limits.HABIT_DAYS * 3, cooling.LEARNING),
        (limits.BALANCE_S * 1000, balance.SPAN_MS),
        (limits.BALANCE_HALF_DAYS, balance.BLOCKS),
        (limits.SHORT_RUNS, starts.ShortCycles.RUNS),
        (limits.SHORT_RUN_S * 1000, starts.ShortCycles.RUN_MS),
        (limits.SHORT_SLOWEST_S * 1000, starts.ShortCycles.SLOWEST_MS),
        (limits.LEAK_PAUSES, (starts.Leak.NIGHTLY[0], starts.Leak.DAILY[-1][0])),
        (limits.LEAK_RUN_S[1] * 1000, starts.Leak.MOST_MS),
        (limits.LEAK_SLOWEST_S * 1000, starts.Leak.SLOWEST_MS),
        (limits.SUMP_STARTS, starts.Sump.STARTS),
        (limits.SUMP_SLOWEST_S * 1000, starts.Sump.SLOWEST_MS),
        (limits.STUCK_S * 1000, suspect.LASTING_MS["stuck"]),
        (limits.STUCK_STEPS, suspect.STEPS),
        (limits.STUCK_LEAST_STEPS, suspect.LEAST_STEPS),
        (limits.UNMOVED_A, unmoved.LEAST_A),
        (limits.UNMOVED_STEPS, unmoved.LEAST_STEPS),
        (limits.STUCK_S * 1000, unmoved.LASTING_MS),
        (limits.FOLLOWS, suspect.FOLLOWS),
        (limits.NEAR, supply.NEAR),
        (limits.MINUTES_NEAR, supply.MINUTES_NEAR),
        (limits.PULLED, supply.PULLED),
        (limits.WINDOW_MINUTES, supply.WINDOW),
        (limits.HOURS_AHEAD, supply.HOURS_AHEAD),
        (limits.HOURS_KNEE, supply.HOURS_KNEE),
        (limits.DRAWN_HOURS, swapped.DRAWN_HOURS),
        (limits.ANYTHING, swapped.UNKNOWN),
        (limits.LEVEL_GAIN, level.GAIN),
        ((limits.STALL, limits.STALL_S, limits.STALL_SURGE), (level.STALL, level.STALL_S, level.SURGE_SLACK)),
        ((limits.DRY_S, limits.ODD_S * 1000), (level.DRY_S, level.ODD_MS)),
        ((limits.OVER_LEVEL, limits.VISIT_READINGS), (level.OVER, level.VISIT_READINGS)),
        (limits.TURNS, level.TURNS),
        (limits.UNKNOWN_LEVELS, level.UNKNOWN + level.SOUNDS),
        (limits.RETRY_TRIES, retries.TRIES),
        (limits.RETRY_PACE_S, retries.PACE_S),
        (limits.RETRY_STANDS, retries.STANDS),
        ((limits.GLOW_APART, limits.GLOW_PHASES), (glow.APART, glow.PHASES)),
        (limits.GLOW_PERIOD_S * 1000, glow.PERIOD_MOST_MS),
        (limits.UNASSIGNED_BLOCK_S * 1000, unassigned.BLOCK_MS),
        ((limits.UNASSIGNED_NIGHT, limits.UNASSIGNED_SIGMAS), (unassigned.NIGHT_BLOCKS, unassigned.SIGMAS)),
        (
            (limits.UNASSIGNED_ZERO_STEPS, limits.UNASSIGNED_ZERO_A, limits.UNASSIGNED_KNOWN_A, limits.UNASSIGNED_LEAST_A),
            (unassigned.ZERO_SD_STEPS, unassigned.ZERO_SD_A, unassigned.KNOWN_ZERO_SD_A, unassigned.LEAST_A),
        ),
        ((limits.DRIFT_SD, limits.DRIFT_UNJUDGED), (drift.SD, drift.UNJUDGED)),
        (limits.IDLING_S * 1000, drain.IDLING_MS),
    ],
)
def test_the_numbers_are_the_watchs(here: object, there: object) -> None:
    assert here == there


@pytest.mark.parametrize("step_a", [0.001, 0.01, 0.05, 0.1])
def test_what_counts_as_nothing_is_the_watchs(step_a: float) -> None:
    from panelward.core import Core
    from panelward.schedule.detect import Look
    from plans import T0, circuit, plan

    bare = circuit("D1", "Pump", "pump", feed="always-on", sense=Sense(resolution_a=step_a))
    schedule = plan(bare)
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=schedule, started=True))
    life = core.watch.ways["D1"].dead
    assert life is not None
    assert Look(schedule, bare).zero_a == life._zero_a
    look = Look(schedule, bare)
    assert look.zero_error_a == zero.zero_error_a(step_a)
    assert look.least_floor_a == zero.least_floor_a(step_a, known=True)
    assert 2.0 * look.zero_error_a == zero.least_floor_a(step_a)
    assert look.cyclic == idle.judged(bare)
    assert Look(PLAN, FREEZER).cyclic == idle.judged(FREEZER)
    assert Look(PLAN, FREEZER).floor_w == FREEZER.loads[0].always_draws_w
