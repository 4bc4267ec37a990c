"""Schedules and readings made by hand, for the tests of the core. Invented; the checks against the outside stand elsewhere."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from typing import Any

from panelward.core import Core
from panelward.records import (
    Battery,
    Broker,
    Circuit,
    Feeder,
    Level,
    Load,
    Monitor,
    Output,
    Presence,
    Probe,
    Protection,
    Reading,
    Request,
    Schedule,
    Segment,
    Sense,
    Settings,
    Supply,
    Surge,
    Transition,
    Vehicle,
)

T0 = 1_777_615_200_000  # 2026-05-01T06:00:00Z
BUS = Sense(resolution_a=0.01)


def circuit(circuit_id: str, label: str, kind: str = "electronics", **keys: Any) -> Circuit:
    """A circuit with one load; keys of the load and of the circuit together."""
    load_keys = {name: keys.pop(name) for name in tuple(keys) if name in Load.__dataclass_fields__ and name != "kind"}
    base: dict[str, Any] = {
        "monitor": "dc",
        "supply": "house",
        "sense": BUS,
        "feed": "switched",
        "protection": Protection(kind="blade-fuse", type="C", rating_a=15),
        "conductor": (Segment(area_mm2=4.0, length_m=4, insulation_c=105, bundled=3, ambient_c=30),),
        "loads": (Load(kind=kind, **load_keys),),
    }
    if keys.get("feed") == "always-on":
        base["importance"] = "property"
    return Circuit(id=circuit_id, label=label, **(base | keys))


FREEZER = circuit(
    "D1", "Sample freezer", "compressor", feed="always-on", always_draws_w=1.4, standby_max_w=3.0,
    levels=(Level(name="compressor", watts=52, tolerance=0.25, surge=Surge(times=3.0, seconds=1.0)),),
    longest_run_s=3 * 3600.0,
)  # fmt: skip
DETECTOR = circuit("D6", "Gas detector", "detector", feed="always-on", importance="life", always_draws_w=1.2)
SOCKETS = circuit("D7", "Bench sockets", "socket")
INVERTER = circuit(
    "D9", "Inverter", "inverter", standby_max_w=3.0, levels=(Level(name="idle", watts=21),), hours=((420, 1200),),
    behind=("disconnect",), protection=Protection(kind="bolt-fuse", rating_a=125),
    conductor=(Segment(area_mm2=35, length_m=1.2, insulation_c=105, ambient_c=40),),
)  # fmt: skip
LIGHTS = circuit("D5", "Mast lights", "light", feeder="rear")
FAN = circuit("D8", "Roof fan", "fan", feeder="rear", feed="always-on", always_draws_w=2.0)
METER = Circuit(id="SH", label="Bank meter", monitor="dc", supply="house", sense=BUS, role="meter")

PLAN = Schedule(
    vehicle=Vehicle(name="Survey van", id="survey-van"),
    broker=Broker(host="127.0.0.1"),
    monitors=(Monitor(name="dc", dialect="plain", topic="van/{circuit}/{quantity}", expect_every_s=2, sense=BUS),),
    supplies=(
        Supply(
            id="house", kind="dc", nominal_v=12.8, battery=Battery(chemistry="lfp", capacity_ah=200, usable=0.85),
            cutoff_v=11.6, meter="SH",
        ),
    ),
    feeders=(Feeder(id="rear", supply="house", behind=("disconnect",)),),
    probes=(Probe(id="T1", where="panel", monitor="dc"),),
    circuits=(METER, FREEZER, LIGHTS, DETECTOR, SOCKETS, FAN, INVERTER),
)  # fmt: skip


def plan(*circuits: Circuit, **keys: Any) -> Schedule:
    """The plan above with these circuits (by default its own)."""
    return replace(PLAN, **({"circuits": circuits} if circuits else {}), **keys)


Draw = Callable[[float], float | None]


def stream(
    draws: dict[str, Draw | float],
    seconds: float,
    *,
    period_s: float = 2.0,
    volts: Draw | float | None = 13.0,
    start_ms: int = T0,
    closed: dict[str, Draw] | None = None,
) -> Iterator[Reading]:
    """Readings of circuits whose draw in amps is a number or a function of seconds (None: no reading)."""
    step = 0
    while step * period_s <= seconds:
        t_s = step * period_s
        at_ms = start_ms + round(t_s * 1000)
        bus = volts(t_s) if callable(volts) else volts
        for circuit_id, draw in draws.items():
            amps = draw(t_s) if callable(draw) else draw
            if amps is None:
                continue
            state = closed[circuit_id](t_s) if closed and circuit_id in closed else None
            yield Reading(
                circuit=circuit_id,
                time_ms=at_ms,
                received_ms=at_ms,
                volts=bus,
                amps=round(amps, 4),
                watts=None if bus is None else round(amps * bus, 3),
                closed=None if state is None else bool(state),
            )
        step += 1


def run(
    schedule: Schedule,
    inputs: Iterable[Reading | Presence | Request],
    *,
    until_ms: int | None = None,
    silence_from_start: bool = False,
) -> list[Transition]:
    """Feed a cold core; its transitions."""
    core = Core()
    out: list[Output] = []
    begun = False
    for item in inputs:
        if not begun:
            begun = True
            settings = Settings(
                received_ms=item.received_ms, schedule=schedule, started=True, silence_from_start=silence_from_start
            )
            out += core.feed(settings)
        out += core.feed(item)
    if until_ms is not None:
        out += core.advance(until_ms)
    return [item for item in out if isinstance(item, Transition)]


def kinds(transitions: Iterable[Transition]) -> list[tuple[str, str, str]]:
    """(subject id, kind, event) of each."""
    return [(t.subject_id, t.kind, t.event) for t in transitions]
