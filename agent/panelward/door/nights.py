"""How long the bank lasts at last night's draw. Pure: hours of the bank's meter in, days out.

By night nothing comes from the sun, so a night's mean draw is what the vehicle takes by itself. Where the night brought more
than it took, or was not read, nothing is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from panelward.door.held import HOUR_MS, Hour
from panelward.ratings import autonomy_days
from panelward.records import Battery

BEGINS_H, ENDS_H = 22, 6  # of the local day: dark in most seasons, before anybody is up (our own choice)
MOST_UNREAD_S = 3600.0
LEAST_A = 0.01  # below this it is the meter's own error that would be reckoned with


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """What the bank gave by night."""

    begins_ms: int
    ends_ms: int
    mean_a: float  # out of the bank
    unread_s: float


def last_night(hours: Sequence[Hour], now_ms: int, zone: ZoneInfo, *, charge_positive: bool = False) -> Night | None:
    """The last whole night before now, by the hours of the bank's meter; None: it was not read, or hardly."""
    local = datetime.fromtimestamp(now_ms / 1000, UTC).astimezone(zone)
    morning = local.replace(hour=ENDS_H, minute=0, second=0, microsecond=0)
    if morning.timestamp() * 1000 > now_ms:
        morning = (morning.replace(tzinfo=None) - timedelta(days=1)).replace(tzinfo=zone)
    evening = (morning.replace(tzinfo=None) - timedelta(days=1)).replace(hour=BEGINS_H, tzinfo=zone)
    begins_ms, ends_ms = round(evening.timestamp() * 1000), round(morning.timestamp() * 1000)
    inside = [h for h in hours if begins_ms <= h.begins_ms and h.begins_ms + HOUR_MS <= ends_ms]
    missing_s = (ends_ms - begins_ms) / 1000 - HOUR_MS / 1000 * len(inside)
    unread_s = missing_s + sum(hour.unread_s for hour in inside)
    read = [(HOUR_MS / 1000 - hour.unread_s, hour.mean_a) for hour in inside if hour.mean_a is not None]
    read_s = sum(seconds for seconds, _ in read)
    if unread_s > MOST_UNREAD_S or read_s <= 0.0:
        return None
    mean_a = sum(seconds * amps for seconds, amps in read) / read_s
    return Night(begins_ms=begins_ms, ends_ms=ends_ms, mean_a=-mean_a if charge_positive else mean_a, unread_s=unread_s)


def days_at(battery: Battery, nominal_v: float, night: Night, *, left: float | None = None) -> float | None:
    """Days that the bank lasts at that night's draw: from full, or from the share of its capacity that is `left`.

    None: it drew nothing to reckon with. What may not be drawn is left in it either way.
    """
    if night.mean_a < LEAST_A:
        return None
    usable = battery.usable if left is None else max(0.0, left - (1.0 - battery.usable))
    return autonomy_days(battery.capacity_ah, usable, nominal_v, night.mean_a * nominal_v * 24.0)
