"""Vetting: what is plainly wrong in a plan, what is doubtful, and what can't be judged for want of a fact.

Refused is only what no local code would bear. No remedy names a device above what the conductor carries.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import floor

from panelward.ratings import Ampacity, area_mm2, corrected_ampacity_a
from panelward.records import Circuit, Feeder, Protection, Schedule, Segment, Supply

GRADES = ("refuse", "warn", "note")  # falling

PRACTICE = "common practice, no source"
COORDINATION = "IEC 60364-4-43:2008 433.1: Ib <= In <= Iz"
CONTINUOUS = "NEC art. 100 and 210.20(A)"
CONTINUOUS_S = 3 * 3600  # NEC art. 100: a continuous load runs three hours or more
CONTINUOUS_SHARE = 0.80  # NEC 210.20(A): the device at 125 % of it, hence it at 80 % of the device
ALWAYS_RUNNING = ("electronics", "detector")  # on an always-on feed these are continuous without a longest_run
FLOOR_COUNTS = 3.0  # a floor of fewer steps of the sensing can't be told from its noise; common practice, no source
GOOD_INSULATION_C = 105.0  # the best in common use in vehicles; what fails even with it fails plainly
CUTS = ("user-switch", "disconnect")


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that was found. `circuit` None: the whole vehicle, a supply or a feeder."""

    circuit: str | None
    grade: str  # refuse | warn | note
    rule: str
    found: float | str | None = None
    limit: float | str | None = None
    unit: str | None = None
    source: str
    remedy: str
    message: str


def vet(schedule: Schedule) -> tuple[Finding, ...]:
    """Every finding: refusals first, then warnings, then notes, each in the order of the panel."""
    found = [*_of_supplies(schedule), *_labels(schedule)]
    if not schedule.circuits:
        found.append(
            Finding(
                circuit=None, grade="warn", rule="no-circuits", source="the schedule",
                remedy="Write a [[circuit]] for each way of the panel.",
                message="No circuit is written: nothing would be watched.",
            )
        )  # fmt: skip
    for circuit in schedule.circuits:
        found += _Way(schedule, circuit).findings()
    return tuple(sorted(found, key=lambda finding: GRADES.index(finding.grade)))


def _of_supplies(schedule: Schedule) -> Iterator[Finding]:
    for supply in schedule.supplies:
        if supply.kind != "dc" or supply.fed_by is not None or supply.presence != "always":
            continue
        if supply.battery is None:
            yield Finding(
                circuit=None, grade="note", rule="battery-unknown", source="the schedule",
                remedy=f"Write battery under [supply.{supply.id}] if it has one.",
                message=f"Supply {supply.id}: no battery is written, so no hours and no days can be reckoned from it.",
            )  # fmt: skip
        if supply.cutoff_v is not None and not 0.7 * supply.nominal_v <= supply.cutoff_v < supply.nominal_v:
            yield Finding(
                circuit=None, grade="warn", rule="cutoff-unlikely", source="common practice, no source",
                found=supply.cutoff_v, limit=supply.nominal_v, unit="V",
                remedy=f"Compare cutoff_v under [supply.{supply.id}] with the disconnect's own setting.",
                message=f"Supply {supply.id}: a cut-off at {supply.cutoff_v:g} V does not fit {supply.nominal_v:g} V nominal.",
            )  # fmt: skip
        if supply.cutoff_v is None:
            yield Finding(
                circuit=None, grade="note", rule="cutoff-unknown", source="the schedule",
                remedy=f"Write cutoff_v under [supply.{supply.id}]: the bank's low-voltage disconnect or its own cut-off.",
                message=f"Supply {supply.id}: no cutoff_v is written, so nobody is told before it cuts off.",
            )  # fmt: skip


def _labels(schedule: Schedule) -> Iterator[Finding]:
    """Two that read the same but for case, spaces and signs: nobody can tell them apart on a phone."""
    first: dict[str, Circuit] = {}
    for circuit in schedule.circuits:
        key = "".join(c for c in circuit.label.casefold() if c.isalnum()) or circuit.label
        other = first.setdefault(key, circuit)
        if other is not circuit:
            yield Finding(
                circuit=circuit.id, grade="warn", rule="labels-alike", found=circuit.label, limit=other.label,
                source="NEC 408.4(A): every circuit told from all others",
                remedy="Give each its own label: what it feeds and where.",
                message=f"{circuit.label} ({circuit.id}) is labelled like {other.id}.",
            )  # fmt: skip


class _Way:
    """One circuit with what is known around it."""

    def __init__(self, schedule: Schedule, circuit: Circuit) -> None:
        self.schedule, self.circuit = schedule, circuit
        self.supply: Supply = schedule.supply(circuit.supply)
        self.feeder: Feeder | None = schedule.feeder(circuit.feeder) if circuit.feeder else None
        self.protection: Protection | None = circuit.protection
        self.title = f"{circuit.label} ({circuit.id})"
        self.weakest = _weakest(circuit, self.supply.kind)
        makers = [load.maker_fuse_a for load in circuit.loads if load.maker_fuse_a is not None]
        self.maker_a = min(makers) if makers else None

    def findings(self) -> Iterator[Finding]:
        yield from self._device()
        yield from self._records()
        yield from self._levels()
        yield from self._cuts()
        yield from self._floor()
        yield from self._unknown()
        if self.supply.kind == "ac":
            yield self._find(
                "note", "licensed-practice", "IEC 60364-6 and local code",
                "Have it signed: insulation resistance, continuity of the protective conductor, polarity, "
                "disconnection by its device and by its residual-current device.",
                f"{self.title}: alternating current; a licensed person must have tested and signed it.",
            )  # fmt: skip

    def _find(
        self, grade: str, rule: str, source: str, remedy: str, message: str,
        found: float | str | None = None, limit: float | str | None = None, unit: str | None = None,
    ) -> Finding:  # fmt: skip
        return Finding(
            circuit=self.circuit.id, grade=grade, rule=rule, found=_figure(found), limit=_figure(limit), unit=unit,
            source=source, remedy=remedy, message=message,
        )  # fmt: skip

    def _cap(self) -> str:
        """How far a device may go here at most: the least of conductor, way, maker and feeder."""
        protection = self.protection
        limits = [self.maker_a, protection.way_max_a if protection else None]
        limits.append(self.weakest.amps if self.weakest else None)
        limits.append(self.feeder.protection.fitted_a if self.feeder and self.feeder.protection else None)
        known = [limit for limit in limits if limit is not None]
        if known and _down(min(known)) <= 0:
            return "Move the conductor to a cooler place"
        text = f"Fit a device of at most {_down(min(known)):g} A" if known else "Fit a smaller device"
        return text if self.weakest else f"{text}, and none above the ampacity of its conductor"

    def _device(self) -> Iterator[Finding]:
        """The device against its conductor, its way, its load's maker and its feeder."""
        protection = self.protection
        if protection is None:
            return
        for what, amps in _ratings(protection):
            yield from self._against_conductor(what, amps)
            way, maker = protection.way_max_a, self.maker_a
            if way is not None and way < amps:
                yield self._find(
                    "refuse", "way-below-device", f"the panel maker's rating of the way; {PRACTICE}", f"{self._cap()}.",
                    f"{self.title}: {what} of {amps:g} A in a way rated {way:g} A.", amps, way, "A",
                )  # fmt: skip
            if maker is not None and amps > maker:
                yield self._find(
                    "refuse", "device-above-maker", "the load maker's instruction (maker_fuse_a)", f"{self._cap()}.",
                    f"{self.title}: {what} of {amps:g} A, above the {maker:g} A its load's maker allows.",
                    amps, maker, "A",
                )  # fmt: skip
            upstream = self.feeder.protection if self.feeder else None
            if self.feeder is not None and upstream is not None and upstream.fitted_a < amps:
                yield self._find(
                    "warn", "feeder-below-branch", PRACTICE, f"{self._cap()}; else the whole feeder goes out first.",
                    f"{self.title}: {what} of {amps:g} A behind feeder {self.feeder.id} with {upstream.fitted_a:g} A.",
                    amps, upstream.fitted_a, "A",
                )  # fmt: skip

    def _against_conductor(self, what: str, amps: float) -> Iterator[Finding]:
        weakest = self.weakest
        if weakest is None or not _above(amps, weakest.amps):
            return
        best = _weakest(self.circuit, self.supply.kind, GOOD_INSULATION_C)
        plain = best is None or _above(amps, best.amps)
        doubt = "" if plain else f" if its insulation is of {weakest.insulation_c:g} °C: it is not written"
        yield self._find(
            "refuse" if plain else "warn", "device-above-ampacity", f"{weakest.source}; {COORDINATION}",
            f"{self._cap()}, or lay a bigger conductor."
            if plain
            else f"Write insulation_c. If it is no better: {self._cap()[0].lower()}{self._cap()[1:]}.",
            f"{self.title}: {what} of {amps:g} A, above the {_down(weakest.amps):g} A its conductor carries "
            f"in its place{doubt}.",
            amps, weakest.amps, "A",
        )  # fmt: skip

    def _records(self) -> Iterator[Finding]:
        """What was found and left in the way against what the schedule says."""
        protection = self.protection
        if protection is None:
            return
        for rule, when, amps in (
            ("as-found-differs", "found", protection.as_found_a),
            ("as-left-differs", "left", protection.as_left_a),
        ):
            if amps is not None and amps != protection.rating_a:
                remedy = (
                    "Settle which is right, from the conductor. The watch judges what was left in the way."
                    if when == "left"
                    else "Find out who changed it and why, and whether the conductor was harmed."
                )
                yield self._find(
                    "warn", rule, "as-found and as-left record; common practice, no source", remedy,
                    f"{self.title}: {when} with {amps:g} A, scheduled with {protection.rating_a:g} A.",
                    amps, protection.rating_a, "A",
                )  # fmt: skip

    def _levels(self) -> Iterator[Finding]:
        if self.protection is None:
            return
        fitted = self.protection.fitted_a
        for load in self.circuit.loads:
            long = load.longest_run_s is not None and load.longest_run_s >= CONTINUOUS_S
            always = self.circuit.feed == "always-on" and load.kind in ALWAYS_RUNNING
            for level in load.levels:
                amps = level.watts / self.supply.nominal_v
                draws = f'{self.title}: level "{level.name}" draws {amps:.3g} A at {self.supply.nominal_v:g} V'
                if _above(amps, fitted):
                    yield self._find(
                        "refuse", "level-above-rating", COORDINATION,
                        "Lower the load or share it out over more circuits; the device stays as its conductor wants it.",
                        f"{draws}, above its {fitted:g} A device.", amps, fitted, "A",
                    )  # fmt: skip
                elif (long or always) and _above(amps, CONTINUOUS_SHARE * fitted):
                    why = "three hours or more" if long else "for ever"
                    yield self._find(
                        "warn", "continuous-above-80-percent", CONTINUOUS,
                        "Lower the load, shorten its run, or share it out over more circuits.",
                        f"{draws} {why}: above 80 % of its {fitted:g} A device.", amps, CONTINUOUS_SHARE * fitted, "A",
                    )  # fmt: skip

    def _cuts(self) -> Iterator[Finding]:
        """What life depends on, and a heater that must cool itself, behind something that switches them off."""
        cut = self._cut()
        if cut is None:
            return
        if self.circuit.importance == "life":
            yield self._find(
                "refuse", "life-behind-switch", PRACTICE, f"Connect it before every {cut}.",
                f"{self.title}: life depends on it, and it stands behind a {cut}.", cut, "none of user-switch, disconnect",
            )  # fmt: skip
        if any(load.kind == "air-heater" for load in self.circuit.loads):
            yield self._find(
                "warn", "heater-behind-switch", f"it must cool itself down after burning; {PRACTICE}",
                f"Connect it before every {cut}.",
                f"{self.title}: an air heater behind a {cut}; cut off while burning it overheats.",
                cut, "none of user-switch, disconnect",
            )  # fmt: skip

    def _cut(self) -> str | None:
        """The first user switch or disconnect on the way up to the source, through feeders and supplies."""
        waiting: list[Circuit | Feeder] = [self.circuit]
        seen: list[str] = []
        while waiting:
            part = waiting.pop(0)
            for name in part.behind:
                if name in CUTS:
                    return name
            above = [f for f in self.schedule.feeders if f.id in part.behind]
            if isinstance(part, Circuit) and part.feeder:
                above.append(self.schedule.feeder(part.feeder))
            for feeder in above:
                if feeder.id not in seen:
                    seen.append(feeder.id)
                    waiting.append(feeder)
            source = self.schedule.supply(part.supply)
            if source.fed_by is not None and f"supply {source.id}" not in seen:
                seen.append(f"supply {source.id}")
                waiting.append(self.schedule.circuit(source.fed_by))
        return None

    def _floor(self) -> Iterator[Finding]:
        circuit = self.circuit
        if circuit.role != "load" or circuit.feed != "always-on":
            return
        watts = sum(load.always_draws_w or 0.0 for load in circuit.loads)
        if not watts:
            yield self._find(
                "note", "floor-unknown", "the schedule",
                "Write always_draws_w, measured, if its load draws something whenever it has a feed.",
                f"{self.title}: always-on without a floor; no draw is no proof of a lost feed here.",
            )  # fmt: skip
            return
        amps, least = watts / self.supply.nominal_v, FLOOR_COUNTS * circuit.sense.resolution_a
        if _above(least, amps):
            yield self._find(
                "warn", "floor-below-sensing", f"three steps of the sensing; {PRACTICE}",
                "Use a finer sensor or one that reports volts after the device: as it is, a lost feed can't be "
                "watched for reliably.",
                f"{self.title}: its floor of {amps:.3g} A is below three steps of its sensing ({least:.3g} A).",
                amps, least, "A",
            )  # fmt: skip

    def _unknown(self) -> Iterator[Finding]:
        """What can't be judged for want of a fact, or was judged with something taken for it."""
        circuit = self.circuit
        if self.protection is not None:
            yield from self._conductor_unknown(circuit)
        if circuit.role == "load" and not circuit.loads:
            yield self._find(
                "note", "load-unknown", "the schedule", "Describe the load under [circuit.load].",
                f"{self.title}: no load is written, so no draw can be called unusual.",
            )  # fmt: skip

    def _conductor_unknown(self, circuit: Circuit) -> Iterator[Finding]:
        sized = [segment for segment in circuit.conductor if area_mm2(segment) is not None]
        if len(sized) < len(circuit.conductor) or not sized:
            yield self._find(
                "note", "conductor-unknown", "the schedule", "Write its conductor: area_mm2 or awg, and its place.",
                f"{self.title}: the size of its conductor is not written, so nothing says that its device protects it.",
            )  # fmt: skip
        untold = [s for s in sized if corrected_ampacity_a(s, self.supply.kind) is None]
        if untold:
            yield self._find(
                "note", "ampacity-unknown", "33 CFR 183.425 Table 5, IEC 60364-5-52",
                "Have its ampacity reckoned by hand.",
                f"{self.title}: a size or an insulation below the tables; its ampacity can't be reckoned here.",
            )  # fmt: skip
        taken: dict[str, None] = {}
        for segment in sized:
            ampacity = corrected_ampacity_a(segment, self.supply.kind)
            taken |= dict.fromkeys(ampacity.assumed if ampacity else ())
        if taken:
            yield self._find(
                "note", "conductor-assumed", "the schedule", "Write insulation_c, ambient_c and bundled as they are.",
                f"{self.title}: not written of its conductor, and taken for it: {', '.join(taken)}.",
            )  # fmt: skip


def _ratings(protection: Protection) -> Iterator[tuple[str, float]]:
    """The scheduled device, and the one left in the way where it is another."""
    word = "electronic output" if protection.kind == "electronic" else protection.kind.replace("-", " ")
    named = f"an {word}" if word[0] in "aeiou" else f"a {word}"
    yield named, protection.rating_a
    if protection.as_left_a is not None and protection.as_left_a != protection.rating_a:
        yield f"as left, {named}", protection.as_left_a


def _weakest(circuit: Circuit, kind: str, insulation_c: float | None = None) -> Ampacity | None:
    """The ampacity of the stretch that carries least; `insulation_c` stands in where none is written."""
    found = [corrected_ampacity_a(_insulated(s, insulation_c), kind) for s in circuit.conductor]
    return min((a for a in found if a is not None), key=lambda a: a.amps, default=None)


def _insulated(segment: Segment, insulation_c: float | None) -> Segment:
    return replace(segment, insulation_c=insulation_c) if segment.insulation_c is None and insulation_c else segment


def _above(one: float, other: float) -> bool:
    """Above by more than the error of the arithmetic."""
    return one > other * (1 + 1e-9)


def _figure(value: float | str | None) -> float | str | None:
    """To four significant digits; a text or nothing as it is."""
    return value if value is None or isinstance(value, str) else float(f"{value:.4g}")


def _down(amps: float) -> float:
    """Rounded down to a tenth: a limit that is offered is never above the limit that was reckoned."""
    return floor(amps * 10 + 1e-9) / 10
