"""The schedule of results and a way's page: what stands on the form, its innocent twins, strange names, a thousand ways."""

from __future__ import annotations

import re
import time
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from tests.door.served import alarm_object, present_row, schedule_text, served, write_journal
from tests.door.test_pages import HOSTILE

from panelward import sealed
from panelward.door.first import First, Way
from panelward.door.held import Held, Seen
from panelward.door.plan import Plan
from panelward.door.plan import Seen as Sight
from panelward.door.results import Results, results
from panelward.door.words import words
from panelward.journal import Journal
from panelward.papers.remarks import ENGLISH
from panelward.records import (
    Circuit,
    Commissioned,
    Load,
    Measured,
    Protection,
    Reading,
    Record,
    Schedule,
    Segment,
    Sense,
    Supply,
    Vehicle,
)

T = words("en")
NOW = First(now_ms=0, heard_ms=None, quiet_s=None, watched=True)


def way(name: str, label: str, area_mm2: float = 4.0, **fuse: Any) -> Circuit:
    return Circuit(
        id=name, label=label, monitor="dc", supply="house", sense=Sense(), feed="switched",
        protection=Protection(kind="blade-fuse", type="C", **({"rating_a": 15.0} | fuse)),
        conductor=(Segment(area_mm2=area_mm2, insulation_c=105, length_m=4),),
        loads=(Load(kind="pump", maker_fuse_a=10.0),),
    )  # fmt: skip


def plan(*circuits: Circuit, **more: Any) -> Plan:
    schedule = Schedule(
        vehicle=Vehicle(name="Van", id="van", spares=("D3",)),
        supplies=(Supply(id="house", kind="dc", nominal_v=12.8),),
        circuits=circuits,
    )
    return Plan(schedule=schedule, hash="abc", file="s.toml", text="", **more)


def seen(*pairs: tuple[float, float], readings: int = 9) -> Seen:
    held = tuple(Held(seconds=s, amps=a, begins_ms=0) for s, a in pairs)
    return Seen(held=held, hours=(), unread_share=0.0, readings=readings)


PUMP, LAMP = way("D2", "Pump"), way("D4", "Lamp")


def made(of: Plan, **found: Seen) -> Results:
    return results(of, NOW, found, T)


def test_rows_stand_in_panel_order_spares_where_they_hang() -> None:
    assert [(r.position, r.spare) for r in made(plan(PUMP, LAMP)).rows] == [("D2", False), ("D3", True), ("D4", False)]


def test_remarks_are_numbered_along_the_panel_and_marked_on_their_way() -> None:
    found = {"grade": "warn", "rule": "r", "found": 12.5, "limit": 10.0, "unit": "A", "source": "s", "remedy": "m."}
    of = plan(
        PUMP, LAMP,
        findings=(found | {"circuit": "D4", "message": "four"}, found | {"circuit": "D2", "message": "two"},
                  found | {"circuit": None, "message": "whole"}, found | {"circuit": "D2", "message": "n", "grade": "note"}),
    )  # fmt: skip
    form = made(of)
    assert [(r.number, r.way, r.text) for r in form.remarks] == [(1, "", "whole"), (2, "D2", "two"), (3, "D4", "four")]
    assert (form.remarks[1].found, form.remarks[1].limit) == ("12.5 A", "10 A")
    assert [row.marks for row in form.rows] == [(2,), (), (3,)]
    assert form.notes == 1


def test_what_was_held_beyond_a_limit_is_remarked_its_twin_is_not() -> None:
    """15 A: 80 % are 12 A, NEC 210.20(A)."""
    fine = made(plan(PUMP), D2=seen((60, 14.0), (10_800, 12.0)))
    assert fine.remarks == ()
    over = made(plan(PUMP), D2=seen((60, 14.0), (10_800, 12.1)))
    assert [(r.found, r.limit) for r in over.remarks] == [("12.1 A", "12 A")]
    minute = made(plan(PUMP), D2=seen((60, 30.0)))
    assert [r.found for r in minute.remarks] == ["30 A"]
    assert "ISO 8820-3" in minute.remarks[0].source
    thin = made(plan(way("D2", "Pump", 0.75, rating_a=40)), D2=seen((10_800, 31.0)))
    assert thin.rows[0].ampacity is not None
    assert thin.rows[0].ampacity.amps < 31.0
    assert [r.rule for r in thin.remarks] == ["33 CFR 183.425"]


def test_not_read_is_no_zero() -> None:
    row = made(plan(PUMP)).rows[0]
    assert (row.worst_60_a, row.worst_3h_a, row.looked, row.unread_share) == (None, None, False, None)
    never = made(plan(PUMP), D2=seen(readings=0)).rows[0]
    assert (never.worst_60_a, never.looked) == (None, False)
    zero = made(plan(PUMP), D2=seen((60, 0.0))).rows[0]
    assert (zero.worst_60_a, zero.looked) == (0.0, True)


def test_what_was_found_and_left_comes_from_the_record_before_the_schedule() -> None:
    record = Record(
        vehicle="van", version=1, made_ms=0, who="K", instrument="c", differs=("D2: a 20 A fuse stood where 15 A belongs.",),
        circuits=(Commissioned(circuit="D2", as_found_a=20.0, as_left_a=15.0),),
    )  # fmt: skip
    form = made(plan(PUMP, LAMP, record=record))
    assert (form.rows[0].scheduled_a, form.rows[0].found_a, form.rows[0].left_a) == (15.0, 20.0, 15.0)
    assert form.rows[0].marks == (1,)
    assert (form.rows[2].found_a, form.rows[2].left_a) == (None, None), "not written down is not as scheduled"


def test_only_what_cannot_be_seen_at_all_is_not_observable() -> None:
    sights = tuple(
        Sight(circuit="D2", what=w, can=c, why="") for w, c in (("a", "no"), ("b", "yes"), ("c", "together"), ("a", "no"))
    )
    assert made(plan(PUMP, sights=sights)).rows[0].unseen == ("a",)


# In a real process.


def write_readings(path: Path, count: int, amps: float, gap: range = range(0)) -> None:
    journal = Journal.open(path)
    now_ms = round(time.time() * 1000) - 1000
    for i in range(count):
        if i not in gap:
            journal.append(Reading("D1", now_ms - 5000 * (count - i), now_ms - 5000 * (count - i), volts=12.8, amps=amps))
    journal.commit()
    journal.close()


def test_the_pages_over_a_journal(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(schedule_text(["Freezer", "Lights"]))
    level = Measured(name="compressor", watts=51.2, low_w=50, high_w=53, sd_w=1, readings=30)
    record = Record(
        vehicle="test-van", version=1, made_ms=1_777_615_200_000, who="Kari", instrument="clamp",
        circuits=(Commissioned(circuit="D1", levels=(level,), as_left_a=15.0),),
    )  # fmt: skip
    sealed.write(tmp_path / "s.record.json", sealed.append((), record))
    row = present_row(["Freezer", "Lights"])
    row["circuits"][1] |= {"amps": None, "overdue": True}
    write_readings(tmp_path / "j.sqlite", 200, 4.0)
    write_journal(tmp_path / "j.sqlite", row, [alarm_object("D1", "Look at Freezer.")])
    with served(tmp_path, tmp_path / "s.toml", tmp_path / "j.sqlite") as door:
        client = door.client()
        text = unescape(client.get("/results").text)
        shown = unescape(client.get("/way/D1").text)
        silent = unescape(client.get("/way/D2").text)
        missing = client.get("/way/D9")
        german = client.get("/results", Accept_Language="de").text
        form = re.search(r'<form method="post" action="/working">.*?</form>', text, re.DOTALL)
        assert door.rss_kb < 45 * 1024
    assert re.search(r"Reckoned at \d\d:\d\d, of the last 16 min", text)
    assert "4 / " in text, "the worst minute; three hours were never read"
    assert "not read" in text, "D2"
    assert "no reading since" in text
    assert "No program signs this." in text
    assert "Isolate every source" in text
    assert form is not None
    assert 'name="then" value="/results"' in form[0]
    assert "style=" not in text
    assert "Look at Freezer." in shown
    assert 'href="/alarm/D1-dead-' in shown
    assert "51.2" in shown
    assert shown.count("<figure>") == 2
    assert "url(#hatch-days)" in shown
    assert "No current was read here in that time." in silent
    assert silent.count("<figure>") == 1, "no days where nothing was read"
    assert missing.status == 404
    assert "Kein Programm unterschreibt das." in german


def test_strange_names_stay_text_on_both_pages(tmp_path: Path) -> None:
    """A schedule refuses labels over 80 characters and those with marks of direction; the drawings are tried with all."""
    labels = [*(label for label in HOSTILE if label.isascii() and len(label) <= 80), "مقلاة القهوة", "x" * 80, "🧊🔌 freezer"]
    text = schedule_text([*labels[:-1], "EMOJI"]).replace("EMOJI", labels[-1])
    (tmp_path / "s.toml").write_text(text, "utf-8")
    write_journal(tmp_path / "j.sqlite", present_row(labels))
    with served(tmp_path, tmp_path / "s.toml", tmp_path / "j.sqlite") as door:
        client = door.client()
        form = client.get("/results")
        assert form.status == 200
        for at, label in enumerate(labels, start=1):
            page = client.get(f"/way/D{at}")
            assert page.status == 200
            for shown in (page.text, form.text):
                assert label in unescape(shown)
                assert "<script>alert" not in shown
                assert "<img" not in shown
        assert client.get("/way/%3Cscript%3E").status == 404


@pytest.mark.parametrize("count", [1000])
def test_a_thousand_ways(tmp_path: Path, count: int) -> None:
    labels = [f"Load {at}" for at in range(count)]
    (tmp_path / "s.toml").write_text(schedule_text(labels))
    write_journal(tmp_path / "j.sqlite", present_row(labels))
    with served(tmp_path, tmp_path / "s.toml", tmp_path / "j.sqlite") as door:
        client = door.client()
        text = client.get("/results").text
        assert text.count('href="/way/D') == count
        assert client.get("/way/D1000").status == 200


def test_a_way_shows_the_place_of_its_bracket() -> None:
    shown = Way(position="D1", label="x", rating_a=10.0, low_a=1.0, high_a=5.0, amps=2.0)
    assert (shown.place(shown.low_a), shown.place(shown.high_a)) == (100.0, 500.0)


def test_the_remarks_say_on_paper_what_they_say_on_the_page() -> None:
    assert {key: T(key) for key in ENGLISH} == ENGLISH
