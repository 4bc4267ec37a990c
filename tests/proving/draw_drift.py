"""What creeps for weeks from what was measured at hand-over: a fan that wears, an element or a lamp that ages."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from panelward.records import Level, Settings
from proving.draw_drains import AT_HOME
from proving.draw_loads import Program, day_of_taps, stretch, turn
from proving.draw_scene import COMMISSIONED_C, DAY_S, HOUR_S, Made, Stage, family, load_of, record_of, stage
from proving.sampling import Point
from proving.vehicle import T0_MS

LASTS_S = 30 * DAY_S
STARTS_S = 3 * DAY_S
TOLD_AT = 0.15
RIGHT_FROM = 0.04  # told before so much is there, it is told by chance
GRADE = (0.001, 0.01, 0.05)


def density(celsius: float) -> float:
    """Of air beside that of the commissioning, at one pressure (ideal gas)."""
    return (273.15 + COMMISSIONED_C) / (273.15 + celsius)


def months(
    point: Point, sort: str, days: float, *, climate: tuple[float, float] = (0.0, 36.0), others: tuple[str, ...] = (),
    every_s: float = 60.0,
) -> Stage:  # fmt: skip
    """A way alone, or a few, for weeks, at one reading a minute."""
    made = stage(
        point,
        sort,
        seconds=days * DAY_S,
        periods=(every_s,),
        steps=GRADE,
        others=others,
        climate=climate,
        habits=AT_HOME,
        coarse=True,
        record=1.0,
    )
    for way in made.van.ways:
        way.load = way.load or load_of(way)  # all of them on record
    return made


def steps_of(s: Stage, watts: float) -> bool:
    """Whether 15 % of so much is more than a step and a half of its sensor: the rounding of less hides it."""
    return TOLD_AT * watts >= 1.5 * s.target.sense.resolution_a * 12.8


def airs(s: Stage, speeds: Callable[[int], float]) -> None:
    """A fan's days: hours at a speed, thinner air as it warms."""
    load = s.load
    load.power = s.point.between("power", 1.4, 1.6)
    for day in s.days():
        t = s.wakes(day) + s.rng.uniform(0, 2) * HOUR_S
        for n in range(s.rng.randint(2, 4)):
            lasts_s = s.rng.uniform(0.7, 3.0) * HOUR_S
            turn(load, max(60.0, t), max(60.0, t) + lasts_s, speeds(n), times=1.2, tau_s=1.0)
            t += lasts_s + s.rng.uniform(0.3, 2.0) * HOUR_S
    load.worn = lambda t: density(s.climate.inside(t))


def wears(s: Stage, load: Program, whole: float, sign: float = 1.0) -> tuple[float, float]:
    """`whole` over 30 days on top of what else there is; when it is right to say so, and when it must have been said."""
    other = load.worn

    def worn(t: float) -> float:
        now = 1.0 + sign * whole * min(1.0, max(0.0, (t - STARTS_S) / LASTS_S))
        return now * (other(t) if other is not None else 1.0)

    load.worn = worn
    return STARTS_S + LASTS_S * RIGHT_FROM / whole, STARTS_S + LASTS_S * TOLD_AT / whole


@family("drift-fan", "drift", aim="+20 % in 30 days")
def fan_wears(point: Point) -> Made:
    s = months(point, "fan", 33.0)
    main = point.pick("speed", (0.45, 0.7, 1.0))
    airs(s, lambda n: main if n < 2 else s.rng.choice(s.load.sort.steps))
    begins, due = wears(s, s.load, point.between("severity", 0.19, 0.23))
    s.seconds = due + 0.5 * DAY_S
    seen = steps_of(s, main * s.load.watts)
    return s, s.truth("worn", "departed-from-record off-profile", begins, due - begins, fits=("needs-more",), knowable=seen)


@family("drift-fan~cold", "drift")
def fan_cold(point: Point) -> Made:
    """The air gets colder and so heavier by a tenth: it needs so much more at the same speed (F21: +8 % from 30 to 5 °C)."""
    s = months(point, "fan", 16.0, climate=(22.0, 34.0))
    drop = point.between("severity", 15.0, 28.0)
    s.climate.heated = False
    airs(s, lambda n: s.rng.choice(s.load.sort.steps))
    s.climate.shift = lambda t: -drop * min(1.0, max(0.0, (t - 5 * DAY_S) / (2 * DAY_S)))
    return s, s.innocent()


@family("drift-fan~speed", "drift")
def fan_speed(point: Point) -> Made:
    """People take another speed from one day on."""
    s = months(point, "fan", 14.0)
    first, then = point.pick("severity", ((0.45, 0.7), (0.7, 1.0), (1.0, 0.45), (0.2, 0.45), (0.7, 0.45)))
    at = s.rng.randint(5, 8)
    days = {"n": 0}

    def speed(n: int) -> float:
        if n == 0:
            days["n"] += 1
        return first if days["n"] <= at else then

    airs(s, speed)
    return s, s.innocent()


@family("drift-fan~volts", "drift")
def fan_volts(point: Point) -> Made:
    """A better sun, or a charger left plugged in: from one week on its volts are a volt higher (F52)."""
    s = months(point, "fan", 14.0)
    airs(s, lambda n: s.rng.choice((0.7, 1.0)))
    van, volts = s.van, point.between("severity", 13.6, 14.4)

    def charges() -> None:
        van.charge_a, van.charge_v = 60.0, volts

    van.actions = [(t, what) for t, what in van.actions if t < 6 * DAY_S]
    t = 6 * DAY_S
    while t < s.seconds:
        s.at(t, charges)
        t += DAY_S
    return s, s.innocent()


def glows(s: Stage, *, by_night: bool) -> None:
    """A heater's or a lamp's days."""
    load, rng = s.load, s.rng
    for day in s.days():
        t = max(60.0, (s.sleeps(day) - 4 * HOUR_S) if by_night else s.wakes(day))
        for _ in range(3):
            lasts_s = rng.uniform(0.5, 1.3) * HOUR_S
            load.add(stretch(t, t + lasts_s, load.watts, power=load.power, wiggle=load.wiggle))
            t += lasts_s + rng.uniform(300, 1500)


@family("drift-element", "drift", aim="ageing element, lamp")
def element_ages(point: Point) -> Made:
    """Its resistance rises as it ages: less of everything at the same volts."""
    s = months(point, point.pick("load", ("element", "light")), 33.0)
    glows(s, by_night=s.grade["load"] == "light")
    begins, due = wears(s, s.load, point.between("severity", 0.19, 0.25), sign=-1.0)
    s.seconds = due + 0.5 * DAY_S
    return s, s.truth(
        "aged",
        "departed-from-record off-profile",
        begins,
        due - begins,
        fits=("needs-less",),
        knowable=steps_of(s, s.load.watts),
    )


@family("drift-element~volts", "drift")
def element_volts(point: Point) -> Made:
    """Weeks of weaker sun: the bank stands lower, the element takes less by the square of it."""
    s = months(point, "element", 16.0)
    glows(s, by_night=False)
    van = s.van
    van.bank.chemistry, van.bank.charge = "agm", 0.95
    weak = point.between("severity", 0.1, 0.4)
    van.actions = [(t, what) for t, what in van.actions if t < 6 * DAY_S]

    def held(amps: float) -> None:
        van.charge_a, van.charge_v = amps, 13.6

    t = 6 * DAY_S
    while t < s.seconds:
        s.at(t, lambda: held(0.0 if van.bank.charge > weak else 20.0))
        t += 6 * HOUR_S
    van.cutoff_v = 10.6
    return s, s.innocent("supply")


@family("drift-element~anew", "drift")
def element_anew(point: Point) -> Made:
    """Another element is fitted, stronger or weaker, and measured: a new version of the record (and of the schedule)."""
    s = months(point, "element", 16.0)
    glows(s, by_night=False)
    times = point.pick("severity", (0.8, 0.88, 1.12, 1.2))
    at = 6.5 * DAY_S
    first = s.load.worn
    assert first is None
    s.load.worn = lambda t: times if t >= at else 1.0

    def measured() -> None:
        load = s.target.load
        assert load is not None
        levels = tuple(replace(level, watts=round(level.watts * times, 1)) for level in load.levels)
        s.target.load = replace(load, levels=levels)
        record = replace(record_of(s.van), version=2, made_ms=T0_MS + round(at * 1000))
        now_ms = T0_MS + round(s.van.now_s * 1000)
        s.van.events.append(Settings(received_ms=now_ms, schedule=s.van.schedule(), record=record))

    s.at(at + 600.0, measured)
    return s, s.innocent()


@family("drift-element~gain", "drift")
def gains_age(point: Point) -> Made:
    """The monitor's own gain ages: all of its channels read more, or less, by as much (F73)."""
    s = months(point, "element", 30.0, others=("light", "element", "fan", "electronics"))
    glows(s, by_night=False)
    whole = point.between("severity", 0.04, 0.07) * point.pick("sign", (-1.0, 1.0))
    sound = {way.id: way.gain for way in s.van.ways}

    def ages() -> None:
        for way in s.van.ways:
            way.gain = sound[way.id] * (1.0 + whole * min(1.0, s.van.now_s / (20 * DAY_S)))

    for day in s.days():
        s.at(day * DAY_S, ages)
    return s, s.innocent()


# --- strips of a lamp


@family("drift-light", "drift", aim="failing strips")
def strips_fail(point: Point) -> Made:
    """One strip of many after the other goes dark; due some days after the one by which 15 % are gone. One of ten or fewer is
    what a person dims it by (`drift-light~dimmed` is the same stream).
    """
    s = months(point, "light", 33.0)
    glows(s, by_night=True)
    strips = point.pick("severity", (9, 10, 12, 14, 16))
    every_s = LASTS_S / (0.2 * strips)  # a fifth of them in thirty days
    s.load.worn = lambda t: 1.0 - min(0.25, max(0, int((t - STARTS_S) / every_s)) / strips)
    gone = next(n for n in range(1, strips) if n / strips >= TOLD_AT)
    begins, due = STARTS_S + every_s, STARTS_S + gone * every_s + 5 * DAY_S
    s.seconds = due + 0.5 * DAY_S
    return s, s.truth(
        "strips",
        "departed-from-record off-profile",
        begins,
        due - begins,
        fits=("needs-less",),
        knowable=steps_of(s, s.load.watts) and strips > 10,
    )


@family("drift-light~dimmed", "drift")
def light_dimmed(point: Point) -> Made:
    """People turn it down a little, from one evening on."""
    s = months(point, "light", 16.0)
    share = point.between("severity", 0.6, 0.88)
    glows(s, by_night=True)
    s.load.worn = lambda t: share if t >= 6.5 * DAY_S else 1.0
    return s, s.innocent()


# --- pumps


def waters(s: Stage, times: Callable[[int], int], showers: Callable[[int], int]) -> None:
    """A pump's days; its level is the mean one of its taps."""
    load, rng = s.load, s.rng
    s.target.load = load_of(s.target, (Level(name="wet", watts=round(load.watts, 1), tolerance=0.25),))
    for day in s.days():
        wake_s, sleep_s = s.wakes(day) - day * DAY_S, s.sleeps(day) - day * DAY_S
        day_of_taps(load, day * DAY_S, max(0.0, wake_s), sleep_s, rng, times=times(day), showers=showers(day))


@family("drift-pump", "drift", aim="clogging pump")
def pump_clogs(point: Point) -> Made:
    """A filter behind it clogs: it works against more, at every tap."""
    s = months(point, "pump", 33.0, every_s=10.0)
    waters(s, lambda day: s.habits.taps, lambda day: s.habits.showers)
    begins, due = wears(s, s.load, point.between("severity", 0.19, 0.25))
    s.seconds = due + 0.5 * DAY_S
    return s, s.truth("clogged", "departed-from-record off-profile", begins, due - begins, fits=("needs-more",))


@family("drift-pump~habits", "drift")
def pump_habits(point: Point) -> Made:
    """Guests, or a drought: from one day on they take showers, or none any more (F25: a tap wide open asks least)."""
    s = months(point, "pump", 16.0, every_s=10.0)
    first, then = point.pick("severity", ((0, 4), (4, 0), (1, 5), (2, 0)))
    waters(s, lambda day: s.habits.taps, lambda day: first if day < 7 else then)
    return s, s.innocent()


# --- compressors


@family("drift-compressor", "drift", aim="worn compressor")
def compressor_wears(point: Point) -> Made:
    """It takes more for the same cold. Where nothing tells how warm it is around it, summer takes as much."""
    s = months(point, "compressor", 33.0, climate=(8.0, 32.0))
    whole, fridge = point.between("severity", 0.19, 0.25), s.fridge
    p0_w, efficiency = fridge.p0_w, fridge.efficiency

    def wear() -> None:
        worn = 1.0 + whole * min(1.0, max(0.0, (s.van.now_s - STARTS_S) / LASTS_S))
        fridge.p0_w, fridge.efficiency = p0_w * worn, efficiency / worn

    for day in s.days():
        s.at(day * DAY_S, wear)
    begins, due = STARTS_S + LASTS_S * RIGHT_FROM / whole, STARTS_S + LASTS_S * TOLD_AT / whole
    s.seconds = due + 0.5 * DAY_S
    told = any(probe.where == "outside" for probe, _ in s.van.probes)
    truth = s.truth(
        "worn", "departed-from-record duty-high", begins, due - begins, fits=("needs-more", "condenser-blocked"), knowable=told
    )
    return s, truth


@family("drift-compressor~season", "drift")
def compressor_season(point: Point) -> Made:
    """It gets summer, or winter, half a degree a day."""
    s = months(point, "compressor", 30.0, climate=(12.0, 22.0))
    whole = point.between("severity", 8.0, 15.0) * point.pick("sign", (-1.0, 1.0))
    s.climate.shift = lambda t: whole * min(1.0, t / s.seconds)
    return s, s.innocent()


@family("drift-month~quiet", "drift")
def quiet_month(point: Point) -> Made:
    """An ordinary month of a vehicle at a reading each half minute: circuits of every sort, each on record."""
    s = months(
        point, "fan", 30.0, climate=(-5.0, 36.0), others=("light", "element", "electronics", "fan", "pump"), every_s=30.0
    )
    airs(s, lambda n: s.rng.choice(s.load.sort.steps))
    return s, s.innocent()
