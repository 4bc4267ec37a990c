"""What was measured when the vehicle was handed over. Sealed once written; drift is judged against it, never against yesterday.

Watts are at the supply's nominal volts (`ratings.behaviour`), so that a record made at 14.4 V and a reading at 12.2 V compare.
They are what the monitor reports: its gain is kept beside them, not taken out of them.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One steady draw."""

    name: str
    watts: float  # mean, at nominal volts
    low_w: float  # two-sided tolerance interval of single readings: 95 % of them with 95 % confidence
    high_w: float
    sd_w: float  # of single readings
    readings: int
    provisional: bool = False  # the interval is wider than the band asked for
    surge_times: float | None = None  # peak over the level; None: not observable at this period
    surge_s: float | None = None
    lasted_s: float | None = None  # of a stage that ended by itself: glow, run-down


@dataclass(frozen=True, slots=True, kw_only=True)
class Commissioned:
    """One way as it was handed over."""

    circuit: str
    exponent: float | None = None  # watts ~ volts ** exponent as fitted; None: not fitted, the schedule's `behaves` holds
    zero_a: float | None = None  # what its channel reads of nothing
    standby: Measured | None = None
    levels: tuple[Measured, ...] = ()
    as_found_a: float | None = None
    as_left_a: float | None = None
    skipped: str | None = None  # not measured, because …
    seen_on: str | None = None  # the load was found on this way's channel: the labels were swapped when it was measured
    gain: float | None = None  # what its channel reads of one ampere; None: not told
    runs: int | None = None  # whole runs of a load that cycles by itself, and the medians of their lengths
    run_s: float | None = None
    idle_s: float | None = None
    measured_ms: int | None = None  # a version keeps the ways that were not measured anew; None: as old as its version


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """A monitor as it was found; None: it could not be told."""

    monitor: str
    period_s: float | None = None
    reports: str | None = None  # sample | mean
    resolution_a: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """A vehicle's commissioning record, one version of it."""

    vehicle: str  # its id
    version: int
    made_ms: int
    who: str
    instrument: str
    schedule_hash: str = ""  # of the text of the schedule it was measured by
    ambient_c: float | None = None
    circuits: tuple[Commissioned, ...] = ()
    monitors: tuple[Checked, ...] = ()
    meter_sign: str | None = None  # of the bank's meter, as found; None: not settled
    differs: tuple[str, ...] = ()  # from schedule and plate, a sentence each
    remarks: tuple[str, ...] = ()  # what was seen, entered or left out
    previous: str = ""  # the seal of the version before
    seal: str = ""  # hash over its canonical text

    def circuit(self, circuit_id: str) -> Commissioned | None:
        return next((c for c in self.circuits if c.circuit == circuit_id), None)
