"""What comes out of the core: conditions (edges), transitions of alarms, answers to requests.

Facts only; `wording` alone turns them into text.
"""

from __future__ import annotations

from dataclasses import dataclass

Figure = float | int | str | bool | None | tuple[float | int | str | None, ...]
Facts = tuple[tuple[str, Figure], ...]

SUBJECTS = ("circuit", "supply", "feeder", "monitor", "broker", "vehicle", "address", "people", "journal")

# The key of an alarm is its subject and this group; its kind may change within the group.
GROUP_OF = {
    "conductor-overheating": "overcurrent",
    "overcurrent-approach": "overcurrent",
    "protection-doubtful": "device",
    "protection-opened": "dead",
    "feed-lost": "dead",
    "standby-drain": "drain",
    "unassigned-draw": "drain",
    "off-profile": "level",
    "duty-high": "rhythm",
    "duty-low": "rhythm",
    "overlong-run": "rhythm",
    "short-cycling": "rhythm",
    "departed-from-record": "drift",
    "undervoltage-approach": "supply",
    "readings-overdue": "readings",
    "reading-suspect": "readings",
    "drill": "readings",
    "messages-unsent": "messages",
    "journal-unwritten": "journal",
    "flood": "flood",
}

# A cause is named at this posterior, with the next one at that at most; also where it is shown why.
NAMED = 0.85
RUNNER_UP = 0.10

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
    changed: tuple[str, ...] = ()  # reload: what is otherwise from now on,
    found: tuple[str, ...] = ()  # … and what vetting has to say of it that it did not before


@dataclass(frozen=True, slots=True, kw_only=True)
class Doing:
    """What the vehicle is doing, from now on; None: not known."""

    at_ms: int
    under_way: bool | None = None  # False: at rest
    on_shore: bool | None = None  # an outside AC supply is there, whatever it charges
    by_sun: bool | None = None  # the sun charges
    laid_up: bool = False
    aboard: bool | None = None

    def same(self, other: Doing) -> bool:
        """The same but for the time?"""
        return (self.under_way, self.on_shore, self.by_sun, self.laid_up, self.aboard) == (
            other.under_way, other.on_shore, other.by_sun, other.laid_up, other.aboard
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Replaced:
    """Another part does its work from now on: what was learned and measured of the old one no longer holds."""

    at_ms: int
    circuit: str
    part: str  # load | device
    what: str = ""  # as a person put it
    who: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rezoned:
    """Local time is another's from now on: hours of loads and of people, and the clock in sentences."""

    at_ms: int
    timezone: str
    was: str
    who: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """A person wants this moment kept, and says why."""

    at_ms: int
    who: str
    text: str
    circuit: str | None = None


Output = Transition | Answer | Doing | Replaced | Rezoned | Noted
