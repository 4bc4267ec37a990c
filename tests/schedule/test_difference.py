"""What a new schedule changes, in lines; every key of it, in an order, and never a secret."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from panelward.errors import ScheduleError
from panelward.records.people import People, Person
from panelward.schedule import load, parse, vet
from panelward.schedule.difference import SECRET, difference, new_findings, people_difference
from schedule.whole import WHOLE

VAN = Path(__file__).parents[2] / "config" / "survey-van.toml"
TEXT = VAN.read_text(encoding="utf-8")


def changed(old: str, new: str, text: str = TEXT) -> tuple[str, ...]:
    assert old in text, old
    return difference(parse(text, "a"), parse(text.replace(old, new, 1), "b"))


def test_the_same_is_no_change() -> None:
    schedule = load(VAN)[0]
    assert difference(schedule, schedule) == ()
    assert difference(schedule, parse(TEXT + "\n# a remark\n", "b")) == ()
    assert new_findings(schedule, schedule) == ()


@pytest.mark.parametrize(
    ("old", "new", "lines"),
    [
        ('label = "Sample freezer"', 'label = "Big freezer"', ("D1 label Sample freezer -> Big freezer",)),
        ('timezone = "Europe/Oslo"', 'timezone = "Asia/Tokyo"', ("vehicle timezone Europe/Oslo -> Asia/Tokyo",)),
    ],
)
def test_one_key_is_one_line(old: str, new: str, lines: tuple[str, ...]) -> None:
    assert changed(old, new) == lines


def test_a_device_a_load_and_its_levels_by_hand() -> None:
    old = load(VAN)[0]
    d1 = old.circuit("D1")
    assert d1.protection is not None
    load_ = replace(d1.loads[0], longest_run_s=7200.0, hours=((360, 1320),), standby_max_w=None)
    level = replace(load_.levels[0], watts=60.0)
    new = replace(
        old,
        circuits=tuple(
            replace(c, protection=replace(d1.protection, rating_a=20.0), loads=(replace(load_, levels=(level,)),))
            if c.id == "D1" else c for c in old.circuits
        ),
    )  # fmt: skip
    was = d1.loads[0]
    assert set(difference(old, new)) == {
        f"D1 protection.rating_a {d1.protection.rating_a:g} -> 20",
        f"D1 load.levels.{level.name}.watts {was.levels[0].watts:g} -> 60",
        f"D1 load.longest_run {was.longest_run_s:g} -> 7200",
        f"D1 load.standby_w.max {was.standby_max_w:g} -> none",
        "D1 load.hours none -> 06:00-22:00",
    }


def test_what_came_what_went_and_the_order() -> None:
    old = load(VAN)[0]
    fewer = replace(old, circuits=old.circuits[:-1])
    last = old.circuits[-1]
    assert difference(old, fewer) == (f"{last.id} {last.label}: removed",)
    assert difference(fewer, old) == (f"{last.id} {last.label}: added",)
    assert difference(old, replace(old, circuits=old.circuits[::-1])) == ("the circuits stand in another order",)
    assert difference(old, replace(old, probes=old.probes[1:])) == (f"probe {old.probes[0].id}: removed",)


def test_what_a_monitor_senses_is_said_once_not_for_each_of_its_circuits() -> None:
    lines = changed("resolution_a = ", "resolution_a = 1")
    assert len(lines) == 1, lines
    assert re.fullmatch(r"monitor \S+ sense\.resolution_a \S+ -> \S+", lines[0])


def test_every_key_of_a_whole_schedule_that_differs_is_said() -> None:
    """Each key of the widest schedule of the tests, alone, taken out where it may be: it is a line or it is the default."""
    whole = parse(WHOLE, "a")
    said = 0
    for at, line in enumerate(WHOLE.splitlines()):
        if "=" not in line or line.startswith(("#", "[")):
            continue
        rest = "\n".join(other for n, other in enumerate(WHOLE.splitlines()) if n != at)
        try:
            other = parse(rest, "b")
        except ScheduleError:  # it is required
            continue
        lines = difference(whole, other)
        assert bool(lines) == (whole != other), line
        said += bool(lines)
    assert said >= 30


def test_a_secret_is_never_shown() -> None:
    old = load(VAN)[0]
    secret = "https://ping.example/t0ken"
    vehicle = replace(old.vehicle, sign_of_life_to=secret)
    assert difference(old, replace(old, vehicle=vehicle)) == ("vehicle sign_of_life_to changed",)
    assert old.broker is not None
    broker = replace(old.broker, username="kari", password_file="/etc/s3cret", key_file="/k", cert_file="/c")
    lines = difference(old, replace(old, broker=broker))
    assert sorted(lines) == sorted(f"broker {key} changed" for key in SECRET if key != "sign_of_life_to")
    assert not any(word in line for line in lines for word in ("kari", "s3cret", "/k", "/c"))


def test_words_that_could_move_a_screen_are_shown_as_text() -> None:
    old = load(VAN)[0]
    new = replace(old, circuits=(replace(old.circuits[0], label="\x1b[2J" + "x" * 300), *old.circuits[1:]))
    (line,) = difference(old, new)
    assert "\x1b" not in line
    assert len(line) < 250


def test_a_finding_is_new_only_where_it_was_not_there_before() -> None:
    old = load(VAN)[0]
    d1 = old.circuit("D1")
    assert d1.protection is not None
    big = replace(d1, protection=replace(d1.protection, rating_a=60.0, as_found_a=None, as_left_a=None, way_max_a=None))
    bad = replace(old, circuits=tuple(big if c.id == "D1" else c for c in old.circuits))
    found = new_findings(old, bad)
    assert found
    assert all(line.startswith(("refuse: D1", "warn: D1", "warn: ", "refuse: ")) for line in found)
    assert any(line.startswith("refuse: D1") for line in found)
    assert new_findings(bad, bad) == ()
    assert not set(new_findings(bad, old)) & set(found)
    said = tuple(replace(c, always_on_reason="so") if c.feed == "always-on" else c for c in old.circuits)
    renamed = replace(old, circuits=said)
    assert [f for f in vet(old) if f.grade != "note"] == [f for f in vet(renamed) if f.grade != "note"]
    assert new_findings(old, renamed) == ()


ADA = Person(name="Ada", refs=("Ada",), sleeping=(22 * 60, 7 * 60))
BO = Person(name="Bo", refs=("Bo 1", "Bo 2"))


def test_who_is_told_without_an_address() -> None:
    old = People(persons=(ADA,), weekly_day=0)
    new = People(persons=(replace(ADA, sleeping=(23 * 60, 390), priorities=("high",)), BO), evening_min=1140, weekly_day=0)
    was, now = {"Ada": "json://a/s3cret"}, {"Ada": "json://b/s3cret", "Bo 1": "x://1", "Bo 2": "x://2"}
    assert people_difference(old, new, was, now) == (
        "people evening_min 18:00 -> 19:00",
        "Ada priorities high, medium, low -> high",
        "Ada sleeping 22:00-07:00 -> 23:00-06:30",
        "Ada: other addresses",
        "Bo: told from now on",
    )
    assert people_difference(new, old, now, was)[-1] == "Bo: no more told"
    assert people_difference(old, old, was, was) == ()
