"""The sign of life to an HTTP address of the owner's choice: who hears none knows that something is wrong aboard."""

from __future__ import annotations

import json
import urllib.request
from collections.abc import Callable, Mapping
from threading import Thread
from typing import Any

TIMEOUT_S = 20.0


class Sign:
    """Sends in a thread of its own, one at a time; a service that hangs or refuses costs nobody anything."""

    def __init__(self, log: Callable[[str], None]) -> None:
        self._log = log
        self._thread: Thread | None = None
        self._why = ""

    def send(self, address: str, told: Mapping[str, Any]) -> None:
        """POST it as JSON, unless the last one is still on its way. A failure is said once."""
        if self._thread is not None and self._thread.is_alive():
            return
        self._thread = Thread(target=self._post, args=(address, json.dumps(told).encode()), name="sign", daemon=True)
        self._thread.start()

    def _post(self, address: str, body: bytes) -> None:
        request = urllib.request.Request(address, body, {"Content-Type": "application/json"}, method="POST")
        try:
            with urllib.request.urlopen(request, timeout=TIMEOUT_S):
                why = ""
        except (OSError, ValueError) as error:  # URLError and HTTPError are OSErrors
            why = str(error) or type(error).__name__
        if why and not self._why:
            self._log(f"the sign of life can't be sent: {why}")
        elif self._why and not why:
            self._log("the sign of life is sent again")
        self._why = why
