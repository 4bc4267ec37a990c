"""A journal's blocks straight into columns of numbers: what `journal.block.decode` gives, bit for bit, many times as fast.

What would not fit into 64-bit whole numbers on the way is left to `decode` itself: no sensor says such figures.
"""

from __future__ import annotations

import zlib
from collections.abc import Collection, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from panelward.journal import RawBlock, block, block2
from panelward.journal.octets import AS_IS, SCALES, DamagedBlock, Octets, Sort
from panelward.records import Reading
from panelward.review.source import Floats, Whole

_MOST = 2**61  # a column whose sums may go beyond is unpacked elsewhere
_TYPE_OF = {1: "<u1", 2: "<u2", 4: "<u4"}
_CLOSED = {None: -1, False: 0, True: 1}


class Part(NamedTuple):
    """Readings of one circuit and one sort, in the order in which they came. None: not measured."""

    circuit: str
    closed: npt.NDArray[np.int8]  # 1, 0, or -1: not known
    numbers: Whole  # of the inputs
    time_ms: Whole
    volts: Floats | None
    amps: Floats | None
    watts: Floats | None
    celsius: Floats | None


class _TooLarge(Exception):
    """Not for 64-bit whole numbers."""


def unpack(raw: RawBlock, circuits: Collection[str] | None = None) -> list[Part]:
    """The parts of a block, at the times that were, without what was given already or was retained. Raises DamagedBlock."""
    body = raw.body
    if raw.past or not body or body[0] not in _READERS:
        return _slowly(raw, circuits)
    try:
        return _READERS[body[0]](_Columns(zlib.decompress(body[1:])), raw, circuits)
    except _TooLarge:
        return _slowly(raw, circuits)
    except (zlib.error, ValueError, IndexError, KeyError) as fault:
        raise DamagedBlock(f"a block can't be unpacked: {fault}") from fault


def _slowly(raw: RawBlock, circuits: Collection[str] | None) -> list[Part]:
    sorts: dict[tuple[str, int, tuple[bool, ...]], list[tuple[int, Reading]]] = {}
    for number, r in enumerate(block.decode(raw.body)[raw.past :], start=raw.first_number + raw.past):
        if r.origin != "retained" and (circuits is None or r.circuit in circuits):
            present = tuple(x is not None for x in (r.volts, r.amps, r.watts, r.celsius))
            sorts.setdefault((r.circuit, _CLOSED[r.closed], present), []).append((number, r))
    found = []
    for (circuit, closed, present), rows in sorts.items():
        figures = [
            np.array([x for _, r in rows if (x := getattr(r, name)) is not None]) if here else None
            for name, here in zip(("volts", "amps", "watts", "celsius"), present, strict=True)
        ]
        numbers, received, time = np.array([(number, r.received_ms, r.time_ms) for number, r in rows], np.int64).T
        found.append(Part(circuit, np.full(len(rows), closed, np.int8), numbers, _as_it_was(raw, received, time), *figures))
    return found


def _as_it_was(raw: RawBlock, received: Whole, time: Whole) -> Whole:
    """What was measured by a monitor's own clock, while ours was set, keeps that time."""
    if not raw.add_ms:
        return time
    return time + (raw.add_ms if raw.unset else np.where(time == received, raw.add_ms, 0))


class _Columns(Octets):
    """Octets whose columns are arrays."""

    def numbers(self, count: int, width: int) -> npt.NDArray[np.uint64] | Whole:
        if width == 1:
            return np.frombuffer(self.take(count), np.uint8).astype(np.int64)
        if width not in _TYPE_OF:
            raise _TooLarge if width == 8 else ValueError("a column of a width that nobody knows")
        woven = np.frombuffer(self.take(count * width), np.uint8).reshape(width, count)
        return np.ascontiguousarray(woven.T).view(_TYPE_OF[width]).reshape(count).astype(np.int64)

    def reals(self, count: int) -> Floats:
        woven = np.frombuffer(self.take(count * 8), np.uint8).reshape(8, count)
        return np.ascontiguousarray(woven.T).view("<f8").reshape(count).astype(np.float64, copy=False)

    def steps(self, count: int, width: int | None = None) -> Whole:
        """A column of version 1."""
        width = self.take(1)[0] if width is None else width
        first, least = self.signed(), self.signed()
        divisor = self.varint() if width else 0
        if abs(first) + count * (abs(least) + (divisor << 8 * width)) > _MOST:
            raise _TooLarge
        out = np.empty(count, np.int64)
        out[0] = first
        if width:
            out[1:] = self.numbers(count - 1, width)
            out[1:] *= divisor
            out[1:] += least
        else:
            out[1:] = least
        return out

    def folded(self, column: block2.Column, sizes: Sequence[int]) -> Whole:
        """The numbers of a column of version 2, unfolded."""
        if not column.width:
            return np.empty(0, np.int64)
        found = self.numbers(column.folded(sizes), column.width)
        return (found >> 1) ^ -(found & 1)

    def figures_of(self, count: int, scale: float) -> Floats:
        width = self.take(1)[0]
        return self.reals(count) if width == AS_IS else np.cumsum(self.steps(count, width)) / scale


def _version_1(data: _Columns, raw: RawBlock, circuits: Collection[str] | None) -> list[Part]:
    count = data.varint()
    if not count:
        return []
    sorts = [data.sort() for _ in range(data.varint())]
    tags = data.numbers(count, 1 if len(sorts) <= 0x100 else 2)
    received = np.cumsum(data.steps(count))
    places = np.argsort(tags.astype(np.uint16), kind="stable")
    sizes = np.bincount(tags, minlength=len(sorts)).tolist()
    received = received[places]
    time = _as_it_was(raw, received, received - data.steps(count))
    return _parts(sorts, sizes, places + raw.first_number, time, _figures(data, sorts, sizes), circuits)


def _figures(data: _Columns, sorts: Sequence[Sort], sizes: Sequence[int]) -> list[Floats]:
    found = []
    for place, scale in enumerate(SCALES, start=1):
        present = sum(size for sort, size in zip(sorts, sizes, strict=True) if not sort[place])
        found.append(data.figures_of(present, scale) if present else np.empty(0))
    return found


def _parts(
    sorts: Sequence[Sort], sizes: Sequence[int], numbers: Whole, time: Whole, figures: Sequence[Floats],
    circuits: Collection[str] | None,
) -> list[Part]:  # fmt: skip
    """Cut what lies sort by sort; of each figure there is what is present."""
    found = []
    begin, past = 0, [0, 0, 0, 0]
    for (circuit, *absent, closed, _commanded, origin), size in zip(sorts, sizes, strict=True):
        end = begin + size
        if size and origin != "retained" and (circuits is None or circuit in circuits):
            four = [None if no else column[p : p + size] for no, column, p in zip(absent, figures, past, strict=True)]
            switch = np.full(size, _CLOSED[closed], np.int8)
            found.append(Part(circuit, switch, numbers[begin:end], time[begin:end], *four))
        past = [p if no else p + size for no, p in zip(absent, past, strict=True)]
        begin = end
    return found


def _version_2(data: _Columns, raw: RawBlock, circuits: Collection[str] | None) -> list[Part]:
    heads = block2.read_heads(data)
    sorts, sizes, count = heads.sorts, heads.sizes, sum(heads.sizes)
    tags = data.numbers(count, 1 if len(sorts) <= 0x100 else 2)
    places = np.argsort(tags.astype(np.uint16 if len(sorts) > 0x100 else np.uint8), kind="stable")
    ends = np.cumsum(sizes).tolist()
    lay = _Lay(sizes, [slice(end - size, end) for size, end in zip(sizes, ends, strict=True)], places)
    received = np.cumsum(data.folded(heads.received, [count])) * heads.received.groups[0][3] + heads.received.groups[0][2]
    times = _whole(data, heads.times, lay, ())
    received = received[places]
    time = _as_it_was(raw, received, received - times if heads.by == block2.LAG else times)
    figures: list[Floats] = []
    wholes: list[Whole] = []
    for column, scale in zip(heads.figures, SCALES, strict=True):
        whole = _whole(data, column, lay, wholes)
        wholes.append(whole)
        found = whole / scale
        kept = column.as_is(sizes)
        if kept:
            reals, at = data.reals(kept), 0
            for tag, kind, _, _ in column.groups:
                if kind == block2.AS_IS:
                    found[lay.cuts[tag]], at = reals[at : at + sizes[tag]], at + sizes[tag]
        figures.append(found)
    return _cut(sorts, lay.cuts, places + raw.first_number, time, figures, circuits)


class _Lay(NamedTuple):
    """How the readings of a block lie: of each sort how many and where, grouped; and of each so grouped, when it came."""

    sizes: Sequence[int]
    cuts: Sequence[slice]
    places: Whole


def _whole(data: _Columns, column: block2.Column, lay: _Lay, factors: Sequence[Whole]) -> Whole:
    """A column's whole numbers, grouped; 0 where there is none."""
    out = np.zeros(len(lay.places), np.int64)
    folded = data.folded(column, lay.sizes)
    at, run = 0, None
    for tag, kind, base, step in column.groups:
        here = out[lay.cuts[tag]]
        if kind == block2.ALIKE:
            here[:] = base
        elif kind == block2.SHARED:
            if run is None:
                members = [other for other, its, _, _ in column.groups if its == block2.SHARED]
                run, at = _shared(folded[at:], members, lay, base, step), at + sum(lay.sizes[each] for each in members)
            here[:] = run[lay.cuts[tag]]
        elif kind != block2.AS_IS:
            piece, at = folded[at : at + lay.sizes[tag]], at + lay.sizes[tag]
            if kind == block2.STEPS:
                np.cumsum(piece, out=here)
                here *= step
                here += base
            elif kind == block2.LEVEL:
                np.multiply(piece, step, out=here)
                here += base
            elif kind == block2.PRODUCT:
                product = factors[0][lay.cuts[tag]] * factors[1][lay.cuts[tag]]
                product *= 2
                product += block2.PER_WATT * step
                product //= 2 * block2.PER_WATT * step
                product += piece
                np.multiply(product, step, out=here)
            else:
                raise ValueError("a column of a kind that nobody knows")
    return out


def _shared(folded: Whole, members: Sequence[int], lay: _Lay, base: int, step: int) -> Whole:
    """One run of differences through several sorts, grouped."""
    where = np.concatenate([np.arange(lay.cuts[tag].start, lay.cuts[tag].stop) for tag in members])
    came = np.argsort(lay.places[where])
    out = np.zeros(len(lay.places), np.int64)
    out[where[came]] = np.cumsum(folded[: len(where)]) * step + base
    return out


def _cut(
    sorts: Sequence[Sort], cuts: Sequence[slice], numbers: Whole, time: Whole, figures: Sequence[Floats],
    circuits: Collection[str] | None,
) -> list[Part]:  # fmt: skip
    """The parts of what lies sort by sort, with a place for what is absent."""
    found = []
    for (circuit, *absent, closed, _commanded, origin), cut in zip(sorts, cuts, strict=True):
        if origin != "retained" and (circuits is None or circuit in circuits):
            volts, amps, watts, celsius = (None if no else column[cut] for no, column in zip(absent, figures, strict=True))
            switch = np.full(cut.stop - cut.start, _CLOSED[closed], np.int8)
            found.append(Part(circuit, switch, numbers[cut], time[cut], volts, amps, watts, celsius))
    return found


_READERS = {1: _version_1, 2: _version_2}
