"""A file of readings, and the truth beside it."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from panelward.errors import EnvironmentFault
from panelward.rig.life import Life
from panelward.rig.van import Row

HEADER = "time,circuit,volts,amps,watts,closed,celsius,commanded\n"


def write(
    life: Life, path: str, *, hours: float, period_s: float, seed: int, progress: Callable[[float], None] | None = None
) -> int:
    """Write `path` and `path` with .truth.json; returns the number of rows. EnvironmentFault where it can't be written."""
    van = life.van
    start_ms, rows = van.now_ms, 0
    steps = round(hours * 3600 / period_s)
    try:
        with Path(path).open("w", encoding="utf-8", newline="") as out:
            out.write(HEADER)
            for n in range(steps + 1):
                life.step_to(start_ms + round(n * period_s * 1000))
                for row in van.sample():
                    out.write(line(row))
                    rows += 1
                if progress is not None and n % 500 == 0:
                    progress(n / max(1, steps))
        truth = {
            "seed": seed,
            "start": start_ms / 1000,
            "hours": hours,
            "period_s": period_s,
            "faults": [
                {
                    "fault": t.fault, "circuit": t.circuit, "begins": t.begins_ms / 1000, "expected": t.expected,
                    "what": t.what,
                }
                for t in life.truth
            ],
            "opened": [{"time": when / 1000, "circuit": way} for when, way in van.opened],
        }  # fmt: skip
        Path(f"{path.removesuffix('.csv')}.truth.json").write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")
    except OSError as error:
        raise EnvironmentFault(f"{path}: can't be written: {error.strerror}") from None
    return rows


def line(row: Row) -> str:
    """One row of CSV."""
    moment = datetime.fromtimestamp(row.time_ms // 1000, UTC)
    stamp = f"{moment:%Y-%m-%dT%H:%M:%S}.{row.time_ms % 1000:03d}Z"
    fields = (
        _text(row.volts), _text(row.amps), _text(row.watts), _flag(row.closed), _text(row.celsius), _flag(row.commanded)
    )  # fmt: skip
    return f"{stamp},{row.circuit},{','.join(fields)}\n"


def _flag(value: bool | None) -> str:
    return "" if value is None else str(int(value))


def _text(value: float | None) -> str:
    return "" if value is None else f"{value:g}"
