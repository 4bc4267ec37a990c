"""What is always on: what happens without it, and how long a bank feeds it."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

from panelward.papers.pack_words import ALSO_CARRIES, ALSO_LIFE, LOST
from panelward.ratings import autonomy_days, storage_days
from panelward.records import Circuit, Record, Schedule, Supply
from panelward.schedule.vetting.whole import ALWAYS_ALIKE, LOST_PER_MONTH
from panelward.wording.say import manner_of

HOURS_A_DAY = 24.0
MOST_DAYS = 400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class AlwaysOn:
    """One way whose feed stays on."""

    position: str
    purpose: str
    reason: str
    life: bool
    lost: str  # what happens, and what to do
    supply: str
    floor_w: float | None  # what it draws whenever it has a feed; None: neither written nor measured
    floor_from: str  # record | schedule
    daily_wh: float | None  # as it works
    behind: tuple[str, ...] = ()  # switches and disconnects that take its feed away all the same


@dataclass(frozen=True, slots=True, kw_only=True)
class Bank:
    """How long one bank feeds what is always on, from full to what the schedule calls usable."""

    supply: str
    chemistry: str
    capacity_ah: float
    usable: float
    lost_per_month: float  # of its capacity, by itself
    floor_w: float  # sum of what is known
    floor_ah_day: float
    stands_days: float | None  # with the floors only; None: nothing draws, or nothing is known
    works_days: float | None  # as they work; None: of none is that known
    floors_unknown: tuple[str, ...]
    daily_unknown: tuple[str, ...]


def always_on(schedule: Schedule, record: Record | None) -> tuple[AlwaysOn, ...]:
    """In panel order."""
    return tuple(_line(schedule, c, record) for c in schedule.circuits if c.feed == "always-on")


def _line(schedule: Schedule, circuit: Circuit, record: Record | None) -> AlwaysOn:
    manner = manner_of(schedule, circuit)
    said = [LOST.get(manner, LOST["plain"])]
    if circuit.carries_messages and manner != "carrier":
        said.append(ALSO_CARRIES)
    if circuit.importance == "life" and manner not in ("detector", "medical"):
        said.append(ALSO_LIFE)
    floor_w, whose = _floor(circuit, record)
    return AlwaysOn(
        position=circuit.id, purpose=circuit.label, reason=circuit.always_on_reason or "",
        life=circuit.importance == "life", lost=" ".join(said), supply=circuit.supply, floor_w=floor_w, floor_from=whose,
        daily_wh=_daily(circuit, floor_w), behind=_cuts(schedule, circuit),
    )  # fmt: skip


def _cuts(schedule: Schedule, circuit: Circuit) -> tuple[str, ...]:
    """What stands before it, of itself and of its feeder."""
    feeders = [f for f in schedule.feeders if f.id in (circuit.feeder, *circuit.behind)]
    names = {f.id for f in schedule.feeders}
    return tuple(
        dict.fromkeys(b for behind in (circuit.behind, *(f.behind for f in feeders)) for b in behind if b not in names)
    )


def _floor(circuit: Circuit, record: Record | None) -> tuple[float | None, str]:
    """What it always draws: as measured, where its standby or the level of what always draws alike was."""
    way = record.circuit(circuit.id) if record else None
    if way is not None and way.standby is not None:
        return way.standby.watts, "record"
    alike = bool(circuit.loads) and all(load.kind in ALWAYS_ALIKE for load in circuit.loads)
    if way is not None and way.levels and alike:
        return min(level.watts for level in way.levels), "record"
    written = sum(load.always_draws_w or 0.0 for load in circuit.loads)
    return (written, "schedule") if written else (None, "")


def _daily(circuit: Circuit, floor_w: float | None) -> float | None:
    """Its day as written; of what always draws alike a day of its floor, or of its lowest level."""
    written = sum(load.daily_wh or 0.0 for load in circuit.loads)
    if written:
        return written
    alike = bool(circuit.loads) and all(load.kind in ALWAYS_ALIKE for load in circuit.loads)
    if not alike or floor_w is None:
        return None
    lowest = [min(level.watts for level in load.levels) for load in circuit.loads if load.levels]
    return HOURS_A_DAY * max(floor_w, sum(lowest))


def banks(schedule: Schedule, record: Record | None) -> tuple[Bank, ...]:
    """Every supply with a battery."""
    lines = always_on(schedule, record)
    return tuple(_bank(supply, [a for a in lines if a.supply == supply.id]) for supply in schedule.supplies if supply.battery)


def _bank(supply: Supply, lines: list[AlwaysOn]) -> Bank:
    battery = supply.battery
    assert battery is not None
    lost = LOST_PER_MONTH.get(battery.chemistry, 0.05)  # from memory, as in vetting
    floor_w = sum(a.floor_w for a in lines if a.floor_w is not None)
    daily_wh = sum(a.daily_wh for a in lines if a.daily_wh is not None)
    stands = storage_days(battery.capacity_ah, battery.usable, supply.nominal_v, floor_w, lost) if floor_w > 0.0 else None
    own_wh = battery.capacity_ah * supply.nominal_v * lost / 30.0
    works = autonomy_days(battery.capacity_ah, battery.usable, supply.nominal_v, daily_wh + own_wh) if daily_wh > 0.0 else None
    return Bank(
        supply=supply.id, chemistry=battery.chemistry, capacity_ah=battery.capacity_ah, usable=battery.usable,
        lost_per_month=lost, floor_w=round(floor_w, 3), floor_ah_day=round(HOURS_A_DAY * floor_w / supply.nominal_v, 3),
        stands_days=_days(stands), works_days=_days(works),
        floors_unknown=tuple(a.position for a in lines if a.floor_w is None),
        daily_unknown=tuple(a.position for a in lines if a.daily_wh is None),
    )  # fmt: skip


def _days(days: float | None) -> float | None:
    return None if days is None or not isfinite(days) else min(round(days, 1), MOST_DAYS)


def sentence(bank: Bank) -> str:
    """The bank's days, for a person."""
    share = f"{bank.capacity_ah:g} Ah {bank.chemistry}, {100 * bank.usable:.0f} % of it usable"
    if bank.stands_days is None and bank.works_days is None:
        return f"Bank {bank.supply} ({share}): for how long it feeds what is always on can't be reckoned; measure the floors."
    parts = []
    if bank.stands_days is not None:
        but = f", at most: {', '.join(bank.floors_unknown)} not known" if bank.floors_unknown else ""
        parts.append(
            f"laid up, with a floor of {bank.floor_w:.3g} W on its always-on ways ({bank.floor_ah_day:.3g} Ah a day), about "
            f"{_said(bank.stands_days)}{but}"
        )
    if bank.works_days is not None:
        but = f", at most: {', '.join(bank.daily_unknown)} not known" if bank.daily_unknown else ""
        parts.append(f"with what is always on at work and nothing else, about {_said(bank.works_days)}{but}")
    return (
        f"Bank {bank.supply} ({share}) from full, without charge: {'; '.join(parts)}. "
        f"Self-discharge {100 * bank.lost_per_month:.0f} % a month, from memory; in the cold a bank gives less."
    )


def _said(days: float) -> str:
    return "more than a year" if days >= MOST_DAYS else f"{days:.2g} days" if days < 10 else f"{days:.0f} days"
