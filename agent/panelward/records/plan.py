"""The circuit schedule as frozen records. The room `schedule` makes them; everybody reads them.

Ids are unique within their kind. Optional facts are None where the schedule is silent: not known is not zero.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import inf


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitter:
    """Who answers for the wiring, and is rung about it."""

    phone: str
    name: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Vehicle:
    name: str
    id: str
    timezone: str = "UTC"
    rules_dc: tuple[str, ...] = ()  # the ampacity rules named for it; none: ratings' default
    rules_ac: tuple[str, ...] = ()
    spares: tuple[str, ...] = ()  # positions of the panel that are not wired
    unheard_after_s: float | None = None  # a watch from afar says so after this long without a sign of life
    sign_of_life_to: str | None = None  # an HTTP address of the owner's that is told every few minutes that the watch lives
    fitter: Fitter | None = None
    panel: str = "one-column"  # one-column | odd-left (odd ways left, even ways right): how the ways hang on the wall
    door_at: str | None = None  # the address under which phones in the vehicle reach the door's page

    def rules(self, supply_kind: str) -> tuple[str, ...]:
        return self.rules_ac if supply_kind == "ac" else self.rules_dc


@dataclass(frozen=True, slots=True, kw_only=True)
class Broker:
    """Where the readings are. Secrets only as names of files."""

    host: str
    port: int = 1883
    username: str | None = None
    password_file: str | None = None
    tls: bool = False
    ca_file: str | None = None
    cert_file: str | None = None
    key_file: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sense:
    """What the sensing can know."""

    volts_at: str = "bus"  # bus | after-device | after-switch | load
    reports: str = "sample"  # sample | mean
    resolution_a: float = 0.05
    publishes: str = "always"  # always | on-change
    full_scale_a: float | None = None  # the most it can show: a reading there is this or more

    @property
    def full_a(self) -> float:
        """From here on it may be at its most; infinite where that is not written."""
        return inf if self.full_scale_a is None else self.full_scale_a - self.resolution_a

    @property
    def nothing_a(self) -> float:
        """A reading up to this is no draw: three steps, 30 mA at the least."""
        return max(3.0 * self.resolution_a, 0.03)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pointer:
    """Where a quantity stands in a JSON payload (RFC 6901), and what to multiply it by."""

    pointer: str
    scale: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Will:
    """How a monitor says that it went or came."""

    topic: str
    gone: str
    here: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Monitor:
    name: str
    dialect: str  # plain | json | senml
    topic: str
    fields: tuple[tuple[str, Pointer], ...] = ()  # json: quantity -> where
    time_field: Pointer | None = None  # json: where the payload's own time stands (Unix seconds after scale)
    record_name: str | None = None  # senml: pattern of a record's name with {circuit} and perhaps {quantity}
    expect_every_s: float = 5.0
    will: Will | None = None
    sense: Sense = field(default_factory=Sense)

    @property
    def shown_overdue_s(self) -> float:
        return max(3 * self.expect_every_s, 10.0)

    @property
    def overdue_s(self) -> float:
        return max(10 * self.expect_every_s, 120.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Battery:
    chemistry: str  # lfp | flooded | agm | gel
    capacity_ah: float
    usable: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    id: str
    kind: str  # dc | ac
    nominal_v: float
    frequency_hz: float | None = None
    battery: Battery | None = None
    cutoff_v: float | None = None
    cutoff_delay_s: float | None = None
    restore_v: float | None = None
    meter: str | None = None
    meter_sign: str = "discharge-positive"
    fault_min_a: float | None = None
    fault_max_a: float | None = None
    protection: Protection | None = None  # its main device, at the bank
    fed_by: str | None = None
    presence: str = "always"  # always | comes-and-goes


@dataclass(frozen=True, slots=True, kw_only=True)
class Exemption:
    """A device above its conductor's ampacity, allowed in writing: by which rule, of which edition, and why."""

    rule: str
    edition: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Protection:
    kind: str
    rating_a: float
    type: str | None = None  # blade fuses: C | E | F
    as_found_a: float | None = None
    as_left_a: float | None = None
    way_max_a: float | None = None
    rated_v: float | None = None  # as marked, where it is another than its standard's
    breaking_a: float | None = None
    exemption: Exemption | None = None

    @property
    def fitted_a(self) -> float:
        """What the watch judges: the rating left in the way."""
        return self.as_left_a if self.as_left_a is not None else self.rating_a


@dataclass(frozen=True, slots=True, kw_only=True)
class Feeder:
    id: str
    supply: str
    behind: tuple[str, ...] = ()
    protection: Protection | None = None
    conductor: tuple[Segment, ...] = ()
    diversity: float = 1.0  # share of its branches' draw that runs together


@dataclass(frozen=True, slots=True, kw_only=True)
class Probe:
    id: str
    where: str  # panel | outside | bank | load:<circuit>
    monitor: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """A stretch of conductor; `length_m` is one way."""

    area_mm2: float | None = None
    awg: str | None = None
    sae: str | None = None
    length_m: float | None = None
    insulation_c: float | None = None
    bundled: int | None = None
    ambient_c: float | None = None
    thermal_insulation_m: float = 0.0
    return_path: str = "wire"  # wire | chassis


@dataclass(frozen=True, slots=True, kw_only=True)
class Surge:
    times: float
    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    name: str
    watts: float
    tolerance: float = 0.2
    surge: Surge | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Duty:
    low: float
    high: float
    window_h: float = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    kind: str
    behaves: str = "constant-power"
    maker_fuse_a: float | None = None
    inline_fuse_a: float | None = None  # its own fuse, in its lead
    standby_max_w: float | None = None
    always_draws_w: float | None = None
    levels: tuple[Level, ...] = ()
    duty: Duty | None = None
    longest_run_s: float | None = None
    daily_wh: float | None = None
    hours: tuple[tuple[int, int], ...] = ()  # local minutes of the day [from, to); to <= from runs past midnight


@dataclass(frozen=True, slots=True, kw_only=True)
class Circuit:
    id: str
    label: str
    monitor: str | None
    supply: str  # resolved, through the feeder where there is one
    sense: Sense  # resolved, the monitor's with this circuit's own keys over it
    feeder: str | None = None
    behind: tuple[str, ...] = ()
    role: str = "load"  # load | charger | meter
    source: str | None = None  # of a charger: sun | engine | shore; None: not written
    feed: str | None = None  # always-on | switched; None for charger and meter
    always_on_reason: str | None = None
    importance: str = "comfort"  # life | property | comfort
    carries_messages: bool = False
    hands: str = "fitter"  # owner | fitter | licensed
    protection: Protection | None = None
    conductor: tuple[Segment, ...] = ()
    loads: tuple[Load, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    vehicle: Vehicle
    broker: Broker | None = None
    monitors: tuple[Monitor, ...] = ()
    supplies: tuple[Supply, ...] = ()
    feeders: tuple[Feeder, ...] = ()
    probes: tuple[Probe, ...] = ()
    circuits: tuple[Circuit, ...] = ()  # in the order of the file, which is the order of the panel

    def circuit(self, circuit_id: str) -> Circuit:
        return next(c for c in self.circuits if c.id == circuit_id)

    def supply(self, supply_id: str) -> Supply:
        return next(s for s in self.supplies if s.id == supply_id)

    def feeder(self, feeder_id: str) -> Feeder:
        return next(f for f in self.feeders if f.id == feeder_id)

    def monitor(self, name: str) -> Monitor:
        return next(m for m in self.monitors if m.name == name)
