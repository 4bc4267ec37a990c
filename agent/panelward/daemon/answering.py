"""The link that a message carries where phones in the vehicle reach the door's page: made as the message goes out."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from panelward.errors import EnvironmentFault
from panelward.journal import OutboxRow, door_key
from panelward.records import links


class Answering:
    """`at` is vehicle.door_at; the key is made or read when the first link is wanted."""

    def __init__(self, journal_path: str, log: Callable[[str], None], wall_s: Callable[[], float] = time.time) -> None:
        self._journal_path, self._log, self._wall_s = journal_path, log, wall_s
        self._key: bytes | None = None
        self._said = ""
        self.at: str | None = None

    def link(self, row: OutboxRow, transitions: Callable[[str], Sequence[Mapping[str, Any]]]) -> str | None:
        """The link for this message; None: there is no page, no key, or it asks for no answer (any more)."""
        if self.at is None or row.on_sheet or row.step == "over" or row.kind == "drill":
            return None
        known = transitions(row.alarm_id)
        newest = max(known, key=lambda t: int(t["sequence"]), default=None)
        if newest is None or newest["state"] != "unacknowledged" or links.spent(known, row.sequence) is not None:
            return None
        key = self._found()
        if key is None:
            return None
        # By the wall clock, as the door reads it: where that is not set, the link ends when it is.
        token = links.make(key, row.alarm_id, row.sequence, self._wall_s() + links.LASTS_S)
        return f"{self.at.rstrip('/')}/a/{token}"

    def _found(self) -> bytes | None:
        """The key, read anew each time it was missing; that there is none is said once."""
        if self._key is None:
            try:
                self._key = door_key.made(self._journal_path)
            except EnvironmentFault as fault:
                if str(fault) != self._said:
                    self._said = str(fault)
                    self._log(f"messages carry no link to the door: {fault}")
        return self._key
