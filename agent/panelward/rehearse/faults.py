"""The faults that can be planted into readings: what each makes of what was read. Of a load's own faults, as the gate has them.

circuit   feed-lost switched-off overload opens short stall more-than-listed runs-dry part-open standby
          left-on runs-on stuck overdue
feeder    feed-lost      supply   feed-lost falls      monitor   overdue
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from math import inf

from panelward.errors import BadInput
from panelward.learn.gate import plants
from panelward.ratings import device, opening_times_s
from panelward.ratings.behaviour import EXPONENT, LEAST_V, at_volts, exponent_of
from panelward.records import Circuit, Feeder, Reading, Schedule, Supply
from panelward.rehearse.change import Change, Since
from panelward.rehearse.fused import Fused
from panelward.rehearse.named import Named
from panelward.schedule.vetting import Around, Way

OVERLOADS = (1.3, 1.25, 1.2, 1.15, 1.1)  # of the rating: a tool too many, the heaviest that is seen before it opens
HEAVY = (2.0, 1.75, 1.6, 1.5, 1.4, 1.35, 1.3, 1.25)  # … and what opens it, the heaviest that is seen before it does
SEEN_READINGS = 4
RUNS_S, RUNS_SHARE = 30.0, 0.5  # it runs so long before a short, where no level is written at so much of its rating
DIP_V, DIP_S = 2.1, 1.5  # of a short, on a bus of 12.8 V: as the rig has it; common practice, no source
FALLS_V_PER_H = 0.4  # an iron-phosphate bank in its knee at a moderate draw; from memory

CIRCUIT: dict[str, str] = {
    "feed-lost": "its feed opens: it draws nothing from then on",
    "switched-off": "its reported switch opens",
    "overload": f"it draws up to {OVERLOADS[0]:g} times its device's rating until the likely one of its type opens",
    "opens": "it draws up to twice its device's rating until that likely opens, then nothing",
    "short": f"it runs for half a minute, the bus dips by {DIP_V:g} V, then it draws nothing",
    "stall": "a fan, pump or motor at 4 times its draw wherever it runs, until its device likely opens",
    "more-than-listed": "1.6 times its draw wherever it runs",
    "runs-dry": "a pump at 0.55 of its draw",
    "part-open": "a heating element at half its draw",
    "standby": "0.15 A more while it should stand by",
    "left-on": "it never goes below its lowest level",
    "runs-on": "it runs at its highest level without a rest",
    "stuck": "its readings stay as they were",
    "overdue": "no reading of it comes",
}
OF_FEEDER = {"feed-lost": "its device opens: all behind it draw nothing"}
OF_SUPPLY = {
    "feed-lost": "no volts, and nothing is drawn",
    "falls": f"its volts fall by {FALLS_V_PER_H:g} V an hour, to its cut-off",
}
OF_MONITOR = {"overdue": "none of its readings come"}
KINDS = {"circuit": CIRCUIT, "feeder": OF_FEEDER, "supply": OF_SUPPLY, "monitor": OF_MONITOR}
ALL = tuple(dict.fromkeys(kind for kinds in KINDS.values() for kind in kinds))


def changes(schedule: Schedule, part: Named, kind: str) -> dict[str, Change]:
    """Circuit -> what the fault makes of its readings. BadInput where it can't befall that."""
    known = KINDS[part.kind]
    if kind not in known:
        listed = "; ".join(f"{name}: {what}" for name, what in known.items())
        raise BadInput(f"--plant: {part.title} can't have {kind}. It can have {listed}")
    if part.kind == "monitor":
        probes = [p.id for p in schedule.probes if p.monitor == part.id]
        return dict.fromkeys([*(c.id for c in schedule.circuits if c.monitor == part.id), *probes], _silent)
    if part.kind == "supply":
        supply = schedule.supply(part.id)
        of = _fed(schedule, part.id)
        return dict.fromkeys(of, _dark) if kind == "feed-lost" else dict.fromkeys(of, _falls(supply))
    if part.kind == "feeder":
        return _behind(schedule, schedule.feeder(part.id))
    circuit = schedule.circuit(part.id)
    try:
        return _circuit(schedule, circuit, kind)
    except BadInput as error:
        raise BadInput(f"{error}; it can have {', '.join(_possible(schedule, circuit))}") from None


def _possible(schedule: Schedule, circuit: Circuit) -> Iterator[str]:
    """The kinds that can befall it."""
    for kind in CIRCUIT:
        with suppress(BadInput):
            _circuit(schedule, circuit, kind)
            yield kind


def _circuit(schedule: Schedule, circuit: Circuit, kind: str) -> dict[str, Change]:
    supply = schedule.supply(circuit.supply)
    exponent = exponent_of(circuit.loads[0].behaves) if circuit.loads else 0.0
    if circuit.role == "meter" and kind not in ("stuck", "overdue"):
        raise BadInput(f"--plant: {circuit.label} ({circuit.id}) is a meter, of which there is no {kind}")
    if kind == "overdue":
        return {circuit.id: _silent}
    if kind == "stuck":
        return {circuit.id: _stuck}
    if kind in ("feed-lost", "switched-off", "opens", "short"):
        lost = _lost(circuit, opened=kind == "switched-off")
        after_s, every_s = 0.0, _every_s(schedule, circuit)
        found: dict[str, Change] = {}
        if kind == "opens":
            heavy, after_s = _opens_after(circuit, SEEN_READINGS * every_s)
            found[circuit.id] = _then(_overload(circuit, supply, heavy), after_s, lost)
        elif kind == "short":
            levels = [level.watts for load in circuit.loads for level in load.levels]
            runs = _draws(max(levels), supply.nominal_v, exponent) if levels else _overload(circuit, supply, RUNS_SHARE)
            after_s = RUNS_S + max(DIP_S, every_s)  # a dip that no reading falls into is not seen
            dips = _then(_as_is, RUNS_S, _then(_dips, after_s, _as_is))
            found = dict.fromkeys(_fed(schedule, circuit.supply, deep=False), dips)
            found[circuit.id] = _then(runs, RUNS_S, _then(_both(runs, _dips), after_s, lost))
        else:
            found[circuit.id] = lost
        return found | dict.fromkeys(_fed_by(schedule, circuit), _then(_as_is, after_s, _dark))
    if kind == "overload":
        heavy = _seen_at(circuit, OVERLOADS, SEEN_READINGS * _every_s(schedule, circuit))[0]
        return _fused(schedule, circuit, _held(heavy * _rating_a(circuit)))
    levels = [level.watts for load in circuit.loads for level in load.levels]
    if kind in ("left-on", "runs-on"):
        if not levels:
            raise BadInput(f"--plant: {circuit.label} ({circuit.id}) has no levels in the schedule, so {kind} is not known")
        watts = min(levels) if kind == "left-on" else max(levels)
        return {circuit.id: _draws(watts, supply.nominal_v, exponent)}
    of_load = _of_load(circuit, supply, kind)
    return {circuit.id: of_load} if circuit.protection is None else _fused(schedule, circuit, of_load)


def _fused(schedule: Schedule, circuit: Circuit, draws: Change) -> dict[str, Change]:
    """That draw until its device likely opens; then it is lost, and so is all that it feeds."""
    fused = Fused(circuit, draws, _lost(circuit), _every_s(schedule, circuit))

    def behind(reading: Reading, since: Since) -> Reading:
        return reading if fused.opened_ms is None else _dark(reading, since)

    return {circuit.id: fused} | dict.fromkeys(_fed_by(schedule, circuit), behind)


def _every_s(schedule: Schedule, circuit: Circuit) -> float:
    return {m.name: m.expect_every_s for m in schedule.monitors}.get(circuit.monitor or "", 5.0)


def _fed_by(schedule: Schedule, circuit: Circuit) -> list[str]:
    """All channels on the supplies that this circuit feeds."""
    return [c for s in schedule.supplies if s.fed_by == circuit.id for c in _fed(schedule, s.id)]


def _of_load(circuit: Circuit, supply: Supply, kind: str) -> Change:
    """A fault of its load, as the gate of a learned profile plants it."""
    if not circuit.loads:
        raise BadInput(f"--plant: {circuit.label} ({circuit.id}) has no load in the schedule")
    load = circuit.loads[0]
    rest_a = (max(load.standby_max_w or 0.0, 1.5 * (load.always_draws_w or 0.0)) + 0.5) / supply.nominal_v
    there = plants(circuit, rest_a + 2 * circuit.sense.resolution_a)
    if kind not in there:
        raise BadInput(f"--plant: a {load.kind} like {circuit.label} ({circuit.id}) can't have {kind}")
    plant = there[kind]
    if kind == "stall" and load.levels:
        # A start is seen at its surge: stalled, it draws no more than from its running draw.
        most_a = plant(max(level.watts * (1.0 + level.tolerance) for level in load.levels) / supply.nominal_v)
        return lambda reading, since: _with_amps(reading, lambda amps: max(amps, min(plant(amps), most_a)), since)
    return lambda reading, since: _with_amps(reading, plant, since)


def _overload(circuit: Circuit, supply: Supply, times: float) -> Change:
    """So many times its device's rating, of something that is a resistance."""
    return _draws(times * _rating_a(circuit) * supply.nominal_v, supply.nominal_v, EXPONENT["constant-impedance"])


def _rating_a(circuit: Circuit) -> float:
    if circuit.protection is None:
        raise BadInput(f"--plant: the schedule lists no device of {circuit.label} ({circuit.id})")
    return circuit.protection.fitted_a


def _opens_after(circuit: Circuit, seen_s: float) -> tuple[float, float]:
    """A multiple of its rating, and how long until the likely device of the type opens there: `seen_s` at the least."""
    heavy, seconds = _seen_at(circuit, HEAVY, seen_s)
    if seconds == inf:
        assert circuit.protection is not None
        kind = circuit.protection.kind
        raise BadInput(f"--plant: when the {kind} of {circuit.label} ({circuit.id}) opens is not published")
    return heavy, seconds


def _seen_at(circuit: Circuit, multiples: Sequence[float], seen_s: float) -> tuple[float, float]:
    """The heaviest of these multiples of its rating that the likely device of the type bears for so long, else the last at
    which it opens, and for how long it does; inf, at the heaviest, where nothing is published.
    """
    _rating_a(circuit)
    assert circuit.protection is not None
    likely = [(multiple, opening_times_s(device(circuit.protection), multiple)[1]) for multiple in multiples]
    found = [(multiple, seconds) for multiple, seconds in likely if seconds is not None and seconds < inf]
    if not found:
        return multiples[0], inf
    return next(((multiple, seconds) for multiple, seconds in found if seconds >= seen_s), found[-1])


def _fed(schedule: Schedule, supply_id: str, *, deep: bool = True) -> list[str]:
    """All channels on a supply; `deep`: on what it feeds, too."""
    own = [c.id for c in schedule.circuits if c.supply == supply_id]
    further = [s.id for s in schedule.supplies if s.fed_by in own] if deep else []
    return [*own, *(c for s in further for c in _fed(schedule, s))]


def _behind(schedule: Schedule, feeder: Feeder) -> dict[str, Change]:
    around = Around.of(schedule)
    found = {c.id: _lost(c) for c in schedule.circuits if feeder in Way(around, c).feeders and c.supply == feeder.supply}
    if not found:
        raise BadInput(f"--plant: no circuit is behind feeder {feeder.id}")
    return dict(found)


# What becomes of a reading.


def _as_is(reading: Reading, since: Since) -> Reading:
    return reading


def _silent(reading: Reading, since: Since) -> None:
    return None


def _stuck(reading: Reading, since: Since) -> Reading:
    last = since.last
    if last is None:
        return reading
    return reading._replace(volts=last.volts, amps=last.amps, watts=last.watts, celsius=last.celsius)


def _dark(reading: Reading, since: Since) -> Reading:
    """No volts and no draw."""
    return _nothing(reading)._replace(volts=None if reading.volts is None else 0.0)


def _lost(circuit: Circuit, *, opened: bool = False) -> Change:
    """Nothing is drawn; the volts are gone where they are measured behind what opened."""
    behind = circuit.sense.volts_at != "bus" and not (opened and circuit.sense.volts_at == "after-device")

    def change(reading: Reading, since: Since) -> Reading:
        out = _nothing(reading)
        if behind and reading.volts is not None:
            out = out._replace(volts=0.0)
        return out._replace(closed=False) if opened and reading.closed is not None else out

    return change


def _nothing(reading: Reading) -> Reading:
    return reading._replace(
        amps=None if reading.amps is None else 0.0, watts=None if reading.watts is None else 0.0
    )  # fmt: skip


def _then(first: Change, seconds: float, after: Change) -> Change:
    return lambda reading, since: (first if since.seconds < seconds else after)(reading, since)


def _both(one: Change, other: Change) -> Change:
    def change(reading: Reading, since: Since) -> Reading | None:
        first = one(reading, since)
        return None if first is None else other(first, since)

    return change


def _dips(reading: Reading, since: Since) -> Reading:
    if reading.volts is None:
        return reading
    volts, watts = max(0.0, round(reading.volts - DIP_V, 4)), reading.watts
    return reading._replace(volts=volts, watts=watts and round(watts * volts / reading.volts, 3) if reading.volts else watts)


def _falls(supply: Supply) -> Change:
    least = supply.cutoff_v if supply.cutoff_v is not None else 0.9 * supply.nominal_v

    def change(reading: Reading, since: Since) -> Reading:
        if reading.volts is None or reading.volts <= least:
            return reading
        return reading._replace(volts=round(max(least, reading.volts - FALLS_V_PER_H * since.seconds / 3600.0), 4))

    return change


def _held(amps: float) -> Change:
    """At least these amps at the volts it begins at, as a resistance draws them: never the same to the last digit for hours."""
    first: list[float] = []

    def change(reading: Reading, since: Since) -> Reading:
        volts = reading.volts if reading.volts is not None else since.volts
        if not first and volts:
            first.append(volts)
        most_a = amps * volts / first[0] if first and volts else amps
        return _with_amps(reading, lambda own_a: max(own_a, most_a), since)

    return change


def _draws(watts: float, nominal_v: float, exponent: float) -> Change:
    """At least these watts, as a load draws them: with its volts, so never the same to the last digit for hours."""

    def change(reading: Reading, since: Since) -> Reading:
        volts = reading.volts if reading.volts is not None else since.volts
        most_a = watts / nominal_v
        if volts is not None and volts >= LEAST_V * nominal_v:
            most_a = at_volts(watts, volts, nominal_v, exponent) / volts
        return _with_amps(reading, lambda amps: max(amps, most_a), since)

    return change


def _with_amps(reading: Reading, plant: Callable[[float], float], since: Since) -> Reading:
    """Other amps, and the watts that go with them."""
    volts = reading.volts if reading.volts is not None else since.volts
    amps, watts = reading.amps, reading.watts
    if amps is None and watts is not None and volts:
        return reading._replace(watts=round(plant(watts / volts) * volts, 3))
    if amps is None:
        return reading
    other = round(plant(amps), 4)
    if watts is not None:
        watts = round(other * volts, 3) if volts and other != amps else watts
    return reading._replace(amps=other, watts=watts)
