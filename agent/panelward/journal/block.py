"""Readings in compact blocks: exact, a few bytes each. The first byte says the version; every version is readable for ever.

`block1` is what a commit writes, of some seconds of readings; `block2` what they are packed together as, some minutes later.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Collection, Sequence
from typing import TypeVar

from panelward.journal import block1, block2
from panelward.journal.block1 import encode
from panelward.journal.octets import Amps, DamagedBlock, Octets
from panelward.records import Reading

__all__ = ["MOST_READINGS", "Amps", "DamagedBlock", "amps", "amps_behind", "decode", "encode", "pack"]

MOST_READINGS = 4096  # in one block: a question about an hour should not unpack a day

T = TypeVar("T")


def pack(readings: Sequence[Reading]) -> bytes:
    """Many readings in fewer bytes than `encode` takes, at twice its cost."""
    try:
        return block2.encode(readings)
    except block2.TooFar:
        return encode(readings)


def decode(block: bytes) -> list[Reading]:
    """Unpack what was packed, in the same order. Raises DamagedBlock."""
    return _unpacked(block, {1: block1.decode, 2: block2.decode})


def amps(block: bytes, circuits: Collection[str] | None = None) -> list[Amps]:
    """The currents alone, of all circuits or of these: a fraction of the cost of `decode`. Raises DamagedBlock.

    What was retained is left out: when it was measured nobody knows.
    """
    return _unpacked(block, {1: lambda data: block1.amps(data, circuits), 2: lambda data: block2.amps(data, circuits)})


def amps_behind(block: bytes, past: int, circuits: Collection[str]) -> list[Amps]:
    """The same without the first readings of it. Raises DamagedBlock."""
    rows: dict[str, Amps] = {}
    for r in decode(block)[past:]:
        if r.amps is not None and r.origin != "retained" and r.circuit in circuits:
            one = rows.setdefault(r.circuit, Amps(r.circuit, [], [], []))
            one.times_ms.append(r.time_ms)
            one.received_ms.append(r.received_ms)
            one.amps.append(r.amps)
    return list(rows.values())


def _unpacked(block: bytes, readers: dict[int, Callable[[Octets], list[T]]]) -> list[T]:
    if not block or block[0] not in readers:
        raise DamagedBlock(f"wanted a block of version {max(readers)} at most, found {block[0] if block else 'nothing'}")
    try:
        return readers[block[0]](Octets(zlib.decompress(block[1:])))
    except (zlib.error, ValueError, IndexError, StopIteration, RuntimeError, KeyError) as fault:
        raise DamagedBlock(f"a block can't be unpacked: {fault}") from fault
