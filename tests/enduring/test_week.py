"""Two of the owner's days: how many messages, in what order, and that a night without network costs none."""

from __future__ import annotations

import tomllib
from collections import Counter
from datetime import timedelta
from pathlib import Path

import pytest

from enduring.week import Lived, Phones, Week

RATES = tomllib.loads((Path(__file__).parent.parent / "reference" / "alarm.toml").read_text())["rates"]
# From Tuesday noon; the freezer's feed goes at 20:00, the network from 18:00 to 08:00.
DAYS = Week(days=1.9, start="2026-05-05T10:00:00+00:00", faults=("freezer-feed-lost+28800", "bench-overload+5400"),
            offline=(0.25, 0.83), answers_after_s=600.0, repaired_h=28.0)  # fmt: skip


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> tuple[Lived, Phones]:
    week = Lived(DAYS, tmp_path_factory.mktemp("week"))
    return week, week.run()


def test_what_was_found_offline_comes_with_the_network_as_it_stands_then(lived: tuple[Lived, Phones]) -> None:
    week, phones = lived
    lost = next(t for t in week.transitions if (t.subject_id, t.kind) == ("D1", "feed-lost"))
    kari = [(at, body) for at, ref, body in phones.got if ref == "Kari" and "Sample freezer" in body.splitlines()[0]]
    first_at, first = kari[0]
    back_ms = week.start_ms + round(DAYS.offline[1] * 86_400_000)
    assert back_ms <= first_at.timestamp() * 1000 <= back_ms + 16 * 60_000, "the longest wait between two tries is 15 min"
    hours = round((first_at.timestamp() * 1000 - lost.since_ms) / 3_600_000)
    assert f"No draw for {hours} h" in first, "the figure is of now, not of when it was found"


def test_an_alarm_is_three_messages_at_most_and_everything_was_told_or_withdrawn(lived: tuple[Lived, Phones]) -> None:
    week, phones = lived
    handed = Counter((row.alarm_id, row.address_ref) for row in week.sent if row.status == "handed-over")
    assert max(handed.values()) <= 3 + 2  # begun, changed, over; and twice again while nobody answered
    told = {t.id for t in week.transitions if t.told and t.priority in ("high", "medium")}
    for alarm_id in told:
        rows = [row for row in week.sent if row.alarm_id == alarm_id and row.address_ref == "Kari"]
        assert any(row.status in ("handed-over", "waiting") for row in rows), alarm_id
    for row in week.sent:
        assert row.status in ("handed-over", "waiting") or row.last_why, (row.alarm_id, row.status)
    assert len(phones.got) >= 3


def test_no_more_messages_than_a_person_can_bear(lived: tuple[Lived, Phones]) -> None:
    """ISA-18.2 and IEC 62682, table 7, per operator: what is very likely acceptable."""
    _, phones = lived
    for ref in ("Kari", "Ola"):
        times = [at for at, to, _ in phones.got if to == ref]
        for at in times:
            assert sum(at <= other < at + timedelta(minutes=10) for other in times) <= RATES["acceptable_per_10_min"] + 1
            assert sum(at <= other < at + timedelta(days=1) for other in times) <= RATES["acceptable_per_day"]


def test_nobody_is_woken_for_what_is_not_high(lived: tuple[Lived, Phones]) -> None:
    _, phones = lived
    for at, ref, body in phones.got:
        if ref == "Kari" and (at.hour >= 22 or at.hour < 6):
            assert "Sample freezer" in body
