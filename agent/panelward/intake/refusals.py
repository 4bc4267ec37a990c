"""What could not be read: counted, sampled, named; never fatal."""

from __future__ import annotations

from typing import Any

from panelward.errors import PayloadRefused

SAMPLES = 3
SHOWN_BYTES = 80


class Refusals:
    """Counts by reason, with a few samples of each."""

    def __init__(self) -> None:
        self.counts: dict[str, int] = {}
        self.samples: dict[str, list[tuple[str, bytes, str]]] = {}
        self._said: dict[str, int] = {}

    @property
    def total(self) -> int:
        return sum(self.counts.values())

    def add(self, refused: PayloadRefused, topic: str, payload: bytes) -> None:
        """Count one message and keep it as a sample where there is room."""
        self.counts[refused.reason] = self.counts.get(refused.reason, 0) + 1
        kept = self.samples.setdefault(refused.reason, [])
        if len(kept) < SAMPLES:
            kept.append((topic[:200], payload[:SHOWN_BYTES], refused.detail[:200]))

    def summary(self) -> list[dict[str, Any]]:
        """A row a reason: count and samples, as plain values."""
        return [
            {
                "reason": reason,
                "count": count,
                "samples": [{"topic": t, "payload": repr(p), "detail": d} for t, p, d in self.samples[reason]],
            }
            for reason, count in self.counts.items()
        ]

    def news(self) -> list[str]:
        """A line for each reason that grew since the last call."""
        lines = []
        for reason, count in self.counts.items():
            more = count - self._said.get(reason, 0)
            if more:
                topic, payload, detail = self.samples[reason][-1]
                lines.append(f"{more} messages refused, {reason}: {detail}; on {topic}: {payload!r}")
                self._said[reason] = count
        return lines
