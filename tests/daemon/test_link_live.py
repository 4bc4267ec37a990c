"""A running daemon's message carries the link of its alarm where the schedule names the door's address; else none."""

from __future__ import annotations

import re
import sqlite3
import time

import pytest

from brokers import wait_for
from houses import House
from panelward.journal import Journal, door_key
from panelward.records import links


@pytest.mark.parametrize("door_at", ["http://panel.local:8460", None])
def test_the_link_answers_the_alarm_that_the_message_is_about(house: House, door_at: str | None) -> None:
    if door_at is not None:
        text = house.schedule.read_text().replace('id = "test-van"', f'id = "test-van"\ndoor_at = "{door_at}"')
        house.schedule.write_text(text)
    house.start()
    assert wait_for(house.connected), house.said()
    house.live(20, D1=4.0, D7=5.0)
    with house.living(D1=4.0, D7=25.0):
        assert wait_for(lambda: house.phone.got, 60), house.said()
    sent = str(house.phone.got[0]["message"])
    assert "http" not in sent.splitlines()[0]
    if door_at is None:
        assert "http" not in sent
        assert not door_key.path_of(house.journal).exists()
        return
    token = re.search(r"http://panel\.local:8460/a/([A-Za-z0-9_-]+)$", sent, re.M)
    assert token, sent
    alarm, sequence = links.read(door_key.read(house.journal), token[1], time.time())
    journal = Journal.read(house.journal)
    try:
        life = journal.last_transitions(100, alarm)
    finally:
        journal.close()
    assert next(t["message"] for t in life if t["sequence"] == sequence) in sent.splitlines()[0]
    with sqlite3.connect(house.journal) as raw:  # a copy of the journal holds no link
        assert raw.execute("SELECT count(*) FROM outbox WHERE body LIKE '%http%'").fetchone() == (0,)
    raw.close()
    answered = house.run("acknowledge", alarm, "--who", "Kari", "--schedule", str(house.schedule), journal=False)
    assert answered.returncode == 0, answered.stderr
    journal = Journal.read(house.journal)
    try:
        assert wait_for(lambda: links.spent(journal.last_transitions(100, alarm), sequence) == links.ANSWERED)
    finally:
        journal.close()
