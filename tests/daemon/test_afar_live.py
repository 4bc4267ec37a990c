"""From afar: two daemons on one broker, as a bridge would have it; and the sign of life to an address of the owner's."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import pytest

from brokers import Mosquitto, wait_for
from houses import House, Phone
from panelward.daemon.afar import APART_S
from panelward.journal import Journal
from panelward.link import Link, Message, request
from panelward.records import Broker

UNHEARD = 'unheard_after = "30min"'  # 3 s of a test
SIGN = "panelward/test-van/sign-of-life"


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = House(tmp_path, rate=600.0)
    made.broker.start()
    yield made
    made.end()


class Elsewhere:
    """The watch from afar as a process, with a phone of its own."""

    def __init__(self, house: House, broker: Mosquitto | None = None, *, people: str = "", clock: str = "") -> None:
        self.phone = Phone()
        self.schedule, self.journal = house.folder / "elsewhere.toml", house.folder / "elsewhere.sqlite"
        self._log = house.folder / "elsewhere.log"
        text = house.schedule.read_text().replace('id = "test-van"', f'id = "test-van"\n{UNHEARD}')
        port = (broker or house.broker).port
        self.schedule.write_text(text.replace(f"port = {house.broker.port}", f"port = {port}"))
        self._command = [sys.executable, "-m", "panelward", "watch", "--from-afar", "--schedule", str(self.schedule)]
        self._command += ["--journal", str(self.journal), "--clock", clock or house.clock]
        self._notify = self.phone.address
        if people:
            self._notify, written = "", house.folder / "elsewhere-people.toml"
            written.write_text(people.format(address=self.phone.address))
            written.chmod(0o600)
            self._command += ["--people", str(written)]
        self.start()

    def start(self) -> None:
        with self._log.open("wb") as log:
            env = os.environ | {"PANELWARD_NOTIFY": self._notify}
            self.process = subprocess.Popen(self._command, stdout=log, stderr=log, env=env)
        assert wait_for(lambda: "broker: connected" in self.said()), self.said()

    def said(self) -> str:
        return self._log.read_text()

    def run(self, *arguments: str, journal: bool = True) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "panelward", *arguments, "--schedule", str(self.schedule)]
        command += ["--journal", str(self.journal)] if journal else []
        return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)

    def events(self) -> list[str]:
        """What became of "no word", oldest first."""
        kept = Journal.read(self.journal)
        try:
            return [t["event"] for t in kept.last_transitions(1000) if "vehicle" in t["subject"]]
        finally:
            kept.close()

    def stop(self) -> None:
        self.process.terminate()
        assert self.process.wait(timeout=20) == 0

    def end(self) -> None:
        try:
            self.stop()
        finally:
            self.phone.stop()


@contextmanager
def elsewhere(
    house: House, broker: Mosquitto | None = None, *, people: str = "", clock: str = ""
) -> Iterator[Elsewhere]:  # fmt: skip
    made = Elsewhere(house, broker, people=people, clock=clock)
    try:
        yield made
    finally:
        made.end()


def signs(told: Callable[..., None], run: str = "a", up_s: float = 0.0, **more: object) -> None:
    """Two signs, as far apart as they say: proof of life."""
    told({"run": run, "up_s": up_s} | more)
    time.sleep(APART_S)
    told({"run": run, "up_s": up_s + APART_S} | more)


def test_a_vehicle_that_falls_silent_is_told_by_who_watches_elsewhere(house: House) -> None:
    with elsewhere(house) as afar:
        house.start()
        assert wait_for(house.connected), house.said()
        house.live(600, D1=4.0, D7=5.0, D8=1.0)
        house.kill()
        assert wait_for(lambda: afar.phone.got, 40), afar.said()
        assert afar.phone.sentences[0].startswith("Go and look, or ring: no word from Test van")
        kept = Journal.read(afar.journal)
        try:
            (told, *_) = kept.last_transitions(5)
        finally:
            kept.close()
        assert (told["kind"], told["vehicle"]) == ("readings-overdue", "test-van")


@pytest.mark.parametrize("version", ["", "bridge_protocol_version mqttv50\n"])
def test_what_a_bridge_tells_again_is_no_word_from_the_vehicle(tmp_path: Path, version: str) -> None:
    """Two brokers: the vehicle's starts anew while no watch runs there, and its bridge tells the last sign once more."""
    (tmp_path / "aboard").mkdir()
    house = House(tmp_path, rate=600.0)
    house.broker.start()
    bridge = (
        f"connection elsewhere\naddress 127.0.0.1:{house.broker.port}\ntopic panelward/# out 1\nrestart_timeout 1\n{version}"
    )
    aboard = Mosquitto(tmp_path / "aboard", extra=f"allow_anonymous true\nautosave_interval 1\n{bridge}").start()
    van = Link(Broker(host="127.0.0.1", port=aboard.port), client_id="van", persistent=False)
    came: list[Message] = []
    ear = Link(Broker(host="127.0.0.1", port=house.broker.port), client_id="ear", on_message=came.append, persistent=False)
    ear.subscribe(((SIGN, 1),))
    try:
        for each in (van, ear):
            each.start()
        assert wait_for(lambda: van.connected and ear.connected)
        with elsewhere(house) as afar:
            signs(lambda told: van.publish(SIGN, json.dumps(told).encode(), retain=True))
            assert wait_for(lambda: "ends" in afar.events(), 20), afar.events()  # silent from its start on; then word came
            van.stop()
            assert wait_for(lambda: afar.events()[-1].startswith("begins"), 20), afar.events()
            time.sleep(1.5)  # the broker saves each second what it retains
            aboard.stop()
            came.clear()
            aboard.start()
            assert wait_for(lambda: came, 30)
            assert not came[0].retained  # by this alone nobody could tell
            # Whatever came before an answer was taken before it.
            assert wait_for(lambda: asked(house, "afar/request/acknowledge")["done"] is False)
            assert afar.events().count("ends") == 1, afar.events()
    finally:
        for each in (van, ear):
            each.stop()
        aboard.stop()
        house.end()


def asked(house: House, topic: str) -> dict[str, Any]:
    broker = Broker(host="127.0.0.1", port=house.broker.port)
    found = request(broker, f"panelward/test-van/{topic}", {"id": "1", "alarm": "none"}, timeout_s=20, client_id="asker")
    assert found is not None
    return found


@pytest.mark.parametrize("last", ["nothing", "the will", "another watcher"])
def test_the_last_words_are_said_whatever_comes_behind_them(house: House, last: str) -> None:
    def tell(told: dict[str, object]) -> None:
        house.monitor().publish(SIGN, json.dumps(told).encode(), retain=True)

    with elsewhere(house) as afar:
        assert wait_for(lambda: afar.events() == ["begins"], 20), afar.events()  # nothing was ever heard
        signs(tell, nears_cut_off={"house": 0.3})
        assert wait_for(lambda: afar.events().count("ends") == 1, 20), afar.events()
        if last == "the will":
            tell({"ended": True})
        elif last == "another watcher":  # that starts only now finds them where they are kept
            afar.stop()
            for kept in house.folder.glob("elsewhere.sqlite*"):
                kept.unlink()
            afar.start()
        silent = len(afar.phone.got)
        assert wait_for(lambda: len(afar.phone.got) > silent and "no word" in afar.phone.sentences[-1], 20)
        assert "Its last word was that its battery nears its cut-off." in afar.phone.got[-1]["message"]
        if last != "nothing":
            return
        signs(tell, up_s=60.0)  # word again, and of no such thing: its silence after that has another reason
        assert wait_for(lambda: afar.events().count("ends") == 2, 20), afar.events()
        silent = len(afar.phone.got)
        assert wait_for(lambda: len(afar.phone.got) > silent and "no word" in afar.phone.sentences[-1], 20)
        assert "cut-off" not in afar.phone.got[-1]["message"]


def test_its_own_broker_that_goes_is_said_and_no_silence_of_the_vehicle(house: House) -> None:
    with elsewhere(house) as afar:
        signs(lambda told: house.monitor().publish(SIGN, json.dumps(told).encode()))
        assert wait_for(lambda: "ends" in afar.events(), 20), afar.events()
        assert wait_for(lambda: "word from it again" in afar.phone.sentences[-1], 20), afar.phone.sentences
        before = len(afar.phone.got)
        house.broker.kill()
        assert wait_for(lambda: len(afar.phone.got) > before, 20), afar.said()
        time.sleep(4.0)  # 40 min: the silence that it would have told
        assert [s.partition(":")[0] for s in afar.phone.sentences[before:]] == ["Look at the link of the watch from afar"]
        assert afar.events()[-1] == "ends"


def test_it_is_drilled_and_acknowledged_like_the_one_aboard(house: House) -> None:
    with elsewhere(house) as afar:
        assert wait_for(lambda: afar.events() == ["begins"], 20), afar.events()
        drilled = afar.run("drill", "--from-afar")
        assert (drilled.returncode, drilled.stdout.partition(":")[0]) == (0, "notify-1"), drilled.stderr
        assert any(s.startswith("From afar, look at Test van or ring: test message") for s in afar.phone.sentences)
        kept = Journal.read(afar.journal)
        try:
            (alarm,) = kept.standing()
        finally:
            kept.close()
        seen = afar.run("acknowledge", alarm["id"], "--who", "Kari", "--from-afar", journal=False)
        assert (seen.returncode, seen.stdout) == (0, f"Done: {alarm['id']} is acknowledged.\n"), seen.stderr
        put = afar.run("shelve", alarm["id"], "--for", "1h", "--who", "Kari", "--from-afar", journal=False)
        assert put.returncode == 0, put.stderr
        house.monitor().publish(SIGN, json.dumps({"run": "a", "up_s": 1.0, "journals": False}).encode())
        assert wait_for(lambda: any(s.startswith("From afar, look at the disk") for s in afar.phone.sentences)), afar.phone.got
        zone = afar.run("timezone", "Europe/Athens", "--who", "Kari", "--from-afar", journal=False)
        assert zone.returncode == 0, zone.stderr


def test_its_weekly_sign_is_its_own(house: House) -> None:
    weekly = 'weekly = "Mon"\n[[person]]\nname = "Kari"\naddresses = ["{address}"]\n'
    with elsewhere(house, people=weekly, clock=f"2026-05-04T12:00Z,3600,{time.time():.3f}") as afar:
        told = lambda: [s for s in afar.phone.sentences if "test message" in s]  # noqa: E731
        assert wait_for(lambda: told() or any("test message" in b["message"] for b in afar.phone.got), 40), afar.said()
    assert any("From afar, look at Test van or ring: test message" in b["message"] for b in afar.phone.got)
    assert not any("test message from Test van" in b["message"] for b in afar.phone.got)


def test_the_owners_address_hears_a_sign_while_readings_come(house: House) -> None:
    got: list[dict[str, object]] = []

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            got.append(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
            self.send_response(204)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    server = HTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    address = f"http://127.0.0.1:{server.server_address[1]}/sign"
    text = house.schedule.read_text().replace('id = "test-van"', f'id = "test-van"\nsign_of_life_to = "{address}"')
    house.schedule.write_text(text)
    house.start()
    assert wait_for(house.connected), house.said()
    assert got == []  # nothing was read yet
    with house.living(D1=4.0, D7=5.0, D8=1.0):
        assert wait_for(lambda: got, 20), house.said()
    assert got[0]["vehicle"] == "test-van"
    assert house.stop_daemon() == 0
    server.shutdown()
    server.server_close()
    thread.join()
