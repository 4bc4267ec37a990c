"""The door: from the daemon's transition to a phone's screen, CPU, bytes an hour and memory; 24 circuits at 1 Hz, 5 phones.

    python -m pytest tests/benchmarks/test_bench_door.py -m benchmark -s

One phone is a real page, watched by a MutationObserver; four listen as one does. Nothing is asserted about time.
"""

from __future__ import annotations

import os
import random
import shutil
import statistics
import threading
import time
from http.client import HTTPConnection
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from brokers import wait_for
from door.doorway import SCHEDULE, WAY, Doorway
from panelward.link import request
from panelward.records import Broker

CIRCUITS, PHONES, TRANSITIONS = 24, 5, 20
REST_S, LIVE_S = 10.0, 20.0


def cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def rss_mb(pid: int) -> float:
    status = Path(f"/proc/{pid}/status").read_text()
    return int(next(line for line in status.splitlines() if line.startswith("VmRSS")).split()[1]) / 1000


class Listener(threading.Thread):
    """A phone's stream, counted."""

    def __init__(self, url: str) -> None:
        super().__init__(daemon=True)
        self.bytes, self.events, self._to = 0, 0, urlsplit(url)

    def run(self) -> None:
        connection = HTTPConnection(self._to.hostname or "", self._to.port, timeout=30)
        connection.request("GET", "/live")
        answer = connection.getresponse()
        try:
            while part := answer.read1(65536):
                self.bytes += len(part)
                self.events += part.count(b"event: now")
        except (OSError, ValueError):
            return
        finally:
            connection.close()


@pytest.mark.benchmark
def test_from_the_transition_to_the_screen(tmp_path: Path) -> None:
    sync_api = pytest.importorskip("playwright.sync_api")
    ways = "".join(
        WAY.format(id=f"D{n}", label=f"Load {n}", feed="switched", type="C", rating=15, kind="socket", more="")
        for n in range(1, CIRCUITS + 1)
    )
    house = Doorway(tmp_path, rate=1.0)
    house.schedule.write_text(SCHEDULE.format(port=house.broker.port).replace('"D9"', '"D99"') + ways, encoding="utf-8")
    noise, level = random.Random(1), {f"D{n}": 1.0 + n / 4 for n in range(1, CIRCUITS + 1)}
    house.draws = dict(level)
    done = threading.Event()

    def noisy() -> None:
        while not done.wait(1.0):
            for circuit, amps in level.items():
                house.publish(circuit, amps * (1 + noise.gauss(0, 0.01)))

    feeder = threading.Thread(target=noisy, daemon=True)
    try:
        house.broker.start()
        house.start(simulated=False)
        assert wait_for(house.connected, 30), house.said()
        house.monitor()
        feeder.start()
        house.open_door()
        assert house.door is not None
        pid = house.door.pid
        assert wait_for(lambda: len(house.present.get("circuits", ())) == CIRCUITS, 30)
        before = cpu_s(pid)
        time.sleep(REST_S)
        print(f"CPU at rest, nobody looks: {100 * (cpu_s(pid) - before) / REST_S:.2f} % of one core; RSS {rss_mb(pid):.1f} MB")
        with sync_api.sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
            page = browser.new_page(viewport={"width": 360, "height": 780})
            page.goto(house.url)
            page.evaluate(
                "() => { window.seen = []; new MutationObserver(() => {"
                " seen.push([Date.now() / 1000, document.getElementById('top').innerText]); })"
                ".observe(document.querySelector('main'), { childList: true }) }"
            )
            others = [Listener(house.url) for _ in range(PHONES - 1)]
            for other in others:
                other.start()
            time.sleep(3)
            before, sent, events = cpu_s(pid), sum(o.bytes for o in others), sum(o.events for o in others)
            time.sleep(LIVE_S)
            each_b = (sum(o.bytes for o in others) - sent) / len(others)
            each_e = (sum(o.events for o in others) - events) / len(others)
            print(
                f"CPU live, {PHONES} phones: {100 * (cpu_s(pid) - before) / LIVE_S:.2f} % of one core; RSS {rss_mb(pid):.1f} MB"
            )
            print(f"bytes an hour and phone: {each_b * 3600 / LIVE_S / 1e6:.2f} MB ({each_e / LIVE_S:.2f} events a second)")
            level["D3"] = 25.0
            assert wait_for(lambda: house.state("D3") == "unacknowledged", 200), house.said()
            alarm = (house.newest("D3") or {})["id"]
            broker, took = Broker(host="127.0.0.1", port=house.broker.port), []
            for n in range(TRANSITIONS):
                time.sleep(1.0 + noise.random())
                page.evaluate("() => { seen.length = 0 }")
                kind = "unshelve" if n % 2 else "shelve"
                body = {"id": f"bench-{n}", "alarm": alarm, "who": "bench", "for_s": 3600}
                answer = request(broker, f"panelward/test-van/request/{kind}", body, timeout_s=10, client_id=f"bench-{n}")
                assert answer is not None
                assert answer["done"], answer
                assert wait_for(lambda: page.evaluate("() => seen.length") > 0, 25)
                took.append(page.evaluate("() => seen[0][0]") - (house.newest("D3") or {})["time"])
            if len(took) > 2:
                took.sort()
                print(
                    f"transition to screen: median {1000 * statistics.median(took):.0f} ms, "
                    f"95th {1000 * took[int(0.95 * (len(took) - 1))]:.0f} ms, n {len(took)}"
                )
            browser.close()
    finally:
        done.set()
        if feeder.is_alive():
            feeder.join()
        house.end()
