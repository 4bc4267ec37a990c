"""A real Mosquitto redelivers what was never acknowledged: the daemon was killed, the reading must not be lost with it."""

from __future__ import annotations

import socket
from dataclasses import replace
from pathlib import Path

from brokers import running_mosquitto, wait_for
from panelward.intake import Intake
from panelward.link import Link, Message
from panelward.records import Broker, Reading
from plans import PLAN, T0


def _text(text: str) -> bytes:
    return len(text).to_bytes(2, "big") + text.encode()


def _packet(kind: int, body: bytes) -> bytes:
    assert len(body) < 128
    return bytes([kind, len(body)]) + body


def test_what_was_on_its_way_when_we_were_killed_is_read_after_all(tmp_path: Path) -> None:
    topic = "van/D7/closed"
    with running_mosquitto(tmp_path) as port:
        # A 3.1.1 client that keeps its session (clean session 0), takes the message and dies before its PUBACK.
        with socket.create_connection(("127.0.0.1", port), timeout=10) as dying:
            dying.sendall(_packet(0x10, _text("MQTT") + b"\x04\x00\x00\x3c" + _text("watch")))
            assert dying.recv(4)[3] == 0
            dying.sendall(_packet(0x82, b"\x00\x01" + _text("van/#") + b"\x01"))
            assert dying.recv(5)[4] == 1
            mouth = Link(Broker(host="127.0.0.1", port=port), client_id="monitor", persistent=False)
            mouth.start()
            mouth.publish(topic, b"0")
            assert topic.encode() in dying.recv(200)
            mouth.stop()
        got: list[Message] = []
        link = Link(Broker(host="127.0.0.1", port=port), client_id="watch", on_message=got.append)
        link.start()
        try:
            assert wait_for(lambda: got), "not redelivered"
        finally:
            link.stop()
    (message,) = got
    assert (message.topic, message.payload, message.dup) == (topic, b"0", True)
    intake = Intake(replace(PLAN, monitors=(replace(PLAN.monitors[0], topic="van/{circuit}/{quantity}"),)))
    found = intake.message(message.topic, message.payload, received_ms=T0, dup=message.dup)
    assert found == (Reading("D7", T0, T0, closed=False),)
    assert intake.message(message.topic, message.payload, received_ms=T0 + 1, dup=True) == ()
