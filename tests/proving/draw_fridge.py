"""A refrigerator of two nodes, air and food (from memory), moved in closed steps: between two switchings the system is linear,
so a step is its exact solution, however long.

    C_air dTair/dt = UA (Ta - Tair) + h (Tfood - Tair) + q - on Qc        C_food dTfood/dt = h (Tair - Tfood)

Cold made: Qc = P(Ta) efficiency Te / (Tc - Te), condensing 12 K above the air round it. P(Ta) = P0 (1 + a (Ta - 25)).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import exp, sqrt
from random import Random

from proving.draws import Draw, Sort

CONDENSES_K = 12.0  # above the air round it; from memory
KELVIN = 273.15
LONGEST_S = 60.0  # a step: the air round it is taken as steady so long
MIN_OFF_S = 180.0  # from memory


class Refrigerator(Draw):
    """Thermostat, compressor, box. Faults are attributes that a case sets while it runs."""

    def __init__(
        self,
        sort: Sort,
        floor_w: float,
        nominal_v: float,
        rng: Random,
        around: Callable[[float], float],
        *,
        freezer: bool = False,
        t: float = -60.0,
    ) -> None:
        self.around = around
        # W/K, J/K: from memory; a freezer's box is the better insulated one.
        self.ua = rng.uniform(0.6, 0.85) if freezer else rng.uniform(0.8, 1.3)
        self.c_air = rng.uniform(10e3, 15e3)
        self.c_food = rng.uniform(60e3, 200e3)
        self.h = rng.uniform(4.0, 6.5)  # air to food; from memory
        self.set_c = rng.uniform(-19.0, -16.0) if freezer else rng.uniform(3.0, 6.0)
        self.band_k = rng.uniform(1.2, 1.6)
        self.te_k = KELVIN + self.set_c - rng.uniform(18.0, 21.0)  # evaporating
        self.a_per_k = rng.uniform(0.006, 0.011)
        self.efficiency = rng.uniform(0.30, 0.36)  # of Carnot's
        # Its maker chose the compressor for a duty at 32 °C (from memory: 0.35 to 0.45; a freezer's 15 to 20 points more).
        duty = rng.uniform(0.35, 0.45) + (0.17 if freezer else 0.0)
        lift_k = KELVIN + 32.0 + CONDENSES_K - self.te_k
        cold_w = (self.ua * (32.0 - self.set_c) + 3.0) / duty
        self.p0_w = cold_w / (self.efficiency * self.te_k / lift_k) / (1 + self.a_per_k * 7.0)
        super().__init__(sort, self.p0_w, floor_w, nominal_v, rng)
        self.power = -1.0
        # faults and settings
        self.charge = 1.0  # share of its refrigerant that is left
        self.frost = 0.0  # share of the evaporator that ice has taken
        self.condenser_k = 0.0  # what dust adds to the condensing temperature
        self.ajar_w_per_k = 0.0  # a door that does not close, on top of UA
        self.heat_w = 3.0  # what people's use brings in on average; the rest are openings
        self.off = False  # on its own panel: no cooling, floor present
        self.chatter: tuple[float, float, float] | None = None  # from, seconds on, seconds off: however cold it is
        self.fails: tuple[float, float, float] | None = None  # retry_s, pulse_s, times: it tries and does not turn
        # state
        self.t = t
        self.on = rng.random() < 0.4
        self.air_c = self.set_c + rng.uniform(-1, 1)
        self.food_c = self.set_c
        self.since = t - 1e4
        self.tries_from = t
        self.on_s = self.all_s = self.cooled_j = self.let_in_j = self.used_j = 0.0
        self._key: tuple[float, float, float] | None = None
        self._matrix = (0.0, 0.0, 0.0, 0.0)

    # what it draws and makes

    def run_w(self, around_c: float) -> float:
        """Compressor's watts: more in warmth, a little less iced, less with lost charge, more with a dusty condenser (F30)."""
        watts = self.p0_w * (1 + self.a_per_k * (around_c - 25.0)) * (1 - 0.12 * self.frost)
        return float(watts * (1 - 0.5 * (1 - self.charge)) * (1 + 0.008 * self.condenser_k))

    def cold_w(self, around_c: float) -> float:
        sound_w = self.p0_w * (1 + self.a_per_k * (around_c - 25.0))
        lift_k = max(15.0, KELVIN + around_c + CONDENSES_K + self.condenser_k - self.te_k)
        return sound_w * self.efficiency * self.te_k / lift_k * (1 - self.frost) * self.charge

    def duty(self, around_c: float) -> float:
        """In the long run, were the air round it always so."""
        need_w = (self.ua + self.ajar_w_per_k) * (around_c - self.set_c) + self.heat_w
        return min(1.0, max(0.0, need_w / self.cold_w(around_c)))

    # time

    def _move(self, dt: float, around_c: float) -> tuple[float, float]:
        ua = self.ua + self.ajar_w_per_k
        key = (dt, ua, self.c_food)
        if key != self._key:
            a, b, c = (ua + self.h) / self.c_air, self.h / self.c_air, self.h / self.c_food
            root = sqrt((a + c) ** 2 / 4 - (a * c - b * c))
            first, second = -(a + c) / 2 + root, -(a + c) / 2 - root
            e1, e2 = exp(first * dt) / (2 * root), exp(second * dt) / (2 * root)
            self._matrix = (e1 * (-a - second) - e2 * (-a - first), (e1 - e2) * b, (e1 - e2) * c,
                            e1 * (-c - second) - e2 * (-c - first))  # fmt: skip
            self._key = key
        end = around_c + (self.heat_w - (self.cold_w(around_c) if self.on else 0.0)) / ua
        m11, m12, m21, m22 = self._matrix
        air, food = self.air_c - end, self.food_c - end
        return end + m11 * air + m12 * food, end + m21 * air + m22 * food

    def advance(self, t: float) -> None:
        while self.t < t - 1e-9:
            around_c, now = self.around(self.t), self.t
            dt = min(LONGEST_S, t - now)
            self._switch(now)
            high, low = self.set_c + self.band_k, self.set_c - self.band_k
            air, food = self._move(dt, around_c)
            if self.chatter is None and ((self.on and air < low < self.air_c) or (not self.on and air > high > self.air_c)):
                at = low if self.on else high
                part = dt * (self.air_c - at) / (self.air_c - air)
                if 1e-6 < part < dt:
                    dt = part
                    air, food = self._move(dt, around_c)
            self._count(dt, around_c, air, food)
            self.air_c, self.food_c, self.t = air, food, now + dt

    def _switch(self, now: float) -> None:
        if self.chatter is not None:
            begin, on_s, off_s = self.chatter
            self.on = not self.off and (now - begin) % (on_s + off_s) < on_s
            return
        if self.off or self.locked or self.fails is not None:
            if self.on:
                self.on, self.since = False, now
        elif self.on and self.air_c <= self.set_c - self.band_k + 1e-6:
            self.on, self.since = False, now
        elif not self.on and self.air_c >= self.set_c + self.band_k - 1e-6 and now - self.since >= MIN_OFF_S:
            self.on, self.since, self.surge_from = True, now, now

    def _count(self, dt: float, around_c: float, air: float, food: float) -> None:
        self.all_s += dt
        if self.on:
            self.on_s += dt
            self.used_j += self.run_w(around_c) * dt
            self.cooled_j += self.cold_w(around_c) * dt
        # By the balance itself, so that a test can hold it to the mean of the two ends.
        self.let_in_j += dt * ((self.ua + self.ajar_w_per_k) * (around_c - (self.air_c + air) / 2) + self.heat_w)

    def open_door(self, share: float = 0.4) -> None:
        """So much of its air is that of the room."""
        self.air_c += share * (self.around(self.t) - self.air_c)

    def put_in(self, kg: float, celsius: float) -> None:
        """Goods, taken as water (4.2 kJ/kg K; above freezing)."""
        joules_per_k = 4200.0 * kg
        whole = self.c_food + joules_per_k
        self.food_c = (self.c_food * self.food_c + joules_per_k * celsius) / whole
        self.c_food = whole

    def amps(self, t: float, volts: float) -> float:
        if volts < 1.0 or t < self.off_until:
            was, self.off = self.off, True  # it warms
            self.advance(t)
            self.off = was
            return 0.0
        if self.lock_v is not None:
            if volts < self.lock_v:
                self.locked = True
            elif volts > self.lock_v + 0.9:
                self.locked = False
        self.advance(t)
        bent = max(volts, 0.45 * self.nominal_v)
        watts = self.floor_w * (1.0 + 0.01 * self.rng.gauss(0.0, 1.0))
        if self.fails is not None and not self.off:
            retry_s, pulse_s, times = self.fails
            if self.air_c >= self.set_c - self.band_k and (t - self.tries_from) % retry_s < pulse_s:
                watts += times * self.p0_w
        elif self.on:
            run_w = self.run_w(self.around(t))
            times, lasts_s = self.sort.surge
            if t - self.surge_from < lasts_s:
                run_w *= times
            watts += run_w * (1.0 + self.sort.wiggle * self.rng.gauss(0.0, 1.0))
        return watts / bent


def sort_of(sort: Sort, rng: Random) -> Sort:
    """Of refrigerators most start softly (from memory: 1.5 to 3 times for 0.2 to 1 s)."""
    return replace(sort, surge=(rng.uniform(1.5, 3.0), rng.uniform(0.2, 1.0)))
