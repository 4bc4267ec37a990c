"""Starts that fail: a compressor that tries and does not turn, an air heater without its glow or without a flame."""

from __future__ import annotations

from panelward.records import Level, Surge
from proving.draw_loads import Burn, burner, heat, light_up, purge, stretch
from proving.draw_scene import HOUR_S, ORDINARY, Made, Stage, family, load_of, refit, stage
from proving.sampling import Point


def seen_s(s: Stage, begin: float, every_s: float, on_s: float, count: int) -> float | None:
    """When the `count`-th try after `begin` shows as one: a reading on it after a reading of rest; None: not in this case.

    A mean shows a try only where a whole period without one lies before it: else it is a steady draw, and no try is seen.
    """
    period, mean = s.van.period_s, s.builder.sense.reports == "mean"
    hits, rested = 0, True
    tick = int(begin / period) + 1
    while tick * period < s.seconds:
        into = (tick * period - begin) % every_s  # since the last try began
        on = into < on_s or (mean and into < on_s + period)
        if on and rested:
            hits += 1
            if hits == count:
                return tick * period
        rested = not on
        tick += 1
    return None


def tries_show_a(s: Stage, try_a: float, on_s: float) -> float:
    """Half of what a try shows: all of it in a sample, its share of the period in a mean."""
    mean = s.builder.sense.reports == "mean"
    return 0.5 * try_a * (min(1.0, on_s / s.van.period_s) if mean else 1.0)


@family("level-no-start", "level", aim="failed start")
def compressor_fails(point: Point) -> Made:
    s = stage(point, "compressor", seconds=2.2 * HOUR_S, others=("light",), climate=(15.0, 42.0), coarse=False,
              periods=(1.0, 2.0, 5.0))  # fmt: skip
    onset = 1.2 * HOUR_S
    every_s, on_s = point.between("every", 40, 110), point.between("severity", 0.8, 3.0)

    times = s.rng.uniform(1.6, 3.0)

    def fails() -> None:
        s.fridge.tries_from = onset
        s.fridge.fails = (every_s, on_s, times)

    s.at(onset - 0.1, fails)
    at = seen_s(s, onset, every_s, on_s, 5)
    # Five tries must have come as readings of their own: by chance where a period is long beside them.
    shows_a = tries_show_a(s, times * s.fridge.run_w(30.0) / 12.8, on_s)
    return s, s.truth("failed-start", "off-profile duty-low short-cycling", onset, 600.0, readings=5, tries=True,
                      shows_a=shows_a, knowable=at is not None and at - onset < 3000, fits=("fails-to-start",))  # fmt: skip


@family("level-no-start~low-volts", "level")
def compressor_waits(point: Point) -> Made:
    s = stage(point, "compressor", seconds=2.2 * HOUR_S, others=("light",), climate=(15.0, 42.0), coarse=False, sunny=False,
              periods=(1.0, 2.0, 5.0))  # fmt: skip
    van = s.van
    van.bank.chemistry, van.bank.charge, van.cutoff_v, van.restore_v = "agm", point.between("charge", 0.15, 0.4), 10.4, 12.0
    van.cutoff_delay_s = 120.0
    s.fridge.lock_v = van.bank.open_v() - 0.3
    low = 1.2 * HOUR_S
    van.dips.append((low, low + point.between("severity", 300, 1500), 0.5))

    def charges() -> None:
        van.charge_a = 30.0

    s.at(low + 1500, charges)
    return s, s.innocent("supply", "rhythm")  # no cooling for so long is true, too


def heater_levels(s: Stage, burn: Burn) -> None:
    """The schedule names its heats, its glow and its fan."""
    glow = round(burn.glow_w / s.load.watts, 1)
    heats = (
        Level(name=f"heat {n}", watts=round(share * s.load.watts, 1), tolerance=0.2,
              surge=Surge(times=round(glow / share, 1), seconds=round(burn.glow_s + 40)))
        for n, share in enumerate(s.load.sort.steps, 1)
    )  # fmt: skip
    s.target.load = load_of(
        s.target,
        (*heats, Level(name="glow", watts=round(burn.glow_w + burn.fan_w, 1), tolerance=0.2),
         Level(name="fan", watts=round(burn.fan_w, 1), tolerance=0.25)),
    )  # fmt: skip


def heater_stage(point: Point, *, double: bool = False) -> tuple[Stage, Burn, float]:
    """Two burns as they should be; then, cold again, the moment of the case."""
    s = stage(point, "air-heater", seconds=4 * HOUR_S, periods=ORDINARY, others=("light",), climate=(-20.0, 12.0), coarse=False)
    burn = burner(s.load, s.rng)
    heater_levels(s, burn)
    refit(s, burn.glow_w + burn.fan_w)
    t = 200.0
    for _ in range(2):
        t = heat(s.load, burn, t, s.rng.uniform(900, 1500), s.rng, double=double) + s.rng.uniform(200, 600)
    return s, burn, t + 1900.0


@family("level-glow", "level", aim="glow missing")
def no_glow(point: Point) -> Made:
    s, burn, onset = heater_stage(point)
    t, first = onset, 0.0
    for _ in range(point.pick("severity", (1, 2, 3))):
        end = t + point.between("tries", 70, 200)
        s.load.add(stretch(t, end, burn.fan_w, wiggle=0.03))
        t = purge(s.load, burn._replace(after_glow_s=0.0), end)
        first = first or t
    s.seconds = t + 900
    return s, s.truth(
        "no-glow", "off-profile", onset, first - onset + 90 + 2 * s.van.period_s, fits=("glow-missing", "fails-to-light")
    )


@family("level-glow~hot", "level")
def hot_restart(point: Point) -> Made:
    s, burn, t = heater_stage(point)
    t = heat(s.load, burn, t, 900, s.rng) + point.between("severity", 60, 1500)
    heat(s.load, burn, t, 1500, s.rng, glow=point.pick("glow", (0.0, 0.2, 0.4)))
    s.seconds = t + 2600
    return s, s.innocent()


@family("level-relight", "level", aim="failed start")
def no_flame(point: Point) -> Made:
    s, burn, onset = heater_stage(point)
    t = onset
    for _ in range(point.pick("severity", (2, 3))):
        t = light_up(s.load, burn, t)
    second = t
    t = purge(s.load, burn._replace(after_glow_s=0.0), t)
    s.seconds = t + 900
    return s, s.truth(
        "failed-start", "off-profile", onset, max(second, t) - onset + 120, fits=("fails-to-light", "fails-to-start")
    )


@family("level-relight~double", "level")
def double_glow(point: Point) -> Made:
    s, burn, t = heater_stage(point, double=True)
    heat(s.load, burn, t, point.between("severity", 600, 1800), s.rng, double=True)
    s.seconds = t + 2800
    return s, s.innocent()
