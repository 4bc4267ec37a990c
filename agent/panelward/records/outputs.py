"""What comes out of the core: conditions (edges), transitions of alarms, answers to requests.

Facts only; `wording` alone turns them into text.
"""

from __future__ import annotations

from dataclasses import dataclass

Figure = float | int | str | bool | None | tuple[float | int | str | None, ...]
Facts = tuple[tuple[str, Figure], ...]

SUBJECTS = ("circuit", "supply", "feeder", "monitor", "broker", "vehicle")

# The key of an alarm is its subject and this group; its kind may change within the group.
GROUP_OF = {
    "conductor-overheating": "overcurrent",
    "overcurrent-approach": "overcurrent",
    "protection-doubtful": "device",
    "protection-opened": "dead",
    "feed-lost": "dead",
    "standby-drain": "drain",
    "off-profile": "level",
    "undervoltage-approach": "supply",
    "readings-overdue": "readings",
    "reading-suspect": "readings",
    "drill": "readings",
    "flood": "flood",
}

PRIORITIES = ("journal", "low", "medium", "high")  # rising


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """An edge of something that is the case: begins, changes, ends; suppressed, unsuppressed (a parent explains it);
    withdrawn (the schedule no longer asks).
    """

    subject: str
    subject_id: str
    group: str
    edge: str
    at_ms: int  # when it was judged, on the axis of received
    since_ms: int  # when it began, as measured
    kind: str
    priority: str
    cause: str | None = None
    candidates: tuple[tuple[str, float], ...] = ()
    confidence: float | None = None  # how probable it is that kind and cause are right; None: not known
    circuits: tuple[str, ...] = ()
    figures: Facts = ()  # what the kind measures; leaves as keys of the alarm object
    evidence: tuple[tuple[str, Facts], ...] = ()  # (name of the fact, its figures), the weightiest first


@dataclass(frozen=True, slots=True, kw_only=True)
class Transition:
    """One step in the life of one alarm."""

    id: str
    sequence: int
    at_ms: int
    since_ms: int
    subject: str
    subject_id: str
    group: str
    kind: str
    was: str | None
    event: str  # begins | begins-again | changes | ends | acknowledge | shelve | …
    state: str
    latched: bool
    priority: str
    cause: str | None
    candidates: tuple[tuple[str, float], ...]
    confidence: float | None
    circuits: tuple[str, ...]
    figures: Facts
    evidence: tuple[tuple[str, Facts], ...]
    told: bool  # a person's phone is to be told
    who: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What became of a request."""

    id: str
    done: bool
    why: str
    state: str | None = None


Output = Transition | Answer
