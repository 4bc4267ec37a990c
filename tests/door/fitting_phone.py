"""A phone at the rig's van: taps keys by their names when the hand has done what was asked. Real broker, real door."""

from __future__ import annotations

import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from html import unescape
from pathlib import Path

from tests.door.served import Answer, Client, present_row, write_journal

from brokers import running_mosquitto
from panelward.clock import pace

VAN = Path(__file__).parents[2] / "config" / "survey-van.toml"
START, RATE = "2026-05-04T12:00Z", 20  # the rig energises after four minutes: fourteen fuses are tapped by then
NUMBERED = re.compile(r'data-number="(\d+)-(clamp-2|run-down|[a-z]+)([^"]*)"')

# The question's name -> (not before so many minutes, what is tapped or typed)
USUAL: dict[str, tuple[float, dict[str, str]]] = {
    "plan": (0.0, {"answer": ""}), "isolated": (0.5, {"answer": "yes"}), "fuse": (0.0, {"answer": ""}),
    "left": (0.0, {"answer": ""}), "cover": (4.1, {"answer": ""}), "slow": (5.2, {"answer": ""}),
    "clamp": (6.7, {"answer": "don't know"}), "which": (0.0, {"answer": "don't know"}), "lap": (18.0, {"answer": "done"}),
    "heater": (18.2, {"answer": ""}), "bond": (0.0, {"answer": "not by us"}), "summary": (0.0, {"answer": ""}),
    "overnight": (0.0, {"answer": "no"}),
}  # fmt: skip


@dataclass
class House:
    """The van's folder, its broker, and the moment at which its simulated time began."""

    folder: Path
    schedule: Path
    journal: Path
    clock: str

    @property
    def minutes(self) -> float:
        found = pace(self.clock)
        return (time.time() - found.origin_real_s) * found.rate / 60.0


@contextmanager
def van(folder: Path, *, rig: bool = True, rate: int = RATE, swap: bool = True) -> Iterator[House]:
    """The rig's van with the labels of D4 and D5 swapped, publishing to a broker of its own."""
    with running_mosquitto(folder) as port:
        schedule = folder / "van.toml"
        text = VAN.read_text(encoding="utf-8")
        schedule.write_text(re.sub(r"(?m)^port = \d+$", f"port = {port}", text, count=1), encoding="utf-8")
        clock = f"{START},{rate},{time.time() + 3:.3f}"
        found = pace(clock)
        house = House(folder, schedule, folder / "j.sqlite", clock)
        write_journal(house.journal, present_row([], at_ms=found.origin_ms, real_s=found.origin_real_s, rate=float(rate)))
        command = [sys.executable, "-m", "panelward", "rig", "--schedule", str(schedule), "--script", "commissioning"]
        command += ["--swap", "D4", "D5"] if swap else []
        process = subprocess.Popen([*command, "--clock", clock], stderr=subprocess.DEVNULL) if rig else None
        try:
            yield house
        finally:
            if process is not None:
                process.terminate()
                process.wait(timeout=20)


@dataclass
class Phone:
    """Counts what a thumb did."""

    client: Client
    taps: int = 0
    typed: int = 0
    asked: list[str] = field(default_factory=list)

    def page(self) -> Answer:
        return self.client.get("/commission")

    def begin(self, name: str = "Kari Lund", instrument: str = "clamp no. 3", go: str = "whole") -> Answer:
        fields = {"csrf": self.page().csrf(), "who": name, "instrument": instrument, "go": go}
        self.taps += 1
        return self.client.follow(self.client.post("/commission/start", fields))

    def tap(self, page: Answer, fields: dict[str, str]) -> Answer:
        found = NUMBERED.search(page.text)
        assert found is not None, page.text
        number = "".join((found[1], "-", found[2], found[3]))
        self.taps += 1
        self.typed += "typed" in fields and any(c.isdigit() for c in fields["typed"])
        answer = self.client.post("/commission/answer", {"csrf": page.csrf(), "number": unescape(number), **fields})
        return self.client.follow(answer)

    def work(self, house: House, until: str = "", plan: dict[str, tuple[float, dict[str, str]]] = USUAL) -> Answer:
        """Answer what is asked until that question stands, or it is over."""
        end_s = time.monotonic() + 120
        page = self.page()
        while time.monotonic() < end_s:
            name = name_of(page)
            if (until and name == until) or (not until and 'action="/commission/start"' in page.text):
                return page
            label = text_of(page)
            key = next((k for k in plan if k.startswith(f"{name}:") and label.startswith(k.partition(":")[2])), name)
            if key in plan and house.minutes >= plan[key][0]:
                self.asked.append(label)
                page = self.tap(page, plan[key][1])
            else:
                time.sleep(0.2)
                page = self.page()
        raise AssertionError(self.page().text)


def name_of(page: Answer) -> str:
    found = NUMBERED.search(page.text)
    return found[2] if found else ""


def text_of(page: Answer) -> str:
    found = re.search(r'<h1 class="sentence[^>]*>(.*?)</h1>', page.text, re.DOTALL)
    return unescape(found[1]) if found else ""
