"""`panelward replaced` on a real broker: what was learned goes, the rest stays; over a restart, in the journal, rehearsed."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from brokers import wait_for
from houses import House
from panelward.journal import Journal
from panelward.records import Profiled, ProfiledLevel, Settings
from panelward.schedule.profile import Book, parsed, path_of, save_profile

LEARNED = (
    Profiled(circuit="D8", levels=(ProfiledLevel(name="full", watts=13.0, tolerance=0.05),)),
    Profiled(circuit="D1", standby_max_w=2.0),
)


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = House(tmp_path)
    text = made.schedule.read_text().replace(
        'kind = "fan"\n', 'kind = "fan"\nlevels = [ { name = "full", watts = 13, tolerance = 0.3 } ]\n'
    )
    made.schedule.write_text(text)
    book = Book("test-van").with_version(1_700_000_000_000, "Ada Fitter", "", LEARNED)
    save_profile(path_of(made.schedule), book)
    made.broker.start()
    yield made
    made.end()


def in_force(house: House) -> list[tuple[float, float | None]]:
    """What the daemon's settings said of the fan's level and the freezer's standby, one after the other."""
    journal = Journal.read(house.journal)
    try:
        found = [item for _, item in journal.inputs_after(0, lambda text: parsed(text, "the journal"))]
    finally:
        journal.close()
    schedules = [item.schedule for item in found if isinstance(item, Settings)]
    return [(s.circuit("D8").loads[0].levels[0].tolerance, s.circuit("D1").loads[0].standby_max_w) for s in schedules]


def known(house: House) -> list[dict[str, Any]]:
    journal = Journal.read(house.journal)
    try:
        return journal.replacements()
    finally:
        journal.close()


def doings(house: House) -> list[dict[str, Any]]:
    journal = Journal.read(house.journal)
    try:
        return journal.doings()
    finally:
        journal.close()


def test_what_was_learned_of_the_old_load_goes_and_the_rest_stays(house: House) -> None:
    house.start()
    assert wait_for(house.connected), house.said()
    schedule = ("--schedule", str(house.schedule))
    with house.living(D1=4.0, D7=5.0, D8=1.0):
        for arguments, said in (
            (("D99", "--who", "Kari"), "the schedule has no circuit 'D99'"),
            (("D8", "--who", " "), "a replacement needs who says so"),
        ):
            refused = house.run("replaced", *arguments, *schedule)
            assert (refused.returncode, said in refused.stderr) == (2, True), refused.stderr
        assert (known(house), in_force(house)) == ([], [(0.05, 2.0)])
        done = house.run("replaced", "D8", "fan", "--who", "Kari", *schedule)
        assert done.returncode == 0, done.stderr
        assert done.stdout.startswith("Noted by Kari: the load of D8 was replaced.\n")
        assert max(map(len, done.stdout.splitlines())) <= 80
        assert in_force(house) == [(0.05, 2.0), (0.3, 2.0)]
        (fan,) = known(house)
        assert {name: fan[name] for name in ("circuit", "part", "what", "who")} == {
            "circuit": "D8", "part": "load", "what": "fan", "who": "Kari",
        }  # fmt: skip
        fuse = house.run("replaced", "D1", "Fuse", "--who", "Kari", *schedule, "--json")
        assert json.loads(fuse.stdout)["state"] == "device"
        assert house.run("presence", "laid-up", "--who", "Kari", *schedule, journal=False).returncode == 0
        assert [(each["laid_up"], each["aboard"]) for each in doings(house)] == [(True, False)]  # journalled before it answers
    house.kill()
    house.log.unlink()
    house.start()
    assert wait_for(house.connected), house.said()
    assert in_force(house) == [(0.05, 2.0), (0.3, 2.0), (0.3, 2.0)]  # what stands in the file is still of the old fan
    assert [(each["circuit"], each["part"]) for each in known(house)] == [("D8", "load"), ("D1", "device")]
    listed = house.run("replaced", "--list", *schedule)
    assert "D8: load (fan), by Kari" in listed.stdout
    assert "D1: device (Fuse), by Kari" in listed.stdout


def test_its_alarm_is_withdrawn_and_the_journal_rehearsed_says_the_same(house: House) -> None:
    """A fan at nearly twice its level; it is replaced by one that is listed at what the old one drew."""
    house.start()
    assert wait_for(house.connected), house.said()
    schedule = ("--schedule", str(house.schedule))

    def of_fan() -> list[tuple[str, str]]:
        return [(t["kind"], t["event"]) for t in house.transitions() if t.get("circuit") == "D8"]

    with house.living(D1=4.0, D7=5.0, D8=1.9):
        assert wait_for(lambda: ("off-profile", "begins") in of_fan(), 60), house.said()
        done = house.run("replaced", "D8", "--who", "Kari", *schedule)
        assert done.returncode == 0, done.stderr
        assert wait_for(lambda: of_fan()[:2] == [("off-profile", "begins"), ("off-profile", "withdrawn")]), of_fan()
    house.live(20, D1=4.0, D7=5.0, D8=1.0)
    assert house.stop_daemon() == 0
    again = house.run("rehearse", "--all", "--json")
    assert again.returncode == 0, again.stderr
    relived = [json.loads(line) for line in again.stdout.splitlines()]
    assert [(t["kind"], t["event"]) for t in relived if t.get("circuit") == "D8"] == of_fan()
    assert relived == house.transitions()[: len(relived)]
