"""Labelled streams on which detectors are compared: the same for ours and for the ones of tests/reference/make_detectors.py.

A day's value in standard deviations about its record, as `watch/drift.py` makes one: quiet, or quiet for `RUN_IN` days and
then moved by so much at once, or by so much a day. Invented; the noise is normal.
"""

from __future__ import annotations

from collections.abc import Iterable
from random import Random
from statistics import median

STREAMS = 150
RUN_IN, AFTER = 60, 140  # days before the change and after it
QUIET_DAYS = 500
MOVES = (("0.5 sd", 0.5, 0.0), ("1 sd", 1.0, 0.0), ("1.5 sd", 1.5, 0.0), ("2 sd", 2.0, 0.0), ("0.1 sd a day", 0.0, 0.1))
SAME_DAYS = 30  # what is raised so soon after an alarm began is the same alarm


def quiet() -> list[list[float]]:
    return [_noise(seed, RUN_IN + QUIET_DAYS) for seed in range(STREAMS)]


def moved(by: float, a_day: float) -> list[list[float]]:
    out = []
    for seed in range(1000, 1000 + STREAMS):
        noise = _noise(seed, RUN_IN + AFTER)
        out.append([z + (by + a_day * (n - RUN_IN) if n >= RUN_IN else 0.0) for n, z in enumerate(noise)])
    return out


def _noise(seed: int, count: int) -> list[float]:
    chance = Random(seed)
    return [chance.gauss(0.0, 1.0) for _ in range(count)]


def alarms(raised: Iterable[int], same: int) -> list[int]:
    """Where each alarm began. One that never ends counts again and again."""
    out: list[int] = []
    for n in raised:
        if not out or n - out[-1] > same:
            out.append(n)
    return out


def false_per_1000(raised: list[list[int]]) -> float:
    """Of quiet streams, the run-in not counted."""
    return 1000.0 * sum(len([n for n in alarms(r, SAME_DAYS) if n >= RUN_IN]) for r in raised) / (STREAMS * QUIET_DAYS)


def delay(raised: list[list[int]]) -> float:
    """Median days from the change to the first alarm after it; what is never found counts as all the days there were."""
    return float(median(next((n - RUN_IN for n in r if n >= RUN_IN), AFTER) for r in raised))


def with_odd_readings(amps: list[float], each: int) -> list[float]:
    """The innocent twin: in the middle of each setting one reading is 3 A too high."""
    return [a + 3.0 if n % each == each // 2 else a for n, a in enumerate(amps)]


def found(raised: list[int], labels: list[int], within: int, same: int) -> tuple[list[int], int]:
    """Delays of the labels that an alarm followed within so many values, and how many alarms followed none."""
    delays, false, left = [], 0, list(labels)
    for n in alarms(raised, same):
        label = next((p for p in left if p <= n <= p + within), None)
        if label is None:
            false += 1
        else:
            delays.append(n - label)
            left.remove(label)
    return delays, false
