"""The server: bound to this computer unless told otherwise; a client that is slow to say what it wants is let go."""

from __future__ import annotations

import asyncio
import socket
import ssl
import sys
from typing import Any

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from panelward.door.options import Options
from panelward.errors import EnvironmentFault

HEADERS_S = 10.0
MOST_CONNECTIONS = 120


class Protocol(H11Protocol):
    """uvicorn's, with an end to waiting: headers and body must be here within some seconds (a slow client holds nothing)."""

    _deadline: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        self._wait()

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        self._look()

    def on_response_complete(self) -> None:
        super().on_response_complete()
        self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        self._stop()
        super().connection_lost(exc)

    def _look(self) -> None:
        """Whole requests stop the clock; it goes on for the next one."""
        import h11

        if self.conn.their_state in (h11.DONE, h11.MUST_CLOSE, h11.CLOSED):
            self._stop()

    def _wait(self) -> None:
        self._stop()
        self._deadline = self.loop.call_later(HEADERS_S, self._give_up)

    def _stop(self) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None

    def _give_up(self) -> None:
        if self.transport is not None and not self.transport.is_closing():
            self.transport.abort() if hasattr(self.transport, "abort") else self.transport.close()


def serve(options: Options) -> int:
    """Until it is ended. EnvironmentFault where it can't be bound."""
    from panelward.door.app import made

    app = made(options)
    family = socket.AF_INET6 if ":" in options.host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((options.host, options.port))
        listener.listen(128)  # from here on who asks is answered, some moments later
    except OSError as error:
        listener.close()
        raise EnvironmentFault(f"--listen {options.host}:{options.port}: can't be bound: {error.strerror}") from None
    scheme = "https" if options.cert else "http"
    port = listener.getsockname()[1]
    host = f"[{options.host}]" if ":" in options.host else options.host
    print(f"door: {scheme}://{host}:{port}/", flush=True)
    if not options.alone and options.password_file is None:
        print("door: no --password-file: from other computers it can be read, not answered", file=sys.stderr, flush=True)
    try:
        config = uvicorn.Config(
            app,
            http=Protocol,
            ws="none",
            loop="asyncio",
            lifespan="on",
            log_level="warning",
            access_log=False,
            server_header=False,
            date_header=False,
            limit_concurrency=MOST_CONNECTIONS,
            timeout_keep_alive=20,
            timeout_graceful_shutdown=3,
            h11_max_incomplete_event_size=16 * 1024,
            proxy_headers=False,
            ssl_certfile=options.cert,
            ssl_keyfile=options.key,
        )
        server = _Server(config)
        server.run(sockets=[listener])
    except (OSError, ssl.SSLError) as error:
        raise EnvironmentFault(f"--tls-cert, --tls-key: can't be used: {error}") from None
    finally:
        listener.close()
    return 0


class _Server(uvicorn.Server):
    """Lets the phones that listen go before it waits for connections to end."""

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        live = getattr(self.config.app, "live", None)
        if live is not None:
            live.end()
        await super().shutdown(sockets)
