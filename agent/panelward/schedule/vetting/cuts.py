"""Switches and disconnects: what life depends on, and a heater that must cool itself, behind something that cuts them off."""

from __future__ import annotations

from collections.abc import Iterator

from panelward.records import Circuit
from panelward.schedule.vetting.finding import PRACTICE, Finding
from panelward.schedule.vetting.way import Way

CUTS = ("user-switch", "disconnect")


def findings(way: Way) -> Iterator[Finding]:
    cut = _cut(way)
    if cut is None:
        return
    if way.circuit.importance == "life":
        yield way.find(
            "refuse", "life-behind-switch", PRACTICE, f"Connect it before every {cut}.",
            f"life depends on it, and it stands behind a {cut}.", cut, "none of user-switch, disconnect",
        )  # fmt: skip
    if any(load.kind == "air-heater" for load in way.circuit.loads):
        yield way.find(
            "warn", "heater-behind-switch", f"it must cool itself down after burning; {PRACTICE}",
            f"Connect it before every {cut}.",
            f"an air heater behind a {cut}; cut off while burning it overheats.", cut, "none of user-switch, disconnect",
        )  # fmt: skip


def _cut(way: Way) -> str | None:
    """The first thing on the way up to the source that takes its feed away: a switch, a disconnect, a switched feed."""
    parts = list(way.upstream())
    for part in parts:
        found = next((name for name in part.behind if name in CUTS), None)
        if found is not None:
            return found
    for part in parts:
        if isinstance(part, Circuit) and part.feed == "switched":
            return "switch (its feed is switched)" if part is way.circuit else f"switch (the feed of {part.label})"
    return None
