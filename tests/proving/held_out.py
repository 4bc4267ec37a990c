"""The part that was set apart: faults and innocent twins by someone who has not read the watch. Not to be tuned on.

Every fault of `cases` again with other ranges (periods, steps, gains, dips, multiples, 5 to 15 circuits, a quarter on 24 V),
loads that `draws` does not have, and four shapes that `cases` does not have: a terminal that chars, a breaker still warm from
the start before, a feeder of which one half is gone, a channel that fades. Figures of loads: from memory, typical of the trade.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from copy import copy
from dataclasses import dataclass, field, replace
from random import Random

from panelward.records import Presence, Protection, Schedule, Sense
from proving import cases
from proving.cases import STUCK_S, Build, Made, Scene
from proving.devices import Device
from proving.draws import SORTS, Draw, Sort
from proving.sampling import Point
from proving.vehicle import OCV, T0_MS, Bank, Branch, Inverter, Van, Way

PERIODS = (1.0, 3.0, 7.0, 15.0, 20.0)
POINTS = ("bus", "after-device", "after-switch", "load")
STEPS_A = (0.002, 0.005, 0.02, 0.03)
RATINGS_A = (2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 35, 40, 50, 60, 70, 80, 100, 125, 150, 200, 250)

# From memory, at 12.8 V; the watts come on top of the floor.
OWN: dict[str, Sort] = {
    "satellite": Sort(
        kind="electronics", labels=("Dish terminal", "Roof terminal"), behaves="constant-power", watts=(18, 55),
        floor_w=(6, 20), always=True, on_s=(900, 7200), off_s=(300, 3600), surge=(1.5, 150.0), wiggle=0.06,
        steps=(0.5, 0.8, 1.0),
    ),
    "medical": Sort(
        kind="electronics", labels=("Breathing aid", "Bedside humidifier"), behaves="constant-power", watts=(12, 60),
        floor_w=(0.3, 1.3), always=True, on_s=(20, 300), off_s=(20, 300), wiggle=0.04, steps=(0.4, 1.0),
    ),
    "camera": Sort(
        kind="electronics", labels=("Recorder", "Yard cameras"), behaves="constant-power", watts=(3, 12), floor_w=(0.4, 3.5),
        always=True, on_s=(300, 3600), off_s=(120, 3600), wiggle=0.03, steps=(0.6, 1.0),
    ),
    "hydronic": Sort(
        kind="air-heater", labels=("Water heating", "Floor heating"), behaves="constant-power", watts=(25, 60),
        floor_w=(0.13, 0.6), always=True, on_s=(900, 4200), off_s=(900, 5400), surge=(5.0, 120.0), wiggle=0.03,
        steps=(0.5, 1.0),
    ),
    "furnace": Sort(
        kind="fan", labels=("Furnace blower",), behaves="fan", watts=(64, 125), floor_w=(0.1, 0.26), always=True,
        on_s=(300, 900), off_s=(300, 1800), surge=(2.5, 1.0), wiggle=0.015,
    ),
    "cooler": Sort(
        kind="electronics", labels=("Drinks cooler", "Sample cooler"), behaves="constant-impedance", watts=(48, 72),
        floor_w=(0.13, 0.25), on_s=(3600, 14400), off_s=(1200, 7200), surge=(1.2, 60.0), wiggle=0.004,
    ),
    "toilet-fan": Sort(
        kind="fan", labels=("Toilet fan", "Vent fan"), behaves="constant-power", watts=(0.0, 0.0), floor_w=(0.7, 3.0),
        always=True,
    ),
    "frost-valve": Sort(
        kind="electronics", labels=("Frost valve", "Drain valve"), behaves="constant-impedance", watts=(0.0, 0.0),
        floor_w=(0.26, 0.5), always=True,
    ),
    "blanket": Sort(
        kind="heater-element", labels=("Heated blanket", "Seat heating"), behaves="constant-impedance", watts=(38, 75),
        on_s=(120, 900), off_s=(60, 900), surge=(1.1, 60.0), wiggle=0.003,
    ),
    "amplifier": Sort(
        kind="electronics", labels=("Loudspeakers", "Screen"), behaves="constant-power", watts=(8, 90), floor_w=(0.15, 1.0),
        on_s=(1800, 7200), off_s=(1800, 14400), wiggle=0.1, steps=(0.1, 0.3, 0.6, 1.0),
    ),
    "sump": Sort(
        kind="pump", labels=("Sump pump", "Shower pump"), behaves="constant-current", watts=(25, 75), always=True,
        on_s=(10, 60), off_s=(1200, 14400), surge=(2.5, 0.2), wiggle=0.04,
    ),
    "step": Sort(
        kind="motor", labels=("Entry step", "Awning"), behaves="constant-current", watts=(64, 125), on_s=(5, 40),
        off_s=(1800, 14400), surge=(3.5, 0.3), wiggle=0.03,
    ),
    "air-compressor": Sort(
        kind="motor", labels=("Tyre compressor", "Air compressor"), behaves="constant-current", watts=(256, 560),
        on_s=(60, 600), off_s=(3600, 14400), surge=(4.0, 0.2), wiggle=0.03,
    ),
}  # fmt: skip
ALL = SORTS | OWN
FLOORED = ("satellite", "medical", "camera", "hydronic", "furnace", "cooler", "toilet-fan", "frost-valve", "compressor")
RUNS = ("satellite", "medical", "camera", "hydronic", "furnace", "cooler", "compressor")  # of these, what draws more at times
SIBLINGS = (
    "satellite", "medical", "camera", "hydronic", "furnace", "cooler", "toilet-fan", "frost-valve", "blanket", "amplifier",
    "sump", "step", "light", "pump", "socket", "compressor", "detector", "charger",
)  # fmt: skip


def rating_for(amps: float) -> float:
    return next((r for r in RATINGS_A if r >= amps), 300.0)


def lasting(sort: Sort) -> float:
    """Times its full draw that a device has to carry for long."""
    return sort.surge[0] if sort.surge[1] > 20 else 1.0


def protection_for(sort: Sort, rating_a: float, rng: Random, *, ac: bool) -> tuple[Protection, str]:
    if ac:
        return Protection(kind="breaker-c", rating_a=max(6.0, rating_a)), "breaker-c"
    if sort.kind == "motor" or (5 <= rating_a <= 60 and rng.random() < 0.25):
        return Protection(kind="breaker-thermal", rating_a=rating_a), "breaker-thermal"
    if rating_a > 80:
        return Protection(kind="bolt-fuse", rating_a=rating_a), "bolt-fuse"
    kind = "E" if rating_a > 30 else rng.choice(("C", "F"))
    return Protection(kind="blade-fuse", type=kind, rating_a=rating_a), kind


class Pair(Bank):
    """Two 12 V blocks in series."""

    __slots__ = ()

    def open_v(self) -> float:
        return 2 * Bank.open_v(self)


@dataclass(slots=True, kw_only=True)
class HeldVan(Van):
    fold: float = 1.0  # times 12 V
    cut: set[str] = field(default_factory=set)  # ways on the half of their feeder's bar that is gone

    @property
    def nominal_v(self) -> float:
        return 12.8 * self.fold

    def schedule(self) -> Schedule:
        made = Van.schedule(self)
        supplies = tuple(replace(s, nominal_v=self.nominal_v) if s.id == "house" else s for s in made.supplies)
        return replace(made, supplies=supplies)

    def _feed_v(self, way: Way) -> float:
        return 0.0 if way.id in self.cut else Van._feed_v(self, way)


class Held(Scene):
    """A scene that counts in its own volts."""

    __slots__ = ()

    @property
    def hv(self) -> HeldVan:
        assert isinstance(self.van, HeldVan)
        return self.van

    @property
    def knowable(self) -> bool:
        floor_w = self.target.declared_floor_w
        return floor_w is None or floor_a(self.target, self.hv.fold) >= 5 * self.target.sense.resolution_a

    def live_for(self, seconds: float) -> None:
        """Not shorter than this after the onset."""
        self.after_s = max(self.after_s, seconds)


def floor_a(way: Way, fold: float) -> float:
    return (way.declared_floor_w or 0.0) / (230.0 if way.supply == "inverter" else 13.0 * fold)


def visible(way: Way) -> bool:
    """Whether what it draws now can be told from nothing."""
    return way.amps >= 5 * way.sense.resolution_a and not way.silent


class Maker:
    """Makes ways with one sensing grade."""

    def __init__(self, point: Point) -> None:
        self.point, self.rng, self.count = point, point.rng, 0
        self.fold = 2.0 if point.chance("fold", 0.25) else 1.0
        self.period_s = point.pick("period", PERIODS)
        on_change = point.chance("publishes", 0.3)
        self.loss = 0.0 if on_change else max(0.0, point.between("loss", -0.1, 0.17))
        self.gain = 1 + point.between("gain", -0.03, 0.03)
        self.heartbeat_s = self.rng.choice((None, 120.0, 600.0))
        self.sense = Sense(
            volts_at=point.pick("volts", POINTS), reports="mean" if point.chance("reports", 0.35) else "sample",
            publishes="on-change" if on_change else "always",
        )  # fmt: skip
        self.grade: dict[str, float | str] = {
            "volts": self.sense.volts_at, "period": self.period_s, "loss": round(self.loss, 3), "gain": round(self.gain, 4),
            "reports": self.sense.reports, "publishes": self.sense.publishes, "fold": self.fold,
        }  # fmt: skip
        self.noise_a = self.zero_a = 0.0
        self.resolve(point.pick("resolution", STEPS_A))

    def resolve(self, resolution_a: float) -> None:
        """The step of every channel; noise and zero error go with it."""
        self.sense = replace(self.sense, resolution_a=resolution_a)
        self.noise_a = self.point.between("noise", 0.1, 0.8) * resolution_a
        self.zero_a = self.point.between("zero", -1, 1) * min(0.02, 1.2 * resolution_a)
        self.grade |= {"resolution": resolution_a, "noise": round(self.noise_a, 5), "zero": round(self.zero_a, 4)}

    def way(
        self, name: str, *, feed: str | None = None, watts: float | None = None, supply: str = "house",
        feeder: str | None = None, behind: tuple[str, ...] = (),
    ) -> Way:  # fmt: skip
        sort, rng, ac = ALL[name], self.rng, supply == "inverter"
        self.count += 1
        floor_w = rng.uniform(*sort.floor_w) if sort.floor_w else 0.0
        full_w = rng.uniform(*sort.watts) if watts is None else watts
        nominal_v = 230.0 if ac else 12.8 * self.fold
        most_a = (full_w * lasting(sort) + floor_w) / nominal_v
        # A thermal breaker sleeps through the moment of a motor's start, a fuse is chosen by it.
        peak_a = full_w * sort.surge[0] / nominal_v if sort.surge[1] and sort.kind != "motor" else 0.0
        protection, family = protection_for(sort, rating_for(max(1.35 * most_a, peak_a)), rng, ac=ac)
        finer = max(0.1, 0.001 / self.sense.resolution_a) if ac else 1.0  # few amps at 230 V
        role = feed or ("always-on" if sort.always else "switched")
        return Way(
            id=f"D{self.count}", label=f"{rng.choice(sort.labels)} {self.count}",
            draw=Draw(sort, full_w, floor_w, nominal_v, rng), device=Device(family, protection.rating_a, rng),
            protection=protection, sense=replace(self.sense, resolution_a=self.sense.resolution_a * finer), supply=supply,
            feeder=feeder, behind=behind, feed=role,
            importance="life" if name in ("detector", "medical") else "property" if role == "always-on" else "comfort",
            declared_floor_w=round(floor_w * rng.uniform(0.88, 1.0), 3) if floor_w and role == "always-on" else None,
            r_ohm=rng.uniform(0.01, 0.08) * (10.0 / max(4.0, protection.rating_a)), tells_watts=rng.random() < 0.4,
            zero_a=self.zero_a * finer * rng.uniform(0.4, 1.0), gain=self.gain, noise_a=self.noise_a * finer, loss=self.loss,
            heartbeat_s=self.heartbeat_s,
        )  # fmt: skip


def scene(
    point: Point, sort: str, *, feed: str | None = None, rear: tuple[str, ...] | None = None, meter: bool | None = None,
    inverter: bool = False, behind: tuple[str, ...] = (),
) -> Held:  # fmt: skip
    """A household of 5 to 15 circuits round a target; with `rear` the target hangs on that feeder, beside these."""
    rng = point.rng
    maker = Maker(point)
    fold, period = maker.fold, maker.period_s
    target = maker.way(sort, feed=feed, behind=() if rear is not None else behind, feeder=None if rear is None else "rear")
    if target.declared_floor_w is not None and point.chance("seeable", 0.9):  # the rest declare what can't be seen
        most_a = floor_a(target, fold) / 5
        if target.sense.resolution_a > most_a:
            maker.resolve(max((r for r in STEPS_A if r <= most_a), default=STEPS_A[0]))
            target.sense, target.noise_a = maker.sense, maker.noise_a
            target.zero_a = maker.zero_a * rng.uniform(0.4, 1.0)
    ways = [target]
    low = ("disconnect",) if rng.random() < 0.4 else ()
    for name in rear or tuple(rng.choice(SIBLINGS) for _ in range(rng.randint(1, 4))):
        ways.append(maker.way(name, feeder="rear"))
    source: Inverter | None = None
    if inverter or rng.random() < 0.2:
        limit_w = rng.uniform(400, 1500)
        way = maker.way("inverter", watts=limit_w, behind=("disconnect",), feed="switched")
        way.draw.watts = 0.0
        source = Inverter(way.id, limit_w, idle_when_off_w=rng.choice((0.0, 0.8, 2.5)))
        ways.append(way)
        ways.append(maker.way("ac-electronics", supply="inverter", watts=limit_w * rng.uniform(0.06, 0.15)))
        ways.append(maker.way("ac-heater", supply="inverter", feed="switched", watts=limit_w * rng.uniform(0.35, 0.6)))
    count = point.pick("circuits", (5, 6, 7, 8, 9, 10, 12, 15))
    while len(ways) < count - 1:
        ways.append(maker.way(rng.choice(SIBLINGS), behind=("disconnect",) if rng.random() < 0.3 else ()))
    ways.append(maker.way(rng.choice(("detector", "camera", "toilet-fan"))))
    for way in ways[1:]:  # whose floor its sensor can't see is scheduled without one
        if way.declared_floor_w is not None and floor_a(way, fold) < 5 * way.sense.resolution_a:
            way.declared_floor_w = None
    if point.chance("two-monitors", 0.2):  # the rest of the panel measures its volts elsewhere
        other = rng.choice(POINTS)
        for way in ways[1:]:
            way.sense = replace(way.sense, volts_at=other)
    for way in ways:
        way.tells_closed = rng.random() < 0.4
        way.tells_commanded = way.tells_closed and rng.random() < 0.5
        way.commanded = True if way.tells_commanded else None
    kids = [w for w in ways if w.feeder == "rear"]
    most_a = sum(w.draw.watts * lasting(w.draw.sort) + w.draw.floor_w for w in kids) / (12.8 * fold)
    ohm = fold * (0.4 if source else 1.0)  # a bank that carries its inverter
    bank = (Pair if fold > 1 else Bank)(
        rng.choice(("lfp", "agm", "flooded")), rng.uniform(90, 350), rng.uniform(0.65, 0.97), rng.uniform(0.002, 0.007) * ohm,
        rng.uniform(0.002, 0.007) * ohm, rng.uniform(30, 300),
    )  # fmt: skip
    short = period <= 3
    before = point.log_between("before", 700, 2000 if short else 6000)
    after = max(point.log_between("after", 700, 1300 if short else 4500), 45 * period)
    onset = round(before / period) * period + period * point.u("phase")
    has_meter = point.chance("meter", 0.4) if meter is None else meter
    cutoff_v = (11.3 if bank.chemistry == "lfp" else 10.9) * fold
    van = HeldVan(
        rng=Random(f"held/{point.family}/{point.n}/{point.number}"), bank=bank, ways=ways, period_s=period, fold=fold,
        feeders={"rear": Branch("rear", rng.uniform(0.003, 0.015) * fold, low, rating_for(max(30.0, 1.4 * most_a)))},
        inverter=source, cutoff_v=cutoff_v, cutoff_delay_s=rng.choice((15.0, 30.0)), restore_v=cutoff_v + 1.1 * fold,
        meter_sense=Sense(volts_at="bus", resolution_a=rng.choice((0.02, 0.03))) if has_meter else None,
        meter_gain=1 + rng.uniform(-0.01, 0.01), own_bar=rng.random() < 0.6, payload_time=rng.random() < 0.6,
        duplicates=rng.choice((0.0, 0.0, 0.03)), charge_v=14.2 * fold,
    )  # fmt: skip
    for way in ways:
        way.draw.live(onset + 2 * after + 6000.0, start_s=-300.0)
    base = 8 + 36 * rng.random()
    van.panel_c = lambda t: base
    van.fine.append((onset - 3 * period, onset + max(30.0, 3 * period)))
    maker.grade["load"] = sort
    return Held(point, van, target, onset, after, maker.grade)


def held(name: str) -> Callable[[Build], Build]:
    return cases.family(f"held-{name}", held_out=True)


def twin(name: str) -> Callable[[Build], Build]:
    return cases.family(f"held-{name}~twin", innocent=True, held_out=True)


def innocent(s: Held, *also: str) -> Made:
    return s, s.truth("none", must=False, also=also)


def rests(s: Held, t: float) -> None:
    """It ends its run by itself; its floor stays."""
    s.van.at(t, lambda van: s.target.draw.hold(0.0, van.now_s))


def starts(s: Held, t: float) -> None:
    def start(van: Van) -> None:
        s.target.draw.hold(1.0, van.now_s)
        van.fine.append((van.now_s, van.now_s + 60))

    s.van.at(t, start)


def slack_w(way: Way, fold: float) -> float:
    """What its device carries for ever besides the load."""
    full_w = way.draw.watts * lasting(way.draw.sort) + way.draw.floor_w
    return max(0.0, 0.9 * way.protection.rating_a * 12.0 * fold - full_w)


def plain_ways(van: Van) -> list[Way]:
    """Those on the house's bars that are no inverter."""
    return [w for w in van.ways if w.supply == "house" and w.draw.sort.kind != "inverter"]


def hung_behind(van: Van, way: Way) -> tuple[str, ...]:
    return way.behind + (van.feeders[way.feeder].behind if way.feeder else ())


def circuits_behind(van: Van, what: str) -> tuple[tuple[str, str], ...]:
    found = [("circuit", w.id) for w in van.ways if what in hung_behind(van, w)]
    found += [("feeder", f.id) for f in van.feeders.values() if what in f.behind]
    if van.inverter is not None and ("circuit", van.inverter.way) in found:
        found.append(("supply", "inverter"))
        found += [("circuit", w.id) for w in van.ways if w.supply == "inverter"]
    return tuple(found)


# --- H1, H2: switched off


@held("H1-remote-off")
def remote_off(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on")
    target = s.target
    told = point.pick("told", ("state", "command", "both", "nothing"))
    target.tells_closed = told in ("state", "both")
    target.tells_commanded = told in ("command", "both")
    target.commanded = True if target.tells_commanded else None
    if point.chance("running", 0.5):
        s.running(point.log_between("since", 60, 600))
    lag = point.between("lag", 0.0, 2.0)  # from the command to its relay

    def ordered(van: Van) -> None:
        if target.tells_commanded:
            target.commanded = False

    def off(van: Van) -> None:
        target.closed = False

    s.van.at(s.onset_s - lag, ordered)
    s.van.at(s.onset_s, off)
    s.notes["told"] = told
    return s, s.truth("switched-off", tellable=told != "nothing")


@twin("H1-remote-off")
def remote_off_twin(point: Point) -> Made:
    s = scene(point, point.pick("load", ("blanket", "amplifier", "cooler", "step", "light", "socket")), feed="switched")
    s.running(point.log_between("running", 30, 500))
    s.target.tells_closed = point.chance("closed", 0.5)
    s.target.tells_commanded = point.chance("commanded", 0.4)

    def off(van: Van) -> None:
        s.target.closed = False
        if s.target.tells_commanded:
            s.target.commanded = False

    s.target.commanded = True if s.target.tells_commanded else None
    s.van.at(s.onset_s, off)
    return innocent(s)


@held("H2-load-switch")
def load_switch(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on")
    if point.chance("running", 0.4):
        s.running(point.log_between("since", 20, 400))

    def off(van: Van) -> None:
        s.target.load_off = True

    s.van.at(s.onset_s, off)
    return s, s.truth("switched-off-at-load", tellable=False)  # a load that broke shows the same


@twin("H2-load-switch")
def load_switch_twin(point: Point) -> Made:
    always = point.chance("always", 0.6)
    s = scene(
        point, point.pick("load", RUNS if always else ("blanket", "amplifier")), feed="always-on" if always else "switched"
    )
    s.running(point.log_between("running", 30, 600))

    def off(van: Van) -> None:
        if always:
            s.target.draw.hold(0.0, van.now_s)  # to standby: its floor stays
        else:
            s.target.load_off = True

    s.van.at(s.onset_s, off)
    return innocent(s)


# --- H3: a device opens


def _opens_after(device: Device, spells: list[tuple[float, float, float]]) -> float | None:
    """When it opens at (seconds, amps, moment of a start's surge) in turn; as the vehicle does it, in steps of a second."""
    device, t = copy(device), 0.0
    for seconds, amps, surge in spells:
        if surge and device.carry(amps * surge, 0.2):
            return t
        for _ in range(round(seconds)):
            t += 1.0
            if device.carry(amps, 1.0):
                return t
    return None


OVERLOADED = ("blanket", "amplifier", "cooler", "sump", "step", "furnace", "satellite", "socket")


def _extra_w(way: Way, fold: float, times: float) -> float:
    return max(0.0, (times * way.protection.rating_a - way.amps) * 12.8 * fold)


@held("H3-overload")
def overload(point: Point) -> Made:
    s = scene(point, point.pick("load", OVERLOADED))
    target, fold = s.target, s.hv.fold
    s.running(point.log_between("running", 30, 600))
    times = point.log_between("severity", 1.5, 6.0)
    stage_s = point.log_between("stage", 10, 250) if point.chance("staged", 0.5) else 0.0

    def some(van: Van) -> None:  # first a little, for a while
        target.draw.extra_w = _extra_w(target, fold, 1.08)

    def more(van: Van) -> None:
        target.draw.extra_w = 0.0 if stage_s == 0 else target.draw.extra_w
        target.draw.extra_w += _extra_w(target, fold, times)
        van.fine.append((van.now_s, van.now_s + 150))

    if stage_s:
        s.van.at(s.onset_s - stage_s, some)
    s.van.at(s.onset_s, more)
    s.live_for(min(3000.0, target.device.time_s(0.97 * times) * 1.3) + 45 * s.van.period_s + 200)
    s.notes |= {"times": round(times, 2), "stage": round(stage_s)}
    return s, s.truth("device-opened", mark=f"opened {target.id}", rule="load", also=("overcurrent", "device"))


@twin("H3-overload")
def overload_twin(point: Point) -> Made:
    """More than the rating, thrice, and never for so long that its device opens; then a person has done with it."""
    s = scene(point, point.pick("load", ("blanket", "amplifier", "cooler", "socket")), feed="switched")
    target, fold = s.target, s.hv.fold
    s.running(1700)
    times = point.between("severity", 1.1, 1.8)
    lasts_s = point.log_between("lasts", 3, 240)
    gap_s = point.between("gap", 100, 250)
    usual_a = 1.1 * (target.draw.watts * lasting(target.draw.sort) + target.draw.floor_w) / (12.8 * fold)
    rated_a = target.protection.rating_a
    while lasts_s > 0.3:
        burst, pause = (lasts_s + 2, 1.1 * times * rated_a, 0.0), (gap_s, usual_a, 0.0)
        if _opens_after(target.device, [(500, usual_a, 0.0), burst, pause, burst, pause, burst]) is None:
            break
        lasts_s *= 0.93
        times = max(0.95, 0.96 * times)

    def more(van: Van) -> None:
        target.draw.extra_w = _extra_w(target, fold, times)
        van.fine.append((van.now_s, van.now_s + lasts_s + 10))

    def less(van: Van) -> None:
        target.draw.extra_w = 0.0

    def off(van: Van) -> None:
        target.load_off = True

    for n in range(3):
        begin = s.onset_s - lasts_s - 2 - n * (gap_s + lasts_s)
        if begin > 60:
            s.van.at(begin, more)
            s.van.at(begin + lasts_s, less)
    s.van.at(s.onset_s, off)
    s.van.fine.append((s.onset_s - 700, s.onset_s))
    s.notes |= {"times": round(times, 2), "lasts": round(lasts_s, 1)}
    target.draw.wiggle = min(0.05, target.draw.wiggle)
    return innocent(s, "overcurrent")


@held("H3-short")
def short(point: Point) -> Made:
    s = scene(point, point.pick("load", (*OVERLOADED, "compressor", "hydronic")))
    running = point.chance("running", 0.6)
    if running:
        s.running(point.log_between("since", 20, 500))
    seen = point.chance("seen", 0.5)
    period, fold = s.van.period_s, s.hv.fold
    if seen:
        s.onset_s = (int(s.onset_s / period) + 1) * period - 0.01
    at = s.onset_s
    dip = fold * point.log_between("severity", 0.2, 6.0)
    s.van.dips.append((at, at + point.log_between("length", 0.03, 0.9), dip))

    def opened(van: Van) -> None:
        s.target.device.opened = True

    s.van.at(at, opened)
    s.notes |= {"dip": round(dip, 2), "seen": str(seen)}
    shows = seen and running and s.target.sense.reports == "sample" and dip > 0.5 * fold
    return s, s.truth("device-opened", rule="load", shows=shows, also=("overcurrent",))


@twin("H3-short")
def short_twin(point: Point) -> Made:
    """An engine that needs several goes, and a load that ends its run in between."""
    s = scene(point, point.pick("load", (*OVERLOADED, "compressor")))
    s.running(point.log_between("since", 60, 500))
    fold, t = s.hv.fold, s.onset_s
    for n in range(point.pick("goes", (1, 2, 3))):
        deep = fold * s.rng.uniform(0.4, 1.0) * point.between("severity", 0.8, 5.5)
        lasts = s.rng.uniform(0.3, 9.0)
        s.van.dips += [(t, t + min(0.6, lasts), deep), (t + 0.6, t + lasts, 0.5 * deep)]
        t += lasts + s.rng.uniform(4, 25)
        s.notes["goes"] = n + 1
    rests(s, s.onset_s + point.log_between("then", 2, 200))
    return innocent(s, "overcurrent", "supply")


@held("H3-heat")
def heat(point: Point) -> Made:
    s = scene(point, point.pick("load", ("cooler", "medical", "charger", "blanket")))
    target = s.target
    panel_c = point.between("panel", 42, 78)
    s.van.panel_c = lambda t: panel_c
    ordinary = min(point.between("severity", 0.77, 0.98), 1.04 / lasting(target.draw.sort))
    target.draw.watts = ordinary * target.protection.rating_a * 12.8 * s.hv.fold
    s.running(point.log_between("running", 400, 3000))
    every_s, leaves = 20.0, point.between("leaves", 0.93, 0.98)

    def warmer(van: Van) -> None:
        """Its holder's contact gets worse from minute to minute, until it opens at an ordinary draw."""
        target.device.factor = max(0.15, target.device.factor * leaves)

    for n in range(60):
        s.van.at(s.onset_s + n * every_s, warmer)
    s.van.fine.append((s.onset_s, s.onset_s + 1200))
    s.live_for(2000.0)
    must = target.declared_floor_w is not None
    return s, s.truth("device-opened", must=must, mark=f"opened {target.id}", also=("overcurrent", "device"))


@twin("H3-heat")
def heat_twin(point: Point) -> Made:
    s = scene(point, point.pick("load", ("cooler", "furnace", "hydronic", "compressor")), feed="always-on")
    panel_c = point.between("panel", 42, 78)
    begin = s.onset_s - 900
    s.van.panel_c = lambda t: 25 + (panel_c - 25) * min(1.0, max(0.0, (t - begin) / 900))
    for way in s.van.ways:
        way.drift_a_per_k = s.rng.uniform(-1, 1) * min(0.0004, 0.015 * way.sense.resolution_a)
    s.running(point.log_between("running", 200, 3000))
    rests(s, s.onset_s)
    return innocent(s, "overcurrent")


@held("H3-idle")
def opened_idle(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on")
    s.idle(point.log_between("idle", 15, 2500))

    def opened(van: Van) -> None:
        s.target.device.opened = True

    s.van.at(s.onset_s, opened)
    return s, s.truth("device-opened")


@twin("H3-idle")
def opened_idle_twin(point: Point) -> Made:
    """A cold night: the zero of its sensor wanders, its floor flows."""
    s = scene(point, point.pick("load", FLOORED), feed="always-on")
    s.idle(point.log_between("idle", 200, 2000))
    falls_k = point.between("falls", 8, 35)
    seen_a = floor_a(s.target, s.hv.fold) or 0.02
    wander = point.between("severity", -0.4, 0.4) * seen_a / falls_k
    s.target.drift_a_per_k = max(-0.0005, min(0.0005, wander))
    begin, takes_s = s.onset_s, point.log_between("takes", 300, 3000)
    s.van.panel_c = lambda t: 25.0 - falls_k * min(1.0, max(0.0, (t - begin) / takes_s))
    return innocent(s)


@held("H3-small-fuse")
def small_fuse(point: Point) -> Made:
    """Fitted while the load rests. A first run is too short for it, the next is not."""
    s = scene(point, point.pick("load", ("cooler", "furnace", "hydronic", "blanket", "satellite", "compressor")))
    target, fold = s.target, s.hv.fold
    s.idle(600)
    times = point.between("severity", 1.55, 3.2)
    full_a = (target.draw.watts * lasting(target.draw.sort) + target.draw.floor_w) / (12.8 * fold)
    fitted_a = max(0.5, full_a / times)
    thermal = point.chance("thermal", 0.2)
    device = Device("breaker-thermal" if thermal else "C" if fitted_a <= 30 else "E", fitted_a, s.rng)
    first_s = min(0.3 * device.time_s(times), 20.0)

    def fitted(van: Van) -> None:
        target.device = device

    s.van.at(max(2.0, s.onset_s - 500), fitted)
    if first_s > 2 and lasting(target.draw.sort) == 1.0:
        starts(s, s.onset_s - 200)
        rests(s, s.onset_s - 200 + first_s)
    starts(s, s.onset_s)
    s.live_for(1800.0)
    must = target.declared_floor_w is not None
    return s, s.truth("device-opened", must=must, mark=f"opened {target.id}", also=("overcurrent", "device"))


@twin("H3-small-fuse")
def small_fuse_twin(point: Point) -> Made:
    s = scene(point, point.pick("load", ("cooler", "furnace", "hydronic", "sump", "satellite")))
    s.idle(400)
    t = s.onset_s
    for _ in range(point.pick("runs", (1, 2, 4))):
        on_s = s.rng.uniform(0.5, 1.5) * point.log_between("severity", 2, 150)
        starts(s, t)
        rests(s, t + on_s)
        t += on_s + s.rng.uniform(20, 200)
    s.live_for(t - s.onset_s + 400)
    return innocent(s)


# --- H4, H5: what is upstream


def _several(point: Point) -> tuple[str, ...]:
    return tuple(point.rng.choice(SIBLINGS) for _ in range(point.rng.randint(1, 4)))


def _kids(s: Held) -> list[Way]:
    return [w for w in s.van.ways if w.feeder == "rear"]


@held("H4-feeder")
def feeder_lost(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on", rear=_several(point))
    if point.chance("running", 0.4):
        s.running(point.log_between("since", 30, 400))
    kids = _kids(s)
    truth = s.truth("feeder-lost", subjects=(("feeder", "rear"), *(("circuit", w.id) for w in kids)))

    def lost(van: Van) -> None:
        # The feeder shows by a second circuit that stops with it, or by the volts of all of them; else it's one dead circuit.
        volts_tell = van.own_bar or all(w.sense.volts_at != "bus" for w in kids)
        truth.tellable = volts_tell or any(visible(w) for w in kids[1:])
        van.feeders["rear"].opened = True

    s.van.at(s.onset_s, lost)
    s.notes["children"] = len(kids)
    return s, truth


@twin("H4-feeder")
def feeder_twin(point: Point) -> Made:
    """Its node is quiet for a while, or people leave that room."""
    reboot = point.chance("node", 0.5)
    s = scene(point, point.pick("load", FLOORED) if reboot else "blanket", rear=_several(point))
    kids = _kids(s)
    away = point.log_between("severity", 5, 90)

    def leave(way: Way) -> Callable[[Van], None]:
        def go(van: Van) -> None:
            if way.feed == "always-on":
                way.draw.hold(0.0, van.now_s)
            else:
                way.load_off = True

        return go

    def silent(yes: bool) -> Callable[[Van], None]:
        def turn(van: Van) -> None:
            for way in kids:
                way.silent = yes

        return turn

    if reboot:
        s.van.at(s.onset_s, silent(True))
        s.van.at(s.onset_s + away, silent(False))
    else:
        s.running(500)
        for way in kids:
            s.van.at(s.onset_s + s.rng.choice((0.0, 1.0, 4.0)), leave(way))
    s.notes["what"] = "node" if reboot else "people"
    return innocent(s)


def _flat(s: Held, cutoff_v: float, *, falls_s: float, amps: float) -> None:
    """A bank that reaches the cut-off after so long at this draw."""
    bank, fold = s.van.bank, s.hv.fold
    rest_v = (cutoff_v + amps * (bank.r0_ohm + bank.r1_ohm)) / fold
    bank.chemistry = "lfp" if rest_v < 11.98 else s.rng.choice(("agm", "flooded"))  # a lead bank rests above 11.89 V
    charge = 0.0
    for (c0, v0), (c1, v1) in itertools.pairwise(OCV[bank.chemistry]):
        if v0 <= rest_v <= v1:
            charge = c0 + (c1 - c0) * (rest_v - v0) / (v1 - v0)
            break
    bank.capacity_ah = s.rng.uniform(40, 150)
    bank.charge = min(0.95, charge + 0.7 * amps * falls_s / 3600 / bank.capacity_ah)


@held("H5-disconnect")
def disconnect(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on", behind=("disconnect",))
    van, fold = s.van, s.hv.fold
    van.cutoff_v = fold * point.pick("cutoff", (11.0, 11.5, 11.9, 12.1))
    van.restore_v = van.cutoff_v + 1.3 * fold
    van.cutoff_delay_s = point.pick("delay", (5.0, 20.0, 60.0))
    heavy = max(plain_ways(van)[1:], key=lambda w: slack_w(w, fold))
    heavy.draw.extra_w = min(150.0, slack_w(heavy, fold))
    mean_w = sum(w.draw.watts * 0.4 + w.draw.floor_w for w in van.ways if w.supply == "house")
    _flat(s, van.cutoff_v, falls_s=s.onset_s, amps=(heavy.draw.extra_w + mean_w) / (12.8 * fold))
    s.after_s = min(s.after_s + 1.2 * s.onset_s, 14300.0 - s.onset_s)
    return s, s.truth(
        "low-voltage-disconnect", subjects=(("supply", "house"), *circuits_behind(van, "disconnect")), mark="disconnect",
        also=("supply", "overcurrent"),
    )  # fmt: skip


@twin("H5-disconnect")
def disconnect_twin(point: Point) -> Made:
    """Below its volts, but never for as long as the disconnect waits; people save what they can."""
    s = scene(point, point.pick("load", FLOORED), feed="always-on", behind=("disconnect",))
    van, fold = s.van, s.hv.fold
    van.cutoff_v, van.restore_v, van.cutoff_delay_s = 11.5 * fold, 12.6 * fold, 90.0
    lasts = point.log_between("lasts", 2, 75)
    van.dips.append((s.onset_s, s.onset_s + lasts, fold * point.between("severity", 0.6, 2.6)))

    def off(van: Van) -> None:
        for way in van.ways:
            if way.feed == "switched" and way.supply == "house" and "disconnect" in hung_behind(van, way):
                way.load_off = True

    if point.chance("save", 0.7):
        van.at(s.onset_s + lasts, off)
    return innocent(s, "supply")


@held("H5-isolator")
def isolator(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on", behind=("isolator",))
    share = point.between("share", 0.4, 0.95)
    for way in s.van.ways[1:-1]:
        if way.feeder is None and way.supply == "house" and s.rng.random() < share:
            way.behind = ("isolator", *way.behind)
    for branch in s.van.feeders.values():
        branch.behind = ("isolator", *branch.behind)
    truth = s.truth("isolator", subjects=(("supply", "house"), *circuits_behind(s.van, "isolator")))

    def off(van: Van) -> None:
        # It shows by others that stop with it while the bank is seen to live.
        ways = plain_ways(van)
        stop = [w for w in ways if "isolator" in hung_behind(van, w)]
        lives = van.meter_sense is not None or any(visible(w) for w in ways if w not in stop)
        truth.tellable = lives and sum(visible(w) for w in stop) >= 2
        van.isolator_open = True

    s.van.at(s.onset_s, off)
    return s, truth


@twin("H5-isolator")
def isolator_twin(point: Point) -> Made:
    s = scene(point, point.pick("load", ("blanket", "amplifier", "light")), feed="switched", behind=("isolator",))
    s.running(point.log_between("since", 60, 900))
    within = point.log_between("severity", 0.5, 60)

    def leave(way: Way) -> Callable[[Van], None]:
        def go(van: Van) -> None:
            if way.feed == "switched":
                way.load_off = True
            else:
                way.draw.hold(0.0, van.now_s)

        return go

    for way in plain_ways(s.van):
        s.van.at(s.onset_s + within * s.rng.random(), leave(way))
    return innocent(s)


@held("H5-battery-protection")
def battery_protection(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on")
    sags_s = point.log_between("sags", 3, 60) if point.chance("weak", 0.5) else 0.0
    if sags_s:  # one weak cell gives way first
        s.van.dips.append((s.onset_s - sags_s, s.onset_s, s.hv.fold * point.between("severity", 0.2, 1.2)))

    def off(van: Van) -> None:
        van.protection_open = True

    s.van.cutoff_delay_s = 120.0
    s.van.at(s.onset_s, off)
    everything = tuple(("circuit", w.id) for w in s.van.ways)
    return s, s.truth(
        "battery-protection", subjects=(("supply", "house"), ("supply", "inverter"), ("feeder", "rear"), *everything),
        also=("supply",), tellable=False,
    )  # fmt: skip


@twin("H5-battery-protection")
def battery_twin(point: Point) -> Made:
    """A hard crank, computers that start anew, and the engine that charges. Its depths: from memory."""
    s = scene(point, point.pick("load", FLOORED), feed="always-on")
    van, fold = s.van, s.hv.fold
    van.cutoff_delay_s = 60.0
    bus_v = van.bank.open_v()
    first_v = fold * point.between("severity", 3.5, 9.5)
    then_v = min(bus_v - 0.5, first_v + fold * s.rng.uniform(1.0, 2.5))
    first_s, lasts = s.rng.uniform(0.1, 0.9), point.log_between("lasts", 1.5, 14)
    begin = s.onset_s
    van.dips += [(begin, begin + first_s, bus_v - first_v), (begin + first_s, begin + lasts, bus_v - then_v)]
    away = point.between("away", 8, 45)

    def reboots(van: Van) -> None:
        for way in van.ways:
            if way.draw.sort.kind == "electronics" and way.supply == "house" and van.rng.random() < 0.7:
                way.draw.off_until = van.now_s + away

    def charges(van: Van) -> None:
        van.charge_a, van.charge_v = 30.0, 14.5 * fold

    van.at(begin, reboots)
    van.at(begin + lasts, charges)
    van.fine.append((begin, begin + 90))
    return innocent(s, "supply")


# --- H7 to H13


@held("H7-load-failed")
def load_failed(point: Point) -> Made:
    whole = point.chance("whole", 0.6)  # its floor goes with it
    s = scene(point, point.pick("load", FLOORED if whole else ("cooler", "furnace", "hydronic", "medical")), feed="always-on")
    s.running(point.log_between("since", 30, 600))

    def fails(van: Van) -> None:
        if whole:
            s.target.load_off = True
        else:
            s.target.draw.hold(0.0, van.now_s)

    s.van.at(s.onset_s, fails)
    s.notes["floor"] = "gone" if whole else "stays"
    return s, s.truth("load-failed", must=whole, tellable=False)


@twin("H7-load-failed")
def load_failed_twin(point: Point) -> Made:
    s = scene(point, point.pick("load", RUNS), feed="always-on")
    s.running(200)
    pauses = point.pick("pauses", (1, 2, 3))
    for n in range(pauses):
        rests(s, s.onset_s + n * s.after_s / pauses)
        starts(s, s.onset_s + (n + point.between("severity", 0.3, 0.9)) * s.after_s / pauses)
    return innocent(s)


@held("H8-wire")
def wire(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on")
    if point.chance("running", 0.5):
        s.running(900)
    target, period = s.target, s.van.period_s
    flickers = point.chance("flickers", 0.75)
    rate = point.log_between("severity", 0.02, 0.6)
    begin = max(60.0, s.onset_s - point.log_between("loose", 60, 1500))

    def shakes(loose: float) -> Callable[[Van], None]:
        def turn(van: Van) -> None:
            target.loose = loose

        return turn

    def opened(van: Van) -> None:
        target.wire_open = True

    shaken_s, t = 0.0, begin
    while flickers and t < s.onset_s:  # only while the road is rough
        rough = min(s.rng.uniform(30, 240), s.onset_s - t)
        s.van.at(t, shakes(rate))
        s.van.at(t + rough, shakes(0.0))
        shaken_s += rough
        t += rough + s.rng.uniform(10, 120)
    s.van.at(s.onset_s, opened)
    s.notes["flicker"] = round(rate, 3) if flickers else 0.0
    often = rate * shaken_s / period >= 3  # readings in which it was without contact
    return s, s.truth("wiring-open", also=("dead",), tellable=flickers and often)


@twin("H8-wire")
def wire_twin(point: Point) -> Made:
    """Restless by nature, then at rest."""
    s = scene(point, point.pick("load", ("medical", "camera", "satellite")), feed="always-on")
    wild = point.between("severity", 0.08, 0.4)
    s.target.draw.wiggle = min(0.3, wild)
    t = max(60.0, s.onset_s - 900)
    while t < s.onset_s - 5:
        starts(s, t)
        t += s.rng.uniform(3, 60)
        rests(s, t)
        t += s.rng.uniform(3, 60)
    rests(s, max(t, s.onset_s))
    return innocent(s)


def _meter_sees(van: Van, amps: float) -> bool:
    """Whether a step of so much shows at the bank's meter."""
    return van.meter_sense is not None and amps >= max(0.2, 5 * van.meter_sense.resolution_a)


@held("H9-sensor")
def sensor(point: Point) -> Made:
    zero = point.chance("zero-or-stuck", 0.5)
    s = scene(
        point, point.pick("load", RUNS if zero else ("cooler", "blanket", "amplifier", "furnace", "satellite")),
        feed="always-on" if zero else None, meter=True,
    )  # fmt: skip
    s.running(point.log_between("since", 60, 600))
    truth = s.truth("sensor-failed", groups=("readings", "dead"), rule="floor" if zero else "slow", also=("drain", "level"))

    def fails(van: Van) -> None:
        truth.tellable = _meter_sees(van, s.target.amps)
        s.target.sensor = "zero" if zero else "stuck"

    s.van.at(s.onset_s, fails)
    if not zero:
        rests(s, s.onset_s + point.between("stops", 60, STUCK_S))
        s.live_for(STUCK_S + max(900.0, 60 * s.van.period_s) + 10 * s.van.period_s + 60)
    s.notes["fails"] = "zero" if zero else "stuck"
    return s, truth


@twin("H9-sensor")
def sensor_twin(point: Point) -> Made:
    """A flat draw and a sensor without noise: the same figure for an hour, and right; the volts move under it."""
    s = scene(point, point.pick("load", ("toilet-fan", "frost-valve")), feed="always-on", meter=True)
    s.target.noise_a = 0.02 * s.target.sense.resolution_a
    amps, fold = point.between("severity", 3, 20), s.hv.fold

    def charges(van: Van) -> None:
        van.charge_a, van.charge_v = amps, 13.9 * fold

    def ends(van: Van) -> None:
        van.charge_a = 0.0

    s.van.at(s.onset_s, charges)
    s.van.at(s.onset_s + 0.5 * s.after_s, ends)
    return innocent(s)


@held("H10-silent")
def silent(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on")
    van = s.van
    which = point.pick("which", ("one-channel", "nothing-said", "monitor", "one-channel", "broker"))

    def gone(van: Van) -> None:
        if which == "one-channel":
            s.target.silent = True
            return
        van.away = True
        if which in ("monitor", "broker"):
            at_ms = T0_MS + round((van.now_s + late_s) * 1000)
            van.events.append(
                Presence(received_ms=at_ms, subject=which, name="panel" if which == "monitor" else "127.0.0.1", here=False)
            )

    late_s = s.rng.uniform(0.3, 0.9)  # its last will
    van.at(s.onset_s, gone)
    s.live_for(14 * van.period_s + 400)
    s.notes["which"] = which
    quiet = s.target.sense.publishes == "on-change"
    subjects: tuple[tuple[str, str], ...] = (("circuit", s.target.id),)
    if which != "one-channel":
        subjects = (("monitor", "panel"), ("broker", "127.0.0.1"), *(("circuit", w.id) for w in van.ways))
        if van.meter_sense is not None:
            subjects = (*subjects, ("circuit", "SH"))
    must = not (quiet and which in ("one-channel", "nothing-said"))
    return s, s.truth("link-lost", fits=("sensor-failed",), subjects=subjects, groups=("readings",), rule="silent", must=must)


@twin("H10-silent")
def silent_twin(point: Point) -> Made:
    """Gaps that end before they are a silence."""
    s = scene(point, point.pick("load", FLOORED), feed="always-on")
    van, period = s.van, s.van.period_s
    room = max(10 * period, 120.0) - (8.5 * period if s.target.loss else 0.0)  # lost readings before and after it count too
    one = point.chance("one", 0.3)
    keeps = point.chance("keeps", 0.4)

    def turn(gone: bool) -> Callable[[Van], None]:
        def go(van: Van) -> None:
            if one:
                s.target.silent = gone
            else:
                van.holding, van.away = gone and keeps, gone and not keeps

        return go

    van.payload_time = van.payload_time or keeps
    t = s.onset_s
    for _ in range(point.pick("gaps", (1, 2, 3))):
        gap = max(period, s.rng.uniform(0.7, 1.0) * point.between("severity", 0.1, 0.88) * room)
        van.at(t, turn(True))
        van.at(t + gap, turn(False))
        t += gap + 12 * period + s.rng.uniform(10, 200)
    s.live_for(t - s.onset_s + 60)
    return innocent(s)


@held("H13-own-fuse")
def own_fuse(point: Point) -> Made:
    s = scene(point, point.pick("load", RUNS), feed="always-on")
    target = s.target
    full_a = (target.draw.watts * lasting(target.draw.sort) + target.draw.floor_w) / (12.8 * s.hv.fold)
    if point.chance("declared", 0.6):
        target.inline_fuse_a = rating_for(point.between("inline", 1.0, 1.1) * full_a)
    s.running(point.log_between("since", 200, 600))
    scale = point.between("severity", 1.0, 1.7)

    def rises(van: Van) -> None:
        target.draw.scale = scale

    def opens(van: Van) -> None:
        target.own_fuse_open = True

    s.van.at(s.onset_s - point.log_between("rises", 10, 150), rises)
    s.van.at(s.onset_s, opens)
    draws_a = (target.draw.watts * scale + target.draw.floor_w) / (12.8 * s.hv.fold)
    over = target.inline_fuse_a is not None and draws_a > 1.1 * target.inline_fuse_a
    return s, s.truth("own-fuse", also=("overcurrent",), tellable=over)


@twin("H13-own-fuse")
def own_fuse_twin(point: Point) -> Made:
    """It starts anew, once or twice."""
    s = scene(point, point.pick("load", ("satellite", "camera", "medical")), feed="always-on")
    t = s.onset_s
    for _ in range(point.pick("times", (1, 2))):
        away = s.rng.uniform(0.8, 1.0) * point.between("severity", 5, 48)

        def reboots(van: Van, away: float = away) -> None:
            s.target.draw.off_until = van.now_s + away

        s.van.at(t, reboots)
        s.van.fine.append((t, t + 60))
        t += 60 + 4 * s.van.period_s + s.rng.uniform(60, 300)
    return innocent(s)


@held("source-limited")
def source_limited(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), inverter=True)
    van = s.van
    lab = next(w for w in van.ways if w.draw.sort is SORTS["ac-electronics"])
    heater = next(w for w in van.ways if w.draw.sort is SORTS["ac-heater"])
    assert van.inverter is not None
    more_w = van.inverter.limit_w * point.log_between("severity", 1.05, 3.0)
    s.target = lab
    s.grade["load"] = "ac"
    truth = s.truth(
        "source-limited", subjects=(("supply", "inverter"), ("circuit", lab.id), ("circuit", heater.id)),
        mark="inverter shut down", also=("overcurrent",), must=lab.declared_floor_w is not None,
    )  # fmt: skip

    def more(van: Van) -> None:
        heater.draw.hold(0.0, van.now_s)
        heater.draw.extra_w = more_w
        van.fine.append((van.now_s, van.now_s + 30))
        # The overload lasts two steps and is measured in the first: it shows if that one is sent.
        truth.tellable = van.period_s <= 1 or abs(van.now_s / van.period_s - round(van.now_s / van.period_s)) < 1e-6

    van.at(s.onset_s, more)
    return s, truth


@twin("source-limited")
def source_limited_twin(point: Point) -> Made:
    goes = point.chance("shore", 0.5)
    s = scene(point, point.pick("load", FLOORED), inverter=True)
    van = s.van
    assert van.inverter is not None
    inverter = van.inverter
    outlets = [w for w in van.ways if w.supply == "inverter"]
    heater = next(w for w in outlets if w.draw.sort is SORTS["ac-heater"])
    van.at(s.onset_s - point.log_between("brews", 10, 200), lambda van: heater.draw.hold(1.0, van.now_s))
    if goes:  # a person has done with it and turns the inverter off
        van.presence = "comes-and-goes"
        for way in outlets:
            way.feed, way.importance, way.declared_floor_w = "switched", "comfort", None

    def ends(van: Van) -> None:
        heater.draw.hold(0.0, van.now_s)
        if goes:
            inverter.on = False
        else:
            for way in outlets:
                way.draw.hold(0.0, van.now_s)

    van.at(s.onset_s, ends)
    return innocent(s, "overcurrent")


# --- shapes that `cases` does not have

EASY = ("cooler", "medical", "camera", "charger", "amplifier")  # without much of a surge at its start


@held("char-terminal")
def char_terminal(point: Point) -> Made:
    """A terminal chars: its resistance grows until the load browns out, rests and tries again; in one go it opens."""
    s = scene(point, point.pick("load", EASY), feed="always-on")
    target, fold = s.target, s.hv.fold
    takes_s = point.log_between("severity", 150, 0.8 * s.onset_s)
    begin = s.onset_s - takes_s
    target.draw.wiggle = min(0.03, target.draw.wiggle)
    s.running(takes_s + 200)
    brown_v = 12.8 * fold * point.between("brown", 0.845, 0.88)
    first_ohm = target.r_ohm
    share_v = 0.26 if target.draw.sort.behaves == "constant-impedance" else 0.2
    last_ohm = share_v * (12.8 * fold) ** 2 / target.draw.watts  # at which it can't go on
    tries, rest_s = point.pick("tries", (1, 2, 3)), point.between("rest", 40, 180)
    stopped: list[float] = []

    def grows(van: Van) -> None:
        if target.wire_open:
            return
        share = min(1.0, max(0.0, (van.now_s - begin) / takes_s))
        target.r_ohm = first_ohm * (last_ohm / first_ohm) ** share
        running = bool(target.draw.held)
        if running and target.bar_v - target.r_ohm * target.amps < brown_v:
            if len(stopped) >= tries:
                target.wire_open = True
                van.mark("terminal")
                return
            target.draw.hold(0.0, van.now_s)
            stopped.append(van.now_s)
        elif not running and stopped and van.now_s - stopped[-1] >= rest_s:
            target.draw.hold(1.0, van.now_s)

    t = begin
    while t < s.onset_s + 2500:
        s.van.at(t, grows)
        t += max(2.0, s.van.period_s / 2)
    s.live_for(3000.0 + 45 * s.van.period_s if s.van.period_s > 3 else 2200.0)
    # Only volts at the load show the resistance; elsewhere it's a circuit that went dead, and a load that starts in vain.
    return s, s.truth("wiring-open", mark="terminal", also=("dead",), tellable=target.sense.volts_at == "load")


@twin("char-terminal")
def char_terminal_twin(point: Point) -> Made:
    """The bank sags slowly under other loads, this one ends its run and starts again in vain once: its own control decides."""
    s = scene(point, point.pick("load", EASY), feed="always-on")
    fold, van = s.hv.fold, s.van
    van.cutoff_v = 9.6 * fold
    van.restore_v = 10.8 * fold
    takes_s = point.log_between("severity", 150, 0.8 * s.onset_s)
    deep = fold * point.between("deep", 0.3, 1.3)
    s.running(takes_s + 200)
    for n in range(20):
        begin = s.onset_s - takes_s + n * takes_s / 20
        van.dips.append((begin, begin + takes_s / 20, deep * (n + 1) / 20))
    rests(s, s.onset_s)
    starts(s, s.onset_s + 60)
    rests(s, s.onset_s + 60 + point.log_between("tries", 3, 40))
    if point.chance("again", 0.5):
        starts(s, s.onset_s + 0.7 * s.after_s)
    return innocent(s, "supply")


def _twice(point: Point) -> tuple[Held, float, float]:
    """A stiff motor on a thermal breaker, its multiple of the rating, and the seconds for which a cold one carries that."""
    s = scene(point, point.pick("load", ("air-compressor", "step")), feed="switched")
    target = s.target
    s.idle(s.onset_s - 2)
    times = point.between("severity", 1.4, 2.3)
    while target.device.time_s(times) > 500:
        times *= 1.05
    while target.device.time_s(times) < 25 and times > 1.36:
        times *= 0.97
    target.draw.scale = times * target.protection.rating_a * target.draw.nominal_v / max(1.0, target.draw.watts)
    s.notes["times"] = round(times, 2)
    return s, times, target.device.time_s(times)


@held("warm-breaker")
def warm_breaker(point: Point) -> Made:
    """Cold, it carries the motor for one run; started again at once, it is still warm and opens."""
    s, times, cold_s = _twice(point)
    target = s.target
    amps, surge = times * target.protection.rating_a, target.draw.sort.surge[0]
    run_s = max(2.0, point.between("share", 0.55, 0.8) * cold_s)
    rest_s = point.log_between("rest", 4, 90)
    for _ in range(12):  # the rest that is short enough for it
        opens_s = _opens_after(target.device, [(run_s, amps, surge), (rest_s, 0.0, 0.0), (0.75 * run_s, amps, surge)])
        if opens_s is not None and opens_s > run_s:
            break
        rest_s = max(2.0, 0.7 * rest_s)
        run_s = min(0.9 * cold_s, 1.03 * run_s) if opens_s is None else 0.85 * run_s
    first = s.onset_s - rest_s - run_s
    starts(s, first)
    rests(s, first + run_s)
    starts(s, s.onset_s)
    s.van.fine.append((first, s.onset_s + 1.2 * run_s + 20))
    s.live_for(1.2 * run_s + 45 * s.van.period_s + 200)
    s.notes |= {"run": round(run_s), "rest": round(rest_s)}
    return s, s.truth("device-opened", mark=f"opened {target.id}", rule="load", also=("overcurrent",))


@twin("warm-breaker")
def warm_breaker_twin(point: Point) -> Made:
    """The same two runs, but shorter, with time to cool: it holds, and the person has done with the motor."""
    s, times, cold_s = _twice(point)
    target = s.target
    amps, surge = times * target.protection.rating_a, target.draw.sort.surge[0]
    run_s = max(2.0, point.between("share", 0.3, 0.6) * cold_s)
    rest_s = point.log_between("rest", 20, 150)
    for _ in range(12):
        spells = [(1.1 * run_s, 1.05 * amps, surge), (rest_s, 0.0, 0.0), (1.1 * run_s, 1.05 * amps, surge)]
        if _opens_after(target.device, spells) is None:
            break
        run_s *= 0.8
        rest_s *= 1.1
    starts(s, s.onset_s)
    rests(s, s.onset_s + run_s)
    starts(s, s.onset_s + run_s + rest_s)
    rests(s, s.onset_s + 2 * run_s + rest_s)
    s.van.fine.append((s.onset_s, s.onset_s + 2 * run_s + rest_s + 20))
    s.live_for(2 * run_s + rest_s + 500)
    return innocent(s, "overcurrent")


HEAVY = ("furnace", "hydronic", "satellite", "compressor")
SLIGHT = ("toilet-fan", "detector", "camera", "frost-valve")


def _halves(point: Point) -> tuple[Held, list[Way]]:
    """A sub-panel whose heavy circuits hang on one half of its bar and the slight ones on the other."""
    rng = point.rng
    heavy = tuple(rng.choice((*HEAVY, "blanket")) for _ in range(rng.randint(1, 2)))
    slight = tuple(rng.choice(SLIGHT) for _ in range(rng.randint(1, 3)))
    s = scene(point, point.pick("load", HEAVY), feed="always-on", rear=heavy + slight)
    return s, _kids(s)[: 1 + len(heavy)]


@held("half-feeder")
def half_feeder(point: Point) -> Made:
    """The link between the two halves of the bar burns through: what is heavy dies at once, what is slight lives on."""
    s, heavy = _halves(point)
    if point.chance("running", 0.6):
        s.running(point.log_between("since", 30, 600))

    def lost(van: Van) -> None:
        s.hv.cut = {w.id for w in heavy}

    s.van.at(s.onset_s, lost)
    # A joint of the feeder's wiring; the schedule knows the feeder as a whole, so nothing in the readings can name it.
    subjects = (("feeder", "rear"), *(("circuit", w.id) for w in heavy))
    return s, s.truth("wiring-open", fits=("feeder-lost",), subjects=subjects, tellable=False)


@twin("half-feeder")
def half_feeder_twin(point: Point) -> Made:
    """All that is heavy ends its run at once, by a person or a timer; the floors flow."""
    s, heavy = _halves(point)
    s.running(point.log_between("since", 30, 600))

    def pause(van: Van) -> None:
        for way in heavy:
            if way.feed == "always-on":
                way.draw.hold(0.0, van.now_s)
            else:
                way.load_off = True

    s.van.at(s.onset_s, pause)
    return innocent(s)


@held("fading-channel")
def fading_channel(point: Point) -> Made:
    """What the channel reports fades to nothing while its load runs on: the bank's meter still shows it."""
    s = scene(point, point.pick("load", RUNS), feed="always-on", meter=True)
    s.running(point.log_between("since", 100, 600))
    target = s.target
    takes_s = point.between("severity", 60, STUCK_S)
    gain, zero_a, noise_a = target.gain, target.zero_a, target.noise_a
    # Told of at any time from the first loss on; due after it has faded out (`slow`).
    truth = s.truth("sensor-failed", groups=("readings", "dead"), rule="slow", also=("drain", "level"))

    def fades(van: Van) -> None:
        left = max(0.0, 1 - (van.now_s - s.onset_s) / takes_s)
        target.gain, target.zero_a, target.noise_a = gain * left, zero_a * left, noise_a * left

    def begins(van: Van) -> None:
        # Slow, so without a step: it shows where it is more than what the gains of all channels leave unsure.
        truth.tellable = _meter_sees(van, target.amps) and target.amps > 0.05 * van.total_a

    s.van.at(s.onset_s, begins)
    t = s.onset_s
    while t < s.onset_s + takes_s + 2:
        s.van.at(t, fades)
        t += min(1.0, s.van.period_s)
    s.van.at(s.onset_s + takes_s + 2, fades)
    s.live_for(STUCK_S + max(900.0, 60 * s.van.period_s) + 10 * s.van.period_s + 60)
    return s, truth


@twin("fading-channel")
def fading_channel_twin(point: Point) -> Made:
    """Something is charged full, or a dimmer goes down: it fades to its floor, or to nothing where it's switched."""
    always = point.chance("always", 0.6)
    s = scene(point, point.pick("load", ("charger", "amplifier", "cooler") if always else ("light", "blanket")),
              feed="always-on" if always else "switched", meter=True)  # fmt: skip
    s.running(point.log_between("since", 100, 600))
    takes_s = point.between("severity", 60, STUCK_S)
    for n in range(1, 61):

        def fades(van: Van, left: float = 1 - n / 60) -> None:
            s.target.draw.hold(left, van.now_s)

        s.van.at(s.onset_s + n * takes_s / 60, fades)
    return innocent(s)
