"""The sign of life to the owner's address: whatever the service there does, the next sign goes out and a failure is said."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from brokers import wait_for
from panelward.notify.sign import Sign
from sinks import Sink


def web(sink: Sink) -> str:
    return sink.url.replace("json://", "http://")


@pytest.mark.parametrize("how", ["drip", "hang", "cut", "deaf", "500", "404"])
def test_a_service_that_behaves_badly_is_said_once_and_the_next_sign_goes_out(how: str) -> None:
    said: list[str] = []
    with Sink(how) as sink:
        sign = Sign(said.append, timeout_s=0.5)
        for n in range(2):
            wait_for(lambda n=n: sign.send(web(sink), {"n": n}) or len(sink.received) > n)
        if how == "cut":  # its head was whole, and said that all is well
            return
        assert wait_for(lambda: said)
        sink.now("200")
        assert wait_for(lambda: sign.send(web(sink), {"last": True}) or len(said) > 1)
        heard = list(said)  # while the sink still answers: one more may be on its way, and fails as it closes
    assert heard[0].startswith("the sign of life can't be sent: ")
    assert heard[1:] == ["the sign of life is sent again"]


@contextmanager
def answering(first: bytes) -> Iterator[str]:
    """A server that is none for HTTP."""
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve() -> None:
            while True:
                try:
                    connection, _ = server.accept()
                except OSError:
                    return
                with connection:
                    connection.recv(4096)
                    connection.sendall(first)

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        yield f"http://127.0.0.1:{server.getsockname()[1]}/secret"
        server.shutdown(socket.SHUT_RDWR)
    thread.join()


@pytest.mark.parametrize(
    "first",
    [b"\x15\x03\x01 garbage\r\n\r\n", b"", b"HTTP/1.1 abc\r\n\r\n", b"HTTP/1.1 200 OK\r\n" + b"X: y\r\n" * 200 + b"\r\n"],
)
def test_what_is_no_http_is_a_failure_like_others(first: bytes) -> None:
    said: list[str] = []
    with answering(first) as address:
        sign = Sign(said.append, timeout_s=5.0)
        sign.send(address, {})
        assert wait_for(lambda: said)
    assert said[0].startswith("the sign of life can't be sent: ")


@pytest.mark.parametrize(
    "address", ["http://127.0.0.1:1/a secret", "http://[x/secret", "nothing://secret", "http://127.0.0.1:x/secret"]
)
def test_an_address_that_is_none_is_said_without_it(address: str) -> None:
    said: list[str] = []
    Sign(said.append).send(address, {})
    assert wait_for(lambda: said)
    assert "secret" not in said[0]
