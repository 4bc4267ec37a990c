"""What a new profile must show before it holds: that it still finds the faults of its own kind of load, and cries no more.

Faults are planted into the circuit's own readings of the fortnight, each in several of its runs, and run through the
daemon's own core with the old and the new profile. Refused is what finds fewer, later by a fifth, or what says of the
readings as they are something that the old one did not.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from statistics import fmean

from panelward.core import Core
from panelward.learn.rows import Rows
from panelward.records import Circuit, Reading, Schedule, Settings, Transition

GROUPS = ("level", "drain")  # what a profile has a say in
WINDOWS = 8
LEAD_MS = 30 * 60_000
AFTER_MS = 3 * 3600_000
RECALL_LOST = 0.01
DELAY_GROWN = 1.2
APART_MS = 3600_000

Plant = Callable[[float], float]  # amps -> amps


def _times(share: float, above_a: float) -> Plant:
    return lambda amps: amps * share if amps > above_a else amps


def plants(circuit: Circuit, rest_a: float) -> dict[str, Plant]:
    """The faults of this kind of load, as what they make of its amps."""
    kind = circuit.loads[0].kind
    found: dict[str, Plant] = {"more-than-listed": _times(1.6, rest_a)}
    if kind in ("fan", "motor", "pump"):
        found["stall"] = _times(4.0, rest_a)
    if kind == "pump":
        found["runs-dry"] = _times(0.55, rest_a)
    if kind == "heater-element":
        found["part-open"] = _times(0.5, rest_a)
    if circuit.loads[0].standby_max_w is not None:
        found["standby"] = lambda amps: amps + 0.15 if amps <= rest_a else amps
    return found


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the gate says."""

    passed: bool
    why: str
    planted: int = 0
    found_before: int = 0
    found_after: int = 0


def try_out(
    before: Circuit, after: Circuit, schedule: Schedule, readings: Rows, held: Sequence[tuple[int, int]] = ()
) -> Verdict:
    """`readings`: the circuit's own, in order. `held`: from when to when an alarm stood: what is told then is no false one."""
    old, new = _alone(schedule, before), _alone(schedule, after)
    said, says = ([t for t in _told(each, readings) if not any(a <= t.at_ms <= b for a, b in held)] for each in (old, new))
    if len(says) > len(said):
        return Verdict(False, f"on the readings as they are it tells {len(says)} alarms, before {len(said)}")
    supply = schedule.supply(before.supply)
    load = before.loads[0]
    rest_a = (max(load.standby_max_w or 0.0, 1.5 * (load.always_draws_w or 0.0)) + 0.5) / supply.nominal_v
    rest_a += 2 * before.sense.resolution_a
    starts = _windows(readings, rest_a)
    planted = found_old = found_new = 0
    delays_old: list[int] = []
    delays_new: list[int] = []
    for plant in plants(before, rest_a).values():
        for start_ms in starts:
            lived = readings.between(start_ms - LEAD_MS, start_ms + AFTER_MS)
            window = [_planted(r, plant, start_ms) for r in lived]
            first, second = _delay(old, window, start_ms), _delay(new, window, start_ms)
            planted += 1
            found_old += first is not None
            found_new += second is not None
            if first is not None and second is not None:
                delays_old.append(first)
                delays_new.append(second)
    counts = (planted, found_old, found_new)
    if planted and found_new < found_old - RECALL_LOST * planted:
        return Verdict(False, f"of {planted} planted faults it finds {found_new}, before {found_old}", *counts)
    if delays_old and fmean(delays_new) > DELAY_GROWN * fmean(delays_old) + 1000:
        late = f"{fmean(delays_new) / 60_000:.1f} min, before {fmean(delays_old) / 60_000:.1f}"
        return Verdict(False, f"it finds planted faults after {late}", *counts)
    return Verdict(True, f"of {planted} planted faults it finds {found_new}, before {found_old}", *counts)


def _alone(schedule: Schedule, circuit: Circuit) -> Schedule:
    supply = replace(schedule.supply(circuit.supply), meter=None, cutoff_v=None)
    others = tuple(s for s in schedule.supplies if s.id != supply.id)
    return replace(schedule, circuits=(circuit,), supplies=(supply, *others), feeders=schedule.feeders, probes=())


def _windows(readings: Rows, above_a: float) -> list[int]:
    """Where runs begin, spread over the fortnight."""
    starts: list[int] = []
    was = False
    for reading in readings:
        if reading.amps is None:
            continue
        on = reading.amps > above_a
        if on and not was and (not starts or reading.received_ms - starts[-1] >= APART_MS):
            starts.append(reading.received_ms)
        was = on
    if not starts:
        starts = [first.received_ms + LEAD_MS for first in islice(readings, 1)]
    return starts if len(starts) <= WINDOWS else [starts[i * len(starts) // WINDOWS] for i in range(WINDOWS)]


def _planted(reading: Reading, plant: Plant, from_ms: int) -> Reading:
    if reading.received_ms < from_ms or reading.amps is None:
        return reading
    amps = round(plant(reading.amps), 4)
    watts = reading.watts
    if watts is not None and reading.amps:
        watts = round(watts * amps / reading.amps, 3)
    return reading._replace(amps=amps, watts=watts)


def _told(schedule: Schedule, readings: Iterable[Reading]) -> list[Transition]:
    core = Core()
    found: list[Transition] = []
    for reading in readings:
        if core.watch is None:
            core.feed(Settings(received_ms=reading.received_ms, schedule=schedule, started=True))
        out = core.feed(reading)
        if out:
            found += [x for x in out if isinstance(x, Transition) and x.group in GROUPS and x.told and x.event == "begins"]
    return found


def _delay(schedule: Schedule, window: Sequence[Reading], from_ms: int) -> int | None:
    told = _told(schedule, window)
    return next((t.at_ms - from_ms for t in told if t.at_ms >= from_ms), None)
