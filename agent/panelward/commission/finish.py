"""What was measured, as a Record."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import sqrt
from statistics import fmean, median

from panelward.commission.differs import differences
from panelward.commission.figures import (
    BAND,
    STANDBY_BAND,
    Pool,
    behaves,
    every_run,
    fitted_exponent,
    loose,
    measured,
    names_of,
    pools,
    stable,
    standby_of,
)  # fmt: skip
from panelward.commission.lap import Lap
from panelward.commission.runs import STEADY, Channel, Run
from panelward.commission.state import State, kinds, self_acting
from panelward.ratings.behaviour import exponent_of
from panelward.records import Checked, Circuit, Commissioned, Measured, Monitor, Record, Schedule

CLEAR_FALLS = 5  # so many falls tell a mean from a sample …
MEAN_SHARE, SAMPLE_SHARE = 0.6, 0.2  # … by the share with a reading between (a mean shows one unless the fall meets its edge)
TOLD_STEPS_A, TOLD_SD = 8.0, 0.01  # steps together, and how sure of their ratio: each is read to 0.05 A at 20 A (the rig)
FREE = ("socket", "inverter", "charger")  # what runs from them is not theirs: no unnamed levels


def record(schedule: Schedule, state: State, lap: Lap) -> Record:
    """The record of this state; its version and seal come later."""
    ways = tuple(_way(schedule, state, lap, c) for c in schedule.circuits if c.role != "meter" and (c.loads or c.protection))
    monitors = tuple(checked(schedule, state, m) for m in schedule.monitors)
    if state.only and state.old is not None:
        old_ms = state.old.made_ms
        kept = [replace(c, measured_ms=c.measured_ms or old_ms) for c in state.old.circuits if c.circuit not in state.only]
        ways = (*kept, *(_device_as_read(w, state.old) for w in ways if w.circuit in state.only))
        order = [c.id for c in schedule.circuits]
        ways = tuple(sorted(ways, key=lambda w: order.index(w.circuit) if w.circuit in order else len(order)))
    probe = next(
        (p for where in ("outside", "panel") for p in schedule.probes if p.where == where and p.id in state.probes), None
    )
    ambient = state.ambient_c if state.ambient_c is not None else state.probes[probe.id] if probe else None
    made = Record(
        vehicle=schedule.vehicle.id, version=0, made_ms=state.now_ms, who=state.who,
        instrument=state.instrument, schedule_hash=state.schedule_hash,
        ambient_c=ambient, circuits=ways, monitors=monitors, meter_sign=meter_sign(schedule, state),
        remarks=tuple(state.remarks),
    )  # fmt: skip
    return replace(made, differs=tuple(differences(schedule, state, made)))


def _device_as_read(way: Commissioned, old: Record) -> Commissioned:
    """Its draw is measured anew; its device was not read again, so what was read of it stands."""
    before = old.circuit(way.circuit)
    if before is None or way.as_found_a is not None:
        return way
    return replace(way, as_found_a=before.as_found_a, as_left_a=before.as_left_a)


def _way(schedule: Schedule, state: State, lap: Lap, circuit: Circuit) -> Commissioned:
    on = lap.channel_of(circuit.id)
    channel = state.channels.get(on) if on is not None else None
    found, left = state.as_found.get(circuit.id), state.as_left.get(circuit.id)
    skipped = state.skipped.get(circuit.id)
    if channel is None or circuit.role != "load":
        return Commissioned(
            circuit=circuit.id, as_found_a=found, as_left_a=left,
            skipped=skipped or ("no reading of it came" if circuit.role == "load" else None),
        )  # fmt: skip
    exponent = fitted_exponent(channel)
    if on != circuit.id:  # judged by how this load behaves, not by the one whose label it has
        channel = replace(channel, exponent=exponent_of(behaves(circuit)))
    standby, levels = levels_of(circuit, channel, exponent)
    if on not in state.found and not self_acting(circuit):  # nobody said which load drew there: only what is plain is its own
        told = tuple(one for one in levels if lap.plain(channel.circuit, one.watts))
        if len(told) < len(levels) and not told:
            skipped = skipped or "nobody told which load drew there"
        levels = told
    runs, run_s, idle_s = cycles(channel, levels) if cycling(circuit) else (None, None, None)
    if not levels and standby is None and skipped is None and not (on in state.found and "socket" in kinds(circuit)):
        skipped = "not seen in the lap"
    return Commissioned(
        circuit=circuit.id, exponent=exponent, zero_a=zero_of(state, channel, circuit), standby=standby, levels=levels,
        as_found_a=found, as_left_a=left, skipped=skipped, seen_on=on if on != circuit.id else None,
        gain=gain_of(state, channel.circuit), runs=runs, run_s=run_s, idle_s=idle_s,
    )  # fmt: skip


def levels_of(circuit: Circuit, channel: Channel, exponent: float | None) -> tuple[Measured | None, tuple[Measured, ...]]:
    """Standby and operating levels of a load, the smallest first."""
    found = pools(channel, exponent)
    rest = standby_of(circuit, found, channel)
    standby = None
    if rest is not None:
        still = stable(rest, channel, exponent)
        standby = measured(still or rest, "standby", channel, STANDBY_BAND, 2.0 * channel.step_w)
        standby = replace(standby, provisional=standby.provisional or still is None)
    free = any(kind in FREE for kind in kinds(circuit))
    levels = []
    for pool, name, level in names_of(circuit, [p for p in found if p is not rest], channel.nominal_v):
        if level is None and (free or pool.readings < 2 * STEADY):
            continue
        one = measured(pool, name, channel, level.tolerance if level else BAND)
        levels.append(_staged(one, pool, circuit, rest))
    if not levels and (restless := loose(channel, exponent)) is not None and not free:
        name = f"unsteady at {restless.mean / channel.nominal_v:.2g} A"
        one = measured(restless, name, channel, BAND)
        levels.append(Measured(name=name, watts=one.watts, low_w=one.low_w, high_w=one.high_w, sd_w=one.sd_w,
                               readings=one.readings, provisional=True))  # fmt: skip
    return standby, tuple(levels)


def _staged(one: Measured, pool: Pool, circuit: Circuit, rest: Pool | None) -> Measured:
    """A stage of a heater: how long it lasted; what goes before its standby is its run-down."""
    if "air-heater" not in kinds(circuit):
        return one
    whole = [r for r in pool.runs if r.ended and r.from_w is not None]
    if not whole:
        return one
    lasted = round(median((r.ended_ms - r.begun_ms) / 1000 for r in whole), 1)
    name = "run-down" if one.name.startswith("unnamed") and rest is not None else one.name
    return replace(one, lasted_s=lasted, name=name)


def cycling(circuit: Circuit) -> bool:
    """Does it go on and off by itself, so that its rhythm is worth a day?"""
    return "compressor" in kinds(circuit) or any(load.duty is not None for load in circuit.loads)


def cycles(channel: Channel, levels: tuple[Measured, ...]) -> tuple[int | None, float | None, float | None]:
    """Whole runs and the medians of run and idle lengths, of what went on and off by itself or by hand."""
    if not levels:
        return None, None, None
    least_w = 0.5 * min(one.watts for one in levels)
    spans: list[tuple[bool, int, int, bool]] = []  # drawing, begun, ended, whole
    for run in channel.runs:
        on = bool(run.watts) and fmean(run.watts) > least_w
        if spans and spans[-1][0] == on and run.from_w is not None:
            spans[-1] = (on, spans[-1][1], run.ended_ms, spans[-1][3] and run.ended)
        else:
            spans.append((on, run.begun_ms, run.ended_ms, run.from_w is not None and run.ended))
    runs = [(end - begin) / 1000 for on, begin, end, whole in spans if on and whole]
    idles = [(end - begin) / 1000 for on, begin, end, whole in spans if not on and whole]
    if not runs:
        return None, None, None
    return len(runs), round(median(runs), 1), round(median(idles), 1) if idles else None


def zero_of(state: State, channel: Channel, circuit: Circuit) -> float | None:
    """What its channel reads of nothing: while isolated, else while a load without a floor was off."""
    if channel.circuit in state.zeros:
        return state.zeros[channel.circuit]
    if any(load.always_draws_w or load.standby_max_w for load in circuit.loads):
        return None
    off = [w / v for r in every_run(channel) for v, w in zip(r.volts, r.watts, strict=True) if v > 0 and _off(r, channel)]
    return round(fmean(off), 4) if len(off) >= 2 * STEADY else None


def _off(run: Run, channel: Channel) -> bool:
    return len(run.watts) >= STEADY and abs(fmean(run.watts)) <= channel.nothing_w


def gain_of(state: State, channel: str) -> float | None:
    """Of the reference way by the clamp; of the others by the bank's meter, once that is known by it."""
    if channel == state.reference:
        return state.gain
    ratio, meter = _beside_meter(state, channel), _beside_meter(state, state.reference)
    if ratio is None or meter is None or state.gain is None:
        return None
    return round(ratio * state.gain / meter, 4)


def _beside_meter(state: State, channel: str) -> float | None:
    """A channel's steps over the meter's; None: too little of them to tell it to about a percent."""
    steps = [s for s in state.steps if s.channel == channel]
    if len(steps) < 2 or sum(abs(s.amps) for s in steps) < TOLD_STEPS_A:
        return None
    ratios = sorted(abs(s.amps / s.meter_a) for s in steps)
    middle = median(ratios)
    apart = 1.48 * median(abs(ratio - middle) for ratio in ratios) if len(ratios) > 2 else (ratios[1] - ratios[0]) / 2.0
    return middle if 1.25 * apart <= TOLD_SD * middle * sqrt(len(ratios)) else None  # standard error of a median


def meter_sign(schedule: Schedule, state: State) -> str | None:
    """Which way the bank's meter counts, by what it did when loads were switched."""
    signs = [s.amps * s.meter_a > 0 for s in state.steps]
    if len(signs) < 2 or not (all(signs) or not any(signs)):
        return None
    return "discharge-positive" if signs[0] else "charge-positive"


def checked(schedule: Schedule, state: State, monitor: Monitor) -> Checked:
    """A monitor as it was found."""
    only = len(schedule.monitors) == 1
    own = [state.channels[c.id] for c in schedule.circuits if c.id in state.channels and (only or c.monitor == monitor.name)]
    periods = [p for channel in own for p in channel.periods]
    falls = state.diluted + state.clean
    reports = None
    if falls >= CLEAR_FALLS:
        share = state.diluted / falls
        reports = "mean" if share >= MEAN_SHARE else "sample" if share <= SAMPLE_SHARE else None
    steps = [s for channel in own if len(channel.steps) >= STEADY and (s := _step(channel.steps)) is not None]
    return Checked(
        monitor=monitor.name, period_s=round(median(periods) / 1000, 2) if periods else None, reports=reports,
        resolution_a=round(median(steps), 5) if steps else None,
    )  # fmt: skip


def _step(amps: list[float]) -> float | None:
    """The step between values: the smallest that nine in ten of the differences are whole numbers of."""
    ordered = sorted(amps)
    gaps = [b - a for a, b in pairwise(ordered) if b - a > 5e-5]
    if not gaps:
        return None
    step = min(gaps)
    whole = sum(abs(gap / step - round(gap / step)) < 0.1 for gap in gaps)
    return round(step, 5) if whole >= 0.9 * len(gaps) else None
