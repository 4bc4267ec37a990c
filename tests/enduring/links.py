"""A broker that is killed, sinks that behave badly, a network that is gone for days."""

from __future__ import annotations

import ctypes
import os
import subprocess
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

from brokers import wait_for
from enduring.lives import Nursery
from enduring.storms import PATIENCE_S, Ear, Storm
from enduring.tally import Count, judge
from panelward.link import Link, Message
from panelward.records import Broker


def broker_restarts(folder: Path, nursery: Nursery, count: int, *, seed: int = 4) -> Count:
    """SIGKILL, and started again on the same port, in a storm."""
    storm = Storm(folder / "house", nursery, seed=seed, rate=60.0)  # so slow that no restart is a silence
    storm.restless = 0.15
    found = Count("broker restarts", cases=count)
    try:
        storm.start()
        storm.await_connected()
        for number in range(count):
            storm.storm()
            time.sleep(storm.chance.uniform(0.1, 1.0))
            came = storm.said().count("broker: connected")
            storm.broker.kill()
            time.sleep(storm.chance.choice((0.0, 0.0, 0.3)))
            storm.broker.start()
            if not wait_for(lambda n=came: storm.said().count("broker: connected") > n, PATIENCE_S):  # type: ignore[misc]
                found.lose(f"never connected again: {storm.said()[-400:]}")
            if number % 10 == 9 or number == count - 1:
                wanted = [name for name in sorted(storm.faulty) if storm.chance.random() < 0.5]
                if not storm.judged(wanted):
                    found.lose(storm.odd(wanted))
                _retained(storm, found)
        storm.judged(())
        storm.drained()
        judge(storm, found)
        found.least(storm.longest_gap_s())
    finally:
        storm.end()
    return found


def _retained(storm: Storm, found: Count) -> None:
    """Who subscribes now gets every alarm that is not over, and no other."""
    got: dict[str, bytes] = {}
    ear = Link(
        Broker(host="127.0.0.1", port=storm.broker.port),
        client_id="late",
        on_message=lambda m: _keep(got, m),
        persistent=False,
    )
    ear.subscribe((("panelward/storm-van/alarm/#", 1),))
    ear.start()

    def wanted() -> frozenset[str]:
        journal = storm.open()
        try:
            return frozenset(each["id"] for each in journal.standing())
        finally:
            journal.close()

    def shown() -> frozenset[str]:
        import json

        return frozenset(json.loads(payload)["id"] for payload in got.values() if payload)

    if not wait_for(lambda: wanted() == shown(), 30):
        found.lose(f"retained by the broker: {sorted(shown())}; standing: {sorted(wanted())}")
    ear.stop()


def _keep(got: dict[str, bytes], message: Message) -> None:
    got[message.topic] = message.payload


# Sinks.

WAYS = ("500", "refuse", "cut", "deaf", "hang", "drip")  # a hang and a drip cost the whole deadline of 60 s


def sinks(folder: Path, nursery: Nursery, count: int, *, houses: int = 3, seed: int = 5, ways: tuple[str, ...] = WAYS) -> Count:
    """Two addresses: one misbehaves for an alarm's time, the other works and is told each message once."""
    plan = [[ways[n % len(ways)] for n in range(at, count, houses)] for at in range(houses)]

    def one(at: int) -> Count:
        return _sinks(folder / f"house-{at}", nursery, plan[at], seed=seed * 100 + at)

    with ThreadPoolExecutor(houses) as pool:
        found = list(pool.map(one, [at for at in range(houses) if plan[at]]))
    return sum(found[1:], found[0])


def _sinks(folder: Path, nursery: Nursery, ways: list[str], *, seed: int) -> Count:
    storm = Storm(folder, nursery, seed=seed, phones=2)
    found = Count("sinks that misbehave", cases=len(ways))
    bad, good = storm.ears
    try:
        storm.start()
        storm.await_connected()
        for way in ways:
            _misbehave(storm, found, bad, good, way)
        storm.judged(())
        storm.drained()
        judge(storm, found)
        if len(good.numbers) != len(set(good.numbers)):
            found.unmarked += len(good.numbers) - len(set(good.numbers))
            found.why.append(f"repeat unmarked: to the address that worked: {good.numbers}")
    finally:
        storm.end()
    return found


def _misbehave(storm: Storm, found: Count, bad: Ear, good: Ear, way: str) -> None:
    begun = len(good.took)
    if way == "refuse":
        bad.refuse()
    else:
        bad.now(way)
    storm.judged({storm.chance.choice(sorted(storm.faulty))})
    if not wait_for(lambda: len(good.took) > begun, PATIENCE_S):
        found.lose(f"{way}: the other address was not told")
    # The bad one was tried and is given up, for now.
    if not wait_for(lambda: any(row.last_why and row.address_ref == "notify-1" for row in storm.open_rows()), PATIENCE_S):
        found.lose(f"{way}: no reason is kept: {storm.said()[-300:]}")
    storm.judged(())
    if way == "refuse":
        bad.listen_again()
    else:
        bad.now("200")
    if not storm.drained(2 * PATIENCE_S):
        found.lose(f"{way}: still waits: {[(r.alarm_id, r.status, r.last_why) for r in storm.open_rows()]}")


# No network.

_NEWNET = 0x40000000
_NET = f"10.213.{os.getpid() % 250}"  # two runs side by side have two cables
_OURS, _THEIRS = f"{_NET}.1", f"{_NET}.2"


@contextmanager
def far_network() -> Iterator[str | None]:
    """A network namespace that is reached over one cable; its name, or None where none may be made."""
    name = f"pw{os.getpid() % 10000}"

    def ip(*words: str, check: bool = True) -> None:
        subprocess.run(["ip", *words], check=check, capture_output=True)

    try:
        ip("netns", "add", name)
    except (OSError, subprocess.CalledProcessError):
        yield None
        return
    try:
        ip("link", "add", f"{name}a", "type", "veth", "peer", "name", f"{name}b")
        ip("link", "set", f"{name}b", "netns", name)
        ip("addr", "add", f"{_OURS}/30", "dev", f"{name}a")
        ip("link", "set", f"{name}a", "up")
        # While the cable is cut nothing may go out another way: no other computer is ever asked.
        ip("route", "add", "unreachable", f"{_NET}.0/30", "metric", "4000")
        for words in (("addr", "add", f"{_THEIRS}/30", "dev", f"{name}b"), ("link", "set", f"{name}b", "up")):
            ip("-n", name, *words)
        yield name
    finally:
        ip("link", "del", f"{name}a", check=False)
        ip("route", "del", "unreachable", f"{_NET}.0/30", "metric", "4000", check=False)
        ip("netns", "del", name, check=False)


def _ear_in(namespace: str) -> Ear:
    """A service that listens over there: its socket is made by a thread that went there."""
    made: list[Ear] = []

    def make() -> None:
        fd = os.open(f"/run/netns/{namespace}", os.O_RDONLY)
        try:
            if ctypes.CDLL(None, use_errno=True).setns(fd, _NEWNET):
                raise OSError(ctypes.get_errno(), "setns")
        finally:
            os.close(fd)
        made.append(Ear(_THEIRS))

    thread = threading.Thread(target=make)
    thread.start()
    thread.join()
    return made[0]


def no_network(folder: Path, nursery: Nursery, count: int, *, days: float = 2.0, rate: float = 2000.0, seed: int = 6) -> Count:
    """Simulated days without the network between the vehicle and the phone's service; then one message, and nothing lost."""
    found = Count("days without network", cases=count)
    with far_network() as namespace:
        if namespace is None:
            found.skipped = "no network namespace may be made here"
            return found
        for number in range(count):
            _cut_off(folder / f"house-{number}", nursery, found, namespace, days=days, rate=rate, seed=seed * 100 + number)
    return found


def _cut_off(folder: Path, nursery: Nursery, found: Count, namespace: str, *, days: float, rate: float, seed: int) -> None:
    ear = _ear_in(namespace)
    storm = Storm(folder, nursery, seed=seed, rate=rate, every_s=60.0, expect_s=300.0, ears=[ear])
    storm.restless = 0.01
    cable = f"{namespace}a"
    try:
        storm.start()
        storm.await_connected()
        storm.judged(("F1",))
        storm.drained()
        before = len(ear.took)
        subprocess.run(["ip", "link", "set", cable, "down"], check=True)
        try:
            storm.storm()
            time.sleep(days * 86_400 / rate)
            wanted = [name for name in sorted(storm.faulty) if storm.chance.random() < 0.5]
            if not storm.judged(wanted):
                found.lose(storm.odd(wanted))
            # All of it was tried once: what comes while the network returns would be a message of its own.
            wait_for(lambda: all(row.attempts for row in storm.open_rows()), PATIENCE_S)
            if len(ear.took) > before:
                found.why.append("the cable was not cut")
                found.lost += 1
        finally:
            subprocess.run(["ip", "link", "set", cable, "up"], check=True)
        if not storm.drained(6 * PATIENCE_S):
            found.lose(f"still waits: {[(r.alarm_id, r.status, r.last_why) for r in storm.open_rows()][:5]}")
        come = [body for _, body in ear.took[before:]]
        if len(come) != 1:
            found.invent(f"{len(come)} messages in the place of one: {[body.splitlines()[0] for body in come]}")
        storm.judged(())
        storm.drained()
        judge(storm, found)
    finally:
        storm.end()
