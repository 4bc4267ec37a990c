"""A systemctl for a staging root: is-active, stop and restart of one service, with a real daemon and a real notify socket.

As for Type=notify, restart returns when the daemon says READY=1, and fails where it ends before (systemd.service(5)).
"""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

ROOT = Path(os.environ["STAGING_ROOT"])
PID = ROOT / "watch.pid"


def alive() -> bool:
    try:
        state = Path(f"/proc/{int(PID.read_text())}/stat").read_text()
    except (OSError, ValueError):
        return False
    return state.rpartition(")")[2].split()[0] != "Z"


def stop() -> None:
    if alive():
        os.kill(int(PID.read_text()), signal.SIGTERM)
    while alive():
        time.sleep(0.02)


def restart() -> int:
    stop()
    address = ROOT / "notify"
    address.unlink(missing_ok=True)
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ear, (ROOT / "watch.log").open("ab") as log:
        ear.bind(str(address))
        ear.settimeout(0.1)
        command = [ROOT / "opt/panelward/current/bin/python", "-P", "-m", "panelward", "watch"]
        files = ["--schedule", ROOT / "etc/panelward/schedule.toml", "--journal", ROOT / "var/lib/panelward/journal.sqlite"]
        env = os.environ | {"NOTIFY_SOCKET": str(address)}
        daemon = subprocess.Popen([*command, *files], stdout=log, stderr=log, env=env, start_new_session=True)
        PID.write_text(str(daemon.pid))
        while daemon.poll() is None:
            with suppress(TimeoutError):
                if b"READY=1" in ear.recv(4096):
                    return 0
    return 1


def main() -> int:
    with (ROOT / "systemctl.log").open("a") as log:
        log.write(" ".join(sys.argv[1:]) + "\n")
    action = sys.argv[1]
    if action == "is-active":
        return 0 if alive() else 3
    if action == "stop":
        stop()
    return restart() if action == "restart" else 0


if __name__ == "__main__":
    sys.exit(main())
