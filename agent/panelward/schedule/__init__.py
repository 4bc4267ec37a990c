"""The circuit schedule: what a person wrote down about the panel. Reads the TOML, names every fault in it, vets the plan.

    load(path) -> (Schedule, its text)      parse(text, file) -> Schedule      vet(schedule) -> Findings

Both readers raise ScheduleError with every fault at once.
"""

from __future__ import annotations

from panelward.schedule.file import load, parse
from panelward.schedule.vetting import GRADES, Finding, vet

__all__ = ["GRADES", "Finding", "load", "parse", "vet"]
