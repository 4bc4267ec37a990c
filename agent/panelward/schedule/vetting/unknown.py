"""What can't be judged for want of a fact, or was judged with something taken for it; and what a licensed person signs."""

from __future__ import annotations

from collections.abc import Iterator

from panelward.ratings import area_mm2, corrected_ampacity_a
from panelward.schedule.vetting.finding import PRACTICE, SCHEDULE, Finding, above
from panelward.schedule.vetting.way import Way

FLOOR_COUNTS = 3.0  # a floor of fewer steps of the sensing can't be told from its noise; common practice, no source


def findings(way: Way) -> Iterator[Finding]:
    yield from _floor(way)
    if way.protection is not None:
        yield from _conductor(way)
    if way.circuit.role == "load" and not way.circuit.loads:
        yield way.find(
            "note", "load-unknown", SCHEDULE, "Describe the load under [circuit.load].",
            "no load is written, so no draw can be called unusual.",
        )  # fmt: skip
    if way.supply.kind == "ac":
        yield way.find(
            "note", "licensed-practice", "IEC 60364-6 and local code; part 7-721 (vehicles) is not judged here",
            "Have it signed: insulation resistance with electronics disconnected, continuity of the protective conductor, "
            "polarity, all live poles switched by a two-pole device, its residual-current device (30 mA) tested in each "
            "source state.",
            "alternating current; a licensed person must have tested and signed it.",
        )  # fmt: skip


def _floor(way: Way) -> Iterator[Finding]:
    circuit = way.circuit
    if circuit.role != "load" or circuit.feed != "always-on":
        return
    watts = sum(load.always_draws_w or 0.0 for load in circuit.loads)
    if not watts:
        yield way.find(
            "note", "floor-unknown", SCHEDULE,
            "Write always_draws_w, measured, if its load draws something whenever it has a feed.",
            "always-on without a floor; no draw is no proof of a lost feed here.",
        )  # fmt: skip
        return
    amps, least = watts / way.supply.nominal_v, FLOOR_COUNTS * circuit.sense.resolution_a
    if above(least, amps):
        yield way.find(
            "warn", "floor-below-sensing", f"three steps of the sensing; {PRACTICE}",
            "Use a finer sensor or one that reports volts after the device: as it is, a lost feed can't be "
            "watched for reliably.",
            f"its floor of {amps:.3g} A is below three steps of its sensing ({least:.3g} A).", amps, least, "A",
        )  # fmt: skip


def _conductor(way: Way) -> Iterator[Finding]:
    circuit, kind = way.circuit, way.supply.kind
    sized = [segment for segment in circuit.conductor if area_mm2(segment) is not None]
    if len(sized) < len(circuit.conductor) or not sized:
        yield way.find(
            "note", "conductor-unknown", SCHEDULE, "Write its conductor: area_mm2, awg or sae, and its place.",
            "the size of its conductor is not written, so nothing says that its device protects it.",
        )  # fmt: skip
    if sized and any(segment.length_m is None for segment in sized):
        yield way.find(
            "note", "length-unknown", SCHEDULE, "Write length_m, one way.",
            "the length of its conductor is not written: its drop and a short at its far end can't be judged.",
        )  # fmt: skip
    chassis = any(segment.return_path == "chassis" for segment in sized)
    if chassis and kind == "ac":
        yield way.find(
            "refuse", "chassis-return-on-ac", "IEC 60364-4-41, from memory; the chassis is touched",
            "Lay the way back as a conductor of its own, to a two-pole device.",
            "its way back is the chassis, on alternating current.",
        )  # fmt: skip
    elif chassis:
        yield way.find(
            "note", "chassis-return", SCHEDULE, "Measure the drop at the load under its full draw.",
            "its way back is the chassis: only the way out is reckoned, the chassis and its joints are not known.",
        )  # fmt: skip
    reckoned = [corrected_ampacity_a(s, kind, way.rules) for s in sized]
    short = list(dict.fromkeys(rule for a in reckoned if a for rule, amps in a.by_rule if amps is None))
    if any(a is None for a in reckoned) or short:
        named = ", ".join(short) if short else "the rules named"
        yield way.find(
            "note", "ampacity-unknown", "33 CFR 183.425 Table 5, IEC 60364-5-52",
            "Have its ampacity reckoned by hand.",
            f"a size or an insulation that {named} does not reach; its ampacity can't be reckoned by it here.",
        )  # fmt: skip
    taken: dict[str, None] = {}
    for ampacity in reckoned:
        taken |= dict.fromkeys(ampacity.assumed if ampacity else ())
    if taken:
        yield way.find(
            "note", "conductor-assumed", SCHEDULE, "Write insulation_c, ambient_c and bundled as they are.",
            f"not written of its conductor, and taken for it: {', '.join(taken)}.",
        )  # fmt: skip
