"""Resident memory of the whole daemon: 24 circuits at 1 Hz for an hour's worth of messages, fed fast over MQTT.

python -m pytest tests/benchmarks/test_bench_memory.py -m benchmark -s
"""

from __future__ import annotations

import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from brokers import running_mosquitto

HEAD = """
[vehicle]
name = "Test van"
[broker]
host = "127.0.0.1"
port = {port}
[[monitor]]
name = "dc"
dialect = "plain"
topic = "van/dc/{{circuit}}/{{quantity}}"
expect_every_s = 1
[supply.house]
kind = "dc"
nominal_v = 12.8
"""
CIRCUIT = """
[[circuit]]
id = "D{n}"
label = "Circuit {n}"
supply = "house"
feed = "switched"
protection = {{ kind = "blade-fuse", type = "C", rating_a = 15 }}
conductor = {{ area_mm2 = 4, length_m = 4, insulation_c = 105, bundled = 3, ambient_c = 30 }}
[circuit.load]
kind = "socket"
"""


def resident_mb(pid: int) -> float:
    return int(Path(f"/proc/{pid}/status").read_text().split("VmRSS:")[1].split()[0]) / 1024


def publish(port: int, seconds: int) -> None:
    """QoS 0 packets, encoded here and written to a socket."""
    out = bytearray()
    for s in range(seconds):
        for n in range(1, 25):
            for quantity, value in (("volts", 13.0 + s % 7 / 100), ("amps", 1.5 + s % 5 / 10)):
                topic, payload = f"van/dc/D{n}/{quantity}".encode(), f"{value:.2f}".encode()
                rest = len(topic).to_bytes(2, "big") + topic + payload
                out += b"\x30" + bytes([len(rest)]) + rest
    with socket.create_connection(("127.0.0.1", port)) as link:
        head = b"\x00\x04MQTT\x04\x02\x00\x3c\x00\x03pub"
        link.sendall(b"\x10" + bytes([len(head)]) + head)
        link.recv(4)
        link.sendall(out)
        link.sendall(b"\xe0\x00")


@pytest.mark.benchmark
def test_resident_memory_of_the_daemon(tmp_path: Path) -> None:
    with running_mosquitto(tmp_path) as port:
        schedule = tmp_path / "schedule.toml"
        schedule.write_text(HEAD.format(port=port) + "".join(CIRCUIT.format(n=n) for n in range(1, 25)))
        log = (tmp_path / "log").open("wb")
        command = [sys.executable, "-m", "panelward", "watch", "--schedule", str(schedule), "--journal", str(tmp_path / "j")]
        daemon = subprocess.Popen(command, stdout=log, stderr=log)
        try:
            while "broker: connected" not in (tmp_path / "log").read_text():
                time.sleep(0.1)
            figures = [resident_mb(daemon.pid)]
            for _ in range(4):  # a quarter of an hour's readings each, a minute of them at a time
                for _ in range(15):
                    publish(port, 60)
                    time.sleep(0.25)
                figures.append(resident_mb(daemon.pid))
            publish(port, 900)  # and one quarter in one burst: what waits in the inbox is memory too
            time.sleep(5.0)
            figures.append(resident_mb(daemon.pid))
            size = (tmp_path / "j").stat().st_size / 1e6
            print(
                "\nresident MB at the start, after each quarter, after one in a burst:", ", ".join(f"{f:.1f}" for f in figures)
            )
            print(f"journal {size:.1f} MB for {24 * 4500 * 2:,} one-quantity readings")
        finally:
            daemon.terminate()
            daemon.wait(timeout=20)
            log.close()
