"""What draws where nothing should: a standby, an inverter for nothing, a charger that is full, a draw on no way."""

from __future__ import annotations

from math import ceil, pi, sin

from proving.draw_loads import Program, charge, of, stretch, uneven
from proving.draw_scene import BEGINS_H, DAY_S, HOUR_S, RESOLUTIONS, SLOW, Made, Stage, family, load_of, seen, stage
from proving.sampling import Point
from proving.vehicle import Way

AT_HOME = ("couple", "family", "remote-worker", "off-road")
MORNING_S = (8.0 - BEGINS_H) * HOUR_S


def mornings_on(t: float, nights: int) -> float:
    """08:00 after so many nights."""
    return (ceil((t - MORNING_S) / DAY_S) + nights - 1) * DAY_S + MORNING_S


def by_day(s: Stage, load: Program, *, runs: tuple[float, float] = (1200, 7200), share: float = 0.6) -> None:
    """Used now and then while people are awake; at rest by night."""
    rng = s.rng
    for day in range(-1, int(s.seconds / DAY_S) + 1):
        t = s.wakes(day) + rng.uniform(0, 3600)
        while t < s.sleeps(day) - 3600:
            lasts_s = min(rng.uniform(*runs), s.sleeps(day) - 1800 - t)
            if t > 0 and rng.random() < share and lasts_s > 60:
                load.add(
                    stretch(t, t + lasts_s, load.watts * rng.choice(load.sort.steps), power=load.power, wiggle=load.wiggle)
                )
            t += lasts_s + rng.uniform(600, 7200)


def resting(point: Point, nights: int, *, sorts: tuple[str, ...], steps: tuple[float, ...]) -> tuple[Stage, float]:
    """A load that rests by night, for a night before it and so many after; the evening on which it happens."""
    s = stage(
        point, point.pick("load", sorts), seconds=(nights + 1) * DAY_S + 4 * HOUR_S, periods=SLOW, floor=True, steps=steps,
        others=("light", "pump"), habits=AT_HOME,
    )  # fmt: skip
    by_day(s, s.load)
    if point.chance("uneven", 0.5):
        uneven(s.load, s.rng)
    return s, s.sleeps(1) - point.between("evening", 0.2, 3.0) * HOUR_S


RESTING = ("electronics", "fan", "charger", "air-heater", "socket")


def raised(s: Stage, onset: float, amps: float, nights: int) -> Made:
    before = s.load.floor_of

    def rises() -> None:
        if before is None:
            s.load.floor_w += 12.8 * amps
        else:
            s.load.floor_of = lambda t: before(t) + 12.8 * amps

    s.at(onset, rises)
    seen_by = s.target.sense.resolution_a
    return s, s.truth(
        "standby-raised", "standby-drain departed-from-record off-profile", onset, mornings_on(onset, nights) - onset,
        knowable=amps >= 1.5 * seen_by, fits=("standby", "always-on", "load-changed"),
    )  # fmt: skip


@family("drain-standby-100", "drain", aim="standby +0.1 A")
def standby_100(point: Point) -> Made:
    s, onset = resting(point, 1, sorts=RESTING, steps=(0.001, 0.01, 0.05))
    return raised(s, onset, point.log_between("severity", 0.1, 0.3), 1)


@family("drain-standby-30", "drain", aim="standby +30 mA")
def standby_30(point: Point) -> Made:
    s, onset = resting(point, 3, sorts=RESTING, steps=(0.001, 0.001, 0.01, 0.01, 0.05))
    return raised(s, onset, point.log_between("severity", 0.03, 0.06), 3)


@family("drain-standby~update", "drain")
def update(point: Point) -> Made:
    """New firmware by night, once: a plateau of minutes to an hour or so (F40)."""
    s, onset = resting(point, 1, sorts=("electronics", "fan", "charger", "air-heater"), steps=RESOLUTIONS)
    lasts_s = point.log_between("severity", 600, 5400)
    begin = onset + 4 * HOUR_S
    s.load.add(stretch(begin, begin + lasts_s, 12.8 * s.rng.uniform(0.1, 0.4), wiggle=0.1))
    return s, s.innocent()


@family("drain-standby~taper", "drain")
def charges_by_night(point: Point) -> Made:
    """Something is plugged in at bedtime and charges till it is full (from memory: taper of 1 to 3 h)."""
    s, onset = resting(point, 1, sorts=("socket", "charger"), steps=RESOLUTIONS)
    charge(
        s.load, onset + HOUR_S, s.rng, share=0.6, full_s=s.rng.uniform(1200, 3600), taper_s=point.between("severity", 800, 2400)
    )
    return s, s.innocent()


@family("drain-standby~wakes", "drain")
def wakes_hourly(point: Point) -> Made:
    """A standby that wakes every hour, and is warmer by day than by night."""
    s, _ = resting(point, 2, sorts=("electronics", "fan", "air-heater"), steps=RESOLUTIONS)
    uneven(s.load, s.rng, share=point.between("severity", 0.1, 0.5))
    return s, s.innocent()


# --- the inverter


def inverter_stage(point: Point, *, hours: float, rack: bool) -> tuple[Stage, Way]:
    """An inverter with a way or two behind it; nothing on yet."""
    s = stage(
        point,
        "inverter",
        seconds=hours * HOUR_S,
        watts=700.0,
        inverter=True,
        others=("light", "fan"),
        periods=(2.0, 5.0, 10.0, 30.0),
        steps=(0.01, 0.05, 0.1),
        habits=AT_HOME,
        coarse=True,
        floor=True,
    )
    assert s.van.inverter is not None
    s.van.inverter.on = False
    kettle = s.builder.way("ac-heater", supply="inverter")
    kettle.draw = of(kettle.draw)
    kettle.load = load_of(kettle)
    ways = [kettle]
    if rack:
        always = s.builder.way("ac-electronics", supply="inverter")
        always.draw = of(always.draw)
        always.load = load_of(always)
        ways.append(always)
    for way in ways:
        seen(way, s.builder)
        s.van.ways.append(way)
    return s, kettle


def on(s: Stage, t: float, state: bool) -> None:
    def turns() -> None:
        assert s.van.inverter is not None
        s.van.inverter.on = state

    s.at(t, turns)


def boil(s: Stage, kettle: Way, begin: float, lasts_s: float) -> None:
    draw = kettle.draw
    assert isinstance(draw, Program)
    draw.add(stretch(begin, begin + lasts_s, draw.watts, power=1.0, wiggle=0.003))


@family("drain-inverter", "drain", aim="inverter left on")
def inverter_left(point: Point) -> Made:
    s, kettle = inverter_stage(point, hours=7.5, rack=False)
    used = point.between("used", 0.5, 3.0) * HOUR_S
    on(s, used, True)
    t = used + 30
    for _ in range(s.rng.randint(1, 3)):
        lasts_s = s.rng.uniform(100, 400)
        boil(s, kettle, t, lasts_s)
        t += lasts_s
        last, t = t, t + s.rng.uniform(60, 900)
    return s, s.truth("inverter-idle", "standby-drain", last, 2 * HOUR_S, also=("overcurrent",),
                      subjects=(("circuit", s.target.id), ("supply", "inverter")), fits=("idle", "left-on"))  # fmt: skip


@family("drain-inverter~always", "drain")
def inverter_carries(point: Point) -> Made:
    """An always-on AC device hangs on it: it is wanted."""
    s, kettle = inverter_stage(point, hours=9.0, rack=True)
    always = s.van.ways[-1].draw
    assert isinstance(always, Program)
    always.floor_w = point.between("severity", 6.0, 25.0)
    s.van.ways[-1].load = load_of(s.van.ways[-1])
    seen(s.van.ways[-1], s.builder)
    on(s, 0.0, True)
    boil(s, kettle, s.rng.uniform(1, 2) * HOUR_S, 200)
    return s, s.innocent("overcurrent")


@family("drain-inverter~used", "drain")
def inverter_used(point: Point) -> Made:
    """On for a while, used every so often, then switched off."""
    s, kettle = inverter_stage(point, hours=9.0, rack=False)
    t = 0.5 * HOUR_S
    while t < s.seconds - 3600:
        on(s, t, True)
        for _ in range(s.rng.randint(1, 5)):
            lasts_s = s.rng.uniform(100, 400)
            boil(s, kettle, t + 20, lasts_s)
            t += lasts_s + point.between("severity", 600, 2700) * s.rng.uniform(0.6, 1.0)
        on(s, t, False)
        t += s.rng.uniform(0.3, 2.0) * HOUR_S
    return s, s.innocent("overcurrent")


# --- chargers


@family("drain-charger", "drain", aim="charger left")
def charger_left(point: Point) -> Made:
    s, evening = resting(point, 1, sorts=("charger", "socket"), steps=(0.001, 0.01, 0.05))
    amps = point.log_between("severity", 0.05, 0.2)
    full_s, taper_s = s.rng.uniform(1200, 3600), s.rng.uniform(600, 1500)
    begin = evening - 2 * HOUR_S
    s.load.clear(0.0)
    charge(s.load, 3 * HOUR_S, s.rng, share=0.6, full_s=full_s, taper_s=taper_s)  # a day before: taken out in time
    charge(s.load, begin, s.rng, share=0.6, full_s=full_s, taper_s=taper_s)
    s.load.add(stretch(begin, s.seconds, 12.8 * amps, wiggle=0.01))
    onset = begin + full_s + 3.5 * taper_s
    return s, s.truth(
        "charger-left",
        "standby-drain",
        onset,
        10 * HOUR_S,
        begins_s=begin + full_s + 2 * taper_s,
        knowable=amps >= 1.5 * s.target.sense.resolution_a,
        fits=("standby", "standby-raised", "left-on"),
    )


@family("drain-charger~slow", "drain")
def slow_taper(point: Point) -> Made:
    """A second, slow taper of hours (F44): it does end."""
    s, evening = resting(point, 1, sorts=("charger", "socket"), steps=RESOLUTIONS)
    s.load.clear(0.0)
    begin = evening - 2 * HOUR_S
    end = charge(s.load, begin, s.rng, share=0.6, full_s=2400, taper_s=1200)
    tau_s = point.between("severity", 4000, 7000)
    s.load.add(stretch(begin + 4000, end + 4 * HOUR_S, 12.8 * s.rng.uniform(0.2, 0.5), to_watts=0.0, tau_s=tau_s, wiggle=0.01))
    return s, s.innocent()


# --- what no way shows


def whole(point: Point, hours: float, *, steps: tuple[float, ...]) -> Stage:
    """A vehicle with a meter, and ways of every sort at work: their steps are what the meter can be set right by."""
    s = stage(point, "fan", seconds=hours * HOUR_S, periods=SLOW, steps=steps, meter=True, coarse=True,
              others=("light", "pump", "electronics", "element"), habits=AT_HOME)  # fmt: skip
    by_day(s, s.load)
    own_a = s.rng.uniform(0.0, 0.02)  # what the monitor itself takes
    s.van.other_a = own_a
    return s


@family("drain-unassigned", "drain", aim="unassigned draw")
def unassigned(point: Point) -> Made:
    s = whole(point, 36.0, steps=(0.001, 0.01))
    amps = point.log_between("severity", 0.05, 2.0)
    onset = point.between("when", 12, 17) * HOUR_S

    def draws() -> None:
        s.van.other_a += amps

    s.at(onset, draws)
    return s, s.truth("unassigned", "unassigned-draw", onset, mornings_on(onset, 1) + HOUR_S - onset,
                      subjects=(("supply", "house"), ("circuit", "SH")),
                      fits=("unknown", "before-the-panel", "not-on-any-circuit"))  # fmt: skip


@family("drain-unassigned~gain", "drain")
def gain_under_load(point: Point) -> Made:
    """The meter's gain and the ways' do not agree: what is left over goes with the load (F48)."""
    s = whole(point, 30.0, steps=RESOLUTIONS)
    s.van.meter_gain = 1 + point.between("severity", -0.015, 0.015)
    for day in range(2):
        begin = day * DAY_S + s.rng.uniform(9, 14) * HOUR_S
        big = s.van.ways[4].draw  # the element, for hours
        big.spans = [x for x in big.spans if x[1] < begin or x[0] > begin + 4 * HOUR_S] + [(begin, begin + 4 * HOUR_S, 1.0)]
        big.spans.sort()
    return s, s.innocent()


@family("drain-unassigned~zero", "drain")
def zero_drifts(point: Point) -> Made:
    """Every channel's zero goes with warmth, the same way, 0.5 mA/K at the most (F72)."""
    s = whole(point, 40.0, steps=RESOLUTIONS)
    per_k = point.between("severity", -0.0005, 0.0005)
    for way in s.van.ways:
        way.drift_a_per_k = per_k * s.rng.uniform(0.6, 1.0)
    rise = s.rng.uniform(15, 30)
    s.van.panel_c = lambda t: 25.0 + rise * sin(2 * pi * (t / DAY_S - 0.1))
    return s, s.innocent()


@family("drain-standby~warm", "drain")
def standby_warm(point: Point) -> Made:
    """A channel whose zero drifts with the day's warmth while its load stands by (F72)."""
    s, _ = resting(point, 2, sorts=("electronics", "fan", "air-heater"), steps=(0.001, 0.01))
    s.target.drift_a_per_k = point.between("severity", -0.0005, 0.0005)
    low = s.rng.uniform(5, 20)
    s.van.panel_c = lambda t: low + 15.0 * (1 + sin(2 * pi * (t / DAY_S - 0.1)))
    return s, s.innocent()
