"""What `check --detect` says of swapped names is what the watch does."""

from __future__ import annotations

from dataclasses import replace

import pytest

from panelward.records import Circuit, Level, Schedule
from panelward.schedule.detect import detectability
from panelward.watch.swapped import known
from plans import DETECTOR, FREEZER, INVERTER, METER, SOCKETS, circuit, plan

PUMP = circuit("D4", "Water pump", "pump", levels=(Level(name="pumping", watts=62),))
LAMPS = circuit("D5", "Deck lights", "light", levels=(Level(name="on", watts=24),))
SPOTS = circuit("D8", "Spot lights", "light", levels=(Level(name="on", watts=26),))
SUN = replace(SOCKETS, id="D13", label="Solar charger", role="charger", feed=None, loads=())


def said(schedule: Schedule) -> dict[str, tuple[str, str]]:
    return {s.circuit: (s.can, s.why) for s in detectability(schedule) if s.what == "swapped names"}


@pytest.mark.parametrize("own", [METER, FREEZER, PUMP, LAMPS, DETECTOR, SOCKETS, INVERTER, SUN, circuit("D3", "Box")])
def test_whose_names_are_judged_is_the_watchs(own: Circuit) -> None:
    """Beside two that are apart from everything, a circuit is judged exactly where the watch knows its profile."""
    apart = (circuit("X1", "Winch", "motor", levels=(Level(name="on", watts=900),)), replace(SUN, id="X2"))
    assert (said(plan(own, *apart))[own.id][0] == "together") == known(own)


def test_alike_circuits_are_named() -> None:
    found = said(plan(PUMP, LAMPS, SPOTS, SUN))
    assert found["D5"][0] == "together"
    assert found["D5"][1].endswith("; not with Spot lights, whose levels overlap its own")
    assert "not with" not in found["D13"][1]
    assert said(plan(LAMPS, SPOTS))["D5"][0] == "no"
    assert said(plan(LAMPS, replace(PUMP, monitor="other")))["D5"][0] == "no"
