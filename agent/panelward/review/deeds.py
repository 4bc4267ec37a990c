"""What the vehicle was doing, where no journal says it: the watch's own judgement (`watch.doing`) over thinned readings."""

from __future__ import annotations

from collections.abc import Sequence
from math import isnan

import numpy as np

from panelward.records import Doing, Schedule
from panelward.review.samples import Samples
from panelward.watch.bench import Bench
from panelward.watch.doing import DoingState
from panelward.watch.panel import Panel

EVERY_MS = 20_000  # a reading of each channel in so long is enough: the shortest delays are 10 s to come and a minute to go


class Deeds:
    """Feeds `DoingState` with one reading of each of its channels in 20 s, in the order of their times."""

    def __init__(self, schedule: Schedule) -> None:
        self._bench, self._panel = Bench(), Panel(schedule.vehicle.timezone)
        self._state = DoingState(self._bench, self._panel, schedule)
        self._listens = frozenset(c.id for c in schedule.circuits if self._state.listens(c))
        self.can_tell = bool(self._listens)

    def listens(self, circuit: str) -> bool:
        return circuit in self._listens

    def take(self, heard: Sequence[tuple[str, Samples]]) -> None:
        """The next piece."""
        rows = []
        for circuit, samples in heard:
            if not len(samples.time_ms):
                continue
            bins = samples.time_ms // EVERY_MS
            at = np.concatenate(([0], np.flatnonzero(np.diff(bins)) + 1))
            columns = (samples.time_ms[at].tolist(), samples.volts[at].tolist(), samples.amps[at].tolist())
            rows += [(t, circuit, None if isnan(v) else v, a) for t, v, a in zip(*columns, strict=True)]
        for time_ms, circuit, volts, amps in sorted(rows, key=lambda row: row[:2]):
            while (due_ms := self._bench.next_ms()) is not None and due_ms <= time_ms:
                self._bench.fire()
            self._state.hear(circuit, volts, amps, None, time_ms)

    @property
    def changes(self) -> list[Doing]:
        return self._state.changes
