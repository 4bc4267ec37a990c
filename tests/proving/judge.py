"""One case through the core, and what its answers are worth."""

from __future__ import annotations

import time
from typing import Any

from panelward.core import Core
from panelward.records import Output, Reading, Settings, Transition
from proving.baselines import Fixed, Sigma
from proving.cases import STUCK_S, Case, Truth
from proving.vehicle import T0_MS, Way

UNDECIDED = (None, "unknown", "supply-lost")  # "supply-lost" says no more than what is seen
SAYS = {"readings-overdue": "link-lost", "reading-suspect": "sensor-failed"}  # kinds that are an answer in themselves
OVER = 1.25  # times the rating: what no device may carry for ever lies above it
NEAR_V = 0.5  # above the cut-off: a warning of it is true
IDLE_A = 0.03  # what a channel may read of nothing
LATENCY_MS = 1000  # of the transport, in the deadlines
OF_DRAW = ("level", "rhythm", "drift")  # of what is drawn: these scenes hold loads at shares that no schedule lists


def plain(transition: Transition, onset_ms: int | None) -> dict[str, Any]:
    """A transition as a line of the outcome."""
    t = transition
    return {
        "at": t.at_ms, "delay_s": None if onset_ms is None else round((t.at_ms - onset_ms) / 1000, 1), "event": t.event,
        "state": t.state, "told": t.told, "subject": t.subject, "id": t.subject_id, "group": t.group, "kind": t.kind,
        "priority": t.priority, "cause": t.cause, "candidates": [list(c) for c in t.candidates],
        "confidence": getattr(t, "confidence", None), "circuits": list(t.circuits),
        "evidence": [[name, dict(figures)] for name, figures in t.evidence],
    }  # fmt: skip


def stated(line: dict[str, Any]) -> str | None:
    """The cause that a transition names, if it names one."""
    cause: str | None = line["cause"]
    if line["group"] == "readings":  # stuck, reversed, scaled: its sensing is at fault
        return SAYS.get(line["kind"], cause)
    return None if cause in UNDECIDED else cause


def first_choice(line: dict[str, Any]) -> str | None:
    said = stated(line)
    if said is None and line["candidates"]:
        return str(line["candidates"][0][0])
    return said


class Watching:
    """When the target's readings after the onset came: the deadline counts from them."""

    def __init__(self, truth: Truth, way: Way, period_s: float) -> None:
        self.truth, self.way, self.period_s = truth, way, period_s
        self.rating_a = way.protection.rating_a
        self.rule = truth.rule
        self.came: list[int] = []
        self.last_before: int | None = None
        self.last_a = 0.0  # what it drew by that reading
        self.last: Reading | None = None  # a message sent twice is one reading
        self.over_ms: int | None = None  # last reading that shows more than its device carries for long

    def take(self, reading: Reading, onset_ms: int | None) -> None:
        if reading.circuit != self.truth.target or reading.origin != "live":
            return
        if onset_ms is None or reading.time_ms < onset_ms:
            self.last_before, self.last_a = reading.received_ms, abs(reading.amps or 0.0)
            if reading.amps is not None and reading.amps > OVER * self.rating_a:
                self.over_ms = reading.received_ms
        elif len(self.came) < 30 and reading != self.last:
            self.came.append(reading.received_ms)
        self.last = reading

    def due(self, onset_ms: int) -> tuple[bool, bool]:
        """Whether an alarm is due, and whether its cause shows. An opened device shows by the overload before it, by volts
        behind it, or by what others' readings say; else only a floor proves that the circuit is dead.
        """
        truth, way = self.truth, self.way
        if truth.cause != "device-opened":
            return truth.must, truth.tellable
        behind = way.sense.volts_at == "after-device" or (way.sense.volts_at == "after-switch" and way.tells_closed)
        over = self.over_ms is not None and onset_ms - self.over_ms <= 1000 * max(15.0, 2.5 * self.period_s)
        shows = behind or over or truth.shows
        if self.rule == "load" and not (shows and (over or self.last_a > IDLE_A + way.sense.resolution_a)):
            self.rule = "floor"  # our own choice: 15 s where a load was running; a minute where it rested
        floor = way.declared_floor_w is not None
        return floor or (truth.rule == "load" and shows), shows

    def deadline_ms(self, onset_ms: int) -> int | None:
        """None: no reading ever showed it."""
        came, period, rule = self.came, self.period_s, self.rule
        if self.way.sense.reports == "mean" and len(came) > 1:
            came = came[1:]  # the first is a mean over the time before, too
        if rule == "silent":
            return max(self.last_before or 0, onset_ms) + round(1000 * max(10 * period, 120)) + 5 * LATENCY_MS
        if not came:
            return None
        if rule == "load":
            second = came[1] if len(came) > 1 else came[0]
            if self.way.sense.publishes == "on-change":  # the second is its next look, which finds nothing new to say
                second = came[0] + round(1000 * period)
            return max(onset_ms + 15000, second) + LATENCY_MS
        if rule == "slow":
            return onset_ms + round(1000 * (STUCK_S + max(900.0, 60 * period)))
        third = came[2] if len(came) > 2 else came[-1]
        return max(came[0] + round(1000 * max(60.0, 3 * period)), third) + LATENCY_MS


def run(case: Case) -> dict[str, Any]:
    """The outcome of a case: one JSON line."""
    began = time.perf_counter()
    van, truth = case.van, case.truth
    core = Core()
    fixed, sigma = Fixed(case.schedule), Sigma()
    watching = Watching(truth, van.way(truth.target), van.period_s)
    made: list[Transition] = []
    out: list[Output] = core.feed(Settings(received_ms=T0_MS, schedule=case.schedule, started=True))
    onset_ms = None if truth.mark else T0_MS + round(truth.onset_s * 1000)
    readings, feed = 0, core.feed
    for item in van.run(case.seconds):
        if onset_ms is None and truth.mark in van.marks:
            onset_ms = T0_MS + round(van.marks[truth.mark] * 1000)
        if isinstance(item, Reading):
            readings += 1
            watching.take(item, onset_ms)
            fixed.take(item)
            sigma.take(item)
        out += feed(item)
    out += core.advance(T0_MS + round(case.seconds * 1000))
    made = [t for t in out if isinstance(t, Transition)]
    lines = [plain(t, onset_ms) for t in made]
    must, tellable = (truth.must, truth.tellable) if onset_ms is None else watching.due(onset_ms)
    if van.cutoff_v is not None and van.lowest_v < van.cutoff_v + NEAR_V:
        truth.also = (*truth.also, "supply")  # it did come near its cut-off
    outcome: dict[str, Any] = {
        "case": case.id, "family": case.family, "innocent": case.innocent, "cause": truth.cause, "must": must,
        "tellable": tellable, "rule": watching.rule, "knowable": truth.knowable,
        "grade": case.grade, "void": onset_ms is None, "readings": readings,
        "hours": round(case.seconds / 3600, 3),
        "lowest_v": round(van.lowest_v, 2), "cutoff_v": van.cutoff_v,
    }  # fmt: skip
    surprises = sorted(name for name in van.marks if name != truth.mark)
    if surprises:
        outcome |= {"void": True, "surprises": surprises}  # something else truly happened besides
    deadline_ms = None if onset_ms is None else watching.deadline_ms(onset_ms)
    if onset_ms is not None and must and deadline_ms is None:
        outcome["must"] = False  # nothing was ever heard of it
    if deadline_ms is not None and deadline_ms > T0_MS + case.seconds * 1000:
        outcome["void"] = True  # ended before it was due
    outcome |= score(lines, truth, onset_ms, deadline_ms, case.innocent)
    for name, said in (("fixed", fixed.said), ("sigma", sigma.said)):
        outcome[name] = score_plain(said, truth, onset_ms, deadline_ms, case.innocent)
    outcome["transitions"] = lines
    outcome["cpu_s"] = round(time.perf_counter() - began, 3)
    return outcome


def score(
    lines: list[dict[str, Any]], truth: Truth, onset_ms: int | None, deadline_ms: int | None, innocent: bool
) -> dict[str, Any]:
    right = (truth.cause, *truth.fits)
    first: dict[str, Any] | None = None
    last: dict[str, Any] | None = None
    wrong: list[str] = []
    false_dead: dict[str, Any] | None = None  # the first false one about a dead circuit
    seen: dict[tuple[str, str, str], bool] = {}
    false: list[list[str]] = []
    extra = 0
    for line in lines:
        if not line["told"] or line["event"] not in ("begins", "begins-again", "changes") or line["group"] in OF_DRAW:
            continue
        about = (
            not innocent
            and onset_ms is not None
            and line["at"] >= onset_ms
            and line["group"] in truth.groups
            and (line["subject"], line["id"]) in truth.subjects
        )
        key = (line["subject"], line["id"], line["group"])
        if about:
            if first is None:
                first = line
            elif key not in seen:
                extra += 1
            if first is not None and (line["subject"], line["id"]) == (first["subject"], first["id"]):
                last = line
            said = stated(line)
            if said is not None and said not in right:
                wrong.append(said)
        elif line["group"] not in truth.also and line["event"] != "changes" and key not in seen:
            false.append([line["priority"], line["kind"], line["subject"], line["id"], str(line["cause"])])
            if false_dead is None and line["candidates"]:
                false_dead = line
            if innocent and stated(line) not in (None, *right):
                wrong.append(str(stated(line)))
        seen[key] = True
    in_time = first is not None and deadline_ms is not None and first["at"] <= deadline_ms
    choice = first_choice(last) if last else None
    return {
        "found": first is not None,
        "in_time": in_time,
        "delay_s": first["delay_s"] if first else None,
        "due_s": None if deadline_ms is None or onset_ms is None else round((deadline_ms - onset_ms) / 1000, 1),
        "parent": first is not None and truth.subjects[:1] == ((first["subject"], first["id"]),),
        "right_causes": list(right),
        "decision": decision(first or false_dead, right),
        "choice": choice,
        "named": stated(last) if last else None,
        "right": choice in right if last else None,
        "wrong": wrong,
        "false": false,
        "extra": extra,
    }


def decision(line: dict[str, Any] | None, right: tuple[str, ...]) -> dict[str, Any] | None:
    """What a fit of the weights needs of the first word about it: evidence with its weights, candidates, confidence."""
    if line is None:
        return None
    said = stated(line)
    return {
        "subject": line["subject"], "id": line["id"], "kind": line["kind"], "said": said, "truth": right[0],
        "evidence": dict(line["evidence"]),
        "candidates": dict(line["candidates"]), "confidence": line["confidence"],
    }  # fmt: skip


def score_plain(
    said: list[tuple[int, str, str]], truth: Truth, onset_ms: int | None, deadline_ms: int | None, innocent: bool
) -> dict[str, Any]:
    """A baseline knows circuits only; whichever circuit of the truth it names counts."""
    delay: float | None = None
    false = 0
    circuits = {subject_id for subject, subject_id in truth.subjects if subject == "circuit"} | {truth.target}
    for at_ms, circuit, what in said:
        if not innocent and onset_ms is not None and at_ms >= onset_ms and circuit in circuits:
            if delay is None and what == "dead":
                delay = round((at_ms - onset_ms) / 1000, 1)
        elif what != "overcurrent" or "overcurrent" not in truth.also:
            false += 1
    in_time = delay is not None and onset_ms is not None and deadline_ms is not None and delay * 1000 <= deadline_ms - onset_ms
    return {"found": delay is not None, "in_time": in_time, "delay_s": delay, "false": false}
