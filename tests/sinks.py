"""A real HTTP server on 127.0.0.1 that behaves as badly as it is told to, and keeps what it received.

    with Sink("500", "200") as sink:      first answer 500, then 200 for ever
        post to sink.url                  json://127.0.0.1:<port>/inbox

Behaviours: a status ("200", "404", "500" …); "hang" never answers; "drip" sends its answer a byte at a time for ever;
"cut" closes the connection in the middle of its answer; "deaf" closes it without any.
"""

from __future__ import annotations

import json
import socket
import threading
from contextlib import suppress
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import TracebackType
from typing import Any

DRIP_S = 0.05  # between two bytes: far under any read timeout


class Sink:
    """The server in a thread. Ends with the `with` block, hanging requests too."""

    def __init__(self, *behaviours: str, path: str = "/inbox", host: str = "127.0.0.1") -> None:
        self.received: list[dict[str, Any]] = []  # the JSON bodies, in the order of arrival
        self._behaviours = list(behaviours) or ["200"]
        self._lock = threading.Lock()
        self._closing = threading.Event()
        sink = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                sink._answer(self)

            def log_message(self, format: str, *args: Any) -> None:
                pass

        self._handler, self._host = Handler, host
        self.port = 0
        self._listen()
        self.url = f"json://{host}:{self.port}{path}"

    def _listen(self) -> None:
        self._server = ThreadingHTTPServer((self._host, self.port), self._handler)
        self._server.daemon_threads = True
        self._server.block_on_close = False
        self.port = int(self._server.server_address[1])
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True)

    def __enter__(self) -> Sink:
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._closing.set()
        self.refuse()

    def refuse(self) -> None:
        """Listen no more: who connects is refused."""
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()

    def listen_again(self) -> None:
        """On the same port."""
        self._listen()
        self._thread.start()

    def now(self, *behaviours: str) -> None:
        """Behave like this from here on; the last one stays."""
        with self._lock:
            self._behaviours = list(behaviours)

    @property
    def bodies(self) -> list[str]:
        """The texts of the messages received."""
        return [each["message"] for each in self.received]

    def _answer(self, request: BaseHTTPRequestHandler) -> None:
        found = json.loads(request.rfile.read(int(request.headers["Content-Length"])))
        with self._lock:
            self.received.append(found)
            behaviour = self._behaviours.pop(0) if len(self._behaviours) > 1 else self._behaviours[0]
        request.close_connection = True
        with suppress(OSError):  # who asked may be gone
            self._behave(request, behaviour)

    def _behave(self, request: BaseHTTPRequestHandler, behaviour: str) -> None:
        if behaviour == "hang":
            self._closing.wait()
        elif behaviour == "drip":
            request.wfile.write(b"HTTP/1.0 200 OK\r\nX-Slow: ")
            while not self._closing.wait(DRIP_S):
                request.wfile.write(b"x")
        elif behaviour == "cut":
            request.wfile.write(b"HTTP/1.1 200 OK\r\nContent-Length: 1000\r\n\r\nhalf")
            request.connection.shutdown(socket.SHUT_RDWR)
        elif behaviour == "deaf":
            request.connection.shutdown(socket.SHUT_RDWR)
        else:
            request.send_response(int(behaviour))
            request.send_header("Content-Length", "0")
            request.end_headers()


class RefusedPort:
    """A port that is ours and refuses: bound, never listened on, so nobody else can take it meanwhile."""

    def __enter__(self) -> str:
        self._socket = socket.socket()
        self._socket.bind(("127.0.0.1", 0))
        return f"json://127.0.0.1:{self._socket.getsockname()[1]}/inbox"

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._socket.close()
