"""What its current tells: overcurrent, the conductor, another device, standby, start surges."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import floor, log

from panelward.ratings import area_mm2, cold_factor, opening_times_s, time_constant_s, weakest
from panelward.schedule.detect.limits import (
    BETWEEN_S,
    COLDEST_C,
    DOUBT_FOLD,
    DOUBT_READINGS,
    DRAIN_LOOK_S,
    DRAIN_STEPS,
    DRAIN_W,
    FLOORS,
    GAIN,
    IDLING_S,
    LEFT_ON,
    LOOK_AGAIN_S,
    OUTSIDE_HOURS_S,
    OVER_READINGS,
    OVER_READINGS_SLOW,
    PROVEN,
    RISEN_A,
    RISEN_ANCHOR_HOURS,
    RISEN_LARGE_A,
    RISEN_LARGE_HOURS,
    RISEN_OWN_A,
    RISEN_SHARE,
    RISEN_SMALL_HOURS,
    RISEN_STEPS,
    RISEN_WARMTH_A,
    SLOW_S,
    SURGE_SLACK,
    SUSTAINED_S,
)
from panelward.schedule.detect.look import Look, Sight

OVERCURRENT = "overcurrent"
OVERHEATING = "conductor overheating"
DRAIN = "standby drain"
RISEN = "a standby that has risen"
OTHER_DEVICE = "another device fitted"
SURGE = "start surge"
MULTIPLES = (1.6, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 15.0, 20.0)
EXAMPLE = 2.0  # of the rating: what another device is told by
OVER_AMPACITY = 1.5  # what an overheated conductor is told by
LEAST_PERIOD_S = 1.0  # shorter ones are not proposed; common practice, no source


def sights(look: Look) -> Iterator[Sight]:
    if look.circuit.protection is not None or look.circuit.role != "meter":
        yield _overcurrent(look)
        yield _other_device(look)
    if look.circuit.conductor or look.circuit.role != "meter":
        yield _conductor(look)
    if look.circuit.role == "load":
        yield _drain(look)
        yield _risen(look)
    yield from _surges(look)


def _overcurrent(look: Look) -> Sight:
    fitted = look.device
    if fitted is None:
        return look.no(OVERCURRENT, "no device is written", "Write its protection.")
    limit_a = fitted.rating_a * fitted.carries
    full_a = look.circuit.sense.full_scale_a
    if full_a is not None and full_a <= limit_a:
        why = f"its meter shows {full_a:.4g} A at the most, and its device carries {limit_a:.4g} A for ever"
        return look.no(OVERCURRENT, why, "Sense it with a meter of a greater full scale.")
    slow = look.period_s >= SLOW_S or look.on_change
    needed = OVER_READINGS_SLOW if slow else OVER_READINGS
    if look.on_change:
        within_s, when = LOOK_AGAIN_S, f"held for {LOOK_AGAIN_S:g} s"
    else:
        within_s = max((needed - 1) * look.period_s, SUSTAINED_S + look.period_s)
        when = f"on {needed} readings and for {SUSTAINED_S:g} s"
    held = [
        level.surge.seconds
        for load in look.circuit.loads
        for level in load.levels
        if level.surge and level.surge.times * level.watts / look.supply.nominal_v * SURGE_SLACK > limit_a
    ]
    why = f"above {limit_a:.4g} A {when}"
    if held and max(held) + 2 * look.period_s > within_s:
        within_s = max(held) + 2 * look.period_s
        why = f"{why}; up to its start's surge only after the {max(held):g} s that this may last"
    for multiple in MULTIPLES:
        latest = opening_times_s(fitted, multiple)[2] if fitted.members else None
        if latest is not None and latest < within_s:
            why = f"{why}; from {multiple:g} times its rating on its device opens before this is told"
            break
    if look.circuit.sense.reports == "mean":
        why = f"{why}; means hide shorter peaks"
    return look.sight(OVERCURRENT, "yes", within_s, why)


def _conductor(look: Look) -> Sight:
    circuit = look.circuit
    rules = look.schedule.vehicle.rules(look.supply.kind)
    weak = weakest(circuit.conductor, look.supply.kind, rules)
    if weak is None:
        mend = "Write its conductor: area_mm2, awg or sae, and its place."
        return look.no(OVERHEATING, "the size of its conductor is not written, or no rule reaches it", mend)
    late_s = LOOK_AGAIN_S if look.on_change else look.period_s
    drive = OVER_AMPACITY**2 if weak.thermal_a > 0 else 4.0
    within_s = time_constant_s(weak) * log(drive / (drive - 1.0)) + late_s
    if weak.thermal_a > 0:
        amps = OVER_AMPACITY * weak.thermal_a
        why = f"at {amps:.3g} A, {OVER_AMPACITY:g} times what warms its insulation to {weak.rated_c:g} °C"
    else:
        why = f"at any draw: its place is as warm as its insulation bears ({weak.rated_c:g} °C)"
    if any(area_mm2(segment) is None for segment in circuit.conductor):
        why = f"{why}; of the stretches whose size is written only"
    return look.sight(OVERHEATING, "yes", within_s, f"{why}. A hot joint is not seen")


def _other_device(look: Look) -> Sight:
    fitted = look.device
    if fitted is None:
        return look.no(OTHER_DEVICE, "no device is written")
    if not fitted.proof:
        return look.no(OTHER_DEVICE, "judged for blade fuses only: no other type has published gates that prove it")
    if look.on_change:
        return look.no(
            OTHER_DEVICE,
            f"{DOUBT_READINGS[look.circuit.sense.reports]} readings in a row are wanted; an on-change publisher is quiet "
            "while the draw stands",
            "Let it publish always.",
        )
    needed = DOUBT_READINGS[look.circuit.sense.reports]
    flowed = EXAMPLE * GAIN / cold_factor(COLDEST_C) / PROVEN**0.5
    latest = opening_times_s(replace(fitted, members=fitted.proof), flowed)[2]
    assert latest is not None
    within_s = max((needed - 1) * look.period_s, latest + look.period_s) + DOUBT_FOLD * look.period_s
    amps = EXAMPLE * fitted.rating_a
    return look.sight(
        OTHER_DEVICE, "yes", within_s,
        f"one too large, when it carries {amps:.3g} A ({EXAMPLE:g} times the rating) over {needed} readings; one that is too "
        "small is not told",
    )  # fmt: skip


def _drain(look: Look) -> Sight:
    loads, nominal_v = look.circuit.loads, look.supply.nominal_v
    known = [load.standby_max_w for load in loads if load.standby_max_w is not None]
    standby_w = max(sum(known), FLOORS * look.floor_w)
    above_w = standby_w + max(DRAIN_STEPS * look.step_a * nominal_v, DRAIN_W)
    lowest_w = min((level.watts * (1 - level.tolerance) for load in loads for level in load.levels), default=0.0)
    late_s = DRAIN_LOOK_S if look.on_change else look.period_s
    ways: list[tuple[float, str]] = []
    if known and lowest_w > above_w:
        ways.append((BETWEEN_S, f"below its lowest level ({lowest_w:.3g} W) for {duration(BETWEEN_S)}"))
    if loads and all(load.hours for load in loads):
        ways.append((OUTSIDE_HOURS_S, f"outside its hours for {duration(OUTSIDE_HOURS_S)}"))
    feeds = [s.id for s in look.schedule.supplies if s.fed_by == look.circuit.id]
    if any(c.supply in feeds for c in look.schedule.circuits) and not all(load.hours for load in loads):
        ways.append((IDLING_S, f"with nothing running from it for {duration(IDLING_S)}"))
    if not ways:
        known_of = "its standby_w and hours are not written"
        if known:
            known_of = f"from {above_w:.3g} W it looks like its work, and its hours are not written"
        return look.no(DRAIN, known_of, "Write hours, or standby_w with its levels.")
    why = f"only above {above_w:.3g} W {', or '.join(text for _, text in ways)}"
    return look.sight(DRAIN, "together", ways[0][0] + late_s, why)


def _risen(look: Look) -> Sight:
    loads, nominal_v = look.circuit.loads, look.supply.nominal_v
    kinds = {load.kind for load in loads}
    standby_w = sum(load.standby_max_w or 1.5 * (load.always_draws_w or 0.0) for load in loads)
    if not loads or look.supply.kind != "dc" or "inverter" in kinds:
        return look.no(RISEN, "of a load on a DC supply only, and of no inverter")
    if not standby_w and not kinds <= set(LEFT_ON):
        return look.no(RISEN, "no standby of it is written", "Write its standby_w, or commission it.")
    own_a = RISEN_OWN_A + RISEN_WARMTH_A + RISEN_SHARE * standby_w / nominal_v
    least_a = max(RISEN_A, RISEN_STEPS * look.step_a, own_a)
    large_a = max(RISEN_LARGE_A, least_a)
    why = (
        f"{large_a:.2g} A more than in its first {RISEN_ANCHOR_HOURS} h, or than on record, for {RISEN_LARGE_HOURS} h on end "
        "without a rest, and none of its levels"
    )
    if least_a < large_a:
        why = f"{why}; from {least_a:.2g} A, if its volts stand, after {RISEN_SMALL_HOURS} h"
    return look.sight(RISEN, "together", (RISEN_LARGE_HOURS + 1) * 3600.0, f"{why}. A fault of its first day is not seen")


def _surges(look: Look) -> Iterator[Sight]:
    for load in look.circuit.loads:
        for level in load.levels:
            if level.surge is None:
                continue
            what, width_s, period_s = f'{SURGE} "{level.name}"', level.surge.seconds, look.period_s
            mend = f"A period of at most {floor(width_s)} s." if width_s >= LEAST_PERIOD_S else None
            if look.on_change:
                yield look.sight(
                    what, "unreliable", None, f"{width_s:g} s long; how often an on-change publisher looks is not known"
                )
            elif width_s >= period_s:
                yield look.sight(what, "yes", period_s, f"{width_s:g} s long, a reading every {period_s:g} s")
            elif look.circuit.sense.reports == "mean":
                peak_a = level.surge.times * level.watts / look.supply.nominal_v
                steady_a = level.watts / look.supply.nominal_v
                mean_a = steady_a + (peak_a - steady_a) * width_s / period_s
                yield look.no(
                    what,
                    f"means dilute it: {peak_a:.3g} A for {width_s:g} s of {period_s:g} s shows as at most {mean_a:.3g} A",
                    mend,
                )
            else:
                share = f"{100 * seen(width_s, period_s):.2g} %"
                why = f"seen in {share} of its starts: {width_s:g} s long, a reading every {period_s:g} s"
                yield look.sight(what, "unreliable", None, why, mend)


def seen(width_s: float, period_s: float) -> float:
    """The probability that an event of this width holds a sample: min(1, w / p)."""
    return min(1.0, width_s / period_s)


def duration(seconds: float) -> str:
    """In the unit that people say: 60 s, 30 min, 3 h."""
    for size, unit in ((3600.0, "h"), (60.0, "min")):
        if seconds >= 2 * size or (seconds >= size and seconds % size == 0 and size > 60):
            return f"{seconds / size:.3g} {unit}"
    return f"{seconds:.3g} s"
