"""Which load hangs on which channel: edges matched to circuits, asked only where it is not plain."""

from __future__ import annotations

from dataclasses import replace
from math import inf
from statistics import median

from panelward.commission.figures import behaves, distance, named_levels
from panelward.commission.runs import Edge
from panelward.commission.state import MEANT, Question, State, Step, left_on, loads, place, self_acting, supply_of
from panelward.ratings.behaviour import at_nominal, exponent_of
from panelward.records import Circuit, Schedule

SURE = 0.5  # of a level's tolerance: its own label is believed (no source; tests/commission tries swapped pairs)
TOGETHER_MS = 4_000  # two rises nearer than this, or than two periods, are one movement of hands
LEAST_STEP_A = 1.0  # smaller ones tell nothing of a gain


class Lap:
    """Works on the state of one commissioning; `say` takes what a person is told."""

    def __init__(self, schedule: Schedule, state: State, say: list[str]) -> None:
        self._schedule, self._state, self._say = schedule, state, say
        self.known_edges = 0  # since it was begun or taken up: each is a buzz

    def label(self, channel: str) -> str:
        """The circuit whose load this channel carries, as far as is known."""
        return self._state.found.get(channel) or self._state.expected.get(channel) or channel

    def channel_of(self, circuit_id: str) -> str | None:
        """The channel on which a circuit's load was found; None: another's load hangs on its own."""
        for channel, found in (*self._state.found.items(), *self._state.expected.items()):
            if found == circuit_id:
                return channel
        return None if circuit_id in self._state.found else circuit_id

    def edge(self, edge: Edge) -> None:
        """One edge of one channel."""
        state = self._state
        if edge.to_w < 0.5 * edge.from_w:
            state.diluted += edge.diluted
            state.clean += not edge.diluted
        if self._schedule.circuit(edge.channel).role != "load":
            return
        if state.match_from_ms is None or edge.begun_ms < state.match_from_ms:
            return
        self._beside_meter(edge)
        if state.only and edge.channel not in state.only and self.label(edge.channel) not in state.only:
            return
        state.last_event_ms = state.now_ms
        early = next((q for q in state.questions if q.kind == "which" and q.channels[0] == edge.channel), None)
        runs = state.channels[edge.channel].runs
        base_w = runs[-1].from_w if runs else None
        if early is not None and base_w is not None and base_w < edge.from_w and edge.to_w > 1.5 * base_w:
            edge = replace(edge, from_w=base_w)  # what was asked about was its start: judged by where it settles
        if edge.to_w > max(edge.from_w, state.channels[edge.channel].nothing_w):
            self._rise(edge)
        elif edge.to_w <= 0.5 * edge.from_w:
            self._fall(edge)
        if early is not None and edge.channel in state.found and early in state.questions:
            state.open_question = state.open_question and state.questions[0] is not early
            state.questions.remove(early)
        self.known_edges += edge.channel in state.found or self_acting(self._schedule.circuit(self.label(edge.channel)))

    # Rises.

    def _rise(self, edge: Edge) -> None:
        label = self._schedule.circuit(self.label(edge.channel))
        own = self._near(label, edge)
        other = min((self._near(c, edge) for c in self._others(edge.channel)), default=inf)
        if edge.channel in self._state.found:
            return  # who hangs there is known: another of its levels
        free = not named_levels(label) and not self_acting(label)  # whatever is plugged in: any draw will do
        if own <= SURE or (own <= 1.0 and other >= own / 2.0) or (free and other > SURE):
            self.assign(edge.channel, label.id)
        elif self_acting(label) and other > SURE:
            return  # a stage of its own that the schedule does not name
        else:
            self._unsure(edge, label)

    def _others(self, channel: str) -> list[Circuit]:
        """Circuits whose load may hang on this channel: not found yet, on the same kind of supply, moved by hand."""
        known, kind = list(self._state.found.values()), supply_of(self._schedule, self._schedule.circuit(channel)).kind
        return [
            c
            for c in loads(self._schedule)
            if c.id not in known
            and c.id != self.label(channel)
            and not self_acting(c)
            and supply_of(self._schedule, c).kind == kind
        ]

    def fitting(self, question: Question) -> list[Circuit]:
        """Whose load may have risen: what fits best first. The label is first where no other load fits better."""
        label = self._schedule.circuit(self.label(question.channels[0]))
        edge = question.edge
        if edge is None:
            return [label]
        others = sorted((self._near(c, edge), at, c) for at, c in enumerate(self._others(edge.channel)))
        near = [c for distance_, _, c in others if distance_ < inf]
        better = sum(each[0] < self._near(label, edge) for each in others)
        return [*near[:better], label, *near[better:]]

    def plain(self, channel: str, watts: float) -> bool:
        """Would this draw, at nominal volts, be taken for the labelled load's without a question?"""
        own = self._size(self._schedule.circuit(self.label(channel)), watts)
        other = min((self._size(c, watts) for c in self._others(channel)), default=inf)
        return own <= SURE or (own <= 1.0 and other >= own / 2.0)

    def _near(self, circuit: Circuit, edge: Edge) -> float:
        """How far an edge's new draw is from this circuit's levels, at nominal volts by the way this load behaves."""
        volts = supply_of(self._schedule, circuit).nominal_v
        watts = at_nominal(edge.raw_w, edge.volts or None, volts, exponent_of(behaves(circuit)))
        rise_w = watts * (1.0 - edge.from_w / edge.to_w)
        return min((distance(watts, rise_w, level) for _, level in named_levels(circuit)), default=inf)

    def _unsure(self, edge: Edge, label: Circuit) -> None:
        state = self._state
        channel = state.channels[edge.channel]
        together_ms = max(TOGETHER_MS, channel.pair_ms)
        with_it = [
            q
            for q in state.questions
            if q.kind == "which" and abs(q.begun_ms - edge.begun_ms) <= together_ms and q.channels[0] != edge.channel
        ]
        amps, watts = (edge.to_w - edge.from_w) / channel.nominal_v, edge.to_w - edge.from_w
        named = [level.watts for _, level in named_levels(label)]
        known = f" Written for it: {' or '.join(f'{w:g}' for w in named)} W." if named else ""
        way = place(self._schedule.circuit(edge.channel))
        text = f"{way} rose by {amps:.1f} A ({watts:.0f} W).{known} Which load did you switch? {MEANT}"
        question = Question("which", (edge.channel,), text, edge.begun_ms, state.now_ms + 2 * together_ms, edge)
        if with_it and not state.open_question:
            self._pair(with_it[0], question)
        else:
            if state.open_question and state.questions[0].channels == question.channels:
                return
            state.questions = [q for q in state.questions if q.channels != question.channels]
            state.questions.append(question)

    def _pair(self, first: Question, second: Question) -> None:
        """Two rose together and neither is plain: told apart by size, else by the order in which they go off."""
        state = self._state
        a, b = first.channels[0], second.channels[0]
        one, two = self._schedule.circuit(self.label(a)), self._schedule.circuit(self.label(b))
        wa, wb = self._present_w(a), self._present_w(b)
        state.questions.remove(first)
        own = max(self._size(one, wa), self._size(two, wb))
        crossed = max(self._size(two, wa), self._size(one, wb))
        if min(own, crossed) <= 1.0 and min(own, crossed) < 0.5 * max(own, crossed):
            self._say.append(f"{a} and {b} rose together; told apart by their size.")
            for channel, circuit in ((a, one), (b, two)) if own < crossed else ((a, two), (b, one)):
                self.assign(channel, circuit.id)
            return
        if left_on(one):
            one, two = two, one
        text = (
            f"{a} and {b} rose together and can't be told apart by size. Switch {one.label} off, after 10 s "
            f"{two.label}: what falls first is {one.label}. Nothing to type; or don't know."
        )
        state.questions.append(Question("order", (a, b, one.id, two.id), text, second.begun_ms, state.now_ms))

    def _present_w(self, channel: str) -> float:
        return self._state.channels[channel].steady_w or 0.0

    @staticmethod
    def _size(circuit: Circuit, watts: float) -> float:
        return min((distance(watts, watts, level) for _, level in named_levels(circuit)), default=inf)

    def _fall(self, edge: Edge) -> None:
        for question in list(self._state.questions):
            if question.kind == "order" and edge.channel in question.channels[:2]:
                a, b, one, two = question.channels
                other = b if edge.channel == a else a
                self._state.questions.remove(question)
                self._state.open_question = False
                self._say.append(f"{edge.channel} fell first.")
                self.assign(edge.channel, one)
                self.assign(other, two)

    # Who hangs where.

    def assign(self, channel: str, circuit_id: str) -> None:
        """It is known now: this channel carries that circuit's load."""
        state, plan = self._state, self._schedule
        circuit = plan.circuit(circuit_id)
        earlier = next((c for c, found in state.found.items() if found == circuit_id and c != channel), None)
        if earlier is not None:
            del state.found[earlier]
            state.channels[earlier].forget()
            self._say.append(
                f"{circuit.label} was taken to be on {earlier}: that way is measured anew, switch its load once more."
            )
        state.found[channel] = circuit_id
        state.expected.pop(channel, None)
        state.skipped.pop(circuit_id, None)  # left out, and then it was switched after all
        watts = self._present_w(channel)
        drawn = watts > state.channels[channel].nothing_w
        seen = f"{watts:.3g} W, {watts / state.channels[channel].nominal_v:.2g} A" if drawn else "off again"
        if circuit_id == channel:
            self._say.append(f"{place(circuit)}: seen, {seen}.")
            return
        theirs = plan.circuit(channel)
        if state.found.get(circuit_id) == channel:
            self._say.append(
                f"Labels swapped: {circuit.label} is on {channel} and {theirs.label} on {circuit_id} ({seen}). "
                "Swap the labels, or the wires once the panel is isolated."
            )
        else:
            if circuit_id not in state.found:
                state.expected[circuit_id] = channel
            self._say.append(
                f"The label of {channel} does not fit: {circuit.label} hangs there ({seen}), not {theirs.label}. "
                f"Switch {theirs.label} too: is it on {circuit_id}?"
            )

    # Beside the bank's meter.

    def _beside_meter(self, edge: Edge) -> None:
        """What the meter stepped by meanwhile, less the other ways' steps."""
        plan, state = self._schedule, self._state
        supply = supply_of(plan, plan.circuit(edge.channel))
        if supply.meter is None or supply.meter not in state.channels:
            return
        period_ms = round(median(state.channels[edge.channel].periods))
        before = (edge.begun_ms - 4 * period_ms, edge.begun_ms - 1)
        after = (edge.settled_ms - 2 * period_ms, edge.settled_ms)
        stepped, meter = self.moved(edge.channel, before, after), self.moved(supply.meter, before, after)
        if stepped is None or meter is None or abs(stepped) < LEAST_STEP_A:
            return
        for c in plan.circuits:
            if c.id not in (edge.channel, supply.meter) and c.supply == supply.id and c.role != "meter":
                meter -= (self.moved(c.id, before, after) or 0.0) * self.sign_of(supply.id)
        if abs(meter) >= 0.5 * abs(stepped):
            state.steps.append(Step(edge.channel, round(stepped, 4), round(meter, 4)))

    def sign_of(self, supply_id: str) -> float:
        return 1.0 if self._schedule.supply(supply_id).meter_sign == "discharge-positive" else -1.0

    def moved(self, channel: str, before: tuple[int, int], after: tuple[int, int]) -> float | None:
        """How far a channel's amps moved between two spans of time."""
        found = self._state.channels.get(channel)
        if found is None:
            return None
        was, now = found.mean_a(*before), found.mean_a(*after)
        return None if was is None or now is None else now - was
