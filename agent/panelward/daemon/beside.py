"""What lies beside the schedule: the learned profile and the commissioning record. One that can't be used stops nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from panelward import sealed
from panelward.errors import PanelwardError
from panelward.records import Record, Schedule
from panelward.schedule.profile import applied, joined, load_profile, path_of, standing

Log = Callable[[str], None]


def profiled(
    path: str, schedule: Schedule, text: str, replaced: Mapping[tuple[str, str], int], log: Log
) -> tuple[Schedule, str]:  # fmt: skip
    """The schedule with what was learned of the loads that are there now, if there is such a file beside it."""
    try:
        book, _ = load_profile(path_of(path), schedule.vehicle.id)
    except PanelwardError as error:
        log(f"the learned profile can't be used, the schedule alone holds: {error}")
        return schedule, text
    loads = {circuit: at_ms for (circuit, part), at_ms in replaced.items() if part == "load"}
    profile = standing(book.profile, loads)
    return applied(schedule, profile), joined(text, profile)


def recorded(path: str, schedule: Schedule, old: Record | None, log: Log) -> Record | None:
    """The commissioning record beside the schedule, if there is one."""
    beside = sealed.path_of(path)
    if not beside.exists():
        return None
    try:
        return sealed.load(beside, schedule.vehicle.id)[-1]
    except PanelwardError as error:
        kept = "the one read before stays" if old else "watching without it"
        log(f"the commissioning record can't be used, {kept}: {error}")
        return old
