"""What comes at a bad moment: a high alarm behind one that sleeps, people who change while the disk fails."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from daemon.told import NOON_MS, Told
from panelward.errors import EnvironmentFault
from panelward.notify import SendResult
from panelward.records.people import People, Person

HOUR_S = 3600


def people(*persons: Person) -> People:
    return People(persons=persons, weekly_day=None)


def kari(**keys: object) -> Person:
    return Person(name="Kari", refs=("Kari",), **keys)  # type: ignore[arg-type]


@contextmanager
def unreadable(told: Told) -> Iterator[None]:
    """SQLite neither reads nor writes the file."""
    told.disk(fails=True)
    ask = told.journal._ask

    def refuse(*_: object, **__: object) -> list[tuple[object, ...]]:
        raise EnvironmentFault("disk I/O error")

    told.journal._ask = refuse  # type: ignore[assignment]
    try:
        yield
    finally:
        told.journal._ask = ask  # type: ignore[method-assign]
        told.disk(fails=False)


def turns(told: Told, count: int, result: str = "handed-over") -> None:
    for _ in range(count):
        told.ms += 5000
        told.commits()
        told.sends(result)


def test_a_high_alarm_that_comes_back_does_not_wait_behind_the_end_that_sleeps(tmp_path: Path) -> None:
    told = Told(tmp_path, start_ms=NOON_MS + 8 * HOUR_S * 1000)
    told.alarm()
    told.passes(60)
    told.ms = told.start_ms + round(1.95 * HOUR_S * 1000)  # 21:57; it is over, and no network till the night has begun
    told.alarm(event="ends", sequence=2, state="returned-unacknowledged")
    told.passes(300, "failed")
    told.passes(3 * HOUR_S)
    before, came_s = len(told.got), (told.ms - told.start_ms) / 1000
    told.alarm(event="begins-again", sequence=3)
    told.passes(9 * HOUR_S)
    assert told.got[before][0] - came_s <= 60
    assert [row.status for row in told.rows() if row.step == "over"] == ["expired"], "it stands again"


def test_what_becomes_high_does_not_wait_behind_itself_as_a_medium_one_that_sleeps(tmp_path: Path) -> None:
    told = Told(tmp_path, start_ms=NOON_MS + 10 * HOUR_S * 1000 - 30_000)  # half a minute to the night
    told.alarm(kind="overcurrent-approach", priority="medium")
    told.passes(40, "failed", 1.0)
    told.alarm(kind="overcurrent-approach", priority="high", event="changes", sequence=2)
    told.passes(10 * HOUR_S)
    assert told.got[0][0] <= 120


@pytest.mark.parametrize("anew", [False, True])
def test_a_file_that_cannot_be_read_either_silences_nobody(tmp_path: Path, anew: bool) -> None:
    told = Told(tmp_path)
    told.passes(5, every_s=5)
    with unreadable(told):
        if anew:
            told.outward.hours_changed()
        told.commits()
        told.alarm()
        turns(told, 20)
        assert len(told.got) == 1


def test_a_step_that_comes_while_the_file_cannot_be_read_is_told_and_written_later(tmp_path: Path) -> None:
    told = Told(tmp_path)
    told.alarm(kind="overcurrent-approach", priority="medium")
    told.passes(60)
    with unreadable(told):
        told.alarm(kind="overcurrent-approach", priority="high", event="changes", sequence=2)
    turns(told, 3)
    assert len(told.got) == 2
    assert told.journal.known("D1-overcurrent-approach", 2)


def test_who_is_told_from_a_reload_on_while_the_disk_fails_takes_no_other_message_s_place(tmp_path: Path) -> None:
    told = Told(tmp_path, people(kari(priorities=("medium", "low"))))
    told.alarm("D1")
    told.passes(60)
    told.disk(fails=True)
    told.alarm("D3", kind="overcurrent-approach", priority="medium")
    turns(told, 4)
    told.outward.use(people(kari()), told.addresses)
    turns(told, 2)
    before = len(told.got)
    told.alarm("D2")
    turns(told, 2)
    assert len(told.got) == before + 1
    told.disk(fails=False)
    turns(told, 3)
    assert [row.status for row in told.rows("D2-feed-lost") if row.step == "begun"] == ["handed-over"]


def test_two_who_change_names_while_the_disk_fails_get_nothing_twice(tmp_path: Path) -> None:
    def two(first: str, second: str) -> tuple[People, dict[str, str]]:
        persons = people(Person(name=first, refs=(first,)), Person(name=second, refs=(second,), priorities=("low",)))
        return persons, {first: "json://one", second: "json://two"}

    told = Told(tmp_path, two("A", "B")[0])
    told.addresses |= two("A", "B")[1]
    told.outward.use(*two("A", "B"))
    told.alarm("D1", kind="overcurrent-approach", priority="medium")
    told.disk(fails=True)
    turns(told, 4)
    told.outward.use(*two("B", "A"))
    turns(told, 4)
    told.disk(fails=False)
    turns(told, 20)
    assert [ref for _, ref, _ in told.got] == ["A"]
    assert [(row.address_ref, row.status) for row in told.rows()] == [("B", "handed-over")]


def test_of_two_reloads_at_once_the_first_is_not_forgotten(tmp_path: Path) -> None:
    told = Told(tmp_path, people(kari(priorities=("low",))))
    told.alarm("D1")
    told.passes(60)
    told.outward.use(people(kari()), told.addresses)
    told.outward.use(
        people(kari(), Person(name="Mia", refs=("Mia",), priorities=("low",))), told.addresses | {"Mia": "json://Mia"}
    )
    told.passes(300)
    assert len(told.got) == 1


@pytest.mark.parametrize("leaves", [False, True])
def test_who_shares_an_address_and_leaves_takes_no_reminder_along(tmp_path: Path, leaves: bool) -> None:
    told = Told(tmp_path, people(kari(), Person(name="Ola", refs=("Ola",), after_s=1800.0)))
    both = people(kari(), Person(name="Ola", refs=("Ola",), after_s=1800.0))
    told.outward.use(both, {"Kari": "ntfy://van", "Ola": "ntfy://van"})
    told.alarm("D1")
    told.passes(300)
    if leaves:
        told.outward.use(people(kari()), {"Kari": "ntfy://van"})
    told.passes(1000)
    assert [(at_s, ref) for at_s, ref, _ in told.got] == [(60, "Kari"), (600, "Kari")]
    assert told.sentences[1].startswith("Again: ")


def test_a_reminder_behind_one_that_may_have_arrived_says_again(tmp_path: Path) -> None:
    told = Told(tmp_path, people(kari(), Person(name="Ola", refs=("Ola",), after_s=600.0)))
    told.alarm("D1")
    to_ola: list[str] = []
    for _ in range(60 * 30):
        told.ms += 1000
        told.outward.deliver()
        while batches := told.outward.lanes.given():
            for row in (row for batch in batches for row in batch):
                to_ola += [row.body] if row.ref == "Ola" else []
                lost = SendResult(row.row, "failed", "no answer within 60 s", True)
                told.outward.settle([SendResult(row.row, "handed-over", "") if row.ref == "Kari" else lost])
    assert not to_ola[0].startswith("Again: ")
    assert all(text.startswith("Again: ") for text in to_ola[1:])
    assert len(to_ola) > 2
