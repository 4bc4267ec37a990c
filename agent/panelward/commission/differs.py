"""What differs from schedule and plate, a sentence each: what can hurt first."""

from __future__ import annotations

from panelward.commission.figures import behaves, named_levels
from panelward.commission.runs import STEADY, Channel
from panelward.commission.state import State, loads, nominal_v, place, protected
from panelward.ratings.behaviour import exponent_of
from panelward.records import Checked, Circuit, Commissioned, Monitor, Record, Schedule

GAIN_OFF, BESIDE_OFF = 0.02, 0.03  # trade practice: |gain - 1| <= 2 %; one told by way of the meter is a percent less sure
ZERO_OFF_A = 0.02  # trade practice: |zero| <= 20 mA
PERIOD_OFF = 1.5  # times the written period, either way: common practice, no source
EXPONENT_OFF = 0.6  # two of `behaves` lie 0.5 to 1 apart


def differences(schedule: Schedule, state: State, made: Record) -> list[str]:
    """Sentences, the weightiest first."""
    out = _labels(schedule, made)
    for circuit in protected(schedule):
        out += _device(circuit, made)
    for circuit in loads(schedule):
        out += _draw(circuit, made, nominal_v(schedule, circuit))
    for monitor, found in zip(schedule.monitors, made.monitors, strict=False):
        out += _monitor(schedule, state, monitor, found, made)
    for supply in schedule.supplies:
        if supply.meter is not None and made.meter_sign not in (None, supply.meter_sign):
            out.append(f'The bank\'s meter counts the other way: write meter_sign = "{made.meter_sign}" for {supply.id}.')
    return out


def _labels(schedule: Schedule, made: Record) -> list[str]:
    out, told = [], []
    for way in made.circuits:
        if way.seen_on is None or way.circuit in told:
            continue
        one, two = schedule.circuit(way.circuit), schedule.circuit(way.seen_on)
        other = made.circuit(way.seen_on)
        if other is not None and other.seen_on == way.circuit:
            told.append(two.id)
            out.append(f"The labels of {one.id} and {two.id} are swapped: {one.label} is on {two.id}, {two.label} on {one.id}.")
        else:
            out.append(f"The label of {two.id} does not fit: {one.label} ({one.id}) hangs there.")
    return out


def _device(circuit: Circuit, made: Record) -> list[str]:
    way, protection = made.circuit(circuit.id), circuit.protection
    if way is None or protection is None:
        return []
    out = []
    rating_a = protection.rating_a
    if way.as_found_a is not None and way.as_found_a != rating_a:
        size = "too large" if way.as_found_a > rating_a else "smaller"
        mended = way.as_left_a == rating_a
        left = f"; {way.as_left_a:g} A is left in it" if way.as_left_a is not None else ""
        out.append(
            f"{place(circuit)}: {way.as_found_a:g} A was found where {rating_a:g} A is scheduled ({size}){left}."
            + ("" if mended else " Fit the scheduled rating once the panel is isolated.")
        )
    fitted_a = way.as_left_a or way.as_found_a
    if fitted_a is not None and protection.way_max_a is not None and fitted_a > protection.way_max_a:
        out.append(f"{place(circuit)}: {fitted_a:g} A is above what its way takes ({protection.way_max_a:g} A).")
    makers = [load.maker_fuse_a for load in circuit.loads if load.maker_fuse_a is not None]
    if fitted_a is not None and makers and fitted_a > min(makers):
        out.append(f"{place(circuit)}: {fitted_a:g} A is above what its maker allows ({min(makers):g} A).")
    return out


def _draw(circuit: Circuit, made: Record, volts: float) -> list[str]:
    way = made.circuit(circuit.id)
    if way is None:
        return []
    out = []
    named = {level.name: level for _, level in named_levels(circuit)}
    for one in way.levels:
        level = named.get(one.name)
        if level is not None and abs(one.watts - level.watts) > level.tolerance * level.watts:
            out.append(f"{place(circuit)}, {one.name}: {one.watts:.3g} W measured, {level.watts:g} W written.")
        elif level is None and one.name != "run-down":
            out.append(f"{place(circuit)}: {one.name} ({one.watts:.3g} W) is none of the levels written.")
    most = [load.standby_max_w for load in circuit.loads if load.standby_max_w is not None]
    if way.standby is not None and most and way.standby.watts > sum(most):
        out.append(f"{place(circuit)}: standby {way.standby.watts:.2g} W, at most {sum(most):g} W written.")
    floors = [load.always_draws_w for load in circuit.loads if load.always_draws_w is not None]
    lowest = min([one.watts for one in (*way.levels, *([way.standby] if way.standby else []))], default=None)
    if floors and lowest is not None and lowest < 0.7 * sum(floors):
        out.append(f"{place(circuit)}: draws as little as {lowest:.2g} W; its floor is written as {sum(floors):g} W.")
    written = behaves(circuit)
    if way.exponent is not None and circuit.loads and abs(way.exponent - exponent_of(written)) > EXPONENT_OFF:
        out.append(f"{place(circuit)}: its watts go with volts to the {way.exponent:.1f}; {written} is written.")
    protection = circuit.protection
    if protection is not None and way.levels:
        fitted_a = way.as_left_a or way.as_found_a or protection.rating_a
        amps = max(one.watts for one in way.levels) / volts
        if amps > 0.8 * fitted_a:
            out.append(f"{place(circuit)}: draws {amps:.3g} A, over 80 % of its {fitted_a:g} A: not for three hours or more.")
    return out


def _monitor(schedule: Schedule, state: State, monitor: Monitor, found: Checked, made: Record) -> list[str]:
    out = []
    every_s = monitor.expect_every_s
    if found.period_s is not None and not every_s / PERIOD_OFF <= found.period_s <= every_s * PERIOD_OFF:
        out.append(f"Monitor {monitor.name}: a reading every {found.period_s:g} s; {every_s:g} s is written.")
    if found.reports is not None and found.reports != monitor.sense.reports:
        out.append(f"Monitor {monitor.name}: looks like it reports a {found.reports}; {monitor.sense.reports} is written.")
    written = monitor.sense.resolution_a
    if found.resolution_a is not None and not written / 1.5 <= found.resolution_a <= written * 1.5:
        out.append(f"Monitor {monitor.name}: steps of {found.resolution_a:g} A seen; {written:g} A is written.")
    for circuit in loads(schedule):
        if circuit.id in state.channels and circuit.monitor in (None, monitor.name):
            out += _channel(state, state.channels[circuit.id], made.circuit(circuit.id))
    return out


def _channel(state: State, channel: Channel, way: Commissioned | None) -> list[str]:
    out, whose = [], f"{channel.circuit}'s"
    off = GAIN_OFF if channel.circuit == state.reference else BESIDE_OFF
    if way is not None and way.gain is not None and abs(way.gain - 1.0) > off:
        out.append(f"{whose} channel reads {100 * (way.gain - 1):+.1f} % beside the clamp.")
    if way is not None and way.zero_a is not None and abs(way.zero_a) > max(ZERO_OFF_A, channel.step_w / channel.nominal_v):
        out.append(f"{whose} channel reads {1000 * way.zero_a:+.0f} mA of nothing.")
    if channel.negative >= STEADY:
        out.append(f"{whose} channel reads a flow back: its sensor is turned round, or something feeds the bus there.")
    if channel.odd_watts >= STEADY and channel.odd_watts > 0.2 * (channel.good_watts + channel.odd_watts):
        out.append(f"{whose} watts are not its volts times its amps.")
    return out
