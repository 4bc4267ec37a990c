"""What can't be judged for want of a fact, or was judged with something taken for it; and what a licensed person signs."""

from __future__ import annotations

from collections.abc import Iterator

from panelward.ratings import area_mm2, corrected_ampacity_a
from panelward.schedule.detect import Look
from panelward.schedule.detect.feed import finer, lost_feed
from panelward.schedule.vetting.finding import PRACTICE, SCHEDULE, Finding
from panelward.schedule.vetting.way import Way

CANT = "can't be watched for a lost feed"


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
    """Can an always-on circuit be watched for a lost feed? The list of all that can't be seen is `detect`'s."""
    circuit = way.circuit
    if circuit.role != "load" or circuit.feed != "always-on":
        return
    look = Look(way.around.schedule, circuit)
    if look.floor_w and not look.floor_told:
        yield way.find(
            "warn", "floor-below-sensing", f"three steps of the sensing; {PRACTICE}",
            finer(look),
            f"its floor of {look.floor_a:.3g} A is below three steps of its sensing ({look.least_floor_a:.3g} A): it can't be "
            "watched for a lost feed, and may be told as lost while it is fed.",
            look.floor_a, look.least_floor_a, "A",
        )  # fmt: skip
        return
    sight = lost_feed(look)
    if sight.can == "yes" or (look.floor_w and sight.can != "no"):
        return
    if sight.can == "no":
        message = sight.why if sight.why.startswith(CANT) else f"{CANT}: {sight.why}"
    else:
        message = f"always-on without a floor: {sight.why}"
    rule = "feed-unwatched" if look.floor_w else "floor-unknown"
    yield way.find("note", rule, SCHEDULE, sight.mend or "Have it looked at by hand.", f"{message}.")


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
