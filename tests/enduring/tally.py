"""What came of the faults, counted against what was seen from outside the daemon."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, fields
from typing import Any

from enduring.storms import EXPLAINED, FLOORS, INNOCENT, MARK, NUMBER, OF_OVERS, OVERS, Ear, Storm
from panelward.journal import OutboxRow

# The vehicle lives 300 times as fast: its 300 s without a reading are one second of this machine, which two cores that start
# many programs at once may well take. Such a silence is told rightly, as long as no reading came in it.
HICCUP_S = 3.0


@dataclass
class Count:
    """One line of the table."""

    name: str
    cases: int = 0
    alarms: int = 0  # journalled: begun, or begun again
    lost: int = 0
    unmarked: int = 0
    false: int = 0
    hiccups: int = 0  # silences that were true and shorter than HICCUP_S of real time
    readings_lost_s: float | None = None  # at most, of real time; None: not measured
    why: list[str] = field(default_factory=list)
    skipped: str = ""

    @property
    def good(self) -> bool:
        return not (self.lost or self.unmarked or self.false)

    def lose(self, why: str, count: int = 1) -> None:
        self.lost += count
        self.why.append(f"lost: {why}")

    def invent(self, why: str) -> None:
        self.false += 1
        self.why.append(f"false: {why}")

    def least(self, seconds: float) -> None:
        self.readings_lost_s = max(self.readings_lost_s or 0.0, seconds)

    def __add__(self, other: Count) -> Count:
        out = Count(self.name, skipped=self.skipped or other.skipped)
        for each in fields(self):
            if each.type == "int" or each.name == "why":
                setattr(out, each.name, getattr(self, each.name) + getattr(other, each.name))
        measured = [c.readings_lost_s for c in (self, other) if c.readings_lost_s is not None]
        out.readings_lost_s = max(measured, default=None)
        return out


HEAD = f"{'fault':<24}{'cases':>8}{'alarms':>9}{'lost':>7}{'repeats':>10}{'false':>8}{'readings':>12}"
UNDER = f"{'':<24}{'':>8}{'journal.':>9}{'':>7}{'unmarked':>10}{'':>8}{'lost s, most':>14}"[:80]


def line(count: Count) -> str:
    if count.skipped:
        return f"{count.name:<24} not done: {count.skipped}"[:80]
    seconds = "-" if count.readings_lost_s is None else f"{count.readings_lost_s:.1f}"
    counts = f"{count.lost:>7,}{count.unmarked:>10,}{count.false:>8,}"
    return f"{count.name:<24}{count.cases:>8,}{count.alarms:>9,}{counts}{seconds:>12}"


def judge(storm: Storm, count: Count) -> None:
    """Journal, sinks and the MQTT listener of one house, after everything is over and handed over."""
    storm.drained()  # what was found while others were waited for is on its way
    found = storm.transitions()
    count.alarms += sum(each["event"] in ("begins", "begins-again") for each in found)
    _whole(found, count)
    kept = {(each["id"], each["sequence"]): _said(each) for each in found}
    for _, shown in storm.seen:  # nothing is denied that was said
        what = f"{shown['id']} {shown['sequence']} {shown['event']}"
        said, written = _said(shown), kept.get((shown["id"], shown["sequence"]))
        if written is None:
            count.lose(f"said by MQTT, not in the journal: {what}")
        elif written != said:
            other = {k: (said.get(k), written.get(k)) for k in said.keys() | written.keys() if said.get(k) != written.get(k)}
            count.lose(f"said by MQTT, otherwise in the journal: {what}: {other}")
    for row in storm.left():
        count.lose(f"not handed over: {row.alarm_id} {row.step} {row.status} {row.last_why}")
    rows = storm.outbox()
    for row in rows:
        if row.status == "refused":
            count.lose(f"refused: {row.alarm_id} {row.last_why}")
    for at, ear in enumerate(storm.ears, start=1):
        _told(ear, [row for row in rows if row.address_ref == f"notify-{at}"], count)
    for each in found:
        _invented(storm, each, count)


def _said(shown: dict[str, Any]) -> dict[str, Any]:
    """Without its times, and the words that hold one: the journal shows them corrected once the clock was set."""
    return {key: value for key, value in shown.items() if key not in ("time", "since", "message", "evidence", "was_shown")}


def _whole(found: list[dict[str, Any]], count: Count) -> None:
    """Each alarm's steps are 1, 2, … in this order, each once."""
    steps: dict[str, list[int]] = {}
    for each in found:
        steps.setdefault(each["id"], []).append(each["sequence"])
    for name, numbers in steps.items():
        if numbers != list(range(1, len(numbers) + 1)):
            count.lose(f"steps of {name} are {numbers}")


def _told(ear: Ear, rows: list[OutboxRow], count: Count) -> None:
    heard: Counter[int] = Counter()
    took = {int(n) for _, body in ear.took for n in NUMBER.findall(body)}
    for _, body in ear.heard:
        if not body.startswith(MARK):
            heard.update(int(n) for n in NUMBER.findall(body))
    for number, times in heard.items():
        if times > 1:
            count.unmarked += times - 1
            count.why.append(f"repeat unmarked: message {number} came {times} times")
    if ear.took:
        # What a batch handed over together bears the greatest number of it.
        together: dict[float, int] = {}
        for row in rows:
            if row.status == "handed-over":
                (number,) = NUMBER.findall(row.body)
                together[row.settled_real_s or row.id] = max(together.get(row.settled_real_s or row.id, 0), int(number))
        known = {n for n in together.values() if n in took}
        for number in sorted(set(together.values()) - known):
            count.lose(f"message {number} was never taken by the sink")


def _invented(storm: Storm, each: dict[str, Any], count: Count) -> None:
    if each["event"] not in ("begins", "begins-again"):
        return
    what = f"{each['kind']} {each['subject']} at {each['time']}"
    if each["kind"] == "readings-overdue":
        least_s = 0.8 * storm.overdue_real_s
        slow = "broker" in each["subject"] and storm.unheard_at(each["time"], least_s)  # the machine was busy with the others
        if slow or storm.hushed_at(each["time"], least_s):
            return
        if storm.silent(each) and storm.real_s(each["time"]) - storm.real_s(each["since"]) < HICCUP_S:
            count.hiccups += 1
        else:
            count.invent(what)
    elif (
        each["kind"] not in EXPLAINED
        or each.get("circuit") in INNOCENT
        or ((each.get("circuit") in OVERS) != (each["kind"] in OF_OVERS) and "circuit" in each)
        or ("circuit" in each and each["circuit"] not in (*FLOORS, *OVERS))
    ):
        count.invent(what)
