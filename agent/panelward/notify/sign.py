"""The sign of life to an HTTP address of the owner's choice: who hears none knows that something is wrong aboard."""

from __future__ import annotations

import http.client
import io
import json
import socket
import time
import urllib.request
from collections.abc import Callable, Mapping
from threading import Thread
from typing import Any

TIMEOUT_S = 20.0  # to connect; then for the whole answer, however it drips


class Sign:
    """Sends in a thread of its own, one at a time; a service that hangs or refuses costs nobody anything."""

    def __init__(self, log: Callable[[str], None], *, timeout_s: float = TIMEOUT_S) -> None:
        self._log, self._timeout_s = log, timeout_s
        self._thread: Thread | None = None
        self._why = ""

    def send(self, address: str, told: Mapping[str, Any]) -> None:
        """POST it as JSON, unless the last one is still on its way. A failure is said once."""
        if self._thread is not None and self._thread.is_alive():
            return
        self._thread = Thread(target=self._post, args=(address, json.dumps(told).encode()), name="sign", daemon=True)
        self._thread.start()

    def _post(self, address: str, body: bytes) -> None:
        try:
            request = urllib.request.Request(address, body, {"Content-Type": "application/json"}, method="POST")
            with _OPENER.open(request, timeout=self._timeout_s):
                why = ""
        except (OSError, http.client.BadStatusLine, http.client.IncompleteRead) as error:  # URLError and HTTPError are OSErrors
            why = str(error)[:200] or type(error).__name__
        except (ValueError, http.client.HTTPException) as error:  # their words may hold the address, which is a secret
            why = type(error).__name__
        if why and not self._why:
            self._log(f"the sign of life can't be sent: {why}")
        elif self._why and not why:
            self._log("the sign of life is sent again")
        self._why = why


class _Whole(io.RawIOBase):
    """What a socket reads, until a moment: its own timeout begins anew with every byte."""

    def __init__(self, raw: Any, sock: socket.socket, timeout_s: float) -> None:
        super().__init__()
        self._raw, self._sock, self._until_s = raw, sock, time.monotonic() + timeout_s

    def readable(self) -> bool:
        return True

    def readinto(self, into: Any) -> int | None:
        left_s = self._until_s - time.monotonic()
        if left_s <= 0.0:
            raise TimeoutError("no whole answer came in time")
        self._sock.settimeout(left_s)
        found: int | None = self._raw.readinto(into)
        return found

    def close(self) -> None:
        self._raw.close()
        super().close()


class _Answer(http.client.HTTPResponse):
    def __init__(self, sock: socket.socket, *args: Any, **kwargs: Any) -> None:
        super().__init__(sock, *args, **kwargs)
        self.fp = io.BufferedReader(_Whole(self.fp.detach(), sock, sock.gettimeout() or TIMEOUT_S))


class _Plain(http.client.HTTPConnection):
    response_class = _Answer


class _Secure(http.client.HTTPSConnection):
    response_class = _Answer


class _Handler(urllib.request.HTTPHandler):
    def http_open(self, req: urllib.request.Request) -> http.client.HTTPResponse:
        return self.do_open(_Plain, req)


class _SecureHandler(urllib.request.HTTPSHandler):
    def https_open(self, req: urllib.request.Request) -> http.client.HTTPResponse:
        return self.do_open(_Secure, req)


_OPENER = urllib.request.build_opener(_Handler, _SecureHandler)
