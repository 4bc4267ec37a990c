"""What was learned of a vehicle's loads: levels and standby as they are, within what a person wrote or accepted.

Never in it: ratings, ampacity, always-on, cut-offs, floors, importance. `schedule.profile` reads, writes and applies it.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfiledLevel:
    """One level of a circuit's load: by its name in the schedule, or a new one that a person accepted."""

    name: str
    watts: float  # at the supply's nominal volts
    tolerance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Profiled:
    """One circuit."""

    circuit: str
    levels: tuple[ProfiledLevel, ...] = ()
    standby_max_w: float | None = None
    made_ms: int = 0  # when this was learned or accepted: a later version keeps it; 0: as old as its version


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """One version, with who made it and why."""

    vehicle: str
    version: int
    made_ms: int
    by: str  # a person's name; empty: by itself, narrowing only
    why: str = ""
    circuits: tuple[Profiled, ...] = ()

    def circuit(self, circuit_id: str) -> Profiled | None:
        return next((c for c in self.circuits if c.circuit == circuit_id), None)
