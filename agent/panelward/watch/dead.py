"""A circuit that shows nothing: has its device opened, has it lost its feed, or does it rest? Group `dead`.

A floor (what the load always draws) is the proof of life, where it shows beyond the zero error of its channel (`zero`).
Without one a circuit speaks here only on other evidence: an overload just before, a switch reported off, volts gone behind
the device, a rest longer than all it ever took (`idle`). Silence is never death: no reading, no claim. What the evidence is
`witness` gathers, what it weighs stands in `causes`.
"""

from __future__ import annotations

from typing import Any

from panelward.records import GROUP_OF, Circuit, Condition, Facts, Figure, Supply
from panelward.watch.bench import Bench
from panelward.watch.causes import NO_LOSS, Evidence, Ranked, named, posterior, priors, shown
from panelward.watch.dips import Dip
from panelward.watch.early import Early
from panelward.watch.hold import hold_s
from panelward.watch.idle import CYCLIC, Idle
from panelward.watch.idle import judged as rests_by_itself
from panelward.watch.overcurrent import MUST_OPEN, Overcurrent
from panelward.watch.panel import Panel, Sample
from panelward.watch.reasons import warming
from panelward.watch.tree import Tree
from panelward.watch.witness import DEEP_DIP, NO_VOLTS, Witness
from panelward.watch.zero import Zero

READINGS = 3
STEADY_MS = 45_000  # a floor missing this long and three readings: a reboot (up to 40 s) or a dip is over by then
QUICK = 2  # readings that do where the evidence names its device; of quick publishers three
QUICK_MS = 5_000
REBOOT_MS = 60_000  # electronics are back within a minute (common practice, no source)
TELL_MS = 60_000  # … told within max(60 s, 3 periods) of the first low reading in any case
MOSTLY = 0.8  # of the opening heat of the slowest device: most of its type have opened by then
WEAK_MS = 600_000  # … but for a bus that dips again and again, so long at the most
FEW = 6  # periods without a reading: a burst of lost messages is so short (common practice, no source) …
FEW_MS = 20_000  # … or so long, of quick publishers
ROUND_MS = 700  # the channels of one round come within it (common practice, no source)
DAY_MS = 86_400_000
UNSEEN_MS = 120_000  # readings missing for longer, in what came late: it may have drawn meanwhile


class Dead:
    """One circuit's life."""

    def __init__(
        self, bench: Bench, panel: Panel, tree: Tree, circuit: Circuit, supply: Supply, over: Overcurrent, period_ms: int
    ) -> None:
        self._bench, self._tree, self.circuit, self._supply, self._over = bench, tree, circuit, supply, over
        self.period_ms = period_ms
        self._panel = panel
        self.witness = Witness(tree, panel, circuit, supply, over, period_ms)
        self._priors = priors(circuit, supply, floor=False), priors(circuit, supply, floor=True)
        self._on_change = circuit.sense.publishes == "on-change"
        self.floor_w = sum(load.always_draws_w or 0.0 for load in circuit.loads)
        self.zero = Zero(circuit.sense.resolution_a, self.floor_w / supply.nominal_v) if self.floor_w > 0.0 else None
        self.idle = Idle(period_ms) if self.zero is None and rests_by_itself(circuit) else None
        self.too_long = False  # it has rested longer than it ever does
        self._zero_a = circuit.sense.nothing_a
        self._zero_w = self._zero_a * supply.nominal_v
        self.order = bench.enrol(self)
        self.due_ms: int | None = None  # the earlier of the next two
        self.tell_ms: int | None = None  # when it is judged in any case
        self.look_ms: int | None = None  # when it is looked at again, for what the others of its round say
        self.held = False  # what it said last stands until it says something else
        self.alive_ms: int | None = None  # last received sample that showed life
        self.low_ms: int | None = None  # first low sample, as measured
        self.low_received_ms = 0
        self.low = 0  # low samples in a row
        self.past_ms: int | None = None  # shows nothing since, in readings that came late: measured
        self.past = False  # … and did so in those of now: `low_ms` is of then
        self.counted_ms = 0
        self.seen_ms = 0  # last sample of any kind, received
        self.decided = False
        self.gone_ms: int | None = None  # volts behind its device gone while it rested, as measured
        self.gone_received_ms = 0
        self.gone = 0
        self.judged_closed: bool | None = None  # the switch's state when its cause was judged
        self.covered = False  # a parent explains it
        self.suppressed = False  # … and its own alarm was suppressed for that
        self.recovered = 0
        self.active: str | None = None  # kind
        self.cause: str | None = None
        self.evidence: Evidence = ()  # what its cause was judged by
        self.priority = ""
        self.since_ms = 0
        self.openings: list[int] = []  # when its device opened, the last day
        self.early: Early | None = None  # judges whether it opened at less than it is listed for
        self.steady = False  # … its draw stood still until it stopped
        tree.add(self)

    # What the tree asks of a circuit.

    @property
    def always_on(self) -> bool:
        return self.circuit.feed == "always-on"

    @property
    def proves(self) -> bool:
        """Does that it shows nothing prove that it has no feed? A floor does, and volts gone between device and switch."""
        volts = self.witness.volts if self.circuit.sense.volts_at == "after-device" else None
        return (self.always_on and self._floor) or (volts is not None and volts < NO_VOLTS * self._supply.nominal_v)

    @property
    def dip(self) -> Dip | None:
        """The last short fall of the volts behind its device."""
        return self.witness.dips.last

    @property
    def by_itself(self) -> bool:
        """Does it run by itself, so that no hand switches it off together with others?"""
        return bool(self.circuit.loads) and all(load.kind in CYCLIC for load in self.circuit.loads)

    @property
    def dropped_ms(self) -> int | None:
        """When it went from life to nothing (received; measured, if that came late), if it did and still shows nothing."""
        if self.past and self.low_ms is not None:
            return self.low_ms
        return self.low_received_ms if self.low_ms is not None and self.alive_ms is not None else None

    @property
    def recent_multiple(self) -> float:
        """The greatest draw of the last half minute it drew, as a multiple of its device's rating."""
        return self._over.rating_multiple(self.witness.recent_a)

    @property
    def may_have_opened(self) -> bool:
        """Had its draw opened the quickest device of its type?"""
        return self.witness.may_have_opened()

    @property
    def switched_off(self) -> bool:
        """Does its switch report that it is open?"""
        return self.witness.closed is False

    def lives(self, now_ms: int) -> bool:
        """Did it show life just now? Who publishes on change and says nothing goes on as before."""
        if self.low_ms is not None or self.alive_ms is None:
            return False
        return self.held or now_ms - self.alive_ms <= 3 * self.period_ms + 5_000

    def take(self, sample: Sample) -> None:
        """Judge one sample."""
        if not sample.fresh:
            self._late(sample)
            return
        now_ms = sample.received_ms
        self.seen_ms = now_ms
        self.held = self._on_change
        if sample.volts is not None:
            self.witness.volts = sample.volts
            if self.circuit.sense.volts_at != "bus":
                self.witness.sees(sample.volts, now_ms)
                if self._on_change and self.witness.none_ms == now_ms and self.low_ms is not None and not self.decided:
                    self._look_at(now_ms + self._stands_ms)
        if not self._is_low(sample):
            self._live(sample)
            return
        self.recovered = 0
        if self.low_ms is None:
            self.past = self.past_ms is not None
            self.low_ms, self.low_received_ms, self.low = self.past_ms or sample.time_ms, now_ms, 0
            self.counted_ms = sample.time_ms - self.period_ms
            if not self.past:
                self.witness.stops(now_ms)
            self.past_ms = None
            self.steady = self.early is not None and self.early.stopped()
            self._tree.stopped(self, now_ms)
            self.decided = False
            if self._floor or self._on_change:
                self._tell_at(now_ms + max(TELL_MS, 3 * self.period_ms))
            elif self.idle is not None:
                self.idle.conditions(self._panel.local_minute(now_ms), self._panel.outside_c)
                self.idle.stopped(now_ms)
                self._tell_at(self.idle.due_ms)
            if self._on_change:
                self._look_at(now_ms + self._stands_ms)
        if sample.time_ms - self.counted_ms >= self.period_ms // 2:
            self.counted_ms = sample.time_ms
            self.low += 1
        volts = sample.volts if self.circuit.sense.volts_at != "bus" else None
        if volts is not None and self._lost_at_rest(sample, gone=volts < NO_VOLTS * self._supply.nominal_v):
            return
        if self.active == "feed-lost" and self.witness.closed != self.judged_closed:
            self._look_again(sample)
        if self.decided:
            return
        if self.low < self._quick:
            if self.low == QUICK:  # if the third is lost, two do once they stand as long as a slow publisher's two
                self._look_at(self.low_received_ms + QUICK_MS)
            return
        # Where its device is known to have opened: no need to wait. Else a reboot, a crank or a dip must be over first.
        waited = self.witness.may_have_opened() or now_ms >= self._steady_from_ms()
        if (self.low >= READINGS and waited) or self._opened_alone(now_ms, settled=False):
            self._decide(now_ms)
        elif self.low < READINGS:
            self._look_at(now_ms + ROUND_MS)  # a dip, volts at the bus: others of this round are still to say it

    @property
    def _quick(self) -> int:
        """Readings of nothing that do where the evidence carries a cause."""
        return QUICK if self.period_ms >= QUICK_MS else READINGS

    @property
    def _stands_ms(self) -> int:
        """After so long without another word what an on-change publisher said stands: it has looked again."""
        return max(self.period_ms, QUICK_MS) + ROUND_MS

    def _tell_at(self, tell_ms: int | None) -> None:
        self.tell_ms = tell_ms
        self._wake()

    def _look_at(self, look_ms: int | None) -> None:
        self.look_ms = look_ms
        self._wake()

    def _wake(self) -> None:
        due = [at_ms for at_ms in (self.tell_ms, self.look_ms) if at_ms is not None]
        self._bench.call_at(self, min(due, default=None))

    def _late(self, sample: Sample) -> None:
        """History: it raises nothing, but if it shows nothing at its end, and now, then since when is known."""
        if self.active or self.covered:
            return
        amps = self._floor_a(sample)
        floor = self.zero if self.zero is not None and self.zero.provable else None
        low = amps < floor.low_a if floor else self._nothing(sample)
        if low:
            if self.past_ms is None and self.low_ms is None:
                self.past_ms = sample.time_ms
                self.witness.stops(sample.received_ms, late=True)
            return
        self.past_ms = None
        if self.low_ms is not None:  # what was low before has drawn since
            self.low_ms, self.low, self.decided, self.too_long = None, 0, False, False
            self.tell_ms = self.look_ms = None
            self._wake()
            self._no_rest()
        self.witness.lives(sample._replace(received_ms=sample.time_ms))

    def _opened_alone(self, now_ms: int, *, settled: bool) -> bool:
        """Is its device known to have opened, and nothing above it? Or, once the others of this round have spoken (`settled`),
        that or a hand after what no device carries?
        """
        since_ms, none_ms = self.low_received_ms, self.witness.none_ms
        if none_ms is not None and none_ms > since_ms:  # it showed nothing before: that its volts are gone must stand by itself
            if self.witness.nones < self._quick and not (self._on_change and now_ms >= none_ms + self._stands_ms):
                return False
            since_ms = none_ms
        if not self._tree.stands_alone(self, since_ms):
            return False
        if self._floor and now_ms - since_ms < REBOOT_MS and 0.0 < self._dip_v() < DEEP_DIP * self._supply.nominal_v:
            return False  # what a crank's dip stopped starts again by itself
        ranked = self._weigh(now_ms)
        cause = named(ranked)
        return cause == "device-opened" or (settled and cause is None and not self._always_on_speaks() and self._either(ranked))

    @property
    def _floor(self) -> bool:
        """Has it a floor that proves life?"""
        return self.zero is not None and self.zero.provable

    def _is_low(self, sample: Sample) -> bool:
        """Does it show nothing, or with a floor less than that?"""
        if self.zero is not None:
            amps = self._floor_a(sample)
            if self.covered or self.witness.closed is False:
                self.zero.known_off(amps)
                low = amps < self.zero.low_a
            else:
                if self.zero.off:
                    self.zero.fed()
                low = self.zero.take(amps, sample.time_ms)
            if self.zero.provable:
                return low
        return self._nothing(sample)

    def _nothing(self, sample: Sample) -> bool:
        """Is it no draw, for all that its channel shows?"""
        return abs(sample.amps) <= self._zero_a and abs(sample.watts) <= self._zero_w

    def _floor_a(self, sample: Sample) -> float:
        """Its draw at nominal volts: floors are mostly electronics, of constant power. Direct current times volts is that
        power, and finer than the watts that are published (often in tenths).
        """
        if self._supply.kind == "dc" and sample.volts is not None:
            return sample.amps * sample.volts / self._supply.nominal_v
        return sample.watts / self._supply.nominal_v

    def _steady_from_ms(self) -> int:
        """When a reboot is over. After a dip of the bus what has electronics starts anew, and may take most of a minute."""
        weak_ms = self._tree.volts.weak_ms(self.circuit.supply, self.low_received_ms)
        if weak_ms is None:  # that volts go which were there when it stopped is another event
            return max(self.low_received_ms, self.witness.none_ms or 0) + STEADY_MS
        return min(max(self.low_received_ms, weak_ms) + TELL_MS, self.low_received_ms + WEAK_MS)

    def _lost_at_rest(self, sample: Sample, *, gone: bool) -> bool:
        """It rested, and was judged to rest; now the volts behind its device go too: it is judged anew, from then."""
        if not gone or not self.decided or self.active or self.covered:
            self.gone_ms, self.gone = None, 0
            return False
        if self.gone_ms is None:
            self.gone_ms, self.gone_received_ms = sample.time_ms, sample.received_ms
            self._look_at(sample.received_ms + max(STEADY_MS, self._stands_ms))
        self.gone += 1
        if self.gone < READINGS or sample.received_ms - self.gone_received_ms < STEADY_MS or self.low_ms == self.gone_ms:
            return False
        self._decide_gone(sample.received_ms)
        return True

    def _decide_gone(self, now_ms: int) -> None:
        self.low_ms, self.low_received_ms, self.past = self.gone_ms, self.gone_received_ms, False
        self.witness.stops(self.gone_received_ms)
        self._decide(now_ms)

    def _live(self, sample: Sample) -> None:
        now_ms = sample.received_ms
        self.gone_ms, self.gone, self.past_ms = None, 0, None
        if self.low_ms is not None:
            self.recovered += 1
            if self.recovered < 2 and not self._on_change and (self.active or self.decided):
                return
            if self.active:
                if self.active == "protection-opened":
                    self._over.renewed()
                off_s = (sample.time_ms - self.since_ms) / 1000.0
                look: Facts = (("to_look_at", True),) if off_s > hold_s(self.circuit) else ()
                self._emit("ends", now_ms, (("off_for_s", off_s), *look))
                self.active = None
                self._tree.feeds_again(self, now_ms)
            self.witness.starts_again(sample, self.low_received_ms, flicker=not self.decided and self.low < READINGS)
            self.low_ms, self.low, self.decided, self.too_long = None, 0, False, False
            self.look_ms = None
            self._tell_at(None)
            if self.idle is not None:
                self.idle.started(now_ms)
        self.witness.lives(sample)
        self.alive_ms = now_ms
        if self.covered or self._tree.any_active:
            self._tree.shows_life(self, now_ms)

    def switch(self, closed: bool | None, commanded: bool | None, now_ms: int) -> None:
        """The switch's reported state, and the last command that was seen."""
        if closed is not None:
            self.witness.closed, self.witness.closed_ms = closed, now_ms
        if commanded is not None:
            self.witness.commanded_off_ms = None if commanded else now_ms

    def fire(self, now_ms: int) -> None:
        if self.look_ms is not None and now_ms >= self.look_ms:
            self.look_ms = None
            self._look(now_ms)
        if self.tell_ms is not None and now_ms >= self.tell_ms:
            self.tell_ms = None
            self._tell(now_ms)
        self._wake()

    def _look(self, now_ms: int) -> None:
        """Nothing new of itself: do the others say by now what it is?"""
        if self.low_ms is None or self.active or self.covered:
            return
        if not self.decided:
            if self._opened_alone(now_ms, settled=True):
                self._decide(now_ms)
        elif self.gone_ms is not None and self.low_ms != self.gone_ms and (self._on_change or self.gone >= READINGS):
            self._decide_gone(now_ms)

    def _tell(self, now_ms: int) -> None:
        needed = 1 if self._on_change else 2
        fresh = self._on_change or now_ms - self.seen_ms <= max(3 * self.period_ms, 10_000)
        if self.low_ms is None or self.low < needed or not fresh or self.active or self.covered:
            return
        if self.idle is not None and self.idle.due_ms is not None and now_ms >= self.idle.due_ms:
            self.too_long = True
        elif self.decided:
            return
        steady_ms = self._steady_from_ms()
        if now_ms < steady_ms:
            self._tell_at(steady_ms)
        else:
            self._decide(now_ms)

    def uncover(self, now_ms: int) -> None:
        """The parent is back: from here this circuit speaks for itself, if it still shows nothing."""
        self.covered = False
        if self.suppressed:
            self.suppressed = False
            self._emit("unsuppressed", now_ms)
        if self.low_ms is None or self.active:
            return
        self.low_received_ms, self.low, self.decided = now_ms, 0, False
        if self.idle is None:
            self._tell_at(now_ms + max(TELL_MS, 3 * self.period_ms))
        else:
            self.idle.resume(now_ms)
            self._tell_at(self.idle.due_ms)

    def judge_later(self) -> None:
        """Nothing can be said yet: the next reading asks again."""
        self.decided = False

    def cover(self, now_ms: int) -> None:
        """A parent explains it."""
        self.covered = self.decided = True
        self._no_rest()
        if self.active and not self.suppressed:
            self.suppressed = True
            self._emit("suppressed", now_ms)

    def gap(self, lasted_ms: int) -> None:
        """Readings were missing, so long. A few are lost now and then: what showed nothing before and shows nothing after
        showed nothing all along. After more than that, lows before and after are not in a row.
        """
        if lasted_ms > UNSEEN_MS:
            self.past_ms = None
        if self.idle is not None:
            self.idle.gap(self.seen_ms)
            self._tell_at(self.idle.due_ms)
        if self.low_ms is not None and not self.decided and lasted_ms > max(FEW * self.period_ms, FEW_MS):
            self.low_ms, self.low, self.look_ms = None, 0, None
            self._tell_at(None)

    def _look_again(self, sample: Sample) -> None:
        """A switch state that came late, or changed, can name another cause of a standing alarm."""
        self.judged_closed = self.witness.closed
        ranked = self._weigh(sample.received_ms)
        cause = named(ranked) or "unknown"
        if cause not in (self.cause, "device-opened", "sensor-failed"):  # these are other kinds: not on this evidence
            self.cause = cause
            self._emit("changes", sample.received_ms, ranked=ranked)

    def again(self, now_ms: int) -> None:
        """Whether its name is right is judged otherwise now: what stands is said by the same evidence."""
        self._emit("changes", now_ms, ranked=posterior(self._priors[self._floor], self.evidence))

    def _weigh(self, now_ms: int) -> Ranked:
        floor, lived = self._floor, self.alive_ms is not None
        self.evidence = self.witness.evidence(self, self.low_received_ms, now_ms, floor=floor, lived=lived)
        if self.too_long:
            self.evidence = (*self.evidence, "idle-too-long")
        return posterior(self._priors[floor], self.evidence)

    def _decide(self, now_ms: int) -> None:
        self.decided = True
        if self._tree.explains(self, now_ms):
            return
        ranked = self._weigh(now_ms)
        cause = named(ranked)
        kind = self._kind(cause, ranked)
        if kind is None:
            return
        if cause == "device-opened":
            self.openings = [t for t in self.openings if now_ms - t < DAY_MS] + [now_ms]
        if not self.too_long:
            self._no_rest()
        self.active = kind
        self.cause, self.judged_closed = cause or "unknown", self.witness.closed
        self.priority = self._worth(cause)
        self.since_ms = self.low_ms if self.low_ms is not None else now_ms
        self._emit("begins", now_ms, ranked=ranked)
        if self.early is not None and self.steady and cause == "device-opened":
            self.early.opened(self.evidence, self.witness.quick, self.since_ms, now_ms)

    def _no_rest(self) -> None:
        """That it shows nothing has another reason: it is not learned as a rest."""
        if self.idle is not None:
            self.idle.forget_current()
            self._tell_at(None)

    def _kind(self, cause: str | None, ranked: Ranked) -> str | None:
        """What is raised, if anything."""
        if cause == "device-opened":
            return "protection-opened"
        if cause == "sensor-failed":
            return "reading-suspect"
        if cause in NO_LOSS:
            return None
        if self._always_on_speaks():
            return "feed-lost"
        return "protection-opened" if self._either(ranked) else None

    def _either(self, ranked: Ranked) -> bool:
        """After a draw that its device carries for minutes at most, "a fuse or a switch" is worth a look."""
        if self.always_on or dict(ranked)["device-opened"] < 0.5:
            return False
        witness = self.witness
        return witness.may_have_opened() and (witness.multiple() >= MUST_OPEN or witness.slow >= MOSTLY)

    def _always_on_speaks(self) -> bool:
        """On an always-on feed nothing is told of a circuit that may honestly rest."""
        proofs = ("floor-gone", "switch-reported-off", "output-off-unasked", "idle-too-long")
        return self.always_on and any(e in proofs or e.startswith("no-volts") for e in self.evidence)

    def _worth(self, cause: str | None) -> str:
        if cause == "sensor-failed":
            return "medium" if self.always_on else "low"
        if self.too_long and cause is None:
            return "high" if self.circuit.importance == "life" else "medium"  # a rest of a new kind is likelier than a loss
        hurts = self.circuit.importance in ("life", "property")
        short = cause == "device-opened" and self._dip_v() >= DEEP_DIP * self._supply.nominal_v
        repeated = cause == "device-opened" and len(self.openings) > 1
        return "high" if hurts or short or repeated else "medium"

    def _dip_v(self) -> float:
        return self._tree.dip_v(self, self.low_received_ms)

    def _sure(self, ranked: Ranked) -> float | None:
        """How probable it is that kind and cause are right."""
        if not ranked:
            return None
        found = dict(ranked)
        if self.cause != "unknown":
            return found[self.cause or ""]
        if self.active == "protection-opened":
            return found["device-opened"]
        return 1.0 - sum(found[cause] for cause in NO_LOSS)

    def _emit(self, edge: str, now_ms: int, figures: Facts = (), ranked: Ranked = ()) -> None:
        own: list[tuple[str, Figure]] = [("before_a", self.witness.before_a), ("device", self._over.device_word())]
        if self.active == "protection-opened":
            own.append(("openings", len(self.openings)))
            own.append(("first_opening_s", self.openings[0] / 1000.0 if self.openings else None))
            own.append(("dip_v", self._dip_v()))
            own.append(("panel_c", self._panel.panel_c))
        if self.cause == "lock-out":
            own.append(("before_v", self.witness.before_v))
        kind = self.active or "feed-lost"
        facts = self._facts() if edge in ("begins", "changes") else ()
        cold = [load.kind for load in self.circuit.loads] == ["compressor"]
        warms = warming(self._panel, self.circuit.id, now_ms) if cold and edge in ("begins", "changes") else None
        if warms is not None:
            own.append(("warms_in_h", dict(warms)["hours"]))
            facts = (*facts, ("warms", warms))
        self._bench.found.append(
            Condition(
                subject="circuit",
                subject_id=self.circuit.id,
                group=GROUP_OF[kind],
                edge=edge,
                at_ms=now_ms,
                since_ms=self.since_ms,
                kind=kind,
                priority=self.priority,
                cause=self.cause,
                candidates=tuple((c, p) for c, p in ranked if p >= 0.005),
                confidence=self._sure(ranked),
                figures=(*own, *figures),
                evidence=facts,
            )
        )

    def _facts(self) -> tuple[tuple[str, Facts], ...]:
        """The evidence in figures, the weightiest first."""
        base: Facts = (("before_a", self.witness.before_a), ("floor_w", self.floor_w), ("readings", self.low))
        return (("shows-nothing", base), *shown(self.evidence))

    def rest(self, now_ms: int) -> None:
        """The program was off: timers start anew."""
        if self.idle is not None:
            self.idle.gap(now_ms)
            self._tell_at(self.idle.due_ms)
        elif self.low_ms is not None and not self.decided:
            self.look_ms = None
            self.low_received_ms, self.low = now_ms, 1 if self._on_change else 0
            self.counted_ms = 0
            self._tell_at(now_ms + max(TELL_MS, 3 * self.period_ms))
        self.seen_ms, self.held = now_ms, False

    def unheard(self) -> None:
        """Its monitor or the broker went: what it said last does not stand any more."""
        self.held = False

    def save(self) -> dict[str, Any]:
        kept = {name: getattr(self, name) for name in _KEPT}
        kept |= {"openings": list(self.openings), "evidence": list(self.evidence), "witness": self.witness.save()}
        kept["zero"] = self.zero.save() if self.zero else None
        kept["idle"] = self.idle.save() if self.idle else None
        return kept

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        self.openings, self.evidence = list(state["openings"]), tuple(state["evidence"])
        self.witness.restore(state["witness"])
        if self.zero is not None:
            self.zero.restore(state["zero"])
        if self.idle is not None:
            self.idle.restore(state["idle"])


_KEPT = (
    "due_ms", "tell_ms", "look_ms", "held",
    "alive_ms", "low_ms", "low_received_ms", "low", "counted_ms", "seen_ms", "decided", "judged_closed", "covered",
    "suppressed", "recovered", "active", "cause", "priority", "since_ms", "gone_ms", "gone_received_ms", "gone",
    "too_long", "steady", "past_ms", "past",
)  # fmt: skip


def depends(circuit: Circuit) -> object:
    """What this file's state depends on."""
    return (
        circuit.loads,
        circuit.feed,
        circuit.protection,
        circuit.supply,
        circuit.feeder,
        circuit.behind,
        circuit.sense,
    )
