"""Who works on which circuits, until when: a works permit, so that ten pulled fuses are not ten alarms."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from panelward.errors import RequestRefused
from panelward.records import Condition, Facts, Request

MOST_S = 12 * 3600.0  # a day's work; our own choice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """One person at one circuit, or at the whole panel (None)."""

    who: str
    circuit: str | None
    why: str
    since_ms: int
    until_ms: int


@dataclass(slots=True)
class Works:
    """All work that stands, in the order in which it was begun."""

    _standing: dict[tuple[str, str | None], Work] = field(default_factory=dict)

    def begin(self, request: Request, now_ms: int) -> None:
        """Begin, or give the same person's work at the same place another end."""
        who = " ".join(request.who.split())
        if not who:
            raise RequestRefused("say who works: who is missing")
        if request.for_s is None or not 0 < request.for_s <= MOST_S:
            raise RequestRefused(f"say for how long: for_s above 0 and at most {MOST_S:.0f}")
        place = who, request.circuit
        known = self._standing.get(place)
        since_ms = known.since_ms if known else now_ms
        until_ms = now_ms + max(1, round(request.for_s * 1000))
        self._standing[place] = Work(
            who=who, circuit=request.circuit, why=request.why, since_ms=since_ms, until_ms=until_ms
        )  # fmt: skip

    def end(self, request: Request) -> None:
        """This person's work ends, or that of all where nobody is named; at one circuit where one is."""
        who = " ".join(request.who.split())
        found = [
            place
            for place in self._standing
            if (not who or place[0] == who) and (request.circuit is None or place[1] == request.circuit)
        ]
        if not found:
            at = f" on circuit '{request.circuit}'" if request.circuit else ""
            others = ", ".join(dict.fromkeys(w.who for w in self._standing.values()))
            raise RequestRefused(f"{who or 'nobody'} works{at} as far as was said; work stands for: {others or 'nobody'}")
        for place in found:
            del self._standing[place]

    def over(self, condition: Condition) -> Work | None:
        """The work that explains this: at every circuit that it is about. Of several, the one that lasts longest."""
        about = (condition.subject_id,) if condition.subject == "circuit" else condition.circuits
        longest = [self._longest(circuit) for circuit in about or (None,)]
        found = [work for work in longest if work is not None]
        return min(found, key=lambda w: w.until_ms) if found and len(found) == len(longest) else None

    def _longest(self, circuit: str | None) -> Work | None:
        here = [w for w in self._standing.values() if w.circuit is None or w.circuit == circuit]
        return max(here, key=lambda w: w.until_ms, default=None)

    def next_ms(self) -> int | None:
        return min((w.until_ms for w in self._standing.values()), default=None)

    def fire(self, now_ms: int) -> bool:
        """End what is due; whether anything did."""
        due = [place for place, work in self._standing.items() if work.until_ms <= now_ms]
        for place in due:
            del self._standing[place]
        return bool(due)

    def standing(self) -> tuple[Work, ...]:
        return tuple(self._standing.values())

    def save(self) -> list[dict[str, Any]]:
        return [
            {"who": w.who, "circuit": w.circuit, "why": w.why, "since_ms": w.since_ms, "until_ms": w.until_ms}
            for w in self._standing.values()
        ]

    def restore(self, state: list[dict[str, Any]]) -> None:
        self._standing = {(kept["who"], kept["circuit"]): Work(**kept) for kept in state}


def fact(work: Work, shift_ms: int) -> tuple[str, Facts]:
    """The mark on every alarm that work explains."""
    return "under-work", (("who", work.who), ("until_s", (work.until_ms + shift_ms) // 1000))
