"""What the readings of a monitor show of how it publishes: how often, how finely, always or on change."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise
from math import gcd

from panelward.records import QUANTITIES, Reading

FEWEST_WAITS = 3  # of one circuit, for its period
FEWEST_PAIRS = 12  # of one monitor, to tell always from on-change
FEWEST_AMPS = 12  # different values: that all of them are even by chance is rarer than 1 in 4,000
BURST_MS = 20  # what comes closer together is one publishing
TEN_THOUSANDTHS = 10_000  # intake's step of volts and amps
COARSEST_A, FINEST_A = 0.5, 0.001
REPEATS, FEW_REPEATS = 0.2, 0.02  # shares of readings that say the same once more
UNEVEN = 0.5  # between the tenth and the ninetieth part of the waits, over the median wait

Series = dict[tuple[str, str], list[tuple[int, float]]]  # (circuit, quantity) -> received, value; in order of time


def series_of(readings: Iterable[Reading], quantities: Sequence[str]) -> Series:
    """The live readings, one row a circuit and quantity."""
    found: Series = {}
    for r in readings:
        if r.origin == "retained":
            continue
        for quantity in quantities:
            value = getattr(r, quantity)
            if value is not None:
                found.setdefault((r.circuit, quantity), []).append((r.received_ms, float(value)))
    return found


def waits_ms(row: Sequence[tuple[int, object]]) -> list[int]:
    """Between one reading and the next, what came in one go left out."""
    waits = [later[0] - earlier[0] for earlier, later in pairwise(row)]
    return sorted(wait for wait in waits if wait > BURST_MS)


def every_s(rows: Iterable[Sequence[tuple[int, float]]]) -> float | None:
    """The period of one circuit, by its quantity that comes most often."""
    waits = max((waits_ms(row) for row in rows), key=len, default=[])
    return tidy(waits[len(waits) // 2] / 1000.0) if len(waits) >= FEWEST_WAITS else None


def tidy(seconds: float) -> float:
    """The period that was meant: a whole number of seconds where one is within 5 %, else two digits."""
    whole = round(seconds)
    if whole >= 1 and abs(seconds - whole) <= 0.05 * whole:
        return float(whole)
    return float(f"{seconds:.2g}")


def publishes(readings: Iterable[Reading]) -> str | None:
    """always | on-change, None where it can't be told.

    Who publishes on change never says the same twice, and comes as things happen. Noise makes every reading of one who
    publishes always a new value too, but it comes evenly.
    """
    rows: dict[tuple[str, ...], list[tuple[int, tuple[float, ...]]]] = {}
    for r in readings:
        # What comes in one message is one saying: of an object only one member may have changed.
        said = {q: float(value) for q in QUANTITIES if (value := getattr(r, q)) is not None}
        if r.origin != "retained":
            rows.setdefault((r.circuit, *said), []).append((r.received_ms, tuple(said.values())))
    same = pairs = 0
    waits: list[float] = []
    for row in rows.values():
        own = waits_ms(row)
        waits += [wait / own[len(own) // 2] for wait in own]
        pairs += len(row) - 1
        same += sum(earlier[1] == later[1] for earlier, later in pairwise(row))
    if pairs < FEWEST_PAIRS or len(waits) < FEWEST_PAIRS:
        return None
    waits.sort()
    uneven = waits[len(waits) * 9 // 10] - waits[len(waits) // 10] > UNEVEN
    if not uneven or same / pairs >= REPEATS:
        return "always"
    return "on-change" if same / pairs <= FEW_REPEATS else None


def shortest_s(rows: Series) -> float | None:
    """The shortest wait but for the shortest tenth."""
    waits = sorted(wait for row in rows.values() for wait in waits_ms(row))
    return tidy(waits[len(waits) // 10] / 1000.0) if len(waits) >= FEWEST_WAITS else None


def step_a(amps: Iterable[float]) -> float | None:
    """The largest step of which all values are multiples, None where too few differ to say so."""
    values = {abs(round(value * TEN_THOUSANDTHS)) for value in amps} - {0}
    if len(values) < FEWEST_AMPS:
        return None
    step = gcd(*values) / TEN_THOUSANDTHS
    return step if FINEST_A <= step <= COARSEST_A else None
