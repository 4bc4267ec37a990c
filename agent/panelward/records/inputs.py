"""The five inputs of the core. Whatever the core knows, it was told by one of these.

All times are whole milliseconds of Unix time. `received_ms` never runs back from one input to the next.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from panelward.records.commissioned import Record
from panelward.records.plan import Schedule

WALL_SET_FROM_MS = 1_767_225_600_000  # 2026-01-01: a wall clock before this program was written is not set
ABOARD = "aboard"  # the name of the journal aboard, heard from afar
QUANTITIES = ("volts", "amps", "watts", "closed", "celsius", "commanded")


class Reading(NamedTuple):
    """What a monitor said of one circuit, meter or probe: partial, quantised, with two times.

    A NamedTuple, not a dataclass: one is made per message, and it is four times as quick to make.
    """

    circuit: str
    time_ms: int  # when it was measured
    received_ms: int  # when it reached us
    volts: float | None = None  # to 0.0001
    amps: float | None = None  # to 0.0001
    watts: float | None = None  # to 0.001
    closed: bool | None = None  # the switch's reported state
    celsius: float | None = None  # to 0.001
    commanded: bool | None = None  # the last command that was seen: on or off
    origin: str = "live"  # live | retained | backlog


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """A person asks for a change: acknowledge, shelve, working, presence, drill, note …"""

    kind: str
    received_ms: int
    id: str = ""
    alarm: str | None = None
    circuit: str | None = None
    who: str = ""
    for_s: float | None = None
    why: str = ""
    priority: str | None = None  # drill only
    done: bool = False  # working only: it is over
    presence: str | None = None  # presence only: aboard | nobody-aboard | laid-up
    what: str = ""  # replaced only: the device, or any other word for what its load is or has in it
    timezone: str | None = None  # timezone only: its name, like Europe/Oslo
    reply_to: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What a person wrote, as it is from here on. Fed at every start and at every reload."""

    received_ms: int
    schedule: Schedule
    schedule_text: str = ""  # the file's own text: journalled, so that a replay reads the same
    started: bool = False  # the program began here: what lies before is one gap
    silence_from_start: bool = False  # live: a circuit that never spoke is overdue too
    record: Record | None = None  # what was measured when it was handed over
    record_text: str = ""  # its sealed text: journalled likewise
    replaced: tuple[tuple[str, str, int], ...] = ()  # (circuit, load | device, Unix ms): what the journal knows of it
    timezone: tuple[str, str, int] | None = None  # (zone, who, Unix ms): asked for on a journey, over the schedule's own
    program: str = ""  # the version of the program that was told this: for whoever asks later what watched


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """A correction of the wall clock.

    The axis of `received_ms` follows a forward correction by `shift_ms` (no time passed in between) and never
    a backward one: then `offset_ms` (wall minus axis, at most 0) says how far ahead of the wall clock it runs. Fed when the
    clock was set, and at a start where the two differ.
    """

    received_ms: int
    shift_ms: int = 0
    offset_ms: int = 0

    @property
    def believed(self) -> bool:
        """Does the wall clock show a time that can be?"""
        return self.received_ms + self.offset_ms >= WALL_SET_FROM_MS


@dataclass(frozen=True, slots=True, kw_only=True)
class Presence:
    """A monitor or the broker came or went: will, state topic, connection; the vehicle (from afar), an address, the journal."""

    received_ms: int
    subject: str  # monitor | broker | vehicle | bank | address | journal
    name: str
    here: bool


Input = Reading | Request | Settings | Clock | Presence
