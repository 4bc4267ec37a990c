"""Quiet vehicle-weeks: an ordinary life in which nothing fails. Whatever is told in them is a false alarm."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from math import pi, sin
from random import Random
from typing import Any

from panelward.core import Core
from panelward.records import Level, Load, Output, Reading, Sense, Settings, Surge, Transition
from proving.baselines import Fixed, Sigma
from proving.cases import Builder
from proving.draw_fridge import Refrigerator, sort_of
from proving.draw_loads import Program, charge, day_of_taps, stretch, uneven
from proving.draw_loads import of as program
from proving.draw_scene import fridge_load, load_of
from proving.draws import SORTS
from proving.judge import plain
from proving.sampling import Point
from proving.vehicle import T0_MS, Bank, Branch, Inverter, Van, Way

DAY_S = 86400.0


@dataclass(frozen=True, slots=True)
class Household:
    """How people live in it."""

    name: str
    circuits: tuple[str, ...]
    awake: tuple[float, float] = (7.0, 23.0)  # hours (UTC) in which people switch things
    drives: float = 0.5  # chance of a drive a day
    sun_a: float = 25.0
    shore: float = 0.0  # share of days on shore
    warm_c: tuple[float, float] = (15.0, 30.0)  # panel at night, by day
    inverter: bool = False


def _loads(names: str) -> tuple[str, ...]:
    return tuple(names.split())


HOUSEHOLDS = (
    Household("weekend", _loads("compressor light pump socket fan detector electronics"), drives=0.3),
    Household("full-time", _loads("compressor air-heater light pump socket fan detector electronics"), drives=0.4),
    Household("remote-worker", _loads("compressor electronics charger light pump detector fan"), sun_a=35, inverter=True),
    Household("family", _loads("compressor compressor light light pump socket charger detector air-heater"), drives=0.8),
    Household("winter", _loads("air-heater element element light pump detector electronics socket"), sun_a=4, shore=0.5,
              warm_c=(2.0, 18.0)),
    Household("desert", _loads("compressor fan fan light pump detector electronics"), sun_a=40, warm_c=(22.0, 52.0)),
    Household("parked", _loads("electronics detector detector compressor element light socket"), drives=0.0, awake=(10, 11)),
    Household("off-road", _loads("compressor pump light socket charger detector electronics fan"), drives=1.0),
)  # fmt: skip
PEOPLE = ("light", "pump", "socket", "fan", "charger")


def _live(way: Way, household: Household, days: float, rng: Random) -> None:
    """Things that people switch rest while they sleep; the rest goes on by itself."""
    if isinstance(way.draw, Refrigerator):
        return  # it has a thermostat of its own
    name = next(n for n, sort in SORTS.items() if sort is way.draw.sort)
    start, end = household.awake
    wakes, sleeps = (start - 6) * 3600, (end - 6) * 3600  # the week begins at 06:00
    if name == "pump":
        pump = program(way.draw)
        way.draw = pump
        taps = 1 if household.name == "parked" else rng.randint(8, 30)
        for day in range(int(days) + 1):
            day_of_taps(pump, day * DAY_S, max(0.0, wakes), sleeps, rng, times=taps, showers=rng.randint(0, 2), nightly=0.3)
        way.load = load_of(
            way, (Level(name="wet", watts=round(pump.watts, 1), tolerance=0.25, surge=Surge(times=3.0, seconds=0.3)),)
        )
        return
    if name == "charger":
        charger = program(way.draw)
        way.draw = charger
        way.load = load_of(way, ())  # what it draws depends on what hangs on it
        for day in range(int(days) + 1):
            t = day * DAY_S + max(0.0, wakes) + rng.uniform(0, 0.5) * max(0.0, sleeps - wakes)
            charge(charger, t, rng, share=rng.uniform(0.3, 1.0), full_s=rng.uniform(900, 5400), taper_s=rng.uniform(600, 2400))
        return
    if name == "electronics":
        device = program(way.draw)
        way.draw.live(days * DAY_S, phase=0.4)
        for begin, until, share in way.draw.spans:
            device.add(stretch(begin, until, device.watts * share, wiggle=device.wiggle))
        uneven(device, rng)
        way.draw = device
        way.load = load_of(way)
        return
    if name == "ac-heater":
        return  # `_boils`
    if name not in PEOPLE:
        way.draw.live(days * DAY_S, phase=0.4)
        return
    for day in range(int(days) + 1):
        begin = day * DAY_S + (start - 6 + rng.uniform(-0.7, 0.7)) * 3600  # the week begins at 06:00
        way.draw.live((end - start) * 3600, start_s=max(0.0, begin), phase=0.3)
    spans = sorted(way.draw.spans)
    way.draw.spans = [s for n, s in enumerate(spans) if n == 0 or s[0] >= spans[n - 1][1]]


def build(number: int, n: int, period_s: float, days: float) -> tuple[Van, str]:
    """The van of quiet week `number` of `n`, and whose it is."""
    point = Point(f"week-{period_s:g}", max(n, number + 1), number)
    rng = point.rng
    household = HOUSEHOLDS[number % len(HOUSEHOLDS)]
    builder = Builder(point)
    builder.period_s = period_s
    builder.loss *= 0.5
    ways: list[Way] = []
    kids = 0
    for name in household.circuits:
        rear = kids < 3 and rng.random() < 0.35
        kids += rear
        behind = () if rear else ("disconnect",) if rng.random() < 0.4 and name != "detector" else ()
        ways.append(builder.way(name, feeder="rear" if rear else None, behind=behind))
    source: Inverter | None = None
    if household.inverter:
        way = builder.way("inverter", watts=700.0, behind=("disconnect",), feed="switched")
        way.draw.watts = 0.0
        source = Inverter(way.id, 1000.0)
        ways += [way, builder.way("ac-electronics", supply="inverter")]
    elif household.name in ("family", "weekend"):  # an inverter that is switched on for a kettle, and off again
        way = builder.way("inverter", watts=700.0, feed="switched")
        way.draw.watts = 0.0
        way.load = Load(kind="inverter", standby_max_w=2.0)
        source = Inverter(way.id, 1200.0, on=False)
        kettle = builder.way("ac-heater", supply="inverter")
        kettle.draw = program(kettle.draw)
        kettle.load = load_of(kettle)
        ways += [way, kettle]
    low, high = household.warm_c

    def panel_c(t: float) -> float:
        return (low + high) / 2 + (high - low) / 2 * sin(2 * pi * (t / DAY_S - 0.12))

    for way in ways:
        if way.draw.sort is SORTS["compressor"]:  # in the living space, a little cooler than the panel
            sort = sort_of(way.draw.sort, rng)
            way.draw = Refrigerator(sort, way.draw.floor_w, 12.8, rng, lambda t: min(43.0, panel_c(t) - 3.0))
            way.load = fridge_load(way)
        volts = 230.0 if way.supply == "inverter" else 13.0
        if way.declared_floor_w is not None and way.declared_floor_w / volts < 5 * way.sense.resolution_a:
            way.declared_floor_w = None
            if way.load is not None:
                way.load = replace(way.load, always_draws_w=None)
        # Drift with warmth: 0.5 mA/K at most (from memory), and no more than a fifth of what is to be seen.
        most = min(0.0005, 0.5 * way.sense.resolution_a / (high - low))
        way.drift_a_per_k = rng.uniform(-most, most)
        way.tells_closed = rng.random() < 0.4
        _live(way, household, days, rng)
    sd = rng.uniform(0.003, 0.008)
    van = Van(
        rng=Random(f"week/{period_s}/{number}"), period_s=period_s, ways=ways, coarse=True,
        bank=Bank(rng.choice(("lfp", "agm")), rng.uniform(200, 400), rng.uniform(0.7, 0.95), sd, sd, rng.uniform(40, 250)),
        feeders={"rear": Branch("rear", rng.uniform(0.004, 0.02), (), 40.0)} if kids else {}, inverter=source,
        cutoff_v=11.2, cutoff_delay_s=30.0, restore_v=12.4,
        meter_sense=Sense(volts_at="bus", resolution_a=0.05) if point.chance("meter", 0.5) else None,
        meter_gain=1 + rng.uniform(-0.01, 0.01), own_bar=rng.random() < 0.7, payload_time=rng.random() < 0.6,
        duplicates=rng.choice((0.0, 0.01)),
    )  # fmt: skip
    van.panel_c = panel_c
    _doors(van, household, days, rng)
    _boils(van, household, days, rng)
    _sources(van, household, days, rng)
    _mishaps(van, days, rng)
    return van, household.name


def _sources(van: Van, household: Household, days: float, rng: Random) -> None:
    """Sun, drives with their crank, shore; and a person who plugs in before the bank is empty."""
    on_shore = [rng.random() < household.shore for _ in range(int(days) + 1)]
    sky = [rng.uniform(0.3, 1.0) for _ in range(int(days) + 1)]
    driving: list[tuple[float, float]] = []
    for day in range(int(days) + 1):
        if rng.random() < household.drives:
            start = day * DAY_S + rng.uniform(3, 10) * 3600
            driving.append((start, start + rng.uniform(0.5, 3) * 3600))
    for start, _ in driving:
        dip, lasts = rng.uniform(0.3, 3.0), rng.uniform(1.0, 10.0)
        van.dips.append((start, start + lasts, dip))
        if rng.random() < 0.4:  # a crank that reboots a computer

            def reboots(van: Van) -> None:
                for way in van.ways:
                    if way.draw.sort.kind == "electronics" and way.supply == "house":
                        way.draw.off_until = van.now_s + rng.uniform(20, 40)

            van.at(start, reboots)

    def charges(van: Van) -> None:
        t = van.now_s
        day = int(t / DAY_S)
        hour = t % DAY_S / 3600 + 6
        sun = max(0.0, sin(pi * (hour - 6) / 12)) if hour < 18 else 0.0
        amps = household.sun_a * sky[min(day, len(sky) - 1)] * sun * rng.uniform(0.7, 1.0)
        if any(start <= t < end for start, end in driving):
            amps += 30.0
        if on_shore[min(day, len(on_shore) - 1)] or van.bank.charge < 0.4:
            amps += 25.0
        van.charge_a = amps
        van.charge_v = 14.2 if van.bank.charge < 0.97 else 13.5

    t = 0.0
    while t < days * DAY_S:
        van.at(t, charges)
        t += 600.0
    for start, end in driving:
        van.at(start + 12, charges)
        van.at(end, charges)


def _boils(van: Van, household: Household, days: float, rng: Random) -> None:
    """The inverter is switched on, used once to three times within the hour, and switched off."""
    kettle, source = van.ways[-1].draw, van.inverter
    if source is None or source.on or not isinstance(kettle, Program):
        return
    start, end = household.awake

    def turns(on: bool) -> Callable[[Van], None]:
        def turned(van: Van) -> None:
            source.on = on

        return turned

    for day in range(int(days) + 1):
        for part in range(rng.randint(1, 2)):
            t = day * DAY_S + (rng.uniform(start, (start + end) / 2 - 2) - 6 + part * (end - start) / 2) * 3600
            van.at(t, turns(True))
            for _ in range(rng.randint(1, 3)):
                kettle.add(stretch(t + 30, t + 30 + rng.uniform(120, 300), kettle.watts, power=1.0, wiggle=0.002))
                t += rng.uniform(400, 1100)
            van.at(t, turns(False))


def _doors(van: Van, household: Household, days: float, rng: Random) -> None:
    """People open a refrigerator, and put things in."""
    start, end = household.awake
    for way in van.ways:
        fridge = way.draw
        if not isinstance(fridge, Refrigerator):
            continue
        for day in range(int(days) + 1):
            for _ in range(1 if household.name == "parked" else rng.randint(6, 25)):
                share = rng.uniform(0.15, 0.5)
                at = day * DAY_S + (rng.uniform(start, end) - 6) * 3600
                van.at(at, lambda van, fridge=fridge, share=share: fridge.open_door(share))  # type: ignore[misc]
            if rng.random() < 0.3:
                kg = rng.uniform(0.5, 4.0)
                van.at(day * DAY_S + rng.uniform(4, 11) * 3600, lambda van, fridge=fridge, kg=kg: fridge.put_in(kg, 22.0))  # type: ignore[misc]


def _mishaps(van: Van, days: float, rng: Random) -> None:
    """Innocent ones: a node reboots, a link gap that is made good, duplicates, an appliance on standby."""

    def silence(seconds: float, keeps: bool) -> None:
        at = rng.uniform(0.05, 0.95) * days * DAY_S

        def gone(van: Van) -> None:
            van.holding, van.away = keeps, not keeps

        def back(van: Van) -> None:
            van.holding = van.away = False

        van.at(at, gone)
        van.at(at + seconds, back)

    longest = 0.8 * (max(10 * van.period_s, 120.0) - 8.5 * van.period_s)
    for _ in range(max(1, round(days / 2))):
        silence(rng.uniform(10, longest), keeps=van.payload_time and rng.random() < 0.5)


def run(number: int, n: int, period_s: float, days: float) -> dict[str, Any]:
    """The outcome of a quiet week (or a part of one)."""
    began = time.perf_counter()
    van, household = build(number, n, period_s, days)
    schedule = van.schedule()
    core, fixed, sigma = Core(), Fixed(schedule), Sigma()
    out: list[Output] = core.feed(Settings(received_ms=T0_MS, schedule=schedule, started=True))
    seconds = days * DAY_S
    readings = 0
    for item in van.run(seconds):
        if isinstance(item, Reading):
            readings += 1
            fixed.take(item)
            sigma.take(item)
        got = core.feed(item)
        if got:
            out += got
    out += core.advance(T0_MS + round(seconds * 1000))
    told = [t for t in out if isinstance(t, Transition) and t.told and t.event in ("begins", "begins-again")]
    return {
        "case": week_id(number, period_s, days), "week": days / 7, "household": household, "period": period_s,
        "volts": van.ways[0].sense.volts_at, "publishes": van.ways[0].sense.publishes,
        "resolution": van.ways[0].sense.resolution_a,
        "opened": sorted(van.marks), "readings": readings,
        "false": [[t.priority, t.kind, t.subject, t.subject_id, str(t.cause)] for t in told],
        "fixed": {"false": len(fixed.said)}, "sigma": {"false": len(sigma.said)},
        "transitions": [plain(t, T0_MS) for t in told], "cpu_s": round(time.perf_counter() - began, 2),
    }  # fmt: skip


def week_id(number: int, period_s: float, days: float) -> str:
    return f"week/{period_s:g}s/{days:g}d/{number:03d}"
