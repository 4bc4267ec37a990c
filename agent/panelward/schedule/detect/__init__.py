"""Detectability: what the watch can find on each circuit with the sensing it has, how soon, and what it can't.

    limits  the watch's own numbers
    feed    a lost feed, an opened device
    draw    overcurrent, the conductor, another device, standby, start surges
    level   a stall, a dry pump, starts that fail, an element part open, more than is listed
    rhythm  runs and rests: too long, too much, too often
    beyond  what the bank's meter and the record tell
    rest    silence, stuck readings, swapped names, resistance, the supply
    told    the list for a person

`within_s` counts from the first reading that shows it. It is an upper bound: it may be told sooner.
"""

from __future__ import annotations

from panelward.records import Schedule
from panelward.schedule.detect import beyond, draw, feed, level, rest, rhythm
from panelward.schedule.detect.look import CAN, Look, Sight, looks
from panelward.schedule.detect.told import lines

__all__ = ["CAN", "Look", "Sight", "detectability", "lines"]


def detectability(schedule: Schedule) -> tuple[Sight, ...]:
    """Every circuit's sights, in the order of the panel."""
    found: list[Sight] = []
    for look in looks(schedule):
        if look.monitor is None:
            found.append(
                look.no("every fault", "no monitor publishes it", "Name its monitor under [[circuit]], or write a [[monitor]].")
            )
            continue
        for part in (feed, draw, level, rhythm, rest, beyond):
            found += part.sights(look)
    return tuple(found)
