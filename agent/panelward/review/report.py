"""The whole review as frozen records. `--json` prints these names; the page shows these figures and no others.

Times are Unix milliseconds, at the clock as it was known to be afterwards. None is "not known", never zero. A `way` is a
circuit's id; what is about no single circuit has None.
"""

from __future__ import annotations

from dataclasses import dataclass, field

# The questions of a review, as the pages' sections are named.
ABOUT = (
    "trust", "energy", "when", "doing", "openings", "down", "margins", "bank", "charge", "changes", "ageing", "volts", "alarms",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Sentence:
    """One answer in words, with where its table stands."""

    text: str
    way: str | None = None
    at_ms: int | None = None
    number: int | None = None  # of what happened: the red-pencil number on the journey's lines
    about: str = ""  # the section that has the figures: one of ABOUT
    alarm_id: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A stretch of time that is looked at."""

    from_ms: int
    to_ms: int
    how: str  # asked | the last journey | all that is kept

    @property
    def days(self) -> float:
        return (self.to_ms - self.from_ms) / 86_400_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Journey:
    """From leaving to its end at home, as the data have it; `by` says what it was told from."""

    from_ms: int
    to_ms: int
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How much of the span was read of one way, and what the sensing can't show of it."""

    way: str
    read_s: float
    unread_s: float
    late_readings: int
    not_observable: tuple[str, ...] = ()
    longest_from_ms: int | None = None  # of the longest stretch unread
    longest_to_ms: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A stretch of one way's line along the journey."""

    from_ms: int
    to_ms: int
    what: str  # read | unread | no-feed
    nearness: float | None = None  # the largest current in it over the fitted device's rating; None: no device or not read


@dataclass(frozen=True, slots=True, kw_only=True)
class Energy:
    """What one way took; `what`: circuit | charger | meter | inverter-loss | unassigned."""

    way: str | None
    what: str
    label: str
    energy_wh: float | None
    wh_per_day: float | None
    share: float | None  # of all that was drawn
    read_share: float  # of the span
    before_wh_per_day: float | None = None  # the journey before
    by_hour_wh: tuple[float, ...] = ()  # local hours 0 to 23
    by_doing_wh: tuple[tuple[str, float], ...] = ()  # `journeys.DEEDS`
    sd_wh: float | None = None  # of what can't be known better: of "unassigned"


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """A device that opened, a feed that was lost."""

    way: str  # or the supply or feeder that was lost with its ways
    at_ms: int
    ended_ms: int | None
    cause: str | None  # as the alarm has it
    confidence: float | None
    amps_before: float | None
    celsius: float | None
    volts: float | None
    answered_ms: int | None
    answer: str | None
    alarm_id: str | None
    kind: str = "protection-opened"  # or feed-lost


@dataclass(frozen=True, slots=True, kw_only=True)
class Episode:
    """One time that an alarm's condition held: each figure is of that time alone."""

    alarm_id: str
    way: str | None
    kind: str
    from_ms: int
    to_ms: int | None  # None: not seen to end in the span
    most_a: float | None  # of its way
    least_v: float | None  # of the bus of its supply
    cause: str | None
    confidence: float | None
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Down:
    """How long an always-on way was without its feed."""

    way: str
    down_s: float
    read_s: float
    causes: tuple[tuple[str, float], ...]  # seconds of each

    @property
    def available_share(self) -> float | None:
        return 1.0 - self.down_s / self.read_s if self.read_s else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One metric of one way, before and now. `told`: it survives the false-discovery control over all that was compared."""

    way: str
    metric: str  # standby_w | level_w:<name> | duty | starts_per_day | surge_a | source_ohm
    before: float
    now: float
    low: float  # of the difference, 95 %
    high: float
    p: float
    told: bool
    unit: str
    before_n: int
    now_n: int
    adjusted: bool = False  # for the warmth outside: before and now are as at the mean warmth of all days
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ageing:
    """A metric's slope against the sealed record, and when it reaches its limit if that goes on."""

    way: str
    metric: str
    record: float | None
    now: float
    slope_per_month: float
    low: float
    high: float
    limit: float | None
    weeks_p10: float | None
    weeks_p50: float | None
    weeks_p90: float | None
    unit: str
    stepped: bool = False  # one step explains it better than a slope: it was changed, it does not creep


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """The largest mean current that was held for at least so long, without a gap."""

    seconds: float
    amps: float
    at_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """A device's own band at one multiple of its rating, from the standard's gates; None: no such bound is published."""

    amps: float
    least_s: float | None
    most_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Margin:
    """How near one way came to its limits."""

    way: str
    device: str | None  # "blade C 15 A"
    fitted_a: float | None
    ampacity_a: float | None  # corrected
    ampacity_rule: str | None
    way_max_a: float | None
    maker_a: float | None
    worst_minute_a: float | None
    worst_3h_a: float | None
    p999_a: float | None
    hours_above_80: float | None
    least_margin: float | None  # 1 - worst minute / what the device carries in that place
    conductor_c: float | None  # hottest, reckoned
    insulation_c: float | None
    fuse_life: float | None  # Miner's sum over counted starts: an estimate; None: not observable
    held: tuple[Held, ...] = ()
    band: tuple[Band, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Volts:
    """A branch's volts where they are sensed."""

    way: str
    volts_at: str
    low_share: float | None  # of the time read, below `low_v`
    low_v: float
    p05_v: float | None
    p50_v: float | None
    drop_at_p95_v: float | None  # reckoned in the conductor at the 95th percentile of the current while it draws
    counts: tuple[int, ...] = ()  # of readings, in steps of `step_v` from `first_v`
    first_v: float = 0.0
    step_v: float = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Tide:
    """The bank at one dawn or dusk. Charge None: it can't be known (no counted charge since a full one)."""

    at_ms: int
    which: str  # dawn | dusk
    charge_ah: float | None
    in_ah: float  # since the one before
    out_ah: float
    least_v: float | None
    unread_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Nights:
    """How many nights the bank would last, from whole days drawn anew out of this journey."""

    scenario: str  # none | as it was | two hours' drive a day
    p10: float | None
    p50: float | None
    p90: float | None
    why_not: str = ""  # where it can't be said
    days: int = 0  # whole days that it rests on


@dataclass(frozen=True, slots=True, kw_only=True)
class Saving:
    """What leaving one way off would add."""

    way: str
    wh_per_day: float
    nights_more_p50: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Charge:
    """What one source brought, day by day."""

    source: str
    day: str  # local, YYYY-MM-DD
    ah: float
    wh: float
    hours: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """Was an alarm any good?"""

    alarm_id: str
    way: str | None
    kind: str
    priority: str
    began_ms: int
    told_ms: int | None  # handed over to a service
    seen_ms: int | None
    over_ms: int | None
    delay_s: float | None  # from the onset it names to the telling
    verdict: str  # right | wrong | unknown
    why: str
    suppressed: bool = False  # told nobody
    ended_ms: int | None = None  # the condition's end; the alarm may stand until somebody has seen it


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """Everything. Rows per way are in panel order."""

    vehicle: str
    vehicle_id: str
    timezone: str
    version: str
    schedule_sha256: str
    record_sha256: str | None
    made_ms: int
    span: Span
    before: Span | None
    journeys: tuple[Journey, ...]
    readings: int
    source: str  # what was read: "journal", "readings.csv"
    ways: tuple[str, ...]  # panel order
    labels: tuple[tuple[str, str], ...]
    cannot_say: tuple[Sentence, ...]
    happened: tuple[Sentence, ...]  # at most eight, in time order, numbered from 1
    more_happened: int  # sentences that did not find room: those of `also`
    coverage: tuple[Coverage, ...]
    lines: tuple[tuple[str, tuple[Piece, ...]], ...]
    energy: tuple[Energy, ...]
    openings: tuple[Opening, ...]
    down: tuple[Down, ...]
    changes: tuple[Change, ...]  # all that was compared; `told` are the ones to show first
    ageing: tuple[Ageing, ...]
    margins: tuple[Margin, ...]
    volts: tuple[Volts, ...]
    tides: tuple[Tide, ...]
    nights: tuple[Nights, ...]
    savings: tuple[Saving, ...]
    charge: tuple[Charge, ...]
    judged: tuple[Judged, ...]
    answers: tuple[Sentence, ...]  # one a question of the review, with `about`
    clock_sets_ms: tuple[int, ...] = field(default=())
    also: tuple[Sentence, ...] = ()  # what else happened, in time order
    still: tuple[Sentence, ...] = ()  # what had not ended at the span's end, the worst first: what to do about it
    episodes: tuple[Episode, ...] = ()  # of every alarm, in time order
    compared: str = ""  # what `changes` compares with, in words: "the journey before", "the first half of this time"
