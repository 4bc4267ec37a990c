"""What concerns no single circuit: supplies, their banks, feeders, labels, the rules named."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from panelward.ratings import (
    DEFAULT_RULES,
    autonomy_days,
    device,
    drop,
    loop_ohm,
    selectivity,
    storage_days,
)
from panelward.records import Circuit, Feeder, Schedule, Supply
from panelward.schedule.vetting.finding import COORDINATION, PRACTICE, SCHEDULE, Finding, above, down, finding
from panelward.schedule.vetting.fitted import segments_known
from panelward.schedule.vetting.way import Around, Way, weakest

FEEDER_SHARE = 0.8  # a feeder's device carries at most 80 % for hours; NEC 215.3
LOST_PER_MONTH = {"lfp": 0.03, "flooded": 0.05, "agm": 0.03, "gel": 0.03}  # self-discharge, from memory
MOST_DAYS = 400.0


def findings(around: Around, ways: Sequence[Way]) -> Iterator[Finding]:
    schedule = around.schedule
    yield from _rules(schedule)
    for supply in schedule.supplies:
        yield from _supply(schedule, supply)
        yield from _bank(around, supply)
    yield from _labels(schedule)
    for feeder in schedule.feeders:
        yield from _feeder(around, feeder, [way for way in ways if way.circuit.feeder == feeder.id])
    if not schedule.circuits:
        yield finding(
            "warn", "no-circuits", SCHEDULE, "Write a [[circuit]] for each way of the panel.",
            "No circuit is written: nothing would be watched.",
        )  # fmt: skip


def _rules(schedule: Schedule) -> Iterator[Finding]:
    kinds = [kind for kind in ("dc", "ac") if any(s.kind == kind for s in schedule.supplies)]
    for kind in kinds:
        if not schedule.vehicle.rules(kind):
            taken = ", ".join(DEFAULT_RULES[kind])
            yield finding(
                "note", "rules-not-named", SCHEDULE,
                f'Name the rules that apply to this vehicle: [vehicle] rules = {{ {kind} = ["{taken}"] }}.',
                f"No ampacity rule is named for {kind.upper()}; {taken} is taken. Others are stricter.",
            )  # fmt: skip


def _supply(schedule: Schedule, supply: Supply) -> Iterator[Finding]:
    if supply.kind == "ac":
        yield finding(
            "note", "neutral-bond", "IEC 60364-4-41, 60364-5-54 and local code, from memory",
            "Have it signed for each source state (inverter, shore, generator): where neutral is bonded, once and only "
            "once; that the residual-current device opens; that the transfer switch is interlocked.",
            f"Supply {supply.id}: whether its neutral is bonded in each source state can't be judged from here.",
        )  # fmt: skip
        return
    if supply.fed_by is None:
        yield finding(
            "note", "bonding-unseen", f"inspection list; {PRACTICE}",
            "Look and sign: DC negative to chassis once, its conductor's size, protective earth to chassis.",
            f"Supply {supply.id}: its bond to the chassis can't be measured from here.",
        )  # fmt: skip
    if supply.fed_by is not None or supply.presence != "always":
        return
    if supply.fault_min_a is None or supply.fault_max_a is None:
        which = (
            "fault_a.min" if supply.fault_max_a is not None else "fault_a.max" if supply.fault_min_a is not None else "fault_a"
        )
        yield finding(
            "note", "fault-unknown", SCHEDULE,
            f"Write {which} under [supply.{supply.id}]: reckoned from the bank's and its cable's resistance, or measured.",
            f"Supply {supply.id}: the fault current at the panel is not written, so breaking capacities can't be judged, "
            "and shorts at the far end only as if the source had no resistance.",
        )  # fmt: skip
    if supply.battery is None:
        yield finding(
            "note", "battery-unknown", SCHEDULE, f"Write battery under [supply.{supply.id}] if it has one.",
            f"Supply {supply.id}: no battery is written, so no hours and no days can be reckoned from it.",
        )  # fmt: skip
    if supply.cutoff_v is not None and not 0.7 * supply.nominal_v <= supply.cutoff_v < supply.nominal_v:
        yield finding(
            "warn", "cutoff-unlikely", PRACTICE,
            f"Compare cutoff_v under [supply.{supply.id}] with the disconnect's own setting.",
            f"Supply {supply.id}: a cut-off at {supply.cutoff_v:g} V does not fit {supply.nominal_v:g} V nominal.",
            supply.cutoff_v, supply.nominal_v, "V",
        )  # fmt: skip
    if supply.cutoff_v is None:
        yield finding(
            "note", "cutoff-unknown", SCHEDULE,
            f"Write cutoff_v under [supply.{supply.id}]: the bank's low-voltage disconnect or its own cut-off.",
            f"Supply {supply.id}: no cutoff_v is written, so nobody is told before it cuts off.",
        )  # fmt: skip


def _bank(around: Around, supply: Supply) -> Iterator[Finding]:
    """Days it carries its daily need, and days it stands with what is always on."""
    bank = supply.battery
    if bank is None:
        return
    on_it = [c for c in around.schedule.circuits if c.supply == supply.id and c.role == "load"]
    floors = {c.id: sum(load.always_draws_w or 0.0 for load in c.loads) for c in on_it}
    always_w = sum(floors[c.id] for c in on_it if c.feed == "always-on")
    daily, untold = 0.0, []
    for circuit in on_it:
        wh = sum(load.daily_wh or 0.0 for load in circuit.loads)
        daily += wh if wh else 24.0 * floors[circuit.id]
        if not wh:
            untold.append(circuit.label)
    # Full, and drawn down to what the schedule calls usable.
    lost = LOST_PER_MONTH.get(bank.chemistry, 0.05)
    stands = storage_days(bank.capacity_ah, bank.usable, supply.nominal_v, always_w, lost)
    yield finding(
        "note", "storage-days", f"energy over draw; self-discharge {100 * lost:.0f} % a month, from memory",
        "Laid up longer: isolate the bank, or keep it charged; what is ahead of the cut-off can empty it for good.",
        f"Supply {supply.id}: laid up from full, with {always_w:.3g} W always on, it lasts {_days(stands)}.",
        min(stands, MOST_DAYS), None, "days",
    )  # fmt: skip
    if daily > 0.0:
        days = autonomy_days(bank.capacity_ah, bank.usable, supply.nominal_v, daily)
        part = f", the jobs of {len(untold)} circuits without daily_wh not counted," if untold else ""
        yield finding(
            "note", "days-of-autonomy", "N = C V DoD / E", "Write daily_wh of each load; in the cold a bank gives less.",
            f"Supply {supply.id}: at {daily:.0f} Wh a day{part} it carries {_days(days)} without charge.",
            min(days, MOST_DAYS), None, "days",
        )  # fmt: skip


def _days(days: float) -> str:
    return "more than a year" if days >= MOST_DAYS else f"{days:.2g} days" if days < 10 else f"{days:.0f} days"


def _labels(schedule: Schedule) -> Iterator[Finding]:
    """Two that read the same but for case, spaces and signs: nobody can tell them apart on a phone."""
    first: dict[str, Circuit] = {}
    for circuit in schedule.circuits:
        key = "".join(c for c in circuit.label.casefold() if c.isalnum()) or circuit.label
        other = first.setdefault(key, circuit)
        if other is not circuit:
            yield finding(
                "warn", "labels-alike", "NEC 408.4(A): every circuit told from all others",
                "Give each its own label: what it feeds and where.",
                f"{circuit.label} ({circuit.id}) is labelled like {other.id}.",
                circuit.label, other.label, circuit=circuit.id,
            )  # fmt: skip


def _feeder(around: Around, feeder: Feeder, ways: Sequence[Way]) -> Iterator[Finding]:
    supply, protection = around.supplies[feeder.supply], feeder.protection
    rules = around.schedule.vehicle.rules(supply.kind)
    weak = weakest(feeder.conductor, supply.kind, rules)
    if protection is not None and weak is not None and above(protection.fitted_a, weak.amps):
        yield finding(
            "refuse", "device-above-ampacity", f"{weak.source}; {COORDINATION}",
            f"Fit a device of at most {down(weak.amps):g} A, or lay a bigger conductor.",
            f"Feeder {feeder.id}: a device of {protection.fitted_a:g} A, above the {down(weak.amps):g} A its conductor carries "
            "in its place.",
            protection.fitted_a, weak.amps, "A",
        )  # fmt: skip
    if not ways or protection is None:
        if protection is None:
            yield finding(
                "note", "feeder-unprotected", SCHEDULE, f"Write protection under [feeder.{feeder.id}].",
                f"Feeder {feeder.id}: its device is not written, so nothing says what protects its conductor.",
            )  # fmt: skip
        return
    amps = feeder.diversity * sum(way.design_a for way in ways)
    if above(amps, FEEDER_SHARE * protection.fitted_a):
        yield finding(
            "warn", "feeder-overloaded", "NEC 215.3; feeder load = sum of its branches times its diversity",
            "Share its branches out over another feeder, or write the diversity that was reckoned with "
            f"(now {feeder.diversity:g}).",
            f"Feeder {feeder.id}: its branches together draw {amps:.3g} A, above 80 % of its {protection.fitted_a:g} A device.",
            amps, FEEDER_SHARE * protection.fitted_a, "A",
        )  # fmt: skip
    yield from _feeder_drop(feeder, supply, amps)
    yield from _selective(feeder, supply, ways)


def _feeder_drop(feeder: Feeder, supply: Supply, amps: float) -> Iterator[Finding]:
    if not segments_known(feeder.conductor):
        return
    lost_v = amps * loop_ohm(feeder.conductor, None, amps, supply.kind).ohm
    if above(lost_v, drop.CRITICAL_SHARE * supply.nominal_v):
        yield finding(
            "warn", "drop-above-limit", "ABYC E-11 and ISO 10133 as quoted: 3 % for panel feeders",
            "Lay a bigger conductor or share its branches out.",
            f"Feeder {feeder.id}: at {amps:.3g} A it loses {lost_v:.3g} V on the way.",
            100 * lost_v / supply.nominal_v, 100 * drop.CRITICAL_SHARE, "%",
        )  # fmt: skip


def _selective(feeder: Feeder, supply: Supply, ways: Sequence[Way]) -> Iterator[Finding]:
    """Which branches' devices are shown to open before the feeder's."""
    assert feeder.protection is not None
    upper = device(feeder.protection)
    verdicts = [(way, selectivity(way.device, upper, supply.fault_max_a)) for way in ways if way.device is not None]
    not_so = [w for w, verdict in verdicts if verdict == "not so" and w.device and w.device.rating_a <= upper.rating_a]
    for way in not_so:
        yield way.find(
            "warn", "not-selective", f"time bands of both devices; {PRACTICE}",
            "Fit a smaller device here, or a feeder device that its conductor can bear; at least twice the rating holds for "
            "overloads.",
            f"on an overload feeder {feeder.id} may go out first, and all its circuits with it.",
            way.device.rating_a if way.device else None, upper.rating_a, "A",
        )  # fmt: skip
    open_ = [way.circuit.label for way, verdict in verdicts if verdict == "not shown"]
    if open_:
        yield finding(
            "note", "selectivity-not-shown", "time bands of both devices; twice the rating holds for overloads only",
            "Nothing, or devices whose makers show that the one opens before the other.",
            f"Feeder {feeder.id}: not shown that the branch's device opens first on a short: {', '.join(open_)}.",
        )  # fmt: skip
