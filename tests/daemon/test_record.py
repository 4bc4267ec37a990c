"""The commissioning record beside the schedule: read at the start, journalled with the settings, never in the way."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

from brokers import wait_for
from houses import SCHEDULE, House
from panelward import __version__, sealed
from panelward.core import Core
from panelward.journal import Journal
from panelward.records import Commissioned, Measured, Record, Settings
from panelward.schedule import parse

FAN = Commissioned(
    circuit="D8", levels=(Measured(name="full", watts=35.0, low_w=34.0, high_w=36.0, sd_w=0.4, readings=20),), as_left_a=5.0
)
RECORD = Record(vehicle="test-van", version=0, made_ms=1_777_640_000_000, who="Kari", instrument="clamp 3", circuits=(FAN,))


def settings_of(house: House) -> list[Settings]:
    journal = Journal.read(house.journal)
    try:
        found = [item for _, item in journal.inputs_after(0, lambda text: parse(text, "the journal"))]
    finally:
        journal.close()
    return [item for item in found if isinstance(item, Settings)]


def test_it_is_journalled_so_that_a_replay_reads_the_same(tmp_path: Path) -> None:
    house = House(tmp_path)
    try:
        house.broker.start()
        path = sealed.path_of(str(house.schedule))
        sealed.write(path, sealed.append((), RECORD))
        house.start()
        assert wait_for(house.connected)
        assert house.stop_daemon() == 0
        versions = sealed.append(sealed.load(path), RECORD)
        sealed.write(path, versions)
        house.start()  # over a snapshot that has the first
        assert wait_for(lambda: house.said().count("broker: connected") == 2)
        assert house.stop_daemon() == 0
        first, second = settings_of(house)
    finally:
        house.end()
    assert first.record == versions[0]
    assert second.record == versions[1]
    assert json.loads(second.record_text)["seal"] == versions[1].seal


def test_one_that_was_changed_is_said_and_the_watch_goes_on_without_it(tmp_path: Path) -> None:
    house = House(tmp_path)
    try:
        house.broker.start()
        path = sealed.path_of(str(house.schedule))
        sealed.write(path, sealed.append((), RECORD))
        path.write_text(path.read_text().replace("35.0", "55.0"))
        house.start()
        assert wait_for(house.connected)
        assert "the commissioning record can't be used, watching without it" in house.said()
        assert "changed after Kari sealed it" in house.said()
        assert house.stop_daemon() == 0
        (only,) = settings_of(house)
        assert only.program == __version__, "for whoever asks later what watched"
    finally:
        house.end()
    assert only.record is None
    assert only.record_text == ""


def test_the_core_keeps_it_over_a_restore(tmp_path: Path) -> None:
    schedule = parse((Path(__file__).parents[2] / "config" / "minimal.toml").read_text(), "minimal.toml")
    core, again = Core(), Core()
    core.feed(Settings(received_ms=1_000, schedule=schedule, record=RECORD, started=True))
    again.restore(json.loads(json.dumps(core.save())), schedule, silence_from_start=False, record=core.record)
    assert again.record == RECORD


def test_what_was_measured_on_another_channel_is_not_judged_by() -> None:
    """Its labels were swapped when it was commissioned: until it is redone the record says nothing of this channel."""
    text = SCHEDULE.format(port=1883, broker="")
    schedule = parse(text, "schedule.toml")
    for fan, used in ((FAN, FAN), (replace(FAN, seen_on="D7"), None)):
        core = Core()
        core.feed(Settings(received_ms=1_000, schedule=schedule, record=replace(RECORD, circuits=(fan,)), started=True))
        assert core.watch is not None
        assert core.watch._commissioned(schedule.circuit("D8")) == used
