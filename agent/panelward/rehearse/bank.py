"""How often the low-voltage cut-off would have acted with a bank of another capacity, by counted ampere-hours.

The same ampere-hours flow as were metered; what the smaller bank is empty of is not drawn, and what fills the greater one
is what came. Whether the cut-off acts is told by the charge drawn since the bank was last seen full (`watch.charge`), held
against what the volts showed as it is. Where no meter counts, or the bank was never seen full, it can't be known.
"""

from __future__ import annotations

from array import array
from dataclasses import dataclass, replace

from panelward.records import Battery, Reading, Schedule, Supply
from panelward.rehearse.meter import Meters
from panelward.watch.charge import DOUBTED, Charge

AGAIN = 0.05  # of its capacity, charged back: the next cut-off is another one (no source)
NO_SUPPLY = 0.5  # of nominal: no volts at all are another story than a low bank
RESTORED = 0.03  # of nominal above the cut-off, where no restore_v is written
USUAL_MINUTES = 30
GAP_MS = 600_000  # a longer gap is not counted over (no source)
GIVES_BACK_MOST = 1.0  # of a swing, which is the least that was given: all that went in is taken to have come out


@dataclass(frozen=True, slots=True)
class CutOffs:
    """What was counted for one capacity. `least`: loads that were cut off would have drawn on, so it may be more often."""

    capacity_ah: float
    acts: int
    times_ms: tuple[int, ...]
    cut_h: float  # for so long the loads behind it would have been without
    most_ah: float  # drawn at the most
    most_ms: int
    least: bool = False


@dataclass(frozen=True, slots=True)
class BankAnswer:
    """One bank, as it is and as varied. `unknown`: why it can't be told; empty: it can."""

    supply: str
    unknown: str
    cutoff_v: float | None
    acts_by_volts: int  # as it is, by the volts that were read
    other_cutoff_v: float | None
    other_acts_by_volts: int
    known_from_ms: int | None = None
    error_ah: float = 0.0
    share: float = 0.0  # of its capacity that can be drawn until it cuts off
    share_by: str = ""  # table | volts | borne
    before: CutOffs | None = None
    after: CutOffs | None = None
    swing_ah: float | None = None  # given from its fullest to its emptiest here, wherever that was; None: not metered
    swing_ms: int = 0
    swing_acts: bool = False  # … more than the other can give: it would have cut off once at the least
    out_ah: float = 0.0  # all that was drawn, and that came, over the whole journey
    in_ah: float = 0.0


class _ByVolts:
    """Counts how often the volts stood at the cut-off for its delay."""

    def __init__(self, supply: Supply) -> None:
        self._supply = supply
        self.acts = 0
        self._under_ms: int | None = None
        self._acted = False

    def take(self, volts: float, at_ms: int) -> None:
        cutoff = self._supply.cutoff_v
        if cutoff is None or volts < NO_SUPPLY * self._supply.nominal_v:
            return
        if volts > cutoff:
            self._under_ms = None
            back_v = self._supply.restore_v or cutoff + RESTORED * self._supply.nominal_v
            self._acted = self._acted and volts < back_v
            return
        if self._under_ms is None:
            self._under_ms = at_ms
        if not self._acted and at_ms - self._under_ms >= 1000.0 * (self._supply.cutoff_delay_s or 0.0):
            self._acted = True
            self.acts += 1


class Bank:
    """One bank along a journey."""

    def __init__(self, before: Schedule, after: Schedule, supply: Supply, meters: Meters | None = None) -> None:
        self._supply, self._other, self._meters = supply, after.supply(supply.id), meters
        meter = next((c for c in before.circuits if c.id == supply.meter), None)
        self._meter_id = meter.id if meter is not None else None
        self._sources = tuple(c.id for c in before.circuits if c.supply == supply.id and c.sense.volts_at == "bus")
        self._sign = -1.0 if supply.meter_sign == "charge-positive" else 1.0
        self._probe = next((p.id for p in before.probes if p.where == "bank"), None)
        self._bank_c: float | None = None
        self._charge: Charge | None = None
        if meter is not None and supply.battery is not None:
            every_s = {m.name: m.expect_every_s for m in before.monitors}.get(meter.monitor or "", 5.0)
            self._charge = Charge(
                supply.battery, supply.nominal_v, period_ms=round(1000 * every_s),
                on_change=meter.sense.publishes == "on-change", resolution_a=meter.sense.resolution_a,
            )  # fmt: skip
        self._by_volts, self._other_by_volts = _ByVolts(supply), _ByVolts(self._other)
        self._volts_of: str | None = None
        self._minute: int | None = None
        self._sums = [0.0, 0.0, 0.0, 0.0]  # volts, how many, amps, how many: of this minute
        self._more_ah = 0.0
        self._last_ms: int | None = None
        self._usual_a = 0.0
        # A row a minute: when, drawn since full, by how much the other draws more, seen full in it.
        self._at = array("q")
        self._used = array("d")
        self._more = array("d")
        self._full = array("b")
        self._error_ah = 0.0
        self._known_from_ms: int | None = None
        self._acts_at: list[float] = []  # drawn when it cut off, as the volts show it
        self.out_ah = self.in_ah = 0.0
        self._amps = 0.0
        self._net_ah = self._fullest_ah = self._swing_ah = 0.0
        self._swing_ms = 0

    def take(self, reading: Reading) -> None:
        """A reading as it was."""
        if reading.circuit == self._probe and reading.celsius is not None:
            self._bank_c = reading.celsius
        if reading.volts is not None and reading.circuit in self._sources:
            # One channel's volts, the meter's where it has any: others may stand behind another bar.
            if self._volts_of is None or reading.circuit == self._meter_id:
                self._volts_of = reading.circuit
            if reading.circuit == self._volts_of:
                acts = self._by_volts.acts
                self._by_volts.take(reading.volts, reading.time_ms)
                self._other_by_volts.take(reading.volts, reading.time_ms)
                if self._by_volts.acts > acts and self._charge is not None and self._charge.full_ms is not None:
                    self._acts_at.append(self._charge.used_ah())
                self._sums[0] += reading.volts
                self._sums[1] += 1
        if reading.circuit != self._meter_id or reading.amps is None or self._charge is None:
            return
        minute = reading.time_ms // 60_000
        if self._minute is not None and minute != self._minute:
            self._close(reading.time_ms)
        self._minute = minute
        amps = self._sign * reading.amps
        self._count(amps, reading.time_ms)
        self._charge.take(amps, reading.time_ms, self._usual_a)
        self._sums[2] += amps
        self._sums[3] += 1

    def _count(self, amps: float, time_ms: int) -> None:
        if self._last_ms is not None and 0 < time_ms - self._last_ms <= GAP_MS:
            hours = (time_ms - self._last_ms) / 3.6e6
            ah = (self._amps + amps) / 2.0 * hours
            self.out_ah += max(0.0, ah)
            self.in_ah -= min(0.0, ah)
            self._net_ah += ah if ah > 0.0 else GIVES_BACK_MOST * ah
            self._fullest_ah = min(self._fullest_ah, self._net_ah)
            if self._net_ah - self._fullest_ah > self._swing_ah:
                self._swing_ah, self._swing_ms = self._net_ah - self._fullest_ah, time_ms
            if self._meters is not None:
                self._more_ah += self._meters.more_a(self._supply.id) * hours
        elif self._last_ms is not None and time_ms > self._last_ms:
            self._net_ah = self._fullest_ah = 0.0  # what came in a gap is not known: the swing begins anew
        self._amps, self._last_ms = amps, time_ms

    def _close(self, time_ms: int) -> None:
        assert self._charge is not None
        volts, n_volts, amps, n_amps = self._sums
        self._sums = [0.0, 0.0, 0.0, 0.0]
        mean_a = amps / n_amps if n_amps else None
        if mean_a is not None:
            self._usual_a += (max(0.0, mean_a) - self._usual_a) / USUAL_MINUTES
        was_full_ms = self._charge.full_ms
        if n_volts:
            self._charge.minute(volts / n_volts, mean_a, time_ms, self._bank_c)
        if self._charge.full_ms is None:
            self._more_ah = 0.0
            return
        if self._known_from_ms is None:
            self._known_from_ms = self._charge.full_ms
        self._at.append(time_ms)
        self._used.append(self._charge.used_ah())
        self._more.append(self._more_ah)
        self._full.append(self._charge.full_ms != was_full_ms)
        self._error_ah = max(self._error_ah, self._charge.error_ah(time_ms))
        self._more_ah = 0.0

    def answer(self) -> BankAnswer:
        """After the last reading."""
        battery, other = self._supply.battery, self._other.battery
        base = BankAnswer(
            self._supply.id, self._why(battery, other), self._supply.cutoff_v, self._by_volts.acts, self._other.cutoff_v,
            self._other_by_volts.acts, self._known_from_ms, self._error_ah, out_ah=self.out_ah, in_ah=self.in_ah,
        )  # fmt: skip
        if self._last_ms is not None and battery is not None and other is not None:
            acts = False
            if self._charge is not None and self._supply.cutoff_v is not None:
                table = self._charge.to_cutoff_ah(self._supply.cutoff_v) / battery.capacity_ah
                acts = self._swing_ah > max(table, self._swing_ah / battery.capacity_ah) * other.capacity_ah
            base = replace(base, swing_ah=self._swing_ah, swing_ms=self._swing_ms, swing_acts=acts)
        if base.unknown or battery is None or other is None:
            return base
        share, by = self._share(battery)
        before = self._along(share, battery.capacity_ah, varied=False)
        after = self._along(share, other.capacity_ah, varied=True)
        # A greater bank would have gone on feeding what was cut off: what that would have drawn was never read.
        least = self._by_volts.acts > 0 and other.capacity_ah > battery.capacity_ah
        return replace(base, share=share, share_by=by, before=before, after=replace(after, least=least))

    def _why(self, battery: Battery | None, other: Battery | None) -> str:
        if battery is None or other is None:
            return "the schedule lists no battery of it"
        if self._meter_id is None:
            return "no whole-bank meter counts what it gives (meter in the schedule)"
        if self._supply.cutoff_v is None:
            return "its cut-off is not written (cutoff_v in the schedule)"
        if self._last_ms is None:
            return f"the readings hold none of its meter {self._meter_id}"
        if not self._at:
            return "it was never seen full in these readings, so its charge was never known"
        if self._error_ah > DOUBTED * battery.capacity_ah:
            return f"its count may be wrong by {self._error_ah:.0f} Ah, more than a fifth of it"
        return ""

    def _share(self, battery: Battery) -> tuple[float, str]:
        """How much of it can be drawn until it cuts off: as seen, where it did; else by the table, or what it has borne."""
        capacity_ah = battery.capacity_ah
        if self._acts_at:
            return min(1.0, max(0.01, min(self._acts_at) / capacity_ah)), "volts"
        assert self._charge is not None
        assert self._supply.cutoff_v is not None
        table = self._charge.to_cutoff_ah(self._supply.cutoff_v) / capacity_ah
        borne = max(self._used, default=0.0) / capacity_ah
        return (borne, "borne") if borne >= table and not self._by_volts.acts else (table, "table")

    def _along(self, share: float, capacity_ah: float, *, varied: bool) -> CutOffs:
        limit_ah, drawn_ah, before_ah = share * capacity_ah, 0.0, 0.0
        cut, times, cut_ms, most_ah, most_ms, acts = False, array("q"), 0, 0.0, 0, 0
        last_ms: int | None = None
        for at_ms, used_ah, more_ah, full in zip(self._at, self._used, self._more, self._full, strict=True):
            if full or last_ms is None:
                drawn_ah = used_ah
            else:
                drawn_ah = max(0.0, drawn_ah + used_ah - before_ah + (more_ah if varied else 0.0))
                cut_ms += at_ms - last_ms if cut else 0
            before_ah, last_ms = used_ah, at_ms
            if drawn_ah > limit_ah * (1.0 + 1e-9):
                if not cut:
                    cut, acts = True, acts + 1
                    if len(times) < 100:
                        times.append(at_ms)
                drawn_ah = limit_ah  # what hangs behind it draws no more
            elif cut and drawn_ah <= limit_ah - AGAIN * capacity_ah:
                cut = False
            if drawn_ah > most_ah:
                most_ah, most_ms = drawn_ah, at_ms
        return CutOffs(capacity_ah, acts, tuple(times), cut_ms / 3.6e6, most_ah, most_ms)
