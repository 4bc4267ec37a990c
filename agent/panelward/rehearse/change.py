"""What a planted fault is to a reading: what is known when it is changed, and the change."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from panelward.records import Reading


@dataclass(frozen=True, slots=True)
class Since:
    """What is known when a reading is changed."""

    seconds: float  # since the fault began
    last: Reading | None  # of this channel, from before it
    volts: float | None  # of this channel, last


Change = Callable[[Reading, Since], Reading | None]  # None: no reading comes
