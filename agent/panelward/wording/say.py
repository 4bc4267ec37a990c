"""Choosing and filling a sentence: which situation, which manner of advice, which words fit 140 characters."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

from panelward.records import Circuit, Figure, Schedule, Transition
from panelward.records.inputs import ABOARD
from panelward.wording import english

LONGEST = 140
LOCK_SCREEN = 45  # act and label within so many characters: lock screens cut
LABEL_MOST = 24
LABEL_LEAST = 14
WARM_C, COLD_C = 18.0, 2.0  # what a person calls warm; where pipes begin to be at stake (common practice, no source)


def manner_of(schedule: Schedule, circuit: Circuit | None) -> str:
    """What may be advised for this load (the table of advice by load)."""
    if circuit is None:
        return "*"
    kinds = [load.kind for load in circuit.loads]
    if "detector" in kinds:
        return "detector"
    if "pump" in kinds:
        return "sump" if circuit.feed == "always-on" or circuit.importance == "life" else "pump"
    if circuit.importance == "life":
        return "medical" if not kinds or "electronics" in kinds or "socket" in kinds else "kept"
    if circuit.carries_messages:
        return "carrier"
    if "air-heater" in kinds:
        return "burner"
    if circuit.role == "charger" or "charger" in kinds:
        return "charger"
    if schedule.supply(circuit.supply).kind == "ac":
        return "ac"
    if "compressor" in kinds:
        return "cold"
    if "inverter" in kinds:
        return "inverter"
    if "socket" in kinds:
        return "socket"
    if circuit.feed == "always-on":
        return "kept"
    return "plain"


def turning(circuit: Circuit | None, situation: str, manner: str) -> str:
    """The manner where it matters that the load turns: a motor that a hand holds, a fan or pump that turns hard."""
    kinds = [load.kind for load in circuit.loads] if circuit is not None else []
    if situation == "off-stalled":
        return "motor" if kinds == ["motor"] and manner == "plain" else manner
    return "turns" if any(k in ("fan", "pump", "motor") for k in kinds) else manner


def situation_of(transition: Transition) -> tuple[str, str | None]:
    """The situation, and a manner of its own where the load does not choose it."""
    kind, cause, figures = transition.kind, transition.cause, dict(transition.figures)
    ended = transition.event == "ends"
    if transition.event == "withdrawn":
        return "withdrawn", None
    if kind == "drill":
        return "drill", ("afar-unheard" if figures.get("unheard") else "afar") if figures.get("from_afar") else None
    if transition.subject == "people":
        return ("unread-over" if ended else "unread"), "*"
    if kind == "messages-unsent":
        return ("unsent-over" if ended else "unsent"), "*"
    if kind == "journal-unwritten":
        return ("unwritten-over" if ended else "unwritten"), "aboard" if transition.subject_id == ABOARD else "*"
    if kind == "reading-suspect":
        return (
            "plausible" if ended and cause != "clock-step" else cause if cause == "clock-step" else f"suspect-{cause}"
        ), None
    if kind == "readings-overdue":
        if transition.subject == "vehicle":
            return ("vehicle-back" if ended else "silent-vehicle"), "*"
        will = "-said" if figures.get("will") and not ended else ""
        back = "readings-late" if figures.get("late") else "readings-back"
        return (back if ended else f"silent-{transition.subject}{will}"), "afar" if figures.get("from_afar") else None
    if kind == "undervoltage-approach":
        return ("cut-off-past" if ended else "near-cut-off"), None
    if kind == "unassigned-draw":
        return ("unassigned-over" if ended else "unassigned"), ("with" if transition.circuits and not ended else "*")
    if kind == "standby-drain":
        why = figures.get("why")
        return ("over", "drain") if ended else (f"drain-{'above-standby' if why == 'raised' else why}", None)
    if transition.group == "rhythm":
        return ("over", "rhythm") if ended else (_rhythm(cause, figures), None)
    if kind == "departed-from-record":
        if ended:
            return "over", "record"
        return f"departed-{cause}" + ("-soon" if "weeks" in figures else ""), None
    if kind == "off-profile" or (cause == "stalled" and not ended):
        return ("over", "stalled" if cause == "stalled" else "level") if ended else (f"off-{cause}", None)
    if kind in ("overcurrent-approach", "conductor-overheating"):
        if ended:
            return "over", None
        if kind == "conductor-overheating":
            return "conductor", None
        return ("continuous" if transition.priority == "low" else "overcurrent"), None
    if kind == "protection-doubtful":
        return ("doubtful-early" if cause == "opens-early" else "doubtful"), None
    if transition.subject != "circuit":
        return ("parent-back" if ended else "parent-lost"), None
    if ended:
        return "life-back", None
    if kind == "protection-opened" and cause == "unknown":
        return "opened-undecided", None
    if kind == "protection-opened":
        return _opened(transition, figures), None
    return _LOST.get(cause or "", "lost-unknown"), None


def _rhythm(cause: str | None, figures: dict[str, Figure]) -> str:
    why, outside_c = figures.get("why"), figures.get("outside_c")
    if f"rhythm-{cause}" in english.SENTENCES and (cause != "door-open" or why == "habit"):
        return f"rhythm-{cause}"
    if why == "low" and isinstance(outside_c, float):
        return "rhythm-low-warm" if outside_c >= WARM_C else "rhythm-low-frost" if outside_c < COLD_C else "rhythm-low"
    return "rhythm-off-warms" if why == "off" and "warms_in_h" in figures else f"rhythm-{why}"


_LOST = {
    "switched-off": "lost-switched-off",
    "switched-off-at-load": "lost-at-load",
    "load-failed": "lost-load",
    "wiring-open": "lost-wiring",
    "own-fuse": "lost-own-fuse",
    "lock-out": "lost-lock-out",
    "feeder-lost": "lost-upstream",
    "supply-lost": "lost-upstream",
    "source-limited": "lost-limited",
}
GRAVE = ("detector", "medical", "sump", "burner")  # of these the act is the same whatever the cause


def _opened(transition: Transition, figures: dict[str, Figure]) -> str:
    names = [name for name, _ in transition.evidence]
    openings = figures.get("openings")
    if isinstance(openings, int) and openings > 1:
        return "opened-repeatedly"
    if "bus-dipped-deep" in names:
        return "opened-short"
    if "near-rating-in-heat" in names:
        return "opened-heat"
    return "opened-ordinary" if "ordinary-before" in names else "opened-overload"


def sentence(
    situation: str, manner: str, values: dict[str, str], label: str, *, again: bool, tails: tuple[str, ...] = ()
) -> str:  # fmt: skip
    """The fullest sentence that fits; with the first of `tails` that still fits behind one."""
    for tail in tails:
        text = _fitted(situation, manner, values, label, again=again, tail=tail)
        if text is not None:
            return text
    return _fitted(situation, manner, values, label, again=again, tail="") or ""


def _fitted(situation: str, manner: str, values: dict[str, str], label: str, *, again: bool, tail: str) -> str | None:
    lines = english.SENTENCES[situation]
    prefix = english.AGAIN if again else ""
    room = LONGEST - len(prefix)
    text = ""
    grave = english.SENTENCES["lost-unknown"] if situation.startswith("lost-") and manner in GRAVE else {}
    for template in lines.get(manner) or grave.get(manner) or _fallback(lines, manner):
        act = template.partition("{label}")[0] if "{label}" in template else ""
        short = shorten(label, max(LABEL_LEAST, min(LABEL_MOST, LOCK_SCREEN - len(act))))
        for name in (shorten(label, LABEL_MOST), short, shorten(label, LABEL_LEAST)):
            text = template.format(label=name, **values)
            if len(text) + len(tail) <= room:
                return prefix + text + tail
    return None if tail else prefix + shorten(text, room)


def _fallback(lines: dict[str, tuple[str, ...]], manner: str) -> tuple[str, ...]:
    if manner == "pump":
        return lines.get("plain") or lines["*"]
    return lines["*"]


def shorten(text: str, most: int) -> str:
    """At most so many characters, cut at a word where there is one; control characters become spaces."""
    text = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if len(text) <= most:
        return text
    cut = text[: most - 1].rstrip()
    at_word = cut.rpartition(" ")[0]
    return (at_word if len(at_word) >= most // 2 else cut).rstrip(" ,.;:-") + "…"


@lru_cache(maxsize=8)
def _zone(name: str) -> ZoneInfo:
    return ZoneInfo(name)


def clock(time_ms: int, seen_from_ms: int, timezone: str) -> str:
    """Local time, with the day beyond 24 hours."""
    local = datetime.fromtimestamp(time_ms / 1000.0, UTC).astimezone(_zone(timezone))
    text = local.strftime("%H:%M")
    if abs(seen_from_ms - time_ms) >= 24 * 3600_000:
        text = f"{english.WEEKDAYS[local.weekday()]} {text}"
    return text


def day_clock(time_ms: int, timezone: str) -> str:
    """Weekday and local time."""
    local = datetime.fromtimestamp(time_ms / 1000.0, UTC).astimezone(_zone(timezone))
    return f"{english.WEEKDAYS[local.weekday()]} {local.strftime('%H:%M')}"


def lasting(seconds: float) -> str:
    """A duration a person would say: 40 s, 12 min, 7 h, 3 days."""
    if seconds < 90:
        return f"{max(1, round(seconds))} s"
    if seconds < 90 * 60:
        return f"{round(seconds / 60)} min"
    if seconds < 48 * 3600:
        return f"{round(seconds / 3600)} h"
    return f"{round(seconds / 86400)} days"


def number(value: Figure) -> str:
    """A figure as a person reads it: 17 A, 8.4 A, 0.35 A; not known where it is not."""
    if value is None:
        return english.NOTHING_KNOWN
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return str(value)
    size = abs(value)
    if size >= 100 or (isinstance(value, int) and size >= 10):
        return f"{value:.0f}"
    text = f"{value:.1f}" if size >= 1 else f"{value:.2f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
