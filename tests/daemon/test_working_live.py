""" "I am in the panel until …" on a real broker, by command and over MQTT; it stands over a restart and ends by itself."""

from __future__ import annotations

import json

from brokers import wait_for
from houses import House
from panelward.link import request
from panelward.records import Broker


def events(house: House) -> list[str]:
    return [t["event"] for t in house.transitions() if t.get("circuit") == "D1"]


def test_work_on_a_circuit_keeps_its_alarm_until_it_is_done(house: House) -> None:
    house.start()
    assert wait_for(house.connected), house.said()
    house.live(20, D1=4.0, D7=5.0, D8=1.0)
    schedule = ("--schedule", str(house.schedule))
    with house.living(D1=4.0, D7=5.0, D8=1.0):
        begun = house.run(
            "working", "--for", "12h", "--who", "Kari", "--why", "new fan", "--circuit", "D1", *schedule, journal=False
        )
        assert begun.returncode == 0, begun.stderr
        assert "Kari works on D1 for 12h" in begun.stdout
        assert "isolate every source" in begun.stdout
        nobody = house.run("working", "--for", "2h", "--who", " ", *schedule, journal=False)
        assert (nobody.returncode, "who" in nobody.stderr) == (2, True)
        unknown = house.run("working", "--for", "2h", "--who", "Kari", "--circuit", "D99", *schedule, journal=False)
        assert (unknown.returncode, "D99" in unknown.stderr) == (2, True)
    with house.living(D1=0.0, D7=5.0, D8=1.0):
        assert wait_for(lambda: events(house) == ["begins"], 30), house.said()
        found = house.transitions()[-1]
        assert found["state"] == "unacknowledged"
        assert found["evidence"][0].startswith("Somebody works on it, Kari, until ")
        for command in ("now", "alarms"):
            shown = house.run(command, *schedule)
            assert "Kari works on D1 until" in shown.stdout, shown.stdout
            assert "(new fan)" in shown.stdout
            assert max(len(line) for line in shown.stdout.splitlines()) <= 80
        house.kill()
        house.log.unlink()
        house.start()
        assert wait_for(house.connected), house.said()
        assert house.phone.got == []
        assert [w["who"] for w in json.loads(house.run("now", "--json").stdout)["works"]] == ["Kari"]
        done = house.run("working", "--done", *schedule, journal=False)
        assert done.returncode == 0, done.stderr
        assert wait_for(lambda: house.phone.got, 30), house.said()
    assert house.phone.sentences[0].startswith("Look at Sample freezer's display. Dark: no power")
    assert events(house) == ["begins", "work-over"]
    assert house.stop_daemon() == 0
    assert "Traceback" not in house.said()


def test_work_on_the_panel_asked_over_mqtt_ends_by_itself(house: House) -> None:
    house.start()
    assert wait_for(house.connected), house.said()
    house.live(20, D1=4.0, D7=5.0, D8=1.0)
    broker = Broker(host="127.0.0.1", port=house.broker.port)
    topic = "panelward/test-van/request/working"
    for body, done in (
        ({"id": "1", "who": "Kari", "for_s": 900}, True),
        ({"id": "2", "who": "Kari", "for_s": 12 * 3600 + 1}, False),
        ({"id": "3", "for_s": 60}, False),
        ({"id": "4", "who": "Ola", "done": True}, False),
        ({"id": "5", "who": "Ola", "done": "yes"}, False),
    ):
        with house.living(D1=4.0, D7=5.0, D8=1.0):
            answer = request(broker, topic, body, timeout_s=10, client_id="asker")
        assert answer is not None
        assert answer["done"] is done, answer
        assert done or answer["why"]
    with house.living(D1=0.0, D7=5.0, D8=1.0):
        assert wait_for(lambda: events(house) == ["begins", "work-over"], 60), (events(house), house.said())
        assert wait_for(lambda: house.phone.got, 30), house.said()
    assert len(house.phone.got) == 1
