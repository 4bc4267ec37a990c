"""The lap on the page: real door, real broker, the rig's van at fast time; answered over HTTP as a phone does."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
import time
from html import unescape
from pathlib import Path

from tests.door.fitting_phone import USUAL, Phone, name_of, text_of, van
from tests.door.served import served

from brokers import wait_for
from panelward import sealed

MOST_TAPS, MOST_NUMBERS, MOST_MINUTES = 30, 14, 40.0  # what an installer puts up with: common practice, no source
WRONG_FUSE = {"fuse:D5 Mast lights": (0.0, {"answer": "20"})}
SWAPPED = {"which:D4 Water pump": (0.0, {"answer": "D5"}), "which:D5 Mast lights": (0.0, {"answer": "D4"})}


def test_a_whole_van_by_phone_finds_both_faults_within_what_a_person_puts_up_with(tmp_path: Path) -> None:
    with van(tmp_path) as house, served(tmp_path, house.schedule, house.journal) as door:
        phone = Phone(door.client())
        first = phone.begin()
        assert "What will move, heat or pump" in first.text
        phone.work(house, "summary", USUAL | WRONG_FUSE | SWAPPED)
        summary = phone.page()
        told = unescape(re.sub(r"<[^>]+>", " ", summary.text))
        assert told.index("The labels of D4 and D5 are swapped") < told.index("The ways"), "differences come first"
        assert "Enter" not in re.sub(r'(?s)<ul class="plain told".*?</ul>', "", summary.text)
        over = phone.work(house)
        assert "/results" in over.text
        assert door.rss_kb < 60_000
    (record,) = sealed.load(sealed.path_of(str(house.schedule)), "survey-van")
    assert (record.who, record.instrument) == ("Kari Lund", "clamp no. 3")
    assert record.differs[:2] == (
        "The labels of D4 and D5 are swapped: Water pump is on D5, Mast lights on D4.",
        "D5 Mast lights: 20 A was found where 10 A is scheduled (too large); 10 A is left in it.",
    )
    assert phone.taps <= MOST_TAPS
    assert phone.typed <= MOST_NUMBERS
    assert house.minutes <= MOST_MINUTES + 5  # the door's own end takes a second or two of it
    assert not list(tmp_path.glob("*.commission.*"))


def test_two_phones_do_not_fight_and_one_that_comes_back_sees_where_it_is(tmp_path: Path) -> None:
    with van(tmp_path, rig=False, rate=1) as house, served(tmp_path, house.schedule, house.journal) as door:
        one, two = Phone(door.client()), Phone(door.client())
        one.begin()
        assert name_of(two.page()) == "plan"
        two.begin("Per")  # it runs already: the second phone joins
        one.work(house, "isolated", {"plan": (-99, {"answer": ""})})
        stale = two.page()
        one.tap(one.page(), {"answer": "covered"})
        assert name_of(one.page()) == "fuse"
        refused = two.tap(stale, {"answer": "no"})
        assert "That was answered meanwhile on another phone: covered. Yours was not taken." in refused.text
        assert "D1 Sample freezer" in text_of(refused)
        page = one.page()
        one.tap(page, {"answer": ""})
        again = one.tap(page, {"answer": ""})  # a thumb that trembles: one answer, and no reproach
        assert "D2 Satellite terminal" in text_of(again)
        assert "answered meanwhile" not in again.text
        assert "D2 Satellite terminal" in text_of(two.page()), "whoever comes back sees where it is"
        nonsense = one.tap(one.page(), {"typed": "purple"})
        assert "Wanted amps up to 600" in nonsense.text
        assert "D2 Satellite terminal" in text_of(nonsense)
        late = one.tap(nonsense, {"because": ""})
        assert "Nothing was typed" in late.text
        skipped = one.tap(late, {"reason": "reach", "way": ""})
        assert "D3 Air heater" in text_of(skipped)


def test_killed_in_the_middle_it_goes_on_by_itself_and_then_at_a_terminal(tmp_path: Path) -> None:
    with van(tmp_path, rig=False, rate=1) as house:
        kept = tmp_path / "van.commission.json"
        with served(tmp_path, house.schedule, house.journal) as door:
            phone = Phone(door.client())
            phone.begin()
            plan = {"plan": (-99.0, {"answer": ""}), "isolated": (-99.0, {"answer": "covered"})}
            phone.work(house, "fuse", plan)
            phone.tap(phone.page(), {"answer": "20"})
            assert json.loads(kept.read_text())["as_found"] == {"D1": 20.0}
            door.process.send_signal(signal.SIGKILL)
            door.process.wait(10)
        with served(tmp_path, house.schedule, house.journal) as door:
            back = Phone(door.client())
            time.sleep(1.0)
            assert "20 A found" in text_of(back.page())
            command = [sys.executable, "-m", "panelward", "commission", "--schedule", str(house.schedule)]
            refused = subprocess.run(command, input="", capture_output=True, text=True, timeout=60, check=False)
            assert refused.returncode == 2
            assert "commissioned by the door page just now" in re.sub(r"\s+", " ", refused.stderr)
            page = back.page()
            stopped = back.client.follow(back.client.post("/commission/stop", {"csrf": page.csrf()}))
            assert "Stopped. What is done is kept" in stopped.text
            assert "Go on with it" in stopped.text
            terminal = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
            assert terminal.stdin is not None
            assert wait_for((tmp_path / "van.commission.lock").exists)
            time.sleep(1.0)
            fields = {"csrf": back.page().csrf(), "go": "on"}
            both = back.client.follow(back.client.post("/commission/start", fields))
            assert "commissioned by a terminal just now" in both.text
            said, _ = terminal.communicate("\nstop\n", timeout=30)
            assert "D1 Sample freezer: 20 A found" in re.sub(r"\s+", " ", said)
        assert json.loads(kept.read_text())["as_left"] == {"D1": 15.0}


def test_what_is_forged_or_comes_without_a_name_begins_nothing(tmp_path: Path) -> None:
    with van(tmp_path, rig=False, rate=1) as house, served(tmp_path, house.schedule, house.journal) as door:
        client = door.client()
        csrf = client.get("/commission").csrf()
        assert client.post("/commission/start", {"csrf": "x", "who": "Kari", "go": "whole"}).status == 403
        assert "type a name" in client.follow(client.post("/commission/start", {"csrf": csrf, "who": "", "go": "whole"})).text
        late = client.follow(client.post("/commission/answer", {"csrf": csrf, "number": "1-lap", "answer": "done"}))
        assert "Another question came up meanwhile" in late.text
        assert not list(tmp_path.glob("*.commission.*"))


def test_a_broker_that_is_away_is_said(tmp_path: Path) -> None:
    with van(tmp_path, rig=False, rate=1) as house:
        schedule = re.sub(r"(?m)^port = \d+$", "port = 1", house.schedule.read_text(), count=1)
        house.schedule.write_text(schedule)
        with served(tmp_path, house.schedule, house.journal) as door:
            phone = Phone(door.client())
            phone.begin()
            for _ in range(40):
                text = unescape(phone.page().text.partition('id="fitting"')[2])
                if "broker: away" in text or "can't be reached" in text:
                    break
                time.sleep(0.3)
            else:
                raise AssertionError(text)
