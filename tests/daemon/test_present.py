"""The row that `now` and the door read: what it says of people, charge, clock, and what it costs."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from panelward.core import Core
from panelward.daemon.present import present
from panelward.journal import Journal
from panelward.journal.past import pack_present
from panelward.records import Probe, Reading, Settings, Transition
from panelward.records.people import People, Person
from panelward.schedule import load
from panelward.wording.beside import known
from plans import FREEZER, METER, PLAN, T0, circuit, plan

KARI = Person(name="Kari", refs=("Kari 1", "Kari 2"), sleeping=(1320, 420))
OLA = Person(name="Ola", refs=("Ola",), priorities=("high",), circuits=("D1", "D6"), after_s=900.0)
CREW = People(persons=(KARI, OLA), evening_min=1080, weekly_day=0)
COLD = Probe(id="T3", where="load:D1", monitor="dc")


def fed(*readings: Reading, schedule: Any = PLAN) -> Core:
    core = Core()
    core.feed(Settings(received_ms=T0, schedule=schedule))
    for reading in readings:
        core.feed(reading)
    return core


def row(core: Core, **keys: Any) -> dict[str, Any]:
    made: dict[str, Any] = json.loads(json.dumps(present(core, real_s=1.0, rate=1.0, connected=True, refused=0, **keys)))
    return made


def at(ms: int, circuit_id: str, **keys: Any) -> Reading:
    return Reading(circuit=circuit_id, time_ms=T0 + ms, received_ms=T0 + ms, **keys)


def full_and_drawn(hours: float) -> list[Reading]:
    """An iron-phosphate bank absorbs at 14.2 V with hardly any current left, then gives 20 A."""
    rows = [at(n * 10_000, "SH", volts=14.2, amps=-1.0) for n in range(60)]
    return rows + [at(600_000 + n * 10_000, "SH", volts=13.1, amps=20.0) for n in range(round(hours * 360) + 1)]


def test_people_are_told_of_without_an_address(tmp_path: Path) -> None:
    people = row(fed(), people=CREW)["people"]
    assert people == {
        "evening_min": 1080,
        "weekly_day": 0,
        "persons": [
            {"name": "Kari", "priorities": ["high", "medium", "low"], "circuits": [], "sleeping": [1320, 420], "after_s": 0.0,
             "at_once": False, "addresses": 2},
            {"name": "Ola", "priorities": ["high"], "circuits": ["D1", "D6"], "sleeping": None, "after_s": 900.0,
             "at_once": False, "addresses": 1},
        ],
    }  # fmt: skip
    assert row(fed())["people"] == {"evening_min": 1080, "weekly_day": None, "persons": []}
    # Through the file, as a reader has it.
    journal = Journal.open(tmp_path / "j.sqlite")
    journal.set_present(row(fed(), people=CREW))
    assert (journal.present() or {})["people"] == people
    journal.close()


def test_charge_is_told_where_it_is_counted_and_null_where_not() -> None:
    drawn = row(fed(*full_and_drawn(2.0)))["charge"]
    assert [each["supply"] for each in drawn] == ["house"]
    assert drawn[0]["left"] == pytest.approx(0.8, abs=0.005)  # 40 of 200 Ah
    assert 0.0 < drawn[0]["error"] < 0.02
    assert T0 + 540_000 <= drawn[0]["full_ms"] <= T0 + 660_000
    assert drawn[0]["heard_ms"] == T0 + 600_000 + 7_200_000
    never = row(fed(*(at(n * 10_000, "SH", volts=13.2, amps=4.0) for n in range(360))))["charge"]
    assert (never[0]["left"], never[0]["error"], never[0]["full_ms"]) == (None, None, None)
    bare = replace(PLAN, supplies=(replace(PLAN.supplies[0], battery=None),))
    assert row(fed(schedule=bare))["charge"] == []


def test_it_says_what_it_watches_with_how_new_it_is_and_whether_the_clock_is_set() -> None:
    text = '[vehicle]\nname = "Ø"\n'
    found = row(fed(at(4_000, "D1", amps=4.0, volts=13.0), at(5_000, "D6", amps=0.1)), schedule_text=text, clock_trusted=False)
    assert found["schedule_hash"] == hashlib.sha256(text.encode()).hexdigest()[:12]
    assert row(fed(), schedule_text=text + "#")["schedule_hash"] != found["schedule_hash"]
    assert found["readings"] == {"newest_ms": T0 + 5_000}
    assert row(fed())["readings"] == {"newest_ms": None}
    assert found["clock"] == {"trusted": False, "simulated": False}
    assert found["journal"]["readings_days"] < found["journal"]["told_days"]


def told(subject: str, name: str, **keys: Any) -> Transition:
    base: dict[str, Any] = {
        "id": "a", "sequence": 1, "at_ms": T0, "since_ms": T0, "subject": subject, "subject_id": name, "group": "dead",
        "kind": "feed-lost", "event": "begins", "state": "unacknowledged", "priority": "high",
        "was": None, "latched": False, "cause": None, "candidates": (), "confidence": None, "circuits": (), "figures": (),
        "evidence": (), "told": True,
    }  # fmt: skip
    return Transition(**(base | keys))


def test_a_message_may_say_how_warm_it_is_inside_and_what_the_bank_holds() -> None:
    schedule = plan(METER, FREEZER, circuit("D9", "Inverter", "inverter"), circuit("A1", "Outlet", supply="ac"))
    inverter = replace(
        PLAN.supplies[0], id="ac", kind="ac", nominal_v=230.0, battery=None, cutoff_v=None, meter=None, fed_by="D9"
    )
    schedule = replace(schedule, supplies=(*PLAN.supplies, inverter), probes=(COLD,))
    core = fed(*full_and_drawn(2.0), at(7_800_000, "T3", celsius=-14.5), schedule=schedule)
    for subject, name, inside in (
        ("circuit", "D1", -14.5),
        ("circuit", "A1", None),
        ("supply", "house", None),
        ("supply", "ac", None),
        ("feeder", "rear", None),
    ):
        found = known(core, told(subject, name))
        assert found.inside_c == inside
        assert found.charge == pytest.approx(0.8, abs=0.005)
    for subject, name in (("broker", "broker"), ("monitor", "dc"), ("circuit", "gone")):
        assert known(core, told(subject, name)).charge is None
    # A probe that spoke long ago says nothing of now, and nor does the count.
    core.feed(at(7_800_000 + 3_700_000, "D1", amps=4.0))
    assert known(core, told("circuit", "D1")) == (None, None, 0.0)


def test_the_row_stays_on_two_pages() -> None:
    """Of 1 KiB: 989 bytes on one, beyond that 1020 on another (sqlite.org/fileformat2.html, 1.6); a commit writes them all."""
    ways = [circuit(f"D{n}", f"Circuit of sample {n}") for n in range(1, 24)]
    readings = [
        at(n * 1000 + step * 60_000, way.id, volts=12.8 + n / 97, amps=n / 7.3, watts=n * 1.7637)
        for step in range(3) for n, way in enumerate([METER, *ways])
    ]  # fmt: skip
    core = fed(*readings, schedule=plan(METER, *ways))
    crew = replace(CREW, persons=tuple(replace(KARI, name=f"Person {n}", refs=(f"p{n}",)) for n in range(5)))
    after = json.dumps(present(core, real_s=1.777e9 + 0.123, rate=1.0, connected=True, refused=0, people=crew))
    new = ("people", "charge", "schedule_hash", "readings", "journal", "clock")
    before = json.dumps({key: value for key, value in json.loads(after).items() if key not in new})
    sizes = len(pack_present(before)), len(pack_present(after))
    print(f"\n24 circuits, 5 people: {sizes[0]} bytes before, {sizes[1]} after")
    assert sizes[1] <= 989 + 1020


def test_its_hash_is_that_of_the_text_that_load_gives() -> None:
    schedule, text = load(Path(__file__).parents[2] / "config" / "survey-van.toml")
    wanted = hashlib.sha256((Path(__file__).parents[2] / "config" / "survey-van.toml").read_bytes()).hexdigest()[:12]
    assert row(fed(schedule=schedule), schedule_text=text)["schedule_hash"] == wanted
