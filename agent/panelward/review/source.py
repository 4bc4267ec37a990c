"""Where a review's readings come from: a day at a time, as columns of numbers."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import NamedTuple, Protocol

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]


class Columns(NamedTuple):
    """Readings of one circuit, probe or meter, in the order in which they were measured; all of one length.

    NaN: not measured. `closed`: 1, 0, or -1 where the switch's state is not known. What was retained is not among them.
    """

    time_ms: Whole
    volts: Floats
    amps: Floats
    watts: Floats
    celsius: Floats
    closed: npt.NDArray[np.int8]


class Source(Protocol):
    """Read as often as needed; bounded memory: about a day of all circuits at a time."""

    first_ms: int  # measured; of all readings
    last_ms: int
    name: str

    def pieces(
        self, from_ms: int, to_ms: int, circuits: Collection[str] | None = None
    ) -> Iterator[tuple[int, int, Mapping[str, Columns]]]:
        """(from, to, columns of each that has any) of consecutive pieces in rising time, measured in [from, to).

        A reading that came so late that its piece is over (backlog) may be left to `late` below.
        """
        ...

    @property
    def late(self) -> Mapping[str, int]:
        """Readings of each circuit that came too late to be put in their place, of the last pass; they are not in `pieces`."""
        ...
