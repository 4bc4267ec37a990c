"""Readings in compact blocks: exact, a few bytes each.

Layout (version 1). One version byte, then zlib (level 1; its checksum also tells a damaged block) over:

    count                     varint
    sorts                     varint, then each sort of reading that occurs:
                              circuit (length, UTF-8), absent quantities, switch, origin (one byte, or text)
    sort of each reading      1 or 2 bytes each, in the order of arrival
    received_ms               column, in the order of arrival, as differences
    received_ms - time_ms     column, grouped by sort
    volts amps watts celsius  columns of what is present, grouped by sort, as differences

A sort is (circuit, which quantities are present, closed, commanded, origin): so no mask is needed, and each
column runs through one circuit after another, where neighbours are alike. Figures are whole numbers of the grid
on which intake rounds (volts and amps 0.0001, watts and celsius 0.001), less their smallest, divided by their
greatest common divisor, in the narrowest width, bytes of one weight together. A figure that is not on the grid
is kept as it is, so every float comes back bit for bit.
"""

from __future__ import annotations

import sys
import zlib
from array import array
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Sequence
from functools import lru_cache
from itertools import accumulate, repeat
from math import gcd
from operator import itemgetter, sub
from typing import NamedTuple, TypeVar

from panelward.records import Reading

VERSION = 1
MOST_READINGS = 4096  # in one block: a question about an hour should not unpack a day

_SCALES = (1e4, 1e4, 1e3, 1e3)  # volts, amps, watts, celsius
_TRISTATE: dict[bool | None, int] = {None: 0, False: 1, True: 2}
_TRISTATE_BACK = (None, False, True)
_WIDTHS = ((0xFF, 1, "B"), (0xFFFF, 2, "H"), (0xFFFF_FFFF, 4, "I"), (0xFFFF_FFFF_FFFF_FFFF, 8, "Q"))
_TYPE_OF = {width: typecode for _most, width, typecode in _WIDTHS}
_ORIGINS = ("live", "retained", "backlog")  # any other is spelled out
_AS_IS = 9  # in the place of a width: the column is stored as 8-byte floats

T = TypeVar("T")
Sort = tuple[str, bool, bool, bool, bool, bool | None, bool | None, str]


class DamagedBlock(Exception):
    """A block that can't be unpacked: a damaged file, or one written by a newer version."""


def encode(readings: Sequence[Reading]) -> bytes:
    """Pack readings, in their order; times within ±2^62 ms, at most 65 536 of them. Raises nothing else."""
    out = bytearray()
    _put(out, len(readings))
    if readings:
        circuit, time, received, volts, amps, watts, closed, celsius, commanded, origin = zip(*readings, strict=True)
        figures = (volts, amps, watts, celsius)
        keys = list(zip(circuit, *map(_absent, figures), closed, commanded, origin, strict=False))
        table = {key: tag for tag, key in enumerate(dict.fromkeys(keys))}
        tags = list(map(table.__getitem__, keys))
        _put(out, len(table))
        out += b"".join(map(_spell_sort, table))
        out += _planes(array("B", tags), 1) if len(table) <= 0x100 else _planes(array("H", tags), 2)
        by_sort = itemgetter(*sorted(range(len(tags)), key=tags.__getitem__)) if len(tags) > 1 else tuple
        _put_column(out, [received[0], *map(sub, received[1:], received)])
        _put_column(out, list(by_sort(list(map(sub, received, time)))))
        for column, scale in zip(figures, _SCALES, strict=True):
            absent = column.count(None)
            if not absent:
                _put_figures(out, by_sort(column), scale)
            elif absent < len(column):
                _put_figures(out, [x for x in by_sort(column) if x is not None], scale)
    return bytes((VERSION,)) + zlib.compress(out, 1)


def decode(block: bytes) -> list[Reading]:
    """Unpack what `encode` packed, in the same order. Raises DamagedBlock."""
    return _unpacked(block, _decode)


def _unpacked(block: bytes, read: Callable[[_Bytes], list[T]]) -> list[T]:
    if not block or block[0] != VERSION:
        raise DamagedBlock(f"wanted a block of version {VERSION}, found {block[0] if block else 'nothing'}")
    try:
        return read(_Bytes(zlib.decompress(block[1:])))
    except (zlib.error, ValueError, IndexError, StopIteration, RuntimeError, KeyError) as fault:
        raise DamagedBlock(f"a block can't be unpacked: {fault}") from fault


def _head(data: _Bytes, count: int) -> tuple[list[Sort], Sequence[int], list[int], list[int], list[int]]:
    """(sorts; each reading's sort; when each was received; their places sort by sort; in that order how old each was)."""
    sorts = [_read_sort(data) for _ in range(data.varint())]
    tags = data.planes(count, 1 if len(sorts) <= 0x100 else 2)
    received = list(accumulate(data.column(count)))
    return sorts, tags, received, sorted(range(count), key=tags.__getitem__), data.column(count)


def _decode(data: _Bytes) -> list[Reading]:
    count = data.varint()
    if not count:
        return []
    sorts, tags, received, order, lag = _head(data, count)
    grouped = [sorts[tags[i]] for i in order]
    columns: list[list[float | None]] = []
    for place, scale in enumerate(_SCALES, start=1):
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


class Amps(NamedTuple):
    """One circuit's currents, in the order in which they came."""

    circuit: str
    times_ms: list[int]
    received_ms: list[int]
    amps: list[float]


def amps(block: bytes, circuits: Collection[str] | None = None) -> list[Amps]:
    """The currents alone, of all circuits or of these: a fraction of the cost of `decode`. Raises DamagedBlock.

    What was retained is left out: when it was measured nobody knows.
    """
    return _unpacked(block, lambda data: _amps(data, circuits))


def _amps(data: _Bytes, circuits: Collection[str] | None) -> list[Amps]:
    count = data.varint()
    if not count:
        return []
    sorts, tags, received, order, lag = _head(data, count)
    sizes = Counter(tags)
    volts, figured = (sum(sizes[tag] for tag, sort in enumerate(sorts) if not sort[place]) for place in (1, 2))
    if volts:
        data.skip_figures(volts)
    figures = list(data.figures(figured, _SCALES[1])) if figured else []
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
    if not exact or max(steps) - min(steps) > _WIDTHS[-1][0]:
        out.append(_AS_IS)
        out += _planes(array("d", figures), 8)
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
        _put_signed(out, numbers[0])
        _put_signed(out, least)
        return
    width, typecode = next((w, t) for top, w, t in _WIDTHS if most <= top)
    out.append(width)
    _put_signed(out, numbers[0])
    _put_signed(out, least)
    _put(out, divisor)
    out += _planes(array(typecode, rest), width)


def _planes(items: array[int] | array[float], width: int) -> bytes:
    """Bytes of one weight together, the lowest first: the high ones are nearly all alike and pack to nothing."""
    if sys.byteorder == "big":
        items.byteswap()
    raw = items.tobytes()
    return raw if width == 1 else b"".join([raw[i::width] for i in range(width)])


# ---- heads


@lru_cache(maxsize=1024)
def _spell_sort(sort: Sort) -> bytes:
    circuit, no_volts, no_amps, no_watts, no_celsius, closed, commanded, origin = sort
    out = bytearray()
    _put_text(out, circuit)
    out.append(no_volts | no_amps << 1 | no_watts << 2 | no_celsius << 3)
    out.append(_TRISTATE[closed] | _TRISTATE[commanded] << 2)
    if origin in _ORIGINS:
        out.append(_ORIGINS.index(origin))
    else:
        out.append(len(_ORIGINS))
        _put_text(out, origin)
    return bytes(out)


def _read_sort(data: _Bytes) -> Sort:
    circuit = data.text()
    absent, switch, origin = data.take(3)
    no_volts, no_amps, no_watts, no_celsius = (bool(absent >> bit & 1) for bit in range(4))
    closed, commanded = _TRISTATE_BACK[switch & 3], _TRISTATE_BACK[switch >> 2]
    known_origin = _ORIGINS[origin] if origin < len(_ORIGINS) else data.text()
    return circuit, no_volts, no_amps, no_watts, no_celsius, closed, commanded, known_origin


def _put_text(out: bytearray, text: str) -> None:
    raw = text.encode("utf-8", "surrogatepass")
    _put(out, len(raw))
    out += raw


def _put(out: bytearray, number: int) -> None:
    """A varint: seven bits a byte, the lowest first."""
    while number > 0x7F:
        out.append(number & 0x7F | 0x80)
        number >>= 7
    out.append(number)


def _put_signed(out: bytearray, number: int) -> None:
    _put(out, number << 1 if number >= 0 else (-number << 1) - 1)


class _Bytes:
    """A block's bytes, read from the front."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    def take(self, length: int) -> bytes:
        piece = self._data[self._at : self._at + length]
        if len(piece) < length:
            raise ValueError("it ends too early")
        self._at += length
        return piece

    def varint(self) -> int:
        number = shift = 0
        while True:
            byte = self.take(1)[0]
            number |= (byte & 0x7F) << shift
            if byte < 0x80:
                return number
            shift += 7

    def signed(self) -> int:
        number = self.varint()
        return -((number + 1) >> 1) if number & 1 else number >> 1

    def text(self) -> str:
        return self.take(self.varint()).decode("utf-8", "surrogatepass")

    def planes(self, count: int, width: int) -> Sequence[int]:
        items = array(_TYPE_OF[width])
        items.frombytes(self._woven(count, width))
        if sys.byteorder == "big":
            items.byteswap()
        return items

    def column(self, count: int, width: int | None = None) -> list[int]:
        width = self.take(1)[0] if width is None else width
        first, least = self.signed(), self.signed()
        if width == 0:
            return [first] + [least] * (count - 1)
        divisor = self.varint()
        return [first] + [n * divisor + least for n in self.planes(count - 1, width)]

    def figures(self, count: int, scale: float) -> Iterable[float]:
        width = self.take(1)[0]
        if width != _AS_IS:
            return [n / scale for n in accumulate(self.column(count, width))]
        items = array("d")
        items.frombytes(self._woven(count, 8))
        if sys.byteorder == "big":
            items.byteswap()
        return items

    def skip_figures(self, count: int) -> None:
        width = self.take(1)[0]
        if width == _AS_IS:
            self.take(count * 8)
            return
        self.signed(), self.signed()
        if width:
            self.varint()
            self.take((count - 1) * width)

    def _woven(self, count: int, width: int) -> bytes:
        if width == 1:
            return self.take(count)
        raw = bytearray(count * width)
        for i in range(width):
            raw[i::width] = self.take(count)
        return bytes(raw)
