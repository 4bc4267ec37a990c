"""What is asked: a text a question. Each takes "don't know", and says what Enter means."""

from __future__ import annotations

from collections.abc import Callable

from panelward.commission.figures import named_levels
from panelward.commission.state import (
    MEANT,
    MOVERS,
    Question,
    State,
    kinds,
    left_on,
    listed,
    loads,
    place,
    protected,
    supply_of,
)
from panelward.ratings.colours import blade_colour
from panelward.records import Circuit, Schedule

LOOK_S, LEAST_LEVEL_S, BESIDE_MIN = 8, 40.0, 20  # readings and seconds a level, minutes beside the lap


class Prompts:
    """The open question of a state."""

    def __init__(self, schedule: Schedule, state: State) -> None:
        self._schedule, self._state = schedule, state
        self._fuses = protected(schedule)
        self.burning: Callable[[], list[str]] = list
        self.missing: Callable[[], list[str]] = list
        self.label: Callable[[str], str] = str
        self.fitting: Callable[[Question], list[Circuit]] = lambda _: []

    def prompt(self) -> str | None:
        """The question that is open."""
        state = self._state
        if state.uncovered:
            return self._ask_uncovered()
        if state.open_question and state.questions:
            question = state.questions[0]
            meant = self.meant(question)
            else_ = f"Enter: {meant.label}. Else its" if meant is not None else "Its"
            return question.text.replace(MEANT, f"{else_} way or label, don't know, or skip, because …")
        ask: Callable[[], str | None] | None = getattr(self, f"_ask_{state.phase.replace('-', '_')}", None)
        return ask() if ask is not None else None

    def number(self) -> str:
        """Which question is open: an answer that was meant for another one is not taken for this one's."""
        state = self._state
        if state.uncovered:
            return f"{state.turns}-uncovered"
        if state.open_question and state.questions:
            question = state.questions[0]
            return f"{state.turns}-{question.kind}-{question.channels[0]}-{question.begun_ms}"
        return f"{state.turns}-{state.phase}-{state.fuse}-{state.clamp_tries}-{state.warned_holes:d}"

    def meant(self, question: Question) -> Circuit | None:
        """What Enter stands for: the label, unless another load fits better what rose."""
        if question.kind != "which":
            return None
        label = self._schedule.circuit(self.label(question.channels[0]))
        fitting = self.fitting(question)
        return label if not fitting or fitting[0].id == label.id else None

    def _ask_uncovered(self) -> str:
        volts = max(self._state.bus_v.values(), default=0.0)
        return (
            f"The panel is live ({volts:.1f} V) and its cover is off: put the cover on, touch nothing. covered: it is on. "
            "isolated: it is isolated again. Or skip, because …: the rest is not read."
        )

    def _ask_who(self) -> str:
        return "Who commissions? Type the name that will stand on the record."

    def _ask_instrument(self) -> str:
        return "Which clamp meter do you compare with (its number, last calibrated)? Or: none, don't know."

    def _ask_ambient(self) -> str:
        return "How warm is it around the panel, °C? Or: don't know."

    def _ask_plan(self) -> str:
        minutes, every_s = self.minutes()
        warned = [f"{label} {MOVERS[kind]}" for label, kind in self.movers()]
        text = f"It takes about {minutes} min at a reading every {every_s:g} s. "
        text += f"What will move, heat or pump: {'; '.join(warned)}. " if warned else ""
        kept = self.kept_on()
        text += f"Leave {listed(kept)} as {'it is' if len(kept) == 1 else 'they are'}, on. " if kept else ""
        return text + "Never leave a load under test alone. Enter: everybody aboard knows, nobody's hands are near."

    def minutes(self) -> tuple[int, float]:
        """(how long it takes, at a reading every so many seconds)"""
        every_s = max((m.expect_every_s for m in self._schedule.monitors), default=5.0)
        each_s = max(LOOK_S * every_s, LEAST_LEVEL_S)
        return round((3 if self._state.only else BESIDE_MIN) + len(self._ways()) * each_s / 60.0), every_s

    def movers(self) -> list[tuple[str, str]]:
        """(label, kind) of what moves, heats or pumps."""
        return [(c.label, kind) for c in self._ways() for kind in kinds(c)[:1] if kind in MOVERS]

    def _ways(self) -> list[Circuit]:
        return [c for c in loads(self._schedule) if not self._state.only or c.id in self._state.only]

    def kept_on(self) -> list[str]:
        return [c.label for c in loads(self._schedule) if left_on(c)]

    def _ask_isolated(self) -> str:
        return (
            "Is the panel isolated now, not energised yet? yes: the fuses are read with the cover off. covered: it is live, "
            "and they can be read with the cover on. no: they are not read. Nothing is switched off for this."
        )

    def _ask_fuse(self) -> str:
        circuit = self._fuses[self._state.fuse]
        assert circuit.protection is not None
        ac = " Only what can be read from outside: AC is for a licensed person." if self._is_ac(circuit) else ""
        fitted = _amps(circuit, circuit.protection.rating_a)
        return (
            f"{place(circuit)}: {fitted}, as scheduled?{ac} Enter: yes. Else the amps printed on it, don't know, or skip, "
            "because …"
        )

    def _is_ac(self, circuit: Circuit) -> bool:
        return supply_of(self._schedule, circuit).kind == "ac"

    def _ask_left(self) -> str:
        circuit = self._fuses[self._state.fuse]
        assert circuit.protection is not None
        found_a, rating_a = self._state.as_found[circuit.id], circuit.protection.rating_a
        return (
            f"{place(circuit)}: {found_a:g} A found, {rating_a:g} A scheduled. What is in it now? Enter: changed to "
            f"{rating_a:g} A. Else its amps, or don't know."
        )

    def _ask_cover(self) -> str:
        return "Cover on, tools out, nobody at the panel? Nothing is energised before. Enter: yes, it is on."

    def _ask_energise(self) -> str:
        return (
            "Energise it now, the bank's switch last: it goes on by itself once the monitor reads volts. Enter: done. "
            "Or skip, because … if the monitor can't see that."
        )

    def _ask_slow(self) -> str:
        return (
            f"Start now, 20 s apart, each at its own control: {listed(self.slow())}. They are timed by themselves. "
            "Enter: started. Or skip, because …"
        )

    def slow(self) -> list[str]:
        return [c.label for c in loads(self._schedule) if {"air-heater", "compressor"} & set(kinds(c))]

    def _ask_clamp(self) -> str:
        return "Gain: clamp round the bank's lead, nothing else switched. What does it read now, A? Or: don't know."

    def _ask_clamp_2(self) -> str:
        best = self.reference()
        load = f" ({best} will do)" if best else ""
        return f"Now switch one steady load of some 5 A on{load}. When the clamp stands still: its amps. Or: don't know."

    def reference(self) -> str:
        """A steady load to compare with, by its label; the largest that is written."""
        steady = [
            (level.watts, c.label)
            for c in loads(self._schedule)
            for load, level in named_levels(c)
            if load.kind in ("light", "heater-element") and supply_of(self._schedule, c).kind == "dc"
        ]
        return max(steady)[1] if steady else ""

    def _ask_lap(self) -> str:
        return (
            "One lap, any order, each load at each setting for some 20 s. done: it was the last one. Also: redo D1; "
            "was D1 (the last was that); skip D1, because …; Enter: what is still to do."
        )

    def _ask_heater(self) -> str:
        return (
            f"Switch {listed(self._state.heaters)} off at its own control, never at the panel: it must cool down. Enter: done."
        )

    def _ask_bond(self) -> str:
        return (
            "Neutral bond and residual-current test of the AC side, in each source state: the name of the licensed person who "
            "made them. Or: not by us."
        )

    def _ask_summary(self) -> str:
        return "Enter: seal it. Or redo D1; skip D1, because …"

    def _ask_overnight(self) -> str:
        return "Keep measuring what cycles by itself, up to 24 h with nobody here? Nothing is asked then. Enter: yes. Or: no."


def _amps(circuit: Circuit, rating_a: float) -> str:
    protection = circuit.protection
    assert protection is not None
    if protection.kind == "blade-fuse":
        colour = blade_colour(protection.type, rating_a)
        return f"{rating_a:g} A{f' {colour}' if colour else ''} blade fuse"
    if protection.kind.startswith("breaker-") and len(protection.kind) == len("breaker-b"):
        return f"{protection.kind[-1].upper()}{rating_a:g} breaker"
    return f"{rating_a:g} A {protection.kind.replace('-', ' ')}"
