"""The stage of a draw's case: climate, people, sun, a few circuits round the target, the commissioning record, and the truth.

Everything here is chosen without the watch; of panelward it knows the records alone.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import copy
from dataclasses import dataclass, field, replace
from math import pi, sin, sqrt
from random import Random
from statistics import median

from panelward.records import Commissioned, Level, Load, Measured, Probe, Record, Schedule, Sense, Surge
from proving.cases import Builder, protection_for, rating_for
from proving.devices import Device
from proving.draw_fridge import Refrigerator, sort_of
from proving.draw_loads import Program, of
from proving.draws import SORTS
from proving.sampling import Point
from proving.vehicle import T0_MS, Bank, Inverter, Van, Way

HOUR_S, DAY_S = 3600.0, 86400.0
BEGINS_H = 6.0  # t = 0 is 06:00, UTC
COMMISSIONED_C = 22.0
RESOLUTIONS = (0.001, 0.01, 0.05, 0.1)
QUICK, ORDINARY, SLOW = (1.0, 2.0, 5.0, 10.0, 30.0), (2.0, 5.0, 10.0, 30.0), (10.0, 30.0)
Cause = str


@dataclass(slots=True, kw_only=True)
class Truth:
    """What really is the matter, and which answers are right."""

    cause: Cause  # "none" for a twin
    fits: tuple[Cause, ...] = ()  # further causes that say the same
    kinds: tuple[str, ...] = ()  # the kinds that tell it; none for a twin
    subjects: tuple[tuple[str, str], ...] = ()
    begins_s: float = 0.0  # from here on an alarm about it is right
    onset_s: float = 0.0  # from here on its deadline runs
    deadline_s: float = 0.0
    readings: int = 0  # and so many readings of the target after the onset must have come
    target: str = ""
    shows_a: float = 0.0  # … of so much at least: others do not show it
    tries: bool = False  # … each on a try of its own; else on end, so that on-change publishers need say nothing twice
    opens: bool = False  # it may open its device before it shows: then that is what is to be told
    also: tuple[str, ...] = ()  # groups of alarms that are true besides
    knowable: bool = True  # False: its sensing can't show it


@dataclass(slots=True, kw_only=True)
class Case:
    id: str
    family: str
    group: str  # level | drain | rhythm | drift
    aim: str  # what it counts for
    innocent: bool
    van: Van
    schedule: Schedule
    record: Record | None
    seconds: float
    truth: Truth
    grade: dict[str, float | str]


@dataclass(frozen=True, slots=True)
class Habits:
    """How people live: hours awake, taps and doors a day, whether it is heated, what the sun gives."""

    name: str
    wake_h: float
    sleep_h: float
    taps: int
    showers: int
    doors: int
    heated: bool
    sun_a: float
    drives: float  # chance of a drive a day


HABITS = (
    Habits("couple", 7.0, 23.0, 14, 1, 14, True, 28.0, 0.4),
    Habits("family", 6.5, 22.0, 34, 2, 35, True, 30.0, 0.6),
    Habits("night-shift", 14.0, 30.0, 10, 1, 10, True, 22.0, 0.7),  # asleep from 06:00 to 14:00
    Habits("remote-worker", 8.0, 24.0, 18, 1, 20, True, 35.0, 0.2),
    Habits("off-road", 6.0, 21.5, 12, 0, 16, False, 32.0, 1.0),
    Habits("laid-up", 12.0, 12.2, 0, 0, 0, False, 18.0, 0.0),
)


class Climate:
    """Degrees outside and in the living space: a day's swing, weather from day to day, heating where people live."""

    def __init__(self, mean_c: float, swing_k: float, days: int, rng: Random, *, heated: bool) -> None:
        self.mean_c, self.swing_k, self.heated = mean_c, swing_k, heated
        self.weather = [rng.uniform(-3.0, 3.0) for _ in range(days + 3)]
        self.shift: Callable[[float], float] = lambda t: 0.0  # a front that a case brings
        self.gain_k = rng.uniform(1.0, 5.0)  # of a vehicle in the sun

    def outside(self, t: float) -> float:
        day = max(0.0, t / DAY_S)
        whole = min(int(day), len(self.weather) - 2)
        part = min(1.0, day - whole)
        weather = self.weather[whole] * (1 - part) + self.weather[whole + 1] * part
        return self.mean_c + weather + self.shift(t) + self.swing_k / 2 * sin(2 * pi * (t / DAY_S + (BEGINS_H - 9) / 24))

    def inside(self, t: float) -> float:
        sun = max(0.0, sin(pi * (t / DAY_S * 24 % 24) / 12)) if t % DAY_S < DAY_S / 2 else 0.0
        inside = self.outside(t) + self.gain_k * sun
        return max(inside, 18.0 + sun) if self.heated else inside


@dataclass(slots=True)
class Stage:
    """A vehicle with a target; a family puts its fault or its look-alike into it."""

    point: Point
    builder: Builder
    van: Van
    target: Way
    habits: Habits
    climate: Climate
    seconds: float
    grade: dict[str, float | str]
    recorded: bool
    notes: dict[str, float | str] = field(default_factory=dict)

    @property
    def rng(self) -> Random:
        return self.point.rng

    @property
    def load(self) -> Program:
        assert isinstance(self.target.draw, Program)
        return self.target.draw

    @property
    def fridge(self) -> Refrigerator:
        assert isinstance(self.target.draw, Refrigerator)
        return self.target.draw

    def at(self, t: float, what: Callable[[], object]) -> None:
        self.van.at(t, lambda van: what())

    def truth(self, cause: str, kinds: str, onset_s: float, deadline_s: float, **keys: object) -> Truth:
        base: dict[str, object] = {
            "cause": cause, "kinds": tuple(kinds.split()), "onset_s": onset_s, "begins_s": onset_s, "deadline_s": deadline_s,
            "subjects": (("circuit", self.target.id),), "target": self.target.id,
        }  # fmt: skip
        return Truth(**(base | keys))  # type: ignore[arg-type]

    def innocent(self, *also: str) -> Truth:
        return Truth(cause="none", target=self.target.id, also=also)

    def wakes(self, day: int) -> float:
        return day * DAY_S + (self.habits.wake_h - BEGINS_H) * HOUR_S

    def sleeps(self, day: int) -> float:
        return day * DAY_S + (self.habits.sleep_h - BEGINS_H) * HOUR_S

    def days(self) -> range:
        return range(int(self.seconds / DAY_S) + 1)


Made = tuple[Stage, Truth]
Build = Callable[[Point], Made]


@dataclass(frozen=True, slots=True)
class Family:
    name: str
    group: str
    aim: str
    innocent: bool
    build: Build
    held_out: bool = False


FAMILIES: dict[str, Family] = {}


def family(name: str, group: str, *, aim: str = "", held_out: bool = False) -> Callable[[Build], Build]:
    """A fault `group-name`; its twins are called `name~what`, and look the same with no fault."""

    def note(build: Build) -> Build:
        assert name not in FAMILIES, name
        FAMILIES[name] = Family(name, group, aim, "~" in name, build, held_out)
        return build

    return note


def make(name: str, n: int, number: int) -> Case:
    """One case, alone."""
    kind = FAMILIES[name]
    stage, truth = kind.build(Point(name, n, number))
    return Case(
        id=f"{name}/{n}/{number:03d}", family=name, group=kind.group, aim=kind.aim, innocent=kind.innocent, van=stage.van,
        schedule=stage.van.schedule(), record=record_of(stage.van) if stage.recorded else None, seconds=stage.seconds,
        truth=truth, grade=stage.grade | stage.notes,
    )  # fmt: skip


# --- the stage


def stage(
    point: Point, sort: str, *, seconds: float, periods: tuple[float, ...] = QUICK, steps: tuple[float, ...] = RESOLUTIONS,
    watts: float | None = None, floor: bool | None = None, feed: str | None = None, others: tuple[str, ...] = ("light",),
    climate: tuple[float, float] = (-20.0, 45.0), swing: tuple[float, float] = (4.0, 16.0), habits: tuple[str, ...] = (),
    supply: str = "house", inverter: bool = False, meter: bool = False, coarse: bool | None = None, record: float = 0.7,
    sunny: bool = True, freezer: bool = False,
) -> Stage:  # fmt: skip
    """A vehicle of the target and a few others, with sensing, climate, people and sun drawn from the point."""
    rng = point.rng
    builder = Builder(point)
    builder.period_s = builder.grade["period"] = point.pick("every", periods)
    builder.resolve(point.pick("step", steps))
    long = seconds > 6 * HOUR_S if coarse is None else coarse
    if long:
        builder.loss = min(builder.loss, 0.1)
    people = [h for h in HABITS if not habits or h.name in habits]
    live = point.pick("people", people)
    days = int(seconds / DAY_S) + 2
    weather = Climate(point.between("climate", *climate), point.between("swing", *swing), days, rng, heated=live.heated)
    target = builder.way(sort, feed=feed, floor=floor, watts=watts, supply=supply)
    if sort == "compressor":
        target.draw = Refrigerator(
            sort_of(SORTS["compressor"], rng), target.draw.floor_w, 12.8, rng, weather.inside, freezer=freezer
        )
        target.load = fridge_load(target)
    else:
        target.draw = of(target.draw)
        target.load = load_of(target)
    ways = [target]
    for name in others:
        way = builder.way(name)
        if name == "light" or name in ("socket", "fan"):
            for day in range(days):
                start = day * DAY_S + (live.wake_h - BEGINS_H) * HOUR_S
                way.draw.live((live.sleep_h - live.wake_h) * HOUR_S, start_s=max(0.0, start), phase=0.3)
            way.draw.spans = [s for n, s in enumerate(way.draw.spans) if n == 0 or s[0] >= way.draw.spans[n - 1][1]]
        else:
            way.draw.live(seconds + 600.0, start_s=-60.0)
        ways.append(way)
    source: Inverter | None = None
    if inverter:
        way = target if sort == "inverter" else builder.way("inverter", watts=700.0, feed="switched")
        way.draw.watts = 0.0
        way.load = Load(kind="inverter", standby_max_w=2.0)
        source = Inverter(way.id, 1200.0, idle_when_off_w=rng.choice((0.0, 0.8)))
        if way is not target:
            ways.append(way)
    for way in ways:
        seen(way, builder)
        way.tells_closed = rng.random() < 0.3
    chemistry = rng.choice(("lfp", "agm"))
    sd = rng.uniform(0.003, 0.008)
    van = Van(
        rng=Random(f"draw/{point.family}/{point.n}/{point.number}"),
        period_s=builder.period_s,
        ways=ways,
        coarse=long,
        mean_parts=3,
        bank=Bank(chemistry, rng.uniform(180, 360), rng.uniform(0.7, 0.95), sd, sd, rng.uniform(40, 250)),
        inverter=source,
        cutoff_v=11.2,
        cutoff_delay_s=30.0,
        restore_v=12.4,
        meter_sense=meter_sense(builder) if meter else None,
        meter_gain=1 + rng.uniform(-0.01, 0.01),
        meter_zero_a=rng.uniform(-0.008, 0.008) if meter else 0.0,
        own_bar=rng.random() < 0.7,
        payload_time=rng.random() < 0.6,
        duplicates=rng.choice((0.0, 0.01)),
    )
    van.panel_c = lambda t: weather.inside(t) + 3.0
    if point.chance("probe", 0.65):
        where = rng.choice(("outside", f"load:{target.id}"))
        box = target.draw
        inside = (lambda t: box.air_c) if isinstance(box, Refrigerator) else weather.inside  # what `load:` means
        van.probes.append((Probe(id="T1", where=where, monitor="panel"), weather.outside if where == "outside" else inside))
    builder.grade |= {"load": sort, "people": live.name, "climate": round(weather.mean_c, 1)}
    made = Stage(point, builder, van, target, live, weather, seconds, builder.grade, point.chance("record", record))
    if sunny:
        sun(made)
    return made


def refit(s: Stage, watts: float, *, surge: Surge | None = None) -> None:
    """A device for so much, and the start that it is chosen for."""
    way, rng = s.target, s.rng
    way.protection, kind = protection_for(rating_for(1.3 * watts / 12.8), rng)
    way.device = Device(kind, way.protection.rating_a, rng)
    if surge is not None:
        way.draw.sort = replace(way.draw.sort, surge=(surge.times, surge.seconds))
    if way.load is not None:
        levels = way.load.levels if surge is None else tuple(replace(level, surge=surge) for level in way.load.levels)
        way.load = replace(way.load, levels=levels)


def meter_sense(builder: Builder) -> Sense:
    return Sense(volts_at="bus", resolution_a=max(0.01, builder.sense.resolution_a))


def seen(way: Way, builder: Builder) -> None:
    """A floor that its sensor can't see is not scheduled; zero drifts with warmth, at most 0.5 mA/K (from memory)."""
    volts = 230.0 if way.supply == "inverter" else 13.0
    if way.declared_floor_w is not None and way.declared_floor_w / volts < 5 * way.sense.resolution_a:
        way.declared_floor_w = None
        if way.load is not None:
            way.load = replace(way.load, always_draws_w=None)
    way.drift_a_per_k = builder.rng.uniform(-1, 1) * min(0.0005, 0.02 * way.sense.resolution_a)


def sun(made: Stage, every_s: float = 900.0) -> None:
    """Sun, drives, and a person who plugs in before the bank is empty."""
    van, live, rng = made.van, made.habits, made.rng
    days = int(made.seconds / DAY_S) + 2
    sky = [rng.uniform(0.3, 1.0) for _ in range(days)]
    drives: list[tuple[float, float]] = []
    for day in range(days):
        if rng.random() < live.drives:
            start = day * DAY_S + rng.uniform(2, 11) * HOUR_S
            drives.append((start, start + rng.uniform(0.5, 3) * HOUR_S))
    top_v = 14.4 if van.bank.chemistry == "lfp" else 14.6

    def charges(van: Van) -> None:
        t = van.now_s
        day, hour = int(t / DAY_S), t % DAY_S / HOUR_S
        amps = live.sun_a * sky[min(day, days - 1)] * (sin(pi * hour / 12) if hour < 12 else 0.0)
        if any(start <= t < end for start, end in drives):
            amps += 30.0
        if van.bank.charge < 0.45:
            amps += 25.0
        van.charge_a, van.charge_v = amps, top_v if van.bank.charge < 0.97 else 13.6

    t = -60.0
    while t < made.seconds:
        van.at(t, charges)
        t += every_s
    for start, end in drives:
        if start < made.seconds:
            van.at(start, charges)
            van.at(end, charges)


# --- what the schedule and the record say


def load_of(way: Way, levels: tuple[Level, ...] | None = None, **keys: object) -> Load:
    """An honest schedule: every setting is a level."""
    draw, sort = way.draw, way.draw.sort
    if levels is None:
        surge = Surge(times=sort.surge[0], seconds=sort.surge[1]) if sort.surge[1] else None
        levels = tuple(
            Level(name=f"setting {n}", watts=round(draw.watts * share, 1), tolerance=0.2, surge=surge)
            for n, share in enumerate(sort.steps, 1)
        ) if draw.watts else ()  # fmt: skip
    base: dict[str, object] = {
        "kind": sort.kind, "behaves": sort.behaves, "always_draws_w": way.declared_floor_w, "levels": levels,
        "standby_max_w": round(1.1 * draw.floor_w + 0.1, 2) if draw.floor_w else None,
    }  # fmt: skip
    return Load(**(base | keys))  # type: ignore[arg-type]


def fridge_load(way: Way) -> Load:
    fridge = way.draw
    assert isinstance(fridge, Refrigerator)
    times, lasts_s = fridge.sort.surge
    return load_of(
        way,
        (Level(name="compressor", watts=round(fridge.run_w(COMMISSIONED_C), 1), tolerance=0.3,
               surge=Surge(times=round(times, 1), seconds=round(lasts_s, 1))),),
    )  # fmt: skip


def rhythm_of(way: Way, period_s: float) -> tuple[int | None, float | None, float | None]:
    """Whole runs, and the medians of runs and rests, of a day alone at 22 °C: what the hand-over watches unattended."""
    fridge = copy(way.draw)
    assert isinstance(fridge, Refrigerator)
    fridge.rng, fridge.around, fridge.on = Random(0), lambda t: COMMISSIONED_C, False
    fridge.air_c = fridge.food_c = fridge.set_c
    fridge.t, fridge.since, since, on = 0.0, -1e4, 0.0, False
    lengths: dict[bool, list[float]] = {True: [], False: []}
    for n in range(1, int(DAY_S / period_s)):
        fridge.advance(n * period_s)
        if fridge.on != on:
            lengths[on].append(n * period_s - since)
            on, since = fridge.on, n * period_s
    runs, rests = lengths[True], lengths[False][1:]
    return (len(runs), median(runs), median(rests)) if len(runs) >= 4 and rests else (len(runs), None, None)


def record_of(van: Van) -> Record:
    """What an installer measured with these sensors at 22 °C: their gain and zero are in it, and the floor in every level."""
    ways = []
    for way in van.ways:
        load = way.load
        nominal_v = 230.0 if way.supply == "inverter" else 12.8
        noise_w = nominal_v * sqrt(way.noise_a**2 + way.sense.resolution_a**2 / 12)

        def measured(
            name: str, watts: float, wiggle: float, way: Way = way, noise_w: float = noise_w,
            zero_w: float = way.zero_a * nominal_v, n: int = 30,
        ) -> Measured:  # fmt: skip
            sd = sqrt((wiggle * watts) ** 2 + noise_w**2)
            mean = watts * way.gain + zero_w + way.draw.rng.gauss(0, sd / sqrt(n))
            k = 2.55  # 95/95 two-sided of 30 readings (tolerance factor)
            return Measured(name=name, watts=round(mean, 3), low_w=round(mean - k * sd, 3), high_w=round(mean + k * sd, 3),
                            sd_w=round(sd, 4), readings=n)  # fmt: skip

        runs, run_s, idle_s = rhythm_of(way, van.period_s) if isinstance(way.draw, Refrigerator) else (None, None, None)
        floor = way.draw.floor_w if way.draw.sort.kind != "inverter" else 0.0
        ways.append(Commissioned(
            circuit=way.id, zero_a=round(way.zero_a, 4),
            standby=measured("standby", floor, 0.02) if floor else None,
            levels=tuple(measured(x.name, x.watts + floor, way.draw.wiggle) for x in load.levels) if load is not None else (),
            runs=runs, run_s=run_s, idle_s=idle_s,
        ))  # fmt: skip
    return Record(vehicle="proving-van", version=1, made_ms=T0_MS - 30 * 86_400_000, who="fitter", instrument="clamp meter",
                  ambient_c=COMMISSIONED_C, circuits=tuple(ways))  # fmt: skip
