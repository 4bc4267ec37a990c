"""Sums in compact form: one slot (the minutes of an hour, the hours of a day) of all circuits is one body.

The columns are those of `block2`, circuit by circuit. The greatest is kept as its distance from the least, and energy as its
distance from charge times volts. One version byte, then zlib.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence

from panelward.journal.block2 import Group, cheapest, column, deflated, put_column, read_column
from panelward.journal.octets import DamagedBlock, Octets, put, put_text
from panelward.journal.sums import Row, Rows

VERSION = 1
_MOST = 1 << 60  # so that differences fit into 64 bits: no vehicle's energy
_UNIT = 100_000  # 0.1 mA times 0.0001 V in a milliwatt


def spell(rows: Rows, step_ms: int) -> bytes:
    """Pack the rows of one slot; each begins at a whole `step_ms`."""
    circuits: dict[str, list[tuple[int, Row]]] = {}
    for (circuit, from_ms), row in sorted(rows.items()):
        circuits.setdefault(circuit, []).append((from_ms // step_ms, row))
    heads, parts = bytearray(), list[bytes]()
    put(heads, len(circuits))
    for circuit, found in circuits.items():
        put_text(heads, circuit)
        put(heads, len(found))
    columns: list[list[Group]] = [[] for _ in range(9)]
    for found in circuits.values():
        values = [_apart(row.values()) for _, row in found]
        for at, numbers in enumerate(zip(*values, strict=True)):
            columns[at].append(cheapest(numbers))
        columns[8].append(cheapest([n for n, _ in found]))
    for groups in columns:
        put_column(heads, parts, groups)
    return bytes((VERSION,)) + deflated([bytes(heads), *parts])


def read(body: bytes, step_ms: int) -> Rows:
    """Back from `spell`. Raises DamagedBlock."""
    if not body or body[0] != VERSION:
        raise DamagedBlock(f"wanted sums of version {VERSION}, found {body[0] if body else 'nothing'}")
    try:
        data = Octets(zlib.decompress(body[1:]))
        names, sizes = [], []
        for _ in range(data.varint()):
            names.append(data.text())
            sizes.append(data.varint())
        heads = [read_column(data, range(len(names))) for _ in range(9)]
        whole = [column(data, each, sizes, ()) for each in heads]
        rows: Rows = {}
        for tag, name in enumerate(names):
            for *values, number in zip(*(found[tag] for found in whole), strict=True):
                rows[name, number * step_ms] = Row(_together(values))
        return rows
    except (zlib.error, ValueError, IndexError, KeyError) as fault:
        raise DamagedBlock(f"sums can't be unpacked: {fault}") from fault


def _apart(values: Sequence[int]) -> tuple[int, ...]:
    read_ms, energy, charge, least_a, most_a, least_v, most_v, samples = values
    beyond = energy - _likely(charge, least_v, most_v)
    return read_ms, beyond, charge, least_a, most_a - least_a, least_v, most_v - least_v, samples


def _together(values: Sequence[int]) -> tuple[int, ...]:
    read_ms, energy, charge, least_a, over_a, least_v, over_v, samples = values
    most_v = least_v + over_v
    return read_ms, energy + _likely(charge, least_v, most_v), charge, least_a, least_a + over_a, least_v, most_v, samples


def _likely(charge: int, least_v: int, most_v: int) -> int:
    found = charge * (least_v + most_v) // (2 * _UNIT)
    return found if -_MOST < found < _MOST else 0
