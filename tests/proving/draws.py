"""What circuits draw: a catalogue of loads and their behaviour in time and with voltage.

Figures: typical, from memory; floors of detectors and modems, 0.05 to 2 W, too.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random


@dataclass(frozen=True, slots=True, kw_only=True)
class Sort:
    """A sort of load; ranges are drawn from."""

    kind: str  # the schedule's name of it
    labels: tuple[str, ...]
    behaves: str
    watts: tuple[float, float]
    floor_w: tuple[float, float] | None = None
    always: bool = False  # lives on an always-on circuit
    on_s: tuple[float, float] = (300.0, 3600.0)
    off_s: tuple[float, float] = (300.0, 7200.0)
    surge: tuple[float, float] = (1.0, 0.0)  # times, seconds
    wiggle: float = 0.01
    steps: tuple[float, ...] = (1.0,)  # shares of full draw that a span may have


SORTS = {
    "fan": Sort(
        kind="fan", labels=("Roof fan", "Galley fan"), behaves="fan", watts=(6, 36), floor_w=(0.1, 0.5), on_s=(1800, 14400),
        steps=(0.2, 0.45, 0.7, 1.0), wiggle=0.015,
    ),
    "compressor": Sort(
        kind="compressor", labels=("Freezer", "Sample fridge"), behaves="constant-power", watts=(38, 75), floor_w=(0.3, 1.9),
        always=True, on_s=(600, 1500), off_s=(900, 2400), surge=(2.5, 1.0), wiggle=0.02,
    ),
    "pump": Sort(
        kind="pump", labels=("Water pump", "Deck pump"), behaves="constant-current", watts=(50, 100), on_s=(8, 120),
        off_s=(300, 7200), surge=(3.0, 0.3), wiggle=0.04,
    ),
    "element": Sort(
        kind="heater-element", labels=("Tank heater", "Pipe heater"), behaves="constant-impedance", watts=(40, 120),
        on_s=(600, 2400), off_s=(900, 3600), surge=(1.3, 60.0), wiggle=0.003,
    ),
    "air-heater": Sort(
        kind="air-heater", labels=("Air heater",), behaves="constant-power", watts=(12, 34), floor_w=(0.07, 0.5), always=True,
        on_s=(1200, 5400), off_s=(1200, 7200), surge=(6.0, 110.0), wiggle=0.03, steps=(0.4, 0.7, 1.0),
    ),
    "light": Sort(
        kind="light", labels=("Rear lights", "Mast lights", "Cabin lights"), behaves="constant-power", watts=(4, 36),
        on_s=(900, 10800), off_s=(900, 14400), steps=(0.1, 0.4, 1.0), wiggle=0.003,
    ),
    "electronics": Sort(
        kind="electronics", labels=("Modem", "Data logger"), behaves="constant-power", watts=(3, 9), floor_w=(1.0, 2.0),
        always=True, on_s=(600, 7200), off_s=(5, 60), wiggle=0.05, steps=(0.5, 0.7, 1.0),
    ),
    "socket": Sort(
        kind="socket", labels=("Bench sockets", "Rear sockets"), behaves="constant-power", watts=(10, 100), on_s=(600, 7200),
        off_s=(600, 14400), steps=(0.2, 0.5, 1.0), wiggle=0.02,
    ),
    "charger": Sort(
        kind="charger", labels=("Laptop charger", "Tool charger"), behaves="constant-power", watts=(20, 90),
        floor_w=(0.1, 0.4), on_s=(1800, 7200), off_s=(3600, 14400), steps=(0.3, 0.6, 1.0), wiggle=0.03,
    ),
    "detector": Sort(
        kind="detector", labels=("Gas detector", "Smoke detector"), behaves="constant-current", watts=(0.0, 0.0),
        floor_w=(0.05, 1.5), always=True, wiggle=0.01,
    ),
    "inverter": Sort(
        kind="inverter", labels=("Inverter",), behaves="constant-power", watts=(0.0, 0.0), floor_w=(8, 25), wiggle=0.01
    ),
    "ac-electronics": Sort(
        kind="electronics", labels=("Lab bench", "Office rack"), behaves="constant-power", watts=(40, 160), floor_w=(5, 15),
        always=True, on_s=(1800, 14400), off_s=(300, 3600), wiggle=0.01,
    ),
    "motor": Sort(
        kind="motor", labels=("Awning", "Step", "Bed lift"), behaves="constant-current", watts=(60, 130), on_s=(20, 60),
        off_s=(3600, 14400), surge=(3.0, 0.3), wiggle=0.04,
    ),
    "ac-heater": Sort(
        kind="heater-element", labels=("Kettle",), behaves="constant-impedance", watts=(500, 900), on_s=(120, 300),
        off_s=(3600, 14400), wiggle=0.002,
    ),
}  # fmt: skip
EXPONENT = {"constant-power": -1.0, "constant-current": 0.0, "constant-impedance": 1.0, "fan": 1.5}
TOP_RATING = (1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 35, 40, 50, 60, 70, 80)


class Draw:
    """One load in time. Time only goes forward."""

    __slots__ = (
        "_at",
        "_was",
        "extra_w",
        "floor_w",
        "held",
        "lock_v",
        "locked",
        "nominal_v",
        "off_until",
        "power",
        "rng",
        "scale",
        "sort",
        "spans",
        "surge_from",
        "watts",
        "wiggle",
    )  # fmt: skip

    def __init__(self, sort: Sort, watts: float, floor_w: float, nominal_v: float, rng: Random) -> None:
        self.sort, self.watts, self.floor_w, self.nominal_v, self.rng = sort, watts, floor_w, nominal_v, rng
        self.power = EXPONENT[sort.behaves]
        self.spans: list[tuple[float, float, float]] = []  # from, to, share
        self.wiggle = sort.wiggle
        self.held: float | None = None  # a share that a person or a fault holds, instead of the spans
        self.scale = 1.0
        self.extra_w = 0.0  # what a person plugs in besides
        self.off_until = -1.0  # a reboot: nothing at all until then
        self.lock_v: float | None = None  # its own low-voltage lock-out
        self.locked = False
        self._at = 0
        self._was = 0.0
        self.surge_from = -1e9

    def live(self, seconds: float, *, start_s: float = 0.0, phase: float = 0.5) -> None:
        """Ordinary runs and rests from `start_s` on."""
        sort, rng = self.sort, self.rng
        if self.watts <= 0:
            return
        t = start_s
        on = rng.random() < phase
        while t < start_s + seconds:
            low, high = sort.on_s if on else sort.off_s
            span = rng.uniform(low, high)
            if t == start_s:
                span *= rng.random()
            if on:
                self.spans.append((t, t + span, rng.choice(sort.steps)))
            t += span
            on = not on

    def hold(self, share: float | None, t: float) -> None:
        """A person (or a fault) sets the draw, from now on."""
        if share and not self.held:
            self.surge_from = t
        self.held = share

    def share(self, t: float) -> float:
        """How much of its full draw it runs at."""
        if self.held is not None:
            return self.held
        spans = self.spans
        while self._at < len(spans) and spans[self._at][1] <= t:
            self._at += 1
        if self._at < len(spans) and spans[self._at][0] <= t:
            return spans[self._at][2]
        return 0.0

    def amps(self, t: float, volts: float) -> float:
        if volts < 1.0 or t < self.off_until:
            return 0.0
        share = self.share(t)
        if self.lock_v is not None:
            if volts < self.lock_v:
                self.locked = True
            elif volts > self.lock_v + 0.9:
                self.locked = False
            if self.locked:
                share = 0.0
        watts = self.extra_w * (1.0 + 0.003 * self.rng.gauss(0.0, 1.0)) if self.extra_w else 0.0
        if share:
            if not self._was and self.held is None:
                self.surge_from = self.spans[self._at][0]
            run = self.watts * share * self.scale
            times, lasts = self.sort.surge
            if lasts and t - self.surge_from < lasts:
                run *= times
            watts += run * (1.0 + self.wiggle * self.rng.gauss(0.0, 1.0))
        self._was = share
        bent = max(volts, 0.45 * self.nominal_v)
        amps = watts / self.nominal_v * (bent / self.nominal_v) ** self.power if watts else 0.0
        if self.floor_w:
            amps += self.floor_w / bent * (1.0 + 0.01 * self.rng.gauss(0.0, 1.0))
        return amps
