"""A wall clock that is set while alarms stand: forwards, backwards, and from 1970 where there is no clock chip."""

from __future__ import annotations

import random
import shutil
import struct
import subprocess
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from brokers import wait_for
from enduring.lives import Nursery
from enduring.storms import FLOORS, INNOCENT, OVERS, PATIENCE_S, Storm, schedule
from enduring.tally import Count, judge
from panelward.clock import HostClock
from panelward.core import Core
from panelward.records import Reading, Settings, Transition
from panelward.schedule.profile import parsed

NOW_S = 1_790_000_000.0
PERIOD_S = 2.0


class _Host:
    """A wall and a monotonic clock; the wall can be set."""

    def __init__(self, wall_s: float) -> None:
        self.wall_s, self.mono_s = wall_s, 500.0

    def passes(self, seconds: float) -> None:
        self.wall_s += seconds
        self.mono_s += seconds


def _draws(seed: int, periods: int) -> Iterator[dict[str, float]]:
    """What each circuit draws, period by period."""
    chance = random.Random(seed)
    faulty = dict.fromkeys((*FLOORS, *OVERS), False)
    for _ in range(periods):
        for name in faulty:
            if chance.random() < 0.01:
                faulty[name] = not faulty[name]
        shown = {name: 0.0 if faulty[name] else round(chance.uniform(3.9, 4.1), 2) for name in FLOORS}
        shown |= {name: 24.0 if faulty[name] else 5.0 for name in OVERS}
        yield shown | {name: chance.choice((2.0, 5.0)) for name in INNOCENT}


def _lived(seed: int, wall_s: float, steps: dict[int, float], periods: int) -> tuple[list[Any], dict[str, Any]]:
    """Every transition with its moment on the monotonic clock, and the energy of each circuit."""
    host = _Host(wall_s)
    clock = HostClock(wall=lambda: host.wall_s, monotonic=lambda: host.mono_s)
    core = Core()
    plan = parsed(schedule(1883, expect_s=PERIOD_S), "the storm's schedule")
    core.feed(Settings(received_ms=clock.now_ms(), schedule=plan, started=True, silence_from_start=True))
    found: list[Any] = []

    def keep(out: list[Any]) -> None:
        for each in out:
            if isinstance(each, Transition):
                found.append((round(host.mono_s, 3), each.subject_id, each.kind, each.event, each.state, each.sequence))

    for number, shown in enumerate(_draws(seed, periods)):
        host.passes(PERIOD_S)
        if number in steps:
            host.wall_s += steps[number]
        if (correction := clock.correction()) is not None:
            keep(core.feed(correction))
        now_ms = clock.now_ms()
        for name, amps in shown.items():
            keep(core.feed(Reading(circuit=name, time_ms=now_ms, received_ms=now_ms, volts=13.0, amps=amps)))
    assert core.watch is not None
    return found, {name: (way.energy_wh(), way.unknown_ms) for name, way in core.watch.ways.items()}


def clock_steps(folder: Path, nursery: Nursery, count: int, *, seed: int = 7, periods: int = 900) -> Count:
    """The same half hour with and without steps: the same alarms at the same moments, the same energy to the last digit."""
    found = Count("clock steps", cases=count)
    chance = random.Random(seed)
    for number in range(count):
        unset = number % 3 == 0
        wall_s = 30.0 if unset else NOW_S
        steps = {
            chance.randrange(20, periods): chance.choice((3600.0, -3600.0, 7200.0, -40.0, 86_400.0, -1.5)) for _ in range(3)
        }
        if unset:
            steps[chance.randrange(20, periods)] = NOW_S
        plain, energy = _lived(number, wall_s, {}, periods)
        stepped, energy_then = _lived(number, wall_s, steps, periods)
        found.alarms += sum(each[3] in ("begins", "begins-again") for each in stepped)
        for each in plain:
            if each not in stepped:
                found.lose(f"case {number}, steps {steps}: {each}")
        for each in stepped:
            if each not in plain:
                found.invent(f"case {number}, steps {steps}: {each}")
        if energy != energy_then:
            found.lose(f"case {number}, steps {steps}: energy {energy} became {energy_then}")
    return found


# A live daemon whose process sees another wall clock.

_SHIM = r"""
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>
/* The wall clock, moved by the seconds in the file WALL_OFFSET: one double. */
static volatile double *offset(void) {
    static volatile double *at = NULL;
    if (!at) {
        const char *name = getenv("WALL_OFFSET");
        int fd = name ? open(name, O_RDONLY) : -1;
        static double none = 0.0;
        at = fd < 0 ? &none : mmap(NULL, sizeof(double), PROT_READ, MAP_SHARED, fd, 0);
        if (fd >= 0) close(fd);
    }
    return at;
}
int clock_gettime(clockid_t id, struct timespec *ts) {
    static int (*real)(clockid_t, struct timespec *) = NULL;
    if (!real) real = dlsym(RTLD_NEXT, "clock_gettime");
    int got = real(id, ts);
    if (!got && id == CLOCK_REALTIME) {
        double by = *offset();
        ts->tv_sec += (time_t)by;
    }
    return got;
}
time_t time(time_t *out) {
    struct timespec ts;
    clock_gettime(CLOCK_REALTIME, &ts);
    if (out) *out = ts.tv_sec;
    return ts.tv_sec;
}
int gettimeofday(struct timeval *tv, void *zone) {
    struct timespec ts;
    clock_gettime(CLOCK_REALTIME, &ts);
    tv->tv_sec = ts.tv_sec;
    tv->tv_usec = ts.tv_nsec / 1000;
    return 0;
}
"""


def compiled(folder: Path) -> Path | None:
    """The few lines that go between a process and its wall clock; None without a compiler."""
    cc = shutil.which("cc")
    if cc is None:
        return None
    folder.mkdir(parents=True, exist_ok=True)
    source, made = folder / "wall.c", folder / "wall.so"
    source.write_text(_SHIM)
    done = subprocess.run(
        [cc, "-shared", "-fPIC", "-O1", "-o", str(made), str(source), "-ldl"], capture_output=True, check=False
    )
    return made if done.returncode == 0 else None


def live_steps(folder: Path, nursery: Nursery, count: int, *, houses: int = 3, seed: int = 8) -> Count:
    """Daemons on the host's own time, whose wall is set while an alarm stands and its message waits."""
    shim = compiled(folder)
    if shim is None:
        return Count("clock steps, live", skipped="no C compiler here")

    def one(number: int) -> Count:
        return _live_step(folder / f"house-{number}", nursery, shim, number, seed=seed + number)

    with ThreadPoolExecutor(houses) as pool:
        found = list(pool.map(one, range(count)))
    return sum(found[1:], found[0])


def _live_step(folder: Path, nursery: Nursery, shim: Path, number: int, *, seed: int) -> Count:
    found = Count("clock steps, live", cases=1)
    storm = Storm(folder, nursery, seed=seed, simulated=False, every_s=0.5, expect_s=60.0)
    wall = folder / "wall"

    def set_wall(offset_s: float) -> None:
        with wall.open("r+b") as file:  # in place: the process has it mapped
            file.write(struct.pack("d", offset_s))

    first_s, then_s = ((-float(int(time.time()) - 60), 0.0), (0.0, 3600.0), (0.0, -3600.0), (7200.0, 0.0))[number % 4]
    wall.write_bytes(struct.pack("d", first_s))
    storm.env = {"LD_PRELOAD": str(shim), "WALL_OFFSET": str(wall)}
    ear = storm.ears[0]
    ear.now("503")  # no network yet
    try:
        storm.start()
        storm.await_connected()
        if not storm.judged(("O5",)):
            found.lose(f"O5 before the step: {storm.said()[-300:]}")
        wait_for(lambda: any(row.attempts for row in storm.open_rows()), PATIENCE_S)
        before = [each["id"] for each in storm.transitions()]
        set_wall(then_s)
        if not wait_for(lambda: "the wall clock was set" in storm.said(), PATIENCE_S):
            found.lose("the step was not noticed")
        time.sleep(3.0)  # nothing is to come of it
        if [each["id"] for each in storm.transitions()] != before:
            found.invent(f"{storm.transitions()[len(before) :]}")
        ear.now("200")
        if not wait_for(lambda: ear.took, PATIENCE_S):
            rows = [(r.status, r.last_why, r.due_real_s - time.time() - then_s) for r in storm.outbox()]
            found.lose(f"wall {first_s} to {then_s}: the message never came: {rows}")
        if not storm.judged(()):
            found.lose("O5 after the step did not end")
        storm.drained()
        judge(storm, found)
    finally:
        storm.end()
    return found
