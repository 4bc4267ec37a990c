"""In what order to isolate, what a person looks at and signs, and what to beware of: by what is in the schedule."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from panelward.papers.pack_words import BEFORE, ISOLATED_ONLY
from panelward.records import Circuit, Schedule
from panelward.wording.say import manner_of

MOTORS = ("motor", "pump", "fan")
STATES = ("inverter", "shore", "generator")
PRACTICE = "common practice, no source"
AC_TESTS = "IEC 60364-6 and local code; from memory"


@dataclass(frozen=True, slots=True, kw_only=True)
class Inspect:
    """One thing that a person sees and signs."""

    group: str
    text: str
    source: str
    licensed: bool = False  # a licensed person's


def _named(circuits: list[Circuit]) -> str:
    return ", ".join(f"{c.label} ({c.id})" for c in circuits)


def _chargers(schedule: Schedule, source: str | None) -> list[Circuit]:
    return [c for c in schedule.circuits if c.role == "charger" and c.source == source]


def _with(schedule: Schedule, *kinds: str) -> list[Circuit]:
    return [c for c in schedule.circuits if any(load.kind in kinds for load in c.loads)]


def _has_ac(schedule: Schedule) -> bool:
    return any(s.kind == "ac" for s in schedule.supplies)


def isolation(schedule: Schedule) -> tuple[str, ...]:
    """Sources in the order in which they are cut off: the sun's side first, the bank last."""
    return tuple(_isolation(schedule))


def _isolation(schedule: Schedule) -> Iterator[str]:
    for manner, text in BEFORE.items():
        those = [c for c in schedule.circuits if c.feed == "always-on" and manner_of(schedule, c) == manner]
        if those:
            yield "Before: " + text.format(labels=_named(those))
    unsaid = _chargers(schedule, None)
    sun, engine, shore = (_chargers(schedule, name) for name in ("sun", "engine", "shore"))
    panels = f"then {_named(sun)}" if sun else "where there are any (the schedule names no charger of the sun)"
    yield f"Sun: cut off the panels' side first, {panels}. Panels and their cable stay live in daylight."
    posts = f", {_named(shore)} with it" if shore else ""
    yield f"Shore: take the plug out at the post{posts}."
    yield "Generator: stop it and keep it from starting, where there is one."
    starter = f"{_named(engine)} on its starter side" if engine else "a DC-DC charger, if there is one, on its starter side"
    yield f"Starter bank: engine off; cut off {starter}. It feeds this panel from the other bank."
    if unsaid:
        yield f"Other chargers, whose source is not written: {_named(unsaid)}. Find what feeds them and cut that off."
    inverters = _with(schedule, "inverter")
    if inverters:
        yield f"Inverter: what it runs first, then {_named(inverters)} at its own switch."
    mains = [s for s in schedule.supplies if s.kind == "dc" and s.fed_by is None]
    banks = ", ".join(s.id for s in mains) or "the bank"
    yield f"Bank last: main switch of {banks}, then its main device out. Where it is: ______________________"
    if inverters:
        yield "Wait for the inverter's capacitors, as long as its maker says: ______ min. They stay charged with all off."
    yield "Prove it dead at the point of work, with a tester that was proved before and is proved after. Lock it and tag it."
    yield ISOLATED_ONLY


def inspections(schedule: Schedule) -> tuple[Inspect, ...]:
    """What can't be measured from here."""
    return tuple(_direct(schedule)) + tuple(_alternating(schedule))


def _direct(schedule: Schedule) -> Iterator[Inspect]:
    def item(text: str, source: str = PRACTICE) -> Inspect:
        return Inspect(group="Direct current", text=text, source=source)

    yield item("DC negative is bonded to the chassis once and only once. Where: ____________ conductor: ______ mm²")
    yield item("A system meant to float is marked as floating, and no bond was found.")
    yield item("Every source was isolated in the order above, and the panel proved dead.")
    yield item("Main device within reach of the bank's post, its breaking capacity above the bank's short-circuit current.")
    yield item("Every device was read, and stands in section 2 as it was left. Polarity right on every way.")
    yield item("Terminals tightened to their torque; crimps pulled. Nothing warm after an hour under load.")
    yield item(
        "Insulation test: disconnect electronics on that line first, both poles; 500 V with them connected destroys them.",
    )
    for circuit in schedule.circuits:
        if any(segment.return_path == "chassis" for segment in circuit.conductor):
            yield item(f"{circuit.label} ({circuit.id}) returns by the chassis: drop measured at the load: ______ V")
    for circuit in schedule.circuits:
        if manner_of(schedule, circuit) == "detector":
            yield item(f"{circuit.label} ({circuit.id}) sounds by its own test button; good until ____________")
    if any(s.battery is not None and s.battery.chemistry == "lfp" for s in schedule.supplies):
        yield item("The bank's own protection blocks charge below 0 °C.")
    if not _has_ac(schedule):
        yield item("No AC stands in the schedule, and none was found aboard. If there is any, a licensed person adds to this.")


def _alternating(schedule: Schedule) -> Iterator[Inspect]:
    if not _has_ac(schedule):
        return

    def item(text: str, source: str = AC_TESTS) -> Inspect:
        return Inspect(group="Alternating current: licensed persons", text=text, source=source, licensed=True)

    yield item("Protective earth is bonded to the chassis, its continuity measured: ______ ohm")
    yield item("Polarity right at every outlet; every live pole is switched.")
    yield item("Insulation resistance at 500 V d.c., electronics disconnected on that line first: ______ Mohm")
    for state in STATES:
        wanted = "open aboard; it is bonded at the post" if state == "shore" else "bonded once and only once"
        yield item(f"Source {state} (or not fitted [  ]): neutral {wanted}.")
    for state in STATES:
        yield item(
            f"Source {state} (or not fitted [  ]): residual-current device, 30 mA, opened in ______ ms; its own button works. "
            "Without a bond it can't work."
        )
    yield item("Its type is at least A: type AC does not see rectified currents.")
    yield item("The transfer switch is interlocked: no two sources can meet.")
    yield item(
        "IT pitches (as in Norway: no neutral, both conductors live): two-pole devices throughout, or don't plug in there."
    )
    yield item("The panel's AC breakers are listed for branch circuits; a supplementary protector is none.")
    if _with(schedule, "inverter", "charger") or _chargers(schedule, "shore"):
        yield item("Converters have a transformer, or their makers say what a fault puts on the DC side.")
    if len(_ac_ways(schedule)) > 1:
        yield item("More than one appliance on an unbonded inverter is no protection by separation: bond or one outlet only.")


def _ac_ways(schedule: Schedule) -> list[Circuit]:
    kinds = {s.id: s.kind for s in schedule.supplies}
    return [c for c in schedule.circuits if kinds[c.supply] == "ac" and c.role == "load"]


def cautions(schedule: Schedule) -> tuple[str, ...]:
    """What to beware of, by what is aboard."""
    return tuple(_cautions(schedule))


def _cautions(schedule: Schedule) -> Iterator[str]:
    yield "Leave a way off that cut off twice, and ring the fitter: the fault is behind it, another fuse won't cure it."
    yield (
        "Replace a fuse only like for like, same type and same rating as in section 2, and never above what its conductor "
        "carries there. Where a remark says that a device is too large, don't fit it again: ring the fitter."
    )
    detectors = [c for c in schedule.circuits if manner_of(schedule, c) == "detector"]
    named = f" ({_named(detectors)})" if detectors else ""
    yield f"Test each detector by its own button{named}. panelward is no gas, carbon monoxide, smoke or fire alarm."
    yield "Smell or smoke: get everyone out; main switch off if it is on your way."
    yield "Main switch, where: ______________________ Gas shut-off, where: ______________________"
    yield "In daylight the sun's side stays live, with its fuse out too. It is cut off first and closed last."
    if any(s.battery is not None and s.battery.chemistry == "lfp" for s in schedule.supplies):
        yield "Don't charge the bank below 0 °C: warm it first. Its volts tell nothing of its charge between about 15 and 95 %."
    yield "Leave a bank that cut itself off, or is frozen, and ring the fitter."
    yield "Run an engine outdoors only, exhaust clear, nobody asleep."
    turning = _with(schedule, *MOTORS)
    if turning:
        yield (
            f"A fuse chosen for the cable protects the cable, not a stalled motor: {_named(turning)}. "
            "Let go of the switch when one stalls."
        )
    limited = [s for s in schedule.supplies if s.fed_by is not None]
    electronic = [c for c in schedule.circuits if c.protection is not None and c.protection.kind == "electronic"]
    if limited or electronic:
        where = ", ".join([*(f"supply {s.id}" for s in limited), *(f"{c.label} ({c.id})" for c in electronic)])
        yield f"Behind {where} the source limits and shuts down: the way's device may never open on a fault there."
    if schedule.feeders:
        yield "On a short both the way's device and its feeder's may open, or the battery's own protection first."
    if _with(schedule, "inverter"):
        yield (
            "Leave the main switch on when something fails: switched on again, the inverter draws its inrush and may trip the "
            "battery."
        )
    if _has_ac(schedule):
        yield (
            "AC: unplug everything, one reset at most, then a licensed person. Shore sockets of IT pitches have no neutral: "
            "both conductors are live. Converters without a transformer can put mains on the DC side."
        )
    yield "Insulation testers at 500 V destroy electronics: disconnect those on the line first."
