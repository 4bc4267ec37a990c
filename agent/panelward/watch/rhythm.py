"""A load whose rhythm is wrong: it runs too long, too much, too little, or starts too often. Group `rhythm`, all medium.

    overlong-run   a run beyond the schedule's longest
    duty-high      more of its window than the schedule's duty; a compressor: more than its own habit at this warmth, a
                   run far beyond its own longest; one that carries less heat than on record (`balance`); why: `reasons`
    duty-low       less of its window than the schedule's duty; a compressor that rests far longer than it can (`balance`)
    short-cycling  a compressor that starts and stops, cause `low-volts-at-start` where its volts fall as it starts; with
                   cause `leak-down` a pump that holds a leak's pressure (`starts`); with `water-comes-in` a sump pump

A leak and a wet sump have no kind of their own: it is the starts that are too many, their duty stays under a hundredth.
What another alarm tells of this circuit (a lost feed, a drain outside its hours, a pump that runs dry) is not told again.
"""

from __future__ import annotations

from typing import Any

from panelward.ratings.behaviour import at_nominal, exponent_of
from panelward.records import Circuit, Commissioned, Condition, Supply
from panelward.watch.balance import SOUND, Balance
from panelward.watch.bench import Bench
from panelward.watch.box import LOOK_MS as BOX_MS
from panelward.watch.box import Box
from panelward.watch.cooling import REST_MS, Cooling, weighed
from panelward.watch.dead import Dead
from panelward.watch.drain import Drain
from panelward.watch.duties import Duties, share
from panelward.watch.level import Level
from panelward.watch.panel import Panel, Sample
from panelward.watch.reasons import names, told
from panelward.watch.runs import QUARTER_MS, Past, Runs, on_w
from panelward.watch.starts import Leak, ShortCycles, Sump

PULL_DOWN = 4  # after a long rest or gap its contents have warmed: it pulls down for so many times the rest,
PULL_DOWN_MS = 12 * 3600_000  # … this at most (a hot load takes 4 to 12 h: trade practice)
BEGIN_MS = 12 * 3600_000  # a rest that nobody saw may have been any
LOOK_MS = 60_000  # on-change publishers
# One alarm of the group at a time: the first of these that is the case, until it is over.
CASES = ("overlong", "short", "leak", "sump", "ajar", "run", "weak", "habit", "high", "off", "low")
KIND = {"overlong": "overlong-run", "run": "duty-high", "habit": "duty-high", "high": "duty-high", "low": "duty-low"} | {
    "ajar": "duty-high", "weak": "duty-high", "off": "duty-low",
}  # fmt: skip
EVENING, MORNING = 19 * 60 + 30, 7 * 60  # local minutes: it grows cold, and people sleep
AIR_OLD_MS = 300_000
AJAR_MS = 20 * 60_000  # of a run, before its air is asked (common practice, no source)
RENAME = 0.02  # a cause that was named stands until it is as unlikely as this
MILD_C = 12.0  # below it a refrigerator may honestly rest for long (common practice, no source)
BRIDGES = 6  # periods: so long a gap between two readings of the same is no other run (readings are lost in bursts)


class Rhythm:
    """One circuit's rhythm."""

    def __init__(
        self, bench: Bench, panel: Panel, circuit: Circuit, supply: Supply, period_ms: int,
        commissioned: Commissioned | None = None, ambient_c: float | None = None,
    ) -> None:  # fmt: skip
        self.bench, self.panel, self.circuit, self._supply = bench, panel, circuit, supply
        self._period_ms, self._on_change = period_ms, circuit.sense.publishes == "on-change"
        loads = circuit.loads
        self.kinds = tuple(load.kind for load in loads)
        self._nominal_v = supply.nominal_v
        behaves = loads[0].behaves if loads else "constant-power"
        self._exponent = exponent_of(behaves) if all(load.behaves == behaves for load in loads) else 0.0
        self._on_w, known = on_w(circuit, supply)
        longest = [load.longest_run_s for load in loads if load.longest_run_s is not None]
        self.longest_ms = round(max(longest) * 1000) if loads and len(longest) == len(loads) else None
        cold = self._cold = self.kinds == ("compressor",) and known
        duty = loads[0].duty if len(loads) == 1 and known else None
        self.duties = Duties(duty, self.kinds, cold=cold) if duty is not None else None
        self.cooling = Cooling() if cold else None
        self.balance = Balance(period_ms, commissioned) if cold else None
        if self.cooling is not None and commissioned is not None:
            self.cooling.recorded(commissioned, ambient_c)
        self.box = Box() if cold else None
        self.short = ShortCycles(period_ms) if cold and ShortCycles.judged(period_ms, self._on_change) else None
        pump = self.kinds == ("pump",)
        sump = self.keeps_dry = pump and (circuit.feed == "always-on" or circuit.importance == "life")
        self.leak = Leak(period_ms) if pump and not sump and Leak.judged(period_ms) else None
        self.sump = Sump() if sump and Sump.judged(period_ms) else None
        self._feeds_sump = pump and not sump
        self.judged = bool(
            loads and (self.longest_ms is not None or self.duties or self.cooling or self.leak or self.sump or self._feeds_sump)
        )
        self.dead: Dead | None = None
        self.drain: Drain | None = None
        self.level: Level | None = None
        self.order = bench.enrol(self)
        self.due_ms: int | None = None
        self.runs = Runs()
        self.look_ms = 0  # nothing can happen before, as measured
        self.day: list[list[Any]] = []  # … of a compressor's day
        self.settles_ms: int | None = None  # what it does until then says nothing of its habit
        self.pulls_ms: int | None = None  # after a long rest its contents are pulled down until
        self.began = False  # its first reading was seen
        self.cases: dict[str, int] = {}  # since when
        self.active: str | None = None
        self.since_ms = 0
        self.cause: str | None = None
        self.said_ms = 0  # the causes were weighed last
        self.last_w = self.last_a = 0.0
        self.volts: float | None = None
        self.received_ms = 0
        self.unfed = False

    def take(self, sample: Sample) -> None:
        if self._unfed():
            self.unfed = True  # no rest of its own: nothing is known of its rhythm until it is fed again
            return
        if self.unfed:
            self.unfed = False
            self.gap(sample.time_ms)
        watts = sample.watts
        if self._exponent:
            watts = at_nominal(watts, sample.volts, self._nominal_v, self._exponent)
        on, runs, time_ms = watts > self._on_w, self.runs, sample.time_ms
        self.received_ms = sample.received_ms
        if on:
            self.last_w, self.last_a = sample.watts, sample.amps
            if self.cooling is not None and runs.on:
                self.cooling.draws(watts, time_ms - runs.since_ms)
            if self.short is not None:
                self.short.draws(sample.volts, time_ms)
        else:
            self.volts = sample.volts
        if on == runs.on and time_ms < self.look_ms and runs.fell_ms is None:
            runs.last_ms = time_ms
            return
        self._step(time_ms, on, sample.received_ms, fresh=sample.fresh)
        if self._on_change:
            self.bench.call_at(self, sample.received_ms + LOOK_MS)

    def fire(self, now_ms: int) -> None:
        """On-change publishers: what was said last goes on, as far as anybody knows."""
        runs = self.runs
        if runs.last_ms is None or runs.on is None or self._unfed():
            return
        time_ms = runs.last_ms + now_ms - self.received_ms
        self.received_ms = now_ms
        self._step(time_ms, runs.on, now_ms, fresh=True, heard=False)
        self.bench.call_at(self, now_ms + LOOK_MS)

    def _step(self, time_ms: int, on: bool, now_ms: int, *, fresh: bool, heard: bool = True) -> None:
        runs = self.runs
        if not self.began:
            self.began, self.settles_ms = True, time_ms + BEGIN_MS
        was = runs.on
        past = runs.step(time_ms, on, at_once=self._on_change)
        if past is not None:
            self._over(past)
        if runs.on and was is not True:
            self._starts(time_ms)
        if runs.closed:
            self._quarters_over()
        self._judge(time_ms, past, heard=heard)
        self._tell(now_ms, fresh=fresh)
        self.look_ms = min(runs.quarter_ms, self._next_ms(time_ms))
        if self.cases and self.active is None and not fresh:
            self.look_ms = 0  # history raises nothing: the first reading of now does

    def _next_ms(self, time_ms: int) -> int:
        """When a run grows too long."""
        if self.runs.on:
            ends = [ms for ms in (self.longest_ms, self._longest()) if ms is not None]
            waits = [self.runs.since_ms + ms + 1 for ms in ends]
            if self.box is not None and self._inside() is not None:
                waits.append(time_ms + BOX_MS)
        else:
            still_ms = self._still()
            waits = [] if still_ms is None else [self.runs.since_ms + still_ms + 1]
            waits += [part.over_ms for part in (self.short, self.leak, self.sump) if part is not None and part.over_ms]
        return min((at_ms for at_ms in waits if at_ms > time_ms), default=time_ms + QUARTER_MS)

    def _starts(self, time_ms: int) -> None:
        if self._feeds_sump:
            self.panel.pumped_ms = time_ms
        if self.box is not None:
            inside = self._inside()
            self.box.starts(inside[0] if inside is not None else None)

    def _inside(self) -> tuple[float, int] | None:
        """How warm it is in it, and when that was read."""
        inside = self.panel.inside.get(self.circuit.id)
        return inside if inside is not None and self.received_ms - inside[1] <= AIR_OLD_MS else None

    def _over(self, past: Past) -> None:
        """A run or a rest is over."""
        ended_ms = past.began_ms + past.length_ms
        if past.ran:
            if self._feeds_sump:
                self.panel.pumped_ms = ended_ms
            if self.balance is not None:
                self.balance.ran(past.length_ms, ended_ms, whole=past.whole, ordinary=self._ordinary(ended_ms))
                self._case("weak", self.balance.weak_ms)
            if self.cooling is not None:
                self.cooling.ran(past.length_ms, ended_ms, self.warmth(), whole=past.whole, learn=self._ordinary(ended_ms))
            if past.whole:
                if self.short is not None:
                    self.short.ran(past.began_ms, past.length_ms, self.volts)
                if self.leak is not None:
                    away = self.panel.doing.aboard is False
                    self.leak.ran(past.began_ms, past.length_ms, self.panel.local_minute(past.began_ms), away=away)
                if self.sump is not None:
                    self.sump.ran(past.began_ms, self.panel.pumped_ms)
        elif self.cooling is not None and self.balance is not None:
            self.balance.rested(past.length_ms, whole=past.whole, ordinary="off" not in self.cases)
            self._case("off", None)
            if self.cooling.rested(past.length_ms):
                self._pulls_down_until(ended_ms + min(PULL_DOWN * past.length_ms, PULL_DOWN_MS))
                if self.short is not None:
                    self.short.forget()

    def warmth(self) -> float | None:
        return self.panel.outside_c

    def _ordinary(self, time_ms: int) -> bool:
        """Is what it does now its habit, as far as anybody can tell? With nobody aboard it is no habit of people's."""
        if self.panel.doing.aboard is False:
            return False
        return self.active is None and not self.cases and not self._settling(time_ms) and not self._told_elsewhere()

    def _pulls_down_until(self, until_ms: int) -> None:
        self.settles_ms = max(self.settles_ms or 0, until_ms)
        self.pulls_ms = max(self.pulls_ms or 0, until_ms)

    def _settling(self, time_ms: int) -> bool:
        return self.settles_ms is not None and time_ms < self.settles_ms

    def _unfed(self) -> bool:
        """Is it told that this circuit has no feed, or a parent of it none?"""
        return self.dead is not None and (self.dead.active is not None or self.dead.covered)

    def _told_elsewhere(self) -> bool:
        """Does another alarm of this circuit tell the cause?"""
        if self._unfed():
            return True
        if self.drain is not None and self.drain.active is not None:
            return True
        return self.level is not None and self.level.active is not None

    def _quarters_over(self) -> None:
        for quarter in self.runs.closed:
            warmth = self.warmth()
            row = [quarter.seen_ms, quarter.ran_ms, warmth]
            ordinary = self._ordinary(quarter.end_ms)
            if self.duties is not None:
                sound = self.balance is not None and self.balance.ratio is not None and self.balance.ratio >= SOUND
                settling = self._settling(quarter.end_ms)
                self.duties.take(row, quarter.end_ms, warmth, self.cases, settling=settling, sound=sound)
            if self.cooling is not None:
                self.day = [*self.day[-95:], row]
                minute = self.panel.local_minute(quarter.end_ms)
                judged = self.cooling.quarter(quarter.seen_ms, quarter.ran_ms, warmth, minute, learn=ordinary)
                if judged and not self._settling(quarter.end_ms):
                    self._case("habit", quarter.end_ms - 2 * 8 * 3600_000)
                elif judged is not None and not (self.cooling.over and self.cooling.over[-1]):
                    self._case("habit", None)
        self.runs.closed = []

    def _longest(self) -> int | None:
        """The run of a compressor that is none of its own."""
        if self.cooling is None or self.balance is None:
            return None
        since_ms = self.runs.since_ms
        own = self.cooling.longest(share(self.day), self.warmth()) if not self._settling(since_ms) else None
        if own is None and (endless_ms := self.balance.endless_ms()) is not None:
            own = endless_ms + max(0, (self.pulls_ms or 0) - since_ms)
        return own

    def _still(self) -> int | None:
        """The rest of a compressor that is none: it does not cool, and nobody laid it up."""
        since_ms, warmth = self.runs.since_ms, self.warmth()
        if self.balance is None or since_ms < (self.pulls_ms or 0) or self.panel.doing.laid_up:
            return None
        if warmth is not None and warmth < MILD_C:
            return None
        still_ms = self.balance.still_ms(since_ms, at_night=False)
        if still_ms is None or warmth is not None:
            return still_ms
        ends = self.panel.local_minute(since_ms + still_ms)
        night = ends >= EVENING or ends < MORNING or self.panel.local_minute(since_ms) < MORNING
        return self.balance.still_ms(since_ms, at_night=True) if night else still_ms

    def usual_ms(self) -> int:
        """The middle run of a compressor."""
        return self.cooling.usual_ms() if self.cooling is not None else 0

    def _case(self, name: str, since_ms: int | None) -> None:
        if since_ms is None:
            self.cases.pop(name, None)
        else:
            self.cases.setdefault(name, since_ms)

    def _judge(self, time_ms: int, past: Past | None, *, heard: bool) -> None:
        runs = self.runs
        if runs.on:
            lasts_ms = time_ms - runs.since_ms
            pulls_down = self.pulls_ms is not None and runs.since_ms < self.pulls_ms
            if self.longest_ms is not None and lasts_ms > self.longest_ms and not pulls_down:
                self._case("overlong", runs.since_ms)
            inside = self._inside() if self.box is not None else None
            if self.box is not None and inside is not None:
                self.box.reads(*inside)
                if lasts_ms > AJAR_MS and self.box.holds() and not pulls_down:
                    self._case("ajar", runs.since_ms)
            longest = self._longest() if "run" not in self.cases else None
            if longest is not None and lasts_ms > longest and runs.whole:
                self._case("run", runs.since_ms)
        elif past is not None and past.ran:
            self._case("overlong", None)
            self._case("ajar", None)
            longest = self._longest()
            if longest is None or past.length_ms <= longest:  # the first run that is its own again
                self._case("run", None)
        if runs.on is False and (heard or not self._on_change):  # silence of one who tells changes only proves no rest
            still_ms = self._still() if "off" not in self.cases else None
            if still_ms is not None and time_ms - runs.since_ms > still_ms:
                self._case("off", runs.since_ms)
        for name, part in (("short", self.short), ("leak", self.leak), ("sump", self.sump)):
            if part is not None:
                self._case(name, part.since(time_ms))

    def _tell(self, now_ms: int, *, fresh: bool) -> None:
        elsewhere = self.active is None and bool(self.cases) and self._told_elsewhere()
        if self.active is not None and self.active not in self.cases:
            following = next((name for name in CASES if name in self.cases), None)
            if following is None or self._kind(following) == self._kind(self.active):
                if following is None:
                    self._emit("ends", now_ms)
                    self.active = self.cause = None
                else:
                    self.active = following
            else:
                self.active, self.since_ms = following, self.cases[following]
                self._emit("changes", now_ms)
            return
        if self.active is None and self.cases and fresh and not elsewhere:
            self.active = next(name for name in CASES if name in self.cases)
            self.since_ms = min(self.cases[self.active], now_ms)
            self._emit("begins", now_ms)
        elif self.active in ("ajar", "run", "weak", "habit", "overlong", "high") and self.cooling is not None:
            if now_ms - self.said_ms < 4 * QUARTER_MS or not fresh:
                return
            self.said_ms = now_ms
            cause, ranked = weighed(names(self))
            if cause not in (self.cause, None) and dict(ranked).get(self.cause or "", 0.0) < RENAME:
                self._emit("changes", now_ms)

    def _kind(self, case: str) -> str:
        return KIND.get(case, "short-cycling")

    def _emit(self, edge: str, now_ms: int) -> None:
        kind = self._kind(self.active or "")
        weigh = kind in ("duty-high", "overlong-run") and edge != "ends"
        self.cause, figures, facts, candidates = told(self, weigh=weigh, now_ms=now_ms)
        if candidates:
            self.said_ms = now_ms
        self.bench.found.append(
            Condition(
                subject="circuit", subject_id=self.circuit.id, group="rhythm", edge=edge, at_ms=now_ms,
                since_ms=self.since_ms, kind=kind, priority="medium", cause=self.cause,
                candidates=tuple((cause, p) for cause, p in candidates if p >= 0.02),
                confidence=candidates[0][1] if candidates and self.cause is not None else None,
                figures=tuple(figures), evidence=tuple(facts),
            )
        )  # fmt: skip

    def gap(self, to_ms: int) -> None:
        """Readings were missing: what was going on is not whole, and what runs after it is another run."""
        last_ms = self.runs.last_ms
        self.look_ms = 0
        if last_ms is not None and to_ms - last_ms <= BRIDGES * self._period_ms and not self._on_change:
            self.runs.bridge()
            return
        self.runs.gap()
        self.cases.pop("off", None)
        if last_ms is not None and to_ms - last_ms >= REST_MS and self._cold:
            self._pulls_down_until(to_ms + min(PULL_DOWN * (to_ms - last_ms), PULL_DOWN_MS))
        if self.balance is not None and self.box is not None:
            self.balance.gap()
            self.box.gap()
        if self.cooling is not None:
            self.cooling.run_w, self.cooling.run_n = 0.0, 0

    def unheard(self) -> None:
        """Its monitor or the broker went: what an on-change publisher said last does not stand."""
        if self._on_change and self.runs.last_ms is not None:
            self.gap(self.runs.last_ms)
            self.bench.call_at(self, None)

    def rest(self) -> None:
        """The program was off: a gap until the next reading."""
        if self.runs.last_ms is not None:
            self.gap(self.runs.last_ms)
        self.settles_ms = max(self.settles_ms or 0, self.runs.counted_ms + BEGIN_MS) if self._cold else None
        self.bench.call_at(self, None)

    def save(self) -> dict[str, Any]:
        state: dict[str, Any] = {name: getattr(self, name) for name in _KEPT}
        state |= {"runs": self.runs.save(), "cases": [[name, since] for name, since in self.cases.items()]}
        state["day"] = [list(row) for row in self.day]
        for name in _PARTS:
            part = getattr(self, name)
            state[name] = part.save() if part is not None else None
        return state

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        self.runs.restore(state["runs"])
        self.cases = dict(state["cases"])
        self.day = [list(row) for row in state["day"]]
        for name in _PARTS:
            part = getattr(self, name)
            if part is not None and state[name] is not None:
                part.restore(state[name])


_KEPT = (
    "due_ms", "look_ms", "settles_ms", "pulls_ms", "began", "active", "since_ms", "cause", "said_ms",
    "last_w", "last_a",
    "volts", "received_ms", "unfed",
)  # fmt: skip
_PARTS = ("duties", "cooling", "balance", "box", "short", "leak", "sump")


def depends(circuit: Circuit) -> object:
    """What this file's state depends on."""
    return circuit.loads, circuit.supply, circuit.sense, circuit.feed, circuit.importance
