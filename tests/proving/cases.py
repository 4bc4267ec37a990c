"""Faults with their truth, and the innocent twin of each: the same look, no fault.

Another file adds a family with `family(...)`: see `held_out` in prove.py.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from random import Random

from panelward.records import Presence, Protection, Reading, Schedule, Sense
from proving.devices import Device
from proving.draws import SORTS, TOP_RATING, Draw, Sort
from proving.sampling import Point
from proving.vehicle import OCV, T0_MS, Bank, Branch, Inverter, Van, Way

PERIODS = (1.0, 2.0, 5.0, 10.0, 30.0)
POINTS = ("bus", "after-device", "after-switch", "load")
RESOLUTIONS = (0.001, 0.01, 0.05, 0.1)
STUCK_S = 300.0  # after which the load behind a stuck channel changes
FLOORED = ("compressor", "detector", "electronics", "air-heater", "fan", "charger")


@dataclass(slots=True, kw_only=True)
class Truth:
    """What really happened, and what an answer must look like."""

    cause: str  # "none" for a twin
    fits: tuple[str, ...] = ()  # further causes that say the same
    must: bool = True  # an alarm is due
    subjects: tuple[tuple[str, str], ...] = ()  # whom it may be told of
    groups: tuple[str, ...] = ("dead",)
    mark: str = ""  # the vehicle's mark of its onset; empty: onset_s
    onset_s: float = 0.0
    rule: str = "floor"  # floor | load | silent | slow
    target: str = ""  # the circuit whose readings show it
    also: tuple[str, ...] = ()  # groups of alarms that are true besides
    shows: bool = False  # a device's opening shows in what others' readings say
    tellable: bool = True  # its cause shows in the readings (else a right answer is that it can't be told)
    knowable: bool = True  # False: the floor is below 5 x the resolution


@dataclass(slots=True, kw_only=True)
class Case:
    id: str
    family: str
    innocent: bool
    van: Van
    schedule: Schedule
    seconds: float
    truth: Truth
    grade: dict[str, float | str]


@dataclass(slots=True)
class Scene:
    """A household with a target, into which a family puts its fault or its look-alike."""

    point: Point
    van: Van
    target: Way
    onset_s: float
    after_s: float
    grade: dict[str, float | str]
    notes: dict[str, float | str] = field(default_factory=dict)

    @property
    def rng(self) -> Random:
        return self.point.rng

    def truth(self, cause: str, **keys: object) -> Truth:
        base: dict[str, object] = {
            "cause": cause,
            "subjects": (("circuit", self.target.id),),
            "onset_s": self.onset_s,
            "target": self.target.id,
            "knowable": self.knowable,
        }
        return Truth(**(base | keys))  # type: ignore[arg-type]

    @property
    def knowable(self) -> bool:
        floor = self.target.declared_floor_w
        volts = 230.0 if self.target.supply == "inverter" else 13.0
        return floor is None or floor / volts >= 5 * self.target.sense.resolution_a

    def running(self, before_s: float = 120.0, share: float = 1.0) -> None:
        """The target runs when it happens."""
        self.van.at(max(1.0, self.onset_s - before_s), lambda van: self.target.draw.hold(share, van.now_s))

    def idle(self, before_s: float = 300.0) -> None:
        self.van.at(max(1.0, self.onset_s - before_s), lambda van: self.target.draw.hold(0.0, van.now_s))


def rating_for(amps: float) -> float:
    return next((r for r in TOP_RATING if r >= amps), 100.0)


def protection_for(rating_a: float, rng: Random, *, ac: bool = False) -> tuple[Protection, str]:
    if ac:
        return Protection(kind="breaker-b", rating_a=max(6.0, rating_a)), "breaker-b"
    if rating_a > 80:
        return Protection(kind="bolt-fuse", rating_a=rating_a), "bolt-fuse"
    if rating_a > 30:
        return Protection(kind="blade-fuse", type="E", rating_a=rating_a), "E"
    if rating_a >= 5 and rng.random() < 0.2:
        return Protection(kind="breaker-thermal", rating_a=rating_a), "breaker-thermal"
    kind = rng.choice(("C", "F"))
    return Protection(kind="blade-fuse", type=kind, rating_a=rating_a), kind


class Builder:
    """Makes ways with one sensing grade."""

    def __init__(self, point: Point) -> None:
        self.point, self.rng = point, point.rng
        self.count = 0
        period = point.pick("period", PERIODS)
        resolution = point.pick("resolution", RESOLUTIONS)
        loss = max(0.0, point.between("loss", -0.12, 0.2))
        on_change = point.chance("publishes", 0.2)
        self.sense = Sense(
            volts_at=point.pick("volts", POINTS),
            reports="mean" if point.chance("reports", 0.25) else "sample",
            resolution_a=resolution,
            publishes="on-change" if on_change else "always",
        )
        self.period_s = period
        self.loss = 0.0 if on_change else loss
        self.noise_a = self.zero_a = 0.0
        self.gain = 1 + point.between("gain", -0.02, 0.02)
        self.heartbeat_s = self.rng.choice((None, 300.0, 900.0))
        self.grade: dict[str, float | str] = {
            "volts": self.sense.volts_at, "period": period, "loss": round(self.loss, 3), "gain": round(self.gain, 4),
            "reports": self.sense.reports, "publishes": self.sense.publishes,
        }  # fmt: skip
        self.resolve(resolution)

    def resolve(self, resolution_a: float) -> None:
        """The step of every channel; noise and zero error go with it."""
        self.sense = replace(self.sense, resolution_a=resolution_a)
        self.noise_a = self.point.between("noise", 0.05, 0.6) * resolution_a
        self.zero_a = self.point.between("zero", -1, 1) * min(0.02, 1.5 * resolution_a)
        self.grade |= {"resolution": resolution_a, "noise": round(self.noise_a, 5), "zero": round(self.zero_a, 4)}

    def way(
        self, name: str, *, feed: str | None = None, floor: bool | None = None, watts: float | None = None,
        supply: str = "house", label: str | None = None, **keys: object,
    ) -> Way:  # fmt: skip
        sort: Sort = SORTS[name]
        rng = self.rng
        self.count += 1
        has_floor = sort.floor_w is not None if floor is None else floor
        floor_w = rng.uniform(*sort.floor_w) if has_floor and sort.floor_w else 0.0
        if has_floor and not sort.floor_w:
            floor_w = rng.uniform(0.3, 2.0)
        full_w = rng.uniform(*sort.watts) if watts is None else watts
        nominal = 230.0 if supply == "inverter" else 12.8
        most_a = (full_w * (sort.surge[0] if sort.surge[1] > 20 else 1.0) + floor_w) / nominal
        peak_a = full_w * sort.surge[0] / nominal if sort.surge[1] else 0.0
        rating = rating_for(max(most_a * 1.3, peak_a) * (1.15 if sort.kind == "inverter" else 1.0))
        protection, family = protection_for(rating, rng, ac=supply == "inverter")
        role = feed or ("always-on" if sort.always else "switched")
        finer = max(0.1, 0.001 / self.sense.resolution_a) if supply == "inverter" else 1.0  # few amps at 230 V
        return Way(
            id=f"D{self.count}",
            label=label or f"{rng.choice(sort.labels)} {self.count}",
            draw=Draw(sort, full_w, floor_w, nominal, rng),
            device=Device(family, protection.rating_a, rng),
            protection=protection,
            sense=replace(self.sense, resolution_a=self.sense.resolution_a * finer),
            supply=supply,
            feed=role,
            importance="life" if name == "detector" else "property" if role == "always-on" else "comfort",
            declared_floor_w=round(floor_w * rng.uniform(0.9, 1.0), 3) if floor_w and role == "always-on" else None,
            r_ohm=rng.uniform(0.01, 0.06) * (10.0 / max(4.0, protection.rating_a)),
            tells_watts=rng.random() < 0.4,
            zero_a=self.zero_a * finer * rng.uniform(0.5, 1.0),
            gain=self.gain,
            noise_a=self.noise_a * finer,
            loss=self.loss,
            heartbeat_s=self.heartbeat_s,
            **keys,  # type: ignore[arg-type]
        )


SIBLINGS = ("fan", "light", "pump", "element", "socket", "charger", "compressor", "electronics", "detector", "air-heater")


def scene(
    point: Point, sort: str, *, feed: str | None = None, floor: bool | None = None, watts: float | None = None,
    where: str = "house", meter: bool | None = None, inverter: bool | None = None, behind: tuple[str, ...] = (),
) -> Scene:  # fmt: skip
    """A household of 4 to 8 circuits round a target; `where` the target hangs: house | rear."""
    rng = point.rng
    builder = Builder(point)
    period = builder.period_s
    target = builder.way(sort, feed=feed, floor=floor, watts=watts, behind=behind)
    if target.declared_floor_w is not None and point.chance("seeable", 0.9):  # the rest declare what can't be seen
        most_a = target.declared_floor_w / 13.0 / 5
        if target.sense.resolution_a > most_a:
            builder.resolve(max((r for r in RESOLUTIONS if r <= most_a), default=RESOLUTIONS[0]))
            target.sense, target.noise_a = builder.sense, builder.noise_a
            target.zero_a = builder.zero_a * rng.uniform(0.5, 1.0)
    ways = [target]
    feeder_behind = ("disconnect",) if rng.random() < 0.5 else ()
    rear = Branch("rear", rng.uniform(0.004, 0.02), feeder_behind, 40.0)
    if where == "rear":
        target.feeder, target.behind = "rear", ()
    kids = rng.randint(2, 3) - (1 if where == "rear" else 0)
    for _ in range(kids):
        ways.append(builder.way(rng.choice(SIBLINGS), feeder="rear"))
    for _ in range(rng.randint(2, 4)):
        low = ("disconnect",) if rng.random() < 0.4 else ()
        ways.append(builder.way(rng.choice(SIBLINGS), behind=low))
    ways.append(builder.way(rng.choice(("detector", "electronics"))))
    source: Inverter | None = None
    if inverter or (inverter is None and rng.random() < 0.3):
        way = builder.way("inverter", watts=700.0, behind=("disconnect",), feed="switched")
        source = Inverter(way.id, rng.uniform(900, 1200), idle_when_off_w=rng.choice((0.0, 1.5)))
        way.draw.watts = 0.0
        ways.append(way)
        ways.append(builder.way("ac-electronics", supply="inverter"))
        if inverter:
            ways.append(builder.way("ac-heater", supply="inverter"))
    for way in ways[1:]:  # whose floor its sensor can't see is scheduled without one
        volts = 230.0 if way.supply == "inverter" else 13.0
        if way.declared_floor_w is not None and way.declared_floor_w / volts < 5 * way.sense.resolution_a:
            way.declared_floor_w = None
    for way in ways:
        tells = rng.random() < 0.5
        way.tells_closed = tells
        way.tells_commanded = tells and rng.random() < 0.6
        if way.tells_commanded:
            way.commanded = True
    chemistry = rng.choice(("lfp", "agm", "flooded"))
    bank = Bank(chemistry, rng.uniform(120, 300), rng.uniform(0.7, 0.95), rng.uniform(0.003, 0.009), rng.uniform(0.003, 0.008),
                rng.uniform(40, 250))  # fmt: skip
    short = period <= 2
    before = point.log_between("before", 900, 2400 if short else 7200)
    after = max(point.log_between("after", 600, 1200 if short else 3600), 40 * period)
    onset = round(before / period) * period + period * point.u("phase")
    for way in ways:
        way.draw.live(onset + after + 300.0, start_s=-300.0)
    has_meter = point.chance("meter", 0.5) if meter is None else meter
    van = Van(
        rng=Random(f"van/{point.family}/{point.n}/{point.number}"), bank=bank, ways=ways, period_s=period,
        feeders={"rear": rear}, inverter=source,
        cutoff_v=rng.choice((None, 11.4, 11.6)) if source or feeder_behind else 11.4,
        meter_sense=Sense(volts_at="bus", resolution_a=max(0.01, builder.sense.resolution_a)) if has_meter else None,
        meter_gain=1 + rng.uniform(-0.01, 0.01), own_bar=rng.random() < 0.7, payload_time=rng.random() < 0.6,
        duplicates=rng.choice((0.0, 0.0, 0.02)),
    )  # fmt: skip
    if van.cutoff_v is None:
        van.cutoff_v = 11.4
    van.restore_v = van.cutoff_v + 1.0
    base = 22 + 18 * rng.random()
    van.panel_c = lambda t: base
    van.fine.append((onset - 3 * period, onset + max(30.0, 3 * period)))
    builder.grade["load"] = sort
    return Scene(point, van, target, onset, after, builder.grade)


Made = tuple[Scene, Truth]
Build = Callable[[Point], Made]


@dataclass(frozen=True, slots=True)
class Family:
    name: str
    innocent: bool
    build: Build
    held_out: bool = False


FAMILIES: dict[str, Family] = {}


def family(name: str, *, innocent: bool = False, held_out: bool = False) -> Callable[[Build], Build]:
    def note(build: Build) -> Build:
        assert name not in FAMILIES, name
        FAMILIES[name] = Family(name, innocent, build, held_out)
        return build

    return note


def again(case_id: str) -> Case:
    """The case of an outcome."""
    name, n, number = case_id.split("/")
    return make(name, int(n), int(number))


def make(name: str, n: int, number: int) -> Case:
    """One case, alone."""
    kind = FAMILIES[name]
    made, truth = kind.build(Point(name, n, number))
    return Case(
        id=f"{name}/{n}/{number:03d}",
        family=name,
        innocent=kind.innocent,
        van=made.van,
        schedule=made.van.schedule(),
        seconds=made.onset_s + made.after_s,
        truth=truth,
        grade=made.grade | made.notes,
    )


# --- the faults


@family("H1-remote-off")
def remote_off(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on")
    target = s.target
    target.tells_closed = point.chance("closed", 0.7)
    target.tells_commanded = target.tells_closed and point.chance("commanded", 0.6)
    target.commanded = True if target.tells_commanded else None

    def off(van: Van) -> None:
        target.closed = False
        if target.tells_commanded:
            target.commanded = False

    s.van.at(s.onset_s, off)
    s.notes["told"] = "command" if target.tells_commanded else "state" if target.tells_closed else "nothing"
    return s, s.truth("switched-off", tellable=target.tells_closed)


@family("H2-load-switch")
def load_switch(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on")

    def off(van: Van) -> None:
        s.target.load_off = True

    s.van.at(s.onset_s, off)
    return s, s.truth("switched-off-at-load", tellable=False)  # a load that broke shows the same


OVERLOADED = ("socket", "element", "pump", "fan", "charger", "light", "air-heater", "compressor")


@family("H3-overload")
def overload(point: Point) -> Made:
    s = scene(point, point.pick("load", OVERLOADED))
    s.running(point.log_between("running", 20, 1200), 1.0)
    times = point.log_between("severity", 1.35, 4.0)
    target = s.target

    def more(van: Van) -> None:
        wanted = times * target.protection.rating_a
        target.draw.extra_w = max(0.0, (wanted - target.amps) * 12.8)
        van.fine.append((van.now_s, van.now_s + 120))

    s.van.at(s.onset_s, more)
    s.after_s = max(s.after_s, 1800.0)
    s.notes["times"] = round(times, 2)
    return s, s.truth("device-opened", mark=f"opened {target.id}", rule="load", also=("overcurrent", "device"))


@family("H3-short")
def short(point: Point) -> Made:
    s = scene(point, point.pick("load", OVERLOADED))
    running = point.chance("running", 0.7)
    if running:
        s.running(300)
    seen = point.chance("seen", 0.5)
    period = s.van.period_s
    tick = (int(s.onset_s / period) + 1) * period
    dip = point.between("severity", 0.3, 3.0)
    at = tick - 0.01 if seen else s.onset_s
    s.onset_s = at
    s.van.dips.append((at, at + point.between("length", 0.05, 0.4), dip))

    def opened(van: Van) -> None:
        s.target.device.opened = True

    s.van.at(at, opened)
    s.notes |= {"dip": round(dip, 2), "seen": str(seen)}
    shows = seen and running and s.target.sense.reports == "sample" and dip > 0.5
    return s, s.truth("device-opened", rule="load", shows=shows, also=("overcurrent",))


@family("H3-heat")
def heat(point: Point) -> Made:
    s = scene(point, point.pick("load", ("compressor", "fan", "element", "socket")))
    target = s.target
    ordinary = point.between("severity", 0.75, 1.0)
    panel_c = point.between("panel", 48, 72)
    s.van.panel_c = lambda t: panel_c
    target.device.rating_a = target.protection.rating_a
    # It carries its draw for a long time; then the warm panel and a bad contact leave too little of the rating.
    target.draw.watts = (
        ordinary * target.protection.rating_a * 12.8 * (1 / target.draw.sort.surge[0] if target.draw.sort.surge[1] > 20 else 1)
    )
    s.running(point.log_between("running", 300, 3000))

    def hot(van: Van) -> None:
        target.device.factor = max(0.3, target.amps / target.device.rating_a / target.device.pick_up / 1.2)
        van.fine.append((van.now_s, van.now_s + 60))

    s.van.at(s.onset_s, hot)
    s.after_s = max(s.after_s, 1500.0)
    must = target.declared_floor_w is not None
    return s, s.truth("device-opened", must=must, mark=f"opened {target.id}", also=("overcurrent", "device"))


@family("H3-idle")
def opened_idle(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on")
    s.idle(point.log_between("idle", 60, 900))

    def opened(van: Van) -> None:
        s.target.device.opened = True

    s.van.at(s.onset_s, opened)
    return s, s.truth("device-opened")


@family("H3-small-fuse")
def small_fuse(point: Point) -> Made:
    s = scene(point, point.pick("load", ("compressor", "air-heater", "element", "socket", "fan")))
    target = s.target
    s.idle(400)
    times = point.between("severity", 1.4, 2.2)
    share = target.draw.sort.surge[0] if target.draw.sort.surge[1] > 20 else 1.0
    full_a = target.draw.watts * share / 12.8 + target.draw.floor_w / 12.8
    target.device = Device(
        "C" if full_a / times <= 30 else "E", max(0.5, full_a / times), s.rng
    )  # what is fitted, not what is listed

    def start(van: Van) -> None:
        target.draw.hold(1.0, van.now_s)
        van.fine.append((van.now_s, van.now_s + 120))

    s.van.at(s.onset_s, start)
    s.after_s = max(s.after_s, 1500.0)
    must = target.declared_floor_w is not None
    return s, s.truth("device-opened", must=must, mark=f"opened {target.id}", also=("overcurrent", "device"))


def _children(s: Scene, feeder: str) -> tuple[tuple[str, str], ...]:
    return tuple(("circuit", w.id) for w in s.van.ways if w.feeder == feeder)


@family("H4-feeder")
def feeder_lost(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on", where="rear")
    if point.chance("running", 0.5):
        s.running()

    def lost(van: Van) -> None:
        van.feeders["rear"].opened = True

    s.van.at(s.onset_s, lost)
    return s, s.truth("feeder-lost", subjects=(("feeder", "rear"), *_children(s, "rear")))


def _behind(van: Van, what: str) -> tuple[tuple[str, str], ...]:
    found: list[tuple[str, str]] = []
    for way in van.ways:
        behind = way.behind + (van.feeders[way.feeder].behind if way.feeder else ())
        if what in behind:
            found.append(("circuit", way.id))
    found += [("feeder", f.id) for f in van.feeders.values() if what in f.behind]
    if van.inverter is not None and ("circuit", van.inverter.way) in found:
        found.append(("supply", "inverter"))
        found += [("circuit", w.id) for w in van.ways if w.supply == "inverter"]
    return tuple(found)


def slack_w(way: Way) -> float:
    """What its device carries for ever besides the load."""
    times, lasts = way.draw.sort.surge
    full_w = way.draw.watts * (times if lasts > 20 else 1.0) + way.draw.floor_w
    return max(0.0, 0.95 * way.protection.rating_a * 12.0 - full_w)


def _low(s: Scene, cutoff_v: float, *, falls_s: float, amps: float) -> None:
    """A bank that reaches the volts after so long at this draw."""
    bank = s.van.bank
    bank.chemistry = s.rng.choice(("agm", "flooded", "lfp"))
    rest_v = cutoff_v + amps * (bank.r0_ohm + bank.r1_ohm)
    table = OCV[bank.chemistry]
    charge = table[0][0]
    if rest_v > table[0][1]:
        for (c0, v0), (c1, v1) in itertools.pairwise(table):
            if v0 <= rest_v <= v1:
                charge = c0 + (c1 - c0) * (rest_v - v0) / (v1 - v0)
                break
    bank.capacity_ah = s.rng.uniform(60, 120)
    bank.charge = charge + 0.6 * amps * falls_s / 3600 / bank.capacity_ah


@family("H5-disconnect")
def disconnect(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on", behind=("disconnect",))
    van = s.van
    van.cutoff_v = point.pick("cutoff", (11.8, 12.0, 12.2))
    van.restore_v = van.cutoff_v + 1.2
    van.cutoff_delay_s = s.rng.choice((2.0, 10.0, 30.0))
    heavy = next((w for w in van.ways if w.draw.sort.kind == "heater-element" and w.supply == "house"), van.ways[1])
    heavy.draw.extra_w = slack_w(heavy)
    total = heavy.draw.extra_w / 12.8 + sum(w.draw.watts * 0.4 + w.draw.floor_w for w in van.ways if w.supply == "house") / 12.8
    _low(s, van.cutoff_v, falls_s=s.onset_s, amps=total)
    s.after_s += s.onset_s * 0.8
    return s, s.truth(
        "low-voltage-disconnect", subjects=(("supply", "house"), *_behind(van, "disconnect")), mark="disconnect",
        also=("supply", "overcurrent"),
    )  # fmt: skip


@family("H5-isolator")
def isolator(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on", behind=("isolator",))
    for way in s.van.ways[1:-1]:
        if way.feeder is None and way.supply == "house" and s.rng.random() < 0.7:
            way.behind = ("isolator", *way.behind)
    for branch in s.van.feeders.values():
        branch.behind = ("isolator", *branch.behind)

    def off(van: Van) -> None:
        van.isolator_open = True

    s.van.at(s.onset_s, off)
    return s, s.truth(
        "isolator", subjects=(("supply", "house"), *_behind(s.van, "isolator")), tellable=s.van.meter_sense is not None
    )


@family("H5-battery-protection")
def battery_protection(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on")

    def off(van: Van) -> None:
        van.protection_open = True

    s.van.at(s.onset_s, off)
    everything = tuple(("circuit", w.id) for w in s.van.ways)
    return s, s.truth(
        "battery-protection", subjects=(("supply", "house"), ("supply", "inverter"), ("feeder", "rear"), *everything),
        also=("supply",), tellable=False,
    )  # fmt: skip


@family("H7-load-failed")
def load_failed(point: Point) -> Made:
    whole = point.chance("whole", 0.5)  # its floor goes with it
    s = scene(point, point.pick("load", FLOORED if whole else ("compressor", "fan", "air-heater")), feed="always-on")
    s.running(200)

    def fails(van: Van) -> None:
        if whole:
            s.target.load_off = True
        else:
            s.target.draw.hold(0.0, van.now_s)

    s.van.at(s.onset_s, fails)
    s.notes["floor"] = "gone" if whole else "stays"
    return s, s.truth("load-failed", must=whole, tellable=False)


@family("H8-wire")
def wire(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on")
    if point.chance("running", 0.6):
        s.running(900)
    flicker = point.between("severity", 0.05, 0.4)

    def loose(van: Van) -> None:
        s.target.loose = flicker

    def opened(van: Van) -> None:
        s.target.wire_open = True

    if point.chance("flicker", 0.7):
        s.van.at(max(1.0, s.onset_s - point.log_between("loose", 60, 1500)), loose)
        s.notes["flicker"] = round(flicker, 2)
    s.van.at(s.onset_s, opened)
    return s, s.truth("wiring-open", also=("dead",), tellable="flicker" in s.notes)


@family("H9-sensor")
def sensor(point: Point) -> Made:
    zero = point.chance("zero-or-stuck", 0.5)
    s = scene(
        point, point.pick("load", ("compressor", "electronics", "air-heater") if zero else ("compressor", "socket", "fan")),
        feed="always-on" if zero else None, meter=True,
    )  # fmt: skip
    s.running(600)

    def fails(van: Van) -> None:
        s.target.sensor = "zero" if zero else "stuck"

    def stops(van: Van) -> None:
        s.target.draw.hold(0.0, van.now_s)

    s.van.at(s.onset_s, fails)
    if not zero:
        s.van.at(s.onset_s + STUCK_S, stops)
        s.after_s = max(s.after_s, STUCK_S + max(900.0, 60 * s.van.period_s) + 10 * s.van.period_s + 60)
    s.notes["fails"] = "zero" if zero else "stuck"
    return s, s.truth("sensor-failed", groups=("readings", "dead"), rule="floor" if zero else "slow", also=("drain", "level"))


@family("H10-silent")
def silent(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on")
    van = s.van
    which = point.pick("which", ("monitor", "broker", "nothing-said", "one-channel"))

    def gone(van: Van) -> None:
        if which == "one-channel":
            s.target.silent = True
            return
        van.away = True
        if which in ("monitor", "broker"):
            name = "panel" if which == "monitor" else "127.0.0.1"
            van.events.append(Presence(received_ms=T0_MS + round(van.now_s * 1000) + 300, subject=which, name=name, here=False))

    van.at(s.onset_s, gone)
    s.after_s = max(s.after_s, 12 * van.period_s + 300)
    s.notes["which"] = which
    quiet = s.target.sense.publishes == "on-change"
    subjects = (("monitor", "panel"), ("broker", "127.0.0.1"), *(("circuit", w.id) for w in van.ways))
    if which == "one-channel":
        subjects = (("circuit", s.target.id),)
    elif van.meter_sense is not None:
        subjects = (*subjects, ("circuit", "SH"))
    must = not (quiet and which in ("one-channel", "nothing-said"))
    return s, s.truth("link-lost", fits=("sensor-failed",), subjects=subjects, groups=("readings",), rule="silent", must=must)


@family("H13-own-fuse")
def own_fuse(point: Point) -> Made:
    s = scene(point, point.pick("load", ("compressor", "electronics", "air-heater", "fan", "charger")), feed="always-on")
    if point.chance("declared", 0.5):
        s.target.inline_fuse_a = rating_for(0.6 * s.target.protection.rating_a)
    s.running(200)
    s.target.draw.scale = 1.0

    def rises(van: Van) -> None:
        s.target.draw.scale = point.between("severity", 1.0, 1.25)

    def opens(van: Van) -> None:
        s.target.own_fuse_open = True

    s.van.at(s.onset_s - 30, rises)
    s.van.at(s.onset_s, opens)
    draws_a = (s.target.draw.watts + s.target.draw.floor_w) / 12.8
    over = s.target.inline_fuse_a is not None and draws_a > 1.1 * s.target.inline_fuse_a
    return s, s.truth("own-fuse", also=("overcurrent",), tellable=over)


@family("source-limited")
def source_limited(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), inverter=True)
    van = s.van
    lab = next(w for w in van.ways if w.draw.sort is SORTS["ac-electronics"])
    kettle = next(w for w in van.ways if w.draw.sort is SORTS["ac-heater"])
    assert van.inverter is not None
    limit = van.inverter.limit_w
    times = point.between("severity", 1.1, 2.0)

    def more(van: Van) -> None:
        kettle.draw.hold(0.0, van.now_s)
        kettle.draw.extra_w = limit * times
        van.fine.append((van.now_s, van.now_s + 30))

    van.at(s.onset_s, more)
    s.target = lab
    s.grade["load"] = "ac"
    van.bank.r0_ohm, van.bank.r1_ohm = 0.3 * van.bank.r0_ohm, 0.3 * van.bank.r1_ohm  # a bank that carries its inverter
    return s, s.truth(
        "source-limited", subjects=(("supply", "inverter"), ("circuit", lab.id), ("circuit", kettle.id)),
        mark="inverter shut down", also=("overcurrent",), tellable=van.period_s <= 2,
        must=lab.declared_floor_w is not None,
    )  # fmt: skip


# --- explanations of zero that ask for nothing


@family("H6-rests", innocent=True)
def rests(point: Point) -> Made:
    floor = point.chance("floor", 0.6)
    s = scene(
        point, point.pick("load", ("compressor", "air-heater", "fan") if floor else ("element",)), feed="always-on", floor=floor
    )
    s.running(300)
    s.van.at(s.onset_s, lambda van: s.target.draw.hold(0.0, van.now_s))
    s.after_s *= point.between("severity", 1.0, 2.5)
    return s, s.truth("rests", must=False)


@family("H11-old-message", innocent=True)
def old_message(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on")
    age_s = point.log_between("severity", 60, 80000)

    def told(van: Van) -> None:
        now_ms = T0_MS + round(van.now_s * 1000)
        for way in van.ways:
            van.extra.append(
                Reading(way.id, now_ms - round(age_s * 1000), now_ms,
                        0.0 if way.sense.volts_at != "bus" else round(van.bus_v, 2), 0.0, None, None, None, None, "retained")
            )  # fmt: skip

    s.van.at(s.onset_s, told)
    return s, s.truth("old-message", must=False)


@family("H12-turned-down", innocent=True)
def turned_down(point: Point) -> Made:
    s = scene(point, point.pick("load", ("fan", "air-heater", "charger", "compressor")), feed="always-on")
    s.running(600)
    share = point.pick("severity", (0.0, 0.05, 0.2, 0.4))
    s.van.at(s.onset_s, lambda van: s.target.draw.hold(share, van.now_s))
    return s, s.truth("turned-down", must=False)


@family("H14-lock-out", innocent=True)
def lock_out(point: Point) -> Made:
    s = scene(point, "compressor", feed="always-on")
    van = s.van
    van.bank.chemistry, van.bank.charge = "agm", point.between("charge", 0.15, 0.45)
    van.cutoff_v, van.restore_v = 10.8, 12.0
    s.target.draw.lock_v = van.bank.open_v() - 0.25
    s.running(400)
    heavy = max((w for w in van.ways[1:] if w.supply == "house" and w.draw.sort.kind != "inverter"), key=slack_w)
    s.target.draw.lock_v = van.bank.open_v() - 0.35

    def more(van: Van) -> None:
        heavy.draw.extra_w = min(100.0, slack_w(heavy))
        van.bank.r0_ohm = 0.55 / max(5.0, van.total_a + heavy.draw.extra_w / 12.0)  # cold: the bank gives less under load

    def charge(van: Van) -> None:
        van.charge_a = 25.0

    van.at(s.onset_s, more)
    van.at(s.onset_s + 0.6 * s.after_s, charge)
    return s, s.truth("lock-out", must=False, also=("supply", "overcurrent"))


# --- the twins: the same look, no fault


def twin(name: str) -> Callable[[Build], Build]:
    return family(f"{name}~twin", innocent=True)


def _innocent(s: Scene, *also: str) -> Made:
    return s, s.truth("none", must=False, also=also)


@twin("H1-remote-off")
def remote_off_twin(point: Point) -> Made:
    s = scene(point, point.pick("load", ("fan", "light", "socket", "pump", "charger")), feed="switched")
    s.running(400)
    s.target.tells_closed = point.chance("closed", 0.7)

    def off(van: Van) -> None:
        s.target.closed = False
        if s.target.tells_commanded:
            s.target.commanded = False

    s.van.at(s.onset_s, off)
    return _innocent(s)


@twin("H2-load-switch")
def load_switch_twin(point: Point) -> Made:
    always = point.chance("always", 0.5)
    s = scene(point, point.pick("load", ("compressor", "fan", "charger")), feed="always-on" if always else "switched")
    s.running(400)

    def off(van: Van) -> None:
        if always:
            s.target.draw.hold(0.0, van.now_s)  # to standby: its floor stays
        else:
            s.target.load_off = True

    s.van.at(s.onset_s, off)
    return _innocent(s)


@twin("H3-overload")
def overload_twin(point: Point) -> Made:
    s = scene(point, point.pick("load", ("socket", "element", "pump", "charger", "light")), feed="switched")
    target = s.target
    share = point.between("severity", 0.7, 1.08)
    target.draw.watts = (
        share * target.protection.rating_a * 12.8 / (target.draw.sort.surge[0] if target.draw.sort.surge[1] > 20 else 1)
    )
    s.running(point.log_between("running", 60, 1500))

    def off(van: Van) -> None:
        target.load_off = True

    s.van.at(s.onset_s, off)
    return _innocent(s, "overcurrent")


@twin("H3-short")
def short_twin(point: Point) -> Made:
    s = scene(point, point.pick("load", OVERLOADED))
    s.running(300)
    dip = point.between("severity", 0.5, 5.0)
    length = point.log_between("length", 0.5, 12.0)
    s.van.dips += [(s.onset_s, s.onset_s + min(1.0, length), dip), (s.onset_s + 1, s.onset_s + length, 0.6 * dip)]
    if point.chance("reboot", 0.5):
        away = point.between("away", 20, 40)

        def reboots(van: Van) -> None:
            for way in van.ways:
                if way.draw.sort.kind == "electronics":
                    way.draw.off_until = van.now_s + away

        s.van.at(s.onset_s, reboots)
    s.van.at(s.onset_s + point.log_between("then", 5, 300), lambda van: s.target.draw.hold(0.0, van.now_s))
    return _innocent(s, "overcurrent")


@twin("H3-heat")
def heat_twin(point: Point) -> Made:
    s = scene(point, point.pick("load", ("compressor", "air-heater", "element")), floor=True, feed="always-on")
    panel_c = point.between("panel", 48, 72)
    s.van.panel_c = lambda t: panel_c
    for way in s.van.ways:
        way.drift_a_per_k = s.rng.uniform(-1, 1) * min(0.0003, 0.02 * way.sense.resolution_a)
    s.running(point.log_between("running", 300, 3000))
    s.van.at(s.onset_s, lambda van: s.target.draw.hold(0.0, van.now_s))
    return _innocent(s, "overcurrent")


@twin("H3-idle")
def opened_idle_twin(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on")
    s.idle(900)
    floor_a = (s.target.declared_floor_w or 0.3) / 13.0
    drift = point.between("severity", 0.2, 0.45) * floor_a / 30  # over 30 K, at most 0.5 mA/K (from memory)
    s.target.drift_a_per_k = -min(0.0005, drift)
    begin, rise = s.onset_s, point.between("rise", 15, 30)
    s.van.panel_c = lambda t: 25.0 + rise * min(1.0, max(0.0, (t - begin) / 900))
    return _innocent(s)


@twin("H3-small-fuse")
def small_fuse_twin(point: Point) -> Made:
    s = scene(point, point.pick("load", ("compressor", "air-heater", "pump")))
    s.idle(400)
    on_s = point.log_between("severity", 3, 180)
    s.van.at(s.onset_s, lambda van: s.target.draw.hold(1.0, van.now_s))
    s.van.at(s.onset_s + on_s, lambda van: s.target.draw.hold(0.0, van.now_s))
    s.van.fine.append((s.onset_s, s.onset_s + on_s + 5))
    return _innocent(s)


@twin("H4-feeder")
def feeder_twin(point: Point) -> Made:
    reboot = point.chance("node", 0.5)
    s = scene(point, point.pick("load", FLOORED) if reboot else "light", feed=None, where="rear")
    children = [w for w in s.van.ways if w.feeder == "rear"]
    away = point.log_between("severity", 15, 100)

    def bedtime(van: Van) -> None:
        for way in children:
            if way.feed == "always-on":
                way.draw.hold(0.0, van.now_s)
            else:
                way.load_off = True

    def gone(van: Van) -> None:
        for way in children:
            way.silent = True

    def back(van: Van) -> None:
        for way in children:
            way.silent = False

    if reboot:
        s.van.at(s.onset_s, gone)
        s.van.at(s.onset_s + away, back)
    else:
        s.running(600)
        s.van.at(s.onset_s, bedtime)
    return _innocent(s)


@twin("H5-disconnect")
def disconnect_twin(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on", behind=("disconnect",))
    van = s.van
    van.cutoff_v, van.restore_v, van.cutoff_delay_s = 11.4, 12.4, 60.0
    deep = point.between("severity", 0.4, 1.6)
    lasts = point.log_between("lasts", 3, 50)
    van.dips.append((s.onset_s, s.onset_s + lasts, deep))

    def off(van: Van) -> None:
        for way in van.ways:
            if "disconnect" in way.behind and way.feed == "switched" and van.rng.random() < 0.7:
                way.load_off = True

    van.at(s.onset_s + lasts, off)
    return _innocent(s, "supply")


@twin("H5-isolator")
def isolator_twin(point: Point) -> Made:
    s = scene(point, "light", feed="switched", behind=("isolator",))
    s.running(600)

    def bedtime(van: Van) -> None:
        for way in van.ways:
            if way.feed == "switched" and way.supply == "house" and (van.inverter is None or way.id != van.inverter.way):
                way.load_off = True
            elif way.feed == "always-on" and way.draw.sort.kind == "compressor":
                way.draw.hold(0.0, van.now_s)

    s.van.at(s.onset_s, bedtime)
    return _innocent(s)


@twin("H5-battery-protection")
def battery_twin(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on")
    # A crank: ISO 16750-2:2023 4.6.3, US 8.0 / 4.5 / 3.0 / 6.0 V, then up to 10 s at 9.5 / 6.5 / 5.0 / 6.5 V.
    first, then, lasts = point.pick("severity", ((8.0, 9.5, 1.0), (4.5, 6.5, 10.0), (3.0, 5.0, 1.0), (6.0, 6.5, 10.0)))
    bus = s.van.bank.open_v()
    s.van.dips += [(s.onset_s, s.onset_s + 0.3, bus - first), (s.onset_s + 0.3, s.onset_s + lasts, bus - then)]
    away = point.between("away", 20, 40)

    def reboots(van: Van) -> None:
        for way in van.ways:
            if way.draw.sort.kind == "electronics" and way.supply == "house":
                way.draw.off_until = van.now_s + away

    def charges(van: Van) -> None:
        van.charge_a, van.charge_v = 40.0, 14.3

    s.van.at(s.onset_s, reboots)
    s.van.at(s.onset_s + lasts, charges)
    return _innocent(s, "supply")


@twin("H7-load-failed")
def load_failed_twin(point: Point) -> Made:
    s = scene(point, point.pick("load", ("compressor", "fan", "air-heater")), feed="always-on")
    s.running(200)
    s.van.at(s.onset_s, lambda van: s.target.draw.hold(0.0, van.now_s))
    s.van.at(s.onset_s + 0.7 * s.after_s, lambda van: s.target.draw.hold(1.0, van.now_s))
    return _innocent(s)


@twin("H8-wire")
def wire_twin(point: Point) -> Made:
    s = scene(point, point.pick("load", ("charger", "compressor", "electronics")), feed="always-on")
    s.running(900)
    s.target.draw.wiggle = point.between("severity", 0.05, 0.3)  # it works unevenly
    s.van.at(s.onset_s, lambda van: s.target.draw.hold(0.0, van.now_s))
    return _innocent(s)


@twin("H9-sensor")
def sensor_twin(point: Point) -> Made:
    s = scene(point, point.pick("load", ("light", "pump", "element", "socket")), feed="switched", meter=True)
    for way in s.van.ways:
        if way.declared_floor_w is None:
            way.zero_a = way.noise_a = 0.0  # an exact zero of a circuit that is off
    s.van.at(1.0, lambda van: s.target.draw.hold(0.0, van.now_s))
    return _innocent(s)


@twin("H10-silent")
def silent_twin(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on")
    period = s.van.period_s
    room = max(10 * period, 120.0) - (8.5 * period if s.target.loss else 0.0)  # lost readings before and after it count too
    gap = max(period, point.between("severity", 0.2, 0.85) * room)
    keeps = point.chance("keeps", 0.5)

    def gone(van: Van) -> None:
        van.holding, van.away = keeps, not keeps

    def back(van: Van) -> None:
        van.holding = van.away = False

    s.van.payload_time = True
    s.van.at(s.onset_s, gone)
    s.van.at(s.onset_s + gap, back)
    return _innocent(s)


@twin("H13-own-fuse")
def own_fuse_twin(point: Point) -> Made:
    s = scene(point, "electronics", feed="always-on")
    away = point.between("severity", 20, 40)

    def reboots(van: Van) -> None:
        s.target.draw.off_until = van.now_s + away

    s.van.at(s.onset_s, reboots)
    s.van.fine.append((s.onset_s, s.onset_s + 60))
    return _innocent(s)


@twin("source-limited")
def source_limited_twin(point: Point) -> Made:
    goes = point.chance("shore", 0.4)
    s = scene(point, point.pick("load", FLOORED), inverter=True)
    van = s.van
    assert van.inverter is not None
    inverter = van.inverter
    if goes:
        van.presence = "comes-and-goes"

        def off(van: Van) -> None:
            inverter.on = False

        for way in van.ways:
            if way.supply == "inverter":
                way.feed, way.importance, way.declared_floor_w = "switched", "comfort", None
    else:

        def off(van: Van) -> None:
            for way in van.ways:
                if way.supply == "inverter":
                    way.draw.hold(0.0, van.now_s)

    van.at(s.onset_s, off)
    return _innocent(s)


@twin("H14-lock-out")
def lock_out_twin(point: Point) -> Made:
    s = scene(point, "compressor", feed="always-on")
    volts = point.between("severity", 13.4, 14.6)

    def charges(van: Van) -> None:
        van.charge_a, van.charge_v = 40.0, volts

    def ends(van: Van) -> None:
        van.charge_a = 0.0

    s.van.at(s.onset_s, charges)
    s.van.at(s.onset_s + 0.6 * s.after_s, ends)
    return _innocent(s)


@twin("H11-old-message")
def old_message_twin(point: Point) -> Made:
    s = scene(point, point.pick("load", FLOORED), feed="always-on")
    s.van.duplicates = point.between("severity", 0.05, 0.5)
    return _innocent(s)
