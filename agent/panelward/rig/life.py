"""What people do in the van on an ordinary day, faults that befall it, and their innocent twins.

Faults are named on the command line: NAME, NAME@21:30 (local time of the first day) or NAME+600 (seconds after start).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from heapq import heappop, heappush
from random import Random
from typing import Any

from panelward.errors import Fault, ScheduleError
from panelward.rig.loads import Load
from panelward.rig.van import Van

Act = Callable[[Van], None]


@dataclass(slots=True)
class Truth:
    """What really happened, for whoever judges a watch by it."""

    fault: str
    circuit: str
    begins_ms: int
    expected: str | None  # the kind a watch should raise; None: an innocent twin
    what: str


@dataclass(slots=True)
class Life:
    """Acts in time order."""

    van: Van
    truth: list[Truth] = field(default_factory=list)
    _acts: list[tuple[int, int, Act]] = field(default_factory=list)
    _count: int = 0

    def at(self, when_ms: int, act: Act) -> None:
        heappush(self._acts, (when_ms, self._count, act))
        self._count += 1

    def step_to(self, until_ms: int) -> None:
        """Carry the van on, doing what is due on the way."""
        while self._acts and self._acts[0][0] <= until_ms:
            when_ms, _, act = heappop(self._acts)
            self.van.step_to(when_ms)
            act(self.van)
        self.van.step_to(until_ms)

    # Ordinary days.

    def people(self, days: int, seed: int, *, inverter_home: bool = True) -> None:
        """Ordinary use: so that a quiet day raises nothing by the schedule's limits."""
        chance = Random(seed * 7919 + 1)
        midnight = self.van.local().replace(hour=0, minute=0, second=0, microsecond=0)
        for day in range(-1, days + 1):
            base = midnight + timedelta(days=day)

            def at(hour: float, act: Act, base: Any = base) -> None:
                self.at(round((base + timedelta(hours=hour)).timestamp() * 1000), act)

            for hour in [chance.uniform(6.8, 22.5) for _ in range(10)]:  # taps
                at(hour, lambda van: van.pump.switch(True))
                at(hour + chance.uniform(0.004, 0.04), lambda van: van.pump.switch(False))
            if chance.random() < 0.8:  # work at the bench, from the inverter and the sockets
                begin, end = chance.uniform(8.5, 10.0), chance.uniform(15.0, 18.5)
                at(begin, _inverter(True))
                if inverter_home:
                    at(end, _inverter(False))
                for hour in [chance.uniform(begin, end - 0.5) for _ in range(3)]:
                    watts = chance.choice((60.0, 180.0, 900.0))
                    at(hour, _ac(watts))
                    at(hour + chance.uniform(0.02, 0.1 if watts > 500 else 0.6), _ac(0.0))
            for hour in [chance.uniform(9.0, 21.0) for _ in range(3)]:
                at(hour, _plug(chance.uniform(0.5, 8.0)))
                at(hour + chance.uniform(0.1, 1.5), _plug(0.0))
            at(chance.uniform(11.0, 12.0), _fan(chance.choice(("full", "70 %", "half"))))
            at(chance.uniform(16.0, 19.0), _fan(None))
            at(chance.uniform(19.5, 20.5), lambda van: van.lights.switch(True))
            at(chance.uniform(21.5, 22.8), lambda van: van.lights.switch(False))
            at(chance.uniform(5.5, 6.5), _heat(True))
            at(chance.uniform(7.5, 8.5), _heat(False))
            washed = chance.uniform(13.0, 14.0)
            at(washed, lambda van: van.sump.switch(True))
            at(washed + 0.012, lambda van: van.sump.switch(False))
            for hour in [chance.uniform(9.0, 16.0) for _ in range(2)]:
                at(hour, lambda van: van.drill.switch(True))
                at(hour + chance.uniform(0.01, 0.15), lambda van: van.drill.switch(False))

    def demo(self) -> None:
        """19:35 on a May evening; then three things go wrong."""
        van = self.van
        start_ms = van.now_ms
        van.freezer.air_c = -16.7

        def minute(n: float, act: Act) -> None:
            self.at(start_ms + round(n * 60_000), act)

        minute(0, _inverter(True))
        minute(0, _fan("full"))
        minute(1, _ac(60.0))
        minute(3, lambda v: v.pump.switch(True))
        minute(4.2, lambda v: v.pump.switch(False))
        minute(6, _plug(4.5))
        minute(9, lambda v: v.lights.switch(True))
        minute(12, _fan("70 %"))
        minute(16, _heat(True))
        minute(20, _ac(0.0))
        minute(24, lambda v: v.lights.switch(False))
        self.tell("inverter-left-on", "D9", start_ms + 25 * 60_000, "standby-drain", "nobody switches it off at 20:00")
        minute(57.5, _plug(17.6))
        self.tell("bench-overload", "D7", start_ms + round(57.5 * 60_000), "overcurrent-approach", "a tool of 17.6 A")
        minute(64, _plug(3.0))
        minute(66, _feed("D1", False))
        self.tell("freezer-feed-lost", "D1", start_ms + 66 * 60_000, "feed-lost", "its feed opens upstream of the load")

    def commissioning(self) -> None:
        """A hand-over: isolated for four minutes, energised, then one lap by hand. Whole at 22 minutes."""
        van, start_ms = self.van, self.van.now_ms
        van.bus_cut = True
        van.freezer.air_c = -12.0

        def minute(n: float, act: Act) -> None:
            self.at(start_ms + round(n * 60_000), act)

        minute(4, _set("bus_cut", False))
        minute(5, _heat(True))
        for begin, end, load in ((7, 8.4, van.lights), (11, 11.6, van.pump), (15.8, 16.4, van.sump), (16.8, 17.4, van.drill)):
            minute(begin, _switch(load, True))
            minute(end, _switch(load, False))
        for begin, setting in ((8.8, "full"), (9.6, "70 %"), (10.2, "half"), (10.8, None)):
            minute(begin, _fan(setting))
        minute(12, _plug(4.0))
        minute(12.6, _plug(0.0))
        minute(13, _inverter(True))
        minute(14, _ac(180.0))
        minute(14.6, _ac(0.0))
        minute(15.4, _inverter(False))
        minute(18, _heat(False))

    def tell(self, fault: str, circuit: str, begins_ms: int, expected: str | None, what: str) -> None:
        self.truth.append(Truth(fault, circuit, begins_ms, expected, what))

    # Faults.

    def befall(self, wanted: str) -> None:
        """Plan a fault or a twin; ScheduleError names those there are."""
        name, offset_ms = _when(self.van, wanted)
        if name not in FAULTS:
            raise ScheduleError((Fault("the command line", None, "--fault", f"one of {', '.join(FAULTS)}", repr(name)),))
        circuit, expected, what, plan = FAULTS[name]
        begins_ms = self.van.now_ms + offset_ms
        self.tell(name, circuit, begins_ms, expected, what)
        plan(self, begins_ms)


def _when(van: Van, wanted: str) -> tuple[str, int]:
    name, _, clock = wanted.partition("@")
    try:
        if clock:
            hour, minute = clock.split(":")
            moment = van.local().replace(hour=int(hour), minute=int(minute), second=0, microsecond=0)
            offset_ms = round(moment.timestamp() * 1000) - van.now_ms
            return name, offset_ms if offset_ms >= 0 else offset_ms + 86_400_000
        name, _, seconds = wanted.partition("+")
        return name, round(float(seconds) * 1000) if seconds else 1_800_000
    except ValueError:
        raise ScheduleError(
            (Fault("the command line", None, "--fault", "NAME, NAME@21:30 or NAME+600", repr(wanted)),)
        ) from None


def _inverter(on: bool) -> Act:
    def act(van: Van) -> None:
        van.closed["D9"] = on
        van.inverter.switch(on)

    return act


def _ac(watts: float) -> Act:
    def act(van: Van) -> None:
        van.inverter.ac_w = watts if van.inverter.on else 0.0

    return act


def _switch(load: Load, on: bool) -> Act:
    return lambda _van: load.switch(on)


def _plug(amps: float) -> Act:
    def act(van: Van) -> None:
        van.sockets.plugged_a = amps

    return act


def _fan(setting: str | None) -> Act:
    def act(van: Van) -> None:
        if setting is not None:
            van.fan.setting = setting
        van.fan.switch(setting is not None)

    return act


def _heat(wanted: bool) -> Act:
    def act(van: Van) -> None:
        van.heater.wanted = wanted

    return act


def _feed(way: str, fed: bool) -> Act:
    def act(van: Van) -> None:
        van.loads[way].fed = fed

    return act


def _set(name: str, value: Any) -> Act:
    def act(van: Van) -> None:
        setattr(van, name, value)

    return act


def _overload(life: Life, begins_ms: int) -> None:
    amps = life.van.chance.uniform(17.5, 18.5)
    life.at(begins_ms, _plug(amps))
    life.at(begins_ms + 900_000, _plug(0.0))


def _gross_overload(life: Life, begins_ms: int) -> None:
    life.at(begins_ms, _plug(20.8))
    life.at(begins_ms + 1_800_000, _plug(0.0))


def _short(life: Life, begins_ms: int) -> None:
    def act(van: Van) -> None:
        van.dip_v = 2.1
        van.devices["D4"].open = True
        van.opened.append((van.now_ms, "D4"))

    life.at(begins_ms - 30_000, lambda van: van.pump.switch(True))
    life.at(begins_ms, act)
    life.at(begins_ms + 1_500, _set("dip_v", 0.0))


def _cable(life: Life, begins_ms: int) -> None:
    def act(van: Van) -> None:
        van.devices["D5"].rating_a = 60.0  # not the fuse of the schedule
        van.extra_a["D5"] = 30.0

    life.at(begins_ms, lambda van: van.lights.switch(True))
    life.at(begins_ms, act)


def _wrong_fuse(life: Life, begins_ms: int) -> None:
    def act(van: Van) -> None:
        van.devices["D7"].rating_a = 40.0  # not the fuse of the schedule

    life.at(begins_ms, act)
    life.at(begins_ms, _plug(27.0))
    life.at(begins_ms + 900_000, _plug(2.0))


def _left_on(life: Life, begins_ms: int) -> None:
    def again(van: Van) -> None:
        _inverter(True)(van)
        van.inverter.ac_w = 0.0

    for n in range(0, 120):  # whoever switches it off by habit does not tonight
        life.at(begins_ms + n * 120_000, again)


def _off_late(life: Life, begins_ms: int) -> None:
    life.at(begins_ms, _inverter(True))
    evening = life.van.local().replace(hour=20, minute=20, second=0, microsecond=0)
    life.at(max(begins_ms + 60_000, round(evening.timestamp() * 1000)), _inverter(False))


def _low_battery(life: Life, begins_ms: int) -> None:
    def act(van: Van) -> None:
        van.bank.charge = 0.16
        van.no_sun = True
        _inverter(True)(van)
        van.inverter.ac_w = 250.0

    life.at(begins_ms, act)


def _door(life: Life, begins_ms: int) -> None:
    def act(van: Van) -> None:
        van.freezer.wall_w_per_k *= 3.0

    life.at(begins_ms, act)


def _stall(life: Life, begins_ms: int) -> None:
    def act(van: Van) -> None:
        van.drill.switch(True)
        van.extra_a["D12"] = 45.0

    life.at(begins_ms, act)


def _heavy_then_off(life: Life, begins_ms: int) -> None:
    life.at(begins_ms, _plug(11.5))
    life.at(begins_ms + 1_200_000, _plug(0.0))


def _cold(life: Life, begins_ms: int) -> None:
    def act(van: Van) -> None:
        van.warmth_k = -22.0
        van.world.inside_c = 1.0

    life.at(begins_ms, act)


def _crank(life: Life, begins_ms: int) -> None:
    life.at(begins_ms, _set("dip_v", 4.5))
    life.at(begins_ms + 1_500, _set("dip_v", 3.0))
    life.at(begins_ms + 6_000, _set("dip_v", 0.0))


def _starts(life: Life, begins_ms: int) -> None:
    for n in range(20):
        life.at(begins_ms + n * 30_000, lambda van: van.drill.switch(True))
        life.at(begins_ms + n * 30_000 + 8_000, lambda van: van.drill.switch(False))


def _switched_off(life: Life, begins_ms: int) -> None:
    def act(van: Van) -> None:
        van.closed["D1"] = False

    life.at(begins_ms, act)


def _feeder(life: Life, begins_ms: int) -> None:
    def act(van: Van) -> None:
        van.feeder_open["rear"] = True

    for on in (lambda van: van.lights.switch(True), _plug(4.0), _fan("full")):
        life.at(begins_ms - 60_000, on)
    life.at(begins_ms, act)


def _runs_on(life: Life, begins_ms: int) -> None:
    def act(van: Van) -> None:
        van.pump.switch(True)

    for n in range(60):  # the pressure switch sticks: whatever taps do, it runs
        life.at(begins_ms + n * 30_000, act)


def _cloudy(life: Life, begins_ms: int) -> None:
    life.at(begins_ms, _set("clouds", 0.95))


# name -> circuit, the kind expected (None: an innocent twin), what happens, the plan
FAULTS: dict[str, tuple[str, str | None, str, Callable[[Life, int], None]]] = {
    "bench-overload": ("D7", "overcurrent-approach", "a tool of about 18 A on the 15 A sockets for 15 min", _overload),
    "bench-opens": ("D7", "protection-opened", "a tool of 20.8 A on the 15 A sockets until the fuse opens", _gross_overload),
    "bench-wrong-fuse": ("D7", "protection-doubtful", "27 A for 15 min: 40 A is fitted where 15 A is listed", _wrong_fuse),
    "inverter-left-on": ("D9", "standby-drain", "nobody switches the inverter off", _left_on),
    "freezer-feed-lost": ("D1", "feed-lost", "its feed opens, the bus is well", lambda f, t: f.at(t, _feed("D1", False))),
    "freezer-switched-off": ("D1", "feed-lost", "somebody switches it off remotely", _switched_off),
    "detector-feed-lost": ("D6", "feed-lost", "its feed opens", lambda f, t: f.at(t, _feed("D6", False))),
    "pump-short": ("D4", "protection-opened", "a short: the bus dips, the fuse opens", _short),
    "mast-cable-hot": ("D5", "conductor-overheating", "36 A behind a fuse too large for the cable", _cable),
    "supply-lost": ("house", "feed-lost", "the bank's own protection opens", lambda f, t: f.at(t, _set("bus_cut", True))),
    "rear-feeder-lost": ("rear", "feed-lost", "the rear feeder's fuse opens", _feeder),
    "low-battery": ("house", "undervoltage-approach", "a bank nearly empty, no sun, the inverter at work", _low_battery),
    "monitor-silent": ("dc-panel", "readings-overdue", "the monitor stops", lambda f, t: f.at(t, _set("silent", True))),
    "pump-runs-on": ("D4", "overlong-run", "the pressure switch sticks", _runs_on),
    "freezer-door-open": ("D1", "overlong-run", "the door stands open, it runs without a rest", _door),
    "drill-stall": ("D12", "protection-opened", "the drill stalls until its fuse opens", _stall),
    "bench-off": ("D7", None, "11.5 A for 20 min, then switched off by hand", _heavy_then_off),
    "freezer-rests": ("D1", None, "a cold night: it rests long", _cold),
    "crank-dip": ("house", None, "something cranks on this bus: 4.5 V down, 6 s", _crank),
    "inverter-off-late": ("D9", None, "switched off at 20:20", _off_late),
    "heavy-surge": ("D12", None, "twenty starts of the drill", _starts),
    "cloudy": ("D13", None, "no sun for days", _cloudy),
}
