"""Right or wrong levels: stalls, open elements, dry pumps, blocked fans, new devices, and their twins."""

from __future__ import annotations

from collections.abc import Iterable

from panelward.records import Level, Surge
from proving.draw_loads import (
    RESISTIVE,
    burner,
    day_of_taps,
    heat,
    pads,
    retry,
    stall,
    stretch,
    tap,
    turn,
)
from proving.draw_scene import HOUR_S, ORDINARY, QUICK, Made, Stage, family, fridge_load, load_of, refit, stage
from proving.draw_starts import heater_levels, seen_s, tries_show_a
from proving.sampling import Point

MOTORS = ("fan", "pump", "motor")


def motor_stage(
    point: Point, *, after_s: float, climate: tuple[float, float] = (-20.0, 45.0), load: str | None = None
) -> tuple[Stage, float]:
    """A motor that has turned a few times, and when the case's own moment comes."""
    before_s = point.between("before", 1500, 2700)
    sort = load or point.pick("load", MOTORS)
    s = stage(point, sort, seconds=before_s + after_s, others=("light", "fan"), climate=climate, coarse=False)
    tau_s = point.between("run-up", 0.05, 0.3)
    # A fuse of 4 times the draw carries a stalled motor for ever, one of twice opens in seconds (common practice, no source).
    refit(s, point.between("device", 1.6, 3.2) * s.load.watts, surge=Surge(times=5.0, seconds=round(4 * tau_s, 1)))
    t = 60.0
    while t < before_s - 500:
        lasts_s = s.rng.uniform(25, 60) if sort == "motor" else s.rng.uniform(60, 300)
        turn(s.load, t, t + lasts_s, times=s.rng.uniform(2.5, 4.5), tau_s=tau_s)
        t += lasts_s + s.rng.uniform(60, 400)
    return s, before_s


@family("level-stall", "level", aim="stall")
def stalled(point: Point) -> Made:
    lasts_s = point.log_between("severity", 8, 180)
    s, onset = motor_stage(point, after_s=420.0 + lasts_s)
    lasts_s = max(lasts_s, 3.5 * s.van.period_s)
    times = point.between("times", 3.2, 5.5)
    if point.chance("turning", 0.5):
        turn(s.load, onset - 40, onset, times=4.0, tau_s=0.15)
    stall(s.load, onset, lasts_s, times)
    s.van.fine.append((onset - 2 * s.van.period_s, onset + lasts_s + 30))
    # A device may open on it, and the draw is over its rating: both are true, and the same root.
    # A reading shows it at three quarters of what it draws when warm: a mean over a part of it may not.
    shows_a = 0.75 * 0.84 * times * s.load.watts / 12.8
    return s, s.truth(
        "stalled", "off-profile", onset, 5.0, readings=2, shows_a=shows_a, opens=True, also=("overcurrent", "dead", "device")
    )


@family("level-stall~start", "level")
def starts(point: Point) -> Made:
    s, t = motor_stage(point, after_s=2400.0)
    refit(s, 3.5 * s.load.watts, surge=Surge(times=7.0, seconds=1.5))
    tau_s = point.between("severity", 0.1, 0.4)
    while t < s.seconds - 100:
        lasts_s = s.rng.uniform(10, 60)
        turn(s.load, t, t + lasts_s, times=s.rng.uniform(4, 7), tau_s=tau_s)
        s.van.fine.append((t - 1, t + 6))
        t += lasts_s + s.rng.uniform(30, 250)
    return s, s.innocent()


@family("level-stall~cold", "level")
def starts_stiff(point: Point) -> Made:
    s, t = motor_stage(point, after_s=2400.0, climate=(-20.0, -5.0))
    stiff = point.between("severity", 0.25, 0.6)
    refit(s, 4.0 * s.load.watts, surge=Surge(times=6.0, seconds=3.0))
    while t < s.seconds - 200:
        lasts_s = s.rng.uniform(60, 400) if s.grade["load"] != "motor" else s.rng.uniform(30, 60)
        turn(
            s.load,
            t,
            t + lasts_s,
            times=s.rng.uniform(4, 6),
            tau_s=s.rng.uniform(0.3, 0.9),
            stiff=stiff,
            thaw_s=s.rng.uniform(20, 60),
        )
        s.van.fine.append((t - 1, t + 12))
        t += lasts_s + s.rng.uniform(200, 600)
    return s, s.innocent()


@family("level-stall~end-stop", "level")
def end_stop(point: Point) -> Made:
    s, t = motor_stage(point, after_s=2000.0, load="motor")
    while t < s.seconds - 100:
        lasts_s = s.rng.uniform(20, 50)
        turn(s.load, t, t + lasts_s, times=4.0, tau_s=0.15)
        end = t + lasts_s
        stall(s.load, end, point.between("severity", 0.3, 1.2), s.rng.uniform(2.5, 4.5))
        s.van.fine.append((end - 2, end + 4))
        t = end + s.rng.uniform(60, 300)
    return s, s.innocent()


# --- elements


def element_stage(point: Point, *, count: int, ptc: float = 1.0) -> tuple[Stage, float, float]:
    """Pads on their thermostat; the beginning and end of the run in which something happens."""
    s = stage(point, "element", seconds=3.4 * HOUR_S, periods=ORDINARY, others=("light",), climate=(-20.0, 15.0), coarse=False)
    warm_s = point.between("warm", 30, 120) / 2.5
    refit(
        s,
        max(1.0, 0.8 * ptc) * s.load.watts,
        surge=Surge(times=round(1.1 * ptc, 1), seconds=round(3 * warm_s)) if ptc > 1 else None,
    )
    t, n, run = 120.0, 0, (0.0, 0.0)
    while t < s.seconds:
        lasts_s = s.rng.uniform(900, 1800)
        if n == 3:
            lasts_s = 2400.0
            run = (t, t + lasts_s)
            s.seconds = t + 1.3 * lasts_s
        pads(s.load, t, t + lasts_s, count, ptc=ptc, warm_s=warm_s)
        t += lasts_s + s.rng.uniform(600, 1200)
        n += 1
    return s, *run


@family("level-element", "level", aim="element")
def element_open(point: Point) -> Made:
    count = point.pick("of", (2, 3, 4))
    s, begin, _ = element_stage(point, count=count, ptc=point.between("ptc", 2.0, 3.5) if point.chance("is-ptc", 0.3) else 1.0)
    broken = 1 if count < 4 else point.pick("broken", (1, 2))
    onset = begin if point.chance("cold", 0.5) else begin + point.between("in", 200, 900)
    s.at(onset - 0.5, lambda: s.load.factor.update({f"pad{n}": 0.0 for n in range(broken)}))
    s.notes["severity"] = round(broken / count, 2)
    return s, s.truth("element-open", "off-profile departed-from-record", onset, 900.0, readings=10, fits=("part-open",))


@family("level-element~low-volts", "level")
def element_low_volts(point: Point) -> Made:
    s, begin, end = element_stage(point, count=point.pick("of", (2, 3, 4)))
    van = s.van
    van.bank.chemistry, van.bank.charge, van.cutoff_v, van.restore_v = "agm", point.between("charge", 0.1, 0.4), 10.4, 12.0
    van.actions.clear()
    less_v = point.between("severity", 0.2, 1.0)
    van.dips.append((begin - 300, end + 300, less_v))
    van.cutoff_delay_s = 120.0
    return s, s.innocent("supply")


@family("level-element~ptc", "level")
def element_warms(point: Point) -> Made:
    s, _, _ = element_stage(point, count=2, ptc=point.between("severity", 2.0, 4.0))
    return s, s.innocent()


# --- pumps


def pump_stage(point: Point, hours: float, *, periods: tuple[float, ...] = QUICK) -> Stage:
    s = stage(point, "pump", seconds=hours * HOUR_S, periods=periods, others=("light", "fan"), coarse=False)
    s.target.load = load_of(
        s.target,
        (Level(name="wet", watts=round(s.load.watts, 1), tolerance=0.25, surge=Surge(times=3.0, seconds=0.3)),),
        longest_run_s=720.0,
    )
    return s


@family("level-dry", "level", aim="pump dry, endless")
def dry(point: Point) -> Made:
    s = pump_stage(point, 1.1)
    day_of_taps(s.load, 60.0, 0.0, 2400.0, s.rng, times=10, showers=0, nightly=0)
    share = point.between("severity", 0.40, 0.65)
    onset = 2700.0 + s.rng.uniform(0, 300)
    begin = onset if point.chance("at start", 0.4) else onset - s.rng.uniform(10, 60)
    if begin < onset:
        tap(s.load, begin, onset - begin, 0.6, refill_s=0.0)
    s.load.add(stretch(onset, s.seconds, share * s.load.watts, power=0.1, wiggle=0.012))
    return s, s.truth("dry", "off-profile overlong-run standby-drain", onset, 60.0, readings=5, fits=("runs-dry",))


@family("level-dry~tap", "level")
def tap_wide_open(point: Point) -> Made:
    s = pump_stage(point, 1.5)
    t = 120.0
    while t < s.seconds - 400:
        t = tap(s.load, t, s.rng.uniform(30, 330), point.between("severity", 0.8, 1.0)) + s.rng.uniform(60, 600)
    return s, s.innocent()


# --- fans


@family("level-blocked", "level", aim="blocked fan")
def blocked(point: Point) -> Made:
    s, onset = motor_stage(point, after_s=1500.0, load="fan")
    every_s, on_s = point.between("every", 3.0, 8.0), point.between("severity", 0.3, 0.8)
    times = s.rng.uniform(1.0, 2.2)
    retry(s.load, onset, s.seconds, times, every_s, on_s)
    s.van.part_s = 0.25
    if s.builder.sense.reports == "mean":
        s.van.fine.append((onset, s.seconds))
    at = seen_s(s, onset, every_s, on_s, 6)
    # Six tries must have come as readings of their own: by chance where a period is long beside them, and none that was lost.
    shows_a = tries_show_a(s, times * s.load.watts / 12.8, on_s)
    return s, s.truth(
        "blocked", "off-profile", onset, 60.0, readings=6, tries=True, shows_a=shows_a,
        knowable=at is not None and at - onset < 1200, fits=("stalled", "fails-to-start"),
    )  # fmt: skip


@family("level-blocked~thermostat", "level")
def fan_hunts(point: Point) -> Made:
    s, t = motor_stage(point, after_s=3000.0, load="fan")
    on_s, off_s = point.between("severity", 60, 240), point.between("rests", 90, 300)
    while t < s.seconds:
        turn(s.load, t, t + on_s * s.rng.uniform(0.8, 1.2), s.rng.choice(s.load.sort.steps), times=1.5, tau_s=0.8)
        t += on_s + off_s * s.rng.uniform(0.9, 1.4)
    return s, s.innocent()


# --- new devices, and settings within the bands


def uses(s: Stage, watts: float, spans: Iterable[tuple[float, float]], wiggle: float = 0.01) -> None:
    for begin, end in spans:
        s.load.add(stretch(begin, end, watts, wiggle=wiggle))


def outlet_stage(point: Point) -> tuple[Stage, float]:
    """A way with settings, used as scheduled for some hours."""
    s = stage(
        point,
        point.pick("load", ("socket", "light", "electronics")),
        seconds=9 * HOUR_S,
        periods=ORDINARY,
        others=("light",),
        steps=(0.001, 0.01, 0.05),
        coarse=True,
    )
    t = 300.0
    while t < 5 * HOUR_S:
        lasts_s = s.rng.uniform(600, 2400)
        s.load.add(stretch(t, t + lasts_s, s.load.watts * s.rng.choice(s.load.sort.steps), wiggle=s.load.wiggle))
        t += lasts_s + s.rng.uniform(300, 1200)
    return s, max(t, 5 * HOUR_S)


@family("level-grown", "level", aim="new device")
def grown(point: Point) -> Made:
    s, onset = outlet_stage(point)
    watts = s.load.watts * 1.25 + 12.8 * point.log_between("severity", 0.5, 5.0)
    refit(s, watts)
    spans, t = [], onset
    while t < s.seconds:
        lasts_s = s.rng.uniform(1800, 5400)
        spans.append((t, t + lasts_s))
        t += lasts_s + s.rng.uniform(300, 900)
    uses(s, watts, spans)
    return s, s.truth("new-device", "off-profile", onset, 2 * HOUR_S, readings=20, also=("overcurrent", "device"),
                      fits=("more-than-listed", "unknown"))  # fmt: skip


@family("level-grown~setting", "level")
def within_bands(point: Point) -> Made:
    s, t = outlet_stage(point)
    off = point.between("severity", -0.14, 0.14)  # of a band of 0.2
    while t < s.seconds:
        lasts_s = s.rng.uniform(1200, 3600)
        uses(s, s.load.watts * s.rng.choice(s.load.sort.steps) * (1 + off), [(t, t + lasts_s)])
        t += lasts_s + s.rng.uniform(300, 900)
    return s, s.innocent()


CHARGED = ("fan", "pump", "element", "light", "electronics", "socket", "charger", "compressor", "air-heater", "motor")


@family("level-charging~volts", "level")
def charging(point: Point) -> Made:
    """12.2 to 14.6 V and back, over and over: nothing is the matter (F52)."""
    sort = point.pick("load", CHARGED)
    s = stage(
        point,
        sort,
        seconds=14 * HOUR_S,
        periods=(5.0, 10.0, 30.0),
        others=("fan", "element"),
        sunny=False,
        climate=(5.0, 35.0),
        coarse=True,
    )
    van, rng = s.van, s.rng
    van.bank.chemistry, van.bank.charge = "agm", point.between("charge", 0.42, 0.6)
    top_v = point.between("severity", 13.8, 14.6)
    t = 1.5 * HOUR_S

    def charges(amps: float) -> None:
        van.charge_a, van.charge_v = amps, top_v

    while t < s.seconds:
        s.at(t, lambda: charges(90.0))
        end = t + rng.uniform(1200, 5400)
        s.at(end, lambda: charges(0.0))
        t = end + rng.uniform(1200, 5400)
    if sort == "compressor":
        s.target.load = fridge_load(s.target)
    elif sort == "air-heater":
        burn = burner(s.load, rng)
        heater_levels(s, burn)
        t = 300.0
        while t < s.seconds - 2 * HOUR_S:
            t = heat(s.load, burn, t, rng.uniform(2400, 7200), rng) + rng.uniform(600, 2400)
    elif sort == "pump":
        s.target.load = load_of(
            s.target, (Level(name="wet", watts=round(s.load.watts, 1), tolerance=0.25, surge=Surge(times=3, seconds=0.3)),)
        )
        day_of_taps(s.load, 0.0, 1800, s.seconds - 600, rng, times=40, showers=2, nightly=0)
    else:
        if sort == "fan":
            s.load.power = point.between("power", 1.3, 1.8)  # brushed motor and fan: from memory
        t = 300.0
        while t < s.seconds:
            lasts_s = rng.uniform(1800, 9000) if sort != "motor" else rng.uniform(20, 50)
            watts = s.load.watts * rng.choice(s.load.sort.steps)
            s.load.add(
                stretch(t, t + lasts_s, watts, power=RESISTIVE if sort == "element" else s.load.power, wiggle=s.load.wiggle)
            )
            t += lasts_s + rng.uniform(300, 3000)
    return s, s.innocent()
