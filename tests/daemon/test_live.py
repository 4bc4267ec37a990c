"""The daemon as a process of its own, on a real broker, a real journal file and a real HTTP sink."""

from __future__ import annotations

import csv
import io
import json
import os
import random
import subprocess
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from brokers import wait_for
from houses import House
from panelward.link import Link, Message, request
from panelward.records import Broker


@pytest.fixture
def house(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[House]:
    made = House(tmp_path, rate=getattr(request, "param", 60.0))
    made.broker.start()
    yield made
    made.end()


def kinds(house: House) -> list[tuple[str, str, str]]:
    return [(t.get("circuit") or t["id"].split("-")[0], t["kind"], t["event"]) for t in house.transitions()]


@pytest.mark.parametrize("house", [10.0], indirect=True)  # slower: commands take real seconds, and silence counts
def test_from_the_broker_to_the_phone_and_back(house: House) -> None:
    """An overload arrives as one sentence; it is acknowledged by command; `now`, `alarms` and MQTT show it."""
    seen: dict[str, bytes] = {}
    watcher = Link(
        Broker(host="127.0.0.1", port=house.broker.port),
        client_id="watcher",
        on_message=lambda m: seen.__setitem__(m.topic, m.payload),
        persistent=False,
    )
    watcher.subscribe((("panelward/test-van/#", 1),))
    watcher.start()
    house.start()
    assert wait_for(house.connected), house.said()
    house.live(20, D1=4.0, D7=5.0, D8=1.0)
    with house.living(D1=4.0, D7=17.6, D8=1.0):
        assert wait_for(lambda: house.phone.got), house.said()
        assert house.phone.sentences[0].startswith("Switch something off at Bench sockets: 17.6 A since 06:0")
        assert "Message 1." in house.phone.got[0]["message"]
        assert "does not protect" in house.phone.got[0]["message"]

        topic = "panelward/test-van/alarm/circuit/D7/overcurrent"
        assert wait_for(lambda: topic in seen)
        alarm = json.loads(seen[topic])
        assert (alarm["kind"], alarm["state"], alarm["circuit"]) == ("overcurrent-approach", "unacknowledged", "D7")
        assert json.loads(seen["panelward/test-van/sign-of-life"])["watching_since"]

        shown = house.run("now", "--schedule", str(house.schedule))
        assert shown.returncode == 1
        assert "Bench sockets" in shown.stdout
        assert max(len(line) for line in shown.stdout.splitlines()) <= 80
        listed = house.run("alarms")
        assert "message to notify-1: handed-over" in listed.stdout

        done = house.run("acknowledge", alarm["id"], "--who", "owner", "--schedule", str(house.schedule), journal=False)
        assert done.returncode == 0, done.stderr
        again = house.run("acknowledge", alarm["id"], "--schedule", str(house.schedule), journal=False)
        assert again.returncode == 2
        assert "acknowledged can't be acknowledged" in again.stderr
    with house.living(D1=4.0, D7=5.0, D8=1.0):
        assert wait_for(lambda: house.transitions()[-1]["state"] == "normal", 30), kinds(house)
    assert [(t["event"], t["state"]) for t in house.transitions()] == [
        ("begins", "unacknowledged"),
        ("acknowledge", "acknowledged"),
        ("ends", "normal"),
    ]
    assert house.transitions()[1]["who"] == "owner"
    assert wait_for(lambda: seen.get(topic) == b"")
    assert len(house.phone.got) == 1
    assert house.stop_daemon() == 0
    assert wait_for(lambda: json.loads(seen["panelward/test-van/sign-of-life"]).get("ended") is True)
    watcher.stop()


def test_live_is_replayed_alike(house: House) -> None:
    """What the daemon lived, exported and rehearsed, gives the same transitions: times, ids, figures, words."""
    house.start()
    assert wait_for(house.connected)
    for amps in (5.0, 17.6, 24.0, 0.0, 6.0):
        house.live(40, D1=4.0 if amps != 24.0 else 0.0, D7=amps, D8=1.0)
    assert house.stop_daemon() == 0
    out = house.folder / "log.csv"
    assert house.run("log", "export", "--out", str(out)).returncode == 0
    rows = list(csv.DictReader(io.StringIO(out.read_text())))
    assert len(rows) > 400
    replayed = house.run(
        "rehearse", "--schedule", str(house.schedule), "--readings", str(out), "--json", "--all", journal=False
    )
    again = [json.loads(line) for line in replayed.stdout.splitlines()]
    last = float(rows[-1]["received"].endswith("Z"))
    assert last == 1.0
    # The journal keeps what came after the last reading too; a rehearsal ends with it.
    lived = [t for t in house.transitions() if t["id"] in {a["id"] for a in again}]
    assert len(again) >= 3
    assert lived[: len(again)] == again


def test_what_time_alone_found_before_a_kill_still_stands_after_it_and_ends(house: House) -> None:
    """No input follows the deadline that it came of, and a start lets every timer begin anew."""

    def overdue() -> list[tuple[str, str]]:
        return [(t["id"], t["event"]) for t in house.transitions() if t["kind"] == "readings-overdue"]

    house.start()
    assert wait_for(house.connected), house.said()
    house.live(20, D1=4.0, D7=5.0, D8=1.0)
    assert wait_for(lambda: bool(overdue())), house.said()  # nobody says anything any more
    house.kill()
    before = overdue()
    house.log.unlink()
    with house.living(D1=4.0, D7=5.0, D8=1.0):
        house.start()
        assert wait_for(house.connected), house.said()
        wanted = sorted([*before, *((name, "ends") for name, _ in before)])
        assert wait_for(lambda: sorted(overdue()) == wanted), overdue()  # each of them is over, and none began anew
    assert house.stop_daemon() == 0


@pytest.mark.parametrize("seed", range(3))
def test_killed_at_any_instant_no_alarm_is_denied_and_none_is_told_twice(house: House, seed: int) -> None:
    chance = random.Random(seed)
    house.start()
    assert wait_for(house.connected)
    for _ in range(6):
        house.live(chance.uniform(5, 45), D1=chance.choice([4.0, 0.0]), D7=chance.choice([5.0, 17.6, 25.0]), D8=1.0)
        before = house.transitions()
        told = len(house.phone.got)
        house.kill()
        house.log.unlink()
        house.start()
        assert wait_for(house.connected), house.said()
        after = house.transitions()
        assert after[: len(before)] == before
        assert len(house.phone.got) >= told
    house.live(60, D1=4.0, D7=5.0, D8=1.0)
    house.stop_daemon()
    found = house.transitions()
    keys = [(t["id"], t["sequence"]) for t in found]
    assert len(keys) == len(set(keys))
    for alarm_id in {t["id"] for t in found}:
        sequence = [t["sequence"] for t in found if t["id"] == alarm_id]
        assert sequence == list(range(1, len(sequence) + 1))
    # A message may come again after a kill in the middle of its sending; then it says so.
    numbers = [s for s in house.phone.got if not s["message"].startswith("Again: ")]
    bodies = [s["message"] for s in numbers]
    assert len(bodies) == len(set(bodies))


def test_standing_alarms_survive_a_restart(house: House) -> None:
    house.start()
    assert wait_for(house.connected)
    house.live(20, D1=4.0, D7=5.0)
    house.live(60, D1=0.0, D7=5.0)
    assert wait_for(lambda: kinds(house) == [("D1", "feed-lost", "begins")]), kinds(house)
    assert house.stop_daemon() == 0
    house.start()
    house.live(90, D1=0.0, D7=5.0)
    assert kinds(house) == [("D1", "feed-lost", "begins")]
    house.live(20, D1=4.0, D7=5.0)
    assert wait_for(lambda: kinds(house)[-1] == ("D1", "feed-lost", "ends"))
    assert wait_for(lambda: len(house.phone.got) == 2, 40), house.said()
    assert "draws again" in house.phone.sentences[1]


def test_a_drill_says_where_it_arrived_or_why_not(house: House) -> None:
    house.start()
    assert wait_for(house.connected)
    good = house.run("drill", "--schedule", str(house.schedule), "--who", "owner")
    assert good.returncode == 0, good.stderr
    assert "notify-1: handed-over" in good.stdout
    assert "test message" in house.phone.sentences[0]
    house.phone.status = 500
    bad = house.run("drill", "--schedule", str(house.schedule))
    assert bad.returncode == 1
    assert "notify-1: waiting" in bad.stdout
    assert "500" in bad.stdout
    house.phone.status = 200
    assert wait_for(lambda: len(house.phone.got) == 2, 30)  # the outbox tries again by itself
    house.stop_daemon()
    house.start(notify="")
    house.log.unlink(missing_ok=True)
    nobody = house.run("drill", "--schedule", str(house.schedule))
    assert nobody.returncode == 1
    assert "PANELWARD_NOTIFY" in nobody.stderr


def test_bad_payloads_are_counted_and_the_others_still_watched(house: House) -> None:
    house.start()
    assert wait_for(house.connected)
    monitor = house.monitor()
    junk = [b"", b"nan", b"inf", b"1e308", os.urandom(200), b"[" * 10_000, b"x" * 200_000]
    end = time.monotonic() + 1.5
    while time.monotonic() < end:
        house.publish("D1", 0.0 if end - time.monotonic() < 1.0 else 4.0)
        for payload in junk:
            monitor.publish("van/D7/amps", payload)
            monitor.publish("van/D99/amps", b"1")
            monitor.publish("panelward/test-van/request/acknowledge", payload)
        time.sleep(0.03)
    assert wait_for(lambda: ("D1", "feed-lost", "begins") in kinds(house)), (kinds(house), house.said())
    shown = json.loads(house.run("now", "--json").stdout)
    assert shown["refused"] > 100
    assert house.stop_daemon() == 0
    assert "Traceback" not in house.said()


def test_the_broker_absent_at_the_start_and_restarted(house: House) -> None:
    house.broker.stop()
    house.start()
    assert wait_for(lambda: "can't be reached" in house.said()), house.said()
    house.broker.start()
    assert wait_for(house.connected, 20)
    house.live(20, D1=4.0, D7=5.0)
    house.broker.stop()
    assert wait_for(lambda: ("broker.127.0.0.1", "readings-overdue", "begins") in kinds(house), 20), kinds(house)
    house.broker.start()
    assert wait_for(lambda: ("broker.127.0.0.1", "readings-overdue", "ends") in kinds(house), 30), kinds(house)
    assert {k for _, k, _ in kinds(house)} == {"readings-overdue"}


def test_a_monitors_will_speaks_at_once(house: House) -> None:
    house.start()
    assert wait_for(house.connected)
    house.live(20, D1=4.0, D7=5.0)
    house.monitor().publish("van/state", b"lost")
    assert wait_for(lambda: ("monitor.dc", "readings-overdue", "begins") in kinds(house)), kinds(house)
    house.live(10, D1=4.0, D7=5.0)
    assert wait_for(lambda: ("monitor.dc", "readings-overdue", "ends") in kinds(house)), kinds(house)


def test_the_schedule_is_read_anew_and_a_bad_one_refused(house: House) -> None:
    house.start()
    assert wait_for(house.connected)
    broker = Broker(host="127.0.0.1", port=house.broker.port)
    good = house.schedule.read_text()
    house.schedule.write_text(good.replace("rating_a = 5", 'rating_a = "five"'))
    answer = request(broker, "panelward/test-van/request/reload", {"id": "1"}, timeout_s=10, client_id="asker")
    assert answer is not None
    assert not answer["done"]
    assert "rating_a" in answer["why"]
    house.schedule.write_text(good.replace("Roof fan", "Ceiling fan"))
    answer = request(broker, "panelward/test-van/request/reload", {"id": "2"}, timeout_s=10, client_id="asker")
    assert answer is not None
    assert answer["done"]
    house.live(10, D1=4.0, D8=6.5)
    house.live(20, D1=4.0, D8=6.5)
    assert wait_for(lambda: any("Ceiling fan" in s for s in house.phone.sentences)), house.said()


def test_requests_that_are_none_change_nothing(house: House) -> None:
    house.start()
    assert wait_for(house.connected)
    broker = Broker(host="127.0.0.1", port=house.broker.port)
    for kind, body in (
        ("acknowledge", {"alarm": "nobody"}),
        ("acknowledge", {"alarm": 7}),
        ("shelve", {"circuit": "D1"}),
        ("drill", {"priority": "extreme"}),
        ("switch-off", {"circuit": "D1"}),
    ):
        answer = request(broker, f"panelward/test-van/request/{kind}", {"id": "x"} | body, timeout_s=10, client_id="asker")
        assert answer is not None
        assert answer["done"] is False, kind
        assert answer["why"]
    assert house.transitions() == []


def test_two_daemons_do_not_write_one_journal(house: House) -> None:
    house.start()
    assert wait_for(house.connected)
    second = house.run("watch", "--schedule", str(house.schedule))
    assert second.returncode == 3
    assert "another panelward" in second.stderr


def test_a_refused_password_is_said_with_what_to_do(tmp_path: Path) -> None:

    passwords = tmp_path / "passwd"
    passwords.touch(mode=0o600)
    subprocess.run(["mosquitto_passwd", "-b", str(passwords), "panelward", "right"], check=True, capture_output=True)
    secret = tmp_path / "secret"
    secret.write_text("wrong\n")
    secret.chmod(0o600)
    house = House(
        tmp_path,
        extra=f"allow_anonymous false\npassword_file {passwords}\n",
        broker=f'username = "panelward"\npassword_file = "{secret}"',
    )
    house.broker.start()
    try:
        house.start()
        assert wait_for(lambda: "password_file in [broker]" in house.said()), house.said()
        house.stop_daemon()
        secret.write_text("right\n")
        house.start()
        assert wait_for(house.connected), house.said()
        house.stop_daemon()
        secret.chmod(0o644)
        open_to_all = house.run("watch", "--schedule", str(house.schedule))
        assert open_to_all.returncode == 3
        assert "chmod 600" in open_to_all.stderr
    finally:
        house.end()


def test_retained_and_redelivered_prove_no_life(house: House) -> None:
    """A retained floor of yesterday does not hide that the feed is gone today."""
    house.monitor().publish("van/D1/amps", b"4.0", retain=True)
    house.start()
    assert wait_for(house.connected)
    house.live(50, D1=0.0, D7=5.0)
    assert wait_for(lambda: ("D1", "feed-lost", "begins") in kinds(house)), kinds(house)


def test_the_clock_stays_with_the_broker_on_this_machine(house: House) -> None:
    text = house.schedule.read_text().replace('host = "127.0.0.1"', 'host = "192.0.2.1"')
    house.schedule.write_text(text)
    house.start()
    assert house.daemon is not None
    assert house.daemon.wait(timeout=20) == 3
    assert "on this machine" in house.said()


def test_messages_arrive_with_what_they_are() -> None:
    assert Message._fields[:4] == ("topic", "payload", "retained", "dup")


@pytest.mark.skipif(os.getuid() != 0, reason="a small disk is mounted, which needs root")
def test_a_full_disk_loses_no_alarm(tmp_path: Path) -> None:
    """The journal on a disk of 2 MiB: filled, an alarm found meanwhile, freed again. It is journalled and told then."""
    disk = tmp_path / "disk"
    disk.mkdir()
    done = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(disk)], check=False, capture_output=True)
    if done.returncode != 0:
        pytest.skip("this sandbox mounts no tmpfs")
    house = House(tmp_path)
    house.journal = disk / "journal.sqlite"
    house.broker.start()
    try:
        house.start()
        assert wait_for(house.connected)
        house.live(20, D1=4.0, D7=5.0)
        ballast = disk / "ballast"
        with ballast.open("wb", buffering=0) as out, suppress(OSError):
            while True:
                out.write(os.urandom(4096))
        house.live(120, D1=0.0, D7=5.0)
        assert wait_for(lambda: "can't be written" in house.said()), house.said()
        assert house.daemon is not None
        assert house.daemon.poll() is None
        ballast.unlink()
        assert wait_for(lambda: "can be written again" in house.said(), 30), house.said()
        assert wait_for(lambda: ("D1", "feed-lost", "begins") in kinds(house)), kinds(house)
        assert wait_for(lambda: house.phone.got, 30)
        assert "Sample freezer" in house.phone.sentences[0]
    finally:
        house.end()
        subprocess.run(["umount", str(disk)], check=False)
