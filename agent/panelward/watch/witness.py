"""What a circuit, its bus and its neighbours showed before and while it shows nothing: the evidence, by name.

`causes.EVIDENCE` says what each name weighs. Sensing decides what is evidence at all: volts at the bus prove nothing of a
fuse; a draw that the meter cannot tell from its own noise is no draw; a dip that took all circuits along is no flicker.
"""

from __future__ import annotations

from typing import Any

from panelward.records import Circuit, Supply
from panelward.watch.causes import Evidence
from panelward.watch.dips import Dips
from panelward.watch.overcurrent import Overcurrent
from panelward.watch.panel import Panel, Sample
from panelward.watch.parents import Member
from panelward.watch.tree import Tree

COMMAND_MS = 10_000
FAR_OVER = 1.6  # … and within 50 s here
NEARLY_SLOWEST = 0.9  # of the opening heat of the slowest device: it holds a moment longer at the most
NO_VOLTS = 0.3  # of nominal: below it there are none
AT_ONCE_MS = 1_000  # a dip so near its first reading of nothing is of the same round …
AT_ONCE_PERIOD_MS = 2_000  # … and of one event: in longer rounds a stop and an odd dip meet too often (reckoned, no source)
DEEP_PERIOD_MS = 10_000  # of slower channels a dip within two periods is as easily a crank while a load stopped by itself
DEEP_DIP = 0.08  # of nominal: about 1 V on 12 V, what a short pulls the bus down by (trade practice, no source)
LOW_VOLTS = 0.90  # of nominal: 11.5 V of 12.8, where loads lock themselves out (10.4 to 11.7 V; common practice, no source)
AMPLE_VOLTS = 0.96
HOT_C = 45.0  # of the panel: F11 of the trade's list of faults
NEAR_RATING = 0.7
FLICKERS = 2
FLICKER_MS = 600_000
RECENT_MS = 30_000
METERED_A = 0.5  # a smaller draw does not stand out of what the others do meanwhile
METER_READINGS = 4  # since it stopped: the first may be of before
STEADY = 0.25  # of the draw: the spread of what the meter shows beyond its circuits, else it proves nothing


class Witness:
    """One circuit's."""

    def __init__(self, tree: Tree, panel: Panel, circuit: Circuit, supply: Supply, over: Overcurrent, period_ms: int) -> None:
        self._tree, self._panel, self._circuit, self._supply, self._over = tree, panel, circuit, supply, over
        self._period_ms = period_ms
        self._on_change = circuit.sense.publishes == "on-change"
        self._means = circuit.sense.reports == "mean"
        self._electronic = circuit.protection is not None and circuit.protection.kind == "electronic"
        self._own_a = min((load.inline_fuse_a for load in circuit.loads if load.inline_fuse_a is not None), default=None)
        self.before_a = 0.0  # the draw before it went low (of means, the greater of the last two: the last is diluted)
        self.last_a = 0.0
        self.before_v: float | None = None
        self.recent_a = 0.0  # the greatest draw of the last half minute
        self.recent_ms = 0
        self.quick = 0.0  # heat of the device when it went low
        self.slow = 0.0
        self.quick_before = 0.0  # of means: the same at the last reading, which may hold less than what flowed
        self.slow_before = 0.0
        self.volts: float | None = None
        self.none_ms: int | None = None  # they are gone since, received
        self.nones = 0  # readings of none in a row
        self.dips = Dips(supply.nominal_v)  # of the volts behind its device
        self.lived_ms = 0  # its last reading of life, received
        self.closed: bool | None = None
        self.closed_ms = 0  # when its switch last said so, received
        self.commanded_off_ms: int | None = None
        self.flickers: list[int] = []
        self.unmetered_a: float | None = None  # what the meter showed beyond the sum of its circuits, before
        self.metered = 0

    def lives(self, sample: Sample) -> None:
        """It draws."""
        amps = abs(sample.amps)
        self.before_a = max(amps, self.last_a) if self._means else amps
        self.last_a = amps
        self.lived_ms = sample.received_ms
        if self._means:
            over = self.multiple() > 1.0
            self.quick_before = self._over.quick_heat() if over else 0.0
            self.slow_before = self._over.slow_heat() if over else 0.0
        if sample.volts is not None:
            self.before_v = sample.volts
        if amps >= self.recent_a or sample.received_ms - self.recent_ms > RECENT_MS + 2 * self._period_ms:
            self.recent_a, self.recent_ms = amps, sample.received_ms

    def starts_again(self, sample: Sample, low_received_ms: int, *, flicker: bool) -> None:
        """It draws again. After a reading or two of nothing that is a flicker, unless the bus dipped or it rested."""
        amps, now_ms = abs(sample.amps), sample.received_ms
        same = abs(amps - self.last_a) <= 0.25 * amps
        if flicker and same and self._tree.volts.weak_ms(self._circuit.supply, low_received_ms) is None:
            self.flickers = [*[t for t in self.flickers if now_ms - t <= FLICKER_MS][-7:], now_ms]
        self.last_a = amps

    def sees(self, volts: float, now_ms: int) -> None:
        """Volts behind its device: those that are there show what the bus does."""
        if volts < NO_VOLTS * self._supply.nominal_v:
            self.none_ms = now_ms if self.none_ms is None else self.none_ms
            self.nones += 1
            return
        self.none_ms, self.nones = None, 0
        self.dips.take(volts, now_ms)

    def stops(self, now_ms: int, *, late: bool = False) -> None:
        """Its first reading of nothing; `late`: the meter's of then are not known."""
        # The last draw went on for up to a period: what that did to the device is known now.
        self.quick = max(self._over.quick_heat(), self.quick_before)
        self.slow = max(self._over.slow_heat(), self.slow_before)
        middle_a, spread_a, self.metered = self._tree.volts.unmetered(self._circuit.supply)
        # Where readings were lost the meter fell while this circuit's last draw still stood in the sum.
        lost = now_ms - self.lived_ms > 1.5 * self._period_ms + 1_000 and not self._on_change
        self.unmetered_a = middle_a if spread_a <= STEADY * self.before_a and not (lost or late) else None

    def may_have_opened(self) -> bool:
        """Had the quickest device of this type opened? Where no times are claimed: was the draw over its rating?"""
        if self._over.times_claimed:
            return self.quick >= 1.0
        return self._over.rating_multiple(self.before_a) > 1.0

    def multiple(self) -> float:
        """The draw before as a multiple of the fitted rating."""
        return self._over.rating_multiple(self.before_a)

    def evidence(self, member: Member, since_ms: int, now_ms: int, *, floor: bool, lived: bool) -> Evidence:
        """Names of what is known, by causes.EVIDENCE. `since_ms`: its first reading of nothing, received."""
        known = self._switch(since_ms)
        if lived:
            # A draw over the rating pulls a nearly empty bank under its cut-off: then it tells no device from the disconnect.
            if not (self.multiple() > 1.0 and self._tree.cut_off(member, since_ms)):
                known.append(self._before())
            if self._own_a is not None and self.before_a > 1.1 * self._own_a:
                known.append("over-own-fuse")
            if sum(1 for t in self.flickers if since_ms - t <= FLICKER_MS) >= FLICKERS:
                known.append("flickered-before")
        dip_v, dip_ms = self._tree.dip(member, since_ms)
        if dip_v >= DEEP_DIP * self._supply.nominal_v and self._period_ms <= DEEP_PERIOD_MS:
            known.append("bus-dipped-deep")
        elif dip_v > 0.0:
            at_once = lived and self._period_ms <= AT_ONCE_PERIOD_MS and abs(dip_ms - since_ms) <= AT_ONCE_MS
            known.append("bus-dipped-at-once" if at_once else "bus-dipped")
        elif lived:
            known += self._volts_before()
        if floor:
            known.append("floor-gone")
        place = self._circuit.sense.volts_at
        if place != "bus" and self.volts is not None and self._healthy(member, since_ms):
            gone = self.volts < NO_VOLTS * self._supply.nominal_v
            known.append(("no-volts-" if gone else "volts-") + ("at-load" if place == "load" else place))
            if gone and self._tree.gone_beside(member):
                known.append("no-volts-beside")
            if gone and place == "after-switch" and self.closed and self.closed_ms >= since_ms:
                known.append("on-without-volts")  # said anew since: no report that is yet to come
        lives = self._tree.lives_beside(member)
        if lives is not None:
            known.append(lives)
        known += self._meter(lived)
        known.append("readings-fresh")
        return tuple(known)

    def _healthy(self, member: Member, since_ms: int) -> bool:
        """Has its bus volts? Where nobody measures it, others have shown it since its own went."""
        bus = self._tree.buses[self._circuit.supply]
        if bus.volts is not None:
            return self._tree.bus_healthy(member)
        since_ms = max(since_ms, self.none_ms or 0)
        later_ms = since_ms + self._period_ms // 2  # in the same round they may have been read before
        if any(other != self._circuit.id and at_ms >= later_ms for other, at_ms in bus.beyond):
            return True
        return self._tree.drawn_beside(member, since_ms)

    def _switch(self, since_ms: int) -> list[str]:
        known = []
        off = self.commanded_off_ms is not None and abs(since_ms - self.commanded_off_ms) <= COMMAND_MS
        if self.closed:
            known.append("switch-reported-on")
        elif self.closed is not None:
            known.append("output-off-unasked" if self._electronic and not off else "switch-reported-off")
        if off:
            known.append("commanded-off")
        return known

    def _before(self) -> str:
        multiple = self.multiple()
        if self.slow >= NEARLY_SLOWEST:
            return "over-latest"
        if self.may_have_opened() and multiple > 1.0:
            return "far-over-rating" if multiple >= FAR_OVER else "over-rating"
        panel_c = self._panel.panel_c
        if multiple >= NEAR_RATING and panel_c is not None and panel_c >= HOT_C:
            return "near-rating-in-heat"
        return "ordinary-before"

    def _volts_before(self) -> list[str]:
        if self.before_v is None:
            return []
        of_nominal = self.before_v / self._supply.nominal_v
        if NO_VOLTS < of_nominal < LOW_VOLTS:
            return ["low-volts-before"]
        return ["ample-volts-before"] if of_nominal >= AMPLE_VOLTS else []

    def _meter(self, lived: bool) -> list[str]:
        """Does the bank's meter still show the draw that this channel no longer shows?"""
        if not lived or self.unmetered_a is None or self.before_a < max(METERED_A, 10.0 * self._circuit.sense.resolution_a):
            return []
        now_a, spread_a, metered = self._tree.volts.unmetered(self._circuit.supply)
        if now_a is None or metered - self.metered < METER_READINGS or spread_a > STEADY * self.before_a:
            return []
        share = (now_a - self.unmetered_a) / self.before_a
        if share >= 0.6:
            return ["meter-goes-on"] if share <= 1.5 else []
        return ["meter-fell-too"] if abs(share) <= 0.3 else []

    def save(self) -> dict[str, Any]:
        own = {"flickers": list(self.flickers), "dips": self.dips.save()}
        return {name: getattr(self, name) for name in _KEPT} | own

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        self.flickers = list(state["flickers"])
        self.dips.restore(state["dips"])


_KEPT = (
    "before_a", "last_a", "before_v", "recent_a", "recent_ms", "quick", "slow", "volts", "closed", "commanded_off_ms",
    "none_ms", "nones", "lived_ms", "closed_ms", "quick_before", "slow_before", "unmetered_a", "metered",
)  # fmt: skip
