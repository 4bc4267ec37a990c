"""The pages over a journal, asked by a client: what they say when all is well, when it is not, and of what is strange."""

from __future__ import annotations

import sqlite3
import time
from html import unescape
from pathlib import Path

import pytest
from tests.door.served import alarm_object, present_row, schedule_text, served, write_journal

from panelward.journal import schema

HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "{{ 7 * 7 }} {% raw %}",
    "مقلاة القهوة \u2066ثلاجة\u2069",
    "🧊🔌 freezer 👩‍🔧",
    "x" * 200,
    "Sample freezer " * 13,
    "a&b;&lt;c&#39;",
)
PAGES = ("/", "/alarms", "/messages", "/behind", "/unseen", "/login", "/?part=top")


def test_nothing_asks_and_what_is_not_known_is_said(tmp_path: Path) -> None:
    row = present_row(["Freezer", "Lights", "Pump"])
    row["circuits"][1] |= {"amps": None, "overdue": True}
    row["circuits"][2] |= {"amps": None, "overdue": True, "heard_ms": None}
    (tmp_path / "s.toml").write_text(schedule_text(["Freezer", "Lights", "Pump"], vehicle='spares = ["D4"]'))
    write_journal(tmp_path / "j.sqlite", row)
    with served(tmp_path, tmp_path / "s.toml", tmp_path / "j.sqlite") as door:
        text = door.client().get("/").text
    assert "Nothing asks for you. Last reading" in text
    assert "No readings from Ways D2 and D3." in text
    assert "2.0 A of 15 A" in text
    assert "no reading since" in text
    assert "no reading yet" in text
    assert text.count('class="rule gone"') == 2, "a way without a reading has no tick: it is no zero"
    assert ">Spare<" in text
    assert "This watches; it does not protect." in text
    assert "all good" not in text.lower()


@pytest.mark.parametrize(("for_s", "stands"), [(3600, True), (-1, False)])
def test_who_works_where_and_what_is_out_of_service_stand_until_they_end(tmp_path: Path, for_s: int, stands: bool) -> None:
    until_ms = round(1000 * (time.time() + for_s))
    about = {"circuit": "D2", "who": "Kari & Ola", "why": "", "until_ms": until_ms}
    (tmp_path / "s.toml").write_text(schedule_text(["Freezer", "Lights"]))
    write_journal(tmp_path / "j.sqlite", present_row(["Freezer", "Lights"], works=[about], out_of_service=[about]))
    with served(tmp_path, tmp_path / "s.toml", tmp_path / "j.sqlite") as door:
        text = unescape(door.client().get("/").text)
    assert ("Kari & Ola works on D2 until" in text) is stands
    assert ("Kari & Ola took D2 out of service until" in text) is stands


def test_the_worst_is_the_one_sentence(tmp_path: Path) -> None:
    """High before medium, unanswered before seen, and the way in question is ringed."""
    (tmp_path / "s.toml").write_text(schedule_text(["Freezer", "Lights", "Pump"]))
    alarms = [
        alarm_object("D1", "Is Freezer meant to be on?", id="a", priority="medium", since=time.time() - 9000),
        alarm_object("D2", "Look at Lights.", id="b"),
        alarm_object("D3", "Look at Pump.", id="c", state="acknowledged"),
        alarm_object("D3", "Put aside.", id="d", state="shelved", group="drain"),
    ]
    write_journal(tmp_path / "j.sqlite", present_row(["Freezer", "Lights", "Pump"]), alarms, told=True)
    with served(tmp_path, tmp_path / "s.toml", tmp_path / "j.sqlite") as door:
        text = door.client().get("/").text
    top = text[: text.index('class="panel"')]
    assert (
        top.index("Look at Lights.")
        < top.index("And one more: ")
        < top.index("Is Freezer meant to be on?")
        < top.index("Look at Pump.")
    )
    assert "told you" in top
    assert "Put aside:" in top
    assert text.count("ringed") == 1
    assert 'class="way ringed" data-way="D2"' in text


def test_two_hundred_alarms_are_one_sentence_and_a_number(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(schedule_text(["Freezer"]))
    alarms = [alarm_object("D1", f"Look at it, {at}.", id=f"alarm-{at:03d}") for at in range(200)]
    write_journal(tmp_path / "j.sqlite", present_row(["Freezer"]), alarms)
    with served(tmp_path, tmp_path / "s.toml", tmp_path / "j.sqlite") as door:
        client = door.client()
        first, every, messages = client.get("/"), client.get("/alarms"), client.get("/messages")
    assert "199 more ask for you: Freezer" in first.text
    assert len(first.text) < 150_000
    assert every.text.count("Look at it, ") == 200
    assert messages.status == 200


def test_a_thousand_ways(tmp_path: Path) -> None:
    labels = [f"Load {at}" for at in range(1, 1001)]
    (tmp_path / "s.toml").write_text(schedule_text(labels))
    write_journal(tmp_path / "j.sqlite", present_row(labels))
    with served(tmp_path, tmp_path / "s.toml", tmp_path / "j.sqlite") as door:
        client = door.client()
        found = client.get("/")
        assert found.text.count('<li class="way') == 1000
        assert all(client.get(path).status == 200 for path in PAGES)
        assert door.rss_kb < 80_000


@pytest.mark.parametrize("label", HOSTILE)
def test_a_strange_label_is_text_and_nothing_else(tmp_path: Path, label: str) -> None:
    (tmp_path / "s.toml").write_text(schedule_text([label]))
    write_journal(tmp_path / "j.sqlite", present_row([label]), [alarm_object("D1", f"Look at {label}", id=f"D1-{label[:20]}")])
    with served(tmp_path, tmp_path / "s.toml", tmp_path / "j.sqlite") as door:
        client = door.client()
        for path in PAGES:
            answer = client.get(path)
            assert answer.status == 200, path
            assert "<script>alert" not in answer.text
            assert "onerror=alert(1)>" not in answer.text.replace("&gt;", "") or "&lt;img" in answer.text
            assert "Look at 49" not in answer.text
        assert " ".join(label.split()) in " ".join(unescape(client.get("/").text).split())
        link = client.get("/").text.partition('href="/alarm/')[2].partition('"')[0]
        assert client.get(f"/alarm/{link}").status == 200


def test_the_watch_is_gone_and_the_page_says_so(tmp_path: Path) -> None:
    """An old present row with its alarms: nothing of it is shown as if it were now."""
    (tmp_path / "s.toml").write_text(schedule_text(["Freezer"]))
    row = present_row(["Freezer"]) | {"real_s": time.time() - 3600, "at_ms": round((time.time() - 3600) * 1000)}
    write_journal(tmp_path / "j.sqlite", row)
    with served(tmp_path, tmp_path / "s.toml", tmp_path / "j.sqlite") as door:
        text = door.client().get("/").text
    assert "Look at the loads yourself: nobody has watched since" in text
    assert "Nothing asks for you" not in text


@pytest.mark.parametrize("connected", [True, False])
def test_the_broker_is_away(tmp_path: Path, connected: bool) -> None:
    (tmp_path / "s.toml").write_text(schedule_text(["Freezer"]))
    write_journal(tmp_path / "j.sqlite", present_row(["Freezer"], connected=connected))
    with served(tmp_path, tmp_path / "s.toml", tmp_path / "j.sqlite") as door:
        text = door.client().get("/").text
    assert ("broker is away" in text) is not connected


def test_a_clock_of_1970(tmp_path: Path) -> None:
    """The daemon began on a clock that was not set: times are shown, nothing fails."""
    (tmp_path / "s.toml").write_text(schedule_text(["Freezer"]))
    row = present_row(["Freezer"]) | {"at_ms": 5000, "real_s": 5.0}
    row["circuits"][0]["heard_ms"] = 4000
    write_journal(tmp_path / "j.sqlite", row, [alarm_object("D1", "Look at Freezer.", time=5.0, since=1.0)])
    with served(tmp_path, tmp_path / "s.toml", tmp_path / "j.sqlite") as door:
        client = door.client()
        assert all(client.get(path).status == 200 for path in PAGES)
        assert "Look at Freezer." in client.get("/").text


def test_no_journal_yet_then_one(tmp_path: Path) -> None:
    """The page may be started before the watch: it says so, and takes the journal up when it is there."""
    (tmp_path / "s.toml").write_text(schedule_text(["Freezer"]))
    with served(tmp_path, tmp_path / "s.toml", tmp_path / "j.sqlite") as door:
        client = door.client()
        assert "there is no journal" in client.get("/").text
        write_journal(tmp_path / "j.sqlite", present_row(["Freezer"]))
        assert "Nothing asks for you" in client.get("/").text


def test_a_journal_from_an_older_version(tmp_path: Path) -> None:
    path = tmp_path / "j.sqlite"
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
    connection.execute("CREATE TABLE migrations (name TEXT NOT NULL UNIQUE)")
    schema.first_tables(connection)
    connection.execute("INSERT INTO migrations VALUES ('first_tables')")
    connection.close()
    (tmp_path / "s.toml").write_text(schedule_text(["Freezer"]))
    with served(tmp_path, tmp_path / "s.toml", path) as door:
        client = door.client()
        assert "written by an older panelward" in client.get("/").text
        assert all(client.get(page).status in (200, 503) for page in PAGES)


def test_a_schedule_that_can_not_be_read_leaves_the_alarms(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text("[vehicle\n")
    write_journal(tmp_path / "j.sqlite", present_row(["Freezer"]), [alarm_object("D1", "Look at Freezer.")])
    with served(tmp_path, tmp_path / "s.toml", tmp_path / "j.sqlite") as door:
        text = door.client().get("/").text
    assert "Look at Freezer." in text
    assert "s.toml" in text
    assert 'data-way="D1"' in text


def test_the_panel_with_odd_ways_left(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(schedule_text(["A", "B"], vehicle='panel = "odd-left"'))
    write_journal(tmp_path / "j.sqlite", present_row(["A", "B"]))
    with served(tmp_path, tmp_path / "s.toml", tmp_path / "j.sqlite") as door:
        assert 'class="ways two"' in door.client().get("/").text


def test_each_language_is_spoken(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(schedule_text(["Freezer"]))
    write_journal(tmp_path / "j.sqlite", present_row(["Freezer"]), [alarm_object("D1", "Look at Freezer.")])
    with served(tmp_path, tmp_path / "s.toml", tmp_path / "j.sqlite") as door:
        for accepts, seen in (("de", "Gesehen"), ("nb", "Sett"), ("fr", "Seen")):
            text = door.client().get("/", Accept_Language=accepts).text
            assert f">{seen}<" in text
            assert 'lang="en"><b>Look at Freezer.</b>' in text
        client = door.client()
        csrf = client.get("/behind").csrf()
        assert client.post("/language", {"csrf": csrf, "language": "nb"}).status == 303
        assert ">Sett<" in client.get("/").text


def test_the_first_load_is_small(tmp_path: Path) -> None:
    labels = [f"Load number {at}" for at in range(24)]
    (tmp_path / "s.toml").write_text(schedule_text(labels))
    write_journal(tmp_path / "j.sqlite", present_row(labels), [alarm_object("D1", "Look at Load number 1.")])
    with served(tmp_path, tmp_path / "s.toml", tmp_path / "j.sqlite") as door:
        client = door.client()
        size = sum(
            len(client.get(path).text.encode()) for path in ("/", "/static/door.css", "/static/door.js", "/static/icon.svg")
        )
        assert size < 150_000
        assert door.rss_kb < 45_000


@pytest.mark.parametrize(
    ("event", "moved_on"), [("begins-again", True), ("changes", True), ("re-alarm", True), ("over", False)]
)
def test_an_answer_is_to_what_was_read(tmp_path: Path, event: str, moved_on: bool) -> None:
    """Somebody answers a page that was opened before the alarm became another: nothing is asked of the watch."""
    (tmp_path / "s.toml").write_text(schedule_text(["Freezer"]))
    steps = [alarm_object("D1", "Look at Freezer."), alarm_object("D1", "Look at Freezer now.", sequence=2, event=event)]
    write_journal(tmp_path / "j.sqlite", present_row(["Freezer"]), steps)
    with served(tmp_path, tmp_path / "s.toml", tmp_path / "j.sqlite") as door:
        client = door.client()
        csrf = client.get("/").csrf()
        told = {
            sequence: client.follow(
                client.post(f"/alarm/{steps[0]['id']}/seen", {"csrf": csrf, "sequence": sequence, "who": "Kari"})
            ).text
            for sequence in ("1", "2")
        }
    assert ("It has changed meanwhile." in told["1"]) is moved_on
    assert "It has changed meanwhile." not in told["2"]
