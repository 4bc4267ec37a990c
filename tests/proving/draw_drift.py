"""What creeps for weeks from what was measured at hand-over: a fan that wears, an element or a lamp that ages."""

from __future__ import annotations

from collections.abc import Callable

from proving.draw_drains import AT_HOME
from proving.draw_loads import Program, stretch, turn
from proving.draw_scene import COMMISSIONED_C, DAY_S, HOUR_S, Made, Stage, family, stage
from proving.sampling import Point

LASTS_S = 30 * DAY_S
STARTS_S = 3 * DAY_S
TOLD_AT = 0.15
RIGHT_FROM = 0.04  # told before so much is there, it is told by chance
GRADE = (0.001, 0.01, 0.05)


def density(celsius: float) -> float:
    """Of air beside that of the commissioning, at one pressure (ideal gas)."""
    return (273.15 + COMMISSIONED_C) / (273.15 + celsius)


def months(point: Point, sort: str, days: float, *, climate: tuple[float, float] = (0.0, 36.0)) -> Stage:
    """A way alone, for weeks, at one reading a minute."""
    return stage(
        point,
        sort,
        seconds=days * DAY_S,
        periods=(60.0,),
        steps=GRADE,
        others=(),
        climate=climate,
        habits=AT_HOME,
        coarse=True,
        record=1.0,
    )


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
    return s, s.truth("worn", "departed-from-record off-profile", begins, due - begins, fits=("drag", "bearing", "wear"))


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
        "aged", "departed-from-record off-profile", begins, due - begins, fits=("resistance-up", "element-aged", "worn")
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
