"""The simulated survey van: bank, devices, loads, sensors and the people in it. Same seed, same van, same readings."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import UTC, datetime
from math import cos, pi, sin
from pathlib import Path
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from panelward.errors import Fault, ScheduleError
from panelward.rig.bank import Bank
from panelward.rig.fuse import Link, fitted
from panelward.rig.loads import Detector, Fan, Freezer, Heater, Inverter, Load, Sockets, Terminal, World

STEP_S = 0.5
REMOTE = ("D1", "D4", "D9")  # their switches report their state
WAYS = ("D1", "D2", "D3", "D4", "D5", "D6", "D7", "D8", "D9", "D10", "D11", "D12")
OWN_DRAW_A = 0.02  # of the meter
AC_V = 230.0
SOLAR_MOST_A = 22.0  # its charger gives no more


@dataclass(frozen=True, slots=True)
class Row:
    """One circuit's reading at one moment, as its channel reports it."""

    time_ms: int
    circuit: str
    volts: float | None = None
    amps: float | None = None
    watts: float | None = None
    closed: bool | None = None
    celsius: float | None = None
    commanded: bool | None = None  # only in the first reading after a command


class Channel:
    """A sensor: its own gain, zero, noise; a resolution."""

    def __init__(self, chance: Random, resolution_a: float) -> None:
        self._gain = 1.0 + chance.uniform(-0.01, 0.01)
        self._zero_a = chance.uniform(-0.005, 0.005)
        self._resolution_a, self._chance = resolution_a, chance

    def amps(self, true_a: float) -> float:
        seen = true_a * self._gain + self._zero_a + self._chance.gauss(0.0, 0.003 + 0.002 * abs(true_a))
        return round(round(seen / self._resolution_a) * self._resolution_a, 4)


class Van:
    """Steps in half seconds; `sample` reports what the channels see at this moment."""

    def __init__(self, schedule_path: str, seed: int, start_ms: int) -> None:
        text = _read(schedule_path)
        self.plan: dict[str, Any] = {c["id"]: c for c in text["circuit"]}
        missing = [way for way in (*WAYS, "SH", "D13", "A1") if way not in self.plan]
        if missing:
            fault = Fault(schedule_path, None, "circuit", "the survey van's ways", f"no {', '.join(missing)}",
                          "The rig simulates config/survey-van.toml.")  # fmt: skip
            raise ScheduleError((fault,))
        self.chance = Random(seed)
        self.zone = ZoneInfo(text["vehicle"].get("timezone", "UTC"))
        self.now_ms = start_ms
        house = text["supply"]["house"]
        self.nominal_v = float(house["nominal_v"])
        self.bank = Bank(
            house["battery"]["capacity_ah"], 0.8, house.get("cutoff_v"), float(house.get("cutoff_delay_s", 10)),
            house.get("restore_v"),
        )  # fmt: skip
        self.world = World()
        self.warmth_k = 0.0  # a season: added to the outside
        self.clouds = 0.3
        self.freezer, self.terminal, self.heater, self.fan = Freezer(), Terminal(), Heater(), Fan()
        self.sockets, self.inverter = Sockets(), Inverter()
        self.pump = Load(62.0, surge=3.5, surge_s=0.3)
        self.lights = Load(84.0)
        self.detector = Detector()
        self.sump = Load(40.0, surge=3.0, surge_s=0.2)
        self.computer = Load(0.0, floor_w=6.0)
        self.drill = Load(260.0, surge=4.0, surge_s=0.5)
        self.loads: dict[str, Load] = {
            "D1": self.freezer, "D2": self.terminal, "D3": self.heater, "D4": self.pump, "D5": self.lights,
            "D6": self.detector, "D7": self.sockets, "D8": self.fan, "D9": self.inverter, "D10": self.sump,
            "D11": self.computer, "D12": self.drill,
        }  # fmt: skip
        self.devices: dict[str, Link] = {way: self._device(way) for way in (*WAYS, "A1")}
        own = Random(seed + 104_729)  # feeders draw from a chance of their own: adding one changes no circuit
        self.feeders: dict[str, Link] = {
            name: fitted(found["protection"]["kind"], None, float(found["protection"]["rating_a"]), own)
            for name, found in text.get("feeder", {}).items()
            if "protection" in found
        }
        self._on_feeder = {way: str(self.plan[way].get("feeder", "")) for way in WAYS}
        self.channels = {way: Channel(self.chance, 0.01) for way in self.plan}
        self.closed = dict.fromkeys(REMOTE, True)
        self.closed["D9"] = False
        self._reported: dict[str, bool] = {}
        self.behind = {way: self._behind(text, way) for way in WAYS}
        self.feeder_open: dict[str, bool] = {}
        self.extra_a = dict.fromkeys(WAYS, 0.0)  # a fault in the wiring draws this beside the load
        self.dip_v = 0.0  # something outside pulls the bus down
        self.bus_cut = False  # the bank's own protection has opened
        self.silent = False
        self.swapped: dict[str, str] = {}  # the way whose channel sees a way's draw, where the sensors were mixed up
        self.no_sun = False
        self.amps: dict[str, float] = dict.fromkeys(WAYS, 0.0)
        self.solar_a = 0.0
        self.ac_a = 0.0
        self.bus_v = self.bank.volts(0.0)
        self.branch_wh = self.solar_wh = self.own_wh = 0.0
        self._hour_ms, self._offset_h = -1, 0.0
        self.opened: list[tuple[int, str]] = []
        self._settle(own)

    def _settle(self, own: Random) -> None:
        """The half second before the start: so that the first readings show what is connected, not zeros."""
        chance, self.chance = self.chance, own
        self.now_ms -= round(STEP_S * 1000)
        self.step()
        self.chance = chance

    def _device(self, way: str) -> Link:
        protection = self.plan[way]["protection"]
        return fitted(protection["kind"], protection.get("type"), float(protection["rating_a"]), self.chance)

    def _behind(self, text: dict[str, Any], way: str) -> tuple[str, ...]:
        plan = self.plan[way]
        feeder = plan.get("feeder")
        above = text.get("feeder", {}).get(feeder, {}).get("behind", []) if feeder else []
        return (*plan.get("behind", []), *above, *((feeder,) if feeder else ()))

    def mix_up(self, one: str, other: str) -> None:
        """The channel of each sees the other's draw. ScheduleError where it is no such way."""
        for way in (one, other):
            if way not in WAYS:
                raise ScheduleError((Fault("the command line", None, "--swap", f"two of {', '.join(WAYS)}", repr(way)),))
        self.swapped = {one: other, other: one}

    def local(self) -> datetime:
        return datetime.fromtimestamp(self.now_ms / 1000, UTC).astimezone(self.zone)

    def step(self) -> None:
        """Half a second of the van."""
        self._weather()
        volts = 0.0 if self.bus_cut else max(0.0, self.bus_v - self.dip_v)
        total_a = 0.0
        for way, load in self.loads.items():
            amps = self._way_amps(way, load, volts)
            self.amps[way] = amps
            total_a += amps
        for name, device in self.feeders.items():
            amps = sum(self.amps[way] for way in WAYS if self._on_feeder[way] == name)
            if device.step(amps, STEP_S):
                self.opened.append((self.now_ms, name))
                self.feeder_open[name] = True
        self.ac_a = self.inverter.ac_w / AC_V if self.amps["D9"] > 0.5 else 0.0
        if self.devices["A1"].step(self.ac_a, STEP_S):
            self.opened.append((self.now_ms, "A1"))
        if self.devices["A1"].open:
            self.ac_a = self.inverter.ac_w = 0.0
        self.solar_a = 0.0 if self.bus_cut else self._solar_a(volts)
        net_a = total_a - self.solar_a + OWN_DRAW_A
        if not self.bus_cut:
            self.branch_wh += total_a * volts * STEP_S / 3600.0
            self.solar_wh += self.solar_a * volts * STEP_S / 3600.0
            self.own_wh += OWN_DRAW_A * volts * STEP_S / 3600.0
            self.bank.step(net_a, STEP_S)
        self.bus_v = 0.0 if self.bus_cut else self.bank.volts(net_a)
        self.now_ms += round(STEP_S * 1000)

    def _way_amps(self, way: str, load: Load, volts: float) -> float:
        device = self.devices[way]
        cut = (
            device.open
            or any(self.feeder_open.get(name, False) for name in self.behind[way])
            or (self.bank.cut and "disconnect" in self.behind[way])
            or not self.closed.get(way, True)
        )
        watts = load.step(STEP_S, 0.0 if cut else volts, self.world, self.chance)
        if cut or volts < 1.0:
            return 0.0
        amps = watts / volts + self.extra_a[way]
        if device.step(amps, STEP_S):
            self.opened.append((self.now_ms, way))
        return amps

    def _weather(self) -> None:
        if self.now_ms // 3_600_000 != self._hour_ms:
            self._hour_ms = self.now_ms // 3_600_000
            offset = self.local().utcoffset()
            self._offset_h = offset.total_seconds() / 3600.0 if offset else 0.0
        hour = (self.now_ms / 3_600_000.0 + self._offset_h) % 24.0
        self.world.outside_c = 11.0 + self.warmth_k - 6.0 * cos((hour - 3.0) / 24.0 * 2.0 * pi)
        target_c = self.world.outside_c + 5.0
        self.world.inside_c += (target_c - self.world.inside_c) * STEP_S / 5400.0
        height = sin((hour - 5.5) / 15.0 * pi) if 5.5 <= hour <= 20.5 else 0.0
        if self.chance.random() < STEP_S / 300.0:
            self.clouds = min(0.95, max(0.0, self.clouds + self.chance.uniform(-0.3, 0.3)))
        self.world.sun = 0.0 if self.no_sun else max(0.0, height) * (1.0 - self.clouds)

    def _solar_a(self, volts: float) -> float:
        room = min(1.0, max(0.05, (1.0 - self.bank.charge) * 20.0))  # tapers as the bank fills
        return min(SOLAR_MOST_A, 600.0 * self.world.sun * room / max(10.0, volts))

    def step_to(self, until_ms: int) -> None:
        while self.now_ms < until_ms:
            self.step()

    def sample(self) -> list[Row]:
        """What every channel reports at this moment."""
        if self.silent:
            return []
        volts = 0.0 if self.bus_cut else max(0.0, self.bus_v - self.dip_v)
        seen_v = round(max(0.0, volts + self.chance.gauss(0.0, 0.004)), 2) if volts > 0.5 else 0.0
        rows = []
        whole_a = sum(self.amps.values()) - self.solar_a + (OWN_DRAW_A if volts > 1 else 0.0)
        for way, true_a in (("SH", whole_a), *self.amps.items(), ("D13", -self.solar_a)):
            rows.append(self._row(self.swapped.get(way, way), seen_v, true_a))
        ac_v = round(AC_V + self.chance.gauss(0.0, 0.4), 1) if self.amps["D9"] > 0.5 else 0.0
        rows.append(self._row("A1", ac_v, self.ac_a))
        panel_c = self.world.inside_c + 3.0 + 0.05 * sum(self.amps.values())
        for probe, celsius in (("T1", panel_c), ("T2", self.world.outside_c)):
            rows.append(Row(self.now_ms, probe, celsius=round(celsius + self.chance.gauss(0.0, 0.05), 1)))
        return rows

    def _row(self, way: str, volts: float, true_a: float) -> Row:
        amps = self.channels[way].amps(true_a)
        closed = self.closed.get(way)
        commanded = None
        if closed is not None:
            commanded = closed if self._reported.get(way, closed) != closed else None
            self._reported[way] = closed
        return Row(self.now_ms, way, volts, amps, round(volts * amps, 1), closed, None, commanded)


def _read(path: str) -> dict[str, Any]:
    try:
        return tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        remedy = "Run it in the clone, or name --schedule."
        fault = Fault(path, None, "(file)", "the van's schedule", str(error.strerror), remedy)
        raise ScheduleError((fault,)) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ScheduleError((Fault(path, None, "(file)", "a TOML file", str(error)),)) from None
