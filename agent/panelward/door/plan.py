"""The schedule as the door needs it: plain records, read in a helper process that is gone afterwards.

    door ──▶ python -m panelward.door.plan S.toml ──one JSON──▶ Plan

The helper needs pydantic (about 20 MB); the door does not.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from panelward import sealed
from panelward.errors import EnvironmentFault, PanelwardError
from panelward.records import Record, Schedule

HELPER_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One fault on one circuit, and whether the watch can find it: see `schedule.detect.Sight`."""

    circuit: str
    what: str
    can: str  # yes | together | unreliable | no
    why: str
    within_s: float | None = None
    mend: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What the person wrote, what vetting says of it and what was measured at the hand-over."""

    schedule: Schedule
    hash: str  # the first digits of the hash of the file's bytes
    file: str
    text: str
    findings: tuple[dict[str, Any], ...] = ()  # as `check --json`
    sights: tuple[Seen, ...] = ()
    record: Record | None = None
    record_fault: str = ""  # why there is none, where there should be one


class PlanReader:
    """Reads the plan anew when its file, or the record beside it, has changed."""

    def __init__(self, path: str) -> None:
        self.path = path
        self._seen: tuple[Any, ...] = ()
        self._plan: Plan | None = None
        self.fault = ""

    @property
    def plan(self) -> Plan | None:
        """The plan as it was read last."""
        return self._plan

    def read(self) -> Plan:
        """The plan as it is now. PanelwardError where there never was one that could be read; later the old one stays."""
        stamps = _stamp(Path(self.path)), _stamp(sealed.path_of(self.path))
        if stamps != self._seen or self._plan is None:
            try:
                self._plan, self.fault = read_plan(self.path), ""
            except PanelwardError as error:
                if self._plan is None:
                    raise
                self.fault = str(error)
            self._seen = stamps
        return self._plan


def _stamp(path: Path) -> tuple[int, int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino


def read_plan(path: str) -> Plan:
    """Ask the helper. PanelwardError with its own words where the schedule can't be used."""
    try:
        ended = subprocess.run(
            [sys.executable, "-m", "panelward.door.plan", path],
            capture_output=True,
            timeout=HELPER_S,
            check=False,
            stdin=subprocess.DEVNULL,
            env=os.environ | {"PYTHONIOENCODING": "utf-8:surrogateescape"},
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise EnvironmentFault(f"{path}: the schedule could not be read: {error}") from None
    try:
        found = json.loads(ended.stdout)
    except ValueError:
        raise EnvironmentFault(
            f"{path}: the schedule could not be read: {ended.stderr.decode(errors='replace')[-400:]}"
        ) from None
    if "fault" in found:
        raise PanelwardError(found["fault"])
    record = found.get("record")
    return Plan(
        schedule=sealed.made(Schedule, found["schedule"], path, "the schedule"),
        hash=found["hash"],
        file=Path(path).name,
        text=found["text"],
        findings=tuple(found["findings"]),
        sights=tuple(Seen(**each) for each in found["sights"]),
        record=None if record is None else sealed.made(Record, record, path, "the record"),
        record_fault=found["record_fault"],
    )


def _main(path: str) -> int:
    """In the helper: one JSON on standard output."""
    from panelward.schedule import load, vet
    from panelward.schedule.detect import detectability

    try:
        schedule, text = load(path)
    except PanelwardError as error:
        print(json.dumps({"fault": str(error)}))
        return 0
    record, fault, beside = None, "", sealed.path_of(path)
    if beside.exists():
        try:
            record = sealed.plain(sealed.load(beside, schedule.vehicle.id)[-1])
        except PanelwardError as error:
            fault = str(error)
    print(
        json.dumps(
            {
                "schedule": sealed.plain(schedule),
                "text": text,
                "hash": sealed.schedule_hash(text),
                "findings": [asdict(finding) for finding in vet(schedule)],
                "sights": [asdict(sight) for sight in detectability(schedule)],
                "record": record,
                "record_fault": fault,
            }
        )
    )
    return 0


if __name__ == "__main__":
    sys.exit(_main(sys.argv[1]))
