"""The request `timezone` on a running daemon: journalled with who and when, shown, over restarts, refused, replayed."""

from __future__ import annotations

import json
import re
from typing import Any

from brokers import wait_for
from houses import House
from panelward.journal import Journal
from panelward.link import request
from panelward.records import Broker


def changes(house: House) -> list[dict[str, Any]]:
    journal = Journal.read(house.journal)
    try:
        return journal.changes()
    finally:
        journal.close()


def now(house: House) -> str:
    return house.run("now", "--schedule", str(house.schedule)).stdout


def test_it_holds_over_restarts_until_the_schedule_says_otherwise(house: House) -> None:
    house.start()
    assert wait_for(house.connected), house.said()
    assert " UTC, time" in now(house)
    schedule = ("--schedule", str(house.schedule))
    for zone, who, why in (("Mars/Olympus", "Kari", "no time zone"), ("Asia/Tokyo", "", "needs who")):
        refused = house.run("timezone", zone, "--who", who, *schedule, journal=False)
        assert (refused.returncode, why in refused.stderr) == (2, True), refused.stderr
    assert changes(house) == []
    done = house.run("timezone", "Asia/Tokyo", "--who", "Kari", *schedule, journal=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout == "Noted by Kari: local time is Asia/Tokyo from now on.\n"
    (kept,) = changes(house)
    assert {key: kept[key] for key in ("kind", "who", "changed", "timezone", "written")} == {
        "kind": "timezone", "who": "Kari", "changed": ["vehicle timezone UTC -> Asia/Tokyo"], "timezone": "Asia/Tokyo",
        "written": "UTC",
    }  # fmt: skip
    house.kill()
    for _ in range(2):
        house.log.unlink()
        house.start()
        assert wait_for(house.connected), house.said()
        shown = now(house)
        assert " Asia/Tokyo, time" in shown
        assert "Local time is Asia/Tokyo since Fri 01 May " in shown
        assert "by Kari." in shown
        assert len(changes(house)) == 1, "a replay asks for nothing anew"
        assert house.stop_daemon() == 0
    house.log.unlink()
    house.start()
    assert wait_for(house.connected), house.said()
    with house.living(D1=4.0, D7=5.0, D8=1.0):
        drill = house.run("drill", *schedule)
        assert drill.returncode == 0, drill.stderr
    house.schedule.write_text(
        house.schedule.read_text().replace('id = "test-van"', 'id = "test-van"\ntimezone = "Europe/Oslo"')
    )
    broker = Broker(host="127.0.0.1", port=house.broker.port)
    answer = request(broker, "panelward/test-van/request/reload", {"id": "1"}, timeout_s=10, client_id="asker")
    assert answer is not None
    assert answer["changed"] == ["vehicle timezone UTC -> Europe/Oslo"]
    assert " Europe/Oslo, time" in now(house)
    assert "Local time is" not in now(house)
    listed = house.run("log", "changes", *schedule).stdout
    assert "time zone, by Kari\n  vehicle timezone UTC -> Asia/Tokyo\n" in listed
    assert house.stop_daemon() == 0
    relived = house.run("rehearse", "--all", "--json")
    assert relived.returncode == 0, relived.stderr
    told = [json.loads(line)["message"] for line in relived.stdout.splitlines() if '"drill"' in line]
    lived = [t["message"] for t in house.transitions() if t["kind"] == "drill"]
    assert told == lived
    sent = re.search(r"sent Fri (\d\d):", lived[0])
    assert sent is not None
    assert 15 <= int(sent[1]) <= 17, "06:00 UTC is 15:00 in Tokyo"
