"""The published shapes of a vehicle's supply (tests/reference/supply_shapes.toml) as bus volts over seconds.

Every shape is drawn by straight lines between points, so that the moments below a device's least volts are exact. It
begins and ends at rest; `instants` are the moments at which a sample sees something: one in each of its stretches.
"""

from __future__ import annotations

import tomllib
from bisect import bisect_right
from collections.abc import Iterator
from itertools import pairwise
from math import inf, log, pi, sin
from pathlib import Path
from typing import Any

PUBLISHED: dict[str, Any] = tomllib.loads(
    (Path(__file__).resolve().parents[1] / "reference" / "supply_shapes.toml").read_text()
)
EDGE_S = 0.010


class Shape:
    """Bus volts from second 0 on; before its first point it stands at the first, after its last at the last."""

    def __init__(self, name: str, nominal_v: float, points: list[tuple[float, float]], *, clause: str) -> None:
        self.name, self.nominal_v, self.clause = name, nominal_v, clause
        self._at = [t for t, _ in points]
        self._volts = [v for _, v in points]
        self.ripple_v = 0.0  # half its height from peak to peak, sine, sweeping
        self.instants: tuple[float, ...] = ()

    @property
    def seconds(self) -> float:
        return self._at[-1]

    def volts(self, t_s: float) -> float:
        """The bus at this second."""
        at, volts = self._at, self._volts
        i = bisect_right(at, t_s)
        if i == 0:
            return volts[0]
        if i == len(at):
            return volts[-1]
        whole = at[i] - at[i - 1]
        v = volts[i - 1] + (volts[i] - volts[i - 1]) * (t_s - at[i - 1]) / whole
        return v + self.ripple_v * sin(_swept(t_s)) if self.ripple_v else v

    def below(self, least_v: float) -> list[tuple[float, float]]:
        """The stretches, from second to second, in which the bus stands below `least_v`."""
        found: list[tuple[float, float]] = []
        points = list(zip(self._at, self._volts, strict=True))
        for (t0, v0), (t1, v1) in pairwise(points):
            if min(v0, v1) >= least_v:
                continue
            crossing = t0 + (t1 - t0) * (least_v - v0) / (v1 - v0) if v0 != v1 else t0
            begins, ends = (t0 if v0 < least_v else crossing), (t1 if v1 < least_v else crossing)
            if found and begins <= found[-1][1]:
                found[-1] = (found[-1][0], ends)
            else:
                found.append((begins, ends))
        return found

    def __repr__(self) -> str:
        return self.name


def _swept(t_s: float) -> float:
    """Phase of a sine whose frequency grows from the first to the last published, logarithmic, within the sweep."""
    alternating = PUBLISHED["superimposed_alternating"]
    low, high, sweep_s = alternating["from_hz"], alternating["to_hz"], alternating["sweep_s"]
    rate = log(high / low) / sweep_s
    return float(2.0 * pi * low / rate * (2.718281828459045 ** (rate * (t_s % sweep_s)) - 1.0))


class _Line:
    """A shape in the making."""

    def __init__(self, volts: float) -> None:
        self.points = [(0.0, volts)]
        self.instants: list[float] = []

    def to(self, volts: float, within_s: float) -> None:
        self.points.append((self.points[-1][0] + within_s, volts))

    def hold(self, seconds: float, *, seen: bool = True) -> None:
        t, v = self.points[-1]
        if seen:
            self.instants.append(t + seconds / 2.0)
        self.points.append((t + seconds, v))

    def step(self, volts: float, seconds: float, edge_s: float = EDGE_S, *, seen: bool = True) -> None:
        self.to(volts, edge_s)
        self.hold(seconds, seen=seen)

    def shape(self, name: str, nominal_v: float, rule: str) -> Shape:
        shape = Shape(name, nominal_v, self.points, clause=PUBLISHED[rule]["clause"])
        shape.instants = tuple(self.instants)
        return shape


def _running_v(nominal_v: float) -> float:
    return float(PUBLISHED["levels"]["running_v"][str(round(nominal_v))])


def _stopped_v(nominal_v: float) -> float:
    return float(PUBLISHED["levels"]["stopped_v"][str(round(nominal_v))])


def cranking() -> Iterator[Shape]:
    edges = PUBLISHED["cranking_edges"]
    for nominal_v, level, us1_v, us_v, t3_s, rise_ms in PUBLISHED["cranking"]["rows"]:
        line = _Line(_stopped_v(nominal_v))
        line.step(us1_v, edges["at_us1_ms"] / 1000.0, edges["fall_ms"] / 1000.0)
        line.to(us_v, edges["to_us_ms"] / 1000.0)
        line.instants.append(line.points[-1][0] + t3_s / 2.0)
        quarter_s = 0.25 / edges["ripple_hz"]
        for n in range(round(t3_s / quarter_s)):
            line.to(us_v + (edges["ripple_v"] / 2.0, 0.0, -edges["ripple_v"] / 2.0, 0.0)[n % 4], quarter_s)
        line.to(_running_v(nominal_v), rise_ms / 1000.0)
        yield line.shape(f"cranking-{nominal_v}V-{level}", nominal_v, "cranking")


def jump_start() -> Iterator[Shape]:
    for nominal_v, from_v, to_v, seconds, edge_s in PUBLISHED["jump_start"]["rows"]:
        line = _Line(from_v)
        line.step(to_v, seconds, edge_s)
        line.to(_running_v(nominal_v), edge_s)
        yield line.shape(f"jump-start-{nominal_v}V", nominal_v, "jump_start")


def transient_overvoltage() -> Iterator[Shape]:
    rule = PUBLISHED["transient_overvoltage"]
    for nominal_v, volts, seconds, times in rule["rows"]:
        line = _Line(_running_v(nominal_v))
        for n in range(times):
            line.step(volts, seconds, seen=n == 0)
            line.step(_running_v(nominal_v), rule["pause_s"], seen=False)
        yield line.shape(f"transient-overvoltage-{nominal_v}V", nominal_v, "transient_overvoltage")


def regulator_failure() -> Iterator[Shape]:
    """An hour of it: its first and last two minutes look like the rest."""
    for nominal_v, volts, _ in PUBLISHED["regulator_failure"]["rows"]:
        line = _Line(_running_v(nominal_v))
        line.step(volts, 240.0)
        line.to(_running_v(nominal_v), 1.0)
        yield line.shape(f"regulator-failure-{nominal_v}V", nominal_v, "regulator_failure")


def load_dump() -> Iterator[Shape]:
    rise_s = PUBLISHED["load_dump_a"]["rise_s"]
    for nominal_v, least_v, most_v, shortest_s, longest_s in PUBLISHED["load_dump_a"]["rows"]:
        for volts, seconds in ((least_v, shortest_s), (most_v, longest_s)):
            line = _Line(_running_v(nominal_v))
            line.to(volts, rise_s)
            line.instants += [rise_s + seconds / 10.0, rise_s + seconds / 2.0]
            line.to(_running_v(nominal_v), seconds)
            yield line.shape(f"load-dump-A-{nominal_v}V-{volts:g}V", nominal_v, "load_dump_a")
    for nominal_v, clamp_v in PUBLISHED["load_dump_b"]["rows"]:
        line = _Line(_running_v(nominal_v))
        line.step(clamp_v, 0.2, rise_s)
        line.to(_running_v(nominal_v), 0.2)
        yield line.shape(f"load-dump-B-{nominal_v}V-{clamp_v:g}V", nominal_v, "load_dump_b")


def codes() -> Iterator[Shape]:
    """The whole range in which a code's equipment must work: a minute at its least, one at its most."""
    for nominal_v, code, least_v, most_v in PUBLISHED["codes"]["rows"]:
        line = _Line(_running_v(nominal_v))
        line.to(least_v, 1.0)
        line.hold(58.0)
        line.to(most_v, 1.0)
        line.hold(60.0)
        line.to(_running_v(nominal_v), 1.0)
        yield line.shape(f"code-{code}", nominal_v, "codes")


def superimposed() -> Iterator[Shape]:
    for nominal_v, severity, peak_to_peak_v in PUBLISHED["superimposed_alternating"]["rows"]:
        line = _Line(_running_v(nominal_v))
        line.hold(PUBLISHED["superimposed_alternating"]["sweep_s"])
        shape = line.shape(f"superimposed-{nominal_v}V-{severity}", nominal_v, "superimposed_alternating")
        shape.ripple_v = peak_to_peak_v / 2.0
        shape.instants = (0.015, 7.123, 60.001)
        yield shape


def momentary_drop() -> Iterator[Shape]:
    """From each code's least volts, where it stands for five seconds before and after."""
    drops = {row[0]: row[1:] for row in PUBLISHED["momentary_drop"]["rows"]}
    for nominal_v, code, least_v, _ in PUBLISHED["codes"]["rows"]:
        low_v, seconds, edge_s = drops[nominal_v]
        line = _Line(_running_v(nominal_v))
        line.step(least_v, 5.0, 1.0, seen=False)
        line.step(low_v, seconds, edge_s)
        line.step(least_v, 5.0, edge_s)
        line.to(_running_v(nominal_v), 1.0)
        yield line.shape(f"momentary-drop-{code}", nominal_v, "momentary_drop")


def micro_interruption() -> Iterator[Shape]:
    for nominal_v in (12.0, 24.0):
        line = _Line(_running_v(nominal_v))
        line.step(0.0, max(PUBLISHED["micro_interruption"]["seconds"]), 0.001)
        line.to(_running_v(nominal_v), 0.001)
        yield line.shape(f"micro-interruption-{nominal_v:g}V", nominal_v, "micro_interruption")


def reset() -> Iterator[Shape]:
    """The whole staircase of each code: to nothing by steps of 5 %, after each of them back to its least volts."""
    rule = PUBLISHED["reset"]
    for nominal_v, code, least_v, _ in PUBLISHED["codes"]["rows"]:
        line = _Line(_running_v(nominal_v))
        line.step(least_v, rule["recovery_s"], 1.0, seen=False)
        for n in range(1, round(1.0 / rule["step"]) + 1):
            line.step(least_v * max(0.0, 1.0 - n * rule["step"]), rule["low_s"], seen=n == 1)
            line.step(least_v, rule["recovery_s"], seen=n == 1)
        line.to(_running_v(nominal_v), 1.0)
        yield line.shape(f"reset-{code}", nominal_v, "reset")


def slow_fall_and_rise() -> Iterator[Shape]:
    for nominal_v, from_v, to_v, v_per_min in PUBLISHED["slow_fall_and_rise"]["rows"]:
        line = _Line(from_v)
        line.to(to_v, (from_v - to_v) / v_per_min * 60.0)
        line.to(from_v, (from_v - to_v) / v_per_min * 60.0)
        yield line.shape(f"slow-fall-{nominal_v}V", nominal_v, "slow_fall_and_rise")


def since_below(stretches: list[tuple[float, float]], t_s: float) -> float:
    """Seconds since the bus was last below: 0 while it is, inf where it was not yet."""
    last = inf
    for begins, ends in stretches:
        if t_s < begins:
            break
        last = max(0.0, t_s - ends)
    return last
