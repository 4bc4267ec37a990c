"""What is no matter of the load: silence, stuck readings, swapped names, resistance on the way, the supply."""

from __future__ import annotations

from collections.abc import Iterator

from panelward.records import Circuit, Supply
from panelward.schedule.detect.limits import (
    ANYTHING,
    DRAWN_HOURS,
    FOLLOWS,
    HOURS_AHEAD,
    HOURS_KNEE,
    MINUTES_NEAR,
    NEAR,
    PULLED,
    STUCK_LEAST_STEPS,
    STUCK_S,
    STUCK_STEPS,
    UNMOVED_A,
    UNMOVED_STEPS,
    WINDOW_MINUTES,
)
from panelward.schedule.detect.look import Look, Sight

SILENT = "overdue readings"
STUCK = "stuck readings"
SWAPPED = "swapped names"
RESISTANCE = "resistance of its branch"
CUTOFF = "supply near cut-off"


def sights(look: Look) -> Iterator[Sight]:
    yield _silent(look)
    yield _stuck(look)
    yield _swapped(look)
    yield _resistance(look)
    yield _cutoff(look)


def _silent(look: Look) -> Sight:
    monitor = look.monitor
    assert monitor is not None
    if not look.on_change:
        return look.sight(SILENT, "yes", monitor.overdue_s, f"a reading every {look.period_s:g} s is expected")
    why = "an on-change publisher's silence is no evidence"
    if monitor.will is not None:
        return look.sight(
            SILENT, "together", 0.0, f"{why}; only with the last will of {monitor.name}", "Let it publish always."
        )
    return look.no(SILENT, why, "Let it publish always.")


def _stuck(look: Look) -> Sight:
    """The same to the last digit, while the bus moved by more than its resolution shows, or its load stopped by the meter."""
    by_bus = _stuck_by_bus(look)
    meter = next((c for c in look.schedule.circuits if c.id == look.supply.meter), None)
    if by_bus.can != "no" or meter is None or look.circuit.role != "load" or meter.sense.publishes != "always":
        return by_bus
    least_a = max(UNMOVED_A, UNMOVED_STEPS * look.step_a)
    why = f"when a draw of {least_a:.3g} A or more stops behind it, and the bank's meter falls by that and stays there"
    why += "; not where anything charges it on no circuit"
    return look.sight(STUCK, "together", max(STUCK_S, 20 * look.period_s), why)


def _stuck_by_bus(look: Look) -> Sight:
    loads = [load for load in look.circuit.loads if load.levels and load.kind not in ("socket", "inverter")]
    follows = loads and len(loads) == len(look.circuit.loads) and all(load.behaves in FOLLOWS for load in loads)
    if not follows or look.on_change or look.circuit.role != "load":
        return look.no(STUCK, "a reading that stands still looks like a steady draw: its load need not follow the bus")
    amps = max(level.watts for load in loads for level in load.levels) / look.supply.nominal_v
    if amps <= STUCK_LEAST_STEPS * look.step_a or not look.witness:
        return look.no(STUCK, f"at {amps:.3g} A and steps of {look.step_a:g} A, or without volts of the bus, it shows nothing")
    moved_v = STUCK_STEPS * look.step_a * look.supply.nominal_v / amps
    why = f"while it draws {amps:.3g} A and the bus moves by {moved_v:.2g} V, which must show"
    return look.sight(STUCK, "together", max(STUCK_S, 20 * look.period_s), why)


def _swapped(look: Look) -> Sight:
    """Its name and another's on one another's readings: where the levels of both are known and apart."""
    own = look.circuit
    if not _known(own):
        mend = None if own.role == "meter" or _anything(own) else "Write its levels, or always_draws_w, measured."
        return look.no(SWAPPED, "nobody knows what it would show: no levels, or anything may hang on it", mend)
    beside = [c for c in look.schedule.circuits if (c.supply, c.monitor) == (own.supply, own.monitor) and c.id != own.id]
    others = [c for c in beside if _known(c)]
    alike = [c.label for c in others if _overlap(own, c)]
    if len(alike) == len(others):
        return look.no(SWAPPED, "no other circuit of its monitor and supply has known levels apart from its own")
    but = f"; not with {', '.join(alike)}, whose levels overlap its own" if alike else ""
    why = f"when it and the other draw in {DRAWN_HOURS} hours or more of a day and a half, each as the other's schedule says"
    return look.sight(SWAPPED, "together", None, f"{why}{but}")


def _known(circuit: Circuit) -> bool:
    """Does its schedule say what it would show? (watch.swapped)"""
    if circuit.role == "charger":
        return True
    if circuit.role != "load" or not circuit.loads or _anything(circuit):
        return False
    return all(load.levels or load.always_draws_w for load in circuit.loads)


def _anything(circuit: Circuit) -> bool:
    return any(load.kind in ANYTHING for load in circuit.loads)


def _overlap(one: Circuit, other: Circuit) -> bool:
    """Do any of their levels? A charger's amps are of the other sign."""
    if "charger" in (one.role, other.role):
        return one.role == other.role
    return any(a <= d and c <= b for a, b in _bands(one) for c, d in _bands(other))


def _bands(circuit: Circuit) -> list[tuple[float, float]]:
    levels = [(x.watts * (1 - x.tolerance), x.watts * (1 + x.tolerance)) for load in circuit.loads for x in load.levels]
    return levels or [(0.0, 1.5 * (load.always_draws_w or 0.0)) for load in circuit.loads]


def _resistance(look: Look) -> Sight:
    """A bad joint, a thin or long way, a chassis return."""
    chassis = any(segment.return_path == "chassis" for segment in look.circuit.conductor)
    way = "the way out, the joints and the chassis" if chassis else "the conductor and its joints"
    if look.circuit.sense.volts_at == "load":
        why = f"volts at the load hold it, but the drop over {way} is not judged"
    else:
        why = f"no volts behind {way}"
    return look.no(RESISTANCE, why, "Measure the drop at the load under its full draw, by hand.")


def _cutoff(look: Look) -> Sight:
    supply = look.supply
    if supply.cutoff_v is None:
        mend = f"Write cutoff_v of {supply.id}, if it has one." if supply.kind == "dc" else None
        return look.no(CUTOFF, f"supply {supply.id} has no cutoff_v", mend)
    if not look.witness:
        return look.no(
            CUTOFF, f"no circuit of supply {supply.id} shows the volts of the bus",
            "Take the volts of one circuit of this supply at the bus.",
        )  # fmt: skip
    near_v = supply.cutoff_v + NEAR * supply.nominal_v
    slowest_s = max(m.expect_every_s for m in look.schedule.monitors)
    within_s = (MINUTES_NEAR + 1) * max(60.0, slowest_s) + slowest_s
    pulled_v = supply.cutoff_v + PULLED * supply.nominal_v
    why = (
        f"supply {supply.id} at or below {near_v:.4g} V for {MINUTES_NEAR} whole minutes without being charged, reckoned for "
        f"the mean draw of the last {WINDOW_MINUTES} min, or {pulled_v:.4g} V as read; "
        f"earlier, at higher volts, {_ahead(supply)}"
    )
    return look.sight(CUTOFF, "yes", within_s, why)


def _ahead(supply: Supply) -> str:
    """What is told before the volts are near: a forecast."""
    lfp = supply.battery is not None and supply.battery.chemistry == "lfp"
    fall = f"where at a lasting fall it has {HOURS_KNEE if lfp else HOURS_AHEAD:g} h or less left"
    counted = supply.battery is not None and supply.meter is not None
    return fall + (f", or by the charge counted at its meter {HOURS_AHEAD:g} h or less" if counted else "")
