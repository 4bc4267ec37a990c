"""Loads in their detail: a program of stretches laid end to end or over one another, and what lays them.

Motors, pumps, heaters, chargers are programs. A motor's start is two stretches: V/R that decays as it runs up
(`V = I R + k w`), over its running draw. Watts are at nominal volts; `power` is how amps go with the volts.
Figures: typical, from memory.
"""

from __future__ import annotations

from bisect import insort
from collections.abc import Callable
from math import exp
from random import Random
from typing import NamedTuple

from proving.draws import EXPONENT, Draw, Sort

RESISTIVE = 1.0
STEADY = 0.0  # amps that do not go with the volts
BY_WATTS = -1.0


class Stretch(NamedTuple):
    """A draw from `begin` to `end`, which goes from `watts` to `to_watts` with `tau_s`; or on for `on_s` of every `retry_s`."""

    begin: float
    end: float
    watts: float
    to_watts: float
    tau_s: float  # 0: `watts` all along
    power: float
    wiggle: float
    retry_s: float  # 0: all along
    on_s: float
    tag: str


def stretch(
    begin: float, end: float, watts: float, *, to_watts: float | None = None, tau_s: float = 0.0, power: float = BY_WATTS,
    wiggle: float = 0.01, retry_s: float = 0.0, on_s: float = 0.0, tag: str = "",
) -> Stretch:  # fmt: skip
    return Stretch(begin, end, watts, watts if to_watts is None else to_watts, tau_s, power, wiggle, retry_s, on_s, tag)


class Program(Draw):
    """A load whose draw is the sum of its stretches and its floor. Time only goes forward."""

    def __init__(self, sort: Sort, watts: float, floor_w: float, nominal_v: float, rng: Random) -> None:
        super().__init__(sort, watts, floor_w, nominal_v, rng)
        self.power = EXPONENT[sort.behaves]
        self.ahead: list[Stretch] = []
        self.running: list[Stretch] = []
        self.factor: dict[str, float] = {}  # of stretches by their tag: what has changed since
        self.worn: Callable[[float], float] | None = None  # of everything but the floor, in time
        self.floor_of: Callable[[float], float] | None = None  # a floor that is not the same all day

    def add(self, *stretches: Stretch) -> None:
        for each in stretches:
            insort(self.ahead, each)

    def clear(self, t: float) -> None:
        """All that was to come is off, and what runs ends."""
        self.ahead.clear()
        self.running = []

    def amps(self, t: float, volts: float) -> float:
        if volts < 1.0 or t < self.off_until:
            return 0.0
        ahead = self.ahead
        if ahead and ahead[0].begin <= t:
            while ahead and ahead[0].begin <= t:
                each = ahead.pop(0)
                if each.end > t:
                    self.running.append(each)
                    if each.tag == "start":
                        self.surge_from = each.begin
        ratio = max(volts, 0.45 * self.nominal_v) / self.nominal_v
        amps = 0.0
        if self.running:
            gauss = self.rng.gauss
            over = False
            for begin, end, watts, to_watts, tau_s, power, wiggle, retry_s, on_s, tag in self.running:
                if t >= end:
                    over = True
                    continue
                if retry_s and (t - begin) % retry_s >= on_s:
                    continue
                now_w = to_watts + (watts - to_watts) * exp(-(t - begin) / tau_s) if tau_s else watts
                if tag and self.factor:
                    now_w *= self.factor.get(tag, 1.0)
                amps += now_w * ratio**power * (1.0 + wiggle * gauss(0.0, 1.0))
            if over:
                self.running = [each for each in self.running if t < each.end]
            amps *= self.scale / self.nominal_v
            if self.worn is not None:
                amps *= self.worn(t)
        if self.extra_w:
            amps += self.extra_w / self.nominal_v / ratio * (1.0 + 0.003 * self.rng.gauss(0.0, 1.0))
        floor_w = self.floor_w if self.floor_of is None else self.floor_of(t)
        if floor_w:
            amps += floor_w / self.nominal_v / ratio * (1.0 + 0.01 * self.rng.gauss(0.0, 1.0))
        return amps


def of(draw: Draw) -> Program:
    """The same load as a program."""
    return Program(draw.sort, draw.watts, draw.floor_w, draw.nominal_v, draw.rng)


# --- motors


def turn(
    load: Program, begin: float, end: float, share: float = 1.0, *, times: float = 3.0, tau_s: float = 0.1,
    stiff: float = 0.0, thaw_s: float = 60.0, power: float | None = None, tag: str = "",
) -> None:  # fmt: skip
    """A motor turns: starting draw `times` its running one; `stiff` is what cold grease asks besides, until it has thawed."""
    run_w, wiggle = load.watts * share, load.sort.wiggle
    power = load.power if power is None else power
    load.add(
        stretch(begin, end, run_w, power=power, wiggle=wiggle, tag=tag),
        stretch(
            begin, min(end, begin + 8 * tau_s), (times - 1) * run_w, to_watts=0.0, tau_s=tau_s, power=RESISTIVE, tag="start"
        ),
    )
    if stiff:
        load.add(
            stretch(begin, min(end, begin + 6 * thaw_s), stiff * run_w, to_watts=0.0, tau_s=thaw_s, power=power, wiggle=wiggle)
        )


def stall(load: Program, begin: float, lasts_s: float, times: float) -> None:
    """It stands still: V/R, which its own warmth takes down by a sixth (copper at +50 K: 0.39 %/K, IEC 60028)."""
    full_w = load.watts * times
    load.add(stretch(begin, begin + lasts_s, full_w, to_watts=0.84 * full_w, tau_s=40.0, power=RESISTIVE, wiggle=0.004))


def retry(load: Program, begin: float, end: float, times: float, retry_s: float, on_s: float) -> None:
    """Its drive tries, gives up, and tries again (F23: 0.5 s on, 5 s off)."""
    load.add(stretch(begin, end, load.watts * times, power=STEADY, wiggle=0.01, retry_s=retry_s, on_s=on_s))


# --- pumps


def tap(load: Program, begin: float, lasts_s: float, opening: float, *, refill_s: float = 5.0, tag: str = "") -> float:
    """A tap is opened so far (0 to 1). The pump draws least with it wide open (F25), most near its cut-off; when it ends."""
    end = begin + lasts_s
    flows = load.watts * (1.15 - 0.32 * opening)  # a wet band of 0.83 to 1.15, cut-off included
    kind = tag or "wet"
    load.add(
        stretch(begin, end, flows, power=0.1, wiggle=0.03, tag=kind),
        stretch(begin, begin + min(lasts_s, 2.0), 2.0 * load.watts, to_watts=0.0, tau_s=0.12, power=RESISTIVE, tag="start"),
    )
    if refill_s:
        load.add(
            stretch(
                end, end + refill_s, flows, to_watts=1.15 * load.watts, tau_s=refill_s / 3, power=0.1, wiggle=0.03, tag=kind
            )
        )
    return end + refill_s


def day_of_taps(
    load: Program, start: float, wake_s: float, sleep_s: float, rng: Random, *, times: int, showers: int, nightly: float = 0.4
) -> None:
    """A day's water: taps while people are awake, a shower or two, a visit by night. None over another."""
    wanted: list[tuple[float, float, float]] = []
    for _ in range(times):
        wanted.append(
            (start + rng.uniform(wake_s, sleep_s), rng.choice((rng.uniform(6, 25), rng.uniform(15, 90))), rng.uniform(0.2, 1.0))
        )
    for _ in range(showers):
        wanted.append((start + wake_s + rng.uniform(0, 5400), rng.uniform(150, 420), rng.uniform(0.6, 1.0)))
    if rng.random() < nightly:
        wanted.append((start + (sleep_s + rng.uniform(5400, 21600)) % 86400, rng.uniform(5, 20), rng.uniform(0.3, 0.8)))
    until = start
    for begin, lasts_s, opening in sorted(wanted):
        if begin > until:
            until = tap(load, begin, lasts_s, opening, refill_s=rng.uniform(3, 10))


# --- heat


def pads(load: Program, begin: float, end: float, count: int, *, ptc: float = 1.0, warm_s: float = 40.0) -> None:
    """Equal elements side by side. PTC ones take `ptc` times at first (from memory: 2 to 4 times, 30 to 120 s)."""
    each_w = load.watts / count
    for n in range(count):
        load.add(stretch(begin, end, ptc * each_w, to_watts=each_w, tau_s=warm_s if ptc > 1 else 0.0, power=RESISTIVE,
                         wiggle=0.003, tag=f"pad{n}"))  # fmt: skip


class Burn(NamedTuple):
    """An air heater's ways: from memory."""

    glow_w: float
    glow_s: float
    fan_w: float
    purge_w: float
    purge_s: float
    after_glow_s: float  # a second glow as it shuts down, on many; 0: none


def burner(load: Program, rng: Random) -> Burn:
    return Burn(rng.uniform(100, 145), rng.uniform(70, 140), rng.uniform(8, 14), load.watts * rng.uniform(0.9, 1.1),
                rng.uniform(130, 280), rng.choice((0.0, rng.uniform(30, 60))))  # fmt: skip


def light_up(load: Program, burn: Burn, begin: float, *, glow: float = 1.0, double: bool = False) -> float:
    """Fan and glow, a second glow where it was made so; when the flame should burn."""
    glow_s = burn.glow_s * glow
    end = begin + 15 + glow_s + 20
    load.add(stretch(begin, end, burn.fan_w, wiggle=0.03))
    if glow:
        load.add(stretch(begin + 15, begin + 15 + glow_s, burn.glow_w, power=RESISTIVE, wiggle=0.01, tag="glow"))
    if double:
        again = end + 20
        load.add(stretch(end, again + glow_s, burn.fan_w, wiggle=0.03),
                 stretch(again, again + glow_s, burn.glow_w, power=RESISTIVE, wiggle=0.01, tag="glow"))  # fmt: skip
        end = again + glow_s
    return end


def heat(
    load: Program, burn: Burn, begin: float, run_s: float, rng: Random, *, glow: float = 1.0, double: bool = False
) -> float:
    """A whole burn: lit, at its levels, purged; when it is all over."""
    t = light_up(load, burn, begin, glow=glow, double=double)
    end = t + run_s
    while t < end:
        lasts = min(end - t, rng.uniform(400, 1800))
        load.add(stretch(t, t + lasts, load.watts * rng.choice(load.sort.steps), wiggle=0.03))
        t += lasts
    return purge(load, burn, end)


def purge(load: Program, burn: Burn, begin: float) -> float:
    load.add(stretch(begin, begin + burn.purge_s, burn.purge_w, wiggle=0.03))
    if burn.after_glow_s:
        load.add(stretch(begin + 5, begin + 5 + burn.after_glow_s, burn.glow_w, power=RESISTIVE, tag="glow"))
    return begin + burn.purge_s


# --- chargers, standby


def charge(load: Program, begin: float, rng: Random, *, share: float = 1.0, full_s: float, taper_s: float) -> float:
    """Full draw, then a taper (from memory: over 1 to 3 h) down to nothing; when that is over."""
    full_w = load.watts * share
    end = begin + full_s + 4.5 * taper_s
    load.add(stretch(begin, begin + full_s, full_w, wiggle=0.01),
             stretch(begin + full_s, end, full_w, to_watts=0.0, tau_s=taper_s, wiggle=0.01))  # fmt: skip
    return end


def uneven(load: Program, rng: Random, share: float = 0.15) -> None:
    """A standby that wakes: every hour or so a few seconds or minutes above its floor, a share of it."""
    every_s, wakes_s = rng.uniform(1500, 5400), rng.uniform(5, 120)
    rises, floor_w, phase = rng.uniform(0.3, 1.0) * share, load.floor_w, rng.uniform(0, 5400)

    def floor_of(t: float) -> float:
        return floor_w * (1.0 + rises) if (t + phase) % every_s < wakes_s else floor_w

    load.floor_of = floor_of
