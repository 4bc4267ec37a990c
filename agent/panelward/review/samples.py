"""What a circuit's columns say it drew: readings paired into samples, as the watch pairs them (`watch/way.py`).

A reading with amps is a sample. Its watts are those published with it, at most half a period before; else amps times the
volts last seen, where those are no older than two periods; else amps at nominal volts. Watts that come without amps are a
sample, too. What can't be (more than the supply can give) is left out and counted.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from panelward.records import Circuit, Schedule
from panelward.review.source import Columns, Floats, Whole

LEAST_GAP_MS = 10_000
# More is a wrong scale, as the watch has it: above these it is no draw of this circuit.
TIMES_JUMP = 2.2
TIMES_FAULT = 1.2
TIMES_RATING = 100.0
_NEVER = -(2**62)


class Samples(NamedTuple):
    """Rising times; volts NaN where none were seen of late."""

    time_ms: Whole
    amps: Floats
    watts: Floats
    volts: Floats

    def rows(self, low: int, high: int | None = None) -> Samples:
        return Samples(self.time_ms[low:high], self.amps[low:high], self.watts[low:high], self.volts[low:high])

    def after(self, before: Samples | None) -> Samples:
        """With what was carried along before it."""
        if before is None:
            return self
        return Samples(
            np.concatenate((before.time_ms, self.time_ms)),
            np.concatenate((before.amps, self.amps)),
            np.concatenate((before.watts, self.watts)),
            np.concatenate((before.volts, self.volts)),
        )


@dataclass(frozen=True, slots=True)
class Habit:
    """How a circuit is read."""

    period_ms: int
    on_change: bool
    nominal_v: float
    most_v: float
    most_a: float

    @property
    def gap_ms(self) -> int:
        """The one rule: a wait of more than three periods, 10 s at the least, is unread. What speaks on change never waits."""
        return 2**62 if self.on_change else max(3 * self.period_ms, LEAST_GAP_MS)


def habit(schedule: Schedule, circuit: Circuit) -> Habit:
    """Of one circuit; one that no monitor publishes is taken at the default period."""
    periods = {monitor.name: monitor.expect_every_s for monitor in schedule.monitors}
    supply = schedule.supply(circuit.supply)
    most_a = inf
    if supply.fault_max_a is not None:
        most_a = TIMES_FAULT * supply.fault_max_a
    elif circuit.protection is not None:
        most_a = TIMES_RATING * circuit.protection.fitted_a
    return Habit(
        period_ms=max(1, round(1000 * periods.get(circuit.monitor or "", 5.0))),
        on_change=circuit.sense.publishes == "on-change",
        nominal_v=supply.nominal_v,
        most_v=TIMES_JUMP * supply.nominal_v,
        most_a=most_a,
    )


class Pairing:
    """One circuit's pairing from piece to piece: what was seen last is carried along."""

    def __init__(self, habit: Habit) -> None:
        self._habit = habit
        self._volts = (np.nan, _NEVER)
        self._watts = (np.nan, _NEVER)
        self._amps_ms = _NEVER
        self._last_ms = _NEVER  # of the samples
        self.impossible = 0

    def take(self, columns: Columns) -> Samples:
        """The samples of the next piece."""
        time, volts, amps, watts = columns.time_ms, columns.volts, columns.amps, columns.watts
        habit = self._habit
        # Most monitors send all that there is together: then nothing has to be looked for.
        odd = (np.abs(amps) > habit.most_a) | (np.abs(volts) > habit.most_v)
        if odd.any():
            self.impossible += int(odd.sum())
            keep = ~odd
            time, volts, amps, watts = time[keep], volts[keep], amps[keep], watts[keep]
        if not len(time):
            return Samples(time, amps, watts, volts)
        no_amps, no_watts, no_volts = np.isnan(amps), np.isnan(watts), np.isnan(volts)
        if no_volts.any():
            volts, seen_ms = _last(volts, ~no_volts, time, self._volts)
            paired = np.where(time - seen_ms <= 2 * habit.period_ms, volts, np.nan)
            self._volts = float(volts[-1]), int(seen_ms[-1])
        else:
            paired = volts
            self._volts = float(volts[-1]), int(time[-1])
        if no_watts.any():
            last_w, watts_ms = _last(watts, ~no_watts, time, self._watts)
            reckoned = amps * np.where(np.isnan(paired), habit.nominal_v, paired)
            paired_w = np.where(time - watts_ms <= habit.period_ms // 2, last_w, reckoned)
            self._watts = float(last_w[-1]), int(watts_ms[-1])
        else:
            paired_w = watts
            self._watts = float(watts[-1]), int(time[-1])
        sample: npt.NDArray[np.bool_] = ~no_amps
        if no_amps.any():
            _, amps_ms = _last(amps, sample, time, (np.nan, self._amps_ms))
            alone = no_amps & ~no_watts & (time - amps_ms > 2 * habit.period_ms)
            at_v = np.where(paired > 1.0, paired, habit.nominal_v)
            amps = np.where(alone, watts / at_v, amps)
            paired_w = np.where(alone, watts, paired_w)
            self._amps_ms = int(amps_ms[-1])
            sample = sample | alone
        else:
            self._amps_ms = int(time[-1])
        # Of several of one moment the first counts, as for the watch.
        first = np.empty(len(time), np.bool_)
        if sample.all():
            first[0] = time[0] > self._last_ms
            np.greater(time[1:], time[:-1], out=first[1:])
            if not first.all():
                time, amps, paired_w, paired = time[first], amps[first], paired_w[first], paired[first]
        else:
            time, amps, paired_w, paired = time[sample], amps[sample], paired_w[sample], paired[sample]
            keep = np.concatenate([time[:1] > self._last_ms, time[1:] > time[:-1]])
            time, amps, paired_w, paired = time[keep], amps[keep], paired_w[keep], paired[keep]
        if len(time):
            self._last_ms = int(time[-1])
        return Samples(time, amps, paired_w, paired)


def _last(values: Floats, known: npt.NDArray[np.bool_], time: Whole, before: tuple[float, int]) -> tuple[Floats, Whole]:
    """At each row the value seen last, and when."""
    at = np.maximum.accumulate(np.where(known, np.arange(len(values)), -1))
    found = np.where(at >= 0, values[at], before[0])
    return found, np.where(at >= 0, time[at], before[1])
