"""What blocks of every version are spelled with: numbers, texts, sorts of reading, columns of bytes.

A sort is (circuit, which quantities are absent, closed, commanded, origin): so no mask is needed for a reading, and a
column runs through one circuit after another, where neighbours are alike.
"""

from __future__ import annotations

import sys
from array import array
from collections.abc import Iterable, Sequence
from functools import lru_cache
from itertools import accumulate
from typing import NamedTuple

SCALES = (1e4, 1e4, 1e3, 1e3)  # of the grid on which intake rounds: volts, amps, watts, celsius
AS_IS = 9  # in the place of a width: the column is stored as 8-byte floats
WIDTHS = ((0xFF, 1, "B"), (0xFFFF, 2, "H"), (0xFFFF_FFFF, 4, "I"), (0xFFFF_FFFF_FFFF_FFFF, 8, "Q"))
_TYPE_OF = {width: typecode for _most, width, typecode in WIDTHS}
_TRISTATE: dict[bool | None, int] = {None: 0, False: 1, True: 2}
_TRISTATE_BACK = (None, False, True)
_ORIGINS = ("live", "retained", "backlog")  # any other is spelled out

Sort = tuple[str, bool, bool, bool, bool, bool | None, bool | None, str]


class Amps(NamedTuple):
    """One circuit's currents, in the order in which they came."""

    circuit: str
    times_ms: list[int]
    received_ms: list[int]
    amps: list[float]


class DamagedBlock(Exception):
    """A block that can't be unpacked: a damaged file, or one written by a newer version."""


# ---- out


@lru_cache(maxsize=1024)
def spell_sort(sort: Sort) -> bytes:
    circuit, no_volts, no_amps, no_watts, no_celsius, closed, commanded, origin = sort
    out = bytearray()
    put_text(out, circuit)
    out.append(no_volts | no_amps << 1 | no_watts << 2 | no_celsius << 3)
    out.append(_TRISTATE[closed] | _TRISTATE[commanded] << 2)
    if origin in _ORIGINS:
        out.append(_ORIGINS.index(origin))
    else:
        out.append(len(_ORIGINS))
        put_text(out, origin)
    return bytes(out)


def put_text(out: bytearray, text: str) -> None:
    raw = text.encode("utf-8", "surrogatepass")
    put(out, len(raw))
    out += raw


def put(out: bytearray, number: int) -> None:
    """A varint: seven bits a byte, the lowest first."""
    while number > 0x7F:
        out.append(number & 0x7F | 0x80)
        number >>= 7
    out.append(number)


def put_signed(out: bytearray, number: int) -> None:
    put(out, number << 1 if number >= 0 else (-number << 1) - 1)


def planes(items: array[int] | array[float], width: int) -> bytes:
    """Bytes of one weight together, the lowest first: the high ones are nearly all alike and pack to nothing."""
    if sys.byteorder == "big":
        items.byteswap()
    raw = items.tobytes()
    return raw if width == 1 else b"".join([raw[i::width] for i in range(width)])


# ---- back


class Octets:
    """A block's bytes, read from the front. What ends too early raises ValueError or IndexError."""

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
        number = self._data[self._at]
        self._at += 1
        if number < 0x80:
            return number
        number &= 0x7F
        shift = 7
        while True:
            byte = self._data[self._at]
            self._at += 1
            number |= (byte & 0x7F) << shift
            if byte < 0x80:
                return number
            shift += 7

    def signed(self) -> int:
        number = self.varint()
        return -((number + 1) >> 1) if number & 1 else number >> 1

    def text(self) -> str:
        return self.take(self.varint()).decode("utf-8", "surrogatepass")

    def sort(self) -> Sort:
        circuit = self.text()
        absent, switch, origin = self.take(3)
        no_volts, no_amps, no_watts, no_celsius = (bool(absent >> bit & 1) for bit in range(4))
        closed, commanded = _TRISTATE_BACK[switch & 3], _TRISTATE_BACK[switch >> 2]
        known_origin = _ORIGINS[origin] if origin < len(_ORIGINS) else self.text()
        return circuit, no_volts, no_amps, no_watts, no_celsius, closed, commanded, known_origin

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

    def floats(self, count: int) -> array[float]:
        """A column that is stored as it is."""
        items = array("d")
        items.frombytes(self._woven(count, 8))
        if sys.byteorder == "big":
            items.byteswap()
        return items

    def figures(self, count: int, scale: float) -> Iterable[float]:
        width = self.take(1)[0]
        if width == AS_IS:
            return self.floats(count)
        return [n / scale for n in accumulate(self.column(count, width))]

    def skip_figures(self, count: int) -> None:
        width = self.take(1)[0]
        if width == AS_IS:
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
