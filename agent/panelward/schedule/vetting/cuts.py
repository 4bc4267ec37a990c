"""Switches and disconnects: what life depends on, and a heater that must cool itself, behind something that cuts them off."""

from __future__ import annotations

from collections.abc import Iterator

from panelward.records import Circuit
from panelward.schedule.vetting.finding import PRACTICE, Finding
from panelward.schedule.vetting.way import Way

CUTS = ("user-switch", "disconnect")
SWITCHED = "switched feed"


def findings(way: Way) -> Iterator[Finding]:
    life = way.circuit.importance == "life" or any(load.kind == "detector" for load in way.circuit.loads)
    heater = any(load.kind == "air-heater" for load in way.circuit.loads)
    if not life and not heater:
        if way.circuit.feed == "always-on" and "user-switch" in way.circuit.behind:
            yield way.find(
                "warn", "always-on-behind-switch", PRACTICE, "Connect it before the switch, or write its feed as switched.",
                "its feed is written as always on, and a user switch takes it away.", "user-switch", "none",
            )  # fmt: skip
        return
    cut, parked = _cut(way)
    if cut is None:
        return
    if cut == SWITCHED:
        remedy = "Feed it always on: from before every switch and disconnect."
    else:
        before = "the ignition" if parked else "every " + cut.replace("-", " ")
        remedy = f"Connect it before {before}."
    if life:
        yield way.find(
            "warn" if parked else "refuse", "life-behind-switch", PRACTICE, remedy,
            f"life depends on it, and it stands behind {_article(cut)}.", cut, "none of user-switch, disconnect",
        )  # fmt: skip
    if heater:
        yield way.find(
            "warn", "heater-behind-switch", f"it must cool itself down after burning; {PRACTICE}", remedy,
            f"an air heater behind {_article(cut)}; cut off while burning it overheats.", cut,
            "none of user-switch, disconnect",
        )  # fmt: skip


def _article(cut: str) -> str:
    return "the ignition" if cut == "ignition" else f"a {cut.replace('-', ' ')}"


def _cut(way: Way) -> tuple[str | None, bool]:
    """The first thing on the way up that takes its feed away, and whether it does so only when the vehicle is parked."""
    parts = list(way.upstream())
    for part in parts:
        found = next((name for name in part.behind if name in CUTS), None)
        if found is not None:
            return found, False
    for part in parts:
        if isinstance(part, Circuit) and part.feed == "switched":
            return (SWITCHED if part is way.circuit else f"switched feed ({part.label})"), False
    if way.supply.presence == "comes-and-goes":
        return f"supply that comes and goes ({way.supply.id})", False
    return ("ignition", True) if any("ignition" in part.behind for part in parts) else (None, False)
