"""What ends no watch: requests and names that nobody foresaw, on a live daemon and over its restarts."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from typing import Any

import pytest

from brokers import wait_for
from houses import House
from panelward.link import Link, Message, request
from panelward.records import Broker


def asked(house: House, kind: str, **body: Any) -> dict[str, Any] | None:
    broker = Broker(host="127.0.0.1", port=house.broker.port)
    return request(broker, f"panelward/test-van/request/{kind}", {"id": "1"} | body, timeout_s=10, client_id="asker")


def lost(house: House) -> str:
    """The freezer's alarm, once there is one."""
    house.live(20, D1=4.0, D7=5.0, D8=1.0)
    with house.living(D1=0.0, D7=5.0, D8=1.0):
        assert wait_for(lambda: any(t["circuit"] == "D1" for t in house.transitions()), 30), house.said()
    return str(next(t["id"] for t in house.transitions() if t["circuit"] == "D1"))


@pytest.mark.parametrize("who", ["Kari \ud83d", "Kari \ud83d\ude80", "Kari"])
def test_half_an_emoji_ends_no_watch_and_is_answered_like_any_other_name(house: House, who: str) -> None:
    house.start()
    assert wait_for(house.connected), house.said()
    alarm = lost(house)
    answer = asked(house, "acknowledge", alarm=alarm, who=who)
    assert answer is not None, house.said()
    assert answer["done"], answer
    assert house.stop_daemon() == 0
    house.start()
    assert wait_for(lambda: house.said().count("broker: connected") == 2), house.said()
    assert asked(house, "drill", who=who)
    assert house.stop_daemon() == 0
    assert "Traceback" not in house.said()
    assert [t["who"].encode() for t in house.transitions() if t["event"] == "acknowledge" and t["id"] == alarm]


@pytest.mark.parametrize(
    "reply_to", ["panelward/reply/\ud800", "panelward/reply/#", "panelward/reply/\x01", "panelward/reply/\uffff", "a" * 500]
)
def test_an_answer_that_can_reach_nobody_costs_neither_watch_nor_connection(house: House, reply_to: str) -> None:
    house.start()
    assert wait_for(house.connected), house.said()
    for text in ("\ud800", "x"):
        body = json.dumps({"id": text, "alarm": text, "who": text, "reply_to": reply_to}).encode()
        house.monitor().publish("panelward/test-van/request/acknowledge", body)
    assert asked(house, "drill", who="Kari") is not None
    assert house.said().count("broker: away") == 0, house.said()
    assert house.stop_daemon() == 0
    assert "Traceback" not in house.said()


@pytest.mark.parametrize("name", ["Kari #2", "+47 912/34", "100 % Kari", "Kari"])
def test_whatever_a_person_is_called_what_they_are_not_told_is_published_and_stands(house: House, name: str) -> None:
    house.people = house.folder / "people.toml"
    house.people.write_text(
        f'[[person]]\nname = "Ola"\naddresses = ["{house.phone.address}"]\n'
        f'[[person]]\nname = "{name}"\naddresses = ["nonsense"]\n',
        encoding="utf-8",
    )
    house.people.chmod(0o600)
    seen: dict[str, bytes] = {}

    def heard(message: Message) -> None:
        seen[message.topic] = message.payload

    watcher = Link(Broker(host="127.0.0.1", port=house.broker.port), client_id="w", on_message=heard, persistent=False)
    watcher.subscribe((("panelward/test-van/alarm/+/+/+", 1),))
    watcher.start()
    try:
        house.start(notify="")
        assert wait_for(house.connected), house.said()
        assert asked(house, "drill", who="Ola") is not None
        assert wait_for(lambda: any(json.loads(p or b"{}").get("address") == name for p in seen.values())), house.said()
        assert house.stop_daemon() == 0
        house.start(notify="")
        assert wait_for(lambda: house.said().count("broker: connected") == 2), house.said()
        assert house.stop_daemon() == 0
        assert "Traceback" not in house.said()
    finally:
        watcher.stop()


def test_bytes_that_are_no_utf_8_on_a_command_line_arrive_like_any_other_name(house: House) -> None:
    house.start()
    assert wait_for(house.connected), house.said()
    env = os.environ | {"LC_ALL": "C.UTF-8", "PYTHONIOENCODING": "utf-8:strict"}
    command = [sys.executable, "-m", "panelward", "note", "smelled warm", "--schedule", str(house.schedule), "--who"]
    for who in (b"K\xe5ri", "Kåri".encode()):
        done = subprocess.run([*command, who], capture_output=True, timeout=60, check=False, env=env)
        assert (done.returncode, done.stderr) == (0, b"")
    kept = [json.loads(line)["who"] for line in house.run("log", "changes", "--json").stdout.splitlines()]
    assert kept == ["K?ri", "Kåri"]
    assert house.stop_daemon() == 0
