"""Readings in compact blocks, version 1: small ones, as they are committed every few seconds.

Layout. zlib (its checksum also tells a damaged block) over:

    count                     varint
    sorts                     varint, then each sort of reading that occurs:
                              circuit (length, UTF-8), absent quantities, switch, origin (one byte, or text)
    sort of each reading      1 or 2 bytes each, in the order of arrival
    received_ms               column, in the order of arrival, as differences
    received_ms - time_ms     column, grouped by sort
    volts amps watts celsius  columns of what is present, grouped by sort, as differences

Figures are whole numbers of the grid on which intake rounds (volts and amps 0.0001, watts and celsius 0.001), less their
smallest, divided by their greatest common divisor, in the narrowest width, bytes of one weight together. A figure that is
not on the grid is kept as it is, so every float comes back bit for bit.
"""

from __future__ import annotations

import zlib
from array import array
from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from itertools import accumulate, repeat
from math import gcd
from operator import itemgetter, sub

from panelward.journal.octets import AS_IS, SCALES, WIDTHS, Amps, Octets, Sort, planes, put, put_signed, spell_sort
from panelward.records import Reading

VERSION = 1


def encode(readings: Sequence[Reading]) -> bytes:
    """Pack readings, in their order; times within ±2^62 ms, at most 65 536 of them. Raises nothing else."""
    out = bytearray()
    put(out, len(readings))
    if readings:
        circuit, time, received, volts, amps, watts, closed, celsius, commanded, origin = zip(*readings, strict=True)
        figures = (volts, amps, watts, celsius)
        keys = list(zip(circuit, *map(_absent, figures), closed, commanded, origin, strict=False))
        table = {key: tag for tag, key in enumerate(dict.fromkeys(keys))}
        tags = list(map(table.__getitem__, keys))
        put(out, len(table))
        out += b"".join(map(spell_sort, table))
        out += planes(array("B", tags), 1) if len(table) <= 0x100 else planes(array("H", tags), 2)
        by_sort = itemgetter(*sorted(range(len(tags)), key=tags.__getitem__)) if len(tags) > 1 else tuple
        _put_column(out, [received[0], *map(sub, received[1:], received)])
        _put_column(out, list(by_sort(list(map(sub, received, time)))))
        for column, scale in zip(figures, SCALES, strict=True):
            absent = column.count(None)
            if not absent:
                _put_figures(out, by_sort(column), scale)
            elif absent < len(column):
                _put_figures(out, [x for x in by_sort(column) if x is not None], scale)
    return bytes((VERSION,)) + zlib.compress(out, 1)


def _head(data: Octets, count: int) -> tuple[list[Sort], Sequence[int], list[int], list[int], list[int]]:
    """(sorts; each reading's sort; when each was received; their places sort by sort; in that order how old each was)."""
    sorts = [data.sort() for _ in range(data.varint())]
    tags = data.planes(count, 1 if len(sorts) <= 0x100 else 2)
    received = list(accumulate(data.column(count)))
    return sorts, tags, received, sorted(range(count), key=tags.__getitem__), data.column(count)


def decode(data: Octets) -> list[Reading]:
    """The readings, in the order in which they were packed."""
    count = data.varint()
    if not count:
        return []
    sorts, tags, received, order, lag = _head(data, count)
    grouped = [sorts[tags[i]] for i in order]
    columns: list[list[float | None]] = []
    for place, scale in enumerate(SCALES, start=1):
        present = [not sort[place] for sort in grouped]
        figures = iter(data.figures(sum(present), scale) if any(present) else ())
        columns.append([next(figures) if here else None for here in present])
    back: list[tuple[int, Reading]] = []
    for i, sort, behind, volts, amps, watts, celsius in zip(order, grouped, lag, *columns, strict=True):
        circuit, _v, _a, _w, _c, closed, commanded, origin = sort
        at = received[i]
        back.append((i, Reading(circuit, at - behind, at, volts, amps, watts, closed, celsius, commanded, origin)))
    back.sort(key=itemgetter(0))
    return [reading for _i, reading in back]


def amps(data: Octets, circuits: Collection[str] | None) -> list[Amps]:
    """The currents alone: a fraction of the cost of `decode`."""
    count = data.varint()
    if not count:
        return []
    sorts, tags, received, order, lag = _head(data, count)
    sizes = Counter(tags)
    volts, figured = (sum(sizes[tag] for tag, sort in enumerate(sorts) if not sort[place]) for place in (1, 2))
    if volts:
        data.skip_figures(volts)
    figures = list(data.figures(figured, SCALES[1])) if figured else []
    pieces: dict[str, list[tuple[list[int], list[int], list[float]]]] = {}
    at = past = 0
    for tag, (circuit, _v, no_amps, _w, _c, _closed, _commanded, origin) in enumerate(sorts):
        size = sizes[tag]
        if not no_amps:
            if origin != "retained" and (circuits is None or circuit in circuits):
                piece = order[at : at + size], lag[at : at + size], figures[past : past + size]
                pieces.setdefault(circuit, []).append(piece)
            past += size
        at += size
    found = []
    for circuit, parts in pieces.items():
        places, lags, column = parts[0]
        if len(parts) > 1:  # of several sorts: back into the order in which they came
            rows = sorted(row for part in parts for row in zip(*part, strict=True))
            places, lags, column = ([row[0] for row in rows], [row[1] for row in rows], [row[2] for row in rows])
        got = list(map(received.__getitem__, places))
        found.append(Amps(circuit, list(map(sub, got, lags)), got, column))
    return found


# ---- figures


def _absent(column: tuple[float | None, ...]) -> Iterable[bool]:
    """Where a quantity is not measured; mostly one answer for all, found without a look at each."""
    absent = column.count(None)
    return [x is None for x in column] if 0 < absent < len(column) else repeat(absent > 0)


def _put_figures(out: bytearray, figures: Sequence[float], scale: float) -> None:
    """A column of floats: on the grid where all are, else as they are (a minus zero, a NaN, more digits)."""
    try:
        grid = [round(x * scale) for x in figures]
        exact = array("d", [n / scale for n in grid]).tobytes() == array("d", figures).tobytes()
    except (OverflowError, ValueError):
        exact = False
    steps = [grid[0], *map(sub, grid[1:], grid)] if exact else []
    if not exact or max(steps) - min(steps) > WIDTHS[-1][0]:
        out.append(AS_IS)
        out += planes(array("d", figures), 8)
        return
    _put_column(out, steps)


def _put_column(out: bytearray, numbers: list[int]) -> None:
    """Whole numbers: width, smallest, divisor, first, then the rest from the smallest up in steps of the divisor.

    The first stands alone: of differences it is the level itself, far from the others.
    """
    rest = numbers[1:]
    least = min(rest) if rest else 0
    if least:
        rest = [n - least for n in rest]
    divisor = gcd(*rest) or 1
    if divisor > 1:
        rest = [n // divisor for n in rest]
    most = max(rest) if rest else 0
    if not most:  # all alike: nothing but the head
        out.append(0)
        put_signed(out, numbers[0])
        put_signed(out, least)
        return
    width, typecode = next((w, t) for top, w, t in WIDTHS if most <= top)
    out.append(width)
    put_signed(out, numbers[0])
    put_signed(out, least)
    put(out, divisor)
    out += planes(array(typecode, rest), width)
