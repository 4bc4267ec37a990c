"""The list for a person: a block a circuit, at most 80 columns where no single word is longer."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import fill

from panelward.records import Schedule
from panelward.schedule.detect.draw import duration
from panelward.schedule.detect.feed import PLACES
from panelward.schedule.detect.look import CAN, Look, Sight
from panelward.schedule.detect.rest import CUTOFF, RESISTANCE, STUCK

WIDTH = 80
SHARED = (STUCK, RESISTANCE, CUTOFF)  # the same for many circuits: told once, after all blocks
HEADS = {
    "yes": "Found",
    "together": "Found only together with something else",
    "unreliable": "Unreliable",
    "no": "Not found",
}
COUNTS = (
    "Times count from the first reading that shows it, at most one period after it happened, two where means are reported. "
    "They are limits: it may be told sooner. What the sensing can't see is not watched: have it looked at by hand. "
    "panelward watches, it does not protect: the fuse or breaker does."
)


def lines(schedule: Schedule, sights: Sequence[Sight]) -> Iterator[str]:
    of: dict[str, list[Sight]] = {}
    for sight in sights:
        of.setdefault(sight.circuit, []).append(sight)
    for circuit in schedule.circuits:
        look, own = Look(schedule, circuit), [s for s in of.get(circuit.id, ()) if s.what not in SHARED]
        yield ""
        yield _folded(f"{circuit.label} ({circuit.id}): {_sensing(look)}")
        yield from _graded([("", s) for s in own])
    groups: dict[tuple[object, ...], tuple[list[str], Sight]] = {}
    for sight in sights:
        if sight.what in SHARED:
            key = (sight.what, sight.can, sight.within_s, sight.why, sight.mend)
            groups.setdefault(key, ([], sight))[0].append(sight.circuit)
    if groups:
        yield ""
        yield "Alike for several circuits"
        yield from _graded([(f" ({', '.join(ids)})", s) for ids, s in groups.values()])
    yield ""
    yield _folded(COUNTS)


def _sensing(look: Look) -> str:
    circuit, sense = look.circuit, look.circuit.sense
    words = [circuit.feed or circuit.role]
    if look.monitor is None:
        return f"{words[0]}, no monitor"
    kind = "a mean" if sense.reports == "mean" else "a reading"
    words.append(f"{kind} on change" if look.on_change else f"{kind} every {look.period_s:g} s")
    most = f" up to {sense.full_scale_a:g} A" if sense.full_scale_a is not None else ""
    words.append(f"steps of {sense.resolution_a:g} A{most}")
    words.append(f"volts {PLACES[sense.volts_at]}")
    return ", ".join(words)


def _graded(sights: Sequence[tuple[str, Sight]]) -> Iterator[str]:
    for can in CAN:
        group = [(whose, s) for whose, s in sights if s.can == can]
        if group:
            yield f"  {HEADS[can]}"
        for whose, sight in group:
            when = f", within {duration(sight.within_s)}" if sight.within_s else ""
            yield _folded(f"{sight.what}{when}: {sight.why}{whose}.", "    ", "      ")
            if sight.mend:
                yield _folded(f"-> {sight.mend}", "      ", "         ")


def _folded(text: str, indent: str = "", later: str | None = None) -> str:
    return fill(
        text, WIDTH, initial_indent=indent, subsequent_indent=indent if later is None else later, break_long_words=False,
        break_on_hyphens=False,
    )  # fmt: skip
