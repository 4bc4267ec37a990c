"""The daemon's clock: one object (wall, monotonic, trusted or not) with an origin and a rate.

The axis of `received` is monotonic: it starts at the wall clock (or at the last journalled input, whichever is later),
follows forward corrections by a Clock input, and never runs back. With a rate it is simulated time, for demo and tests.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime

from panelward.errors import Fault, ScheduleError
from panelward.records import Clock
from panelward.records.inputs import WALL_SET_FROM_MS

# RFC 5905 steps at 0.128 s and slews what is below. One second here: the two clocks are read one after the other, on a small
# computer that may be held up in between, and what an hour of energy or a delay is judged on is monotonic in any case.
STEP_MS = 1000


@dataclass(frozen=True, slots=True)
class Pace:
    """Simulated time: `origin_ms` was at `origin_real_s` (Unix seconds), and runs `rate` times as fast since."""

    origin_ms: int
    rate: float
    origin_real_s: float


def pace(text: str) -> Pace:
    """Read `2026-05-01T06:00Z,60[,ORIGIN]`; ScheduleError where it is not that."""
    parts = text.split(",")
    try:
        if len(parts) not in (2, 3):
            raise ValueError
        origin = datetime.fromisoformat(parts[0])
        origin_ms = round((origin if origin.tzinfo else origin.replace(tzinfo=UTC)).timestamp() * 1000)
        rate = float(parts[1])
        real_s = float(parts[2]) if len(parts) == 3 else time.time()
        if not 0.001 <= rate <= 100_000:
            raise ValueError
    except ValueError:
        wanted = "a time, a rate and perhaps the real time of that origin, like 2026-05-01T06:00Z,60"
        raise ScheduleError((Fault("the command line", None, "--clock", wanted, repr(text)),)) from None
    return Pace(origin_ms, rate, real_s)


class HostClock:
    """Wall and monotonic time of this host, and the axis made from them."""

    def __init__(
        self,
        simulated: Pace | None = None,
        *,
        not_before_ms: int = 0,
        wall: Callable[[], float] = time.time,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._wall, self._monotonic = wall, monotonic
        self.rate = simulated.rate if simulated else 1.0
        self.simulated = simulated is not None
        self._mono_s = self._monotonic()
        if simulated:
            begin_ms = simulated.origin_ms + (self._wall() - simulated.origin_real_s) * 1000 * simulated.rate
        else:
            begin_ms = self._wall() * 1000
        self._axis_ms = max(begin_ms, float(not_before_ms))
        self._last_ms = int(self._axis_ms)
        self.offset_ms = round(begin_ms - self._axis_ms)  # wall minus axis: at most 0

    def at(self, monotonic_s: float) -> int:
        """The axis at a moment of the monotonic clock, ms; never less than given before."""
        now_ms = int(self._axis_ms + (monotonic_s - self._mono_s) * 1000 * self.rate)
        self._last_ms = max(self._last_ms, now_ms)
        return self._last_ms

    def now_ms(self) -> int:
        """The axis now."""
        return self.at(self._monotonic())

    def peek_ms(self) -> int:
        """The axis now, for a look: what arrived before this moment may still be given its own, earlier time."""
        return int(self._axis_ms + (self._monotonic() - self._mono_s) * 1000 * self.rate)

    def real_s(self, axis_ms: int) -> float:
        """Seconds of real time from now until the axis stands at `axis_ms`."""
        return (axis_ms - self.peek_ms()) / 1000 / self.rate

    @property
    def trusted(self) -> bool:
        """Is the wall clock set, and the axis on it?"""
        return self.simulated or (self._wall() * 1000 >= WALL_SET_FROM_MS and abs(self.offset_ms) <= STEP_MS)

    def local_ms(self) -> int:
        """What people's clocks show now: the wall clock where it is set, else the axis."""
        shown_ms = self.peek_ms()
        return shown_ms + self.offset_ms if shown_ms + self.offset_ms >= WALL_SET_FROM_MS else shown_ms

    def correction(self) -> Clock | None:
        """A Clock input where the wall clock was set since the last call; moves the axis along with it."""
        if self.simulated:
            return None
        mono_s = self._monotonic()
        wall_ms = self._wall() * 1000
        axis_ms = self._axis_ms + (mono_s - self._mono_s) * 1000
        offset_ms = wall_ms - axis_ms
        if offset_ms > STEP_MS:
            shift_ms = round(offset_ms)
            self._axis_ms, self._mono_s, self.offset_ms = axis_ms + shift_ms, mono_s, 0
            return Clock(received_ms=self.at(mono_s), shift_ms=shift_ms)
        if abs(offset_ms - self.offset_ms) > STEP_MS:
            self.offset_ms = min(0, round(offset_ms))
            return Clock(received_ms=self.at(mono_s), offset_ms=self.offset_ms)
        return None


class RealTime:
    """Unix seconds for delivery, on the monotonic clock: no step of the wall clock makes a message due, or too old to send.

    A clock that is set is followed by `step_s`, and what waits has then to move along.
    """

    def __init__(
        self, waits_since_s: float | None = None, *, wall: Callable[[], float] = time.time,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:  # fmt: skip
        """`waits_since_s`: when the newest message that waits was written, by the clock of that run."""
        self._wall, self._monotonic = wall, monotonic
        begin_s = wall()
        if not _set(begin_s) and waits_since_s is not None:
            begin_s = max(begin_s, waits_since_s)  # it is no earlier than that
        self._base_s = begin_s - monotonic()
        self.first_step_s = 0.0  # by which what waits has to move at the start: it was written by a clock that was wrong
        if waits_since_s is not None and _set(begin_s) and (waits_since_s > begin_s or not _set(waits_since_s)):
            self.first_step_s = begin_s - waits_since_s

    def now_s(self) -> float:
        return self._base_s + self._monotonic()

    def step_s(self) -> float:
        """By how much the wall clock is elsewhere, where it is set; 0: by no more than it may. `follow` goes along."""
        wall_s = self._wall()
        step_s = wall_s - self.now_s()
        return step_s if _set(wall_s) and abs(step_s) * 1000 > STEP_MS else 0.0

    def follow(self, step_s: float) -> None:
        self._base_s += step_s

    @property
    def set(self) -> bool:
        """Is this a time that can be?"""
        return _set(self.now_s())


def _set(wall_s: float) -> bool:
    return wall_s * 1000 >= WALL_SET_FROM_MS
