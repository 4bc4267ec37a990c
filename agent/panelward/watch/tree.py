"""Parents: a supply, the circuits behind its disconnect or isolator, a feeder. Group `dead`, one alarm at the parent.

A parent is lost when what lived behind it stopped together and nothing behind it lives, or when its bus has no volts.
Its circuits are covered by it; when it is back, one that still shows nothing speaks for itself.
"""

from __future__ import annotations

from typing import Any, Protocol

from panelward.records import Circuit, Condition, Facts, Schedule, Supply
from panelward.watch.bench import Bench

NO_VOLTS = 0.3  # of nominal: the bus is dead
HEALTHY = 0.75
TOGETHER_MS = 5_000  # on top of two periods
NO_VOLTS_READINGS = 3
NO_VOLTS_MS = 10_000
DIP_PER_NOMINAL = 0.025  # a common dip of 0.3 V on 12 V just before one circuit went: a short (trade practice, no source)
CUTOFF_NEAR = 0.03  # of nominal above the cut-off
CUTOFF_RECENT_MS = 600_000
_WORTH = {"life": 3, "property": 2, "comfort": 1}


class Member(Protocol):
    """What a parent asks of a circuit that hangs on it."""

    circuit: Circuit
    order: int
    period_ms: int
    low_ms: int | None  # shows nothing since, as measured
    covered: bool
    active: str | None  # the kind of its own alarm

    @property
    def always_on(self) -> bool: ...

    @property
    def dropped_ms(self) -> int | None:
        """When it went from life to nothing, if it did and still shows nothing."""

    def lives(self, now_ms: int) -> bool:
        """Did it show life just now?"""

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
        self.since_ms = 0
        self.priority = ""
        self.key = f"{subject}:{subject_id}:{guard}"


class Bus:
    """One supply's volts, as measured at the bus."""

    def __init__(self) -> None:
        self.volts: float | None = None
        self.at_ms = 0
        self.none_ms: int | None = None  # without volts since
        self.none = 0
        self.low_ms: int | None = None  # last near the cut-off
        self.level: float | None = None  # slow mean, to see a dip against
        self.dip_ms: int | None = None
        self.dip_v = 0.0


class Tree:
    """All parents, widest first."""

    def __init__(self, bench: Bench, schedule: Schedule) -> None:
        self._bench, self._schedule = bench, schedule
        self.groups: list[Group] = []
        self.buses = {supply.id: Bus() for supply in schedule.supplies}
        self._nominal = {supply.id: supply.nominal_v for supply in schedule.supplies}
        self._cutoff = {supply.id: supply.cutoff_v for supply in schedule.supplies}
        self.any_active = False
        self._by_id: dict[str, Member] = {}
        self._step: tuple[str, int] | None = None  # which circuit's draw jumped up last, and when
        for supply in schedule.supplies:
            self.groups.append(Group("supply", supply.id, "supply", supply))
            for guard in ("isolator", "disconnect"):
                self.groups.append(Group("supply", supply.id, guard, supply))
        for feeder in schedule.feeders:
            self.groups.append(Group("feeder", feeder.id, "feeder", schedule.supply(feeder.supply)))

    def add(self, circuit: Member) -> None:
        self._by_id[circuit.circuit.id] = circuit
        for group in self.groups:
            if self._holds(group, circuit):
                group.members.append(circuit)

    def _holds(self, group: Group, circuit: Member) -> bool:
        plan = circuit.circuit
        if plan.role != "load":
            return False
        if plan.supply != group.supply.id:
            return self._fed_through(plan, group)
        feeders, behind = self._upstream(plan)
        if group.guard == "supply":
            return True
        return group.subject_id in feeders if group.guard == "feeder" else group.guard in behind

    def _fed_through(self, plan: Circuit, group: Group) -> bool:
        """Does this circuit hang on the group through the circuit that feeds its supply (an inverter)?"""
        seen: list[str] = []
        while True:
            fed_by = self._schedule.supply(plan.supply).fed_by
            if fed_by is None or fed_by in seen:
                return False
            seen.append(fed_by)
            plan = self._schedule.circuit(fed_by)
            if plan.supply == group.supply.id:
                feeders, behind = self._upstream(plan)
                if group.guard == "supply":
                    return True
                return group.subject_id in feeders if group.guard == "feeder" else group.guard in behind

    def _upstream(self, plan: Circuit) -> tuple[set[str], set[str]]:
        """Feeders and guards between the supply and this circuit. Only membership is asked of them: no order."""
        feeders: set[str] = set()
        behind = set(plan.behind)
        known = {feeder.id for feeder in self._schedule.feeders}
        todo = [plan.feeder] if plan.feeder else []
        todo += [name for name in plan.behind if name in known]
        while todo:
            name = todo.pop()
            if name in feeders:
                continue
            feeders.add(name)
            above = self._schedule.feeder(name).behind
            behind.update(above)
            todo += [other for other in above if other in known]
        return feeders, behind

    def bus_volts(self, supply_id: str, volts: float, now_ms: int) -> None:
        """A reading of the bus."""
        bus, nominal = self.buses[supply_id], self._nominal[supply_id]
        level = bus.level if bus.level is not None else volts
        if volts < level - DIP_PER_NOMINAL * nominal:
            if bus.dip_ms is None or now_ms - bus.dip_ms > TOGETHER_MS:
                bus.dip_v = 0.0
            bus.dip_ms, bus.dip_v = now_ms, max(bus.dip_v, level - volts)
        bus.level = level + 0.02 * (volts - level)
        bus.volts, bus.at_ms = volts, now_ms
        cutoff = self._cutoff[supply_id]
        if cutoff is not None and volts <= cutoff + CUTOFF_NEAR * nominal:
            bus.low_ms = now_ms
        if volts >= NO_VOLTS * nominal:
            bus.none_ms, bus.none = None, 0
            if self.any_active and volts >= HEALTHY * nominal:
                self._volts_back(supply_id, now_ms)
            return
        bus.none += 1
        if bus.none_ms is None:
            bus.none_ms = now_ms
        elif bus.none >= NO_VOLTS_READINGS and now_ms - bus.none_ms >= NO_VOLTS_MS:
            self._no_volts(supply_id, bus.none_ms, now_ms)

    def stepped(self, circuit_id: str, now_ms: int) -> None:
        """A circuit's draw jumped up."""
        self._step = circuit_id, now_ms

    def bus_healthy(self, circuit: Member) -> bool:
        """Are there volts at the bus that feeds this circuit, as far as measured?"""
        bus = self.buses[circuit.circuit.supply]
        return bus.volts is not None and bus.volts >= HEALTHY * self._nominal[circuit.circuit.supply]

    def dip_v(self, circuit: Member, when_ms: int) -> float:
        """How far the bus dipped within two periods before `when_ms`; 0 where it did not, or has stayed down."""
        bus = self.buses[circuit.circuit.supply]
        near = 2 * circuit.period_ms + 1_000
        if self._step is not None and self._step[0] != circuit.circuit.id and abs(self._step[1] - when_ms) <= near:
            return 0.0  # another circuit's start pulled it down
        if bus.dip_ms is None or not self.bus_healthy(circuit) or not -near <= bus.dip_ms - when_ms <= circuit.period_ms:
            return 0.0
        return bus.dip_v

    def explains(self, circuit: Member, now_ms: int) -> bool:
        """Does a parent explain that this circuit shows nothing? Begins the parent's condition if it is found now."""
        mine = [group for group in self.groups if any(member is circuit for member in group.members)]
        supply = self._schedule.supply(circuit.circuit.supply)
        feeding = self._by_id.get(supply.fed_by or "")
        if feeding is not None and (feeding.active or feeding.covered):
            circuit.cover(now_ms)  # what feeds its supply is dead, and says so
            return True
        if supply.presence == "comes-and-goes" and not any(m.lives(now_ms) for m in self.groups_of(supply.id).members):
            return True  # gone as it may go
        for group in mine:
            if group.active:
                circuit.cover(now_ms)
                return True
        lost = [group for group in mine if self._lost(group, circuit, now_ms)]
        if not lost:
            return False
        # The narrowest that holds all that stopped; but a disconnect near its cut-off is what it looks like.
        stopped = [len(self._dropped(group, circuit)) for group in lost]
        holds_all = [group for group, n in zip(lost, stopped, strict=True) if n == max(stopped)]
        near = [g for g in holds_all if g.guard == "disconnect" and self._near_cutoff(g.supply.id, now_ms)]
        group = near[0] if near else min(holds_all, key=lambda g: len(g.members))
        group.since_ms = min(m.low_ms for m in self._dropped(group, circuit) if m.low_ms is not None)
        self._begin(group, now_ms, by_volts=False)
        return True

    def _lost(self, group: Group, circuit: Member, now_ms: int) -> bool:
        if any(member.lives(now_ms) for member in group.members) or group.supply.presence == "comes-and-goes":
            return False
        dropped = self._dropped(group, circuit)
        if len(dropped) < 2:
            return False
        always_on = any(member.always_on for member in dropped)
        if group.guard == "supply":
            # Nothing draws any more: a person may have switched off two lamps, but not what must never lose its feed.
            return always_on
        elsewhere = any(member.lives(now_ms) for member in self.groups_of(group.supply.id).members)
        if not elsewhere and not self.bus_healthy(circuit):
            return False
        near_cutoff = group.guard == "disconnect" and self._near_cutoff(group.supply.id, now_ms)
        # A guard that people work by hand takes lamps with it honestly; a feeder has no such hand.
        return always_on or near_cutoff or (group.guard == "feeder" and len(dropped) >= 3)

    def _dropped(self, group: Group, circuit: Member) -> list[Member]:
        """Members that stopped together with this circuit."""
        return [member for member in group.members if self._together(member, circuit)]

    def groups_of(self, supply_id: str) -> Group:
        """The widest parent of a supply."""
        return next(g for g in self.groups if g.guard == "supply" and g.subject_id == supply_id)

    @staticmethod
    def _together(member: Member, circuit: Member) -> bool:
        one, other = member.dropped_ms, circuit.dropped_ms
        if one is None or other is None:
            return member is circuit
        return abs(one - other) <= 2 * max(member.period_ms, circuit.period_ms) + TOGETHER_MS

    def _near_cutoff(self, supply_id: str, now_ms: int) -> bool:
        low_ms = self.buses[supply_id].low_ms
        return low_ms is not None and now_ms - low_ms <= CUTOFF_RECENT_MS

    def _no_volts(self, supply_id: str, since_ms: int, now_ms: int) -> None:
        group = self.groups_of(supply_id)
        if group.active or group.supply.presence == "comes-and-goes":
            return
        if any(member.lives(now_ms) for member in group.members):
            return  # something draws: it is one channel's volts that are gone, not the bus
        feeding = self._by_id.get(group.supply.fed_by or "")
        if feeding is not None and (feeding.active or feeding.covered):
            return
        if group.supply.kind == "ac" and not any(member.always_on for member in group.members):
            return
        group.since_ms = since_ms
        self._begin(group, now_ms, by_volts=True)

    def _volts_back(self, supply_id: str, now_ms: int) -> None:
        group = self.groups_of(supply_id)
        if group.active and group.by_volts:
            self._end(group, now_ms)

    def shows_life(self, circuit: Member, now_ms: int) -> None:
        """A circuit behind a lost parent draws again: the parent is back."""
        for group in self.groups:
            if group.active and not group.by_volts and any(member is circuit for member in group.members):
                self._end(group, now_ms)

    def feeds_again(self, circuit: Member, now_ms: int) -> None:
        """A circuit that feeds a supply draws again: what hangs on that supply speaks for itself."""
        for supply in self._schedule.supplies:
            if supply.fed_by == circuit.circuit.id:
                for member in self.groups_of(supply.id).members:
                    if member.covered:
                        member.uncover(now_ms)

    def _begin(self, group: Group, now_ms: int, *, by_volts: bool) -> None:
        for other in self.groups:  # one key a subject: a narrower guard of the same supply gives way
            if (
                other is not group
                and other.active
                and (other.subject, other.subject_id)
                == (
                    group.subject,
                    group.subject_id,
                )
            ):
                other.active = False
        low = [member for member in group.members if member.low_ms is not None]
        group.active, group.by_volts = True, by_volts
        group.cause = self._cause(group, now_ms)
        worth = max((_WORTH[m.circuit.importance] for m in low or group.members), default=1)
        group.priority = "high" if worth >= 2 else "medium"
        self.any_active = True
        self._emit(group, "begins", now_ms)
        for member in low:
            member.cover(now_ms)

    def _cause(self, group: Group, now_ms: int) -> str:
        if group.guard == "feeder":
            return "feeder-lost"
        if group.guard == "disconnect":
            return "low-voltage-disconnect" if self._near_cutoff(group.supply.id, now_ms) else "unknown"
        if group.guard == "isolator":
            return "isolator"
        bus = self.buses[group.supply.id]
        volts = bus.volts is not None and bus.volts >= HEALTHY * self._nominal[group.supply.id]
        return "isolator" if volts else "supply-lost"

    def _end(self, group: Group, now_ms: int) -> None:
        group.active = False
        self.any_active = any(g.active for g in self.groups)
        self._emit(group, "ends", now_ms)
        for member in group.members:
            if member.covered:
                member.uncover(now_ms)

    def _emit(self, group: Group, edge: str, now_ms: int) -> None:
        low = [m for m in group.members if m.low_ms is not None] if edge == "begins" else group.members
        ranked = sorted(low or group.members, key=lambda m: (-_WORTH[m.circuit.importance], not m.always_on, m.order))
        circuits = tuple(member.circuit.id for member in ranked)
        bus = self.buses[group.supply.id]
        facts: Facts = (("circuits", len(circuits)), ("bus_v", bus.volts), ("by_volts", group.by_volts))
        figures: Facts = (("off_for_s", (now_ms - group.since_ms) / 1000.0),) if edge == "ends" else ()
        self._bench.found.append(
            Condition(
                subject=group.subject,
                subject_id=group.subject_id,
                group="dead",
                edge=edge,
                at_ms=now_ms,
                since_ms=group.since_ms,
                kind="feed-lost",
                priority=group.priority,
                cause=group.cause,
                circuits=circuits,
                figures=figures,
                evidence=(("stopped-together", facts),),
            )
        )

    def save(self) -> dict[str, Any]:
        groups = {
            g.key: {n: getattr(g, n) for n in ("active", "by_volts", "cause", "since_ms", "priority")} for g in self.groups
        }
        buses = {supply_id: dict(vars(bus)) for supply_id, bus in self.buses.items()}
        return {"groups": groups, "buses": buses, "step": list(self._step) if self._step else None}

    def restore(self, state: dict[str, Any]) -> None:
        """Take back what there still is; a circuit whose parent left the schedule speaks for itself."""
        for group in self.groups:
            for name, value in state["groups"].get(group.key, {}).items():
                setattr(group, name, value)
        for supply_id, bus in self.buses.items():
            for name, value in state["buses"].get(supply_id, {}).items():
                setattr(bus, name, value)
        self._step = (state["step"][0], state["step"][1]) if state["step"] else None
        self.any_active = any(g.active for g in self.groups)
