"""Parents: a supply, the circuits behind its disconnect or isolator, a feeder. Group `dead`, one alarm at the parent.

A parent is lost when what lived behind it stopped together and nothing behind it is fed, or when its bus has no volts.
Where volts are measured tells what they say: behind a device, that all above it carries; at a circuit's own bar, which goes
dead with its feeder or guard while the bank's bus stands, that its device has no part in it. A circuit at rest loses its
volts too, so it counts. What hangs on an inverter stops with it, and with the circuit that feeds it: that is one loss.
Its circuits are covered by it; when it is back, one that still shows nothing speaks for itself.
"""

from __future__ import annotations

from typing import Any

from panelward.records import Condition, Facts, Schedule
from panelward.watch.bench import Bench
from panelward.watch.causes import Ranked, named, shown, upstream
from panelward.watch.hold import hold_s
from panelward.watch.parents import Group, Member, holds, parents
from panelward.watch.volts import HEALTHY, NO_VOLTS, SKEW_MS, TOGETHER_MS, Volts

AT_ONCE_MS = 2_500  # nobody switches three circuits off one by one so quickly
AWAIT_MS = 60_000  # … or three periods: so long what did not report since can still tell a parent from one circuit
START_MS = 60_000  # an inverter that its own low-voltage cut-off stopped is back within 5 to 40 s (common practice, no source)
SAG_MS = 30_000  # a bus below HEALTHY this long: its circuits stop for want of volts
SHORT_MS = 1_500  # a short opens its device within a second: a longer dip is a crank or a heavy start
LOST = 6  # periods: a few readings lost
HIGH_VOLTS = 1.14  # of nominal: 14.6 V of 12.8, above which a lithium bank's own protection may act (from memory)
CUTOFF_DELAY_S = 10.0  # of a disconnect whose delay is not written (common practice, no source)
HEAVY = 0.6  # of the rating of the device that feeds an inverter: its output nears what it can give
HEAVY_MS = 30_000
_ORDER = ("feeder", "isolator", "disconnect", "supply")  # of parents with the same circuits: what is lost most often
_WORTH = {"life": 3, "property": 2, "comfort": 1}


class Tree:
    """All parents, widest first."""

    def __init__(self, bench: Bench, schedule: Schedule) -> None:
        self._bench, self._schedule = bench, schedule
        self.groups = parents(schedule)
        self.volts = Volts(schedule)
        self.buses = self.volts.buses
        self.any_active = False
        self._by_id: dict[str, Member] = {}
        self._step: tuple[str, int] | None = None  # which circuit's draw jumped up last, and when

    def add(self, circuit: Member) -> None:
        self._by_id[circuit.circuit.id] = circuit
        self.volts.every_ms[circuit.circuit.id] = circuit.period_ms
        for group in self.groups:
            if holds(self._schedule, group, circuit.circuit):
                group.members.append(circuit)

    def bus_volts(self, supply_id: str, volts: float, now_ms: int, channel: str) -> None:
        """A reading of the bus, by one circuit's channel, or of the bar that it hangs on."""
        if self.volts.see(supply_id, channel, volts, now_ms) and self.any_active and channel in self._by_id:
            self._stands_again(self._by_id[channel], now_ms)
        news = self.volts.at_the_bus(supply_id, volts, now_ms, channel)
        if news == "none":
            self._no_volts(supply_id, self.buses[supply_id].none_ms or now_ms, now_ms)
        elif news == "back" and self.any_active:
            self._volts_back(supply_id, now_ms)

    def beyond(self, circuit_id: str, supply_id: str, volts: float, now_ms: int) -> None:
        """A circuit's volts behind its device (or farther on)."""
        if self.volts.see(supply_id, circuit_id, volts, now_ms) and self.any_active and circuit_id in self._by_id:
            self._stands_again(self._by_id[circuit_id], now_ms)
        self.volts.behind(circuit_id, supply_id, volts, now_ms)

    def stopped(self, circuit: Member, now_ms: int) -> None:
        """Its first reading of nothing. What its supply's source drew just before is known now, and not for long."""
        supply = self._schedule.supply(circuit.circuit.supply)
        feeding = self._by_id.get(supply.fed_by or "")
        if feeding is not None and feeding.recent_multiple >= HEAVY:
            self.buses[supply.id].heavy_ms = now_ms

    def _loads_source(self, supply_id: str, now_ms: int) -> None:
        """The draw of this supply jumped up: near what its source can give? The source's own channel may miss the moment."""
        supply = self._schedule.supply(supply_id)
        if supply.fed_by is None:
            return
        source = self._schedule.circuit(supply.fed_by)
        device = source.protection
        if device is not None:
            most_w = (device.as_left_a or device.rating_a) * self._schedule.supply(source.supply).nominal_v
            if self.buses[supply_id].drawn / 10_000.0 * supply.nominal_v >= HEAVY * most_w:
                self.buses[supply_id].heavy_ms = now_ms

    def lives_beside(self, circuit: Member) -> str | None:
        """The evidence that what feeds this circuit feeds others: of its feeder, else of its supply."""
        went = self.volts.went(circuit)
        since_ms = went[1] if went is not None else circuit.low_received_ms
        feeder = circuit.circuit.feeder
        if feeder is not None:
            mine = next(g for g in self.groups if g.guard == "feeder" and g.subject_id == feeder)
            if any(m is not circuit and self.volts.stands(m, since_ms) for m in mine.members):
                return "feeder-lives"
        others = self.groups_of(circuit.circuit.supply).members
        return "supply-lives" if any(m is not circuit and self.volts.stands(m, since_ms) for m in others) else None

    def gone_beside(self, circuit: Member) -> bool:
        """Have others behind the same feeder or guard lost their volts with it, whether they drew or not? What hangs on it
        through an inverter is not beside it.
        """
        shared = [g for g in self.groups if g.guard != "supply" and any(member is circuit for member in g.members)]
        return any(
            member is not circuit
            and member.circuit.supply == circuit.circuit.supply
            and self.volts.dark(member)
            and self._together(member, circuit)
            for group in shared
            for member in group.members
        )

    def stands_alone(self, circuit: Member, since_ms: int) -> bool:
        """Is what feeds this circuit seen since then, at every feeder and guard that it is behind? By another that is fed; at
        the supply by the bus, too.
        """
        bus = self.buses[circuit.circuit.supply]
        for group in self.groups:
            if not any(member is circuit for member in group.members):
                continue
            others = [member for member in group.members if member is not circuit]
            if not others and group.guard == "disconnect" and self.volts.near_cutoff(group.supply.id, since_ms):
                return False
            if not others or any(self.volts.stands(member, since_ms) for member in others):
                continue
            seen = bus.at_ms >= since_ms and self.bus_healthy(circuit) and group.supply.id == circuit.circuit.supply
            if group.guard != "supply" or not seen:
                return False
        return True

    @staticmethod
    def _drawn_since(member: Member, since_ms: int, circuit: Member) -> bool:
        """In a later round: in the same one it may have been read before, and a mean is of the time before. One that publishes
        on change, and no slower than this circuit, had said it by now if it had stopped.
        """
        if member.low_ms is not None or member.alive_ms is None:
            return False
        if member.alive_ms >= since_ms + member.period_ms // 2:
            return True
        return member.held and member.period_ms <= circuit.period_ms

    def stepped(self, circuit_id: str, now_ms: int) -> None:
        """A circuit's draw jumped up."""
        self._step = circuit_id, now_ms
        self._loads_source(self._schedule.circuit(circuit_id).supply, now_ms)

    def bus_healthy(self, circuit: Member) -> bool:
        """Are there volts at the bus that feeds this circuit, as far as measured?"""
        bus = self.buses[circuit.circuit.supply]
        if bus.volts is None:  # nobody measures it: others, behind their devices, show it since
            return any(other != circuit.circuit.id and at_ms >= circuit.low_received_ms for other, at_ms in bus.beyond)
        return self.volts.has_volts(self._schedule.supply(circuit.circuit.supply), circuit.low_received_ms)

    def dip_v(self, circuit: Member, when_ms: int) -> float:
        """How far the bus dipped when this circuit went, as `dip` says."""
        return self.dip(circuit, when_ms)[0]

    def dip(self, circuit: Member, when_ms: int) -> tuple[float, int]:
        """How far the bus dipped within two periods before `when_ms` (or since the circuit's last reading of life, where a few
        were lost), as one circuit's short would have it, and when; 0 where it did not, stayed down, or where another circuit's
        start or the loss of several explains it.
        """
        bus = self.buses[circuit.circuit.supply]
        near = 2 * circuit.period_ms + 1_000
        lived_ms = circuit.alive_ms
        if lived_ms is not None and near < when_ms - lived_ms <= LOST * circuit.period_ms:
            near = when_ms - lived_ms
        if self._step is not None and self._step[0] != circuit.circuit.id and abs(self._step[1] - when_ms) <= near:
            return 0.0, 0  # another circuit's start pulled it down
        others = [m for m in self.groups_of(circuit.circuit.supply).members if m is not circuit]
        if bus.volts is not None:
            dips = [bus.dips.last] if bus.dips.last is not None else []
        else:  # nobody measures it: what two others see behind their devices the bus did
            seen = [m.dip for m in others if m.circuit.supply == circuit.circuit.supply and m.dip is not None]
            near_it = [d for d in seen if -near <= d.last_ms - when_ms <= circuit.period_ms]
            dips = sorted(near_it, reverse=True)[1:2]
        if not dips or not self.bus_healthy(circuit) or not -near <= dips[0].last_ms - when_ms <= circuit.period_ms:
            return 0.0, 0
        dip = dips[0]
        if bus.volts is not None and dip.low_v < HEALTHY * self._schedule.supply(circuit.circuit.supply).nominal_v:
            return 0.0, 0  # a crank: a branch's own conductors keep its short from pulling a bank so deep
        if dip.last_ms - dip.from_ms > SHORT_MS or dip.last_ms == dip.seen_ms:
            return 0.0, 0  # too long, or not over yet: the bus falls
        if any(m.dropped_ms is not None and abs(m.dropped_ms - dip.from_ms) <= m.period_ms + 1_000 for m in others):
            return 0.0, 0  # one short takes one circuit; what stopped a round before or after it stopped by itself
        return dip.volts, dip.last_ms

    def cut_off(self, circuit: Member, when_ms: int) -> bool:
        """May the disconnect have let it go just then: was its bus under the cut-off for the disconnect's delay, and is nothing
        behind it fed since?
        """
        group = next((g for g in self.groups if g.guard == "disconnect" and any(m is circuit for m in g.members)), None)
        if group is None:
            return False
        bus, delay_s = self.buses[group.supply.id], group.supply.cutoff_delay_s
        least_ms = round(1000 * (CUTOFF_DELAY_S if delay_s is None else delay_s)) // 2  # from readings, not from its own meter
        slack_ms = 2 * circuit.period_ms + SKEW_MS
        if bus.under_ms is None and when_ms - bus.under_last_ms > slack_ms:
            return False
        began_ms = bus.under_ms if bus.under_ms is not None else bus.under_last_ms - least_ms
        if when_ms - began_ms < least_ms - slack_ms:
            return False
        return not any(m is not circuit and self.volts.stands(m, when_ms) for m in group.members)

    def drawn_beside(self, circuit: Member, since_ms: int) -> bool:
        """Has another of the same supply drawn since then? Then its bus has volts, whoever measures it."""
        others = (m for m in self.groups_of(circuit.circuit.supply).members if m is not circuit)
        return any(m.circuit.supply == circuit.circuit.supply and self._drawn_since(m, since_ms, circuit) for m in others)

    def explains(self, circuit: Member, now_ms: int) -> bool:
        """Does a parent explain that this circuit shows nothing? Begins the parent's condition if it is found now."""
        mine = [group for group in self.groups if any(member is circuit for member in group.members)]
        supply = self._schedule.supply(circuit.circuit.supply)
        sag_ms = self.buses[supply.id].sag_ms
        if sag_ms is not None and self._sags(circuit, sag_ms, now_ms):
            return True
        none_ms = self.buses[supply.id].none_ms
        counts = none_ms is not None and now_ms - none_ms < START_MS and not self.groups_of(supply.id).active
        if counts and not any(self._lost(group, circuit, now_ms) for group in mine if group.supply.id != supply.id):
            circuit.judge_later()  # no volts at all: `_no_volts` counts, and tells it of the supply
            return True
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
        if self._awaits(mine if lost else [g for g in mine if g.guard != "supply"], circuit, now_ms):
            circuit.judge_later()
            return True
        if not lost:
            return False
        # A bus with volts is not lost: what is between is, whatever else came to rest meanwhile.
        between = [group.supply.id for group in lost if group.guard != "supply" and self.volts.has_volts(group.supply, now_ms)]
        lost = [group for group in lost if group.guard != "supply" or group.supply.id not in between]
        # The narrowest that holds all that stopped; but a disconnect near its cut-off is what it looks like.
        stopped = [len(self._dropped(group, circuit)) for group in lost]
        holds_all = [group for group, n in zip(lost, stopped, strict=True) if n == max(stopped)]
        near = [g for g in holds_all if g.guard == "disconnect" and self.volts.near_cutoff(g.supply.id, now_ms)]
        group = near[0] if near else min(holds_all, key=lambda g: (len(g.members), _ORDER.index(g.guard)))
        group.since_ms = min(self._since(member) for member in self._dropped(group, circuit))
        went = self.volts.went(circuit)
        self._begin(group, now_ms, went[1] if went is not None else now_ms, by_volts=False)
        return True

    def _since(self, member: Member) -> int:
        """When it stopped, as measured; of one at rest, when its volts went."""
        gone_ms = self.volts.seen[member.circuit.id].gone_ms
        rested = gone_ms is not None and member.low_received_ms < gone_ms - TOGETHER_MS
        if member.low_ms is not None and not rested:
            return member.low_ms
        return gone_ms if gone_ms is not None else member.low_received_ms

    def _awaits(self, mine: list[Group], circuit: Member, now_ms: int) -> bool:
        """Can what did not report since still tell that a parent is lost? Not asked where its own draw says enough."""
        went = self.volts.went(circuit)
        if went is None or circuit.may_have_opened or now_ms - went[1] >= max(AWAIT_MS, 3 * circuit.period_ms):
            return False
        feeding = self._by_id.get(self._schedule.supply(circuit.circuit.supply).fed_by or "")
        if feeding is not None and self.volts.dark(feeding):
            return True  # what feeds its supply has no volts either: it is asked soon
        for group in mine:
            if any(self.volts.stands(member, went[1]) for member in group.members):
                continue
            if any(m is not circuit and self._unheard(m, went[1]) for m in group.members):
                return True
        return False

    def _unheard(self, member: Member, since_ms: int) -> bool:
        """Did it draw until just before, and say nothing since?"""
        if member.circuit.id in self.volts.on_change or member.low_ms is not None or member.alive_ms is None:
            return False
        return not self.volts.dark(member) and since_ms - member.alive_ms <= 5 * member.period_ms + SKEW_MS

    def _sags(self, circuit: Member, sag_ms: int, now_ms: int) -> bool:
        """Its bus has volts, but too few: that is told of the supply, once it lasts."""
        group, bus = self.groups_of(circuit.circuit.supply), self.buses[circuit.circuit.supply]
        if group.active or group.supply.presence == "comes-and-goes" or bus.volts is None:
            return False
        if bus.volts < NO_VOLTS * group.supply.nominal_v:
            return False  # none at all: `_no_volts` counts those
        if now_ms - sag_ms < SAG_MS:
            circuit.judge_later()
            return True
        group.since_ms = sag_ms
        self._begin(group, now_ms, sag_ms, by_volts=True)
        return True

    def _lost(self, group: Group, circuit: Member, now_ms: int) -> bool:
        went = self.volts.went(circuit)
        if went is None or group.supply.presence == "comes-and-goes":
            return False
        if any(self.volts.stands(member, went[1]) for member in group.members):
            return False
        dropped = self._dropped(group, circuit)
        # What hangs on an inverter stopped with it: no proof of what is above, and no second circuit.
        own = [member for member in dropped if member.circuit.supply == group.supply.id]
        dark = [member for member in own if self.volts.dark(member)]
        bars = [member for member in dark if member.circuit.id in self.volts.at_bus]
        near_cutoff = group.guard == "disconnect" and self.volts.near_cutoff(group.supply.id, now_ms)
        if len(own) < 2:
            # One circuit alone: its bar is dead, or its volts went at the disconnect's cut-off.
            drew = [member for member in bars if member.dropped_ms is not None]
            if group.guard == "supply" or not (drew or (dark and near_cutoff)):
                return False
        proves = bool(bars) or any(member.proves for member in own) or any(member.always_on for member in dark)
        if group.guard == "supply":
            # Nothing draws any more: a person may have switched off two lamps, but not what must never lose its feed.
            return proves or self._heavy(group, went[1])
        elsewhere = any(self.volts.stands(member, went[1]) for member in self.groups_of(group.supply.id).members)
        if not elsewhere and not self.volts.has_volts(group.supply, now_ms) and not self.bus_healthy(circuit):
            return False
        # A guard that people work by hand takes lamps with it honestly, and lamps go out together at bedtime: but no hand
        # is so quick as a feeder's fuse.
        at_once = self._span_ms(dropped) <= AT_ONCE_MS and all(member.period_ms <= AT_ONCE_MS for member in dropped)
        alone = sum(1 for member in dropped if member.by_itself)
        return proves or near_cutoff or (group.guard == "feeder" and len(dropped) >= 3 and (at_once or alone >= 2))

    @staticmethod
    def _span_ms(members: list[Member]) -> int:
        """From the first of them that stopped to the last."""
        stopped = [member.dropped_ms for member in members if member.dropped_ms is not None]
        return max(stopped) - min(stopped) if stopped else 0

    def _dropped(self, group: Group, circuit: Member) -> list[Member]:
        """Members that stopped together with this circuit."""
        return [member for member in group.members if self._together(member, circuit)]

    def groups_of(self, supply_id: str) -> Group:
        """The widest parent of a supply."""
        return next(g for g in self.groups if g.guard == "supply" and g.subject_id == supply_id)

    def _together(self, member: Member, circuit: Member) -> bool:
        """Can both have lost their feed at one moment?"""
        if member is circuit:
            return True
        one, other = self.volts.went(member), self.volts.went(circuit)
        if one is None or other is None:
            return False
        slack_ms = TOGETHER_MS
        if member.circuit.sense.reports == "mean" or circuit.circuit.sense.reports == "mean":
            slack_ms += max(member.period_ms, circuit.period_ms)  # of a mean the first low reading is half of before
        return max(one[0], other[0]) <= min(one[1], other[1]) + slack_ms

    def _no_volts(self, supply_id: str, since_ms: int, now_ms: int) -> None:
        group = self.groups_of(supply_id)
        if group.active or group.supply.presence == "comes-and-goes":
            return
        if any(member.lives(now_ms) and self.volts.stands(member, since_ms) for member in group.members):
            return  # something draws: it is one channel's volts that are gone, not the bus
        feeding = self._by_id.get(group.supply.fed_by or "")
        if feeding is not None and (feeding.active or feeding.covered):
            return
        if feeding is not None and now_ms - since_ms < START_MS:
            return  # an inverter that stopped in a dip may start again by itself
        if feeding is not None and self.volts.dark(feeding) and now_ms - since_ms < 3 * feeding.period_ms:
            return  # what feeds it has no volts either: that is told of it, or of what is above it
        if group.supply.kind == "ac" and not any(member.always_on for member in group.members):
            return
        group.since_ms = since_ms
        self._begin(group, now_ms, since_ms, by_volts=True)

    def _volts_back(self, supply_id: str, now_ms: int) -> None:
        group = self.groups_of(supply_id)
        if group.active and group.by_volts:
            self._end(group, now_ms)

    def shows_life(self, circuit: Member, now_ms: int) -> None:
        """A circuit behind a lost parent draws again: the parent is back."""
        if not self.volts.dark(circuit):
            self._stands_again(circuit, now_ms)

    def _stands_again(self, circuit: Member, now_ms: int) -> None:
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

    def _begin(self, group: Group, now_ms: int, went_ms: int, *, by_volts: bool) -> None:
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
        group.ranked = self._weigh(group, went_ms, now_ms)
        group.cause = named(group.ranked) or "unknown"
        worth = max((_WORTH[m.circuit.importance] for m in low or group.members), default=1)
        group.priority = "high" if worth >= 2 else "medium"
        self.any_active = True
        self._emit(group, "begins", now_ms)
        for member in low:
            member.cover(now_ms)

    def _weigh(self, group: Group, went_ms: int, now_ms: int) -> Ranked:
        """What took its circuits together: the evidence, and the posterior. `went_ms`: since then, as received."""
        supply, bus = group.supply, self.buses[group.supply.id]
        known: list[str] = []
        if supply.cutoff_v is not None:
            known.append("near-its-cut-off" if self.volts.near_cutoff(supply.id, now_ms) else "far-from-cut-off")
        volts = self.volts.bus_v(supply.id, now_ms)
        if volts is not None:
            of_nominal = volts / supply.nominal_v
            known.append(
                "bus-has-volts" if of_nominal >= HEALTHY else "bus-low" if of_nominal >= NO_VOLTS else "bus-without-volts"
            )
        elif group.guard != "supply" and any(self.volts.stand(m, went_ms) for m in self.groups_of(supply.id).members):
            known.append("bus-has-volts")  # behind their devices, at least
        if group.guard != "supply" and any(self.volts.stands(m, went_ms) for m in self.groups_of(supply.id).members):
            known.append("others-live")
        if bus.dips.level_v is not None and bus.dips.level_v >= HIGH_VOLTS * supply.nominal_v:
            known.append("volts-high-before")
        if supply.fed_by is not None:
            known.append("source-heavy-before" if self._heavy(group, went_ms) else "source-light-before")
        group.evidence = tuple(known)
        return upstream("inverter" if supply.fed_by is not None and group.guard == "supply" else group.guard, group.evidence)

    @staticmethod
    def _sure(group: Group) -> float:
        """How probable it is that kind and cause are right: undecided, that it was no hand."""
        found = dict(group.ranked)
        return found[group.cause] if group.cause in found else 1.0 - found.get("switched-off", 0.0)

    def _heavy(self, group: Group, since_ms: int) -> bool:
        """Did what feeds this supply draw near its limit just before?"""
        heavy_ms = self.buses[group.supply.id].heavy_ms
        return heavy_ms is not None and abs(heavy_ms - since_ms) <= HEAVY_MS

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
        # It covers what had been told to stop before, too; but that did not stop with the others.
        slack_ms = TOGETHER_MS + max(member.period_ms for member in group.members)
        before = [m.circuit.id for m in ranked if m.active and self._since(m) < group.since_ms - slack_ms]
        stopped = tuple(c for c in circuits if c not in before) or circuits
        bus = self.buses[group.supply.id]
        facts: Facts = (("circuits", len(stopped)), ("bus_v", bus.volts), ("by_volts", group.by_volts))
        figures: Facts = (("volts", bus.volts), *((("stopped", stopped),) if edge == "begins" and stopped != circuits else ()))
        if edge == "ends":
            off_s = (now_ms - group.since_ms) / 1000.0
            look = any(off_s > hold_s(member.circuit) for member in group.members)
            figures = (("off_for_s", off_s), *((("to_look_at", True),) if look else ()))
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
                candidates=tuple((cause, p) for cause, p in group.ranked if p >= 0.005) if edge == "begins" else (),
                confidence=self._sure(group) if edge == "begins" else None,
                circuits=circuits,
                figures=figures,
                evidence=(("stopped-together", facts), *shown(group.evidence)),
            )
        )

    def save(self) -> dict[str, Any]:
        groups = {
            g.key: {n: getattr(g, n) for n in _KEPT} | {"evidence": list(g.evidence), "ranked": [list(r) for r in g.ranked]}
            for g in self.groups
        }
        step = list(self._step) if self._step else None
        return {"groups": groups, "step": step, **self.volts.save()}

    def restore(self, state: dict[str, Any]) -> None:
        """Take back what there still is; a circuit whose parent left the schedule speaks for itself."""
        for group in self.groups:
            kept = state["groups"].get(group.key)
            if kept is not None:
                for name in _KEPT:
                    setattr(group, name, kept[name])
                group.evidence = tuple(kept["evidence"])
                group.ranked = tuple((cause, p) for cause, p in kept["ranked"])
        self.volts.restore(state)
        self._step = (state["step"][0], state["step"][1]) if state["step"] else None
        self.any_active = any(g.active for g in self.groups)


_KEPT = ("active", "by_volts", "cause", "since_ms", "priority")
