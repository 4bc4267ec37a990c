"""One circuit with what is known around it: what the files beside this judge."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import inf

from panelward.ratings import (
    Ampacity,
    Device,
    Family,
    Loop,
    Size,
    area_mm2,
    corrected_ampacity_a,
    device,
    family,
    fitting_ratings_a,
    greatest_standard_a,
    loop_ohm,
    standard_sizes,
    weakest,
)
from panelward.records import Circuit, Feeder, Load, Protection, Schedule, Segment, Sense, Supply
from panelward.schedule.vetting.finding import Finding, down, finding

UNBOUNDED = ("socket", "inverter", "charger")  # what hangs on them may not be written in their levels
IDLE_W = 100.0  # an inverter or charger whose levels end here is written at idle only; common practice, no source
LEAST_MM2 = 0.75  # in a sheath; ISO 10133:2012 7.7, and 18 AWG in 33 CFR 183.425
LOW_SHARE = 0.9  # of nominal, where the schedule has no cut-off: the least a bus is run at; common practice, no source


@dataclass(frozen=True, slots=True)
class Around:
    """What all circuits of a schedule share, looked up once."""

    schedule: Schedule
    supplies: dict[str, Supply]
    feeders: dict[str, Feeder]
    circuits: dict[str, Circuit]

    @classmethod
    def of(cls, schedule: Schedule) -> Around:
        return cls(
            schedule,
            {s.id: s for s in schedule.supplies},
            {f.id: f for f in schedule.feeders},
            {c.id: c for c in schedule.circuits},
        )


class Way:
    """One circuit, its device, conductor and loads, and what stands upstream."""

    def __init__(self, around: Around, circuit: Circuit) -> None:
        self.around, self.circuit = around, circuit
        self.supply: Supply = around.supplies[circuit.supply]
        above = [name for name in (circuit.feeder, *circuit.behind) if name in around.feeders]
        self.feeder: Feeder | None = around.feeders[above[0]] if above else None
        self.protection: Protection | None = circuit.protection
        self.title = f"{circuit.label} ({circuit.id})"
        self.circuit_id: str | None = circuit.id
        self.rules = around.schedule.vehicle.rules(self.supply.kind)
        # A load with an in-line fuse of its own does not ask for the way's.
        makers = [x.maker_fuse_a for x in circuit.loads if x.maker_fuse_a is not None and x.inline_fuse_a is None]
        self.maker_a = min(makers) if makers else None

    def find(
        self, grade: str, rule: str, source: str, remedy: str, message: str,
        found: float | str | None = None, limit: float | str | None = None, unit: str | None = None,
    ) -> Finding:  # fmt: skip
        """A finding about this circuit; its message begins with the circuit's title."""
        told = f"{self.title}: {message}"
        return finding(grade, rule, source, remedy, told, found, limit, unit, circuit=self.circuit_id)

    @cached_property
    def ampacities(self) -> tuple[Ampacity | None, ...]:
        """Of each stretch; None where its size is not known."""
        return tuple(corrected_ampacity_a(s, self.supply.kind, self.rules) for s in self.circuit.conductor)

    @property
    def weakest(self) -> Ampacity | None:
        """The ampacity of the stretch that carries least, as far as known."""
        return min((a for a in self.ampacities if a is not None), key=lambda a: a.amps, default=None)

    @property
    def bounded_only(self) -> bool:
        """Is there a stretch that no rule reaches, so that no device can be named that it bears?"""
        return any(a is not None and a.bound for a in self.ampacities)

    @cached_property
    def feeders(self) -> tuple[Feeder, ...]:
        """The feeders between its supply and it, nearest first."""
        return tuple(
            p for p in self.upstream() if isinstance(p, Feeder) and p.supply == self.supply.id and p is not self.itself
        )

    itself: Feeder | None = None

    @cached_property
    def device(self) -> Device | None:
        return device(self.protection) if self.protection else None

    @cached_property
    def family(self) -> Family | None:
        return family(self.protection) if self.protection else None

    @cached_property
    def peaks(self) -> tuple[tuple[str, float], ...]:
        """The highest level of each load as (behaves, watts); loads without a level are not in it."""
        return tuple((load.behaves, max(level.watts for level in load.levels)) for load in self.circuit.loads if load.levels)

    @cached_property
    def steady_a(self) -> float:
        """All loads at their highest level, A at nominal volts; 0 where none is written."""
        return sum(watts for _, watts in self.peaks) / self.supply.nominal_v

    @property
    def bounded(self) -> bool:
        """Do the levels say all that may be drawn here?"""
        loads = self.circuit.loads
        return bool(loads) and all(load.levels and not _open_ended(load) for load in loads)

    @property
    def design_a(self) -> float:
        """What the circuit is reckoned to draw: its levels, or where they do not bound it its device's rating."""
        fitted = self.protection.fitted_a if self.protection else 0.0
        return self.steady_a if self.bounded else max(self.steady_a, fitted)

    @property
    def surges(self) -> tuple[tuple[float, float], ...]:
        """Start surges as (amps, seconds), the other loads at rest."""
        return tuple(
            (level.surge.times * level.watts / self.supply.nominal_v, level.surge.seconds)
            for load in self.circuit.loads
            for level in load.levels
            if level.surge
        )

    @property
    def low_v(self) -> float:
        """The least the supply is run at, V: its cut-off, else nine tenths of nominal; what a converter feeds is regulated."""
        if self.supply.cutoff_v is None and self.supply.fed_by is not None:
            return self.supply.nominal_v
        return self.supply.cutoff_v if self.supply.cutoff_v is not None else LOW_SHARE * self.supply.nominal_v

    def loop(self, amps: float, segments: Sequence[Segment] | None = None) -> Loop:
        """Its conductor out and back, warm from `amps`."""
        return loop_ohm(self.circuit.conductor if segments is None else segments, None, amps, self.supply.kind)

    @cached_property
    def most_a(self) -> float:
        """How far a device may go here: the least of conductor, way, maker and feeder; inf where none is known."""
        protection = self.protection
        limits = [
            self.maker_a,
            protection.way_max_a if protection else None,
            self.weakest.amps if self.weakest else None,
            self.feeder.protection.fitted_a if self.feeder and self.feeder.protection else None,
            0.0 if self.bounded_only else None,
        ]
        return min((limit for limit in limits if limit is not None), default=inf)

    @cached_property
    def fitting_a(self) -> tuple[float, ...]:
        """Standard ratings of its kind that fit its load, rising; none where its levels don't say all that it may draw."""
        if self.protection is None or not self.bounded or self.steady_a <= 0.0:
            return ()
        return fitting_ratings_a(self.protection, self.steady_a, surges=self.surges, most_a=self.most_a)

    @property
    def needs_a(self) -> float:
        """The greatest rating that fits its load; inf: that is not known, or its maker has said what it needs."""
        return max(self.fitting_a) if self.fitting_a and self.maker_a is None else inf

    def cap(self) -> str:
        """The device that may be fitted at most, in words."""
        if self.bounded_only:
            return "Lay a conductor of a size and an insulation that the named rules reach"
        if self.most_a < inf and down(self.most_a) <= 0:
            return "Lay the conductor in a cooler place, or one of better insulation"
        if self.most_a == inf:
            return "Fit a smaller device, and none above the ampacity of its conductor"
        if self.steady_a > self.most_a:
            most = f"no more than {down(self.most_a):g} A may stand here"
            return f"Lower the load or share it out: it draws {self.steady_a:.3g} A, and {most}"
        if self.needs_a < down(self.most_a):
            return f"Fit a device of at most {self.needs_a:g} A, the greatest that fits its load"
        text = f"Fit a device of at most {down(self.most_a):g} A"
        standard = greatest_standard_a(self.protection, self.most_a) if self.protection else None
        if standard is not None and standard < down(self.most_a):
            text = f"{text} ({standard:g} A is a standard rating)"
        return text if self.weakest else f"{text}, and none above the ampacity of its conductor"

    def conductor_for(self, good: Callable[[Sequence[Segment]], bool], *, least_a: float = 0.0) -> str | None:
        """The smallest standard size that, laid in place of the thinner stretches, makes `good` true; None: none does.

        It carries at least `least_a` in its place by the rules named.
        """
        if not self.circuit.conductor:
            return None
        for size in standard_sizes(self.circuit.conductor[0], self.supply.kind, self.rules):
            if (area_mm2(size.segment) or 0.0) < LEAST_MM2 or (size.ampacity is not None and size.ampacity.bound):
                continue
            laid = [self._laid(segment, size) for segment in self.circuit.conductor]
            carries = weakest(laid, self.supply.kind, self.rules)
            if carries is not None and carries.bound:
                continue
            if (carries is None or carries.amps < least_a) and least_a > 0.0:
                continue
            if good(laid):
                return size.text
        return None

    def _laid(self, segment: Segment, size: Size) -> Segment:
        """The segment in that size, or as it is where it is thicker."""
        other = replace(segment, area_mm2=size.segment.area_mm2, awg=size.segment.awg, sae=size.segment.sae)
        was, new = (corrected_ampacity_a(s, self.supply.kind, self.rules) for s in (segment, other))
        return segment if was is not None and new is not None and was.amps >= new.amps else other

    def upstream(self) -> Iterator[Circuit | Feeder]:
        """This circuit, and everything it passes on the way up to its source: feeders, and what feeds its supply."""
        waiting: list[Circuit | Feeder] = [self.circuit]
        seen: dict[str, None] = {}
        while waiting:
            part = waiting.pop(0)
            yield part
            names = [name for name in part.behind if name in self.around.feeders]
            if isinstance(part, Circuit) and part.feeder:
                names.append(part.feeder)
            for name in names:
                if f"feeder {name}" not in seen:
                    seen[f"feeder {name}"] = None
                    waiting.append(self.around.feeders[name])
            source = self.around.supplies[part.supply]
            if source.fed_by is not None and f"supply {source.id}" not in seen:
                seen[f"supply {source.id}"] = None
                waiting.append(self.around.circuits[source.fed_by])


def _open_ended(load: Load) -> bool:
    if load.kind == "socket":
        return True
    return load.kind in UNBOUNDED and max(level.watts for level in load.levels) < IDLE_W


class FeederWay(Way):
    """A feeder, judged like a circuit: its device, its conductor, a short at its end."""

    def __init__(self, around: Around, feeder: Feeder) -> None:
        as_circuit = Circuit(
            id=feeder.id, label=feeder.id, monitor=None, supply=feeder.supply, sense=Sense(), behind=feeder.behind,
            role="feeder", protection=feeder.protection, conductor=feeder.conductor,
        )  # fmt: skip
        super().__init__(around, as_circuit)
        self.title = f"Feeder {feeder.id}"
        self.circuit_id = None
