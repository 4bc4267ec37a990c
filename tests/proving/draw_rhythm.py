"""Wrong rhythms: a refrigerator that runs too long or too often and why, pumps that leak or never stop, and their twins."""

from __future__ import annotations

from copy import copy
from dataclasses import replace
from random import Random

from panelward.records import Duty, Level, Surge
from proving.draw_drains import AT_HOME
from proving.draw_fridge import Refrigerator
from proving.draw_loads import day_of_taps, stretch, tap
from proving.draw_scene import DAY_S, HOUR_S, QUICK, Made, Stage, family, load_of, stage
from proving.sampling import Point

SEES = 0.15  # rise of the duty that a case must bring to count
RUNS_ON = "duty-high overlong-run"


def kitchen(
    point: Point,
    hours: float,
    *,
    periods: tuple[float, ...],
    climate: tuple[float, float] = (-20.0, 36.0),
    banded: bool = True,
    habits: tuple[str, ...] = (),
    coarse: bool = True,
    freezers: float = 0.2,
) -> Stage:
    """A refrigerator, people who open its door, and a schedule with an honest band of its duty."""
    s = stage(point, "compressor", seconds=hours * HOUR_S, periods=periods, others=("light",), climate=climate, habits=habits,
              coarse=coarse, freezer=point.chance("freezer", freezers), steps=(0.001, 0.01, 0.05, 0.1))  # fmt: skip
    fridge, rng, live = s.fridge, s.rng, s.habits
    for day in s.days():
        for _ in range(live.doors):
            t = day * DAY_S + rng.uniform(live.wake_h - 6, live.sleep_h - 6) * HOUR_S
            if 0 < t < s.seconds:
                s.at(t, lambda: fridge.open_door(rng.uniform(0.15, 0.5)))
        if live.doors and rng.random() < 0.6:
            s.at(day * DAY_S + rng.uniform(4, 11) * HOUR_S, lambda: fridge.put_in(rng.uniform(0.3, 2.0), rng.uniform(15, 30)))
    inside = [s.climate.inside(600.0 * n) for n in range(int(s.seconds / 600))]
    s.notes["freezer"] = float(fridge.set_c < -10)
    assert s.target.load is not None
    if banded and point.chance("banded", 0.7):
        duty = Duty(
            low=round(max(0.0, fridge.duty(min(inside)) - 0.1), 2),
            high=round(min(0.95, fridge.duty(max(inside)) + 0.12), 2),
            window_h=6.0,
        )
        s.target.load = replace(s.target.load, duty=duty)
    return s


def changes(s: Stage, onset: float, **to: float) -> tuple[float, float]:
    """The duty before and after, at the mean warmth of what follows; the change is made at its time."""
    fridge = s.fridge
    around = [s.climate.inside(onset + 1800.0 * n) for n in range(int(max(1, min(48 * HOUR_S, s.seconds - onset) // 1800)))]
    mean_c = sum(around) / len(around)
    before = fridge.duty(mean_c)
    was = {name: getattr(fridge, name) for name in to}
    for name, value in to.items():
        setattr(fridge, name, value)
    after = fridge.duty(mean_c)
    for name, value in was.items():
        setattr(fridge, name, value)
    s.notes |= {"duty": round(before, 2), "then": round(after, 2)}
    return before, after


def sets(s: Stage, t: float, **to: object) -> None:
    def now() -> None:
        for name, value in to.items():
            setattr(s.fridge, name, value)

    s.at(t, now)


def creeps(s: Stage, begin: float, lasts_s: float, name: str, start: float, end: float) -> None:
    """In 24 steps from one value to another."""
    for n in range(1, 25):
        sets(s, begin + lasts_s * n / 24, **{name: start + (end - start) * n / 24})


@family("rhythm-door", "rhythm", aim="door open")
def door(point: Point) -> Made:
    s = kitchen(point, 2 * 24 + 16.0, periods=(5.0, 10.0, 30.0), climate=(10.0, 36.0), coarse=True)
    onset = 2 * DAY_S + 8.5 * HOUR_S
    ajar = point.log_between("severity", 2.0, 8.0)
    before, after = changes(s, onset, ajar_w_per_k=ajar)
    sets(s, onset, ajar_w_per_k=ajar)
    honest_s = groceries_run_s(s.fridge, s.climate.inside(onset))
    s.notes["groceries_min"] = round(honest_s / 60.0)
    # By the length of a run alone an open door is known only once ordinary groceries would be cold: until then both look the
    # same, watt for watt. A probe in the box tells them apart sooner: over groceries its air falls.
    in_box = any(probe.where.startswith("load:") for probe, _ in s.van.probes)
    deadline_s = 45 * 60.0 if in_box else max(45 * 60.0, 2.0 * honest_s)
    s.seconds = onset + deadline_s + 0.5 * HOUR_S
    return s, s.truth("door-open", RUNS_ON, onset, deadline_s, knowable=after >= 0.98 and before <= 0.7, fits=("door",))


def groceries_run_s(fridge: Refrigerator, around_c: float) -> float:
    """How long it runs when people put in the most they ordinarily do (`kitchen`): 2 kg at 30 °C, the door open meanwhile."""
    alike = copy(fridge)
    alike.rng, alike.around, alike.on = Random(0), lambda t: around_c, True
    alike.food_c, alike.air_c, alike.t, alike.since = alike.set_c, alike.set_c + alike.band_k, 0.0, 0.0
    alike.open_door(0.5)
    alike.put_in(2.0, 30.0)
    while alike.on and alike.t < DAY_S:
        alike.advance(alike.t + 60.0)
    return alike.t


WEEK_H = 3 * 24.0 + 53.0


@family("rhythm-iced", "rhythm", aim="iced, lost charge")
def iced(point: Point) -> Made:
    s = kitchen(point, WEEK_H, periods=(30.0, 60.0), freezers=0.3)
    begin = point.between("begins", 2.6, 3.0) * DAY_S
    ice = point.between("severity", 0.35, 0.65)
    grows_s = point.between("grows", 6.0, 24.0) * HOUR_S
    before, after = changes(s, begin + grows_s, frost=ice)
    creeps(s, begin, grows_s, "frost", 0.0, ice)
    onset = begin + 0.5 * grows_s  # half of it is there
    s.seconds = onset + 50 * HOUR_S
    return s, s.truth("iced", RUNS_ON + " departed-from-record off-profile", onset, 48 * HOUR_S, begins_s=begin + 0.1 * grows_s,
                      knowable=after - before >= SEES, fits=("iced-evaporator", "evaporator-iced"))  # fmt: skip


@family("rhythm-charge", "rhythm", aim="iced, lost charge")
def lost_charge(point: Point) -> Made:
    s = kitchen(point, WEEK_H, periods=(30.0, 60.0))
    begin = point.between("begins", 2.6, 3.0) * DAY_S
    left = point.between("severity", 0.3, 0.65)
    leaks_s = point.between("leaks", 1.0, 18.0) * HOUR_S
    before, after = changes(s, begin + leaks_s, charge=left)
    creeps(s, begin, leaks_s, "charge", 1.0, left)
    onset = begin + 0.5 * leaks_s
    s.seconds = onset + 50 * HOUR_S
    return s, s.truth(
        "lost-charge",
        RUNS_ON + " departed-from-record off-profile",
        onset,
        48 * HOUR_S,
        begins_s=begin + 0.1 * leaks_s,
        knowable=after - before >= SEES,
        fits=("charge-lost", "refrigerant-lost"),
    )


@family("rhythm-condenser", "rhythm", aim="condenser")
def condenser(point: Point) -> Made:
    s = kitchen(point, WEEK_H, periods=(30.0, 60.0), climate=(5.0, 36.0))
    begin = point.between("begins", 2.6, 3.0) * DAY_S
    hotter_k = point.between("severity", 12.0, 28.0)
    before, after = changes(s, begin, condenser_k=hotter_k)
    sets(s, begin, condenser_k=hotter_k)
    s.seconds = begin + 50 * HOUR_S
    return s, s.truth("condenser-blocked", RUNS_ON + " departed-from-record off-profile", begin, 48 * HOUR_S,
                      knowable=after - before >= 0.08, fits=("blocked-condenser", "condenser"))  # fmt: skip


@family("rhythm-off", "rhythm", aim="no cooling")
def cooling_off(point: Point) -> Made:
    """Switched off on its own panel (F33): its floor stays, it does not cool."""
    s = kitchen(point, 15.0, periods=(5.0, 10.0, 30.0), climate=(12.0, 36.0))
    onset = point.between("severity", 9.0, 11.0) * HOUR_S
    before, _ = changes(s, onset, off=True)
    sets(s, onset, off=True)
    return s, s.truth(
        "no-cooling",
        "duty-low",
        onset,
        3 * HOUR_S,
        knowable=before >= 0.15,
        fits=("switched-off-at-load", "thermostat-off", "off"),
        also=("dead",) if s.target.declared_floor_w is None else (),
    )


@family("rhythm-cycling", "rhythm", aim="short cycling")
def short_cycling(point: Point) -> Made:
    s = kitchen(point, 8.0, periods=(2.0, 5.0, 10.0, 30.0), climate=(12.0, 36.0))
    onset = 6.0 * HOUR_S
    on_s, off_s = point.between("severity", 40, 140), point.between("rests", 60, 200)
    sets(s, onset, chatter=(onset, on_s, off_s))
    return s, s.truth("short-cycling", "short-cycling", onset, HOUR_S, knowable=min(on_s, off_s) >= 1.5 * s.van.period_s,
                      fits=("hunting", "supply-hunts", "unknown"))  # fmt: skip


# --- the same look, no fault


@family("rhythm-fridge~hot-day", "rhythm")
def hot_day(point: Point) -> Made:
    """A front comes: 8 to 16 K warmer within half a day."""
    s = kitchen(
        point, 5 * 24.0, periods=(30.0, 60.0), climate=(6.0, 24.0), banded=False, habits=("off-road", "couple", "family")
    )
    rise = point.between("severity", 8.0, 16.0)
    at = 3 * DAY_S
    s.climate.shift = lambda t: rise * min(1.0, max(0.0, (t - at) / (0.5 * DAY_S)))
    high = round(min(0.95, s.fridge.duty(max(s.climate.inside(600.0 * n) for n in range(720))) + 0.12), 2)
    if point.chance("banded", 0.7) and s.target.load is not None:
        s.target.load = replace(s.target.load, duty=Duty(low=0.02, high=high, window_h=6.0))
    return s, s.innocent()


@family("rhythm-fridge~goods", "rhythm")
def warm_goods(point: Point) -> Made:
    """The shopping: kilograms of warm goods. It runs for hours and settles within 4 to 12 (F30)."""
    s = kitchen(point, 4 * 24.0, periods=(30.0, 60.0), climate=(5.0, 32.0), habits=AT_HOME)
    for day in (1, 3):
        t = day * DAY_S + s.rng.uniform(4, 10) * HOUR_S
        s.at(t, lambda: s.fridge.put_in(point.between("severity", 3.0, 12.0), s.rng.uniform(18, 32)))
    return s, s.innocent()


@family("rhythm-fridge~set", "rhythm")
def thermostat(point: Point) -> Made:
    """Somebody turns its thermostat: a step, the same watts, a new steady duty (F30)."""
    s = kitchen(point, 5 * 24.0, periods=(30.0, 60.0), climate=(5.0, 32.0), habits=AT_HOME, banded=False)
    sets(s, 3 * DAY_S + s.rng.uniform(0, 10) * HOUR_S, set_c=s.fridge.set_c + point.between("severity", -3.0, 3.0))
    return s, s.innocent()


@family("rhythm-fridge~power-on", "rhythm")
def powered_on(point: Point) -> Made:
    """Warm through and through, switched on: a few short starts, then one run of hours."""
    s = kitchen(point, 30.0, periods=(10.0, 30.0), climate=(8.0, 34.0), banded=False)
    fridge, at = s.fridge, 3.0 * HOUR_S
    fridge.off, fridge.on = True, False
    fridge.air_c = fridge.food_c = s.climate.inside(0.0)
    fridge.c_food *= 0.5  # little in it
    sets(s, at, off=False, chatter=(at, point.between("severity", 15, 60), s.rng.uniform(60, 150)))
    sets(s, at + s.rng.uniform(200, 700), chatter=None)
    return s, s.innocent()


@family("rhythm-fridge~cold-night", "rhythm")
def cold_night(point: Point) -> Made:
    """Laid up in the cold: round it is colder than its own setting, it need not run (F33)."""
    s = kitchen(point, 3 * 24.0, periods=(30.0, 60.0), climate=(-20.0, 8.0), habits=("laid-up", "off-road"), freezers=0.0)
    if s.target.load is not None and s.target.load.duty is not None:
        s.target.load = replace(s.target.load, duty=replace(s.target.load.duty, low=0.0))
    return s, s.innocent()


@family("rhythm-fridge~doors", "rhythm")
def many_doors(point: Point) -> Made:
    """A family at table: the door open for a minute at a time, over and over, for an hour or two."""
    s = kitchen(point, 40.0, periods=(10.0, 30.0), climate=(10.0, 34.0), habits=("family",))
    for day in (0, 1):
        t = day * DAY_S + point.between("severity", 9, 12) * HOUR_S
        for n in range(s.rng.randint(8, 20)):
            s.at(t + n * 240 + s.rng.uniform(0, 200), lambda: s.fridge.open_door(0.6))
    return s, s.innocent()


# --- pumps


def plumbing(point: Point, hours: float, *, periods: tuple[float, ...] = QUICK) -> Stage:
    s = stage(point, "pump", seconds=hours * HOUR_S, periods=periods, others=(), habits=AT_HOME, coarse=True)
    s.target.load = load_of(
        s.target,
        (Level(name="wet", watts=round(s.load.watts, 1), tolerance=0.25, surge=Surge(times=3.0, seconds=0.3)),),
        longest_run_s=720.0,
    )
    return s


@family("rhythm-leak", "rhythm", aim="leak-down")
def leak_down(point: Point) -> Made:
    s = plumbing(point, 27.0, periods=(2.0, 5.0, 10.0))
    live = s.habits
    day_of_taps(
        s.load,
        0.0,
        (live.wake_h - 6) * HOUR_S,
        (live.sleep_h - 6.5) * HOUR_S,
        s.rng,
        times=live.taps,
        showers=live.showers,
        nightly=0,
    )
    every_s, run_s = point.log_between("severity", 600, 2400), point.between("runs", 3.0, 15.0)
    onset = s.sleeps(0) + s.rng.uniform(0, 1800)
    t, seen, due = onset, 0, 0.0
    period = s.van.period_s
    while seen < 8 and t < onset + 20 * every_s:
        lasts_s = run_s * s.rng.uniform(0.9, 1.1)
        s.load.add(stretch(t, t + lasts_s, 1.08 * s.load.watts, power=0.1, wiggle=0.03))
        seen += (t + lasts_s) // period > t // period
        if seen == 5 and not due:
            due = t + lasts_s
        t += every_s * s.rng.uniform(0.9, 1.1)
    s.seconds = t
    return s, s.truth(
        "leak-down",
        "short-cycling duty-high overlong-run",
        onset,
        max(60.0, due - onset) + 30 + 2 * period,
        knowable=due > 0 and 0.9 * run_s >= period,  # a run shorter than the period shows by luck only
        fits=("leak", "pump-leak-down"),
    )


@family("rhythm-leak~taps", "rhythm")
def taps_by_night(point: Point) -> Made:
    """People who get up: irregular, some of it long (F24)."""
    s = plumbing(point, 26.0, periods=(2.0, 5.0, 10.0))
    live = s.habits
    day_of_taps(
        s.load,
        0.0,
        (live.wake_h - 6) * HOUR_S,
        (live.sleep_h - 6.5) * HOUR_S,
        s.rng,
        times=live.taps,
        showers=live.showers,
        nightly=0,
    )
    t = s.sleeps(0) + 1200
    for _ in range(int(point.between("severity", 4, 10))):
        t += 300 + s.rng.expovariate(1 / 2400.0)
        t = tap(s.load, t, s.rng.choice((s.rng.uniform(4, 15), s.rng.uniform(20, 60))), s.rng.uniform(0.3, 1.0))
    return s, s.innocent()


@family("rhythm-endless", "rhythm", aim="pump dry, endless")
def endless(point: Point) -> Made:
    s = plumbing(point, 4.5)
    day_of_taps(s.load, 0.0, 600, 3.2 * HOUR_S, s.rng, times=20, showers=1, nightly=0)
    onset = 3.6 * HOUR_S
    s.load.add(stretch(onset, s.seconds, s.load.watts * point.between("severity", 0.95, 1.15), power=0.1, wiggle=0.03))
    return s, s.truth(
        "endless", "overlong-run standby-drain", onset, 15 * 60.0, fits=("never-reaches-cut-off", "leak", "tap-open", "unknown")
    )


@family("rhythm-endless~shower", "rhythm")
def shower(point: Point) -> Made:
    s = plumbing(point, 6.0)
    t = 600.0
    while t < s.seconds - 900:
        t = tap(
            s.load, t, point.between("severity", 240, 570) * s.rng.uniform(0.6, 1.0), s.rng.uniform(0.5, 1.0)
        ) + s.rng.uniform(900, 5400)
    return s, s.innocent()
