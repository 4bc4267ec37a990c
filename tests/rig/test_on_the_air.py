"""The rig on the air: a real Mosquitto, the rig as a process of its own, a real subscriber."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from pathlib import Path

from brokers import running_mosquitto, wait_for
from panelward.link import Link, Message
from panelward.records import Broker

SCHEDULE = Path(__file__).parents[2] / "config" / "survey-van.toml"
RATE = 60


def rig(schedule: Path, *more: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "panelward", "rig", "--schedule", str(schedule), "--clock", f"2026-05-04T12:00Z,{RATE}"]
    return subprocess.Popen([*command, *more], stderr=subprocess.PIPE, text=True, env=os.environ | {"PYTHONUNBUFFERED": "1"})


def on_port(folder: Path, port: int, host: str = "127.0.0.1") -> Path:
    text = re.sub(r"(?m)^port = \d+$", f"port = {port}", SCHEDULE.read_text(encoding="utf-8"), count=1)
    path = folder / "van.toml"
    path.write_text(text.replace('host = "127.0.0.1"', f'host = "{host}"'), encoding="utf-8")
    return path


def test_it_publishes_by_the_schedules_topics_says_ready_and_says_when_it_goes(tmp_path: Path) -> None:
    got: list[Message] = []
    with running_mosquitto(tmp_path) as port:
        link = Link(Broker(host="127.0.0.1", port=port), client_id="ear", on_message=got.append, persistent=False)
        link.subscribe((("van/dc/#", 0),))
        link.start()
        assert wait_for(lambda: link.connected)
        process = rig(on_port(tmp_path, port), "--seed", "2")
        try:
            # 16 circuits of 3 quantities and 2 probes every 2 s of the van's time: 50 messages each thirtieth of a second.
            assert wait_for(lambda: len(got) > 30 * 50, 60.0)
            process.send_signal(signal.SIGTERM)
            _, said = process.communicate(timeout=20)
        finally:
            process.kill()
        assert process.returncode == 0, said
        assert wait_for(lambda: any(m.payload == b"lost" for m in got))
        link.stop()
    states = [(m.topic, m.payload) for m in got if m.topic == "van/dc/state"]
    assert states == [("van/dc/state", b"ready"), ("van/dc/state", b"lost")]
    topics = {m.topic for m in got}
    for circuit in ("SH", *(f"D{n}" for n in range(1, 14)), "A1"):
        assert {f"van/dc/{circuit}/{quantity}" for quantity in ("volts", "amps", "watts")} <= topics
    assert {"van/dc/T1/celsius", "van/dc/D4/closed", "van/dc/D9/closed"} <= topics
    assert not any(t.startswith("van/dc/T1/") and t != "van/dc/T1/celsius" for t in topics)
    assert all(-600.0 < float(m.payload) < 2500.0 for m in got if m.topic != "van/dc/state")


def test_it_refuses_a_broker_elsewhere(tmp_path: Path) -> None:
    process = rig(on_port(tmp_path, 1883, "192.0.2.7"))  # RFC 5737: an address of documentation
    _, said = process.communicate(timeout=20)
    assert process.returncode == 3
    assert "on this machine" in said


def test_it_ends_by_itself_after_the_time_asked_for(tmp_path: Path) -> None:
    with running_mosquitto(tmp_path) as port:
        process = rig(on_port(tmp_path, port), "--for-s", "1")
        _, said = process.communicate(timeout=30)
    assert process.returncode == 0
    assert "messages published" in said
