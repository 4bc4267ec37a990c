"""Charge counted at the bank's meter since it was last seen full; how much is left, and how far that may be wrong.

Full: volts at the level at which a charger absorbs, and hardly any current going in any more, for some minutes. What
is not counted (a gap) is taken as drawn like before, and as an error of the same size.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any, NamedTuple

from panelward.ratings import peukert_rated_hours
from panelward.records import Battery

# Volts a cell at which a charger absorbs, volts above which it is none of a charger's, and the tail: amps going in, of
# the capacity, at which it is full. Common practice, no source.
_FULL = {"lfp": (3.50, 3.70, 0.05), "flooded": (2.38, 2.70, 0.02), "agm": (2.35, 2.70, 0.02), "gel": (2.33, 2.70, 0.02)}
FULL_MINUTES = 3
WARMTH_V_PER_K = -0.004  # a cell of lead, from 25 °C: 3 to 5 mV/K, from memory; only where the bank has a probe
# Share of what goes in that comes out again: lead 80 to 85 %, lithium 99.5 % (a single text seen, weak).
GIVES_BACK = {"lfp": 0.995}
GIVES_BACK_LEAD, GIVES_BACK_SD = 0.82, 0.03
# Peukert's exponent: the middle of the ranges flooded 1.2 to 1.6, AGM 1.05 to 1.15, gel 1.1 to 1.25 (one text seen).
PEUKERT = {"flooded": 1.4, "agm": 1.1, "gel": 1.175}
RATED_H = 20.0  # hours of the printed capacity: the usual one, common practice
ZERO_A, GAIN = 0.02, 0.02  # what commissioning allows a meter (trade practice, no source)
# Volts of a bank of 12 V at rest by the charge left. Lead: the BCI table (two texts seen). Iron-phosphate, four cells:
# from memory, +-0.12 V; only its knee is used.
_REST = {"lfp": ((10.0, 0.0), (12.0, 0.1), (12.8, 0.2))}
_REST_LEAD = ((11.89, 0.0), (12.06, 0.25), (12.24, 0.5), (12.45, 0.75), (12.65, 1.0))
KNOWN_MS = 21 * 86_400_000  # a full charge within the last weeks: three (no source)
DOUBTED = 0.2  # of the capacity: counted no better than this is not known
ON_CHANGE_MS = 3600_000  # a meter that speaks on change and is silent for longer is gone
_AH = 7.2e10  # twice 0.1 mA x ms in an Ah


def cells(battery: Battery, nominal_v: float) -> int:
    """Cells in series: batteries are made of blocks of 12 V."""
    if battery.chemistry == "lfp":
        return 4 * max(1, round(nominal_v / 12.8))
    return 6 * max(1, round(nominal_v / 12.0))


def left_at_rest(battery: Battery, nominal_v: float, rest_v: float) -> float:
    """Share of the capacity that is left where the bank stands at `rest_v` at rest; of iron-phosphate 0.2 or less."""
    lfp = battery.chemistry == "lfp"
    volts = rest_v / (cells(battery, nominal_v) // (4 if lfp else 6))
    table = _REST["lfp"] if lfp else _REST_LEAD
    for (below_v, below), (above_v, above) in pairwise(table):
        if volts <= above_v:
            return max(below, below + (above - below) * (volts - below_v) / (above_v - below_v))
    return table[-1][1]


class Counted(NamedTuple):
    """What is known of a bank's charge."""

    left: float | None  # share of the capacity; None: not known
    error: float | None  # how far that may be wrong, share of the capacity
    full_ms: int | None  # last seen full
    heard_ms: int | None  # last counted


class Charge:
    """One bank's counted charge. Sums are whole numbers: they add up the same however they are cut."""

    def __init__(self, battery: Battery, nominal_v: float, *, period_ms: int, on_change: bool, resolution_a: float) -> None:
        self._battery, self._nominal_v = battery, nominal_v
        self._on_change = on_change
        self._gap_ms = ON_CHANGE_MS if on_change else max(3 * period_ms, 10_000)
        self._cells = cells(battery, nominal_v)
        self._absorbs_v, self._most_v, self._tail = _FULL.get(battery.chemistry, _FULL["flooded"])
        self._back = GIVES_BACK.get(battery.chemistry, GIVES_BACK_LEAD)
        self._back_sd = 1.0 - self._back if battery.chemistry == "lfp" else GIVES_BACK_SD
        self._zero_a = max(ZERO_A, resolution_a)
        self.full_ms: int | None = None  # last seen full, as measured
        self.time_ms: int | None = None
        self.amps = 0  # 0.1 mA, discharge positive
        self.out2 = 0  # twice 0.1 mA x ms since then
        self.in2 = 0
        self.gap2 = 0  # drawn in gaps, as it is taken to have been
        self.minutes = 0  # in a row that looked full

    def take(self, amps: float, time_ms: int, usual_a: float) -> None:
        """What the bank gives now (charge negative); `usual_a`: what it gave of late, for gaps."""
        now = round(amps * 10_000)
        if self.time_ms is not None and time_ms > self.time_ms:
            dt_ms = time_ms - self.time_ms
            if dt_ms > self._gap_ms:
                self.gap2 += 2 * dt_ms * round(max(0.0, usual_a) * 10_000)
                self.minutes = 0
            else:
                both = 2 * self.amps if self._on_change else self.amps + now
                if both >= 0:
                    self.out2 += both * dt_ms
                else:
                    self.in2 -= both * dt_ms
        self.time_ms, self.amps = time_ms, now

    def minute(self, volts: float, amps: float | None, time_ms: int, bank_c: float | None) -> None:
        """A whole minute at these volts and amps: does it look full? More than full it can't be."""
        absorbs_v = self._absorbs_v
        if bank_c is not None and self._battery.chemistry != "lfp":
            absorbs_v += WARMTH_V_PER_K * (bank_c - 25.0)
        tail_a = self._tail * self._battery.capacity_ah
        full = amps is not None and -tail_a <= amps <= self._zero_a
        full = full and absorbs_v * self._cells <= volts <= self._most_v * self._cells
        self.minutes = self.minutes + 1 if full else 0
        if self.minutes >= FULL_MINUTES:
            self.full_ms, self.out2, self.in2, self.gap2 = time_ms, 0, 0, 0
        elif self._back * self.in2 > self.out2 + self.gap2:
            self.in2 = round((self.out2 + self.gap2) / self._back)

    def used_ah(self) -> float:
        """Drawn from a full bank, less what came back."""
        return max(0.0, (self.out2 + self.gap2 - self._back * self.in2) / _AH)

    def error_ah(self, time_ms: int) -> float:
        """How far `used_ah` may be wrong: the meter's zero and gain, what charging loses, what lay in gaps."""
        if self.full_ms is None:
            return self._battery.capacity_ah
        zero_ah = self._zero_a * max(0, time_ms - self.full_ms) / 3.6e6
        gone_ah, come_ah = (self.out2 + self.gap2) / _AH, self.in2 / _AH
        return zero_ah + GAIN * abs(gone_ah - come_ah) + self._back_sd * come_ah + self.gap2 / _AH

    def to_cutoff_ah(self, rest_v: float) -> float:
        """What a full bank gives until it stands at `rest_v` at rest.

        What the schedule calls usable is for lead a matter of its years, not of the cut-off; for iron-phosphate it
        stands where that is less.
        """
        share = 1.0 - left_at_rest(self._battery, self._nominal_v, rest_v)
        if self._battery.chemistry == "lfp":
            share = min(share, self._battery.usable)
        return share * self._battery.capacity_ah

    def left_ah(self, time_ms: int, rest_v: float) -> float | None:
        """What can still be drawn at the least until it stands at `rest_v` at rest; None where it is not known."""
        if self.full_ms is None or time_ms - self.full_ms > KNOWN_MS:
            return None
        error_ah = self.error_ah(time_ms)
        if error_ah > DOUBTED * self._battery.capacity_ah:
            return None
        return max(0.0, self.to_cutoff_ah(rest_v) - self.used_ah() - error_ah)

    def counted(self, now_ms: int, usual_a: float) -> Counted:
        """The share left, where it is known; `usual_a`: what it gave of late, for the time since its meter was heard."""
        heard_ms = self.time_ms
        unknown = Counted(None, None, self.full_ms, heard_ms)
        if self.full_ms is None or heard_ms is None or now_ms - self.full_ms > KNOWN_MS or now_ms - heard_ms > ON_CHANGE_MS:
            return unknown
        capacity_ah = self._battery.capacity_ah
        unheard_ah = 0.0 if self._on_change else max(0.0, usual_a) * max(0, now_ms - heard_ms) / 3.6e6
        error = (self.error_ah(now_ms) + unheard_ah) / capacity_ah
        return unknown if error > DOUBTED else unknown._replace(left=max(0.0, 1.0 - self.used_ah() / capacity_ah), error=error)

    def hours(self, left_ah: float, draw_a: float) -> float | None:
        """Hours at this draw. Lead gives less the more is drawn (Peukert); lithium hardly does."""
        if draw_a <= 0.0:
            return None
        exponent, capacity_ah = PEUKERT.get(self._battery.chemistry), self._battery.capacity_ah
        if exponent is not None and draw_a > capacity_ah / RATED_H:
            return peukert_rated_hours(capacity_ah, RATED_H, exponent, draw_a) * left_ah / capacity_ah
        return left_ah / draw_a

    def rest(self) -> None:
        """The program was off: the next reading tells how long."""
        self.minutes = 0

    def save(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in _KEPT}

    def restore(self, state: dict[str, Any]) -> None:
        for name in _KEPT:
            setattr(self, name, state[name])


_KEPT = ("full_ms", "time_ms", "amps", "out2", "in2", "gap2", "minutes")


def depends(battery: Battery | None) -> object:
    """What counted charge depends on."""
    return (battery.chemistry, battery.capacity_ah, battery.usable) if battery is not None else None
