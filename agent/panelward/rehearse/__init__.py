"""Readings from a file, or all that a journal keeps, through the daemon's own core, starting cold: what would be said."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from panelward.core import Core
from panelward.records import Input, Output, Reading, Record, Schedule, Settings, Transition

__all__ = ["rehearse", "relive"]


def rehearse(
    schedule: Schedule, readings: Iterable[Reading], *, until_ms: int | None = None, record: Record | None = None
) -> Iterator[Transition]:
    """Yield the transitions in time order.

    The core's time begins with the first reading. After the last it advances to the last `received`, or on to
    `until_ms` (Unix milliseconds) where that is later. Errors of the readings' source pass through.
    """
    core = Core()
    begun = False
    for reading in readings:
        if not begun:
            begun = True
            begin = Settings(received_ms=reading.received_ms, schedule=schedule, started=True, record=record)
            yield from _only(core.feed(begin))
        out = core.feed(reading)
        if out:
            yield from _only(out)
    if begun and until_ms is not None:
        yield from _only(core.advance(until_ms))


def relive(inputs: Iterable[Input]) -> Iterator[tuple[Transition, Schedule]]:
    """Each transition of a journal's inputs, and the schedule in force: readings, requests, settings, clock, presence as they
    came. What lies before the oldest settings is left out.
    """
    core = Core()
    for item in inputs:
        if core.watch is None and not isinstance(item, Settings):
            continue
        for transition in _only(core.feed(item)):
            yield transition, core.schedule


def _only(out: list[Output]) -> list[Transition]:
    return [item for item in out if isinstance(item, Transition)]
