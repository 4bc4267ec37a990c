"""The link on a real Mosquitto: versions, sessions, bursts, refusals, TLS; and a broker that is not what it should be."""

from __future__ import annotations

import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from brokers import Mosquitto, free_port, wait_for
from panelward.errors import EnvironmentFault
from panelward.link import Link, Message, request
from panelward.records import Broker

DEPLOYED = Path(__file__).parents[2] / "deploy" / "mosquitto.conf"


class Ear:
    """A link with what it heard and said."""

    def __init__(self, port: int, *, client_id: str = "ear", persistent: bool = True, **broker: object) -> None:
        self.got: list[Message] = []
        self.states: list[tuple[bool, str]] = []
        self.said: list[str] = []
        self.link = Link(
            Broker(host="127.0.0.1", port=port, **broker),  # type: ignore[arg-type]
            client_id=client_id,
            on_message=self.got.append,
            on_state=lambda connected, why: self.states.append((connected, why)),
            log=self.said.append,
            persistent=persistent,
        )

    def up(self, *filters: str) -> Ear:
        self.link.subscribe(tuple((f, 1) for f in filters))
        self.link.start()
        assert wait_for(lambda: self.link.connected, 20), (self.states, self.said)
        time.sleep(0.2)  # the subscription has been taken
        return self


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    made = Mosquitto(tmp_path).start()
    yield made
    made.stop()


@pytest.fixture
def ears() -> Iterator[list[Ear]]:
    made: list[Ear] = []
    yield made
    for ear in made:
        ear.link.stop()


def test_mqtt_5_first(broker: Mosquitto, ears: list[Ear]) -> None:
    ears.append(Ear(broker.port).up("van/#"))
    assert ears[0].link.version == 5
    ears[0].link.publish("van/x", b"1")
    assert wait_for(lambda: ears[0].got)
    assert ears[0].got[0][:4] == ("van/x", b"1", False, False)


def test_a_burst_of_ten_thousand_loses_none_with_the_deployed_queues(tmp_path: Path, ears: list[Ear]) -> None:
    """The usual defaults lose most of such a burst at QoS 1 (measured); deploy/mosquitto.conf's queue settings do not."""
    settings = [line for line in DEPLOYED.read_text().splitlines() if line.startswith(("max_", "message_size"))]
    assert any("max_queued_messages 0" in line for line in settings)
    broker = Mosquitto(tmp_path, extra="allow_anonymous true\n" + "\n".join(settings) + "\n").start()
    try:
        ears.append(Ear(broker.port).up("van/#"))
        ears.append(Ear(broker.port, client_id="mouth", persistent=False).up())
        for n in range(10_000):
            ears[1].link.publish(f"van/D{n % 12}/amps", str(n).encode())
        assert wait_for(lambda: len(ears[0].got) >= 10_000, 60), len(ears[0].got)
        assert [int(m.payload) for m in ears[0].got] == list(range(10_000))
    finally:
        broker.stop()


def test_a_persistent_session_brings_what_came_meanwhile(broker: Mosquitto, ears: list[Ear]) -> None:
    ears.append(Ear(broker.port).up("van/#"))
    ears[0].link.stop()
    ears.append(Ear(broker.port, client_id="mouth", persistent=False).up())
    for n in range(5):
        ears[1].link.publish("van/x", str(n).encode())
    time.sleep(0.5)
    ears.append(Ear(broker.port).up("van/#"))
    assert wait_for(lambda: len(ears[2].got) >= 5), ears[2].got
    assert [m.payload for m in ears[2].got[:5]] == [b"0", b"1", b"2", b"3", b"4"]


def test_a_retained_message_is_marked(broker: Mosquitto, ears: list[Ear]) -> None:
    ears.append(Ear(broker.port, client_id="mouth", persistent=False).up())
    ears[0].link.publish("van/x", b"old", retain=True)
    time.sleep(0.3)
    ears.append(Ear(broker.port).up("van/#"))
    assert wait_for(lambda: ears[1].got)
    assert ears[1].got[0].retained is True


def test_it_comes_back_after_a_restart_of_the_broker(broker: Mosquitto, ears: list[Ear]) -> None:
    ears.append(Ear(broker.port).up("van/#"))
    broker.stop()
    assert wait_for(lambda: not ears[0].link.connected)
    broker.start()
    assert wait_for(lambda: ears[0].link.connected, 30), ears[0].states
    ears.append(Ear(broker.port, client_id="mouth", persistent=False).up())
    ears[1].link.publish("van/x", b"1")
    assert wait_for(lambda: ears[0].got)


def test_a_refused_subscription_is_a_clear_error(tmp_path: Path, ears: list[Ear]) -> None:
    access = tmp_path / "acl"
    access.write_text("topic read allowed/#\n")
    access.chmod(0o700)
    # Mosquitto grants a filter and filters what is delivered; a broker that refuses says so in its SUBACK: see below.
    ears.append(Ear(_suback_port(0x87), persistent=False))
    ears[0].link.subscribe((("van/#", 1),))
    ears[0].link.start()
    assert wait_for(lambda: ears[0].said), ears[0].states
    assert "refused the subscription to 'van/#'" in ears[0].said[0]
    assert ears[0].link.refused_filters == ["van/#"]


def _suback_port(code: int) -> int:
    """A socket that takes an MQTT 5 client and refuses what it subscribes to."""
    listener = socket.create_server(("127.0.0.1", 0))

    def serve() -> None:
        link, _ = listener.accept()
        link.recv(4096)
        link.sendall(b"\x20\x03\x00\x00\x00")
        while True:
            packet = link.recv(4096)
            if not packet or packet[0] >> 4 == 14:
                break
            if packet[0] >> 4 == 8:
                link.sendall(b"\x90\x04" + packet[2:4] + b"\x00" + bytes([code]))
        link.close()
        listener.close()

    threading.Thread(target=serve, daemon=True).start()
    return int(listener.getsockname()[1])


def test_closed_before_it_answered_twice_means_3_1_1(ears: list[Ear]) -> None:
    """A listener that drops an MQTT 5 client silently, as some brokers do, and takes a 3.1.1 client."""
    listener = socket.create_server(("127.0.0.1", 0))
    seen: list[int] = []

    def serve() -> None:
        for _ in range(3):
            link, _ = listener.accept()
            packet = link.recv(4096)
            version = packet[packet.index(b"MQTT") + 4]
            seen.append(version)
            if version == 5:
                link.close()
                continue
            link.sendall(b"\x20\x02\x00\x00")
            while link.recv(4096):
                pass
            link.close()
        listener.close()

    threading.Thread(target=serve, daemon=True).start()
    ears.append(Ear(listener.getsockname()[1], persistent=False))
    ears[0].link.start()
    assert wait_for(lambda: ears[0].link.connected, 30), (seen, ears[0].states)
    assert seen == [5, 5, 4]
    assert len([s for s in ears[0].said if "3.1.1" in s]) == 1


@pytest.mark.parametrize("code", [0x84])
def test_refused_for_its_version_means_3_1_1(code: int, ears: list[Ear]) -> None:
    listener = socket.create_server(("127.0.0.1", 0))
    seen: list[int] = []

    def serve() -> None:
        for _ in range(2):
            link, _ = listener.accept()
            packet = link.recv(4096)
            seen.append(packet[packet.index(b"MQTT") + 4])
            if seen[-1] == 5:
                link.sendall(b"\x20\x03\x00" + bytes([code]) + b"\x00")
                link.close()
                continue
            link.sendall(b"\x20\x02\x00\x00")
            while link.recv(4096):
                pass
            link.close()
        listener.close()

    threading.Thread(target=serve, daemon=True).start()
    ears.append(Ear(listener.getsockname()[1], persistent=False))
    ears[0].link.start()
    assert wait_for(lambda: ears[0].link.connected, 30), (seen, ears[0].states)
    assert seen == [5, 4]


def test_the_broker_of_the_demo_extra_on_3_1_1(ears: list[Ear]) -> None:
    port = free_port()
    code = (
        f"import time\nfrom iotcore import Broker\nBroker(port={port}, listen='127.0.0.1').start()\n"
        "print('up', flush=True)\ntime.sleep(60)"
    )
    process = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    try:
        assert process.stdout is not None
        assert process.stdout.readline().strip() == "up"
        ears.append(Ear(port).up("van/#"))
        assert ears[0].link.version == 4
        ears[0].link.publish("van/x", b"1")
        assert wait_for(lambda: ears[0].got)
    finally:
        process.terminate()
        process.wait(timeout=10)
        if process.stdout is not None:
            process.stdout.close()


def test_a_broker_that_is_not_there_is_said_and_awaited(tmp_path: Path, ears: list[Ear]) -> None:
    port = free_port()
    ears.append(Ear(port))
    ears[0].link.start()
    assert wait_for(lambda: ears[0].states)
    assert "can't be reached: Connection refused" in ears[0].states[0][1]
    broker = Mosquitto(tmp_path, port=port).start()
    try:
        assert wait_for(lambda: ears[0].link.connected, 30)
        assert ears[0].link.version == 5  # nobody there is no sign of an old broker
    finally:
        ears.pop().link.stop()
        broker.stop()


# paho leaves the socket of a failed handshake to the collector.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_tls_with_the_right_authority_and_without(tmp_path: Path, ears: list[Ear]) -> None:
    def openssl(*arguments: str) -> None:
        subprocess.run(["openssl", *arguments], check=True, capture_output=True, cwd=tmp_path)

    openssl("req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", "ca.key", "-out", "ca.crt", "-days", "2",
            "-subj", "/CN=test authority")  # fmt: skip
    openssl("req", "-newkey", "rsa:2048", "-nodes", "-keyout", "server.key", "-out", "server.csr", "-subj", "/CN=127.0.0.1")
    (tmp_path / "ext").write_text("subjectAltName=IP:127.0.0.1\n")
    openssl("x509", "-req", "-in", "server.csr", "-CA", "ca.crt", "-CAkey", "ca.key", "-CAcreateserial", "-out", "server.crt",
            "-days", "2", "-extfile", "ext")  # fmt: skip
    extra = f"allow_anonymous true\ncafile {tmp_path}/ca.crt\ncertfile {tmp_path}/server.crt\nkeyfile {tmp_path}/server.key\n"
    broker = Mosquitto(tmp_path, extra=extra).start()
    try:
        ears.append(Ear(broker.port, tls=True, ca_file=str(tmp_path / "ca.crt")).up("van/#"))
        ears.append(Ear(broker.port, client_id="stranger", tls=True))
        ears[1].link.start()
        assert wait_for(lambda: ears[1].states)
        assert "certificate is not accepted" in ears[1].states[0][1]
        with pytest.raises(EnvironmentFault, match="nowhere"):
            Ear(broker.port, tls=True, ca_file=str(tmp_path / "nowhere"))
    finally:
        for ear in ears:
            ear.link.stop()
        broker.stop()


def test_a_request_without_an_answer_and_without_a_broker(broker: Mosquitto) -> None:
    at = Broker(host="127.0.0.1", port=broker.port)
    assert request(at, "panelward/x/request/drill", {"id": "1"}, timeout_s=0.5, client_id="asker") is None
    with pytest.raises(EnvironmentFault, match="can't be reached"):
        request(Broker(host="127.0.0.1", port=free_port()), "x", {}, timeout_s=3, client_id="asker")


def test_a_filter_that_is_none_is_refused() -> None:
    with pytest.raises(EnvironmentFault, match="no MQTT topic filter"):
        Ear(1).link.subscribe((("van/#/x", 1),))
