"""Batch, nightly and nice: a fortnight of readings in, a profile out that a fault can't have trained.

    stands     what stood still, without what must never train
    proposal   what narrows by itself, what a person must accept
    gate       planted faults: what finds fewer of them does not hold

It takes rows, not the store; the daemon only measures, and uses the profile that is in force.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from panelward.learn.gate import Verdict, try_out
from panelward.learn.proposal import Learned, judge
from panelward.learn.rows import Rows
from panelward.learn.stands import ALL, Collector, Stands, laid_up, quarantine_of
from panelward.records import Commissioned, Profiled, ProfiledLevel, Reading, Record, Schedule
from panelward.schedule.profile import Book, Proposed, applied, applied_to, standing

__all__ = ["ALL", "Outcome", "Result", "accept", "laid_up", "learn", "quarantine_of"]

DAY_MS = 86_400_000
WEEK_MS = 7 * DAY_MS


@dataclass(frozen=True, slots=True)
class Result:
    """One circuit's outcome."""

    learned: Learned
    verdict: Verdict | None = None  # None: nothing to try, or no time left
    unfinished: bool = False


@dataclass(frozen=True, slots=True)
class Outcome:
    """The new book, and what became of each circuit."""

    book: Book
    results: tuple[Result, ...]


def learn(
    schedule: Schedule,
    book: Book,
    readings: Callable[[str], Iterable[Reading]],
    *,
    quarantine: dict[str, list[tuple[int, int]]],
    now_ms: int,
    record: Record | None = None,
    replaced: Mapping[str, int] | None = None,
    goes_on: Callable[[], bool] = lambda: True,
    says: Callable[[str], None] = lambda _: None,
) -> Outcome:
    """`schedule` as written. `readings(circuit)`: its own, in order; asked for once per circuit.

    `quarantine`: per circuit (and "" for all) from when to when an alarm stood, Unix ms. `replaced`: when a circuit's load
    was replaced last: nothing from before holds, nor is learned. `goes_on`: is there time left?
    """
    replaced = replaced or {}
    book = _without(book, replaced, now_ms)
    in_force = applied(schedule, book.profile)
    weeks = (now_ms - book.profile.made_ms) / WEEK_MS if book.profile is not None else 2.0
    periods = {m.name: m.expect_every_s for m in schedule.monitors}
    results: list[Result] = []
    new: dict[str, Profiled] = {}
    proposed: list[Proposed] = []
    pairs = list(zip(in_force.circuits, schedule.circuits, strict=True))
    first = now_ms // DAY_MS % max(1, len(pairs))  # another one each night: where time runs out, none is left out for ever
    for circuit, written in (*pairs[first:], *pairs[:first]):
        if circuit.role != "load" or len(circuit.loads) != 1:
            continue
        says(circuit.label)
        if not goes_on():
            results.append(Result(Learned(circuit.id, "no time left"), unfinished=True))
            proposed += [p for p in book.proposed if p.circuit == circuit.id]
            continue
        period_s = periods.get(circuit.monitor or "", 5.0)
        held = quarantine.get(circuit.id, []) + quarantine.get(ALL, [])
        since_ms = replaced.get(circuit.id, -1)
        commissioned = _measured(record, circuit.id, since_ms)
        rows = Rows(circuit.id, (r for r in readings(circuit.id) if r.received_ms > since_ms and r.time_ms > since_ms))
        collector = Collector(circuit, schedule.supply(circuit.supply), period_s, held, commissioned)
        for reading in rows:
            collector.take(reading)
        stands: Stands = collector.end()
        found = judge(
            circuit, schedule.supply(circuit.supply), stands, anchor=written, commissioned=commissioned, weeks=min(weeks, 2.0)
        )
        if found.why_not and since_ms >= 0 and "wanted" in found.why_not:
            found = replace(found, why_not=f"{found.why_not}; its load was replaced, what was before does not count")
        proposed += found.proposed
        if found.narrowed is None:
            results.append(Result(found))
            continue
        verdict = try_out(circuit, applied_to(circuit, found.narrowed), in_force, rows, held) if goes_on() else None
        results.append(Result(found, verdict, unfinished=verdict is None))
        if verdict is not None and verdict.passed:
            new[circuit.id] = replace(found.narrowed, made_ms=now_ms)
        else:
            proposed += _kept(found, verdict)
    if new:
        why = f"narrowed by itself: {', '.join(new)}"
        book = book.with_version(now_ms, "", why, _merged(book, new))
    order = {c.id: n for n, c in enumerate(schedule.circuits)}
    results.sort(key=lambda result: order[result.learned.circuit])
    proposed.sort(key=lambda each: order[each.circuit])
    dated = tuple(p if p.made_ms else replace(p, made_ms=now_ms) for p in proposed)
    return Outcome(replace(book, proposed=dated), tuple(results))


def accept(book: Book, schedule: Schedule, circuit_id: str, *, who: str, why: str, now_ms: int) -> Book:
    """A person takes what is proposed for a circuit: a new version under their name. KeyError: nothing is proposed for it."""
    mine = [p for p in book.proposed if p.circuit == circuit_id]
    if not mine:
        raise KeyError(circuit_id)
    circuit = applied(schedule, book.profile).circuit(circuit_id)
    load = circuit.loads[0]
    kept = book.profile.circuit(circuit_id) if book.profile is not None else None
    levels = {x.name: x for x in (kept.levels if kept is not None else ())}
    standby_w = kept.standby_max_w if kept is not None else None
    for each in mine:
        if each.what == "standby":
            standby_w = each.watts
        else:
            levels[each.name] = ProfiledLevel(name=each.name, watts=each.watts, tolerance=each.tolerance)
    made = Profiled(circuit=circuit_id, levels=tuple(levels.values()), standby_max_w=standby_w, made_ms=mine[0].made_ms)
    left = tuple(p for p in book.proposed if p.circuit != circuit_id)
    told = f"{why or 'accepted'}: {circuit.label} ({load.kind})"
    after = book.with_version(now_ms, who, told, _merged(book, {circuit_id: made}))
    return Book(after.vehicle, after.versions, after.in_force, left)


def _measured(record: Record | None, circuit_id: str, since_ms: int) -> Commissioned | None:
    """What was measured of the load that is there now."""
    found = record.circuit(circuit_id) if record is not None else None
    if found is None or record is None or found.seen_on is not None:
        return None  # of another channel: the labels were swapped
    return found if (found.measured_ms or record.made_ms) > since_ms else None


def _without(book: Book, replaced: Mapping[str, int], now_ms: int) -> Book:
    """The book without what was learned of loads that are no longer there, as a version of its own."""
    kept = standing(book.profile, replaced)
    proposed = tuple(p for p in book.proposed if (p.made_ms or now_ms) > replaced.get(p.circuit, -1))
    if kept is not None and book.profile is not None and kept != book.profile:
        gone = [c.circuit for c in book.profile.circuits if c not in kept.circuits]
        book = book.with_version(now_ms, "", f"replaced: {', '.join(gone)}", kept.circuits)
    return replace(book, proposed=proposed)


def _merged(book: Book, new: dict[str, Profiled]) -> tuple[Profiled, ...]:
    """The circuits of the version in force, with the new ones in their place: a level that was not learned again stays."""
    profile = book.profile
    old = {c.circuit: replace(c, made_ms=c.made_ms or profile.made_ms) for c in profile.circuits} if profile is not None else {}
    for circuit_id, made in new.items():
        kept = old.get(circuit_id)
        if kept is None:
            old[circuit_id] = made
            continue
        names = {x.name for x in made.levels}
        levels = (*(x for x in kept.levels if x.name not in names), *made.levels)
        standby_w = made.standby_max_w if made.standby_max_w is not None else kept.standby_max_w
        old[circuit_id] = replace(made, levels=levels, standby_max_w=standby_w)
    return tuple(old.values())


def _kept(found: Learned, verdict: Verdict | None) -> Sequence[Proposed]:
    """What did not pass, or was not finished, stays a proposal."""
    if found.narrowed is None:
        return ()
    why = "not tried yet: no time was left" if verdict is None else verdict.why
    now, standby_w = "wider", found.narrowed.standby_max_w
    kept = [Proposed(found.circuit, "level", x.name, x.watts, x.tolerance, now, why) for x in found.narrowed.levels]
    return kept if standby_w is None else [*kept, Proposed(found.circuit, "standby", "standby", standby_w, 0.0, now, why)]
