"""What waits when people, addresses, hours or the vehicle's doings change: nothing of it is lost, and it comes at its hour."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from daemon.told import KARI, Told
from panelward.daemon.outward import Doing
from panelward.records.people import People, Person, everybody

MEDIUM = {"kind": "overcurrent-approach", "priority": "medium", "figures": (("draw_a", 17.0),)}


def of(*names: str, **keys: object) -> People:
    return People(persons=tuple(Person(name=name, refs=(name,), **keys) for name in names), weekly_day=None)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("people", "addresses"),
    [
        (replace(KARI, persons=(replace(KARI.persons[0], refs=("Kari 1", "Kari 2")),)),
         {"Kari 1": "json://Kari", "Kari 2": "json://other"}),
        (of("Kari Nordmann"), {"Kari Nordmann": "json://Kari"}),
        (of("Ola"), {"Ola": "json://ola"}),
        (everybody(("notify-1",)), {"notify-1": "json://Kari"}),
        (of("Ola", "Kari"), {"Ola": "json://Kari", "Kari": "json://ola"}),
    ],
    ids=["a second address", "a rename", "another person", "people.toml goes", "two change places"],
)  # fmt: skip
@pytest.mark.parametrize("priority", ["medium", "high"])
def test_other_people_lose_nothing_that_waits(
    tmp_path: Path, people: People, addresses: dict[str, str], priority: str
) -> None:  # fmt: skip
    told = Told(tmp_path)
    told.alarm("D7", kind="overcurrent-approach", priority=priority, figures=(("draw_a", 17.0),))
    told.passes(120, "failed")
    told.outward.use(people, addresses)
    told.passes(1800)
    heard = [ref for _, ref, text in told.got if not text.startswith("Again")]
    assert sorted(heard) == sorted(addresses)
    assert not [row for row in told.rows() if row.status == "refused" and row.address_ref in addresses]


def test_who_was_handed_it_is_told_nothing_twice_under_another_name(tmp_path: Path) -> None:
    told = Told(tmp_path)
    told.alarm("D7", **MEDIUM)  # type: ignore[arg-type]
    told.sends()
    told.outward.use(of("Kari Nordmann", "Ola"), {"Kari Nordmann": "json://Kari", "Ola": "json://ola"})
    told.passes(7200)
    assert len(told.got) == 1, "somebody has it"


@pytest.mark.parametrize("taken", [False, True])
def test_what_is_over_and_was_told_to_nobody_is_told_to_who_comes_after(tmp_path: Path, taken: bool) -> None:
    told = Told(tmp_path)
    told.alarm("D1")
    told.sends("handed-over" if taken else "failed")
    told.ms += 3_600_000
    told.alarm("D1", "ends", 2, state="returned-unacknowledged")
    told.sends("failed")
    told.outward.use(of("Ola"), {"Ola": "json://ola"})
    told.passes(1800)
    told.outward.hours_changed()
    told.passes(1800)
    assert [ref for _, ref, _ in told.got] == (["Kari"] if taken else ["Ola"])


def test_an_address_that_is_mended_hears_what_it_refused(tmp_path: Path) -> None:
    told = Told(tmp_path)
    told.alarm("D7", **MEDIUM)  # type: ignore[arg-type]
    told.sends("refused")
    told.outward.use(KARI, {"Kari": "json://mended"})
    told.passes(120)
    assert len(told.got) == 1


def test_a_start_with_other_people_tells_them_what_stands_and_was_told_to_nobody(tmp_path: Path) -> None:
    told = Told(tmp_path)
    told.alarm("D7", **MEDIUM)  # type: ignore[arg-type]
    told.alarm("D1")
    told.alarm("D1", "acknowledge", 2, state="acknowledged", told=False, who="the page")
    told.passes(60, "failed")
    told.journal.close()
    later = Told(tmp_path, of("Ola"), start_ms=told.ms)
    later.standing = told.standing
    later.passes(120)
    assert [ref for _, ref, _ in later.got] == ["Ola"], "and not what somebody acknowledged"
    assert "Bench sockets" in later.sentences[0] or "D7" in later.got[0][2]


def test_who_comes_aboard_hears_at_once_what_waited_for_the_weekly_sheet(tmp_path: Path) -> None:
    told = Told(tmp_path, replace(KARI, weekly_day=1))
    told.doing = Doing(aboard=False, laid_up=True)
    told.alarm("D7", **MEDIUM)  # type: ignore[arg-type]
    told.alarm("D8", **(MEDIUM | {"priority": "low"}))  # type: ignore[arg-type]
    told.passes(3600)
    assert told.got == []
    told.doing = Doing(aboard=True, laid_up=False)
    told.outward.hours_changed()
    told.passes(60)
    assert len(told.got) == 1, "medium"
    told.passes(5 * 3600)
    assert len(told.got) == 2, "and low that evening, at 18:00"


@pytest.mark.parametrize(
    ("to", "hours"), [("Atlantic/Azores", 6.0), ("Europe/Helsinki", 3.0), ("Europe/Oslo", 4.0), ("UTC", 6.0)]
)
def test_what_waits_for_the_evening_waits_for_the_evening_of_the_new_zone(tmp_path: Path, to: str, hours: float) -> None:
    """It is noon in UTC in September: UTC+0 (summer time), UTC+3, UTC+2."""
    told = Told(tmp_path)
    told.alarm("D8", **(MEDIUM | {"priority": "low"}))  # type: ignore[arg-type]
    told.outward.use_zone(to)
    told.sends()
    assert [row.due_real_s - told.real_s() for row in told.rows()] == pytest.approx([hours * 3600.0])


def test_other_hours_in_people_toml_hold_for_what_waits(tmp_path: Path) -> None:
    told = Told(tmp_path)
    told.ms += 11 * 3600 * 1000  # 23:00
    told.alarm("D7", **MEDIUM)  # type: ignore[arg-type]
    told.passes(600)
    assert told.got == [], "she sleeps until 7"
    told.outward.use(of("Kari", sleeping=(0, 5 * 60)), told.addresses)
    told.passes(60)
    assert len(told.got) == 1, "awake until midnight, as she says now"


def test_a_network_that_comes_back_at_night_wakes_nobody_for_what_is_not_high(tmp_path: Path) -> None:
    told = Told(tmp_path)
    told.ms += int(9.8 * 3600) * 1000  # 21:48
    told.alarm("D7", **MEDIUM)  # type: ignore[arg-type]
    told.passes(5 * 3600, "failed", 300)
    told.alarm("D1")
    told.passes(3600)
    assert all("Sample freezer" in sentence or "D1" in sentence for sentence in told.sentences), told.sentences
    told.passes(5 * 3600)
    at = [seconds for seconds, _, text in told.got if "D7" in text or "Bench" in text.partition("\n")[0]]
    assert at
    assert 19 * 3600 <= at[0] <= 19 * 3600 + 120, "at 7"


def test_once_the_clock_is_set_what_waits_for_an_hour_waits_for_the_right_one(tmp_path: Path) -> None:
    """Of 1970 no hour can be known; of two in the afternoon it can: she is awake."""
    told = Told(tmp_path, start_ms=1_000_000)
    told.alarm("D7", **MEDIUM)  # type: ignore[arg-type]
    told.passes(600)
    assert told.got == [], "00:16, and she sleeps"
    step_s = 1_790_172_000.0 - told.real_s()  # Wed 2026-09-23 14:00 UTC
    told.ms += round(step_s * 1000)
    assert told.outward.clock_was_set(step_s, hours=True)
    told.passes(60)
    assert len(told.got) == 1
