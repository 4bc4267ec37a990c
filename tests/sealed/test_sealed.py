"""The commissioning record as a file: sealed, versioned, whole or not at all, refused when a byte has changed."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path

import pytest

from panelward import sealed
from panelward.errors import EnvironmentFault, RecordError
from panelward.journal import spelling
from panelward.records import Checked, Commissioned, Measured, Record, Schedule, Settings, Vehicle

FULL = Measured(name="full", watts=35.04, low_w=34.1, high_w=36.0, sd_w=0.41, readings=22)
FAN = Commissioned(circuit="D8", exponent=2.43, levels=(FULL,), as_found_a=5.0, as_left_a=5.0)
DRILL = Commissioned(circuit="D12", skipped="no bit at hand")
RECORD = Record(
    vehicle="survey-van", version=0, made_ms=1_777_640_000_000, who="Kari Øvrebø", instrument="clamp 3", ambient_c=12.5,
    circuits=(FAN, DRILL), monitors=(Checked(monitor="dc-panel", period_s=2.0),), differs=("A difference.",),
)  # fmt: skip


def twice(path: Path) -> tuple[Record, ...]:
    first = sealed.append((), RECORD)
    sealed.write(path, first)
    second = sealed.append(sealed.load(path), replace(RECORD, who="Per"))
    sealed.write(path, second)
    return second


def test_it_lies_beside_its_schedule() -> None:
    assert sealed.path_of("/etc/panelward/schedule.toml") == Path("/etc/panelward/schedule.record.json")


def test_a_new_run_is_a_new_version_and_the_old_one_stays(tmp_path: Path) -> None:
    path = tmp_path / "van.record.json"
    written = twice(path)
    read = sealed.load(path, "survey-van")
    assert read == written
    assert [(r.version, r.who) for r in read] == [(1, "Kari Øvrebø"), (2, "Per")]
    assert read[1].previous == read[0].seal
    assert read[0].circuit("D8") == FAN
    assert read[0].circuit("D9") is None


def test_every_changed_byte_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "van.record.json"
    twice(path)
    content = path.read_bytes()
    for at in range(len(content)):
        for other in (content[at] ^ 1, 0x20):
            if other != content[at]:
                path.write_bytes(content[:at] + bytes((other,)) + content[at + 1 :])
                with pytest.raises(RecordError):
                    sealed.load(path, "survey-van")
    path.write_bytes(content[:-1])
    with pytest.raises(RecordError):
        sealed.load(path)
    path.write_bytes(content)
    assert len(sealed.load(path)) == 2  # the innocent twin


def test_it_says_what_was_changed_and_what_to_do(tmp_path: Path) -> None:
    path = tmp_path / "van.record.json"
    twice(path)
    path.write_text(path.read_text(encoding="utf-8").replace("35.04", "45.04", 1), encoding="utf-8")
    with pytest.raises(RecordError, match=r"version 1: .* found a text that was changed after Kari"):
        sealed.load(path)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "JSON as it was written"),
        ("[]", "an object with format"),
        ('{"format": 2, "vehicle": "v", "versions": []}', "format: wanted 1; found 2"),
        ('{"format": 1, "vehicle": "v", "versions": []}', "at least one"),
        ('{"format": 1, "vehicle": "v", "versions": [3]}', "version 1: wanted an object"),
        ('{"format": 1, "vehicle": "v", "versions": [{"who": NaN}]}', "NaN is no number"),
        ("[" * 100_000, "JSON as it was written"),
    ],
)
def test_what_is_no_record_is_refused(text: str, said: str) -> None:
    with pytest.raises(RecordError, match=said):
        sealed.read(text, "x.json")


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("version", "one", "version: wanted a whole number"),
        ("ambient_c", "warm", "ambient_c: wanted a number"),
        ("who", 5, "who: wanted a text"),
        ("circuits", [{"levels": []}], "the key circuit"),
        ("circuits", [{"circuit": "D1", "levels": [{"name": 1}]}], "circuits 1: levels 1: name: wanted a text"),
        ("colour", "red", "keys that this program knows; found 'colour'"),
    ],
)
def test_a_sealed_text_of_the_wrong_shape_names_the_place(key: str, value: object, said: str) -> None:
    """Sealed by somebody else's program: the hash fits, the content does not."""
    body = json.loads(sealed.text_of(sealed.append((), RECORD)[0])) | {key: value}
    body["seal"] = sealed._hash(body)
    with pytest.raises(RecordError, match=said):
        sealed.parse(json.dumps(body))


def test_another_vehicles_record_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "van.record.json"
    twice(path)
    with pytest.raises(RecordError, match="wanted the record of other-van; found that of survey-van"):
        sealed.load(path, "other-van")


def test_a_version_that_was_cut_out_is_missed(tmp_path: Path) -> None:
    path = tmp_path / "van.record.json"
    written = twice(path)
    with pytest.raises(RecordError, match="version 1 after the one before it"):
        sealed.read(sealed.render(written[1:]), "x.json")


def test_nothing_is_half_written(tmp_path: Path) -> None:
    path = tmp_path / "van.record.json"
    sealed.write(path, sealed.append((), RECORD))
    before = path.read_bytes()
    os.mkdir(tmp_path / "van.record.json.new")  # the new text finds no place
    with pytest.raises(EnvironmentFault, match="can't be written"):
        sealed.write(path, sealed.append(sealed.load(path), RECORD))
    assert path.read_bytes() == before


def test_settings_are_journalled_with_the_record_they_had() -> None:
    record = sealed.append((), RECORD)[0]
    schedule = Schedule(vehicle=Vehicle(name="Survey van", id="survey-van"))
    item = Settings(received_ms=5, schedule=schedule, record=record, record_text=sealed.text_of(record))
    kind, body = spelling.spell(item)
    assert spelling.read(kind, body, lambda _: schedule) == item
    bare = Settings(received_ms=5, schedule=schedule)
    assert spelling.read(*spelling.spell(bare), lambda _: schedule) == bare


def test_a_record_made_before_a_key_was_added_keeps_its_seal() -> None:
    """What stands at its default is not in the text: so a new key changes no old hash."""
    assert "zero_a" not in sealed.text_of(sealed.append((), RECORD)[0])
