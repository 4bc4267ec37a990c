"""Energy of every way: whole, by hour, by what the vehicle did, beside the journey before; the inverter's loss; the rest.

What runs behind an inverter is charged to its own way; what the inverter takes beyond that is its loss, a row of its own.
What the bank's meter gives out and no way accounts for is the residual, over the minutes in which all were read.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from math import sqrt
from zoneinfo import ZoneInfo

import numpy as np

from panelward.records import Circuit, Schedule, Supply
from panelward.review.gathered import Gathered
from panelward.review.report import Energy, Span
from panelward.review.source import Floats, Whole

READ_WHOLE = 0.95  # of a minute that counts as read
GAIN = 0.01  # of a current sensor: 0.5 to 1 % after zeroing (trade practice, no source)
HOURS = 24
_QUARTER_MS = 900_000


def local_hours(gathered: Gathered, part: slice, zone: ZoneInfo) -> Whole:
    """Of each bin its local hour."""
    times = gathered.begins_ms(part)
    quarters, at = np.unique(times // _QUARTER_MS, return_inverse=True)
    hours = [datetime.fromtimestamp(int(q) * 900, UTC).astimezone(zone).hour for q in quarters]
    return np.array(hours, np.int64)[at] if hours else np.empty(0, np.int64)


def sign_of(circuit: Circuit, supplies: Sequence[Supply]) -> float:
    """So that a load's and the meter's draw, and what a charger brings, are positive."""
    if circuit.role == "charger":
        return -1.0
    return -1.0 if any(s.meter == circuit.id and s.meter_sign == "charge-positive" for s in supplies) else 1.0


def energies(
    schedule: Schedule, gathered: Gathered, span: Span, before: Span | None, zone: ZoneInfo, doing: Mapping[str, Floats]
) -> tuple[Energy, ...]:
    """`doing`: of each deed the share of each bin of the span."""
    part = gathered.bins(span.from_ms, span.to_ms)
    earlier = gathered.bins(before.from_ms, before.to_ms) if before is not None else None
    hours = local_hours(gathered, part, zone)
    behind = _behind(schedule)
    loads = [c for c in schedule.circuits if c.role == "load"]
    counted = {c.id: _taken(schedule, gathered, c.id, part, behind) for c in loads}
    whole = sum(float(wh.sum()) for wh, _ in counted.values())
    found: list[Energy] = []

    def row(way: str | None, what: str, label: str, values: Floats, read_s: Floats, last: tuple[Floats, Floats] | None,
            *, share: float | None, sd: float | None = None) -> None:  # fmt: skip
        read = float(read_s.sum())
        days = read / 86_400
        then = None
        if last is not None and float(last[1].sum()) > 0:
            then = float(last[0].sum()) / (float(last[1].sum()) / 86_400)
        total = float(values.sum())
        found.append(
            Energy(
                way=way, what=what, label=label, energy_wh=total if read else None, wh_per_day=total / days if read else None,
                share=share if read else None, read_share=min(1.0, read / max(1e-9, (span.to_ms - span.from_ms) / 1000)),
                before_wh_per_day=then, by_hour_wh=tuple(float(x) for x in np.bincount(hours, values, HOURS)),
                by_doing_wh=tuple((name, float(np.dot(values, of))) for name, of in doing.items() if of.any()), sd_wh=sd,
            )
        )  # fmt: skip

    for circuit in schedule.circuits:
        grid = gathered.ways[circuit.id].grid
        sign = sign_of(circuit, schedule.supplies)
        values, read_s = sign * grid.wh[part], grid.read_s[part]
        last = (sign * grid.wh[earlier], grid.read_s[earlier]) if earlier is not None else None
        share = float(values.sum()) / whole if circuit.role == "load" and whole > 0 and circuit.id not in behind else None
        what = circuit.role if circuit.role in ("charger", "meter") else "circuit"
        row(circuit.id, what, circuit.label, values, read_s, last, share=share)
        if circuit.id in behind:
            loss, loss_s = _taken(schedule, gathered, circuit.id, part, behind)
            then = _taken(schedule, gathered, circuit.id, earlier, behind) if earlier is not None else None
            share = float(loss.sum()) / whole if whole > 0 else None
            row(circuit.id, "inverter-loss", f"{circuit.label}: its loss", loss, loss_s, then, share=share)
    for supply in schedule.supplies:
        if supply.meter is not None:
            values, read_s, sd = unassigned(schedule, gathered, supply, part)
            then = unassigned(schedule, gathered, supply, earlier)[:2] if earlier is not None else None
            row(None, "unassigned", "No circuit accounts for it", values, read_s, then, share=None, sd=sd)
    return tuple(found)


def _behind(schedule: Schedule) -> dict[str, tuple[str, ...]]:
    """Of each way that feeds another supply: the loads of that."""
    found: dict[str, tuple[str, ...]] = {}
    for supply in schedule.supplies:
        if supply.fed_by is not None:
            ways = tuple(c.id for c in schedule.circuits if c.supply == supply.id and c.role == "load")
            if ways:
                found[supply.fed_by] = (*found.get(supply.fed_by, ()), *ways)
    return found


def _taken(
    schedule: Schedule, gathered: Gathered, way: str, part: slice, behind: Mapping[str, tuple[str, ...]]
) -> tuple[Floats, Floats]:
    """Wh of a way that are its own, and the seconds read: of an inverter what its loads do not take."""
    grid = gathered.ways[way].grid
    values, read_s = grid.wh[part], grid.read_s[part]
    for other in behind.get(way, ()):
        beyond = gathered.ways[other].grid
        both = np.minimum(read_s, beyond.read_s[part]) >= READ_WHOLE * gathered.seconds(part)
        values, read_s = np.where(both, values - beyond.wh[part], 0.0), np.where(both, read_s, 0.0)
    return values, read_s


def unassigned(schedule: Schedule, gathered: Gathered, supply: Supply, part: slice) -> tuple[Floats, Floats, float]:
    """Wh that the meter gives out and no way takes, seconds in which all were read, and how far the sum may be off."""
    meter = gathered.ways[str(supply.meter)]
    sign = -1.0 if supply.meter_sign == "charge-positive" else 1.0
    grid = meter.grid
    read = grid.read_s[part] >= READ_WHOLE * gathered.seconds(part)
    values = sign * grid.wh[part]
    spread = [GAIN * grid.wh[part]]
    step2 = meter.circuit.sense.resolution_a**2
    for circuit in schedule.circuits:
        if circuit.supply != supply.id or circuit.role == "meter":
            continue
        way = gathered.ways[circuit.id].grid
        read = read & (way.read_s[part] >= READ_WHOLE * gathered.seconds(part))
        values = values - way.wh[part]
        spread.append(GAIN * way.wh[part])
        step2 += circuit.sense.resolution_a**2
    seconds = np.where(read, grid.read_s[part], 0.0)
    hours = float(seconds.sum()) / 3600
    # Each channel's gain is one error of all its energy; its zero, within a step of its sensing, of all its hours.
    gains = sum(float(each[read].sum()) ** 2 for each in spread)
    zeros = step2 * (supply.nominal_v * hours) ** 2
    return np.where(read, values, 0.0), seconds, sqrt(gains + zeros)
