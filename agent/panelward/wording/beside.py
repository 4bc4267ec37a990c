"""What a core knows that a message about an alarm says beside it: how warm it is inside its load, its bank's charge."""

from __future__ import annotations

from panelward.core import Core
from panelward.records import Schedule, Transition
from panelward.wording import Known


def known(core: Core, transition: Transition) -> Known:
    """What a message about this may say beside it."""
    watch = core.watch
    if watch is None:
        return Known()
    now_ms, schedule = core.now_ms - core.shift_ms, core.schedule
    inside_c = watch.inside_c(transition.subject_id, now_ms) if transition.subject == "circuit" else None
    counted = watch.counted(now_ms).get(_bank_of(transition, schedule))
    if counted is None or counted.left is None:
        return Known(inside_c)
    return Known(inside_c, counted.left, counted.error or 0.0)


def _bank_of(transition: Transition, schedule: Schedule) -> str:
    """The supply that feeds what it is about, in the end: an inverter's is its bank."""
    name = transition.subject_id
    by_subject = {
        "supply": {supply.id: supply.id for supply in schedule.supplies},
        "feeder": {feeder.id: feeder.supply for feeder in schedule.feeders},
        "circuit": {circuit.id: circuit.supply for circuit in schedule.circuits},
    }
    at = by_subject.get(transition.subject, {}).get(name, "")
    feeds = {s.id: by_subject["circuit"].get(s.fed_by, "") for s in schedule.supplies if s.fed_by is not None}
    for _ in schedule.supplies:
        at = feeds.get(at, at)
    return at
