"""Why a planted fault had no message: it did not run then, or the watch can't find that there, as `check` says."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from panelward.records import Schedule
from panelward.rehearse.named import Named
from panelward.schedule.detect import Sight, beyond, detectability, draw, feed, level, rest, rhythm
from panelward.wording import say

# Planted -> the faults of `schedule.detect` that it is.
FAULTS: dict[str, tuple[str, ...]] = {
    "feed-lost": (feed.LOST_FEED,), "switched-off": (feed.LOST_FEED,), "overload": (draw.OVERCURRENT,),
    "opens": (feed.OPENED,), "short": (feed.OPENED,), "stall": (level.STALLED,),
    "more-than-listed": (level.MORE, beyond.DEPARTED),
    "runs-dry": (level.DRY,), "part-open": (level.PART_OPEN,), "standby": (draw.RISEN, draw.DRAIN), "left-on": (draw.DRAIN,),
    "runs-on": (rhythm.OVERLONG,), "stuck": (rest.STUCK,), "overdue": (rest.SILENT,), "falls": (rest.CUTOFF,),
}  # fmt: skip
BY_ITS_DRAW = ("feed-lost", "switched-off", "stall", "more-than-listed", "runs-dry", "part-open")
SHOWN = 3


def why(
    schedule: Schedule, part: Named, kind: str, circuits: Sequence[str], changed: int, lasted_s: float, opened: bool = False
) -> Iterator[str]:
    """In sentences. `circuits`: whose readings it is about; `changed`: how many readings it made otherwise; `lasted_s`: for how
    long it was seen; `opened`: its device did, by what was planted.
    """
    if not changed:
        did = "it did not run then" if kind in BY_ITS_DRAW else "nothing of it shows"
        yield f"Why: {did}: every reading would have been as it was."
        return
    mine = [part.id] if part.kind == "circuit" else circuits
    titles = {c.id: f"{c.label} ({c.id})" for c in schedule.circuits}
    wanted = (*FAULTS.get(kind, ()), *((feed.OPENED,) if opened else ()))
    said: dict[str, list[str]] = {}
    for sight in detectability(schedule):
        if sight.circuit in mine and sight.what in wanted:
            said.setdefault(_said(sight, lasted_s, opened), []).append(titles[sight.circuit])
    for text, of in list(said.items())[:SHOWN]:
        yield f"Why: {', '.join(of)}: {text}."
    if len(said) > SHOWN:
        yield f"… and {len(said) - SHOWN} more; `panelward check` has them."
    if not said:
        yield f"Why: {kind} of {part.title} is nothing that the watch looks for. `panelward check` says what it finds there."


def _said(sight: Sight, lasted_s: float, opened: bool) -> str:
    if sight.can == "no":
        mend = f". {sight.mend.removesuffix('.')}" if sight.mend else ""
        return f"{sight.what} can't be watched: {sight.why}{mend}"
    if sight.can == "together":
        return f"{sight.what}: found only together with something else: {sight.why}"
    if sight.can == "unreliable":
        return f"{sight.what}: may be missed: {sight.why}"
    if sight.within_s is None or lasted_s < sight.within_s:
        within = f" within {say.lasting(sight.within_s)} of the first reading that shows it" if sight.within_s else ""
        return f"{sight.what}: found{within}, and it was there for {say.lasting(lasted_s)}: {sight.why}"
    but = "and its device opened first" if opened and sight.what != feed.OPENED else "and these do not"
    return f"{sight.what}: found within {say.lasting(sight.within_s)} of readings that show it on end, {but}: {sight.why}"
