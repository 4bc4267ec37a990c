"""The loads: against the device's rating, what they ask of it for hours, and the volts that reach them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from panelward.ratings import drop, opening_times_s, solve
from panelward.records import Load, Segment
from panelward.schedule.vetting.finding import COORDINATION, PRACTICE, Finding, above
from panelward.schedule.vetting.fitted import segments_known
from panelward.schedule.vetting.way import Way

CONTINUOUS_S = 3 * 3600  # NEC art. 100: a continuous load runs three hours or more
ALWAYS_RUNNING = ("electronics", "detector")  # on an always-on feed these are continuous without a longest_run
# Three rules with three sources; never one number.
CONTINUOUS = {
    "fuse": (0.80, "a fuse in its holder: at most 75 to 80 % for hours (a fuse guide: 75 % at 25 °C)"),
    "breaker-thermal": (0.80, "NEC art. 100 and 210.20(A)"),
    "breaker-self-resetting": (0.80, "NEC art. 100 and 210.20(A)"),
    # IEC 60898-1 breakers carry 1.13 times their rating at 30 °C; their grouping and warmth are the panel maker's.
}
CRITICAL_KINDS = ("electronics", "detector")
DROP_SOURCE = "ABYC E-11 and ISO 10133 as quoted: 3 % for feeders, electronics, bilge pumps; 10 % otherwise"
DROP_SOURCE_AC = "NEC 210.19(A) informational note: 3 % branch"


def findings(way: Way, upstream_share: float = 0.0) -> Iterator[Finding]:
    """`upstream_share`: what its feeders lose of nominal under their own load."""
    if way.protection is not None:
        yield from _levels(way)
    yield from _drop(way, upstream_share)


def _levels(way: Way) -> Iterator[Finding]:
    protection = way.protection
    assert protection is not None
    assert way.family is not None
    fitted = protection.fitted_a
    key = "fuse" if way.family.word == "fuse" else protection.kind
    share, source = CONTINUOUS.get(key, (1.0, COORDINATION))
    yield from _together(way, fitted, share, source)
    for load in way.circuit.loads:
        lowest_w = min((level.watts for level in load.levels), default=0.0)  # what "for ever" means without a longest_run
        for level in load.levels:
            amps = level.watts / way.supply.nominal_v
            draws = f'level "{level.name}" draws {amps:.3g} A at {way.supply.nominal_v:g} V'
            if above(amps, fitted):
                if _over_in_time(way, load, amps):
                    continue
                demanded = load.maker_fuse_a is not None and fitted == load.maker_fuse_a
                yield way.find(
                    "warn" if demanded else "refuse", "level-above-rating", COORDINATION,
                    "Lower the load or share it out over more circuits; the device stays as its conductor wants it.",
                    f"{draws}, above its {fitted:g} A device.", amps, fitted, "A",
                )  # fmt: skip
            elif low_volts_above(way, load, level.watts, fitted):
                low_a = level.watts / way.low_v
                yield way.find(
                    "warn", "level-above-rating-at-low-volts", f"P / V; {COORDINATION}",
                    "Lower the load or share it out over more circuits; the device stays as its conductor wants it.",
                    f'level "{level.name}" draws {low_a:.3g} A at {way.low_v:.3g} V, the least its supply is run at, above its '
                    f"{fitted:g} A device.", low_a, fitted, "A",
                )  # fmt: skip
            elif (
                continuous(way, load)
                and (load.longest_run_s is not None or level.watts == lowest_w)
                and above(amps, share * fitted)
            ):
                why = "three hours or more" if load.longest_run_s is not None else "for ever"
                yield way.find(
                    "warn", "continuous-above-80-percent", source,
                    "Lower the load, shorten its run, or share it out over more circuits.",
                    f"{draws} {why}: above {100 * share:.0f} % of its {fitted:g} A device.", amps, share * fitted, "A",
                )  # fmt: skip


def _together(way: Way, fitted: float, share: float, source: str) -> Iterator[Finding]:
    """Several loads on one way: each may pass where all of them don't."""
    if len(way.peaks) < 2 or any(above(watts / way.supply.nominal_v, fitted) for _, watts in way.peaks):
        return
    if above(way.steady_a, fitted):
        yield way.find(
            "warn", "levels-above-rating-together", COORDINATION,
            "Share its loads out over more circuits, or see that they never run together.",
            f"its loads at full draw {way.steady_a:.3g} A together, above its {fitted:g} A device.", way.steady_a, fitted, "A",
        )  # fmt: skip
    for_hours = [
        max(level.watts for level in load.levels) for load in way.circuit.loads if load.levels and continuous(way, load)
    ]
    amps = sum(for_hours) / way.supply.nominal_v
    if len(for_hours) > 1 and above(amps, share * fitted) and max(for_hours) / way.supply.nominal_v <= share * fitted:
        yield way.find(
            "warn", "continuous-above-80-percent", source,
            "Share its loads out over more circuits, or shorten their runs.",
            f"its loads draw {amps:.3g} A together for hours: above {100 * share:.0f} % of its {fitted:g} A device.",
            amps, share * fitted, "A",
        )  # fmt: skip


def _for_hours(way: Way, load: Load, lowest: bool) -> bool:
    """Is this level drawn for hours? Without a longest run, of what always runs, its lowest level."""
    return continuous(way, load) and (load.longest_run_s is not None or lowest)


def _over_in_time(way: Way, load: Load, amps: float) -> bool:
    """A short run that is over before even the quickest device of the type opens."""
    if load.longest_run_s is None or way.device is None:
        return False
    earliest = opening_times_s(way.device, amps / way.device.rating_a)[0]
    return earliest is not None and earliest > load.longest_run_s


def low_volts_above(way: Way, load: Load, watts: float, fitted_a: float) -> bool:
    """A load of constant power draws more as its volts fall: above its rating at the least volts?"""
    return way.supply.kind == "dc" and load.behaves == "constant-power" and above(watts / way.low_v, fitted_a)


def continuous(way: Way, load: Load) -> bool:
    """Does it run three hours or more? Its longest run says so, or what it is."""
    if load.longest_run_s is not None:
        return load.longest_run_s >= CONTINUOUS_S
    return way.circuit.feed == "always-on" and load.kind in ALWAYS_RUNNING


def allowed_share(way: Way) -> float:
    """How much of nominal may be lost on the way: 3 % for what must have its volts, 10 % for the rest."""
    if way.supply.kind == "ac" or way.circuit.importance == "life":
        return drop.CRITICAL_SHARE
    kinds = [load.kind for load in way.circuit.loads]
    bilge = "pump" in kinds and way.circuit.feed == "always-on"
    return drop.CRITICAL_SHARE if bilge or any(kind in CRITICAL_KINDS for kind in kinds) else drop.OTHER_SHARE


def _drop(way: Way, upstream_share: float = 0.0) -> Iterator[Finding]:
    circuit, supply = way.circuit, way.supply
    if circuit.role != "load" or not segments_known(circuit.conductor):
        return
    loads = way.peaks if way.bounded else (("constant-current", way.design_a * supply.nominal_v),)
    if not any(watts > 0.0 for _, watts in loads):
        return
    ohm = way.loop(way.design_a).ohm
    limit = allowed_share(way)
    source = DROP_SOURCE_AC if supply.kind == "ac" else DROP_SOURCE
    solved = solve(loads, ohm, supply.nominal_v, supply.nominal_v)
    if solved is not None and not above(solved.share, limit) and above(solved.share + upstream_share, limit):
        yield way.find(
            "warn", "drop-above-limit", source, "Lay a bigger conductor here or for its feeder, or shorten the run.",
            f"at {way.design_a:.3g} A it loses {100 * solved.share:.2g} % on the way, its feeder {100 * upstream_share:.2g} %.",
            100 * (solved.share + upstream_share), 100 * limit, "%",
        )  # fmt: skip
    elif solved is None or above(solved.share, limit):
        lost = "all of its volts: it browns out" if solved is None else f"{solved.drop_v:.3g} V, {100 * solved.share:.2g} %,"
        yield way.find(
            "refuse" if solved is None else "warn", "brown-out" if solved is None else "drop-above-limit", source,
            _remedy(way, loads, limit), f"at {way.design_a:.3g} A it loses {lost} on the way.",
            None if solved is None else 100 * solved.share, 100 * limit, "%",
        )  # fmt: skip
        return
    if supply.kind == "dc" and solve(loads, ohm, way.low_v, supply.nominal_v) is None:
        yield way.find(
            "warn", "brown-out", f"P > V² / 4R has no solution; {PRACTICE}", _remedy(way, loads, limit),
            f"at {way.low_v:g} V its loads find no working point at the end of {1000 * ohm:.3g} mohm: they brown out.",
        )  # fmt: skip


def _remedy(way: Way, loads: Sequence[tuple[str, float]], limit: float) -> str:
    def good(segments: Sequence[Segment]) -> bool:
        solved = solve(loads, way.loop(way.design_a, segments).ohm, way.supply.nominal_v, way.supply.nominal_v)
        return solved is not None and not above(solved.share, limit)

    size = way.conductor_for(good)
    return (
        f"Lay at least {size}, or shorten the run." if size else "Shorten the run or lower the load: no standard size does it."
    )
