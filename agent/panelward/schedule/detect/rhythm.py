"""What its runs and rests tell: runs too long, a duty that is not its own, starts too often, a leak, a wet sump."""

from __future__ import annotations

from collections.abc import Iterator

from panelward.records import Load
from panelward.schedule.detect.draw import duration
from panelward.schedule.detect.limits import (
    BALANCE_HALF_DAYS,
    BALANCE_S,
    DRAIN_LOOK_S,
    DRAIN_STEPS,
    DRAIN_W,
    FLOORS,
    HABIT_DAYS,
    HABIT_LATE_S,
    LEAK_PAUSES,
    LEAK_RUN_S,
    LEAK_SLOWEST_S,
    QUARTER_S,
    RHYTHM_SEEN,
    RUN_LEAST_S,
    SHORT_RUN_S,
    SHORT_RUNS,
    SHORT_SLOWEST_S,
    SUMP_SLOWEST_S,
    SUMP_STARTS,
)
from panelward.schedule.detect.look import Look, Sight

OVERLONG = "a run too long"
DUTY = "duty out of its band"
WARMS = "an open door, ice, blocked vents, lost charge"
SHORT = "short cycling"
LEAK = "a leak behind the pump"
SUMP = "water in the sump"
STANDBY = "Write its standby_w, or its levels, so that rest and run are told apart."


def sights(look: Look) -> Iterator[Sight]:
    circuit = look.circuit
    if circuit.role != "load" or not circuit.loads:
        return
    load, alone = circuit.loads[0], len(circuit.loads) == 1
    yield _overlong(look)
    if alone and load.duty is not None:
        yield _duty(look, load)
    if alone and load.kind == "compressor":
        yield _habit(look)
        yield _short(look)
    if alone and load.kind == "pump":
        yield _sump(look) if look.always_on or circuit.importance == "life" else _leak(look)


def _known(look: Look) -> bool:
    """Are rest and run told apart: a standby, or levels above what may be standby?"""
    loads = look.circuit.loads
    standby_w = max(sum(load.standby_max_w or 0.0 for load in loads), FLOORS * look.floor_w)
    above_w = standby_w + max(DRAIN_STEPS * look.step_a * look.supply.nominal_v, DRAIN_W)
    lowest_w = min((level.watts * (1 - level.tolerance) for load in loads for level in load.levels), default=0.0)
    return lowest_w > above_w or any(load.standby_max_w is not None for load in loads)


def _overlong(look: Look) -> Sight:
    loads = look.circuit.loads
    longest = [load.longest_run_s for load in loads if load.longest_run_s is not None]
    if len(longest) != len(loads):
        return look.no(OVERLONG, "its longest_run is not written", "Write longest_run.")
    late_s = DRAIN_LOOK_S if look.on_change else look.period_s
    return look.sight(OVERLONG, "yes", max(longest) + late_s, f"runs longer than {duration(max(longest))}")


def _duty(look: Look, load: Load) -> Sight:
    assert load.duty is not None
    if not _known(look):
        return look.no(DUTY, "nothing tells its rest from its run", STANDBY)
    window_s = load.duty.window_h * 3600.0
    why = f"below {load.duty.low:.0%} or above {load.duty.high:.0%} of {duration(window_s)} seen to {RHYTHM_SEEN:.0%}"
    if load.kind == "compressor" and not _outside(look):
        mend = "A probe outside: it tells heat and cold from a fault."
        return look.sight(DUTY, "unreliable", window_s + QUARTER_S, f"{why}; weather does the same and is not known", mend)
    return look.sight(DUTY, "yes", window_s + QUARTER_S, why)


def _habit(look: Look) -> Sight:
    if not _known(look):
        return look.no(WARMS, "nothing tells its rest from its run", STANDBY)
    run = f"a run far beyond its own, {duration(RUN_LEAST_S)} at the least and longer in heat"
    balance = (
        f"runs that grow longer while its rests do not, over {duration(BALANCE_S)}, once {BALANCE_HALF_DAYS} half-days or a "
        "commissioning record tell how it was"
    )
    if not _outside(look):
        mend = "A probe outside: its duty at the same warmth tells slow ice, too."
        return look.sight(WARMS, "together", None, f"by {run}; or by {balance}", mend)
    why = (
        f"by {run}; by {balance}; or by more duty than in its first weeks at this warmth, once {HABIT_DAYS:g} days were learned"
    )
    return look.sight(WARMS, "yes", HABIT_LATE_S, f"{why}. Warm goods put in look like a door until they are cold")


def _short(look: Look) -> Sight:
    if not _known(look):
        return look.no(SHORT, "nothing tells its rest from its run", STANDBY)
    if not look.on_change and look.period_s > SHORT_SLOWEST_S:
        why = f"a run of two minutes needs a reading every {SHORT_SLOWEST_S:g} s"
        return look.no(SHORT, why, f"A period of at most {SHORT_SLOWEST_S:g} s.")
    why = f"{SHORT_RUNS} runs in a row below {duration(SHORT_RUN_S)}, or more than eight starts an hour"
    if look.circuit.sense.volts_at == "bus":
        why = f"{why}; volts at the bus hide what its own cable drops"
    return look.sight(SHORT, "yes", 3600.0, why)


def _leak(look: Look) -> Sight:
    if look.on_change:
        return look.sight(LEAK, "unreliable", None, "how often an on-change publisher looks is not known")
    if look.period_s > LEAK_SLOWEST_S:
        why = f"a run of {LEAK_RUN_S[0]:g} to {LEAK_RUN_S[1]:g} s is mostly not seen at a reading every {look.period_s:g} s"
        return look.no(LEAK, why, "A period of at most 3 s.")
    night, day = LEAK_PAUSES
    why = f"after {night} even pauses by night, {day} by day, fewer the evener they are; taps between them put it off"
    if look.period_s > 3.0:
        return look.sight(
            LEAK, "unreliable", None, f"{why}; runs shorter than {look.period_s:g} s are missed", "A period of 3 s."
        )
    return look.sight(LEAK, "yes", night * 3600.0, why)


def _sump(look: Look) -> Sight:
    why = f"more than {SUMP_STARTS - 1} runs in an hour that no water pump of this schedule explains"
    if look.on_change:
        return look.sight(SUMP, "unreliable", None, "how often an on-change publisher looks is not known")
    if look.period_s > SUMP_SLOWEST_S:
        return look.no(
            SUMP, f"its runs are mostly not seen at a reading every {look.period_s:g} s", "A period of at most 10 s."
        )
    if look.period_s > 10.0:
        return look.sight(
            SUMP, "unreliable", None, f"{why}; runs shorter than {look.period_s:g} s are missed", "A period of 10 s."
        )
    return look.sight(SUMP, "yes", 3600.0, why)


def _outside(look: Look) -> bool:
    return any(probe.where == "outside" for probe in look.schedule.probes)
