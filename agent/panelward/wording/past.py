"""What an alarm says once the journey is over, and the times and lengths of a review. One number a sentence."""

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from panelward.wording.english import CAUSES

LABEL_MOST = 40


def moment(at_ms: int, zone: ZoneInfo) -> str:
    """Tue 12 May 14:02"""
    local = datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone)
    return f"{local:%a} {local.day} {local:%b %H:%M}"


def lasting(seconds: float) -> str:
    """45 s, 12 min, 3.5 h, 2.1 days"""
    for least, unit, name in ((172_800.0, 86_400.0, "days"), (3600.0, 3600.0, "h"), (60.0, 60.0, "min")):
        if seconds >= least:
            return f"{seconds / unit:.3g} {name}"
    return f"{seconds:.3g} s"


def figure(value: float) -> str:
    """Three digits that count."""
    return f"{value:,.0f}" if abs(value) >= 99.95 else f"{value:.3g}"


def rough(value: float) -> str:
    """Two digits that count, never as a power of ten."""
    return f"{float(f'{value:.2g}'):,g}"


def times(count: int) -> str:
    return "once" if count == 1 else "twice" if count == 2 else f"{count} times"


def listed(names: list[str], most: int = 4) -> str:
    """A, B and C; of many the first, and how many more."""
    if len(names) > most:
        return f"{', '.join(names[:most])} and {len(names) - most} more"
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def short(label: str) -> str:
    return label if len(label) <= LABEL_MOST else label[: LABEL_MOST - 1].rstrip() + "…"


def cause_words(cause: str | None) -> str:
    """As the watch says it; undecided where it is not known."""
    return "its cause is not decided" if cause in (None, "unknown") else f"most likely {CAUSES.get(str(cause), str(cause))}"


def sure(confidence: float | None) -> str:
    """How surely a cause is named, in words (our own steps; a cause is named from 0.85 on)."""
    if confidence is None or 0.85 <= confidence < 0.95:
        return "most likely"
    return "almost certainly" if confidence >= 0.95 else "perhaps"


def because(kind: str, cause: str | None, confidence: float | None) -> str:
    """The cause of an episode, and how surely it is that one; empty where its sentence says it or there is none."""
    if cause is None or kind == "feed-lost":
        return ""
    if cause == "unknown":
        return "Its cause is not decided."
    if cause == "device-opened":
        certain = {"almost certainly": "almost certain", "most likely": "most likely"}.get(sure(confidence), "a guess")
        return f"That it was {CAUSES[cause]} is {certain}."
    said = f"{sure(confidence)}: {CAUSES.get(cause, cause)}."
    return said[:1].upper() + said[1:]


# What is still so, where the alarm's own words are for the moment that it was told.
STILL = {
    "protection-opened": "it cut off", "feed-lost": "it has no feed",
    "overcurrent-approach": "it draws more than its device carries for long",
    "conductor-overheating": "its cable may be overheating", "protection-doubtful": "it carried more than the one listed could",
    "standby-drain": "it draws more than at rest", "unassigned-draw": "something draws that no circuit accounts for",
    "undervoltage-approach": "it is near its cut-off", "off-profile": "it draws what none of its loads is listed with",
    "duty-high": "it runs too much", "duty-low": "it hardly runs", "overlong-run": "it runs without a stop",
    "short-cycling": "it starts and stops too often", "departed-from-record": "its draw has crept from its record",
    "readings-overdue": "nothing is read of it", "reading-suspect": "its readings can't be trusted",
}  # fmt: skip


def still(kind: str, label: str, message: str) -> str:
    """What to do about what has not ended: the act of the alarm's own message, then what is so."""
    act = message.removeprefix("Again: ").partition(": ")[0] if ": " in message.removeprefix("Again: ") else ""
    if kind == "protection-doubtful":
        act = f"Read the fuse at {label} and compare it with the sheet"
    what = STILL.get(kind, kind.replace("-", " "))
    if kind not in ("protection-doubtful", "unassigned-draw") and label.casefold() not in act.casefold():
        what = what.replace("it ", f"{label} ", 1) if what.startswith("it ") else f"{label}: {what}"
    return f"{act or f'Look at {label}'}: {what}."


def past(
    kind: str, label: str, figures: Mapping[str, Any], lasted_s: float | None, cause: str | None, *, timed: bool = True
) -> str:
    """What an alarm says after the journey; not `timed`: its time stands beside it."""

    def of(name: str) -> float | None:
        value = figures.get(name)
        return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None

    lasted = f" for {lasting(lasted_s)}" if lasted_s is not None else ", and has not been seen to end" if timed else ""
    amps, watts = of("draw_a"), of("draw_w")
    if kind == "protection-opened":
        device = figures.get("device")
        word = {"breaker": "breaker", "output": "output"}.get(str(device), "fuse")
        before = of("before_a")
        dip = of("dip_v")
        # Volts that dip tell of a short; its current was over before it could be read.
        why = " on what seems to be a short circuit" if dip is not None and "short" in str(figures.get("message", "")) else ""
        at = f", {figure(before)} A just before" if before is not None and not why else ""
        return f"The {word} of {label} cut off{why}{at}.".replace("just before", "before it")
    if kind == "feed-lost":
        return f"{label} had no feed{lasted}; {cause_words(cause)}."
    if kind == "overcurrent-approach":
        flowed = f"{figure(amps)} A" if amps is not None else "more"
        return f"{label} carried {flowed}, more than its device carries for long."
    if kind == "conductor-overheating":
        return f"The cable of {label} may have overheated" + (f": {figure(amps)} A flowed." if amps is not None else ".")
    if kind == "protection-doubtful":
        if cause == "opens-early" or figures.get("early"):
            return f"The device of {label} cut off sooner than the one on the record should."
        return f"{label} carried more, and longer, than the fuse on the record could: another one may be fitted."
    if kind == "standby-drain":
        drew = f" {figure(watts)} W" if watts is not None else ""
        return f"{label} drew{drew} while it should have stood by{lasted}."
    if kind == "unassigned-draw":
        return f"A draw that no circuit accounts for flowed{lasted}" + (f": {figure(amps)} A." if amps is not None else ".")
    if kind == "undervoltage-approach":
        volts, hours, least, cutoff = of("volts"), of("hours_left"), of("least_v"), of("cutoff_v")
        if least is not None and cutoff is not None:
            said = f"{least:.2f}" if abs(least - cutoff) < 0.1 else f"{least:.1f}"
            how = f"fell to {said} V, below its" if least < cutoff else f"came down to {said} V, near its"
            return f"{label[:1].upper()}{label[1:]} {how} cut-off of {figure(cutoff)} V."
        if hours is not None:
            return f"{label[:1].upper()}{label[1:]} came within {lasting(3600 * hours)} of its cut-off."
        if cutoff is not None:
            return f"{label[:1].upper()}{label[1:]} came near its cut-off at {figure(cutoff)} V."
        return f"{label[:1].upper()}{label[1:]} came near its cut-off" + (f": {figure(volts)} V." if volts is not None else ".")
    if kind == "off-profile":
        drew = f" a steady {figure(watts)} W" if watts is not None else " steadily"
        return f"{label} drew{drew}, none of what its load is listed with."
    if kind in ("duty-high", "duty-low", "overlong-run", "short-cycling"):
        word = {
            "duty-high": "ran too much", "duty-low": "hardly ran", "overlong-run": "ran without a stop",
            "short-cycling": "started and stopped too often",
        }[kind]  # fmt: skip
        return f"{label} {word}{lasted}."
    if kind == "departed-from-record":
        return f"What {label} draws has crept away from its record."
    if kind == "readings-overdue":
        return f"No readings came from {label}{lasted}: what happened meanwhile is not known."
    if kind == "reading-suspect":
        return f"The readings of {label} can't be trusted{lasted}."
    if kind == "flood":
        return "Many alarms came at one time."
    return f"{label}: {kind.replace('-', ' ')}{lasted}."
