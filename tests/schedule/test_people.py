"""people.toml: read, or refused with every fault; an address is never shown."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from houses import SCHEDULE
from panelward.commands import main
from panelward.errors import ScheduleError
from panelward.notify.whom import Told, plan
from panelward.records.people import People, Person
from panelward.schedule.people import load_people, unheard

KARI = '[[person]]\nname = "Kari"\naddresses = ["json://secret/1"'
OLA = '[[person]]\nname = "Ola"\naddresses = ["json://secret/3"]\n'
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
        (f'{KARI}, "json://secret/2"]\n{OLA.replace("Ola", "Kari 2")}', "an address of Kari"),
        (f'{OLA.replace("Ola", "Kari 2")}{KARI}, "json://secret/2"]\n', "an address of Kari 2"),
        (f"{KARI}]\n{OLA.replace('Ola', 'kari ')}", "an address of Kari"),
        (OLA.replace("Ola", "notify-1"), "an address of PANELWARD_NOTIFY"),
        (f'{KARI}]\ncircuits = ["D1"]\n', "hears high alarms; found nobody for D6"),
        (f'{KARI}]\ncircuits = ["D1"]\n{OLA}after_s = 900000\n', "told at once; found nobody for D6"),
        (f'{KARI}]\ncircuits = ["D1"]\n{OLA}priorities = ["medium"]\n', "hears high alarms; found nobody for D6"),
        ('evening = "25:00"\n', "a time of the day"),
        ('weekly = "Monday"\n', "Mon"),
        ('[person]\nname = "Ada"\n', "two brackets"),
        ("person = [", "TOML"),
    ],
)
def test_what_cannot_be_is_named_and_no_address_shown(tmp_path: Path, text: str, wanted: str) -> None:
    with pytest.raises(ScheduleError) as caught:
        load_people(written(tmp_path, text), ["D1", "D6"])
    assert wanted in str(caught.value)
    assert "secret" not in str(caught.value)


@pytest.mark.parametrize(
    "text",
    [
        f'{KARI}, "json://secret/2"]\n{OLA.replace("Ola", "Kari 3")}',
        f'{KARI}, "json://secret/1"]\n{OLA.replace("Ola", "Kari 2")}',  # the same address twice is one
        f'{KARI}]\ncircuits = ["D1"]\n{OLA}circuits = ["D6"]\n',
        f'{KARI}]\ncircuits = ["D1"]\nafter_s = 60\n{OLA}',
        OLA.replace("Ola", "Kari #2/+"),
    ],
)
def test_what_looks_like_it_and_reaches_somebody_is_taken(tmp_path: Path, text: str) -> None:
    people, addresses = load_people(written(tmp_path, text), ["D1", "D6"])
    assert sorted(addresses) == sorted(ref for each in people.persons for ref in each.refs)


@pytest.mark.parametrize("keys", ['circuits = ["D1"]', "after_s = 60", 'priorities = ["low"]'])
def test_where_others_hear_everything_anyway_nobody_here_must(tmp_path: Path, keys: str) -> None:
    path = written(tmp_path, f"{KARI}]\n{keys}\n")
    with pytest.raises(ScheduleError):
        load_people(path, ["D1", "D6"])
    assert load_people(path, ["D1", "D6"], others=True)[1] == {"Kari": "json://secret/1"}


@given(data=st.data())
def test_whom_it_takes_hear_a_high_alarm_of_any_circuit_at_once(data: st.DataObject) -> None:
    """The law behind it, by what is really sent."""
    circuits = ("D1", "D6", "D7")
    person = st.builds(
        Person,
        name=st.just("x"),
        refs=st.just(("x",)),
        priorities=st.sampled_from([("high",), ("high", "low"), ("medium",)]),
        circuits=st.lists(st.sampled_from(circuits), max_size=3, unique=True).map(tuple),
        sleeping=st.sampled_from([None, (0, 1440)]),
        after_s=st.sampled_from([0.0, 60.0]),
    )
    people = People(persons=tuple(data.draw(st.lists(person, min_size=1, max_size=4))))
    local = datetime(2026, 11, 26, 3, 0, tzinfo=UTC)
    heard = all(
        any(errand.after_s == 0.0 for errand in plan(told(about), people, local).errands)
        for about in [()] + [(circuit,) for circuit in circuits]
    )
    assert (not unheard(people, circuits)) is heard


def told(about: tuple[str, ...]) -> Told:
    return Told(priority="high", event="begins", over=False, circuits=about, urgent=False)


# By `panelward check`.


@pytest.mark.parametrize(
    ("text", "code", "said"),
    [
        (f"{KARI}]\n", None, ""),
        (f'{KARI}]\ncircuits = ["D1"]\n', 1, "nobody for D7, D8"),
        ('weekly = "never"\n', 1, "somebody who is told"),
        (f'{KARI}]\ncircuits = ["D9"]\n', 2, "circuits of the schedule"),
        (f"{KARI}]\nsleeps = 1\n", 2, "a known key"),
    ],
)
def test_check_vets_it_with_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, code: int | None, said: str
) -> None:
    schedule = tmp_path / "schedule.toml"
    schedule.write_text(SCHEDULE.format(port=1883, broker=""), encoding="utf-8")
    alone = main(["check", "--schedule", str(schedule)])
    capsys.readouterr()
    found = main(["check", "--schedule", str(schedule), "--people", str(written(tmp_path, text))])
    out = capsys.readouterr()
    assert found == (alone if code is None else code)
    shown = " ".join((out.out + out.err).split())
    assert said in shown
    assert ("people.toml" in shown) is (code is not None)
    assert "secret" not in shown


@pytest.mark.parametrize(("there", "code"), [(False, 2), (True, 3)])
def test_check_says_whose_fault_it_is_that_it_cannot_be_read(tmp_path: Path, there: bool, code: int) -> None:
    """A name that was mistyped is the asker's; a file that this user may not read (here: a folder) is the computer's."""
    schedule, people = tmp_path / "schedule.toml", tmp_path / "people.toml"
    schedule.write_text(SCHEDULE.format(port=1883, broker=""), encoding="utf-8")
    if there:
        people.mkdir(mode=0o700)
    assert main(["check", "--schedule", str(schedule), "--people", str(people)]) == code
