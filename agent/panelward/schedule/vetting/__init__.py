"""Vetting: what is plainly wrong in a plan, what is doubtful, and what can't be judged for want of a fact.

    way      one circuit with what is known around it
    fitted   its device: conductor, way, maker, bus, fault, need
    short    a short at its far end
    draw     its loads: rating, hours, volts
    cuts     switches and disconnects before life and heaters
    unknown  what is not written, and what a licensed person signs
    whole    supplies, banks, feeders, labels, rules

Refused is only what no local code would bear. No remedy names a device above what the conductor carries.
"""

from __future__ import annotations

from panelward.records import Schedule
from panelward.schedule.vetting import cuts, draw, fitted, short, unknown, whole
from panelward.schedule.vetting.finding import GRADES, Finding
from panelward.schedule.vetting.way import Around, FeederWay, Way

__all__ = ["GRADES", "Around", "Finding", "Way", "vet"]


def vet(schedule: Schedule) -> tuple[Finding, ...]:
    """Every finding: refusals first, then warnings, then notes, each in the order of the panel."""
    around = Around.of(schedule)
    ways = [Way(around, circuit) for circuit in schedule.circuits]
    found = list(whole.findings(around, ways))
    for feeder in schedule.feeders:
        for judge in (fitted.findings, short.findings):
            found += judge(FeederWay(around, feeder))
    lost = whole.feeder_shares(around, ways)
    for way in ways:
        for judge in (fitted.findings, short.findings, cuts.findings, unknown.findings):
            found += judge(way)
        found += draw.findings(way, sum(lost.get(feeder.id, 0.0) for feeder in way.feeders))
    return tuple(sorted(found, key=lambda finding: GRADES.index(finding.grade)))
