"""The records that go into the journal's tables and come out of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

STATUSES = (
    "waiting",  # to be sent when due
    "trying",  # written before the send; found at a start: it may have been sent
    "handed-over",  # the service took it
    "refused",  # can't be sent as it is: a person has to mend the address
    "expired",  # too old to be of use
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredTransition:
    """One step in the life of an alarm, as it was told."""

    alarm_id: str
    sequence: int
    at_ms: int
    subject: str
    subject_id: str
    group: str
    state: str
    object: Mapping[str, Any] = field(hash=False)  # the alarm object: JSON
    number: int = 0  # of the last input before it; 0: the last one appended
    real_s: float | None = None  # Unix seconds of the host's clock when it was found


@dataclass(frozen=True, slots=True, kw_only=True)
class OutboxRow:
    """One message to one address. The address is a reference: the secret never enters the journal."""

    alarm_id: str
    sequence: int
    address_ref: str
    title: str
    body: str
    kind: str
    priority: str
    created_real_s: float
    due_real_s: float
    expires_real_s: float
    id: int = 0
    status: str = "waiting"
    attempts: int = 0
    last_why: str = ""
    repeat: bool = False  # it may have arrived before: sent again, it says so
    step: str = "begun"  # of its alarm's thread: begun, changed, over, again-1, again-2
    until_answered: bool = False  # not sent once somebody acknowledged, or it is over
    on_sheet: bool = False  # it can wait for the evening sheet
    rank: int = 1  # its place among messages that go out together
    settled_real_s: float | None = None


class Withdrawal(NamedTuple):
    """What need not be sent any more: of an alarm's messages before this transition, those that still wait."""

    alarm_id: str
    sequence: int  # of the transition that overtook them
    why: str
    ref: str = ""  # to this address only
    until_answered: bool = True  # only those that waited for an answer


class Hour(NamedTuple):
    """Another time for a message that waits."""

    row: int
    due_s: float
    on_sheet: bool


class Kept(NamedTuple):
    """What waits in memory for a disk that works again."""

    readings: int
    inputs: int
    transitions: int
    messages: int


class RawBlock(NamedTuple):
    """A block of readings as it lies in the file, and when they were received by a clock that was set since.

    Each was received `add_ms` later than the block says; and measured so much later where `unset` or both times are one.
    """

    first_number: int
    first_ms: int
    last_ms: int
    add_ms: int
    unset: bool
    body: bytes
    past: int  # so many of its readings were given already
