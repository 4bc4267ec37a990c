"""From afar: two daemons on one broker, as a bridge would have it; and the sign of life to an address of the owner's."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest

from brokers import wait_for
from houses import House, Phone
from panelward.journal import Journal


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = House(tmp_path, rate=600.0)
    made.broker.start()
    yield made
    made.end()


def test_a_vehicle_that_falls_silent_is_told_by_who_watches_elsewhere(house: House) -> None:
    afar = Phone()
    text = house.schedule.read_text().replace('id = "test-van"', 'id = "test-van"\nunheard_after = "30min"')
    elsewhere = house.folder / "elsewhere.toml"
    elsewhere.write_text(text)
    journal = house.folder / "elsewhere.sqlite"
    log = (house.folder / "elsewhere.log").open("ab")
    watcher = subprocess.Popen(
        [sys.executable, "-m", "panelward", "watch", "--from-afar", "--schedule", str(elsewhere), "--journal", str(journal),
         "--clock", house.clock],
        env=os.environ | {"PANELWARD_NOTIFY": afar.address}, stdout=log, stderr=log,
    )  # fmt: skip
    try:
        house.start()
        assert wait_for(house.connected), house.said()
        house.live(600, D1=4.0, D7=5.0, D8=1.0)
        house.kill()
        assert wait_for(lambda: afar.got, 40), (house.folder / "elsewhere.log").read_text()
        assert afar.sentences[0].startswith("Go and look, or ring: no word from Test van")
        kept = Journal.read(journal)
        try:
            (told, *_) = kept.last_transitions(5)
        finally:
            kept.close()
        assert (told["kind"], told["vehicle"]) == ("readings-overdue", "test-van")
    finally:
        watcher.terminate()
        assert watcher.wait(timeout=20) == 0
        log.close()
        afar.stop()


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
