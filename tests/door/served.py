"""A real door process for tests, a client that remembers its cookie, and a journal written as the daemon writes it."""

from __future__ import annotations

import http.client
import json
import re
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlencode, urlsplit

from panelward.journal import Journal, OutboxRow, StoredTransition

SCHEDULE = """
[vehicle]
name = "Test van"
id = "test-van"
{vehicle}

[broker]
host = "127.0.0.1"
port = {port}

[[monitor]]
name = "dc"
dialect = "plain"
topic = "van/{{circuit}}/{{quantity}}"

[supply.house]
kind = "dc"
nominal_v = 12.8
"""
CIRCUIT = """
[[circuit]]
id = {id}
label = {label}
supply = "house"
feed = "switched"
protection = {{ kind = "blade-fuse", type = "C", rating_a = 15 }}
[circuit.load]
kind = "socket"
"""


def schedule_text(labels: Sequence[str], *, port: int = 1, vehicle: str = "") -> str:
    """A schedule with a way a label: D1, D2, …"""
    ways = (CIRCUIT.format(id=json.dumps(f"D{at}"), label=json.dumps(label)) for at, label in enumerate(labels, start=1))
    return SCHEDULE.format(port=port, vehicle=vehicle) + "".join(ways)


def present_row(labels: Sequence[str], *, amps: float | None = 2.0, **over: Any) -> dict[str, Any]:
    """The present row as the daemon keeps it."""
    now_s = time.time()
    circuits = [
        {
            "id": f"D{at}", "label": label, "role": "load", "volts": 13.0, "amps": amps,
            "watts": None if amps is None else 13.0 * amps,
            "heard_ms": None if amps is None else round(now_s * 1000), "overdue": amps is None, "rating_a": 15.0,
            "used": None if amps is None else amps / 15.0, "energy_wh": 1.0, "unknown_s": 0.0, "late": 0, "level": None,
        }
        for at, label in enumerate(labels, start=1)
    ]  # fmt: skip
    row: dict[str, Any] = {
        "at_ms": round(now_s * 1000), "real_s": now_s, "rate": 1.0, "connected": True, "refused": 0, "circuits": circuits,
        "doing": None, "timezone": {"name": "UTC", "who": "", "since_ms": None}, "works": [], "standing": [],
    }  # fmt: skip
    return row | over


def alarm_object(circuit: str, message: str, **over: Any) -> dict[str, Any]:
    """An alarm object as `wording` writes it."""
    now_s = time.time()
    found: dict[str, Any] = {
        "id": f"{circuit}-dead-20260501T060000000Z", "sequence": 1, "time": now_s, "since": now_s - 60, "circuit": circuit,
        "subject": {"circuit": circuit}, "group": "dead", "kind": "feed-lost", "was": None, "event": "begins",
        "state": "unacknowledged", "latched": False, "priority": "high", "cause": None,
        "candidates": [["device-opened", 0.6], ["load-failed", 0.3]], "circuits": [], "message": message,
        "evidence": ["No draw three times in a row."], "confidence": None,
    }  # fmt: skip
    return found | over


def write_journal(path: Path, row: dict[str, Any] | None, alarms: Sequence[dict[str, Any]] = (), told: bool = False) -> None:
    """A journal with this present row and these alarms; `told`: each message was taken by a phone's service."""
    journal = Journal.open(path)
    try:
        steps = [
            StoredTransition(
                alarm_id=a["id"], sequence=a["sequence"], at_ms=round(a["time"] * 1000), subject=next(iter(a["subject"])),
                subject_id=next(iter(a["subject"].values())), group=a["group"], state=a["state"], object=a, real_s=time.time(),
            )
            for a in alarms
        ]  # fmt: skip
        now_s = time.time()
        messages = [
            OutboxRow(
                alarm_id=a["id"], sequence=a["sequence"], address_ref="notify-1", title="Test van", body=a["message"],
                kind=a["kind"], priority=a["priority"], created_real_s=now_s, due_real_s=now_s, expires_real_s=now_s + 86_400,
            )
            for a in alarms
        ]  # fmt: skip
        journal.commit(steps, messages, row)
        for message in journal.outbox_open() if told else ():
            journal.mark_trying([message.id])
            journal.settle(message.id, "handed-over", now_s=now_s)
        journal.commit()
    finally:
        journal.close()


@dataclass
class Answer:
    """What came back."""

    status: int
    headers: dict[str, str]
    text: str

    def csrf(self) -> str:
        found = re.search(r'name="csrf" value="([^"]+)"', self.text)
        assert found is not None, self.text[:500]
        return found[1]


@dataclass
class Client:
    """One phone: its cookie, and no following of redirects."""

    url: str
    host: str | None = None  # what it says in Host
    cookies: dict[str, str] = field(default_factory=dict)
    headers: dict[str, str] = field(default_factory=dict)

    def ask(self, method: str, path: str, body: bytes | None = None, **headers: str) -> Answer:
        parts = urlsplit(self.url)
        connection = http.client.HTTPConnection(parts.hostname or "", parts.port, timeout=20)
        sent = {
            "Host": self.host or parts.netloc,
            **self.headers,
            **{name.replace("_", "-"): each for name, each in headers.items()},
        }
        if self.cookies:
            sent["Cookie"] = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        try:
            connection.request(method, path, body, sent)
            answer = connection.getresponse()
            text = answer.read().decode("utf-8", "replace")
        finally:
            connection.close()
        for name, value in answer.getheaders():
            if name.lower() == "set-cookie":
                key, _, rest = value.partition("=")
                self.cookies[key] = rest.partition(";")[0]
        return Answer(answer.status, {name.lower(): value for name, value in answer.getheaders()}, text)

    def get(self, path: str, **headers: str) -> Answer:
        return self.ask("GET", path, **headers)

    def post(self, path: str, fields: dict[str, str], **headers: str) -> Answer:
        return self.ask("POST", path, urlencode(fields).encode(), Content_Type="application/x-www-form-urlencoded", **headers)

    def follow(self, answer: Answer) -> Answer:
        assert answer.status == 303, (answer.status, answer.text[:300])
        return self.get(answer.headers["location"])


class Served:
    """One door process."""

    def __init__(self, process: subprocess.Popen[str], url: str, log: Path) -> None:
        self.process, self.url, self.log = process, url, log

    def client(self, **keys: Any) -> Client:
        return Client(self.url, **keys)

    @property
    def rss_kb(self) -> int:
        status = Path(f"/proc/{self.process.pid}/status").read_text()
        return int(next(line for line in status.splitlines() if line.startswith("VmRSS")).split()[1])


@contextmanager
def served(folder: Path, schedule: Path, journal: Path, *options: str) -> Iterator[Served]:
    """The door, until the block ends; it must end by itself within seconds of SIGTERM."""
    log = folder / "door.log"
    command = [sys.executable, "-m", "panelward", "door", "--schedule", str(schedule), "--journal", str(journal)]
    if "--listen" not in options:
        command += ["--listen", "127.0.0.1:0"]
    with log.open("ab") as errors:
        process = subprocess.Popen([*command, *options], stdout=subprocess.PIPE, stderr=errors, text=True)
    try:
        assert process.stdout is not None
        line = process.stdout.readline()
        assert line.startswith("door: http"), (line, log.read_text())
        yield Served(process, line.split()[1].rstrip("/"), log)
    finally:
        process.terminate()
        try:
            process.wait(15)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
            raise
        finally:
            assert process.stdout is not None
            process.stdout.close()
