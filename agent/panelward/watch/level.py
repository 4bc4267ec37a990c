"""off-profile: a steady draw that is none of the load's levels, and what it most likely is. Group `level`.

    stalled           a motor at twice its listed draw or more, longer than it starts. High
    runs-dry          a pump below its least wet draw that does not end. Medium
    fails-to-start    a fan, motor or compressor that tries and tries at a fixed pace (`retries`). Medium
    fails-to-light    an air heater that glows again and again and does not burn; no-glow: it starts without (`glow`). Medium
    part-open         a heating element below its level, whatever its volts: part of it is open. Low, medium in frost
    more-than-listed  a steady draw above every level: a new device, a new setting, or one that turns hard. Low

Draws are judged in watts at nominal volts, and odd is what is odd by every law that may hold (`exponent`), so a bus
between 12.2 and 14.6 V raises nothing. What lies *between* levels is not odd: fans, lights and electronics have
settings that nobody listed; it is shown as an unnamed level.
"""

from __future__ import annotations

from itertools import product
from math import inf
from typing import Any

from panelward.ratings.behaviour import at_nominal
from panelward.records import GROUP_OF, Circuit, Commissioned, Condition, Facts, Figure, Supply
from panelward.watch.bench import Bench
from panelward.watch.exponent import LOW_BUS, Exponent
from panelward.watch.glow import Glow
from panelward.watch.overcurrent import Overcurrent
from panelward.watch.panel import Panel, Sample
from panelward.watch.retries import TRIES, Retries
from panelward.watch.steady import Steady

GAIN = 0.03  # of a meter (commissioning accepts 2 %, trade practice) and of a load from one to the next
STALL = 2.0  # times the highest level. Locked rotors draw 3 to 8 times (common practice, no source); stiff ones start at 2
STALL_S = 2.0  # starts are over in 0.1 to 0.5 s, soft ones in 2 (common practice, no source)
SURGE_SLACK = 1.5  # times its listed surge
DRY_S = 35.0  # told within a minute, whatever the period
DRY_LEAST = 0.25  # of the least wet draw: below that it hardly turns
ODD_MS = 600_000  # an odd level must have been seen for so long, over all its visits
VISIT_S = 120.0  # … each of them longer than this: boots, glows and warm-ups pass (common practice, no source)
GLOW_S = 300.0  # … of an air heater, which glows for one to three minutes
VISIT_READINGS = 3
OVER = 1.10  # above the highest band
ALIKE = 0.08  # one unnamed level and another
MOST_UNNAMED = 6
FROST_C = 2.0
MOST_SUMS = 32
TURNS = ("fan", "pump", "motor")
LOST_MS = 600_000  # readings lost in bursts
GLOW_LOST_MS = 120_000  # … that may not hide a whole start
UNKNOWN = ("inverter", "charger")  # nobody knows what hangs on these; of a socket, where its levels are written
SOUNDS = ("detector",)  # draws more while it sounds
PRIORITY = {"stalled": "high", "more-than-listed": "low", "part-open": "low"}
LOOK_AGAIN_MS = 2_000
LOOK_SLACK_MS = 500  # an on-change publisher's next look has come by then, if it had anything to say


class Level:
    """One circuit's levels."""

    __slots__ = (
        "_bench", "_circuit", "_dry_ms", "_dry_w", "_glow", "_high_w", "_known", "_low_w", "_lowest_w", "_nominal_v",
        "_on_change", "_over", "_panel", "_quiet_w", "_rest_w", "_retries", "_stall_a", "_stall_ms", "_top_w", "_under_w",
        "_visit_ms", "active", "calm", "covered", "draw_a", "due_ms", "exponent", "kinds", "last", "odd", "odd_ms", "order",
        "over_n", "over_since_ms", "shown", "since_ms", "steady", "unnamed",
    )  # fmt: skip

    def __init__(
        self, bench: Bench, panel: Panel, circuit: Circuit, supply: Supply, over: Overcurrent, period_ms: int,
        commissioned: Commissioned | None = None,
    ) -> None:  # fmt: skip
        self._bench, self._panel, self._circuit, self._over = bench, panel, circuit, over
        self._nominal_v = supply.nominal_v
        self._on_change = circuit.sense.publishes == "on-change"
        step_w = circuit.sense.resolution_a * supply.nominal_v
        self.exponent = Exponent(circuit, supply.kind, commissioned)
        self.steady = Steady(max(2.0 * step_w, 0.3))
        loads = circuit.loads
        kinds = self.kinds = tuple(load.kind for load in loads)
        known = [x for load in loads for x in (load.standby_max_w, load.always_draws_w and 1.5 * load.always_draws_w) if x]
        self._rest_w = sum(known) * (1.0 + GAIN) + max(2.0 * step_w, 0.5)
        self._known = _bands(circuit, commissioned, step_w)
        self._lowest_w = min((low for low, _, _ in self._known), default=0.0)
        self._high_w = max((high for _, high, _ in self._known), default=0.0)
        top_w = self._top_w = sum(max((x.watts for x in load.levels), default=0.0) for load in loads)
        alone = len(loads) == 1 and bool(self._known)
        surges = [x.surge.seconds for load in loads for x in load.levels if x.surge]
        self._stall_a = STALL * top_w / supply.nominal_v if alone and kinds[0] in TURNS else 0.0
        self._stall_ms = round(max([STALL_S, *(SURGE_SLACK * s for s in surges)]) * 1000)
        self._dry_ms = round(DRY_S * 1000)
        if self._on_change:  # it looks once a period: what it saw of a start or an end is held for one
            self._stall_ms = max(self._stall_ms, period_ms + LOOK_SLACK_MS)
            self._dry_ms = max(self._dry_ms, 7 * period_ms // 4)
        visit_s = GLOW_S if "air-heater" in kinds else VISIT_S
        self._visit_ms = round(max([visit_s, *(SURGE_SLACK * s for s in surges)]) * 1000)
        self._dry_w = self._lowest_w if alone and kinds[0] == "pump" and self._lowest_w > 2.0 * self._rest_w else 0.0
        self._under_w = self._lowest_w if alone and kinds[0] == "heater-element" else 0.0
        named = bool(self._known) and not any(k in UNKNOWN or k in SOUNDS for k in kinds)
        if not named or not all(load.levels for load in loads):
            self._high_w = 0.0  # what more there may be is not known
        self._retries: Retries | None = None
        # Its lowest level that stands out of the steps of its sensing: tries draw more than that.
        clear_w = min((low for low, _, _ in self._known if low > 2.0 * self._rest_w), default=None)
        if alone and kinds[0] in TRIES and clear_w is not None:
            above_w = OVER * self._high_w if self._high_w and circuit.sense.reports == "sample" else None
            self._retries = Retries(self._rest_w, clear_w, above_w, kinds[0], period_ms, held=self._on_change)
        self._glow: Glow | None = None
        if alone and kinds[0] == "air-heater":
            self._glow = Glow(circuit.loads[0], self._rest_w, period_ms, held=self._on_change)
        self._low_w = max(self._dry_w, self._under_w)
        self._quiet_w = OVER * self._high_w if self._high_w else inf
        self.order = bench.enrol(self)
        self.due_ms: int | None = None
        self.odd_ms = 0  # … counted up to here
        self.over_since_ms: int | None = None  # at a stall's draw since
        self.over_n = 0
        self.odd: str | None = None  # what this stand is, if it goes on
        self.unnamed: list[list[float]] = []  # watts, ms seen, visits
        self.active: str | None = None
        self.shown = False  # … its alarm is this one's; False: another one tells it
        self.covered = False  # names look swapped: then a draw that is none of its levels is explained
        self.since_ms = 0
        self.calm = 0  # readings in a row that are not odd
        self.last: Sample | None = None
        self.draw_a = 0.0

    @property
    def judged(self) -> bool:
        """Is there anything here that could be odd, or be shown?"""
        return bool(self._known)

    @property
    def stalled(self) -> bool:
        return self.active == "stalled"

    @property
    def explains_rest(self) -> bool:
        """Does an alarm of this file say already why it draws neither at rest nor at its level?"""
        return self.active in ("part-open", "runs-dry", "fails-to-start", "fails-to-light")

    def here(self) -> tuple[str | None, float] | None:
        """(Name, watts at nominal volts) of the level that it stands at; no name: an unnamed one. None: it moves."""
        steady = self.steady
        if steady.n < VISIT_READINGS:
            return None
        watts = steady.mean_w
        if watts <= self._rest_w:
            return "rest", watts
        # Coarse steps and wide tolerances let bands overlap: the one in whose middle it stands most nearly.
        fits = [band for band in self._known if band[0] <= watts <= band[1]]
        nearest = min(fits, key=lambda band: abs(2.0 * watts - band[0] - band[1]) / max(band[1] - band[0], 1e-9), default=None)
        return nearest[2] if nearest else None, watts

    def take(self, sample: Sample) -> None:
        """Judge one sample."""
        watts = at_nominal(sample.watts, sample.volts, self._nominal_v, self.exponent.best)
        amps = abs(sample.amps)
        if self._stall_a:
            self._stall(sample, amps, watts)
        if self._retries is not None:
            self._of_retries(sample, watts)
        if self._glow is not None:
            self._of_glow(sample, watts)
        steady = self.steady
        self.last = sample
        if steady.take(sample.time_ms, watts):
            self._leave()
            self.exponent.new_stand()
        elif watts > self._rest_w and steady.n >= VISIT_READINGS and sample.volts is not None:
            self.exponent.take(sample.volts, sample.watts)
        quiet = watts <= self._rest_w or self._low_w <= watts <= self._quiet_w
        if quiet and self.odd is None and self.active is None:
            return  # most circuits spend their lives here
        if steady.near:
            self._stand(sample)
        if self._on_change:  # the next reading may be hours away: look again by the clock
            wait_ms = LOOK_AGAIN_MS
            if self.over_since_ms is not None and not self.stalled:
                left_ms = self.over_since_ms + self._stall_ms - sample.time_ms
                wait_ms = left_ms if 0 < left_ms < wait_ms else wait_ms
            self._bench.call_at(self, None if quiet and steady.near else sample.received_ms + wait_ms)

    def fire(self, now_ms: int) -> None:
        """On-change publishers: the held draw still flows, as far as anybody knows."""
        last = self.last
        if last is not None:
            self.take(last._replace(time_ms=last.time_ms + now_ms - last.received_ms, received_ms=now_ms))

    # What a stand is.

    def _what(self, volts: float | None) -> str | None:
        """What a stand at this mean would be, if it lasts; None: a level, at rest, or between."""
        watts = self.steady.mean_w
        if watts <= self._rest_w:
            return None
        low, high = self.exponent.slack(volts, self._nominal_v)
        if self._high_w and watts * low > OVER * self._high_w:
            return "more-than-listed"
        if self._dry_w and DRY_LEAST * self._dry_w < watts and watts * high < (1.0 - GAIN) * self._dry_w:
            return "runs-dry"
        if self._under_w and watts * high < (1.0 - GAIN) * self._under_w and watts > 1.5 * self._rest_w:
            return "part-open"
        return None

    def _stand(self, sample: Sample) -> None:
        steady = self.steady
        odd = self._what(sample.volts) if steady.n >= VISIT_READINGS else None
        if odd is None:
            self.odd = None
            if self.active is not None:
                self._calm(sample)
            return
        self.calm = 0
        if odd == "runs-dry" or sample.time_ms - steady.since_ms >= self._visit_ms:
            kept = self._unnamed(began=self.odd != odd)
            if self.odd != odd:
                self.odd, self.odd_ms = odd, steady.since_ms
            kept[1] += max(0, sample.time_ms - self.odd_ms)
            self.odd_ms = sample.time_ms
        else:
            return
        if self.active is not None or not sample.fresh:
            return
        if odd == "runs-dry":
            if sample.time_ms - steady.since_ms >= self._dry_ms:
                self._begin(odd, steady.since_ms, sample)
        elif kept[1] >= ODD_MS:
            self._begin(odd, steady.since_ms, sample)

    def _unnamed(self, *, began: bool) -> list[float]:
        """The unnamed level that this stand is a visit of."""
        watts = self.steady.mean_w
        for kept in self.unnamed:
            if abs(kept[0] - watts) <= ALIKE * watts:
                if began:
                    kept[2] += 1
                    kept[0] += (watts - kept[0]) / min(kept[2], 16)
                return kept
        if len(self.unnamed) >= MOST_UNNAMED:
            self.unnamed.remove(min(self.unnamed, key=lambda u: u[1]))
        self.unnamed.append([watts, 0, 1])
        return self.unnamed[-1]

    def _leave(self) -> None:
        self.odd = None
        if self._on_change:
            self._bench.call_at(self, None)

    def _calm(self, sample: Sample) -> None:
        """Is what was told over?"""
        active, watts = self.active, self.steady.mean_w
        if active in ("stalled", "fails-to-start", "fails-to-light", "no-glow"):
            return  # these end where they are judged
        at_rest = watts <= self._rest_w
        if at_rest and active != "runs-dry":
            return  # a heater that rests is not mended by that
        if not (at_rest or self._lowest_w <= watts <= self._high_w or (not self._high_w and watts >= self._lowest_w)):
            self.calm = 0  # that its volts might explain it begins nothing; it ends nothing either
            return
        self.calm += 1
        if self.calm >= VISIT_READINGS:
            self.unnamed = [u for u in self.unnamed if abs(u[0] - watts) <= ALIKE * watts]
            self._end(sample.received_ms)

    # A motor that can't turn.

    def _stall(self, sample: Sample, amps: float, watts: float) -> None:
        low = self.exponent.slack(sample.volts, self._nominal_v)[0] if amps >= self._stall_a else 0.0
        if watts * low < STALL * self._top_w:  # that it draws so much its volts do not explain
            if self.over_n or self.stalled:
                self.calm += 1
                if self.calm >= 2 or amps <= self._over.running_a:
                    self.over_since_ms, self.over_n = None, 0
                    if self.stalled:
                        self._end(sample.received_ms)
            return
        self.calm = 0
        if self.over_since_ms is None:
            self.over_since_ms, self.over_n = sample.time_ms, 0
        self.over_n += 1
        if self.stalled or not sample.fresh or self.over_n < 2:
            return
        if sample.time_ms - self.over_since_ms >= self._stall_ms:
            if self.active is not None:
                self._end(sample.received_ms)
            self._begin("stalled", self.over_since_ms, sample)

    # Starts that fail.

    def _of_retries(self, sample: Sample, watts: float) -> None:
        assert self._retries is not None
        edge = self._retries.take(sample.time_ms, watts)
        if edge is None:
            return
        if edge == "begins" and self.active is None and sample.fresh:
            self._begin("fails-to-start", self._retries.since_ms, sample)
        elif edge == "ends" and self.active == "fails-to-start":
            self._end(sample.received_ms)

    def _of_glow(self, sample: Sample, watts: float) -> None:
        assert self._glow is not None
        volts = sample.volts
        low = volts is not None and volts < LOW_BUS * self._nominal_v  # its lock-out stops it, not its burner
        edge = None if low else self._glow.take(sample.time_ms, watts)
        if edge is None:
            return
        if edge == "ends":
            if self.active in ("fails-to-light", "no-glow"):
                self._end(sample.received_ms)
        elif self.active is None and sample.fresh:
            self._begin(edge, self._glow.since_ms, sample)

    # The condition.

    def _begin(self, cause: str, since_ms: int, sample: Sample) -> None:
        self.active, self.since_ms, self.calm, self.draw_a = cause, since_ms, 0, abs(sample.amps)
        if cause == "stalled" and self._over.stalled(sample.received_ms):
            self.shown = False  # that it draws too much is told already: the same alarm learns why
            return
        self.shown = not self.covered or cause == "stalled"
        if not self.shown:
            return
        self._emit("begins", sample)

    def cover(self, now_ms: int) -> None:
        """Its name looks swapped: that explains an odd draw, though not a stall."""
        self.covered = True
        if self.shown and not self.stalled:
            self._said("suppressed", now_ms)

    def uncover(self, now_ms: int) -> None:
        """Its name is its own again: an odd draw speaks for itself."""
        self.covered = False
        if self.active is not None and not self.stalled:
            self._said("unsuppressed" if self.shown else "begins", now_ms)
            self.shown = True

    def _said(self, edge: str, now_ms: int) -> None:
        if self.last is not None:
            self._emit(edge, self.last._replace(received_ms=now_ms))

    def _end(self, now_ms: int) -> None:
        if self.shown:
            self._said("ends", now_ms)
        self.active, self.shown, self.calm = None, False, 0
        self._over.turns()

    def _emit(self, edge: str, sample: Sample) -> None:
        cause = self.active or ""
        watts = self.steady.mean_w if cause in ("runs-dry", "part-open", "more-than-listed") else sample.watts
        amps = watts / self._nominal_v if cause in ("runs-dry", "part-open", "more-than-listed") else self.draw_a
        figures: list[tuple[str, Figure]] = [("draw_a", amps), ("draw_w", watts)]
        if cause in ("fails-to-start", "fails-to-light"):
            figures = [("tries", self._retries.tries if self._retries else self._glow.phases if self._glow else 0)]
        priority = PRIORITY.get(cause, "medium")
        outside_c = self._panel.outside_c
        if cause == "part-open" and outside_c is not None and outside_c < FROST_C:
            priority = "medium"
        self._bench.found.append(
            Condition(
                subject="circuit",
                subject_id=self._circuit.id,
                group=GROUP_OF["off-profile"],
                edge=edge,
                at_ms=sample.received_ms,
                since_ms=self.since_ms,
                kind="off-profile",
                priority=priority,
                cause=cause,
                figures=tuple(figures),
                evidence=self._evidence(cause, watts, sample) if edge == "begins" else (),
            )
        )

    def _evidence(self, cause: str, watts: float, sample: Sample) -> tuple[tuple[str, Facts], ...]:
        top_a = self._top_w / self._nominal_v
        volts = sample.volts
        if cause == "stalled":
            return (("draw-of-level", (("amps", self.draw_a), ("times", self.draw_a / top_a), ("level_a", top_a))),)
        if cause == "fails-to-start" and self._retries is not None:
            return (("tries-at-a-pace", (("tries", self._retries.tries), ("pace_s", self._retries.pace_s))),)
        if cause in ("fails-to-light", "no-glow") and self._glow is not None:
            return ((cause, (("phases", self._glow.phases),)),)
        limit_w = self._high_w if cause == "more-than-listed" else self._lowest_w
        amps = watts / self._nominal_v
        stands: Facts = (("amps", amps), ("watts", watts), ("cause", cause), ("limit_w", limit_w))
        facts: list[tuple[str, Facts]] = [("unnamed-level", stands)]
        if volts is not None:
            facts.append(("volts-explain-not", (("volts", volts), ("low", self.exponent.low), ("high", self.exponent.high))))
        return tuple(facts)

    def gap(self, lasted_ms: int) -> None:
        """Readings were missing. A stand goes on over a few lost ones,
        if it goes on; a start or a stall may have been there."""
        self.over_since_ms, self.over_n = None, 0
        if lasted_ms > LOST_MS:
            self.steady.forget()
            self.exponent.new_stand()
            self.odd = None
        if self._retries is not None:
            self._retries.forget(lasted_ms)
        if self._glow is not None and lasted_ms > GLOW_LOST_MS:
            self._glow.forget()

    def rest(self) -> None:
        """The program was off: timers start anew."""
        self.gap(LOST_MS + 1)
        self._bench.call_at(self, None)

    def save(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in _KEPT} | {
            "unnamed": [list(u) for u in self.unnamed],
            "steady": self.steady.save(),
            "exponent": self.exponent.save(),
            "last": list(self.last) if self.last is not None else None,
            "retries": self._retries.save() if self._retries else None,
            "glow": self._glow.save() if self._glow else None,
        }

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        self.unnamed = [list(u) for u in state["unnamed"]]
        self.steady.restore(state["steady"])
        self.exponent.restore(state["exponent"])
        self.last = Sample(*state["last"]) if state["last"] is not None else None
        if self._retries and state["retries"]:
            self._retries.restore(state["retries"])
        if self._glow and state["glow"]:
            self._glow.restore(state["glow"])


_KEPT = (
    "due_ms", "over_since_ms", "over_n", "odd", "active", "shown", "since_ms", "calm", "draw_a", "odd_ms", "covered",
)  # fmt: skip


def _bands(circuit: Circuit, commissioned: Commissioned | None, step_w: float) -> tuple[tuple[float, float, str], ...]:
    """(low, high, name) of its levels in watts at nominal volts, those of several loads together too."""
    slack_w = 2.0 * step_w
    own: list[list[tuple[float, float, str]]] = []
    for load in circuit.loads:
        most = max(load.standby_max_w or 0.0, load.always_draws_w or 0.0)
        # Whether a level was written with what it always draws in it, or without, nobody knows.
        floor_w = load.always_draws_w or 0.0
        levels = [(x.watts * (1.0 - x.tolerance), x.watts * (1.0 + x.tolerance) + floor_w, x.name) for x in load.levels]
        if commissioned is not None and len(circuit.loads) == 1:  # what was measured, beside what was listed
            levels += [(x.low_w, x.high_w, x.name) for x in commissioned.levels if not x.provisional]
        own.append([(0.0, most, ""), *levels])
    found = []
    for together in list(product(*own))[:MOST_SUMS]:
        name = " and ".join(x[2] for x in together if x[2])
        if name:
            low, high = sum(x[0] for x in together), sum(x[1] for x in together)
            found.append((low * (1.0 - GAIN) - slack_w, high * (1.0 + GAIN) + slack_w, name))
    return tuple(found)


def depends(circuit: Circuit) -> object:
    """What this file's state depends on."""
    return circuit.loads, circuit.supply, circuit.sense, circuit.protection
