"""The circuit schedule: what a person wrote down about the panel. Reads the TOML, names every fault in it, vets the plan.

    load(path) -> (Schedule, its text)      parse(text, file) -> Schedule      vet(schedule) -> Findings

    from_tables(raw, file) -> Schedule

All three raise ScheduleError with every fault at once.
"""

from __future__ import annotations

from panelward.schedule.file import from_tables, load, parse
from panelward.schedule.vetting import GRADES, Finding, vet

__all__ = ["GRADES", "Finding", "from_tables", "load", "parse", "vet"]
