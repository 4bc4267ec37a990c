"""One circuit's readings of a fortnight in little memory: at one a second a list of them would take 400 MB, this 50."""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Iterator
from math import isnan, nan

from panelward.records import Reading

_TRUTHS = (None, False, True)
_ORIGINS = ("live", "retained", "backlog")


class Rows:
    """Readings of one circuit, in order. Its probe's degrees are none of its draw, and are left out."""

    def __init__(self, circuit: str, readings: Iterable[Reading]) -> None:
        self._circuit = circuit
        self._times, self._received = array("q"), array("q")
        self._volts, self._amps, self._watts = array("d"), array("d"), array("d")
        self._flags = array("b")
        for each in readings:
            self._times.append(each.time_ms)
            self._received.append(each.received_ms)
            self._volts.append(nan if each.volts is None else each.volts)
            self._amps.append(nan if each.amps is None else each.amps)
            self._watts.append(nan if each.watts is None else each.watts)
            truths = 3 * _TRUTHS.index(each.closed) + _TRUTHS.index(each.commanded)
            self._flags.append(9 * _ORIGINS.index(each.origin) + truths)

    def __len__(self) -> int:
        return len(self._times)

    def __iter__(self) -> Iterator[Reading]:
        return (self._at(n) for n in range(len(self._times)))

    def between(self, from_ms: int, to_ms: int) -> Iterator[Reading]:
        """Those received from the one time on and before the other."""
        return (self._at(n) for n, at_ms in enumerate(self._received) if from_ms <= at_ms < to_ms)

    def _at(self, n: int) -> Reading:
        volts, amps, watts, flags = self._volts[n], self._amps[n], self._watts[n], self._flags[n]
        return Reading(
            self._circuit, self._times[n], self._received[n],
            None if isnan(volts) else volts, None if isnan(amps) else amps, None if isnan(watts) else watts,
            closed=_TRUTHS[flags % 9 // 3], commanded=_TRUTHS[flags % 3], origin=_ORIGINS[flags // 9],
        )  # fmt: skip
