"""What people put aside, with the watch behind it: one cause is told once, however it is put aside and let out."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace

import pytest

from panelward.core import Core
from panelward.records import Input, Request, Settings, Transition
from plans import PLAN, T0, circuit, stream

ROUTER = circuit("D4", "Rear router", "electronics", feeder="rear", feed="always-on", always_draws_w=5.0)
REAR = replace(PLAN, circuits=(*PLAN.circuits, ROUTER))
DRAWS = {"D1": 4.0, "D5": 2.0, "D8": 1.0, "D4": 1.5, "D6": 0.1, "SH": 8.6}


def begun() -> Core:
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=REAR, started=True))
    return core


def fed(core: Core, inputs: Iterable[Input]) -> list[Transition]:
    return [t for item in inputs for t in core.feed(item) if isinstance(t, Transition)]


def phase(from_s: float, seconds: float, **other: float) -> list[Input]:
    return list(stream(DRAWS | other, seconds, start_ms=T0 + round(from_s * 1000)))


def asked(kind: str, at_s: float, **keys: object) -> Request:
    return Request(kind=kind, received_ms=T0 + round(at_s * 1000), circuit="D8", who="Kari", why="painting", **keys)  # type: ignore[arg-type]


def told(found: list[Transition]) -> list[tuple[str, str]]:
    return [(t.subject_id, t.event) for t in found if t.told]


@pytest.mark.parametrize(
    ("away", "back"), [(None, None), (asked("shelve", 330, for_s=600.0), None), (asked("out-of-service", 330), "in-service")]
)
def test_a_circuit_put_aside_and_then_lost_with_its_feeder_is_told_of_the_feeder_alone(
    away: Request | None, back: str | None
) -> None:
    core = begun()
    found = fed(core, [*phase(0, 120), *phase(122, 200, D8=0.0)])
    found += fed(core, [away] if away else [])
    found += fed(core, phase(332, 1500, D8=0.0, D5=0.0, D4=0.0))
    found += fed(core, [asked(back, 1850)] if back else [])
    assert told(found) == [("D8", "begins"), ("rear", "begins")]
    again = Core()
    again.restore(json.loads(json.dumps(core.save())), REAR, silence_from_start=False)
    for each in (core, again):
        after = fed(each, phase(1852, 300, D8=0.0))
        assert told(after) == [("rear", "ends"), ("D8", "unsuppress")]
