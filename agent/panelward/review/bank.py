"""The bank over a journey: its tide table, what charged it, how many nights it would last, what leaving a way off would add."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from math import isnan
from zoneinfo import ZoneInfo

import numpy as np

from panelward.records import Circuit, Schedule, Supply
from panelward.review.gathered import Gathered
from panelward.review.report import Charge, Nights, Saving, Span, Tide
from panelward.review.source import Floats
from panelward.review.statistics import lasts
from panelward.watch.charge import Charge as Counting

DAWN_H, DUSK_H = 6, 18  # local: no place is known, so no sun is (our own choice)
WHOLE_DAY = 0.9  # of a day that was read; the rest is taken as the part that was
LEAST_DAYS = 3  # fewer whole days tell nothing of days to come
MOST_NIGHTS = 60
DRAWS = 2000
SEED = 9
BLOCK_DAYS = 4  # a grey day is seldom alone (our own choice)
DRIVE_H = 2.0
SCENARIOS = ("none", "as it was", "two hours' drive a day")


def banks(schedule: Schedule) -> list[Supply]:
    return [s for s in schedule.supplies if s.kind == "dc" and s.battery is not None]


def _meter_sign(supply: Supply) -> float:
    return -1.0 if supply.meter_sign == "charge-positive" else 1.0


@dataclass(frozen=True, slots=True)
class Flow:
    """Of one bank in each bin of a span: Ah out and in, seconds read, volts."""

    out_ah: Floats
    in_ah: Floats
    read_s: Floats
    mean_v: Floats
    least_v: Floats


def flow(schedule: Schedule, gathered: Gathered, supply: Supply, part: slice) -> Flow:
    """By its meter; without one, by what its ways draw and its chargers bring."""
    ways = [w for w in gathered.ways.values() if w.circuit.supply == supply.id]
    if supply.meter is not None:
        grid = gathered.ways[supply.meter].grid
        sides = (grid.out_ah[part], grid.in_ah[part])
        out_ah, in_ah = sides if _meter_sign(supply) > 0 else sides[::-1]
        read_s = grid.read_s[part]
    else:
        out_ah = np.sum([w.grid.out_ah[part] - w.grid.in_ah[part] for w in ways if w.circuit.role == "load"], axis=0)
        in_ah = np.sum([w.grid.in_ah[part] - w.grid.out_ah[part] for w in ways if w.circuit.role == "charger"], axis=0)
        zero = np.zeros(part.stop - part.start)
        out_ah, in_ah = out_ah + zero, in_ah + zero
        read_s = np.min([w.grid.read_s[part] for w in ways if w.circuit.role != "meter"], axis=0) if ways else zero
    sensed = [w for w in ways if w.circuit.sense.volts_at == "bus"]
    sensed.sort(key=lambda w: w.circuit.id != supply.meter)
    some, least = np.full(part.stop - part.start, np.nan), np.full(part.stop - part.start, np.nan)
    for way in sensed:
        some = np.where(np.isnan(some), way.grid.mean_v(part), some)
    for way in sensed[:3]:
        least = np.fmin(least, way.grid.least_v[part])
    return Flow(out_ah, in_ah, read_s, some, least)


def tides(schedule: Schedule, gathered: Gathered, span: Span, zone: ZoneInfo) -> tuple[Tide, ...]:
    """Each dawn and dusk of the span, of the first bank with a meter."""
    supply = next((s for s in banks(schedule) if s.meter is not None), None)
    if supply is None:
        return ()
    part = gathered.bins(span.from_ms, span.to_ms)
    found = flow(schedule, gathered, supply, part)
    left = _charge_ah(schedule, gathered, supply, part, found)
    seconds = gathered.seconds(part)
    tides: list[Tide] = []
    last = 0
    for at_ms, which in _watches(span, zone):
        to = min(len(found.read_s), gathered.bins(span.from_ms, at_ms).stop - part.start)
        if to <= last:
            continue
        cut = slice(last, to)
        volts = found.least_v[cut]
        tides.append(
            Tide(
                at_ms=at_ms, which=which, charge_ah=left[to - 1],
                in_ah=float(found.in_ah[cut].sum()), out_ah=float(found.out_ah[cut].sum()),
                least_v=None if np.isnan(volts).all() else float(np.nanmin(volts)),
                unread_s=max(0.0, float(seconds[cut].sum()) - float(found.read_s[cut].sum())),
            )
        )  # fmt: skip
        last = to
    return tuple(tides)


def _watches(span: Span, zone: ZoneInfo) -> list[tuple[int, str]]:
    day = (
        datetime.fromtimestamp(span.from_ms / 1000, UTC)
        .astimezone(zone)
        .replace(tzinfo=None, hour=0, minute=0, second=0, microsecond=0)
    )
    found = []
    while day.replace(tzinfo=zone).timestamp() * 1000 <= span.to_ms:
        for hour, which in ((DAWN_H, "dawn"), (DUSK_H, "dusk")):
            at_ms = round(day.replace(hour=hour, tzinfo=zone).timestamp() * 1000)
            if span.from_ms < at_ms <= span.to_ms:
                found.append((at_ms, which))
        day += timedelta(days=1)
    return found


def _charge_ah(schedule: Schedule, gathered: Gathered, supply: Supply, part: slice, found: Flow) -> list[float | None]:
    """Left at the end of each bin, counted as the watch counts it, minute by minute; None: not known."""
    battery = supply.battery
    assert battery is not None
    meter = gathered.ways[str(supply.meter)].circuit
    ends_ms = gathered.edges_ms[part.start + 1 : part.stop + 1].tolist()
    step_ms = round(float(np.median(gathered.seconds(part))) * 1000) if ends_ms else 1
    counting = Counting(battery, supply.nominal_v, period_ms=step_ms, on_change=False, resolution_a=meter.sense.resolution_a)
    warm = next((gathered.probes[p.id].celsius[part] for p in schedule.probes if p.where == "bank"), None)
    hours = np.maximum(found.read_s, 1e-9) / 3600
    amps = (found.out_ah - found.in_ah) / hours
    usual = float(found.out_ah.sum() / max(1e-9, found.read_s.sum() / 3600))
    out: list[float | None] = []
    columns = (found.read_s.tolist(), amps.tolist(), found.mean_v.tolist())
    for at, (read_s, draw_a, volts) in enumerate(zip(*columns, strict=True)):
        time_ms = ends_ms[at]
        if read_s > 0:
            counting.take(draw_a, time_ms, usual)
            if not isnan(volts):
                celsius = float(warm[at]) if warm is not None and not np.isnan(warm[at]) else None
                counting.minute(volts, draw_a, time_ms, celsius)
        share = counting.counted(time_ms, usual).left
        out.append(None if share is None else share * battery.capacity_ah)
    return out


def day_sums(gathered: Gathered, span: Span, values: Floats, read_s: Floats) -> tuple[Floats, Floats]:
    """Of the span's whole local days, as far as read: values a day, brought up to a whole day; and how much was read."""
    part = gathered.bins(span.from_ms, span.to_ms)
    times = gathered.begins_ms(part)
    of = np.searchsorted(gathered.days_ms, times, side="right") - 1
    count = len(gathered.days_ms) - 1
    sums, read = np.bincount(of, values, count), np.bincount(of, read_s, count)
    lengths = np.diff(gathered.days_ms) / 1000
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(read > 0, sums * lengths / read, np.nan), read / lengths


@dataclass(frozen=True, slots=True)
class Days:
    """Whole days of one bank, Ah each."""

    used: Floats
    charged: Floats
    of_ways: Mapping[str, Floats]  # what each load took
    driven_a: float | None  # what a charger that the engine drives brings while it charges; None: never seen


def whole_days(schedule: Schedule, gathered: Gathered, supply: Supply, span: Span) -> Days:
    """Loads are summed way by way where there are any: so that one can be left off."""
    part = gathered.bins(span.from_ms, span.to_ms)
    found = flow(schedule, gathered, supply, part)
    net, read = day_sums(gathered, span, found.out_ah - found.in_ah, found.read_s)
    whole = read >= WHOLE_DAY
    charged: Floats = np.zeros(len(net))
    of_ways: dict[str, Floats] = {}
    driven_a: float | None = None
    for way in gathered.ways.values():
        circuit, grid = way.circuit, way.grid
        if circuit.supply != supply.id or circuit.role == "meter":
            continue
        daily, seen = day_sums(gathered, span, grid.out_ah[part] - grid.in_ah[part], grid.read_s[part])
        daily = np.where(seen >= WHOLE_DAY, daily, np.nan)
        if circuit.role == "charger":
            charged = charged - daily
            if circuit.source == "engine":
                driven_a = _while_charging(circuit, grid.in_ah[part], grid.read_s[part]) or driven_a
        else:
            of_ways[circuit.id] = daily
    if not any(w.circuit.role == "charger" and w.circuit.supply == supply.id for w in gathered.ways.values()):
        # No charger has a way of its own: what comes in at the meter is all that is known.
        charged, _ = day_sums(gathered, span, found.in_ah, found.read_s)
    keep = whole & ~np.isnan(charged)
    return Days((net + charged)[keep], charged[keep], {way: daily[keep] for way, daily in of_ways.items()}, driven_a)


def _while_charging(circuit: Circuit, in_ah: Floats, read_s: Floats) -> float | None:
    hours = np.maximum(read_s, 1e-9) / 3600
    on = (read_s > 0) & (in_ah / hours > circuit.sense.nothing_a)
    return float(np.median(in_ah[on] / hours[on])) if on.any() else None


def nights(schedule: Schedule, days: Days | None, supply: Supply | None) -> tuple[Nights, ...]:
    """From full, of what may be drawn, P10, P50 and P90 of whole days drawn anew."""
    return tuple(_nights(days, supply, name) for name in SCENARIOS)


def _uses(days: Days, scenario: str) -> Floats | None:
    if scenario == "none":
        return days.used
    if scenario == "as it was":
        return days.used - days.charged
    return days.used - DRIVE_H * days.driven_a if days.driven_a is not None else None


def _nights(days: Days | None, supply: Supply | None, scenario: str) -> Nights:
    def not_known(why: str) -> Nights:
        return Nights(scenario=scenario, p10=None, p50=None, p90=None, why_not=why)

    if supply is None or supply.battery is None:
        return not_known("no bank is on the schedule")
    if days is None or len(days.used) < LEAST_DAYS:
        count = 0 if days is None else len(days.used)
        return not_known(f"{count} whole days were read, {LEAST_DAYS} are needed")
    use = _uses(days, scenario)
    if use is None:
        return not_known("no charger that the engine drives was seen charging")
    found = _lasts(use, supply)
    p10, p50, p90 = (float(x) for x in np.quantile(found, (0.1, 0.5, 0.9)))
    return Nights(scenario=scenario, p10=p10, p50=p50, p90=p90, days=len(use))


def _lasts(use: Floats, supply: Supply) -> Floats:
    assert supply.battery is not None
    usable = supply.battery.capacity_ah * supply.battery.usable
    block = max(1, min(BLOCK_DAYS, len(use) // 3))
    return lasts(use, usable, nights=MOST_NIGHTS, draws=DRAWS, seed=SEED, block=block)


def may_be_off(circuit: Circuit) -> bool:
    """A way that somebody may switch off: never one that life, samples or messages depend on."""
    return (
        circuit.role == "load" and circuit.feed != "always-on" and circuit.importance != "life" and not circuit.carries_messages
    )


def savings(
    schedule: Schedule, days: Days | None, supply: Supply | None, wh_per_day: Mapping[str, float]
) -> tuple[Saving, ...]:
    """The most worth first: nights more without any charge, at the median."""
    if supply is None or days is None or len(days.used) < LEAST_DAYS:
        return ()
    base = float(np.median(_lasts(days.used, supply)))
    found = []
    for way, daily in days.of_ways.items():
        circuit = schedule.circuit(way)
        if not may_be_off(circuit) or way not in wh_per_day or np.isnan(daily).any() or daily.mean() <= 0:
            continue
        more = float(np.median(_lasts(days.used - daily, supply))) - base
        found.append(Saving(way=way, wh_per_day=wh_per_day[way], nights_more_p50=more))
    return tuple(sorted(found, key=lambda s: -s.wh_per_day))


def charges(schedule: Schedule, gathered: Gathered, span: Span, zone: ZoneInfo) -> tuple[Charge, ...]:
    """What each charger brought, day by day."""
    part = gathered.bins(span.from_ms, span.to_ms)
    times = gathered.begins_ms(part)
    of = np.searchsorted(gathered.days_ms, times, side="right") - 1
    count = len(gathered.days_ms) - 1
    found = []
    for circuit in schedule.circuits:
        if circuit.role != "charger":
            continue
        grid = gathered.ways[circuit.id].grid
        read_s = grid.read_s[part]
        hours = read_s / 3600
        on = (read_s > 0) & (grid.in_ah[part] > circuit.sense.nothing_a * hours)
        columns = [
            np.bincount(of, values, count)
            for values in (grid.in_ah[part], np.maximum(0.0, -grid.wh[part]), np.where(on, hours, 0.0), read_s)
        ]
        for number in range(count):
            ah, wh, lit, read = (float(column[number]) for column in columns)
            if read > 0:
                day = datetime.fromtimestamp(int(gathered.days_ms[number]) / 1000, UTC).astimezone(zone)
                found.append(Charge(source=circuit.id, day=f"{day:%Y-%m-%d}", ah=ah, wh=wh, hours=lit))
    return tuple(found)
