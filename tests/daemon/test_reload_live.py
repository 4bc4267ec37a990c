"""A reload of a running daemon: state kept, the difference said, journalled and vetted; a bad one refused."""

from __future__ import annotations

import json
import signal
from typing import Any

from brokers import wait_for
from houses import House, Phone
from panelward.journal import Journal
from panelward.link import request
from panelward.records import Broker


def reload(house: House, who: str = "Kari") -> dict[str, Any]:
    broker = Broker(host="127.0.0.1", port=house.broker.port)
    found = request(broker, "panelward/test-van/request/reload", {"id": "1", "who": who}, timeout_s=20, client_id="asker")
    assert found is not None
    return found


def changes(house: House) -> list[dict[str, Any]]:
    journal = Journal.read(house.journal)
    try:
        return journal.changes()
    finally:
        journal.close()


def energy_wh(house: House, circuit: str) -> float:
    row = json.loads(house.run("now", "--json", "--schedule", str(house.schedule)).stdout)
    return next(float(c["energy_wh"]) for c in row["circuits"] if c["id"] == circuit)


def people(house: House, text: str) -> None:
    house.people = house.folder / "people.toml"
    house.people.write_text(text, encoding="utf-8")
    house.people.chmod(0o600)


def test_the_difference_is_answered_logged_journalled_and_vetted(house: House) -> None:
    house.start()
    assert wait_for(house.connected), house.said()
    good = house.schedule.read_text()
    with house.living(D1=4.0, D7=17.6, D8=1.0):  # too much for the sockets' fuse
        assert wait_for(lambda: [t["circuit"] for t in house.transitions()] == ["D7"]), house.said()
        answer = reload(house)
        assert answer == {"id": "1", "done": True, "why": "", "state": None}
        assert changes(house) == [], "the same again is no change"
        way = 'protection = { kind = "blade-fuse", type = "F", rating_a = 5 }'
        assert way in good
        conductor = "conductor = { area_mm2 = 0.5, length_m = 3, insulation_c = 105, bundled = 3, ambient_c = 40 }"
        house.schedule.write_text(
            good.replace("Roof fan", "Ceiling fan").replace(way, f"{way.replace('= 5', '= 30')}\n{conductor}")
        )
        before_wh = energy_wh(house, "D7")
        answer = reload(house)
        assert answer["done"]
        assert answer["changed"][:2] == ["D8 label Roof fan -> Ceiling fan", "D8 protection.rating_a 5 -> 30"]
        assert any(line.startswith("refuse: D8: ") for line in answer["found"]), answer
        assert not any(": D1:" in line or ": D7:" in line for line in answer["found"])
        (kept,) = changes(house)
        assert (kept["kind"], kept["who"], kept["changed"], kept["found"]) == (
            "reload", "Kari", answer["changed"], answer["found"],
        )  # fmt: skip
        assert "  D8 protection.rating_a 5 -> 30" in house.said()
        assert wait_for(lambda: energy_wh(house, "D7") > before_wh), "the sockets' energy goes on"
        assert [t["circuit"] for t in house.transitions()] == ["D7"], "and so does their alarm"
        house.schedule.write_text("[vehicle]\nname = 5")
        for _ in range(2):
            refused = reload(house)
            assert not refused["done"]
            assert "name" in refused["why"]
        assert house.said().count("reload refused, the old schedule stays") == 2, "once each time"
        assert [each["kind"] for each in changes(house)] == ["reload", "refused", "refused"]
        assert house.daemon is not None
        house.schedule.write_text(good)
        house.daemon.send_signal(signal.SIGHUP)
        assert wait_for(lambda: [each["kind"] for each in changes(house)][-1] == "reload")
    listed = house.run("log", "changes", "--schedule", str(house.schedule))
    assert listed.returncode == 0, listed.stderr
    assert "read anew, by Kari\n  D8 label Roof fan -> Ceiling fan\n" in listed.stdout
    assert "refused, the old ones stayed, by Kari\n" in listed.stdout
    assert max(map(len, listed.stdout.splitlines())) <= 80
    assert house.stop_daemon() == 0
    house.schedule.write_text(good.replace("rating_a = 5", "rating_a = 7.5"))
    house.log.unlink()
    house.start()
    assert wait_for(house.connected), house.said()
    assert [(each["kind"], each["changed"]) for each in changes(house)[-1:]] == [("start", ["D8 protection.rating_a 5 -> 7.5"])]
    assert house.stop_daemon() == 0
    house.log.unlink()
    house.start()
    assert wait_for(house.connected), house.said()
    assert len(changes(house)) == 5, "the same schedule again"


def test_who_is_told_is_read_anew_too_and_a_bad_file_changes_nothing(house: House) -> None:
    second = Phone()
    people(house, f'[[person]]\nname = "Ada"\naddresses = ["{house.phone.address}"]\n')
    house.start(notify="")
    assert wait_for(house.connected), house.said()
    assert house.people is not None
    good = house.schedule.read_text()
    with house.living(D1=4.0, D7=5.0, D8=1.0):
        house.schedule.write_text(good.replace("Roof fan", "Ceiling fan"))
        house.people.write_text('[[person]]\nname = "Bo"\naddresses = ["json://s3cret"]\ncircuits = ["D99"]\n')
        refused = reload(house)
        assert not refused["done"]
        assert "D99" in refused["why"]
        assert "s3cret" not in json.dumps(refused) + house.said()
        assert "Ceiling" not in house.run("now", "--schedule", str(house.schedule)).stdout, "all of it or nothing"
        house.people.write_text(f'[[person]]\nname = "Bo"\naddresses = ["{second.address}"]\n')
        answer = reload(house)
        assert answer["done"], answer
        assert answer["changed"] == ["D8 label Roof fan -> Ceiling fan", "Ada: no more told", "Bo: told from now on"]
        assert second.address not in json.dumps(answer) + json.dumps(changes(house)) + house.said()
        done = house.run("drill", "--schedule", str(house.schedule))
        assert done.returncode == 0, done.stderr
        assert wait_for(lambda: second.got), house.said()
    assert house.phone.got == []
    second.stop()
