"""Errors that meters have and pulses that samples cut: no faults, though they look it. Sizes: common practice, no source."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from panelward.core import Core
from panelward.records import Level, Load, Output, Protection, Reading, Settings, Supply, Transition
from plans import FREEZER, METER, PLAN, SOCKETS, T0, circuit, plan, run, stream

ELEMENT = Load(kind="heater-element", behaves="constant-impedance", standby_max_w=3.0, levels=(Level(name="on", watts=120),))
HOB = replace(SOCKETS, id="D8", label="Hob", loads=(ELEMENT,))
LAMP = circuit("D5", "Mast lights", "light", standby_max_w=1.0, levels=(Level(name="on", watts=84),))
PUMP = circuit("D4", "Water pump", "pump", standby_max_w=1.0, levels=(Level(name="pumping", watts=62),), longest_run_s=1200.0)
VAN = plan(METER, FREEZER, PUMP, LAMP, HOB)
SLOWER = replace(VAN, monitors=(replace(PLAN.monitors[0], expect_every_s=10),))
DAY_S = 86_400.0


def cycling(t: float) -> float:
    return 4.0 if t % 2400 < 700 else 0.12


@pytest.mark.parametrize("drift_a", [0.02, -0.02])
def test_zeros_that_creep_together_with_warmth_raise_nothing(drift_a: float) -> None:
    """F72: every channel's zero goes out by 20 mA over the day and back: off is off, and a floor is a floor."""

    def warm(t: float) -> float:
        return drift_a * (1 - abs(t / DAY_S * 2 - 1))

    draws = {"D1": lambda t: cycling(t) + warm(t), "D4": warm, "D5": warm, "D8": warm, "SH": lambda t: cycling(t) + 4 * warm(t)}
    assert run(SLOWER, stream(draws, DAY_S, period_s=10)) == []


@pytest.mark.parametrize("gain", [0.95, 1.05])
def test_gains_that_drift_raise_nothing(gain: float) -> None:
    """F73: the branches show 5 % more or less than the bank's meter, slowly; at the true rating's edge too."""
    draws = {
        "D1": lambda t: cycling(t) * (1 + (gain - 1) * t / DAY_S),
        "D8": lambda t: (9.4 if t % 7200 < 3600 else 0.0) * (1 + (gain - 1) * t / DAY_S),
        "SH": lambda t: cycling(t) + (9.4 if t % 7200 < 3600 else 0.0),
    }
    assert run(SLOWER, stream(draws, DAY_S, period_s=10)) == []


@pytest.mark.parametrize("factor", [1.0, 0.75, 0.5, 0.3])
def test_true_power_is_not_volts_times_amps_on_ac(factor: float) -> None:
    """F74: a power factor of 0.3 to 1, and one that changes with the load. On DC the same is a fault (test_suspect)."""
    shore = Supply(id="shore", kind="ac", nominal_v=230)
    outlet = replace(SOCKETS, id="A1", supply="shore", protection=Protection(kind="breaker-b", rating_a=10))
    rows = [
        Reading(
            "A1", r.time_ms, r.received_ms, 230.0, r.amps, round(230.0 * (r.amps or 0.0) * (factor if n // 99 % 2 else 1.0), 3)
        )
        for n, r in enumerate(stream({"A1": lambda t: 2.0 if t % 600 < 300 else 0.4}, 7200))
    ]
    assert run(replace(plan(outlet), supplies=(*PLAN.supplies, shore)), rows) == []


PULSES: dict[str, Callable[[float], float]] = {
    "a hob at a third, sampled": lambda t: 9.2 if t % 7 < 2.4 else 0.0,
    "a hob that beats with the period": lambda t: 9.2 if (t * 1.013) % 2 < 1 else 0.0,
    "a dimmed lamp that aliases slowly": lambda t: 6.4 if (t * 1.0007) % 2 < 1 else 0.0,
}


@pytest.mark.parametrize("name", PULSES)
@pytest.mark.parametrize("period_s", [2.0, 10.0])
def test_pulses_that_samples_cut_raise_nothing(name: str, period_s: float) -> None:
    """F75: the level flips between samples: no opening, no drain, no other level, no swap."""
    schedule = VAN if period_s == 2.0 else SLOWER
    draws = {"D1": cycling, "D8" if "hob" in name else "D5": PULSES[name]}
    assert run(schedule, stream(draws, 6 * 3600, period_s=period_s)) == []


def test_doubles_change_neither_energy_nor_heat_nor_any_count() -> None:
    """F65: MQTT may deliver at quality 1 twice and must send again what was not acknowledged (MQTT 5.0, 4.3.2 and 4.4)."""
    rows = list(stream({"D1": cycling, "D8": lambda t: 16.0 if 600 <= t < 700 else 3.0}, 3600))
    once, twice = Core(), Core()
    outs: list[list[Output]] = []
    for core, times in ((once, 1), (twice, 2)):
        core.feed(Settings(received_ms=T0, schedule=VAN, started=True))
        outs.append([o for r in rows for _ in range(times) for o in core.feed(r)])
    assert outs[0] == outs[1] != []
    for way_id in ("D1", "D8"):
        a, b = once.watch.ways[way_id], twice.watch.ways[way_id]  # type: ignore[union-attr]
        assert a.energy_2mwms == b.energy_2mwms > 0
        assert a.over.save() == b.over.save()
        assert b.late == 3 * len(rows) // 2  # volts, amps and watts of each second one


def test_a_restart_while_values_are_suspect_tells_nothing_again() -> None:
    """F63: what stood stands, and is not said a second time; what was being counted begins anew."""
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=VAN, started=True))
    backwards = {"D8": -4.0}
    out = [o for r in stream(backwards, 300) for o in core.feed(r)]
    assert [(t.cause, t.event) for t in out if isinstance(t, Transition)] == [("backwards", "begins")]
    out = core.feed(Settings(received_ms=T0 + 600_000, schedule=VAN, started=True))
    out += [o for r in stream(backwards, 300, start_ms=T0 + 600_000) for o in core.feed(r)]
    assert out == []
