"""`panelward listen` on a real Mosquitto: the rig's van, other dialects, other people's messages, and what goes wrong."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

import interrupted
from brokers import Mosquitto, free_port, running_mosquitto, wait_for
from listen.voices import garbage, objects, on_change, packs, plain
from panelward.commands import main
from panelward.link import Link, Message
from panelward.listen import Heard
from panelward.records import Broker
from panelward.schedule import load

VAN = Path(__file__).parents[2] / "config" / "survey-van.toml"


@pytest.fixture
def port(tmp_path: Path) -> Iterator[int]:
    with running_mosquitto(tmp_path) as port:
        yield port


def listening(port: int, *more: str) -> subprocess.Popen[str]:
    command = interrupted.command("listen", "--host", "127.0.0.1", "--port", str(port), *more)
    environment = os.environ | {"PYTHONUNBUFFERED": "1"}
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment)


def until_it_listens(process: subprocess.Popen[str]) -> str:
    assert process.stderr is not None
    line = process.stderr.readline()
    assert line.startswith("Listening at 127.0.0.1:"), line + process.stderr.read()
    return line


def publish(port: int, heard: list[Heard], *, seconds: float = 0.0) -> None:
    """What these monitors say, in their order; stretched over so many seconds of real time."""
    link = Link(Broker(host="127.0.0.1", port=port), client_id="mouth", persistent=False)
    link.start()
    try:
        assert wait_for(lambda: link.connected)
        heard = sorted(heard)
        first, last = heard[0].received_ms, heard[-1].received_ms
        begun = time.monotonic()
        for one in heard:
            due = seconds * (one.received_ms - first) / max(1, last - first)
            time.sleep(max(0.0, begun + due - time.monotonic()))
            link.publish(one.topic, one.payload, qos=1, retain=one.retained)
        time.sleep(0.5)
    finally:
        link.stop()


def test_the_rigs_van_is_drafted_as_its_own_schedule_has_it(tmp_path: Path, port: int) -> None:
    """Topic, period, circuits, probes, step, will: as config/survey-van.toml says. The rig ends while it is listened to."""
    van = tmp_path / "van.toml"
    van.write_text(re.sub(r"(?m)^port = \d+$", f"port = {port}", VAN.read_text(encoding="utf-8"), count=1), encoding="utf-8")
    command = [sys.executable, "-m", "panelward", "rig", "--schedule", str(van), "--clock", "2026-05-04T12:00Z,1"]
    rig = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=os.environ | {"PYTHONUNBUFFERED": "1"})
    out = tmp_path / "draft.toml"
    try:
        assert rig.stderr is not None
        while "connected" not in rig.stderr.readline():
            assert rig.poll() is None
        ear = listening(port, "--seconds", "15", "--out", str(out))
        until_it_listens(ear)
        time.sleep(9.5)
        rig.send_signal(signal.SIGTERM)
        rig.communicate(timeout=20)
        said, errors = ear.communicate(timeout=60)
    finally:
        rig.kill()
    assert ear.returncode == 0, errors
    *lines, command_next = said.splitlines()
    assert max(len(line) for line in lines) <= 80, said
    assert command_next == f"  panelward check --schedule {out}"  # a path stays whole
    assert "van/dc/{circuit}/{quantity}  plain   15 and   volts amps watts      2 s" in said
    schedule, _ = load(VAN)
    draft, own = tomllib.loads(out.read_text(encoding="utf-8")), tomllib.loads(VAN.read_text(encoding="utf-8"))
    (monitor,) = draft["monitor"]
    for key in ("dialect", "topic", "expect_every_s", "will"):
        assert monitor[key] == own["monitor"][0][key], key
    assert monitor["sense"] == {key: own["monitor"][0]["sense"][key] for key in ("resolution_a", "publishes")}
    assert {c["id"] for c in draft["circuit"]} == {c.id for c in schedule.circuits}
    assert {p["id"] for p in draft["probe"]} == {p.id for p in schedule.probes}
    assert draft["broker"] == {"host": "127.0.0.1", "port": port}
    buses = {c["id"]: c.get("supply") for c in draft["circuit"]}
    of_house = {c.id for c in schedule.circuits if c.supply == "house"}
    assert len({buses[id_] for id_ in of_house}) == 1
    assert buses["A1"] not in (None, buses["D1"])
    # The draft is vetted as it is: all that is missing is named, nothing else is wrong.
    check = subprocess.run(
        [sys.executable, "-m", "panelward", "check", "--schedule", str(out)], capture_output=True, text=True, check=False
    )
    assert check.returncode == 2
    faults = re.findall(r"found\s+nothing", check.stderr)
    assert len(faults) == len(re.findall(r"wanted", check.stderr)) >= 2 * len(draft["circuit"])


def test_three_dialects_and_what_else_goes_over_a_broker(port: int) -> None:
    publish(port, [h._replace(retained=True) for h in garbage()[:3]])
    ear = listening(port, "--seconds", "9", "--json")
    until_it_listens(ear)
    voices = [
        *plain(seconds=20, ways=("D1", "D2")), *objects(seconds=20, ways=("J1", "J2"), period_s=2.0),
        *packs(seconds=20, ways=("S1", "S2"), period_s=2.0),
        # What a broker takes from a client: no control characters, nothing under $.
        *[h for h in garbage() if h.topic[0] != "$" and "\x1b" not in h.topic],
    ]  # fmt: skip
    publish(port, voices, seconds=6.0)
    said, errors = ear.communicate(timeout=60)
    assert ear.returncode == 0, errors
    found = json.loads(said)
    monitors = {m["monitor"]["topic"]: m for m in found["monitors"]}
    assert set(monitors) == {"van/dc/{circuit}/{quantity}", "cabin/{circuit}", "plant/panel"}
    assert {c["id"] for m in found["monitors"] for c in m["circuits"]} == {"D1", "D2", "J1", "J2", "S1", "S2"}
    # 20 s of theirs in 6 of ours; every 2 s is every 0.6 s.
    assert all(0.5 <= m["every_s"] <= 0.8 for m in found["monitors"]), monitors
    assert found["draft_reads"] >= sum(m["understood"] for m in found["monitors"])
    assert any(each["why"] == "bytes that are neither text nor JSON" for each in found["unread"])
    assert found["own"] == 1
    raw = tomllib.loads(found["draft"])
    assert {m["dialect"] for m in raw["monitor"]} == {"plain", "json", "senml"}


def test_on_change_and_ctrl_c_that_keeps_what_was_heard(port: int) -> None:
    ear = listening(port, "--seconds", "600")
    until_it_listens(ear)
    publish(port, on_change(ways=("D1", "D2", "D3")), seconds=5.0)
    ear.send_signal(signal.SIGINT)
    said, errors = ear.communicate(timeout=60)
    assert ear.returncode == 0, errors
    raw = tomllib.loads(said)  # the draft alone is on stdout
    assert raw["monitor"][0]["sense"]["publishes"] == "on-change"
    assert "Ended early." in errors
    assert "on change" in errors


def test_it_publishes_nothing_and_leaves_no_session(tmp_path: Path, port: int) -> None:
    heard: list[Message] = []
    link = Link(Broker(host="127.0.0.1", port=port), client_id="ear", on_message=heard.append, persistent=False)
    link.subscribe((("#", 0),))
    link.start()
    try:
        assert wait_for(lambda: link.connected)
        assert main(["listen", "--host", "127.0.0.1", "--port", str(port), "--seconds", "1"]) == 1
    finally:
        link.stop()
    assert heard == []
    log = (tmp_path / "mosquitto.log").read_text(errors="replace")
    (line,) = [line for line in log.splitlines() if "panelward-listen-" in line and "New client connected" in line]
    assert "c1" in line  # clean start


def test_nothing_heard_and_nothing_understood_are_said(port: int, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    out = tmp_path / "draft.toml"
    assert main(["listen", "--host", "127.0.0.1", "--port", str(port), "--seconds", "1", "--out", str(out)]) == 1
    assert "access list" in capsys.readouterr().out
    publish(port, [Heard(0, "weather/now", b"sunny", True)])
    assert main(["listen", "--host", "127.0.0.1", "--port", str(port), "--seconds", "1", "--out", str(out)]) == 1
    said = capsys.readouterr().out
    assert "weather/now: sunny" in said
    assert "nothing is drafted" in said
    assert not out.exists()


def test_a_file_is_never_written_over(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    out = tmp_path / "draft.toml"
    out.write_text("mine")
    assert main(["listen", "--host", "127.0.0.1", "--port", str(free_port()), "--out", str(out)]) == 2
    assert "not written over" in " ".join(capsys.readouterr().err.split())
    assert out.read_text() == "mine"


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--topic", "van/#/x"], "MQTT topic filter"),
        (["--seconds", "0"], "--seconds goes from 1"),
        (["--port", "70000"], "broker.port: wanted"),
        (["--password-file", "p"], "broker.username: wanted"),
        (["--cert-file", "c"], "broker.key_file: wanted"),
        (["--vehicle", "a\nb"], "vehicle.name: wanted"),
        (["--out", "nowhere/at/all/draft.toml"], "there is no folder"),
    ],
)
def test_bad_input(options: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["listen", "--host", "127.0.0.1", *options]) == 2
    assert said in " ".join(capsys.readouterr().err.split())


def test_no_broker_and_a_wrong_password(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["listen", "--host", "127.0.0.1", "--port", str(free_port()), "--seconds", "1"]) == 3
    assert "can't be reached: Connection refused" in " ".join(capsys.readouterr().err.split())
    users = tmp_path / "users"
    subprocess.run(["mosquitto_passwd", "-b", "-c", str(users), "eva", "right"], check=True, capture_output=True)
    users.chmod(0o600)
    broker = Mosquitto(tmp_path, extra=f"allow_anonymous false\npassword_file {users}\n").start()
    try:
        password = tmp_path / "password"
        password.write_text("wrong\n")
        password.chmod(0o600)
        options = ["listen", "--host", "127.0.0.1", "--port", str(broker.port), "--username", "eva", "--seconds", "1"]
        assert main([*options, "--password-file", str(password)]) == 3
        assert "check username and password_file" in " ".join(capsys.readouterr().err.split())
        password.write_text("right\n")
        assert main([*options, "--password-file", str(password)]) == 1
    finally:
        broker.stop()
