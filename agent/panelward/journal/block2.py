"""Readings in compact blocks, version 2: many of them, as they are packed together some minutes later.

Layout. zlib (its checksum also tells a damaged block) over these parts, each with a Huffman table of its own:

    heads      count, sorts (their number, then each with how many readings it has); then what each column says of itself
               and of each sort in it
    sorts      of each reading, in the order of arrival: 1 or 2 bytes each
    received   differences, in the order of arrival
    time       sort by sort: either how long before it was received, or the time itself
    volts amps watts celsius   sort by sort, of those that have it

A column is whole numbers: of ms, or of the grid on which intake rounds (`octets.SCALES`). For each sort the encoder takes
what costs fewest bits of: all alike; differences; distances from the middle; of watts also the distance from volts
times amps; of volts also the difference from the reading before of whatever circuit of the same bus, as a bus has one
voltage. Numbers are divided by the sort's own step, and folded (0, -1, 1, -2, … to 0, 1, 2, 3, …); bytes of one weight lie
together. Where one is not on the grid (a NaN, a minus zero, more digits) that sort is kept as it is in that column, so every
float comes back bit for bit.
"""

from __future__ import annotations

import zlib
from array import array
from collections.abc import Collection, Iterable, Sequence
from itertools import accumulate
from math import gcd
from operator import itemgetter, sub
from typing import NamedTuple

from panelward.journal.octets import SCALES, WIDTHS, Amps, Octets, Sort, planes, put, put_signed, spell_sort
from panelward.records import Reading

VERSION = 2
ALIKE, STEPS, LEVEL, PRODUCT, SHARED, AS_IS = 0, 1, 2, 3, 4, 9  # how one sort lies in one column
LAG, OWN = 0, 1  # what the column of times is
PER_WATT = 100_000  # volts and amps to 0.0001, watts to 0.001
_MOST = 1 << 52  # beyond this floats have no grid, and 64 bits might not be enough on the way
_MOST_FACTOR = 1 << 30
_LEVEL = 6  # measured: 9 saves 0.4 %

Whole = Sequence[int]


class TooFar(Exception):
    """Times that version 2 does not hold: a hundred thousand years away."""


class Group(NamedTuple):
    """How one sort lies in one column: its head, and its numbers, folded. `bits`: about what they cost."""

    kind: int
    base: int
    step: int
    folded: list[int]
    bits: int


# ---- out


def encode(readings: Sequence[Reading]) -> bytes:
    """Pack readings, in their order: at least one, at most 65 536. Raises TooFar."""
    circuit, time, received, volts, amps, watts, closed, celsius, commanded, origin = zip(*readings, strict=True)
    figures = (volts, amps, watts, celsius)
    keys = list(zip(circuit, *([x is None for x in f] for f in figures), closed, commanded, origin, strict=True))
    table = {key: tag for tag, key in enumerate(dict.fromkeys(keys))}
    tags = list(map(table.__getitem__, keys))
    order = sorted(range(len(tags)), key=tags.__getitem__)
    sizes = [0] * len(table)
    for tag in tags:
        sizes[tag] += 1
    ends = list(accumulate(sizes))
    places = [order[end - size : end] for size, end in zip(sizes, ends, strict=True)]
    heads = bytearray()
    put(heads, len(readings))
    put(heads, len(table))
    for sort, size in zip(table, sizes, strict=True):
        heads += spell_sort(sort)
        put(heads, size)
    parts = [planes(array("B" if len(table) <= 0x100 else "H", tags), 1 if len(table) <= 0x100 else 2)]
    if not -_MOST < min(*time, *received) <= max(*time, *received) < _MOST:
        raise TooFar
    put_column(heads, parts, [_steps(received)._replace(kind=STEPS)])
    lags = [cheapest([received[i] - time[i] for i in here]) for here in places]
    own = [cheapest([time[i] for i in here]) for here in places]
    by_lag = sum(g.bits for g in lags) <= sum(g.bits for g in own)
    heads.append(LAG if by_lag else OWN)
    put_column(heads, parts, lags if by_lag else own)
    grids: list[dict[int, list[int]]] = []
    for at, (column, scale) in enumerate(zip(figures, SCALES, strict=True)):
        _put_figures(heads, parts, at, column, scale, places, grids)
    return bytes((VERSION,)) + deflated([bytes(heads), *parts])


def _put_figures(
    heads: bytearray, parts: list[bytes], at: int, column: Sequence[float | None], scale: float,
    places: Sequence[Sequence[int]], grids: list[dict[int, list[int]]],
) -> None:  # fmt: skip
    """One column; `grids`: of those before, the whole numbers of each sort that is on the grid."""
    groups: dict[int, Group] = {}
    grid: dict[int, list[int]] = {}
    raw = array("d")
    for tag, here in enumerate(places):
        values = [x for i in here if (x := column[i]) is not None]
        if not values:
            continue
        whole = _on_grid(values, scale)
        if whole is None:
            raw.extend(values)
            groups[tag] = Group(AS_IS, 0, 0, [], 0)
            continue
        grid[tag] = whole
        groups[tag] = cheapest(whole)
        if at == 2 and tag in grids[0] and tag in grids[1]:
            groups[tag] = _product(whole, grids[0][tag], grids[1][tag], groups[tag])
    grids.append(grid)
    if at == 0 and len(grid) > 1:
        _share(groups, grid, places)
    if groups:
        put_column(heads, parts, list(groups.values()))
        if raw:
            parts.append(planes(raw, 8))


def _on_grid(values: Sequence[float], scale: float) -> list[int] | None:
    try:
        whole = [round(x * scale) for x in values]
    except (OverflowError, ValueError):
        return None
    if not -_MOST < min(whole) <= max(whole) < _MOST:
        return None
    return whole if array("d", [n / scale for n in whole]).tobytes() == array("d", values).tobytes() else None


def cheapest(whole: Whole) -> Group:
    first = whole[0]
    if whole.count(first) == len(whole):
        return Group(ALIKE, first, 1, [], 0)
    steps = _steps(whole)
    middle = sorted(whole)[len(whole) // 2]
    level = [n - middle for n in whole]
    step = gcd(*level)
    if step > 1:
        level = [n // step for n in level]
    bits = sum(map(int.bit_length, level))
    return steps if steps.bits <= bits else Group(LEVEL, middle, step, _folded(level), bits)


def _steps(whole: Whole) -> Group:
    found = [0, *map(sub, whole[1:], whole)]
    step = gcd(*found) or 1
    if step > 1:
        found = [n // step for n in found]
    return Group(STEPS, whole[0], step, _folded(found), sum(map(int.bit_length, found)))


def _product(watts: Whole, volts: Whole, amps: Whole, other: Group) -> Group:
    """What volts times amps does not say of the watts, where that is less."""
    if max(map(abs, volts)) >= _MOST_FACTOR or max(map(abs, amps)) >= _MOST_FACTOR or other.kind == ALIKE:
        return other
    step = gcd(*watts)
    twice, half = 2 * PER_WATT * step, PER_WATT * step
    beyond = [w // step - (2 * v * a + half) // twice for w, v, a in zip(watts, volts, amps, strict=True)]
    bits = sum(map(int.bit_length, beyond))
    return Group(PRODUCT, 0, step, _folded(beyond), bits) if bits < other.bits else other


def _share(groups: dict[int, Group], grid: dict[int, list[int]], places: Sequence[Sequence[int]]) -> None:
    """Volts of one bus as one run of differences through all its circuits, where that is less."""
    middle = sorted(whole[len(whole) // 2] for whole in grid.values())[len(grid) // 2]
    alike = [tag for tag, whole in grid.items() if abs(whole[len(whole) // 2] - middle) <= abs(middle) // 10]
    run = sorted((i, n) for tag in alike for i, n in zip(places[tag], grid[tag], strict=True))
    if not run:
        return
    one = _steps([n for _, n in run])
    if one.bits < sum(groups[tag].bits for tag in alike):
        for tag in alike:
            groups[tag] = Group(SHARED, 0, 0, [], 0)
        groups[alike[0]] = one._replace(kind=SHARED)


def _folded(whole: Whole) -> list[int]:
    return [n << 1 if n >= 0 else ~(n << 1) for n in whole]


def put_column(heads: bytearray, parts: list[bytes], groups: Sequence[Group]) -> None:
    folded = [n for group in groups for n in group.folded]
    most = max(folded, default=0)
    width, typecode = next((w, t) for top, w, t in WIDTHS if most <= top)
    heads.append(width if folded else 0)
    for group in groups:
        heads.append(group.kind)
        if group.kind != AS_IS:
            put_signed(heads, group.base)
            put(heads, group.step)
    if folded:
        parts.append(planes(array(typecode, folded), width))


def deflated(parts: Sequence[bytes]) -> bytes:
    packer = zlib.compressobj(_LEVEL, zlib.DEFLATED, zlib.MAX_WBITS, 9, zlib.Z_FILTERED)
    out = []
    for part in parts:
        out += [packer.compress(part), packer.flush(zlib.Z_PARTIAL_FLUSH)]
    return b"".join([*out, packer.flush()])


# ---- back


class Column(NamedTuple):
    """Of one column: how wide its numbers are (0: there are none), and of each sort in it (sort, kind, base, step)."""

    width: int
    groups: list[tuple[int, int, int, int]]

    def folded(self, sizes: Sequence[int]) -> int:
        """How many numbers there are."""
        if not self.width:
            return 0
        shared = sum(sizes[tag] for tag, kind, _, _ in self.groups if kind == SHARED)
        return shared + sum(sizes[tag] for tag, kind, _, _ in self.groups if kind in (STEPS, LEVEL, PRODUCT))

    def as_is(self, sizes: Sequence[int]) -> int:
        """How many figures are kept as they are, behind the numbers."""
        return sum(sizes[tag] for tag, kind, _, _ in self.groups if kind == AS_IS)


class Heads(NamedTuple):
    """What stands before the columns: the sorts, how many readings each has, and how the columns lie."""

    sorts: list[Sort]
    sizes: list[int]
    received: Column
    by: int  # LAG or OWN
    times: Column
    figures: list[Column]  # volts, amps, watts, celsius


def read_heads(data: Octets) -> Heads:
    """The first part."""
    count = data.varint()
    sorts: list[Sort] = []
    sizes: list[int] = []
    for _ in range(data.varint()):
        sorts.append(data.sort())
        sizes.append(data.varint())
    if not count or sum(sizes) != count or not all(sizes):
        raise ValueError("its sorts do not add up")
    received = read_column(data, [0])
    by = data.take(1)[0]
    times = read_column(data, range(len(sorts)))
    figures = [read_column(data, [tag for tag, sort in enumerate(sorts) if not sort[place]]) for place in range(1, 5)]
    return Heads(sorts, sizes, received, by, times, figures)


def read_column(data: Octets, tags: Iterable[int]) -> Column:
    groups = []
    width = data.take(1)[0] if tags else 0
    for tag in tags:
        kind = data.take(1)[0]
        groups.append((tag, kind, 0, 0) if kind == AS_IS else (tag, kind, data.signed(), data.varint()))
    return Column(width, groups)


def decode(data: Octets) -> list[Reading]:
    """The readings, in the order in which they were packed."""
    heads = read_heads(data)
    sizes, count = heads.sizes, sum(heads.sizes)
    tags, places = _order(data, heads)
    received = column(data, heads.received, [count], [range(count)])[0]
    times = column(data, heads.times, sizes, places)
    time = [0] * count
    for tag, here in enumerate(places):
        for i, n in zip(here, times[tag], strict=True):
            time[i] = received[i] - n if heads.by == LAG else n
    grids: list[dict[int, list[int]]] = []
    figures: list[Sequence[float | None]] = []
    for its, scale in zip(heads.figures, SCALES, strict=True):
        found, raw = _figures(data, its, sizes, places, grids)
        out: list[float | None] = [None] * count
        for tag, whole in found.items():
            for i, n in zip(places[tag], whole, strict=True):
                out[i] = n / scale
        for tag, values in raw.items():
            for i, x in zip(places[tag], values, strict=True):
                out[i] = x
        figures.append(out)
    back = []
    for tag, at, time_ms, volts, amps, watts, celsius in zip(tags, received, time, *figures, strict=True):
        circuit, *_, closed, commanded, origin = heads.sorts[tag]
        back.append(Reading(circuit, time_ms, at, volts, amps, watts, closed, celsius, commanded, origin))
    return back


def amps(data: Octets, circuits: Collection[str] | None) -> list[Amps]:
    """The currents alone: a fraction of the cost of `decode`."""
    heads = read_heads(data)
    sizes, count = heads.sizes, sum(heads.sizes)
    _tags, places = _order(data, heads)
    received = column(data, heads.received, [count], [range(count)])[0]
    times = column(data, heads.times, sizes, places)
    volts = heads.figures[0]
    data.take(volts.folded(sizes) * volts.width + volts.as_is(sizes) * 8)
    whole, raw = _figures(data, heads.figures[1], sizes, places, [])
    rows: dict[str, list[tuple[int, int, float]]] = {}
    for tag, (circuit, *_, origin) in enumerate(heads.sorts):
        if origin != "retained" and (circuits is None or circuit in circuits) and (tag in whole or tag in raw):
            here = raw[tag] if tag in raw else [n / SCALES[1] for n in whole[tag]]
            rows.setdefault(circuit, []).extend(zip(places[tag], times[tag], here, strict=True))
    found = []
    for circuit, each in rows.items():
        each.sort(key=itemgetter(0))
        got = [received[i] for i, _, _ in each]
        when = [at - n if heads.by == LAG else n for at, (_, n, _) in zip(got, each, strict=True)]
        found.append(Amps(circuit, when, got, [a for _, _, a in each]))
    return found


def _order(data: Octets, heads: Heads) -> tuple[Sequence[int], list[list[int]]]:
    """The sort of each reading; and of each sort, where its readings lie."""
    tags = data.planes(sum(heads.sizes), 1 if len(heads.sorts) <= 0x100 else 2)
    places: list[list[int]] = [[] for _ in heads.sorts]
    for i, tag in enumerate(tags):
        places[tag].append(i)
    if [len(here) for here in places] != heads.sizes:
        raise ValueError("its sorts do not add up")
    return tags, places


def column(
    data: Octets, its: Column, sizes: Sequence[int], places: Sequence[Sequence[int]],
    factors: Sequence[dict[int, list[int]]] = (),
) -> dict[int, list[int]]:  # fmt: skip
    """The whole numbers of each sort that is not kept as it is."""
    folded = data.planes(its.folded(sizes), its.width) if its.width else ()
    at = 0
    found: dict[int, list[int]] = {}
    run: dict[int, int] = {}
    for tag, kind, base, step in its.groups:
        if kind == AS_IS:
            continue
        if kind == ALIKE or (kind == SHARED and run):
            found[tag] = [base] * sizes[tag] if kind == ALIKE else [run[i] for i in places[tag]]
            continue
        if kind == SHARED:
            members = sorted(i for other, how, _, _ in its.groups if how == SHARED for i in places[other])
            piece, at = _unfolded(folded, at, len(members), step), at + len(members)
            run = dict(zip(members, _summed(piece, base), strict=True))
            found[tag] = [run[i] for i in places[tag]]
            continue
        piece, at = _unfolded(folded, at, sizes[tag], step), at + sizes[tag]
        if kind == STEPS:
            found[tag] = _summed(piece, base)
        elif kind == LEVEL:
            found[tag] = [base + n for n in piece]
        elif kind == PRODUCT:
            twice, half = 2 * PER_WATT * step, PER_WATT * step
            both = zip(piece, factors[0][tag], factors[1][tag], strict=True)
            found[tag] = [n + (2 * v * a + half) // twice * step for n, v, a in both]
        else:
            raise ValueError("a column of a kind that nobody knows")
    return found


def _figures(
    data: Octets, its: Column, sizes: Sequence[int], places: Sequence[Sequence[int]], grids: list[dict[int, list[int]]]
) -> tuple[dict[int, list[int]], dict[int, array[float]]]:
    """Whole numbers of each sort on the grid, which `grids` keeps; and figures of each sort that is kept as it is."""
    found = column(data, its, sizes, places, grids)
    grids.append(found)
    raw: dict[int, array[float]] = {}
    floats = data.floats(its.as_is(sizes))
    at = 0
    for tag, kind, _, _ in its.groups:
        if kind == AS_IS:
            raw[tag] = floats[at : at + sizes[tag]]
            at += sizes[tag]
    return found, raw


def _unfolded(folded: Sequence[int], at: int, count: int, step: int) -> list[int]:
    piece = folded[at : at + count]
    if len(piece) != count:
        raise ValueError("it ends too early")
    return [((n >> 1) ^ -(n & 1)) * step for n in piece]


def _summed(steps: Sequence[int], base: int) -> list[int]:
    found = list(accumulate(steps, initial=base))
    del found[0]
    return found
