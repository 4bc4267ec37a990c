"""Addresses that messages do not reach: told to whoever can still be told. The daemon says which, as a Presence."""

from __future__ import annotations

from typing import Any

from panelward.records import Condition, Presence
from panelward.watch.bench import Bench


class Unsent:
    """All addresses, by reference."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._since: dict[str, int] = {}  # those that are not reached

    def take(self, presence: Presence) -> None:
        """An address was reached, or has not been for long."""
        ref, now_ms = presence.name, presence.received_ms
        if presence.here and ref in self._since:
            self._emit(ref, "ends", now_ms, self._since.pop(ref))
        elif not presence.here and ref not in self._since:
            self._since[ref] = now_ms
            self._emit(ref, "begins", now_ms, now_ms)

    def keys(self) -> list[tuple[str, str, str]]:
        """The keys of the conditions that stand."""
        return [("address", ref, "messages") for ref in self._since]

    def _emit(self, ref: str, edge: str, now_ms: int, since_ms: int) -> None:
        self._bench.found.append(
            Condition(
                subject="address",
                subject_id=ref,
                group="messages",
                edge=edge,
                at_ms=now_ms,
                since_ms=since_ms,
                kind="messages-unsent",
                priority="medium",
                evidence=(("not-reached", ()),) if edge == "begins" else (),
            )
        )

    def save(self) -> dict[str, Any]:
        return {"since": dict(self._since)}

    def restore(self, state: dict[str, Any]) -> None:
        self._since = dict(state["since"])
