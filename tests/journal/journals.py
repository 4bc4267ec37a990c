"""What the tests of the journal share: inputs made from their number, and the rows that go with them."""

from __future__ import annotations

from panelward.journal import OutboxRow, StoredTransition
from panelward.records import Clock, Input, Presence, Reading, Request, Schedule, Settings, Vehicle

START_MS = 1_777_600_000_000
SCHEDULE = Schedule(vehicle=Vehicle(name="Survey van", id="survey-van"))
TEXT = '[vehicle]\nname = "Survey van"\n'


def parse(text: str) -> Schedule:
    """In the place of the room `schedule`, which the journal must not know."""
    assert text == TEXT
    return SCHEDULE


def reading(number: int) -> Reading:
    at_ms = START_MS + number * 100
    return Reading(f"D{number % 12}", at_ms - number % 7, at_ms, volts=12.5 + number % 10 / 10, amps=number / 10_000)


def input_of(number: int) -> Input:
    """The input with this number: mostly readings; every 37th is another kind, each kind in turn."""
    if number % 37:
        return reading(number)
    at_ms = START_MS + number * 100
    return (
        Presence(received_ms=at_ms, subject="monitor", name="dc-panel", here=bool(number % 2)),
        Clock(received_ms=at_ms, shift_ms=number % 500, offset_ms=-(number % 500)),
        Request(kind="shelve", received_ms=at_ms, id=f"r{number}", alarm="a1", who="Kari \ud83d", for_s=0.1 * number),
        Settings(received_ms=at_ms, schedule=SCHEDULE, schedule_text=TEXT, started=True, silence_from_start=True),
    )[number // 37 % 4]


def transition(alarm: str, sequence: int = 1, state: str = "unacknowledged", number: int = 0) -> StoredTransition:
    shown = {"id": alarm, "sequence": sequence, "state": state, "message": "Look at Sample freezer’s display."}
    return StoredTransition(
        alarm_id=alarm, sequence=sequence, at_ms=START_MS, subject="circuit", subject_id="D1", group="dead",
        state=state, object=shown, number=number,
    )  # fmt: skip


def message(alarm: str, sequence: int = 1, ref: str = "notify-1", priority: str = "high", due_s: float = 100.0) -> OutboxRow:
    return OutboxRow(
        alarm_id=alarm, sequence=sequence, address_ref=ref, title="Survey van", body=f"{alarm} to {ref}",
        kind="feed-lost", priority=priority, created_real_s=due_s, due_real_s=due_s, expires_real_s=due_s + 1000,
    )  # fmt: skip
