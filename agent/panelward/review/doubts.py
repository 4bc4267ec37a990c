"""Doubts that a journal itself tells of: schedules in force before, ways renamed half-way, blocks that can't be read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from panelward.errors import PanelwardError
from panelward.records import Schedule
from panelward.review.report import Sentence
from panelward.review.stored import Stored
from panelward.schedule.profile import parsed
from panelward.wording.past import listed, times


def of_schedules(schedule: Schedule, texts: Sequence[tuple[int, str]], changes: Sequence[Mapping[str, Any]]) -> list[Sentence]:
    """The figures are by the schedule that was given; what was otherwise before is said."""
    found = []
    known = {c.id: c for c in schedule.circuits}
    seen: set[str] = set()
    for at_ms, text in texts:
        if text in seen:
            continue
        seen.add(text)
        try:
            older = parsed(text, "the journal")
        except PanelwardError:
            continue
        gone = [c for c in older.circuits if c.id not in known]
        for each in gone:
            like = [c for c in schedule.circuits if c.label == each.label and all(o.id != c.id for o in older.circuits)]
            called = f"; {like[0].id} has its label now" if len(like) == 1 else ""
            said = f"{each.id} {each.label} was on the schedule before and is not now{called}."
            found.append(Sentence(text=said, at_ms=at_ms, about="trust"))
    reloads = [row for row in changes if row.get("kind") in ("reload", "start") and row.get("changed")]
    if reloads:
        last = reloads[-1]
        what = listed([str(each) for each in last["changed"]], 2)
        found.append(
            Sentence(
                text=f"The schedule was changed {times(len(reloads))}, last: {what}. The figures are by the schedule given.",
                at_ms=last["at_ms"], about="trust",
            )
        )  # fmt: skip
    return found


def damaged(source: Stored) -> list[Sentence]:
    """Blocks of readings that could not be unpacked."""
    if not source.damaged_blocks:
        return []
    return [Sentence(text=f"{source.damaged_blocks} blocks of readings are damaged and were passed over.", about="trust")]
