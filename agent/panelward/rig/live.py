"""The van on the air: publishes its monitor's readings over MQTT on a shared, sped-up clock."""

from __future__ import annotations

import time
import tomllib
from collections.abc import Callable
from pathlib import Path
from threading import Event
from typing import Any

from panelward.errors import EnvironmentFault
from panelward.rig.life import Life
from panelward.rig.van import Row

LOCAL = ("127.0.0.1", "localhost", "::1")


def broadcast(
    life: Life,
    schedule_path: str,
    *,
    rate: float,
    origin_ms: int,
    origin_real_s: float,
    stop: Event,
    for_s: float | None,
    log: Callable[[str], None],
) -> int:
    """Publish until `stop` is set or `for_s` real seconds are over; returns the number of messages."""
    from panelward.link import Link
    from panelward.records import Broker

    text: dict[str, Any] = tomllib.loads(Path(schedule_path).read_text(encoding="utf-8"))
    broker, monitor = text["broker"], text["monitor"][0]
    if broker["host"] not in LOCAL:
        raise EnvironmentFault(f"the rig publishes only to a broker on this machine, not to {broker['host']}")
    will, pattern = monitor.get("will"), str(monitor["topic"])
    link = Link(
        Broker(host=broker["host"], port=broker.get("port", 1883)),
        client_id=f"rig-{text['vehicle'].get('id', 'van')}",
        will=(will["topic"], will["gone"].encode()) if will else None,
        on_state=lambda connected, why: log(f"rig: broker {'connected' if connected else 'away'} {why}"),
        persistent=False,
    )
    link.start()
    period_s = float(monitor.get("expect_every_s", 5))
    messages, n = 0, 0
    begun = time.time()
    here = False
    try:
        while not stop.is_set() and (for_s is None or time.time() - begun < for_s):
            due_ms = life.van.now_ms if n == 0 else origin_ms + round(n * period_s * 1000)
            wait_s = origin_real_s + (due_ms - origin_ms) / 1000 / rate - time.time()
            if wait_s > 0 and stop.wait(wait_s):
                break
            life.step_to(due_ms)
            n = max(n + 1, int((time.time() - origin_real_s) * rate / period_s))  # behind: skip, as a monitor would
            if not link.connected:
                here = False
                continue
            if will and not here:
                link.publish(will["topic"], will["here"].encode(), retain=True)
                here = True
            for row in life.van.sample():
                for quantity, payload in quantities(row):
                    topic = pattern.replace("{circuit}", row.circuit).replace("{quantity}", quantity)
                    link.publish(topic, payload, qos=0)
                    messages += 1
    finally:
        if will and link.connected:
            link.publish(will["topic"], will["gone"].encode(), retain=True)
        link.stop()
    return messages


def quantities(row: Row) -> list[tuple[str, bytes]]:
    """One message a quantity."""
    out = []
    for name in ("volts", "amps", "watts", "celsius"):
        value = getattr(row, name)
        if value is not None:
            out.append((name, f"{value:g}".encode()))
    for name in ("commanded", "closed"):  # the command first, as it happens
        state = getattr(row, name)
        if state is not None:
            out.append((name, b"1" if state else b"0"))
    return out
