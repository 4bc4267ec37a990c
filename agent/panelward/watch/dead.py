"""A circuit that shows nothing: has its device opened, has it lost its feed, or does it rest? Group `dead`.

A floor (what the load always draws) is the proof of life. Without one a circuit speaks here only on other evidence: an
overload just before, a switch reported off, volts gone behind the device. Silence is never death: no reading, no claim.
"""

from __future__ import annotations

from typing import Any

from panelward.records import Circuit, Condition, Facts, Figure, Supply
from panelward.watch.bench import Bench
from panelward.watch.causes import EVIDENCE, HYPOTHESES, named, posterior
from panelward.watch.overcurrent import MUST_OPEN, Overcurrent
from panelward.watch.panel import Sample
from panelward.watch.tree import Tree

LOW = 0.5  # of the floor: below it the floor is gone (a typed floor is no exact figure)
READINGS = 3
STEADY_MS = 30_000  # a floor missing this long and three readings: a reboot or a dip is over by then
TELL_MS = 60_000  # … told within max(60 s, 3 periods) of the first low reading in any case
COMMAND_MS = 10_000
DAY_MS = 86_400_000
FAR_OVER = 1.6  # … and within 50 s here
NEARLY_SLOWEST = 0.9  # of the opening heat of the slowest device: it holds a moment longer at the most
NO_VOLTS = 0.3  # of nominal: below it there are none
DEEP_DIP = 0.08  # of nominal: about 1 V on 12 V, what a short pulls the bus down by (trade practice, no source)


class Dead:
    """One circuit's life."""

    def __init__(self, bench: Bench, tree: Tree, circuit: Circuit, supply: Supply, over: Overcurrent, period_ms: int) -> None:
        self._bench, self._tree, self.circuit, self._supply, self._over = bench, tree, circuit, supply, over
        self.period_ms = period_ms
        self._on_change = circuit.sense.publishes == "on-change"
        self.floor_w = sum(load.always_draws_w or 0.0 for load in circuit.loads)
        self._zero_a = max(3.0 * circuit.sense.resolution_a, 0.03)
        self._zero_w = self._zero_a * supply.nominal_v
        self.order = bench.enrol(self)
        self.due_ms: int | None = None
        self.alive_ms: int | None = None  # last received sample that showed life
        self.low_ms: int | None = None  # first low sample, as measured
        self.low_received_ms = 0
        self.low = 0  # low samples in a row
        self.counted_ms = 0
        self.seen_ms = 0  # last sample of any kind, received
        self.before_a = 0.0  # the draw before it went low (of means, the greater of the last two: the last is diluted)
        self.last_a = 0.0
        self.quick = 0.0  # heat of the device when it went low
        self.slow = 0.0
        self.volts: float | None = None
        self.closed: bool | None = None
        self.commanded_off_ms: int | None = None
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
        self.priority = ""
        self.since_ms = 0
        self.openings: list[int] = []  # when its device opened, the last day
        tree.add(self)

    # What the tree asks of a circuit.

    @property
    def always_on(self) -> bool:
        return self.circuit.feed == "always-on"

    @property
    def dropped_ms(self) -> int | None:
        """When it went from life to nothing (received), if it did and still shows nothing."""
        return self.low_received_ms if self.low_ms is not None and self.alive_ms is not None else None

    def lives(self, now_ms: int) -> bool:
        """Did it show life just now?"""
        return self.low_ms is None and self.alive_ms is not None and now_ms - self.alive_ms <= 3 * self.period_ms + 5_000

    def take(self, sample: Sample) -> None:
        """Judge one sample."""
        if self.floor_w > 0.0:
            low = sample.watts < LOW * self.floor_w
        else:
            low = abs(sample.amps) <= self._zero_a and abs(sample.watts) <= self._zero_w
        if not sample.fresh:
            return
        now_ms = sample.received_ms
        self.seen_ms = now_ms
        if sample.volts is not None:
            self.volts = sample.volts
        if not low:
            self._live(sample)
            return
        self.recovered = 0
        if self.low_ms is None:
            self.low_ms, self.low_received_ms, self.low = sample.time_ms, now_ms, 0
            self.counted_ms = sample.time_ms - self.period_ms
            # The last draw went on for up to a period: what that did to the device is known now.
            self.quick, self.slow = self._over.quick_heat(), self._over.slow_heat()
            self.decided = False
            if self.floor_w > 0.0 or self._on_change:
                self._bench.call_at(self, now_ms + max(TELL_MS, 3 * self.period_ms))
        if sample.time_ms - self.counted_ms >= self.period_ms // 2:
            self.counted_ms = sample.time_ms
            self.low += 1
        volts = sample.volts if self.circuit.sense.volts_at != "bus" else None
        if volts is not None and self._lost_at_rest(sample, gone=volts < NO_VOLTS * self._supply.nominal_v):
            return
        if self.active == "feed-lost" and self.closed != self.judged_closed:
            self._look_again(sample)
        # Straight from an overload: no need to wait. Else a reboot, a crank or a dip must be over first.
        waited = self._may_have_opened() or now_ms - self.low_received_ms >= STEADY_MS
        if not self.decided and self.low >= READINGS and waited:
            self._decide(now_ms)

    def _lost_at_rest(self, sample: Sample, *, gone: bool) -> bool:
        """It rested, and was judged to rest; now the volts behind its device go too: it is judged anew, from then."""
        if not gone or not self.decided or self.active or self.covered:
            self.gone_ms, self.gone = None, 0
            return False
        if self.gone_ms is None:
            self.gone_ms, self.gone_received_ms = sample.time_ms, sample.received_ms
        self.gone += 1
        if self.gone < READINGS or sample.received_ms - self.gone_received_ms < STEADY_MS:
            return False
        if self.low_ms == self.gone_ms:
            return False  # judged already
        self.low_ms, self.low_received_ms = self.gone_ms, self.gone_received_ms
        self.quick, self.slow = self._over.quick_heat(), self._over.slow_heat()
        self._decide(sample.received_ms)
        return True

    def _live(self, sample: Sample) -> None:
        now_ms = sample.received_ms
        self.gone_ms, self.gone = None, 0
        amps = abs(sample.amps)
        self.before_a = max(amps, self.last_a) if self.circuit.sense.reports == "mean" else amps
        self.last_a = amps
        if self.low_ms is not None:
            self.recovered += 1
            if self.recovered < 2 and not self._on_change and (self.active or self.decided):
                return
            if self.active:
                if self.active == "protection-opened":
                    self._over.renewed()
                self._emit("ends", now_ms, (("off_for_s", (sample.time_ms - self.since_ms) / 1000.0),))
                self.active = None
                self._tree.feeds_again(self, now_ms)
            self.low_ms, self.low, self.decided = None, 0, False
            self.before_a = amps
            self._bench.call_at(self, None)
        self.alive_ms = now_ms
        if self.covered or self._tree.any_active:
            self._tree.shows_life(self, now_ms)

    def switch(self, closed: bool | None, commanded: bool | None, now_ms: int) -> None:
        """The switch's reported state, and the last command that was seen."""
        if closed is not None:
            self.closed = closed
        if commanded is not None:
            self.commanded_off_ms = None if commanded else now_ms

    def fire(self, now_ms: int) -> None:
        needed = 1 if self._on_change else 2
        fresh = self._on_change or now_ms - self.seen_ms <= max(3 * self.period_ms, 10_000)
        if self.low_ms is not None and not self.decided and self.low >= needed and fresh:
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
        self._bench.call_at(self, now_ms + max(TELL_MS, 3 * self.period_ms))

    def cover(self, now_ms: int) -> None:
        """A parent explains it."""
        self.covered = self.decided = True
        if self.active and not self.suppressed:
            self.suppressed = True
            self._emit("suppressed", now_ms)

    def gap(self) -> None:
        """Readings were missing: lows before and after are not in a row."""
        if self.low_ms is not None and not self.decided:
            self.low_ms, self.low = None, 0
            self._bench.call_at(self, None)

    def _look_again(self, sample: Sample) -> None:
        """A switch state that came late, or changed, can name another cause of a standing alarm."""
        self.judged_closed = self.closed
        ranked = posterior("always-on", self._evidence())
        cause = named(ranked) or "unknown"
        if cause not in (self.cause, "device-opened"):  # that would be another kind: not on this evidence
            self.cause = cause
            self._emit("changes", sample.received_ms, ranked=ranked)

    def _decide(self, now_ms: int) -> None:
        self.decided = True
        if self._tree.explains(self, now_ms):
            return
        evidence = self._evidence()
        ranked = posterior("always-on" if self.always_on else "switched", evidence)
        cause = named(ranked)
        opened = cause == "device-opened"
        # After a draw that its device carries for minutes at most, "a fuse or a switch" is worth a look.
        either = (
            not self.always_on
            and self._may_have_opened()
            and self._over.rating_multiple(self.before_a) >= MUST_OPEN
            and dict(ranked)["device-opened"] >= 0.5
        )
        spoken = self.floor_w > 0.0 or "switch-reported-off" in evidence or any(e.startswith("no-volts") for e in evidence)
        if not opened and not either and not (self.always_on and spoken):
            return
        if opened:
            self.openings = [t for t in self.openings if now_ms - t < DAY_MS] + [now_ms]
        self.active = "protection-opened" if opened or either else "feed-lost"
        self.cause, self.judged_closed = cause or "unknown", self.closed
        short = self._tree.dip_v(self, self.low_received_ms) >= DEEP_DIP * self._supply.nominal_v
        hurts = self.circuit.importance in ("life", "property")
        repeated = opened and len(self.openings) > 1
        self.priority = "high" if hurts or (opened and short) or repeated else "medium"
        self.since_ms = self.low_ms if self.low_ms is not None else now_ms
        self._emit("begins", now_ms, ranked=ranked)

    def _may_have_opened(self) -> bool:
        """Had the quickest device of this type opened? Where no times are claimed: was the draw over its rating?"""
        if self._over.times_claimed:
            return self.quick >= 1.0
        return self._over.rating_multiple(self.before_a) > 1.0

    def _evidence(self) -> tuple[str, ...]:
        """Names of what is known, by causes.EVIDENCE."""
        known: list[str] = []
        if self.closed is not None:
            known.append("switch-reported-on" if self.closed else "switch-reported-off")
        if self.commanded_off_ms is not None and abs(self.low_received_ms - self.commanded_off_ms) <= COMMAND_MS:
            known.append("commanded-off")
        multiple = self._over.rating_multiple(self.before_a)
        if self.alive_ms is not None:
            if self.slow >= NEARLY_SLOWEST:
                known.append("over-latest")
            elif self._may_have_opened() and multiple >= FAR_OVER:
                known.append("far-over-rating")
            elif self._may_have_opened() and multiple > 1.0:
                known.append("over-rating")
            else:
                known.append("ordinary-before")
        dip_v = self._tree.dip_v(self, self.low_received_ms)
        if dip_v > 0.0:
            known.append("bus-dipped-deep" if dip_v >= DEEP_DIP * self._supply.nominal_v else "bus-dipped")
        if self.floor_w > 0.0:
            known.append("floor-gone")
        place = self.circuit.sense.volts_at
        if place != "bus" and self.volts is not None and self._tree.bus_healthy(self):
            gone = self.volts < NO_VOLTS * self._supply.nominal_v
            known.append({"after-device": "after-device", "after-switch": "after-switch"}.get(place, "at-load"))
            known[-1] = ("no-volts-" if gone else "volts-") + known[-1]
        return tuple(known)

    def _emit(self, edge: str, now_ms: int, figures: Facts = (), ranked: tuple[tuple[str, float], ...] = ()) -> None:
        word = self._over.device_word()
        own: list[tuple[str, Figure]] = [("before_a", self.before_a), ("device", word)]
        if self.active == "protection-opened":
            own.append(("openings", len(self.openings)))
            own.append(("first_opening_s", self.openings[0] / 1000.0 if self.openings else None))
            own.append(("dip_v", self._tree.dip_v(self, self.low_received_ms)))
        self._bench.found.append(
            Condition(
                subject="circuit",
                subject_id=self.circuit.id,
                group="dead",
                edge=edge,
                at_ms=now_ms,
                since_ms=self.since_ms,
                kind=self.active or "feed-lost",
                priority=self.priority,
                cause=self.cause,
                candidates=tuple((c, p) for c, p in ranked if p >= 0.005),
                figures=(*own, *figures),
                evidence=self._facts() if edge in ("begins", "changes") else (),
            )
        )

    def _facts(self) -> tuple[tuple[str, Facts], ...]:
        """The evidence in figures, the weightiest for the leading cause first."""
        rows = []
        for name in self._evidence():
            weights = EVIDENCE[name]
            strength = max(weights) - min(weights)
            shown: Facts = tuple((h, w) for h, w in zip(HYPOTHESES, weights, strict=True) if w)
            rows.append((strength, (name, shown)))
        rows.sort(key=lambda row: -row[0])
        base: Facts = (("before_a", self.before_a), ("floor_w", self.floor_w), ("readings", self.low))
        return (("shows-nothing", base), *(fact for _, fact in rows))

    def rest(self, now_ms: int) -> None:
        """The program was off: timers start anew."""
        if self.low_ms is not None and not self.decided:
            self.low_received_ms, self.low = now_ms, 1 if self._on_change else 0
            self.counted_ms = 0
            self._bench.call_at(self, now_ms + max(TELL_MS, 3 * self.period_ms))
        self.seen_ms = now_ms

    def save(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in _KEPT} | {"openings": list(self.openings)}

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        self.openings = list(state["openings"])


_KEPT = (
    "due_ms", "alive_ms", "low_ms", "low_received_ms", "low", "counted_ms", "seen_ms", "before_a", "last_a", "quick",
    "slow", "volts", "closed", "commanded_off_ms", "decided", "judged_closed", "covered", "suppressed", "recovered",
    "active", "cause", "priority", "since_ms", "gone_ms", "gone_received_ms", "gone",
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
