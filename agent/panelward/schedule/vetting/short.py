"""A short at the far end: does the device open on it, and before the conductor is harmed?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import inf

from panelward.ratings import MAGNETIC, FarShort, device, far_fault_a, far_short, standard_ratings_a
from panelward.records import Segment
from panelward.schedule.vetting.finding import PRACTICE, Finding, capital
from panelward.schedule.vetting.fitted import segments_known
from panelward.schedule.vetting.way import Way

SLOW_S = 5.0  # IEC 60364-4-41 411.3.2 (distribution) and -4-43 434.5.2, from memory
AC_S = 0.4  # IEC 60364-4-41 table 41.1, 230 V final circuits, from memory
SOURCES = ("inverter", "charger", "electronics")
_AC = "IEC 60364-4-41 table 41.1, from memory"
_WITHSTAND = "IEC 60364-4-43 434.5.2: I²t <= k²S²"


def findings(way: Way) -> Iterator[Finding]:
    protection, of = way.protection, way.device
    if protection is None or of is None:
        return
    limited = limited_by(way)
    if limited is not None:
        yield way.find(
            "note", "source-limits", PRACTICE,
            "Rely on no device here: have the source's own shutdown on a short tested"
            f"{', and the residual-current device' if way.supply.kind == 'ac' else ''}.",
            f"behind {limited} the source limits its current and shuts itself down: on a short its device may not open.",
        )  # fmt: skip
        return
    if not of.members or not segments_known(way.circuit.conductor):
        return
    short = _short(way, way.circuit.conductor, protection.fitted_a)
    if short.latest_s is None:
        return
    # IEC's 0.4 s is for its own breakers on 230 V, and no time is judged on a source that nobody reckoned.
    iec = way.supply.kind == "ac" and protection.kind in MAGNETIC and way.supply.nominal_v >= 200
    most_s = AC_S if iec and way.supply.fault_min_a is not None else inf
    if way.supply.kind == "ac" and way.supply.fault_min_a is None and short.latest_s != inf:
        return
    if short.latest_s == inf:
        best = " even if its source had no resistance" if way.supply.fault_min_a is None else ""
        yield way.find(
            "refuse", "far-short-never-opens", f"IEC 60364-4-43 434.5; time bands of {protection.kind}", _remedy(way),
            f"a short at its far end brings {short.amps:.3g} A{best}, {short.multiple:.2g} times its rating: its device may "
            "never open on it.",
            short.amps, 5.0 * protection.fitted_a, "A",
        )  # fmt: skip
    elif short.latest_s > min(short.withstand_s, most_s):
        limit = min(short.withstand_s, most_s)
        # k²S² counts no heat that is shed: beyond 5 s it errs on the short side.
        bears = f"bears it {_seconds(limit)}" if limit == short.withstand_s else f"has to be rid of it in {_seconds(limit)}"
        yield way.find(
            "warn", "far-short-slow", f"{_WITHSTAND}; {_AC}" if way.supply.kind == "ac" else _WITHSTAND, _remedy(way),
            f"a short at its far end brings {short.amps:.3g} A: its device may take {_seconds(short.latest_s)}, its "
            f"conductor {bears}.",
            short.latest_s, limit, "s",
        )  # fmt: skip


def protection_is_iec(way: Way) -> bool:
    return way.protection is not None and way.protection.kind in MAGNETIC


def _seconds(seconds: float) -> str:
    return f"{seconds:.2g} s" if seconds < 100 else f"{seconds / 60:.0f} min"


def limited_by(way: Way) -> str | None:
    """What limits the current here: its own electronic output, or the inverter or converter that feeds its supply."""
    if way.protection is not None and way.protection.kind == "electronic":
        return "an electronic output"
    source = way.supply
    if source.fed_by is None or source.battery is not None or source.fault_min_a is not None:
        return None
    feeds = way.around.circuits[source.fed_by]
    kinds = [load.kind for load in feeds.loads]
    if "inverter" in kinds:
        return f"the inverter {feeds.label}"
    return f"the converter {feeds.label}" if any(kind in SOURCES for kind in kinds) else None


def _short(way: Way, segments: Sequence[Segment], rating_a: float) -> FarShort:
    assert way.protection is not None
    ohm = way.supply.nominal_v / way.supply.fault_min_a if way.supply.fault_min_a else 0.0
    above = [segment for feeder in way.feeders for segment in feeder.conductor]
    amps = far_fault_a(way.low_v, ohm, [*above, *segments])
    of = device(replace(way.protection, rating_a=rating_a, as_left_a=None))
    return far_short(of, amps, segments, way.supply.kind, None, way.rules)


def _remedy(way: Way) -> str:
    """A conductor with which it opens in time, and a device that opens in time on this one, where there are such."""
    assert way.protection is not None
    fitted = way.protection.fitted_a
    most_s = AC_S if way.supply.kind == "ac" and protection_is_iec(way) else SLOW_S

    def good(segments: Sequence[Segment], rating_a: float = fitted) -> bool:
        short = _short(way, segments, rating_a)
        return short.latest_s is not None and short.latest_s <= min(most_s, short.withstand_s)

    size = way.conductor_for(good, least_a=fitted)
    smaller = [
        r for r in standard_ratings_a(way.protection) if max(0.1, 1.25 * way.steady_a) <= r < fitted and r <= way.most_a
        if good(way.circuit.conductor, r)
    ]  # fmt: skip
    ways = [f"lay at least {size}"] if size else []
    ways += [f"fit a device of at most {max(smaller):g} A"] if smaller else []
    return f"{capital(', or '.join(ways))}." if ways else "Shorten the run or feed it from nearer by: no standard size does it."
