"""The volts of each bus and behind each device: who is fed, who is dark, and since when."""

from __future__ import annotations

from typing import Any

from panelward.records import Schedule, Supply
from panelward.watch.dips import Dips
from panelward.watch.parents import Member

NO_VOLTS = 0.3  # of nominal: the bus is dead
HEALTHY = 0.75
TOGETHER_MS = 5_000  # two that were last seen alive and first seen dead within overlapping times, and so much besides
SKEW_MS = 1_000  # readings of one moment come within it: only a later one tells what has been since
OVERDUE_MS = 120_000  # … or ten periods
NO_VOLTS_READINGS = 3
NO_VOLTS_MS = 10_000
WEAK = 0.90  # of nominal: below 11.5 V of 12.8 some electronics stop and start anew (common practice, no source)
GONE = 0.15  # of nominal: no crank pulls so deep (ISO 16750-2 4.6.3: 3 V of 12 at the lowest); that is a channel's own zero
CUTOFF_NEAR = 0.03  # of nominal above the cut-off
CUTOFF_RECENT_MS = 600_000
UNMETERED = 3  # readings of the meter that are kept


class Seen:
    """What one channel's volts showed, wherever they are measured."""

    def __init__(self) -> None:
        self.volts: float | None = None
        self.stood_ms: int | None = None  # last reading of a healthy feed
        self.gone_ms: int | None = None  # without volts since
        self.gone_from_ms: int | None = None  # … and healthy until


class Bus:
    """One supply's volts, as measured at the bus."""

    def __init__(self, nominal_v: float) -> None:
        self.volts: float | None = None
        self.at_ms = 0
        self.none_ms: int | None = None  # without volts since
        self.none = 0
        self.beyond: list[tuple[str, int]] = []  # the last two circuits whose volts behind their devices showed the bus
        self.none_by: str | None = None  # which channel saw none last
        self.low_ms: int | None = None  # last near the cut-off
        self.under_ms: int | None = None  # at or under it since
        self.under_last_ms = 0  # … and last
        self.dips = Dips(nominal_v)
        self.sag_ms: int | None = None  # below HEALTHY since
        self.weak_ms: int | None = None  # last reading too low for some electronics
        self.heavy_ms: int | None = None  # what feeds it drew near its limit just before something stopped here, last
        self.drawn = 0  # what its circuits draw together, 0.1 mA; whole numbers, so that no order of sums shows
        self.unmetered: list[float] = []  # what the meter shows beyond that, its last readings, A
        self.metered = 0


class Volts:
    """What was read at the buses, and on the way to each load."""

    def __init__(self, schedule: Schedule) -> None:
        self.buses = {supply.id: Bus(supply.nominal_v) for supply in schedule.supplies}
        self.seen = {circuit.id: Seen() for circuit in schedule.circuits}
        self.at_bus = {c.id for c in schedule.circuits if c.sense.volts_at == "bus"}
        self.on_change = {c.id for c in schedule.circuits if c.sense.publishes == "on-change"}
        self.every_ms = dict.fromkeys(self.seen, 5_000)
        self._nominal = {supply.id: supply.nominal_v for supply in schedule.supplies}
        self._cutoff = {supply.id: supply.cutoff_v for supply in schedule.supplies}
        self._channels = {s.id: [c for c in schedule.circuits if c.supply == s.id] for s in schedule.supplies}

    def at_the_bus(self, supply_id: str, volts: float, now_ms: int, channel: str) -> str | None:
        """A reading of the bus, by one circuit's channel, or of the bar that it hangs on. 'back': it has volts (again); 'none':
        it has had none for long enough.
        """
        bus, nominal = self.buses[supply_id], self._nominal[supply_id]
        if volts < GONE * nominal and self.bus_stands(supply_id, channel, now_ms):
            return None  # its own bar is cut off, or its channel fails: the bus it is not
        bus.dips.take(volts, now_ms)
        if GONE * nominal <= volts < WEAK * nominal:
            bus.weak_ms = now_ms
        bus.volts, bus.at_ms = volts, now_ms
        if volts >= HEALTHY * nominal:
            bus.sag_ms = None
        elif bus.sag_ms is None:
            bus.sag_ms = now_ms
        cutoff = self._cutoff[supply_id]
        if cutoff is not None and NO_VOLTS * nominal <= volts <= cutoff + CUTOFF_NEAR * nominal:
            bus.low_ms = now_ms
        if cutoff is None or not NO_VOLTS * nominal <= volts <= cutoff:
            bus.under_ms = None
        else:
            bus.under_ms, bus.under_last_ms = now_ms if bus.under_ms is None else bus.under_ms, now_ms
        if volts >= NO_VOLTS * nominal:
            if bus.none_by == channel:  # the same channel sees it again: it was gone for a moment
                bus.weak_ms, bus.none_by = now_ms, None
            bus.none_ms, bus.none = None, 0
            return "back" if volts >= HEALTHY * nominal else None
        bus.none_by = channel
        bus.none += 1
        if bus.none_ms is None:
            bus.none_ms = now_ms
        elif bus.none >= NO_VOLTS_READINGS and now_ms - bus.none_ms >= NO_VOLTS_MS:
            return "none"
        return None

    def behind(self, circuit_id: str, supply_id: str, volts: float, now_ms: int) -> None:
        """A reading of a circuit's volts behind its device (or farther on)."""
        cutoff, nominal = self._cutoff[supply_id], self._nominal[supply_id]
        if cutoff is not None and NO_VOLTS * nominal <= volts <= cutoff + CUTOFF_NEAR * nominal:
            self._nears_cutoff(supply_id, cutoff + CUTOFF_NEAR * nominal, now_ms)
        if volts >= HEALTHY * self._nominal[supply_id]:
            bus = self.buses[supply_id]
            bus.beyond = [entry for entry in bus.beyond if entry[0] != circuit_id][-1:]
            bus.beyond.append((circuit_id, now_ms))

    def drew(self, supply_id: str, change: int) -> None:
        """A circuit of this supply draws so much more than before, 0.1 mA."""
        self.buses[supply_id].drawn += change

    def meters(self, supply_id: str, amps: float) -> None:
        """A reading of the bank's meter, discharge positive."""
        bus = self.buses[supply_id]
        bus.metered += 1
        bus.unmetered.append(amps - bus.drawn / 10_000.0)
        del bus.unmetered[:-UNMETERED]

    def unmetered(self, supply_id: str) -> tuple[float | None, float, int]:
        """What the meter shows beyond the sum of its circuits: middle and spread of its last three readings, and how many
        came. The meter and its circuits are not read at the same moment: where much changes the spread is wide.
        """
        bus = self.buses[supply_id]
        last = sorted(bus.unmetered[-3:])
        return (last[1], last[2] - last[0], bus.metered) if len(last) == 3 else (None, 0.0, bus.metered)

    def weak_ms(self, supply_id: str, since_ms: int) -> int | None:
        """When the bus was last too low for some electronics, from just before `since_ms` on."""
        weak_ms = self.buses[supply_id].weak_ms
        return weak_ms if weak_ms is not None and weak_ms >= since_ms - 2 * TOGETHER_MS else None

    def see(self, supply_id: str, channel: str, volts: float, now_ms: int) -> bool:
        """What this channel's volts say of its feed; is it fed again?"""
        seen, nominal = self.seen[channel], self._nominal[supply_id]
        seen.volts = volts
        if volts < NO_VOLTS * nominal:
            if seen.gone_ms is None:
                seen.gone_ms, seen.gone_from_ms = now_ms, seen.stood_ms
            seen.stood_ms = seen.gone_from_ms
            return False
        if volts < HEALTHY * nominal:
            seen.gone_ms = None
            return False
        if seen.gone_ms is not None and channel not in self.on_change and seen.stood_ms == seen.gone_from_ms:
            seen.stood_ms = now_ms  # it stands again, if the next reading agrees
            return False
        again = seen.gone_ms is not None
        seen.gone_ms, seen.stood_ms = None, now_ms
        return again

    def bus_stands(self, supply_id: str, channel: str, now_ms: int) -> bool:
        """Do others of this supply see volts, at the bus or behind their devices?

        Who saw them since the last of the bars was lost is believed until it is overdue, who did not for two periods.
        """
        channels = self._channels[supply_id]
        gone = [self.seen[c.id].gone_ms or 0 for c in channels if c.id in self.at_bus]
        lost_ms = max(gone, default=0)
        for other in channels:
            seen, every_ms = self.seen[other.id], self.every_ms[other.id]
            if other.id == channel or seen.gone_ms is not None or seen.stood_ms is None:
                continue
            saw_ms = max(OVERDUE_MS, 10 * every_ms) if seen.stood_ms >= lost_ms + SKEW_MS else 2 * every_ms + SKEW_MS
            if other.id in self.on_change or now_ms - seen.stood_ms <= saw_ms:
                return True
        return False

    def bus_v(self, supply_id: str, now_ms: int) -> float | None:
        """The volts of the bus: none from when the last of its channels lost them, though each was taken for cut off."""
        at_bus = [self.seen[c.id] for c in self._channels[supply_id] if c.id in self.at_bus]
        if any(seen.gone_ms is not None for seen in at_bus) and not self.bus_stands(supply_id, "", now_ms):
            return 0.0
        return self.buses[supply_id].volts

    def dark(self, member: Member) -> bool:
        """Are the volts that its channel measures gone? Not where it draws on: then it is the channel of its volts."""
        gone_ms = self.seen[member.circuit.id].gone_ms
        if gone_ms is None or (member.switched_off and member.circuit.sense.volts_at in ("after-switch", "load")):
            return False
        draws_on = member.low_ms is None and member.alive_ms is not None
        return not (draws_on and (member.alive_ms or 0) - gone_ms > 2 * member.period_ms + SKEW_MS)

    def stand(self, member: Member, since_ms: int) -> bool:
        """Do volts behind its device, read since, show that all above it carries? Those at a bar may be of another bar."""
        seen, name = self.seen[member.circuit.id], member.circuit.id
        if name in self.at_bus or seen.gone_ms is not None or seen.stood_ms is None:
            return False
        return name in self.on_change or seen.stood_ms >= since_ms + SKEW_MS

    def stands(self, member: Member, since_ms: int) -> bool:
        """Is it seen to be fed since then: does it draw, or has it volts? Who tells changes only, says that by silence."""
        if self.dark(member):
            return False
        draws = member.low_ms is None and member.alive_ms is not None
        if draws and (member.circuit.id in self.on_change or (member.alive_ms or 0) >= since_ms + SKEW_MS):
            return True
        return self.stand(member, since_ms)

    def went(self, member: Member) -> tuple[int, int] | None:
        """Between when and when it lost its feed, as far as its readings tell: its volts before its draw."""
        seen = self.seen[member.circuit.id]
        if self.dark(member) and seen.gone_ms is not None:
            until_ms, from_ms = seen.gone_ms, seen.gone_from_ms
        elif member.dropped_ms is None or self.stand(member, member.dropped_ms - SKEW_MS):
            return None
        else:
            until_ms, from_ms = member.dropped_ms, member.alive_ms
        if from_ms is None or member.past or member.circuit.id in self.on_change:
            from_ms = until_ms
        return min(from_ms, until_ms), until_ms

    def has_volts(self, supply: Supply, now_ms: int) -> bool:
        volts = self.bus_v(supply.id, now_ms)
        return volts is not None and volts >= HEALTHY * supply.nominal_v

    def _nears_cutoff(self, supply_id: str, near_v: float, now_ms: int) -> None:
        """No volts at the bus are measured, but they are at least the highest of those behind its devices."""
        bus = self.buses[supply_id]
        if bus.volts is not None:
            return
        fresh = 0
        for other in self._channels[supply_id]:
            seen = self.seen[other.id]
            if seen.volts is None or seen.gone_ms is not None or seen.stood_ms is None:
                continue
            if other.id in self.on_change or now_ms - seen.stood_ms <= 2 * self.every_ms[other.id] + SKEW_MS:
                if seen.volts > near_v:
                    return
                fresh += 1
        if fresh > 1:  # one alone may be far away on a thin wire
            bus.low_ms = now_ms

    def near_cutoff(self, supply_id: str, now_ms: int) -> bool:
        low_ms = self.buses[supply_id].low_ms
        return low_ms is not None and now_ms - low_ms <= CUTOFF_RECENT_MS

    def save(self) -> dict[str, Any]:
        buses = {
            supply_id: vars(bus)
            | {"unmetered": list(bus.unmetered), "beyond": [list(entry) for entry in bus.beyond], "dips": bus.dips.save()}
            for supply_id, bus in self.buses.items()
        }
        return {"buses": buses, "seen": {channel: dict(vars(seen)) for channel, seen in self.seen.items()}}

    def restore(self, state: dict[str, Any]) -> None:
        """Take back what there still is."""
        for supply_id, bus in self.buses.items():
            for name, value in state["buses"].get(supply_id, {}).items():
                if name == "dips":
                    bus.dips.restore(value)
                else:
                    setattr(bus, name, list(value) if name == "unmetered" else value)
            bus.beyond = [(entry[0], entry[1]) for entry in bus.beyond]
        for channel, seen in self.seen.items():
            for name, value in state["seen"].get(channel, {}).items():
                setattr(seen, name, value)
