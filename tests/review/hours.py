"""A journal as the watch writes it: the demo van's sockets are overloaded until their fuse opens, and somebody answers."""

from __future__ import annotations

from collections.abc import Iterator
from heapq import merge
from pathlib import Path
from typing import NamedTuple

from panelward import sealed
from panelward.core import Core
from panelward.journal import Journal, OutboxRow, StoredTransition
from panelward.records import (
    Checked,
    Clock,
    Commissioned,
    Input,
    Output,
    Presence,
    Reading,
    Record,
    Request,
    Schedule,
    Settings,
    Transition,
)
from panelward.schedule import load
from panelward.wording import alarm_object
from plans import stream
from review.sheets import VAN

T0 = 1_777_615_200_000  # 2026-05-01T06:00:00Z
OPENS_S = 3 * 3600.0
WHOLE_S = OPENS_S + 4000.0
ANSWERED_S = round(OPENS_S) + 900
ADDRESS = "Kari's phone"
WHO = "Ola Nordmann"


class Made(NamedTuple):
    path: Path
    alarm_id: str
    opened_ms: int


def _volts(t_s: float, dip_v: float | None = None) -> float:
    if dip_v is not None and t_s == OPENS_S:
        return dip_v
    return 12.9 - (0.25 if OPENS_S - 400 <= t_s < OPENS_S else 0.0)


def _sockets(t_s: float) -> float:
    if t_s >= OPENS_S:
        return 0.0
    return 25.0 if t_s >= OPENS_S - 400 else 4.0 + (t_s // 600 % 2)


def readings(*, gap: tuple[float, float] | None = (7200.0, 7500.0), dip_v: float | None = None) -> Iterator[Reading]:
    """Sockets, the light and the fan beside them, the freezer, the meter, a probe; nothing at all in the gap."""
    period_s = 5.0
    draws = {"D7": _sockets, "D5": 0.8, "D8": 1.5, "D1": lambda t: 4.1 if t // 900 % 2 else 0.12}
    draws |= {"SH": lambda t: _sockets(t) + 8.0}
    electric = stream(
        draws, WHOLE_S, period_s=period_s, volts=lambda t_s: _volts(t_s, dip_v), start_ms=T0, closed={"D7": lambda t: 1.0}
    )
    warmth = (
        Reading("T1", T0 + s * 1000, T0 + s * 1000 + 1, celsius=round(24.0 + s / 3600, 1)) for s in range(0, int(WHOLE_S), 60)
    )
    for each in merge(electric, warmth, key=lambda reading: reading.received_ms):
        t_s = (each.received_ms - T0) / 1000
        if gap is None or not gap[0] <= t_s < gap[1]:
            yield each


def record(schedule: Schedule, text: str, *, as_left_a: float) -> Record:
    """As handed over with that fuse in the sockets' way."""
    made = Record(
        vehicle=schedule.vehicle.id, version=1, made_ms=T0 - 86_400_000, who="fitter", instrument="clamp 4",
        schedule_hash=sealed.schedule_hash(text), monitors=(Checked(monitor="dc"),),
        circuits=(Commissioned(circuit="D7", as_found_a=as_left_a, as_left_a=as_left_a),),
    )  # fmt: skip
    return sealed.seal(made)


def made(
    room: Path, *, as_left_a: float = 10.0, program: str = "0.1.0", measured_by: str | None = None, dip_v: float | None = None
) -> Made:
    """Feeds the core and journals as the daemon does: inputs, then transitions with their messages."""
    schedule, text = load(VAN)
    path = room / "journal.sqlite"
    journal, core = Journal.open(path), Core()
    sealed_record = record(schedule, measured_by or text, as_left_a=as_left_a)
    settings = Settings(
        received_ms=T0 - 1, schedule=schedule, schedule_text=text, started=True, program=program, record=sealed_record,
        record_text=sealed.text_of(sealed_record),
    )  # fmt: skip
    extra: list[Input] = [
        Presence(received_ms=T0 + 7_500_000, subject="monitor", name="dc-panel", here=True),
        Clock(received_ms=T0 + 9_000_000, offset_ms=-1500),
    ]
    alarm_id, answered = "", False

    def give(item: Input) -> str:
        opened = ""
        journal.append(item)
        for found in _transitions(core.feed(item)):
            opened = found.id if found.kind == "protection-opened" and found.subject_id == "D7" else opened
            _commit(journal, found, schedule)
        return opened

    for item in merge([settings, *extra], readings(dip_v=dip_v), key=lambda each: each.received_ms):
        if alarm_id and not answered and item.received_ms >= T0 + ANSWERED_S * 1000:
            give(Request(kind="acknowledge", received_ms=item.received_ms, id="1", alarm=alarm_id, who=WHO, why="looked at it"))
            answered = True
        alarm_id = give(item) or alarm_id
    journal.commit()
    journal.close()
    return Made(path, alarm_id, T0 + round(OPENS_S * 1000))


def _transitions(outputs: list[Output]) -> list[Transition]:
    return [each for each in outputs if isinstance(each, Transition)]


def _commit(journal: Journal, found: Transition, schedule: Schedule) -> None:
    shown = alarm_object(found, schedule)
    row = StoredTransition(
        alarm_id=found.id, sequence=found.sequence, at_ms=found.at_ms, subject=found.subject, subject_id=found.subject_id,
        group=found.group, state=found.state, object=shown, number=journal.last_number,
    )  # fmt: skip
    composed_s = found.at_ms / 1000 + 0.2
    message = OutboxRow(
        alarm_id=found.id, sequence=found.sequence, address_ref=ADDRESS, title=schedule.vehicle.name, body=shown["message"],
        kind=found.kind, priority=found.priority, created_real_s=composed_s, due_real_s=composed_s,
        expires_real_s=composed_s + 9e4,
    )  # fmt: skip
    journal.commit([row], [message] if found.told else [])
    for waiting in journal.due(composed_s + 1):
        journal.mark_trying([waiting.id])
        journal.settle(waiting.id, "handed-over", now_s=composed_s + 3)
