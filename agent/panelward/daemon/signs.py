"""Signs of life: retained on the broker, and to an address of the owner's. Used by the daemon's one loop.

The last words: where the bank nears its cut-off the sign says so at once, so that who watches from afar knows why none follows.
What was retained is told again by every broker and bridge that starts anew: so a sign says of which run of the watch it is
(`run`), and how long that has run (`up_s`), by a clock that nobody sets.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable, Iterable
from typing import Any, Protocol

from panelward import __version__
from panelward.alarm import Alarm
from panelward.notify.sign import Sign
from panelward.records import Transition

EVERY_S = 30.0  # on the broker
OWNER_S = 300.0  # to the owner's own address …
LOOK_S = 5.0
SEES_MS = 900_000  # … while readings come
LOW = "undervoltage-approach"


class Publish(Protocol):
    def __call__(self, topic: str, payload: bytes, *, retain: bool = False) -> None: ...


class Signs:
    """`reading` is told when the last reading came; `due_s` (monotonic) is when `turn` wants to be called."""

    def __init__(
        self,
        publish: Publish,
        topic: str,
        now_ms: Callable[[], int],
        standing: Callable[[], Iterable[Alarm]],
        log: Callable[[str], None],
    ) -> None:
        self._publish, self._topic, self._now_ms, self._standing = publish, topic, now_ms, standing
        self._sign = Sign(log)
        self._run, self._begun_s = os.urandom(6).hex(), time.monotonic()
        self._since_ms = now_ms()
        self._life_s = self._owner_s = 0.0
        self.reading_ms: int | None = None

    @property
    def due_s(self) -> float:
        return min(self._life_s, self._owner_s)

    def now(self) -> None:
        """The next turn says it."""
        self._life_s = 0.0

    def turn(self, vehicle: str, owner: str | None, *, journals: bool) -> None:
        now_s = time.monotonic()
        if now_s >= self._life_s:
            self._life_s = now_s + EVERY_S
            self._publish(self._topic, json.dumps(self._told() | {"version": __version__}).encode(), retain=True)
        if now_s >= self._owner_s:
            self._owner_s = now_s + (OWNER_S if owner and journals and self._to_owner(vehicle, owner) else LOOK_S)

    def heard(self, found: Transition) -> None:
        """A transition that may be followed by silence."""
        if found.kind == LOW:
            self.now()

    def ended(self) -> None:
        """The watch ends by itself."""
        self._publish(self._topic, json.dumps({"ended": True} | self._told()).encode(), retain=True)

    def _to_owner(self, vehicle: str, owner: str) -> bool:
        """Only while the watch sees: a sign that always comes says nothing."""
        if self.reading_ms is None or self._now_ms() - self.reading_ms > SEES_MS:
            return False
        self._sign.send(owner, {"vehicle": vehicle} | self._told())
        return True

    def _told(self) -> dict[str, Any]:
        last_s = self.reading_ms / 1000 if self.reading_ms is not None else None
        told: dict[str, Any] = {"watching_since": self._since_ms / 1000, "last_reading": last_s}
        told |= {"run": self._run, "up_s": round(time.monotonic() - self._begun_s, 3)}
        stands = [alarm.condition for alarm in self._standing() if alarm.active]
        if any(each.kind == "journal-unwritten" for each in stands):
            told["journals"] = False
        low = {each.subject_id: dict(each.figures).get("hours_left") for each in stands if each.kind == LOW}
        return told | ({"nears_cut_off": low} if low else {})
