"""The demo: a broker, the simulated van, the daemon on the same clock, and a sink that prints messages as slips of paper.

Run by demo.sh, which installs panelward first. All limits are the schedule's own; only time runs faster.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import textwrap
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

RATE = 60
START = "2026-05-04T17:35Z"  # 19:35 in the van
WIDTH = 64
HEADLINES = {
    "standby-drain": "a drain in standby",
    "overcurrent-approach": "a circuit that nears its device's limit",
    "feed-lost": "a lost always-on feed",
}
GIVE_UP_S = 150.0


class Sink:
    """A local HTTP sink, in the place of a phone: prints each message as a slip."""

    def __init__(self) -> None:
        self.got: list[str] = []
        sink = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = json.loads(self.rfile.read(int(self.headers.get("Content-Length", "0"))))
                self.send_response(200)
                self.end_headers()
                sink.slip(body)

            def log_message(self, *_: object) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self.port = self._server.server_address[1]
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    def slip(self, body: dict[str, Any]) -> None:
        first, *rest = str(body.get("message", "")).splitlines()
        number = next((line for line in rest if re.fullmatch(r"Message \d+\.", line)), "")
        lines = textwrap.wrap(first, WIDTH - 4)
        print()
        print("  ." + "-" * (WIDTH - 2) + ".")
        print(f"  | {body.get('title', '')[:30]:<30}{number:>{WIDTH - 34}} |")
        print("  |" + " " * (WIDTH - 2) + "|")
        for line in lines:
            print(f"  | {line:<{WIDTH - 4}} |")
        print("  '" + "-^" * ((WIDTH - 2) // 2) + "'")
        print(flush=True)
        self.got.append(first)

    def stop(self) -> None:
        self._server.shutdown()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def start_broker(work: Path, port: int, log: Any) -> tuple[subprocess.Popen[bytes], str]:
    """A Mosquitto where there is one, else the broker of the Python package iotcore; on 127.0.0.1 only."""
    mosquitto = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
    if mosquitto:
        conf = work / "mosquitto.conf"
        conf.write_text(
            f"listener {port} 127.0.0.1\nallow_anonymous true\npersistence false\nmax_queued_messages 0\n"
            "max_inflight_messages 1000\n"
        )
        command = [mosquitto, "-c", str(conf)]
        if os.getuid() == 0:
            conf.write_text(conf.read_text() + "user root\n")
        name = "Mosquitto"
    else:
        code = (
            "import sys, time\nfrom iotcore import Broker\n"
            f"Broker(port={port}, listen='127.0.0.1').start()\nprint('up', flush=True)\ntime.sleep(86400)\n"
        )
        command, name = [sys.executable, "-c", code], "the broker of the package iotcore"
    process = subprocess.Popen(command, stdout=log, stderr=log, stdin=subprocess.DEVNULL, start_new_session=True)
    for _ in range(100):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return process, name
        if process.poll() is not None:
            break
        time.sleep(0.1)
    raise SystemExit(f"demo: the broker did not start ({name})")


class Demo:
    def __init__(self, work: Path, schedule: Path, once: bool) -> None:
        self.work, self.once = work, once
        self.journal = work / "journal.sqlite"
        self.schedule = work / "schedule.toml"
        self.processes: list[subprocess.Popen[bytes]] = []
        self.log = (work / "demo.log").open("wb")
        port = free_port()
        text = re.sub(r"(?m)^port = \d+$", f"port = {port}", schedule.read_text(encoding="utf-8"), count=1)
        self.schedule.write_text(text, encoding="utf-8")
        self.port = port
        self.sink = Sink()
        self.stop = threading.Event()

    def panelward(self, *arguments: str, **environment: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", "panelward", *arguments]
        env = os.environ | environment
        process = subprocess.Popen(
            command, stdout=self.log, stderr=self.log, stdin=subprocess.DEVNULL, env=env, start_new_session=True
        )
        self.processes.append(process)
        return process

    def run(self) -> int:
        broker, name = start_broker(self.work, self.port, self.log)
        self.processes.append(broker)
        begun = time.time()
        clock = f"{START},{RATE},{begun + 2.0:.3f}"
        self.say_start(name)
        daemon = self.panelward(
            "watch", "--schedule", str(self.schedule), "--journal", str(self.journal), "--clock", clock,
            PANELWARD_NOTIFY=f"json://127.0.0.1:{self.sink.port}",
        )  # fmt: skip
        rig = self.panelward("rig", "--schedule", str(self.schedule), "--clock", clock, "--script", "demo", "--seed", "11")
        door = None if self.once else self.door()
        arrived = self.until_all(begun, daemon, rig)
        if self.stop.is_set():
            print("\nStopped.", flush=True)
            return 130
        missing = [words for kind, words in HEADLINES.items() if kind not in arrived]
        if missing:
            print(f"demo: not arrived: {', '.join(missing)}", file=sys.stderr)
            self.log.flush()
            print((self.work / "demo.log").read_text(errors="replace")[-3000:], file=sys.stderr)
            return 1
        print(f"All three arrived, {time.time() - begun:.0f} s after the start. Nothing was switched: it only watches.")
        if door is not None:
            print(f"The page behind the panel's door, with the answers: {door}")
        if not self.once:
            self.live()
        return 0

    def door(self) -> str:
        """The owner's page, on a port that is free; its address."""
        port = free_port()
        address = f"127.0.0.1:{port}"
        self.panelward("door", "--schedule", str(self.schedule), "--journal", str(self.journal), "--listen", address)
        print(f"The page behind the panel's door: http://{address}/\n", flush=True)
        return f"http://{address}/"

    def say_start(self, broker: str) -> None:
        text = (
            f"The survey van, Mon 4 May 2026, 19:35. Its 15 circuits report over MQTT ({broker}). Time runs {RATE}-fold: "
            "a minute of the van is a second here. The limits are the schedule's own (config/survey-van.toml): the "
            "inverter's hours end at 20:00, the sockets' fuse is 15 A, the sample freezer must never lose its feed. "
            "Messages to the phone appear as slips of paper. The lines between them are amps."
        )
        print("\n" + textwrap.fill(text, 78) + "\n", flush=True)

    def until_all(self, begun: float, daemon: subprocess.Popen[bytes], rig: subprocess.Popen[bytes]) -> dict[str, bool]:
        arrived: dict[str, bool] = {}
        last_line = ""
        while len(arrived) < len(HEADLINES) and time.time() - begun < GIVE_UP_S and not self.stop.is_set():
            if daemon.poll() is not None or rig.poll() is not None:
                break
            self.stop.wait(2.5)
            row = self.present()
            if row is None:
                continue
            line = ordinary(row)
            if line != last_line:
                print(line, flush=True)
                last_line = line
            for alarm in row["standing"]:
                if alarm["kind"] in HEADLINES and self.handed_over(alarm["id"]):
                    arrived[alarm["kind"]] = True
        return arrived

    def present(self) -> dict[str, Any] | None:
        """What `panelward now --json` says."""
        if not self.journal.exists():
            return None
        command = [sys.executable, "-m", "panelward", "now", "--journal", str(self.journal), "--json"]
        done = subprocess.run(command, capture_output=True, timeout=30, check=False)
        try:
            row: dict[str, Any] = json.loads(done.stdout)
        except ValueError:
            return None
        return row

    def handed_over(self, alarm_id: str) -> bool:
        command = [sys.executable, "-m", "panelward", "alarms", "--journal", str(self.journal), "--json"]
        done = subprocess.run(command, capture_output=True, timeout=30, check=False)
        for line in done.stdout.splitlines():
            alarm = json.loads(line)
            if alarm["id"] == alarm_id and alarm["message"] in self.sink.got:
                return any(message["status"] == "handed-over" for message in alarm["messages"])
        return False

    def live(self) -> None:
        print("\nThe van goes on. A look at each circuit, until Ctrl-C:\n", flush=True)
        screen = sys.stdout.isatty()
        command = [
            sys.executable, "-m", "panelward", "now", "--journal", str(self.journal), "--schedule", str(self.schedule),
        ]  # fmt: skip
        while not self.stop.is_set():
            done = subprocess.run(command, capture_output=True, text=True, timeout=30, check=False)
            shown = done.stdout
            if screen:
                rows = shutil.get_terminal_size().lines - 2
                shown = "\x1b[H\x1b[2J" + "\n".join(shown.splitlines()[:rows])
            print(shown, flush=True)
            self.stop.wait(2.0 if screen else 20.0)

    def end(self) -> None:
        # The daemon first: the rig's end would be news to it.
        for process in (*self.processes[1:], *self.processes[:1]):
            if process.poll() is None:
                process.terminate()
            try:
                process.wait(timeout=15)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        self.sink.stop()
        self.log.close()


def ordinary(row: dict[str, Any]) -> str:
    """One line of ordinary life: the van's time, the bank, what draws."""
    when = time.strftime("%H:%M", time.gmtime(row["at_ms"] / 1000 + 2 * 3600))  # Oslo in May
    by_id = {circuit["id"]: circuit for circuit in row["circuits"]}
    meter = by_id.get("SH", {})
    bank = "" if meter.get("amps") is None else f"bank {meter['volts'] or 0:.1f} V, {meter['amps']:.1f} A"
    drawing = [f"{c['label']} {c['amps']:.1f}" for c in row["circuits"] if c["role"] == "load" and (c["amps"] or 0) >= 2.0]
    line = f"{when}  {bank}: {', '.join(drawing) or 'little draws'}"
    return line if len(line) <= 78 else line[:76].rpartition(",")[0] + ", …"


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--work", type=Path, required=True)
    parser.add_argument("--schedule", type=Path, required=True)
    parser.add_argument("--once", action="store_true", help="end by itself; exit 0 if all three alarms arrived")
    args = parser.parse_args()
    demo = Demo(args.work, args.schedule, args.once)

    def stop(*_: object) -> None:
        demo.stop.set()

    signal.signal(signal.SIGINT, stop)
    signal.signal(signal.SIGTERM, stop)
    try:
        return demo.run()
    finally:
        demo.end()


if __name__ == "__main__":
    raise SystemExit(main())
