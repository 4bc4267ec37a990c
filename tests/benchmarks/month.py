"""Readings of 24 circuits at 1 Hz for as many days as wanted: the same ones each time, made quickly. The figures are invented.

Shapes: compressors and pumps that cycle, lights in the evening, sockets at odd times, a heater, and what always draws; each
with 0.3 W + 1 % of noise (as the synthetic data of the measurements that the block was chosen by). Volts fall with the load and
through the night. Half the sensors read volts to 0.01 and amps to 0.001, half to 0.1 and 0.01; watts to 0.1, a quarter
of them none at all. Every reading comes up to 20 ms early or late; a quarter of the circuits stamp their own whole second.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from panelward.records import Reading

CIRCUITS = 24
T0 = 1_790_035_200_000  # a midnight, UTC
DAY_S = 86_400
_NAMES = tuple(f"D{n}" for n in range(1, CIRCUITS + 1))


class Day(NamedTuple):
    """Columns in the order of arrival. NaN: not measured."""

    circuit: npt.NDArray[np.int64]  # index into NAMES
    time_ms: npt.NDArray[np.int64]
    received_ms: npt.NDArray[np.int64]
    volts: npt.NDArray[np.float64]
    amps: npt.NDArray[np.float64]
    watts: npt.NDArray[np.float64]


NAMES = _NAMES


def day(number: int, *, seconds: int = DAY_S, seed: int = 7) -> Day:
    """The readings of one day, or of its beginning."""
    chance = np.random.default_rng((seed, number))
    watts = np.stack([_draw(k, chance) for k in range(CIRCUITS)])[:, :seconds]
    second = np.arange(seconds)
    bank_v = 13.1 + 0.5 * np.sin(2 * np.pi * (second - 7 * 3600) / DAY_S) - watts.sum(axis=0) / 13.0 * 0.0015
    bank_v += np.cumsum(chance.normal(0.0, 0.0005, seconds)) * 0.2
    noisy = watts * (1 + chance.normal(0, 0.01, watts.shape)) + chance.normal(0, 0.3, watts.shape)
    volts = bank_v + chance.normal(0.0, 0.006, watts.shape)
    fine = np.arange(CIRCUITS)[:, None] % 2 == 0
    amps = noisy / volts
    volts = np.where(fine, np.round(volts * 100) / 100, np.round(volts * 10) / 10)
    amps = np.where(fine, np.round(amps * 1000) / 1000, np.round(amps * 100) / 100)
    shown = np.round(noisy * 10) / 10
    shown[3::4] = np.nan
    stamp = T0 + (number * DAY_S + second) * 1000
    received = stamp + 30 + 5 * np.arange(CIRCUITS)[:, None] + chance.integers(-20, 21, watts.shape)
    time = np.where(np.arange(CIRCUITS)[:, None] % 4 == 2, stamp, received)
    order = np.argsort(received.T.reshape(-1), kind="stable")

    def flat(column: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return column.T.reshape(-1)[order]

    circuit = np.tile(np.arange(CIRCUITS), seconds)[order]
    return Day(
        circuit,
        time.T.reshape(-1)[order],
        received.T.reshape(-1)[order],
        flat(volts) + 0.0,
        flat(amps) + 0.0,
        flat(shown) + 0.0,
    )


def readings(found: Day) -> Iterator[Reading]:
    """The same as the daemon's records."""
    names = [_NAMES[k] for k in found.circuit.tolist()]
    watts = [None if w != w else w for w in found.watts.tolist()]  # noqa: PLR0124
    return map(
        Reading, names, found.time_ms.tolist(), found.received_ms.tolist(), found.volts.tolist(), found.amps.tolist(), watts
    )


def _draw(k: int, chance: np.random.Generator) -> npt.NDArray[np.float64]:
    """What one circuit draws, second by second, before its noise."""
    second = np.arange(DAY_S)
    kind = k % 6
    if kind == 0:  # a compressor: on a third of each 40 minutes
        period_s = 2400 + 60 * k
        return np.where((second + 311 * k) % period_s < period_s * 0.35, 45.0 + k, 0.0)
    if kind == 1:  # lights, in the evening
        on = (second > 17 * 3600 + 120 * k) & (second < 22 * 3600)
        return np.where(on, 12.0 + k / 2, 0.0)
    if kind == 2:  # always
        return np.full(DAY_S, 2.0 + k / 3)
    if kind == 3:  # sockets: some stretches a day
        out = np.zeros(DAY_S)
        for _ in range(6):
            begins, lasts = chance.integers(0, DAY_S), chance.integers(60, 5400)
            out[begins : begins + lasts] = chance.uniform(20, 180)
        return out
    if kind == 4:  # a pump: half a minute, a few dozen times
        out = np.zeros(DAY_S)
        for begins in chance.integers(0, DAY_S, 40):
            out[begins : begins + 25] = 70.0 + k
        return out
    period_s = 1800  # a heater with a fan
    return 6.0 + np.where(second % period_s < 600, 20.0 + 2 * k, 0.0)
