"""The pure core, part one: everything that needs a value. Readings in; edges of conditions out.

One file a kind of condition, each owning its state, its deadlines and its save and restore:

    way          one circuit's present values: order, pairs, energy; hands each sample to the files below
    overcurrent  overcurrent-approach, conductor-overheating
    doubt        protection-doubtful: another device than the listed one; `early`: one that opens at less
    dead         protection-opened, feed-lost: `witness` gathers the evidence, `causes` weighs it, `tree` keeps the parents
    drain        standby-drain; `standby` holds the floor of the first days
    unassigned   unassigned-draw: the meter against the sum of its circuits
    level        off-profile: `steady` finds the stands, `exponent` learns how they go with the volts; `retries`, `glow`: starts
    rhythm       duty-high, duty-low, overlong-run, short-cycling: `runs` and rests, `starts`, `cooling` (a compressor's heat)
    supply       undervoltage-approach: `thevenin` learns the source, `charge` counts what it holds
    suspect      reading-suspect: values that can't be; `unmoved` holds the bank's meter against them
    swapped      reading-suspect: names that look swapped
    drift        departed-from-record: daily medians against the sealed record: `cusum` adds them up, `air` says what air does
    doing        no condition: what the vehicle is doing, by chargers, ignition and what a person said
    silence      readings-overdue: a circuit, a monitor, the broker

No clock, no I/O. Times are milliseconds on the core's own axis. No set is iterated.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from panelward.records import Circuit, Commissioned, Condition, Doing, Facts, Monitor, Presence, Reading, Record, Schedule
from panelward.watch import dead, doubt, drain, early, level, overcurrent, rhythm, suspect
from panelward.watch.afar import Afar
from panelward.watch.bench import Bench
from panelward.watch.charge import Counted
from panelward.watch.cooling import INSIDE_OLD_MS
from panelward.watch.cusum import threshold
from panelward.watch.doing import DoingState
from panelward.watch.drift import Drift, metrics_of
from panelward.watch.panel import Panel
from panelward.watch.silence import BrokerSilence, MonitorSilence, Silence
from panelward.watch.supply import SupplyState
from panelward.watch.supply import depends as supply_depends
from panelward.watch.suspect import Suspect
from panelward.watch.swapped import groups
from panelward.watch.tree import Tree
from panelward.watch.unassigned import Unassigned
from panelward.watch.unmoved import Unmoved
from panelward.watch.unsent import Unsent
from panelward.watch.way import Way

__all__ = ["Watch"]

VERSION = 15
COLDEST_C, HOTTEST_C = -60.0, 125.0  # a probe beyond these is wrong, not the weather
PROBE_OLD_MS = 3600_000
FALSE_A_WEEK = 0.1  # of drift, over all metrics of the vehicle together, at most
OF_LOAD = ("level", "drain", "rhythm", "drift")  # what is learned of a load,
OF_DEVICE = ("over", "early", "doubt")  # … of a device, how warm it is and which of its type
EITHER = 0.5  # of a circuit whose name looks swapped: it is about this one or the other
_NO_MONITOR = Monitor(name="", dialect="plain", topic="")


class Watch:
    """All circuits of one schedule."""

    def __init__(
        self, schedule: Schedule, *, silence_from_start: bool, now_ms: int, record: Record | None = None,
        replaced: Mapping[tuple[str, str], int] | None = None,
    ) -> None:  # fmt: skip
        self.schedule, self.record = schedule, record
        self.replaced = dict(replaced or {})  # (circuit, load | device) -> when, Unix ms
        self._bench = Bench()
        self.panel = Panel(schedule.vehicle.timezone)
        self.from_start = silence_from_start
        self.afar = Afar(self._bench, schedule)
        self._broker = BrokerSilence(self._bench, schedule.broker.host if schedule.broker else "broker", self.afar)
        self._unsent = Unsent(self._bench)
        self._unread = Unsent(self._bench, "people")
        self._unwritten = Unsent(self._bench, "journal")
        self._monitors = {m.name: MonitorSilence(self._bench, m, self._broker) for m in schedule.monitors}
        self.tree = Tree(self._bench, schedule)
        self._supplies = {s.id: SupplyState(self._bench, schedule, s, self.tree.buses[s.id]) for s in schedule.supplies}
        self.ways: dict[str, Way] = {}
        for state in self._supplies.values():
            state.draws_now = self._draws_now
        self._names = groups(self._bench, schedule)
        self._unmoved = {s.id: Unmoved(s) for s in schedule.supplies}
        self._unassigned: dict[str, Unassigned] = {}
        for supply in schedule.supplies:
            over = self._monitors.get(next((c.monitor for c in schedule.circuits if c.id == supply.meter), None) or "")
            period_ms = round(1000 * over.monitor.expect_every_s) if over is not None else 5000
            beyond = Unassigned(self._bench, schedule, supply, self._unmoved[supply.id].channels, period_ms, record)
            if beyond.judged:
                self._unassigned[supply.id] = beyond
        self.doing = DoingState(self._bench, self.panel, schedule)
        named = [(c, record.circuit(c.id)) for c in schedule.circuits if c.role == "load"] if record is not None else []
        self._h = threshold(sum(len(metrics_of(c, kept)) for c, kept in named if kept is not None), FALSE_A_WEEK)
        self._drifts: dict[str, list[Drift]] = {}  # by monitor: what all of them do is the monitor's doing
        self._probes: dict[str, tuple[Silence, str]] = {}
        for circuit in schedule.circuits:
            self._enrol(circuit)
        for probe in schedule.probes:
            over = self._monitors.get(probe.monitor or "")
            if over is not None:
                on_change = over.monitor.sense.publishes == "on-change"
                self._probes[probe.id] = (Silence(self._bench, probe.id, over, on_change, False), probe.where)
        self._meters = {s.id: (s.meter, -1.0 if s.meter_sign == "charge-positive" else 1.0) for s in schedule.supplies}
        if silence_from_start:
            for way in self.ways.values():
                way.silence.begin(now_ms)

    def _draws_now(self, circuit_id: str) -> float:
        return self.ways[circuit_id].drawn / 10_000.0

    def _enrol(self, circuit: Circuit) -> None:
        over = self._monitors.get(circuit.monitor or "")
        if over is None:  # readings from a file without a monitor in the schedule: the defaults of one
            over = self._monitors[""] = self._monitors.get("") or MonitorSilence(self._bench, _NO_MONITOR, self._broker)
        on_change = circuit.sense.publishes == "on-change"
        silence = Silence(self._bench, circuit.id, over, on_change, True)
        drift = None
        commissioned = self._commissioned(circuit)
        if circuit.role == "load" and commissioned is not None and self.record is not None:
            source, ambient_c = self.schedule.supply(circuit.supply), self.record.ambient_c
            period_ms = round(1000 * over.monitor.expect_every_s)
            beside = self._drifts.setdefault(over.monitor.name, [])
            drift = Drift(self._bench, self.panel, circuit, source, commissioned, ambient_c, self._h, period_ms, beside)
            if self._anchor(circuit) is None:
                drift.replaced(0)
        self.ways[circuit.id] = Way(
            self._bench, self.panel, self.tree, self.schedule, circuit, over.monitor.expect_every_s, silence,
            self._supplies[circuit.supply], next((n for n in self._names if circuit in n.circuits), None),
            self._unmoved[circuit.supply], self._anchor(circuit), self._unassigned.get(circuit.supply),
            self._feeds(circuit),
            self.doing if self.doing.listens(circuit) else None, drift if drift and drift.judged else None,
            self.record.ambient_c if self.record is not None else None,
        )  # fmt: skip

    def _feeds(self, circuit: Circuit) -> list[Suspect] | None:
        """The channels of what an inverter feeds, where each of its circuits has one that is read."""
        for supply in self.schedule.supplies:
            if supply.fed_by == circuit.id:
                own = [c for c in self.schedule.circuits if c.supply == supply.id]
                if own and all(c.monitor is not None for c in own):
                    return self._unmoved[supply.id].channels
        return None

    def _commissioned(self, circuit: Circuit) -> Commissioned | None:
        """What was measured of it when it was handed over."""
        found = self.record.circuit(circuit.id) if self.record is not None else None
        return found if found is None or found.seen_on is None else None  # else of another channel: its labels were swapped

    def _anchor(self, circuit: Circuit) -> Commissioned | None:
        """… of the load that is there now: after a replacement none, until it is measured again."""
        found = self._commissioned(circuit)
        if found is None or self.record is None:
            return None
        return found if (found.measured_ms or self.record.made_ms) > self.replaced.get((circuit.id, "load"), -1) else None

    def _keys(self, circuit: Circuit) -> dict[str, str]:
        """What each part's state depends on; what was replaced begins anew."""
        keys = _keys(self.schedule, circuit)
        keys["level"] = keys["drift"] = repr((level.depends(circuit), self._commissioned(circuit)))
        keys["drain"] = repr((drain.depends(circuit), self._commissioned(circuit)))
        keys["rhythm"] = repr((rhythm.depends(circuit), self._commissioned(circuit)))
        for part, of_it in (("load", OF_LOAD), ("device", OF_DEVICE)):
            at_ms = self.replaced.get((circuit.id, part))
            if at_ms is not None:
                keys |= {name: f"{keys[name]} since {at_ms}" for name in of_it}
        return keys

    def reading(self, reading: Reading) -> None:
        """One reading of a circuit, a meter or a probe; of one that the schedule does not have, nothing."""
        way = self.ways.get(reading.circuit)
        if self.panel.panel_c is not None and reading.received_ms - self.panel.panel_ms > PROBE_OLD_MS:
            self.panel.panel_c = None  # how warm it was then says nothing of now
        if self.panel.outside_c is not None and reading.received_ms - self.panel.outside_ms > PROBE_OLD_MS:
            self.panel.outside_c = None
        if way is not None:
            bank_a = None
            if way.drain is not None:
                meter, sign = self._meters[way.circuit.supply]
                over = self.ways.get(meter) if meter else None
                bank_a = over.amps * sign if over is not None and over.amps is not None else None
            way.take(reading, bank_a)
            return
        probe = self._probes.get(reading.circuit)
        if probe is not None:
            if reading.origin == "retained":
                return
            probe[0].hear(reading.received_ms)
            if reading.celsius is not None and COLDEST_C <= reading.celsius <= HOTTEST_C:
                if probe[1] == "panel":
                    self.panel.panel_c, self.panel.panel_ms = reading.celsius, reading.received_ms
                elif probe[1] == "outside":
                    self.panel.outside_c, self.panel.outside_ms = reading.celsius, reading.received_ms
                elif probe[1].startswith("load:"):
                    self.panel.inside[probe[1].removeprefix("load:")] = (reading.celsius, reading.received_ms)
                elif probe[1] == "bank":
                    for supply in self._supplies.values():
                        supply.probe(reading.celsius, reading.received_ms)

    def counted(self, now_ms: int) -> dict[str, Counted]:
        """What is known of each bank's charge; a bank that nobody counts is not in it."""
        found = {supply_id: state.counted(now_ms) for supply_id, state in self._supplies.items()}
        return {supply_id: counted for supply_id, counted in found.items() if counted is not None}

    def inside_c(self, circuit_id: str, now_ms: int) -> float | None:
        """How warm it is inside this load; None: no probe in it was read of late."""
        celsius, read_ms = self.panel.inside.get(circuit_id, (None, 0))
        return celsius if now_ms - read_ms <= INSIDE_OLD_MS else None

    def presence(self, presence: Presence) -> None:
        """A monitor or the broker came or went. Whose publisher went is not heard: no draw is held for it."""
        if presence.subject == "address":
            self._unsent.take(presence)
            return
        if presence.subject == "people":
            self._unread.take(presence)
            return
        if presence.subject == "journal":
            self._unwritten.take(presence)
            return
        if presence.subject in ("vehicle", "bank"):
            self.afar.take(presence)
            return
        if not presence.here:
            for way in self.ways.values():
                if presence.subject == "broker" or way.circuit.monitor == presence.name:
                    way.unheard()
        if presence.subject == "broker":
            self._broker.presence(presence.here, presence.received_ms)
        elif presence.name in self._monitors:
            self._monitors[presence.name].presence(presence.here, presence.received_ms)

    def rest(self, now_ms: int) -> None:
        """The program was off until now: one gap, and timers start anew."""
        for way in self.ways.values():
            way.rest(now_ms)
            if way.silence.heard_ms is not None or self.from_start:
                way.silence.begin(now_ms)
        for supply in self._supplies.values():
            supply.rest()
        for unmoved in self._unmoved.values():
            unmoved.rest()
        for beyond in self._unassigned.values():
            beyond.rest()
        self.doing.rest(now_ms)
        self._broker.rest()
        self.afar.rest(now_ms)
        for names in self._names:
            names.rest()

    def next_ms(self) -> int | None:
        return self._bench.next_ms()

    def fire(self) -> None:
        self._bench.fire()

    def found(self) -> list[Condition]:
        """The conditions since the last call, in order."""
        found = self._bench.found
        if found:
            self._bench.found = []
            if any(names.active for names in self._names) or any(c.cause == "swapped" for c in found):
                return self._qualified(found)
        return found

    def _qualified(self, conditions: list[Condition]) -> list[Condition]:
        """While names look swapped, whatever is said of such a circuit says so too; odd values are explained by it."""
        found: list[Condition] = []
        for condition in conditions:
            subject_id, edge = condition.subject_id, condition.edge
            mine = (
                next((n for n in self._names if n.doubted_with(subject_id)), None) if condition.subject == "circuit" else None
            )
            if condition.cause == "swapped":
                for other in condition.circuits:  # what stands of them already is as sure as it is now
                    life = self.ways[other].dead
                    if life is not None and life.active and edge in ("begins", "ends"):
                        life.again(condition.at_ms)
                    draw = self.ways[other].level
                    if draw is not None and edge in ("begins", "ends"):
                        (draw.cover if edge == "begins" else draw.uncover)(condition.at_ms)
                stands, self._bench.found = self._bench.found, []
                if stands:
                    found += self._qualified(stands)
                if edge == "ends" and self._disputed(subject_id):  # its alarm is about something else too, and goes on
                    self.ways[subject_id].suspect.again(condition.at_ms)
                    found += self._bench.found
                    self._bench.found = []
                else:
                    found.append(condition)
            elif mine is None:
                found.append(condition)
            elif condition.kind != "reading-suspect" or not mine.begins_with(subject_id):
                if edge in ("begins", "changes"):
                    doubted: Facts = (("circuits", mine.doubted_with(subject_id)),)
                    known = (("names-swapped", doubted), *condition.evidence)
                    found.append(replace(condition, evidence=known, confidence=_halved(condition.confidence)))
                else:
                    found.append(condition)
                if edge == "ends" and condition.group == "readings":
                    found += mine.again(subject_id, condition.at_ms)
        return found

    def _disputed(self, circuit_id: str) -> bool:
        """Is its alarm of readings about its silence or its values?"""
        way = self.ways[circuit_id]
        return way.silence.active or way.suspect.active is not None

    @property
    def any_found(self) -> bool:
        return bool(self._bench.found) or bool(self.doing.changes)

    def changes(self) -> list[Doing]:
        """What the vehicle was doing since the last call, in order."""
        changes = self.doing.changes
        if changes:
            self.doing.changes = []
        return changes

    def standing(self) -> list[tuple[str, str, str]]:
        """Subject, id and group of every condition that is the case now."""
        keys: list[tuple[str, str, str]] = []
        for way_id, way in self.ways.items():
            dead = way.dead.active if way.dead else None
            for group, is_case in (
                ("overcurrent", way.over.active),
                ("device", (way.doubt and way.doubt.active) or (way.early and way.early.active)),
                ("dead", dead is not None and dead != "reading-suspect"),
                ("drain", way.drain and way.drain.active),
                ("level", way.level and way.level.shown),
                ("rhythm", way.rhythm and way.rhythm.active),
                ("drift", way.drift and way.drift.active),
                (
                    "readings",
                    self._disputed(way_id)
                    or way.stepped
                    or dead == "reading-suspect"
                    or any(n.begins_with(way_id) for n in self._names),
                ),
            ):
                if is_case:
                    keys.append(("circuit", way_id, group))
        keys += [("monitor", name, "readings") for name, monitor in self._monitors.items() if monitor.active]
        keys += [("supply", supply_id, "supply") for supply_id, state in self._supplies.items() if state.active]
        keys += [("supply", supply_id, "drain") for supply_id, beyond in self._unassigned.items() if beyond.active]
        keys += [(group.subject, group.subject_id, "dead") for group in self.tree.groups if group.active]
        keys += self._unsent.keys() + self._unread.keys() + self._unwritten.keys()
        if self.afar.active:
            keys.append(("vehicle", self.afar.vehicle, "readings"))
        if self._broker.active:
            keys.append(("broker", self._broker.host, "readings"))
        return keys

    def save(self) -> dict[str, Any]:
        """All state as plain values, with a version and the keys that each circuit's part depends on."""
        return {
            "version": VERSION,
            "ways": {way_id: way.save() | {"keys": self._keys(way.circuit)} for way_id, way in self.ways.items()},
            "monitors": {name: monitor.save() for name, monitor in self._monitors.items()},
            "probes": {probe_id: silence.save() for probe_id, (silence, _) in self._probes.items()},
            "broker": self._broker.save(),
            "unsent": self._unsent.save(),
            "unread": self._unread.save(),
            "unwritten": self._unwritten.save(),
            "afar": self.afar.save(),
            "supplies": {
                supply_id: state.save() | {"keys": repr(supply_depends(self.schedule, self.schedule.supply(supply_id)))}
                for supply_id, state in self._supplies.items()
            },
            "tree": self.tree.save(),
            "unmoved": {supply_id: unmoved.save() for supply_id, unmoved in self._unmoved.items()},
            "unassigned": {supply_id: beyond.save() for supply_id, beyond in self._unassigned.items()},
            "names": [names.save() for names in self._names],
            "panel": self.panel.save(),
            "doing": self.doing.save(),
        }

    def restore(self, state: dict[str, Any]) -> None:
        """Take back saved state. A part whose schedule keys have changed begins anew; a new label does nothing."""
        for way_id, way in self.ways.items():
            kept = state["ways"].get(way_id)
            if kept is None:
                continue
            mine = self._keys(way.circuit)
            parts = frozenset(part for part, key in mine.items() if kept["keys"].get(part) == key)
            way.restore(kept, parts)
        for name, monitor in self._monitors.items():
            if name in state["monitors"]:
                monitor.restore(state["monitors"][name])
        for probe_id, (silence, _) in self._probes.items():
            if probe_id in state["probes"]:
                silence.restore(state["probes"][probe_id])
        self._broker.restore(state["broker"])
        self._unsent.restore(state["unsent"])
        self._unread.restore(state.get("unread", {"since": {}}))
        self._unwritten.restore(state.get("unwritten", {"since": {}}))
        self.afar.restore(state["afar"])
        for supply_id, supply in self._supplies.items():
            kept = state["supplies"].get(supply_id)
            if kept is not None and kept["keys"] == repr(supply_depends(self.schedule, self.schedule.supply(supply_id))):
                supply.restore(kept)
        self.tree.restore(state["tree"])
        for supply_id, bus in self.tree.buses.items():  # a circuit may have left the schedule
            bus.drawn = sum(way.drawn for way in self.ways.values() if way.circuit.supply == supply_id)
        for supply_id, unmoved in self._unmoved.items():
            if supply_id in state["unmoved"]:
                unmoved.restore(state["unmoved"][supply_id])
        for supply_id, beyond in self._unassigned.items():
            if supply_id in state["unassigned"]:
                beyond.restore(state["unassigned"][supply_id])
        for names in self._names:
            kept = next((kept for kept in state["names"] if kept["keys"] == names.depends()), None)
            if kept is not None:
                names.restore(kept)
        self.panel.restore(state["panel"])
        self.doing.restore(state["doing"])
        self._bench.rebuild()


def _halved(confidence: float | None) -> float | None:
    return None if confidence is None else min(confidence, EITHER)


def _keys(schedule: Schedule, circuit: Circuit) -> dict[str, str]:
    return {
        "over": repr(overcurrent.depends(schedule, circuit)),
        "suspect": repr(suspect.depends(circuit)),
        "early": repr(early.depends(circuit)),
        "doubt": repr(doubt.depends(circuit)),
        "dead": repr(dead.depends(circuit)),
        "drain": repr(drain.depends(circuit)),
        "rhythm": repr(rhythm.depends(circuit)),
    }
