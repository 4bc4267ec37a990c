"""One commissioning as a machine: readings, answers and time in; prompts, remarks and at the end a Record out. Pure.

The phases follow the hand: who and with what; what will move; fuses read while isolated; energise; start the slow ones; the
gain; one lap in any order; the heater's run-down; what a licensed person must enter; the summary; then, with nobody there,
what cycles by itself. Everything is measured from the first reading on, whatever is being asked.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import Any

from panelward import sealed
from panelward.commission.answers import Answers
from panelward.commission.figures import behaves, distance, measured, named_levels, names_of, pools, standby_of
from panelward.commission.finish import cycling, record
from panelward.commission.keys import Asked, asked
from panelward.commission.lap import Lap
from panelward.commission.progress import Progress, progress
from panelward.commission.runs import RESTLESS_MS, SETTLED, Channel
from panelward.commission.state import VERSION, State, kinds, listed, loads, place, self_acting, supply_of
from panelward.errors import BadInput
from panelward.ratings.behaviour import exponent_of
from panelward.records import Presence, Reading, Record, Schedule

LOOK_AT = (8, 10, 12, 15, 20, 25, 30, 40, 60, 90, 120)  # readings of a run at which its interval is looked at
NUDGE_MS = 45_000  # never more waiting than this without another job offered
SWUNG = 0.03  # of the bus volts: said
UNATTENDED_MS = 24 * 3_600_000
CYCLES = 20  # or so many whole runs: trade practice
RUN_DOWN_MS = 8 * 60_000  # a heater's takes 3 to 5 minutes (common practice, no source)


class Session:
    """Feed it with `reading`, `presence`, `answer` and `advance`; each gives the lines a person is told."""

    def __init__(
        self, schedule: Schedule, schedule_text: str, now_ms: int, *, only: tuple[str, ...] = (), old: Record | None = None
    ) -> None:
        self.schedule = schedule
        self._say: list[str] = []
        self.state = State(version=VERSION, schedule_hash=hash_of(schedule_text), begun_ms=now_ms, now_ms=now_ms, old=old)
        self.state.only = list(only)
        self._set_up()
        self.state.last_event_ms = now_ms

    def _set_up(self) -> None:
        self.lap = Lap(self.schedule, self.state, self._say)
        self.answers = Answers(self.schedule, self.state, self.lap, self._say)
        self.answers.burning, self.answers.missing = self._burning, self.missing
        self._monitor_of = {c.id: c.monitor for c in self.schedule.circuits} | {p.id: p.monitor for p in self.schedule.probes}
        self.worth_saving = False
        self.made: Record | None = None  # to be sealed and written by whoever runs this

    # Put down and taken up.

    def save(self) -> dict[str, Any]:
        """All of it as plain values."""
        found: dict[str, Any] = sealed.plain(self.state)
        return found

    @classmethod
    def restore(cls, found: dict[str, Any], schedule: Schedule, schedule_text: str, now_ms: int, file: str) -> Session:
        """Go on where it was put down. RecordError: the file is no such state; BadInput: the schedule is another."""
        state: State = sealed.made(State, found, file, "the commissioning")
        if state.version != VERSION or state.schedule_hash != hash_of(schedule_text):
            raise BadInput(
                f"{file}: the commissioning was begun with another schedule. Put that back to go on, or begin anew with --anew."
            )
        session = cls.__new__(cls)
        session.schedule, session.state, session._say = schedule, state, []
        session._set_up()
        state.now_ms = max(state.now_ms, now_ms)
        state.open_question = bool(state.questions) and state.questions[0].ask_ms <= state.now_ms
        for channel in state.channels.values():
            channel.cut()  # what went on meanwhile is not known
        return session

    # What is asked now.

    @property
    def over(self) -> bool:
        return self.state.phase == "over"

    @property
    def unattended(self) -> bool:
        return self.state.phase == "unattended"

    @property
    def prompt(self) -> str | None:
        """The question that is open; None: nothing is asked, it measures."""
        return self.answers.prompt()

    @property
    def asked(self) -> Asked | None:
        """The same with its keys, for a thumb."""
        return asked(self.schedule, self.answers, self.state)

    @property
    def ways(self) -> tuple[Progress, ...]:
        """How far each way is, in panel order."""
        return progress(self.schedule, self.state, self.lap)

    @property
    def so_far(self) -> Record:
        """The record as it would be sealed now."""
        return record(self.schedule, self.state, self.lap)

    @property
    def number(self) -> str:
        """Which question that is."""
        return self.answers.number()

    def answer(self, text: str, number: str | None = None) -> list[str]:
        """What a person typed; with the number of the question it was meant for, it answers no other one."""
        if number is not None and number != self.number:
            return ["Another question came up just then: nothing was taken for its answer."]
        before = self.state.phase
        self.answers.take(text)
        self.worth_saving = True
        if self.state.phase == "seal":
            self._seal()
        elif self.state.phase != before:
            self._enter()
        return self._told()

    # What happens.

    def reading(self, reading: Reading) -> list[str]:
        """One reading of the monitor."""
        state = self.state
        self._time(reading.received_ms)
        if reading.origin == "retained":
            return self._told()
        self._heard(reading)
        if reading.celsius is not None:
            state.probes[reading.circuit] = reading.celsius
        if all(reading.circuit != c.id for c in self.schedule.circuits):
            return self._told()
        channel = state.channels.get(reading.circuit) or self._channel(reading.circuit)
        if reading.volts is not None:
            self._bus(reading.circuit, reading.volts)
            self._energised(reading.circuit, reading.volts)
        edge = channel.take(reading)
        if edge is not None:
            self.lap.edge(edge)
        self._look(channel)
        return self._told()

    def presence(self, presence: Presence) -> list[str]:
        """A monitor's last will, or its return."""
        self._time(presence.received_ms)
        if presence.subject == "monitor" and not presence.here and presence.name in self.state.heard_ms:
            self._lost(presence.name)
        return self._told()

    def advance(self, now_ms: int) -> list[str]:
        """Time goes on."""
        self._time(now_ms)
        return self._told()

    def _told(self) -> list[str]:
        said, self._say[:] = list(self._say), []
        return said

    def _time(self, now_ms: int) -> None:
        state = self.state
        state.now_ms = max(state.now_ms, now_ms)
        for monitor in self.schedule.monitors:
            heard_ms = state.heard_ms.get(monitor.name)
            if heard_ms is None or monitor.name in state.gone_ms:
                continue
            if state.now_ms - heard_ms > monitor.shown_overdue_s * 1000:
                self._lost(monitor.name)
        if state.questions and not state.open_question and state.questions[0].ask_ms <= state.now_ms:
            state.open_question = self.worth_saving = True
        if state.phase == "lap":
            self._nudge()
        elif state.phase == "run-down" and not self._runs_down():
            state.phase = "summary"
            self._enter()
        elif state.phase == "unattended" and state.until_ms is not None:
            self._watch_cycles()

    def _channel(self, circuit_id: str) -> Channel:
        circuit = self.schedule.circuit(circuit_id)
        monitors = {m.name: m for m in self.schedule.monitors}
        monitor = monitors.get(circuit.monitor or "") or (self.schedule.monitors[0] if self.schedule.monitors else None)
        every_ms = round((monitor.expect_every_s if monitor else 5.0) * 1000)
        volts = supply_of(self.schedule, circuit).nominal_v
        made = Channel(
            circuit=circuit_id, nominal_v=volts, exponent=exponent_of(behaves(circuit)),
            step_w=circuit.sense.resolution_a * volts, nothing_w=circuit.sense.nothing_a * volts,
            gap_ms=max(3 * every_ms, 10_000), pair_ms=2 * every_ms,
        )  # fmt: skip
        self.state.channels[circuit_id] = made
        return made

    # The monitor.

    def _heard(self, reading: Reading) -> None:
        state, names = self.state, [m.name for m in self.schedule.monitors]
        name = self._monitor_of.get(reading.circuit) or (names[0] if names else "")
        state.heard_ms[name] = state.now_ms
        gone_ms = state.gone_ms.pop(name, None)
        if gone_ms is not None:
            away = _span((state.now_ms - gone_ms) / 1000)
            self._say.append(f"Readings from {name} are back after {away}. What was on meanwhile is measured anew.")

    def _lost(self, name: str) -> None:
        if name in self.state.gone_ms:
            return
        self.state.gone_ms[name] = self.state.heard_ms[name]
        for circuit_id, monitor in self._monitor_of.items():
            if monitor in (None, name) and circuit_id in self.state.channels:
                self.state.channels[circuit_id].cut()
        silent_s = (self.state.now_ms - self.state.heard_ms[name]) / 1000
        self._say.append(
            f"No readings from {name} for {_span(silent_s)}: nothing is measured until they are back. Look at the monitor; "
            "leave the cover on. What is done is kept: stop ends here, the same command goes on later."
        )
        self.worth_saving = True

    def _energised(self, circuit_id: str, volts: float) -> None:
        """Energising is seen, where the monitor has a feed of its own."""
        nominal_v = supply_of(self.schedule, self.schedule.circuit(circuit_id)).nominal_v
        if self.state.phase == "energise" and volts >= 0.5 * nominal_v and self.answers.on_a_bus(circuit_id):
            self.answers.energised()
            self._say.append(f"Live now, {volts:.1f} V.")
            self.worth_saving = True
            self.state.turns += 1
            self._enter()

    def _bus(self, circuit_id: str, volts: float) -> None:
        """The supply's volts: said where they swing, as when a charger starts."""
        state, supply = self.state, self.schedule.circuit(circuit_id).supply
        if volts >= 1.0 and state.isolated == "yes" and state.phase in ("fuse", "left") and not state.live_said:
            state.live_said = state.uncovered = True
            self.worth_saving = True
            self._say.append(
                f"Stop: the monitor reads {volts:.1f} V on {circuit_id}, the panel is live. Cover on before all else."
            )
        known = state.bus_v.get(supply)
        if known is None or volts < 1.0 or known < 1.0:
            state.bus_v[supply], state.bus_odd[supply] = volts, 0
            return
        if abs(volts - known) <= SWUNG * known:
            state.bus_odd[supply] = 0
            return
        state.bus_odd[supply] = state.bus_odd.get(supply, 0) + 1
        if state.bus_odd[supply] >= 3 * max(1, len(state.channels)):
            nominal = self.schedule.supply(supply).nominal_v
            self._say.append(
                f"The bus moved from {known:.1f} to {volts:.1f} V (a charger?). Draws are judged at {nominal:g} V; no step is "
                "taken from it."
            )
            state.bus_v[supply], state.bus_odd[supply] = volts, 0

    # While it measures.

    def _look(self, channel: Channel) -> None:
        """Is the present level good enough now? Does it never stand still?"""
        state, run = self.state, channel.present
        if run is None or state.match_from_ms is None:
            return
        circuit = self.schedule.circuit(self.lap.label(channel.circuit))
        if circuit.role != "load" or (state.only and circuit.id not in state.only and channel.circuit not in state.only):
            return
        restless_ms = channel.restless_ms
        if restless_ms is not None and state.now_ms - restless_ms >= RESTLESS_MS and not self_acting(circuit):
            if state.restless.get(channel.circuit) != restless_ms and len(channel.loose_w) > SETTLED:
                state.restless[channel.circuit] = restless_ms
                self._say.append(
                    f"{place(circuit)} does not stand still: {min(channel.loose_w):.3g} to {max(channel.loose_w):.3g} W for "
                    f"{_span(RESTLESS_MS / 1000)}. Hold it steady, or go on: it stays provisional."
                )
            return
        if run.readings not in LOOK_AT or not channel.draws or run.begun_ms < state.match_from_ms:
            return
        if channel.circuit not in state.found and not self_acting(circuit):
            return  # whose it is, is asked first
        found = pools(channel, exponent_of(behaves(circuit)))
        rest = standby_of(circuit, found, channel)
        for pool, name, level in names_of(circuit, [p for p in found if p is not rest], channel.nominal_v):
            if run not in pool.runs or level is None:
                continue
            plain = distance(pool.mean, pool.mean, level) <= 1.0
            key = f"{channel.circuit} {name if plain else f'{pool.mean:.2g} W'}"
            one = measured(pool, name, channel, level.tolerance)
            if key in state.accepted or one.provisional:
                continue
            state.accepted.append(key)
            state.last_event_ms = state.now_ms
            self.worth_saving = True
            took_s = (run.ended_ms - run.begun_ms) / 1000
            self._say.append(
                f"{place(circuit)}{f', {name}' if plain else ''}: {one.watts:.3g} W ({one.low_w:.3g} to {one.high_w:.3g}), "
                f"taken after {took_s:.0f} s."
            )

    def missing(self) -> list[str]:
        """What a hand could still switch, and the lap has not seen."""
        state, out = self.state, []
        for circuit in loads(self.schedule):
            if circuit.id in state.skipped or self_acting(circuit) or (state.only and circuit.id not in state.only):
                continue
            on = self.lap.channel_of(circuit.id)
            channel = state.channels.get(on) if on is not None else None
            if channel is None:
                out.append(circuit.label)
                continue
            if on not in state.found:
                out.append(circuit.label)
                continue
            at = exponent_of(behaves(circuit))
            seen = [name for _, name, level in names_of(circuit, pools(channel, at), channel.nominal_v) if level is not None]
            open_levels = [level.name for _, level in named_levels(circuit) if level.name not in seen]
            if open_levels:
                out.append(f"{circuit.label} at {listed(open_levels)}" if seen else circuit.label)
        return out

    def _nudge(self) -> None:
        state = self.state
        if state.now_ms - state.last_event_ms < NUDGE_MS or state.questions or state.gone_ms:
            return
        state.last_event_ms = state.now_ms
        missing = self.missing()
        if missing:
            self._say.append(f"Still to switch, in any order: {listed(missing)}.")
        elif not state.all_seen:
            state.all_seen = True
            self._say.append("Everything was seen. Type done.")

    # Phases that do something as they begin.

    def _enter(self) -> None:
        self.state.last_event_ms = self.state.now_ms
        phase = self.state.phase
        if phase == "run-down":
            if self._runs_down():
                self._say.append(
                    f"{listed(self._burning())}: its run-down is timed to the end, some 3 to 5 min. Tidy up meanwhile."
                )
            else:
                self.state.phase = phase = "summary"
        if phase == "summary":
            self._say.extend(self.summary())

    def _burning(self) -> list[str]:
        """Air heaters that draw more than their standby."""
        out = []
        for circuit in loads(self.schedule):
            on = self.lap.channel_of(circuit.id)
            channel = self.state.channels.get(on) if on is not None and "air-heater" in kinds(circuit) else None
            if channel is None or not channel.settled or circuit.id in self.state.skipped:
                continue
            floor = sum(load.standby_max_w or load.always_draws_w or 0.0 for load in circuit.loads)
            if (channel.steady_w or 0.0) > max(3.0 * floor, 3.0 * channel.nothing_w):
                out.append(circuit.label)
        return out

    def _runs_down(self) -> bool:
        waited_ms = self.state.now_ms - self.state.last_event_ms
        return bool(self._burning()) and waited_ms < RUN_DOWN_MS and not self.state.gone_ms

    # The end.

    def summary(self) -> list[str]:
        """What differs first, then a line a way."""
        made = record(self.schedule, self.state, self.lap)
        lines = [f"! {text}" for text in made.differs] or ["Nothing differs from the schedule."]
        for circuit in self.schedule.circuits:
            way = made.circuit(circuit.id)
            if way is None or circuit.role != "load":
                continue
            parts = [
                f"{one.name} {one.watts:.3g} W ({one.low_w:.3g} to {one.high_w:.3g}){' provisional' if one.provisional else ''}"
                for one in ([way.standby] if way.standby else []) + list(way.levels)
            ]
            if way.skipped:
                parts.append(f"not measured, because {way.skipped}")
            lines.append(f"{circuit.id:<4}{circuit.label}: {'; '.join(parts) or 'seen'}")
        waits = [w.circuit for w in made.circuits if w.standby is not None and w.standby.provisional]
        if waits:
            lines.append(
                f"Standby of {listed(waits)} is provisional: it takes five minutes to settle and five within 5 %, undisturbed."
            )
        lines += self._starts()
        return lines

    def _starts(self) -> list[str]:
        """Starts that are too short for this monitor."""
        unseen = []
        for circuit in loads(self.schedule):
            channel = self.state.channels.get(circuit.id)
            period_s = (sorted(channel.periods)[len(channel.periods) // 2] / 1000) if channel and channel.periods else None
            for _, level in named_levels(circuit):
                if period_s and level.surge is not None and level.surge.seconds < 2 * period_s:
                    unseen.append(circuit.label)
                    break
        if not unseen:
            return []
        return [f"Starts not observable at this period (they need two readings): {listed(unseen)}."]

    def _seal(self) -> None:
        state = self.state
        self.made = record(self.schedule, state, self.lap)
        minutes = (state.now_ms - state.begun_ms) / 60_000
        self._say.append(f"{state.taps} answers, {state.numbers} of them numbers, {minutes:.0f} min.")
        mixed = [way.circuit for way in self.made.circuits if way.seen_on is not None]
        if mixed:
            self._say.append(f"Once the labels are right: panelward commission --redo {' '.join(mixed)}.")
        if self._cycling() and not state.only:
            state.phase = "overnight"
        else:
            state.phase = "over"

    def _cycling(self) -> list[str]:
        """Loads that cycle by themselves and of which too few runs were seen."""
        out = []
        for circuit in loads(self.schedule):
            way = self.made.circuit(circuit.id) if self.made is not None else None
            if cycling(circuit) and circuit.id not in self.state.skipped and (way is None or (way.runs or 0) < CYCLES):
                out.append(circuit.label)
        return out

    def _watch_cycles(self) -> None:
        state = self.state
        assert state.until_ms is not None
        due = state.now_ms >= state.until_ms
        if not due and state.now_ms - state.last_event_ms < 600_000:
            return
        state.last_event_ms = state.now_ms
        self.worth_saving = True
        made = record(self.schedule, state, self.lap)
        self.made = made
        if due or not self._cycling():
            hours = (state.now_ms - state.until_ms + UNATTENDED_MS) / 3_600_000
            text = f"Measured on for {hours:.1f} h with nobody there."
            self.made = replace(made, remarks=(*made.remarks, text))
            self._say.append(text)
            state.phase = "over"
        else:
            self.made = None


def hash_of(schedule_text: str) -> str:
    return hashlib.sha256(schedule_text.encode()).hexdigest()[:16]


def _span(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"
