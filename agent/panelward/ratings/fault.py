"""A short circuit: how much flows at the panel and at the far end, whether the device opens on it, and in time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, log

from panelward.ratings.ampacity import Ampacity, corrected_ampacity_a, steady_c, time_constant_s
from panelward.ratings.conductor import CROSS_LINKED_FROM_C, area_mm2, withstand_a2s
from panelward.ratings.devices import Device
from panelward.ratings.drop import loop_ohm
from panelward.ratings.specimens import opening_times_s
from panelward.records import Segment


@dataclass(frozen=True, slots=True)
class FarShort:
    """A short at the far end of a circuit."""

    amps: float
    multiple: float  # of the device's rating
    earliest_s: float | None
    latest_s: float | None  # inf: a device of this type may never open on it; None: not known
    withstand_s: float  # the weakest conductor bears it so long; inf: for ever


def far_fault_a(source_v: float, source_ohm: float, segments: Sequence[Segment]) -> float:
    """Current into a short at the far end, A: hot conductors (at their insulation's temperature), the low side.

    inf where nothing resists: no source resistance and no known stretch.
    """
    ohm = source_ohm
    for segment in segments:
        hot = segment.insulation_c if segment.insulation_c is not None else 70.0
        ohm += loop_ohm((segment,), conductor_c=hot).ohm
    return source_v / ohm if ohm > 0.0 else inf


def far_short(
    device: Device, amps: float, segments: Sequence[Segment], kind: str, panel_c: float | None, rules: Sequence[str] = ()
) -> FarShort:
    """What becomes of a short of `amps` at the far end behind this device, from cold."""
    multiple = amps / device.rating_a
    earliest, _, latest = opening_times_s(device, multiple, panel_c) if multiple < 1e6 else (0.0, 0.0, 0.0)
    magnetic = device.magnetic
    if magnetic is not None and multiple >= magnetic[1]:
        # It trips at once: 0.1 s is the test's ceiling, not the time for which the conductor must bear it.
        return FarShort(amps, multiple, earliest, latest, inf)
    weakest = min((_bears_s(amps, s, corrected_ampacity_a(s, kind, rules)) for s in segments), default=inf)
    return FarShort(amps, multiple, earliest, latest, weakest)


ADIABATIC_MOST_S = 5.0  # IEC 60364-4-43 434.5.2
# Where a short may leave the conductor; IEC 60364-5-54 table A.54, from memory.
SHORT_LIMIT_PVC_C, SHORT_LIMIT_CROSS_LINKED_C = 160.0, 250.0


def _bears_s(amps: float, segment: Segment, ampacity: Ampacity | None) -> float:
    """Seconds that a stretch, at its rated temperature before, bears this current.

    k²S² / I² (IEC 60364-4-43 434.5.2) counts no heat that is shed, so for long shorts it is too short: there the rise of
    one body with the conductor's own time constant is taken.
    """
    area = area_mm2(segment)
    if area is None or (ampacity is not None and amps <= ampacity.thermal_a):
        return inf
    adiabatic = withstand_a2s(area, segment.insulation_c or 70.0) / amps**2
    if adiabatic <= ADIABATIC_MOST_S or ampacity is None or ampacity.thermal_a <= 0.0:
        return adiabatic
    limit_c = SHORT_LIMIT_CROSS_LINKED_C if ampacity.rated_c >= CROSS_LINKED_FROM_C else SHORT_LIMIT_PVC_C
    final_c = steady_c(ampacity, amps)
    if final_c <= limit_c:
        return inf
    shed = time_constant_s(ampacity) * log((final_c - ampacity.rated_c) / (final_c - limit_c))
    return max(adiabatic, shed)


def source_limited_a(nominal_w: float, nominal_v: float, surge: float = 2.0) -> float:
    """The most that an inverter or converter gives into a short, A; `surge` times its watts for a moment.

    Twice: common practice, no source. Behind it a device may never open: the source limits and shuts itself down.
    """
    return surge * nominal_w / nominal_v
