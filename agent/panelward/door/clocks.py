"""Local times and spans, in the words of a language. Pure."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from panelward.door.words import Words, words

SPANS = ("hour", "hours4", "evening", "morning")
_DAYS = {
    "en": ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"),
    "de": ("Mo", "Di", "Mi", "Do", "Fr", "Sa", "So"),
    "nb": ("man.", "tir.", "ons.", "tor.", "fre.", "lør.", "søn."),
}


def _local(ms: float, zone: ZoneInfo) -> datetime:
    try:
        return datetime.fromtimestamp(ms / 1000, UTC).astimezone(zone)
    except (OverflowError, ValueError, OSError):
        return datetime.fromtimestamp(0, UTC)


def weekday(day: int, language: str) -> str:
    """0 is Monday."""
    return _DAYS[language][day]


def clock(ms: float, seen_ms: float, zone: ZoneInfo, language: str) -> str:
    """Local time, with the day where it is another day's, with the date beyond six days."""
    local, away_ms = _local(ms, zone), abs(seen_ms - ms)
    if local.date() == _local(seen_ms, zone).date():
        return f"{local:%H:%M}"
    day = _DAYS[language][local.weekday()]
    return f"{day} {local:%H:%M}" if away_ms < 6 * 86_400_000 else f"{day} {local:%Y-%m-%d %H:%M}"


def lasts(seconds: float, t: Words) -> str:
    """How long: 40 s, 12 min, 7 h, 3 days."""
    if seconds < 90:
        return f"{max(0, round(seconds))} s"
    if seconds < 90 * 60:
        return t("behind.minutes", count=round(seconds / 60))
    if seconds < 48 * 3600:
        return t("behind.hours", count=round(seconds / 3600))
    return t("first.days", count=round(seconds / 86_400))


def week_clock(ms: float, zone: ZoneInfo, language: str) -> str:
    """Weekday and local time: for what stands in the corner of a page."""
    local = _local(ms, zone)
    return f"{_DAYS[language][local.weekday()]} {local:%H:%M}"


def day_clock(ms: float, zone: ZoneInfo, language: str) -> str:
    local = _local(ms, zone)
    return f"{_DAYS[language][local.weekday()]} {local:%Y-%m-%d %H:%M}"


def spans(seen_ms: float, zone: ZoneInfo, *, life: bool, language: str) -> list[tuple[str, str]]:
    """Until when it may be meant to be so: (name, words)."""
    t = words(language)
    out = [("hour", t("meant.hour"))]
    if not life:
        for name in SPANS[1:]:
            seconds, at = until(name, seen_ms, zone)
            if seconds is not None:
                out.append((name, t(f"meant.{name}", at=at)))
    return out


def until(name: str, seen_ms: float, zone: ZoneInfo) -> tuple[float | None, str]:
    """(seconds from now, the clock then); None: that is past, or no such name."""
    if name in ("hour", "hours4"):
        seconds = 3600.0 if name == "hour" else 4 * 3600.0
        return seconds, f"{_local(seen_ms + seconds * 1000, zone):%H:%M}"
    now = _local(seen_ms, zone)
    if name == "evening":
        then = now.replace(hour=18, minute=0, second=0, microsecond=0)
    elif name == "morning":
        then = (now + timedelta(days=1)).replace(hour=7, minute=0, second=0, microsecond=0)
    else:
        return None, ""
    seconds = then.timestamp() - now.timestamp()
    return (min(seconds, 86_400.0) if seconds > 600 else None), f"{then:%H:%M}"
