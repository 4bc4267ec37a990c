"""The one message of a flood: life first, then what most of its alarms are about."""

from __future__ import annotations

from panelward.records import Circuit, Figure, Schedule, Transition
from panelward.wording import english, say

__all__ = ["message"]

TOGETHER_S = 60  # evidence of a lost feed is gathered for a minute: what stopped within one may have stopped together
_MOST = {
    "overcurrent-approach": "flood-overcurrent",
    "conductor-overheating": "flood-overcurrent",
    "readings-overdue": "flood-silent",
    "standby-drain": "flood-drain",
}
_LIFE_FIRST = ("detector", "medical", "kept", "sump", "burner", "carrier")  # of what stopped, who is named first


def message(transition: Transition, schedule: Schedule, *, again: bool) -> str:
    """The sentence of a flood's summary."""
    figures = dict(transition.figures)
    stopped = figures.get("stopped") or ()
    stopped = stopped if isinstance(stopped, tuple) else ()
    circuit = _named(schedule, [str(c) for c in stopped], transition.circuits)
    situation = _situation(transition, figures, circuit is not None)
    dead = situation == "flood-dead"
    manner = say.manner_of(schedule, circuit)
    if circuit is None:
        manner = "none"
    elif circuit.id not in stopped and situation != "flood-overcurrent":
        manner = "*"  # it stands in the flood for something else than that it stopped
    elif manner == "kept" and circuit.importance == "life":
        manner = "medical"
    zone, at_ms = schedule.vehicle.timezone, transition.at_ms
    first_s = figures.get("stopped_s")
    within_s = figures.get("stopped_within_s")
    values = {
        "count": str(len(stopped)) if dead else say.number(figures.get("alarms")),
        "of_most": say.number(figures.get("of_most")),
        "over": say.number(figures.get("over")),
        "since": say.clock(transition.since_ms, at_ms, zone),
        "at": say.clock(at_ms, at_ms, zone),
        "stopped": say.clock(first_s * 1000, at_ms, zone) if isinstance(first_s, int) else "",
        "together": english.TOGETHER if isinstance(within_s, int) and within_s <= TOGETHER_S else english.APART,
    }
    repeat = again or transition.event in ("changes", "begins-again", "re-alarm")
    return say.sentence(situation, manner, values, circuit.label if circuit else "", again=repeat)


def _situation(transition: Transition, figures: dict[str, Figure], named: bool) -> str:
    """By what more than half of what stands is about."""
    alarms, dead, of_most = figures.get("alarms"), figures.get("dead"), figures.get("of_most")
    if transition.event == "ends" or transition.state in ("returned-unacknowledged", "normal"):
        return "flood-over"
    if not isinstance(alarms, int) or not alarms:
        return "flood-past"
    if not named:
        return "flood-mixed"
    if isinstance(dead, int) and 2 * dead > alarms and figures.get("stopped"):
        return "flood-dead"
    if isinstance(of_most, int) and 2 * of_most > alarms:
        return _MOST.get(str(figures.get("most")), "flood-mixed")
    return "flood-mixed"


def _named(schedule: Schedule, stopped: list[str], circuits: tuple[str, ...]) -> Circuit | None:
    """The circuit whose label stands in the sentence: of what stopped the one that matters most, else of all."""
    worth = {"life": 0, "property": 1, "comfort": 2}

    def rank(circuit: Circuit) -> tuple[bool, int, int, bool]:
        manner = say.manner_of(schedule, circuit)
        first = _LIFE_FIRST.index(manner) if manner in _LIFE_FIRST else len(_LIFE_FIRST)
        if manner == "kept" and circuit.importance != "life":
            first = len(_LIFE_FIRST)
        matters = circuit.id in stopped and first < len(_LIFE_FIRST)
        return not matters, first if matters else 0, worth[circuit.importance], circuit.feed != "always-on"

    known = [c for c in schedule.circuits if c.id in (*stopped, *circuits) and (c.role != "meter" or len(circuits) == 1)]
    return min(known, key=rank, default=None)
