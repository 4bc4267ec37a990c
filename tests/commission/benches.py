"""A small panel for one thing at a time: the channels read what the test says, with noise."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

from panelward.commission import Session
from panelward.records import Reading
from panelward.schedule import parse

HEAD = """
[vehicle]
name = "Test van"
id = "test-van"

[[monitor]]
name = "dc"
dialect = "plain"
topic = "van/{circuit}/{quantity}"
expect_every_s = %(every_s)g
sense = { resolution_a = %(step_a)g }

[[probe]]
id = "T1"
where = "panel"

[supply.house]
kind = "dc"
nominal_v = 12.8
meter = "SH"

[[circuit]]
id = "SH"
label = "Bank meter"
supply = "house"
role = "meter"
"""
WAY = """
[[circuit]]
id = "%s"
label = "%s"
supply = "house"
feed = "switched"
protection = { kind = "blade-fuse", type = "C", rating_a = 10 }
[circuit.load]
kind = "%s"
%s
"""
PUMP = WAY % ("D1", "Water pump", "pump", 'levels = [ { name = "pumping", watts = 60, tolerance = 0.2 } ]')
LIGHT = WAY % ("D2", "Deck lights", "light", 'levels = [ { name = "on", watts = 84, tolerance = 0.2 } ]')
FAN = WAY % (
    "D3", "Roof fan", "fan",
    'behaves = "fan"\nlevels = [ { name = "full", watts = 35, tolerance = 0.2 }, { name = "middle", watts = 11.7, '
    'tolerance = 0.2 }, { name = "half", watts = 9, tolerance = 0.2 } ]',
)  # fmt: skip
TWIN = WAY % ("D4", "Bilge pump", "pump", 'levels = [ { name = "pumping", watts = 61, tolerance = 0.2 } ]')
DETECTOR = """
[[circuit]]
id = "D6"
label = "Gas detector"
supply = "house"
feed = "always-on"
importance = "life"
protection = { kind = "blade-fuse", type = "F", rating_a = 2 }
[circuit.load]
kind = "detector"
always_draws_w = 1.2
levels = [ { name = "watching", watts = 1.3, tolerance = 0.3 } ]
"""
START_MS = 1_777_888_800_000


class Bench:
    """Draws in amps by way; a reading of each every period; what was said is kept."""

    def __init__(
        self, *ways: str, step_a: float = 0.01, noise_a: float = 0.005, every_s: float = 2.0, seed: int = 1, lap: bool = True
    ) -> None:
        self.text = HEAD % {"every_s": every_s, "step_a": step_a} + "".join(ways)
        self.schedule = parse(self.text, "bench.toml")
        self.now_ms, self.every_ms = START_MS, round(every_s * 1000)
        self.session = Session(self.schedule, self.text, self.now_ms)
        self.amps: dict[str, float] = {c.id: 0.0 for c in self.schedule.circuits if c.role == "load"}
        self.volts = 13.2
        self.said: list[str] = []
        self.dead = False
        self._chance, self._step_a, self._noise_a = Random(seed), step_a, noise_a
        if lap:
            self.run(20)
            for text in ("Kari", "none", "", "no"):
                self.answer(text)
            assert self.session.state.phase == "lap", self.session.prompt
            self.run(20)
            self.said.clear()

    def run(self, seconds: float, wander: Callable[[float], float] | None = None, way: str = "") -> None:
        """So many seconds; `wander` gives that way's amps at each second."""
        end_ms = self.now_ms + round(seconds * 1000)
        while self.now_ms < end_ms:
            self.now_ms += self.every_ms
            if wander is not None:
                self.amps[way] = wander((end_ms - self.now_ms) / 1000)
            total = sum(self.amps.values())
            for name, amps in (("SH", total), *self.amps.items()):
                if not self.dead:
                    seen = amps + self._chance.gauss(0.0, self._noise_a)
                    volts = round(self.volts + self._chance.gauss(0.0, 0.005), 2)
                    shown = round(round(seen / self._step_a) * self._step_a, 4)
                    self.said += self.session.reading(Reading(name, self.now_ms, self.now_ms, volts, shown))
            self.said += self.session.advance(self.now_ms)

    def answer(self, text: str) -> None:
        self.said += self.session.answer(text)

    def heard(self, text: str) -> bool:
        return any(text in line for line in self.said)
