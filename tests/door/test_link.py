"""The link in a message, over a real house: message to the phone, a tap, the answer in the journal; and what it does not do."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from tests.door.served import Served, served

from brokers import free_port, wait_for
from houses import House
from panelward.door.guard import hashed


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    port = free_port()
    found = House(tmp_path)
    text = found.schedule.read_text().replace('id = "test-van"', f'id = "test-van"\ndoor_at = "http://127.0.0.1:{port}"')
    found.schedule.write_text(text)
    found.broker.start()
    found.start()
    assert wait_for(found.connected)
    yield found
    found.end()


@pytest.fixture
def door(house: House, tmp_path: Path) -> Iterator[Served]:
    """With a password, as phones reach it: the link alone answers."""
    (tmp_path / "password").write_text(hashed("bolt cutters 9"))
    (tmp_path / "password").chmod(0o600)
    port = re.search(r"door_at = \"http://127.0.0.1:(\d+)", house.schedule.read_text())
    assert port is not None
    options = ("--listen", f"127.0.0.1:{port[1]}", "--password-file", str(tmp_path / "password"))
    with served(tmp_path, house.schedule, house.journal, *options) as found:
        yield found


def _lost(house: House) -> str:
    """The freezer loses its feed; the path of the link in the message."""
    house.live(20, D1=4.0, D7=1.0, D8=0.5)
    with house.living(D1=0.0, D7=1.0, D8=0.5):
        assert wait_for(lambda: any("Sample freezer" in s for s in house.phone.sentences), 40)
    body = next(str(b["message"]) for b in house.phone.got if "Sample freezer" in str(b["message"]))
    assert "http" not in body.splitlines()[0], "never in the sentence itself"
    found = re.search(r"http://127\.0\.0\.1:\d+(/a/[\w-]+)", body)
    assert found is not None, body
    return found[1]


def test_a_link_answers_its_alarm_once(house: House, door: Served) -> None:
    path = _lost(house)
    phone = door.client()
    page = phone.get(path)
    assert page.status == 200
    assert "Sample freezer" in page.text
    assert not any(t["event"] == "acknowledge" for t in house.transitions()), "opening it answers nothing"
    assert f'action="{path}/seen"' in page.text
    phone.post("/who", {"csrf": page.csrf(), "who": "Kari"})
    done = phone.post(f"{path}/seen", {"csrf": page.csrf(), "sequence": "1"})
    assert "Seen, by Kari." in phone.follow(done).text
    answered = [(t["event"], t["who"]) for t in house.transitions() if t["event"] == "acknowledge"]
    assert answered == [("acknowledge", "Kari")]
    again = door.client().get(path)
    assert again.status == 410
    assert "answered already" in again.text
    assert phone.post(f"{path}/meant", {"csrf": page.csrf(), "until": "hour"}).status == 410
    assert len([t for t in house.transitions() if t["event"] == "acknowledge"]) == 1


def test_a_link_is_no_login_and_no_other_alarm(house: House, door: Served) -> None:
    path = _lost(house)
    alarm = next(t["id"] for t in house.transitions() if t.get("circuit") == "D1")
    phone = door.client()
    csrf = phone.get(path).csrf()
    direct = phone.post(f"/alarm/{alarm}/seen", {"csrf": csrf, "sequence": "1"})
    assert urlsplit(direct.headers["location"]).path == "/login"
    assert phone.post("/note", {"csrf": csrf, "why": "x"}).headers["location"].startswith("/login")
    token = path.removeprefix("/a/")
    forged = [
        token[:-1] + ("A" if token[-1] != "A" else "B"),
        token[:20],
        "A" * len(token),
        token + "A",
        "..",
        "%2e%2e",
        "x" * 1500,
    ]
    for each in forged:
        assert phone.get(f"/a/{each}").status in (404, 410, 414), each
        assert phone.post(f"/a/{each}/seen", {"csrf": csrf}).status in (404, 410, 413, 414)
    assert phone.post(f"{path}/seen", {"csrf": "guess"}).status == 403
    assert not any(t["event"] == "acknowledge" for t in house.transitions())
