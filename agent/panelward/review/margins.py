"""How near each way came to what its device and its conductor carry; its volts; the life of its fuse."""

from __future__ import annotations

from collections.abc import Mapping
from math import exp, inf, log10

import numpy as np
import pandas as pd

from panelward.ratings import (
    GATES,
    Ampacity,
    Device,
    device,
    loop_ohm,
    opening_times_s,
    set_names,
    steady_c,
    time_constant_s,
    warm_factor,
)
from panelward.ratings.curves import ampacity_of
from panelward.records import Circuit, Protection, Record, Schedule
from panelward.review.gathered import AMPS_STEP, Gathered, Probed, Way, quantile
from panelward.review.report import Band, Margin, Span, Volts
from panelward.review.source import Floats

MINUTE_S, LONG_S = 60.0, 10_800.0
NO_FEED = 0.2  # of nominal: with less it has no feed, as the watch has it; that is no low volts
LOW_OF_NOMINAL = 0.9  # 11.5 V on a bank of 12.8 V (common practice, no source); a mains supply's -10 % (IEC 60038)
# Share of its melting heat (A²s) that one surge brings, and how many of them a fuse bears. From a maker-neutral application
# note on fuses, read in a copy: pulses against melting I²t.
MINER = ((0.22, 1e5), (0.29, 1e4), (0.38, 1e3), (0.48, 1e2))
MOST_BEARS = 8.0  # as a logarithm: beyond a hundred million nothing is known
MOST_TIMES = 12.0  # of its rating: further off is no start


def margin(schedule: Schedule, gathered: Gathered, way: Way, span: Span, record: Record | None, starts: int) -> Margin:
    """Of one circuit."""
    circuit, protection = way.circuit, way.circuit.protection
    ampacity = ampacity_of(schedule, circuit)
    fitted = device(protection) if protection is not None else None
    part = gathered.bins(span.from_ms, span.to_ms)
    minute_a, long_a = _worst(way, MINUTE_S), _worst(way, LONG_S)
    carries_a = None
    if fitted is not None:
        carries_a = fitted.rating_a * fitted.carries * warm_factor(fitted, _hottest(gathered, schedule, part))
    makers = [load.maker_fuse_a for load in circuit.loads if load.maker_fuse_a is not None]
    known = way.readings > 0
    return Margin(
        way=circuit.id,
        device=_name(protection),
        fitted_a=protection.fitted_a if protection is not None else None,
        ampacity_a=ampacity.amps if ampacity is not None else None,
        ampacity_rule=ampacity.rule if ampacity is not None else None,
        way_max_a=protection.way_max_a if protection is not None else None,
        maker_a=min(makers, default=None),
        worst_minute_a=minute_a,
        worst_3h_a=long_a,
        p999_a=quantile(way.amps, 0.999, AMPS_STEP),
        hours_above_80=way.above_80_s / 3600.0 if known and protection is not None else None,
        least_margin=1.0 - minute_a / carries_a if minute_a is not None and carries_a else None,
        conductor_c=_conductor_c(way, ampacity, part, gathered.seconds(part)) if known and ampacity is not None else None,
        insulation_c=ampacity.rated_c if ampacity is not None else None,
        fuse_life=_fuse_life(circuit, fitted, record, starts, way.habit.nominal_v) if known else None,
        held=way.held,
        band=_band(protection) if protection is not None else (),
    )


def _worst(way: Way, seconds: float) -> float | None:
    return next((held.amps for held in way.held if held.seconds >= seconds - 1e-9), None)


def _name(protection: Protection | None) -> str | None:
    if protection is None:
        return None
    kind = protection.kind.removesuffix("-fuse") if protection.kind.endswith("-fuse") else protection.kind.replace("-", " ")
    return " ".join((kind, *([protection.type] if protection.type else []), f"{protection.fitted_a:g} A"))


def _hottest(gathered: Gathered, schedule: Schedule, part: slice) -> float | None:
    """The panel at its warmest; None: it has no probe."""
    found = [
        float(np.nanmax(celsius))
        for probe in schedule.probes
        if probe.where == "panel" and not np.isnan(celsius := gathered.probes[probe.id].celsius[part]).all()
    ]
    return max(found, default=None)


def _conductor_c(way: Way, ampacity: Ampacity, part: slice, seconds: Floats) -> float:
    """The hottest that it came, one body warmed by the mean square of each minute: Ta + (T_ins - Ta) (I / Iz)²."""
    grid = way.grid
    read_s = grid.read_s[part]
    square = np.where(read_s > 0, grid.a2s[part] / np.maximum(read_s, 1e-9), 0.0)
    if not len(square) or ampacity.thermal_a <= 0.0:
        return ampacity.ambient_c
    alpha = 1.0 - exp(-float(np.median(seconds)) / time_constant_s(ampacity))
    warmed = pd.Series(square).ewm(alpha=alpha, adjust=False).mean()
    return steady_c(ampacity, float(warmed.max()) ** 0.5)


def _band(protection: Protection) -> tuple[Band, ...]:
    """The gates of its standard themselves; of two forms that the schedule does not tell apart, what holds for both."""
    found: dict[float, tuple[float, float]] = {}
    for name in set_names(protection):
        for gate in GATES[name]:
            least, most = found.get(gate.multiple, (inf, 0.0))
            found[gate.multiple] = min(least, gate.min_s), max(most, gate.max_s)
    return tuple(
        Band(amps=multiple * protection.fitted_a, least_s=least or None, most_s=most if most < inf else None)
        for multiple, (least, most) in sorted(found.items())
    )


def _fuse_life(circuit: Circuit, fitted: Device | None, record: Record | None, starts: int, nominal_v: float) -> float | None:
    """Miner's sum over the starts counted: an estimate. None: no fuse, or what a start draws is not known.

    A start is held against the current at which the device likely opens within the surge's own time.
    """
    protection = circuit.protection
    if fitted is None or protection is None or fitted.word != "fuse":
        return None
    commissioned = record.circuit(circuit.id) if record is not None else None
    heats = []
    if commissioned is not None:
        for level in commissioned.levels:
            if level.surge_times is not None and level.surge_s is not None:
                heats.append((level.watts, level.surge_times, level.surge_s))
    if not heats:
        heats = [
            (level.watts, level.surge.times, level.surge.seconds)
            for load in circuit.loads
            for level in load.levels
            if level.surge is not None
        ]
    if not heats:
        return None
    return starts / min(_bears(heat, fitted, nominal_v) for heat in heats)


def _bears(surge: tuple[float, float, float], fitted: Device, nominal_v: float) -> float:
    """How many such surges the fuse bears, by a line through the logarithms."""
    watts, times, seconds = surge
    share = (watts / nominal_v * times / _opening_a(fitted, seconds)) ** 2
    shares, counts = [s for s, _ in MINER], [log10(n) for _, n in MINER]
    if share <= shares[0]:
        slope = (counts[1] - counts[0]) / (shares[1] - shares[0])
        return float(10 ** min(MOST_BEARS, counts[0] + slope * (share - shares[0])))
    if share >= shares[-1]:
        slope = (counts[-1] - counts[-2]) / (shares[-1] - shares[-2])
        return float(10 ** max(0.0, counts[-1] + slope * (share - shares[-1])))
    return float(10 ** np.interp(share, shares, counts))


def _opening_a(fitted: Device, seconds: float) -> float:
    """The current at which such a device likely opens in so long, from cold."""
    low, high = 1.0, MOST_TIMES
    for _ in range(40):
        middle = (low + high) / 2.0
        likely = opening_times_s(fitted, middle)[1]
        low, high = (middle, high) if likely is None or likely > seconds else (low, middle)
    return high * fitted.rating_a


def volts_of(schedule: Schedule, way: Way) -> Volts | None:
    """Of one circuit; None: its volts are not measured."""
    supply = schedule.supply(way.circuit.supply)
    counts = way.volts
    counts = np.where(np.arange(len(counts)) * way.volts_step < NO_FEED * supply.nominal_v, 0, counts)
    total = int(counts.sum())
    if total == 0:
        return None
    low_v = (
        LOW_OF_NOMINAL * supply.nominal_v
        if supply.cutoff_v is None
        else max(LOW_OF_NOMINAL * supply.nominal_v, supply.cutoff_v)
    )
    below = int(counts[: max(0, int(np.ceil(low_v / way.volts_step - 1e-9)))].sum())
    by = 10  # fine steps of 0.01 V to the shown ones of 0.1 V; mains 0.1 to 1 V
    used = np.flatnonzero(counts)
    first, last = int(used[0]) // by, int(used[-1]) // by
    coarse = np.add.reduceat(counts, np.arange(0, len(counts), by))[first : last + 1]
    drawn = way.amps.copy()
    drawn[: int(way.circuit.sense.nothing_a / AMPS_STEP + 1e-9) + 1] = 0  # of the time that it draws: at rest it loses nothing
    p95_a = quantile(drawn, 0.95, AMPS_STEP)
    loop = loop_ohm(way.circuit.conductor, None, p95_a or 0.0, supply.kind)
    drop = p95_a * loop.ohm if p95_a is not None and way.circuit.conductor and not loop.unknown else None
    return Volts(
        way=way.circuit.id,
        volts_at=way.circuit.sense.volts_at,
        low_share=below / total,
        low_v=low_v,
        p05_v=quantile(counts, 0.05, way.volts_step),
        p50_v=quantile(counts, 0.5, way.volts_step),
        drop_at_p95_v=drop,
        counts=tuple(int(x) for x in coarse),
        first_v=first * by * way.volts_step,
        step_v=by * way.volts_step,
    )


def warmest(probes: Mapping[str, Probed], schedule: Schedule, at: int, where: str = "panel") -> float | None:
    """What a probe there showed in a bin; None: none did."""
    for probe in schedule.probes:
        if probe.where == where:
            celsius = probes[probe.id].celsius
            if 0 <= at < len(celsius) and not np.isnan(celsius[at]):
                return float(celsius[at])
    return None
