"""One case of a draw through the core, and what its answers are worth.

Right: told about one of the truth's subjects, as one of its kinds, from the moment on at which it is the case. Anything else
that is told is false, on the right circuit too. In time: by the truth's deadline, or by so many readings after the onset.
One root cause, one notice: every opening about the truth's subjects counts, whatever its kind.
"""

from __future__ import annotations

import time
from typing import Any

from panelward.core import Core
from panelward.records import Output, Reading, Settings, Transition
from proving.baselines import Fixed, Sigma
from proving.draw_band import Band
from proving.draw_scene import Case, Truth
from proving.judge import LATENCY_MS, NEAR_V, OVER, UNDECIDED, plain
from proving.vehicle import T0_MS, Way

Line = dict[str, Any]
OPENINGS = ("begins", "begins-again")
SAY_IT = ("standby-drain", "unassigned-draw")  # kinds that are an answer in themselves


class Came:
    """When the target's readings after the onset came, of those that show it."""

    def __init__(self, truth: Truth, way: Way, period_s: float) -> None:
        self.truth, self.way, self.period_s = truth, way, period_s
        self.onset_ms = T0_MS + round(truth.onset_s * 1000)
        self.came: list[int] = []
        self.rests: list[int] = []  # … of those that do not
        self.over = False  # one showed far more than its device carries
        self.last: Reading | None = None
        self.trying = False

    def take(self, reading: Reading) -> None:
        truth = self.truth
        if reading.circuit != truth.target or reading.time_ms < self.onset_ms or len(self.came) > truth.readings + 1:
            return
        if reading != self.last:  # a message sent twice is one reading
            shows = abs(reading.amps or 0.0) >= truth.shows_a
            self.over = self.over or abs(reading.amps or 0.0) > OVER * self.way.protection.rating_a
            if truth.tries:  # a try has shown itself as one when it is over
                if self.trying and not shows:
                    self.came.append(reading.received_ms)
            elif shows:
                self.came.append(reading.received_ms)
            elif truth.opens and len(self.rests) < 600:
                self.rests.append(reading.received_ms)
            self.trying = shows
        self.last = reading

    def due_ms(self) -> int | None:
        """By when it must be told; None: its readings never came."""
        truth = self.truth
        due = self.onset_ms + round(truth.deadline_s * 1000)
        if truth.readings:
            came, wanted = self.came, truth.readings
            if self.way.sense.reports == "mean" and not truth.shows_a:
                came = came[1:]  # the first is a mean over the time before, too
            if not came:
                return None
            if self.way.sense.publishes == "on-change" and not truth.tries:
                # The others are looks that find nothing new to say; one that finds it over says so.
                looked = came[0] + round(1000 * self.period_s * (wanted - 1))
                if truth.opens and len(came) < wanted and any(came[0] < at < looked + 500 for at in self.rests):
                    return None
                due = max(due, looked)
            elif len(came) < wanted:
                return None
            else:
                due = max(due, came[wanted - 1])
        return due + LATENCY_MS

    def opened_due_ms(self, opened_s: float) -> int | None:
        """By when an opened device must be told (our own choice); None: its sensing does not show what opened.

        It shows by volts behind the device, or by readings of far more than it carries just before.
        """
        way, opened_ms = self.way, T0_MS + round(opened_s * 1000)
        place = way.sense.volts_at
        behind = place == "after-device" or (place == "after-switch" and way.tells_closed)
        after = [at for at in self.rests if at >= opened_ms]
        if not (behind or self.over) or len(after) < 2:
            return None
        return max(opened_ms + 15_000, after[1]) + LATENCY_MS


def run(case: Case) -> Line:
    """The outcome of a case: one JSON line."""
    began = time.perf_counter()
    van, truth = case.van, case.truth
    core = Core()
    others = {"fixed": Fixed(case.schedule), "sigma": Sigma(), "band": Band(case.schedule)}
    came = Came(truth, van.way(truth.target), van.period_s)
    out: list[Output] = core.feed(Settings(received_ms=T0_MS, schedule=case.schedule, started=True, record=case.record))
    readings, feed = 0, core.feed
    takes = [other.take for other in others.values()]
    for item in van.run(case.seconds):
        if isinstance(item, Reading):
            readings += 1
            came.take(item)
            for take in takes:
                take(item)
        got = feed(item)
        if got:
            out += got
    out += core.advance(T0_MS + round(case.seconds * 1000))
    lines = [plain(t, came.onset_ms) for t in out if isinstance(t, Transition)]
    if van.cutoff_v is not None and van.lowest_v < van.cutoff_v + NEAR_V:
        truth.also = (*truth.also, "supply")  # it did come near its cut-off
    due_ms = None if case.innocent else came.due_ms()
    opened_s = van.marks.get(f"opened {truth.target}")
    if truth.opens and opened_s is not None and due_ms is None:
        # Too few readings showed it before its device opened: nothing can tell one from a start, and what can be told is
        # that it opened. Where that does not show either, nothing is due.
        truth.cause, truth.fits, truth.kinds = "device-opened", ("unknown",), ("protection-opened", "feed-lost")
        due_ms = came.opened_due_ms(opened_s)
        truth.knowable = due_ms is not None
    opened = sorted(name for name in van.marks if not ("dead" in truth.also and name == f"opened {truth.target}"))
    outcome: Line = {
        "case": case.id, "family": case.family, "group": case.group, "aim": case.aim, "draw": True, "innocent": case.innocent,
        "cause": truth.cause, "knowable": truth.knowable, "grade": case.grade, "recorded": case.record is not None,
        "void": bool(opened) or (due_ms is not None and due_ms > T0_MS + case.seconds * 1000), "surprises": opened,
        "must": not case.innocent and due_ms is not None, "readings": readings, "hours": round(case.seconds / 3600, 3),
    }  # fmt: skip
    outcome |= score(lines, truth, due_ms)
    for name, other in others.items():
        outcome[name] = score_plain(other.said, truth, due_ms)
    outcome["transitions"] = [line for line in lines if line["told"]]
    outcome["cpu_s"] = round(time.perf_counter() - began, 3)
    return outcome


def _named(line: Line) -> str | None:
    cause: str | None = line["cause"]
    return None if cause in UNDECIDED else cause


def _first_choice(line: Line) -> str | None:
    said = _named(line)
    return str(line["candidates"][0][0]) if said is None and line["candidates"] else said


def score(lines: list[Line], truth: Truth, due_ms: int | None) -> Line:
    """What was told, beside the truth."""
    begins_ms = T0_MS + round(truth.begins_s * 1000)
    right = (truth.cause, *truth.fits)
    first: Line | None = None
    last: Line | None = None
    false: list[list[str]] = []
    notices = 0
    for line in lines:
        opening = line["event"] in OPENINGS
        if not line["told"] or not (opening or line["event"] == "changes"):
            continue
        mine = (line["subject"], line["id"]) in truth.subjects and line["at"] >= begins_ms
        notices += mine and opening
        if mine and (line["kind"] in truth.kinds or _named(line) in right):  # a cause that is right tells it, whatever the kind
            first = first or line
            if line["group"] == first["group"]:  # the same alarm's later word; another one is a second notice
                last = line
        elif opening and line["group"] not in truth.also:
            false.append([line["priority"], line["kind"], line["subject"], line["id"], str(line["cause"])])
    choice = _first_choice(last) if last else None
    return {
        "found": first is not None,
        "in_time": first is not None and due_ms is not None and first["at"] <= due_ms,
        "delay_s": None if first is None else max(0.0, first["delay_s"]),
        "due_s": None if due_ms is None else round((due_ms - T0_MS) / 1000 - truth.onset_s, 1),
        "kind": first["kind"] if first else None,
        "choice": choice,
        "named": _named(last) if last else None,
        "right": choice in right or (last is not None and choice is None and last["kind"] in SAY_IT),
        "wrong": last is not None and _named(last) is not None and _named(last) not in right,
        "notices": notices,
        "false": false,
    }


def score_plain(said: list[tuple[int, str, str]], truth: Truth, due_ms: int | None) -> Line:
    """A plain watcher knows circuits only: whatever it says of the right one in time counts."""
    begins_ms = T0_MS + round(truth.begins_s * 1000)
    ids = {subject_id for subject, subject_id in truth.subjects if subject == "circuit"}
    told = [at for at, circuit, _ in said if circuit in ids and at >= begins_ms]
    false = sum(not (circuit in ids and at >= begins_ms) for at, circuit, _ in said)
    return {"in_time": bool(told) and due_ms is not None and told[0] <= due_ms, "false": false}
