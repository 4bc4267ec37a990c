"""The warranty view: the hours around an alarm out of a journal, against the readings that were fed."""

from __future__ import annotations

import dataclasses
import json
import re
from html import unescape
from pathlib import Path

import pytest

from panelward.commands import main
from panelward.errors import BadInput
from panelward.journal import Journal
from panelward.review import hour_page
from panelward.review.hour import Hour, hour
from panelward.schedule import load
from panelward.schedule.profile import written
from review import hours
from review.sheets import VAN
from review.test_page import Tables

PLAN = load(VAN)[0]


def asked(made: hours.Made, alarm_id: str | None = None) -> Hour:
    journal = Journal.read(made.path)
    try:
        return hour(
            journal, PLAN, alarm_id or made.alarm_id, parse=lambda text: written(text, "the journal"), made_ms=hours.T0,
            made_by="0.1.0",
        )  # fmt: skip
    finally:
        journal.close()


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> hours.Made:
    return hours.made(tmp_path_factory.mktemp("hours"))


@pytest.fixture(scope="module")
def found(made: hours.Made) -> Hour:
    return asked(made)


@pytest.fixture(scope="module")
def page(found: Hour) -> str:
    return hour_page.html(found)


def test_it_spans_two_hours_before_and_one_after(found: Hour, made: hours.Made) -> None:
    assert abs(found.since_ms - made.opened_ms) <= 5000
    assert (found.since_ms - found.from_ms, found.to_ms - found.since_ms) == (7_200_000, 3_600_000)
    assert found.ways == ("D7",)
    assert found.kind == "protection-opened"


def test_the_minutes_are_those_of_the_readings_that_were_fed(found: Hour) -> None:
    fed = [each for each in hours.readings() if each.circuit == "D7" and found.from_ms <= each.time_ms < found.to_ms]
    series = next(each for each in found.series if each.way == "D7")
    assert sum(minute.readings for minute in series.minutes) == len(fed)
    for minute in series.minutes[::17]:
        mine = [each.amps for each in fed if minute.at_ms <= each.time_ms < minute.at_ms + 60_000]
        assert minute.amps == pytest.approx(sum(mine) / len(mine), abs=1e-4)
        assert minute.most_a == pytest.approx(max(mine))


def test_a_dip_that_a_mean_hides_is_shown(made: hours.Made, tmp_path: Path) -> None:
    """One reading of a minute is low: the mean hides it; the table, the drawing and the readings around it don't."""
    again = hours.made(tmp_path, dip_v=9.5)
    found = asked(again)
    series = next(each for each in found.series if each.way == "D7")
    minute = next(each for each in series.minutes if each.at_ms <= found.since_ms < each.at_ms + 60_000)
    assert (minute.least_v, minute.volts) == (9.5, pytest.approx(12.9, abs=0.5))
    page = hour_page.html(found)
    tables = Tables(page).found
    (by_minute,) = (rows for name, rows in tables.items() if "D7, lowest V" in rows[0])
    at = by_minute[0].index("D7, lowest V")
    assert "9.50" in [row[at] for row in by_minute[1:]]
    (single,) = (rows for name, rows in tables.items() if "D7, V" in rows[0])
    assert single[0][2:] == ["D7, A", "D7, V", "SH, A", "SH, V"]
    assert "9.50" in [row[3] for row in single[1:]]
    assert "volts, read at D7: 9.5 to" in page


def test_single_readings_of_one_minute_around_the_beginning(found: Hour) -> None:
    around = [
        each
        for each in hours.readings()
        if each.circuit in ("D7", "SH") and abs(each.time_ms - 1500 - found.since_ms) <= 60_000
    ]
    assert sorted((each.at_ms, each.way, each.amps, each.volts) for each in found.singles) == sorted(
        (each.time_ms - 1500, each.circuit, each.amps, each.volts) for each in around
    )


def test_how_short_a_thing_may_be_missed_is_by_how_often_it_was_read(found: Hour) -> None:
    """Every 5 s, where the schedule says 2 s."""
    (said,) = (line for line in found.cannot_show if "between two readings" in line)
    assert said == "D7: what lasts less than 5 s may lie between two readings: so it was read; the schedule says 2 s."


def test_a_gap_is_no_zero(found: Hour) -> None:
    series = next(each for each in found.series if each.way == "D7")
    gap_ms = hours.T0 + 7_350_000
    assert not [minute for minute in series.minutes if minute.at_ms <= gap_ms < minute.at_ms + 60_000]
    assert len(series.minutes) in (175, 176)
    assert any("nothing was read" in line for line in found.cannot_show)


def test_causes_kept_and_rejected_with_what_speaks_for_and_against(found: Hour) -> None:
    by_name = {cause.name: cause for cause in found.causes}
    assert by_name["device-opened"].verdict == "named"
    assert by_name["switched-off"].verdict == "rejected"
    assert by_name["switched-off"].speaks_against
    assert all(weight > 0 for cause in found.causes for _, weight in cause.speaks_for)
    assert all(weight < 0 for cause in found.causes for _, weight in cause.speaks_against)
    weights = sum(len(re.findall(r"[+-]\d+\.\d[,)]", line)) for line in found.evidence)
    assert weights == sum(len(cause.speaks_for) + len(cause.speaks_against) for cause in found.causes)


def test_what_was_in_force(found: Hour) -> None:
    held = found.held
    assert held.program == "0.1.0"
    assert held.clock_set is True
    assert [round(by_s, 1) for _, by_s in held.clock_sets] == [-1.5]
    assert held.record_version == 1
    (way,) = held.ways
    assert (way.fitted_a, way.on_record_a, way.word) == (15.0, 10.0, "fuse")
    assert found.remarks == ("D7: the fuse fitted is not the one on the record: fitted 15 A, on the record 10 A.",)


def test_a_record_of_another_schedule_is_remarked(tmp_path: Path) -> None:
    made = hours.made(tmp_path, as_left_a=15.0, measured_by="another text")
    assert asked(made).remarks == ("The record was made by another schedule than the one in force.",)


def test_the_same_fuse_as_on_the_record_is_no_remark(tmp_path: Path) -> None:
    assert asked(hours.made(tmp_path, as_left_a=15.0)).remarks == ()


def test_a_journal_of_before_the_program_was_written_down(tmp_path: Path) -> None:
    found = asked(hours.made(tmp_path, program=""))
    assert found.held.program is None
    assert "its version was not written down" in hour_page.html(found)


def test_messages_and_answers_with_their_times(found: Hour) -> None:
    (message,) = found.messages
    assert message.status == "handed-over"
    assert message.handed_over_ms is not None
    assert message.handed_over_ms - message.composed_ms == 3000  # as `hours` settled it
    assert [step.event for step in found.steps] == ["begins", "acknowledge"]
    assert abs(found.steps[1].at_ms - (hours.T0 + hours.ANSWERED_S * 1000)) <= 6500
    assert [(deed.what, deed.of) for deed in found.deeds] == [("monitor came", ""), ("acknowledge", "this alarm")]


def test_who_answered_is_not_in_why_a_message_was_not_sent(made: hours.Made, tmp_path: Path) -> None:
    journal = Journal.open(hours.made(tmp_path).path)
    row = journal.outbox_rows()[-1]
    journal.settle(row.id, "expired", f"answered: acknowledge by {hours.WHO}", now_s=row.created_real_s)
    journal.close()
    again = asked(hours.Made(tmp_path / "journal.sqlite", row.alarm_id, made.opened_ms))
    assert [(each.status, each.why) for each in again.messages] == [("expired", "answered")]


def test_siblings_before_and_after(found: Hour) -> None:
    fan = next(each for each in found.beside if each.way == "D8")
    assert fan.same_feeder
    assert fan.before_a == pytest.approx(1.5)
    assert fan.after_a == pytest.approx(1.5)
    freezer = next(each for each in found.beside if each.way == "D1")
    assert not freezer.same_feeder
    assert next(each for each in found.beside if each.way == "D2").before_a is None


def test_no_place_and_nobodys_name(page: str, found: Hour) -> None:
    spelled = json.dumps(dataclasses.asdict(found), ensure_ascii=False)
    for text in (page, spelled):
        for private in (hours.ADDRESS, hours.WHO, "Oslo", PLAN.vehicle.timezone, "01632", "1632 960123"):
            assert private not in text
    assert "+02:00" in page


def test_both_times_stand_on_every_row(page: str) -> None:
    tables = Tables(page).found
    timed = {name: rows for name, rows in tables.items() if "Local (+02:00)" in rows[0]}
    assert len(timed) == 4
    for rows in timed.values():
        for row in rows[1:]:
            local, utc = (int(cell[-8:-6]) for cell in row[:2])
            assert (local - utc) % 24 == 2


def test_what_it_can_not_show_comes_first(page: str) -> None:
    heads = [unescape(head) for head in re.findall(r"<h2[^>]*>(.*?)</h2>", page)]
    assert heads[:2] == ["What the data can't show", "What was weighed"]
    assert heads[-1] == "Minute by minute"


def test_neutral_words(page: str) -> None:
    words = set(re.findall(r"[a-z]+", re.sub(r"<style.*?</style>|<[^>]+>", " ", page, flags=re.S).casefold()))
    assert not words & {"fault", "blame", "wrongly", "misuse", "tampered", "illegal", "should", "failed", "negligent", "safe"}


def test_an_alarm_that_the_journal_does_not_know(made: hours.Made) -> None:
    with pytest.raises(BadInput, match="alarms --last 20"):
        asked(made, "nothing-1")
    with pytest.raises(BadInput, match=rf"of D7 it has {made.alarm_id}"):
        asked(made, "D7-dead")


def test_an_alarm_without_a_way_of_its_own(tmp_path: Path) -> None:
    """A drill: of no circuit, so nothing is read of it, and nothing is claimed."""
    made = hours.made(tmp_path)
    journal = Journal.open(made.path)
    shown = asked(made).steps[0]
    journal.commit(
        [
            hours.StoredTransition(
                alarm_id="broker.drill-1", sequence=1, at_ms=shown.at_ms, subject="broker", subject_id="drill",
                group="readings", state="unacknowledged", number=1,
                object={
                    "id": "broker.drill-1", "sequence": 1, "time": shown.at_ms / 1000, "since": shown.at_ms / 1000,
                    "subject": {"broker": "drill"}, "broker": "drill", "group": "readings", "kind": "drill", "was": None,
                    "event": "begins", "state": "unacknowledged", "latched": False, "priority": "low", "cause": None,
                    "candidates": [], "circuits": [], "message": "Nothing to do.", "evidence": [], "confidence": None,
                },
            )
        ]
    )  # fmt: skip
    journal.close()
    found = asked(made, "broker.drill-1")
    assert found.ways == ()
    assert found.beside == ()
    assert "Nothing to do." in hour_page.html(found)


def test_whatever_a_text_holds_is_text(found: Hour) -> None:
    hostile = "<script>alert(1)</script>\"'&"
    changed = dataclasses.replace(
        found,
        evidence=(hostile,), cannot_show=(hostile,), remarks=(hostile,), vehicle=hostile, alarm_id=hostile, kind=hostile,
        labels=tuple((way, hostile) for way, _ in found.labels),
        steps=tuple(dataclasses.replace(each, message=hostile, event=hostile, cause=hostile) for each in found.steps),
        messages=tuple(dataclasses.replace(each, why=hostile, status=hostile, step=hostile) for each in found.messages),
        deeds=tuple(dataclasses.replace(each, what=hostile, of=hostile, why=hostile) for each in found.deeds),
        causes=tuple(dataclasses.replace(each, text=hostile, speaks_for=((hostile, 1.0),)) for each in found.causes),
        beside=tuple(dataclasses.replace(each, label=hostile) for each in found.beside),
    )  # fmt: skip
    text = hour_page.html(changed)
    assert "<script" not in text
    assert unescape(text).count(hostile) > 15


def test_the_command_writes_page_json_and_words(made: hours.Made, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    base = ["review", "--schedule", str(VAN), "--journal", str(made.path), "--hour-of", made.alarm_id]
    out = tmp_path / "hour.html"
    assert main([*base, "--out", str(out), "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert shown["alarm_id"] == made.alarm_id
    assert "Minute by minute" in out.read_text(encoding="utf-8")
    assert main(base) == 0
    words = capsys.readouterr().out
    assert "the fuse fitted is not the one on the record" in " ".join(words.split())
    assert max(len(line) for line in words.splitlines()) <= 80


@pytest.mark.parametrize("more", [["--hour-of", "nothing-1"], ["--hour-of", "x", "--from", "2026-05-01T00:00:00Z"]])
def test_the_command_says_what_was_wrong(made: hours.Made, more: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["review", "--schedule", str(VAN), "--journal", str(made.path), *more]) == 2
    assert "--hour-of: wanted" in capsys.readouterr().err


def test_a_page_that_can_not_be_written_is_3(made: hours.Made, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    base = ["review", "--schedule", str(VAN), "--journal", str(made.path), "--hour-of", made.alarm_id]
    assert main([*base, "--out", str(tmp_path / "none" / "hour.html")]) == 3
    assert "can't be written" in capsys.readouterr().err
