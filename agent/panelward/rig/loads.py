"""The loads of the van. Each says what it draws, in watts at its terminals, given volts and the world around it."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sin
from random import Random
from typing import ClassVar


@dataclass(slots=True)
class World:
    """What surrounds the loads."""

    outside_c: float = 12.0
    inside_c: float = 18.0
    sun: float = 0.0  # 0 to 1


class Load:
    """A load that draws `on_w` while it is on, after a start surge of `surge` times for `surge_s`."""

    def __init__(self, on_w: float, *, floor_w: float = 0.0, surge: float = 1.0, surge_s: float = 0.0) -> None:
        self.on_w, self.floor_w, self._surge, self._surge_s = on_w, floor_w, surge, surge_s
        self.on = False
        self.fed = True
        self._since_s = 1e9

    def switch(self, on: bool) -> None:
        if on and not self.on:
            self._since_s = 0.0
        self.on = on

    def step(self, dt_s: float, volts: float, world: World, chance: Random) -> float:
        """Watts drawn during the next `dt_s`."""
        self.live(dt_s, world, chance)
        if volts < 1.0 or not self.fed:
            self.dark(dt_s)
            return 0.0
        watts = self.draws(volts) if self.on else 0.0
        if self.on and self._since_s < self._surge_s:
            watts *= self._surge
        self._since_s += dt_s
        return self.floor_w + watts

    def draws(self, volts: float) -> float:
        return self.on_w

    def live(self, dt_s: float, world: World, chance: Random) -> None:
        """What goes on whether it has power or not."""

    def dark(self, dt_s: float) -> None:
        """Without power."""
        self._since_s = 0.0


class Freezer(Load):
    """Two masses (air, samples), a wall, a thermostat with hysteresis, a compressor that must rest before it restarts."""

    def __init__(self) -> None:
        super().__init__(52.0, floor_w=1.6, surge=3.0, surge_s=0.8)
        self.wall_w_per_k = 1.1
        self.air_j_per_k, self.samples_j_per_k, self.between_w_per_k = 12_000.0, 90_000.0, 4.0
        self.air_c, self.samples_c = -17.2, -17.8
        self.set_c, self.band_k, self.rest_s = -18.0, 1.5, 180.0
        self._off_s = 600.0
        self._around_c = 18.0
        self._cools = False

    def live(self, dt_s: float, world: World, chance: Random) -> None:
        self._around_c = world.inside_c
        gain_w = self.wall_w_per_k * (world.inside_c - self.air_c)
        cooled_w = 1.6 * self.on_w if self._cools else 0.0
        across_w = self.between_w_per_k * (self.samples_c - self.air_c)
        self.air_c += (gain_w + across_w - cooled_w) * dt_s / self.air_j_per_k
        self.samples_c -= across_w * dt_s / self.samples_j_per_k
        self._off_s += dt_s
        if self.on and self.air_c < self.set_c - self.band_k:
            self.on = False
            self._off_s = 0.0
        elif not self.on and self.air_c > self.set_c + self.band_k and self._off_s > self.rest_s and self.fed:
            self.switch(True)
        self._cools = self.on and self.fed

    def draws(self, volts: float) -> float:
        return self.on_w * (1.0 + 0.008 * (self._around_c - 20.0))

    def dark(self, dt_s: float) -> None:
        super().dark(dt_s)
        self._cools = False
        self.on = False
        self._off_s = 0.0


class Terminal(Load):
    """A radio terminal: idle with bursts; a higher draw while it boots."""

    def __init__(self) -> None:
        super().__init__(24.0)
        self.on = True
        self._boot_s = 0.0
        self._busy_s = 0.0

    def live(self, dt_s: float, world: World, chance: Random) -> None:
        self._boot_s = max(0.0, self._boot_s - dt_s)
        self._busy_s = max(0.0, self._busy_s - dt_s)
        if chance.random() < dt_s / 400.0:
            self._busy_s = chance.uniform(5.0, 60.0)

    def draws(self, volts: float) -> float:
        return 60.0 if self._boot_s > 0 else 45.0 if self._busy_s > 0 else 24.0

    def dark(self, dt_s: float) -> None:
        self._boot_s = 90.0


class Heater(Load):
    """A fuel-fired air heater: glow, burn by the cold, run down. Its plug, its fan, its pump."""

    def __init__(self) -> None:
        super().__init__(22.0, floor_w=0.5)
        self.wanted = False
        self.phase, self._phase_s = "off", 0.0
        self._burn_w = 20.0

    def live(self, dt_s: float, world: World, chance: Random) -> None:
        self._phase_s += dt_s
        self._burn_w = min(32.0, max(12.0, 12.0 + 1.5 * (20.0 - world.outside_c)))
        if self.phase == "off" and self.wanted:
            self.phase, self._phase_s = "glow", 0.0
        elif self.phase == "glow" and self._phase_s > 90.0:
            self.phase, self._phase_s = "burn", 0.0
        elif self.phase == "burn" and not self.wanted:
            self.phase, self._phase_s = "run-down", 0.0
        elif self.phase == "run-down" and self._phase_s > 180.0:
            self.phase = "off"
        self.on = self.phase != "off"

    def draws(self, volts: float) -> float:
        if self.phase == "glow":
            return 125.0 * (volts / 13.0) ** 2  # a resistance
        return self._burn_w if self.phase == "burn" else 18.0

    def dark(self, dt_s: float) -> None:
        self.phase = "off"


class Fan(Load):
    """A roof fan. Power = electronics + k n^3 (the affinity law) with each setting's own speed n: the setting's percentage
    is not the speed. Common practice, no source: about 35 W at full, nearly a third at the 70 % setting, about 9 W at half.
    """

    SPEED: ClassVar[dict[str, float]] = {"full": 1.0, "70 %": 0.665, "half": 0.596}
    ELECTRONICS_W, FULL_W, AT_V = 2.0, 35.0, 13.5
    VOLTS_EXPONENT = 1.5  # of the current: a brushed motor with a fan, V^1.3 to V^1.8 (trade practice, no source)

    def __init__(self) -> None:
        super().__init__(self.FULL_W, surge=1.2, surge_s=1.5)
        self.setting = "full"

    def draws(self, volts: float) -> float:
        turning_w = (self.FULL_W - self.ELECTRONICS_W) * fan_power_share(self.SPEED[self.setting])
        return self.ELECTRONICS_W + turning_w * float((volts / self.AT_V) ** (1.0 + self.VOLTS_EXPONENT))


def fan_power_share(speed: float) -> float:
    """Affinity law: power goes as the cube of speed, at one system curve."""
    return speed**3


class Detector(Load):
    """A gas detector: flat but for the breathing of its heated sensor."""

    def __init__(self) -> None:
        super().__init__(0.0, floor_w=1.32)
        self._mean_w, self._phase_s = self.floor_w, 0.0

    def live(self, dt_s: float, world: World, chance: Random) -> None:
        self._phase_s = (self._phase_s + dt_s) % 47.0
        self.floor_w = self._mean_w * (1.0 + 0.04 * sin(2.0 * pi * self._phase_s / 47.0))


class Sockets(Load):
    """Whatever is plugged in."""

    def __init__(self) -> None:
        super().__init__(0.0)
        self.plugged_a = 0.0

    def step(self, dt_s: float, volts: float, world: World, chance: Random) -> float:
        return self.plugged_a * volts if volts > 1.0 and self.fed else 0.0


class Inverter(Load):
    """Idle draw, and what its alternating-current side asks for through its efficiency."""

    def __init__(self) -> None:
        super().__init__(21.0)
        self.ac_w = 0.0

    def draws(self, volts: float) -> float:
        return 21.0 + self.ac_w / 0.9
