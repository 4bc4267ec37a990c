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
from panelward.records import Battery, Circuit, Feeder, Load, Schedule, Supply
from panelward.schedule.vetting.finding import COORDINATION, PRACTICE, SCHEDULE, Finding, above, finding
from panelward.schedule.vetting.fitted import segments_known
from panelward.schedule.vetting.way import Around, FeederWay, Way

FEEDER_SHARE = 0.8  # a feeder's device carries at most 80 % for hours; NEC 215.3
LOST_PER_MONTH = {"lfp": 0.03, "flooded": 0.05, "agm": 0.03, "gel": 0.03}  # self-discharge, from memory
ALWAYS_ALIKE = ("electronics", "detector")  # what always draws alike: its floor or lowest level is its day
MOST_DAYS = 400.0


def findings(around: Around, ways: Sequence[Way]) -> Iterator[Finding]:
    schedule = around.schedule
    yield from _rules(schedule)
    yield from _unseen(schedule)
    yield from _fitter(schedule)
    for supply in schedule.supplies:
        yield from _supply(schedule, supply)
        yield from _bank(around, supply)
    yield from _labels(schedule)
    for feeder in schedule.feeders:
        yield from _feeder(around, feeder, ways_behind(feeder, ways))
    if not schedule.circuits:
        yield finding(
            "warn", "no-circuits", SCHEDULE, "Write a [[circuit]] for each way of the panel.",
            "No circuit is written: nothing would be watched.",
        )  # fmt: skip


def _unseen(schedule: Schedule) -> Iterator[Finding]:
    """A vehicle that falls silent cannot say so."""
    life = [c for c in schedule.circuits if c.importance == "life"]
    if life and schedule.vehicle.unheard_after_s is None and schedule.vehicle.sign_of_life_to is None:
        yield finding(
            "refuse", "silence-unseen", PRACTICE,
            'Have it seen from elsewhere: [vehicle] unheard_after = "30min" and `panelward watch --from-afar` on a bridged '
            'broker, or sign_of_life_to = "https://…".',
            f"Life depends on {life[0].label}, and nobody would notice that the vehicle itself fell silent.",
        )  # fmt: skip


def _fitter(schedule: Schedule) -> Iterator[Finding]:
    """Many a message ends in "ring the fitter"."""
    if schedule.vehicle.fitter is None:
        yield finding(
            "note", "fitter-unknown", SCHEDULE,
            'Write who answers for the wiring: [vehicle] fitter = { name = "…", phone = "…" }.',
            "The fitter's number is not written, so messages that ask to ring the fitter can't say it.",
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
            f"Write {which} under [supply.{supply.id}], as in fault_a = {{ min = 600, max = 950 }}: reckoned from the "
            "resistance of bank and cable.",
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
    always = [c for c in on_it if c.feed == "always-on"]
    unknown = [c.label for c in always if not floors[c.id]]
    always_w = sum(floors[c.id] for c in always)
    # Full, and drawn down to what the schedule calls usable.
    lost = LOST_PER_MONTH.get(bank.chemistry, 0.05)
    stands = storage_days(bank.capacity_ah, bank.usable, supply.nominal_v, always_w, lost)
    most = "at most " if unknown else ""
    also = f"; what {_named(unknown)} always draw is not written" if unknown else ""
    if always_w > 0.0:
        yield finding(
            "note", "storage-days", f"energy over draw; self-discharge {100 * lost:.0f} % a month, from memory",
            "Laid up longer: isolate the bank, or keep it charged; what is ahead of the cut-off can empty it for good.",
            f"Supply {supply.id}: laid up from full, with a floor of {always_w:.3g} W on its always-on ways, it lasts "
            f"{most}{_days(stands)}{also}.",
            min(stands, MOST_DAYS), None, "days",
        )  # fmt: skip
    elif unknown:
        yield finding(
            "note", "storage-unknown", SCHEDULE, "Write always_draws_w, measured.",
            f"Supply {supply.id}: how long it lasts laid up can't be reckoned: what {_named(unknown)} always draw is not "
            "written.",
        )  # fmt: skip
    yield from _autonomy(supply, bank, on_it)


def _autonomy(supply: Supply, bank: Battery, on_it: Sequence[Circuit]) -> Iterator[Finding]:
    """Days on its daily need; told only where every load says what it needs."""
    needs: list[float] = []
    untold: list[str] = []
    for circuit in on_it:
        daily = sum(load.daily_wh or 0.0 for load in circuit.loads)
        steady = [load for load in circuit.loads if load.always_draws_w and load.kind in ALWAYS_ALIKE]
        if not daily and steady and len(steady) == len(circuit.loads) and circuit.feed == "always-on":
            daily = 24.0 * sum(_mean_w(load) for load in steady)
        needs.append(daily)
        if not daily:
            untold.append(circuit.label)
    if untold:
        yield finding(
            "note", "autonomy-unknown", SCHEDULE, "Write daily_wh of each load.",
            f"Supply {supply.id}: days without charge can't be reckoned: daily_wh of {_named(untold)} is not written.",
        )  # fmt: skip
    elif sum(needs) > 0.0:
        days = autonomy_days(bank.capacity_ah, bank.usable, supply.nominal_v, sum(needs))
        yield finding(
            "note", "days-of-autonomy", "N = C V DoD / E", "In the cold a bank gives less.",
            f"Supply {supply.id}: at {sum(needs):.0f} Wh a day it carries {_days(days)} without charge.",
            min(days, MOST_DAYS), None, "days",
        )  # fmt: skip


def _mean_w(load: Load) -> float:
    """What a load that is always alike draws: its lowest level, or its floor."""
    return min((level.watts for level in load.levels), default=load.always_draws_w or 0.0)


def _named(labels: Sequence[str]) -> str:
    """Up to three labels, and how many more."""
    first = ", ".join(labels[:3])
    return first if len(labels) <= 3 else f"{first} and {len(labels) - 3} more"


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
    if protection is None:
        yield finding(
            "warn", "feeder-unprotected", COORDINATION, f"Write protection under [feeder.{feeder.id}], or fit it.",
            f"Feeder {feeder.id}: no device is written for it, so nothing says what protects its conductor.",
        )  # fmt: skip
        return
    if not ways:
        return
    amps = _load_a(feeder, ways)
    if above(amps, FEEDER_SHARE * protection.fitted_a):
        yield finding(
            "warn", "feeder-overloaded", "NEC 215.3; feeder load = sum of its branches times its diversity",
            "Share its branches out over another feeder, or write the diversity that was reckoned with "
            f"(now {feeder.diversity:g}).",
            f"Feeder {feeder.id}: its branches together draw {amps:.3g} A, above 80 % of its {protection.fitted_a:g} A device.",
            amps, FEEDER_SHARE * protection.fitted_a, "A",
        )  # fmt: skip
    share = _share(feeder, supply, amps)
    if above(share, drop.CRITICAL_SHARE):
        yield finding(
            "warn", "drop-above-limit", "ABYC E-11 and ISO 10133 as quoted: 3 % for panel feeders",
            "Lay a bigger conductor or share its branches out.",
            f"Feeder {feeder.id}: at {amps:.3g} A it loses {share * supply.nominal_v:.3g} V on the way.",
            100 * share, 100 * drop.CRITICAL_SHARE, "%",
        )  # fmt: skip
    below = [FeederWay(around, other) for other in around.schedule.feeders if feeder.id in other.behind]
    yield from _selective(feeder, supply, [*(way for way in ways if way.feeder is feeder), *below])


def feeder_shares(around: Around, ways: Sequence[Way]) -> dict[str, float]:
    """What each feeder loses of nominal under its branches' load."""
    return {f.id: _share(f, around.supplies[f.supply], _load_a(f, ways_behind(f, ways))) for f in around.schedule.feeders}


def ways_behind(feeder: Feeder, ways: Sequence[Way]) -> list[Way]:
    """The circuits that draw through it, also through feeders behind it."""
    return [way for way in ways if feeder in way.feeders and way.circuit.role == "load"]


def _load_a(feeder: Feeder, ways: Sequence[Way]) -> float:
    return feeder.diversity * sum(way.design_a for way in ways)


def _share(feeder: Feeder, supply: Supply, amps: float) -> float:
    if not segments_known(feeder.conductor):
        return 0.0
    return amps * loop_ohm(feeder.conductor, None, amps, supply.kind).ohm / supply.nominal_v


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
