"""people.toml: read, or refused with every fault; an address is never shown."""

from __future__ import annotations

from pathlib import Path

import pytest

from panelward.errors import ScheduleError
from panelward.schedule.people import load_people

GOOD = """
evening = "19:30"
weekly = "Sun"

[[person]]
name = "Ada"
addresses = ["json://host/one", "json://host/two"]
sleeping = "22:00-07:00"

[[person]]
name = "Bo"
addresses = ["json://host/three"]
priorities = ["high"]
circuits = ["D1"]
after_s = 900
"""


def written(folder: Path, text: str, mode: int = 0o640) -> Path:
    path = folder / "people.toml"
    path.write_text(text, encoding="utf-8")
    path.chmod(mode)
    return path


def test_people_and_their_addresses_by_reference(tmp_path: Path) -> None:
    people, addresses = load_people(written(tmp_path, GOOD), ["D1", "D2"])
    ada, bo = people.persons
    assert (people.evening_min, people.weekly_day) == (19 * 60 + 30, 6)
    assert (ada.refs, ada.sleeping, ada.priorities) == (("Ada 1", "Ada 2"), (22 * 60, 7 * 60), ("low", "medium", "high"))
    assert (bo.refs, bo.after_s, bo.circuits) == (("Bo",), 900.0, ("D1",))
    assert addresses == {"Ada 1": "json://host/one", "Ada 2": "json://host/two", "Bo": "json://host/three"}


def test_it_is_refused_when_readable_by_others(tmp_path: Path) -> None:
    with pytest.raises(ScheduleError, match="chmod 640"):
        load_people(written(tmp_path, GOOD, 0o644))


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ('[[person]]\nname = "Ada"\n', "addresses"),
        ('[[person]]\nname = "Ada"\naddresses = []\n', "one address or more"),
        ('[[person]]\nname = "Ada"\naddresses = ["json://secret"]\nsleeps = "22:00-07:00"\n', "sleeping"),
        ('[[person]]\nname = "Ada"\naddresses = ["json://secret"]\nsleeping = "22-7"\n', "times of the day"),
        ('[[person]]\nname = "Ada"\naddresses = ["json://secret"]\npriorities = ["urgent"]\n', "high"),
        ('[[person]]\nname = "Ada"\naddresses = ["json://secret"]\ncircuits = ["D9"]\n', "circuits of the schedule"),
        ('[[person]]\nname = "Ada"\naddresses = ["json://secret"]\npriorities = ["low"]\n', "somebody who hears high"),
        ('[[person]]\nname = "Ada"\naddresses = ["json://secret"]\nafter_s = 60\n', "told at once"),
        ('[[person]]\nname = "A"\naddresses = ["json://secret"]\n' * 2, "name of its own"),
        ('evening = "25:00"\n', "a time of the day"),
        ('weekly = "Monday"\n', "Mon"),
        ('[person]\nname = "Ada"\n', "two brackets"),
        ("person = [", "TOML"),
    ],
)
def test_what_cannot_be_is_named_and_no_address_shown(tmp_path: Path, text: str, wanted: str) -> None:
    with pytest.raises(ScheduleError) as caught:
        load_people(written(tmp_path, text), ["D1"])
    assert wanted in str(caught.value)
    assert "secret" not in str(caught.value)
