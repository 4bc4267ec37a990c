"""The device: against its conductor, its way, the load's maker, its bus, the fault it may meet, and its load's need."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import inf

from panelward.ratings import area_mm2, device, opening_times_s, resistance_ohm_per_m, stall, weakest
from panelward.ratings.devices import BOOST
from panelward.records import Exemption, Protection, Segment
from panelward.schedule.vetting.finding import COORDINATION, PRACTICE, Finding, above, capital, down, listed
from panelward.schedule.vetting.way import LEAST_MM2, Way

GOOD_INSULATION_C = 105.0  # the best in common use in vehicles; what fails even with it fails plainly
NOMINAL_MARK = 0.93
EXEMPT_BELOW_V = 50.0
EXEMPT_TIMES = 1.5  # 33 CFR 183.455(c): below 50 V the device at most 150 % of the ampacity
FAR_TIMES = 5.0  # times the load: far above what it needs; common practice, no source
ORDINARY_A = 10.0  # up to here a device is ordinary for a small load: it protects the cable; common practice, no source
NAMES = {
    "electronic": "electronic output", "breaker-b": "type B breaker", "breaker-c": "type C breaker",
    "breaker-d": "type D breaker", "breaker-thermal": "thermal breaker", "breaker-self-resetting": "self-resetting breaker",
}  # fmt: skip
DENSEST_A_MM2 = 25.0  # 18 AWG at 105 °C in 33 CFR 183.425: 20 A on 0.82 mm², the densest row of any table here
REACH = 0.6  # between sizes ampacity goes with copper to about this power: for a size below the tables
MOTORS = ("fan", "pump", "motor")
EXEMPT_A = 1.0  # 33 CFR 183.425 leaves circuits under 1 A out


def findings(way: Way) -> Iterator[Finding]:
    protection = way.protection
    if protection is None:
        if way.circuit.role in ("load", "charger"):
            yield way.find(
                "refuse" if way.circuit.role == "load" else "warn", "no-device", COORDINATION,
                "Fit a device at its source end that its conductor can bear.",
                "no device protects it.",
            )  # fmt: skip
        return
    for what, amps in ratings(protection):
        yield from _conductor(way, what, amps)
        yield from _limits(way, what, amps)
    standard = way.family.ratings_a if way.family else ()
    if standard and protection.fitted_a not in standard:
        kind = f"{protection.kind}{f' type {protection.type}' if protection.type else ''}"
        yield way.find(
            "note", "rating-not-standard", way.family.source if way.family else PRACTICE, "Read the rating off its body again.",
            f"{protection.fitted_a:g} A is none of the standard ratings of a {kind} ({standard[0]:g} to {standard[-1]:g} A).",
        )  # fmt: skip
    yield from _bus(way, protection)
    yield from _records(way, protection)
    yield from _need(way, protection)


def ratings(protection: Protection) -> Iterator[tuple[str, float]]:
    """The scheduled device, and the one left in the way where it is another."""
    word = NAMES.get(protection.kind, protection.kind.replace("-", " "))
    named = f"an {word}" if word[0] in "aeiou" else f"a {word}"
    yield named, protection.rating_a
    if protection.as_left_a is not None and protection.as_left_a != protection.rating_a:
        yield f"as left, {named}", protection.as_left_a


def _conductor(way: Way, what: str, amps: float) -> Iterator[Finding]:
    weak = way.weakest
    thin = [s for s in way.circuit.conductor if (area_mm2(s) or inf) < LEAST_MM2 * 0.999]
    if thin and amps > EXEMPT_A and "FAA AC 43.13-1B" not in way.rules:
        least = way.conductor_for(lambda _: True, least_a=amps) or "a tabulated size"
        area = min(area_mm2(s) or inf for s in thin)
        yield way.find(
            "refuse" if amps > DENSEST_A_MM2 * area else "warn", "conductor-too-thin",
            "ISO 10133:2012 7.7 and 33 CFR 183.425 (18 AWG in a sheath)",
            f"Lay at least {least}.", f"{what} of {amps:g} A on a conductor of {area:.3g} mm².", area, LEAST_MM2, "mm²",
        )  # fmt: skip
    nearly = _unreached_a(way)
    if nearly is not None and above(amps, nearly) and weak is not None and not above(amps, weak.amps):
        size = way.conductor_for(lambda _: True, least_a=amps)
        yield way.find(
            "warn", "ampacity-unreached", f"{weak.source}; by its copper, no table reaches it",
            f"Lay at least {size}." if size else "Have its ampacity reckoned by hand.",
            f"{what} of {amps:g} A on a size or an insulation that no named rule reaches: about {down(nearly):g} A by its "
            "copper.",
            amps, nearly, "A",
        )  # fmt: skip
    if weak is None or not above(amps, weak.amps):
        return
    protection = way.protection
    exemption = protection.exemption if protection else None
    why = _not_exempt(way, exemption, amps, weak.amps) if exemption is not None else ""
    if exemption is not None and not why:
        yield way.find(
            "note", "device-above-ampacity-exempted", f"{exemption.rule}, {exemption.edition}",
            "Have it confirmed by whoever answers for the installation.",
            f"{what} of {amps:g} A, above the {down(weak.amps):g} A its conductor carries by {weak.rule}: allowed in "
            f"writing ({exemption.why}).",
            amps, weak.amps, "A",
        )  # fmt: skip
        return
    best = weakest(way.circuit.conductor, way.supply.kind, way.rules, GOOD_INSULATION_C)
    plain = best is None or above(amps, best.amps)
    whose = "that even the next greater tabulated conductor carries" if weak.bound else "its conductor carries"
    doubt = "" if plain else f" if its insulation is of {weak.insulation_c:g} °C: it is not written"
    refused = f" Its exemption does not hold here: {why}." if why else ""
    size = way.conductor_for(lambda _: True, least_a=amps)
    lay = f"lay at least {size}, a bigger conductor" if size else "lay a bigger conductor"
    cap = way.cap()
    if weak.bound or weak.amps <= 0.0:
        remedy = f"{cap}." if size is None or weak.amps <= 0.0 else f"{capital(lay)}."
    elif not plain:
        remedy = f"Write insulation_c. If it is no better: {cap[0].lower()}{cap[1:]}."
    elif way.bounded and way.most_a < way.steady_a:
        remedy = f"{capital(lay)}, or lower the load: what this conductor bears is too little for it."
    elif above(amps, way.needs_a):
        remedy = f"{cap}."  # a bigger conductor for it would be none that the load needs
    else:
        remedy = f"{cap}, or {lay}."
    yield way.find(
        "refuse" if plain else "warn", "device-above-ampacity", f"{weak.source}; {COORDINATION}", remedy,
        f"{what} of {amps:g} A, above the {down(weak.amps):g} A {whose} in its place{doubt}.{refused}",
        amps, weak.amps, "A",
    )  # fmt: skip


def _unreached_a(way: Way) -> float | None:
    """What the stretches that no rule reaches carry about: their bound, less by their copper. None: all are reached."""
    found = []
    for segment, ampacity in zip(way.circuit.conductor, way.ampacities, strict=True):
        if ampacity is not None and ampacity.bound:
            found.append(ampacity.amps * min(1.0, (area_mm2(segment) or 0.0) / ampacity.area_mm2) ** REACH)
    return min(found, default=None)


def _not_exempt(way: Way, exemption: Exemption, amps: float, ampacity_a: float) -> str:
    """Why a written exemption does not hold here; empty: it does."""
    if way.supply.kind == "ac":
        return "never for AC"
    if way.supply.nominal_v >= EXEMPT_BELOW_V:
        return "only below 50 V"
    if any(s.thermal_insulation_m > 0 for s in way.circuit.conductor):
        return "never in thermal insulation"
    if any(s.insulation_c is None for s in way.circuit.conductor):
        return "insulation_c is not written"
    if not any(c.isdigit() for c in exemption.edition) or not any(c.isdigit() for c in exemption.rule):
        return "it names no rule with its edition"
    return "at most 150 %" if above(amps, EXEMPT_TIMES * ampacity_a) else ""


def _limits(way: Way, what: str, amps: float) -> Iterator[Finding]:
    protection, maker = way.protection, way.maker_a
    assert protection is not None
    way_max = protection.way_max_a
    if way_max is not None and way_max < amps:
        yield way.find(
            "warn", "way-below-device", f"the panel maker's rating of the way; {PRACTICE}", f"{way.cap()}.",
            f"{what} of {amps:g} A in a way rated {way_max:g} A.", amps, way_max, "A",
        )  # fmt: skip
    if maker is not None and amps > maker:
        if len([x for x in way.circuit.loads if x.inline_fuse_a is None]) > 1:
            remedy = (
                "Give each load a way of its own, with its maker's device, or write inline_fuse_a where it has one of its own."
            )
        elif way.steady_a > maker:
            remedy = f"Ask its maker: it draws {way.steady_a:.3g} A, more than the {maker:g} A he allows."
        else:
            remedy = f"{way.cap()}."
        yield way.find(
            "refuse", "device-above-maker", "the load maker's instruction (maker_fuse_a)", remedy,
            f"{what} of {amps:g} A, above the {maker:g} A its load's maker allows.", amps, maker, "A",
        )  # fmt: skip
    elif maker is not None and amps < maker and len(way.circuit.loads) == 1:
        fits = f"Fit {maker:g} A" if maker <= way.most_a else f"Lay a conductor that carries {maker:g} A, then fit {maker:g} A"
        yield way.find(
            "note", "device-below-maker", "the load maker's instruction (maker_fuse_a)",
            f"{fits}, if its maker demands it and does not merely allow it.",
            f"{what} of {amps:g} A, below the {maker:g} A of its load's maker: it may open on an ordinary start.",
            amps, maker, "A",
        )  # fmt: skip
    upstream = way.feeder.protection if way.feeder else None
    if way.feeder is not None and upstream is not None and upstream.fitted_a < amps:
        yield way.find(
            "warn", "feeder-below-branch", PRACTICE, f"{way.cap()}; else the whole feeder goes out first.",
            f"{what} of {amps:g} A behind feeder {way.feeder.id} with {upstream.fitted_a:g} A.",
            amps, upstream.fitted_a, "A",
        )  # fmt: skip


def _bus(way: Way, protection: Protection) -> Iterator[Finding]:
    """Its voltage and its breaking capacity: as marked, else as its standard has them."""
    assert way.family is not None
    supply, word = way.supply, next(ratings(protection))[0]
    marked, standard = protection.rated_v, way.family.rated_v
    bus_v = round(supply.nominal_v * BOOST) if supply.kind == "dc" else supply.nominal_v
    rated_v = marked if marked is not None else standard
    # A mark may be the nominal voltage of the bus it is for: 12 V on 12.8 V.
    short = rated_v is not None and (supply.nominal_v * NOMINAL_MARK > rated_v if marked is not None else bus_v > rated_v)
    if supply.kind == "ac" and supply.nominal_v > 60 and protection.kind in ("blade-fuse", "bolt-fuse"):
        yield way.find(
            "refuse", "device-not-for-ac", "ISO 8820: fuses of road vehicles, to 58 V",
            f"Have a licensed person fit a breaker marked for {bus_v:g} V AC, two-pole.",
            f"{word} on {bus_v:g} V alternating current.",
        )  # fmt: skip
    elif short and rated_v is not None:
        if supply.kind == "ac":
            fit = f"Have a licensed person fit a breaker marked for {bus_v:g} V AC; if it is marked so, write rated_v."
        elif 32 < bus_v <= 58:
            fit = f"Fit a 58 V blade, or a breaker marked for at least {bus_v:g} V DC, and write rated_v."
        else:
            fit = f"Fit a device marked for at least {bus_v:g} V DC, and write rated_v."
        yield way.find(
            "refuse", "device-below-bus-volts", way.family.source, fit,
            f"{word} of {rated_v:g} V on a bus that comes to {bus_v:g} V: it may not quench the arc.", bus_v, rated_v, "V",
        )  # fmt: skip
    if rated_v is None and bus_v > 32 and way.family.word != "output":
        yield way.find(
            "note", "volts-unknown", way.family.source, "Write rated_v as it is marked.",
            f"what volts {word} is made for is not known; its bus comes to {bus_v:g} V.",
        )  # fmt: skip
    if supply.kind == "dc" and not way.family.dc and protection.rated_v is None:
        yield way.find(
            "warn", "breaker-for-ac-only", "IEC 60898-1 scope: part 1 is for AC, DC needs IEC 60898-2 or -3",
            "Fit a device marked for direct current at this voltage, and write rated_v and breaking_a as marked.",
            f"{word} on direct current: its standard is for alternating current only.",
        )  # fmt: skip
    breaking = protection.breaking_a if protection.breaking_a is not None else way.family.breaking_a
    fault = fault_here_a(way)
    backed = _backed_up(way, fault) if fault is not None else None
    if fault is not None and breaking is not None and above(fault, breaking) and backed is not None:
        yield way.find(
            "note", "fault-above-breaking-backed-up", "IEC 60364-4-43 434.5.1",
            "Have the makers' word that what it lets through does not harm the device here.",
            f"{word} breaks {breaking:g} A, a short just behind it may bring {fault:.4g} A; {backed} breaks that.",
            fault, breaking, "A",
        )  # fmt: skip
    elif fault is not None and breaking is not None and above(fault, breaking):
        yield way.find(
            "refuse", "fault-above-breaking", way.family.source,
            f"Fit a device marked to break at least {fault:.4g} A, here or at the bank ([supply.{supply.id}] protection), and "
            "write breaking_a; or have the fault current here reckoned anew, with the cable to this panel.",
            f"{word} breaks {breaking:g} A; a short just behind it may bring {fault:.4g} A.", fault, breaking, "A",
        )  # fmt: skip
    elif fault is not None and breaking is None and way.family.word != "output":
        yield way.find(
            "note", "breaking-unknown", way.family.source, "Write breaking_a as it is marked.",
            f"what {word} can break is not known; a short just behind it may bring {fault:.4g} A.",
        )  # fmt: skip


def _backed_up(way: Way, fault_a: float) -> str | None:
    """The device upstream whose breaking capacity stands for this one's, if there is one."""
    for feeder in way.feeders:
        if feeder.protection and (feeder.protection.breaking_a or 0.0) >= fault_a:
            return f"the device of feeder {feeder.id}"
    main = way.supply.protection
    return "the main device" if main and (main.breaking_a or 0.0) >= fault_a else None


def fault_here_a(way: Way) -> float | None:
    """The most that a short just behind its device may bring, A: through cold feeders, the high side; None: not known."""
    supply = way.supply
    if supply.fault_max_a is None:
        return None
    ohm = supply.nominal_v / supply.fault_max_a
    for feeder in way.feeders:
        for s in feeder.conductor:
            area = area_mm2(s)
            if area is not None and s.length_m is not None:
                ohm += resistance_ohm_per_m(area, 20.0) * s.length_m * (1.0 if s.return_path == "chassis" else 2.0)
    return supply.nominal_v / ohm


def _records(way: Way, protection: Protection) -> Iterator[Finding]:
    """What was found and left in the way against what the schedule says."""
    for rule, when, amps in (
        ("as-found-differs", "found", protection.as_found_a),
        ("as-left-differs", "left", protection.as_left_a),
    ):
        if amps is not None and amps != protection.rating_a:
            remedy = (
                "Settle which is right, from the conductor. The watch judges what was left in the way."
                if when == "left"
                else "Find out who changed it and why, and whether the conductor was harmed."
            )
            yield way.find(
                "warn", rule, f"as-found and as-left record; {PRACTICE}", remedy,
                f"{when} with {amps:g} A, scheduled with {protection.rating_a:g} A.", amps, protection.rating_a, "A",
            )  # fmt: skip


def _need(way: Way, protection: Protection) -> Iterator[Finding]:
    """Far above what the load needs: it protects the cable at best, the load never."""
    amps, steady = protection.fitted_a, way.steady_a
    if not way.bounded or steady <= 0.0:
        return
    fits = way.fitting_a
    motor = all(load.kind in MOTORS for load in way.circuit.loads) and len(way.circuit.loads) == 1
    demanded = way.maker_a is not None  # its maker has said what it needs
    if above(amps, FAR_TIMES * steady) and amps > ORDINARY_A and fits and amps > max(fits) and not demanded:
        yield way.find(
            "warn", "device-far-above-load", PRACTICE,
            f"Ratings that fit this load: {listed(fits)} A.{_stalls(way, protection, fits) if motor else ''}",
            f"{amps:g} A is far above what the load needs: it draws {steady:.3g} A.", amps, max(fits), "A",
        )  # fmt: skip
    for surge_a, seconds in way.surges:
        likely = opening_times_s(device(protection), surge_a / amps)[1]
        if likely is not None and likely < seconds:
            more = f"Ratings that live through it: {listed(fits)} A." if fits and max(fits) > amps else "Ask its maker."
            yield way.find(
                "warn", "start-opens-device", f"time bands of {protection.kind}", more,
                f"its start of {surge_a:.3g} A for {seconds:g} s likely opens {amps:g} A.", surge_a, amps, "A",
            )  # fmt: skip
            break
    if motor:
        verdict = stall(protection, steady, _stall_times(way))
        said, remedy = {
            "opens": ("opens on the stall within a minute", "Nothing to do."),
            "carries": (
                "protects its cable and not a stalled motor",
                "Ask its maker whether the motor has a protector of its own.",
            ),
            "may-open": (
                "protects its cable; on a stalled motor it may or may not open",
                "Ask its maker whether the motor has a protector of its own.",
            ),
        }[verdict]
        yield way.find(
            "note", "stalled-motor", f"a stalled motor draws three to five times its running current; {PRACTICE}", remedy,
            f"stalled, its motor draws about {_stall_times(way) * steady:.3g} A: {amps:g} A {said}.",
        )  # fmt: skip


def _stall_times(way: Way) -> float:
    return max([4.0, *(level.surge.times for load in way.circuit.loads for level in load.levels if level.surge)])


def _stalls(way: Way, protection: Protection, fits: Sequence[float]) -> str:
    """Which of the fitting ratings opens on a stalled motor, and what the greatest does."""
    said = {"opens": "opens on the stalled motor", "may-open": "may open on the stalled motor in some minutes",
            "carries": "protects its cable and not a stalled motor"}  # fmt: skip
    verdicts = {r: stall(replace(protection, rating_a=r, as_left_a=None), way.steady_a, _stall_times(way)) for r in fits}
    opening = [r for r, verdict in verdicts.items() if verdict == "opens"]
    told = dict.fromkeys([*opening[-1:], fits[-1]])
    return f" {'; '.join(f'{r:g} A {said[verdicts[r]]}' for r in told)}."


def segments_known(segments: Sequence[Segment]) -> bool:
    """Has every stretch a size and a length?"""
    return bool(segments) and all(area_mm2(s) is not None and s.length_m is not None for s in segments)
