"""What the bank's meter and the record tell: a draw that no circuit accounts for, a load that departs from its record."""

from __future__ import annotations

from collections.abc import Iterator
from math import sqrt

from panelward.schedule.detect.limits import (
    DRIFT_SD,
    DRIFT_UNJUDGED,
    UNASSIGNED_BLOCK_S,
    UNASSIGNED_KNOWN_A,
    UNASSIGNED_LEAST_A,
    UNASSIGNED_NIGHT,
    UNASSIGNED_SIGMAS,
    UNASSIGNED_ZERO_A,
    UNASSIGNED_ZERO_STEPS,
)
from panelward.schedule.detect.look import Look, Sight

UNASSIGNED = "a draw that no circuit accounts for"
DEPARTED = "departure from its record"
COMMISSION = "Run `panelward commission`: it measures the zeros and seals the levels."


def sights(look: Look) -> Iterator[Sight]:
    if look.circuit.id == look.supply.meter:
        yield _unassigned(look)
    if look.circuit.role == "load" and look.circuit.loads:
        yield _departed(look)


def _unassigned(look: Look) -> Sight:
    own = [c for c in look.schedule.circuits if c.supply == look.supply.id and c.id != look.circuit.id]
    unread = [c.id for c in own if c.monitor is None]
    if not own or unread:
        return look.no(
            UNASSIGNED, f"no monitor publishes {', '.join(unread) or 'its circuits'}", "Measure every circuit of it."
        )
    if look.on_change:
        return look.no(UNASSIGNED, "its meter publishes on change", "Let it publish always.")
    sensed = [look.step_a, *(c.sense.resolution_a for c in own)]
    error_a = sqrt(sum(max(UNASSIGNED_ZERO_STEPS * step_a, UNASSIGNED_ZERO_A) ** 2 for step_a in sensed))
    known_a = sqrt(sum(UNASSIGNED_KNOWN_A**2 + step_a**2 / 12.0 for step_a in sensed))  # what stands still is rounded alike
    least_a, known_least_a = (max(UNASSIGNED_LEAST_A, UNASSIGNED_SIGMAS * a) for a in (error_a, known_a))
    why = (
        f"from {least_a:.2g} A while little else draws, for the zeros of {len(sensed)} channels; from {known_least_a:.2g} A "
        "with those on record"
    )
    return look.sight(UNASSIGNED, "yes", UNASSIGNED_NIGHT * UNASSIGNED_BLOCK_S, why, COMMISSION)


def _departed(look: Look) -> Sight:
    kinds = {load.kind for load in look.circuit.loads}
    if len(look.circuit.loads) > 1:
        return look.no(DEPARTED, "several loads share it")
    if kinds & set(DRIFT_UNJUDGED):
        why = "its standby only: its draw goes with heat or with what hangs on it; it needs a commissioning record"
        return look.sight(DEPARTED, "together", None, why, COMMISSION)
    off = f"a few days after it is {100 * (2 * DRIFT_SD + 0.02):.0f} % off"
    if "compressor" in kinds and not any(probe.where in ("outside", "panel") for probe in look.schedule.probes):
        why = "its standby only: no probe tells how warm it is around it; it needs a commissioning record"
    else:
        why = f"by daily medians, {off}; it needs a commissioning record"
    return look.sight(DEPARTED, "together", None, why, COMMISSION)
