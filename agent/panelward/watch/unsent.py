"""What the program finds of itself, and says as a Presence: addresses that messages do not reach, told to whoever can still
be told; people.toml that can't be read; a journal that can't be written."""

from __future__ import annotations

from typing import Any

from panelward.records import Condition, Presence
from panelward.records.inputs import ABOARD
from panelward.watch.bench import Bench

_OF = {  # subject: group, kind, the fact that decided
    "address": ("messages", "messages-unsent", "not-reached"),
    "people": ("messages", "messages-unsent", "people-unread"),
    "journal": ("journal", "journal-unwritten", "not-written"),
}


class Unsent:
    """All addresses by reference, or people.toml, or the journal."""

    def __init__(self, bench: Bench, subject: str = "address") -> None:
        self._bench, self._subject = bench, subject
        self._since: dict[str, int] = {}  # those that are not reached

    def take(self, presence: Presence) -> None:
        """It was reached, or has not been for long."""
        ref, now_ms = presence.name, presence.received_ms
        if presence.here and ref in self._since:
            self._emit(ref, "ends", now_ms, self._since.pop(ref))
        elif not presence.here and ref not in self._since:
            self._since[ref] = now_ms
            self._emit(ref, "begins", now_ms, now_ms)

    def keys(self) -> list[tuple[str, str, str]]:
        """The keys of the conditions that stand."""
        return [(self._subject, ref, _OF[self._subject][0]) for ref in self._since]

    def _emit(self, ref: str, edge: str, now_ms: int, since_ms: int) -> None:
        group, kind, fact = _OF[self._subject]
        self._bench.found.append(
            Condition(
                subject=self._subject,
                subject_id=ref,
                group=group,
                edge=edge,
                at_ms=now_ms,
                since_ms=since_ms,
                kind=kind,
                priority="low" if ref == ABOARD else "medium",  # who is aboard is told by the watch there
                evidence=((fact, ()),) if edge == "begins" else (),
            )
        )

    def save(self) -> dict[str, Any]:
        return {"since": dict(self._since)}

    def restore(self, state: dict[str, Any]) -> None:
        self._since = dict(state["since"])
