"""What a commissioning knows: plain records, so that it can be put down after every way and taken up again."""

from __future__ import annotations

from dataclasses import dataclass, field

from panelward.commission.runs import Channel, Edge
from panelward.records import Circuit, Record, Schedule, Supply

VERSION = 1
MEANT = "{meant}"  # at the end of a question: what may be answered when it is asked, which may be later than it was put
FULL_START_MS = 15_000  # after energising: what rises then was switched on before

# Loads that act by themselves: their steps are measured and not taken for somebody's hand.
SELF_ACTING = ("compressor", "electronics", "detector", "air-heater", "charger")
MOVERS = {  # what a person must know before it starts
    "fan": "turns", "pump": "pumps: water in the tank, outlet open", "motor": "moves: nobody's hands or clothes near it",
    "compressor": "starts and stops by itself", "heater-element": "gets hot: nothing lies on it, someone stays with it",
    "air-heater": "burns: its exhaust outdoors and clear, switched at its own control only", "inverter": "makes mains voltage",
}  # fmt: skip


@dataclass(slots=True)
class Question:
    """Something that only a person can tell."""

    kind: str  # which | order
    channels: tuple[str, ...]
    text: str
    begun_ms: int
    ask_ms: int  # not asked before: another may rise with it
    edge: Edge | None = None  # what rose


@dataclass(slots=True)
class Step:
    """One way's step beside the bank meter's."""

    channel: str
    amps: float
    meter_a: float  # the meter's, less what the other ways did meanwhile


@dataclass(slots=True)
class State:
    """All of it."""

    version: int
    schedule_hash: str
    begun_ms: int
    now_ms: int
    phase: str = "who"
    fuse: int = 0  # which protected way is being read
    who: str = ""
    instrument: str = ""
    ambient_c: float | None = None
    taps: int = 0
    numbers: int = 0
    isolated: str = ""  # yes | covered | no
    live_said: bool = False  # that it became live while the fuses were read
    uncovered: bool = False  # live with its cover off: nothing else is asked until the cover is on
    turns: int = 0  # how often an answer led on: part of a question's number
    match_from_ms: int | None = None  # edges are somebody's from here on
    channels: dict[str, Channel] = field(default_factory=dict)
    heard_ms: dict[str, int] = field(default_factory=dict)  # by monitor
    gone_ms: dict[str, int] = field(default_factory=dict)
    bus_v: dict[str, float] = field(default_factory=dict)  # by supply: where it stood when last told
    bus_odd: dict[str, int] = field(default_factory=dict)
    probes: dict[str, float] = field(default_factory=dict)
    found: dict[str, str] = field(default_factory=dict)  # channel -> the circuit whose load it carries
    expected: dict[str, str] = field(default_factory=dict)  # the other half of a swap
    questions: list[Question] = field(default_factory=list)
    open_question: bool = False
    skipped: dict[str, str] = field(default_factory=dict)
    as_found: dict[str, float] = field(default_factory=dict)
    as_left: dict[str, float] = field(default_factory=dict)
    zeros: dict[str, float] = field(default_factory=dict)
    clamp_a: float | None = None  # before the reference load
    clamp_tries: int = 0
    clamp_odd: float | None = None  # a gain that nobody believes the first time
    clamp_means: dict[str, float] = field(default_factory=dict)
    reference: str = ""
    gain: float | None = None  # of the reference way
    steps: list[Step] = field(default_factory=list)
    diluted: int = 0  # falls with a reading between, and without
    clean: int = 0
    accepted: list[str] = field(default_factory=list)  # "channel name"
    restless: dict[str, int] = field(default_factory=dict)
    heaters: list[str] = field(default_factory=list)  # asked to be switched off at their own control
    warned_holes: bool = False
    all_seen: bool = False
    last_event_ms: int = 0
    remarks: list[str] = field(default_factory=list)
    only: list[str] = field(default_factory=list)  # measure these ways anew, the rest stands in `old`
    old: Record | None = None
    until_ms: int | None = None  # unattended


def protected(schedule: Schedule) -> list[Circuit]:
    """The ways whose device is read, in panel order."""
    return [c for c in schedule.circuits if c.protection is not None and c.role != "meter"]


def loads(schedule: Schedule) -> list[Circuit]:
    return [c for c in schedule.circuits if c.role == "load"]


def kinds(circuit: Circuit) -> tuple[str, ...]:
    return tuple(load.kind for load in circuit.loads)


def left_on(circuit: Circuit) -> bool:
    """What is never asked to be switched off: what life depends on, detectors, what carries the messages."""
    return circuit.importance == "life" or circuit.carries_messages or "detector" in kinds(circuit)


def self_acting(circuit: Circuit) -> bool:
    return left_on(circuit) or any(kind in SELF_ACTING for kind in kinds(circuit))


def nominal_v(schedule: Schedule, circuit: Circuit) -> float:
    return schedule.supply(circuit.supply).nominal_v


def supply_of(schedule: Schedule, circuit: Circuit) -> Supply:
    return schedule.supply(circuit.supply)


def place(circuit: Circuit) -> str:
    return f"{circuit.id} {circuit.label}"


def listed(texts: list[str]) -> str:
    return texts[0] if len(texts) == 1 else ", ".join(texts[:-1]) + f" and {texts[-1]}" if texts else ""
