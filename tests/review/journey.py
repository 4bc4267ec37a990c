"""Thirty days of the demo van with eight things that befall it, lived into a journal: `python tests/review/journey.py OUT`.

Ordinary people, the daemon's own core, addressing, outbox and journal, as in `enduring/week.py`. Who reads the review of it
should not read this file before.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE.parent.parent / "agent")]

from enduring.week import Lived, Week  # noqa: E402
from panelward.rig import Life, Van  # noqa: E402

START = "2026-06-01T04:00:00+00:00"  # a Monday, 06:00 in Oslo
HOUR_MS = 3_600_000
COMMIT_MS = 60_000


@dataclass(frozen=True)
class Event:
    """What befalls the van, and from when until when, hours from the start; `to_h` None: to the end."""

    what: str
    way: str | None
    from_h: float
    to_h: float | None
    plan: Callable[[Life, int], None]


def _befall(name: str) -> Callable[[Life, int], None]:
    """A fault of the rig's own list."""
    return lambda life, at_ms: life.befall(f"{name}+{(at_ms - life.van.now_ms) / 1000:g}")


def _from_to(
    begin: Callable[[Van], None], end: Callable[[Van], None] | None, hours: float = 0.0
) -> Callable[[Life, int], None]:
    def plan(life: Life, at_ms: int) -> None:
        life.at(at_ms, begin)
        if end is not None:
            life.at(at_ms + round(hours * HOUR_MS), end)

    return plan


def _fed(way: str, fed: bool) -> Callable[[Van], None]:
    def act(van: Van) -> None:
        van.loads[way].fed = fed

    return act


def _silent(silent: bool) -> Callable[[Van], None]:
    return lambda van: setattr(van, "silent", silent)


def _short(life: Life, at_ms: int) -> None:
    life.befall(f"pump-short+{(at_ms - life.van.now_ms) / 1000:g}")
    life.at(at_ms + 3 * HOUR_MS, lambda van: setattr(van.devices["D4"], "open", False))


def _wrong_fuse(life: Life, at_ms: int) -> None:
    life.befall(f"bench-wrong-fuse+{(at_ms - life.van.now_ms) / 1000:g}")


def _seal(van: Van) -> None:
    van.freezer.wall_w_per_k *= 1.7


def _stays_on(van: Van) -> None:
    van.extra_a["D2"] = 0.25


def day(number: int, clock_h: float) -> float:
    """Hours from the start to this local hour of the day with this number; the journey begins at 06:00 of day 1."""
    return (number - 1) * 24.0 + clock_h - 6.0


EVENTS = (
    Event("the inverter is left on over night", "D9", day(3, 22.0), day(4, 2.0), _befall("inverter-left-on")),
    Event(
        "about 18 A on the 15 A sockets for a quarter of an hour", "D7", day(6, 16.0), day(6, 16.25), _befall("bench-overload")
    ),
    Event(
        "the detector has no feed for six hours",
        "D6",
        day(9, 3.2),
        day(9, 9.2),
        _from_to(_fed("D6", False), _fed("D6", True), 6.0),
    ),
    Event("a short in the pump's lead opens its fuse", "D4", day(12, 8.5), day(12, 11.5), _short),
    Event("the freezer's seal lets warmth in from here on", "D1", day(15, 12.0), None, _from_to(_seal, None)),
    Event(
        "the monitor says nothing for five hours",
        None,
        day(19, 1.0),
        day(19, 6.0),
        _from_to(_silent(True), _silent(False), 5.0),
    ),
    Event("27 A for a quarter of an hour behind what should be 15 A", "D7", day(22, 14.0), day(22, 14.25), _wrong_fuse),
    Event("something of a quarter of an ampere stays on for good", "D2", day(26, 1.0), None, _from_to(_stays_on, None)),
)


class Journey(Lived):
    """Lived with the events above; the readings are committed once a minute of the van's time."""

    def __init__(self, folder: Path, days: float, seed: int = 5, events: tuple[Event, ...] = EVENTS) -> None:
        super().__init__(
            Week(seed=seed, days=days, faults=(), start=START, offline=(13.0, 13.5), answers_after_s=2400.0, repaired_h=None),
            folder,
        )
        for event in events:
            event.plan(self.life, self.start_ms + round(event.from_h * HOUR_MS))
        self._committed_ms = self.start_ms

    def _chores(self) -> None:
        super()._chores()
        if self.now_ms - self._committed_ms >= COMMIT_MS:
            self._committed_ms = self.now_ms
            self.outward.commit(None)


def main() -> int:
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    lived = Journey(folder, float(sys.argv[2]) if len(sys.argv) > 2 else 30.0)
    phones = lived.run()
    print(f"{len(phones.got)} messages, {len(lived.transitions)} transitions", file=sys.stderr)
    for each in lived.transitions:
        if each.event == "begins":
            print(
                f"{(each.at_ms - lived.start_ms) / HOUR_MS:8.1f} h {each.subject_id} {each.kind} {each.priority} {each.cause}"
            )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
