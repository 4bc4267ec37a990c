"""The circuit schedule: what a person wrote down about the panel. Reads the TOML, names every fault in it, vets the plan.

    load(path) -> (Schedule, its text)      parse(text, file) -> Schedule      vet(schedule) -> Findings

Both readers raise ScheduleError with every fault at once.
"""

from __future__ import annotations

from panelward.schedule.file import load, parse
from panelward.schedule.topics import filter_is_valid
from panelward.schedule.vetting import GRADES, Finding, vet

__all__ = ["GRADES", "Finding", "filter_is_valid", "load", "parse", "vet"]
