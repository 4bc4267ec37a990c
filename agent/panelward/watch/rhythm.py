"""A load whose rhythm is wrong: it runs too long, too much, too little, or starts too often. Group `rhythm`, all medium.

    overlong-run   a run beyond the schedule's longest
    duty-high      more of its window than the schedule's duty; a compressor: more than its own habit at this warmth, or a
                   run far beyond its own longest (`cooling` weighs why)
    duty-low       less of its window than the schedule's duty
    short-cycling  a compressor that starts and stops, cause `low-volts-at-start` where its volts fall as it starts; with
                   cause `leak-down` a pump that holds a leak's pressure (`starts`); with `water-comes-in` a sump pump

A leak and a wet sump have no kind of their own: it is the starts that are too many, their duty stays under a hundredth.
What another alarm tells of this circuit (a lost feed, a drain outside its hours, a pump that runs dry) is not told again.
"""

from __future__ import annotations

from typing import Any

from panelward.ratings.behaviour import at_nominal, exponent_of
from panelward.records import Circuit, Condition, Duty, Facts, Figure, Supply
from panelward.watch.bench import Bench
from panelward.watch.cooling import REST_MS, SLOPE, Cooling, weighed
from panelward.watch.dead import Dead
from panelward.watch.drain import Drain
from panelward.watch.level import Level
from panelward.watch.panel import Panel, Sample
from panelward.watch.runs import QUARTER_MS, Past, Runs, on_w
from panelward.watch.starts import Leak, ShortCycles, Sump

SEEN = 0.9  # of a window that must have been seen
HOT_C, COLD_C = 32.0, 20.0  # a compressor's band is written for weather between these (common practice, no source)
FROST_C, WARM_C = 0.0, 10.0  # a heater may run for ever below the one and never above the other (common practice, no source)
BACK = 0.03  # of duty within its band again
HOLD_MS, HOLD_BLIND_MS = 12 * 3600_000, 24 * 3600_000  # a compressor above its band: warm goods are cold after 4 to 12 h;
# … and where no probe tells how warm it is, a day of it (a hot afternoon is over by then)
OVER = 0.05  # … and by so much: doors that people open
BLIND_WATTS = 0.8
PULL_DOWN = 4  # after a long rest or gap its contents have warmed: it pulls down for so many times the rest,
PULL_DOWN_MS = 12 * 3600_000  # … this at most (a hot load takes 4 to 12 h: trade practice)
BEGIN_MS = 12 * 3600_000  # a rest that nobody saw may have been any
LOOK_MS = 60_000  # on-change publishers
HALF_DAY_MS = 12 * 3600_000
HEATS = ("heater-element", "air-heater")
# One alarm of the group at a time: the first of these that is the case, until it is over.
CASES = ("overlong", "short", "leak", "sump", "run", "habit", "high", "low")
KIND = {"overlong": "overlong-run", "run": "duty-high", "habit": "duty-high", "high": "duty-high", "low": "duty-low"}


class Rhythm:
    """One circuit's rhythm."""

    def __init__(self, bench: Bench, panel: Panel, circuit: Circuit, supply: Supply, period_ms: int) -> None:
        self._bench, self._panel, self._circuit, self._supply = bench, panel, circuit, supply
        self._period_ms, self._on_change = period_ms, circuit.sense.publishes == "on-change"
        loads = circuit.loads
        self.kinds = tuple(load.kind for load in loads)
        self._nominal_v = supply.nominal_v
        behaves = loads[0].behaves if loads else "constant-power"
        self._exponent = exponent_of(behaves) if all(load.behaves == behaves for load in loads) else 0.0
        self._on_w, known = on_w(circuit, supply)
        longest = [load.longest_run_s for load in loads if load.longest_run_s is not None]
        self._longest_ms = round(max(longest) * 1000) if loads and len(longest) == len(loads) else None
        alone = len(loads) == 1 and known
        self._duty: Duty | None = loads[0].duty if alone else None
        self._quarters = max(1, round(self._duty.window_h * 4)) if self._duty else 0
        cold = self._cold = self.kinds == ("compressor",) and known
        self.cooling = Cooling() if cold else None
        self.short = ShortCycles(period_ms) if cold and ShortCycles.judged(period_ms, self._on_change) else None
        pump = self.kinds == ("pump",)
        sump = self._sump = pump and (circuit.feed == "always-on" or circuit.importance == "life")
        self.leak = Leak(period_ms) if pump and not sump and Leak.judged(period_ms) else None
        self.sump = Sump() if sump and Sump.judged(period_ms) else None
        self._feeds_sump = pump and not sump
        self.judged = bool(
            loads and (self._longest_ms is not None or self._duty or self.cooling or self.leak or self.sump or self._feeds_sump)
        )
        self.dead: Dead | None = None
        self.drain: Drain | None = None
        self.level: Level | None = None
        self.order = bench.enrol(self)
        self.due_ms: int | None = None
        self.runs = Runs()
        self.look_ms = 0  # nothing can happen before, as measured
        self.window: list[list[Any]] = []  # the last quarters of an hour: seen ms, ran ms, warmth
        self.day: list[list[Any]] = []  # … of a compressor's day
        self.settles_ms: int | None = None  # what it does until then says nothing of its habit
        self.high_ms: int | None = None  # above its band since
        self.low_ms: int | None = None  # below it since
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

    def take(self, sample: Sample) -> None:
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
            self._bench.call_at(self, sample.received_ms + LOOK_MS)

    def fire(self, now_ms: int) -> None:
        """On-change publishers: what was said last goes on, as far as anybody knows."""
        runs = self.runs
        if runs.last_ms is None or runs.on is None:
            return
        time_ms = runs.last_ms + now_ms - self.received_ms
        self.received_ms = now_ms
        self._step(time_ms, runs.on, now_ms, fresh=True)
        self._bench.call_at(self, now_ms + LOOK_MS)

    def _step(self, time_ms: int, on: bool, now_ms: int, *, fresh: bool) -> None:
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
        self._judge(time_ms, past)
        self._tell(now_ms, fresh=fresh)
        self.look_ms = min(runs.quarter_ms, self._next_ms(time_ms))
        if self.cases and self.active is None and not fresh:
            self.look_ms = 0  # history raises nothing: the first reading of now does

    def _next_ms(self, time_ms: int) -> int:
        """When a run grows too long."""
        if self.runs.on:
            ends = [ms for ms in (self._longest_ms, self._longest()) if ms is not None]
            waits = [self.runs.since_ms + ms + 1 for ms in ends]
        else:
            waits = [part.over_ms for part in (self.short, self.leak, self.sump) if part is not None and part.over_ms]
        return min((at_ms for at_ms in waits if at_ms > time_ms), default=time_ms + QUARTER_MS)

    def _starts(self, time_ms: int) -> None:
        if self._feeds_sump:
            self._panel.pumped_ms = time_ms

    def _over(self, past: Past) -> None:
        """A run or a rest is over."""
        ended_ms = past.began_ms + past.length_ms
        if past.ran:
            if self._feeds_sump:
                self._panel.pumped_ms = ended_ms
            if self.cooling is not None:
                self.cooling.ran(past.length_ms, ended_ms, self._warmth(), whole=past.whole, learn=self._ordinary(ended_ms))
            if past.whole:
                if self.short is not None:
                    self.short.ran(past.began_ms, past.length_ms, self.volts)
                if self.leak is not None:
                    away = self._panel.doing.aboard is False
                    self.leak.ran(past.began_ms, past.length_ms, self._panel.local_minute(past.began_ms), away=away)
                if self.sump is not None:
                    self.sump.ran(past.began_ms, self._panel.pumped_ms)
        elif self.cooling is not None and self.cooling.rested(past.length_ms):
            settles_ms = ended_ms + min(PULL_DOWN * past.length_ms, PULL_DOWN_MS)
            self._pulls_down_until(settles_ms)
            if self.short is not None:
                self.short.forget()

    def _warmth(self) -> float | None:
        return self._panel.outside_c

    def _ordinary(self, time_ms: int) -> bool:
        """Is what it does now its habit, as far as anybody can tell? With nobody aboard it is no habit of people's."""
        if self._panel.doing.aboard is False:
            return False
        return self.active is None and not self.cases and not self._settling(time_ms) and not self._told_elsewhere()

    def _pulls_down_until(self, until_ms: int) -> None:
        self.settles_ms = max(self.settles_ms or 0, until_ms)
        self.pulls_ms = max(self.pulls_ms or 0, until_ms)

    def _settling(self, time_ms: int) -> bool:
        return self.settles_ms is not None and time_ms < self.settles_ms

    def _told_elsewhere(self) -> bool:
        """Does another alarm of this circuit tell the cause?"""
        if self.dead is not None and (self.dead.active is not None or self.dead.covered):
            return True
        if self.drain is not None and self.drain.active is not None:
            return True
        return self.level is not None and self.level.active is not None

    def _quarters_over(self) -> None:
        for quarter in self.runs.closed:
            warmth = self._warmth()
            row = [quarter.seen_ms, quarter.ran_ms, warmth]
            ordinary = self._ordinary(quarter.end_ms)
            if self._quarters:
                keep = self._quarters - 1
                self.window = [*(self.window[-keep:] if keep else []), row]
                if self._cold and self._settling(quarter.end_ms):
                    self.window, self.high_ms, self.low_ms = [], None, None
                self._of_window(quarter.end_ms)
            if self.cooling is not None:
                self.day = [*self.day[-95:], row]
                minute = self._panel.local_minute(quarter.end_ms)
                judged = self.cooling.quarter(quarter.seen_ms, quarter.ran_ms, warmth, minute, learn=ordinary)
                if judged and not self._settling(quarter.end_ms):
                    self._case("habit", quarter.end_ms - 2 * 8 * 3600_000)
                elif judged is not None and not (self.cooling.over and self.cooling.over[-1]):
                    self._case("habit", None)
        self.runs.closed = []

    def _of_window(self, end_ms: int) -> None:
        """The schedule's duty."""
        assert self._duty is not None
        share = self._share(self.window)
        if share is None or len(self.window) < self._quarters:
            return
        low, high = self._band(self._mean_warmth(self.window))
        since_ms = end_ms - self._quarters * QUARTER_MS
        if share > high + (OVER if self._cold else 0.0):
            self.high_ms = self.high_ms if self.high_ms is not None else since_ms
            if end_ms - self.high_ms >= self._hold_ms():
                self._case("high", self.high_ms)
        elif share < high - BACK or "high" not in self.cases:
            self.high_ms = None
            self._case("high", None)
        if share < low:
            self.low_ms = self.low_ms if self.low_ms is not None else since_ms
            if end_ms - self.low_ms >= (self._hold_ms() if self._warmth() is None else 0):
                self._case("low", self.low_ms)
        elif share > low + BACK * min(1.0, low / BACK):
            self.low_ms = None
            self._case("low", None)

    def _hold_ms(self) -> int:
        """So long it must have been above its band, the window in it."""
        if not self._cold:
            return 0
        return self._quarters * QUARTER_MS + (HOLD_MS if self._warmth() is not None else HOLD_BLIND_MS)

    def _band(self, warmth: float | None) -> tuple[float, float]:
        """The schedule's duty in this weather: in heat a compressor honestly runs more, in cold less; heaters the other way."""
        assert self._duty is not None
        low, high = self._duty.low, self._duty.high
        if warmth is not None and self._cold:
            high += SLOPE * max(0.0, warmth - HOT_C)
            low = max(0.0, low - SLOPE * max(0.0, COLD_C - warmth))
        elif warmth is not None and all(kind in HEATS for kind in self.kinds):
            high = 1.0 if warmth < FROST_C else high
            low = 0.0 if warmth > WARM_C else low
        return low, high

    @staticmethod
    def _share(rows: list[list[Any]]) -> float | None:
        """Of what was seen, how much it ran; None: too little was seen."""
        seen: int = sum(row[0] for row in rows)
        ran: int = sum(row[1] for row in rows)
        if not rows or seen < SEEN * QUARTER_MS * len(rows):
            return None
        return ran / seen

    @staticmethod
    def _mean_warmth(rows: list[list[Any]]) -> float | None:
        known: list[float] = [row[2] for row in rows if row[2] is not None]
        return sum(known) / len(known) if known and len(known) == len(rows) else None

    def _longest(self) -> int | None:
        """The run of a compressor that is none of its own."""
        if self.cooling is None or self._settling(self.runs.since_ms):
            return None
        return self.cooling.longest(self._share(self.day), self._warmth())

    def _case(self, name: str, since_ms: int | None) -> None:
        if since_ms is None:
            self.cases.pop(name, None)
        else:
            self.cases.setdefault(name, since_ms)

    def _judge(self, time_ms: int, past: Past | None) -> None:
        runs = self.runs
        if runs.on:
            lasts_ms = time_ms - runs.since_ms
            pulls_down = self.pulls_ms is not None and runs.since_ms < self.pulls_ms
            if self._longest_ms is not None and lasts_ms > self._longest_ms and not pulls_down:
                self._case("overlong", runs.since_ms)
            longest = self._longest() if "run" not in self.cases else None
            if longest is not None and lasts_ms > longest and runs.whole:
                self._case("run", runs.since_ms)
        elif past is not None and past.ran:
            self._case("overlong", None)
            longest = self._longest()
            if longest is None or past.length_ms <= longest:  # the first run that is its own again
                self._case("run", None)
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
        elif self.active in ("run", "habit", "overlong", "high") and self.cooling is not None:
            if now_ms - self.said_ms < 4 * QUARTER_MS or not fresh:
                return
            self.said_ms = now_ms
            if weighed(self._names())[0] not in (self.cause, None):
                self._emit("changes", now_ms)

    def _kind(self, case: str) -> str:
        return KIND.get(case, "short-cycling")

    def _names(self) -> tuple[str, ...]:
        """What the evidence of a compressor that runs more is called."""
        assert self.cooling is not None
        names: list[str] = []
        ratio = self.cooling.watts_ratio(self._warmth())
        if ratio is not None and self._warmth() is None and ratio > BLIND_WATTS:
            ratio = None  # its watts rise and fall with the warmth, which nobody knows
        if ratio is not None:
            names.append(
                "runs-at-more-watts" if ratio > 1.045
                else "runs-at-its-watts" if ratio > 0.96
                else "runs-at-fewer-watts" if ratio > 0.87
                else "runs-at-far-fewer-watts"
            )  # fmt: skip
        crept = self.cooling.crept
        if crept is not None and self.active == "habit":
            names.append("crept-up" if crept else "came-at-once")
        elif self.active == "run" and crept is False:
            names.append("came-at-once")
        if (self.runs.last_ms or 0) - self.since_ms >= HALF_DAY_MS:
            names.append("lasts-half-a-day")
        if self.cooling.eases and self.active != "run":
            names.append("eases-off")
        if self.runs.on and (self.runs.last_ms or 0) - self.runs.since_ms > 4 * 3600_000:
            names.append("never-rests")
        elif self.active == "habit":
            names.append("still-rests")
        return tuple(names)

    def _emit(self, edge: str, now_ms: int) -> None:
        case = self.active or ""
        kind = self._kind(case)
        facts: list[tuple[str, Facts]] = []
        figures: list[tuple[str, Figure]] = [("draw_w", self.last_w), ("draw_a", self.last_a), ("why", case)]
        candidates: tuple[tuple[str, float], ...] = ()
        confidence: float | None = None
        self.cause = {"leak": "leak-down", "sump": "water-comes-in"}.get(case)
        lasts_s = ((self.runs.last_ms or self.since_ms) - self.since_ms) / 1000.0
        if case in ("overlong", "run"):
            figures.append(("run_s", lasts_s))
        if case == "overlong" and self._longest_ms is not None:
            facts.append(("longest-run", (("longest_s", self._longest_ms / 1000.0),)))
        elif case == "run" and self.cooling is not None:
            usual = self.cooling.usual_ms() / 60_000.0
            facts.append(("run-beyond-its-own", (("minutes", lasts_s / 60.0), ("usual", usual))))
        elif case in ("high", "low") and self._duty is not None:
            low, high = self._band(self._mean_warmth(self.window))
            share = self._share(self.window)
            warmth = self._mean_warmth(self.window)
            figures += [("duty", share), ("window_h", self._duty.window_h), ("outside_c", warmth)]
            percent = None if share is None else round(100.0 * share)
            facts.append((f"duty-{case}", (("percent", percent), ("window", self._duty.window_h), ("limit", round(100 * high)),
                                           ("least", round(100 * low)))))  # fmt: skip
            if warmth is not None:
                facts.append(("outside-warmth", (("celsius", warmth),)))
        elif case == "habit" and self.cooling is not None:
            share, warmth = self._share(self.day[-64:]), self._mean_warmth(self.day[-64:])
            figures += [("duty", share), ("window_h", 16.0), ("outside_c", warmth)]
            expected = self.cooling.expected(warmth, 0)[0] if warmth is not None else None
            percent = None if share is None else round(100.0 * share)
            facts.append(("duty-over-habit", (("percent", percent), ("celsius", warmth),
                                              ("habit", None if expected is None else round(100.0 * expected)))))  # fmt: skip
        elif case == "short" and self.short is not None:
            own, cause, fact = self.short.told()
            figures += own
            self.cause = cause
            facts.append(fact)
            if cause is not None and self._circuit.sense.volts_at == "bus":
                facts.append(("volts-of-the-bus", ()))
        elif case == "leak" and self.leak is not None:
            own, fact = self.leak.told()
            figures += own
            facts.append(fact)
        elif case == "sump" and self.sump is not None:
            own, fact = self.sump.told()
            figures += own
            facts.append(fact)
        if kind in ("duty-high", "overlong-run") and self.cooling is not None and edge != "ends":
            names = self._names()
            self.cause, candidates = weighed(names)
            self.said_ms = now_ms
            facts += [(name, ()) for name in names]
            candidates = tuple((cause, p) for cause, p in candidates if p >= 0.02)
            confidence = candidates[0][1] if self.cause is not None else None
        self._bench.found.append(
            Condition(
                subject="circuit", subject_id=self._circuit.id, group="rhythm", edge=edge, at_ms=now_ms,
                since_ms=self.since_ms, kind=kind, priority="medium", cause=self.cause, candidates=candidates,
                confidence=confidence, figures=tuple(figures), evidence=tuple(facts),
            )
        )  # fmt: skip

    def gap(self, to_ms: int) -> None:
        """Readings were missing: what was going on is not whole, and what runs after it is another run."""
        last_ms = self.runs.last_ms
        self.runs.gap()
        self.look_ms = 0
        if last_ms is not None and to_ms - last_ms >= REST_MS and self._cold:
            self._pulls_down_until(to_ms + min(PULL_DOWN * (to_ms - last_ms), PULL_DOWN_MS))
        if self.cooling is not None:
            self.cooling.run_w, self.cooling.run_n = 0.0, 0

    def unheard(self) -> None:
        """Its monitor or the broker went: what an on-change publisher said last does not stand."""
        if self._on_change and self.runs.last_ms is not None:
            self.gap(self.runs.last_ms)
            self._bench.call_at(self, None)

    def rest(self) -> None:
        """The program was off: a gap until the next reading."""
        if self.runs.last_ms is not None:
            self.gap(self.runs.last_ms)
        self.settles_ms = max(self.settles_ms or 0, self.runs.counted_ms + BEGIN_MS) if self._cold else None
        self._bench.call_at(self, None)

    def save(self) -> dict[str, Any]:
        state: dict[str, Any] = {name: getattr(self, name) for name in _KEPT}
        state |= {"runs": self.runs.save(), "cases": [[name, since] for name, since in self.cases.items()]}
        state |= {"window": [list(row) for row in self.window], "day": [list(row) for row in self.day]}
        for name in _PARTS:
            part = getattr(self, name)
            state[name] = part.save() if part is not None else None
        return state

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])
        self.runs.restore(state["runs"])
        self.cases = dict(state["cases"])
        self.window, self.day = [list(row) for row in state["window"]], [list(row) for row in state["day"]]
        for name in _PARTS:
            part = getattr(self, name)
            if part is not None and state[name] is not None:
                part.restore(state[name])


_KEPT = (
    "due_ms", "look_ms", "settles_ms", "pulls_ms", "high_ms", "low_ms", "began", "active", "since_ms", "cause", "said_ms",
    "last_w", "last_a",
    "volts", "received_ms",
)  # fmt: skip
_PARTS = ("cooling", "short", "leak", "sump")


def depends(circuit: Circuit) -> object:
    """What this file's state depends on."""
    return circuit.loads, circuit.supply, circuit.sense, circuit.feed, circuit.importance
