"""What its levels tell: a stall, a dry pump, starts that fail, an element part open, more than is listed."""

from __future__ import annotations

from collections.abc import Iterator

from panelward.records import Load
from panelward.schedule.detect.limits import (
    DRY_S,
    GLOW_APART,
    GLOW_PERIOD_S,
    GLOW_PHASES,
    LEVEL_GAIN,
    LEVEL_REST_STEPS,
    LEVEL_REST_W,
    ODD_S,
    OVER_LEVEL,
    RETRY_PACE_S,
    RETRY_STANDS,
    RETRY_TRIES,
    STALL,
    STALL_S,
    STALL_SURGE,
    TURNS,
    UNKNOWN_LEVELS,
    VISIT_READINGS,
)
from panelward.schedule.detect.look import Look, Sight

STALLED = "a stall"
DRY = "running dry"
FAILS = "starts that fail"
PART_OPEN = "an element part open"
MORE = "more than is listed"
START_S = 1.0  # a try of a drive lasts about so long; common practice, no source
WRITE = "Write its levels, as measured."


def sights(look: Look) -> Iterator[Sight]:
    circuit = look.circuit
    if circuit.role != "load" or not circuit.loads:
        return
    load = circuit.loads[0]
    alone = len(circuit.loads) == 1
    kinds = tuple(each.kind for each in circuit.loads)
    if alone and load.kind in TURNS:
        yield _stall(look, load)
    if alone and load.kind == "pump":
        yield _dry(look, load)
    if alone and load.kind in RETRY_TRIES:
        yield _fails(look, load)
    if alone and load.kind == "air-heater":
        yield _lights(look, load)
    if alone and load.kind == "heater-element":
        yield _part(look, load)
    if not any(kind in UNKNOWN_LEVELS for kind in kinds):
        yield _more(look)


def _stall(look: Look, load: Load) -> Sight:
    if not load.levels:
        return look.no(STALLED, "none of its levels is written", WRITE)
    amps = STALL * max(level.watts for level in load.levels) / look.supply.nominal_v
    hold_s = max([STALL_S, *(STALL_SURGE * level.surge.seconds for level in load.levels if level.surge)])
    full_a = look.circuit.sense.full_scale_a
    if full_a is not None and full_a < amps:
        return look.no(STALLED, f"its meter shows {full_a:.4g} A at the most, and a stall is told from {amps:.3g} A")
    if look.on_change:
        why = f"from {amps:.3g} A, if it publishes while that stands"
        return look.sight(STALLED, "unreliable", None, why, "Let it publish always.")
    readings = max(1, -int(-hold_s // look.period_s))
    return look.sight(STALLED, "yes", readings * look.period_s, f"from {amps:.3g} A, longer than it starts")


def _dry(look: Look, load: Load) -> Sight:
    if not load.levels:
        return look.no(DRY, "none of its levels is written", WRITE)
    lowest = min(level.watts * (1 - level.tolerance) for level in load.levels)
    least_w = (1 - LEVEL_GAIN) * (lowest * (1 - LEVEL_GAIN) - LEVEL_REST_STEPS * look.step_a * look.supply.nominal_v)
    if least_w <= 2.0 * _rest_w(look):
        return look.no(DRY, "its least draw is too near to nothing for its steps")
    why = f"below {least_w:.3g} W for {DRY_S:g} s without an end"
    return look.sight(DRY, "yes", DRY_S + 2 * look.period_s, why)


def _fails(look: Look, load: Load) -> Sight:
    if not load.levels:
        return look.no(FAILS, "none of its levels is written", WRITE)
    step_w = look.step_a * look.supply.nominal_v
    highest = max(level.watts * (1 - level.tolerance) for level in load.levels) * (1 - LEVEL_GAIN) - LEVEL_REST_STEPS * step_w
    if highest <= 2.0 * _rest_w(look):  # what a try draws is no less than its highest level
        return look.no(FAILS, "its draw is too near to nothing for its steps")
    least_s, most_s = RETRY_PACE_S[load.kind]
    tries = RETRY_TRIES[load.kind]
    if look.period_s > 2.0 * START_S:
        why = f"a try lasts about {START_S:g} s; too short for its period"
        if load.kind not in RETRY_STANDS or look.circuit.sense.reports == "mean":
            return look.no(FAILS, why, f"A period of at most {START_S:g} s.")
        why = f"{tries} tries above its highest level, as far as a reading falls on them"
        return look.sight(FAILS, "unreliable", None, why, f"A period of at most {START_S:g} s.")
    can = "yes" if look.period_s <= START_S else "unreliable"
    why = f"{tries} tries, {least_s:g} to {most_s:g} s apart, and no run between"
    return look.sight(FAILS, can, (tries - 1) * most_s + 2 * look.period_s if can == "yes" else None, why)


def _lights(look: Look, load: Load) -> Sight:
    what = "not lighting"
    watts = sorted(level.watts for level in load.levels)
    if not watts:
        return look.no(what, "none of its levels is written", "Write its levels, glow and burning.")
    if look.period_s > GLOW_PERIOD_S:
        return look.no(what, "its readings are too rare for its glow", f"A period of at most {GLOW_PERIOD_S:g} s.")
    why = f"the glow of {GLOW_PHASES} starts in a row, or a cold start without any"
    if len(watts) < 2 or watts[-1] < GLOW_APART * watts[-2]:
        why = f"{GLOW_PHASES} draws of more than {GLOW_APART:g} times its level in a row, without burning between"
    return look.sight(what, "yes", None, why)


def _part(look: Look, load: Load) -> Sight:
    if not load.levels:
        return look.no(PART_OPEN, "none of its levels is written", WRITE)
    if len(load.levels) > 1:
        return look.sight(
            PART_OPEN, "unreliable", None, "below its lowest level only: part of a higher one looks like a lower setting"
        )
    low = load.levels[0].watts * (1 - load.levels[0].tolerance)
    return look.sight(
        PART_OPEN, "yes", None, f"below {low:.3g} W at {look.supply.nominal_v:g} V for {ODD_S / 60:g} min of its runs"
    )


def _more(look: Look) -> Sight:
    loads = look.circuit.loads
    if not all(load.levels for load in loads):
        return look.no(MORE, "not all of its levels are written", WRITE)
    most_w = sum(
        max(level.watts * (1 + level.tolerance) for level in load.levels) + (load.always_draws_w or 0) for load in loads
    )
    most_w = OVER_LEVEL * (most_w * (1 + LEVEL_GAIN) + LEVEL_REST_STEPS * look.step_a * look.supply.nominal_v)
    why = f"above {most_w:.3g} W at {look.supply.nominal_v:g} V, steady for {ODD_S / 60:g} min in all"
    return look.sight(MORE, "yes", ODD_S + VISIT_READINGS * look.period_s, why)


def _rest_w(look: Look) -> float:
    known = [x for load in look.circuit.loads for x in (load.standby_max_w, (load.always_draws_w or 0.0) * 1.5) if x]
    step_w = look.step_a * look.supply.nominal_v
    return sum(known) * (1 + LEVEL_GAIN) + max(LEVEL_REST_STEPS * step_w, LEVEL_REST_W)
