"""What a commissioning keeps on the disk: its state after each answer, the sealed record, and the lock that keeps it one.

schedule.toml -> schedule.record.json      all sealed versions
                 schedule.commission.json  an unfinished one; gone when it is over
                 schedule.commission.lock  held by whoever asks the questions
"""

from __future__ import annotations

import fcntl
import json
import os
import time
from typing import IO

from panelward import sealed
from panelward.commission import Session
from panelward.errors import BadInput, EnvironmentFault, Fault, RecordError
from panelward.records import Record, Schedule

SAVE_EVERY_S = 60.0


class Kept:
    """One commissioning's files."""

    def __init__(self, schedule_path: str, schedule: Schedule, text: str) -> None:
        self.path = sealed.path_of(schedule_path)
        self.state_path = sealed.unfinished_path_of(schedule_path)
        self._lock_path = self.state_path.with_suffix(".lock")
        self._schedule, self._text = schedule, text
        self._lock: IO[str] | None = None
        self._saved_s = time.monotonic()
        if not os.access(self.path.parent, os.W_OK):
            raise EnvironmentFault(
                f"{self.path.parent}: the record can't be written there. Give it to the user who commissions."
            )
        self.versions = sealed.load(self.path, schedule.vehicle.id) if self.path.exists() else ()

    # One at a time.

    def lock(self, by: str) -> None:
        """`by`: the page, or a terminal. BadInput where another one has it."""
        held = self._lock_path.open("a+", encoding="utf-8")
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            held.seek(0)
            other = held.read(80).strip() or "another one"
            held.close()
            raise BadInput(
                f"This panel is being commissioned by {other} just now. Stop it there: what is done is kept, and goes on here."
            ) from None
        held.truncate(0)
        held.write(by)
        held.flush()
        self._lock = held

    def unlock(self, *, going_on: bool = False) -> None:
        """Stopped on purpose: who starts next begins by a person's word. `going_on`: as if it were ended by force."""
        if self._lock is not None:
            if not going_on:
                self._lock_path.unlink(missing_ok=True)
            self._lock.close()
            self._lock = None

    def left_by(self) -> str:
        """Who had it when it was ended by force; empty where it was stopped or is over."""
        try:
            return self._lock_path.read_text(encoding="utf-8")[:80] if self.state_path.exists() else ""
        except OSError:
            return ""

    # Its state.

    @property
    def unfinished(self) -> bool:
        return self.state_path.exists()

    def taken_up(self, now_ms: int) -> Session:
        """The unfinished one, gone on with."""
        try:
            found = json.loads(self.state_path.read_text(encoding="utf-8"))
        except (OSError, ValueError) as error:
            raise RecordError(
                Fault(str(self.state_path), None, "the file", "what an unfinished commissioning kept", str(error)[:80],
                      "Begin anew with --anew.")
            ) from None  # fmt: skip
        return Session.restore(found, self._schedule, self._text, now_ms, str(self.state_path))

    def begun(self, now_ms: int, redo: tuple[str, ...] = ()) -> Session:
        """A new one: of the whole, or of these ways alone."""
        known = [c.id for c in self._schedule.circuits]
        strange = [way for way in redo if way not in known]
        if strange:
            raise BadInput(f"--redo: wanted ways of the schedule; found {strange[0]!r}")
        if redo and not self.versions:
            raise BadInput(f"--redo: {self.path} is no record yet: commission the whole first")
        return Session(self._schedule, self._text, now_ms, only=redo, old=self.versions[-1] if redo else None)

    def keep(self, session: Session, *, at_once: bool = False) -> Record | None:
        """Write the record where one was made, which is given back; keep the state."""
        newest = None
        if session.made is not None:
            self.versions = sealed.append(self.versions, session.made)
            sealed.write(self.path, self.versions)
            session.made, newest = None, self.versions[-1]
        if session.over:
            self.state_path.unlink(missing_ok=True)
        elif at_once or session.worth_saving or time.monotonic() - self._saved_s > SAVE_EVERY_S:
            sealed.replace_file(self.state_path, json.dumps(session.save(), ensure_ascii=False) + "\n")
            session.worth_saving, self._saved_s = False, time.monotonic()
        return newest
