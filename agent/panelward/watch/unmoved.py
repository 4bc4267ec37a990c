"""A channel that stands still although its load stopped: told by the bank's meter. Cause `stuck`, raised by `suspect`.

What the meter shows beyond the sum of its circuits steps down by the draw that one channel goes on showing, to the last
digit. It proves nothing by itself: something that no circuit measures may give as much. So the step must come at once,
lead from about nothing to below it (the circuits claim more than flows), fit one channel only, and stand for ten minutes
in which that channel shows no other digit, every other one is heard, and the meter itself lives. Where the sun or an engine
feeds the bank on no circuit the meter shows that too: there nothing is judged for days after.
"""

from __future__ import annotations

from statistics import median
from typing import Any

from panelward.records import Supply
from panelward.watch.suspect import Suspect

LEAST_A = 0.5  # a smaller draw does not stand out of what the others do meanwhile
LEAST_STEPS = 10.0
EDGE = 3  # readings before and after a step whose medians are compared
KEPT = 2 * EDGE + 2  # the meter and its circuits are not read at the same moment: two in between do not count
LEAST_SHARE, MOST_SHARE = 0.8, 1.15  # of the shown draw that the meter falls by: gains, and a load's own standby that goes on
BELOW = 0.5  # of the shown draw: so far below nothing
ABOUT_NOTHING = 0.3  # of the shown draw: what flows on no circuit before; it may give no more than that
FED_SHARE = 0.05  # of what the circuits draw: gains; further below nothing something else feeds the bank …
FED_MS = 7 * 86_400_000  # … and may again: no sun for so long is rare (common practice, no source)
BAND = 0.2  # of the shown draw, within which it must stay
STRAYS = 3  # readings in a row beside the band: a start elsewhere
STRAY_SHARE = 0.2
CHARGING = 1.08  # of nominal, 13.8 V of 12.8: something charges, perhaps what no circuit measures (common practice, no source)
LASTING_MS = 600_000
READINGS = 20


class Unmoved:
    """One supply's meter against its circuits."""

    def __init__(self, supply: Supply) -> None:
        self._charging_v = CHARGING * supply.nominal_v
        self.channels: list[Suspect] = []
        self.last: list[tuple[int, float]] = []  # (received, what the meter shows beyond its circuits)
        self.circuit: str | None = None  # whose channel is in doubt
        self.since_ms = 0
        self.fell_a = 0.0
        self.level = 0.0  # where it must stay
        self.fed_ms: int | None = None  # something that no circuit measures fed the bank, last
        self.shown_a = 0.0
        self.within = self.strays = self.stray = 0
        self.metered_a = 0.0
        self.lives = False  # the meter has changed a digit since

    def meter(self, amps: float, drawn_a: float, bus_v: float | None, now_ms: int, gap_ms: int) -> None:
        """A reading of the meter of now, discharge positive, and what its circuits draw together."""
        beyond = amps - drawn_a
        if any(channel.fell_a is not None for channel in self.channels):
            self.rest()  # one is told: what that leaves below nothing is no source
            return
        if self.last and now_ms - self.last[-1][0] > gap_ms:
            self.rest()
        self.last.append((now_ms, beyond))
        del self.last[:-KEPT]
        if bus_v is None or bus_v > self._charging_v:
            self.circuit = None
        if self.circuit is not None:
            self._go_on(beyond, amps, now_ms)
        elif len(self.last) == KEPT:
            self._look(amps, drawn_a, now_ms)

    def _look(self, amps: float, drawn_a: float, now_ms: int) -> None:
        """Has it stepped down by what one channel goes on showing?"""
        before = median([value for _, value in self.last[:EDGE]])
        after = median([value for _, value in self.last[-EDGE:]])
        fall = before - after
        fed_a = max(LEAST_A, FED_SHARE * abs(drawn_a))
        if max(before, after) < -fed_a:
            self.fed_ms = now_ms
            return
        if self.fed_ms is not None and now_ms - self.fed_ms < FED_MS:
            return
        if fall < LEAST_SHARE * LEAST_A or after > -BELOW * LEAST_A:
            return  # most readings
        fits = [s for s in self.channels if self._may_be(s, before, after)]
        if len(fits) != 1:
            return
        self.circuit, self.shown_a = fits[0].id, fits[0].held_a
        self.since_ms, self.fell_a, self.level, self.metered_a = self.last[EDGE][0], fall, after, amps
        self.within = self.strays = self.stray = 0
        self.lives = False

    def _may_be(self, channel: Suspect, before: float, after: float) -> bool:
        shown_a, fall = channel.held_a, before - after
        if not channel.may_be_held or shown_a < max(LEAST_A, LEAST_STEPS * channel.step_a) or channel.held_ms > self.last[0][0]:
            return False
        if before < -ABOUT_NOTHING * shown_a:
            return False
        return LEAST_SHARE * shown_a <= fall <= MOST_SHARE * shown_a and after <= -BELOW * shown_a

    def _go_on(self, beyond: float, amps: float, now_ms: int) -> None:
        channel = next((s for s in self.channels if s.id == self.circuit), None)
        if channel is None or channel.held_ms > self.since_ms:
            self.circuit = None  # it moves
            return
        self.lives = self.lives or amps != self.metered_a
        if abs(beyond - self.level) <= BAND * self.shown_a:
            self.within += 1
            self.stray = 0
        else:
            self.strays += 1
            self.stray += 1
        if self.stray > STRAYS or self.strays > max(STRAYS, STRAY_SHARE * self.within):
            self.circuit = None
            return
        if now_ms - self.since_ms < LASTING_MS or self.within < READINGS or self.stray or not self.lives:
            return
        if not all(other.heard(now_ms) for other in self.channels):
            return  # what one of those draws that say nothing is not known
        channel.unmoved(self.since_ms, now_ms, self.within, self.fell_a)
        self.circuit = None

    def rest(self) -> None:
        """Readings were missing: what lies before and after is no step."""
        self.last, self.circuit = [], None

    def save(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in _KEPT} | {"last": [list(entry) for entry in self.last]}

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        self.last = [(at_ms, beyond) for at_ms, beyond in state["last"]]


_KEPT = (
    "circuit", "since_ms", "fell_a", "level", "shown_a", "within", "strays", "stray", "metered_a", "lives", "fed_ms",
)  # fmt: skip
