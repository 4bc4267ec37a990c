"""Edges made by hand, for the tests of what many alarms become."""

from __future__ import annotations

from panelward.alarm import Alarms
from panelward.records import GROUP_OF, Condition, Transition
from plans import T0


def edge(circuit: str, edge: str = "begins", at_s: float = 0.0, kind: str = "feed-lost", **keys: object) -> Condition:
    at_ms = T0 + round(at_s * 1000)
    base = {"priority": "medium", "since_ms": at_ms, "subject": "circuit"} | keys
    return Condition(
        subject_id=circuit, group=GROUP_OF[kind], edge=edge, at_ms=at_ms, kind=kind, **base  # type: ignore[arg-type]
    )  # fmt: skip


def until(alarms: Alarms, at_s: float) -> list[Transition]:
    """Fire every deadline up to that moment, each at its own time, as the core does; what came out."""
    out = [*alarms.out()]
    while (due := alarms.next_ms()) is not None and due <= T0 + at_s * 1000:
        alarms.fire(due)
        out += alarms.out()
    return out


def told(transitions: list[Transition]) -> list[str]:
    """Whom the messages are about, in order."""
    return [t.subject_id for t in transitions if t.told]
