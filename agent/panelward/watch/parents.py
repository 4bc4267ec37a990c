"""What a parent is: a supply, its isolator or disconnect, a feeder; which circuits hang on it, and what it asks of them."""

from __future__ import annotations

from typing import Protocol

from panelward.records import Circuit, Schedule, Supply
from panelward.watch.causes import Ranked
from panelward.watch.dips import Dip


class Member(Protocol):
    """What a parent asks of a circuit that hangs on it."""

    circuit: Circuit
    order: int
    period_ms: int
    low_ms: int | None  # shows nothing since, as measured
    covered: bool
    active: str | None  # the kind of its own alarm
    alive_ms: int | None  # last received sample that showed life
    low_received_ms: int  # its first reading of nothing
    held: bool  # it publishes on change: what it said last stands
    past: bool  # it stopped in readings that came late

    @property
    def may_have_opened(self) -> bool:
        """Had its draw opened the quickest device of its type?"""

    @property
    def switched_off(self) -> bool:
        """Does its switch report that it is open?"""

    @property
    def recent_multiple(self) -> float:
        """The greatest draw of the last half minute it drew, as a multiple of its device's rating."""

    @property
    def always_on(self) -> bool: ...

    @property
    def proves(self) -> bool:
        """Does that it shows nothing prove that it has no feed? A floor does, and volts gone between device and switch."""

    @property
    def dip(self) -> Dip | None:
        """The last short fall of the volts behind its device."""

    @property
    def by_itself(self) -> bool:
        """Does it run by itself, so that no hand switches it off together with others?"""

    @property
    def dropped_ms(self) -> int | None:
        """When it went from life to nothing, if it did and still shows nothing."""

    def lives(self, now_ms: int) -> bool:
        """Did it show life just now?"""

    def judge_later(self) -> None:
        """Nothing can be said yet."""

    def cover(self, now_ms: int) -> None:
        """A parent explains it."""

    def uncover(self, now_ms: int) -> None:
        """The parent is back."""


class Group:
    """One parent and what hangs on it. `guard`: supply, feeder, disconnect or isolator."""

    def __init__(self, subject: str, subject_id: str, guard: str, supply: Supply) -> None:
        self.subject, self.subject_id, self.guard, self.supply = subject, subject_id, guard, supply
        self.members: list[Member] = []
        self.active = False
        self.by_volts = False
        self.cause = ""
        self.evidence: tuple[str, ...] = ()
        self.ranked: Ranked = ()
        self.since_ms = 0
        self.priority = ""
        self.key = f"{subject}:{subject_id}:{guard}"


def holds(schedule: Schedule, group: Group, plan: Circuit) -> bool:
    """Does this circuit lose its feed with that parent?"""
    if plan.role != "load":
        return False
    if plan.supply != group.supply.id:
        return _fed_through(schedule, group, plan)
    feeders, behind = _upstream(schedule, plan)
    if group.guard == "supply":
        return True
    return group.subject_id in feeders if group.guard == "feeder" else group.guard in behind


def _fed_through(schedule: Schedule, group: Group, plan: Circuit) -> bool:
    """Does this circuit hang on the group through the circuit that feeds its supply (an inverter)?"""
    seen: list[str] = []
    while True:
        fed_by = schedule.supply(plan.supply).fed_by
        if fed_by is None or fed_by in seen:
            return False
        seen.append(fed_by)
        plan = schedule.circuit(fed_by)
        if plan.supply == group.supply.id:
            feeders, behind = _upstream(schedule, plan)
            if group.guard == "supply":
                return True
            return group.subject_id in feeders if group.guard == "feeder" else group.guard in behind


def _upstream(schedule: Schedule, plan: Circuit) -> tuple[set[str], set[str]]:
    """Feeders and guards between the supply and this circuit. Only membership is asked of them: no order."""
    feeders: set[str] = set()
    behind = set(plan.behind)
    known = {feeder.id for feeder in schedule.feeders}
    todo = [plan.feeder] if plan.feeder else []
    todo += [name for name in plan.behind if name in known]
    while todo:
        name = todo.pop()
        if name in feeders:
            continue
        feeders.add(name)
        above = schedule.feeder(name).behind
        behind.update(above)
        todo += [other for other in above if other in known]
    return feeders, behind


def parents(schedule: Schedule) -> list[Group]:
    """All there may be, widest first; without members yet."""
    groups: list[Group] = []
    for supply in schedule.supplies:
        groups += [Group("supply", supply.id, guard, supply) for guard in ("supply", "isolator", "disconnect")]
    groups += [Group("feeder", feeder.id, "feeder", schedule.supply(feeder.supply)) for feeder in schedule.feeders]
    return groups
