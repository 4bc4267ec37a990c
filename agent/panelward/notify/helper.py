"""The process that sends: `python -m panelward.notify.helper`. It alone imports apprise.

In, a JSON line a message: {"row", "url", "title", "body", "type"}. Out, a JSON line an answer:
{"row", "result", "why", "maybe_sent"}; result is handed-over, failed (try again) or refused (an address that can't
work). Messages are sent at once, each in its own thread; it ends when its input ends. It opens no file, tries
nothing twice and writes no secret: apprise's own words are masked before they leave.
"""

from __future__ import annotations

import json
import logging
import os
import sys
import threading
import time
from typing import Any, TextIO

from panelward.notify.addresses import masked, without_secrets

_LAST_SENDS_S = 60.0  # after the end of input: whoever started us is gone, what is on its way may still arrive
_WHY_LONGEST = 300
# What apprise says of the socket, in its debug lines, names addresses; only these words of it leave.
_SOCKET_WORDS = (
    ("connection refused", "connection refused", False),
    ("connect timeout", "timed out while connecting", False),
    ("timed out", "timed out", True),
    ("name or service not known", "name not found", False),
    ("temporary failure in name resolution", "name not found: no network or no name server", False),
    ("failed to resolve", "name not found", False),
    ("network is unreachable", "no network", False),
    ("no route to host", "no route to the host", False),
    ("certificate verify failed", "the server's certificate can't be verified", False),
    ("connection aborted", "connection broken off", True),
    ("connection reset", "connection broken off", True),
    ("connection broken", "connection broken off", True),
)


_one_at_a_time = threading.Lock()  # the first address read loads all of apprise's services


class Said(logging.Handler):
    """What apprise logged, kept apart for each thread: one thread, one message."""

    def __init__(self) -> None:
        super().__init__(logging.DEBUG)
        self._of_thread: dict[int, list[tuple[int, str]]] = {}

    def emit(self, record: logging.LogRecord) -> None:
        lines = self._of_thread.get(record.thread or 0)
        if lines is not None:
            lines.append((record.levelno, record.getMessage()))

    def begin(self) -> None:
        self._of_thread[threading.get_ident()] = []

    def end(self) -> list[tuple[int, str]]:
        return self._of_thread.pop(threading.get_ident(), [])


def send(said: Said, message: dict[str, Any]) -> dict[str, Any]:
    """Send one message once; the answer line."""
    import apprise

    url = str(message["url"])
    # In this thread, without a shared pool in which silent services would use up the places of the others, and
    # without a deadline of its own: the one who started us has one, and ends us.
    asset = apprise.AppriseAsset(async_mode=False, service_timeout=0)
    said.begin()
    try:
        with _one_at_a_time:
            service = apprise.Apprise.instantiate(url, asset=asset)
        if service is None:
            return _answer(
                message, "refused", f"{masked(url)}: apprise can't read this address{_detail(said.end(), url)[0]}. Correct it."
            )
        service.retry = 0  # the outbox owns all retrying
        sender = apprise.Apprise(asset=asset)
        sender.add(service)
        done = sender.notify(body=str(message["body"]), title=str(message["title"]), notify_type=str(message["type"]))
    except Exception as error:  # a plugin's own bug is that address's fault, not the others'
        said.end()
        return _answer(message, "failed", f"{masked(url)}: {type(error).__name__}", maybe_sent=True)
    lines = said.end()
    if done:  # an AppriseResult: only SUCCESS is true
        return _answer(message, "handed-over", "")
    detail, maybe_sent = _detail(lines, url)
    status = getattr(getattr(done, "status", None), "name", "")
    return _answer(
        message, "failed", f"{masked(url)}: not sent{detail}", maybe_sent=maybe_sent or status in ("PARTIAL", "TIMEOUT")
    )


def _detail(lines: list[tuple[int, str]], url: str) -> tuple[str, bool]:
    """(": " and what apprise said, masked; whether the message may have arrived all the same)."""
    warned = [" ".join(text.split()).rstrip(". ") for level, text in lines if level >= logging.WARNING]
    of_socket = []
    maybe_sent = False
    for level, text in lines:
        found = next((each for each in _SOCKET_WORDS if each[0] in text.lower()), None) if level < logging.INFO else None
        if found is not None and found[1] not in of_socket:
            of_socket.append(found[1])
            maybe_sent = maybe_sent or found[2]
    words = of_socket or warned  # apprise's warning says no more than "a connection error" then
    text = without_secrets("; ".join(words), url)[:_WHY_LONGEST].rstrip(". ")
    return (f": {text}" if text else ""), maybe_sent


def _answer(message: dict[str, Any], result: str, why: str, *, maybe_sent: bool = False) -> dict[str, Any]:
    return {"row": message["row"], "result": result, "why": why, "maybe_sent": maybe_sent}


def _keep_stdout() -> TextIO:
    """Our answers' own way out; what a plugin prints goes nowhere."""
    out = os.fdopen(os.dup(1), "w", encoding="utf-8")
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)
    return out


def main() -> int:
    out = _keep_stdout()
    writing = threading.Lock()
    said = Said()
    logger = logging.getLogger("apprise")
    logger.setLevel(logging.DEBUG)
    logger.propagate = False
    logger.addHandler(said)

    def work(message: dict[str, Any]) -> None:
        try:
            answer = send(said, message)
        except ImportError as error:
            answer = _answer(message, "failed", f"apprise can't be imported ({error.name}): install panelward anew")
        with writing:
            out.write(json.dumps(answer) + "\n")
            out.flush()

    threads = []
    for line in sys.stdin:
        thread = threading.Thread(target=work, args=(json.loads(line),), daemon=True)
        thread.start()
        threads.append(thread)
    end_s = time.monotonic() + _LAST_SENDS_S
    for thread in threads:
        thread.join(max(0.0, end_s - time.monotonic()))
    out.flush()
    os._exit(0)  # not held up by a plugin's threads


if __name__ == "__main__":
    main()
