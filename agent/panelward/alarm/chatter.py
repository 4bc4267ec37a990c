"""An alarm that comes and goes: its first messages are told, later ones wait, and what is the case then is told.

So one bad circuit is no flood, and leaves the messages of the others as they are. Each kind is counted for itself, and what
is high apart from what is not: what gets worse does not wait for what came before. Edges and time only.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from panelward.alarm.flood import WINDOW_MS, Key
from panelward.records import Condition

# ISA-18.2 calls an alarm chattering from three times a minute on (from memory). Ours come slower, so: in ten minutes.
MOST = 3


@dataclass(slots=True)
class Chatter:
    """When each was told last."""

    _told_ms: dict[Key, list[int]] = field(default_factory=dict)

    def take(self, found: Condition, at_ms: int) -> int | None:
        """None: it is told, and counted. Else: until when it waits."""
        key = found.subject, found.subject_id, found.kind + (" high" if found.priority == "high" else "")
        recent = [told_ms for told_ms in self._told_ms.get(key, ()) if at_ms - told_ms < WINDOW_MS]
        if len(recent) >= MOST:
            return recent[-MOST] + WINDOW_MS
        self._told_ms[key] = [*recent, at_ms]
        return None

    def save(self) -> list[Any]:
        return [[list(key), list(told_ms)] for key, told_ms in self._told_ms.items()]

    def restore(self, state: list[Any]) -> None:
        self._told_ms = {(key[0], key[1], key[2]): list(told_ms) for key, told_ms in state}
