"""What the daemon makes sure of before it watches: a schedule that can be watched, one daemon a journal, a way to speak."""

from __future__ import annotations

import fcntl
import os
import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import IO

from panelward.errors import EnvironmentFault, Fault, ScheduleError
from panelward.records import Schedule


def ready_to_watch(schedule: Schedule, path: str) -> None:
    """What `watch` needs beyond a readable schedule."""
    faults = []
    if schedule.broker is None:
        faults.append(Fault(path, None, "[broker]", "the broker where the readings are", "none"))
    if not schedule.monitors:
        faults.append(Fault(path, None, "[[monitor]]", "a monitor with dialect and topic", "none"))
    if faults:
        raise ScheduleError(tuple(faults))


def lock(journal_path: str) -> IO[str]:
    """One daemon a journal."""
    path = Path(f"{journal_path}.lock")
    try:
        held = path.open("a+")
    except OSError as error:
        raise EnvironmentFault(
            f"{path}: can't be made: {error.strerror}. Make the folder (mkdir -p {path.parent}) and give it to the user "
            "that watches."
        ) from None
    try:
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        held.close()
        raise EnvironmentFault(f"{journal_path}: another panelward already writes this journal; stop it first") from None
    held.truncate(0)
    held.write(str(os.getpid()))
    held.flush()
    return held


def to_stderr(text: str) -> None:
    print(f"{time.strftime('%H:%M:%S')} {text}", file=sys.stderr, flush=True)


class Faults:
    """Faults of this program that are gone on behind: each is said once, with the place where it is."""

    def __init__(self, log: Callable[[str], None]) -> None:
        self._log = log
        self._said: set[str] = set()

    def fault(self, at: str, error: Exception) -> None:
        """Call it where the error is caught."""
        place = "".join(traceback.format_tb(error.__traceback__)[-1:])
        if place not in self._said:
            self._said.add(place)
            self._log(f"{at} could not be used; the watch goes on. Please report this:\n{traceback.format_exc().rstrip()}")
