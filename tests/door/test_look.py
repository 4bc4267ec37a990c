"""The long look: how far back it goes, what it brings, and that the door shares no moment of its cost."""

from __future__ import annotations

import asyncio
import json
import random
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from panelward.door.held import HOUR_MS, Hour, Seen
from panelward.door.look import Looks, begins_ms, looked, plain_of, question, reckon, seen_of, span_text
from panelward.door.nights import days_at, last_night
from panelward.door.screen import nights_text
from panelward.door.words import words
from panelward.journal import Journal
from panelward.records import Battery, Circuit, Clock, Monitor, Reading, Schedule, Sense, Supply, Vehicle

T0 = 1_777_615_200_000  # 2026-05-01T06:00:00Z
OSLO = ZoneInfo("Europe/Oslo")
BANK = Battery(chemistry="lfp", capacity_ah=200, usable=0.85)
PLAN = Schedule(
    vehicle=Vehicle(name="Van", id="van"),
    monitors=(Monitor(name="dc", dialect="plain", topic="x", expect_every_s=1),),
    supplies=(
        Supply(id="house", kind="dc", nominal_v=12.8, battery=BANK, meter="SH"),
    ),
    circuits=tuple(
        Circuit(id=name, label=name, monitor="dc", supply="house", sense=Sense(), role=role)
        for name, role in (("D1", "load"), ("D2", "load"), ("SH", "meter"))
    ),
)  # fmt: skip


def journal_of(path: Path, readings: list[Reading], *, sets: tuple[tuple[int, int], ...] = ()) -> Journal:
    journal = Journal.open(path)
    inputs: list[Reading | Clock] = [*readings, *(Clock(received_ms=at, shift_ms=by) for at, by in sets)]
    for each in sorted(inputs, key=lambda item: item.received_ms):
        journal.append(each)
    journal.commit()
    return journal


def two_hours(rng: random.Random) -> list[Reading]:
    return [
        Reading(circuit, T0 + 1000 * i, T0 + 1000 * i + 20, volts=12.8, amps=round(rng.uniform(0, 9), 2))
        for i in range(7200)
        for circuit in ("D1", "SH")
        if not (circuit == "D1" and 1800 <= i < 3600)
    ]


def _run(asked: Coroutine[Any, Any, None]) -> None:
    """In a thread of its own: a browser's loop may already run in this one."""
    with ThreadPoolExecutor(1) as pool:
        pool.submit(asyncio.run, asked).result()


def test_the_helper_brings_what_the_journal_holds(tmp_path: Path) -> None:
    readings = two_hours(random.Random(5))
    journal_of(tmp_path / "j.sqlite", readings).close()

    async def ask() -> None:
        looks = Looks(str(tmp_path / "j.sqlite"))
        found = await looks.ask(PLAN, "a", T0 + 2 * HOUR_MS, "UTC", wait_s=60)
        assert found is not None, looks.fault
        assert (found.begins_ms, found.from_ms, found.shortened) == (T0 + 20, T0 + 20, False)
        seen = found.way("D1")
        assert seen is not None
        amps = [r.amps or 0.0 for r in readings if r.circuit == "D1"][1:]  # the first was measured before it was received
        assert seen.readings == len(amps)
        assert seen.held[0].amps == max(amps)
        assert seen.worst_a(60) == pytest.approx(
            max(sum(run[i : i + 60]) / 60 for run in (amps[:1799], amps[1799:]) for i in range(len(run) - 59)), abs=1e-4
        )
        assert seen.worst_a(3600) is not None
        assert seen.worst_a(10_800) is None
        assert seen.unread_share == pytest.approx(1800 / 7200, abs=1e-3)
        never = found.way("D2")
        assert never is not None
        assert (never.held, never.unread_share) == ((), 1.0)
        assert found.way("D9") is None
        again = await looks.ask(PLAN, "a", T0 + 2 * HOUR_MS, "UTC", wait_s=0)
        assert again is found, "kept for some minutes"
        assert not looks.looking
        other = await looks.ask(PLAN, "b", T0 + 2 * HOUR_MS, "UTC", wait_s=0)
        assert other is None, "of another schedule nothing is shown"
        assert looks.looking
        await looks.end()

    _run(ask())


def test_a_journal_that_is_not_there_is_said(tmp_path: Path) -> None:
    async def ask() -> None:
        looks = Looks(str(tmp_path / "none.sqlite"))
        assert await looks.ask(PLAN, "a", T0, "UTC", wait_s=60) is None
        assert "none.sqlite" in looks.fault

    _run(ask())


def test_the_clock_that_was_set_is_told(tmp_path: Path) -> None:
    journal = journal_of(tmp_path / "j.sqlite", two_hours(random.Random(5)), sets=((T0 + 5000, 0), (T0 + 3_600_000, 40_000)))
    lines = reckon(journal, question(PLAN), T0, T0 + 3 * HOUR_MS, OSLO, 10**9)
    journal.close()
    found = looked("\n".join(lines).encode())
    assert (found.clock_sets, found.clock_most_ms) == (1, 40_000)


def test_a_large_journal_is_looked_at_over_fewer_days(tmp_path: Path) -> None:
    readings = two_hours(random.Random(5))
    journal = Journal.open(tmp_path / "j.sqlite")
    for at, reading in enumerate(readings):
        journal.append(reading)
        if at % 500 == 0:
            journal.commit()
    journal.commit()
    end = T0 + 2 * HOUR_MS
    kept = journal.readings_since(end - HOUR_MS)
    assert kept == pytest.approx(7200, abs=600), "to the block"
    whole = looked("\n".join(reckon(journal, question(PLAN), T0 - 6 * 24 * HOUR_MS, end, OSLO, 10**9)).encode())
    assert not whole.shortened, "it did not begin before it began: that is no shortening"
    part = looked("\n".join(reckon(journal, question(PLAN), T0 - 6 * 24 * HOUR_MS, end, OSLO, 8000)).encode())
    assert part.from_ms == end - HOUR_MS
    assert part.shortened
    journal.close()
    seen = part.way("SH")
    assert seen is not None
    assert seen.readings == pytest.approx(3600, abs=2)


@pytest.mark.parametrize(("a_second", "hours"), [(0.1, 168), (2.6, 168), (8, 48), (24, 12), (200, 1), (10**6, 1)])
def test_the_span_follows_the_number_of_readings(a_second: float, hours: float) -> None:
    end, most = 10**12, 1_600_000

    def counted(from_ms: int) -> int:
        return round((end - from_ms) / 1000 * a_second)

    assert end - begins_ms(counted, end - 168 * HOUR_MS, end, most) == hours * HOUR_MS


def test_spans_are_rounded_down() -> None:
    t = words("en")
    assert [span_text(s, t) for s in (59 * 60, 3601, 47.9 * 3600, 48 * 3600, 7 * 86_400 - 1)] == [
        "59 min", "1 h", "47 h", "2 days", "6 days",
    ]  # fmt: skip


# The night.


def night_hours(mean_a: float | None, *, unread: int = 0, from_ms: int = T0 - 12 * HOUR_MS) -> list[Hour]:
    """Whole hours up to T0, which is 8 o'clock in Oslo; the last `unread` of the night were not read."""
    return [
        Hour(begins_ms=b, mean_a=None, low_a=None, high_a=None, unread_s=3600.0)
        if mean_a is None or T0 - (2 + unread) * HOUR_MS <= b < T0 - 2 * HOUR_MS
        else Hour(begins_ms=b, mean_a=mean_a, low_a=mean_a, high_a=mean_a, unread_s=0.0)
        for b in range(from_ms, T0, HOUR_MS)
    ]


def test_a_worked_example() -> None:
    """A 200 Ah bank of which 85 % may be used, 2.36 A by night: 170 Ah / 2.36 A = 72.0 h = 3.0 days (by hand)."""
    night = last_night(night_hours(2.36), T0, OSLO)
    assert night is not None
    assert (night.begins_ms, night.ends_ms) == (T0 - 10 * HOUR_MS, T0 - 2 * HOUR_MS)
    battery = Battery(chemistry="lfp", capacity_ah=200, usable=0.85)
    assert days_at(battery, 12.8, night) == pytest.approx(170 / 2.36 / 24)
    assert days_at(battery, 12.8, night, left=0.5) == pytest.approx((100 - 30) / 2.36 / 24), "the last 15 % stay in it"
    assert days_at(battery, 12.8, night, left=0.1) == 0.0


def test_no_night_no_days() -> None:
    assert last_night([], T0, OSLO) is None
    assert last_night(night_hours(None), T0, OSLO) is None
    assert last_night(night_hours(2.0, unread=2), T0, OSLO) is None, "two of its hours were not read"
    assert last_night(night_hours(2.0, from_ms=T0 - 5 * HOUR_MS), T0, OSLO) is None, "it began before the log"
    short = last_night(night_hours(2.0, unread=1), T0, OSLO)
    assert short is not None
    assert (short.mean_a, short.unread_s) == (2.0, 3600)
    gains = last_night(night_hours(-4.0), T0, OSLO)
    assert gains is not None
    assert days_at(BANK, 12.8, gains) is None, "it was charged"
    turned = last_night(night_hours(-4.0), T0, OSLO, charge_positive=True)
    assert turned is not None
    assert turned.mean_a == 4.0


def test_before_six_it_is_the_night_before() -> None:
    early = T0 - 3 * HOUR_MS  # 5 o'clock in Oslo
    night = last_night(night_hours(1.0, from_ms=T0 - 40 * HOUR_MS), early, OSLO)
    assert night is not None
    assert night.ends_ms == T0 - 26 * HOUR_MS


def test_the_night_in_which_the_clocks_change_is_an_hour_shorter() -> None:
    """2026-03-29 in Oslo: 02:00 is 03:00; from 22 to 6 are seven hours."""
    morning = 1_774_756_800_000  # 2026-03-29T04:00:00Z, 6 o'clock there
    hours = [Hour(begins_ms=morning - HOUR_MS * i, mean_a=1.0, low_a=1.0, high_a=1.0, unread_s=0.0) for i in range(12, 0, -1)]
    night = last_night(hours, morning, OSLO)
    assert night is not None
    assert night.ends_ms - night.begins_ms == 7 * HOUR_MS
    assert night.unread_s == 0.0


def test_what_the_first_screen_says() -> None:
    seen = Seen(held=(), hours=tuple(night_hours(2.36)), unread_share=0.0, readings=1)
    line = json.dumps(plain_of("SH", seen)).encode()
    head = b'{"from_ms":0,"to_ms":1,"wanted_ms":0,"begins_ms":0,"clock_sets":0,"clock_most_ms":0,"damaged":0}'
    found = looked(head + b"\n" + line)
    t = words("en")
    assert nights_text(PLAN, found, {}, T0, OSLO, t) == (
        "At last night's draw (2.4 A) about 3 days, from a full bank. Reckoned of the night to 2026-05-01 06:00."
    )
    assert "about 30 h, from what is counted in it now, 50 %" in nights_text(PLAN, found, {"house": 0.5}, T0, OSLO, t)
    assert nights_text(PLAN, looked(head), {}, T0, OSLO, t) == ""
    assert seen_of(plain_of("SH", seen)) == seen
