"""What was found out: frozen, typed, with quantities in their units."""

from __future__ import annotations

from dataclasses import dataclass

from panelward.records import Monitor, Sense

Range = tuple[float, float]  # the least and the most that was read


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundCircuit:
    """One name at the place of the circuit, and what was read of it by the drafted monitor."""

    id: str
    quantities: tuple[str, ...]
    readings: int  # those that came while listening
    retained: int  # those that the broker had kept from before
    volts: Range | None = None
    usual_v: float | None = None  # the median
    amps: Range | None = None
    watts: Range | None = None
    celsius: Range | None = None
    every_s: float | None = None
    step_a: float | None = None  # where its amps come in coarser steps than its monitor's

    @property
    def is_probe(self) -> bool:
        """A temperature alone is no circuit."""
        return self.quantities == ("celsius",)


@dataclass(frozen=True, slots=True, kw_only=True)
class StateTopic:
    """A topic by which a monitor seems to say that it is here, or gone."""

    topic: str
    texts: tuple[str, ...]
    here: str | None = None  # what stood there while readings came
    gone: str | None = None  # what stood there while none came, where both were heard
    retained: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundMonitor:
    """One monitor as it can be written into a schedule.

    `monitor` has the default of what could not be found out; `every_s`, `resolution_a` and `publishes` are None there.
    """

    monitor: Monitor
    circuits: tuple[FoundCircuit, ...]  # with the probes
    every_s: float | None
    shortest_s: float | None  # between two readings of one circuit and quantity
    resolution_a: float | None
    publishes: str | None
    state: StateTopic | None
    scales: tuple[tuple[str, str], ...]  # json: quantity -> why this scale
    doubts: tuple[str, ...]  # where it may be otherwise, and why
    messages: int
    understood: int
    refused: int

    @property
    def flows_back(self) -> tuple[str, ...]:
        """Circuits whose amps went below nothing, further than a sensor at rest does (records.Sense.nothing_a)."""
        nothing_a = Sense().nothing_a if self.resolution_a is None else Sense(resolution_a=self.resolution_a).nothing_a
        return tuple(c.id for c in self.circuits if c.amps is not None and c.amps[0] < -nothing_a)


@dataclass(frozen=True, slots=True, kw_only=True)
class Unread:
    """Topics of which no monitor could be made, for one reason."""

    why: str
    topics: int
    messages: int
    topic: str  # an example
    payload: str  # its payload, printable and short


@dataclass(frozen=True, slots=True, kw_only=True)
class Findings:
    """All that was found out of what was heard."""

    span_s: float
    messages: int
    topics: int
    monitors: tuple[FoundMonitor, ...]
    unread: tuple[Unread, ...]
    own: int  # messages of panelward's own: alarms, signs of life
    of_broker: int  # messages under $: the broker's about itself
    not_kept: int = 0
    topics_not_kept: int = 0
