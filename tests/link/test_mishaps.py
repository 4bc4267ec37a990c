"""The link when something goes wrong on the way: what was published is not lost, and the link does not die of it."""

from __future__ import annotations

import socket
import subprocess
import threading
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from brokers import Mosquitto, free_port, wait_for
from panelward.errors import EnvironmentFault
from panelward.link import Link, Message, request
from panelward.records import Broker


class Gate:
    """A TCP port before a real broker. It passes bytes, or shuts the door on whom it does not like."""

    def __init__(self, broker_port: int) -> None:
        self._broker_port = broker_port
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        self.seen: list[int] = []  # the protocol version of each CONNECT: 5 is MQTT 5, 4 is 3.1.1 (3.1.2.2 of both)
        self.shut: tuple[int, ...] = ()  # versions that are not let in
        self._open: list[socket.socket] = []
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self) -> None:
        while True:
            try:
                client, _ = self._listener.accept()
            except OSError:
                return
            first = client.recv(4096)
            self.seen.append(first[first.index(b"MQTT") + 4] if b"MQTT" in first else 0)
            if self.seen[-1] in self.shut:
                client.close()
                continue
            server = socket.create_connection(("127.0.0.1", self._broker_port))
            server.sendall(first)
            self._open += [client, server]
            for source, sink in ((client, server), (server, client)):
                threading.Thread(target=_pass, args=(source, sink), daemon=True).start()

    def drop(self) -> None:
        """Cut every connection that stands."""
        while self._open:
            with suppress(OSError):
                self._open.pop().shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self.drop()
        self._thread.join(5)


def _pass(source: socket.socket, sink: socket.socket) -> None:
    with suppress(OSError):
        while data := source.recv(65536):
            sink.sendall(data)
    for end in (source, sink):
        with suppress(OSError):
            end.shutdown(socket.SHUT_RDWR)
    source.close()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    made = Mosquitto(tmp_path).start()
    yield made
    made.stop()


@pytest.fixture
def gate(broker: Mosquitto) -> Iterator[Gate]:
    made = Gate(broker.port)
    yield made
    made.close()


@pytest.fixture
def links() -> Iterator[list[Link]]:
    made: list[Link] = []
    yield made
    for link in made:
        link.stop()


def listener(port: int, got: list[Message], links: list[Link]) -> None:
    ear = Link(Broker(host="127.0.0.1", port=port), client_id="ear", on_message=got.append, persistent=False)
    links.append(ear)
    ear.subscribe((("panelward/#", 1),))
    ear.start()
    assert wait_for(lambda: ear.connected)


def test_what_was_published_before_the_fallback_to_3_1_1_arrives(broker: Mosquitto, gate: Gate, links: list[Link]) -> None:
    got: list[Message] = []
    listener(broker.port, got, links)
    gate.shut = (5,)
    links.append(Link(Broker(host="127.0.0.1", port=gate.port), client_id="old"))
    for n in range(3):
        links[1].publish("panelward/x", str(n).encode(), expiry_s=600)
    links[1].start()
    assert wait_for(lambda: len(got) >= 3, 30), (gate.seen, got)
    assert [m.payload for m in got] == [b"0", b"1", b"2"]
    assert gate.seen == [5, 5, 4]
    # And what is published while it is away.
    gate.drop()
    assert wait_for(lambda: not links[1].connected)
    links[1].publish("panelward/x", b"3")
    assert wait_for(lambda: got[-1].payload == b"3", 30), got


def test_what_has_expired_by_the_first_connection_is_not_sent(broker: Mosquitto, links: list[Link]) -> None:
    got: list[Message] = []
    listener(broker.port, got, links)
    now_s = [1000.0]
    late = Link(Broker(host="127.0.0.1", port=broker.port), client_id="late", monotonic=lambda: now_s[0])
    links.append(late)
    late.publish("panelward/x", b"old", expiry_s=60)
    late.publish("panelward/x", b"new", expiry_s=600)
    now_s[0] += 61
    late.start()
    assert wait_for(lambda: any(m.payload == b"new" for m in got)), got
    assert [m.payload for m in got] == [b"new"]


def test_a_broker_that_has_spoken_5_is_not_taken_for_an_old_one(gate: Gate, links: list[Link]) -> None:
    """One that is starting again may accept and close at once."""
    links.append(Link(Broker(host="127.0.0.1", port=gate.port), client_id="new"))
    links[0].start()
    assert wait_for(lambda: links[0].connected)
    gate.shut = (5, 4)
    gate.drop()
    assert wait_for(lambda: len(gate.seen) >= 4, 30), gate.seen
    gate.shut = ()
    assert wait_for(lambda: links[0].connected, 30), gate.seen
    assert set(gate.seen) == {5}
    assert links[0].version == 5


def test_a_fault_of_the_receiver_does_not_end_the_link(broker: Mosquitto, links: list[Link]) -> None:
    got: list[bytes] = []
    said: list[str] = []

    def take(message: Message) -> None:
        if message.payload == b"bad":
            raise ZeroDivisionError("of the receiver")
        got.append(message.payload)

    ear = Link(Broker(host="127.0.0.1", port=broker.port), client_id="ear", on_message=take, log=said.append)
    links.append(ear)
    ear.subscribe((("panelward/x", 1),))
    ear.start()
    assert wait_for(lambda: ear.connected)
    for payload in (b"bad", b"good"):
        ear.publish("panelward/x", payload)
    assert wait_for(lambda: got == [b"good"]), (got, said)
    assert any("ZeroDivisionError: of the receiver" in line for line in said)


def test_a_request_with_a_wrong_password_says_so_without_waiting_for_an_answer(tmp_path: Path) -> None:
    passwords = tmp_path / "passwd"
    passwords.touch(mode=0o600)
    subprocess.run(["mosquitto_passwd", "-b", str(passwords), "fitter", "right"], check=True, capture_output=True)
    secret = tmp_path / "secret"
    secret.write_text("wrong\n")
    secret.chmod(0o600)
    broker = Mosquitto(tmp_path, extra=f"allow_anonymous false\npassword_file {passwords}\n").start()
    ended: list[EnvironmentFault] = []

    def ask() -> None:
        at = Broker(host="127.0.0.1", port=broker.port, username="fitter", password_file=str(secret))
        try:
            request(at, "panelward/x/request/drill", {"id": "1"}, timeout_s=60, client_id="asker")
        except EnvironmentFault as fault:
            ended.append(fault)

    asking = threading.Thread(target=ask, daemon=True)
    asking.start()
    try:
        assert wait_for(lambda: ended, 20)
        assert "password_file in [broker]" in str(ended[0])
        # Said by a person's mistake, so not tried again and again: the broker has seen us once.
        log = (tmp_path / "mosquitto.log").read_text(errors="replace")
        assert log.count("not authorised") == 1, log
    finally:
        broker.stop()
        asking.join(70)


class SlowWaker:
    """A socket on whose way something else happens: the one who sends is held up until it is closed, or for a moment."""

    def __init__(self, real: socket.socket) -> None:
        self._real = real
        self.reached, self._closed = threading.Event(), threading.Event()

    def send(self, data: bytes) -> int:
        self.reached.set()
        self._closed.wait(2.0)
        return self._real.send(data)

    def close(self) -> None:
        self._real.close()
        self._closed.set()


def test_who_publishes_while_the_connection_is_lost_is_not_hit_by_it(broker: Mosquitto, gate: Gate, links: list[Link]) -> None:
    """What wakes paho's thread is closed with each lost connection, and the one who publishes writes to it."""
    got: list[Message] = []
    listener(broker.port, got, links)
    links.append(Link(Broker(host="127.0.0.1", port=gate.port), client_id="busy"))
    links[1].start()
    assert wait_for(lambda: links[1].connected)
    client = links[1]._client
    waker = SlowWaker(client._sockpairW)  # type: ignore[arg-type]
    client._sockpairW = waker  # type: ignore[assignment]
    faults: list[Exception] = []

    def publish() -> None:
        try:
            links[1].publish("panelward/x", b"1")
        except Exception as fault:  # it would have ended the daemon
            faults.append(fault)

    busy = threading.Thread(target=publish, daemon=True)
    busy.start()
    assert waker.reached.wait(10)
    gate.drop()
    busy.join(10)
    assert faults == []
    assert wait_for(lambda: got, 30), "and it arrives"


def test_what_the_access_list_refuses_is_said_once(tmp_path: Path, links: list[Link]) -> None:
    access = tmp_path / "acl"
    access.write_text("topic readwrite allowed/#\n")
    access.chmod(0o600)
    queue = "max_queued_messages 100000\n"  # the 0 of the usual test broker ends the connection: see deploy/mosquitto
    whole = f"listener {(port := free_port())} 127.0.0.1\nallow_anonymous true\nacl_file {access}\n{queue}"
    broker = Mosquitto(tmp_path, port=port, whole=whole).start()
    try:
        said: list[str] = []
        links.append(Link(Broker(host="127.0.0.1", port=port), client_id="mouth", log=said.append))
        links[0].start()
        assert wait_for(lambda: links[0].connected)
        for topic in ("allowed/x", "other/x", "other/x", "other/y"):
            links[0].publish(topic, b"1")
        assert wait_for(lambda: len(said) == 2), said
        assert links[0].refused_topics == ["other/x", "other/y"]
        assert "refused 'other/x' (Not authorized): nobody gets it by MQTT. Allow this client to write it" in said[0]
        assert links[0].connected
    finally:
        broker.stop()


@pytest.mark.parametrize(
    "topic", ["a/+", "a/#", "", "a/\x00", "a/\x1f", "a/\x85", "a/\ud800", "a/\ufdd0", "a/\U0001ffff", "å" * 40_000]
)
def test_a_topic_that_cannot_be_published_to_is_said_once_and_costs_nothing_else(
    broker: Mosquitto, links: list[Link], topic: str
) -> None:
    """MQTT 5.0, 1.5.4 and 4.7: with some of them the broker would close the connection, at each new try again."""
    got: list[str] = []
    ear = Link(
        Broker(host="127.0.0.1", port=broker.port), client_id="ear", on_message=lambda m: got.append(m.topic), persistent=False
    )
    ear.subscribe((("a/#", 1),))
    said: list[str] = []
    lost: list[str] = []
    link = Link(
        Broker(host="127.0.0.1", port=broker.port), client_id="x", log=said.append, persistent=False,
        on_state=lambda connected, why: None if connected else lost.append(why),
    )  # fmt: skip
    links += [ear, link]
    ear.start()
    assert wait_for(lambda: ear.connected)
    link.publish(topic, b"queued")
    link.start()
    assert wait_for(lambda: link.connected)
    link.publish(topic, b"sent")
    link.publish("a/Kåri 🚀 100%", b"a twin")
    assert wait_for(lambda: got == ["a/Kåri 🚀 100%"]), (got, said)
    assert lost == []
    assert len(said) == 1
    assert "no MQTT topic" in said[0]
