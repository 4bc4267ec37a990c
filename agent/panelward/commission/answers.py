"""What an answer does. None leaves anything half done; one that can't be read is asked again."""

from __future__ import annotations

from collections.abc import Callable
from math import copysign
from statistics import fmean

from panelward.commission import typed
from panelward.commission.lap import Lap
from panelward.commission.prompts import Prompts
from panelward.commission.state import FULL_START_MS, State, listed, place, supply_of
from panelward.ratings.colours import blade_colour
from panelward.records import Circuit, Schedule

LARGEST_FUSE_A, LARGEST_CLAMP_A = 600.0, 2000.0
LEAST_CLAMP_STEP_A = 2.0  # a clamp shows 0.1 A at best: a smaller step tells no gain to 2 % (reckoned: 5 % of it)
MOST_BESIDE = 2.0  # what else moved meanwhile, by at most as much, costs at most its own channels' error
MOVES_A = 0.2  # three readings further apart than this are no noise
LEAST_GAIN, MOST_GAIN = 0.5, 2.0  # beyond these the two figures are of different things
ODD_GAIN, AGAIN = 0.1, 0.03  # a sensor is rarely wrong by more (common practice, no source); twice the same is believed


class Answers(Prompts):
    """Works on the state of one commissioning; `say` takes what a person is told."""

    def __init__(self, schedule: Schedule, state: State, lap: Lap, say: list[str]) -> None:
        super().__init__(schedule, state)
        self._lap, self._say = lap, say
        self.label, self.fitting = lap.label, lap.fitting

    def take(self, text: str) -> None:
        """One answer to what is open."""
        state = self._state
        state.taps += 1
        text, before = typed.tidy(text), self.number()
        self._act(text)
        state.turns += self.number() != before

    def _act(self, text: str) -> None:
        state = self._state
        if state.uncovered:
            self._take_uncovered(text)
            return
        if state.open_question and state.questions:
            self._question(text)
            return
        act: Callable[[str], None] | None = getattr(self, f"_take_{state.phase.replace('-', '_')}", None)
        if act is None:
            self._say.append("Nothing is asked now: it measures.")
            return
        act(text)

    def _go(self, phase: str) -> None:
        self._state.phase = phase

    def _take_who(self, text: str) -> None:
        if not text:
            self._say.append("A record says who measured. Type a name, or don't know.")
            return
        self._state.who = "not known" if typed.unknown(text) else text
        self._go("instrument")

    def _take_instrument(self, text: str) -> None:
        none = not text or typed.unknown(text) or text.casefold() in ("none", "no")
        self._state.instrument = "none" if none else text
        where = [p.where for p in self._schedule.probes]
        self._go("plan" if {"outside", "panel"} & set(where) else "ambient")

    def _take_ambient(self, text: str) -> None:
        celsius = self._number(text, -60.0, 125.0, "degrees between -60 and 125")
        if celsius is not None or typed.unknown(text) or not text:
            self._state.ambient_c = celsius
            self._go("plan")

    def _take_plan(self, text: str) -> None:
        if typed.acted(text):
            if self._state.only:
                self._begin_lap()
            else:
                self._go("isolated")
        else:
            self._wrong("Enter once everybody knows, or stop", text)

    def _take_isolated(self, text: str) -> None:
        state, word = self._state, text.casefold()
        if word in ("yes", "y"):
            live = self._volts_now()
            if live > 1.0:
                self._say.append(f"The monitor reads {live:.1f} V there: it is live. Leave the cover on; answer covered or no.")
                return
            state.isolated = "yes"
        elif word in ("covered", "no", "n") or typed.unknown(text):
            state.isolated = "covered" if word == "covered" else "no"
            if typed.unknown(text) and self._fuses:
                self._say.append("Then it is taken to be live: the cover stays on, and no fuse or breaker is read.")
        else:
            self._wrong("yes, covered or no", text)
            return
        if state.isolated == "no" or not self._fuses:
            if self._fuses:
                state.remarks.append("Fuses and breakers were not read: the panel was live.")
            self._live()
        else:
            self._go("fuse")

    def _take_fuse(self, text: str) -> None:
        state, circuit = self._state, self._fuses[self._state.fuse]
        assert circuit.protection is not None
        rating_a = circuit.protection.rating_a
        skip = self._because(text)
        if skip is not None:
            if skip[1]:
                state.remarks.append(f"{place(circuit)}: device not read, because {skip[1]}.")
                self._next_fuse()
            return
        if typed.unknown(text):
            state.remarks.append(f"{place(circuit)}: device not read.")
            self._next_fuse()
            return
        if not text or typed.yes(text):
            state.as_found[circuit.id] = state.as_left[circuit.id] = rating_a
            self._next_fuse()
            return
        found_a = self._rating(circuit, text)
        if found_a is None:
            return
        state.as_found[circuit.id] = found_a
        if found_a == rating_a:
            state.as_left[circuit.id] = rating_a
            self._next_fuse()
        else:
            self._go("left")

    def _take_left(self, text: str) -> None:
        state, circuit = self._state, self._fuses[self._state.fuse]
        assert circuit.protection is not None
        if typed.unknown(text):
            pass
        elif not text or typed.yes(text):
            state.as_left[circuit.id] = circuit.protection.rating_a
        else:
            left_a = self._rating(circuit, text)
            if left_a is None:
                return
            state.as_left[circuit.id] = left_a
            if left_a > circuit.protection.rating_a:
                self._say.append(f"{place(circuit)}: {left_a:g} A is above the schedule. Have it changed before it is used.")
        self._go("fuse")
        self._next_fuse()

    def _rating(self, circuit: Circuit, text: str) -> float | None:
        amps = self._number(text, 0.1, LARGEST_FUSE_A, f"amps up to {LARGEST_FUSE_A:g}, don't know, or skip, because …")
        assert circuit.protection is not None
        if amps is not None and circuit.protection.kind == "blade-fuse" and blade_colour(None, amps) is None:
            self._say.append(f"No blade fuse has {amps:g} A printed on it. Read it again, or don't know.")
            return None
        return amps

    def _next_fuse(self) -> None:
        state = self._state
        state.fuse += 1
        if state.fuse >= len(self._fuses):
            if state.isolated == "yes":
                self._go("cover")
            else:
                self._live()

    def _take_uncovered(self, text: str) -> None:
        """It became live while its fuses were read: nothing else is asked before its cover is on."""
        state, word = self._state, text.casefold()
        skip = self._because(text)
        if skip is not None:
            if not skip[1]:
                return
            state.remarks.append(f"The panel became live while its fuses were read; the rest was not read, because {skip[1]}.")
            state.uncovered, state.isolated = False, "no"
            self._live()
        elif word in ("covered", "on", "cover on"):
            state.uncovered, state.isolated = False, "covered"
            self._say.append("The cover stays on. The rest is read only where it can be read with the cover on.")
        elif word == "isolated":
            live = self._volts_now()
            if live >= 1.0:
                self._say.append(f"The monitor still reads {live:.1f} V there: it is live. Cover on.")
                return
            state.uncovered = state.live_said = False
        else:
            self._wrong("covered, isolated, or skip, because …", text)

    def _volts_now(self) -> float:
        """The most that the monitor reads on a bus just now."""
        state = self._state
        on = [c for c in state.channels.values() if state.now_ms - c.volts_ms <= c.gap_ms and self.on_a_bus(c.circuit)]
        return max((c.volts or 0.0 for c in on), default=0.0)

    def _take_cover(self, text: str) -> None:
        if not typed.acted(text):
            self._wrong("Enter once the cover is on, or stop", text)
            return
        self._go("energise")
        if self._volts_now() >= 1.0:
            self.energised()

    def _take_energise(self, text: str) -> None:
        skip = self._because(text)
        if skip is None and not typed.acted(text):
            self._wrong("Enter once it is energised", text)
            return
        seen = [c.volts for c in self._state.channels.values() if c.volts is not None and self.on_a_bus(c.circuit)]
        if skip is None and seen and max(seen) < 1.0:
            self._say.append(
                "The monitor still reads 0 V. Enter once it is energised; or skip, because … if it can't see that."
            )
            return
        if skip is not None:
            if not skip[1]:
                return
            self._state.remarks.append(f"Energising was not seen, because {skip[1]}.")
        self.energised()

    def energised(self) -> None:
        """Live from here on, with its cover on: what came before was nothing."""
        for channel in self._state.channels.values():
            off = [amps for time_ms, amps in channel.tail if channel.zero_until_ms is None or time_ms < channel.zero_until_ms]
            if channel.zero_until_ms != 0 and len(off) >= 5:
                self._state.zeros[channel.circuit] = round(fmean(off), 4)
        self._live()
        self._state.match_from_ms = self._state.now_ms + FULL_START_MS

    def on_a_bus(self, circuit_id: str) -> bool:
        circuit = self._schedule.circuit(circuit_id)
        return circuit.sense.volts_at != "load" and supply_of(self._schedule, circuit).kind == "dc"

    def _live(self) -> None:
        """The panel is live from here on."""
        self._state.match_from_ms = self._state.now_ms
        if self.slow():
            self._go("slow")
        else:
            self._beside_clamp()

    def _take_slow(self, text: str) -> None:
        skip = self._because(text)
        if skip is not None:
            if not skip[1]:
                return
            self._state.remarks.append(f"{listed(self.slow())} not started, because {skip[1]}.")
        elif not typed.acted(text) and not typed.unknown(text):
            self._wrong("Enter, or skip, because …", text)
            return
        self._beside_clamp()

    def _beside_clamp(self) -> None:
        """Who has no clamp meter is not asked what it reads."""
        if self._state.instrument == "none":
            self._state.remarks.append("The gain was not compared with a clamp.")
            self._begin_lap()
        else:
            self._go("clamp")

    def _take_clamp(self, text: str) -> None:
        state = self._state
        if typed.unknown(text) or not text or self._because(text) is not None:
            state.remarks.append("The gain was not compared with a clamp.")
            self._begin_lap()
            return
        amps = self._number(text, -LARGEST_CLAMP_A, LARGEST_CLAMP_A, "the clamp's amps, or don't know")
        if amps is None:
            return
        if self._changing():
            return
        means = {name: fmean(a for _, a in c.tail[-3:]) for name, c in state.channels.items() if len(c.tail) >= 3}
        if not means or state.gone_ms:
            self._say.append("No readings to compare with yet: the gain is left out.")
            state.remarks.append("The gain was not compared with a clamp: there were no readings.")
            self._begin_lap()
            return
        state.clamp_a, state.clamp_means = amps, means
        self._go("clamp-2")

    def _take_clamp_2(self, text: str) -> None:
        state = self._state
        if typed.unknown(text) or not text or self._because(text) is not None:
            state.remarks.append("The gain was not compared with a clamp.")
            self._begin_lap()
            return
        amps = self._number(text, -LARGEST_CLAMP_A, LARGEST_CLAMP_A, "the clamp's amps, or don't know")
        if amps is None:
            return
        if self._changing():
            return
        assert state.clamp_a is not None
        step_a = abs(amps - state.clamp_a)
        moved = {
            c.id: fmean(a for _, a in state.channels[c.id].tail[-3:]) - state.clamp_means[c.id]
            for c in self._schedule.circuits
            if c.id in state.clamp_means and c.role != "meter" and supply_of(self._schedule, c).kind == "dc"
        }
        reference = max(moved, key=lambda name: moved[name], default="")
        rose_a = moved.get(reference, 0.0)
        others_a = sum(moved.values()) - rose_a
        true_a = copysign(step_a, rose_a + others_a) - others_a
        gain = rose_a / true_a if abs(true_a) >= LEAST_CLAMP_STEP_A else 0.0
        if not LEAST_GAIN <= gain <= MOST_GAIN or sum(map(abs, moved.values())) > MOST_BESIDE * rose_a:
            seen = f"{reference} by {rose_a:.2f} A, the others by {others_a:.2f} A" if reference else "no way did"
            state.clamp_tries += 1
            wanted = f"it takes {LEAST_CLAMP_STEP_A:g} A, of one load"
            text = f"The clamp moved by {step_a:.2f} A; {seen}: that tells no gain ({wanted})."
            if state.clamp_tries >= 2:
                self._say.append(f"{text} Left out.")
                state.remarks.append("The gain was compared with a clamp twice, and not told.")
                self._begin_lap()
            else:
                self._say.append(f"{text} Switch that load off; once more, or don't know.")
                self._go("clamp")
            return
        if abs(gain - 1.0) > ODD_GAIN and (state.clamp_odd is None or abs(gain - state.clamp_odd) > AGAIN * gain):
            text = f"{reference} rose by {rose_a:.2f} A, the clamp by {step_a:.2f} A: a sensor is rarely wrong by that much. "
            text += "Is the clamp zeroed, closed round that one lead only, on its DC range? "
            state.clamp_tries += 1
            if state.clamp_odd is not None:
                self._say.append(f"{text}Twice, and not the same: left out.")
                state.remarks.append("The gain was compared with a clamp twice, and not told.")
                self._begin_lap()
            else:
                state.clamp_odd = gain
                self._say.append(f"{text}Switch that load off; once more, or don't know.")
                self._go("clamp")
            return
        if state.clamp_odd is not None and abs(gain - 1.0) > ODD_GAIN:
            self._say.append("Twice the same: it is believed.")
        state.reference, state.gain = reference, round(gain, 4)
        self._say.append(f"{reference} reads {100 * (gain - 1):+.1f} % beside the clamp, on a step of {abs(true_a):.2f} A.")
        self._begin_lap()

    def _changing(self) -> bool:
        """Does something move just now, so that clamp and readings are of different moments?"""
        for circuit in self._schedule.circuits:
            tail = (
                [amps for _, amps in self._state.channels[circuit.id].tail[-3:]] if circuit.id in self._state.channels else []
            )
            if len(tail) == 3 and circuit.role != "meter" and max(tail) - min(tail) > max(MOVES_A, 0.03 * abs(tail[-1])):
                self._say.append(
                    f"{place(circuit)} is changing just now. Let it stand still some 6 s, then read the clamp again."
                )
                return True
        return False

    def _begin_lap(self) -> None:
        if self._state.match_from_ms is None:
            self._state.match_from_ms = self._state.now_ms
        self._go("lap")

    # The lap.

    def _take_lap(self, text: str) -> None:
        state, word = self._state, text.casefold()
        if self._on_a_way(text):
            return
        missing = self.missing()
        if word in ("done", "ready", "finished"):
            if missing and not state.warned_holes:
                state.warned_holes = True
                self._say.append(
                    f"Not seen yet: {listed(missing)}. Switch them now; or done once more, and the record has holes."
                )
                return
            self._after_lap()
        elif not text or typed.unknown(text):
            self._say.append(
                f"Still to switch, in any order: {listed(missing)}." if missing else "Everything was seen. Type done."
            )
        else:
            self._wrong("done, redo D1, was D1, or skip D1, because …", text)

    def _after_lap(self) -> None:
        self._state.heaters = self.burning()
        if self._state.heaters:
            self._go("heater")
        else:
            self._after_heater()

    def _take_heater(self, text: str) -> None:
        if not typed.acted(text) and not typed.unknown(text) and self._because(text) is None:
            self._wrong("Enter once its own control is off", text)
            return
        self._after_heater()

    def _after_heater(self) -> None:
        ac = any(supply_of(self._schedule, c).kind == "ac" for c in self._schedule.circuits)
        self._go("bond" if ac and not self._state.only else "run-down")

    def _take_bond(self, text: str) -> None:
        mine = text.casefold() in ("", "not by us", "no", "none") or typed.unknown(text) or self._because(text) is not None
        self._state.remarks.append(
            "Neutral bond and residual-current test: not by us." if mine else f"Neutral bond and residual-current test: {text}."
        )
        self._go("run-down")

    def _take_summary(self, text: str) -> None:
        if self._on_a_way(text):
            return
        if typed.acted(text) or text.casefold() == "seal":
            self._go("seal")
        else:
            self._wrong("Enter, redo D1, or skip D1, because …", text)

    def _take_overnight(self, text: str) -> None:
        if not text or typed.yes(text):
            self._go("unattended")
            self._state.until_ms = self._state.now_ms + 24 * 3_600_000
        elif text.casefold() in ("no", "n") or typed.unknown(text):
            self._go("over")
        else:
            self._wrong("Enter or no", text)

    def _on_a_way(self, text: str) -> bool:
        """redo, was, skip: what can be said of a way at any time."""
        state = self._state
        head, _, rest = text.partition(" ")
        if head.casefold() in ("redo", "was"):
            circuit = self._way(rest)
            if circuit is None:
                self._wrong(f"{head} with a way or label of the schedule", text)
            elif head.casefold() == "redo":
                self._redo(circuit)
            else:
                last = self._last_rise()
                if last is None:
                    self._say.append("Nothing has risen yet.")
                else:
                    self._lap.assign(last, circuit.id)
            return True
        skip = self._because(text)
        if skip is None:
            return False
        circuit = self._way(skip[0])
        if circuit is None:
            self._wrong("skip with a way or label, like: skip D12, because it has no bit", text)
        elif skip[1]:
            state.skipped[circuit.id] = skip[1]
            self._say.append(f"{place(circuit)} is left out, because {skip[1]}.")
        return True

    def _redo(self, circuit: Circuit) -> None:
        state = self._state
        on = self._lap.channel_of(circuit.id)
        if on is not None and on in state.channels:
            state.channels[on].forget()
            state.found.pop(on, None)
            state.expected.pop(on, None)
            state.accepted = [key for key in state.accepted if not key.startswith(f"{on} ")]
        state.skipped.pop(circuit.id, None)
        state.warned_holes = state.all_seen = False
        self._say.append(f"{place(circuit)} is measured anew: switch it off, then on at each setting.")
        self._go("lap")

    def _last_rise(self) -> str | None:
        rises = []
        for name, channel in self._state.channels.items():
            run = channel.present
            if run is not None and channel.draws and run.from_w is not None and self._schedule.circuit(name).role == "load":
                rises.append((run.begun_ms, name))
        return max(rises)[1] if rises else None

    def _question(self, text: str) -> None:
        state = self._state
        question = state.questions[0]
        label = self._schedule.circuit(self._lap.label(question.channels[0]))
        if question.kind == "order":
            if typed.unknown(text):
                state.remarks.append(f"Which of {question.channels[0]} and {question.channels[1]} is which was not settled.")
                self._close()
            else:
                self._say.append("Nothing to type here: switch them off one after the other. Or: don't know.")
            return
        skip = self._because(text)
        if skip is not None:
            if skip[1]:
                state.skipped[label.id] = skip[1]
                self._close()
            return
        if typed.unknown(text):
            state.remarks.append(f"What rose on {question.channels[0]} is not known.")
            self._close()
            return
        if (not text or typed.yes(text)) and self.meant(question) is None:
            better = self.fitting(question)[0]
            self._say.append(f"Say which load: what rose fits {better.label} better than {label.label}. Its way or label.")
            return
        circuit = label if not text or typed.yes(text) else self._way(text)
        if circuit is None or circuit.role != "load":
            self._wrong("a way or label of the schedule, don't know, or skip, because …", text)
            return
        self._close()
        self._lap.assign(question.channels[0], circuit.id)

    def _close(self) -> None:
        self._state.questions.pop(0)
        self._state.open_question = False

    # Reading what was typed.

    def _way(self, text: str) -> Circuit | None:
        return typed.way(text, self._schedule)

    def _number(self, text: str, low: float, high: float, wanted: str) -> float | None:
        """A number within bounds; else it is said what was wanted, but for an empty answer or "don't know"."""
        value = typed.number(text)
        if value is not None and low <= value <= high:
            self._state.numbers += 1
            return value
        if text and not typed.unknown(text):
            self._wrong(wanted, text)
        return None

    def _because(self, text: str) -> tuple[str, str] | None:
        """(way, reason) of "skip …, because …"; an empty reason is asked for. None: it is no skip."""
        found = typed.skip(text)
        if found is not None and not found[1]:
            self._say.append("Say why, for the record: skip, because …")
        return found

    def _wrong(self, wanted: str, text: str) -> None:
        self._say.append(f"Wanted {wanted}; found {text[:40]!r}.")
