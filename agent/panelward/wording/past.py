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


def past(kind: str, label: str, figures: Mapping[str, Any], lasted_s: float | None, cause: str | None) -> str:
    """What an alarm says after the journey."""

    def of(name: str) -> float | None:
        value = figures.get(name)
        return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None

    lasted = f" for {lasting(lasted_s)}" if lasted_s is not None else ", and has not been seen to end"
    amps, watts = of("draw_a"), of("draw_w")
    if kind == "protection-opened":
        device = figures.get("device")
        word = {"breaker": "breaker", "output": "output"}.get(str(device), "fuse")
        before = of("before_a")
        dip = of("dip_v")
        why = " on a short circuit" if dip is not None and "short" in str(figures.get("message", "")) else ""
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
        volts, hours = of("volts"), of("hours_left")
        if hours is not None:
            return f"{label[:1].upper()}{label[1:]} came within {lasting(3600 * hours)} of its cut-off."
        cutoff = of("cutoff_v")
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
