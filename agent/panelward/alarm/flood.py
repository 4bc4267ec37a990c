"""A flood of alarms is one message: which messages are told by themselves, and when the summary is due.

Two counts over ten minutes, each of alarms of which something would be told: those that begin (or begin again, get worse
after they were acknowledged, are let out) and those that end or change. More than ten of either: a flood; and the messages
themselves are counted: more than twenty are one too. From then on nothing is told by itself but what life depends on, and
one summary says what stands, again at most every ten minutes. It is over when all counts are below five and nothing
waits to be said.

An alarm counts once, however often it comes: one that chatters is no flood (`chatter`). Edges and time only.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

Key = tuple[str, str, str]

WINDOW_MS = 600_000  # EEMUA 191, as quoted: a flood is more than 10 alarms in 10 minutes
MOST = 10
MOST_MESSAGES = 20  # ten that begin and end; our own choice, no source
OVER_BELOW = 5  # EEMUA 191, from memory: until there are fewer than 5 in 10 minutes
GATHER_MS = 30_000  # what stops together is judged within so long of each other; our own choice, no source


@dataclass(slots=True)
class Flood:
    """The counts and, while there is one, the flood. Of each count the newest eleven are enough to judge by."""

    active: bool = False
    since_ms: int = 0  # its first beginning
    due_ms: int | None = None  # the next summary
    said_ms: int | None = None  # the last one, of this flood or an earlier one
    over_ms: int = 0  # the end of the flood before
    _begun: list[tuple[int, Key]] = field(default_factory=list)
    _others: list[tuple[int, Key]] = field(default_factory=list)
    _told_ms: list[int] = field(default_factory=list)  # what was told, less what life depends on; the newest twenty
    _covered: dict[Key, None] = field(default_factory=dict)  # in the order in which they came

    def take(self, key: Key, at_ms: int, *, begins: bool, alone: bool) -> bool:
        """Count what would be told; whether it is told by itself. `alone`: it always is."""
        if begins:
            self._begun = _counted(self._begun, key, at_ms)
        elif not alone:
            self._others = _counted(self._others, key, at_ms)
        if not self.active and self._more_than_most(at_ms):
            self.active = True
            recent = [(begun_ms, each) for begun_ms, each in self._begun if at_ms - begun_ms < WINDOW_MS]
            self.since_ms = max(recent[0][0] if recent else at_ms, self.over_ms)  # two floods never have the same
            self._covered = dict.fromkeys(each for _, each in recent)
        if not self.active:
            return True
        self._covered.setdefault(key)
        if alone:
            return True
        if self.due_ms is None:
            soonest_ms = at_ms + GATHER_MS
            self.due_ms = soonest_ms if self.said_ms is None else max(soonest_ms, self.said_ms + WINDOW_MS)
        return False

    def _more_than_most(self, at_ms: int) -> bool:
        if len(self._told_ms) == MOST_MESSAGES and at_ms - self._told_ms[0] < WINDOW_MS:
            return True
        return any(len(count) > MOST and at_ms - count[0][0] < WINDOW_MS for count in (self._begun, self._others))

    def told(self, at_ms: int) -> None:
        """One more message was told by itself, of something that a flood would cover."""
        self._told_ms = [*self._told_ms, at_ms][-MOST_MESSAGES:]

    @property
    def covered(self) -> tuple[Key, ...]:
        """The keys of the alarms that belong to the flood."""
        return tuple(self._covered)

    def said(self, at_ms: int) -> None:
        """The summary was made."""
        self.said_ms, self.due_ms = at_ms, None

    @property
    def ends_ms(self) -> int | None:
        """When it is over if nothing more comes; None: there is none, or its summary waits to be said."""
        if not self.active or self.due_ms is not None:
            return None
        counts = ([at_ms for at_ms, _ in self._begun], [at_ms for at_ms, _ in self._others], self._told_ms)
        return max(count[-OVER_BELOW] + WINDOW_MS for count in counts if len(count) >= OVER_BELOW)

    def end(self, now_ms: int) -> None:
        self.active, self.over_ms, self._covered = False, now_ms, {}

    def next_ms(self) -> int | None:
        return self.due_ms if self.due_ms is not None else self.ends_ms

    def save(self) -> dict[str, Any]:
        return {
            "active": self.active, "since_ms": self.since_ms, "due_ms": self.due_ms, "said_ms": self.said_ms,
            "over_ms": self.over_ms,
            "begun": [[at_ms, list(key)] for at_ms, key in self._begun],
            "told_ms": list(self._told_ms),
            "others": [[at_ms, list(key)] for at_ms, key in self._others], "covered": [list(key) for key in self._covered],
        }  # fmt: skip

    def restore(self, state: dict[str, Any]) -> None:
        self.active, self.since_ms = state["active"], state["since_ms"]
        self.due_ms, self.said_ms, self.over_ms = state["due_ms"], state["said_ms"], state["over_ms"]
        self._begun = [(at_ms, _key(key)) for at_ms, key in state["begun"]]
        self._others = [(at_ms, _key(key)) for at_ms, key in state["others"]]
        self._told_ms = list(state["told_ms"])
        self._covered = dict.fromkeys(_key(key) for key in state["covered"])


def _counted(count: list[tuple[int, Key]], key: Key, at_ms: int) -> list[tuple[int, Key]]:
    """The newest eleven alarms, each once, by its last time."""
    return [*(each for each in count if each[1] != key), (at_ms, key)][-MOST - 1 :]


def _key(found: list[str]) -> Key:
    subject, subject_id, group = found
    return subject, subject_id, group
