"""Until when something may be meant to be so, and times as a person reads them. Zones are those of the IANA database."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from panelward.door.clocks import clock, spans, until, week_clock

OSLO = ZoneInfo("Europe/Oslo")


def at(text: str, zone: ZoneInfo = OSLO) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=zone).timestamp() * 1000


@pytest.mark.parametrize(
    ("now", "name", "hours", "shown"),
    [
        ("2026-05-04T02:10", "hour", 1.0, "03:10"),
        ("2026-05-04T23:30", "hours4", 4.0, "03:30"),
        ("2026-05-04T14:00", "evening", 4.0, "18:00"),
        ("2026-05-04T17:55", "evening", None, "18:00"),  # that is in a moment
        ("2026-05-04T19:00", "evening", None, "18:00"),
        ("2026-05-04T22:00", "morning", 9.0, "07:00"),
        ("2026-05-04T02:00", "morning", 24.0, "07:00"),  # 29 h are more than may be: a day
        # The night that the clocks go forward has an hour less (29 March 2026), and back one more (25 October 2026).
        ("2026-03-28T22:00", "morning", 8.0, "07:00"),
        ("2026-10-24T22:00", "morning", 10.0, "07:00"),
        ("2026-05-04T14:00", "frog", None, ""),
    ],
)
def test_until(now: str, name: str, hours: float | None, shown: str) -> None:
    seconds, said = until(name, at(now), OSLO)
    assert (None if seconds is None else seconds / 3600) == hours
    assert said == shown


def test_where_lives_hang_on_it_only_an_hour_is_offered() -> None:
    assert [name for name, _ in spans(at("2026-05-04T14:00"), OSLO, life=True, language="en")] == ["hour"]
    assert [name for name, _ in spans(at("2026-05-04T14:00"), OSLO, life=False, language="en")] == [
        "hour", "hours4", "evening", "morning",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("then", "said"),
    [
        ("2026-05-04T02:10", "02:10"),
        ("2026-05-03T23:50", "Sun 23:50"),
        ("2026-05-03T13:00", "Sun 13:00"),
        ("2026-04-01T13:00", "Wed 2026-04-01 13:00"),
    ],
)
def test_another_day_is_said_and_the_date_beyond_a_week(then: str, said: str) -> None:
    assert clock(at(then), at("2026-05-04T14:00"), OSLO, "en") == said


def test_a_time_that_is_none_does_not_fail() -> None:
    assert clock(1e30, 0.0, OSLO, "en").endswith("00:00")
    assert week_clock(at("2026-05-04T14:00"), OSLO, "nb") == "man. 14:00"
