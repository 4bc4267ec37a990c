"""The head of an export: of what time, by whose consent, for whom. It says no place: a time zone's name would be one.

    # panelward export 1
    # {"from": …, "to": …, "consent": …, …}

The second line is one JSON object; the same object is a JSON file's first line (`{"head": …}`) and stands in a Parquet file's
metadata, so that every format names the same.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

FIRST = "# panelward export 1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """Times are RFC 3339 in UTC; `local_offset` is what the vehicle's clock was ahead of it at `from_`."""

    vehicle: str
    from_: str
    to: str
    local_offset: str
    made: str
    version: str
    consent: str  # who agreed that these readings are given away; "": nobody is named
    given_to: str
    circuits: tuple[str, ...]  # empty: all
    schedule: str  # the hash of the schedule in force

    def plain(self) -> dict[str, Any]:
        found = asdict(self)
        return {"from": found.pop("from_"), **found}

    def lines(self) -> tuple[str, str]:
        return FIRST, "# " + json.dumps(self.plain(), ensure_ascii=True)


def head_of(lines: Iterable[str]) -> Mapping[str, Any] | None:
    """The head among the lines before a CSV's header; None: there is none."""
    lines = list(lines)
    if not lines or lines[0].strip() != FIRST or len(lines) < 2:
        return None
    try:
        found = json.loads(lines[1].lstrip("# "))
    except ValueError:
        return None
    return found if isinstance(found, dict) else None
