"""Live: CPU a message of the daemon's whole path beside a bare paho loop that only counts the same messages.

    python -m pytest tests/benchmarks -m benchmark -s

Ratios are measured in one run, in turn, because such machines are noisy. Nothing is asserted about time.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

BARE = """
import sys, time, resource
import paho.mqtt.client as mqtt
port, wanted, version = int(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
count = 0
def on_message(client, userdata, message):
    global count
    count += 1
    if count >= wanted:
        client.disconnect()
client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="bare", protocol=version)
client.on_message = on_message
client.on_connect = lambda c, u, f, r, p: c.subscribe("van/dc/#", 0)
client.connect("127.0.0.1", port)
client.on_subscribe = lambda *a: print("ready", flush=True)
begun = None
client.loop_forever()
use = resource.getrusage(resource.RUSAGE_SELF)
print(use.ru_utime + use.ru_stime)
"""

WHOLE = """
import sys, time, resource, threading
from panelward.daemon import Daemon
import panelward.daemon as room
schedule, journal, wanted = sys.argv[1], sys.argv[2], int(sys.argv[3])
daemon = Daemon(schedule, journal, {}, log=lambda text: print("ready", flush=True) if "connected" in text else None)
took = daemon._message
count = 0
def counted(message):
    global count
    took(message)
    count += 1
    if count >= wanted:
        daemon._stopping = True
daemon._message = counted
daemon.run()
use = resource.getrusage(resource.RUSAGE_SELF)
print(use.ru_utime + use.ru_stime)
"""

MESSAGES = 60_000
ROUNDS = 3


def publish(port: int, messages: int) -> None:
    """Encoded once and written to a socket: the publisher must not be what is measured."""
    import socket

    circuits = [f"D{n}" for n in range(1, 13)]
    out = bytearray()
    for n in range(messages):
        circuit, quantity = circuits[n // 2 % 12], ("volts", "amps")[n % 2]
        topic = f"van/dc/{circuit}/{quantity}".encode()
        payload = f"{(13.0 if quantity == 'volts' else 1.5) + n % 7 / 100:.2f}".encode()
        rest = len(topic).to_bytes(2, "big") + topic + payload
        out += b"\x30" + bytes([len(rest)]) + rest
    with socket.create_connection(("127.0.0.1", port)) as link:
        name = b"blaster"
        head = b"\x00\x04MQTT\x04\x02\x00\x3c" + len(name).to_bytes(2, "big") + name
        link.sendall(b"\x10" + bytes([len(head)]) + head)
        link.recv(4)
        link.sendall(out)
        link.sendall(b"\xe0\x00")


def cpu_s(command: list[str], port: int, messages: int) -> float:
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline().strip() == "ready"
    if command[2] == WHOLE:
        import time

        time.sleep(0.5)  # it has subscribed when the state is said; the broker must have taken it too
    publish(port, messages)
    out, _ = process.communicate(timeout=300)
    return float(out.strip().splitlines()[-1])


@pytest.mark.benchmark
def test_cpu_a_message_beside_a_bare_loop(tmp_path: Path) -> None:
    from brokers import running_mosquitto

    text = (Path(__file__).parents[2] / "config" / "survey-van.toml").read_text(encoding="utf-8")
    rows = []
    with running_mosquitto(tmp_path) as port:
        schedule = tmp_path / "schedule.toml"
        schedule.write_text(text.replace("port = 1883", f"port = {port}"), encoding="utf-8")
        for n in range(ROUNDS):
            bare = [sys.executable, "-c", BARE, str(port), "{}", "4"]
            bare5 = [sys.executable, "-c", BARE, str(port), "{}", "5"]
            whole = [sys.executable, "-c", WHOLE, str(schedule), str(tmp_path / f"j{n}.sqlite"), "{}"]
            figures = {}
            for name, command in (("bare", bare), ("bare5", bare5), ("whole", whole)):
                few, many = 2000, MESSAGES
                base = cpu_s([a.replace("{}", str(few)) if a == "{}" else a for a in command], port, few)
                full = cpu_s([a.replace("{}", str(many)) if a == "{}" else a for a in command], port, many)
                figures[name] = (full - base) / (many - few) * 1e6  # start-up taken off
            rows.append(figures)
            print(json.dumps({k: round(v, 1) for k, v in figures.items()}), "µs CPU a message")
    own = sorted(r["whole"] - r["bare"] for r in rows)[len(rows) // 2]
    share = sorted(r["bare"] / r["whole"] for r in rows)[len(rows) // 2]
    print(f"own path over a bare loop on 3.1.1: {own:.1f} µs a message; {share:.0%} of its rate")
    own = sorted(r["whole"] - r["bare5"] for r in rows)[len(rows) // 2]
    share = sorted(r["bare5"] / r["whole"] for r in rows)[len(rows) // 2]
    print(f"own path over a bare loop on MQTT 5, as the daemon: {own:.1f} µs a message; {share:.0%} of its rate")
