"""Circuits out of service, for work on their sensing: until when. What begins there begins out of service."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

from panelward.errors import RequestRefused
from panelward.records import Request

MOST_S = 24 * 3600.0  # as for a shelf: nobody forgets a circuit for longer; our own choice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Removed:
    """One circuit, taken out of service."""

    circuit: str
    who: str
    why: str
    since_ms: int
    until_ms: int


@dataclass(slots=True)
class Service:
    """All circuits that are out of it."""

    _removed: dict[str, Removed] = field(default_factory=dict)

    @staticmethod
    def check(request: Request) -> None:
        if request.for_s is not None and not 0 < request.for_s <= MOST_S:
            raise RequestRefused(
                f"a circuit is out of service for_s above 0 and at most {MOST_S:.0f}, or none: as long as that"
            )

    def remove(self, request: Request, now_ms: int) -> None:
        """Take a circuit out, or give it another end."""
        until_ms = now_ms + max(1, round((request.for_s or MOST_S) * 1000))
        circuit = request.circuit or ""
        self._removed[circuit] = Removed(
            circuit=circuit, who=request.who, why=request.why, since_ms=now_ms, until_ms=until_ms
        )  # fmt: skip

    def put_back(self, circuit: str) -> None:
        self._removed.pop(circuit, None)

    def until_ms(self, subject: str, subject_id: str) -> int | None:
        """Until when it is out of service; None: it is not."""
        removed = self._removed.get(subject_id) if subject == "circuit" else None
        return removed.until_ms if removed is not None else None

    def next_ms(self) -> int | None:
        return min((removed.until_ms for removed in self._removed.values()), default=None)

    def fire(self, now_ms: int) -> None:
        """End what is due."""
        self._removed = {circuit: removed for circuit, removed in self._removed.items() if removed.until_ms > now_ms}

    def standing(self) -> tuple[Removed, ...]:
        return tuple(self._removed.values())

    def save(self) -> list[dict[str, Any]]:
        return [asdict(removed) for removed in self._removed.values()]

    def restore(self, state: list[dict[str, Any]]) -> None:
        self._removed = {kept["circuit"]: Removed(**kept) for kept in state}
